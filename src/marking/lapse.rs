use super::Criterion;
use crate::grammar::Intent;
use crate::log::Entry;
use crate::quantity::Reading;
use crate::sequence::{Agenda, EventNo, LeftOut, OutEntry, Refusal, Step, StepKind};
use crate::terms::{Consequence, Part, Probe, Stage, Statement};
use jiff::Timestamp;
use serde::Serialize;

/// One thing that was done or left undone otherwise than it should be.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lapse {
    /// What it counts against.
    pub criterion: Criterion,
    /// The event that shows it.
    pub event: EventNo,
    /// When.
    pub at: Timestamp,
    /// The circuit.
    pub circuit: Option<u16>,
    /// What it was.
    pub what: What,
    /// The sound it rests on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sound: Option<String>,
    /// What was still out then, where that is what it was about.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub still_out: Vec<StillOut>,
    /// The circuits of which something was outside its limit then.
    #[serde(skip)]
    pub concerns: Vec<u16>,
    /// The earlier lapse that it came of, by event: then it counts for nothing by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub under: Option<EventNo>,
}

impl Lapse {
    /// A lapse that an entry shows, of no circuit and without a sound.
    pub(super) fn at(entry: &Entry, criterion: Criterion, what: What) -> Self {
        Self {
            criterion,
            event: entry.no,
            at: entry.at,
            circuit: None,
            what,
            sound: None,
            still_out: Vec::new(),
            concerns: Vec::new(),
            under: None,
        }
    }
}

/// Something that was out when a lapse happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StillOut {
    /// By the event that put it on the list.
    pub event: EventNo,
    /// What and where, in words.
    pub what: String,
    /// How long by then, s.
    pub seconds: i64,
}

impl StillOut {
    /// Of what bars the way at a moment.
    pub(super) fn now(agenda: &Agenda, at: Timestamp) -> Vec<Self> {
        let barring = agenda.barring_entries();
        barring
            .map(|entry| Self {
                event: entry.no,
                what: what_is_out(entry),
                seconds: at.duration_since(entry.at).as_secs(),
            })
            .collect()
    }
}

/// An entry of the out-list in words, with its circuit.
pub(super) fn what_is_out(entry: &OutEntry) -> String {
    let circuit = entry.circuit.map(|n| format!(", circuit {n}"));
    format!("{}{}", entry.what(), circuit.unwrap_or_default())
}

impl What {
    /// Whether it is about something that is out.
    pub(super) fn is_about_what_is_out(&self) -> bool {
        let about = |refusal: &Refusal| {
            matches!(
                refusal,
                Refusal::StillOut { .. } | Refusal::MustGoBack { .. } | Refusal::Joined { .. }
            )
        };
        match self {
            Self::Refused { refusal } | Self::Overridden { refusal } => about(refusal),
            Self::Probed { refusal, .. } => refusal.as_ref().is_some_and(about),
            Self::LeftOpen { .. } => true,
            _ => false,
        }
    }
}

/// What a lapse was.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "lapse")]
pub enum What {
    /// Something said was refused.
    Refused {
        /// Why.
        #[serde(flatten)]
        refusal: Refusal,
    },
    /// Something was probed that would have been refused on site, and this came of it.
    Probed {
        /// Where.
        probe: Probe,
        /// Why it would have been refused; nothing where only its consequence tells.
        #[serde(rename = "refused", skip_serializing_if = "Option::is_none")]
        refusal: Option<Refusal>,
        /// What came of it.
        came: Vec<Consequence>,
    },
    /// Something was energised, and this came of it.
    Came {
        /// What came of it.
        came: Vec<Consequence>,
    },
    /// A bar was gone past with a reason.
    Overridden {
        /// Which.
        #[serde(flatten)]
        refusal: Refusal,
    },
    /// "Dead" was said of a pair that was not probed.
    NotProbed,
    /// This was said, and nothing was probed that could tell it.
    SaidUnprobed {
        /// What was said.
        statement: Statement,
    },
    /// "Dead" was said of a pair that showed this voltage.
    NotDead {
        /// What the indicator showed last.
        shown: Reading,
    },
    /// Conductors were taken out, linked or crossed while the circuit was live.
    AlteredLive,
    /// Readings were given that nothing was probed for.
    Invented {
        /// How many.
        readings: u32,
    },
    /// A ring was measured without its crossing.
    NotCrossed,
    /// A step was left out with a reason.
    LeftOut {
        /// Its stage.
        stage: Stage,
        /// How many of that stage and circuit.
        steps: u32,
    },
    /// Steps were not done when the session ended.
    Undone {
        /// Their stage.
        stage: Stage,
        /// How many.
        steps: u32,
    },
    /// Steps were passed over.
    PassedOver {
        /// How many.
        steps: u32,
    },
    /// Entries of the out-list were open at the end.
    LeftOpen {
        /// How many.
        entries: u32,
    },
    /// The work was ended for a voltage, and nothing that was probed showed one where there should be none.
    StoppedForNothing,
    /// Help was asked for.
    Helped,
}

