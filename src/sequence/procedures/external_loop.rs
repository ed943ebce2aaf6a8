use super::{Assessment, Procedure, StepBuilder, assess};
use crate::installation::{Board, Circuit, Job};
use crate::quantity::{Pair, Reading, Unit};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{
    Edition, Measure, Order, ProcedureId, Quantity, Refusal, Step, StepKind,
};
use crate::sequence::state::{State, StepOutcome};
use crate::terms::{Part, Stage};

/// External earth fault loop impedance at the origin, with the earthing conductor off the means
/// of earthing, and put back at once. BS 7671 643.7.2, IET Guidance Note 3. On TT it is the
/// resistance of the earth electrode.
#[derive(Debug)]
pub(super) struct ExternalLoop;

impl Procedure for ExternalLoop {
    fn id(&self) -> ProcedureId {
        ProcedureId("external-loop")
    }

    fn stage(&self) -> Stage {
        Stage::ExternalLoop
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        _circuit: Option<&Circuit>,
        edition: Edition,
    ) -> Vec<Step> {
        if board.fed_from.is_some() || board.isolates_circuits() {
            return Vec::new();
        }
        let build = StepBuilder::new(self, board, None, "loop");
        let steps = [
            build.event("earthing-off", StepKind::EarthingOff),
            build.reading(
                "value",
                StepKind::ExternalLoop,
                Measure::of(Quantity::ExternalLoop, Unit::Ohm).between(Pair::LE),
            ),
            build.event("earthing-back", StepKind::EarthingBack),
        ];
        let incoming = edition > Edition::First;
        steps.map(|step| Step { incoming, ..step }).into()
    }

    fn orders(&self, _state: &State, step: &Step) -> Vec<Order> {
        match step.kind {
            StepKind::EarthingOff => vec![Order::out(Part::EarthingConductor, None)],
            _ => Vec::new(),
        }
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let off = state
            .sure_entries()
            .find(|entry| entry.part == Part::EarthingConductor)
            .map(|entry| entry.no);
        let on_board = |kind: StepKind| {
            let mut steps = state.plan().on(step.board, None);
            steps.find(move |other| other.kind == kind)
        };
        let value = on_board(StepKind::ExternalLoop);
        let given_up = on_board(StepKind::EarthingOff)
            .is_some_and(|off| matches!(state.outcome(off), Some(StepOutcome::NotTested(..))));
        let wanted = value.is_some_and(|value| state.waits(value)) && !given_up;
        match step.kind {
            StepKind::EarthingOff => off.is_none() && (wanted || again(state, step)),
            // Once it was read, or left, with the conductor off.
            StepKind::EarthingBack => off.is_some_and(|off| {
                value
                    .and_then(|value| state.outcome(value))
                    .is_some_and(|outcome| outcome.no() > off)
            }),
            _ => state.waits(step) && !given_up,
        }
    }

    /// It is read with the earthing conductor off, and that said: so that it is not forgotten.
    fn guard(&self, state: &State, step: &Step) -> Result<(), Refusal> {
        if step.kind != StepKind::ExternalLoop || state.earthing_off(step.board) {
            return Ok(());
        }
        let mut off = state.plan().beside(step);
        match off.find(|other| other.kind == StepKind::EarthingOff) {
            Some(off) if !breakage::is(Break::EarthingLeftOn) => Err(Refusal::first_comes(&off.id)),
            _ => Ok(()),
        }
    }

    fn assess(&self, state: &State, step: &Step, reading: &Reading) -> Assessment {
        assess::external_loop(state, step, reading)
    }
}

/// Whether the loop is to be read again, with the earthing conductor back by now.
fn again(state: &State, step: &Step) -> bool {
    state
        .asked_again()
        .is_some_and(|again| again.board == step.board && again.kind == StepKind::ExternalLoop)
}
