use super::{Maker, Procedure};
use crate::installation::{Board, Circuit, Job};
use crate::sequence::plan::Step;
use crate::sequence::speak::Line;
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

/// Polarity of a dead circuit: single-pole devices in the line conductor only, and accessories
/// connected the right way. BS 7671 643.6.
#[derive(Debug)]
pub struct Polarity;

impl Procedure for Polarity {
    fn stage(&self) -> Stage {
        Stage::Polarity
    }

    fn circuit_steps(&self, _job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        let make = Maker::circuit(&Polarity, board, circuit, "polarity");
        vec![make.statement(
            "dead",
            "polarity",
            &[Statement::PolarityCorrect, Statement::PolarityReversed],
            format!(
                "Circuit {}, {}. Polarity at every point: fuses, switches and single-pole devices in the line only. Say polarity correct, or polarity reversed.",
                circuit.number, circuit.name
            ),
            format!("Circuit {}. Polarity.", circuit.number),
        )]
    }

    fn after_statement(&self, _state: &State, _step: &Step, statement: Statement) -> Vec<Line> {
        reversed(statement)
    }
}

/// What is said when polarity is wrong.
pub fn reversed(statement: Statement) -> Vec<Line> {
    if statement == Statement::PolarityReversed {
        vec![Line::warning(
            "Polarity reversed. Put it right and test again before energising.",
        )]
    } else {
        Vec::new()
    }
}
