//! Words for parts of the session: a step, the out-list, where it stands.

use super::numbers::{capital, duration, plural};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Electronics, EventNo, Step};
use crate::sequence::state::{OutEntry, State, count};
use crate::terms::HalfCycle;

/// The place where a step is done, or its pair, in words; for prompts and reports.
pub fn subject(step: &Step) -> String {
    let mut parts = Vec::new();
    if let Some(circuit) = step.circuit {
        parts.push(format!("circuit {circuit}"));
    }
    if let Some(place) = &step.place {
        parts.push(place.to_string());
    }
    if let Some(pair) = step.pair {
        parts.push(pair.spoken());
    }
    if let Some(half) = step.measure().and_then(|measure| measure.half) {
        parts.push(HalfCycle::shown(half).to_owned());
    }
    parts.join(", ")
}

/// What a step that asks for a reading wants: "megohms, line to neutral".
pub(super) fn wanted(step: &Step) -> Option<String> {
    let unit = step.measure()?.unit.spoken();
    let subject = subject(step);
    Some(if subject.is_empty() {
        unit.to_owned()
    } else {
        format!("{unit}, {subject}")
    })
}

/// Electronics in a circuit: "socket 2 and something across line and neutral".
pub(super) fn electronics(inside: &[Electronics]) -> String {
    let names: Vec<String> = inside
        .iter()
        .map(|one| match one {
            Electronics::Listed(place) => place.to_string(),
            Electronics::Suspected => "something across line and neutral".to_owned(),
        })
        .collect();
    names.join(" and ")
}

/// Dead tests of a board outside their limits, in words.
pub(super) fn failed(agenda: &Agenda, board: u16) -> String {
    let all: Vec<_> = agenda
        .failed_dead(board)
        .map(|step| {
            let what = if step.place.is_none() && step.pair.is_none() {
                format!(", {}", step.stage)
            } else {
                String::new()
            };
            format!("{}{what}", subject(step))
        })
        .collect();
    let shown = all.iter().take(3).cloned().collect::<Vec<_>>().join("; ");
    match all.len() {
        0..=3 => shown,
        more => format!("{shown}; and {} more", more - 3),
    }
}

/// What is out now, in words, those that `which` picks.
pub(super) fn out(state: &State, which: impl Fn(&OutEntry) -> bool) -> String {
    let what: Vec<_> = state
        .open_entries()
        .filter(|entry| which(entry))
        .map(OutEntry::what)
        .collect();
    what.join("; ")
}

/// Entries of the out-list by their numbers, in words.
pub fn entries(state: &State, numbers: &[EventNo], between: &str) -> String {
    let what: Vec<_> = state
        .out_list()
        .iter()
        .filter(|entry| numbers.contains(&entry.no))
        .map(OutEntry::what)
        .collect();
    what.join(between)
}

/// What is out.
pub fn what_is_out(state: &State) -> String {
    let what = out(state, |_| true);
    if what.is_empty() {
        "Nothing is out.".to_owned()
    } else {
        format!("Out: {what}.")
    }
}

/// Where the session is.
pub fn where_are_we(agenda: &Agenda) -> String {
    let Some(step) = agenda.current() else {
        return "Nothing is left to do.".to_owned();
    };
    let circuit = agenda
        .circuit_of(step)
        .map(|c| format!(", circuit {}, {}", c.number, c.name))
        .unwrap_or_default();
    let open = count(agenda.open_steps().count());
    format!(
        "Board {}{circuit}: {}. {} open.",
        step.board,
        step.stage,
        plural(open, "step is", "steps are")
    )
}

/// When a log is opened again, or after "resume".
pub fn recap(agenda: &Agenda) -> String {
    format!("{} {}", where_are_we(agenda), what_is_out(agenda))
}

/// How long is left at the pace so far.
pub(super) fn how_long_is_left(agenda: &Agenda) -> String {
    let open = count(agenda.open_steps().count());
    let steps = capital(&plural(open, "step is open", "steps are open"));
    match agenda.time_left() {
        Some(left) => format!("{steps}. About {} at your pace.", duration(left)),
        None => format!("{steps}. Too soon to tell how long."),
    }
}

/// The place of a move, and what it leaves open.
pub fn moved(step: &Step, passed_over: u32) -> String {
    let place = match step.circuit {
        Some(circuit) => format!("Circuit {circuit}, {}.", step.stage),
        None => format!("Board {}, {}.", step.board, step.stage),
    };
    if passed_over == 0 {
        place
    } else {
        format!(
            "{place} Out of order: {} left open, and recorded.",
            plural(passed_over, "step is", "steps are")
        )
    }
}
