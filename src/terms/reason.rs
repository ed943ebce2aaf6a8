use serde::{Deserialize, Serialize};

/// Why something was not done. Listed reasons are heard; any other is kept as sound or typed.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// What is connected has to stay in.
    EquipmentCannotBeTakenOut,
    /// It can't be reached.
    NoAccess,
    /// The client does not want it.
    ClientRequest,
    /// It may not be switched off now.
    InUse,
    /// What would be tested is damaged.
    Damaged,
    /// There is no such thing here.
    NotApplicable,
    /// The instrument does not work.
    InstrumentFault,
    /// The person thinks it dangerous to do.
    Unsafe,
    /// There is no time left for it.
    OutOfTime,
    /// Given by the instructor or the person in charge.
    Instructed,
    /// What the person saw and noted stands for the reason.
    Observed,
    /// Code C1 was said, and the person in charge told.
    DangerToldOf,
    /// "Reason on the recording": the sound kept with this utterance tells.
    OnTheRecording,
}

impl Reason {
    /// As the program says and writes it: "client's request".
    pub fn shown(&self) -> &'static str {
        match self {
            Self::EquipmentCannotBeTakenOut => "equipment cannot be taken out",
            Self::NoAccess => "no access",
            Self::ClientRequest => "client's request",
            Self::InUse => "in use",
            Self::Damaged => "damaged",
            Self::NotApplicable => "not applicable",
            Self::InstrumentFault => "instrument fault",
            Self::Unsafe => "not safe to do",
            Self::OutOfTime => "out of time",
            Self::Instructed => "as instructed",
            Self::Observed => "by the observation noted",
            Self::DangerToldOf => "danger, code one, the person in charge told",
            Self::OnTheRecording => "reason on the recording",
        }
    }

    /// Whether it is said by itself: an observation and a danger come in a way of their own.
    pub fn is_sayable(&self) -> bool {
        !matches!(self, Self::Observed | Self::DangerToldOf)
    }

    /// As a person says it after the word "reason": "client request".
    pub fn spoken(&self) -> &'static str {
        match self {
            Self::ClientRequest => "client request",
            Self::Unsafe => "not safe",
            Self::OnTheRecording => "on the recording",
            same => same.shown(),
        }
    }
}
