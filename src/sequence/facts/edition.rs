use serde::{Deserialize, Serialize};
use std::fmt;

/// The edition of the plan: which steps a job has, and in which order. A change of either is a new
/// edition, and a log is folded, reported and resumed under its own. The first event of a log names
/// it; a log that names none is of the first.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(try_from = "u16", into = "u16")]
pub enum Edition {
    /// Logs of 0.1: what a prompt orders out is listed only when it is said, and a board is energised
    /// before its supply is checked.
    #[default]
    First,
    /// What a step orders out is listed by the step; the order of the job is that of BS 7671 Part 6:
    /// put back, 250 V and polarity on each circuit, the supply before energising, reopened outlets
    /// first after it. The voltage of the supply is taken where somebody says it, beside its polarity.
    Second,
    /// The voltage of the supply is asked for, between every pair, before its polarity. Circuits of a live
    /// board are isolated one after another, with what belongs to the whole board after them.
    Third,
    /// Surge protection comes out before any insulation of its board is tested at more than 250 V, circuit by
    /// circuit too; three phases are tried at 250 V between their lines as well, and a circuit of three phases that
    /// stays off has every line out of its terminal.
    Fourth,
    /// Where all circuits of a board together read low at 250 V, each is tried by itself before more. At a visit to
    /// a live board nothing comes out of its terminals. A supply that was reversed and put right is isolated and
    /// proved dead anew.
    Fifth,
}

/// An edition of a newer program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the log follows edition {0} of the plan, which this version does not know")]
pub struct UnknownEdition(pub u16);

impl Edition {
    /// The edition that a new log follows.
    pub const NOW: Self = Self::Fifth;

    /// Its number, from 1.
    pub fn number(self) -> u16 {
        match self {
            Self::First => 1,
            Self::Second => 2,
            Self::Third => 3,
            Self::Fourth => 4,
            Self::Fifth => 5,
        }
    }

    /// Whether it is the first, which logs do not name.
    pub fn is_first(&self) -> bool {
        *self == Self::First
    }
}

impl TryFrom<u16> for Edition {
    type Error = UnknownEdition;

    fn try_from(number: u16) -> Result<Self, UnknownEdition> {
        match number {
            1 => Ok(Self::First),
            2 => Ok(Self::Second),
            3 => Ok(Self::Third),
            4 => Ok(Self::Fourth),
            5 => Ok(Self::Fifth),
            other => Err(UnknownEdition(other)),
        }
    }
}

impl From<Edition> for u16 {
    fn from(edition: Edition) -> Self {
        edition.number()
    }
}

impl fmt::Display for Edition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "edition {}", self.number())
    }
}
