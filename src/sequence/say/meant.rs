//! What the person meant, in words, from the event that came of it: as the log shows it.

use super::about::place_of_move;
use super::named::{board_and_circuit, step_named, written};
use super::numbers::value;
use crate::grammar::Intent;
use crate::quantity::Reading;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, EventNo, StepId, Withdrawal};
use crate::sequence::probing;
use crate::sequence::state::OutEntry;
use crate::terms::{HalfCycle, Place, Statement, Wording};

/// What the person meant, from the event that came of it.
pub fn meant(agenda: &Agenda, event: &Event) -> Option<String> {
    let text = match event {
        Event::Opened { .. }
        | Event::Resumed { .. }
        | Event::CameBack { .. }
        | Event::JobChanged { .. }
        | Event::JudgedAnew { .. }
        | Event::AskedAnew { .. }
        | Event::CalibrationOverdue { .. } => return None,
        Event::Reading {
            reading,
            place,
            half,
            ..
        } => read(reading, place.as_ref(), *half),
        Event::CorrectedAtDesk { .. }
        | Event::Struck { .. }
        | Event::Photographed { .. }
        | Event::SoundForgotten { .. } => at_the_desk(event),
        Event::Affirmed { by_touch, .. } => if *by_touch {
            "affirm, by touch"
        } else {
            "affirm"
        }
        .to_owned(),
        Event::Withdrawn { why, .. } => match why {
            Withdrawal::Negative => "negative",
            Withdrawal::Correction | Withdrawal::Replaced => "correction",
            Withdrawal::Disregard => "disregard",
            Withdrawal::Widened | Withdrawal::Restated => return None,
        }
        .to_owned(),
        Event::Stated {
            statement, place, ..
        }
        | Event::ProposedStatement {
            statement, place, ..
        } => match place {
            Some(place) => format!("{}, {place}", statement.shown()),
            None => statement.shown().to_owned(),
        },
        Event::ProposedPoint { circuit, place, .. } => Intent::AddPoint {
            name: place.name.clone(),
            circuit: *circuit,
        }
        .words(),
        Event::ProposedCircuit { circuit, said, .. } => Intent::AddCircuit {
            number: *circuit,
            said: said.clone(),
        }
        .words(),
        Event::SectionStated {
            section, statement, ..
        } => Intent::InspectedSection {
            section: *section,
            state: *statement,
        }
        .words(),
        Event::Observed {
            circuit,
            code,
            place,
            ..
        } => Intent::Observed {
            code: *code,
            circuit: *circuit,
            place: place.clone(),
        }
        .words(),
        Event::Ordered { .. } | Event::AskedIfOut { .. } | Event::SetAside { .. } => return None,
        Event::AskedIfLive { words } => words.clone(),
        Event::StaysOff { circuit, .. } => Intent::StaysOff(*circuit).words(),
        Event::TakenOut {
            part,
            linked,
            place,
            both,
            ..
        } => {
            let change = if *linked { "" } else { " out" };
            format!("{}{change}", part.described(place.as_ref(), *both, *linked))
        }
        Event::PutBack { entries } => format!("{} back", what_of(agenda, entries)),
        Event::ProposedAllBack { .. } => "all back".to_owned(),
        Event::ProposedNeverOut { .. } => "negative".to_owned(),
        Event::LockRemoved { .. } => "lock removed".to_owned(),
        Event::ProposedFinish { .. } | Event::Finished { .. } => "finish".to_owned(),
        Event::NotTested { reason, .. } => Intent::NotTested(Some(reason.clone())).words(),
        Event::Skipped { reason, .. } => Intent::Skip(Some(reason.clone())).words(),
        Event::Overridden { reason, .. } => Intent::Override(Some(reason.clone())).words(),
        Event::Moved { to, .. } => match agenda.step(to) {
            Some(step) => format!("go to {}", place_of_move(step)),
            None => "go elsewhere".to_owned(),
        },
        Event::VoltageFound { reading, heard, .. } => {
            voltage_found(reading.as_ref(), heard.as_deref())
        }
        Event::Refused { said, .. } | Event::Asked { said, .. } => said.words(),
        Event::Unclear { words, .. } => words.clone(),
        Event::NotTaken { words, spoken, .. } => not_taken(words, *spoken),
        Event::NeighbourHeard { whose, .. } => neighbour(whose.as_deref()),
        Event::ReadBackCut { of } => format!("(the read-back of #{of} was broken off)"),
        Event::NoteBegun { observation: true } => Intent::Observe.words(),
        Event::NoteBegun { .. } => "note".to_owned(),
        Event::NoteEnded => "end of note".to_owned(),
        Event::Noted { text, step } => noted(agenda, text.as_deref(), step.as_ref()),
        Event::Probed { probe, .. } if probe.held > 0 => Intent::WhatDoesItShow.words(),
        Event::Probed { probe, .. } => probing::said(probe).words(),
        Event::SwitchedOn { rcd: Some(_), .. } => Intent::SwitchedOn(None).words(),
        Event::SwitchedOn { circuit, .. } => Intent::SwitchedOn(Some(*circuit)).words(),
        Event::Came { .. } => return None,
        Event::Predicted { of, reading, .. } => Intent::Predict {
            of: *of,
            reading: *reading,
        }
        .words(),
        Event::Diagnosed { fault } => Intent::Diagnose(fault.clone()).words(),
        Event::Revealed { .. } => return None,
        Event::StoodBy => "stand by".to_owned(),
        Event::CarriedOn => "carry on".to_owned(),
        Event::Paused => "pause".to_owned(),
        Event::Unpaused => "resume".to_owned(),
    };
    Some(text)
}

