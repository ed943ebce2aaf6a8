//! The procedures without logic of their own, a row each: what they plan, what may answer their
//! steps, how their readings are assessed, and which columns they fill.

use super::assess::{self, Assessment};
use super::continuity::R1_R2;
use super::insulation::{Insulation, waits_for_all_together};
use super::reopened::last_reopened;
use super::{Answers, Procedure, StepBuilder};
use crate::installation::{Board, Circuit, CircuitKind, Job, Phases, Rcd, RcdTest, SystemVoltage};
use crate::quantity::{Conductors, Pair, Reading, TestVoltage, Unit};
use crate::sequence::facts::{
    ARC_FAULT_CHECK, Beside, Column, Edition, Measure, Order, ProcedureId, Quantity,
    SURGE_INDICATOR, ShownWhen, Step, StepKind, Worst, arc_fault_tail,
};
use crate::sequence::state::{OutEntry, ReadingRecord, State, StepOutcome, place_of};
use crate::terms::{HalfCycle, Part, Place, Stage, Statement};
use std::fmt;

/// What a row plans for.
#[derive(Debug, Clone, Copy)]
pub struct Scope<'a> {
    /// The job.
    pub job: &'a Job,
    /// The board.
    pub board: &'a Board,
    /// The circuit; none for the whole board.
    pub circuit: Option<&'a Circuit>,
    /// The edition of the plan.
    pub edition: Edition,
}

/// The later reading that shows that an exception was dealt with, of a step and its reading.
pub type SettledBy = for<'a> fn(&'a State, &Step, &ReadingRecord) -> Option<&'a ReadingRecord>;

/// A procedure without logic of its own.
pub struct Row {
    /// Its name, under which its prompts stand too when it has one kind of step.
    pub name: &'static str,
    /// The stage its steps belong to.
    pub stage: Stage,
    /// The grammar rule that its answers are heard with.
    pub rule: &'static str,
    /// Its steps for one circuit, or for the whole board when none is given.
    pub plan: fn(&StepBuilder<'_>, &Scope<'_>) -> Vec<Step>,
    /// What a step orders out.
    pub orders: fn(&State, &Step) -> Vec<Order>,
    /// Whether a step still waits to be done.
    pub is_open: fn(&State, &Step) -> bool,
    /// What may answer a step besides what it asks for.
    pub answers: fn(&Step) -> Answers,
    /// What is thought of a reading.
    pub assess: fn(&State, &Step, &Reading) -> Assessment,
    /// The later reading that shows that an exception was dealt with.
    pub settled_by: SettledBy,
    /// Its columns on the schedule, and which of them a step's result stands in.
    pub columns: &'static [&'static Column],
    /// The column of a step, among [`Row::columns`].
    pub column: fn(&Step) -> Option<&'static Column>,
    /// What a step is on paper, where its quantity or stage does not say it.
    pub label: fn(&Step) -> Option<String>,
    /// Its prompts, when they don't stand in `say/prompts.toml`.
    pub prompts: &'static str,
}

impl fmt::Debug for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

impl Row {
    /// What a row is where it says nothing else.
    pub const PLAIN: Self = Self {
        name: "",
        stage: Stage::Functional,
        rule: "functional",
        plan: |_, _| Vec::new(),
        orders: |_, _| Vec::new(),
        is_open: State::waits,
        answers: |step| Answers {
            may_be_left_out: (step.is_dead_test() || step.is_live_work()) && !step.kind.puts_back(),
            instead_of_reading: &[],
            accepts_done: true,
        },
        assess: |_, _, _| Assessment::noted(),
        settled_by: |_, _, _| None,
        columns: &[],
        column: |_| None,
        label: |_| None,
        prompts: "",
    };
}

impl Procedure for Row {
    fn id(&self) -> ProcedureId {
        ProcedureId(self.name)
    }

    fn stage(&self) -> Stage {
        self.stage
    }

    fn plan(
        &self,
        job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        edition: Edition,
    ) -> Vec<Step> {
        let build = StepBuilder::new(self, board, circuit, self.rule);
        let scope = Scope {
            job,
            board,
            circuit,
            edition,
        };
        (self.plan)(&build, &scope)
    }

