//! What is said only where somebody learns: predictions, and the fault that was found.

use super::not_asked;
use crate::grammar::Intent;
use crate::quantity::Reading;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::Event;
use crate::terms::{HiddenFault, Predicted};

/// What the reading that is asked for will be.
pub(super) fn predicted(
    agenda: &Agenda,
    said: &Intent,
    of: Predicted,
    reading: Option<Reading>,
) -> Vec<Event> {
    let step = agenda.current().filter(|step| step.measure().is_some());
    match step.filter(|_| agenda.practice().is_some()) {
        Some(step) => vec![Event::Predicted {
            step: step.id.clone(),
            of,
            reading,
        }],
        None => not_asked(said),
    }
}

/// The fault that was found. Its circuit is the one worked on, where none was said.
pub(super) fn diagnosed(agenda: &Agenda, said: &Intent, fault: Option<&HiddenFault>) -> Vec<Event> {
    if !agenda.practises() {
        return not_asked(said);
    }
    let here = agenda.current();
    let fault = fault.map(|fault| HiddenFault {
        board: fault.board.or_else(|| here.map(|step| step.board)),
        circuit: fault.circuit.or_else(|| {
            here.and_then(|step| step.circuit)
                .filter(|_| fault.place.is_some())
        }),
        ..fault.clone()
    });
    vec![Event::Diagnosed { fault }]
}
