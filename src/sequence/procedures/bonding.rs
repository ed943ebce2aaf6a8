use super::{Maker, Procedure, measure};
use crate::installation::{Board, Job};
use crate::quantity::{Reading, Unit};
use crate::sequence::judging;
use crate::sequence::plan::{Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::state::State;
use crate::terms::{Place, Stage};

/// Continuity of the main and supplementary protective bonding conductors, BS 7671 643.2.
#[derive(Debug)]
pub struct Bonding;

impl Procedure for Bonding {
    fn stage(&self) -> Stage {
        Stage::Continuity
    }

    fn board_steps(&self, job: &Job, board: &Board) -> Vec<Step> {
        if job.boards.first() != Some(board) {
            return Vec::new();
        }
        let make = Maker::board(&Bonding, board, "continuity");
        let main = job.supply.bonds.iter().map(|bond| {
            let step = make.reading(
                &format!("bond/{bond}"),
                "bond",
                measure(Quantity::Bond, None, Unit::Ohm),
                format!(
                    "Main bond to the {bond}, end to end, one end disconnected. Say the reading."
                ),
                format!("Bond to the {bond}."),
            );
            super::at(step, place(bond))
        });
        let supplementary = job.supply.supplementary_bonds.iter().map(|bond| {
            let step = make.reading(
                &format!("supplementary/{bond}"),
                "supplementary-bond",
                measure(Quantity::Bond, None, Unit::Ohm),
                format!("Supplementary bond, {bond}, part to part. Say the reading."),
                format!("Supplementary bond, {bond}."),
            );
            super::at(step, place(bond))
        });
        main.chain(supplementary).collect()
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::bond(state, step, reading)
    }
}

fn place(bond: &str) -> Place {
    Place {
        name: format!("{bond} bond"),
        number: None,
    }
}
