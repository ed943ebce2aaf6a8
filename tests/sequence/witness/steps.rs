//! What the tests know of steps by their names alone, and of a job by what its file says.

use bothhands::installation::{Board, IsolatedBy, Job, JobKind};
use bothhands::sequence::StepId;
use bothhands::terms::{Stage, Statement};
use std::collections::BTreeMap;

/// How something is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Done {
    /// It isolates, or proves dead.
    Isolating,
    /// On what was proved dead.
    Dead,
    /// At the incoming terminals, with everything behind the main switch dead.
    AtTheTerminals,
    /// With the supply on.
    Live,
    /// Where neither matters.
    Anyhow,
}

pub fn done(job: &Job, id: &StepId) -> Done {
    match id.stage {
        Stage::Isolation => Done::Isolating,
        Stage::Continuity | Stage::Ring | Stage::Insulation | Stage::Polarity => Done::Dead,
        Stage::SupplyPolarity | Stage::ExternalLoop => Done::AtTheTerminals,
        Stage::FaultCurrent if is_at_the_origin(job, id.board) => Done::AtTheTerminals,
        Stage::FaultCurrent
        | Stage::LoopImpedance
        | Stage::Rcd
        | Stage::PhaseSequence
        | Stage::Functional => Done::Live,
        _ => Done::Anyhow,
    }
}

pub fn board(job: &Job, number: u16) -> Option<&Board> {
    job.boards.iter().find(|board| board.number == number)
}

/// Whether a board is switched off as a whole, and fed by nothing else of the job: not where its circuits are
/// isolated one after another, and it stays live.
fn is_at_the_origin(job: &Job, number: u16) -> bool {
    board(job, number).is_some_and(|board| {
        job.kind != JobKind::LiveRetest
            && board.fed_from.is_none()
            && board.isolate == IsolatedBy::Board
            && !board.stays_live()
    })
}

/// The board and circuit that feed a board: "board 1, circuit 2".
pub fn feeder(job: &Job, number: u16) -> Option<(u16, Option<u16>)> {
    let text = board(job, number)?.fed_from.as_ref()?;
    let mut numbers = text
        .split(|c: char| !c.is_ascii_digit())
        .filter_map(|digits| digits.parse().ok());
    Some((numbers.next()?, numbers.next()))
}

/// Whether it proves the indicator, or a pair dead.
pub fn proves(id: &StepId) -> bool {
    id.stage == Stage::Isolation && (id.tail.starts_with("prove-") || id.tail.starts_with("dead/"))
}

/// What is looked at only behind covers, by its number.
pub fn is_behind_covers(job: &Job, id: &StepId) -> bool {
    id.stage == Stage::Inspection
        && job.inspection.as_ref().is_some_and(|inspection| {
            let mut items = inspection.all();
            items.any(|item| item.dead && item.number.to_string() == id.tail)
        })
}

/// What is said of an item that somebody has looked at.
pub fn was_looked_at(statement: Statement) -> bool {
    !matches!(
        statement,
        Statement::NotApplicable | Statement::Limitation | Statement::NotVerified
    )
}

/// What nobody may leave out, whatever the reason.
pub fn is_never_left_out(id: &StepId) -> bool {
    match id.stage {
        Stage::Isolation | Stage::Energise | Stage::MakeSafe => true,
        Stage::SupplyPolarity => id.tail == "incoming",
        Stage::Insulation => matches!(id.tail.as_str(), "trial" | "together/trial"),
        _ => false,
    }
}

/// What is ordered by one step is answered by any of these.
pub fn is_of_the_same_kind(one: &StepId, other: &StepId) -> bool {
    let kind = |id: &StepId| {
        let all = id.tail.starts_with("bond/") || id.tail.ends_with("other-position");
        let head = id.tail.split('/').next().unwrap_or_default();
        if all {
            id.tail.clone()
        } else {
            head.to_owned()
        }
    };
    (one.board, one.circuit, one.stage) == (other.board, other.circuit, other.stage)
        && kind(one) == kind(other)
}

/// What was said to each step, the last of it last.
pub type Answers = BTreeMap<String, Vec<(u64, Answer)>>;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    Read,
    /// Over range, and affirmed: where a loop is read, there is no earth.
    NoEarth,
    Said(Statement),
    LeftOut,
    Later,
}
