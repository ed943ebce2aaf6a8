//! What something said means in the state it was said in: events, and no words. A refusal is an
//! event too, and so is a question that changes nothing. No file here uses one that uses it: what has
//! something decided anew is given `decide` itself.

mod adding;
mod alteration;
mod events;
mod finishing;
mod following;
mod inspecting;
mod leaving_out;
mod moving;
mod outside;
mod practice;
mod question;
mod reading;
mod statement;
mod waiting;
mod warning;

use super::agenda::Agenda;
use super::facts::{Event, Refusal};
use crate::grammar::Intent;
use crate::terms::Part;

pub(super) use following::follow;
pub(super) use statement::STILL_PUT_RIGHT;
pub(super) use warning::is_dead_work;
pub use warning::sounds_like_a_warning;

use events::{asked, is_about_the_session, not_asked, refused};
use reading::ReadingSlots;

/// Decides what something said means. Pure: no clock, no sound, no disk.
///
/// ```text
/// warning    voltage where there should be none is never put off
/// waiting    paused, standing by, noting, finished: little is taken
/// asked      questions about the session change nothing
/// question   something waits for "affirm" or "negative"
/// the rest   readings, statements, alterations, moves
/// ```
pub fn decide(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    if let Some(events) = warning::decide(agenda, said) {
        return events;
    }
    if let Some(events) = waiting::decide(agenda, said, decide) {
        return events;
    }
    if is_about_the_session(said) {
        return asked(said);
    }
    if let Some(question) = agenda.question()
        && let Some(events) = question::decide(agenda, question, said, decide)
    {
        return events;
    }
    match said {
        // It answers a question, and no step: it may have been meant for one that is gone.
        Intent::Affirm => refused(said, Refusal::NothingToAnswer),
        Intent::Negative | Intent::Disregard | Intent::Correction(_) => {
            question::take_back(agenda, said, decide)
        }
        Intent::Reading {
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
        Intent::Measured {
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
        Intent::Altered(alteration) if alteration.part == Part::Lock => {
            statement::lock(agenda, said, alteration.change)
        }
        Intent::Altered(alteration) => alteration::decide(agenda, said, alteration),
        Intent::Stated(statement) => statement::decide(agenda, said, *statement, None, None),
        Intent::StatedAt { state, pair, place } => {
            statement::decide(agenda, said, *state, *pair, place.as_ref())
        }
        Intent::StandBy => vec![Event::StoodBy],
        Intent::Pause => vec![Event::Paused],
        Intent::Note => vec![Event::NoteBegun { observation: false }],
        Intent::Observe => leaving_out::observe(agenda, said),
        // The installation that is practised on has the points that it has.
        Intent::AddPoint { .. } if agenda.practises() => not_asked(said),
        Intent::AddPoint { name, circuit } => adding::decide(agenda, said, name, *circuit),
        Intent::AddCircuit { .. } if agenda.practises() => not_asked(said),
        Intent::AddCircuit {
            number,
            said: pieces,
        } => adding::circuit(agenda, said, *number, pieces),
        // Only while a circuit is being added.
        Intent::Pieces(_) => not_asked(said),
        Intent::Inspected { item, state } => inspecting::item(agenda, said, item, *state),
        Intent::InspectedSection { section, state } => {
            inspecting::section(agenda, said, *section, *state)
        }
        Intent::Observed {
            code,
            circuit,
            place,
        } => inspecting::observed(agenda, said, *code, *circuit, place.as_ref()),
        Intent::StaysOff(number) => moving::stays_off(agenda, said, *number),
        // What another grammar says never comes here: sessions hear by ours. Nor does what is answered with
        // the words to say instead.
        Intent::CarryOn
        | Intent::Resume
        | Intent::EndOfNote
        | Intent::Foreign(_)
        | Intent::TradeTalk => Vec::new(),
        Intent::Predict { of, reading } => practice::predicted(agenda, said, *of, *reading),
        Intent::Diagnose(fault) => practice::diagnosed(agenda, said, fault.as_ref()),
        // On a simulated installation the instrument answers (`Session::practised`), and nothing else.
        Intent::Probe { .. } | Intent::WhatDoesItShow | Intent::SwitchedOn(_) => not_asked(said),
        Intent::Both(change) => alteration::both(agenda, said, *change),
        Intent::NotTested(_) | Intent::Skip(_) | Intent::Override(_) | Intent::Because(_) => {
            leaving_out::decide(agenda, said)
        }
        Intent::Circuit(_) | Intent::Board(_) | Intent::GoTo(_) | Intent::TestAt(_) => {
            moving::decide(agenda, said)
        }
        Intent::Finish => finishing::decide(agenda, said),
        Intent::SayAgain
        | Intent::WhereAreWe
        | Intent::WhatIsOut
        | Intent::HowLongIsLeft
        | Intent::WhatIsLeft
        | Intent::WhatIsNext
        | Intent::WhatIsTheLimit
        | Intent::WhatDidISay(_)
        | Intent::Help
        | Intent::ProsodyChange(_) => Vec::new(),
    }
}
