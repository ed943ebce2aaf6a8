use super::fault::is_danger;
use super::{Answers, Procedure, StepBuilder};
use crate::installation::{Board, Circuit, Job};
use crate::quantity::Conductors;
use crate::sequence::facts::{Edition, Order, ProcedureId, Step, StepKind};
use crate::sequence::state::State;
use crate::terms::{Part, Place, Stage, Statement};

/// A circuit that stays off while the rest goes on: locked off and labelled, and, unless its device
/// breaks line and neutral, both out of their terminals, since a single-pole device leaves a fault
/// of the neutral in circuit. Common practice; HSE HSG85 for the lock and the label.
#[derive(Debug)]
pub(super) struct StaysOff;

impl Procedure for StaysOff {
    fn id(&self) -> ProcedureId {
        ProcedureId("stays-off")
    }

    fn stage(&self) -> Stage {
        Stage::MakeSafe
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        edition: Edition,
    ) -> Vec<Step> {
        let Some(circuit) = circuit.filter(|_| edition > Edition::First) else {
            return Vec::new();
        };
        let build = StepBuilder::new(self, board, Some(circuit), "off");
        vec![
            build.statement("off/locked", StepKind::OffLock, &[Statement::LockedOff]),
            build.statement(
                "off/terminals",
                StepKind::OffTerminals,
                &[Statement::Done, Statement::DoublePole],
            ),
        ]
    }

    fn orders(&self, _state: &State, step: &Step) -> Vec<Order> {
        match step.kind {
            StepKind::OffTerminals => [Conductors::L, Conductors::N]
                .map(|one| Order::out(Part::Conductors(one), Some(Place::board())))
                .into(),
            _ => Vec::new(),
        }
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        state.waits(step)
            && step
                .circuit
                .is_some_and(|circuit| state.stays_off(step.board, circuit))
    }

    fn answers(&self, _step: &Step) -> Answers {
        Answers {
            accepts_done: false,
            ..Answers::default()
        }
    }
}

/// A circuit that a live test shows to be dangerous is isolated at once, or somebody in charge
/// decides that it stays on, and that is kept.
#[derive(Debug)]
pub(super) struct MakeSafe;

impl Procedure for MakeSafe {
    fn id(&self) -> ProcedureId {
        ProcedureId("make-safe")
    }

    fn stage(&self) -> Stage {
        Stage::MakeSafe
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        edition: Edition,
    ) -> Vec<Step> {
        let Some(circuit) = circuit.filter(|_| edition > Edition::First) else {
            return Vec::new();
        };
        let build = StepBuilder::new(self, board, Some(circuit), "off");
        let either = [Statement::Isolated, Statement::StaysOn];
        vec![build.statement("make-safe", StepKind::MakeSafe, &either)]
    }

    /// As long as something dangerous was found after the last answer.
    fn is_open(&self, state: &State, step: &Step) -> bool {
        let answered = state.outcome(step).map(|outcome| outcome.no());
        state.energised(step.board)
            && state.plan().beside(step).any(|other| {
                is_danger(state, other)
                    && state
                        .outcome(other)
                        .is_some_and(|outcome| answered.is_none_or(|no| no < outcome.no()))
            })
    }

    fn answers(&self, _step: &Step) -> Answers {
        Answers {
            accepts_done: false,
            ..Answers::default()
        }
    }
}
