//! Faults that no reason makes right to energise, and what is dangerous once it is live.

use super::SUPPLY_VOLTAGE;
use crate::installation::{Circuit, Earthing, Rcd};
use crate::limits::rcd::{Multiple, break_time};
use crate::limits::{Finding, Outcome, RcdDelay, judge};
use crate::quantity::{MegOhms, MilliSeconds, Pair, Reading, Relation, TestVoltage, Truth, Unit};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Quantity, Step, StepKind};
use crate::sequence::state::{ReadingRecord, State, StepOutcome};
use crate::terms::{Stage, Statement};

/// What is wrong with a circuit that is not to be energised, whatever the reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Live conductors joined: at or below 0.02 MΩ with the loads out, or less than 2 Ω.
    Short,
    /// A line to earth at or below 0.02 MΩ.
    ToEarth,
    /// Reversed polarity.
    Reversed,
}

/// Less than this between live conductors, Ω, is a short and no load. Common practice: a heater of
/// 13 kW at 230 V has 230² / 13000 = 4 Ω.
const SHORT_OHMS: f64 = 2.0;

/// What the result of a dead test shows, if it is such a fault. The trial at 250 V before anything
/// was taken out shows none: a load reads about zero too.
pub fn fault_of(state: &State, step: &Step) -> Option<Fault> {
    if breakage::is(Break::FaultUnseen) {
        return None;
    }
    if let Some(StepOutcome::Stated(_, Statement::PolarityReversed)) = state.outcome(step) {
        return Some(Fault::Reversed);
    }
    let record = state.result(step)?;
    if !step.measures(Quantity::Insulation) || record.outcome() != Some(Outcome::Fail) {
        return None;
    }
    let pair = record.reading.pair?;
    if pair.to_earth() {
        let line = pair != Pair::NE;
        return (line && is_about_zero(state, &record.reading)).then_some(Fault::ToEarth);
    }
    let loads_in = matches!(
        step.kind,
        StepKind::InsulationTrial | StepKind::InsulationTogetherTrial
    );
    let short = is_a_short(&record.reading) || (!loads_in && is_about_zero(state, &record.reading));
    short.then_some(Fault::Short)
}

/// Whether an insulation reading is at or below what a short would read.
pub(in crate::sequence) fn is_about_zero(state: &State, reading: &Reading) -> bool {
    let short = MegOhms::exact(state.tables().insulation_pattern.short_megohms);
    MegOhms::from_reading(reading, None).is_ok_and(|value| value.is_at_most(short) == Truth::Yes)
}

/// Whether ohms were read, and fewer than any load has.
pub(in crate::sequence) fn is_a_short(reading: &Reading) -> bool {
    reading.unit == Some(Unit::Ohm)
        && matches!(reading.relation, Relation::Exact | Relation::Under)
        && reading.size() < SHORT_OHMS
}

/// Whether a step at the incoming terminals shows a supply that nothing is energised by: its
/// polarity reversed, no earth, or a voltage that is not that of the supply.
pub fn is_supply_fault(state: &State, step: &Step) -> bool {
    if breakage::is(Break::SupplyFaultUnseen) {
        return false;
    }
    match state.outcome(step) {
        Some(StepOutcome::Stated(_, Statement::PolarityReversed)) => step.incoming,
        Some(StepOutcome::Read(no)) if step.kind == StepKind::ExternalLoop => {
            step.incoming
                && state.reading(*no).is_some_and(|record| {
                    record.reading.relation == Relation::OverRange
                        || no_device_operates(state, &record.reading)
                })
        }
        Some(StepOutcome::Read(no)) if step.kind == SUPPLY_VOLTAGE => {
            let declared = state.job().supply.volts;
            step.incoming
                && state.reading(*no).is_some_and(|record| {
                    let read = &record.reading;
                    let known = !breakage::is(Break::NoSupplyUnseen);
                    read.pair.filter(|_| known).is_some_and(|pair| {
                        judge::is_no_supply(state.tables(), declared, pair, read)
                    })
                })
        }
        _ => false,
    }
}

/// Whether the external loop alone is more than any device of the installation allows.
fn no_device_operates(state: &State, reading: &Reading) -> bool {
    let circuits = state.job().low_voltage_facts();
    judge::no_device_operates(state.tables(), &circuits, reading)
}

