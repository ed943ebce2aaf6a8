use super::schedule::Limitation;
use super::words;
use crate::limits::{Outcome, Verdict};
use crate::quantity::{Reading, Relation, Unit};
use crate::sequence::procedures::{POLARITY_COLUMN, tested_joined_instead};
use crate::sequence::{
    Agenda, Column, EventNo, Measure, Quantity, ReadingRecord, ShownWhen, Step, StepOutcome, Worst,
};
use crate::terms::{Stage, Statement};
use jiff::Timestamp;
use serde::Serialize;

/// A reading that counts, with its verdict.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingRow {
    /// The event that brought it.
    pub event: EventNo,
    /// When it was kept.
    pub at: Timestamp,
    /// The stage it belongs to, in words.
    pub stage: &'static str,
    /// "insulation resistance L-N at 500 V"
    pub what: String,
    /// As written on a schedule, without its unit: `0.34`, `>999`, `over range`; the leads taken
    /// off.
    pub shown: String,
    /// What was read, where the leads were taken off: "0.13 read, leads 0.08".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beside: Option<String>,
    /// Its symbol.
    pub unit: Option<&'static str>,
    /// A bound, not a number: over, under or over range.
    pub is_bound: bool,
    /// The person was asked, and affirmed it.
    pub affirmed: bool,
    /// What the limits said of it then.
    pub verdict: Option<Verdict>,
    /// As it was read, the leads in it.
    #[serde(skip)]
    pub reading: Reading,
}

impl ReadingRow {
    /// The value with its unit, and what was read where that is another.
    pub fn value(&self) -> String {
        with_beside(words::value(&self.reading), self.beside.as_deref())
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
    /// The worst of the readings that belong here.
    Reading {
        /// As written on a schedule, without its unit; the leads taken off.
        shown: String,
        /// What was read, where the leads were taken off: "0.13 read, leads 0.08".
        #[serde(skip_serializing_if = "Option::is_none")]
        beside: Option<String>,
        /// Its symbol.
        unit: Option<&'static str>,
        /// A bound, not a number: over, under or over range.
        is_bound: bool,
        /// The event that brought it.
        event: EventNo,
        /// How many readings this is the worst of.
        of: usize,
        /// What the limits said of it then.
        verdict: Option<Box<Verdict>>,
    },
    /// What was stated.
    Intent {
        /// In words: "polarity correct".
        said: &'static str,
        /// The event that brought it.
        event: EventNo,
        /// Stands as an exception.
        wrong: bool,
    },
    /// It was not tested.
    NotTested {
        /// Why, in words.
        reason: String,
        /// The limitation that tells.
        mark: Option<String>,
    },
    /// It was left for later, and is still to be done.
    Skipped {
        /// Why, in words.
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
            Self::Intent { said, .. } => (*said).to_owned(),
            Self::NotTested { mark, .. } => match mark {
                Some(mark) => format!("not tested ({mark})"),
                None => "not tested".to_owned(),
            },
            Self::Skipped { .. } => "left out".to_owned(),
        }
    }

    /// As written on a page: a reading with what was read, where the leads were taken off.
    pub fn on_page(&self) -> String {
        with_beside(self.text(), self.beside())
    }

    /// As the standard's form marks it: a reading as it is, what was stated as a tick or in words where
    /// it is wrong, and LIM, N/A or N/V where there is nothing.
    pub fn marked(&self) -> String {
        match self {
            Self::NotPlanned => "N/A".to_owned(),
            Self::NotDone | Self::Skipped { .. } => "N/V".to_owned(),
            Self::Reading { shown, .. } => shown.clone(),
            Self::Intent { wrong: false, .. } => "✓".to_owned(),
            Self::Intent { said, .. } => (*said).to_owned(),
            Self::NotTested { mark, .. } => match mark {
                Some(mark) => format!("LIM {mark}"),
                None => "LIM".to_owned(),
            },
        }
    }

    /// The same in words, for whoever can't see the marks.
    pub(super) fn marked_aloud(&self) -> String {
        match self {
            Self::NotPlanned => "not applicable".to_owned(),
            Self::NotDone | Self::Skipped { .. } => "not verified".to_owned(),
            Self::NotTested { .. } | Self::Intent { .. } => self.text(),
            Self::Reading { .. } => self.marked(),
        }
    }

    /// What was read, where the leads were taken off.
    pub fn beside(&self) -> Option<&str> {
        match self {
            Self::Reading { beside, .. } => beside.as_deref(),
            _ => None,
        }
    }

    /// As written on a page by itself: a reading with its unit.
    pub fn with_unit(&self) -> String {
        let text = match self {
            Self::Reading {
                shown,
                unit: Some(unit),
                ..
            } if shown.contains(|c: char| c.is_ascii_digit()) => format!("{shown} {unit}"),
            _ => self.text(),
        };
        with_beside(text, self.beside())
    }

