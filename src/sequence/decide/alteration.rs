//! Things taken out, linked or bridged for a test, and put back.

use super::events::{asked, refused};
use super::outside::{Among, Nearest, nearest};
use crate::grammar::Intent;
use crate::installation::Accessory;
use crate::quantity::Conductors;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, EventNo, Order, Refusal, Step, StepKind, Withdrawal};
use crate::sequence::procedures::{RING_ENDS, joined_to_earth};
use crate::sequence::state::{OutEntry, place_of};
use crate::terms::{Alteration, Change, Part, Place, Stage};
use std::collections::{BTreeSet, HashSet};

/// Decides what an alteration does to the list.
pub(super) fn decide(agenda: &Agenda, said: &Intent, alteration: &Alteration) -> Vec<Event> {
    let found;
    let alteration = match alteration
        .place
        .as_ref()
        .map(|said| place_meant(agenda, alteration, said))
    {
        Some(Nearest::Only(place)) => {
            found = Alteration {
                place: Some(place),
                ..alteration.clone()
            };
            &found
        }
        Some(Nearest::OneOfSeveral) => return refused(said, Refusal::WhereIsIt),
        Some(Nearest::Named) | None => alteration,
    };
    let Some((meant, here)) = meant(agenda, alteration) else {
        return refused(said, Refusal::not_asked_now());
    };
    match meant.change {
        Change::Out | Change::Linked | Change::Crossed => take_out(agenda, said, &meant, here),
        Change::Back | Change::Unlinked | Change::Uncrossed => put_back(agenda, said, &meant),
    }
}

/// The place that is meant where only its number was said, its name without a number, or another name of the same
/// electronics: of what is out, for what is back; else of the circuit that is tested.
fn place_meant(agenda: &Agenda, said: &Alteration, place: &Place) -> Nearest {
    let among = |places: HashSet<Among>| {
        let places: Vec<Among> = places.into_iter().collect();
        let Some(number) = place.number_alone() else {
            return nearest(agenda, place, &places);
        };
        let mut numbered = places
            .into_iter()
            .filter(|(.., at)| at.number == Some(number));
        match (numbered.next(), numbered.next()) {
            (Some((.., only)), None) => Nearest::Only(only),
            _ => Nearest::OneOfSeveral,
        }
    };
    if matches!(said.change, Change::Back | Change::Unlinked) {
        let anywhere = Alteration {
            place: None,
            ..said.clone()
        };
        let open = agenda.open_entries();
        let open = open.filter(|entry| is_meant_back(entry, &anywhere));
        let at = |entry: &OutEntry| Some((entry.board, entry.circuit, entry.place.clone()?));
        return among(open.filter_map(at).collect());
    }
    let here = agenda.current();
    let board = here.map_or_else(|| agenda.first_board(), |step| step.board);
    let elsewhere = agenda.board(board).into_iter().flat_map(|b| &b.circuits);
    let is_named = |point: &Accessory| place_of(point) == *place;
    if elsewhere.flat_map(|circuit| &circuit.points).any(is_named) {
        return Nearest::Named;
    }
    let circuit = here.and_then(|step| agenda.circuit_of(step));
    let at = |point| {
        (
            board,
            circuit.map(|circuit| circuit.number),
            place_of(point),
        )
    };
    let points = circuit.into_iter().flat_map(|circuit| &circuit.points);
    among(points.map(at).collect())
}

/// An alteration with the part that is meant, and the step that it is about: "linked" and "crossed"
/// by themselves are about what the step wants so, and conductors that are crossed are a crossing.
fn meant<'a>(agenda: &'a Agenda, said: &Alteration) -> Option<(Alteration, Option<&'a Step>)> {
    let here = agenda.current();
    let (part, here) = match (said.part, said.change) {
        (Part::Link, Change::Linked) => {
            let wants = |step: &Step, ordered| wants_linked(agenda, step, ordered);
            let (conductors, step) = asked_for(agenda, wants)?;
            (Part::Conductors(conductors), Some(step))
        }
        (Part::Link, Change::Crossed) => {
            let (part, step) = asked_for(agenda, |step, _| wants_crossed(agenda, step))?;
            (part, Some(step))
        }
        (Part::Conductors(conductors), Change::Crossed | Change::Uncrossed) => {
            (Part::Crossing(conductors), here)
        }
        (part, _) => (part, here),
    };
    let at_board = matches!(said.change, Change::Linked | Change::Crossed)
        && (said.part == Part::Link || said.change == Change::Crossed);
    let meant = Alteration {
        part,
        place: said.place.clone().or_else(|| at_board.then(Place::board)),
        ..said.clone()
    };
    Some((meant, here))
}

