use super::table::{is_full_insulation, is_surge, surge_is_in};
use super::visit::{NEUTRAL_OUT, neutral_at_board_is_out, neutral_is_in};
use super::{Answers, Assessment, Procedure, StepBuilder, assess};
use crate::installation::{Board, Circuit, CircuitKind, Job, Phases, SystemVoltage};
use crate::limits::Outcome;
use crate::quantity::{Conductors, Pair, Reading, TestVoltage, Unit};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{
    Beside, Column, Edition, Electronics, Measure, Order, ProcedureId, Quantity, Refusal,
    ShownWhen, Step, StepKind, Worst,
};
use crate::sequence::state::{OutEntry, ReadingRecord, State, StepOutcome};
use crate::terms::{Part, Place, Stage, Statement};

/// Insulation resistance, BS 7671 643.3 and Table 64: 250 V between line and neutral first when
/// something may be connected, then the full voltage between every pair; or, with equipment that
/// stays in, live conductors joined and tested to earth.
#[derive(Debug)]
pub(super) struct Insulation;

const LINE_AND_NEUTRAL: Conductors = Conductors::L.with(Conductors::N);

const fn column(
    key: &'static str,
    csv: &'static str,
    head: &'static str,
    shown: ShownWhen,
    beside: Beside,
) -> Column {
    Column {
        key,
        csv,
        group: "Insulation MΩ",
        head,
        worst: Worst::Lowest,
        shown,
        beside,
    }
}

static LL: Column = column(
    "insulation_ll",
    "insulation L-L Mohm",
    "L–L",
    ShownWhen::Planned,
    Beside::TestVoltage,
);
static LN: Column = column(
    "insulation_ln",
    "insulation L-N Mohm",
    "L–N",
    ShownWhen::Always,
    Beside::Nothing,
);
static LE: Column = column(
    "insulation_le",
    "insulation L-E Mohm",
    "L–E",
    ShownWhen::Always,
    Beside::Nothing,
);
static NE: Column = column(
    "insulation_ne",
    "insulation N-E Mohm",
    "N–E",
    ShownWhen::Always,
    Beside::Nothing,
);
static JOINED: Column = column(
    "insulation_joined",
    "insulation L+N-E Mohm",
    "L+N–E",
    ShownWhen::Done,
    Beside::Nothing,
);

static COLUMNS: [&Column; 5] = [&LL, &LN, &LE, &NE, &JOINED];

impl Procedure for Insulation {
    fn id(&self) -> ProcedureId {
        ProcedureId("insulation")
    }

    fn stage(&self) -> Stage {
        Stage::Insulation
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        edition: Edition,
    ) -> Vec<Step> {
        let build = StepBuilder::new(self, board, circuit, "insulation");
        match circuit {
            Some(circuit) => on_circuit(&build, board, circuit, edition),
            None if board.insulation_together => together(&build, board, edition),
            None => Vec::new(),
        }
    }

