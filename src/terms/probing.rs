use super::{HalfCycle, Place};
use crate::quantity::{Conductors, Pair, Reading, TestVoltage};
use serde::{Deserialize, Serialize};

/// How an instrument is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "function")]
pub enum Setting {
    /// Voltage, a.c. and d.c.: an indicator or a meter.
    Voltage,
    /// Resistance at low voltage and at least 200 mA.
    Continuity,
    /// Insulation resistance at a d.c. voltage.
    Insulation {
        /// The test voltage.
        at: TestVoltage,
    },
    /// Loop impedance, by a current that the supply gives.
    Loop,
    /// Prospective fault current.
    FaultCurrent,
    /// A residual current device.
    Rcd {
        /// The current, as a multiple of the rated one.
        current: RcdTest,
        /// On which half-cycle it begins.
        half: HalfCycle,
    },
    /// Phase sequence.
    PhaseSequence,
    /// No instrument: somebody looks.
    Look,
}

/// A test of a residual current device, by the current as a multiple of the rated one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RcdTest {
    /// Half the rated current: it must not trip.
    Half,
    /// The rated current, on both half-cycles.
    Once,
    /// Five times the rated current, on both half-cycles.
    Five,
}

impl RcdTest {
    /// As it stands in the job file.
    pub fn written(self) -> &'static str {
        match self {
            Self::Half => "half",
            Self::Once => "once",
            Self::Five => "five",
        }
    }
}

/// Between what the two probes are.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Between {
    /// Conductors of one place: "line to neutral".
    Pair(Pair),
    /// The two ends of one conductor at the board: a ring's, end to end.
    Ends(Conductors),
    /// The board's earth terminal, by a long lead, and a conductor of the place.
    LongLead(Conductors),
    /// The main earthing terminal and the bonded part, whose name is the place.
    Bond,
    /// One another: the leads joined.
    LeadsJoined,
    /// Nothing: the leads apart.
    LeadsApart,
    /// A source that is known to be live, such as a proving unit.
    KnownSource,
    /// A reference, on which an instrument is compared with what it should read.
    Reference,
    /// Nothing: what is printed on a circuit's device is read.
    Label,
}

/// Where somebody put the probes, and how the instrument was set.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Probe {
    /// The instrument's function.
    pub setting: Setting,
    /// Between what.
    pub between: Between,
    /// The board's number.
    pub board: u16,
    /// The circuit; none at the board itself: its incoming terminals, or, with
    /// [`Place::board`](super::Place::board) as the place, what its main switch feeds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circuit: Option<u16>,
    /// The point of the circuit; none at the board.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// The residual current device of several circuits that is tested, by its number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rcd: Option<u16>,
    /// For how many seconds the test has been held on: a reading that settles is another one later.
    #[serde(default, skip_serializing_if = "is_nought")]
    pub held: u16,
}

fn is_nought(seconds: &u16) -> bool {
    *seconds == 0
}

/// What is printed on a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Printed {
    /// The type of a circuit-breaker: B, C, D; none of a fuse.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub letter: Option<char>,
    /// Its rated current, A.
    pub amps: u16,
    /// The rated residual current, mA, where it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub milliamps: Option<u16>,
}

/// What an instrument shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shown {
    /// A value, with its unit; over range too.
    Value(Reading),
    /// Voltage where it was to test something dead: it shows it and does not test.
    Live(Reading),
    /// A residual current device tripped after this time.
    Tripped(Reading),
    /// It did not trip while the current flowed.
    NoTrip,
    /// The order of the phases: whether it is the right one.
    Sequence {
        /// Line one before line two before line three.
        right: bool,
    },
    /// No supply where one is needed: it does not test.
    NoSupply,
    /// What is printed on a device.
    Label(Printed),
}

impl Shown {
    /// What is displayed, as a reading; nothing where it shows none.
    pub fn reading(&self) -> Option<Reading> {
        match self {
            Self::Value(reading) | Self::Tripped(reading) | Self::Live(reading) => Some(*reading),
            Self::NoTrip | Self::Sequence { .. } | Self::NoSupply | Self::Label(_) => None,
        }
    }

    /// Whether another display is plainly another one: not by 2 % or two of the last digit, as one instrument
    /// shows the same twice. The margins are ours.
    pub fn differs(&self, other: &Self) -> bool {
        match (self.reading(), other.reading()) {
            (Some(one), Some(another)) => {
                std::mem::discriminant(self) != std::mem::discriminant(other)
                    || !one.agrees(&another, 0.02, 2.0)
            }
            _ => self != other,
        }
    }
}

/// What came of a probing besides what was shown.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "came")]
pub enum Consequence {
    /// Electronics were destroyed by the test voltage, and stay so.
    Destroyed {
        /// The board's number.
        board: u16,
        /// The circuit.
        circuit: u16,
        /// The point that they were in.
        place: Place,
    },
    /// A residual current device tripped: the circuit is off until it is switched on again.
    Tripped {
        /// The board's number.
        board: u16,
        /// The circuit.
        circuit: u16,
    },
    /// A residual current device of several circuits tripped: all of them are off until it is switched on
    /// again.
    TrippedSeveral {
        /// The board's number.
        board: u16,
        /// Its own number.
        rcd: u16,
    },
    /// Probes were on live parts with the instrument set for a dead test.
    ProbedLive {
        /// Volts between them, whole.
        volts: u16,
    },
    /// The display is still moving: what it shows is not yet what is there.
    Settling,
    /// A short circuit was energised, and the circuit's device opened it: it is off until it is switched on
    /// again.
    Shorted {
        /// The board's number.
        board: u16,
        /// The circuit.
        circuit: u16,
        /// The current that flowed, A.
        amps: u32,
    },
    /// A short circuit was energised that gave more current than the circuit's device can break: it is
    /// destroyed.
    Burst {
        /// The board's number.
        board: u16,
        /// The circuit.
        circuit: u16,
        /// The current that flowed, A.
        amps: u32,
        /// The most that the device can break, A.
        breaks: u32,
    },
}
