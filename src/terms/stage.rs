use serde::{Deserialize, Serialize};

/// The stages of the job, in the order of BS 7671 Part 6.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    Isolation,
    Instruments,
    Continuity,
    Ring,
    Insulation,
    Polarity,
    PutBack,
    MakeSafe,
    Energise,
    SupplyPolarity,
    ExternalLoop,
    FaultCurrent,
    LoopImpedance,
    Rcd,
    PhaseSequence,
    Functional,
    Handover,
}

impl Stage {
    /// As the program says and writes it: "external loop".
    pub fn shown(self) -> &'static str {
        match self {
            Self::Isolation => "isolation",
            Self::Instruments => "instrument check",
            Self::Continuity => "continuity",
            Self::Ring => "ring continuity",
            Self::Insulation => "insulation resistance",
            Self::Polarity => "polarity",
            Self::PutBack => "put back",
            Self::MakeSafe => "make safe",
            Self::Energise => "energise",
            Self::SupplyPolarity => "supply polarity",
            Self::ExternalLoop => "external loop",
            Self::FaultCurrent => "fault current",
            Self::LoopImpedance => "loop impedance",
            Self::Rcd => "residual current device",
            Self::PhaseSequence => "phase sequence",
            Self::Functional => "functional checks",
            Self::Handover => "handover",
        }
    }

    /// As a person says it after "go to": "external loop impedance".
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Isolation => "safe isolation",
            Self::ExternalLoop => "external loop impedance",
            Self::FaultCurrent => "prospective fault current",
            Self::Rcd => "r c d test",
            same => same.shown(),
        }
    }
}
