//! What a session knows: its events applied in order, kept in eight ledgers. It knows the plan, and
//! no procedure: what is open, barred or asked next is for those above it.
//!
//! | ledger | holds |
//! | --- | --- |
//! | `steps` | how each step came to be closed, and which failed ones were accepted |
//! | `readings` | every reading ever heard, and whether it counts |
//! | `out_list` | everything ever taken out, linked or switched over |
//! | `pending` | the open question, what would be taken back, what was refused, overrides |
//! | `cursor` | where the person moved to |
//! | `pace` | when things happened |
//! | `observations` | what was seen and stands on the report with its code |
//! | `boards` | what locks are off for energising, and which circuits stay off |
//!
//! `fold` changes the ledgers, event by event; `views` is what may be asked of them, and `isolation` what of
//! whole boards.
//!
//! Whether a board is dead no ledger holds: it follows from the steps of its isolation.

mod boards;
mod cursor;
mod fold;
mod isolation;
mod observations;
mod out_list;
mod pace;
mod pending;
mod readings;
mod steps;
mod views;

pub use observations::Observation;
pub(super) use out_list::goes_on;
pub use out_list::{OutEntry, place_of};
pub use pace::{ABSENCE, LONG_ABSENCE};
pub use pending::{Override, Question};
pub use readings::{ReadingRecord, ReadingStatus};
pub use steps::StepOutcome;

pub(in crate::sequence) use pace::is_another_day;

use super::facts::{Edition, Event, EventNo, Mode, Plan, Refusal, StepId};
use crate::installation::Job;
use crate::limits::Tables;
use crate::terms::{Delivery, Practice, Predicted};
use boards::Boards;
use cursor::Cursor;
use jiff::{SignedDuration, Timestamp};
use observations::Observations;
use out_list::OutList;
use pace::Pace;
use pending::Pending;
use readings::Readings;
use rpds::HashTrieSetSync;
use serde::{Serialize, Serializer};
use std::sync::Arc;
use steps::StepOutcomes;

/// Everything a session knows: its events, applied in order. Nothing else changes it.
#[derive(Debug, Clone)]
pub struct State {
    plan: Arc<Plan>,
    tables: Arc<Tables>,
    job: Arc<Job>,
    /// The job as a file said last: what was added by voice is not in it.
    written: Arc<Job>,
    edition: Edition,
    delivery: Delivery,
    practice: Option<Arc<Practice>>,
    predicted: HashTrieSetSync<(StepId, Predicted)>,
    diagnosed: bool,
    next: EventNo,
    mode: Mode,
    steps: StepOutcomes,
    readings: Readings,
    out_list: OutList,
    pending: Pending,
    cursor: Cursor,
    pace: Pace,
    observations: Observations,
    boards: Boards,
}

/// The ledgers as one flat object, in the shape that logs of the first edition are compared in.
#[derive(Serialize)]
struct Flat<'a> {
    job: &'a Job,
    opened: Timestamp,
    last_event_at: Timestamp,
    next: EventNo,
    mode: Mode,
    progress: &'a StepOutcomes,
    readings: &'a Readings,
    out: &'a OutList,
    question: &'a Option<Question>,
    last_taken: &'a Option<EventNo>,
    last_bar: &'a Option<Refusal>,
    focus: &'a Option<StepId>,
    again: &'a Option<StepId>,
    overrides: &'a [Override],
    accepted: &'a std::collections::BTreeSet<StepId>,
    answered: u32,
    working: SignedDuration,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    observations: &'a [Observation],
    #[serde(flatten)]
    boards: &'a Boards,
}

impl Serialize for State {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Flat {
            job: &self.job,
            opened: self.pace.opened,
            last_event_at: self.pace.last_event_at,
            next: self.next,
            mode: self.mode,
            progress: &self.steps,
            readings: &self.readings,
            out: &self.out_list,
            question: &self.pending.question,
            last_taken: &self.pending.last_taken,
            last_bar: &self.pending.last_refusal,
            focus: &self.cursor.focus,
            again: &self.cursor.again,
            overrides: &self.pending.overrides,
            accepted: self.steps.accepted(),
            answered: self.pace.answered,
            working: self.pace.working,
            observations: self.observations.all(),
            boards: &self.boards,
        }
        .serialize(serializer)
    }
}

impl State {
    /// The state after a log's first event, with the plan of its job.
    ///
    /// # Errors
    /// When the first event is not [`Event::Opened`].
    pub fn open(
        event: &Event,
        at: Timestamp,
        plan: impl FnOnce(&Job, Edition) -> Plan,
    ) -> Result<Self, ReplayError> {
        let Event::Opened {
            job,
            edition,
            delivery,
            practice,
            ..
        } = event
        else {
            return Err(ReplayError::NotOpened);
        };
        let plan = Arc::new(plan(job, *edition));
        Ok(Self {
            steps: StepOutcomes::new(&plan),
            plan,
            tables: Arc::new(Tables::shipped().clone()),
            job: Arc::new((**job).clone()),
            written: Arc::new((**job).clone()),
            edition: *edition,
            delivery: *delivery,
            practice: practice.as_deref().cloned().map(Arc::new),
            predicted: HashTrieSetSync::new_sync(),
            diagnosed: false,
            next: EventNo(1),
            mode: Mode::Running,
            readings: Readings::default(),
            out_list: OutList::default(),
            pending: Pending::default(),
            cursor: Cursor::default(),
            pace: Pace::from(at),
            observations: Observations::default(),
            boards: Boards::default(),
        })
    }

    /// The same with another job and its plan: what was done of steps that both have stays.
    #[must_use]
    pub(in crate::sequence) fn under(mut self, job: &Job, plan: Plan) -> Self {
        let plan = Arc::new(plan);
        self.steps = self.steps.under(&plan);
        for at in [&mut self.cursor.focus, &mut self.cursor.again] {
            at.take_if(|id| plan.position(id).is_none());
        }
        self.job = Arc::new(job.clone());
        self.plan = plan;
        self
    }
}

/// A number of entries or steps as events keep it.
pub(super) fn count(entries: usize) -> u32 {
    u32::try_from(entries).unwrap_or(u32::MAX)
}

/// Why a log can't be replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReplayError {
    /// There is no event.
    #[error("the log holds no events")]
    Empty,
    /// The first event is another.
    #[error("the log does not begin with the job it is for")]
    NotOpened,
}
