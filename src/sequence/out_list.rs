//! Things taken out, linked or bridged for a test, and put back.

use super::decide::Reply;
use super::event::{Bar, Event, EventNo, Withdrawal};
use super::speak::{self, Line};
use super::state::{OutEntry, State, goes_on, place_of};
use crate::grammar::Said;
use crate::terms::{Alteration, Change, Part, Place};

/// Decides what an alteration does to the list.
pub fn decide(state: &State, said: &Said, alteration: &Alteration) -> Reply {
    match alteration.change {
        Change::Out => take_out(state, said, alteration, false),
        Change::Linked => take_out(state, said, alteration, true),
        Change::Back => put_back(state, said, alteration, false),
        Change::Unlinked => put_back(state, said, alteration, true),
    }
}

fn take_out(state: &State, said: &Said, alteration: &Alteration, linked: bool) -> Reply {
    let here = state.current();
    let needs_place = matches!(alteration.part, Part::Conductors(_) | Part::Accessory);
    let place = alteration
        .place
        .clone()
        .or_else(|| here.and_then(|step| step.place.clone()));
    if needs_place && place.is_none() && !linked {
        return Reply::refused(state, said, Bar::WhereIsIt);
    }
    let board = here.map_or_else(|| first_board(state), |step| step.board);
    let circuit = circuit_of(state, board, place.as_ref(), alteration.part);
    let entry = Event::TakenOut {
        board,
        circuit,
        part: alteration.part,
        linked,
        place: place.clone(),
        both: alteration.both,
        parked: alteration.parked,
    };
    let listed = state.open_entries().find(|open| {
        open.part == alteration.part
            && open.linked == linked
            && open.place == place
            && open.circuit == circuit
    });
    let mut events = Vec::new();
    match listed {
        // One of the two was listed; now both are out.
        Some(listed) if alteration.both && !listed.both => events.push(Event::Withdrawn {
            of: listed.no,
            why: Withdrawal::Correction,
        }),
        Some(listed) => {
            return Reply {
                events: vec![Event::Asked { said: said.clone() }],
                lines: vec![Line::answer(format!(
                    "{} is on the list already.",
                    speak::capital(&listed.what())
                ))],
            };
        }
        None => {}
    }
    let mut lines = vec![Line::read_back(speak::taken_out(&entry))];
    let point = circuit.and_then(|number| {
        state
            .circuit(board, number)?
            .points
            .iter()
            .find(|point| Some(place_of(point)) == place)
            .map(|point| (state.circuit(board, number).map(|c| c.kind), point))
    });
    if let Some((kind, point)) = point
        && matches!(alteration.part, Part::Conductors(c) if c.count() == 1)
        && !linked
        && !alteration.both
        && goes_on(kind, point)
    {
        lines.push(Line::reminder(
            "The circuit goes on from there. Keep the two conductors joined together; say both when both are out.",
        ));
    }
    events.push(entry);
    Reply { events, lines }
}

fn first_board(state: &State) -> u16 {
    state.job().boards.first().map_or(1, |board| board.number)
}

/// The circuit an alteration is on: the one being tested when it has such a place, else the only
/// one on the board that has it, else the one being tested.
fn circuit_of(state: &State, board: u16, place: Option<&Place>, part: Part) -> Option<u16> {
    if part == Part::EarthingConductor {
        return None;
    }
    let has = |number: u16| {
        state
            .circuit(board, number)
            .is_some_and(|c| c.points.iter().any(|point| Some(&place_of(point)) == place))
    };
    let here = state.current().and_then(|step| step.circuit);
    if here.is_some_and(has) {
        return here;
    }
    let mut others = state
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

fn put_back(state: &State, said: &Said, alteration: &Alteration, linked: bool) -> Reply {
    if alteration.part == Part::Everything {
        return all_back(state, said);
    }
    let fits = |entry: &&OutEntry| {
        let part = alteration.part == Part::Accessory || entry.part == alteration.part;
        let place = alteration.place.is_none() || entry.place == alteration.place;
        part && place && (entry.linked == linked || alteration.part == Part::Accessory)
    };
    let found: Vec<&OutEntry> = state.open_entries().filter(fits).collect();
    let here = state.current().and_then(|step| step.circuit);
    let on_this: Vec<&OutEntry> = found
        .iter()
        .copied()
        .filter(|entry| entry.circuit == here)
        .collect();
    let meant = if on_this.is_empty() { found } else { on_this };
    let whole_place = alteration.part == Part::Accessory && alteration.place.is_some();
    match meant.as_slice() {
        [] => Reply::refused(state, said, Bar::NotOut),
        [_] => back(state, &meant),
        _ if whole_place => back(state, &meant),
        _ => Reply::refused(
            state,
            said,
            Bar::WhichOne {
                entries: meant.iter().map(|entry| entry.no).collect(),
            },
        ),
    }
}

fn back(state: &State, entries: &[&OutEntry]) -> Reply {
    let numbers: Vec<EventNo> = entries.iter().map(|entry| entry.no).collect();
    let mut lines: Vec<Line> = entries
        .iter()
        .map(|entry| Line::read_back(speak::back(entry)))
        .collect();
    let rest: Vec<String> = state
        .open_entries()
        .filter(|entry| !numbers.contains(&entry.no))
        .map(OutEntry::what)
        .collect();
    lines.push(if rest.is_empty() {
        Line::answer("Nothing is out.")
    } else {
        Line::reminder(format!("Still out: {}.", rest.join("; ")))
    });
    Reply {
        events: vec![Event::PutBack { entries: numbers }],
        lines,
    }
}

fn all_back(state: &State, said: &Said) -> Reply {
    let entries: Vec<EventNo> = state.open_entries().map(|entry| entry.no).collect();
    if entries.is_empty() {
        return Reply::refused(state, said, Bar::NotOut);
    }
    let what: Vec<String> = state.open_entries().map(OutEntry::what).collect();
    Reply {
        events: vec![Event::ProposedAllBack { entries }],
        lines: vec![Line::question(format!(
            "All back: {}? Affirm, or negative.",
            what.join("; ")
        ))],
    }
}
