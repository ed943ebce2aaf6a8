use super::{Maker, Procedure, measure};
use crate::installation::{Board, Job, Phases};
use crate::quantity::{Pair, Reading, Unit};
use crate::sequence::judging;
use crate::sequence::plan::{Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::state::State;
use crate::terms::Stage;

/// Prospective fault current at the board, line to neutral and line to earth; the larger counts.
/// BS 7671 643.7.3.201.
#[derive(Debug)]
pub struct FaultCurrent;

/// Each line to neutral, from which the three-phase current is taken, and a line to earth.
const LINES_AND_EARTH: [Pair; 4] = [
    Pair::THREE_PHASE[3],
    Pair::THREE_PHASE[4],
    Pair::THREE_PHASE[5],
    Pair::THREE_PHASE[6],
];

impl Procedure for FaultCurrent {
    fn stage(&self) -> Stage {
        Stage::FaultCurrent
    }

    fn board_steps(&self, _job: &Job, board: &Board) -> Vec<Step> {
        let make = Maker::board(&FaultCurrent, board, "current");
        let pairs: &[Pair] = match board.phases {
            Phases::Single => &[Pair::LN, Pair::LE],
            Phases::Three => &LINES_AND_EARTH,
        };
        pairs
            .iter()
            .map(|pair| {
                make.reading(
                    &pair.to_string(),
                    "fault-current",
                    measure(Quantity::FaultCurrent, Some(*pair), Unit::KiloAmp),
                    format!(
                        "Prospective fault current at the board, {}, in kiloamps.",
                        pair.spoken()
                    ),
                    format!("Fault current, {}.", pair.spoken()),
                )
            })
            .collect()
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::fault_current(state, step, reading)
    }
}
