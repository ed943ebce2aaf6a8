//! The end of a session.

use super::refused;
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Ask, Event};
use crate::sequence::state::count;

/// "Finish": barred by the out-list, asked about with steps undone.
pub(super) fn decide(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    if let Err(refusal) = agenda.nothing_out() {
        return refused(said, refusal);
    }
    match left_undone(agenda) {
        0 => finished(agenda),
        left => vec![Event::ProposedFinish { left }],
    }
}

/// The session is finished.
pub(super) fn finished(agenda: &Agenda) -> Vec<Event> {
    vec![Event::Finished {
        left_open: count(agenda.open_entries().count()),
        left_undone: left_undone(agenda),
    }]
}

fn left_undone(agenda: &Agenda) -> u32 {
    let asked = |step: &&crate::sequence::facts::Step| step.ask != Ask::Event;
    count(agenda.open_steps().filter(asked).count())
}
