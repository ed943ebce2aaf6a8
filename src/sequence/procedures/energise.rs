use super::{Maker, Procedure};
use crate::grammar::{Stage, Statement};
use crate::installation::{Board, Job};
use crate::sequence::event::Bar;
use crate::sequence::plan::Step;
use crate::sequence::speak::Line;
use crate::sequence::state::State;

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
        state.progress(&step.id).is_none() && !state.energised(step.board)
    }

    fn guard(&self, state: &State, step: &Step) -> Result<(), Bar> {
        let open = state
            .open_steps()
            .filter(|other| other.board == step.board && other.is_dead_test())
            .count();
        let still_out = state.barring_entries().count();
        if still_out > 0 {
            return Err(Bar::StillOut {
                entries: u32::try_from(still_out).unwrap_or(u32::MAX),
            });
        }
        if open > 0 {
            return Err(Bar::DeadTestsOpen {
                steps: u32::try_from(open).unwrap_or(u32::MAX),
            });
        }
        let covers_open = step.id.0.ends_with("/on")
            && state
                .open_steps()
                .any(|other| other.board == step.board && other.id.0.ends_with("/covers"));
        if covers_open {
            return Err(Bar::DeadTestsOpen { steps: 0 });
        }
        Ok(())
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
