use super::{Maker, Procedure, measure};
use crate::grammar::Stage;
use crate::installation::{Board, Circuit, Job, SystemVoltage};
use crate::quantity::{Pair, Reading, Unit};
use crate::sequence::judging;
use crate::sequence::plan::{Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::state::{State, place_of};

/// Earth fault loop impedance at the furthest point of each circuit. BS 7671 643.7.3.
#[derive(Debug)]
pub struct LoopImpedance;

impl Procedure for LoopImpedance {
    fn stage(&self) -> Stage {
        Stage::LoopImpedance
    }

    fn circuit_steps(&self, _job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        if matches!(circuit.system, SystemVoltage::Selv | SystemVoltage::Pelv) {
            return Vec::new();
        }
        let make = Maker::circuit(&LoopImpedance, board, circuit, "loop");
        let furthest = circuit.points.last().map(place_of);
        let place = furthest
            .as_ref()
            .map_or_else(|| "the furthest point".to_owned(), ToString::to_string);
        let step = make.reading(
            "furthest",
            "loop-impedance",
            measure(Quantity::LoopImpedance, Some(Pair::LE), Unit::Ohm),
            format!(
                "Circuit {}, {}. Loop impedance, line to earth at {place}. Say the reading.",
                circuit.number, circuit.name
            ),
            format!("Circuit {}, loop at {place}.", circuit.number),
        );
        vec![Step {
            place: furthest,
            ..step
        }]
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::loop_impedance(state, step, reading)
    }
}
