//! Words for parts of the session: a step, the out-list, where it stands.

use super::numbers::{capital, duration, plural};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Electronics, EventNo, Quantity, Step};
use crate::sequence::state::{OutEntry, State, StepOutcome, count};
use crate::terms::{HalfCycle, Part};

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
    let reversed = |step: &&Step| step.board == board && step.incoming && agenda.has_failed(step);
    let supply = agenda.plan().steps.iter().filter(reversed);
    let all: Vec<_> = agenda
        .failed_dead(board)
        .chain(supply)
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

/// The circuit of the first dead test outside its limit.
pub(super) fn failed_circuit(agenda: &Agenda, board: u16) -> Option<u16> {
    agenda.failed_dead(board).find_map(|step| step.circuit)
}

/// What answered a step, by the event that did: a statement, or that it was not tested.
pub(super) fn answered_by(agenda: &Agenda, event: EventNo) -> Option<String> {
    let of_step = agenda
        .plan()
        .steps
        .iter()
        .filter_map(|step| agenda.outcome(step));
    let outcome = of_step
        .chain(agenda.answered_before())
        .find(|outcome| outcome.no() == event)?;
    Some(match outcome {
        StepOutcome::Stated(_, statement) => statement.shown().to_owned(),
        StepOutcome::NotTested(_, reason) => format!("not tested, {reason},"),
        _ => return None,
    })
}

/// What a step tests, in a few spoken words, where its place does not say it.
pub(super) fn test_name(step: &Step) -> Option<&'static str> {
    Some(match step.measure()?.quantity {
        Quantity::LeadsOpen => "leads apart",
        Quantity::LeadsShorted => "leads joined",
        Quantity::Bond => "bonding",
        Quantity::R1R2 => "R one plus R two",
        Quantity::R2 => "R two",
        Quantity::RingEndToEnd => "ring, end to end",
        Quantity::RingLineNeutral => "ring, line and neutral crossed",
        Quantity::RingLineEarth => "ring, line and earth crossed",
        Quantity::Insulation => "insulation",
        Quantity::ExternalLoop => "external loop",
        Quantity::FaultCurrent => "fault current",
        Quantity::LoopImpedance => "loop impedance",
        Quantity::RcdHalf => "RCD, half the rated current",
        Quantity::RcdTime => "RCD, rated current",
        Quantity::RcdFiveTimes => "RCD, five times the rated current",
        Quantity::Noted => return None,
    })
}

/// An entry of the list as a state it is in: "neutral at socket 3 out", "line and earth linked".
pub(super) fn as_it_is(entry: &OutEntry) -> String {
    match entry.part {
        _ if entry.linked => entry.what(),
        Part::EarthingConductor | Part::Bond | Part::Cover => format!("{} off", entry.what()),
        Part::Switch => format!("{} changed", entry.what()),
        _ => format!("{} out", entry.what()),
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
    let sure = out(state, OutEntry::is_surely_out);
    let ordered: Vec<_> = state
        .ordered_entries()
        .map(|(entry, _)| as_it_is(entry))
        .collect();
    let asked = format!("Asked for, and not answered yet: {}.", ordered.join("; "));
    match (sure.is_empty(), ordered.is_empty()) {
        (true, true) => "Nothing is out.".to_owned(),
        (false, true) => format!("Out: {sure}."),
        (true, false) => asked,
        (false, false) => format!("Out: {sure}. {asked}"),
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
