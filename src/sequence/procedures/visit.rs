//! What only some kinds of visit ask: a board that is found live and stays so; circuits that are
//! isolated while the rest of their board stays live; the adequacy checks of minor works.

use super::insulation::Insulation;
use super::table::Row;
use super::{Answers, Procedure, StepBuilder};
use crate::installation::{Job, JobKind};
use crate::quantity::Conductors;
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Order, Step, StepKind};
use crate::sequence::state::{OutEntry, State, StepOutcome};
use crate::terms::{Part, Place, Stage, Statement};

/// Whether a step belongs to a visit, or a board, at which nothing dead is done: no isolation is asked for
/// then, and nothing that needs the main switch off. Electricity at Work Regulations 1989, regulation 14, for what
/// is left: each is live work.
pub(super) fn belongs_to(job: &Job, step: &Step) -> bool {
    let needs_it_dead = matches!(
        step.stage,
        Stage::Isolation | Stage::SupplyPolarity | Stage::ExternalLoop | Stage::Energise
    ) || step.is_dead_test()
        || step.incoming
        || matches!(step.kind, StepKind::LeadsOpen | StepKind::LeadsJoined);
    let mut boards = job.boards.iter();
    let board = boards.find(|board| board.number == step.board);
    !board.is_some_and(|board| job.tests_live(board)) || !needs_it_dead
}

/// The board stays live: whoever goes on knows it.
pub(super) static FOUND_LIVE: Row = Row {
    name: "found-live",
    stage: Stage::Instruments,
    rule: "confirm",
    plan: |build, scope| {
        let live = scope.job.tests_live(scope.board);
        live.then(|| build.statement("live", StepKind::Row("found-live"), &[Statement::Done]))
            .into_iter()
            .collect()
    },
    answers: |_| Answers {
        instead_of_reading: &[],
        accepts_done: true,
        may_be_left_out: false,
    },
    label: |_| Some("the board was live and stayed so".to_owned()),
    ..Row::PLAIN
};

/// The neutral of a circuit that is isolated by its own device comes out of its terminal before its
/// insulation is tested, unless the device breaks it too: at the board it is one with the neutral of
/// what is live, and with earth. Common practice.
pub(super) static NEUTRAL_OUT: Row = Row {
    name: "neutral-out",
    stage: Stage::Insulation,
    rule: "off",
    plan: |build, scope| match scope.circuit.filter(|_| scope.board.isolates_circuits()) {
        Some(_) => vec![build.statement(
            "neutral-out",
            StepKind::NeutralOut,
            &[Statement::Done, Statement::DoublePole],
        )],
        None => Vec::new(),
    },
    orders: |state, step| {
        let out = Order::out(Part::Conductors(Conductors::N), Some(Place::board()));
        vec![if state.is_on_a_ring(step) {
            out.both()
        } else {
            out
        }]
    },
    // Once more where it went back before the insulation was tested, or is tested again.
    is_open: |state, step| {
        let tested = Insulation.id();
        let again = state.asked_again().map(|again| &again.id);
        let waits = |other: &Step| {
            let open = Insulation.is_open(state, other) || Some(&other.id) == again;
            other.procedure == tested && open
        };
        state.plan().beside(step).any(waits) && neutral_is_in(state, step)
    },
    ..Row::PLAIN
};

/// Whether the neutral that a step takes out is not said to be out, where the device does not break it.
pub(super) fn neutral_is_in(state: &State, step: &Step) -> bool {
    let answered = match state.outcome(step) {
        Some(StepOutcome::Stated(_, Statement::Done))
            if !breakage::is(Break::NeutralBackUnseen) =>
        {
            neutral_at_board_is_out(state, step)
        }
        // Whoever leaves it out leaves out its tests: one that is made after all needs it.
        Some(StepOutcome::Stated(..)) => true,
        _ => false,
    };
    !answered
}

/// Whether the neutral of the step's circuit, of a ring both, is out of its terminal at the board.
pub(super) fn neutral_at_board_is_out(state: &State, step: &Step) -> bool {
    let ring = state.is_on_a_ring(step);
    let neutral_out = |entry: &OutEntry| {
        matches!(entry.part, Part::Conductors(c) if c.contains(Conductors::N))
            && !entry.linked
            && !entry.some_of_it
            && (entry.both || !ring)
            && entry.is_at_board()
    };
    step.circuit
        .is_some_and(|circuit| state.sure_on(step.board, circuit).any(neutral_out))
}

const EITHER: [Statement; 2] = [Statement::Pass, Statement::Fail];

/// What minor works rest on: BS 7671 132.16, earthing, bonding and what protects the circuit must be
/// adequate for what is added.
pub(super) static ADEQUACY: Row = Row {
    name: "adequacy",
    stage: Stage::Inspection,
    rule: "functional",
    plan: |build, scope| {
        let first = scope.job.boards.first() == Some(scope.board);
        if !first || scope.job.kind != JobKind::MinorWorks {
            return Vec::new();
        }
        [
            ("earthing", "adequacy-earthing"),
            ("bonding", "adequacy-bonding"),
            ("protection", "adequacy-protection"),
        ]
        .map(|(tail, kind)| adequacy(build, tail, kind))
        .into()
    },
    answers: |_| Answers {
        instead_of_reading: &[],
        accepts_done: false,
        may_be_left_out: true,
    },
    label: |step| Some(format!("adequacy of {}", step.id.tail)),
    ..Row::PLAIN
};

fn adequacy(build: &StepBuilder<'_>, tail: &str, kind: &'static str) -> Step {
    build.statement(tail, StepKind::Row(kind), &EITHER)
}