/// What the step asked for wants, or one before it whose order nobody has answered yet: what it
/// asked for may have been done when the session went elsewhere, after a long absence say.
fn asked_for<T>(agenda: &Agenda, wants: impl Fn(&Step, bool) -> Option<T>) -> Option<(T, &Step)> {
    let ordered = agenda.ordered_entries();
    let ordered = ordered.filter_map(|(_, by)| Some((agenda.step(by)?, true)));
    let now = agenda.current().map(|step| (step, false));
    now.into_iter()
        .chain(ordered)
        .find_map(|(step, ordered)| Some((wants(step, ordered)?, step)))
}

/// The crossing that a step orders.
fn wants_crossed(agenda: &Agenda, step: &Step) -> Option<Part> {
    let orders = agenda.procedure(step).orders(agenda.state(), step);
    let crossing = |order: &Order| matches!(order.part, Part::Crossing(_));
    orders.into_iter().find(crossing).map(|order| order.part)
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
            .sure_entries()
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
        Some(Change::Linked | Change::Unlinked | Change::Crossed | Change::Uncrossed) => {
            refused(said, Refusal::not_asked_now())
        }
    }
}

/// The conductors that a step wants linked: "linked" by itself says no more. Lamps and switches that
/// were ordered and not answered want none.
fn wants_linked(agenda: &Agenda, step: &Step, ordered: bool) -> Option<Conductors> {
    // "Take it out, or link line and neutral": whatever is asked for by now.
    let told_to = matches!(
        agenda.last_refusal(),
        Some(Refusal::ElectronicsInCircuit { .. })
    );
    match step.kind {
        StepKind::InsulationLamps | StepKind::InsulationTwoWay if ordered => None,
        _ if step.circuit.is_some() && (told_to || step.stage == Stage::Insulation) => {
            let phases = agenda.circuit_of(step)?.phases;
            Some(joined_to_earth(phases).from())
        }
        _ => {
            let orders = agenda.procedure(step).orders(agenda.state(), step);
            orders.into_iter().find_map(|order| match order.part {
                Part::Conductors(conductors) if order.linked => Some(conductors),
                _ => None,
            })
        }
    }
}