/// What a refusal counts against; nothing where it is only about words. An act of isolation that came at
/// the wrong time is no lack of it.
pub(super) fn of_refusal(
    agenda: &Agenda,
    said: Option<&Intent>,
    refusal: &Refusal,
) -> Option<Criterion> {
    let isolating = matches!(
        said,
        Some(
            Intent::Stated(
                Statement::Isolated
                    | Statement::LockedOff
                    | Statement::Dead
                    | Statement::Proved
                    | Statement::Done
            ) | Intent::StatedAt { .. }
        )
    );
    Some(match refusal {
        Refusal::NotProvedDead { board } => of_isolation(agenda, *board),
        Refusal::Energised { .. } | Refusal::NotIsolated { .. } => Criterion::Isolation,
        Refusal::ElectronicsInCircuit { .. } => Criterion::TestVoltage,
        Refusal::MustGoBack { .. } if agenda.open_entries().any(OutEntry::is_of_the_earth) => {
            Criterion::Earth
        }
        Refusal::StillOut { .. } | Refusal::MustGoBack { .. } | Refusal::Joined { .. } => {
            // A bond is one of those that are out.
            if agenda
                .barring_entries()
                .any(|entry| entry.part == Part::Bond)
            {
                Criterion::Earth
            } else {
                Criterion::PutBack
            }
        }
        Refusal::DeadTestsFailed { .. } | Refusal::MustBePutRight { .. } => Criterion::Energising,
        Refusal::CircuitOff { .. } => Criterion::Energising,
        Refusal::DeadTestsOpen { .. } => Criterion::Complete,
        Refusal::FirstComes { .. } | Refusal::NotEnergised { .. } | Refusal::CannotBeSkipped => {
            match agenda.current() {
                Some(step) if step.stage == Stage::Isolation && !isolating => {
                    of_isolation(agenda, step.board)
                }
                _ => Criterion::Order,
            }
        }
        Refusal::ReasonNeeded {
            what: LeftOut::Danger,
        } => Criterion::Energising,
        Refusal::ObservationNeeded
        | Refusal::SayDead
        | Refusal::CodeNeeded
        | Refusal::InANote
        | Refusal::ItemByItem
        | Refusal::QuestionOpen
        | Refusal::Waiting { .. }
        | Refusal::Finished
        | Refusal::NoSuchPlace { .. }
        | Refusal::WrongQuantity { .. }
        | Refusal::NothingToCalculate { .. }
        | Refusal::NotAskedNow { .. }
        | Refusal::NotOut
        | Refusal::WhichOne { .. }
        | Refusal::WhereIsIt
        | Refusal::ReasonNeeded { .. }
        | Refusal::NothingToAnswer
        | Refusal::PredictFirst { .. }
        | Refusal::NoSuchPoint { .. }
        | Refusal::CircuitThere { .. }
        | Refusal::CircuitNotClear { .. }
        | Refusal::NameTheFault => return None,
    })
}

/// Which act of an isolation is the first that is missing.
fn of_isolation(agenda: &Agenda, board: u16) -> Criterion {
    let open = |step: &&Step| {
        step.board == board && step.stage == Stage::Isolation && agenda.is_open(step)
    };
    let first = agenda.plan().steps.iter().find(open);
    match first.map(|step| step.kind) {
        Some(StepKind::ProveBefore | StepKind::ProveAfter) => Criterion::Indicator,
        Some(kind) if kind.proves_dead() => {
            let proved = agenda.plan().steps.iter().any(|step| {
                step.board == board && step.kind.proves_dead() && !agenda.is_open(step)
            });
            // Nothing proved at all is no isolation.
            if proved {
                Criterion::EveryPair
            } else {
                Criterion::Isolation
            }
        }
        _ => Criterion::Isolation,
    }
}
