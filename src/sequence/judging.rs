//! What the limits say of a session's readings: the one place where the sequence asks them.

use super::plan::Step;
use super::readings::Judged;
use super::state::State;
use crate::installation::{Circuit, InstrumentUse};
use crate::limits::insulation;
use crate::quantity::{Number, Reading};

/// One insulation reading against Table 64.
pub fn insulation(state: &State, step: &Step, reading: &Reading) -> Judged {
    let system = circuit(state, step).map(|c| c.system).unwrap_or_default();
    Judged::by(insulation::verdict(
        state.tables(),
        reading,
        system,
        insulation_range(state),
    ))
}

/// The largest value that the insulation tester shows, MΩ.
pub fn insulation_range(state: &State) -> Option<f64> {
    state
        .job()
        .instruments
        .iter()
        .filter(|i| i.used_for.contains(&InstrumentUse::Insulation))
        .find_map(|i| i.insulation_range_megohms)
        .map(Number::value)
}

fn circuit<'a>(state: &'a State, step: &Step) -> Option<&'a Circuit> {
    step.circuit
        .and_then(|number| state.circuit(step.board, number))
}

pub fn bond(_state: &State, _step: &Step, _reading: &Reading) -> Judged {
    Judged::noted()
}

pub fn continuity(_state: &State, _step: &Step, _reading: &Reading) -> Judged {
    Judged::noted()
}

pub fn ring(_state: &State, _step: &Step, _reading: &Reading) -> Judged {
    Judged::noted()
}

pub fn external_loop(_state: &State, _step: &Step, _reading: &Reading) -> Judged {
    Judged::noted()
}

pub fn fault_current(_state: &State, _step: &Step, _reading: &Reading) -> Judged {
    Judged::noted()
}

pub fn loop_impedance(_state: &State, _step: &Step, _reading: &Reading) -> Judged {
    Judged::noted()
}

pub fn rcd(_state: &State, _step: &Step, _reading: &Reading) -> Judged {
    Judged::noted()
}