    /// What is in circuit comes out; lamps; two-way switches change over.
    fn orders(&self, state: &State, step: &Step) -> Vec<Order> {
        match (step.kind, step.circuit) {
            (StepKind::InsulationClear, Some(circuit)) => state
                .electronics_in(step.board, circuit)
                .into_iter()
                .map(|one| match one {
                    Electronics::Listed(place) => Order::out(Part::Accessory, Some(place)),
                    Electronics::Suspected => Order::out(Part::Load, None),
                })
                .collect(),
            (StepKind::InsulationLamps, _) => vec![Order::out(Part::Lamp, None).both()],
            (StepKind::InsulationTwoWay, _) => vec![Order::out(Part::Switch, None)],
            _ => Vec::new(),
        }
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let waits = state.waits(step);
        let Some(circuit) = step.circuit else {
            let trial = step.kind == StepKind::InsulationTogetherTrial;
            // What was out when all were tried is tried with them before more.
            let again = trial
                && load_back_since(state, step)
                && together_steps(state, step.board)
                    .any(|other| other.kind != step.kind && state.waits(other));
            return again || waits && (trial || !together_low(state, step.board));
        };
        let clear =
            || !given_up(state, step) && !state.electronics_in(step.board, circuit).is_empty();
        if !circuit_by_circuit(state, step.board) {
            return step.kind == StepKind::InsulationClear
                && clear()
                && waits_for_all_together(state, step.board);
        }
        let suspicion = state.suspicion(step.board, circuit);
        let joined = lives_linked(state, step.board, circuit);
        let tested_joined = tested_joined(state, step);
        let to_earth = step.pair.is_some_and(Pair::to_earth);
        match step.kind {
            // What stays in may be tested joined; once it is out, it is tried like any other.
            StepKind::InsulationTrial => {
                let later = state.edition() > Edition::First
                    && state.electronics_in(step.board, circuit).is_empty();
                waits && !joined && (!tested_joined || later)
            }
            StepKind::InsulationTrialEarth => {
                waits && !joined && suspicion.is_some_and(|s| !s.altered_since)
            }
            StepKind::InsulationClear => {
                full_tests_open(state, step)
                    && clear()
                    && !joined
                    && !tested_joined
                    && !suspicion.is_some_and(|s| s.altered_since)
            }
            StepKind::InsulationAgain => {
                // What is back after the last of the tests bars nothing any more.
                let wanted = |put_back: bool| !put_back || full_tests_open(state, step);
                let low = |pair| state.tries_again(step.board, circuit, pair);
                !given_up(state, step)
                    && step.pair.is_some_and(low)
                    && !joined
                    && !tested_joined
                    && suspicion.is_some_and(|s| s.altered_since && wanted(s.put_back))
            }
            // At 250 V it is taken when the person says so, and never asked for.
            StepKind::InsulationJoined if at_250(step) => false,
            // Not with the lives joined for what is tested after all is put back.
            StepKind::InsulationJoined => {
                joined && !tested_joined && waits && full_tests_open(state, step)
            }
            StepKind::InsulationUnlink => joined && tested_joined,
            _ => waits && !joined && !(tested_joined && to_earth),
        }
    }

    fn guard(&self, state: &State, step: &Step) -> Result<(), Refusal> {
        surge_protection_guard(state, step)?;
        // At a live board a neutral in its terminal is one with earth: no insulation is tested so.
        let mut beside = state.plan().beside(step);
        let neutral = beside.find(|other| other.kind == StepKind::NeutralOut);
        let guarded = !breakage::is(Break::NeutralLeftIn);
        // What was read once is read again with it out again.
        let asks = |first: &Step| step.measure().is_some() || NEUTRAL_OUT.is_open(state, first);
        let is_in = |first: &&Step| guarded && neutral_is_in(state, first) && asks(first);
        if let Some(first) = neutral.filter(is_in) {
            return Err(Refusal::first_comes(&first.id));
        }
        if step.measure().is_none() || at_250(step) || breakage::is(Break::HighVoltageUnguarded) {
            return Ok(());
        }
        let circuits: Vec<u16> = match step.circuit {
            Some(circuit) => {
                let joined = step.kind == StepKind::InsulationJoined;
                if joined && lives_linked(state, step.board, circuit) {
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
                return Err(Refusal::ElectronicsInCircuit {
                    circuit,
                    inside,
                    what: None,
                });
            }
        }
        if let Some(trial) = untried(state, step).filter(|_| !breakage::is(Break::TrialUnasked)) {
            return Err(Refusal::first_comes(&trial.id));
        }
        Ok(())
    }

    fn assess(&self, state: &State, step: &Step, reading: &Reading) -> Assessment {
        assess::insulation(state, step, reading)
    }

    fn settled_by<'a>(
        &self,
        state: &'a State,
        step: &Step,
        record: &ReadingRecord,
    ) -> Option<&'a ReadingRecord> {
        settled_by(state, step, record)
    }

    /// Whatever is connected is tried at 250 V before more; that trial is not left out.
    fn answers(&self, step: &Step) -> Answers {
        Answers {
            may_be_left_out: !matches!(
                step.kind,
                StepKind::InsulationTrial | StepKind::InsulationTogetherTrial
            ),
            ..Answers::default()
        }
    }

    fn column(&self, step: &Step) -> Option<&'static Column> {
        if step.kind == StepKind::InsulationJoined {
            return Some(&JOINED);
        }
        if !matches!(
            step.kind,
            StepKind::InsulationFull | StepKind::InsulationTwoWay
        ) {
            return None;
        }
        let pair = step.pair?;
        let line = |c: Conductors| !c.contains(Conductors::E) && !c.contains(Conductors::N);
        if pair == Pair::NE {
            Some(&NE)
        } else if !line(pair.from()) {
            None
        } else if pair.to_earth() {
            Some(&LE)
        } else if line(pair.to()) {
            Some(&LL)
        } else {
            Some(&LN)
        }
    }

    fn columns(&self) -> &'static [&'static Column] {
        &COLUMNS
    }
}

