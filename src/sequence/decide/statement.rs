//! Statements: what a step asks for, said of it or of another, and the lock.

use super::events::{Decide, not_asked, refused};
use super::{following, leaving_out};
use crate::grammar::Intent;
use crate::quantity::Pair;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Ask, Edition, Event, SURGE_INDICATOR, Step, StepKind, Withdrawal};
use crate::sequence::procedures::inspection::OUTCOME;
use crate::sequence::state::StepOutcome;
use crate::terms::{Change, Part, Place, Stage, Statement};

/// A statement answers the step asked for, or, when it names another pair or place, the step of
/// the same stage that is about that.
pub(super) fn decide(
    agenda: &Agenda,
    said: &Intent,
    statement: Statement,
    pair: Option<Pair>,
    place: Option<&Place>,
) -> Vec<Event> {
    let Some(current) = agenda.current() else {
        return not_asked(said);
    };
    if pair.is_none()
        && place.is_none()
        && let Some(events) = super::inspecting::asked_for(agenda, said, statement)
    {
        return events;
    }
    match statement {
        Statement::Calculated => return super::reading::calculated(agenda, said),
        Statement::DangerCodeOne => return leaving_out::danger(agenda, said),
        Statement::StaysOn if current.kind != StepKind::MakeSafe => {
            return leaving_out::decided_to_stay_on(agenda, said);
        }
        _ => {}
    }
    if statement == Statement::NotProved && current.stage == Stage::Isolation {
        let mut isolation = agenda.plan().isolation(current.board);
        if let Some(proving) = isolation.find(|step| accepts(agenda, step, statement).is_some()) {
            return vec![taken(proving, statement, None)];
        }
    }
    let is_meant = |step: &Step| is_about(step, pair, place);
    let take = |step: &Step, statement| match agenda.guard(step) {
        Ok(()) => {
            let ordered = if statement == Statement::Done {
                following::ordered(agenda, step)
            } else {
                Vec::new()
            };
            let isolated = step.kind == StepKind::MakeSafe && statement == Statement::Isolated;
            let off = step.circuit.filter(|_| isolated);
            let off = off.map(|circuit| Event::StaysOff {
                board: step.board,
                circuit,
            });
            let counted = match statement {
                Statement::Done => counted_lamps(agenda, step),
                _ => Vec::new(),
            };
            let stated = taken(step, statement, place);
            let stated = if surprises(agenda, step, statement) {
                asked_about(stated)
            } else {
                stated
            };
            counted
                .into_iter()
                .chain(ordered)
                .chain([stated])
                .chain(off)
                .collect()
        }
        Err(refusal) => refused(said, refusal),
    };
    // Reversed polarity shows on the tester of a live test, whatever that asks for.
    if statement == Statement::PolarityReversed
        && current.is_live_test()
        && current.circuit.is_some()
        && current.kind != StepKind::ReopenedPolarity
    {
        return take(current, statement);
    }
    if let Some(meant) = accepts(agenda, current, statement)
        && is_meant(current)
    {
        return take(current, meant);
    }
    let elsewhere = agenda.open_steps().find(|step| {
        step.board == current.board
            && statement != Statement::Done
            && accepts(agenda, step, statement).is_some()
            && is_meant(step)
            && (step.stage == Stage::Energise || step.stage == current.stage)
    });
    let said_where = pair.is_some() || place.is_some();
    match elsewhere {
        Some(step) if agenda.guard(step).is_err() => take(step, statement),
        // Dead between a pair, or polarity at a place, said before it was asked for.
        Some(step) if said_where || step.stage == Stage::Energise => take(step, statement),
        _ if said_where && is_fault_of_the_circuit(current, statement) => take(current, statement),
        _ => not_asked(said),
    }
}

/// A lock that comes off before the board is due to be energised ends its isolation.
pub(super) fn lock(agenda: &Agenda, said: &Intent, change: Change) -> Vec<Event> {
    let Some(step) = agenda.current() else {
        return not_asked(said);
    };
    match (change, step.stage) {
        (Change::Out, Stage::Energise)
            if step.kind == StepKind::Energise && agenda.guard(step).is_ok() =>
        {
            vec![Event::LockRemoved {
                board: step.board,
                to_energise: true,
            }]
        }
        (Change::Out, _) if agenda.isolation_begun(step.board) => {
            vec![Event::LockRemoved {
                board: step.board,
                to_energise: false,
            }]
        }
        (Change::Back, Stage::Isolation) if step.kind == StepKind::Lock => {
            decide(agenda, said, Statement::LockedOff, None, None)
        }
        _ => not_asked(said),
    }
}

/// Whether a step is about this pair and place, as far as they were said.
fn is_about(step: &Step, pair: Option<Pair>, place: Option<&Place>) -> bool {
    (pair.is_none() || step.pair == pair) && (place.is_none() || step.place.as_ref() == place)
}

/// "Polarity reversed at socket three" answers the polarity of the whole circuit.
fn is_fault_of_the_circuit(step: &Step, statement: Statement) -> bool {
    matches!(statement, Statement::PolarityReversed | Statement::Fail)
        && matches!(step.stage, Stage::Polarity | Stage::Functional)
}