    /// The verdict, when it is a reading that was judged.
    pub fn verdict(&self) -> Option<&Verdict> {
        match self {
            Self::Reading { verdict, .. } => verdict.as_deref(),
            _ => None,
        }
    }

    /// How it stands against its limit.
    pub fn outcome(&self) -> Option<Outcome> {
        match self {
            Self::Intent { wrong: true, .. } => Some(Outcome::Fail),
            _ => self.verdict().map(|verdict| verdict.outcome),
        }
    }

    /// The same, or not planned when nothing was done: for tests that are only made instead of
    /// others.
    #[must_use]
    fn when_done(self) -> Self {
        match self {
            Self::NotDone => Self::NotPlanned,
            done => done,
        }
    }
}

/// The cell of a column for one circuit: the worst of its readings, else what was said, else why
/// there is nothing.
pub(super) fn cell(
    agenda: &Agenda,
    steps: &[&Step],
    column: &'static Column,
    limitations: &[Limitation],
) -> Cell {
    let own = steps.iter().copied().filter(|step| {
        // Wherever it showed.
        let reversed = column == &POLARITY_COLUMN
            && matches!(
                agenda.outcome(step),
                Some(StepOutcome::Stated(_, Statement::PolarityReversed))
            );
        reversed || agenda.procedure(step).column(step) == Some(column)
    });
    let found = filled(agenda, own, column.worst, limitations);
    match column.shown {
        ShownWhen::Done => found.when_done(),
        ShownWhen::Always | ShownWhen::Planned => found,
    }
}

/// The worst of these steps' readings, else what was said, else why there is nothing.
pub(super) fn filled<'a>(
    agenda: &'a Agenda,
    steps: impl Iterator<Item = &'a Step> + Clone,
    worst: Worst,
    limitations: &[Limitation],
) -> Cell {
    // What is not as it should be stands before what was read beside it: an RCD that did not trip on one half-cycle.
    let wrong = steps.clone().find_map(|step| match agenda.outcome(step) {
        Some(StepOutcome::Stated(event, statement)) if step.is_wrong(*statement) => {
            Some(Cell::Intent {
                said: words::stated(*statement),
                event: *event,
                wrong: true,
            })
        }
        _ => None,
    });
    if let Some(wrong) = wrong {
        return wrong;
    }
    let readings: Vec<(&ReadingRecord, Net)> = steps
        .clone()
        .filter_map(|step| {
            let record = agenda.result(step)?;
            Some((record, Net::of(agenda, step, record)))
        })
        .collect();
    let size = |(_, net): &(&ReadingRecord, Net)| net.reading.size();
    let by_size =
        |a: &&(&ReadingRecord, Net), b: &&(&ReadingRecord, Net)| size(a).total_cmp(&size(b));
    let shown = match worst {
        Worst::Lowest => readings.iter().min_by(by_size),
        Worst::Highest => readings.iter().max_by(by_size),
    };
    if let Some((record, net)) = shown {
        // A column has one unit, whatever the instrument showed.
        let asked = agenda.step(&record.step).and_then(Step::measure);
        let other = |measure: Measure| Some(measure.unit) != net.reading.unit;
        let converted = asked
            .filter(|measure| other(*measure))
            .and_then(|measure| net.reading.converted(measure.unit));
        let as_read = converted.map(|_| format!("{} read", words::value(&net.reading)));
        let reading = converted.unwrap_or(net.reading);
        return Cell::Reading {
            shown: match record.calculated {
                Some(_) => format!("{} calc", reading.shown()),
                None => reading.shown(),
            },
            beside: net.beside.clone().or(as_read),
            unit: reading.unit.map(Unit::symbol),
            is_bound: net.reading.relation != Relation::Exact,
            event: record.no,
            of: readings.len(),
            verdict: record.verdict.clone().map(Box::new),
        };
    }
    let mut found = Cell::NotPlanned;
    for step in steps {
        match agenda.outcome(step) {
            Some(StepOutcome::Stated(event, statement)) => {
                return Cell::Intent {
                    said: words::stated(*statement),
                    event: *event,
                    wrong: false,
                };
            }
            Some(StepOutcome::NotTested(_, reason)) => {
                found = not_tested(agenda, step, reason.shown(), limitations);
            }
            Some(StepOutcome::Skipped(_, reason)) => {
                found = Cell::Skipped {
                    reason: reason.shown(),
                };
            }
            Some(StepOutcome::Read(_)) => {}
            None if agenda.is_open(step) => found = Cell::NotDone,
            None if tested_joined_instead(agenda.state(), step) => {
                found = not_tested(agenda, step, JOINED_INSTEAD, limitations);
            }
            None => {
                if let Some(cell) = left_off(agenda, step, limitations) {
                    found = cell;
                }
            }
        }
    }
    found
}

/// Why a pair was not tested by itself.
pub(super) const JOINED_INSTEAD: &str = "live conductors joined and tested to earth instead";

