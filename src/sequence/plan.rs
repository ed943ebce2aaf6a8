use super::procedures::{self, Procedure};
use crate::installation::Job;
use crate::quantity::{Pair, TestVoltage, Unit};
use crate::terms::{HalfCycle, Place, Stage, Statement};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::fmt;
use std::ops::Range;

/// The lasting name of a step, made from what it is: `b1/c3/insulation/500/L-N`. The same job
/// file always gives the same names, so that a log can be replayed.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct StepId(pub String);

impl fmt::Display for StepId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// One thing to be done or measured.
#[derive(Debug, Clone)]
pub struct Step {
    pub id: StepId,
    /// Where it stands in the plan, from 0.
    pub order: usize,
    /// The procedure it belongs to, which knows its guards and judges its readings.
    pub procedure: &'static dyn Procedure,
    pub stage: Stage,
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    pub place: Option<Place>,
    /// The conductors it is between, whether it is measured or stated.
    pub pair: Option<Pair>,
    pub ask: Ask,
    /// The grammar rule that its answers are heard with.
    pub rule: &'static str,
    /// The prompt the first time.
    pub full: String,
    /// The prompt when steps like it have been done before.
    pub brief: String,
    /// Steps with the same word are alike: the full prompt is given for the first only.
    pub like: &'static str,
}

/// What answers a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ask {
    /// One of these statements; [`Statement::Done`] always stands for the first.
    Statement(Vec<Statement>),
    /// A value.
    Reading(Measure),
    /// Nothing is said to the step itself: it is closed by what happens elsewhere, such as the
    /// out-list becoming empty.
    Event,
}

/// What a reading must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measure {
    pub quantity: Quantity,
    pub pair: Option<Pair>,
    pub at: Option<TestVoltage>,
    pub half: Option<HalfCycle>,
    /// The unit when none is said.
    pub unit: Unit,
}

/// The quantities of a schedule of test results.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    LeadsOpen,
    LeadsShorted,
    Bond,
    R1R2,
    R2,
    RingEndToEnd,
    RingLineNeutral,
    RingLineEarth,
    Insulation,
    ExternalLoop,
    FaultCurrent,
    LoopImpedance,
    RcdHalf,
    RcdTime,
    RcdFiveTimes,
}

impl Step {
    /// The place where the reading is taken, or the pair, in words; for prompts and reports.
    pub fn subject(&self) -> String {
        let mut parts = Vec::new();
        if let Some(circuit) = self.circuit {
            parts.push(format!("circuit {circuit}"));
        }
        if let Some(place) = &self.place {
            parts.push(place.to_string());
        }
        if let Some(pair) = self.pair {
            parts.push(pair.spoken());
        }
        match self.measure().and_then(|measure| measure.half) {
            Some(HalfCycle::Positive) => parts.push("positive half-cycle".to_owned()),
            Some(HalfCycle::Negative) => parts.push("negative half-cycle".to_owned()),
            None => {}
        }
        parts.join(", ")
    }

    /// The measure, when the step asks for a reading.
    pub fn measure(&self) -> Option<Measure> {
        match self.ask {
            Ask::Reading(measure) => Some(measure),
            _ => None,
        }
    }

    /// Whether it is done on a dead installation, after isolation.
    pub fn is_dead_test(&self) -> bool {
        matches!(
            self.stage,
            Stage::Continuity | Stage::Ring | Stage::Insulation | Stage::Polarity
        )
    }

    /// Whether it is done with the supply on.
    pub fn is_live_test(&self) -> bool {
        matches!(
            self.stage,
            Stage::SupplyPolarity
                | Stage::ExternalLoop
                | Stage::FaultCurrent
                | Stage::LoopImpedance
                | Stage::Rcd
                | Stage::PhaseSequence
                | Stage::Functional
        )
    }
}

/// The ordered steps of a job.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    pub steps: Vec<Step>,
    by_id: HashMap<StepId, usize>,
    by_circuit: HashMap<(u16, Option<u16>), Vec<usize>>,
    isolation: HashMap<u16, Vec<usize>>,
    energise: HashMap<u16, Vec<usize>>,
    by_quantity: HashMap<Quantity, Vec<usize>>,
    stretches: Vec<Stretch>,
}

