//! What is left out where a session asks or examines instead of leading. The one place that says so.

use super::line::{Line, LineKind};
use super::readings::bare_read_back;
use super::refusals::refused_in_short;
use super::{about, asked, practice};
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Doubt, Event, Refusal};
use crate::sequence::state::Question;
use crate::terms::Level;

/// In an examination, what is asked about the job is not answered.
const EXAMINED: &str = "This is an examination: that is not told.";

/// The lines of an event, at the level of the session.
pub(super) fn told(before: &Agenda, event: &Event, lines: Vec<Line>) -> Vec<Line> {
    match before.level() {
        Level::Led => lines,
        Level::Asked => asking(event, lines),
        Level::Silent => examining(before, event, lines),
    }
}

fn asking(event: &Event, lines: Vec<Line>) -> Vec<Line> {
    match event {
        Event::Refused { refusal, .. } if tells_what_comes(refusal) => {
            vec![Line::warning("Not now. Something else comes first.")]
        }
        Event::NotTaken { words, spoken, .. } if !spoken => vec![not_known(words)],
        Event::Unpaused => resumed(lines),
        _ => lines,
    }
}

/// Where the session is, and what is left, is not told.
fn resumed(lines: Vec<Line>) -> Vec<Line> {
    let asked = lines
        .into_iter()
        .filter(|line| line.kind == LineKind::Question);
    std::iter::once(Line::answer("Resumed."))
        .chain(asked)
        .collect()
}

/// Whether a refusal gives away what is to be done next.
fn tells_what_comes(refusal: &Refusal) -> bool {
    matches!(
        refusal,
        Refusal::FirstComes { .. } | Refusal::NotAskedNow { .. } | Refusal::NothingToAnswer
    )
}

fn examining(before: &Agenda, event: &Event, lines: Vec<Line>) -> Vec<Line> {
    match event {
        Event::Reading {
            step,
            reading,
            doubt,
            ..
        } => match doubt {
            // What was heard is asked about, never what it means.
            Some(Doubt::MaybeVolts | Doubt::ReadBefore { .. } | Doubt::SaidBefore { .. }) => lines,
            _ => before
                .step(step)
                .map(|step| bare_read_back(before, step, reading))
                .into_iter()
                .collect(),
        },
        Event::Affirmed { .. } => match before.question() {
            Some(Question::Reading(_)) => vec![Line::answer("Taken.")],
            _ => lines,
        },
        // On a real installation nobody is left without a reason.
        Event::Refused { .. } if !before.practises() => lines,
        // That it is dangerous, and not how to go on.
        Event::Refused { refusal, .. } if before_danger(refusal) => {
            vec![Line::warning(format!("No: {}.", refused_in_short(refusal)))]
        }
        Event::Refused { said, .. } if practice::refused_and_never_off(before, said) => {
            vec![Line::warning(practice::NEVER_OFF)]
        }
        Event::Refused { refusal, .. } if is_about_words(refusal) => lines,
        Event::Refused { .. } => vec![Line::warning("Not taken.")],
        // That it was taken, and not what is still out or goes with it.
        Event::PutBack { .. } | Event::TakenOut { .. } => lines
            .into_iter()
            .filter(|line| !matches!(line.kind, LineKind::Reminder | LineKind::Answer))
            .collect(),
        Event::Unpaused => resumed(lines),
        Event::Moved { to, .. } => match before.step(to) {
            Some(step) => vec![Line::answer(about::moved(step, 0))],
            None => Vec::new(),
        },
        Event::Asked {
            said: Intent::WhatDidISay(_),
            ..
        } => lines,
        Event::Asked { said, .. } if said.only_asks() => vec![Line::answer(EXAMINED)],
        Event::NotTaken { words, spoken, .. } if !spoken => vec![not_known(words)],
        Event::JudgedAnew { .. } => Vec::new(),
        Event::Revealed { .. } => vec![Line::answer("What was hidden stands on the sheet.")],
        _ => lines,
    }
}

/// Energising, five hundred volts, leaving with something out: told at every level.
fn before_danger(refusal: &Refusal) -> bool {
    matches!(
        refusal,
        Refusal::ElectronicsInCircuit { .. }
            | Refusal::StillOut { .. }
            | Refusal::MustGoBack { .. }
            | Refusal::DeadTestsFailed { .. }
            | Refusal::MustBePutRight { .. }
            | Refusal::DeadTestsOpen { .. }
    )
}

/// What was said was not whole, or stands in the way: it tells nothing of the work.
fn is_about_words(refusal: &Refusal) -> bool {
    matches!(
        refusal,
        Refusal::SayDead
            | Refusal::InANote
            | Refusal::CodeNeeded
            | Refusal::ItemByItem
            | Refusal::QuestionOpen
            | Refusal::Waiting { .. }
            | Refusal::Finished
            | Refusal::NoSuchPlace { .. }
            | Refusal::WhichOne { .. }
            | Refusal::WhereIsIt
            | Refusal::ReasonNeeded { .. }
            | Refusal::ObservationNeeded
            | Refusal::PredictFirst { .. }
            | Refusal::NameTheFault
            | Refusal::NoSuchPoint { .. }
            | Refusal::CircuitThere { .. }
            | Refusal::CircuitNotClear { .. }
    )
}

fn not_known(words: &str) -> Line {
    Line::answer(asked::unknown(words))
}

/// Whether a line that follows a turn is said at this level.
pub(super) fn follows(level: Level, line: &Line) -> bool {
    !line.text.is_empty()
        && (level != Level::Silent || matches!(line.kind, LineKind::Reminder | LineKind::Question))
}
