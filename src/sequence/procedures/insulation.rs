use super::{Maker, Procedure};
use crate::grammar::{Stage, Statement};
use crate::installation::{Board, Circuit, CircuitKind, Job, Phases, SystemVoltage};
use crate::limits::insulation::Pattern;
use crate::quantity::{Conductors, Pair, Reading, TestVoltage, Unit};
use crate::sequence::event::Bar;
use crate::sequence::judging;
use crate::sequence::plan::{Ask, Measure, Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::speak;
use crate::sequence::state::{Progress, State};

/// Insulation resistance, BS 7671 643.3 and Table 64: 250 V between line and neutral first when
/// something may be connected, then the full voltage between every pair; or, with equipment that
/// stays in, live conductors joined and tested to earth.
#[derive(Debug)]
pub struct Insulation;

const TRIAL: &str = "trial";
const AGAIN: &str = "trial-again";
const TRIAL_EARTH: [(&str, Pair); 2] = [("trial-L-E", Pair::LE), ("trial-N-E", Pair::NE)];
const CLEAR: &str = "clear";
const JOINED: &str = "joined";
const JOINED_LOW: &str = "joined-250";

const LINE_AND_NEUTRAL: Conductors = Conductors::L.with(Conductors::N);

impl Procedure for Insulation {
    fn stage(&self) -> Stage {
        Stage::Insulation
    }

    fn circuit_steps(&self, _job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        let make = Maker::circuit(&Insulation, board, circuit, "insulation");
        let voltage = full_voltage(circuit.system);
        let name = format!("Circuit {}, {}", circuit.number, circuit.name);
        let mut steps = Vec::new();
        if tried_first(circuit, voltage) {
            steps.push(make.reading(
                TRIAL,
                "insulation-trial",
                insulation(Pair::LN, TestVoltage::V250),
                format!("{name}. Insulation, 250 volts first, line to neutral: something may be connected."),
                format!("{name}. 250 volts, line to neutral."),
            ));
            for (name, pair) in TRIAL_EARTH {
                let spoken = speak::capital(&pair.spoken());
                steps.push(make.reading(
                    name,
                    "insulation-trial-earth",
                    insulation(pair, TestVoltage::V250),
                    format!("That tells little by itself. {spoken}, still at 250 volts."),
                    format!("{spoken}, 250 volts."),
                ));
            }
            steps.push(make.step(
                CLEAR,
                "insulation-clear",
                Ask::Event,
                String::new(),
                String::new(),
            ));
            steps.push(make.reading(
                AGAIN,
                "insulation-again",
                insulation(Pair::LN, TestVoltage::V250),
                "250 volts again, line to neutral.",
                "250 volts again, line to neutral.",
            ));
        }
        if circuit.kind == CircuitKind::Lighting {
            steps.push(make.statement(
                "lamps",
                "insulation-lamps",
                &[Statement::Done],
                "Lamps out, or isolate the fittings; local switches on. Say each lamp you take out, then say done.",
                "Lamps out, switches on. Say done.",
            ));
        }
        let settle = "Wait for it to settle; discharge after.";
        for (n, pair) in pairs(circuit).iter().enumerate() {
            let start = if n == 0 {
                format!("{name}. {voltage} now. ")
            } else {
                String::new()
            };
            steps.push(make.reading(
                &format!("{}/{pair}", voltage.volts()),
                "insulation-full",
                insulation(*pair, voltage),
                format!(
                    "{start}{} at {voltage}. {settle}",
                    speak::capital(&pair.spoken())
                ),
                format!("{start}{}.", speak::capital(&pair.spoken())),
            ));
        }
        if circuit.two_way {
            let pair = Pair::LE;
            steps.push(make.reading(
                &format!("{}/{pair}/other-position", voltage.volts()),
                "insulation-two-way",
                insulation(pair, voltage),
                format!(
                    "Change over the two-way switches. {} again, switches in the other position.",
                    speak::capital(&pair.spoken())
                ),
                format!("Switches in the other position, {}.", pair.spoken()),
            ));
        }
        if circuit.phases == Phases::Single && voltage == TestVoltage::V500 {
            steps.push(make.reading(
                JOINED,
                "insulation-joined",
                insulation(Pair::LN_E, voltage),
                "Line and neutral joined, to earth.",
                "Line and neutral joined, to earth.",
            ));
            steps.push(make.reading(
                JOINED_LOW,
                "insulation-joined",
                insulation(Pair::LN_E, TestVoltage::V250),
                "Line and neutral joined, to earth, at 250 volts.",
                "Line and neutral joined, to earth, at 250 volts.",
            ));
        }
        steps
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let Some(circuit) = step.circuit else {
            return false;
        };
        let done = state.progress(&step.id).is_some();
        let suspicion = state.suspicion(step.board, circuit);
        let joined = state.linked(step.board, circuit, LINE_AND_NEUTRAL);
        let tested_joined = state.plan().steps.iter().any(|other| {
            (other.board, other.circuit) == (step.board, step.circuit)
                && matches!(name(other), JOINED | JOINED_LOW)
                && state.result(&other.id).is_some()
        });
        match name(step) {
            TRIAL => !done,
            "trial-L-E" | "trial-N-E" => {
                !done && !joined && suspicion.is_some_and(|s| !s.altered_since)
            }
            CLEAR => {
                full_tests_open(state, step)
                    && !given_up(state, step)
                    && !joined
                    && !tested_joined
                    && !state.electronics_in(step.board, circuit).is_empty()
                    && !suspicion.is_some_and(|s| s.altered_since)
            }
            AGAIN => {
                !given_up(state, step)
                    && !joined
                    && !tested_joined
                    && suspicion.is_some_and(|s| s.altered_since)
            }
            JOINED => joined && !tested_joined && !done,
            // Taken when the person says that the test was made at 250 V; never asked for.
            JOINED_LOW => false,
            _ => !done && !joined && !tested_joined,
        }
    }

    fn guard(&self, state: &State, step: &Step) -> Result<(), Bar> {
        let (Some(circuit), Some(measure)) = (step.circuit, step.measure()) else {
            return Ok(());
        };
        if measure.at == Some(TestVoltage::V250) {
            return Ok(());
        }
        let linked = state.linked(step.board, circuit, LINE_AND_NEUTRAL);
        if linked && measure.pair == Some(Pair::LN_E) {
            return Ok(());
        }
        let inside = state.electronics_in(step.board, circuit);
        if inside.is_empty() {
            Ok(())
        } else {
            Err(Bar::ElectronicsInCircuit {
                circuit,
                what: inside.join(" and "),
            })
        }
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::insulation(state, step, reading)
    }

    fn prompt(&self, state: &State, step: &Step) -> Option<(String, String)> {
        let circuit = step.circuit?;
        if name(step) != CLEAR {
            return None;
        }
        let inside = state.electronics_in(step.board, circuit).join(" and ");
        let suspected = state.suspicion(step.board, circuit).is_some();
        let finding = match judging::pattern(state, step).filter(|_| suspected) {
            Some(Pattern::Sound) | None => String::new(),
            Some(pattern) => format!("{} ", pattern.spoken()),
        };
        let brief = format!("Still in circuit: {inside}. Take it out, or link line and neutral.");
        let full = format!(
            "{finding}In circuit: {inside}. Take it out, then say what is out and where; or link line and neutral and say linked."
        );
        Some((full, brief))
    }
}

/// The last part of the step's name.
fn name(step: &Step) -> &str {
    step.id.0.rsplit('/').next().unwrap_or_default()
}

/// Whether a test of the circuit at the full voltage still waits: what is in circuit after the
/// last of them has been put back, and bars nothing.
fn full_tests_open(state: &State, step: &Step) -> bool {
    state.plan().steps.iter().any(|other| {
        (other.board, other.circuit) == (step.board, step.circuit)
            && other.measure().is_some_and(|m| {
                m.quantity == Quantity::Insulation
                    && m.at.is_some_and(|at| at > TestVoltage::V250)
                    && m.pair != Some(Pair::LN_E)
            })
            && state.progress(&other.id).is_none()
    })
}

/// Whether the person has said why the circuit is left as it is.
fn given_up(state: &State, step: &Step) -> bool {
    matches!(
        state.progress(&step.id),
        Some(Progress::NotTested(..) | Progress::Skipped(..))
    )
}

fn insulation(pair: Pair, voltage: TestVoltage) -> Measure {
    Measure {
        quantity: Quantity::Insulation,
        pair: Some(pair),
        at: Some(voltage),
        half: None,
        unit: Unit::MegOhm,
    }
}

/// BS 7671 Table 64.
fn full_voltage(system: SystemVoltage) -> TestVoltage {
    match system {
        SystemVoltage::Selv | SystemVoltage::Pelv => TestVoltage::V250,
        SystemVoltage::Low | SystemVoltage::Felv => TestVoltage::V500,
        SystemVoltage::Above500 => TestVoltage::V1000,
    }
}

fn tried_first(circuit: &Circuit, voltage: TestVoltage) -> bool {
    let something =
        circuit.equipment_possible || circuit.points.iter().any(|point| point.sensitive.is_some());
    something && voltage > TestVoltage::V250 && circuit.phases == Phases::Single
}

fn pairs(circuit: &Circuit) -> &'static [Pair] {
    match circuit.phases {
        Phases::Single => &Pair::SINGLE_PHASE,
        Phases::Three => &Pair::THREE_PHASE,
    }
}
