use super::log::Log;
use super::schedule::{is_wrong, where_is};
use super::words;
use crate::limits::Outcome;
use crate::sequence::{Event, EventNo, Kept, Progress, Quantity, State, Step, speak};
use jiff::Timestamp;
use serde::Serialize;

/// A result that is outside its limit, can't be settled, or should not have been so.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Exception {
    pub event: EventNo,
    pub at: Timestamp,
    pub board: u16,
    pub circuit: Option<u16>,
    pub what: String,
    pub outcome: &'static str,
    /// The later reading that shows it was dealt with.
    pub later: Option<String>,
}

/// Every exception of a log, in the order in which they happened.
pub(crate) fn exceptions(log: &Log, state: &State) -> Vec<Exception> {
    let mut found = Vec::new();
    for step in &state.plan().steps {
        let exception = match state.progress(&step.id) {
            Some(Progress::Read(no)) => state.reading(*no).and_then(|kept| read(state, step, kept)),
            Some(Progress::Stated(no, statement)) if is_wrong(step, *statement) => {
                log.entry(*no).map(|entry| Exception {
                    event: *no,
                    at: entry.at,
                    board: step.board,
                    circuit: step.circuit,
                    what: format!(
                        "{}{}: {}",
                        where_is(step),
                        words::step(step),
                        statement.shown()
                    ),
                    outcome: "not as it should be",
                    later: None,
                })
            }
            _ => None,
        };
        found.extend(exception);
    }
    found.extend(log.entries.iter().filter_map(|entry| {
        match &entry.event {
            Event::VoltageFound { board, heard } => Some(Exception {
                event: entry.no,
                at: entry.at,
                board: *board,
                circuit: None,
                what: format!(
                    "board {board}, isolation: voltage found where there should be none ({heard})"
                ),
                outcome: "isolation begun again",
                later: state
                    .proved_dead(*board)
                    .then(|| "proved dead later, as the person said".to_owned()),
            }),
            _ => None,
        }
    }));
    found.sort_by_key(|one| one.event);
    found
}

fn read(state: &State, step: &Step, kept: &Kept) -> Option<Exception> {
    let verdict = kept.verdict.as_ref()?;
    if verdict.outcome == Outcome::Pass {
        return None;
    }
    let remark = verdict
        .remark
        .as_deref()
        .map(|remark| format!(". {}", speak::capital(remark)))
        .unwrap_or_default();
    Some(Exception {
        event: kept.no,
        at: kept.at,
        board: step.board,
        circuit: step.circuit,
        what: format!(
            "{}{}: {}{remark}",
            where_is(step),
            words::step(step),
            words::value(&kept.reading)
        ),
        outcome: words::outcome(verdict.outcome).1,
        later: settled(state, step, kept),
    })
}

/// A low insulation reading is dealt with when the same pair passes later, at its voltage or a
/// higher one.
fn settled(state: &State, step: &Step, kept: &Kept) -> Option<String> {
    let measure = step.measure()?;
    if measure.quantity != Quantity::Insulation {
        return None;
    }
    state
        .counting(Quantity::Insulation)
        .filter(|later| {
            later.no > kept.no
                && later.reading.pair == kept.reading.pair
                && later.reading.at >= kept.reading.at
                && later
                    .verdict
                    .as_ref()
                    .is_some_and(|verdict| verdict.outcome == Outcome::Pass)
        })
        .filter(|later| {
            state
                .step(&later.step)
                .is_some_and(|other| (other.board, other.circuit) == (step.board, step.circuit))
        })
        .last()
        .map(|later| {
            let at = later
                .reading
                .at
                .map(|at| format!(" at {at}"))
                .unwrap_or_default();
            format!("later {}{at}", words::value(&later.reading))
        })
}
