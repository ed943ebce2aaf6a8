use super::log::{Entry, Heard, Log, LogError};
use super::words::{self, Times};
use crate::grammar::Said;
use crate::sequence::{
    CAUTIONS, Event, EventNo, Line, LineKind, Mode, OutEntry, Question, State, Withdrawal, speak,
};
use jiff::Timestamp;
use serde::Serialize;
use std::fmt::Write;

/// One utterance and what the program answered. The answers are made again from the events: they
/// are not kept themselves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Exchange {
    /// The first of its events.
    pub event: EventNo,
    pub at: Timestamp,
    /// Kinds of its events.
    pub kinds: Vec<&'static str>,
    pub board: Option<u16>,
    pub circuit: Option<u16>,
    /// What was heard; nothing when it was typed or nothing was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heard: Option<Heard>,
    /// Hash of the sound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sound: Option<String>,
    /// What was understood.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub understood: Option<String>,
    /// What it could have been as well, when that was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runner_up: Option<String>,
    /// The events it puts right.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub corrects: Vec<EventNo>,
    /// Whether the program asked something back, or this answers what it asked.
    pub question: bool,
    /// Whether it was refused.
    pub refused: bool,
    pub program: Vec<ProgramLine>,
    /// What is out after it, when that has changed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub out: Option<Vec<String>>,
}

/// One thing the program said.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProgramLine {
    pub kind: &'static str,
    pub text: String,
}

/// Which exchanges are wanted.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    pub since: Option<Timestamp>,
    pub circuit: Option<u16>,
    pub only_questions: bool,
}

impl Wanted {
    /// Whether this one is.
    pub fn has(&self, exchange: &Exchange) -> bool {
        self.since.is_none_or(|since| exchange.at >= since)
            && self
                .circuit
                .is_none_or(|circuit| exchange.circuit == Some(circuit))
            && (!self.only_questions || exchange.question)
    }
}

/// A log as a dialogue.
///
/// # Errors
/// When the log is empty or does not begin with the job.
pub fn dialogue(log: &Log) -> Result<Vec<Exchange>, LogError> {
    let mut entries = log.entries.iter();
    let first = entries.next().ok_or(crate::sequence::ReplayError::Empty)?;
    let mut state = State::open(&first.event, first.at)?;
    let mut exchanges = vec![begun(first, &state)];
    let mut before_that: Option<&Entry> = Some(first);
    for entry in entries {
        let here = state
            .current()
            .map(|step| (Some(step.board), step.circuit))
            .unwrap_or_default();
        let out_before: Vec<EventNo> = state.open_entries().map(|e| e.no).collect();
        let mut lines = answer(&state, entry);
        let question_before = state.question().is_some();
        let (board, circuit) = place(&state, &entry.event).unwrap_or(here);
        let understood = understood(&state, &entry.event);
        state.apply(&entry.event, entry.at);
        lines.extend(after_words(&state, entry));
        let out_after: Vec<EventNo> = state.open_entries().map(|e| e.no).collect();
        let exchange = Exchange {
            event: entry.no,
            at: entry.at,
            kinds: vec![entry.event.kind()],
            board,
            circuit,
            heard: entry.heard.clone(),
            sound: entry.evidence.map(|hash| hash.to_string()),
            understood,
            runner_up: match &entry.event {
                Event::Unclear { runner_up, .. } => runner_up.clone(),
                _ => None,
            },
            corrects: corrects(&entry.event),
            question: question_before
                || state.question().is_some()
                || matches!(entry.event, Event::Unclear { .. }),
            refused: matches!(entry.event, Event::Refused { .. }),
            program: lines.iter().map(program_line).collect(),
            out: (out_before != out_after)
                .then(|| state.open_entries().map(OutEntry::what).collect()),
        };
        match exchanges.last_mut() {
            Some(last) if before_that.is_some_and(|b| goes_on(b, entry)) => last.join(exchange),
            _ => exchanges.push(exchange),
        }
        before_that = Some(entry);
    }
    Ok(exchanges)
}

impl Exchange {
    /// Whether it was done at the desk afterwards.
    pub fn at_desk(&self) -> bool {
        self.kinds == ["corrected-at-desk"]
    }