    fn orders(&self, state: &State, step: &Step) -> Vec<Order> {
        (self.orders)(state, step)
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        (self.is_open)(state, step)
    }

    fn answers(&self, step: &Step) -> Answers {
        (self.answers)(step)
    }

    fn assess(&self, state: &State, step: &Step, reading: &Reading) -> Assessment {
        (self.assess)(state, step, reading)
    }

    fn settled_by<'a>(
        &self,
        state: &'a State,
        step: &Step,
        record: &ReadingRecord,
    ) -> Option<&'a ReadingRecord> {
        (self.settled_by)(state, step, record)
    }

    fn column(&self, step: &Step) -> Option<&'static Column> {
        (self.column)(step)
    }

    fn columns(&self) -> &'static [&'static Column] {
        self.columns
    }

    fn label(&self, step: &Step) -> Option<String> {
        (self.label)(step)
    }

    fn prompts(&self) -> &'static str {
        self.prompts
    }
}

/// Continuity of the main and supplementary protective bonding conductors, BS 7671 643.2.
pub static BONDING: Row = Row {
    name: "bonding",
    stage: Stage::Continuity,
    rule: "continuity",
    plan: |build, scope| {
        // No bond comes off an installation that is live.
        if scope.job.boards.first() != Some(scope.board) || scope.board.isolates_circuits() {
            return Vec::new();
        }
        let bond = |tail: &str, kind, name: &String| {
            let place = bond_place(name);
            let measure = Measure::of(Quantity::Bond, Unit::Ohm);
            build
                .reading(format!("{tail}/{name}"), kind, measure)
                .at(place)
        };
        let supply = &scope.job.supply;
        let back = |name: &String| {
            let place = Some(bond_place(name));
            build
                .event(format!("bond-back/{name}"), StepKind::BondBack)
                .at(place)
        };
        let main = supply.bonds.iter().flat_map(|name| {
            let back = (scope.edition > Edition::First).then(|| back(name));
            std::iter::once(bond("bond", StepKind::Bond, name)).chain(back)
        });
        let supplementary = supply.supplementary_bonds.iter();
        let supplementary =
            supplementary.map(|name| bond("supplementary", StepKind::SupplementaryBond, name));
        main.chain(supplementary).collect()
    },
    // One end of a main bond comes off for its reading, and goes back at once.
    orders: |_, step| match step.kind {
        StepKind::Bond => vec![Order::out(Part::Bond, step.place.clone())],
        _ => Vec::new(),
    },
    is_open: |state, step| match step.kind {
        // Not while it is still to be read: who says that it is off before reading is not told to put it
        // back.
        StepKind::BondBack => {
            let mut beside = state.plan().beside(step);
            let bond = |other: &&Step| other.kind == StepKind::Bond && other.place == step.place;
            let still_to_read = beside.find(bond).is_some_and(|bond| state.waits(bond));
            let off = |entry: &OutEntry| entry.part == Part::Bond && entry.place == step.place;
            !still_to_read && state.sure_entries().any(off)
        }
        _ => state.waits(step),
    },
    assess: assess::bond,
    ..Row::PLAIN
};

/// A main bond's place is its name.
pub(in crate::sequence) fn bond_place(name: &str) -> Place {
    Place {
        name: format!("{name} bond"),
        number: None,
    }
}

const fn ring_column(key: &'static str, csv: &'static str, head: &'static str) -> Column {
    Column {
        key,
        csv,
        group: "Ring Ω",
        head,
        worst: Worst::Highest,
        shown: ShownWhen::Planned,
        beside: Beside::Nothing,
    }
}

static RING_R1: Column = ring_column("ring_r1", "ring r1 ohm", "r₁");
static RING_RN: Column = ring_column("ring_rn", "ring rn ohm", "rₙ");
static RING_R2: Column = ring_column("ring_r2", "ring r2 ohm", "r₂");

