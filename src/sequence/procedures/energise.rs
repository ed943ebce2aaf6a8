use super::{Answers, Procedure, StepBuilder};
use crate::installation::{Board, Circuit, Job};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Edition, ProcedureId, Refusal, Step, StepKind};
use crate::sequence::state::{State, StepOutcome};
use crate::terms::{Stage, Statement};

/// Whether it was not said yet; of covers, not since the last dead test of the board.
fn waits(state: &State, step: &Step) -> bool {
    let Some(said) = state
        .outcome(step)
        .filter(|_| step.kind == StepKind::Covers)
    else {
        return state.waits(step);
    };
    let worked_on = |other: &Step| {
        let dead = !other.is_live_test() && !other.incoming && other.stage < Stage::Energise;
        let done = match state.outcome(other) {
            Some(outcome @ (StepOutcome::Read(_) | StepOutcome::Stated(..))) => outcome.no(),
            _ => return false,
        };
        dead && other.board == step.board && other.stage > Stage::Isolation && done > said.no()
    };
    state.edition() > Edition::First && state.plan().steps.iter().any(worked_on)
}

/// The way to energising: covers on, locks off. What bars it besides holds for the whole stage and
/// stands in the agenda.
#[derive(Debug)]
pub(super) struct Energise;

impl Procedure for Energise {
    fn id(&self) -> ProcedureId {
        ProcedureId("energise")
    }

    fn stage(&self) -> Stage {
        Stage::Energise
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        _circuit: Option<&Circuit>,
        _edition: Edition,
    ) -> Vec<Step> {
        let build = StepBuilder::new(self, board, None, "confirm");
        vec![
            build.statement("covers", StepKind::Covers, &[Statement::Done]),
            build.statement("on", StepKind::Energise, &[Statement::Energised]),
        ]
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        waits(state, step) && !state.energised(step.board)
    }

    fn guard(&self, state: &State, step: &Step) -> Result<(), Refusal> {
        let mut before = state
            .plan()
            .energising(step.board)
            .filter(|other| other.order < step.order);
        match before.find(|other| waits(state, other)) {
            Some(other) if !breakage::is(Break::CoversUnasked) => {
                Err(Refusal::first_comes(&other.id))
            }
            _ => Ok(()),
        }
    }

    /// "Done" is not "energised": the word itself must be said.
    fn answers(&self, _step: &Step) -> Answers {
        Answers {
            accepts_done: false,
            ..Answers::default()
        }
    }
}
