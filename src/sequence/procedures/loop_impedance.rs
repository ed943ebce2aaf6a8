use super::{Maker, Procedure, measure};
use crate::installation::{Board, Circuit, Job, Phases, SystemVoltage};
use crate::quantity::{Pair, Reading, Unit};
use crate::sequence::judging;
use crate::sequence::plan::{Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::state::{State, place_of};
use crate::terms::Stage;

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
        let lines: &[(Pair, &str, &str)] = match circuit.phases {
            Phases::Single => &[(Pair::LE, "furthest", "line")],
            Phases::Three => &[
                (Pair::THREE_PHASE[6], "furthest/L1", "line one"),
                (Pair::THREE_PHASE[7], "furthest/L2", "line two"),
                (Pair::THREE_PHASE[8], "furthest/L3", "line three"),
            ],
        };
        lines
            .iter()
            .map(|(pair, id, line)| Step {
                place: furthest.clone(),
                ..make.reading(
                    id,
                    "loop-impedance",
                    measure(Quantity::LoopImpedance, Some(*pair), Unit::Ohm),
                    format!(
                        "Circuit {}, {}. Loop impedance, {line} to earth at {place}. Say the reading.",
                        circuit.number, circuit.name
                    ),
                    format!("Circuit {}, loop, {line} at {place}.", circuit.number),
                )
            })
            .collect()
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::loop_impedance(state, step, reading)
    }
}
