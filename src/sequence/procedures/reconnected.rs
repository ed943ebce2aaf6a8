use super::insulation::{
    insulation, joined_to_earth, lives_linked, settled_by, waits_for_all_together,
};
use super::table::{Row, is_full_insulation};
use super::{Answers, assess};
use crate::installation::{Board, SystemVoltage};
use crate::quantity::TestVoltage;
use crate::sequence::facts::{Order, Quantity, Step, StepKind};
use crate::sequence::state::{OutEntry, ReadingRecord, State};
use crate::terms::Stage;

/// After equipment was put back: 250 V d.c. between the live conductors joined and earth, at least
/// 1 MΩ. BS 7671:2018+A2:2022 643.3.3 (from memory, as a test that shall be made); where the maker
/// forbids it, a limitation with its reason.
pub(super) static RECONNECTED: Row = Row {
    name: "reconnected",
    stage: Stage::Insulation,
    rule: "insulation",
    plan: |build, scope| {
        let low = |system| matches!(system, SystemVoltage::Low | SystemVoltage::Felv);
        // At a live board the neutral is back in its terminal by then, and one with earth.
        let live = scope.board.isolates_circuits();
        let Some(circuit) = scope.circuit.filter(|circuit| low(circuit.system) && !live) else {
            return Vec::new();
        };
        let measure = insulation(joined_to_earth(circuit.phases), TestVoltage::V250);
        vec![
            build.reading("reconnected", StepKind::InsulationReconnected, measure),
            build.event("reconnected-unlink", StepKind::InsulationReconnectedUnlink),
        ]
    },
    // The live conductors are joined for it.
    orders: |state, step| match (step.kind, state.circuit_of(step)) {
        (StepKind::InsulationReconnected, Some(circuit)) => {
            vec![Order::linked(joined_to_earth(circuit.phases).from())]
        }
        _ => Vec::new(),
    },
    is_open: reconnected_is_open,
    answers: |_| Answers {
        may_be_left_out: true,
        ..Answers::default()
    },
    assess: assess::insulation,
    settled_by,
    ..Row::PLAIN
};

fn reconnected_is_open(state: &State, step: &Step) -> bool {
    let Some(circuit) = step.circuit else {
        return false;
    };
    match step.kind {
        StepKind::InsulationReconnectedUnlink => {
            let mut beside = state.plan().beside(step);
            lives_linked(state, step.board, circuit)
                && beside.any(|other| {
                    other.kind == StepKind::InsulationReconnected && state.result(other).is_some()
                })
        }
        _ => {
            state.waits(step)
                && !waits_for_all_together(state, step.board)
                && put_back_since_tested(state, step, circuit)
        }
    }
}

/// Whether equipment went back on a circuit of a live board after its insulation was tested, which this test can't
/// follow there.
pub fn not_tested_since_back(state: &State, step: &Step) -> bool {
    let live = state
        .board(step.board)
        .is_some_and(Board::isolates_circuits);
    let full = is_full_insulation(step);
    live && full
        && step
            .circuit
            .is_some_and(|circuit| put_back_since_tested(state, step, circuit))
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
    let still_out = state
        .sure_on(step.board, circuit)
        .any(OutEntry::is_equipment);
    !still_out
        && state.out_list().iter().any(|entry| {
            (entry.board, entry.circuit) == (step.board, Some(circuit))
                && entry.is_equipment()
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
