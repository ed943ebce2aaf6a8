use super::{Answers, Procedure, StepBuilder};
use crate::installation::{Board, Circuit, Job};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Edition, ProcedureId, Refusal, Step, StepKind};
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

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
        state.waits(step) && !state.energised(step.board)
    }

    fn guard(&self, state: &State, step: &Step) -> Result<(), Refusal> {
        let mut before = state
            .plan()
            .energising(step.board)
            .filter(|other| other.order < step.order);
        match before.find(|other| state.waits(other)) {
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
