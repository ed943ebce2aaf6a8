use super::words::Times;
use crate::installation::place_said;
use crate::log::{Entry, Heard, Log, LogError, Thread};
use crate::sequence::say::{self, Narrator};
use crate::sequence::{Agenda, Event, EventNo, Line, LineKind, OutEntry, ReplayError};
use jiff::Timestamp;
use serde::Serialize;
use std::fmt::Write;

/// One utterance and what the program answered. The answers are made again from the events: they
/// are not kept themselves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Exchange {
    /// The number of its thread in a merged log.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub thread: Option<usize>,
    /// The first of its events.
    pub event: EventNo,
    /// When its first event was kept.
    pub at: Timestamp,
    /// Whether it was practised on a simulated installation.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub practised: bool,
    /// Kinds of its events.
    pub kinds: Vec<&'static str>,
    /// The board that the session was at.
    pub board: Option<u16>,
    /// The circuit that it was at.
    pub circuit: Option<u16>,
    /// What was heard; nothing when it was typed or nothing was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heard: Option<Heard>,
    /// Hash of the sound; nothing where there is none, or none any more.
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
    /// What the program answered.
    pub program: Vec<ProgramLine>,
    /// What is out after it, when that has changed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub out: Option<Vec<String>>,
}

/// One thing the program said.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProgramLine {
    /// What kind of line: a read-back, a question, a warning.
    pub kind: &'static str,
    /// Its words.
    pub text: String,
}

/// Which exchanges are wanted.
#[derive(Debug, Clone, Default)]
pub struct WantedExchanges {
    /// Not before this.
    pub since: Option<Timestamp>,
    /// Only of circuits with this number.
    pub circuit: Option<u16>,
    /// Only some of it.
    pub only: Option<Only>,
}

/// Some of a dialogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Only {
    /// Where something was asked back, or answered.
    Questions,
    /// What was not understood: typed words that mean nothing there, and sound that could have been
    /// two things.
    NotUnderstood,
    /// Notes.
    Notes,
}

impl WantedExchanges {
    /// Whether this one is.
    pub fn has(&self, exchange: &Exchange) -> bool {
        self.since.is_none_or(|since| exchange.at >= since)
            && self
                .circuit
                .is_none_or(|circuit| exchange.circuit == Some(circuit))
            && self.only.is_none_or(|only| exchange.is(only))
    }
}

/// A log as a dialogue.
///
/// # Errors
/// When the log is empty or does not begin with the job.
pub fn dialogue(log: &Log) -> Result<Vec<Exchange>, LogError> {
    let first = log.entries.first().ok_or(ReplayError::Empty)?;
    let agenda = Agenda::open(&first.event, first.at)?;
    Ok(follow(log, agenda))
}

/// The same, with an agenda that has taken the log's first event.
pub fn follow(log: &Log, mut agenda: Agenda) -> Vec<Exchange> {
    let mut narrator = Narrator::default();
    let thread = log.thread.as_ref().map(|thread| thread.number);
    let turns = log.turns();
    turns
        .map(|turn| Exchange {
            thread,
            ..exchange(turn, &mut agenda, &mut narrator)
        })
        .collect()
}

/// The dialogues of the threads of a merged log for reading in a terminal, each under its name; lines are cut
/// between words where a terminal has only so many columns.
pub fn threads(
    of: &[(Option<&Thread>, &[Exchange])],
    times: &Times,
    columns: Option<usize>,
) -> String {
    let mut text = String::new();
    for (thread, exchanges) in of {
        if let Some(thread) = thread {
            let _ = writeln!(text, "{thread}");
        }
        text.push_str(&in_columns(exchanges, times, columns));
    }
    text
}

