use super::{Maker, Procedure};
use crate::installation::{Board, Job};
use crate::sequence::event::Bar;
use crate::sequence::plan::Step;
use crate::sequence::speak::{self, Line};
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

/// The way to energising: covers on, locks off, and only with the out-list empty and every dead
/// test done or its reason recorded.
#[derive(Debug)]
pub struct Energise;

impl Procedure for Energise {
    fn stage(&self) -> Stage {
        Stage::Energise
    }

    fn board_steps(&self, _job: &Job, board: &Board) -> Vec<Step> {
        let make = Maker::board(&Energise, board, "confirm");
        vec![
            make.statement(
                "covers",
                "covers",
                &[Statement::Done],
                "Covers and barriers on, nobody working on it, tools out. Say done.",
                "Covers on, nobody on it. Say done.",
            ),
            make.statement(
                "on",
                "energise",
                &[Statement::Energised],
                "Take the locks and notices off and energise. Say energised.",
                "Locks off, energise. Say energised.",
            ),
        ]
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        state.waits(step) && !state.energised(step.board)
    }

    fn guard(&self, state: &State, step: &Step) -> Result<(), Bar> {
        state.nothing_out()?;
        let count = |steps: usize| u32::try_from(steps).unwrap_or(u32::MAX);
        let open = state
            .open_steps()
            .filter(|other| other.board == step.board && other.is_dead_test())
            .count();
        if open > 0 {
            return Err(Bar::DeadTestsOpen { steps: count(open) });
        }
        let board = step.board;
        if !state.proved_dead(board) {
            return Err(Bar::NotProvedDead { board });
        }
        let failed = state.failed_dead(board).count();
        if failed > 0 {
            return Err(Bar::DeadTestsFailed {
                board,
                steps: count(failed),
            });
        }
        let mut before = state
            .plan()
            .energising(board)
            .filter(|other| other.order < step.order);
        match before.find(|other| state.waits(other)) {
            Some(other) => Err(Bar::FirstComes {
                what: other.brief.clone(),
            }),
            None => Ok(()),
        }
    }

    fn prompt(&self, state: &State, step: &Step) -> Option<(String, String)> {
        let failed = speak::failed(state, step.board);
        (!failed.is_empty()).then(|| {
            (
                format!(
                    "Outside the limit: {failed}. Put it right and test again: say the circuit. Or say override and a reason."
                ),
                format!("Outside the limit: {failed}. Test it again, or override with a reason."),
            )
        })
    }

    fn after_statement(&self, _state: &State, _step: &Step, statement: Statement) -> Vec<Line> {
        if statement == Statement::Energised {
            vec![Line::warning("You say it is energised. Live from here on.")]
        } else {
            Vec::new()
        }
    }

    /// "Done" is not "energised": the word itself must be said.
    fn done_will_do(&self) -> bool {
        false
    }
}