/// Continuity of ring final circuit conductors in three stages, BS 7671 643.2.1 and IET Guidance
/// Note 3: end to end; line and neutral cross-connected, read at every outlet; line and cpc
/// cross-connected, read at every outlet.
pub static RING: Row = Row {
    name: "ring",
    stage: Stage::Ring,
    rule: "ring",
    plan: |build, scope| {
        let is_ring = |circuit: &&Circuit| circuit.kind == CircuitKind::Ring;
        let Some(circuit) = scope.circuit.filter(is_ring) else {
            return Vec::new();
        };
        let mut steps: Vec<Step> = ["r1", "rn", "r2"]
            .into_iter()
            .zip(RING_ENDS)
            .map(|(symbol, conductor)| Step {
                conductor: Some(conductor),
                ..build.reading(
                    format!("end-to-end/{symbol}"),
                    StepKind::RingEndToEnd,
                    Measure::of(Quantity::RingEndToEnd, Unit::Ohm),
                )
            })
            .collect();
        let crossed = [
            (
                "crossed-neutral",
                StepKind::RingCrossedNeutral,
                Quantity::RingLineNeutral,
                Pair::LN,
            ),
            (
                "crossed-earth",
                StepKind::RingCrossedEarth,
                Quantity::RingLineEarth,
                Pair::LE,
            ),
        ];
        for (tail, kind, quantity, pair) in crossed {
            steps.extend(circuit.points.iter().map(place_of).map(|place| {
                let measure = Measure::of(quantity, Unit::Ohm).between(pair);
                build
                    .reading(format!("{tail}/{place}"), kind, measure)
                    .at(place)
            }));
            if scope.edition > Edition::First {
                let off = match quantity {
                    Quantity::RingLineNeutral => StepKind::RingUncrossNeutral,
                    _ => StepKind::RingUncrossEarth,
                };
                steps.push(build.event(format!("un{tail}"), off));
            }
        }
        if scope.edition > Edition::First {
            steps.push(build.event("ends-back", StepKind::RingEndsBack));
        }
        steps
    },
    orders: ring_orders,
    is_open: ring_is_open,
    assess: assess::ring,
    columns: &[&RING_R1, &RING_RN, &RING_R2],
    column: |step| match step.measure()?.quantity {
        Quantity::RingLineEarth => Some(&R1_R2),
        Quantity::RingEndToEnd => match step.conductor? {
            Conductors::L => Some(&RING_R1),
            Conductors::N => Some(&RING_RN),
            _ => Some(&RING_R2),
        },
        _ => None,
    },
    ..Row::PLAIN
};

/// All six ends out of their terminals; and for the points, two conductors crossed.
fn ring_orders(_: &State, step: &Step) -> Vec<Order> {
    let crossed = match step.kind {
        StepKind::RingEndToEnd => None,
        StepKind::RingCrossedNeutral => Some(LINE_AND_NEUTRAL),
        StepKind::RingCrossedEarth => Some(LINE_AND_EARTH),
        _ => return Vec::new(),
    };
    RING_ENDS
        .into_iter()
        .map(|conductor| Order::out(Part::Conductors(conductor), Some(Place::board())).both())
        .chain(crossed.map(Order::crossed))
        .collect()
}

/// The conductors of a ring, both ends of each.
pub const RING_ENDS: [Conductors; 3] = [Conductors::L, Conductors::N, Conductors::E];
const LINE_AND_NEUTRAL: Conductors = Conductors::L.with(Conductors::N);
const LINE_AND_EARTH: Conductors = Conductors::L.with(Conductors::E);