fn not_tested(agenda: &Agenda, step: &Step, reason: &str, limitations: &[Limitation]) -> Cell {
    let what = words::step(agenda, step);
    let mark = limitations.iter().find(|one| {
        (one.board, one.circuit) == (step.board, step.circuit) && one.what.contains(&what)
    });
    Cell::NotTested {
        reason: reason.to_owned(),
        mark: mark.map(|one| one.mark.clone()),
    }
}

/// What stays untested because the circuit, or what supplies its board, stays off.
fn left_off(agenda: &Agenda, step: &Step, limitations: &[Limitation]) -> Option<Cell> {
    // What is only made instead of another test is not missed.
    let column = agenda.procedure(step).column(step);
    if column.is_some_and(|column| column.shown == ShownWhen::Done) {
        return None;
    }
    let circuit = step.circuit;
    let off = circuit.is_some_and(|circuit| agenda.stays_off(step.board, circuit));
    let cut_off = step.is_live_test() && !agenda.has_its_supply(step.board);
    let of = if off { circuit } else { None };
    let mut left_off = limitations.iter();
    let one = left_off
        .find(|one| one.stage == Stage::MakeSafe && (one.board, one.circuit) == (step.board, of))?;
    (off || cut_off).then(|| Cell::NotTested {
        reason: one.reason.clone(),
        mark: Some(one.mark.clone()),
    })
}

/// A reading with the leads taken off, where they were noted and not nulled.
pub(super) struct Net {
    pub(super) reading: Reading,
    /// "0.13 read, leads 0.08".
    pub(super) beside: Option<String>,
}

impl Net {
    pub(super) fn of(agenda: &Agenda, step: &Step, record: &ReadingRecord) -> Self {
        let said = record.reading;
        if let Some(by) = record.calculated {
            return Self {
                reading: said,
                beside: Some(format!("calculated, not measured: {}", by.shown())),
            };
        }
        let leads = through_leads(step).then(|| agenda.leads(Some(record.no)));
        let alone = leads.flatten().filter(|leads| leads.size() > 0.0);
        let (Some(alone), Some(_)) = (alone, said.number) else {
            return Self {
                reading: said,
                beside: None,
            };
        };
        let leads = if alone.unit == said.unit {
            alone.shown()
        } else {
            words::value(&alone)
        };
        if said.size() < alone.size() {
            return Self {
                reading: said,
                beside: Some(format!(
                    "less than the leads alone, {}",
                    words::value(&alone)
                )),
            };
        }
        Self {
            reading: agenda.record_without_leads(record),
            beside: Some(format!("{} read, leads {leads}", said.shown())),
        }
    }
}

/// Whether the test leads are in what is read: continuity.
fn through_leads(step: &Step) -> bool {
    use Quantity::{Bond, R1R2, R2, RingEndToEnd, RingLineEarth, RingLineNeutral};
    step.measure().is_some_and(|measure| {
        matches!(
            measure.quantity,
            Bond | R1R2 | R2 | RingEndToEnd | RingLineNeutral | RingLineEarth
        )
    })
}

fn with_beside(text: String, beside: Option<&str>) -> String {
    match beside {
        Some(beside) => format!("{text} ({beside})"),
        None => text,
    }
}

/// A row of a step's reading.
pub(super) fn reading_row(agenda: &Agenda, step: &Step, record: &ReadingRecord) -> ReadingRow {
    let Net { reading, beside } = Net::of(agenda, step, record);
    ReadingRow {
        event: record.no,
        at: record.at,
        stage: step.stage.shown(),
        what: words::step(agenda, step),
        shown: reading.shown(),
        beside,
        unit: reading.number.and(reading.unit).map(Unit::symbol),
        is_bound: reading.relation != Relation::Exact,
        affirmed: record.was_asked(),
        verdict: record.verdict.clone(),
        reading,
    }
}

/// The cells of a circuit, in the order of the schedule's columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells(Vec<(&'static Column, Cell)>);

impl Cells {
    /// All of a circuit's.
    pub fn of(agenda: &Agenda, steps: &[&Step], limitations: &[Limitation]) -> Self {
        let columns = agenda.catalogue().columns().into_iter();
        Self(
            columns
                .map(|column| (column, cell(agenda, steps, column, limitations)))
                .collect(),
        )
    }

    /// Each of them.
    pub(super) fn iter(&self) -> impl Iterator<Item = &Cell> {
        self.0.iter().map(|(_, cell)| cell)
    }

    /// The cell of a column.
    pub fn get(&self, column: &Column) -> &Cell {
        self.called(column.key)
    }

    /// The cell of the column with this name in JSON; not planned when there is none.
    pub fn called(&self, key: &str) -> &Cell {
        let mut cells = self.0.iter();
        cells
            .find(|(column, _)| column.key == key)
            .map_or(&Cell::NotPlanned, |(_, cell)| cell)
    }
}

impl Serialize for Cells {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(column, cell)| (column.key, cell)))
    }
}