/// A low reading is dealt with when the same pair passes later, at its voltage or a higher one.
pub(super) fn settled_by<'a>(
    state: &'a State,
    step: &Step,
    record: &ReadingRecord,
) -> Option<&'a ReadingRecord> {
    let settles = |later: &&ReadingRecord| {
        later.no > record.no
            && later.reading.pair == record.reading.pair
            && later.reading.at >= record.reading.at
            && later.outcome() == Some(Outcome::Pass)
            && state
                .step(&later.step)
                .is_some_and(|other| (other.board, other.circuit) == (step.board, step.circuit))
    };
    let readings = state.counting(Quantity::Insulation);
    readings.filter(settles).last()
}

fn together(build: &StepBuilder<'_>, board: &Board, edition: Edition) -> Vec<Step> {
    let trial = |pair| {
        build.reading(
            trial_tail("together/trial", pair, board.phases),
            StepKind::InsulationTogetherTrial,
            insulation(pair, TestVoltage::V250),
        )
    };
    let trials = trials(board.phases, edition).into_iter().map(trial);
    let mut steps: Vec<Step> = trials.collect();
    steps.extend(pairs(board.phases).iter().map(|pair| {
        build.reading(
            format!("together/500/{pair}"),
            StepKind::InsulationTogether,
            insulation(*pair, TestVoltage::V500),
        )
    }));
    steps
}

/// Surge protection is out before all circuits of its board are tested together; and, since neutral to earth at
/// more than 250 V goes across it whichever circuit is tested, before that, unless that circuit's neutral is
/// out of its bar. BS 7671 643.3.3: what can't be taken out may stay in at 250 V.
fn surge_protection_guard(state: &State, step: &Step) -> Result<(), Refusal> {
    let mut of_board = state.plan().on(step.board, None);
    let is_in = |out: &&Step| out.kind == StepKind::SurgeOut && surge_is_in(state, out);
    let out = of_board.find(is_in).filter(|_| step.measure().is_some());
    let Some(out) = out.filter(|_| !breakage::is(Break::SurgeLeftIn)) else {
        return Ok(());
    };
    let stays_in = matches!(state.outcome(out), Some(StepOutcome::NotTested(..)));
    let Some(circuit) = step.circuit else {
        return match stays_in && at_250(step) {
            true => Ok(()),
            false => Err(Refusal::first_comes(&out.id)),
        };
    };
    let across = state.edition() >= Edition::Fourth
        && is_full_insulation(step)
        && step
            .pair
            .is_some_and(|pair| pair.to_earth() && pair.from().contains(Conductors::N));
    if !across || neutral_at_board_is_out(state, step) {
        return Ok(());
    }
    Err(match stays_in {
        true => Refusal::ElectronicsInCircuit {
            circuit,
            inside: vec![Electronics::Listed(Place::surge_protection())],
            what: None,
        },
        false => Refusal::first_comes(&out.id),
    })
}

/// The trials at 250 V between live conductors: of three phases, all lines to neutral and, since a load may
/// be between lines alone, each line to each other. Common practice: BS 7671 643.3 has the full test between
/// all of them.
fn trials(phases: Phases, edition: Edition) -> Vec<Pair> {
    let between_lines = match phases {
        Phases::Three if edition >= Edition::Fourth => Pair::BETWEEN_LINES.as_slice(),
        Phases::Single | Phases::Three => &[],
    };
    std::iter::once(lives(phases))
        .chain(between_lines.iter().copied())
        .collect()
}

