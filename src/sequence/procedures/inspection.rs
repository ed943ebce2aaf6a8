//! The inspection that comes before the tests, BS 7671 642 and 651 to 653: an item a step, and the
//! outcome of the whole, which the person says. What is seen there stands as an observation with its
//! code ([`crate::sequence::state::Observation`]).

use super::table::{Row, Scope};
use super::{Answers, StepBuilder};
use crate::sequence::facts::{BEHIND_COVERS, Step, StepKind};
use crate::sequence::state::StepOutcome;
use crate::terms::{Stage, Statement};

/// The kind of a step that is one item.
const ITEM: StepKind = StepKind::Row("inspection-item");
/// The kind of the step that asks for the outcome of the whole.
pub const OUTCOME: StepKind = StepKind::Row("inspection-outcome");

/// The items of the first board's plan that need covers off, or those that do not.
fn items(build: &StepBuilder<'_>, scope: &Scope<'_>, dead: bool) -> Vec<Step> {
    let first = scope.job.boards.first() == Some(scope.board);
    // A board that stays live is not looked into.
    let closed = dead && scope.job.keeps_live(scope.board);
    let inspection = scope.job.inspection.as_ref().filter(|_| first && !closed);
    let items = inspection
        .into_iter()
        .flat_map(|inspection| inspection.all());
    items
        .filter(|item| item.dead == dead)
        .map(|item| build.statement(item.number.to_string(), ITEM, &Statement::OF_AN_ITEM))
        .collect()
}

const ANSWERS: fn(&Step) -> Answers = |_| Answers {
    instead_of_reading: &[],
    accepts_done: false,
    may_be_left_out: true,
};

/// What is looked at with the installation as it is found.
pub static INSPECTION: Row = Row {
    name: "inspection",
    stage: Stage::Inspection,
    rule: "inspection",
    plan: |build, scope| items(build, scope, false),
    answers: ANSWERS,
    label,
    ..Row::PLAIN
};

/// What needs covers off: after isolation.
pub static INSPECTION_INSIDE: Row = Row {
    name: BEHIND_COVERS.0,
    plan: |build, scope| items(build, scope, true),
    ..INSPECTION
};

/// The outcome of the whole, before handing over.
pub static INSPECTION_OUTCOME: Row = Row {
    name: "inspection-outcome",
    plan: |build, scope| {
        let last = scope.job.boards.last() == Some(scope.board);
        let wanted = [Statement::Satisfactory, Statement::Unsatisfactory];
        let asked = last && scope.job.inspection.is_some();
        asked
            .then(|| build.statement("outcome", OUTCOME, &wanted))
            .into_iter()
            .collect()
    },
    // Once more after a code that stands against it.
    is_open: |state, step| match state.outcome(step) {
        Some(StepOutcome::Stated(no, Statement::Satisfactory)) => state
            .observations()
            .any(|seen| seen.no > *no && seen.code.is_against_satisfactory()),
        _ => state.waits(step),
    },
    ..INSPECTION
};

fn label(step: &Step) -> Option<String> {
    Some(match step.item() {
        Some(number) => format!("inspection, item {number}"),
        None => "inspection, outcome of the whole".to_owned(),
    })
}
