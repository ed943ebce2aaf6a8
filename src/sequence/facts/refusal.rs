use super::event::{EventNo, Mode};
use super::id::StepId;
use crate::quantity::{Number, TestVoltage};
use crate::terms::{ItemNumber, Place, Predicted, Stage};
use serde::{Deserialize, Serialize};

/// Why something asked for is refused. What is barred by the out-list, or by a dead test outside its
/// limit, may be overridden with a spoken reason; the others may not.
///
/// No sentences: what is said of a refusal is made from it and the state it was met in. Logs of the
/// first version hold some words in the fields called `what` and `wanted`; they are said as they
/// stand there, and nothing writes them any more.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "bar", rename_all = "kebab-case")]
pub enum Refusal {
    /// The board has not been isolated and proved dead.
    NotProvedDead {
        /// The board's number.
        board: u16,
    },
    /// Electronics are known or suspected in the circuit.
    ElectronicsInCircuit {
        /// The circuit's number.
        circuit: u16,
        /// What is in.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        inside: Vec<Electronics>,
        /// The same in words, by the first version.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        what: Option<String>,
    },
    /// Things are still out.
    StillOut {
        /// How many.
        entries: u32,
    },
    /// Links or the earthing conductor: what no reason makes right to leave.
    MustGoBack {
        /// How many.
        entries: u32,
    },
    /// Dead tests are outside their limits before energising.
    DeadTestsFailed {
        /// The board's number.
        board: u16,
        /// How many.
        steps: u32,
    },
    /// Another step has to be done before.
    FirstComes {
        /// That step.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step: Option<StepId>,
        /// What it asks, in words, by the first version.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        what: Option<String>,
    },
    /// Dead tests that no reason makes right to energise: a short, a fault of the line to earth,
    /// reversed polarity.
    MustBePutRight {
        /// The board's number.
        board: u16,
        /// How many.
        steps: u32,
    },
    /// Conductors of the pair are joined by a link or a crossing: the reading would be of that.
    Joined {
        /// Which entries of the list join them.
        entries: Vec<EventNo>,
    },
    /// The circuit stays off.
    CircuitOff {
        /// The circuit's number.
        circuit: u16,
    },
    /// A bare reason is not enough: what was seen must be noted.
    ObservationNeeded,
    /// The word "dead" is wanted, not a voltage of nothing.
    SayDead,
    /// Dead tests are still open before energising.
    DeadTestsOpen {
        /// How many.
        steps: u32,
    },
    /// The board is not energised.
    NotEnergised {
        /// The board's number.
        board: u16,
    },
    /// The board is energised: no dead test on it.
    Energised {
        /// The board's number.
        board: u16,
    },
    /// A question waits for "affirm", "negative" or "correction".
    QuestionOpen,
    /// The session stands by, is paused, or records a note.
    Waiting {
        /// Which.
        mode: Mode,
    },
    /// An item that is not satisfactory is told with its code.
    CodeNeeded,
    /// That a whole section is as it should be is said item by item.
    ItemByItem,
    /// Circuits of the board are isolated each by itself, and this one was not.
    NotIsolated {
        /// The board's number.
        board: u16,
    },
    /// Said inside a note: it is kept as its words, and as nothing else.
    InANote,
    /// The session is finished.
    Finished,
    /// There is no such circuit, board or stage in the job, or nothing left to do there.
    NoSuchPlace {
        /// Where it was to go.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<Destination>,
        /// The same in words, by the first version.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        what: Option<String>,
    },
    /// The value cannot be a value of what was asked.
    WrongQuantity {
        /// What was asked, in words, by the first version.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        wanted: Option<String>,
    },
    /// Nothing to work Zs out from.
    NothingToCalculate {
        /// Whether the loop outside is not known.
        external: bool,
        /// Whether R1+R2 was not read.
        r1_r2: bool,
    },
    /// No step now takes such an answer.
    NotAskedNow {
        /// What is asked, in words, by the first version.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        wanted: Option<String>,
    },
    /// Nothing like that is on the out-list.
    NotOut,
    /// Several entries of the out-list could be meant.
    WhichOne {
        /// These.
        entries: Vec<EventNo>,
    },
    /// An alteration needs its place.
    WhereIsIt,
    /// Nothing is left out or gone past without its reason.
    ReasonNeeded {
        /// What the reason is for.
        what: LeftOut,
    },
    /// There is nothing to affirm, take back or override.
    NothingToAnswer,
    /// The step can't be left out: everything after it depends on it.
    CannotBeSkipped,
    /// A fault was named at a point that the circuit does not have, or that several have.
    NoSuchPoint {
        /// The point.
        place: Place,
    },
    /// A circuit of this number is there already.
    CircuitThere {
        /// The board's number.
        board: u16,
        /// The circuit's number.
        circuit: u16,
    },
    /// What was said of a circuit to be added is not understood, or no job could have it.
    CircuitNotClear {
        /// The board's number.
        board: u16,
        /// The circuit's number.
        circuit: u16,
        /// What was said of it.
        said: Vec<String>,
    },
    /// What was hidden is to be named before a practice ends.
    NameTheFault,
    /// What the reading will be, or its limit, is to be said before it is taken.
    PredictFirst {
        /// Which of them.
        of: Predicted,
    },
}

impl Refusal {
    /// Another step has to be done before.
    pub fn first_comes(step: &StepId) -> Self {
        Self::FirstComes {
            step: Some(step.clone()),
            what: None,
        }
    }

    /// No step now takes such an answer.
    pub fn not_asked_now() -> Self {
        Self::NotAskedNow { wanted: None }
    }

    /// Whether the person may override it with a spoken reason.
    pub fn may_be_overridden(&self) -> bool {
        matches!(self, Self::DeadTestsFailed { .. })
    }
}

/// What a reason is given for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeftOut {
    /// A step that will not be done.
    NotTested,
    /// A step that is left for later.
    Skipped,
    /// A refusal that is gone past.
    Overridden,
    /// A danger that was found in use: the person in charge is told, and decides.
    Danger,
}

/// Electronics in a circuit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Electronics {
    /// An accessory that the job lists as sensitive.
    Listed(Place),
    /// Something that a low reading at 250 V made likely.
    Suspected,
}

/// Where a move by voice goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Destination {
    /// A circuit.
    Circuit(u16),
    /// A board.
    Board(u16),
    /// A stage.
    Stage(Stage),
    /// The insulation tests at a voltage.
    TestsAt(TestVoltage),
    /// An item of the inspection.
    Item(ItemNumber),
    /// A section of the inspection, or one in which nothing is open.
    Section(u16),
}

/// Why a reading is surprising, so that it needs "affirm" before it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "doubt", rename_all = "kebab-case")]
pub enum Doubt {
    /// There is a reading for the step already.
    ReadBefore {
        /// That one.
        reading: EventNo,
    },
    /// Its verdict fails, can't be settled, or finds something odd.
    Verdict {
        /// What length and size of the cable give, Ω, where the reading is far from it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        expected: Option<Number>,
    },
    /// Low between live conductors, but no dead short.
    SomethingConnected,
    /// Leads apart that do not read over range.
    LeadsNotApart,
    /// Leads joined that do not read about zero.
    LeadsNotJoined,
    /// About zero between live conductors: a load, or a short.
    LoadOrShort,
    /// A short: fewer ohms than any load has, or about zero with the loads out.
    Short,
    /// A number without a unit that could be the voltage of the supply.
    MaybeVolts,
    /// The step was answered by this, which was no reading.
    SaidBefore {
        /// That event.
        event: EventNo,
    },
}
