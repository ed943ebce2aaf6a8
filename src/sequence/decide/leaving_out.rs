//! "Not tested", "skip" and "override", each with its reason.

use super::{not_asked, refused};
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, LeftOut, Refusal};
use crate::terms::{Reason, Stage};

/// A step that is left out or left for later, or a refusal that is gone past. Without a reason,
/// that is asked for; a reason by itself answers it.
pub(super) fn decide(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let (what, reason) = match said {
        Intent::NotTested(reason) => (LeftOut::NotTested, reason.as_ref()),
        Intent::Skip(reason) => (LeftOut::Skipped, reason.as_ref()),
        Intent::Override(reason) => (LeftOut::Overridden, reason.as_ref()),
        Intent::Because(reason) => match agenda.last_refusal() {
            Some(Refusal::ReasonNeeded { what }) => (*what, Some(reason)),
            _ => return refused(said, Refusal::NothingToAnswer),
        },
        _ => return not_asked(said),
    };
    match what {
        LeftOut::Overridden => go_past(agenda, said, reason),
        LeftOut::NotTested | LeftOut::Skipped => leave_out(agenda, said, what, reason),
    }
}

fn leave_out(agenda: &Agenda, said: &Intent, what: LeftOut, reason: Option<&Reason>) -> Vec<Event> {
    let Some(step) = agenda.current() else {
        return not_asked(said);
    };
    if !agenda.procedure(step).answers(step).may_be_left_out {
        return refused(said, Refusal::CannotBeSkipped);
    }
    let Some(reason) = reason.cloned() else {
        return refused(said, Refusal::ReasonNeeded { what });
    };
    let step = step.id.clone();
    vec![match what {
        LeftOut::Skipped => Event::Skipped { step, reason },
        LeftOut::NotTested | LeftOut::Overridden => Event::NotTested { step, reason },
    }]
}

fn go_past(agenda: &Agenda, said: &Intent, reason: Option<&Reason>) -> Vec<Event> {
    let Some(refusal) = overridable(agenda) else {
        return refused(said, Refusal::NothingToAnswer);
    };
    match reason.cloned() {
        Some(reason) => vec![Event::Overridden { refusal, reason }],
        None => refused(
            said,
            Refusal::ReasonNeeded {
                what: LeftOut::Overridden,
            },
        ),
    }
}

/// The refusal that an override would lift: the one just met, or the one before the step asked for.
fn overridable(agenda: &Agenda) -> Option<Refusal> {
    let ahead = || {
        let step = agenda.current()?;
        match step.stage {
            Stage::PutBack => agenda.nothing_out().err(),
            _ => agenda.guard(step).err(),
        }
    };
    agenda
        .last_refusal()
        .cloned()
        .filter(Refusal::may_be_overridden)
        .or_else(|| ahead().filter(Refusal::may_be_overridden))
}
