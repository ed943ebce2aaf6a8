use super::events::{Decide, is_about_the_session, refused};
use super::leaving_out;
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Event, Mode, Refusal};
use crate::sequence::state::Question;

/// What is taken while the session waits; nothing when it runs, or when what was said is taken all
/// the same. What comes after what it ended is decided by `anew`.
pub(super) fn decide(agenda: &Agenda, said: &Intent, anew: Decide) -> Option<Vec<Event>> {
    let mode = agenda.mode();
    // Whether something is out, or live, is answered whatever waits.
    let asked = matches!(
        agenda.question(),
        Some(Question::IfOut(..) | Question::IfLive(_))
    );
    if asked && mode != Mode::Finished && matches!(said, Intent::Affirm | Intent::Negative) {
        return None;
    }
    let events = match (mode, said) {
        (Mode::Running, _) => return None,
        (Mode::Noting, Intent::EndOfNote) => leaving_out::end_of_note(agenda, said),
        // Another item or observation ends the one before.
        (Mode::Noting, Intent::Observed { .. } | Intent::Inspected { .. }) => {
            let ended = leaving_out::end_of_note(agenda, said);
            let mut after = agenda.clone();
            for event in &ended {
                after.apply(event, agenda.last_event_at());
            }
            ended.into_iter().chain(anew(&after, said)).collect()
        }
        (Mode::Noting, said) => {
            let noted = Event::Noted {
                text: None,
                step: None,
            };
            // Nobody is to think that what was said there was done.
            let acts = matches!(
                said,
                Intent::Altered(_) | Intent::StaysOff(_) | Intent::Finish | Intent::Pause
            );
            let told = if acts {
                refused(said, Refusal::InANote)
            } else {
                Vec::new()
            };
            std::iter::once(noted).chain(told).collect()
        }
        (Mode::StandingBy, Intent::CarryOn | Intent::Resume) => vec![Event::CarriedOn],
        (Mode::Paused, Intent::Resume | Intent::CarryOn) => vec![Event::Unpaused],
        (Mode::Finished, Intent::Finish) => Vec::new(),
        (_, said) if is_about_the_session(said) => return None,
        _ if breakage::is(Break::TakenWhileWaiting) => return None,
        (Mode::Finished, _) => refused(said, Refusal::Finished),
        (Mode::StandingBy | Mode::Paused, _) => refused(said, Refusal::Waiting { mode }),
    };
    Some(events)
}
