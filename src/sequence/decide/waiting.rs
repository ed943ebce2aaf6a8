use super::{is_about_the_session, leaving_out, refused};
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, Mode, Refusal};
use crate::sequence::state::Question;

/// What is taken while the session waits; nothing when it runs, or when what was said is taken all
/// the same.
pub(super) fn decide(agenda: &Agenda, said: &Intent) -> Option<Vec<Event>> {
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
        (Mode::Noting, _) => vec![Event::Noted {
            text: None,
            step: None,
        }],
        (Mode::StandingBy, Intent::CarryOn | Intent::Resume) => vec![Event::CarriedOn],
        (Mode::Paused, Intent::Resume | Intent::CarryOn) => vec![Event::Unpaused],
        (Mode::Finished, Intent::Finish) => Vec::new(),
        (_, said) if is_about_the_session(said) => return None,
        (Mode::Finished, _) => refused(said, Refusal::Finished),
        (Mode::StandingBy | Mode::Paused, _) => refused(said, Refusal::Waiting { mode }),
    };
    Some(events)
}
