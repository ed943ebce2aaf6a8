//! What follows from where a turn has led, and is not said by anyone: what the step asked for now
//! orders out, the place of what was out where the job does not name it, and the question whether what another one ordered is out.

use super::outside;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Edition, Event, Mode, Order, Step};

/// The next events that follow; none when nothing does.
pub(in crate::sequence) fn follow(agenda: &Agenda) -> Vec<Event> {
    let takes_part = matches!(agenda.mode(), Mode::Running | Mode::Paused);
    if agenda.question().is_some() || !takes_part {
        return Vec::new();
    }
    let changed = outside::places_of_what_was_out(agenda);
    if !changed.is_empty() {
        return changed;
    }
    let entries = agenda.left_unanswered();
    if !entries.is_empty() {
        return vec![Event::AskedIfOut { entries }];
    }
    if let Some(of) = agenda.to_be_asked_anew()
        && agenda.mode() == Mode::Running
    {
        return vec![Event::AskedAnew { of }];
    }
    // A dead test that is open again once the lock is off begins with isolation.
    if let Some(step) = agenda.current()
        && agenda.mode() == Mode::Running
        && step.is_dead_test()
        && agenda.unlocked(step.board)
        && agenda.edition() > Edition::First
    {
        return vec![Event::LockRemoved {
            board: step.board,
            to_energise: false,
        }];
    }
    match agenda.current() {
        Some(step) if agenda.mode() == Mode::Running && agenda.guard_of_a_move(step).is_ok() => {
            ordered(agenda, step)
        }
        _ => Vec::new(),
    }
}

/// What a step orders out and is not listed.
pub(super) fn ordered(agenda: &Agenda, step: &Step) -> Vec<Event> {
    let to_event = |order: Order| Event::Ordered {
        step: step.id.clone(),
        board: step.board,
        circuit: step.circuit,
        part: order.part,
        linked: order.linked,
        place: order.place,
        both: order.both,
    };
    agenda.unlisted(step).into_iter().map(to_event).collect()
}
