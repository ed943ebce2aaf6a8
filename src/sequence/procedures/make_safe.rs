use super::Answers;
use super::fault::is_danger;
use super::table::Row;
use crate::installation::{JobKind, Phases};
use crate::quantity::Conductors;
use crate::sequence::facts::{Edition, Order, Step, StepKind};
use crate::sequence::state::State;
use crate::terms::{Part, Place, Stage, Statement};

/// What must be said itself: nothing stands for it, and it is not left out.
const IN_THESE_WORDS: Answers = Answers {
    instead_of_reading: &[],
    accepts_done: false,
    may_be_left_out: false,
};

/// A circuit that stays off while the rest goes on: locked off and labelled, and, unless its device
/// breaks line and neutral, both out of their terminals, since a single-pole device leaves a fault
/// of the neutral in circuit. Common practice; HSE HSG85 for the lock and the label.
pub(super) static STAYS_OFF: Row = Row {
    name: "stays-off",
    stage: Stage::MakeSafe,
    rule: "off",
    plan: |build, scope| match scope.circuit {
        Some(_) => vec![
            build.statement("off/locked", StepKind::OffLock, &[Statement::LockedOff]),
            build.statement(
                "off/terminals",
                StepKind::OffTerminals,
                &[Statement::Done, Statement::DoublePole],
            ),
        ],
        None => Vec::new(),
    },
    orders: out_of_terminals,
    is_open: stays_off_is_open,
    answers: |_| IN_THESE_WORDS,
    ..Row::PLAIN
};

/// Of a ring, both lines and both neutrals.
fn out_of_terminals(state: &State, step: &Step) -> Vec<Order> {
    if step.kind != StepKind::OffTerminals {
        return Vec::new();
    }
    let ring = state.is_on_a_ring(step);
    [lines_of(state, step), Conductors::N]
        .map(|one| {
            let out = Order::out(Part::Conductors(one), Some(Place::board()));
            if ring { out.both() } else { out }
        })
        .into()
}

/// The lines of the step's circuit: of three phases every one, since the fourth edition.
fn lines_of(state: &State, step: &Step) -> Conductors {
    let circuit = step.circuit.and_then(|no| state.circuit(step.board, no));
    let three = circuit.is_some_and(|circuit| circuit.phases == Phases::Three);
    if three && state.edition() >= Edition::Fourth {
        Conductors::LINES
    } else {
        Conductors::L
    }
}

fn stays_off_is_open(state: &State, step: &Step) -> bool {
    let Some(circuit) = step.circuit else {
        return false;
    };
    // At a visit that isolates nothing no conductor is taken out.
    if step.kind == StepKind::OffTerminals
        && state.edition() >= Edition::Fifth
        && state.job().kind == JobKind::LiveRetest
    {
        return false;
    }
    let ring = state.is_on_a_ring(step);
    // What was out for a test is not made safe by itself yet.
    let since = state.off_since(step.board, circuit);
    let out = |wanted: Conductors| {
        state.sure_on(step.board, circuit).any(|entry| {
            since.is_some_and(|since| entry.no > since)
                && !entry.some_of_it
                && !entry.linked
                && (entry.both || !ring)
                && entry.is_at_board()
                && matches!(entry.part, Part::Conductors(c) if c.contains(wanted))
        })
    };
    // Lines may be told of one by one.
    let lines = lines_of(state, step);
    let each = [
        Conductors::L,
        Conductors::L1,
        Conductors::L2,
        Conductors::L3,
    ];
    let mut wanted = each.into_iter().filter(|one| lines.contains(*one));
    let said_out = step.kind == StepKind::OffTerminals && wanted.all(out) && out(Conductors::N);
    state.waits(step) && state.stays_off(step.board, circuit) && !said_out
}

/// A circuit that a live test shows to be dangerous is isolated at once, or somebody in charge
/// decides that it stays on, and that is kept.
pub(super) static MAKE_SAFE: Row = Row {
    name: "make-safe",
    stage: Stage::MakeSafe,
    rule: "off",
    plan: |build, scope| match scope.circuit {
        Some(_) => {
            let either = [Statement::Isolated, Statement::StaysOn];
            vec![build.statement("make-safe", StepKind::MakeSafe, &either)]
        }
        None => Vec::new(),
    },
    // As long as something dangerous was found after the last answer.
    is_open: |state, step| {
        let answered = state.outcome(step).map(|outcome| outcome.no());
        let since = |other: &Step| {
            let found = state.outcome(other).map(|outcome| outcome.no());
            found.is_some_and(|found| answered.is_none_or(|no| no < found))
        };
        let dangerous = |other: &Step| is_danger(state, other) && since(other);
        // What protects it together with other circuits; one that is off by now is safe.
        let protects = |other: &&Step| {
            let group = state.group_of(other);
            group.is_some_and(|group| step.circuit.is_some_and(|circuit| group.protects(circuit)))
        };
        let is_off = step
            .circuit
            .is_some_and(|circuit| state.stays_off(step.board, circuit));
        let mut groups = state.plan().on(step.board, None).filter(protects);
        state.energised(step.board)
            && (state.plan().beside(step).any(dangerous) || (!is_off && groups.any(dangerous)))
    },
    answers: |_| IN_THESE_WORDS,
    ..Row::PLAIN
};
