//! What changed since the last visit: a reading beside the last one of the same step, with what the
//! accuracy of two instruments explains and what it does not.

use super::cells::Net;
use super::columns::{TableColumn, results};
use super::csv::{LOOP_AND_CURRENT, of_board};
use super::schedule::Schedule;
use super::words;
use crate::installation::board_said;
use crate::marking::{INSTRUMENT, agree};
use crate::quantity::{Reading, parse_value};
use crate::sequence::{Agenda, Step};
use serde::Serialize;
use std::collections::BTreeMap;
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
pub struct ReadingChange {
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
pub fn changes(last: &Agenda, now: &Agenda) -> Vec<ReadingChange> {
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

fn change(agenda: &Agenda, step: &Step, last: Option<Net>, now: Option<Net>) -> ReadingChange {
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
    ReadingChange {
        board: board_said(step.board),
        circuit: step.circuit,
        test: words::step(agenda, step),
        last: last.map(shown),
        now: now.map(shown),
        since,
    }
}

/// The results of a schedule that was exported as CSV beside those of this visit, circuit by circuit and
/// column by column; nothing when it is no such schedule. A cell holds the worst of its readings.
pub fn changes_since(last: &str, now: &Schedule) -> Option<Vec<ReadingChange>> {
    let last = last.trim_start_matches('\u{feff}');
    let mut table = csv::ReaderBuilder::new()
        .flexible(true)
        .from_reader(last.as_bytes());
    let heads = table.headers().ok()?.clone();
    let at = |name: &str| heads.iter().position(|head| head == name);
    let (board_at, circuit_at) = (at("board")?, at("circuit")?);
    let columns: Vec<(TableColumn, usize)> = results(&now.columns)
        .into_iter()
        .filter(TableColumn::is_result)
        .filter_map(|column| Some((column, at(column.csv)?)))
        .collect();
    if columns.is_empty() {
        return None;
    }
    let mut rows: BTreeMap<(u16, u16), csv::StringRecord> = BTreeMap::new();
    for row in table.records() {
        let row = row.ok()?;
        let number = |at: usize| row.get(at)?.trim().parse::<u16>().ok();
        let place = (number(board_at)?, number(circuit_at)?);
        rows.insert(place, row);
    }
    let mut changes = Vec::new();
    let mut compare = |board, circuit, test: String, last: Option<&str>, now: Option<&str>| {
        let (last, now) = (last.and_then(read), now.and_then(read));
        let since = match (&last, &now) {
            (None, None) => return,
            (Some((_, last)), Some((_, now))) if agree(now, last) => Since::Explained,
            (Some(_), Some(_)) => Since::NotExplained,
            (None, _) => Since::New,
            (_, None) => Since::Gone,
        };
        changes.push(ReadingChange {
            board,
            circuit,
            test,
            last: last.map(|(shown, _)| shown),
            now: now.map(|(shown, _)| shown),
            since,
        });
    };
    for board in &now.boards {
        let first = rows.iter().find(|((number, _), _)| *number == board.number);
        let here = of_board(board);
        for (name, text) in LOOP_AND_CURRENT
            .iter()
            .zip(here.get(1..3).unwrap_or_default())
        {
            let before = first.and_then(|(_, row)| row.get(at(name)?));
            compare(board.number, None, (*name).to_owned(), before, Some(text));
        }
        for circuit in &board.circuits {
            let row = rows.remove(&(board.number, circuit.number));
            for (column, at) in &columns {
                let before = row.as_ref().and_then(|row| row.get(*at));
                let text = column.text(circuit);
                let test = column.csv.to_owned();
                compare(
                    board.number,
                    Some(circuit.number),
                    test,
                    before,
                    Some(&text),
                );
            }
        }
    }
    for ((board, circuit), row) in rows {
        for (column, at) in &columns {
            compare(
                board,
                Some(circuit),
                column.csv.to_owned(),
                row.get(*at),
                None,
            );
        }
    }
    Some(changes)
}

/// The reading in a cell of a schedule, with what stands there; nothing where it holds none.
fn read(cell: &str) -> Option<(String, Reading)> {
    // An apostrophe stands before what a spreadsheet would take for a formula.
    let shown = cell.trim().trim_start_matches('\'');
    let value = shown.strip_suffix(" calc").unwrap_or(shown);
    Some((shown.to_owned(), parse_value(value).ok()?))
}

/// The same as text, a line each, with a line before that says how many are not explained.
pub fn changes_text(changes: &[ReadingChange]) -> String {
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