    /// Adds what came of the same utterance.
    fn join(&mut self, next: Self) {
        self.kinds.extend(next.kinds);
        self.board = next.board;
        self.circuit = next.circuit;
        self.understood = match (self.understood.take(), next.understood) {
            (Some(a), Some(b)) => Some(format!("{a}, {b}")),
            (a, b) => a.or(b),
        };
        self.corrects.extend(next.corrects);
        self.question |= next.question;
        self.refused |= next.refused;
        self.program
            .retain(|line| line.kind != kind(LineKind::Prompt));
        self.program.extend(next.program);
        self.out = next.out.or(self.out.take());
    }
}

/// A correction withdraws the wrong and takes the right in one go.
fn goes_on(before: &Entry, entry: &Entry) -> bool {
    let correction = matches!(
        before.event,
        Event::Withdrawn {
            why: Withdrawal::Correction,
            ..
        }
    );
    correction && before.at == entry.at && before.evidence == entry.evidence
}

fn begun(first: &Entry, state: &State) -> Exchange {
    let mut program: Vec<ProgramLine> = CAUTIONS
        .iter()
        .map(|caution| program_line(&Line::warning(*caution)))
        .collect();
    program.push(program_line(&speak::prompt(state).due()));
    Exchange {
        event: first.no,
        at: first.at,
        kinds: vec![first.event.kind()],
        board: None,
        circuit: None,
        heard: None,
        sound: None,
        understood: None,
        runner_up: None,
        corrects: Vec::new(),
        question: false,
        refused: false,
        program,
        out: None,
    }
}

/// The place an event names itself.
fn place(state: &State, event: &Event) -> Option<(Option<u16>, Option<u16>)> {
    let of_step = |id| state.step(id).map(|step| (Some(step.board), step.circuit));
    match event {
        Event::Reading { step, .. }
        | Event::Stated { step, .. }
        | Event::NotTested { step, .. }
        | Event::Skipped { step, .. } => of_step(step),
        Event::Moved { to, .. } => of_step(to),
        Event::TakenOut { board, circuit, .. } => Some((Some(*board), *circuit)),
        Event::PutBack { entries } => {
            let entry = state.out_list().iter().find(|e| entries.contains(&e.no))?;
            Some((Some(entry.board), entry.circuit))
        }
        Event::Affirmed { of }
        | Event::Withdrawn { of, .. }
        | Event::CorrectedAtDesk { of, .. } => of_step(&state.reading(*of)?.step),
        _ => None,
    }
}

fn corrects(event: &Event) -> Vec<EventNo> {
    match event {
        Event::Withdrawn { of, .. } | Event::CorrectedAtDesk { of, .. } => vec![*of],
        Event::Reading {
            replaces: Some(old),
            ..
        } => vec![*old],
        _ => Vec::new(),
    }
}

/// What the person meant, from the event that came of it.
pub(crate) fn understood(state: &State, event: &Event) -> Option<String> {
    let text = match event {
        Event::Opened { .. }
        | Event::Resumed { .. }
        | Event::CameBack { .. }
        | Event::CalibrationOverdue { .. } => return None,
        Event::Reading {
            reading,
            place,
            half,
            ..
        } => {
            let mut text = reading
                .pair
                .map(|pair| format!("{}, ", pair.spoken()))
                .unwrap_or_default();
            text.push_str(&words::value(reading));
            if let Some(place) = place {
                let _ = write!(text, ", {place}");
            }
            if let Some(half) = half {
                let _ = write!(text, ", {}", half.shown());
            }
            text
        }
        Event::CorrectedAtDesk {
            reading, reason, ..
        } => format!(
            "put right at the desk: {}; reason: {reason}",
            words::value(reading)
        ),
        Event::Affirmed { .. } => "affirm".to_owned(),
        Event::Withdrawn { why, .. } => match why {
            Withdrawal::Negative => "negative",
            Withdrawal::Correction => "correction",
            Withdrawal::Disregard => "disregard",
        }
        .to_owned(),
        Event::Stated { statement, .. } => statement.shown().to_owned(),
        Event::TakenOut { linked, .. } => {
            let change = if *linked { "" } else { " out" };
            format!("{}{change}", describe(event))
        }
        Event::PutBack { entries } => format!("{} back", what_of(state, entries)),
        Event::ProposedAllBack { .. } => "all back".to_owned(),
        Event::ProposedNeverOut { .. } => "negative".to_owned(),
        Event::LockRemoved { .. } => "lock removed".to_owned(),
        Event::ProposedFinish { .. } | Event::Finished { .. } => "finish".to_owned(),
        Event::NotTested { reason, .. } => Said::NotTested(reason.clone()).words(),
        Event::Skipped { reason, .. } => Said::Skip(reason.clone()).words(),
        Event::Overridden { reason, .. } => Said::Override(reason.clone()).words(),
        Event::Moved { to, .. } => match state.step(to) {
            Some(step) => format!("go to {}", speak::moved(step, 0).trim_end_matches('.')),
            None => "go elsewhere".to_owned(),
        },
        Event::VoltageFound { heard, .. } => heard.clone(),
        Event::Refused { said, .. } | Event::Asked { said } => said.words(),
        Event::Unclear { words, .. } => words.clone(),
        Event::NoteBegun => "note".to_owned(),
        Event::NoteEnded => "end of note".to_owned(),
        Event::Noted => "(note, kept as sound)".to_owned(),
        Event::StoodBy => "stand by".to_owned(),
        Event::CarriedOn => "carry on".to_owned(),
        Event::Paused => "pause".to_owned(),
        Event::Unpaused => "resume".to_owned(),
    };
    Some(text)
}

