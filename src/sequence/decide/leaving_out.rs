//! "Not tested" and "skip", each with its reason; what lets the work go on all the same.

use super::events::{not_asked, refused};
use crate::grammar::Intent;
use crate::quantity::TestVoltage;
use crate::sequence::agenda::Agenda;
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Event, LeftOut, Measure, Quantity, Refusal, Step, StepKind};
use crate::sequence::procedures::{Fault, fault_of};
use crate::terms::{Reason, Stage};

/// A step that is left out or left for later, or a refusal that is gone past. Without a reason,
/// that is asked for; a reason by itself answers it.
pub(super) fn decide(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let (what, reason) = match said {
        Intent::NotTested(reason) => (LeftOut::NotTested, reason.as_ref()),
        Intent::Skip(reason) => (LeftOut::Skipped, reason.as_ref()),
        Intent::Override(reason) => (LeftOut::Overridden, reason.as_ref()),
        Intent::Because(reason) => match agenda.last_refusal() {
            Some(Refusal::ReasonNeeded { what }) => (*what, Some(reason)),
            _ => return refused(said, Refusal::NothingToAnswer),
        },
        _ => return not_asked(said),
    };
    match what {
        LeftOut::Overridden | LeftOut::Danger => go_past(agenda, said),
        LeftOut::NotTested | LeftOut::Skipped => leave_out(agenda, said, what, reason),
    }
}

fn leave_out(agenda: &Agenda, said: &Intent, what: LeftOut, reason: Option<&Reason>) -> Vec<Event> {
    let Some(step) = agenda.current() else {
        return not_asked(said);
    };
    // What was read or found there stands: it is not left out afterwards.
    let may_be_left_out =
        agenda.procedure(step).answers(step).may_be_left_out && !agenda.has_a_result(step);
    if !may_be_left_out && !breakage::is(Break::AnythingLeftOut) {
        return refused(said, Refusal::CannotBeSkipped);
    }
    let Some(reason) = reason.cloned() else {
        return refused(said, Refusal::ReasonNeeded { what });
    };
    let event = |step: &Step| {
        let (step, reason) = (step.id.clone(), reason.clone());
        match what {
            LeftOut::Skipped => Event::Skipped { step, reason },
            LeftOut::NotTested | LeftOut::Overridden | LeftOut::Danger => {
                Event::NotTested { step, reason }
            }
        }
    };
    // Whoever leaves out what prepares a test leaves out the test.
    let prepared = |other: &&Step| match step.kind {
        StepKind::ContinuityLink => {
            other.measures(Quantity::R1R2) && agenda.is_open(other) && other.order != step.order
        }
        StepKind::NeutralOut => {
            let again = agenda
                .asked_again()
                .is_some_and(|again| again.id == other.id);
            let asked = agenda.is_open(other) || again;
            other.stage == Stage::Insulation && asked && other.order != step.order
        }
        // BS 7671 643.3.3: with what can't reasonably be disconnected, 250 volts.
        StepKind::SurgeOut => {
            let full = |measure: Measure| measure.at != Some(TestVoltage::V250);
            other.stage == Stage::Insulation
                && other.circuit.is_none()
                && other.measure().is_some_and(full)
                && agenda.waits(other)
        }
        StepKind::EarthingOff => other.kind == StepKind::ExternalLoop && agenda.waits(other),
        _ => false,
    };
    let tests: Vec<Event> = agenda
        .plan()
        .beside(step)
        .filter(prepared)
        .filter(|other| !agenda.has_a_result(other))
        .map(event)
        .collect();
    // What stays in by choice is itself left out: 250 volts are taken with it.
    let itself = tests.is_empty() || step.kind == StepKind::SurgeOut;
    itself
        .then(|| event(step))
        .into_iter()
        .chain(tests)
        .collect()
}

/// A bare reason is none: what was seen is. Where nothing goes past what bars the way, that is said
/// again.
fn go_past(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let refusal = match overridable(agenda) {
        Some(refusal) if breakage::is(Break::BareReasonGoesPast) => {
            let reason = Reason::Instructed;
            return vec![Event::Overridden { refusal, reason }];
        }
        Some(_) => Refusal::ObservationNeeded,
        None => barred(agenda).unwrap_or(Refusal::NothingToAnswer),
    };
    refused(said, refusal)
}

/// "Observation": what is noted next stands as the reason.
pub(super) fn observe(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    match overridable(agenda) {
        Some(_) => vec![Event::NoteBegun { observation: true }],
        None => refused(said, barred(agenda).unwrap_or(Refusal::NothingToAnswer)),
    }
}

/// "End of note": an observation in which something was noted lets the work go on.
pub(super) fn end_of_note(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let ended = Event::NoteEnded;
    let next = match (agenda.observation(), barred_ahead(agenda)) {
        (None, _) => Vec::new(),
        (Some(true), Some(refusal)) => vec![Event::Overridden {
            refusal,
            reason: Reason::Observed,
        }],
        (Some(true), None) => Vec::new(),
        (Some(false), _) => refused(said, Refusal::ObservationNeeded),
    };
    std::iter::once(ended).chain(next).collect()
}

/// "Danger, code one": on an installation found in use, reversed polarity is told of to the person
/// in charge, who decides.
pub(super) fn danger(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let reversed = agenda.current().is_some_and(|step| {
        agenda
            .failed_dead(step.board)
            .any(|step| fault_of(agenda.state(), step) == Some(Fault::Reversed))
    });
    match barred_ahead(agenda) {
        Some(_) if reversed => refused(
            said,
            Refusal::ReasonNeeded {
                what: LeftOut::Danger,
            },
        ),
        _ => not_asked(said),
    }
}

/// "Person in charge says it stays on", after the danger was told of.
pub(super) fn decided_to_stay_on(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let told = agenda.last_refusal()
        == Some(&Refusal::ReasonNeeded {
            what: LeftOut::Danger,
        });
    match barred_ahead(agenda) {
        Some(refusal) if told => vec![Event::Overridden {
            refusal,
            reason: Reason::DangerToldOf,
        }],
        _ => not_asked(said),
    }
}

/// The refusal that an observation would lift: not one of reversed polarity, which is a danger.
fn overridable(agenda: &Agenda) -> Option<Refusal> {
    let refusal = barred_ahead(agenda)?;
    let Refusal::DeadTestsFailed { board, .. } = refusal else {
        return None;
    };
    let mut failed = agenda.failed_dead(board);
    let other = failed.any(|step| fault_of(agenda.state(), step).is_none());
    other.then_some(refusal)
}

/// What bars the way to energising now, if a person may decide to go past it.
fn barred_ahead(agenda: &Agenda) -> Option<Refusal> {
    barred(agenda).filter(Refusal::may_be_overridden)
}

/// What bars the way to energising now.
fn barred(agenda: &Agenda) -> Option<Refusal> {
    let current = agenda.current()?;
    if current.stage != Stage::Energise {
        return None;
    }
    let board = current.board;
    let mut energising = agenda.plan().energising(board);
    let energise = energising.find(|step| agenda.is_open(step))?;
    agenda.guard(energise).err()
}