/// The statement a step would take this one for.
fn accepts(agenda: &Agenda, step: &Step, statement: Statement) -> Option<Statement> {
    let answers = agenda.procedure(step).answers(step);
    let wants_pass =
        |ask: &Ask| matches!(ask, Ask::Statement(wanted) if wanted.contains(&Statement::Pass));
    let statement = match (step.kind, statement) {
        // "Satisfactory" is what works, where nothing is inspected.
        (StepKind::RcdButton, Statement::Satisfactory) => Statement::Tripped,
        (_, Statement::Satisfactory) if wants_pass(&step.ask) => Statement::Pass,
        // A test button that works trips.
        (StepKind::RcdButton, Statement::Pass) => Statement::Tripped,
        // Nothing is switched on there: the word itself would be untrue.
        (StepKind::Energise, Statement::Done) if agenda.all_stay_off(step.board) => {
            Statement::Energised
        }
        (SURGE_INDICATOR, Statement::Pass) => Statement::IndicatorGreen,
        (SURGE_INDICATOR, Statement::Fail) => Statement::IndicatorRed,
        (_, statement) => statement,
    };
    match &step.ask {
        Ask::Statement(wanted) if wanted.contains(&statement) => Some(statement),
        Ask::Statement(wanted) => match wanted.as_slice() {
            [only] if statement == Statement::Done && answers.accepts_done => Some(*only),
            _ => None,
        },
        Ask::Reading(_) => answers
            .instead_of_reading
            .contains(&statement)
            .then_some(statement),
        Ask::Event => None,
    }
}

/// So many answers back, what is said as a correction may still be another word to what was asked then.
pub(in crate::sequence) const STILL_PUT_RIGHT: usize = 3;

/// What something said would be as an answer to a step; nothing where it is no statement, or is of another pair or
/// place.
fn as_an_answer(agenda: &Agenda, step: &Step, said: &Intent) -> Option<Statement> {
    let (statement, pair, place) = match said {
        Intent::Stated(state) => (*state, None, None),
        Intent::StatedAt { state, pair, place } => (*state, *pair, place.as_ref()),
        _ => return None,
    };
    let here = is_about(step, pair, place) || is_fault_of_the_circuit(step, statement);
    accepts(agenda, step, statement).filter(|_| here)
}

/// A statement as a correction, where it is none of the last answer, which stays. It is taken for another of the last
/// few answers, if it can be that: there it is said anew.
pub(super) fn of_an_earlier_answer(
    agenda: &Agenda,
    right: &Intent,
    anew: Decide,
) -> Option<Vec<Event>> {
    let (Intent::Stated(said) | Intent::StatedAt { state: said, .. }) = right else {
        return None;
    };
    let answers = agenda.answers();
    let (_, last) = answers.first()?;
    if as_an_answer(agenda, last, right).is_some() {
        return None;
    }
    let plain = *said == Statement::Done;
    let mut before = answers.iter().take(STILL_PUT_RIGHT).filter(|_| !plain);
    let earlier = before.find_map(|(outcome, step)| {
        let is = as_an_answer(agenda, step, right)?;
        let other = !matches!(outcome, StepOutcome::Stated(_, was) if *was == is);
        other.then_some((*step, is))
    });
    let place = match right {
        Intent::StatedAt { place, .. } => place.as_ref(),
        _ => None,
    };
    Some(match earlier {
        Some((step, is)) => match agenda.guard(step) {
            Ok(()) => vec![taken(step, is, place)],
            Err(refusal) => refused(right, refusal),
        },
        None => anew(agenda, right),
    })
}

/// Whether a statement counts only once it is affirmed: that an RCD did not trip at its rated current or
/// more takes the circuit out of use; that the whole is satisfactory.
fn surprises(agenda: &Agenda, step: &Step, statement: Statement) -> bool {
    // "Satisfactory" and its opposite end alike: the outcome of the whole is asked for twice.
    let whole = step.kind == OUTCOME && statement == Statement::Satisfactory;
    let no_trip = statement == Statement::NoTrip
        && matches!(step.kind, StepKind::RcdRated | StepKind::RcdFive);
    agenda.edition() > Edition::First && (whole || no_trip)
}

/// A statement as a question whether it is so.
fn asked_about(stated: Event) -> Event {
    match stated {
        Event::Stated {
            step,
            statement,
            place,
        } => Event::ProposedStatement {
            step,
            statement,
            place,
        },
        other => other,
    }
}

/// Lamps that were counted out one by one, once all of them are out: all of them are one entry.
fn counted_lamps(agenda: &Agenda, step: &Step) -> Vec<Event> {
    let counted = agenda.sure_entries().filter(|entry| {
        step.kind == StepKind::InsulationLamps
            && (entry.board, entry.circuit) == (step.board, step.circuit)
            && entry.part == Part::Lamp
            && entry.place.is_none()
            && !entry.both
    });
    let widened = |of| Event::Withdrawn {
        of,
        why: Withdrawal::Widened,
    };
    counted.map(|entry| widened(entry.no)).collect()
}

/// The place is kept where the step has another, or none.
fn taken(step: &Step, statement: Statement, place: Option<&Place>) -> Event {
    Event::Stated {
        step: step.id.clone(),
        statement,
        place: place
            .filter(|place| step.place.as_ref() != Some(*place))
            .cloned(),
    }
}