fn describe(event: &Event) -> String {
    match event {
        Event::TakenOut {
            part,
            linked,
            place,
            both,
            ..
        } => part.described(place.as_ref(), *both, *linked),
        _ => String::new(),
    }
}

fn what_of(state: &State, entries: &[EventNo]) -> String {
    let what: Vec<String> = state
        .out_list()
        .iter()
        .filter(|entry| entries.contains(&entry.no))
        .map(OutEntry::what)
        .collect();
    what.join("; ")
}

/// What the program answered, from the state before the event.
fn answer(state: &State, entry: &Entry) -> Vec<Line> {
    match &entry.event {
        Event::Reading {
            step,
            reading,
            question,
            ..
        } => {
            let Some(step) = state.step(step) else {
                return Vec::new();
            };
            let elsewhere = state.current().is_some_and(|current| current.id != step.id);
            vec![speak::read_back(
                step,
                reading,
                elsewhere,
                question.as_deref(),
            )]
        }
        Event::Affirmed { of } => match state.question() {
            Some(question) if question.about() == *of => speak::affirmed(state, question),
            _ => Vec::new(),
        },
        Event::Withdrawn { of, .. } => vec![Line::answer(speak::taken_back(state, *of))],
        Event::Stated { step, statement } => match state.step(step) {
            Some(step) => {
                let mut lines = vec![Line::read_back(speak::statement(step, *statement))];
                lines.extend(step.procedure.after_statement(state, step, *statement));
                lines
            }
            None => Vec::new(),
        },
        Event::TakenOut { .. } => vec![Line::read_back(speak::taken_out(&entry.event))],
        Event::PutBack { entries } => vec![Line::read_back(format!(
            "{} back.",
            speak::capital(&what_of(state, entries))
        ))],
        Event::ProposedAllBack { entries } => vec![Line::question(speak::question(
            state,
            &Question::AllBack(entry.no, entries.clone()),
        ))],
        Event::ProposedNeverOut { entry } => {
            vec![Line::question(speak::never_out(state, *entry))]
        }
        Event::LockRemoved { .. } => vec![Line::warning(speak::lock_removed())],
        Event::CameBack { after_minutes } => vec![Line::warning(speak::came_back(
            jiff::SignedDuration::from_mins(i64::from(*after_minutes)),
        ))],
        Event::CalibrationOverdue {
            instrument,
            serial,
            due,
        } => vec![Line::warning(speak::calibration_overdue(
            instrument, serial, *due,
        ))],
        Event::ProposedFinish { left } => vec![Line::question(speak::finish_early(*left))],
        Event::NotTested { step, .. } | Event::Skipped { step, .. } => match state.step(step) {
            Some(step) => vec![Line::answer(speak::left_out(step, &entry.event))],
            None => Vec::new(),
        },
        Event::Overridden { reason, .. } => {
            vec![Line::warning(speak::overridden(state, reason))]
        }
        Event::Moved { to, passed_over } => match state.step(to) {
            Some(step) => vec![Line::answer(speak::moved(step, *passed_over))],
            None => Vec::new(),
        },
        Event::VoltageFound { .. } => vec![Line::warning(speak::voltage_found())],
        Event::Refused { bar, .. } => vec![Line::warning(speak::bar(state, bar))],
        Event::Unclear { words, runner_up } => vec![Line::question(match runner_up {
            Some(other) => format!("Say again: {words}, or {other}?"),
            None => "Say again?".to_owned(),
        })],
        Event::Asked { said } => vec![match said {
            Said::SayAgain => speak::prompt(state).again(),
            Said::WhereAreWe => Line::answer(speak::where_are_we(state)),
            Said::WhatIsOut => Line::answer(speak::what_is_out(state)),
            Said::HowLongIsLeft => Line::answer(speak::how_long_is_left(state)),
            _ => Line::answer("Is this better?"),
        }],
        Event::NoteBegun => vec![Line::answer(
            "Note. Say end of note when you have finished.",
        )],
        Event::NoteEnded => vec![Line::answer("Note kept.")],
        Event::StoodBy => vec![Line::answer("Standing by.")],
        Event::CarriedOn => vec![Line::answer("Carrying on.")],
        Event::Paused => vec![Line::answer(speak::paused(state))],
        Event::Unpaused => vec![Line::answer(speak::recap(state))],
        Event::Finished { .. } => vec![Line::answer(speak::finished())],
        Event::Opened { .. }
        | Event::Resumed { .. }
        | Event::Noted
        | Event::CorrectedAtDesk { .. } => Vec::new(),
    }
}

