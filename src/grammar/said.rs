use crate::quantity::{Conductors, Pair, Reading, TestVoltage};
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a person meant: the meaning of one utterance, apart from the words used.
///
/// Made from words by [`super::Grammar::understand`]; two utterances with equal `Said` are the
/// same thing said differently.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Said {
    /// A measured value, with the place it was taken at when that was said too.
    Reading {
        reading: Reading,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// Which half-cycle an RCD was tested on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        half: Option<HalfCycle>,
    },
    /// A measured value said with the name of what was measured: "r one zero point three one".
    /// Means the same as [`Said::Reading`] where that measurement was asked for.
    Measured {
        measure: Measure,
        reading: Reading,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// Something taken out, put back, linked, unlinked, removed or refitted.
    Altered(Alteration),
    /// A plain statement that a step asks for: "locked off", "dead", "polarity correct".
    Stated(Statement),
    /// A statement about one pair or one place: "line to neutral dead", "polarity correct at
    /// socket three". At least one of the two is there; otherwise it is [`Said::Stated`].
    StatedAt {
        state: Statement,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pair: Option<Pair>,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// "Affirm": yes, what was read back is right.
    Affirm,
    /// "Negative": no, that is not right.
    Negative,
    /// "Correction", with the right words when they followed.
    Correction(Option<Box<Said>>),
    /// "Disregard": drop the last thing said.
    Disregard,
    /// "Say again": give the prompt in full.
    SayAgain,
    /// "Stand by": wait, no reminders until "carry on".
    StandBy,
    /// "Carry on".
    CarryOn,
    /// "Pause": stop for now, isolation will be asked again when needed.
    Pause,
    /// "Resume".
    Resume,
    /// "Where are we".
    WhereAreWe,
    /// "What is out".
    WhatIsOut,
    /// "How long is left".
    HowLongIsLeft,
    /// "Finish": end the session.
    Finish,
    /// "Both", "both out", "both back": both of the conductors of which one was named.
    Both(Option<Change>),
    /// "Not tested, reason ..."; without its reason, that is still to be asked.
    NotTested(Option<Reason>),
    /// "Skip, reason ...": leave the present step for later.
    Skip(Option<Reason>),
    /// "Override, reason ...": go on although something bars the way.
    Override(Option<Reason>),
    /// "Reason ...": the answer when a reason is asked for.
    Because(Reason),
    /// "Circuit five".
    Circuit(u16),
    /// "Board two".
    Board(u16),
    /// "Go to insulation resistance".
    GoTo(Stage),
    /// "Go to five hundred volts": the insulation tests at that voltage.
    TestAt(TestVoltage),
    /// "Note": what follows is kept as sound.
    Note,
    /// "End of note".
    EndOfNote,
    /// "Quieter", "slower" and the like.
    Manner(Manner),
}

/// A place on a circuit: an accessory of the job, by kind and number or by its own name.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Place {
    /// The words of the place without its number: "socket", "door entry unit", "board".
    pub name: String,
    /// Its number on the circuit, when it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<u16>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)?;
        if let Some(number) = self.number {
            write!(f, " {number}")?;
        }
        Ok(())
    }
}

/// One thing altered for a test, or put back.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Alteration {
    pub part: Part,
    pub change: Change,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// On a ring or a point that feeds others: both conductors of the kind, joined.
    #[serde(default)]
    pub both: bool,
    /// How it is parked: "in a connector", "taped".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parked: Option<Parked>,
}

/// What was altered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// One or several conductors of a circuit.
    Conductors(Conductors),
    /// The earthing conductor at the means of earthing.
    EarthingConductor,
    /// A whole accessory or piece of equipment.
    Accessory,
    Lamp,
    Cover,
    Lock,
    Fuse,
    /// A switch whose position was changed, a two-way pair among them.
    Switch,
    /// The link that is asked for, or the one that is on: "linked", "link off".
    Link,
    /// Everything on the list at once ("all back").
    Everything,
}

/// How it was altered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// Out, off, removed, disconnected.
    Out,
    /// Back, on, refitted, reconnected.
    Back,
    /// Joined together for a test.
    Linked,
    /// The link taken off.
    Unlinked,
}

/// How a conductor that is out is kept from touching anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Parked {
    Connector,
    Taped,
}

/// Plain statements, each the answer to some step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Statement {
    /// "Done", "ready", "complete".
    Done,
    /// "Proved": the indicator works on a known source.
    Proved,
    /// "Not proved".
    NotProved,
    Isolated,
    LockedOff,
    Dead,
    Live,
    Energised,
    /// Leads apart.
    Open,
    /// Leads joined.
    Shorted,
    /// The resistance of the leads is taken off by the instrument.
    Nulled,
    Discharged,
    NothingConnected,
    PolarityCorrect,
    PolarityReversed,
    Tripped,
    NoTrip,
    Pass,
    Fail,
    /// Phase sequence.
    SequenceCorrect,
    SequenceReversed,
}

/// Why something was not done. Listed reasons are heard; any other is kept as sound or typed.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    EquipmentCannotBeTakenOut,
    NoAccess,
    ClientRequest,
    InUse,
    Damaged,
    NotApplicable,
    InstrumentFault,
    Unsafe,
    OutOfTime,
    /// Given by the instructor or the person in charge.
    Instructed,
    /// "Reason on the recording": the sound kept with this utterance tells.
    OnTheRecording,
}

/// Quantities of the trade that have a name of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
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
}

/// Half-cycle of an RCD test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum HalfCycle {
    Positive,
    Negative,
}

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

/// How the program should speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Manner {
    Quieter,
    Louder,
    Slower,
    Faster,
}