/// The last part of the name of the step that tries this pair, or tries it again.
fn trial_tail(name: &str, pair: Pair, phases: Phases) -> String {
    if pair == lives(phases) {
        return name.to_owned();
    }
    format!("{name}/{pair}")
}

/// The trial at 250 V that comes before this test, where it was not made.
fn untried<'a>(state: &'a State, step: &'a Step) -> Option<&'a Step> {
    let first_edition = state.edition() == Edition::First;
    let joined = step.kind == StepKind::InsulationJoined;
    if first_edition || joined {
        return None;
    }
    state.plan().beside(step).find(|other| {
        matches!(
            other.kind,
            StepKind::InsulationTrial | StepKind::InsulationTogetherTrial
        ) && (state.result(other).is_none() || load_back_since(state, other))
    })
}

/// Whether equipment that was out when all circuits were tried together is back in one of them since.
fn load_back_since(state: &State, trial: &Step) -> bool {
    let Some(tried) = state.result(trial).map(|record| record.no) else {
        return false;
    };
    let out_again = |was: &OutEntry| {
        let mut out = state.sure_entries();
        out.any(|entry| entry.no > was.no && entry.takes_out_too(was))
    };
    let mut all = state.out_list().iter();
    trial.kind == StepKind::InsulationTogetherTrial
        && all.any(|entry| {
            let back = entry.back.is_some_and(|(by, _)| by > tried);
            let of_board = entry.board == trial.board && entry.no < tried;
            of_board && back && entry.is_equipment() && !is_surge(entry) && !out_again(entry)
        })
}

fn on_circuit(
    build: &StepBuilder<'_>,
    board: &Board,
    circuit: &Circuit,
    edition: Edition,
) -> Vec<Step> {
    let voltage = full_voltage(circuit.system);
    let volts = voltage.volts();
    let lamps = || build.statement("lamps", StepKind::InsulationLamps, &[Statement::Done]);
    let lighting = circuit.kind == CircuitKind::Lighting;
    let mut steps = Vec::new();
    // With lamps in, the trial would be low whatever the wiring.
    if lighting && edition > Edition::First {
        steps.push(lamps());
    }
    // Tested by itself it is only where all circuits together were not sound: something may be on any of them.
    let one_of_all = board.insulation_together && edition >= Edition::Fifth;
    if tried_first(circuit, voltage, one_of_all) {
        let trials = trials(circuit.phases, edition);
        let trial = |name: &str, kind, pair: Pair| {
            let tail = trial_tail(name, pair, circuit.phases);
            build.reading(tail, kind, insulation(pair, TestVoltage::V250))
        };
        let first = |pair: &Pair| trial("trial", StepKind::InsulationTrial, *pair);
        steps.extend(trials.iter().map(first));
        for pair in [lives_to_earth(circuit.phases), Pair::NE] {
            steps.push(build.reading(
                format!("trial-{pair}"),
                StepKind::InsulationTrialEarth,
                insulation(pair, TestVoltage::V250),
            ));
        }
        steps.push(build.event("clear", StepKind::InsulationClear));
        let again = |pair: &Pair| trial("trial-again", StepKind::InsulationAgain, *pair);
        steps.extend(trials.iter().map(again));
    }
    if lighting && edition == Edition::First {
        steps.push(lamps());
    }
    steps.extend(pairs(circuit.phases).iter().map(|pair| {
        build.reading(
            format!("{volts}/{pair}"),
            StepKind::InsulationFull,
            insulation(*pair, voltage),
        )
    }));
    if circuit.two_way {
        let again: &[Pair] = match edition {
            Edition::First => &[Pair::LE],
            _ => pairs(circuit.phases),
        };
        steps.extend(again.iter().map(|pair| {
            build.reading(
                format!("{volts}/{pair}/other-position"),
                StepKind::InsulationTwoWay,
                insulation(*pair, voltage),
            )
        }));
    }
    if voltage == TestVoltage::V500 {
        let pair = joined_to_earth(circuit.phases);
        for (tail, at) in [("joined", voltage), ("joined-250", TestVoltage::V250)] {
            let measure = insulation(pair, at);
            steps.push(build.reading(tail, StepKind::InsulationJoined, measure));
        }
        steps.push(build.event("unlink", StepKind::InsulationUnlink));
    }
    steps
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
            state.has_failed(step)
                || matches!(state.outcome(step), Some(StepOutcome::NotTested(..)))
        })
}

