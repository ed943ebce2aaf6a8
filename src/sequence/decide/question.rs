//! Answers to what waits for "affirm", and taking back what was said last.

use super::{decide as decide_anew, finishing, reading, refused};
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, EventNo, Refusal, Withdrawal};
use crate::sequence::state::Question;
use crate::terms::{Change, Statement};

/// What an open question makes of something said; nothing when it does not stand in its way.
pub(super) fn decide(agenda: &Agenda, question: &Question, said: &Intent) -> Option<Vec<Event>> {
    let of = question.about();
    let withdrawn = |why| vec![Event::Withdrawn { of, why }];
    let events = match said {
        Intent::Affirm => match question {
            Question::Finish(..) => match agenda.nothing_out() {
                Ok(()) => finishing::finished(agenda),
                Err(refusal) => refused(said, refusal),
            },
            _ => vec![Event::Affirmed { of }],
        },
        Intent::Negative => withdrawn(Withdrawal::Negative),
        Intent::Disregard => withdrawn(Withdrawal::Disregard),
        Intent::Correction(None) => withdrawn(Withdrawal::Correction),
        Intent::Correction(Some(right)) => match question {
            Question::NeverOut(_, entry) if takes_out(right) => corrected(agenda, *entry, right),
            Question::NeverOut(..) => refused(said, Refusal::QuestionOpen),
            _ => corrected(agenda, of, right),
        },
        Intent::Reading { reading, .. } | Intent::Measured { reading, .. } => match question {
            // The same once more is no answer: the question is put again.
            Question::Reading(no)
                if agenda
                    .reading(*no)
                    .is_some_and(|asked| reading::same(&asked.reading, reading)) =>
            {
                vec![Event::Asked { said: said.clone() }]
            }
            Question::Reading(_) => corrected(agenda, of, said),
            _ => refused(said, Refusal::QuestionOpen),
        },
        Intent::Altered(_)
        | Intent::Stated(Statement::Live)
        | Intent::StandBy
        | Intent::Pause
        | Intent::Note => return None,
        _ => refused(said, Refusal::QuestionOpen),
    };
    Some(events)
}

/// "Negative", "disregard" and "correction" where nothing is asked: what was taken last is taken
/// back. What was put on the out-list is not taken off it without asking: it may well be out.
pub(super) fn take_back(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let is_out = |of: EventNo| agenda.open_entries().any(|entry| entry.no == of);
    let why = match said {
        Intent::Correction(Some(right)) => {
            return match agenda.last_taken() {
                // What is out is only replaced by what is out instead; anything else is taken
                // beside it.
                Some(of) if is_out(of) && !takes_out(right) => decide_anew(agenda, right),
                Some(of) => corrected(agenda, of, right),
                None => decide_anew(agenda, right),
            };
        }
        Intent::Correction(None) => Withdrawal::Correction,
        Intent::Disregard => Withdrawal::Disregard,
        _ => Withdrawal::Negative,
    };
    match agenda.last_taken() {
        Some(of) if is_out(of) => vec![Event::ProposedNeverOut { entry: of }],
        Some(of) => vec![Event::Withdrawn { of, why }],
        None => refused(said, Refusal::NothingToAnswer),
    }
}

/// What is right is taken in the place of what was said.
fn corrected(agenda: &Agenda, of: EventNo, right: &Intent) -> Vec<Event> {
    let withdrawn = Event::Withdrawn {
        of,
        why: Withdrawal::Replaced,
    };
    let mut after = agenda.clone();
    after.apply(&withdrawn, agenda.last_event_at());
    let next = decide_anew(&after, right);
    // A correction that is refused changes nothing that is out.
    let is_out = agenda.open_entries().any(|entry| entry.no == of);
    let is_refused = |event: &Event| matches!(event, Event::Refused { .. });
    if is_out && next.iter().any(is_refused) {
        return next;
    }
    std::iter::once(withdrawn).chain(next).collect()
}

fn takes_out(said: &Intent) -> bool {
    matches!(said, Intent::Altered(a) if matches!(a.change, Change::Out | Change::Linked))
}
