//! The brief manner: what of an event is still said in words. The one rule, over kinds of events and
//! statements; how a prompt is shortened stands with its words in `prompts.toml` ("short").

use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Ask, Event, Step, StepId};
use crate::terms::{Manner, Statement};

/// How much of what an event gives to say is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    /// All of it: warnings, questions, refusals, cautions, and whatever came otherwise than asked for.
    Whole,
    /// Value, permission, result or what was changed, in words, without what was asked for by name.
    Bare,
    /// A tone: no value and no permission, and as it should be.
    Tone,
}

/// The form of an event's read-back.
pub(super) fn form(before: &Agenda, event: &Event) -> Form {
    if before.delivery().manner == Manner::Full {
        return Form::Whole;
    }
    match event {
        Event::Reading {
            step,
            question: None,
            doubt: None,
            ..
        } if is_asked_for(before, step) => Form::Bare,
        Event::Stated {
            step,
            statement,
            place: None,
        } if is_asked_for(before, step) => before
            .step(step)
            .map_or(Form::Whole, |step| of_statement(step, *statement)),
        // Joined as it was asked for: its words would be said if it was heard as anything else.
        Event::TakenOut { linked: true, .. } if alteration_is_asked_for(before) => Form::Tone,
        Event::TakenOut { .. } | Event::PutBack { .. } if alteration_is_asked_for(before) => {
            Form::Bare
        }
        _ => Form::Whole,
    }
}

fn of_statement(step: &Step, statement: Statement) -> Form {
    match statement {
        said if step.is_wrong(said) => Form::Whole,
        Statement::Done
        | Statement::PolarityCorrect
        | Statement::Tripped
        | Statement::NoTrip
        | Statement::Pass
        | Statement::SequenceCorrect => Form::Tone,
        _ => Form::Bare,
    }
}

/// Whether an event of the turn leads to the next step as the plan has it: whoever comes from
/// somewhere else, or was asked something, is told in full where to go on.
pub(super) fn goes_on_as_expected(before: &Agenda, event: &Event) -> bool {
    match event {
        Event::Ordered { .. } | Event::CalibrationOverdue { .. } => true,
        event => form(before, event) != Form::Whole,
    }
}

/// Whether the step asked for now is closed by what is taken out, linked or put back.
fn alteration_is_asked_for(agenda: &Agenda) -> bool {
    let asked = agenda.question().is_none().then(|| agenda.current());
    asked.flatten().is_some_and(|now| now.ask == Ask::Event)
}

fn is_asked_for(agenda: &Agenda, step: &StepId) -> bool {
    let asked = agenda.question().is_none().then(|| agenda.current());
    asked.flatten().is_some_and(|now| now.id == *step)
}