/// What came of one turn.
fn exchange(turn: &[Entry], agenda: &mut Agenda, narrator: &mut Narrator) -> Exchange {
    let before = agenda.clone();
    let events: Vec<Event> = turn.iter().map(|entry| entry.event.clone()).collect();
    let at = turn.first().map_or(Timestamp::UNIX_EPOCH, |entry| entry.at);
    let lines = narrator.tell(agenda, &events, at);
    let here = before
        .current()
        .map(|step| (Some(step.board), step.circuit))
        .filter(|_| !events.iter().any(|e| matches!(e, Event::Opened { .. })))
        .unwrap_or_default();
    let (board, circuit) = events
        .iter()
        .filter_map(|event| place(&before, event))
        .next_back()
        .unwrap_or(here);
    let (board, circuit) = match board.map(|board| place_said(board, circuit)) {
        Some((board, circuit)) => (Some(board), circuit),
        None => (None, circuit),
    };
    let numbers =
        |agenda: &Agenda| -> Vec<EventNo> { agenda.open_entries().map(|entry| entry.no).collect() };
    let understood: Vec<String> = events
        .iter()
        .filter_map(|event| say::meant(&before, event))
        .collect();
    let heard_by = turn.iter().find(|entry| entry.evidence.is_some());
    let unclear = events.iter().find_map(|event| match event {
        Event::Unclear { runner_up, .. } => Some(runner_up.clone()),
        _ => None,
    });
    Exchange {
        practised: before.practises(),
        thread: None,
        event: turn.first().map_or(EventNo(0), |entry| entry.no),
        at,
        kinds: events.iter().map(Event::kind).collect(),
        board,
        circuit,
        heard: heard_by.and_then(|entry| entry.heard.clone()),
        sound: heard_by
            .filter(|entry| !entry.heard.as_ref().is_some_and(|h| h.without_sound))
            .and_then(|entry| entry.evidence)
            .map(|hash| hash.to_string()),
        understood: (!understood.is_empty()).then(|| understood.join(", ")),
        question: before.question().is_some() || agenda.question().is_some() || unclear.is_some(),
        runner_up: unclear.flatten(),
        corrects: events.iter().flat_map(corrects).collect(),
        refused: events.iter().any(|e| matches!(e, Event::Refused { .. })),
        program: lines.iter().map(program_line).collect(),
        out: (numbers(&before) != numbers(agenda))
            .then(|| agenda.open_entries().map(OutEntry::what).collect()),
    }
}

impl Exchange {
    /// Whether it is one of these.
    pub fn is(&self, only: Only) -> bool {
        let kind = |kind| self.kinds.contains(&kind);
        match only {
            Only::Questions => self.question,
            Only::NotUnderstood => kind("not-taken") || kind("unclear"),
            Only::Notes => kind("noted"),
        }
    }

    /// The words that were heard. Those of a note, and of what was left alone, are not shown as such: they are
    /// the nearest of the words that the program knows, and not what was said.
    pub(crate) fn words_heard(&self) -> Option<&str> {
        let other_words = self.is(Only::Notes) || self.kinds.contains(&"not-taken");
        let heard = self.heard.as_ref().filter(|_| !other_words);
        heard
            .map(|heard| heard.words.as_str())
            .filter(|words| !words.is_empty())
    }

    /// Whether it was done at the desk afterwards.
    pub fn at_desk(&self) -> bool {
        matches!(
            self.kinds.as_slice(),
            ["corrected-at-desk" | "sound-forgotten"]
        )
    }
}

