//! The end of a session.

use super::events::refused;
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Ask, Event, Refusal};
use crate::sequence::state::count;

/// "Finish": barred by the out-list, asked about with steps undone.
pub(super) fn decide(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    // What was ordered out and not answered is asked about first.
    let ordered: Vec<_> = agenda
        .ordered_entries()
        .map(|(entry, _)| entry.no)
        .collect();
    if !ordered.is_empty() {
        return vec![Event::AskedIfOut { entries: ordered }];
    }
    if let Err(refusal) = guard(agenda) {
        return refused(said, refusal);
    }
    if agenda.to_diagnose() {
        return refused(said, Refusal::NameTheFault);
    }
    match left_undone(agenda) {
        0 => finished(agenda),
        left => vec![Event::ProposedFinish { left }],
    }
}

/// Nobody leaves a circuit that is dangerous, the earthing off, or anything out.
fn guard(agenda: &Agenda) -> Result<(), Refusal> {
    let urgent = agenda.current().filter(|step| step.kind.is_urgent());
    if let Some(urgent) = urgent.filter(|_| !breakage::is(Break::FinishedInDanger)) {
        return Err(Refusal::first_comes(&urgent.id));
    }
    if breakage::is(Break::FinishedWithThingsOut) {
        return Ok(());
    }
    agenda.nothing_out()
}

/// "Affirm", where it was asked whether to finish with steps undone.
pub(super) fn affirmed(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    match guard(agenda) {
        Ok(()) => finished(agenda),
        Err(refusal) => refused(said, refusal),
    }
}

/// The session is finished.
fn finished(agenda: &Agenda) -> Vec<Event> {
    vec![Event::Finished {
        left_open: count(agenda.open_entries().count()),
        left_undone: left_undone(agenda),
    }]
}

fn left_undone(agenda: &Agenda) -> u32 {
    let asked = |step: &&crate::sequence::facts::Step| step.ask != Ask::Event;
    count(agenda.open_steps().filter(asked).count())
}
