//! Things taken out, linked or bridged for a test, and put back.

use super::refused;
use crate::grammar::Intent;
use crate::quantity::Conductors;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, EventNo, Refusal, StepKind, Withdrawal};
use crate::sequence::procedures::joined_to_earth;
use crate::sequence::state::{OutEntry, State, place_of};
use crate::terms::{Alteration, Change, Part, Place};

/// Decides what an alteration does to the list.
pub(super) fn decide(agenda: &Agenda, said: &Intent, alteration: &Alteration) -> Vec<Event> {
    match alteration.change {
        Change::Out | Change::Linked => take_out(agenda, said, alteration),
        Change::Back | Change::Unlinked => put_back(agenda, said, alteration),
    }
}

/// "Both": of the conductor that was just taken out, or of two entries that could be meant.
pub(super) fn both(agenda: &Agenda, said: &Intent, change: Option<Change>) -> Vec<Event> {
    if let Some(Refusal::WhichOne { entries }) = agenda.last_refusal()
        && let [_, _] = entries.as_slice()
        && matches!(change, None | Some(Change::Back | Change::Unlinked))
    {
        return vec![Event::PutBack {
            entries: entries.clone(),
        }];
    }
    let here = agenda.current().and_then(|step| step.circuit);
    let single = |part: Part| matches!(part, Part::Conductors(c) if c.count() == 1);
    let open = || {
        agenda
            .open_entries()
            .filter(|entry| !entry.linked && single(entry.part))
    };
    match change {
        None | Some(Change::Out) => {
            let last = open().find(|entry| Some(entry.no) == agenda.last_taken());
            match last {
                Some(entry) => decide(
                    agenda,
                    said,
                    &Alteration {
                        part: entry.part,
                        change: Change::Out,
                        place: entry.place.clone(),
                        both: true,
                        parked: entry.parked,
                    },
                ),
                None => refused(said, Refusal::not_asked_now()),
            }
        }
        Some(Change::Back) => {
            let both: Vec<EventNo> = open()
                .filter(|entry| entry.both && entry.circuit == here)
                .map(|entry| entry.no)
                .collect();
            match both.len() {
                0 => refused(said, Refusal::NotOut),
                1 => vec![Event::PutBack { entries: both }],
                _ => refused(said, Refusal::WhichOne { entries: both }),
            }
        }
        Some(Change::Linked | Change::Unlinked) => refused(said, Refusal::not_asked_now()),
    }
}

/// The conductors that the step asked for wants linked: "linked" by itself says no more.
fn wants_linked(agenda: &Agenda) -> Option<Conductors> {
    let step = agenda.current()?;
    match step.kind {
        StepKind::ContinuityLink => Some(Conductors::L.with(Conductors::E)),
        StepKind::InsulationClear | StepKind::InsulationTrial => {
            let phases = agenda.circuit_of(step)?.phases;
            Some(joined_to_earth(phases).from())
        }
        _ => None,
    }
}

fn take_out(agenda: &Agenda, said: &Intent, alteration: &Alteration) -> Vec<Event> {
    let linked = alteration.change == Change::Linked;
    let here = agenda.current();
    if alteration.part == Part::Link {
        return match wants_linked(agenda).filter(|_| linked) {
            Some(conductors) => take_out(
                agenda,
                said,
                &Alteration {
                    part: Part::Conductors(conductors),
                    place: alteration.place.clone().or_else(|| Some(Place::board())),
                    ..alteration.clone()
                },
            ),
            None => refused(said, Refusal::not_asked_now()),
        };
    }
    let needs_place = matches!(alteration.part, Part::Conductors(_) | Part::Accessory);
    let place = alteration
        .place
        .clone()
        .or_else(|| here.and_then(|step| step.place.clone()));
    if needs_place && place.is_none() && !linked {
        return refused(said, Refusal::WhereIsIt);
    }
    let board = here.map_or_else(|| first_board(agenda), |step| step.board);
    let circuit = circuit_of(agenda, board, place.as_ref(), alteration.part);
    let listed = agenda.open_entries().find(|open| {
        open.part == alteration.part
            && open.linked == linked
            && open.place == place
            && open.circuit == circuit
    });
    let widened = match listed {
        // One of the two was listed; now both are out.
        Some(listed) if alteration.both && !listed.both => Some(Event::Withdrawn {
            of: listed.no,
            why: Withdrawal::Widened,
        }),
        // It is on the list already.
        Some(_) => return vec![Event::Asked { said: said.clone() }],
        None => None,
    };
    let out = Event::TakenOut {
        board,
        circuit,
        part: alteration.part,
        linked,
        place,
        both: alteration.both,
        parked: alteration.parked,
    };
    widened.into_iter().chain([out]).collect()
}

fn first_board(state: &State) -> u16 {
    state.job().boards.first().map_or(1, |board| board.number)
}

/// The circuit an alteration is on: the one being tested when it has such a place, else the only
/// one on the board that has it, else the one being tested.
fn circuit_of(agenda: &Agenda, board: u16, place: Option<&Place>, part: Part) -> Option<u16> {
    if part == Part::EarthingConductor {
        return None;
    }
    let has = |number: u16| {
        agenda
            .circuit(board, number)
            .is_some_and(|c| c.points.iter().any(|point| Some(&place_of(point)) == place))
    };
    let here = agenda.current().and_then(|step| step.circuit);
    if here.is_some_and(has) {
        return here;
    }
    let mut others = agenda
        .board(board)
        .into_iter()
        .flat_map(|b| &b.circuits)
        .map(|c| c.number)
        .filter(|number| has(*number));
    match (others.next(), others.next()) {
        (Some(only), None) => Some(only),
        _ => here,
    }
}

fn put_back(agenda: &Agenda, said: &Intent, alteration: &Alteration) -> Vec<Event> {
    if alteration.part == Part::Everything {
        let entries: Vec<EventNo> = agenda.open_entries().map(|entry| entry.no).collect();
        return if entries.is_empty() {
            refused(said, Refusal::NotOut)
        } else {
            vec![Event::ProposedAllBack { entries }]
        };
    }
    let linked = alteration.change == Change::Unlinked;
    let fits = |entry: &&OutEntry| {
        let any = matches!(alteration.part, Part::Accessory | Part::Link);
        let part = any || entry.part == alteration.part;
        let place = alteration.place.is_none() || entry.place == alteration.place;
        part && place && (entry.linked == linked || alteration.part == Part::Accessory)
    };
    let found: Vec<&OutEntry> = agenda.open_entries().filter(fits).collect();
    let here = agenda.current().and_then(|step| step.circuit);
    let on_this: Vec<&OutEntry> = found
        .iter()
        .copied()
        .filter(|entry| entry.circuit == here)
        .collect();
    let meant = if on_this.is_empty() { found } else { on_this };
    let entries: Vec<EventNo> = meant.iter().map(|entry| entry.no).collect();
    let whole_place = alteration.part == Part::Accessory && alteration.place.is_some();
    match entries.len() {
        0 => refused(said, Refusal::NotOut),
        1 => vec![Event::PutBack { entries }],
        _ if whole_place => vec![Event::PutBack { entries }],
        _ => refused(said, Refusal::WhichOne { entries }),
    }
}
