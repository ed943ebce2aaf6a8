use super::insulation::{insulation, joined_to_earth, lives_linked, waits_for_all_together};
use super::{Answers, Assessment, Procedure, StepBuilder, assess};
use crate::installation::{Board, Circuit, Job, SystemVoltage};
use crate::quantity::{Reading, TestVoltage};
use crate::sequence::facts::{Edition, Order, ProcedureId, Quantity, Step, StepKind};
use crate::sequence::state::{OutEntry, ReadingRecord, State};
use crate::terms::{Part, Place, Stage};

/// After equipment was put back: 250 V d.c. between the live conductors joined and earth, at least
/// 1 MΩ. BS 7671:2018+A2:2022 643.3.3 (from memory, as a test that shall be made); where the maker
/// forbids it, a limitation with its reason.
#[derive(Debug)]
pub(super) struct Reconnected;

impl Procedure for Reconnected {
    fn id(&self) -> ProcedureId {
        ProcedureId("reconnected")
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
        let low = |c: &&Circuit| matches!(c.system, SystemVoltage::Low | SystemVoltage::Felv);
        let Some(circuit) = circuit.filter(|c| edition > Edition::First && low(c)) else {
            return Vec::new();
        };
        let build = StepBuilder::new(self, board, Some(circuit), "insulation");
        let measure = insulation(joined_to_earth(circuit.phases), TestVoltage::V250);
        vec![
            build.reading("reconnected", StepKind::InsulationReconnected, measure),
            build.event("reconnected-unlink", StepKind::InsulationReconnectedUnlink),
        ]
    }

    /// The live conductors are joined for it.
    fn orders(&self, state: &State, step: &Step) -> Vec<Order> {
        let phases = state.circuit_of(step).map(|circuit| circuit.phases);
        match (step.kind, phases) {
            (StepKind::InsulationReconnected, Some(phases)) => {
                vec![Order::linked(joined_to_earth(phases).from())]
            }
            _ => Vec::new(),
        }
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let Some(circuit) = step.circuit else {
            return false;
        };
        let all_linked = lives_linked(state, step.board, circuit);
        match step.kind {
            StepKind::InsulationReconnectedUnlink => {
                let mut beside = state.plan().beside(step);
                let read = beside.any(|other| {
                    other.kind == StepKind::InsulationReconnected && state.result(other).is_some()
                });
                all_linked && read
            }
            _ => {
                state.waits(step)
                    && !waits_for_all_together(state, step.board)
                    && put_back_since_tested(state, step, circuit)
            }
        }
    }

    fn assess(&self, state: &State, step: &Step, reading: &Reading) -> Assessment {
        assess::insulation(state, step, reading)
    }

    fn answers(&self, _step: &Step) -> Answers {
        Answers {
            may_be_left_out: true,
            ..Answers::default()
        }
    }
}

/// Whether equipment, or a conductor at an accessory, was put back after the last insulation test.
fn put_back_since_tested(state: &State, step: &Step, circuit: u16) -> bool {
    let tested = state
        .counting_on(step.board, circuit, Quantity::Insulation)
        .chain(of_the_board(state, step.board))
        .map(|record| record.no)
        .max();
    let Some(tested) = tested else {
        return false;
    };
    let still_out = state.sure_on(step.board, circuit).any(is_equipment);
    !still_out
        && state.out_list().iter().any(|entry| {
            (entry.board, entry.circuit) == (step.board, Some(circuit))
                && is_equipment(entry)
                && entry.back.is_some_and(|(by, _)| by > tested)
        })
}

/// Insulation readings of all circuits of the board together.
fn of_the_board(state: &State, board: u16) -> impl Iterator<Item = &ReadingRecord> {
    let together = state.plan().on(board, None);
    together
        .filter(|step| step.measures(Quantity::Insulation))
        .filter_map(|step| state.result(step))
}

/// Equipment, or what feeds it; not what was out at the board, nor lamps and switches.
fn is_equipment(entry: &OutEntry) -> bool {
    let at_board = entry.place.as_ref() == Some(&Place::board());
    let part = matches!(
        entry.part,
        Part::Accessory | Part::Conductors(_) | Part::Load | Part::FunctionalEarth
    );
    part && !entry.linked && !at_board && !entry.withdrawn
}
