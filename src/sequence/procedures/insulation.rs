use super::{Maker, Procedure};
use crate::installation::{Board, Circuit, CircuitKind, Job, JobKind, Phases, SystemVoltage};
use crate::limits::insulation::Pattern;
use crate::quantity::{Conductors, Pair, Reading, TestVoltage, Unit};
use crate::sequence::event::Bar;
use crate::sequence::judging;
use crate::sequence::plan::{Ask, Measure, Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::speak;
use crate::sequence::state::{Progress, State};
use crate::terms::{Stage, Statement};

/// Insulation resistance, BS 7671 643.3 and Table 64: 250 V between line and neutral first when
/// something may be connected, then the full voltage between every pair; or, with equipment that
/// stays in, live conductors joined and tested to earth.
#[derive(Debug)]
pub struct Insulation;

const TRIAL: &str = "trial";
const AGAIN: &str = "trial-again";
const CLEAR: &str = "clear";
const JOINED: &str = "joined";
const JOINED_LOW: &str = "joined-250";
const UNLINK: &str = "unlink";
/// All circuits of the board together.
const TOGETHER: &str = "/together/";

const LINE_AND_NEUTRAL: Conductors = Conductors::L.with(Conductors::N);
const LINES: Conductors = Conductors::L1.with(Conductors::L2).with(Conductors::L3);

impl Procedure for Insulation {
    fn stage(&self) -> Stage {
        Stage::Insulation
    }

    fn board_steps(&self, _job: &Job, board: &Board) -> Vec<Step> {
        if !board.insulation_together {
            return Vec::new();
        }
        let make = Maker::board(&Insulation, board, "insulation");
        let trial = lives(board.phases);
        let mut steps = vec![make.reading(
            &format!("together/{TRIAL}"),
            "insulation-together-trial",
            insulation(trial, TestVoltage::V250),
            format!(
                "Board {}, all circuits together, main switch off, every device on. 250 volts first, {}.",
                board.number,
                trial.spoken()
            ),
            format!("Board {}, all together, 250 volts, {}.", board.number, trial.spoken()),
        )];
        steps.extend(pairs(board.phases).iter().map(|pair| {
            make.reading(
                &format!("together/500/{pair}"),
                "insulation-together",
                insulation(*pair, TestVoltage::V500),
                format!(
                    "All circuits together, {} at 500 V. Wait for it to settle; discharge after.",
                    pair.spoken()
                ),
                format!("All together, {}.", pair.spoken()),
            )
        }));
        steps
    }

    fn circuit_steps(&self, job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        let make = Maker::circuit(&Insulation, board, circuit, "insulation");
        let voltage = full_voltage(circuit.system);
        let name = format!("Circuit {}, {}", circuit.number, circuit.name);
        let mut steps = Vec::new();
        if tried_first(circuit, voltage) {
            let trial = lives(circuit.phases);
            let or_joined = match (job.kind, circuit.phases) {
                (JobKind::InitialVerification, _) => "",
                (JobKind::PeriodicInspection, Phases::Single) => {
                    " Or link line and neutral, and test them to earth."
                }
                (JobKind::PeriodicInspection, Phases::Three) => {
                    " Or link all lines and neutral, and test them to earth."
                }
            };
            steps.push(make.reading(
                TRIAL,
                "insulation-trial",
                insulation(trial, TestVoltage::V250),
                format!(
                    "{name}. Insulation, 250 volts first, {}: something may be connected.{or_joined}",
                    trial.spoken()
                ),
                format!("{name}. 250 volts, {}.", trial.spoken()),
            ));
            for pair in [lives_to_earth(circuit.phases), Pair::NE] {
                let spoken = speak::capital(&pair.spoken());
                steps.push(make.reading(
                    &format!("{TRIAL}-{pair}"),
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
            let again = format!("250 volts again, {}.", trial.spoken());
            steps.push(make.reading(
                AGAIN,
                "insulation-again",
                insulation(trial, TestVoltage::V250),
                again.clone(),
                again,
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
        for (n, pair) in pairs(circuit.phases).iter().enumerate() {
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
        if voltage == TestVoltage::V500 {
            let pair = joined_to_earth(circuit.phases);
            let what = speak::capital(&pair.spoken()).replace(" to earth", " joined, to earth");
            for (id, at) in [(JOINED, voltage), (JOINED_LOW, TestVoltage::V250)] {
                let text = format!("{what}, at {} volts.", at.volts());
                steps.push(make.reading(
                    id,
                    "insulation-joined",
                    insulation(pair, at),
                    text.clone(),
                    text,
                ));
            }
            steps.push(make.step(
                UNLINK,
                "insulation-unlink",
                Ask::Event,
                "Discharge, take the link off, and say unlinked.".to_owned(),
                "Link off, and say unlinked.".to_owned(),
            ));
        }
        steps
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let waits = state.waits(step);
        let Some(circuit) = step.circuit else {
            return waits && (name(step) == TRIAL || !together_low(state, step.board));
        };
        let clear =
            || !given_up(state, step) && !state.electronics_in(step.board, circuit).is_empty();
        if !circuit_by_circuit(state, step.board) {
            return name(step) == CLEAR && clear() && waits_for_all_together(state, step.board);
        }
        let suspicion = state.suspicion(step.board, circuit);
        let joined = lives_linked(state, step.board, circuit);
        let tested_joined = tested_joined(state, step);
        let to_earth = step.pair.is_some_and(Pair::to_earth);
        match name(step) {
            TRIAL => waits && !joined && !tested_joined,
            trial if trial.starts_with("trial-") && trial != AGAIN => {
                waits && !joined && suspicion.is_some_and(|s| !s.altered_since)
            }
            CLEAR => {
                full_tests_open(state, step)
                    && clear()
                    && !joined
                    && !tested_joined
                    && !suspicion.is_some_and(|s| s.altered_since)
            }
            AGAIN => {
                !given_up(state, step)
                    && !joined
                    && !tested_joined
                    && suspicion.is_some_and(|s| s.altered_since)
            }
            JOINED => joined && !tested_joined && waits,
            // Taken when the person says that the test was made at 250 V; never asked for.
            JOINED_LOW => false,
            UNLINK => joined && tested_joined,
            _ => waits && !joined && !(tested_joined && to_earth),
        }
    }

    fn guard(&self, state: &State, step: &Step) -> Result<(), Bar> {
        let Some(measure) = step.measure() else {
            return Ok(());
        };
        if measure.at == Some(TestVoltage::V250) {
            return Ok(());
        }
        let circuits: Vec<u16> = match step.circuit {
            Some(circuit) => {
                let linked = lives_linked(state, step.board, circuit);
                let joined = state
                    .circuit(step.board, circuit)
                    .is_some_and(|c| measure.pair == Some(joined_to_earth(c.phases)));
                if linked && joined {
                    return Ok(());
                }
                vec![circuit]
            }
            None => state
                .board(step.board)
                .into_iter()
                .flat_map(|board| &board.circuits)
                .map(|circuit| circuit.number)
                .collect(),
        };
        for circuit in circuits {
            let inside = state.electronics_in(step.board, circuit);
            if !inside.is_empty() {
                return Err(Bar::ElectronicsInCircuit {
                    circuit,
                    what: inside.join(" and "),
                });
            }
        }
        Ok(())
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::insulation(state, step, reading)
    }

    fn prompt(&self, state: &State, step: &Step) -> Option<(String, String)> {
        let circuit = step.circuit?;
        if name(step) != CLEAR {
            return self.cannot_be_tested(state, step);
        }
        let inside = state.electronics_in(step.board, circuit).join(" and ");
        let suspected = state.suspicion(step.board, circuit).is_some();
        let finding = match judging::pattern(state, step).filter(|_| suspected) {
            Some(Pattern::Sound) | None => String::new(),
            Some(pattern) => format!("{} ", pattern.spoken()),
        };
        let link = link_words(state, step.board, circuit);
        let brief = format!("Still in circuit: {inside}. Take it out, or link {link}.");
        let full = format!(
            "{finding}In circuit: {inside}. Take it out, then say what is out and where; or link {link} and say linked."
        );
        Some((full, brief))
    }

    /// A trial at 250 V leads to what comes next; it is no result.
    fn settles(&self, step: &Step) -> bool {
        !name(step).starts_with(TRIAL)
    }
}

impl Insulation {
    /// What is asked when the lives were tested joined, and equipment stays in.
    fn cannot_be_tested(&self, state: &State, step: &Step) -> Option<(String, String)> {
        let Err(Bar::ElectronicsInCircuit { what, .. }) = self.guard(state, step) else {
            return None;
        };
        let pair = speak::capital(&step.pair?.spoken());
        Some((
            format!(
                "{pair} stays untested with {what} in circuit. Say not tested, and the reason; or take it out."
            ),
            format!("{pair}, not tested? Say the reason."),
        ))
    }
}

/// Whether the circuits of a board are tested one by one: always, unless all of them together are
/// sound.
fn circuit_by_circuit(state: &State, board: u16) -> bool {
    let together = state
        .board(board)
        .is_some_and(|board| board.insulation_together);
    !together
        || together_low(state, board)
        || together_steps(state, board).any(|step| {
            state.has_failed(step) || matches!(state.done(step), Some(Progress::NotTested(..)))
        })
}

/// Whether all circuits together still wait to be tested at the full voltage.
pub fn waits_for_all_together(state: &State, board: u16) -> bool {
    !circuit_by_circuit(state, board) && together_steps(state, board).any(|step| state.waits(step))
}

/// Whether all circuits together read low at 250 V: something is connected somewhere.
fn together_low(state: &State, board: u16) -> bool {
    together_steps(state, board).any(|step| name(step) == TRIAL && state.has_failed(step))
}

fn together_steps(state: &State, board: u16) -> impl Iterator<Item = &Step> {
    state
        .plan()
        .on(board, None)
        .filter(|step| step.id.0.contains(TOGETHER))
}

fn tested_joined(state: &State, step: &Step) -> bool {
    state.plan().on(step.board, step.circuit).any(|other| {
        matches!(name(other), JOINED | JOINED_LOW) && state.result(&other.id).is_some()
    })
}

/// Whether all live conductors of a circuit are linked, and earth is not.
pub fn lives_linked(state: &State, board: u16, circuit: u16) -> bool {
    let phases = state.circuit(board, circuit).map(|c| c.phases);
    let wanted = match phases {
        Some(Phases::Three) => LINES.with(Conductors::N),
        _ => LINE_AND_NEUTRAL,
    };
    state.linked(board, circuit, wanted)
}

fn link_words(state: &State, board: u16, circuit: u16) -> &'static str {
    match state.circuit(board, circuit).map(|c| c.phases) {
        Some(Phases::Three) => "all lines and neutral",
        _ => "line and neutral",
    }
}

/// The last part of the step's name.
fn name(step: &Step) -> &str {
    step.id.0.rsplit('/').next().unwrap_or_default()
}

/// Whether a test of the circuit at the full voltage still waits: what is in circuit after the
/// last of them has been put back, and bars nothing.
fn full_tests_open(state: &State, step: &Step) -> bool {
    state.plan().on(step.board, step.circuit).any(|other| {
        other.measure().is_some_and(|m| {
            m.quantity == Quantity::Insulation && m.at.is_some_and(|at| at > TestVoltage::V250)
        }) && name(other) != JOINED
            && state.waits(other)
    })
}

/// Whether the person has said why the circuit is left as it is.
fn given_up(state: &State, step: &Step) -> bool {
    matches!(state.done(step), Some(Progress::NotTested(..)))
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
    something && voltage > TestVoltage::V250
}

fn pairs(phases: Phases) -> &'static [Pair] {
    match phases {
        Phases::Single => &Pair::SINGLE_PHASE,
        Phases::Three => &Pair::THREE_PHASE,
    }
}

/// All lines to neutral.
fn lives(phases: Phases) -> Pair {
    match phases {
        Phases::Single => Pair::LN,
        Phases::Three => between(LINES, Conductors::N),
    }
}

fn lives_to_earth(phases: Phases) -> Pair {
    match phases {
        Phases::Single => Pair::LE,
        Phases::Three => between(LINES, Conductors::E),
    }
}

/// All live conductors joined, to earth.
pub fn joined_to_earth(phases: Phases) -> Pair {
    match phases {
        Phases::Single => Pair::LN_E,
        Phases::Three => between(LINES.with(Conductors::N), Conductors::E),
    }
}

/// Two sets that share no conductor always make a pair.
fn between(a: Conductors, b: Conductors) -> Pair {
    Pair::new(a, b).unwrap_or(Pair::LN)
}
