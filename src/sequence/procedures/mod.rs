//! The procedures of the job, one file each: which steps they plan, what bars them, how their
//! readings are judged. A new kind of test is one file here and its name in one of the lists
//! below.

mod bonding;
mod continuity;
mod energise;
mod external_loop;
mod fault_current;
mod functional;
mod handover;
mod instruments;
mod insulation;
mod isolation;
mod loop_impedance;
mod phase_sequence;
mod polarity;
mod put_back;
mod rcd;
mod ring;
mod supply_polarity;

use super::decide::Reply;
use super::event::Bar;
use super::plan::{Ask, Measure, Quantity, Step, StepId};
use super::readings::Judged;
use super::speak::{self, Line};
use super::state::State;
use crate::installation::{Board, Circuit, Job};
use crate::quantity::{Pair, Reading, Unit};
use crate::terms::{Place, Stage, Statement};
use std::fmt;

/// Before the circuits of a board are tested.
pub const BEFORE_CIRCUITS: &[&dyn Procedure] = &[
    &isolation::Isolation,
    &instruments::Instruments,
    &bonding::Bonding,
];
/// On each circuit, dead, in the order of BS 7671 643.2 to 643.6, and put back before the next.
pub const DEAD_ON_CIRCUIT: &[&dyn Procedure] = &[
    &continuity::Continuity,
    &ring::Ring,
    &insulation::Insulation,
    &polarity::Polarity,
    &put_back::PutBack,
];
/// On all circuits of a board together, dead.
pub const DEAD_ON_BOARD: &[&dyn Procedure] = &[&insulation::Insulation];
/// From the last dead test to the first live test of a circuit.
pub const BETWEEN: &[&dyn Procedure] = &[
    &put_back::PutBack,
    &energise::Energise,
    &supply_polarity::SupplyPolarity,
    &external_loop::ExternalLoop,
    &fault_current::FaultCurrent,
];
/// On each circuit, live.
pub const LIVE_ON_CIRCUIT: &[&dyn Procedure] = &[&loop_impedance::LoopImpedance, &rcd::RcdTimes];
/// After the circuits of a board.
pub const AFTER_CIRCUITS: &[&dyn Procedure] = &[
    &phase_sequence::PhaseSequence,
    &functional::Functional,
    &handover::Handover,
];

/// A procedure of the job. All of it is pure: the state in, steps, bars and verdicts out.
pub trait Procedure: Sync {
    /// The stage its steps belong to.
    fn stage(&self) -> Stage;

    /// Its steps for a whole board.
    fn board_steps(&self, _job: &Job, _board: &Board) -> Vec<Step> {
        Vec::new()
    }

    /// Its steps for one circuit.
    fn circuit_steps(&self, _job: &Job, _board: &Board, _circuit: &Circuit) -> Vec<Step> {
        Vec::new()
    }

    /// Whether the step still waits to be done.
    fn is_open(&self, state: &State, step: &Step) -> bool {
        state.waits(step)
    }

    /// What bars the step, beyond isolation before dead tests and energising before live ones.
    ///
    /// # Errors
    /// The bar.
    fn guard(&self, _state: &State, _step: &Step) -> Result<(), Bar> {
        Ok(())
    }

    /// What is thought of a reading, which has its pair, unit and voltage filled in.
    fn judge(&self, _state: &State, _step: &Step, _reading: &Reading) -> Judged {
        Judged::noted()
    }

    /// A reading heard where it means something else than a result, such as a voltage while
    /// proving dead.
    fn heard_instead(&self, _state: &State, _step: &Step, _reading: &Reading) -> Option<Reply> {
        None
    }

    /// What is said after a statement was taken.
    fn after_statement(&self, _state: &State, _step: &Step, _statement: Statement) -> Vec<Line> {
        Vec::new()
    }

    /// The full and brief prompt, where they depend on what has happened.
    fn prompt(&self, _state: &State, _step: &Step) -> Option<(String, String)> {
        None
    }

    /// Whether "not tested" or "skip" with a reason may close the step.
    fn may_be_left_out(&self, step: &Step) -> bool {
        step.is_dead_test() || step.is_live_test()
    }

    /// Statements that may answer a step which asks for a reading.
    fn instead_of_reading(&self, _step: &Step) -> &'static [Statement] {
        &[]
    }

    /// Whether a result outside its limit stands until it is put right; a trial that leads to
    /// another test does not.
    fn settles(&self, _step: &Step) -> bool {
        true
    }

    /// Whether a plain "done" may stand for the statement asked for.
    fn done_will_do(&self) -> bool {
        true
    }
}

impl fmt::Debug for dyn Procedure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.stage())
    }
}

/// Makes the steps of one procedure on one board or circuit.
struct Maker {
    procedure: &'static dyn Procedure,
    board: u16,
    circuit: Option<u16>,
    rule: &'static str,
}

impl Maker {
    fn board(procedure: &'static dyn Procedure, board: &Board, rule: &'static str) -> Self {
        Self {
            procedure,
            board: board.number,
            circuit: None,
            rule,
        }
    }

    fn circuit(
        procedure: &'static dyn Procedure,
        board: &Board,
        circuit: &Circuit,
        rule: &'static str,
    ) -> Self {
        Self {
            procedure,
            board: board.number,
            circuit: Some(circuit.number),
            rule,
        }
    }

    fn step(&self, name: &str, like: &'static str, ask: Ask, full: String, brief: String) -> Step {
        let stage = self.procedure.stage();
        let circuit = self
            .circuit
            .map(|number| format!("/c{number}"))
            .unwrap_or_default();
        let stage_name = speak::stage(stage).replace(' ', "-");
        Step {
            id: StepId(format!("b{}{circuit}/{stage_name}/{name}", self.board)),
            order: 0,
            procedure: self.procedure,
            stage,
            board: self.board,
            circuit: self.circuit,
            place: None,
            pair: match ask {
                Ask::Reading(measure) => measure.pair,
                _ => None,
            },
            ask,
            rule: self.rule,
            full,
            brief,
            like,
        }
    }

    /// A step answered by one statement.
    fn statement(
        &self,
        name: &str,
        like: &'static str,
        wanted: &[Statement],
        full: impl Into<String>,
        brief: impl Into<String>,
    ) -> Step {
        self.step(
            name,
            like,
            Ask::Statement(wanted.to_vec()),
            full.into(),
            brief.into(),
        )
    }

    /// A step answered by a reading.
    fn reading(
        &self,
        name: &str,
        like: &'static str,
        measure: Measure,
        full: impl Into<String>,
        brief: impl Into<String>,
    ) -> Step {
        self.step(name, like, Ask::Reading(measure), full.into(), brief.into())
    }
}

/// A reading in `unit` between `pair`.
fn measure(quantity: Quantity, pair: Option<Pair>, unit: Unit) -> Measure {
    Measure {
        quantity,
        pair,
        at: None,
        half: None,
        unit,
    }
}

fn at(step: Step, place: Place) -> Step {
    Step {
        place: Some(place),
        ..step
    }
}
