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
