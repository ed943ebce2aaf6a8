//! Where a reading lands, and what is thought of it.

use super::decide::Reply;
use super::event::{Bar, Event};
use super::judging;
use super::plan::{Measure, Quantity, Step};
use super::speak::{self, Line};
use super::state::{Progress, State};
use crate::grammar::Said;
use crate::limits::{Outcome, Verdict};
use crate::quantity::{Conductors, Pair, Reading, Unit};
use crate::terms::{HalfCycle, Measure as Named, Place};

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

    /// Whether the reading is outside its limit.
    pub fn failed(&self) -> bool {
        self.verdict
            .as_ref()
            .is_some_and(|verdict| verdict.outcome == Outcome::Fail)
    }

    /// No limit applies.
    pub fn noted() -> Self {
        Self::default()
    }
}

/// What was said beside the value itself.
#[derive(Debug, Clone, Copy, Default)]
pub struct Told<'a> {
    pub place: Option<&'a Place>,
    pub half: Option<HalfCycle>,
    /// The name of what was measured.
    pub named: Option<Named>,
}

/// Decides where a reading belongs. One said with another pair, place or half-cycle than the one
/// asked for is taken for what was said, and the read-back says so.
pub fn decide(state: &State, said: &Said, reading: &Reading, told: Told<'_>) -> Reply {
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
    let Some(target) = landing(state, current, reading, told) else {
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
    let mut lines = vec![speak::read_back(
        target,
        &filled,
        landed_elsewhere,
        question.as_deref(),
    )];
    if question.is_none()
        && let Some(pattern) = judging::pattern_now(state, target, &filled)
    {
        lines.push(Line::answer(pattern.spoken()));
    }
    Reply {
        events: vec![Event::Reading {
            step: target.id.clone(),
            reading: filled,
            place: told.place.cloned().or_else(|| target.place.clone()),
            half: told.half.or(measure.half),
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
    told: Told<'_>,
) -> Option<&'a Step> {
    let fits = |step: &Step| {
        step.measure().is_some_and(|measure| {
            told.named
                .is_none_or(|name| is_called(name, step, &measure))
                && reading
                    .pair
                    .is_none_or(|pair| pair_fits(pair, measure.pair))
                && (reading.at.is_none() || reading.at == measure.at)
                && (told.half.is_none() || told.half == measure.half)
                && (told.place.is_none() || told.place == step.place.as_ref())
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
    let voltage = |step: &Step| step.measure().and_then(|m| m.at);
    let same_voltage = |step: &&Step| voltage(step) == voltage(current);
    let steps = || state.plan().steps.iter().filter(near);
    let open = || steps().filter(|step| state.is_open(step));
    // What is read with no place said is read at the place asked for.
    if let Some(here) = steps().find(|step| {
        told.place.is_none()
            && step.place == current.place
            && step.place.is_some()
            && same_voltage(step)
    }) {
        return Some(here);
    }
    // A reading taken at one voltage never lands among those of another.
    open()
        .find(same_voltage)
        .or_else(|| steps().find(same_voltage))
        .or_else(|| open().find(|_| reading.at.is_some()))
        .or_else(|| steps().find(|_| reading.at.is_some()))
}

/// Whether a step's measure goes by this name.
fn is_called(name: Named, step: &Step, measure: &Measure) -> bool {
    let end_to_end =
        |symbol: &str| measure.quantity == Quantity::RingEndToEnd && step.id.0.ends_with(symbol);
    match name {
        Named::R1 => end_to_end("/r1"),
        Named::Rn => end_to_end("/rn"),
        Named::R2 => end_to_end("/r2") || measure.quantity == Quantity::R2,
        Named::R1R2 => matches!(measure.quantity, Quantity::R1R2 | Quantity::RingLineEarth),
        Named::Ze => measure.quantity == Quantity::ExternalLoop,
        Named::Zs => measure.quantity == Quantity::LoopImpedance,
        Named::FaultCurrent => measure.quantity == Quantity::FaultCurrent,
    }
}

/// Any line to earth or neutral fits where only "line" is asked for, as at a three-phase origin.
fn pair_fits(said: Pair, wanted: Option<Pair>) -> bool {
    let line = [Conductors::L1, Conductors::L2, Conductors::L3].contains(&said.from());
    wanted == Some(said)
        || (line
            && wanted.is_some_and(|pair| pair.from() == Conductors::L && pair.to() == said.to()))
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
