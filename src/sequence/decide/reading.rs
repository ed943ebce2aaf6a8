//! Where a reading lands, and what becomes of it.

use super::events::{asked, not_asked, refused};
use super::{following, warning};
use crate::grammar::Intent;
use crate::installation::Phases;
use crate::quantity::{Conductors, Pair, Reading, Unit};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{
    Doubt, Edition, Event, EventNo, Measure, Quantity, Refusal, Step, StepKind,
};
use crate::sequence::procedures::assess::calculated_zs;
use crate::sequence::procedures::{is_a_short, is_about_zero, like_the_supply};
use crate::sequence::state::{State, StepOutcome};
use crate::terms::{HalfCycle, Level, NamedQuantity, Place};

/// What was said beside the value itself.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct ReadingSlots<'a> {
    /// Where it was taken.
    pub place: Option<&'a Place>,
    /// On which half-cycle.
    pub half: Option<HalfCycle>,
    /// The name of what was measured.
    pub named: Option<NamedQuantity>,
}

/// Decides where a reading belongs. One said with another pair, place or half-cycle than the one
/// asked for is taken for what was said, and the read-back says so.
pub(super) fn decide(
    agenda: &Agenda,
    said: &Intent,
    reading: &Reading,
    slots: ReadingSlots<'_>,
) -> Vec<Event> {
    let Some(current) = agenda.current() else {
        return not_asked(said);
    };
    let landed = resolve_step(agenda, current, reading, slots)
        .and_then(|target| Some((target, target.measure()?)));
    let Some((target, measure)) = landed else {
        let refusal = match current.measure() {
            Some(_) => Refusal::WrongQuantity { wanted: None },
            None => Refusal::not_asked_now(),
        };
        return refused(said, refusal);
    };
    if let Err(refusal) = agenda.guard(target) {
        return refused(said, refusal);
    }
    if let Some(of) = agenda.to_predict(&target.id) {
        return refused(said, Refusal::PredictFirst { of });
    }
    let filled = fill_in(reading, &measure);
    let assessment = agenda
        .procedure(target)
        .assess(agenda.state(), target, &filled);
    let replaces = match agenda.outcome(target) {
        Some(StepOutcome::Read(old)) => Some(*old),
        _ => None,
    };
    // The same again of what was read elsewhere changes nothing.
    let counts = replaces.and_then(|old| agenda.reading(old));
    if target.id != current.id && counts.is_some_and(|old| same(&old.reading, &filled)) {
        return asked(said);
    }
    let doubt = if maybe_volts(agenda, target, reading) {
        Some(Doubt::MaybeVolts)
    } else if let Some(reading) = replaces {
        Some(Doubt::ReadBefore { reading })
    } else if let Some(event) = said_before(agenda, target) {
        Some(Doubt::SaidBefore { event })
    } else if agenda.level() == Level::Silent {
        // An examination asks what was heard, and not what it means.
        None
    } else if let Some(doubt) = load_or_short(agenda.state(), target, &filled) {
        Some(doubt)
    } else {
        assessment.doubt
    };
    // What was read elsewhere than asked for has its own orders.
    let ordered = following::ordered(agenda, target);
    let reading = Event::Reading {
        step: target.id.clone(),
        reading: filled,
        place: slots.place.cloned().or_else(|| agenda.zs_place(target)),
        half: slots.half.or(measure.half),
        verdict: assessment.verdict,
        doubt,
        question: None,
        replaces,
        calculated: None,
    };
    ordered.into_iter().chain([reading]).collect()
}

/// Zs worked out from what was read: kept as a reading that says so, with what it is from.
pub(super) fn calculated(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let asked = agenda.current().filter(|step| {
        step.kind == StepKind::LOOP_IMPEDANCE && step.measures(Quantity::LoopImpedance)
    });
    // Who practises measures.
    let Some((step, measure)) = asked
        .filter(|_| !agenda.practises())
        .and_then(|step| Some((step, step.measure()?)))
    else {
        return not_asked(said);
    };
    if let Err(refusal) = agenda.guard(step) {
        return refused(said, refusal);
    }
    let (by, sum) = match calculated_zs(agenda.state(), step) {
        Ok(found) => found,
        Err(refusal) => return refused(said, refusal),
    };
    let reading = fill_in(&sum, &measure);
    let assessment = agenda
        .procedure(step)
        .assess(agenda.state(), step, &reading);
    let replaces = match agenda.outcome(step) {
        Some(StepOutcome::Read(old)) => Some(*old),
        _ => None,
    };
    let doubt = match (replaces, said_before(agenda, step)) {
        (Some(reading), _) => Some(Doubt::ReadBefore { reading }),
        (None, Some(event)) => Some(Doubt::SaidBefore { event }),
        (None, None) => assessment.doubt,
    };
    vec![Event::Reading {
        step: step.id.clone(),
        reading,
        place: agenda.zs_place(step),
        half: None,
        verdict: assessment.verdict,
        doubt,
        question: None,
        replaces,
        calculated: Some(by),
    }]
}

