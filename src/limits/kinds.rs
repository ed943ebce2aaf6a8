//! The words of the trade that decide which limit applies.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How the installation is earthed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Earthing {
    /// Neutral and earth separate throughout the system.
    #[serde(rename = "TN-S")]
    TnS,
    /// Neutral and earth combined in the supply, separate in the installation.
    #[serde(rename = "TN-C-S")]
    TnCS,
    /// The installation's own earth electrode.
    #[serde(rename = "TT")]
    Tt,
}

impl Earthing {
    /// TN-S, TN-C-S or TT.
    pub fn name(self) -> &'static str {
        match self {
            Self::TnS => "TN-S",
            Self::TnCS => "TN-C-S",
            Self::Tt => "TT",
        }
    }
}

/// Single-phase, or three-phase and neutral. Written 1 or 3.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "u8", into = "u8")]
#[schemars(extend("enum" = [1, 3]))]
pub enum Phases {
    /// One line and neutral.
    Single,
    /// Three lines and neutral.
    Three,
}

impl TryFrom<u8> for Phases {
    type Error = String;

    fn try_from(n: u8) -> Result<Self, Self::Error> {
        match n {
            1 => Ok(Self::Single),
            3 => Ok(Self::Three),
            _ => Err(format!("{n} phases: write 1 or 3")),
        }
    }
}

impl From<Phases> for u8 {
    fn from(phases: Phases) -> Self {
        match phases {
            Phases::Single => 1,
            Phases::Three => 3,
        }
    }
}

/// The circuit's voltage band, for the insulation limits of BS 7671 Table 64.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum SystemVoltage {
    /// Up to and including 500 V.
    #[default]
    #[serde(rename = "LV")]
    Low,
    /// Separated extra-low voltage.
    #[serde(rename = "SELV")]
    Selv,
    /// Protective extra-low voltage.
    #[serde(rename = "PELV")]
    Pelv,
    /// Functional extra-low voltage: tested as the low voltage it comes from.
    #[serde(rename = "FELV")]
    Felv,
    /// Above 500 V.
    #[serde(rename = "above 500 V")]
    Above500,
}

/// Kinds of overcurrent device, by their standard and type.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum DeviceKind {
    /// Circuit-breaker, type B.
    #[serde(rename = "BS EN 60898 B")]
    BreakerB,
    /// Circuit-breaker, type C.
    #[serde(rename = "BS EN 60898 C")]
    BreakerC,
    /// Circuit-breaker, type D.
    #[serde(rename = "BS EN 60898 D")]
    BreakerD,
    /// Circuit-breaker with residual current function, type B.
    #[serde(rename = "BS EN 61009 B")]
    RcboB,
    /// The same, type C.
    #[serde(rename = "BS EN 61009 C")]
    RcboC,
    /// The same, type D.
    #[serde(rename = "BS EN 61009 D")]
    RcboD,
    /// Rewirable fuse.
    #[serde(rename = "BS 3036")]
    Bs3036,
    /// Fuse with bolted or clip-in contacts.
    #[serde(rename = "BS 88-2")]
    Bs88Part2,
    /// Fuse for consumer units.
    #[serde(rename = "BS 88-3")]
    Bs88Part3,
    /// Fuse of a plug or a fused connection unit.
    #[serde(rename = "BS 1362")]
    Bs1362,
    /// Cartridge fuse of old consumer units and cut-outs, withdrawn.
    #[serde(rename = "BS 1361")]
    Bs1361,
    /// Compact fuse with bolted contacts, withdrawn.
    #[serde(rename = "BS 88-6")]
    Bs88Part6,
    /// Old circuit-breaker, type 1.
    #[serde(rename = "BS 3871 1")]
    Old1,
    /// The same, type 2.
    #[serde(rename = "BS 3871 2")]
    Old2,
    /// The same, type 3.
    #[serde(rename = "BS 3871 3")]
    Old3,
    /// The same, type 4.
    #[serde(rename = "BS 3871 4")]
    Old4,
    /// The same, type B.
    #[serde(rename = "BS 3871 B")]
    OldB,
    /// The same, type C.
    #[serde(rename = "BS 3871 C")]
    OldC,
    /// The same, type D.
    #[serde(rename = "BS 3871 D")]
    OldD,
    /// Moulded-case circuit-breaker, judged by its setting.
    #[serde(rename = "BS EN 60947-2")]
    MouldedCase,
    /// Any other, judged by a limit of one's own with its source.
    #[serde(rename = "other")]
    Other,
}