/// What is crossed comes off once its points are read; the ends go back after that.
fn ring_is_open(state: &State, step: &Step) -> bool {
    let Some(circuit) = step.circuit else {
        return false;
    };
    let out = |part: Part| {
        state
            .sure_on(step.board, circuit)
            .any(|entry| entry.part == part)
    };
    let read = |kind: StepKind| {
        let mut points = state.plan().beside(step);
        !points.any(|other| other.kind == kind && state.waits(other))
    };
    match step.kind {
        StepKind::RingUncrossNeutral => {
            out(Part::Crossing(LINE_AND_NEUTRAL)) && read(StepKind::RingCrossedNeutral)
        }
        StepKind::RingUncrossEarth => {
            out(Part::Crossing(LINE_AND_EARTH)) && read(StepKind::RingCrossedEarth)
        }
        StepKind::RingEndsBack => {
            // At a live board the neutrals stay out until the insulation is tested.
            let for_insulation = state.plan().beside(step).any(|other| {
                other.kind == StepKind::NeutralOut
                    && matches!(
                        state.outcome(other),
                        Some(StepOutcome::Stated(_, Statement::Done))
                    )
            });
            !for_insulation
                && state.ring_ends_out(step.board, circuit).next().is_some()
                && read(StepKind::RingEndToEnd)
                && read(StepKind::RingCrossedNeutral)
                && read(StepKind::RingCrossedEarth)
        }
        _ => state.waits(step),
    }
}

/// Whether every conductor is at its own terminal.
pub static POLARITY_COLUMN: Column = Column {
    key: "polarity",
    csv: "polarity",
    group: "Polarity",
    head: "",
    worst: Worst::Highest,
    shown: ShownWhen::Always,
    beside: Beside::Nothing,
};

const EITHER_POLARITY: [Statement; 2] = [Statement::PolarityCorrect, Statement::PolarityReversed];

/// Polarity of a dead circuit: single-pole devices in the line conductor only, and accessories
/// connected the right way. BS 7671 643.6.
pub static POLARITY: Row = Row {
    name: "polarity",
    stage: Stage::Polarity,
    rule: "polarity",
    plan: |build, _| vec![build.statement("dead", StepKind::Row("polarity"), &EITHER_POLARITY)],
    is_open: polarity_is_open,
    columns: &[&POLARITY_COLUMN],
    column: |_| Some(&POLARITY_COLUMN),
    ..Row::PLAIN
};

/// Not before the whole board was tested together, and again after an outlet was put back since.
fn polarity_is_open(state: &State, step: &Step) -> bool {
    if state.edition() == Edition::First {
        return state.waits(step);
    }
    if waits_for_all_together(state, step.board) {
        return false;
    }
    let stated = match state.outcome(step) {
        Some(StepOutcome::Stated(no, _)) => *no,
        _ => return state.waits(step),
    };
    !state.energised(step.board)
        && step.circuit.is_some_and(|circuit| {
            last_reopened(state, step.board, circuit).is_some_and(|back| back > stated)
        })
}

/// The kind of a step that asks for the voltage of the supply.
pub const SUPPLY_VOLTAGE: StepKind = StepKind::Row("supply-voltage");

/// Voltage of the supply at the origin, between every pair, and its polarity, checked before anything else
/// is tested live. BS 7671 643.6; the voltages stand on the model forms as nominal voltage, U and U0.
pub static SUPPLY_POLARITY: Row = Row {
    name: "supply-polarity",
    stage: Stage::SupplyPolarity,
    rule: "polarity",
    plan: |build, scope| {
        let kind = StepKind::Row("supply-polarity");
        if scope.edition == Edition::First {
            return vec![build.statement("supply", kind, &EITHER_POLARITY)];
        }
        if scope.board.fed_from.is_some() || scope.board.isolates_circuits() {
            return Vec::new();
        }
        let asked = scope.edition > Edition::Second;
        let (kind_of_volts, rule) = match asked {
            true => (SUPPLY_VOLTAGE, "volts"),
            false => (kind, SUPPLY_POLARITY.rule),
        };
        let voltage = |pair: &Pair| {
            let measure = Measure::of(Quantity::SupplyVoltage, Unit::Volt).between(*pair);
            Step {
                rule,
                ..build.reading(format!("voltage/{pair}"), kind_of_volts, measure)
            }
        };
        let pairs: &[Pair] = match scope.board.phases {
            Phases::Single => &Pair::SINGLE_PHASE,
            Phases::Three => &Pair::THREE_PHASE,
        };
        // Without a pair it is the voltage of a line to neutral.
        let (to_neutral, others): (Vec<&Pair>, Vec<&Pair>) =
            pairs.iter().partition(|pair| pair.to() == Conductors::N);
        let polarity = build.statement("incoming", kind, &EITHER_POLARITY);
        let mut steps: Vec<Step> = to_neutral.into_iter().chain(others).map(voltage).collect();
        // Polarity follows from what was read.
        steps.insert(if asked { steps.len() } else { 0 }, polarity);
        steps
            .into_iter()
            .map(|step| Step {
                incoming: true,
                ..step
            })
            .collect()
    },
    // Up to the second edition a voltage is taken when it is said, and never waits.
    is_open: |state, step| {
        (step.measure().is_none() || step.kind == SUPPLY_VOLTAGE) && state.waits(step)
    },
    assess: assess::supply_voltage,
    // Nothing is energised by a supply whose polarity was not checked.
    answers: |step| Answers {
        may_be_left_out: !step.incoming || step.kind == SUPPLY_VOLTAGE,
        instead_of_reading: &[],
        accepts_done: true,
    },
    ..Row::PLAIN
};