/// Whether a number without a unit could be the voltage of the supply, on what should be dead.
fn maybe_volts(agenda: &Agenda, step: &Step, said: &Reading) -> bool {
    let three_phase = agenda
        .board(step.board)
        .is_some_and(|board| board.phases == Phases::Three);
    said.unit.is_none()
        && said.at.is_none()
        && warning::is_dead_work(agenda, step)
        && like_the_supply(said, three_phase)
}

/// What answered the step and was no reading: nothing replaces a result of another kind unasked.
fn said_before(agenda: &Agenda, step: &Step) -> Option<EventNo> {
    if agenda.edition() == Edition::First {
        return None;
    }
    match agenda.outcome(step)? {
        StepOutcome::Stated(no, _) | StepOutcome::NotTested(no, _) => Some(*no),
        StepOutcome::Read(_) | StepOutcome::Skipped(..) => None,
    }
}

/// What a reading near zero between live conductors is: in megohms a load reads so too, until the
/// loads are out; in ohms it can be told.
fn load_or_short(state: &State, step: &Step, reading: &Reading) -> Option<Doubt> {
    let between_lives =
        step.measures(Quantity::Insulation) && reading.pair.is_some_and(|pair| !pair.to_earth());
    if !between_lives {
        return None;
    }
    if reading.unit == Some(Unit::Ohm) {
        return Some(if is_a_short(reading) {
            Doubt::Short
        } else {
            Doubt::SomethingConnected
        });
    }
    if !is_about_zero(state, reading) {
        return None;
    }
    Some(if step.kind == StepKind::InsulationAgain {
        Doubt::Short
    } else {
        Doubt::LoadOrShort
    })
}

/// Whether two readings say the same where both say something.
pub(super) fn same(kept: &Reading, said: &Reading) -> bool {
    let agree = |a: Option<_>, b: Option<_>| b.is_none() || a == b;
    kept.relation == said.relation
        && kept.number == said.number
        && agree(kept.pair, said.pair)
        && (said.unit.is_none() || kept.unit == said.unit)
}

/// The step that a reading is for: the one asked for when it fits, else one of the same stage and
/// circuit that does.
fn resolve_step<'a>(
    agenda: &'a Agenda,
    current: &'a Step,
    reading: &Reading,
    slots: ReadingSlots<'_>,
) -> Option<&'a Step> {
    let fits = |step: &Step| {
        step.measure().is_some_and(|measure| {
            slots
                .named
                .is_none_or(|name| is_called(name, step, &measure))
                && reading
                    .pair
                    .is_none_or(|pair| pair_fits(pair, measure.pair))
                && (reading.at.is_none() || reading.at == measure.at)
                && (slots.half.is_none() || slots.half == measure.half)
                && (slots.place.is_none()
                    || slots.place == step.place.as_ref()
                    || slots.place == agenda.zs_place(step).as_ref())
                && reading
                    .unit
                    .is_none_or(|unit| same_kind(unit, measure.unit))
        })
    };
    if fits(current) {
        return Some(current);
    }
    let near = |step: &&Step| step.stage == current.stage && step.beside(current) && fits(step);
    let voltage = |step: &Step| step.measure().and_then(|m| m.at);
    let same_voltage = |step: &&Step| voltage(step) == voltage(current);
    let steps = || agenda.plan().steps.iter().filter(near);
    let open = || steps().filter(|step| agenda.is_open(step));
    // What is read with no place said is read at the place asked for.
    if let Some(here) = steps().find(|step| {
        slots.place.is_none()
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
fn is_called(name: NamedQuantity, step: &Step, measure: &Measure) -> bool {
    let end_to_end = |conductor: Conductors| {
        measure.quantity == Quantity::RingEndToEnd && step.conductor == Some(conductor)
    };
    match name {
        NamedQuantity::R1 => end_to_end(Conductors::L),
        NamedQuantity::Rn => end_to_end(Conductors::N),
        NamedQuantity::R2 => end_to_end(Conductors::E) || measure.quantity == Quantity::R2,
        NamedQuantity::R1R2 => matches!(measure.quantity, Quantity::R1R2 | Quantity::RingLineEarth),
        NamedQuantity::Ze => measure.quantity == Quantity::ExternalLoop,
        NamedQuantity::Zs => measure.quantity == Quantity::LoopImpedance,
        NamedQuantity::FaultCurrent => measure.quantity == Quantity::FaultCurrent,
        NamedQuantity::RcdRated => measure.quantity == Quantity::RcdTime,
        NamedQuantity::RcdFive => measure.quantity == Quantity::RcdFiveTimes,
        NamedQuantity::RcdHalf => measure.quantity == Quantity::RcdHalf,
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
        Unit::Ohm | Unit::MilliOhm | Unit::KiloOhm | Unit::MegOhm | Unit::GigOhm => 0,
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