/// A value with where it was read.
fn read(reading: &Reading, place: Option<&Place>, half: Option<HalfCycle>) -> String {
    let pair = reading.pair.map(|pair| pair.spoken());
    let place = place.map(ToString::to_string);
    let half = half.map(|half| half.shown().to_owned());
    let parts = [pair, Some(written(reading)), place, half];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// What was done afterwards, by keyboard.
fn at_the_desk(event: &Event) -> String {
    match event {
        Event::CorrectedAtDesk {
            reading, reason, ..
        } => format!(
            "put right at the desk: {}; reason: {reason}",
            written(reading)
        ),
        Event::Struck { of, reason, by } => {
            let by = by.as_ref().map(|by| format!(" by {by}"));
            format!(
                "struck at the desk{}: #{of}; reason: {reason}",
                by.unwrap_or_default()
            )
        }
        Event::Photographed { of, picture } => {
            format!("photo added at the desk to #{of}: {}", picture.shown())
        }
        Event::SoundForgotten { of, .. } => {
            let of: Vec<String> = of.iter().map(|no| format!("#{no}")).collect();
            format!("sound deleted: {}", of.join(", "))
        }
        _ => String::new(),
    }
}

/// A note, and where it was made.
fn noted(agenda: &Agenda, text: Option<&str>, step: Option<&StepId>) -> String {
    let step = match step {
        Some(step) => agenda.step(step),
        None => agenda.current(),
    };
    let at = step.map(|step| {
        let named = step_named(agenda, step);
        format!(" at {}{named}", board_and_circuit(step))
    });
    let at = at.unwrap_or_default();
    match text {
        Some(text) => format!("(note{at}) {text}"),
        None => format!("(note{at}, kept as sound)"),
    }
}

fn what_of(agenda: &Agenda, entries: &[EventNo]) -> String {
    let what: Vec<String> = agenda
        .out_list()
        .iter()
        .filter(|entry| entries.contains(&entry.no))
        .map(OutEntry::what)
        .collect();
    what.join("; ")
}

/// What was said when voltage was found: a voltage, or the word.
pub fn voltage_found(reading: Option<&Reading>, heard: Option<&str>) -> String {
    match (reading, heard) {
        (_, Some(heard)) => heard.to_owned(),
        (Some(reading), None) => value(reading, Wording::Radio),
        (None, None) => Statement::Live.shown().to_owned(),
    }
}

/// Who was heard beside the learner.
fn neighbour(whose: Option<&str>) -> String {
    match whose {
        Some(whose) => format!("(heard from {whose})"),
        None => "(heard from a neighbour)".to_owned(),
    }
}

/// What meant nothing, as typed or as it was heard.
fn not_taken(words: &str, spoken: bool) -> String {
    match (words, spoken) {
        (_, false) => format!("{words} (not taken)"),
        ("", true) => "(spoken, and left alone)".to_owned(),
        (_, true) => format!("(spoken, and left alone; nearest to \"{words}\")"),
    }
}