/// Each line to neutral, from which the three-phase current is taken, and a line to earth.
const LINES_AND_EARTH: [Pair; 4] = [
    Pair::LINES_TO_NEUTRAL[0],
    Pair::LINES_TO_NEUTRAL[1],
    Pair::LINES_TO_NEUTRAL[2],
    Pair::LINES_TO_EARTH[0],
];

/// Prospective fault current at the origin, line to neutral and line to earth; the larger counts.
/// BS 7671 643.7.3.201.
pub static FAULT_CURRENT: Row = Row {
    name: "fault-current",
    stage: Stage::FaultCurrent,
    rule: "current",
    plan: |build, scope| {
        let first = scope.edition == Edition::First;
        let elsewhere = scope.board.fed_from.is_some() || scope.board.isolates_circuits();
        if !first && elsewhere {
            return Vec::new();
        }
        fault_currents(build, scope, !first)
    },
    assess: assess::fault_current,
    ..Row::PLAIN
};

/// The same at a further board, whose supply comes with energising, and at one that stays live.
pub static FAULT_CURRENT_FURTHER: Row = Row {
    name: "fault-current-further",
    stage: Stage::FaultCurrent,
    rule: "current",
    plan: |build, scope| {
        let live = scope.job.keeps_live(scope.board);
        // Once for the board, with what of it stays live.
        if scope.board.is_part() {
            return Vec::new();
        }
        if live || scope.board.fed_from.is_some() {
            fault_currents(build, scope, false)
        } else {
            Vec::new()
        }
    },
    assess: assess::fault_current,
    ..Row::PLAIN
};

fn fault_currents(build: &StepBuilder<'_>, scope: &Scope<'_>, incoming: bool) -> Vec<Step> {
    let pairs: &[Pair] = match scope.board.phases {
        Phases::Single => &[Pair::LN, Pair::LE],
        Phases::Three => &LINES_AND_EARTH,
    };
    let reading = |pair: &Pair| {
        let measure = Measure::of(Quantity::FaultCurrent, Unit::KiloAmp).between(*pair);
        let step = build.reading(pair.to_string(), StepKind::Row("fault-current"), measure);
        Step { incoming, ..step }
    };
    pairs.iter().map(reading).collect()
}

pub(super) static ZS: Column = Column {
    key: "zs",
    csv: "Zs ohm",
    group: "Zₛ Ω",
    head: "measured",
    worst: Worst::Highest,
    shown: ShownWhen::Always,
    beside: Beside::LargestZs,
};

