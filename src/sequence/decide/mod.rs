//! What something said means in the state it was said in: events, and no words. A refusal is an
//! event too, and so is a question that changes nothing.

mod alteration;
mod finishing;
mod leaving_out;
mod moving;
mod question;
mod reading;
mod statement;
mod waiting;

use super::agenda::Agenda;
use super::facts::{Event, Refusal};
use crate::grammar::Said;
use crate::terms::Part;

pub use reading::ReadingSlots;

/// Decides what something said means. Pure: no clock, no sound, no disk.
///
/// ```text
/// waiting    paused, standing by, noting, finished: little is taken
/// asked      questions about the session change nothing
/// question   something waits for "affirm" or "negative"
/// the rest   readings, statements, alterations, moves
/// ```
pub fn decide(agenda: &Agenda, said: &Said) -> Vec<Event> {
    if let Some(events) = waiting::decide(agenda, said) {
        return events;
    }
    if is_about_the_session(said) {
        return vec![Event::Asked { said: said.clone() }];
    }
    if let Some(question) = agenda.question()
        && let Some(events) = question::decide(agenda, question, said)
    {
        return events;
    }
    match said {
        Said::Affirm => statement::affirm(agenda),
        Said::Negative | Said::Disregard | Said::Correction(_) => question::take_back(agenda, said),
        Said::Reading {
            reading,
            place,
            half,
        } => {
            let slots = ReadingSlots {
                place: place.as_ref(),
                half: *half,
                ..ReadingSlots::default()
            };
            reading::decide(agenda, said, reading, slots)
        }
        Said::Measured {
            measure,
            reading,
            place,
        } => {
            let slots = ReadingSlots {
                place: place.as_ref(),
                named: Some(*measure),
                ..ReadingSlots::default()
            };
            reading::decide(agenda, said, reading, slots)
        }
        Said::Altered(alteration) if alteration.part == Part::Lock => {
            statement::lock(agenda, said, alteration.change)
        }
        Said::Altered(alteration) => alteration::decide(agenda, said, alteration),
        Said::Stated(statement) => statement::decide(agenda, said, *statement, None, None),
        Said::StatedAt { state, pair, place } => {
            statement::decide(agenda, said, *state, *pair, place.as_ref())
        }
        Said::StandBy => vec![Event::StoodBy],
        Said::Pause => vec![Event::Paused],
        Said::Note => vec![Event::NoteBegun],
        Said::CarryOn | Said::Resume | Said::EndOfNote => Vec::new(),
        Said::Both(change) => alteration::both(agenda, said, *change),
        Said::NotTested(_) | Said::Skip(_) | Said::Override(_) | Said::Because(_) => {
            leaving_out::decide(agenda, said)
        }
        Said::Circuit(_) | Said::Board(_) | Said::GoTo(_) | Said::TestAt(_) => {
            moving::decide(agenda, said)
        }
        Said::Finish => finishing::decide(agenda, said),
        Said::SayAgain
        | Said::WhereAreWe
        | Said::WhatIsOut
        | Said::HowLongIsLeft
        | Said::Manner(_) => Vec::new(),
    }
}

/// Questions about the session, and how it is to be spoken, change nothing in it.
fn is_about_the_session(said: &Said) -> bool {
    matches!(
        said,
        Said::SayAgain | Said::WhereAreWe | Said::WhatIsOut | Said::HowLongIsLeft | Said::Manner(_)
    )
}

/// A refusal with its reason. It is kept too: a reviewer sees what was tried.
fn refused(said: &Said, refusal: Refusal) -> Vec<Event> {
    vec![Event::Refused {
        said: said.clone(),
        refusal,
    }]
}

fn not_asked(said: &Said) -> Vec<Event> {
    refused(said, Refusal::not_asked_now())
}
