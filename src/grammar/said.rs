use crate::quantity::{Number, Pair, Reading, TestVoltage, Unit};
use crate::terms::{
    Alteration, Between, Change, HalfCycle, HiddenFault, ItemNumber, NamedQuantity, Place,
    Predicted, ProsodyChange, Reason, Setting, Stage, Statement,
};
use serde::{Deserialize, Serialize};

/// What a person meant: the meaning of one utterance, apart from the words used.
///
/// Made from words by [`super::Grammar::understand`]; two utterances with equal `Intent` are the
/// same thing said differently.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Intent {
    /// A meaning of somebody else's grammar ([`super::Grammar::foreign`]): its tags in order, or the
    /// words where there are none. It is measured, and means nothing to a session.
    Foreign(String),
    /// What the trade says and no step takes, such as "lid on": it is answered with what to say instead, and
    /// never comes to a session.
    TradeTalk,
    /// A measured value, with the place it was taken at when that was said too.
    Reading {
        /// The value, and what was said with it.
        reading: Reading,
        /// Where it was taken, when that was said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// Which half-cycle an RCD was tested on.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        half: Option<HalfCycle>,
    },
    /// A measured value said with the name of what was measured: "r one zero point three one".
    /// Means the same as [`Intent::Reading`] where that measurement was asked for.
    Measured {
        /// The name that was said.
        measure: NamedQuantity,
        /// The value, and what was said with it.
        reading: Reading,
        /// Where it was taken, when that was said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// Something taken out, put back, linked, unlinked, removed or refitted.
    Altered(Alteration),
    /// A plain statement that a step asks for: "locked off", "dead", "polarity correct".
    Stated(Statement),
    /// A statement about one pair or one place: "line to neutral dead", "polarity correct at
    /// socket three". At least one of the two is there; otherwise it is [`Intent::Stated`].
    StatedAt {
        /// What is stated.
        state: Statement,
        /// Between which conductors.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pair: Option<Pair>,
        /// Where.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// "Affirm": yes, what was read back is right.
    Affirm,
    /// "Negative": no, that is not right.
    Negative,
    /// "Correction", with the right words when they followed.
    Correction(Option<Box<Intent>>),
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
    /// "What is left": the open steps, by stage.
    WhatIsLeft,
    /// "What is next": the step after the one asked for.
    WhatIsNext,
    /// "What is the limit": what the value that is asked for may be, and should be.
    WhatIsTheLimit,
    /// "What did I say", of the last reading or of a circuit's.
    WhatDidISay(Option<u16>),
    /// "What can I say": the answers that the step takes.
    Help,
    /// "Finish": end the session.
    Finish,
    /// "Circuit three stays off": it is left off while the rest goes on.
    StaysOff(u16),
    /// "One more socket on circuit three": a point that the job lacks.
    AddPoint {
        /// What it is called, without a number.
        name: String,
        /// On which circuit.
        circuit: u16,
    },
    /// "Add circuit five, ring, thirty-two amp B, eight sockets": a circuit that the job lacks.
    AddCircuit {
        /// Its number.
        number: u16,
        /// What was said of it, a piece or a typed line each, as `draft::CircuitWords` takes it in.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        said: Vec<String>,
    },
    /// "Two point five by one point five, eighteen metres": more of the circuit that is being added, or an
    /// answer in the interview that begins a job; a piece each.
    Pieces(Vec<String>),
    /// "Item four point three, satisfactory": said of an item of the inspection by its number.
    Inspected {
        /// Which.
        item: ItemNumber,
        /// What was said of it.
        state: Statement,
    },
    /// "Section six, not applicable": of every item of it that is open.
    InspectedSection {
        /// Which.
        section: u16,
        /// What was said of each.
        state: Statement,
    },
    /// "Observation, code two, circuit three": what follows is its words.
    Observed {
        /// C1, C2, C3 or FI.
        code: Statement,
        /// On which circuit, when that was said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        circuit: Option<u16>,
        /// Where, when that was said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// "Observation": what follows is kept, and stands as the reason for going past what bars the
    /// way.
    Observe,
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
    /// "Probes line to neutral at socket three": where the probes of a practice are.
    Probe {
        /// How the instrument is set; as the step needs it when it was not said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        setting: Option<Setting>,
        /// Between what the probes are.
        between: Between,
        /// Where.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// On which circuit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        circuit: Option<u16>,
    },
    /// "What does it show": what the instrument of a practice shows by now.
    WhatDoesItShow,
    /// "Breaker on again", "r c d on again on circuit two": what tripped in a practice is switched on.
    SwitchedOn(Option<u16>),
    /// "I expect zero point four", "the limit is one point three": said before a reading of a practice.
    Predict {
        /// Which of them.
        of: Predicted,
        /// What was said; nothing for "no limit".
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reading: Option<Reading>,
    },
    /// "The fault is an open leg of the line at socket three"; nothing for "there is no fault".
    Diagnose(Option<HiddenFault>),
    /// "Quieter", "slower" and the like.
    #[serde(rename = "manner")]
    ProsodyChange(ProsodyChange),
}

impl Intent {
    /// Whether it lets something go ahead, or says that something is as it must be for that: what may
    /// never be taken from a sound that only resembles it.
    pub fn is_a_permission(&self) -> bool {
        match self {
            Self::Stated(state) | Self::StatedAt { state, .. } => matches!(
                state,
                Statement::Dead
                    | Statement::Proved
                    | Statement::Isolated
                    | Statement::LockedOff
                    | Statement::Energised
                    | Statement::Discharged
                    | Statement::NothingConnected
                    | Statement::DoublePole
            ),
            Self::Altered(alteration) => {
                matches!(
                    alteration.change,
                    Change::Back | Change::Unlinked | Change::Uncrossed
                )
            }
            Self::Both(change) => *change == Some(Change::Back),
            Self::Correction(Some(right)) => right.is_a_permission(),
            _ => false,
        }
    }

    /// Whether it is a question about the session, which changes nothing in it.
    pub fn only_asks(&self) -> bool {
        matches!(
            self,
            Self::SayAgain
                | Self::WhereAreWe
                | Self::WhatIsOut
                | Self::HowLongIsLeft
                | Self::WhatIsLeft
                | Self::WhatIsNext
                | Self::WhatIsTheLimit
                | Self::WhatDidISay(_)
                | Self::Help
        )
    }

    /// Whether it warns of voltage, whatever the step: "it is live", "two three zero volts".
    pub fn is_a_warning(&self) -> bool {
        match self {
            Self::Stated(Statement::Live | Statement::Stop)
            | Self::StatedAt {
                state: Statement::Live,
                ..
            } => true,
            Self::Reading { reading, .. } => {
                let number = reading.number.map_or(0.0, Number::value);
                reading.unit == Some(Unit::Volt) && number > 0.0
            }
            Self::Correction(Some(right)) => right.is_a_warning(),
            _ => false,
        }
    }
}
