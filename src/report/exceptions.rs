use super::cells::reading_row;
use super::words;
use crate::installation::board_said;
use crate::limits::Outcome;
use crate::log::Log;
use crate::sequence::{
    Agenda, Event, EventNo, Question, ReadingRecord, ReadingStatus, Step, StepId, StepOutcome, say,
};
use crate::terms::{Stage, Statement};
use jiff::Timestamp;
use serde::Serialize;

/// A result that is outside its limit, can't be settled, or should not have been so.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Exception {
    /// The event that brought it.
    pub event: EventNo,
    /// When it was kept.
    pub at: Timestamp,
    /// The board's number.
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// What was measured or stated, with its value, in words.
    pub what: String,
    /// The stage of its step.
    #[serde(skip)]
    pub stage: Option<Stage>,
    /// What the limits said; nothing where it is no reading.
    #[serde(skip)]
    pub judged: Option<Outcome>,
    /// What is wrong, in words: "fail".
    pub outcome: &'static str,
    /// The later reading that shows it was dealt with.
    pub later: Option<String>,
}

/// Every exception of a log, in the order in which they happened.
pub(super) fn exceptions(log: &Log, agenda: &Agenda) -> Vec<Exception> {
    let mut found = Vec::new();
    for step in &agenda.plan().steps {
        if let Some(no) = agenda.procedure(step).exception(agenda.state(), step) {
            found.extend(match agenda.reading(no) {
                Some(record) => read(agenda, step, record),
                None => stated(log, agenda, step, no),
            });
        }
    }
    found.extend(log.entries.iter().filter_map(|entry| {
        match &entry.event {
            Event::VoltageFound {
                board,
                reading,
                heard,
            } => Some(Exception {
                event: entry.no,
                at: entry.at,
                board: *board,
                circuit: None,
                what: format!(
                    "board {}, isolation: voltage found where there should be none ({})",
                    board_said(*board),
                    words::voltage_found(reading.as_ref(), heard.as_deref())
                ),
                stage: Some(Stage::Isolation),
                judged: None,
                outcome: "isolation begun again",
                later: agenda
                    .proved_dead(*board)
                    .then(|| "proved dead later, as the person said".to_owned()),
            }),
            Event::StaysOff { board, circuit } if agenda.stays_off(*board, *circuit) => {
                Some(Exception {
                    event: entry.no,
                    at: entry.at,
                    board: *board,
                    circuit: Some(*circuit),
                    what: format!("circuit {circuit}: stays off"),
                    stage: None,
                    judged: None,
                    outcome: "not energised",
                    later: None,
                })
            }
            _ => None,
        }
    }));
    let open = agenda.question().map(Question::about);
    found.extend(agenda.readings().filter_map(|record| {
        let aside = record.status == ReadingStatus::Questioned && open != Some(record.no);
        let step = agenda.step(&record.step).filter(|_| aside)?;
        Some(Exception {
            event: record.no,
            at: record.at,
            board: step.board,
            circuit: step.circuit,
            what: format!(
                "{}{}: {}",
                say::board_and_circuit(step),
                words::step(agenda, step),
                words::value(&record.reading)
            ),
            stage: Some(step.stage),
            judged: Some(Outcome::CannotSay),
            outcome: "asked about, and not affirmed",
            later: settled(agenda, step, record),
        })
    }));
    found.extend(agenda.unplanned().filter_map(|(no, step)| {
        let entry = log.entry(no)?;
        Some(Exception {
            event: no,
            at: entry.at,
            board: step.board,
            circuit: step.circuit,
            what: format!(
                "{}: {}",
                unplanned_step(step),
                unplanned_answer(&entry.event)
            ),
            stage: Some(step.stage),
            judged: None,
            outcome: "answers a step that this version does not ask for",
            later: None,
        })
    }));
    found.sort_by_key(|one| one.event);
    found
}

/// A step that no plan describes, by its name.
fn unplanned_step(step: &StepId) -> String {
    let circuit = step
        .circuit
        .map(|circuit| format!(", circuit {circuit}"))
        .unwrap_or_default();
    format!(
        "board {}{circuit}, {} ({})",
        board_said(step.board),
        step.stage.shown(),
        step.tail
    )
}

/// What was answered to it.
fn unplanned_answer(event: &Event) -> String {
    match event {
        Event::Reading { reading, .. } => words::value(reading),
        Event::Stated { statement, .. } | Event::SectionStated { statement, .. } => {
            statement.shown().to_owned()
        }
        Event::NotTested { reason, .. } | Event::Skipped { reason, .. } => {
            format!("not tested ({})", reason.shown())
        }
        _ => String::new(),
    }
}

/// The place that was said with a statement.
fn at_place(event: &Event) -> String {
    match event {
        Event::Stated {
            place: Some(place), ..
        } => format!(" at {place}"),
        _ => String::new(),
    }
}

/// A statement of what is not as it should be.
fn stated(log: &Log, agenda: &Agenda, step: &Step, no: EventNo) -> Option<Exception> {
    let entry = log.entry(no)?;
    let Some(StepOutcome::Stated(_, statement)) = agenda.outcome(step) else {
        return None;
    };
    Some(Exception {
        event: no,
        at: entry.at,
        board: step.board,
        circuit: step.circuit,
        what: format!(
            "{}{}: {}{}",
            say::board_and_circuit(step),
            words::step(agenda, step),
            statement.shown(),
            at_place(&entry.event)
        ),
        // Wherever it showed.
        stage: Some(match statement {
            Statement::PolarityReversed if step.is_live_test() => Stage::Polarity,
            _ => step.stage,
        }),
        judged: None,
        outcome: "not as it should be",
        later: None,
    })
}

/// A reading that is outside its limit, or odd.
fn read(agenda: &Agenda, step: &Step, record: &ReadingRecord) -> Option<Exception> {
    let verdict = record.verdict.as_ref();
    let remark = verdict
        .and_then(|verdict| verdict.remark.as_deref())
        .map(|remark| format!(". {}", say::capital(remark)))
        .unwrap_or_default();
    Some(Exception {
        event: record.no,
        at: record.at,
        board: step.board,
        circuit: step.circuit,
        what: format!(
            "{}{}: {}{remark}",
            say::board_and_circuit(step),
            words::step(agenda, step),
            reading_row(agenda, step, record).value()
        ),
        stage: Some(step.stage),
        judged: Some(verdict.map_or(Outcome::Fail, |verdict| verdict.outcome)),
        outcome: match verdict {
            Some(verdict) if verdict.is_odd() => "within the limit, and not what it should read",
            Some(verdict) => words::outcome(verdict.outcome).1,
            None => "not what it should read: do not rely on the instrument until that is settled",
        },
        later: settled(agenda, step, record),
    })
}

/// The later reading that shows that it was dealt with, in words.
fn settled(agenda: &Agenda, step: &Step, record: &ReadingRecord) -> Option<String> {
    let procedure = agenda.procedure(step);
    let later = procedure.settled_by(agenda.state(), step, record)?;
    let at = later
        .reading
        .at
        .map(|at| format!(" at {at}"))
        .unwrap_or_default();
    Some(format!("later {}{at}", words::value(&later.reading)))
}