/// Whether the result of a live test is a danger now: no earth, reversed polarity, additional
/// protection that does not work, or a loop too high for the device with no RCD that covers it.
pub fn is_danger(state: &State, step: &Step) -> bool {
    if !step.is_live_test() {
        return false;
    }
    let circuit = state.circuit_of(step);
    // What disconnects a fault to earth, whatever it is rated for: on a TT system, and where the loop is too
    // high for the device by itself.
    let disconnects = state.rcd_of(step).is_some()
        && (state.job().supply.earthing == Earthing::Tt || rests_on_rcd(state, step));
    let additional = disconnects || state.rcd_of(step).is_some_and(|rcd| rcd.milliamps <= 30.0);
    let residual = || {
        let board = state.board(step.board)?;
        state.job().residual_over(board, circuit?)
    };
    match state.outcome(step) {
        Some(StepOutcome::Stated(_, Statement::PolarityReversed)) => true,
        Some(StepOutcome::Stated(_, Statement::NoTrip)) => {
            additional && matches!(step.kind, StepKind::RcdRated | StepKind::RcdFive)
        }
        Some(StepOutcome::Read(no)) => state.reading(*no).is_some_and(|record| {
            let failed = record.outcome() == Some(Outcome::Fail);
            match step.stage {
                Stage::LoopImpedance => {
                    // BS 7671 411.5.3: no more than 50 V at the residual current.
                    let touch = state.tables().tt.touch_volts;
                    let by_rcd = |rcd: Rcd| record.reading.size() * rcd.milliamps / 1000.0 <= touch;
                    let covered = residual().is_some_and(by_rcd) || rests(record);
                    record.reading.relation == Relation::OverRange || (failed && !covered)
                }
                Stage::Rcd => {
                    additional
                        && step.kind != StepKind::RcdHalf
                        && (failed || record.reading.relation == Relation::OverRange)
                        && !disconnects_in_time(state, step, &record.reading)
                }
                _ => false,
            }
        }),
        _ => false,
    }
}

/// Whether a device tripped as soon as one without a delay has to: of a time-delayed one that is too quick, and no
/// danger.
fn disconnects_in_time(state: &State, step: &Step, reading: &Reading) -> bool {
    let multiple = match step.kind {
        StepKind::RcdFive => Multiple::Five,
        _ => Multiple::Once,
    };
    let Ok(time) = MilliSeconds::from_reading(reading, None) else {
        return false;
    };
    let longest = break_time(state.tables(), RcdDelay::General, multiple);
    longest.is_some_and(|longest| time.high() <= longest.high())
}

fn rests(record: &ReadingRecord) -> bool {
    record.finding() == Some(Finding::RestsOnRcd)
}

/// Whether the loop of a circuit under the RCD that a step tests is left to that RCD.
fn rests_on_rcd(state: &State, step: &Step) -> bool {
    let Some(board) = state.board(step.board) else {
        return false;
    };
    let group = state.group_of(step);
    let under = |circuit: &&Circuit| match group {
        Some(group) => group.protects(circuit.number),
        None => step.circuit == Some(circuit.number),
    };
    board.circuits.iter().filter(under).any(|circuit| {
        let mut loops = state.counting_on(board.number, circuit.number, Quantity::LoopImpedance);
        loops.any(rests)
    })
}

/// Whether a number could be the voltage of the supply: 200 to 260, and 380 to 440 between lines.
pub(in crate::sequence) fn like_the_supply(reading: &Reading, three_phase: bool) -> bool {
    let number = reading.number.map_or(0.0, |number| number.value());
    let range = |low: f64, high: f64| (low..=high).contains(&number);
    reading.relation == Relation::Exact
        && (range(200.0, 260.0) || three_phase && range(380.0, 440.0))
}

/// Whether volts that were said are those of a test, and not of the supply.
pub(in crate::sequence) fn is_test_voltage(reading: &Reading) -> bool {
    let all = [TestVoltage::V250, TestVoltage::V500, TestVoltage::V1000];
    let number = reading.number.and_then(|number| number.as_whole());
    reading.relation == Relation::Exact
        && all
            .into_iter()
            .any(|voltage| number == Some(voltage.volts().into()))
}
