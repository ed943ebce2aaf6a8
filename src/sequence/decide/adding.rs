//! A point or a circuit that the job lacks, added on the way: a question first, and a change of the job
//! once it is affirmed.

use super::events::{not_asked, refused};
use super::moving::board_with;
use crate::draft::CircuitWords;
use crate::grammar::Intent;
use crate::installation::{Accessory, Circuit, CircuitKind, Job, JobKind};
use crate::sequence::agenda::Agenda;
use crate::sequence::amend::{ChangeRefusal, change_job, circuit_of, with_circuit};
use crate::sequence::facts::{Destination, Edition, Event, EventNo, Refusal, Withdrawal};
use crate::sequence::state::place_of;
use crate::terms::Place;

/// "One more socket on circuit three".
pub(super) fn decide(agenda: &Agenda, said: &Intent, name: &str, circuit: u16) -> Vec<Event> {
    if agenda.edition() == Edition::First {
        return not_asked(said);
    }
    let here = agenda.current().map(|step| step.board);
    let has = |board: &u16| agenda.circuit(*board, circuit).is_some();
    let mut boards = agenda.job().boards.iter().map(|board| board.number);
    let here = here.and_then(|board| board_with(agenda, board, circuit));
    let Some(board) = here.or_else(|| boards.find(has)) else {
        return refused(
            said,
            Refusal::NoSuchPlace {
                to: Some(Destination::Circuit(circuit)),
                what: None,
            },
        );
    };
    let taken = agenda.circuit(board, circuit).map(|c| c.points.as_slice());
    let last = taken
        .unwrap_or_default()
        .iter()
        .filter(|point| point.name == name)
        .filter_map(|point| point.number)
        .max();
    let place = Place {
        name: name.to_owned(),
        number: Some(last.unwrap_or(0).saturating_add(1)),
    };
    match changed(agenda, board, circuit, &place) {
        Ok(_) => vec![Event::ProposedPoint {
            board,
            circuit,
            place,
        }],
        Err(why) => refused(said, barred(&why).unwrap_or_else(Refusal::not_asked_now)),
    }
}

/// What an affirmed point comes to.
pub(super) fn affirmed(
    agenda: &Agenda,
    of: EventNo,
    board: u16,
    circuit: u16,
    place: &Place,
) -> Vec<Event> {
    let answered = Event::affirmed(of);
    // It was tried when it was asked; nothing came between.
    let events = changed(agenda, board, circuit, place).unwrap_or_default();
    std::iter::once(answered).chain(events).collect()
}

fn changed(
    agenda: &Agenda,
    board: u16,
    circuit: u16,
    place: &Place,
) -> Result<Vec<Event>, ChangeRefusal> {
    let mut job = agenda.job().clone();
    add(&mut job, board, circuit, place);
    // No file says so: the log does.
    change_job(agenda, &job, "", "", agenda.last_event_at())
}

/// Adds the point before the furthest one, which stays where it is: whether it is further is not known.
/// Where the job lists none, that is the far end.
pub(super) fn add(job: &mut Job, board: u16, circuit: u16, place: &Place) {
    let Some(circuit) = job.circuit_mut(board, circuit) else {
        return;
    };
    let is_ring = circuit.kind == CircuitKind::Ring;
    if circuit.points.iter().any(|point| place_of(point) == *place) {
        return;
    }
    let point = |place: &Place, feeds_on| Accessory {
        name: place.name.clone(),
        number: place.number,
        sensitive: Accessory::is_electronic(&place.name).then(|| "electronics".to_owned()),
        feeds_on,
        spur: false,
    };
    if circuit.points.is_empty() {
        circuit.points.push(point(&Circuit::far_end(), is_ring));
    }
    let at = match circuit.points.len() {
        all if is_ring => all,
        all => all.saturating_sub(1),
    };
    let feeds_on = is_ring || at < circuit.points.len();
    circuit.points.insert(at, point(place, feeds_on));
}

/// "Add circuit five, ring": on the board where the work is.
pub(super) fn circuit(
    agenda: &Agenda,
    said: &Intent,
    circuit: u16,
    pieces: &[String],
) -> Vec<Event> {
    if agenda.edition() == Edition::First {
        return not_asked(said);
    }
    let first = || agenda.job().boards.first().map(|board| board.number);
    let Some(board) = agenda.current().map(|step| step.board).or_else(first) else {
        return not_asked(said);
    };
    if let Some(board) = board_with(agenda, board, circuit) {
        return refused(said, Refusal::CircuitThere { board, circuit });
    }
    // At a visit of live tests alone no dead test comes with it.
    let live_alone = agenda.job().kind == JobKind::LiveRetest;
    if agenda.energised(board) && !live_alone {
        return refused(said, Refusal::Energised { board });
    }
    match tried(agenda, board, circuit, pieces) {
        Some(refusal) => refused(said, refusal),
        None => vec![Event::ProposedCircuit {
            board,
            circuit,
            said: pieces.to_vec(),
        }],
    }
}

/// More is said of the circuit that is asked about.
pub(super) fn more(
    agenda: &Agenda,
    said: &Intent,
    of: EventNo,
    (board, circuit): (u16, u16),
    pieces: Vec<String>,
) -> Vec<Event> {
    if let Some(refusal) = tried(agenda, board, circuit, &pieces) {
        return refused(said, refusal);
    }
    vec![
        Event::Withdrawn {
            of,
            why: Withdrawal::Restated,
        },
        Event::ProposedCircuit {
            board,
            circuit,
            said: pieces,
        },
    ]
}

/// What an affirmed circuit comes to; what is missing is asked for first.
pub(super) fn circuit_affirmed(
    agenda: &Agenda,
    said: &Intent,
    of: EventNo,
    (board, circuit): (u16, u16),
    pieces: &[String],
) -> Vec<Event> {
    let Ok(new) = circuit_of(agenda.job(), board, circuit, pieces) else {
        return refused(said, Refusal::QuestionOpen);
    };
    match grown_by(agenda, board, new) {
        Ok(events) => std::iter::once(Event::affirmed(of)).chain(events).collect(),
        Err(why) => refused(said, barred(&why).unwrap_or(Refusal::QuestionOpen)),
    }
}

/// Why a circuit can't be as it was said; what is only missing is no reason.
fn tried(agenda: &Agenda, board: u16, circuit: u16, pieces: &[String]) -> Option<Refusal> {
    let unfinished =
        CircuitWords::of(circuit, pieces).is_ok_and(|words| words.circuit(circuit).is_err());
    if unfinished {
        return None;
    }
    match circuit_of(agenda.job(), board, circuit, pieces) {
        Err(_) => Some(Refusal::CircuitNotClear {
            board,
            circuit,
            said: pieces.to_vec(),
        }),
        Ok(new) => match grown_by(agenda, board, new) {
            Err(why) => Some(barred(&why).unwrap_or_else(Refusal::not_asked_now)),
            Ok(_) => None,
        },
    }
}

/// What bars the change, where that is the board's state.
fn barred(why: &ChangeRefusal) -> Option<Refusal> {
    match *why {
        ChangeRefusal::Energised(board) => Some(Refusal::Energised { board }),
        ChangeRefusal::Isolated(board) => Some(Refusal::NotIsolated { board }),
        _ => None,
    }
}

/// The change of the job that adds a circuit.
fn grown_by(agenda: &Agenda, board: u16, circuit: Circuit) -> Result<Vec<Event>, ChangeRefusal> {
    let job = with_circuit(agenda.job(), board, circuit);
    change_job(agenda, &job, "", "", agenda.last_event_at())
}
