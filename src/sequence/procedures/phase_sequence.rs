use super::{Maker, Procedure};
use crate::installation::{Board, Job, Phases};
use crate::sequence::plan::Step;
use crate::sequence::speak::Line;
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

/// Phase sequence of a three-phase board. BS 7671 643.9.
#[derive(Debug)]
pub struct PhaseSequence;

impl Procedure for PhaseSequence {
    fn stage(&self) -> Stage {
        Stage::PhaseSequence
    }

    fn board_steps(&self, _job: &Job, board: &Board) -> Vec<Step> {
        if board.phases == Phases::Single {
            return Vec::new();
        }
        let make = Maker::board(&PhaseSequence, board, "functional");
        vec![make.statement(
            "board",
            "phase-sequence",
            &[Statement::SequenceCorrect, Statement::SequenceReversed],
            "Phase sequence at the board. Say sequence correct, or sequence reversed.",
            "Phase sequence.",
        )]
    }

    fn after_statement(&self, _state: &State, _step: &Step, statement: Statement) -> Vec<Line> {
        if statement == Statement::SequenceReversed {
            vec![Line::warning(
                "Sequence reversed. It stands as an exception: motors may run backwards.",
            )]
        } else {
            Vec::new()
        }
    }
}
