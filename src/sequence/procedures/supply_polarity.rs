use super::{Maker, Procedure, polarity};
use crate::installation::{Board, Job};
use crate::sequence::plan::Step;
use crate::sequence::speak::Line;
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

/// Polarity of the supply at the origin, checked before anything else is tested live. BS 7671
/// 643.6.
#[derive(Debug)]
pub struct SupplyPolarity;

impl Procedure for SupplyPolarity {
    fn stage(&self) -> Stage {
        Stage::SupplyPolarity
    }

    fn board_steps(&self, _job: &Job, board: &Board) -> Vec<Step> {
        let make = Maker::board(&SupplyPolarity, board, "polarity");
        vec![make.statement(
            "supply",
            "supply-polarity",
            &[Statement::PolarityCorrect, Statement::PolarityReversed],
            "Polarity of the supply at the incoming terminals. Say polarity correct, or polarity reversed.",
            "Polarity of the supply.",
        )]
    }

    fn after_statement(&self, _state: &State, _step: &Step, statement: Statement) -> Vec<Line> {
        polarity::reversed(statement)
    }
}
