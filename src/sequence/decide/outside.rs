//! Places that the job does not name: where something was taken out at one and put back, the circuit gains it, so that it
//! is tested as any other outlet that was opened is.

use super::adding::add;
use crate::installation::Accessory;
use crate::sequence::agenda::Agenda;
use crate::sequence::amend::change_job;
use crate::sequence::facts::{Edition, Event};
use crate::terms::Place;

/// The change of the job; none where every place is known, or where it can't be changed now.
pub(super) fn places_of_what_was_out(agenda: &Agenda) -> Vec<Event> {
    // The installation that is practised on has the points that it has.
    if agenda.edition() == Edition::First || agenda.practises() {
        return Vec::new();
    }
    let list = agenda.state().out_list().iter();
    let opened = list
        .filter(|entry| entry.is_equipment() && entry.back.is_some())
        .filter_map(|entry| Some((entry.board, entry.circuit?, entry.place.as_ref()?)))
        .filter(|(.., place)| place.may_be_an_outlet());
    let mut job = agenda.job().clone();
    for (board, circuit, place) in opened {
        add(&mut job, board, circuit, place);
    }
    // No file says so: the log does.
    change_job(agenda, &job, "", "", agenda.last_event_at()).unwrap_or_default()
}

/// The place that is meant, where what was said names none of the circuit: the only one of that name, or the only one
/// that is known for the same electronics.
pub(super) fn nearest(agenda: &Agenda, said: &Place, among: &[Among]) -> Nearest {
    if among.iter().any(|(.., place)| place == said) {
        return Nearest::Named;
    }
    let named = |(.., place): &&Among| said.number.is_none() && place.name == said.name;
    let electronics: Vec<_> = Accessory::electronics_of(&said.name).collect();
    let known_for = |(board, circuit, place): &Among| {
        let circuit = circuit.and_then(|circuit| agenda.circuit(*board, circuit));
        let mut points = circuit.into_iter().flat_map(|circuit| &circuit.points);
        let holds = points.find(|point| point.place() == *place);
        let holds = holds.and_then(|point| point.sensitive.as_deref());
        format!("{} {}", place.name, holds.unwrap_or_default()).to_lowercase()
    };
    let alike = |one: &&Among| {
        (said.number.is_none() || said.number == one.2.number)
            && Accessory::electronics_of(&known_for(one)).any(|word| electronics.contains(&word))
    };
    let mut same_name = among.iter().filter(named);
    let mut like_it = among.iter().filter(alike);
    match (
        same_name.next(),
        same_name.next(),
        like_it.next(),
        like_it.next(),
    ) {
        (Some(_), Some(_), ..) => Nearest::OneOfSeveral,
        (Some((.., only)), None, ..) | (None, _, Some((.., only)), None) => {
            Nearest::Only(only.clone())
        }
        _ => Nearest::Named,
    }
}

/// A place of a circuit: board, circuit, place.
pub(super) type Among = (u16, Option<u16>, Place);

/// What a place that was said comes to.
pub(super) enum Nearest {
    /// Itself.
    Named,
    /// This one.
    Only(Place),
    /// One of several that it names all: which was not said.
    OneOfSeveral,
}
