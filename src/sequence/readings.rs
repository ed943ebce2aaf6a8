//! Where a reading lands, and what is thought of it.

use super::decide::Reply;
use super::event::{Bar, Event};
use super::plan::{Measure, Step};
use super::speak;
use super::state::{Progress, State};
use crate::grammar::{HalfCycle, Place, Said};
use crate::limits::Verdict;
use crate::quantity::{Reading, Unit};

/// What a procedure thinks of a reading.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Judged {
    pub verdict: Option<Verdict>,
    /// Why it is surprising; it then needs "affirm".
    pub question: Option<String>,
}

impl Judged {
    /// A verdict speaks for itself: what fails, can't be settled or is odd is asked about.
    pub fn by(verdict: Verdict) -> Self {
        let question = verdict.asks().then(|| speak::doubt(&verdict));
        Self {
            verdict: Some(verdict),
            question,
        }
    }

    /// No limit applies.
    pub fn noted() -> Self {
        Self::default()
    }
}

/// Decides where a reading belongs. One said with another pair, place or half-cycle than the one
/// asked for is taken for what was said, and the read-back says so.
pub fn decide(
    state: &State,
    said: &Said,
    reading: &Reading,
    place: Option<&Place>,
    half: Option<HalfCycle>,
) -> Reply {
    let Some(current) = state.current() else {
        return Reply::refused(
            state,
            said,
            Bar::NotAskedNow {
                wanted: speak::prompt(state).brief,
            },
        );
    };
    if let Some(reply) = current.procedure.heard_instead(state, current, reading) {
        return reply;
    }
    let Some(target) = landing(state, current, reading, place, half) else {
        let wanted = current.measure().map_or_else(
            || speak::prompt(state).brief,
            |m| speak::wanted(current, &m),
        );
        let bar = if current.measure().is_some() {
            Bar::WrongQuantity { wanted }
        } else {
            Bar::NotAskedNow { wanted }
        };
        return Reply::refused(state, said, bar);
    };
    if let Err(bar) = state.guard(target) {
        return Reply::refused(state, said, bar);
    }
    let Some(measure) = target.measure() else {
        return Reply::default();
    };
    let filled = fill_in(reading, &measure);
    let judged = target.procedure.judge(state, target, &filled);
    let replaces = match state.progress(&target.id) {
        Some(Progress::Read(old)) => Some(*old),
        _ => None,
    };
    let question = replaces
        .and_then(|old| state.reading(old))
        .map(|old| format!("there is {} here already", speak::value(&old.reading)))
        .or(judged.question);
    let landed_elsewhere = target.id != current.id;
    let lines = vec![speak::read_back(
        target,
        &filled,
        landed_elsewhere,
        question.as_deref(),
    )];
    Reply {
        events: vec![Event::Reading {
            step: target.id.clone(),
            reading: filled,
            place: place.cloned().or_else(|| target.place.clone()),
            half: half.or(measure.half),
            verdict: judged.verdict,
            question,
            replaces,
        }],
        lines,
    }
}

/// Whether two readings say the same where both say something.
pub fn same(kept: &Reading, said: &Reading) -> bool {
    let agree = |a: Option<_>, b: Option<_>| b.is_none() || a == b;
    kept.relation == said.relation
        && kept.number == said.number
        && agree(kept.pair, said.pair)
        && (said.unit.is_none() || kept.unit == said.unit)
}

fn landing<'a>(
    state: &'a State,
    current: &'a Step,
    reading: &Reading,
    place: Option<&Place>,
    half: Option<HalfCycle>,
) -> Option<&'a Step> {
    let fits = |step: &Step| {
        step.measure().is_some_and(|measure| {
            (reading.pair.is_none() || reading.pair == measure.pair)
                && (reading.at.is_none() || reading.at == measure.at)
                && (half.is_none() || half == measure.half)
                && (place.is_none() || place == step.place.as_ref())
                && reading
                    .unit
                    .is_none_or(|unit| same_kind(unit, measure.unit))
        })
    };
    if fits(current) {
        return Some(current);
    }
    let near = |step: &&Step| {
        step.stage == current.stage
            && (step.board, step.circuit) == (current.board, current.circuit)
            && fits(step)
    };
    let same_voltage =
        |step: &&Step| step.measure().map(|m| m.at) == current.measure().map(|m| m.at);
    let steps = || state.plan().steps.iter().filter(near);
    let open = || steps().filter(|step| state.is_open(step));
    open()
        .find(same_voltage)
        .or_else(|| open().next())
        .or_else(|| steps().find(same_voltage))
        .or_else(|| steps().next())
}

fn same_kind(a: Unit, b: Unit) -> bool {
    let kind = |unit| match unit {
        Unit::Ohm | Unit::MilliOhm | Unit::KiloOhm | Unit::MegOhm => 0,
        Unit::Volt => 1,
        Unit::Amp | Unit::MilliAmp | Unit::KiloAmp => 2,
        Unit::MilliSecond => 3,
    };
    kind(a) == kind(b)
}

fn fill_in(reading: &Reading, measure: &Measure) -> Reading {
    Reading {
        pair: reading.pair.or(measure.pair),
        unit: reading.unit.or(Some(measure.unit)),
        at: reading.at.or(measure.at),
        ..*reading
    }
}
