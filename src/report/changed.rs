//! What changed since the last visit: a reading beside the last one of the same step, with what the
//! accuracy of two instruments explains and what it does not.

use super::cells::Net;
use super::words;
use crate::marking::{INSTRUMENT, agree};
use crate::sequence::{Agenda, Step};
use serde::Serialize;
use std::fmt::Write;

/// How a reading stands beside the last one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Since {
    /// Two instruments that are right may show both: the same installation.
    Explained,
    /// No: something changed, or one of the two was misread.
    NotExplained,
    /// It was not read last time.
    New,
    /// It was read last time, and is not read now.
    Gone,
}

impl Since {
    /// In words.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Explained => "within the accuracy of both instruments",
            Self::NotExplained => "NOT explained by the instruments",
            Self::New => "not read last time",
            Self::Gone => "not read now",
        }
    }
}

/// One reading, last time and now.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// The board's number.
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// The test, with its pair and place.
    pub test: String,
    /// What was read last time.
    pub last: Option<String>,
    /// What is read now.
    pub now: Option<String>,
    /// What that comes to.
    pub since: Since,
}

/// The readings that count of two visits, step by step, in the order of the plan; what only the last
/// one had comes at the end.
pub fn changes(last: &Agenda, now: &Agenda) -> Vec<Change> {
    let net = |agenda: &Agenda, step: &Step| {
        let here = agenda.step(&step.id)?;
        let record = agenda.result(here)?;
        Some(Net::of(agenda, here, record))
    };
    let of_now = now.plan().steps.iter().filter_map(|step| {
        let (before, here) = (net(last, step), net(now, step));
        (before.is_some() || here.is_some()).then(|| change(now, step, before, here))
    });
    let of_last = last.plan().steps.iter().filter_map(|step| {
        let only_then = now.step(&step.id).is_none();
        let before = net(last, step).filter(|_| only_then)?;
        Some(change(last, step, Some(before), None))
    });
    of_now.chain(of_last).collect()
}

fn change(agenda: &Agenda, step: &Step, last: Option<Net>, now: Option<Net>) -> Change {
    let since = match (&last, &now) {
        (Some(last), Some(now)) if agree(&now.reading, &last.reading) => Since::Explained,
        (Some(_), Some(_)) => Since::NotExplained,
        (None, _) => Since::New,
        (_, None) => Since::Gone,
    };
    let shown = |net: Net| match net.beside {
        Some(beside) => format!("{} ({beside})", words::value(&net.reading)),
        None => words::value(&net.reading),
    };
    Change {
        board: step.board,
        circuit: step.circuit,
        test: words::step(agenda, step),
        last: last.map(shown),
        now: now.map(shown),
        since,
    }
}

/// The same as text, a line each, with a line before that says how many are not explained.
pub fn changes_text(changes: &[Change]) -> String {
    let so = |since: Since| changes.iter().filter(|one| one.since == since).count();
    let not = so(Since::NotExplained);
    let (share, digits) = INSTRUMENT;
    let mut text = format!(
        "{} readings compared, without their test leads; {not} not explained by the accuracy of two \
         instruments ({} % and {digits} digits each: common practice; BS EN 61557 allows more).\n",
        not + so(Since::Explained),
        share * 100.0
    );
    for one in changes {
        let circuit = one.circuit.map(|circuit| format!(", circuit {circuit}"));
        let value = |value: &Option<String>| value.clone().unwrap_or_else(|| "–".to_owned());
        let _ = writeln!(
            text,
            "board {}{}, {}: {} last time, {} now: {}",
            one.board,
            circuit.unwrap_or_default(),
            one.test,
            value(&one.last),
            value(&one.now),
            one.since.shown()
        );
    }
    text
}
