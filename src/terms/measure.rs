use serde::{Deserialize, Serialize};

/// Quantities of the trade that have a name of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NamedQuantity {
    /// Line conductor of a ring, end to end.
    R1,
    /// Neutral conductor of a ring, end to end.
    Rn,
    /// Protective conductor: of a ring end to end, or with a long lead.
    R2,
    /// R1 + R2: line and protective conductor together.
    #[serde(rename = "r1-r2")]
    R1R2,
    /// External earth fault loop impedance.
    Ze,
    /// Earth fault loop impedance.
    Zs,
    /// Prospective fault current.
    FaultCurrent,
    /// Time of an RCD at its rated current.
    RcdRated,
    /// Time of an RCD at five times its rated current.
    RcdFive,
    /// An RCD at half its rated current.
    RcdHalf,
}

impl NamedQuantity {
    /// As said aloud: "r one plus r two".
    pub fn spoken(self) -> &'static str {
        match self {
            Self::R1 => "r one",
            Self::Rn => "r n",
            Self::R2 => "r two",
            Self::R1R2 => "r one plus r two",
            Self::Ze => "z e",
            Self::Zs => "z s",
            Self::FaultCurrent => "fault current",
            Self::RcdRated => "time at rated current",
            Self::RcdFive => "time at five times",
            Self::RcdHalf => "time at half",
        }
    }
}

/// Half-cycle of an RCD test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HalfCycle {
    /// Begins at 0°.
    Positive,
    /// Begins at 180°.
    Negative,
}

impl HalfCycle {
    /// As written: "positive half-cycle".
    pub fn shown(self) -> &'static str {
        match self {
            Self::Positive => "positive half-cycle",
            Self::Negative => "negative half-cycle",
        }
    }

    /// As said aloud: "positive half cycle".
    pub fn spoken(self) -> String {
        self.shown().replace('-', " ")
    }
}
