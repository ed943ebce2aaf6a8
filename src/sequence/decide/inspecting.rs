//! Items of the inspection, said of the one that is asked for or of any by its number; whole sections
//! that are not there; observations with their code.

use super::events::{not_asked, refused};
use super::moving::board_with;
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Destination, Event, Refusal, Step, StepId, Withdrawal};
use crate::sequence::state::{Question, StepOutcome};
use crate::terms::{ItemNumber, Place, Statement};

/// "Item four point three, satisfactory".
pub(super) fn item(
    agenda: &Agenda,
    said: &Intent,
    number: &ItemNumber,
    statement: Statement,
) -> Vec<Event> {
    match agenda.plan().item(*number) {
        Some(step) => of_step(agenda, said, step, number, statement),
        None => refused(
            said,
            Refusal::NoSuchPlace {
                to: Some(Destination::Item(*number)),
                what: None,
            },
        ),
    }
}

/// The same of the step that is asked for; nothing where it is no item.
pub(super) fn asked_for(
    agenda: &Agenda,
    said: &Intent,
    statement: Statement,
) -> Option<Vec<Event>> {
    let step = agenda.current()?;
    let number = step.item()?;
    let taken =
        Statement::OF_AN_ITEM.contains(&statement) || statement == Statement::Unsatisfactory;
    taken.then(|| of_step(agenda, said, step, &number, statement))
}

/// A code is told with what was seen. What was observed of the item before does not stand beside
/// another answer.
fn of_step(
    agenda: &Agenda,
    said: &Intent,
    step: &Step,
    number: &ItemNumber,
    statement: Statement,
) -> Vec<Event> {
    if !Statement::OF_AN_ITEM.contains(&statement) {
        return refused(said, Refusal::CodeNeeded);
    }
    // Nothing else is done with the earthing conductor or a bond off.
    if let Err(refusal @ Refusal::MustGoBack { .. }) = agenda.guard(step) {
        return refused(said, refusal);
    }
    let inspection = agenda.job().inspection.as_ref();
    let inside = inspection.and_then(|inspection| inspection.item(number));
    let looked_into = statement == Statement::Satisfactory || statement.code_means().is_some();
    let proved = agenda.proved_dead(step.board) || breakage::is(Break::CoversOffUnproved);
    if inside.is_some_and(|item| item.dead) && looked_into && !proved {
        return refused(said, Refusal::NotProvedDead { board: step.board });
    }
    // What was seen is not erased by a slip of the number.
    let coded = agenda.outcome(step).and_then(|outcome| match outcome {
        StepOutcome::Stated(_, was) => was.code_means(),
        _ => None,
    });
    let asked = |question: &Question| {
        matches!(question, Question::Statement(_, about, now, _)
            if *about == step.id && *now == statement)
    };
    let another = coded.is_some_and(|was| statement.code_means() != Some(was));
    if another && !agenda.question().is_some_and(asked) {
        return vec![Event::ProposedStatement {
            step: step.id.clone(),
            statement,
            place: None,
        }];
    }
    let before = agenda
        .observations()
        .filter(|seen| seen.item.as_ref() == Some(number));
    let before = before.map(|seen| Event::Withdrawn {
        of: seen.no,
        why: Withdrawal::Replaced,
    });
    let stated = Event::Stated {
        step: step.id.clone(),
        statement,
        place: None,
    };
    let observed = statement.code_means().map(|_| Event::Observed {
        board: step.board,
        circuit: None,
        item: Some(*number),
        code: statement,
        place: None,
    });
    before.chain([stated]).chain(observed).collect()
}

/// "Section six, not applicable": every item of it that is open. That all is as it should be is said
/// item by item.
pub(super) fn section(
    agenda: &Agenda,
    said: &Intent,
    section: u16,
    statement: Statement,
) -> Vec<Event> {
    if !matches!(
        statement,
        Statement::NotApplicable | Statement::Limitation | Statement::NotVerified
    ) {
        return refused(said, Refusal::ItemByItem);
    }
    let of_section = |step: &&Step| {
        step.item()
            .is_some_and(|number| number.parts().first() == Some(&section))
    };
    let steps = agenda.plan().steps.iter().filter(of_section);
    let open: Vec<StepId> = steps
        .filter(|step| agenda.is_open(step))
        .map(|step| step.id.clone())
        .collect();
    if open.is_empty() {
        let to = Some(Destination::Section(section));
        return refused(said, Refusal::NoSuchPlace { to, what: None });
    }
    vec![Event::SectionStated {
        section,
        steps: open,
        statement,
    }]
}

/// "Observation, code two, circuit three": what is said next is its words.
pub(super) fn observed(
    agenda: &Agenda,
    said: &Intent,
    code: Statement,
    circuit: Option<u16>,
    place: Option<&Place>,
) -> Vec<Event> {
    let here = agenda.current().map(|step| step.board);
    let boards = || agenda.job().boards.iter().map(|board| board.number);
    let has = |board: &u16| circuit.is_none_or(|c| agenda.circuit(*board, c).is_some());
    let of_here = here.and_then(|board| match circuit {
        Some(circuit) => board_with(agenda, board, circuit),
        None => Some(board),
    });
    let known = of_here.or_else(|| boards().find(has));
    // What is dangerous is kept, wherever it is.
    let Some(board) = known.or(here).or_else(|| boards().next()) else {
        return not_asked(said);
    };
    let to = circuit.map(Destination::Circuit);
    let unknown = known
        .is_none()
        .then(|| refused(said, Refusal::NoSuchPlace { to, what: None }));
    let observed = Event::Observed {
        board,
        circuit: circuit.filter(|_| known.is_some()),
        item: None,
        code,
        place: place.cloned(),
    };
    unknown.into_iter().flatten().chain([observed]).collect()
}
