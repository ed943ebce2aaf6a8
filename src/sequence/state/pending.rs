use super::super::facts::{EventNo, Refusal, StepId};
use super::steps::StepOutcome;
use crate::terms::{Place, Reason, Statement};
use jiff::Timestamp;
use serde::Serialize;

/// What waits for "affirm" or "negative".
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Question {
    /// Whether a surprising reading is right.
    Reading(EventNo),
    /// Whether all these entries of the out-list are back.
    AllBack(EventNo, Vec<EventNo>),
    /// Whether an entry of the out-list, named second, never was out.
    NeverOut(EventNo, EventNo),
    /// Whether a step was surely answered so, at the place said.
    Statement(EventNo, StepId, Statement, Option<Place>),
    /// Whether to add this point to a circuit, by board and number.
    Point(EventNo, u16, u16, Place),
    /// Whether to add a circuit, by board and number, of which this was said.
    Circuit(EventNo, u16, u16, Vec<String>),
    /// Whether to finish with this many steps undone.
    Finish(EventNo, u32),
    /// Whether any of what was ordered out is out.
    IfOut(EventNo, Vec<EventNo>),
    /// Whether it is live.
    IfLive(EventNo),
}

impl Question {
    /// The event it is about.
    pub fn about(&self) -> EventNo {
        match self {
            Self::Reading(no)
            | Self::AllBack(no, _)
            | Self::NeverOut(no, _)
            | Self::Statement(no, ..)
            | Self::Point(no, ..)
            | Self::Circuit(no, ..)
            | Self::Finish(no, _)
            | Self::IfOut(no, _)
            | Self::IfLive(no) => *no,
        }
    }
}

/// A refusal the person went past, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Override {
    /// The event that did.
    pub no: EventNo,
    /// When.
    pub at: Timestamp,
    /// What barred the way.
    #[serde(rename = "bar")]
    pub refusal: Refusal,
    /// The reason given.
    pub reason: Reason,
    /// What was left out with it.
    pub entries: Vec<EventNo>,
}

/// What waits to be answered, and what "negative", "correction", "disregard" and "override" would
/// be about.
#[derive(Debug, Clone, Default)]
pub(super) struct Pending {
    pub(super) question: Option<Question>,
    pub(super) last_taken: Option<EventNo>,
    pub(super) last_refusal: Option<Refusal>,
    pub(super) overrides: Vec<Override>,
    /// Readings that a changed job puts in doubt, to be asked about one after the other.
    pub(super) anew: Vec<EventNo>,
    /// What closed the step of a questioned reading before it, by that reading.
    pub(super) before: Option<(EventNo, StepOutcome)>,
    /// What is noted now stands as a reason; and whether anything was noted.
    pub(super) observation: Option<bool>,
}

impl Pending {
    /// Something was taken that "negative", "correction" or "disregard" would take back.
    pub(super) fn taken(&mut self, no: EventNo) {
        self.last_taken = Some(no);
        self.last_refusal = None;
    }

    /// The question about this event, if that is what is open: it is answered.
    pub(super) fn answer(&mut self, of: EventNo) -> Option<Question> {
        self.question.take_if(|question| question.about() == of)
    }
}