/// Earth fault loop impedance at the furthest point of each circuit. BS 7671 643.7.3.
pub static LOOP_IMPEDANCE: Row = Row {
    name: "loop-impedance",
    stage: Stage::LoopImpedance,
    rule: "loop",
    plan: |build, scope| {
        let Some(circuit) = scope.circuit.filter(|c| !is_extra_low(c)) else {
            return Vec::new();
        };
        let reading = |tail: &str, pair: Pair| {
            let measure = Measure::of(Quantity::LoopImpedance, Unit::Ohm).between(pair);
            build
                .reading(tail, StepKind::LOOP_IMPEDANCE, measure)
                .at(circuit.points.last().map(place_of))
        };
        match circuit.phases {
            Phases::Single => vec![reading("furthest", Pair::LE)],
            Phases::Three => Pair::LINES_TO_EARTH
                .iter()
                .map(|pair| reading(&format!("furthest/{}", pair.from()), *pair))
                .collect(),
        }
    },
    is_open: |state, step| {
        let read_there = |other: &Step| {
            other.kind == StepKind::ReopenedLoop
                && other.place == step.place
                && other.pair == step.pair
                && state.result(other).is_some()
        };
        state.waits(step) && !state.plan().beside(step).any(read_there)
    },
    assess: assess::loop_impedance,
    columns: &[&ZS],
    column: |_| Some(&ZS),
    ..Row::PLAIN
};

/// Whether a circuit's supply is none that a loop could be read of.
pub(super) fn is_extra_low(circuit: &Circuit) -> bool {
    matches!(circuit.system, SystemVoltage::Selv | SystemVoltage::Pelv)
}

const fn rcd_column(
    key: &'static str,
    csv: &'static str,
    head: &'static str,
    worst: Worst,
) -> Column {
    Column {
        key,
        csv,
        group: "RCD test",
        head,
        worst,
        shown: ShownWhen::Planned,
        beside: Beside::Nothing,
    }
}

static RCD_HALF: Column = rcd_column("rcd_half", "RCD half rated", "½ IΔₙ", Worst::Lowest);
static RCD_RATED: Column = rcd_column("rcd_rated", "RCD rated ms", "IΔₙ ms", Worst::Highest);
static RCD_FIVE: Column = rcd_column("rcd_five", "RCD five times ms", "5 IΔₙ ms", Worst::Highest);
static RCD_BUTTON: Column = rcd_column("rcd_button", "RCD test button", "button", Worst::Highest);

/// RCDs: no trip at half the rated current, the time at the rated current on both half-cycles
/// with an alternating current, whatever the type, and at five times it, as the job file asks;
/// then the test button. BS 7671:2018+A2:2022 643.7.1 and 643.8.
pub static RCD: Row = Row {
    name: "rcd",
    stage: Stage::Rcd,
    rule: "rcd",
    plan: |build, scope| match scope.circuit.and_then(|circuit| circuit.rcd.as_ref()) {
        Some(rcd) => rcd_steps(build, rcd, ""),
        None => Vec::new(),
    },
    answers: rcd_answers,
    assess: assess::rcd,
    columns: &[&RCD_HALF, &RCD_RATED, &RCD_FIVE, &RCD_BUTTON],
    column: rcd_column_of,
    label: |step| (step.kind == StepKind::RcdButton).then(|| "RCD test button".to_owned()),
    ..Row::PLAIN
};

/// The same of a device that protects several circuits, once each: a main RCD, or those of a split
/// board. Their results stand at the row of each circuit that they protect.
pub static RCD_OF_SEVERAL: Row = Row {
    name: "rcd-of-several",
    stage: Stage::Rcd,
    rule: "rcd",
    plan: |build, scope| {
        let groups = scope.board.rcds.iter().filter(|_| !scope.board.is_part());
        let each = groups.flat_map(|group| {
            let steps = rcd_steps(build, &group.rcd(), &format!("rcd/{}/", group.number));
            steps.into_iter().map(|step| step.at(group.place()))
        });
        each.collect()
    },
    answers: rcd_answers,
    assess: assess::rcd,
    column: rcd_column_of,
    label: |step| {
        let place = step.place.as_ref()?;
        (step.kind == StepKind::RcdButton).then(|| format!("test button, {place}"))
    },
    ..Row::PLAIN
};