/// What is out, linked or crossed, at the step it is about.
fn take_out(
    agenda: &Agenda,
    said: &Intent,
    alteration: &Alteration,
    here: Option<&Step>,
) -> Vec<Event> {
    let linked = matches!(alteration.change, Change::Linked | Change::Crossed);
    if alteration.part == Part::RingEnds {
        return ring_ends_out(agenda, said);
    }
    let needs_place = matches!(alteration.part, Part::Conductors(_) | Part::Accessory);
    let place = alteration
        .place
        .clone()
        .or_else(|| off_terminals(agenda, alteration.part))
        .or_else(|| {
            here.filter(|step| !linked && is_at_the_place_of(alteration.part, step))
                .and_then(|step| step.place.clone())
        })
        .or_else(|| the_only_bond(agenda, alteration.part));
    // Loads and lamps are of the whole circuit where no place is said.
    let place = match alteration.part {
        Part::Lamp if alteration.both => alteration.place.clone(),
        Part::Load | Part::EarthingConductor => alteration.place.clone(),
        _ => place,
    };
    if needs_place && place.is_none() && !linked {
        return refused(said, Refusal::WhereIsIt);
    }
    let board = here.map_or_else(|| agenda.first_board(), |step| step.board);
    // Earthing and bonds are at the origin, whichever board is tested.
    let board = match alteration.part {
        Part::EarthingConductor | Part::Bond => agenda.job().origin_of(board),
        _ => board,
    };
    let circuit = here.and_then(|step| step.circuit);
    let circuit = circuit_of(agenda, board, circuit, place.as_ref(), alteration.part);
    // Lamps without a place are counted, and so is what may be on any circuit: each is another one.
    let lamp = alteration.part == Part::Lamp && place.is_none() && !alteration.both;
    let anywhere = circuit.is_none() && is_of_some_circuit(alteration.part, linked);
    let counted = lamp || anywhere;
    let listed = agenda.sure_entries().filter(|_| !counted).find(|open| {
        open.part == alteration.part
            && open.linked == linked
            && open.place == place
            && (open.board, open.circuit) == (board, circuit)
    });
    // All of them are out: one more is one of those.
    let among_all = agenda.sure_entries().any(|open| {
        lamp && open.part == Part::Lamp
            && open.both
            && open.place.is_none()
            && (open.board, open.circuit) == (board, circuit)
    });
    if among_all {
        return asked(said);
    }
    let widened = match listed {
        // One of the two was listed, or it was not sure that this is out; now it is, and both.
        Some(listed)
            if alteration.both && !listed.both
                || listed.some_of_it && alteration.both == listed.both =>
        {
            Some(Event::Withdrawn {
                of: listed.no,
                why: Withdrawal::Widened,
            })
        }
        // It is on the list already.
        Some(_) => return asked(said),
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

/// All six ends of the ring that is tested.
fn ring_ends_out(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let ring = agenda.current().filter(|step| agenda.is_on_a_ring(step));
    let Some((board, circuit)) = ring.and_then(|step| Some((step.board, step.circuit?))) else {
        return refused(said, Refusal::not_asked_now());
    };
    let is_out = |conductor: Conductors| {
        let mut ends = agenda.ring_ends_out(board, circuit);
        ends.any(|entry| entry.part == Part::Conductors(conductor))
    };
    let out: Vec<Event> = RING_ENDS
        .into_iter()
        .filter(|conductor| !is_out(*conductor))
        .map(|conductor| Event::TakenOut {
            board,
            circuit: Some(circuit),
            part: Part::Conductors(conductor),
            linked: false,
            place: Some(Place::board()),
            both: true,
            parked: None,
        })
        .collect();
    if out.is_empty() {
        return asked(said);
    }
    out
}

/// Whether a part that is named without a place is at the place of the step asked for.
fn is_at_the_place_of(part: Part, step: &Step) -> bool {
    match part {
        Part::Conductors(_) | Part::Accessory | Part::Lamp | Part::Cover => true,
        Part::Bond => matches!(step.kind, StepKind::Bond | StepKind::BondBack),
        _ => false,
    }
}

/// Conductors that a circuit which stays off has out of its terminals are out at the board.
fn off_terminals(agenda: &Agenda, part: Part) -> Option<Place> {
    let at_the_board = agenda
        .current()
        .is_some_and(|step| step.kind == StepKind::OffTerminals);
    (at_the_board && matches!(part, Part::Conductors(_))).then(Place::board)
}

/// The bond that is meant where none is named: the only one there is.
fn the_only_bond(agenda: &Agenda, part: Part) -> Option<Place> {
    if part != Part::Bond {
        return None;
    }
    let steps = agenda.plan().steps.iter();
    let mut bonds = steps
        .filter(|step| step.kind == StepKind::Bond)
        .filter_map(|step| step.place.clone());
    match (bonds.next(), bonds.next()) {
        (Some(only), None) => Some(only),
        _ => None,
    }
}

/// The circuit an alteration is on: the one being tested when it has such a place, else the only
/// one on the board that has it, else the one being tested.
fn circuit_of(
    agenda: &Agenda,
    board: u16,
    here: Option<u16>,
    place: Option<&Place>,
    part: Part,
) -> Option<u16> {
    // Surge protection is the board's, whichever circuit is tested.
    let of_the_board = place.is_some_and(Place::is_surge_protection);
    if of_the_board || matches!(part, Part::EarthingConductor | Part::Bond) {
        return None;
    }
    let has = |number: u16| {
        agenda
            .circuit(board, number)
            .is_some_and(|c| c.points.iter().any(|point| Some(&place_of(point)) == place))
    };
    // "At the shower", where that is the name of a circuit whose points are not listed.
    let is_called = |number: u16| {
        let name = place.filter(|place| place.number.is_none() && place.may_be_an_outlet());
        let circuit = agenda
            .circuit(board, number)
            .filter(|c| c.points.is_empty());
        let called = circuit.map(|c| format!(" {} ", c.name.to_lowercase()));
        name.zip(called)
            .is_some_and(|(name, called)| called.contains(&format!(" {} ", name.name)))
    };
    let circuits = agenda.board(board).into_iter().flat_map(|b| &b.circuits);
    let numbers: Vec<u16> = circuits.map(|c| c.number).collect();
    let one_of = |which: &dyn Fn(u16) -> bool| {
        if here.is_some_and(which) {
            return here;
        }
        let mut others = numbers.iter().filter(|number| which(**number));
        match (others.next(), others.next()) {
            (Some(only), None) => Some(*only),
            _ => None,
        }
    };
    one_of(&has).or_else(|| one_of(&is_called)).or(here)
}

fn put_back(agenda: &Agenda, said: &Intent, alteration: &Alteration) -> Vec<Event> {
    if alteration.part == Part::Everything {
        // What is out on a circuit that stays off is meant only where nothing else is out.
        let mut entries: Vec<EventNo> = agenda.barring_entries().map(|entry| entry.no).collect();
        if entries.is_empty() {
            entries.extend(agenda.open_entries().map(|entry| entry.no));
        }
        return if entries.is_empty() {
            refused(said, Refusal::NotOut)
        } else {
            vec![Event::ProposedAllBack { entries }]
        };
    }
    let found: Vec<&OutEntry> = agenda
        .open_entries()
        .filter(|entry| is_meant_back(entry, alteration))
        .collect();
    // Where a bond is to go back, that one is meant.
    let bond = agenda
        .current()
        .filter(|step| step.kind == StepKind::BondBack);
    let named = |entry: &&OutEntry| bond.is_some_and(|step| entry.place == step.place);
    let found: Vec<&OutEntry> = if alteration.part == Part::Bond && found.iter().any(named) {
        found.into_iter().filter(named).collect()
    } else {
        found
    };
    let on = |step: Option<&Step>| -> Vec<&OutEntry> {
        let here = step.map(|step| (step.board, step.circuit));
        let is_here = |entry: &&OutEntry| Some((entry.board, entry.circuit)) == here;
        found.iter().copied().filter(is_here).collect()
    };
    let mut on_this = on(agenda.current());
    // Who just named the circuit means what is out there, whatever is asked for first.
    if on_this.is_empty() && agenda.last_taken().is_none() {
        on_this = on(agenda.focus());
    }
    // What is out on a circuit that stays off is not what is put back on another.
    let stays_off = |entry: &OutEntry| {
        entry
            .circuit
            .is_some_and(|circuit| agenda.stays_off(entry.board, circuit))
    };
    let in_work: Vec<&OutEntry> = found.iter().copied().filter(|e| !stays_off(e)).collect();
    let keeps_another_off = in_work.is_empty() && on_this.is_empty();
    let found = if in_work.is_empty() { found } else { in_work };
    let mut meant = if on_this.is_empty() { found } else { on_this };
    // One lamp back is one of those that were counted, before it is asked about all of them.
    if alteration.part == Part::Lamp && meant.iter().any(|entry| !entry.both) {
        meant.retain(|entry| !entry.both || alteration.both);
    }
    let entries: Vec<EventNo> = meant.iter().map(|entry| entry.no).collect();
    let one_board = meant.iter().all(|entry| {
        meant
            .first()
            .is_some_and(|first| (entry.board, entry.circuit) == (first.board, first.circuit))
    });
    let all_of_them = alteration.both || alteration.part == Part::RingEnds;
    // Of two conductors, or in place of another thing, one word more is wanted.
    let more_than_said = meant.iter().any(|entry| is_more_than(entry, alteration));
    // "Lamps out" may have been said of several: the last that was counted is asked about.
    let last_lamp = alteration.part == Part::Lamp
        && matches!(meant.as_slice(), [only] if only.is_counted_lamp());
    let whole_place = alteration.part == Part::Accessory && alteration.place.is_some();
    // What goes by one name is one thing, however often it was put on the list.
    let by_name: BTreeSet<String> = meant.iter().map(|entry| entry.what()).collect();
    let one_thing = one_board && by_name.len() == 1;
    // What was counted out is counted back: one back is one back.
    let is_counted = |entry: &&OutEntry| match entry.part {
        Part::Lamp => entry.place.is_none(),
        part => entry.circuit.is_none() && is_of_some_circuit(part, entry.linked),
    };
    let counted = meant.iter().all(is_counted);
    match meant.as_slice() {
        [] => refused(said, Refusal::NotOut),
        // What keeps another circuit off may not be what is meant.
        _ if keeps_another_off => vec![Event::ProposedAllBack { entries }],
        _ if more_than_said || last_lamp => vec![Event::ProposedAllBack { entries }],
        [_] => vec![Event::PutBack { entries }],
        _ if one_board && (all_of_them || whole_place) => vec![Event::PutBack { entries }],
        [first, ..] if counted => vec![Event::PutBack {
            entries: vec![first.no],
        }],
        _ if one_thing => vec![Event::PutBack { entries }],
        _ => refused(said, Refusal::WhichOne { entries }),
    }
}

/// Whether a part is on some circuit, though it may not have been said on which: a link, a switch.
fn is_of_some_circuit(part: Part, linked: bool) -> bool {
    linked || part == Part::Switch
}

/// Whether an entry is what is said to be back, or the link that is said to be off.
fn is_meant_back(entry: &OutEntry, said: &Alteration) -> bool {
    let unlinked = matches!(said.change, Change::Unlinked | Change::Uncrossed);
    let at = said.place.is_none() || entry.place == said.place;
    let part = match said.part {
        // A link is never off because an accessory is back.
        Part::Accessory => !entry.linked,
        Part::Link if said.change == Change::Uncrossed => matches!(entry.part, Part::Crossing(_)),
        Part::Link => entry.linked,
        Part::RingEnds => entry.is_ring_end(),
        part => entry.part == part,
    };
    part && at && (entry.linked == unlinked)
}

/// Whether more is out than was said to be back: both conductors of which one was named, or
/// conductors at an accessory that is said to be back.
fn is_more_than(entry: &OutEntry, said: &Alteration) -> bool {
    match said.part {
        Part::Accessory => entry.part != Part::Accessory && entry.part != Part::Bond,
        Part::Conductors(_) | Part::Lamp => entry.both && !said.both,
        _ => false,
    }
}
