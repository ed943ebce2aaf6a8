use super::{Maker, Procedure};
use crate::installation::{Board, Circuit, Job};
use crate::sequence::plan::Step;
use crate::sequence::speak::Line;
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

/// Functional checks: switchgear, controls, interlocks, arc fault detection where fitted. BS 7671
/// 643.10.
#[derive(Debug)]
pub struct Functional;

impl Procedure for Functional {
    fn stage(&self) -> Stage {
        Stage::Functional
    }

    fn board_steps(&self, _job: &Job, board: &Board) -> Vec<Step> {
        let make = Maker::board(&Functional, board, "functional");
        let arc_fault: Vec<&Circuit> = board.circuits.iter().filter(|c| c.afdd).collect();
        let mut steps = vec![make.statement(
            "switchgear",
            "functional",
            &[Statement::Pass, Statement::Fail],
            "Functional checks: switchgear, controls, interlocks. Say pass, or fail.",
            "Functional checks.",
        )];
        steps.extend(arc_fault.iter().map(|circuit| {
            make.statement(
                &format!("arc-fault/{}", circuit.number),
                "functional-arc-fault",
                &[Statement::Pass, Statement::Fail],
                format!(
                    "Circuit {}, arc fault detection device: press its test. Say pass, or fail.",
                    circuit.number
                ),
                format!("Circuit {}, arc fault test.", circuit.number),
            )
        }));
        steps
    }

    fn after_statement(&self, _state: &State, _step: &Step, statement: Statement) -> Vec<Line> {
        if statement == Statement::Fail {
            vec![Line::warning("Fail. It stands as an exception.")]
        } else {
            Vec::new()
        }
    }
}
