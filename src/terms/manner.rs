use serde::{Deserialize, Serialize};

/// How the program should speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProsodyChange {
    /// One step.
    Quieter,
    /// One step.
    Louder,
    /// One step.
    Slower,
    /// One step.
    Faster,
}

impl ProsodyChange {
    /// The word for it, said and written alike.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Quieter => "quieter",
            Self::Louder => "louder",
            Self::Slower => "slower",
            Self::Faster => "faster",
        }
    }
}

/// How the program speaks after it was asked to do so otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProsodyNow {
    /// As it did: it goes no further in that direction.
    AtItsEnd,
    /// How loud, in percent of what the machine is set to: 0 to 100.
    Volume(i32),
    /// How fast, from -100 to 100; 0 is the usual.
    Rate(i32),
}
