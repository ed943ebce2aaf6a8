//! The procedures of the job: which steps they plan, what bars and closes them, how their readings
//! are assessed, and where their results stand on the schedule. Over a read-only state, and
//! without a word of what is said, which stands in `say`; labels for reports stand here.
//!
//! A procedure that bars its own steps, or plans otherwise by edition, is one file here; another is
//! a row of [`table`], or of the file with what only it knows. All are entered in [`Catalogue::shipped`], whose order is the order of the job.

pub mod assess;
mod build;
mod catalogue;
mod continuity;
mod energise;
mod external_loop;
mod fault;
pub mod inspection;
mod instruments;
mod insulation;
mod isolation;
mod make_safe;
mod put_back;
mod reconnected;
mod reopened;
pub mod table;
mod visit;

pub use assess::{Assessment, pattern, pattern_now};
pub use build::StepBuilder;
pub use catalogue::{Catalogue, Slot};
pub use fault::{Fault, fault_of, is_danger, is_supply_fault};
pub(super) use fault::{is_a_short, is_about_zero, is_test_voltage, like_the_supply};
pub use instruments::reference_of;
pub use insulation::{
    joined_to_earth, lives_linked, tested_joined_instead, waits_for_all_together,
};
pub use put_back::to_put_back;
pub use reconnected::not_tested_since_back;
pub use reopened::reopened;
pub(super) use table::bond_place;
pub use table::{POLARITY_COLUMN, RING_ENDS, SUPPLY_VOLTAGE, is_surge};

use super::facts::{Column, Edition, EventNo, Order, ProcedureId, Refusal, Step};
use super::state::{ReadingRecord, State, StepOutcome};
use crate::installation::{Board, Circuit, Job};
use crate::quantity::Reading;
use crate::terms::{Stage, Statement};
use std::fmt::Debug;

/// A test of an installation. Everything in it is pure: the state in, steps, refusals and
/// assessments out.
pub trait Procedure: Sync + Debug {
    /// Its name.
    fn id(&self) -> ProcedureId;

    /// The stage its steps belong to.
    fn stage(&self) -> Stage;

    /// Its steps for one circuit, or for the whole board when none is given.
    fn plan(
        &self,
        job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        edition: Edition,
    ) -> Vec<Step>;

    /// What the step orders out, off, linked, crossed or disconnected. Every prompt that does so
    /// declares it here, and has a step that puts it back.
    fn orders(&self, _state: &State, _step: &Step) -> Vec<Order> {
        Vec::new()
    }

    /// Whether the step still waits to be done.
    fn is_open(&self, state: &State, step: &Step) -> bool {
        state.waits(step)
    }

    /// What bars the step, beyond what holds for all steps of its stage.
    ///
    /// # Errors
    /// The refusal.
    fn guard(&self, _state: &State, _step: &Step) -> Result<(), Refusal> {
        Ok(())
    }

    /// What may answer the step besides what it asks for.
    fn answers(&self, step: &Step) -> Answers {
        Answers {
            may_be_left_out: (step.is_dead_test() || step.is_live_work()) && !step.kind.puts_back(),
            ..Answers::default()
        }
    }

    /// What is thought of a reading, which has its pair, unit and voltage filled in.
    fn assess(&self, _state: &State, _step: &Step, _reading: &Reading) -> Assessment {
        Assessment::noted()
    }

    /// The column of the schedule that the step's result stands in.
    fn column(&self, _step: &Step) -> Option<&'static Column> {
        None
    }

    /// All its columns, in the order of the schedule.
    fn columns(&self) -> &'static [&'static Column] {
        &[]
    }

    /// What a step is on paper, where its quantity or stage does not say it.
    fn label(&self, _step: &Step) -> Option<String> {
        None
    }

    /// The answer to a step, where it stands among the exceptions of the schedule: a reading that its
    /// verdict makes one, or a statement of what is not as it should be.
    fn exception(&self, state: &State, step: &Step) -> Option<EventNo> {
        outside_its_limit(state, step)
    }

    /// The later reading that shows that an exception was dealt with.
    fn settled_by<'a>(
        &self,
        _state: &'a State,
        _step: &Step,
        _record: &ReadingRecord,
    ) -> Option<&'a ReadingRecord> {
        None
    }

    /// Its prompts, when it brings them itself: in the form of `say/prompts.toml`.
    fn prompts(&self) -> &'static str {
        ""
    }
}

/// What may answer a step besides what it asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Answers {
    /// Statements that may stand for a reading that is asked for.
    pub instead_of_reading: &'static [Statement],
    /// Whether a plain "done" may stand for the statement asked for.
    pub accepts_done: bool,
    /// Whether "not tested" or "skip" with a reason may close it.
    pub may_be_left_out: bool,
}

impl Default for Answers {
    fn default() -> Self {
        Self {
            instead_of_reading: &[],
            accepts_done: true,
            may_be_left_out: false,
        }
    }
}

/// What closed a step and is outside its limit, or should not have been so.
fn outside_its_limit(state: &State, step: &Step) -> Option<EventNo> {
    match state.outcome(step)? {
        StepOutcome::Read(no) => {
            let verdict = state.reading(*no)?.verdict.as_ref()?;
            verdict.is_exception().then_some(*no)
        }
        StepOutcome::Stated(no, statement) => step.is_wrong(*statement).then_some(*no),
        StepOutcome::NotTested(..) | StepOutcome::Skipped(..) => None,
    }
}
