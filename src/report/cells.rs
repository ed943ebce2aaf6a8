use super::schedule::{Limitation, tested_joined_instead};
use super::words;
use crate::limits::{Outcome, Verdict};
use crate::quantity::{Reading, Relation, Unit};
use crate::sequence::{EventNo, Kept, Progress, State, Step};
use jiff::Timestamp;
use serde::Serialize;

/// A reading that counts, with its verdict.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingRow {
    pub event: EventNo,
    pub at: Timestamp,
    /// The stage it belongs to, in words.
    pub stage: &'static str,
    /// "insulation resistance L-N at 500 V"
    pub what: String,
    /// As written on a schedule, without its unit: `0.34`, `>999`, `over range`.
    pub shown: String,
    pub unit: Option<&'static str>,
    /// A bound, not a number: over, under or over range.
    pub is_bound: bool,
    /// The person was asked, and affirmed it.
    pub affirmed: bool,
    pub verdict: Option<Verdict>,
    #[serde(skip)]
    pub reading: Reading,
}

impl ReadingRow {
    /// The value with its unit.
    pub fn value(&self) -> String {
        words::value(&self.reading)
    }
}

/// What stands in one cell of the schedule.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "cell", rename_all = "kebab-case")]
pub enum Cell {
    /// No such test belongs to the circuit.
    NotPlanned,
    /// Still to be done.
    NotDone,
    Reading {
        shown: String,
        unit: Option<&'static str>,
        is_bound: bool,
        event: EventNo,
        /// How many readings this is the worst of.
        of: usize,
        verdict: Option<Verdict>,
    },
    Said {
        said: &'static str,
        event: EventNo,
        /// Stands as an exception.
        wrong: bool,
    },
    NotTested {
        reason: String,
        /// The limitation that tells.
        mark: Option<String>,
    },
    Skipped {
        reason: &'static str,
    },
}

impl Cell {
    /// As written in a table.
    pub fn text(&self) -> String {
        match self {
            Self::NotPlanned => "–".to_owned(),
            Self::NotDone => "not done".to_owned(),
            Self::Reading { shown, .. } => shown.clone(),
            Self::Said { said, .. } => (*said).to_owned(),
            Self::NotTested { mark, .. } => match mark {
                Some(mark) => format!("not tested ({mark})"),
                None => "not tested".to_owned(),
            },
            Self::Skipped { .. } => "left out".to_owned(),
        }
    }

    /// The verdict, when it is a reading that was judged.
    pub fn verdict(&self) -> Option<&Verdict> {
        match self {
            Self::Reading { verdict, .. } => verdict.as_ref(),
            _ => None,
        }
    }

    /// How it stands against its limit.
    pub fn outcome(&self) -> Option<Outcome> {
        match self {
            Self::Said { wrong: true, .. } => Some(Outcome::Fail),
            _ => self.verdict().map(|verdict| verdict.outcome),
        }
    }

    /// The same, or not planned when nothing was done: for tests that are only made instead of
    /// others.
    #[must_use]
    pub fn when_done(self) -> Self {
        match self {
            Self::NotDone => Self::NotPlanned,
            done => done,
        }
    }
}

/// Which of several readings a cell shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Worst {
    Lowest,
    Highest,
}

/// One cell from the steps that belong in it: the worst of their readings, else what was said,
/// else why there is nothing.
pub(crate) fn cell<'a>(
    state: &'a State,
    steps: impl Iterator<Item = &'a Step> + Clone,
    worst: Worst,
    limitations: &[Limitation],
) -> Cell {
    let readings: Vec<&Kept> = steps
        .clone()
        .filter_map(|step| state.result(&step.id))
        .collect();
    let by_size = |a: &&&Kept, b: &&&Kept| size(&a.reading).total_cmp(&size(&b.reading));
    let shown = match worst {
        Worst::Lowest => readings.iter().min_by(by_size),
        Worst::Highest => readings.iter().max_by(by_size),
    };
    if let Some(kept) = shown {
        return Cell::Reading {
            shown: kept.reading.shown(),
            unit: kept.reading.unit.map(Unit::symbol),
            is_bound: kept.reading.relation != Relation::Exact,
            event: kept.no,
            of: readings.len(),
            verdict: kept.verdict.clone(),
        };
    }
    let mut found = Cell::NotPlanned;
    for step in steps {
        match state.progress(&step.id) {
            Some(Progress::Stated(event, statement)) => {
                return Cell::Said {
                    said: statement.shown(),
                    event: *event,
                    wrong: super::schedule::is_wrong(step, *statement),
                };
            }
            Some(Progress::NotTested(_, reason)) => {
                found = not_tested(step, reason.shown(), limitations);
            }
            Some(Progress::Skipped(_, reason)) => {
                found = Cell::Skipped {
                    reason: reason.shown(),
                };
            }
            Some(Progress::Read(_)) => {}
            None if state.is_open(step) => found = Cell::NotDone,
            None if tested_joined_instead(state, step) => {
                found = not_tested(
                    step,
                    "live conductors joined and tested to earth instead",
                    limitations,
                );
            }
            None => {}
        }
    }
    found
}

fn not_tested(step: &Step, reason: &str, limitations: &[Limitation]) -> Cell {
    let what = words::step(step);
    let mark = limitations.iter().find(|one| {
        (one.board, one.circuit) == (step.board, step.circuit) && one.what.contains(&what)
    });
    Cell::NotTested {
        reason: reason.to_owned(),
        mark: mark.map(|one| one.mark.clone()),
    }
}

/// A row of a step's reading.
pub(crate) fn reading_row(step: &Step, kept: &Kept) -> ReadingRow {
    ReadingRow {
        event: kept.no,
        at: kept.at,
        stage: step.stage.shown(),
        what: words::step(step),
        shown: kept.reading.shown(),
        unit: kept.reading.number.and(kept.reading.unit).map(Unit::symbol),
        is_bound: kept.reading.relation != Relation::Exact,
        affirmed: kept.question.is_some(),
        verdict: kept.verdict.clone(),
        reading: kept.reading,
    }
}

/// A reading's size for sorting, in base units: over range is past everything.
fn size(reading: &Reading) -> f64 {
    let scale = reading.unit.map_or(1.0, Unit::scale);
    reading
        .number
        .map_or(f64::INFINITY, |number| number.value() * scale)
}