fn rcd_steps(build: &StepBuilder<'_>, rcd: &Rcd, before: &str) -> Vec<Step> {
    let timed = |tail: &str, kind, quantity, half| {
        let measure = Measure {
            half,
            ..Measure::of(quantity, Unit::MilliSecond)
        };
        build.reading(format!("{before}{tail}"), kind, measure)
    };
    let both = |tail: &str, kind, quantity| {
        [
            (HalfCycle::Positive, "positive"),
            (HalfCycle::Negative, "negative"),
        ]
        .map(|(half, word)| timed(&format!("{tail}/{word}"), kind, quantity, Some(half)))
    };
    let mut steps = Vec::new();
    if rcd.tests.contains(&RcdTest::Half) {
        steps.push(timed("half", StepKind::RcdHalf, Quantity::RcdHalf, None));
    }
    if rcd.tests.contains(&RcdTest::Once) {
        steps.extend(both("rated", StepKind::RcdRated, Quantity::RcdTime));
    }
    if rcd.tests.contains(&RcdTest::Five) {
        steps.extend(both("five", StepKind::RcdFive, Quantity::RcdFiveTimes));
    }
    let either = [Statement::Tripped, Statement::NoTrip];
    let button = format!("{before}button");
    steps.push(build.statement(button, StepKind::RcdButton, &either));
    steps
}

fn rcd_answers(step: &Step) -> Answers {
    Answers {
        instead_of_reading: match step.kind {
            StepKind::RcdHalf => &[Statement::NoTrip, Statement::Tripped],
            _ => &[Statement::NoTrip],
        },
        accepts_done: false,
        may_be_left_out: true,
    }
}

fn rcd_column_of(step: &Step) -> Option<&'static Column> {
    match step.kind {
        StepKind::RcdHalf => Some(&RCD_HALF),
        StepKind::RcdRated => Some(&RCD_RATED),
        StepKind::RcdFive => Some(&RCD_FIVE),
        StepKind::RcdButton => Some(&RCD_BUTTON),
        _ => None,
    }
}

/// Phase sequence of a three-phase board. BS 7671 643.9.
pub static PHASE_SEQUENCE: Row = Row {
    name: "phase-sequence",
    stage: Stage::PhaseSequence,
    plan: |build, scope| {
        if scope.board.phases == Phases::Single || scope.board.is_part() {
            return Vec::new();
        }
        let either = [Statement::SequenceCorrect, Statement::SequenceReversed];
        vec![build.statement("board", StepKind::Row("phase-sequence"), &either)]
    },
    ..Row::PLAIN
};

/// Surge protection comes out before the circuits of its board are tested together: at 500 V it would be
/// what is read. BS 7671 643.3.3. For logs of the first three editions.
pub static SURGE_OUT: Row = Row {
    name: "surge-out",
    stage: Stage::Insulation,
    rule: "insulation",
    plan: |build, scope| {
        let board = scope.board;
        let asked = scope.edition < Edition::Fourth && board.insulation_together;
        if board.surge.is_none() || !asked {
            return Vec::new();
        }
        vec![build.event("surge/out", StepKind::SurgeOut)]
    },
    orders: surge_protection,
    is_open: |state, step| {
        // Not once the circuits are tested one by one.
        let together = |other: &Step| {
            other.procedure == Insulation.id()
                && other.measure().is_some()
                && Insulation.is_open(state, other)
        };
        let mut beside = state.plan().beside(step);
        state.waits(step) && beside.any(together) && surge_is_in(state, step)
    },
    ..Row::PLAIN
};

/// Surge protection comes out before the first test of its board: neutral to earth at 500 V goes across it
/// whichever circuit is tested. BS 7671 643.3.3. Not where the board stays live: there a circuit's neutral
/// comes out of its bar instead.
pub static SURGE_OUT_FIRST: Row = Row {
    name: "surge-out-first",
    stage: Stage::Insulation,
    rule: "insulation",
    plan: |build, scope| {
        let board = scope.board;
        let asked = scope.edition >= Edition::Fourth && !board.isolates_circuits();
        if board.surge.is_none() || !asked {
            return Vec::new();
        }
        vec![build.event("surge/out", StepKind::SurgeOut)]
    },
    orders: surge_protection,
    is_open: |state, step| {
        // Once more where it went back before a test that is made again.
        let again = state.asked_again().map(|again| &again.id);
        let asked = |other: &Step| Insulation.is_open(state, other) || Some(&other.id) == again;
        let off = |other: &Step| {
            let circuit = other.circuit;
            circuit.is_some_and(|circuit| state.stays_off(other.board, circuit))
        };
        let full =
            |other: &&Step| other.board == step.board && is_full_insulation(other) && !off(other);
        let mut tests = state.plan().measuring(Quantity::Insulation).filter(full);
        state.waits(step) && surge_is_in(state, step) && tests.any(asked)
    },
    ..Row::PLAIN
};