/// The place an event names itself.
fn place(agenda: &Agenda, event: &Event) -> Option<(Option<u16>, Option<u16>)> {
    let of_step = |id| agenda.step(id).map(|step| (Some(step.board), step.circuit));
    match event {
        Event::Reading { step, .. }
        | Event::Stated { step, .. }
        | Event::NotTested { step, .. }
        | Event::Skipped { step, .. }
        | Event::Noted {
            step: Some(step), ..
        }
        | Event::NotTaken {
            step: Some(step), ..
        } => of_step(step),
        Event::Moved { to, .. } => of_step(to),
        Event::TakenOut { board, circuit, .. } => Some((Some(*board), *circuit)),
        Event::StaysOff { board, circuit } => Some((Some(*board), Some(*circuit))),
        Event::PutBack { entries } => {
            let entry = agenda.out_list().iter().find(|e| entries.contains(&e.no))?;
            Some((Some(entry.board), entry.circuit))
        }
        Event::Affirmed { of, .. }
        | Event::Withdrawn { of, .. }
        | Event::JudgedAnew { of, .. }
        | Event::AskedAnew { of }
        | Event::CorrectedAtDesk { of, .. } => of_step(&agenda.reading(*of)?.step),
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

fn program_line(line: &Line) -> ProgramLine {
    ProgramLine {
        kind: kind(line.kind),
        text: line.text.clone(),
    }
}

fn kind(kind: LineKind) -> &'static str {
    match kind {
        LineKind::Prompt => "prompt",
        LineKind::Tone => "tone",
        LineKind::ReadBack => "read-back",
        LineKind::Question => "question",
        LineKind::Answer => "answer",
        LineKind::Reminder => "reminder",
        LineKind::Warning => "warning",
        LineKind::Shown => "instrument",
    }
}

/// The dialogue for reading in a terminal.
pub fn dialogue_text(exchanges: &[Exchange], times: &Times) -> String {
    in_columns(exchanges, times, None)
}

fn in_columns(exchanges: &[Exchange], times: &Times, columns: Option<usize>) -> String {
    let mut text = String::new();
    let mut day = String::new();
    for exchange in exchanges {
        let date = times.date(exchange.at);
        if date != day {
            let _ = writeln!(text, "{date} ({})", times.zone_name());
            day = date;
        }
        for line in lines_of(exchange, times) {
            let _ = writeln!(text, "{}", line.in_columns(columns));
        }
    }
    text
}

/// A line of it, with where its text begins.
struct DialogueLine {
    head: String,
    who: &'static str,
    text: String,
}

impl DialogueLine {
    /// Cut between words, with what follows under the text where there is room for it.
    fn in_columns(&self, columns: Option<usize>) -> String {
        let line = format!("{}{:<9}{}", self.head, self.who, self.text);
        let Some(columns) = columns else {
            return line;
        };
        let columns = columns.max(LEAST_COLUMNS);
        let indent = self.head.chars().count() + 9;
        let indent = " ".repeat(indent.min(columns / 3));
        let options = textwrap::Options::new(columns)
            .subsequent_indent(&indent)
            .word_splitter(textwrap::WordSplitter::NoHyphenation)
            .break_words(false);
        textwrap::fill(&line, options)
    }
}

/// Lines are not cut shorter than this.
const LEAST_COLUMNS: usize = 20;

fn lines_of(exchange: &Exchange, times: &Times) -> Vec<DialogueLine> {
    let clock = times.clock(exchange.at);
    let number = format!("#{}", exchange.event);
    let you = match (exchange.words_heard(), &exchange.understood) {
        (Some(words), _) => Some(format!("\u{201c}{words}\u{201d}")),
        (None, Some(understood)) => Some(understood.clone()),
        (None, None) => None,
    };
    let stamp = if exchange.practised { "PRACTICE  " } else { "" };
    let mut head = format!("{stamp}{clock}  {number:<6}");
    let blank = format!("{stamp:<0$}", head.chars().count());
    let mut lines = Vec::new();
    let mut line = |who, text| {
        let head = std::mem::replace(&mut head, blank.clone());
        lines.push(DialogueLine { head, who, text });
    };
    if let Some(you) = you {
        line(if exchange.at_desk() { "desk" } else { "you" }, you);
    }
    for old in &exchange.corrects {
        line("", format!("puts #{old} right: it no longer counts"));
    }
    for said in &exchange.program {
        let who = match said.kind {
            "question" => "asks",
            "warning" if exchange.refused => "refuses",
            "warning" => "warns",
            "prompt" => "prompts",
            "tone" => "tone",
            "reminder" => "reminds",
            _ => "says",
        };
        line(who, said.text.clone());
    }
    if let Some(out) = &exchange.out {
        let out = if out.is_empty() {
            "nothing".to_owned()
        } else {
            out.join("; ")
        };
        line("out", out);
    }
    lines
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
