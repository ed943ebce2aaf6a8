use super::{Answers, Procedure, StepBuilder, insulation};
use crate::installation::{Board, Circuit, Job};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Edition, ProcedureId, Refusal, Step, StepKind};
use crate::sequence::state::{OutEntry, State};
use crate::terms::{Part, Stage};

/// Everything that was taken out, linked or switched over for a test is put back: on each circuit
/// before the next, and on the whole board before energising.
#[derive(Debug)]
pub(super) struct PutBack;

impl Procedure for PutBack {
    fn id(&self) -> ProcedureId {
        ProcedureId("put-back")
    }

    fn stage(&self) -> Stage {
        Stage::PutBack
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        _edition: Edition,
    ) -> Vec<Step> {
        let tail = circuit.map_or("board", |_| "circuit");
        let build = StepBuilder::new(self, board, circuit, "confirm");
        vec![build.event(tail, StepKind::PutBack)]
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let something_out = to_put_back(state, step).next().is_some();
        match step.circuit {
            Some(_) => {
                state.waits(step)
                    && !insulation::waits_for_all_together(state, step.board)
                    && something_out
            }
            None => something_out,
        }
    }

    /// Nothing is put back before it is proved dead; on a live board its prompt says how.
    fn guard(&self, state: &State, step: &Step) -> Result<(), Refusal> {
        let board = step.board;
        let first_edition = state.edition() == Edition::First;
        let unguarded = first_edition || breakage::is(Break::PutBackUnproved);
        if unguarded || state.energised(board) || state.proved_dead(board) {
            return Ok(());
        }
        Err(Refusal::NotProvedDead { board })
    }

    fn answers(&self, step: &Step) -> Answers {
        Answers {
            may_be_left_out: step.circuit.is_some(),
            ..Answers::default()
        }
    }
}

/// What a put-back step is about.
pub fn to_put_back<'a>(
    state: &'a State,
    step: &'a Step,
) -> impl Iterator<Item = &'a OutEntry> + use<'a> {
    // The earthing conductor, off while the external loop is read, is asked for there.
    let for_the_loop = move |entry: &OutEntry| {
        let first = state.edition() == Edition::First;
        first && entry.part == Part::EarthingConductor && state.energised(entry.board)
    };
    // What was only ordered is asked about by itself.
    state.barring_entries().filter(move |entry| {
        entry.board == step.board
            && (step.circuit.is_none() || entry.circuit == step.circuit)
            && entry.ordered.is_none()
            && !for_the_loop(entry)
    })
}
