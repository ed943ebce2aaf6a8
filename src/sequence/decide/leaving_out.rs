//! "Not tested", "skip" and "override", each with its reason.

use super::{not_asked, refused};
use crate::grammar::Said;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, Refusal};
use crate::terms::Stage;

/// A step that is left out or left for later, or a refusal that is gone past.
pub(super) fn decide(agenda: &Agenda, said: &Said) -> Vec<Event> {
    if let Said::Override(reason) = said {
        return match overridable(agenda) {
            Some(refusal) => vec![Event::Overridden {
                refusal,
                reason: reason.clone(),
            }],
            None => refused(said, Refusal::NothingToAnswer),
        };
    }
    let Some(step) = agenda.current() else {
        return not_asked(said);
    };
    if !agenda.procedure(step).answers(step).may_be_left_out {
        return refused(said, Refusal::CannotBeSkipped);
    }
    let step = step.id.clone();
    match said {
        Said::NotTested(reason) => vec![Event::NotTested {
            step,
            reason: reason.clone(),
        }],
        Said::Skip(reason) => vec![Event::Skipped {
            step,
            reason: reason.clone(),
        }],
        _ => not_asked(said),
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
