use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a session is led that somebody learns by, or is examined in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Practice {
    /// Who learns.
    pub learner: String,
    /// How much is told.
    #[serde(default)]
    pub level: Level,
    /// Whether value and limit are to be predicted before each reading.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub predict: bool,
    /// The simulated installation that is practised on; nothing where the installation is real.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub simulated: Option<Simulated>,
}

/// A simulated installation whose faults are sealed: nobody reads them out of the log before its end.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Simulated {
    /// SHA-256 of what is revealed at the end, in hexadecimal.
    pub seal: String,
    /// Which edition of the simulated installation it is: an old log is followed by the one that it was
    /// begun with.
    #[serde(default, skip_serializing_if = "BayEdition::is_first")]
    pub edition: BayEdition,
}

/// What a simulated installation does. The first has no reactance, no insulation that settles, no device
/// that trips by a short and no functional earth; an RCD is on again after each test.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(rename_all = "kebab-case")]
pub enum BayEdition {
    /// As logs with events of version 5 know it.
    #[default]
    First,
    /// With all of that; what tripped stays off.
    Second,
}

impl BayEdition {
    /// The one that a practice is begun with.
    pub const NOW: Self = Self::Second;

    fn is_first(&self) -> bool {
        *self == Self::First
    }
}

/// How much a session tells the person whom it leads.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Every step, value and limit.
    #[default]
    Led,
    /// "What comes next?" Help is given when it is asked for, and counted.
    Asked,
    /// An examination: every value is read back, and nothing else is told but before danger.
    Silent,
}

impl Level {
    /// As written.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Led => "led",
            Self::Asked => "asked",
            Self::Silent => "silent",
        }
    }
}

/// What of a reading is predicted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Predicted {
    /// The value.
    Value,
    /// What it is compared with.
    Limit,
}