fn surge_protection(_: &State, _: &Step) -> Vec<Order> {
    vec![Order::out(Part::Accessory, Some(Place::surge_protection()))]
}

/// Whether insulation is tested there at more than 250 V, which surge protection may not bear.
pub(super) fn is_full_insulation(step: &Step) -> bool {
    let measure = step
        .measure()
        .filter(|m| m.quantity == Quantity::Insulation);
    measure.is_some_and(|m| m.at.is_some_and(|at| at > TestVoltage::V250))
}

/// Whether the surge protection that a step takes out is not said to be out.
pub(super) fn surge_is_in(state: &State, step: &Step) -> bool {
    let there = |entry: &OutEntry| entry.board == step.board && is_surge(entry);
    !state.sure_entries().any(there)
}

/// Whether surge protection is what is out.
pub fn is_surge(entry: &OutEntry) -> bool {
    let place = entry.place.as_ref();
    place.is_some_and(Place::is_surge_protection)
}

/// On pages only, and only where there is one: tables of jobs without stay as they are.
static ARC_FAULT: Column = Column {
    key: "arc_fault_button",
    csv: "",
    group: "AFDD",
    head: "button",
    worst: Worst::Highest,
    shown: ShownWhen::Planned,
    beside: Beside::Nothing,
};

/// Functional checks: switchgear, controls, interlocks, arc fault detection where fitted. BS 7671
/// 643.10.
pub static FUNCTIONAL: Row = Row {
    name: "functional",
    stage: Stage::Functional,
    plan: |build, scope| {
        let board = scope.board;
        let either = [Statement::Pass, Statement::Fail];
        let switchgear = build.statement("switchgear", StepKind::Row("functional"), &either);
        let arc_fault = board.circuits.iter().filter(|circuit| circuit.afdd);
        let arc_fault = arc_fault.map(|circuit| {
            build.statement(arc_fault_tail(circuit.number), ARC_FAULT_CHECK, &either)
        });
        let surge = board.surge.as_ref().map(|_| {
            let either = [Statement::IndicatorGreen, Statement::IndicatorRed];
            build.statement("surge", SURGE_INDICATOR, &either)
        });
        // Once for the board, with what of it stays live.
        (!board.is_part())
            .then_some(switchgear)
            .into_iter()
            .chain(arc_fault)
            .chain(surge)
            .collect()
    },
    columns: &[&ARC_FAULT],
    column: |step| (step.kind == ARC_FAULT_CHECK).then_some(&ARC_FAULT),
    label: |step| {
        if step.kind == SURGE_INDICATOR {
            return Some("surge protection, its indicator".to_owned());
        }
        let circuit = step.arc_fault_of()?;
        Some(format!(
            "functional checks, arc fault detection, circuit {circuit}"
        ))
    },
    ..Row::PLAIN
};

/// Handover after the last board: instruments away, results and exceptions explained. BS 7671
/// Part 6, chapter 64: reporting.
pub static HANDOVER: Row = Row {
    name: "handover",
    stage: Stage::Handover,
    rule: "confirm",
    plan: |build, scope| {
        if scope.job.boards.last() != Some(scope.board) {
            return Vec::new();
        }
        vec![build.statement("explained", StepKind::Row("handover"), &[Statement::Done])]
    },
    answers: |_| Answers {
        may_be_left_out: true,
        instead_of_reading: &[],
        accepts_done: true,
    },
    ..Row::PLAIN
};
