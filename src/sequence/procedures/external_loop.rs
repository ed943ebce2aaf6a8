use super::{Maker, Procedure, measure};
use crate::installation::{Board, Earthing, Job};
use crate::quantity::{Pair, Reading, Unit};
use crate::sequence::event::Bar;
use crate::sequence::judging;
use crate::sequence::plan::{Ask, Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::state::State;
use crate::terms::{Part, Stage};

/// External earth fault loop impedance at the origin, with the earthing conductor off the means
/// of earthing, and put back at once. BS 7671 643.7.2, IET Guidance Note 3. On TT it is the
/// resistance of the earth electrode.
#[derive(Debug)]
pub struct ExternalLoop;

const OFF: &str = "earthing-off";
const BACK: &str = "earthing-back";

impl Procedure for ExternalLoop {
    fn stage(&self) -> Stage {
        Stage::ExternalLoop
    }

    fn board_steps(&self, job: &Job, board: &Board) -> Vec<Step> {
        if board.fed_from.is_some() {
            return Vec::new();
        }
        let make = Maker::board(&ExternalLoop, board, "loop");
        let what = match job.supply.earthing {
            Earthing::Tt => "Earth electrode, line to earth at the incoming side",
            Earthing::TnS | Earthing::TnCS => "External loop, line to earth at the incoming side",
        };
        vec![
            make.step(
                OFF,
                "earthing-off",
                Ask::Event,
                "Main switch off and locked. Take the earthing conductor off the means of earthing, and say earthing conductor off. Nobody touches the installation.".to_owned(),
                "Main switch off, earthing conductor off.".to_owned(),
            ),
            make.reading(
                "value",
                "external-loop",
                measure(Quantity::ExternalLoop, Some(Pair::LE), Unit::Ohm),
                format!("{what}. Say the reading."),
                format!("{what}."),
            ),
            make.step(
                BACK,
                "earthing-back",
                Ask::Event,
                "Earthing conductor back now, before anything else. Say earthing conductor back.".to_owned(),
                "Earthing conductor back.".to_owned(),
            ),
        ]
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let off = state
            .open_entries()
            .any(|entry| entry.part == Part::EarthingConductor);
        let done = !state.waits(step);
        let value_done = state
            .plan()
            .on(step.board, None)
            .any(|other| other.like == "external-loop" && state.done(other).is_some());
        if step.id.0.ends_with(OFF) {
            !off && (!done && !value_done || again(state, step))
        } else if step.id.0.ends_with(BACK) {
            off && value_done
        } else {
            !done
        }
    }

    /// It is read with the earthing conductor off, and that said: so that it is not forgotten.
    fn guard(&self, state: &State, step: &Step) -> Result<(), Bar> {
        if step.measure().is_some() && !state.earthing_off(step.board) {
            return Err(Bar::FirstComes {
                what: "earthing conductor off, and say so.".to_owned(),
            });
        }
        Ok(())
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::external_loop(state, step, reading)
    }
}

/// Whether the loop is to be read again, with the earthing conductor back by now.
fn again(state: &State, step: &Step) -> bool {
    state
        .asked_again()
        .is_some_and(|again| again.board == step.board && again.like == "external-loop")
}
