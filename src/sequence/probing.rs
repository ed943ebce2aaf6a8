//! Where the probes of a practice are, and what would have refused the reading of it on site. A probing
//! is never refused: the instrument shows what is there.

use super::agenda::Agenda;
use super::facts::{Quantity, Refusal, Step};
use crate::quantity::{Conductors, TestVoltage, Unit};
use crate::terms::{Between, HalfCycle, Place, Probe, RcdTest, Setting, Stage};

/// What the supply's own terminals are called, before the main switch.
const ORIGIN: &str = "origin";

/// Where the probes are, when the instrument is set as the step that is asked for needs it and nothing
/// else was said. Nothing when nothing is asked for any more.
pub fn probe(
    agenda: &Agenda,
    setting: Option<Setting>,
    between: &Between,
    place: Option<&Place>,
) -> Option<Probe> {
    let step = agenda.current()?;
    let at_origin = place.is_some_and(|place| place.name == ORIGIN)
        || (place.is_none() && step.incoming)
        || (place.is_none() && step.measures(Quantity::FaultCurrent));
    let at_board = place == Some(&Place::board());
    let bond = *between == Between::Bond;
    let circuit = step.circuit.filter(|_| !at_origin && !bond);
    let place = match place {
        _ if at_origin => None,
        // What the main switch feeds.
        _ if circuit.is_none() && !bond => Some(Place::board()),
        _ if at_board => None,
        // Where it is asked for.
        None if bond || matches!(between, Between::Pair(_) | Between::LongLead(_)) => {
            step.place.clone()
        }
        place => place.cloned(),
    };
    Some(Probe {
        setting: setting.unwrap_or_else(|| needed_by(step)),
        between: between.clone(),
        board: step.board,
        circuit,
        place,
    })
}

/// How the instrument is set for a step.
fn needed_by(step: &Step) -> Setting {
    let measure = step.measure();
    let half = measure.and_then(|m| m.half).unwrap_or(HalfCycle::Positive);
    let rcd = |current| Setting::Rcd { current, half };
    // The leads are tried on either range.
    let insulation = measure.is_some_and(|m| m.unit == Unit::MegOhm);
    match measure.map(|m| m.quantity) {
        _ if insulation => Setting::Insulation {
            at: measure.and_then(|m| m.at).unwrap_or(TestVoltage::V500),
        },
        Some(Quantity::ExternalLoop | Quantity::LoopImpedance) => Setting::Loop,
        Some(Quantity::FaultCurrent) => Setting::FaultCurrent,
        Some(Quantity::SupplyVoltage) => Setting::Voltage,
        Some(Quantity::RcdHalf) => rcd(RcdTest::Half),
        Some(Quantity::RcdTime) => rcd(RcdTest::Once),
        Some(Quantity::RcdFiveTimes) => rcd(RcdTest::Five),
        Some(
            Quantity::LeadsOpen
            | Quantity::LeadsShorted
            | Quantity::Bond
            | Quantity::R1R2
            | Quantity::R2
            | Quantity::RingEndToEnd
            | Quantity::RingLineNeutral
            | Quantity::RingLineEarth
            | Quantity::Insulation,
        ) => Setting::Continuity,
        Some(Quantity::Noted) | None => match step.stage {
            Stage::Continuity | Stage::Ring | Stage::Polarity | Stage::Instruments => {
                Setting::Continuity
            }
            Stage::PhaseSequence => Setting::PhaseSequence,
            Stage::Rcd => rcd(RcdTest::Once),
            _ => Setting::Voltage,
        },
    }
}

/// What would have refused the reading of such a probing: the guard of the step that it is for, or of
/// one like it on that circuit.
pub fn refusal_of(agenda: &Agenda, probe: &Probe) -> Option<Refusal> {
    let alone = matches!(
        probe.between,
        Between::LeadsApart | Between::LeadsJoined | Between::KnownSource
    );
    if alone || probe.setting == Setting::Voltage {
        return None;
    }
    let here = |step: &&Step| {
        step.board == probe.board && (step.circuit == probe.circuit) && is_for(step, probe)
    };
    let steps = || agenda.plan().steps.iter().filter(here);
    let same_pair = |step: &&Step| match &probe.between {
        Between::Pair(pair) => step.measure().and_then(|m| m.pair).or(step.pair) == Some(*pair),
        Between::Ends(conductor) => step.conductor == Some(*conductor),
        _ => true,
    };
    let same_place = |step: &&Step| step.place == probe.place;
    let for_it = steps()
        .find(|step| same_pair(step) && same_place(step))
        .or_else(|| steps().find(same_pair))
        .or_else(|| steps().next());
    match for_it {
        Some(step) => agenda.guard(step).err(),
        None => without_a_step(agenda, probe),
    }
}

/// Whether a step asks for what the instrument is set to.
fn is_for(step: &Step, probe: &Probe) -> bool {
    let quantity = step.measure().map(|m| m.quantity);
    match probe.setting {
        Setting::Voltage => false,
        Setting::Continuity => match quantity {
            Some(Quantity::RingEndToEnd) => matches!(probe.between, Between::Ends(_)),
            Some(Quantity::RingLineNeutral) => is_between(probe, Conductors::N),
            Some(Quantity::RingLineEarth | Quantity::R1R2) => is_between(probe, Conductors::E),
            Some(Quantity::R2) => matches!(probe.between, Between::LongLead(_)),
            Some(Quantity::Bond) => probe.between == Between::Bond,
            _ => step.stage == Stage::Polarity,
        },
        Setting::Insulation { at } => {
            quantity == Some(Quantity::Insulation) && step.measure().and_then(|m| m.at) == Some(at)
        }
        Setting::Loop => {
            matches!(
                quantity,
                Some(Quantity::ExternalLoop | Quantity::LoopImpedance)
            )
        }
        Setting::FaultCurrent => quantity == Some(Quantity::FaultCurrent),
        Setting::Rcd { current, .. } => {
            quantity
                == Some(match current {
                    RcdTest::Half => Quantity::RcdHalf,
                    RcdTest::Once => Quantity::RcdTime,
                    RcdTest::Five => Quantity::RcdFiveTimes,
                })
        }
        Setting::PhaseSequence => step.stage == Stage::PhaseSequence,
    }
}

fn is_between(probe: &Probe, other: Conductors) -> bool {
    matches!(probe.between, Between::Pair(pair) if pair.to() == other)
}

/// Where the plan has no such test: dead tests need a dead board, live tests a live one.
fn without_a_step(agenda: &Agenda, probe: &Probe) -> Option<Refusal> {
    let board = probe.board;
    match probe.setting {
        Setting::Continuity | Setting::Insulation { .. } if agenda.energised(board) => {
            Some(Refusal::Energised { board })
        }
        Setting::Continuity | Setting::Insulation { .. } if !agenda.proved_dead(board) => {
            Some(Refusal::NotProvedDead { board })
        }
        Setting::Loop | Setting::FaultCurrent | Setting::Rcd { .. } | Setting::PhaseSequence
            if !agenda.energised(board) =>
        {
            Some(Refusal::NotEnergised { board })
        }
        _ => None,
    }
}
