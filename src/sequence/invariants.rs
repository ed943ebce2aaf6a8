//! What must never happen, whatever is said. Checked after every event of a running session, and
//! by the random walk in `tests/model_walk.rs`.

use super::event::Event;
use super::plan::Quantity;
use super::state::State;
use crate::grammar::Statement;
use crate::quantity::{Conductors, Pair, TestVoltage};

/// Checks one event against the state it happened in.
///
/// # Errors
/// Which law was broken, in words.
pub fn check(before: &State, event: &Event) -> Result<(), String> {
    match event {
        Event::Reading { step, reading, .. } => {
            let Some(step) = before.step(step) else {
                return Err(format!("a reading for a step that is not planned: {step}"));
            };
            if step.is_dead_test() && !before.proved_dead(step.board) {
                return Err(format!("a dead test before proving dead: {}", step.id));
            }
            if step.is_live_test() && !before.energised(step.board) {
                return Err(format!("a live test before energising: {}", step.id));
            }
            let high = reading.at.is_some_and(|at| at > TestVoltage::V250);
            let insulation = step
                .measure()
                .is_some_and(|m| m.quantity == Quantity::Insulation);
            if let Some(circuit) = step.circuit
                && high
                && insulation
            {
                let joined = reading.pair == Some(Pair::LN_E)
                    && before.linked(step.board, circuit, Conductors::L.with(Conductors::N));
                if !joined && !before.electronics_in(step.board, circuit).is_empty() {
                    return Err(format!(
                        "electronics in circuit at high voltage: {}",
                        step.id
                    ));
                }
            }
            Ok(())
        }
        Event::Stated {
            step,
            statement: Statement::Energised,
        } => {
            let Some(step) = before.step(step) else {
                return Err(format!(
                    "a statement for a step that is not planned: {step}"
                ));
            };
            if before.barring_entries().next().is_some() {
                return Err("energised with things still out and not overridden".to_owned());
            }
            let open = before
                .open_steps()
                .any(|other| other.board == step.board && other.is_dead_test());
            if open {
                return Err("energised with dead tests open".to_owned());
            }
            if !before.proved_dead(step.board) {
                return Err("energised by a plan that never proved it dead".to_owned());
            }
            Ok(())
        }
        Event::Finished { .. } if before.barring_entries().next().is_some() => {
            Err("finished with things still out and not overridden".to_owned())
        }
        _ => Ok(()),
    }
}
