use super::{Maker, Procedure};
use crate::installation::{Board, Job};
use crate::sequence::event::Bar;
use crate::sequence::plan::Step;
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

/// Handover after the last board: instruments away, results and exceptions explained. BS 7671
/// Part 6, chapter 64: reporting.
#[derive(Debug)]
pub struct Handover;

impl Procedure for Handover {
    fn stage(&self) -> Stage {
        Stage::Handover
    }

    fn board_steps(&self, job: &Job, board: &Board) -> Vec<Step> {
        if job.boards.last() != Some(board) {
            return Vec::new();
        }
        let make = Maker::board(&Handover, board, "confirm");
        vec![make.statement(
            "explained",
            "handover",
            &[Statement::Done],
            "Hand over: explain results, exceptions and limits to the person in charge. Say done, then say finish.",
            "Handover. Say done.",
        )]
    }

    fn guard(&self, state: &State, _step: &Step) -> Result<(), Bar> {
        state.nothing_out()
    }

    fn may_be_left_out(&self, _step: &Step) -> bool {
        true
    }
}