/// Whether all circuits together still wait to be tested at the full voltage.
pub fn waits_for_all_together(state: &State, board: u16) -> bool {
    !circuit_by_circuit(state, board) && together_steps(state, board).any(|step| state.waits(step))
}

/// Whether all circuits together read low at 250 V: something is connected somewhere.
fn together_low(state: &State, board: u16) -> bool {
    together_steps(state, board)
        .any(|step| step.kind == StepKind::InsulationTogetherTrial && state.has_failed(step))
}

fn together_steps(state: &State, board: u16) -> impl Iterator<Item = &Step> {
    state.plan().on(board, None).filter(|step| {
        matches!(
            step.kind,
            StepKind::InsulationTogetherTrial | StepKind::InsulationTogether
        )
    })
}

fn tested_joined(state: &State, step: &Step) -> bool {
    state
        .plan()
        .beside(step)
        .any(|other| other.kind == StepKind::InsulationJoined && state.result(other).is_some())
}

/// Whether a step was left out because the live conductors of the circuit were joined and tested
/// to earth instead.
pub fn tested_joined_instead(state: &State, step: &Step) -> bool {
    let of_a_pair = matches!(
        step.kind,
        StepKind::InsulationFull | StepKind::InsulationTwoWay
    );
    of_a_pair && !at_250(step) && !Insulation.is_open(state, step) && tested_joined(state, step)
}

/// Whether all live conductors of a circuit are linked, and earth is not.
pub fn lives_linked(state: &State, board: u16, circuit: u16) -> bool {
    let phases = state.circuit(board, circuit).map(|c| c.phases);
    let wanted = match phases {
        Some(Phases::Three) => Conductors::LINES.with(Conductors::N),
        _ => LINE_AND_NEUTRAL,
    };
    state.linked(board, circuit, wanted)
}

/// Whether a test of the circuit at the full voltage still waits: what is in circuit after the
/// last of them has been put back, and bars nothing.
fn full_tests_open(state: &State, step: &Step) -> bool {
    state.plan().beside(step).any(|other| {
        other.measures(Quantity::Insulation)
            && !at_250(other)
            && other.kind != StepKind::InsulationJoined
            && state.waits(other)
    })
}

/// Whether the person has said why the circuit is left as it is.
fn given_up(state: &State, step: &Step) -> bool {
    matches!(state.outcome(step), Some(StepOutcome::NotTested(..)))
}

fn at_250(step: &Step) -> bool {
    step.measure()
        .is_some_and(|measure| measure.at == Some(TestVoltage::V250))
}

pub(super) fn insulation(pair: Pair, voltage: TestVoltage) -> Measure {
    Measure {
        at: Some(voltage),
        ..Measure::of(Quantity::Insulation, Unit::MegOhm).between(pair)
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

fn tried_first(circuit: &Circuit, voltage: TestVoltage, one_of_all: bool) -> bool {
    let something = one_of_all
        || circuit.equipment_possible
        || circuit.points.iter().any(|point| point.sensitive.is_some());
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
        Phases::Three => between(Conductors::LINES, Conductors::N),
    }
}

fn lives_to_earth(phases: Phases) -> Pair {
    match phases {
        Phases::Single => Pair::LE,
        Phases::Three => between(Conductors::LINES, Conductors::E),
    }
}

/// All live conductors joined, to earth.
pub fn joined_to_earth(phases: Phases) -> Pair {
    match phases {
        Phases::Single => Pair::LN_E,
        Phases::Three => between(Conductors::LINES.with(Conductors::N), Conductors::E),
    }
}

/// Two sets that share no conductor always make a pair.
fn between(a: Conductors, b: Conductors) -> Pair {
    Pair::new(a, b).unwrap_or(Pair::LN)
}