/// What follows the answer, from the state after the event: the recap when the session is taken
/// up again, and the next prompt.
fn after_words(after: &State, entry: &Entry) -> Vec<Line> {
    let mut lines = Vec::new();
    if matches!(entry.event, Event::Resumed { .. }) {
        lines.push(Line::answer(format!("Resuming. {}", speak::recap(after))));
    }
    let silent = matches!(
        entry.event,
        Event::Asked { .. }
            | Event::Unclear { .. }
            | Event::Noted
            | Event::VoltageFound { .. }
            | Event::CorrectedAtDesk { .. }
    );
    if !silent && after.question().is_none() && after.mode() == Mode::Running {
        lines.push(speak::prompt(after).due());
    }
    lines
}

fn program_line(line: &Line) -> ProgramLine {
    ProgramLine {
        kind: kind(line.kind),
        text: line.text.clone(),
    }
}

fn kind(kind: LineKind) -> &'static str {
    match kind {
        LineKind::Prompt => "prompt",
        LineKind::ReadBack => "read-back",
        LineKind::Question => "question",
        LineKind::Answer => "answer",
        LineKind::Reminder => "reminder",
        LineKind::Warning => "warning",
    }
}

/// The dialogue for reading in a terminal.
pub fn dialogue_text(exchanges: &[Exchange], times: &Times) -> String {
    let mut text = String::new();
    let mut day = String::new();
    for exchange in exchanges {
        let date = times.date(exchange.at);
        if date != day {
            let _ = writeln!(text, "{date} ({})", times.zone_name());
            day = date;
        }
        write_exchange(&mut text, exchange, times);
    }
    text
}

fn write_exchange(text: &mut String, exchange: &Exchange, times: &Times) {
    let clock = times.clock(exchange.at);
    let number = format!("#{}", exchange.event);
    let heard = exchange.heard.as_ref().filter(|h| !h.words.is_empty());
    let you = match (heard, &exchange.understood) {
        (Some(heard), _) => Some(format!("\u{201c}{}\u{201d}", heard.words)),
        (None, Some(understood)) => Some(understood.clone()),
        (None, None) => None,
    };
    let mut head = format!("{clock}  {number:<6}");
    if let Some(you) = you {
        let who = if exchange.at_desk() { "desk" } else { "you" };
        let _ = writeln!(text, "{head}{who:<9}{you}");
        head = " ".repeat(head.chars().count());
    }
    for old in &exchange.corrects {
        let _ = writeln!(
            text,
            "{head}         puts #{old} right: it no longer counts"
        );
        head = " ".repeat(head.chars().count());
    }
    for line in &exchange.program {
        let mark = match line.kind {
            "question" => "asks     ",
            "warning" if exchange.refused => "refuses  ",
            "warning" => "warns    ",
            "prompt" => "prompts  ",
            "reminder" => "reminds  ",
            _ => "says     ",
        };
        let _ = writeln!(text, "{head}{mark}{}", line.text);
        head = " ".repeat(head.chars().count());
    }
    if let Some(out) = &exchange.out {
        let out = if out.is_empty() {
            "nothing".to_owned()
        } else {
            out.join("; ")
        };
        let _ = writeln!(text, "{head}out      {out}");
    }
}

/// The dialogue as JSON Lines, one exchange a line.
pub fn dialogue_jsonl(exchanges: &[Exchange]) -> String {
    let mut text = String::new();
    for exchange in exchanges {
        // An exchange is text, numbers and lists: it always has a JSON form.
        if let Ok(line) = serde_json::to_string(exchange) {
            text.push_str(&line);
            text.push('\n');
        }
    }
    text
}