impl DeviceKind {
    /// Every kind.
    pub const ALL: [Self; 21] = [
        Self::BreakerB,
        Self::BreakerC,
        Self::BreakerD,
        Self::RcboB,
        Self::RcboC,
        Self::RcboD,
        Self::Bs3036,
        Self::Bs88Part2,
        Self::Bs88Part3,
        Self::Bs1362,
        Self::Bs1361,
        Self::Bs88Part6,
        Self::Old1,
        Self::Old2,
        Self::Old3,
        Self::Old4,
        Self::OldB,
        Self::OldC,
        Self::OldD,
        Self::MouldedCase,
        Self::Other,
    ];

    /// As written in the job file and on a schedule: "BS EN 60898 B".
    pub fn name(self) -> &'static str {
        match self {
            Self::BreakerB => "BS EN 60898 B",
            Self::BreakerC => "BS EN 60898 C",
            Self::BreakerD => "BS EN 60898 D",
            Self::RcboB => "BS EN 61009 B",
            Self::RcboC => "BS EN 61009 C",
            Self::RcboD => "BS EN 61009 D",
            Self::Bs3036 => "BS 3036",
            Self::Bs88Part2 => "BS 88-2",
            Self::Bs88Part3 => "BS 88-3",
            Self::Bs1362 => "BS 1362",
            Self::Bs1361 => "BS 1361",
            Self::Bs88Part6 => "BS 88-6",
            Self::Old1 => "BS 3871 1",
            Self::Old2 => "BS 3871 2",
            Self::Old3 => "BS 3871 3",
            Self::Old4 => "BS 3871 4",
            Self::OldB => "BS 3871 B",
            Self::OldC => "BS 3871 C",
            Self::OldD => "BS 3871 D",
            Self::MouldedCase => "BS EN 60947-2",
            Self::Other => "other",
        }
    }

    /// Whether it is a fuse.
    pub fn is_fuse(self) -> bool {
        matches!(
            self,
            Self::Bs3036
                | Self::Bs88Part2
                | Self::Bs88Part3
                | Self::Bs88Part6
                | Self::Bs1361
                | Self::Bs1362
        )
    }

    /// Whether it is a circuit-breaker that trips at once at a multiple of its rated current.
    pub fn has_multiple(self) -> bool {
        !self.is_fuse() && !matches!(self, Self::MouldedCase | Self::Other)
    }

    /// Whether it is a circuit-breaker to BS 3871, which is withdrawn.
    pub fn is_of_bs_3871(self) -> bool {
        matches!(
            self,
            Self::Old1
                | Self::Old2
                | Self::Old3
                | Self::Old4
                | Self::OldB
                | Self::OldC
                | Self::OldD
        )
    }

    /// The letter of a circuit-breaker's type; none where it has no letter.
    pub fn letter(self) -> Option<char> {
        match self {
            Self::BreakerB | Self::RcboB | Self::OldB => Some('B'),
            Self::BreakerC | Self::RcboC | Self::OldC => Some('C'),
            Self::BreakerD | Self::RcboD | Self::OldD => Some('D'),
            _ => None,
        }
    }

    /// Whether it is a circuit-breaker with a residual current function.
    pub fn is_rcbo(self) -> bool {
        matches!(self, Self::RcboB | Self::RcboC | Self::RcboD)
    }
}

impl fmt::Display for DeviceKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// General or time-delayed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RcdDelay {
    /// Trips without a delay.
    #[default]
    General,
    /// Time-delayed, type S.
    S,
}

/// What a circuit serves, as far as disconnection times and voltage drop ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CircuitUse {
    /// A final circuit with socket-outlets.
    Sockets,
    /// A final circuit with fixed equipment only.
    FixedEquipment,
    /// A lighting circuit.
    Lighting,
    /// A distribution circuit.
    Distribution,
}

/// What a conductor is made of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Metal {
    /// Plain annealed copper.
    #[default]
    Copper,
    /// Aluminium.
    Aluminium,
}

/// What the conductors of a cable are insulated with: it decides how hot they may run, and what they
/// stand.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CableInsulation {
    /// Thermoplastic, 70 °C.
    #[default]
    Pvc,
    /// Thermosetting, 90 °C.
    Xlpe,
    /// Mineral, covered with plastic or within reach, 70 °C.
    MineralCovered,
    /// Mineral, bare and out of reach, 105 °C.
    MineralBare,
}

/// What serves as the protective conductor.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CpcIs {
    /// A core of the cable.
    #[default]
    Core,
    /// A conductor of its own, as with single-core cables.
    Separate,
    /// The steel wire armour.
    Armour,
    /// The copper sheath of a mineral insulated cable.
    Sheath,
}
