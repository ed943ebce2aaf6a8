//! What the ear could learn from: lines that were not understood, asked twice or put right, with the
//! hash of their sound. Of the place there is nothing in it but the words; notes are left out.

use crate::log::{Entry, Log, LogError};
use crate::sequence::{Agenda, Event, EventNo, ReplayError, Withdrawal, say};
use serde::Serialize;
use std::collections::BTreeSet;

/// Why something could be learnt from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LessonKind {
    /// Words that meant nothing there: typed, or spoken and left alone.
    NotUnderstood,
    /// Sound that could have been two things, or was not sure enough.
    AskedAgain,
    /// It was taken, and taken back or put right.
    Corrected,
}

impl LessonKind {
    /// In words.
    pub fn shown(self) -> &'static str {
        match self {
            Self::NotUnderstood => "not understood",
            Self::AskedAgain => "asked again",
            Self::Corrected => "taken back or put right",
        }
    }
}

/// Something that could be learnt from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lesson {
    /// Why.
    pub kind: LessonKind,
    /// What was typed, or what the recogniser heard.
    pub words: String,
    /// What it could have been as well.
    pub runner_up: Option<String>,
    /// The grammar rule that was expected then.
    pub rule: &'static str,
    /// Hash of the evidence with its sound; nothing when it was typed.
    pub evidence: Option<String>,
    /// Length of the sound, s.
    pub seconds: f64,
}

/// What a log holds of it, in the order in which it was said. Where the sound was deleted there is
/// nothing to learn from.
///
/// # Errors
/// When the log is empty or does not begin with the job.
pub fn lessons(log: &Log) -> Result<Vec<Lesson>, LogError> {
    let first = log.entries.first().ok_or(ReplayError::Empty)?;
    let mut agenda = Agenda::open(&first.event, first.at)?;
    let corrected = corrected(log);
    let mut found = Vec::new();
    let mut known = BTreeSet::new();
    for (n, turn) in log.turns().enumerate() {
        let rule = say::prompt(&agenda).rule;
        found.extend(lesson(turn, rule, &corrected).filter(|lesson| {
            let evidence = lesson.evidence.clone();
            evidence.is_none_or(|evidence| known.insert(evidence))
        }));
        // The first event is in the agenda already.
        for entry in turn.iter().skip(usize::from(n == 0)) {
            agenda.apply(&entry.event, entry.at);
        }
    }
    Ok(found)
}

/// The events that were taken back because they were heard or said wrongly.
fn corrected(log: &Log) -> BTreeSet<EventNo> {
    log.entries
        .iter()
        .filter_map(|entry| match &entry.event {
            Event::Withdrawn {
                of,
                why:
                    Withdrawal::Negative
                    | Withdrawal::Correction
                    | Withdrawal::Disregard
                    | Withdrawal::Replaced,
            }
            | Event::CorrectedAtDesk { of, .. }
            | Event::Reading {
                replaces: Some(of), ..
            } => Some(*of),
            _ => None,
        })
        .collect()
}

fn lesson(turn: &[Entry], rule: &'static str, corrected: &BTreeSet<EventNo>) -> Option<Lesson> {
    let lesson = turn.iter().find_map(|entry| {
        let (kind, words, runner_up) = match &entry.event {
            Event::NotTaken { words, .. } => (LessonKind::NotUnderstood, words.clone(), None),
            Event::Unclear {
                words, runner_up, ..
            } => (LessonKind::AskedAgain, words.clone(), runner_up.clone()),
            _ if corrected.contains(&entry.no) => (LessonKind::Corrected, String::new(), None),
            _ => return None,
        };
        Some(Lesson {
            kind,
            words,
            runner_up,
            rule,
            evidence: None,
            seconds: 0.0,
        })
    })?;
    let spoken = turn
        .iter()
        .find_map(|entry| Some((entry.evidence?, entry.heard.as_ref()?)));
    match (spoken, lesson.kind) {
        (None, LessonKind::NotUnderstood) => Some(lesson),
        (None, _) => None,
        (Some((_, heard)), _) if heard.without_sound => None,
        (Some((evidence, heard)), _) => Some(Lesson {
            words: if heard.words.is_empty() {
                lesson.words
            } else {
                heard.words.clone()
            },
            runner_up: lesson.runner_up.or_else(|| heard.runner_up.clone()),
            evidence: Some(evidence.to_string()),
            seconds: heard.seconds,
            ..lesson
        }),
    }
}
