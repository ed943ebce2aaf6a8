use super::fault::is_danger;
use super::{Answers, Procedure, StepBuilder};
use crate::installation::{Board, Circuit, CircuitKind, Job};
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

    /// Of a ring, both lines and both neutrals.
    fn orders(&self, state: &State, step: &Step) -> Vec<Order> {
        let ring = is_ring(state, step);
        match step.kind {
            StepKind::OffTerminals => [Conductors::L, Conductors::N]
                .map(|one| {
                    let out = Order::out(Part::Conductors(one), Some(Place::board()));
                    if ring { out.both() } else { out }
                })
                .into(),
            _ => Vec::new(),
        }
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let Some(circuit) = step.circuit else {
            return false;
        };
        let out = |wanted: Conductors| {
            state.sure_on(step.board, circuit).any(|entry| {
                !entry.linked
                    && (entry.both || !is_ring(state, step))
                    && entry.place.as_ref() == Some(&Place::board())
                    && matches!(entry.part, Part::Conductors(c) if c.contains(wanted))
            })
        };
        let said_out =
            step.kind == StepKind::OffTerminals && out(Conductors::L) && out(Conductors::N);
        state.waits(step) && state.stays_off(step.board, circuit) && !said_out
    }

    fn answers(&self, _step: &Step) -> Answers {
        Answers {
            accepts_done: false,
            ..Answers::default()
        }
    }
}

fn is_ring(state: &State, step: &Step) -> bool {
    state
        .circuit_of(step)
        .is_some_and(|circuit| circuit.kind == CircuitKind::Ring)
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
