use super::{Maker, Procedure, insulation};
use crate::installation::{Board, Circuit, Job};
use crate::sequence::plan::{Ask, Step};
use crate::sequence::state::{OutEntry, State};
use crate::terms::{Part, Stage};

/// Everything that was taken out, linked or switched over for a test is put back: on each circuit
/// before the next, and on the whole board before energising.
#[derive(Debug)]
pub struct PutBack;

impl Procedure for PutBack {
    fn stage(&self) -> Stage {
        Stage::PutBack
    }

    fn circuit_steps(&self, _job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        let make = Maker::circuit(&PutBack, board, circuit, "confirm");
        vec![make.step(
            "circuit",
            "put-back",
            Ask::Event,
            String::new(),
            String::new(),
        )]
    }

    fn board_steps(&self, _job: &Job, board: &Board) -> Vec<Step> {
        let make = Maker::board(&PutBack, board, "confirm");
        vec![make.step(
            "board",
            "put-back",
            Ask::Event,
            String::new(),
            String::new(),
        )]
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        match step.circuit {
            Some(_) => {
                state.waits(step)
                    && !insulation::waits_for_all_together(state, step.board)
                    && here(state, step).next().is_some()
            }
            None => here(state, step).next().is_some(),
        }
    }

    fn prompt(&self, state: &State, step: &Step) -> Option<(String, String)> {
        let what: Vec<_> = here(state, step).map(OutEntry::what).collect();
        let what = what.join("; ");
        Some((
            format!("Put back what is out: {what}. Say each when it is back."),
            format!("Put back: {what}."),
        ))
    }

    fn may_be_left_out(&self, step: &Step) -> bool {
        step.circuit.is_some()
    }
}

fn here<'a>(state: &'a State, step: &'a Step) -> impl Iterator<Item = &'a OutEntry> {
    // The earthing conductor, off while the external loop is read, is asked for there.
    let for_the_loop = move |entry: &OutEntry| {
        entry.part == Part::EarthingConductor && state.energised(entry.board)
    };
    state.barring_entries().filter(move |entry| {
        entry.board == step.board
            && (step.circuit.is_none() || entry.circuit == step.circuit)
            && !for_the_loop(entry)
    })
}
