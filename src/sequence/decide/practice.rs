//! What is said only where somebody learns: predictions, and the fault that was found.

use super::events::{not_asked, refused};
use crate::grammar::Intent;
use crate::quantity::Reading;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Destination, Event, Refusal};
use crate::sequence::probing;
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
    let Some(fault) = fault else {
        return vec![Event::Diagnosed { fault: None }];
    };
    let here = agenda.current();
    let board = fault
        .board
        .or_else(|| here.map(|step| step.board))
        .unwrap_or_else(|| agenda.first_board());
    // A residual current device of several circuits is a place by itself.
    let group = fault
        .place
        .as_ref()
        .and_then(|place| probing::group_at(agenda, board, place));
    let circuit = fault.circuit.filter(|_| group.is_none()).or_else(|| {
        let place = fault.place.as_ref().filter(|_| group.is_none())?;
        let worked_on = here.and_then(|step| step.circuit);
        worked_on
            .filter(|number| probing::has_place(agenda, board, *number, place))
            .or_else(|| probing::only_one_with(agenda, board, place))
    });
    // Nothing is wrong where there is nothing.
    let has = |number: u16| {
        let mut circuits = agenda.job().boards_said(board).flat_map(|b| &b.circuits);
        circuits.any(|circuit| circuit.number == number)
    };
    let missing = [circuit, fault.with_circuit]
        .into_iter()
        .flatten()
        .find(|number| !has(*number));
    if let Some(number) = missing {
        return refused(
            said,
            Refusal::NoSuchPlace {
                to: Some(Destination::Circuit(number)),
                what: None,
            },
        );
    }
    match (&fault.place, circuit) {
        (Some(place), Some(number)) if !probing::has_place(agenda, board, number, place) => {
            return refused(
                said,
                Refusal::NoSuchPoint {
                    place: place.clone(),
                },
            );
        }
        (Some(place), None) if group.is_none() => {
            return refused(
                said,
                Refusal::NoSuchPoint {
                    place: place.clone(),
                },
            );
        }
        _ => {}
    }
    vec![Event::Diagnosed {
        fault: Some(HiddenFault {
            board: Some(board),
            circuit,
            ..fault.clone()
        }),
    }]
}