/// Steps that follow each other and belong to the same circuit, or to the same whole board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    pub board: u16,
    pub circuit: Option<u16>,
    /// Orders of its steps.
    pub steps: Range<usize>,
}

impl Plan {
    /// Plans a job: board by board, isolation to energising; within a board the circuits one by
    /// one through the dead tests in the order of BS 7671 643.2 to 643.6; then the live tests.
    pub fn of(job: &Job) -> Self {
        let mut steps = Vec::new();
        for board in &job.boards {
            let before = steps.len();
            for procedure in procedures::BEFORE_CIRCUITS {
                steps.extend(procedure.board_steps(job, board));
            }
            for circuit in &board.circuits {
                for procedure in procedures::DEAD_ON_CIRCUIT {
                    steps.extend(procedure.circuit_steps(job, board, circuit));
                }
            }
            for procedure in procedures::DEAD_ON_BOARD {
                steps.extend(procedure.board_steps(job, board));
            }
            for procedure in procedures::BETWEEN {
                steps.extend(procedure.board_steps(job, board));
            }
            for circuit in &board.circuits {
                for procedure in procedures::LIVE_ON_CIRCUIT {
                    steps.extend(procedure.circuit_steps(job, board, circuit));
                }
            }
            for procedure in procedures::AFTER_CIRCUITS {
                steps.extend(procedure.board_steps(job, board));
            }
            if let Some(wanted) = &job.tests {
                let kept = steps.split_off(before);
                steps.extend(kept.into_iter().filter(|step| {
                    wanted.contains(&step.stage) || !(step.is_dead_test() || step.is_live_test())
                }));
            }
        }
        Self::indexed(steps)
    }

    fn indexed(mut steps: Vec<Step>) -> Self {
        let mut plan = Self::default();
        for (order, step) in steps.iter_mut().enumerate() {
            step.order = order;
            plan.by_id.insert(step.id.clone(), order);
            let place = (step.board, step.circuit);
            plan.by_circuit.entry(place).or_default().push(order);
            match plan.stretches.last_mut() {
                Some(last) if (last.board, last.circuit) == place => last.steps.end = order + 1,
                _ => plan.stretches.push(Stretch {
                    board: step.board,
                    circuit: step.circuit,
                    steps: order..order + 1,
                }),
            }
            if let Some(measure) = step.measure() {
                let of = plan.by_quantity.entry(measure.quantity).or_default();
                of.push(order);
            }
            match step.stage {
                Stage::Isolation => plan.isolation.entry(step.board).or_default().push(order),
                Stage::Energise => plan.energise.entry(step.board).or_default().push(order),
                _ => {}
            }
        }
        Self { steps, ..plan }
    }

    /// The step with this name.
    pub fn step(&self, id: &StepId) -> Option<&Step> {
        self.steps.get(self.position(id)?)
    }

    /// Where the step stands in the order.
    pub fn position(&self, id: &StepId) -> Option<usize> {
        self.by_id.get(id).copied()
    }

    /// The steps of one circuit, or those of the whole board when none is given.
    pub fn on(&self, board: u16, circuit: Option<u16>) -> impl Iterator<Item = &Step> {
        self.listed(self.by_circuit.get(&(board, circuit)))
    }

    /// The steps that ask for one quantity.
    pub fn measuring(&self, quantity: Quantity) -> impl Iterator<Item = &Step> {
        self.listed(self.by_quantity.get(&quantity))
    }

    /// The steps that isolate a board and prove it dead.
    pub fn isolation(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.listed(self.isolation.get(&board))
    }

    /// The steps that energise a board.
    pub fn energising(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.listed(self.energise.get(&board))
    }

    /// The whole plan in stretches of one circuit or board each.
    pub fn stretches(&self) -> &[Stretch] {
        &self.stretches
    }

    fn listed<'a>(&'a self, orders: Option<&'a Vec<usize>>) -> impl Iterator<Item = &'a Step> {
        orders
            .into_iter()
            .flatten()
            .filter_map(|order| self.steps.get(*order))
    }
}
