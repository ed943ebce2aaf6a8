//! What is said of one event.

use super::about::{self, moved, recap, subject, what_is_out};
use super::line::Line;
use super::numbers::{capital, duration};
use super::{alterations, amended, asked, brief, level};
use super::{practice, questions, readings, refusals, statements};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, StepId};
use crate::terms::Reason;

/// The cautions in full, shown with every report.
pub const CAUTIONS: &[&str] = &[
    "Testing can kill. For competent persons, or learners under direct supervision.",
    "Prove dead, every time. When you say dead, that is a record of what you say: this program measures nothing.",
    "No dead test on live conductors. Live work only where dead working is not reasonable: Electricity at Work Regulations 1989, regulation 14.",
    "Insulation testers hold a charge: discharge before touching.",
    "Local rules, the maker's instructions and licensed practice come first. This is an aid for recording and reminding; you decide.",
];

/// The same as they are spoken when a session is begun, one for each: as short as can be, since nothing is
/// asked before they are said.
const CAUTIONS_SPOKEN: [&str; 5] = [
    "Testing can kill. For competent persons, or learners under direct supervision.",
    "Prove dead, every time. This program measures nothing: it keeps what you say.",
    "No dead test on live conductors, and live work only where dead work is not reasonable.",
    "Insulation testers hold a charge: discharge before touching.",
    "Local rules and the maker's instructions come first. You decide.",
];

/// What is said of one event, given what stood before and after it. Prompts and reminders that
/// follow a whole turn are the [`Narrator`](super::Narrator)'s.
pub fn lines(before: &Agenda, event: &Event, after: &Agenda) -> Vec<Line> {
    level::told(before, event, in_full(before, event, after))
}

/// By groups of events; each has its words in one place.
fn in_full(before: &Agenda, event: &Event, after: &Agenda) -> Vec<Line> {
    let form = brief::form(before, event);
    match event {
        Event::Opened { .. }
        | Event::Resumed { .. }
        | Event::CameBack { .. }
        | Event::CalibrationOverdue { .. } => of_a_run(event),
        Event::JobChanged { .. } => amended::changed(before, after),
        Event::JudgedAnew { of, .. } => amended::judged_anew(*of, after).into_iter().collect(),
        Event::Reading { .. } => readings::taken(before, event, form),
        Event::Stated { .. } | Event::SectionStated { .. } | Event::Observed { .. } => {
            statements::told(before, event, form)
        }
        Event::TakenOut { .. } | Event::PutBack { .. } | Event::StaysOff { .. } => {
            alterations::told(before, event, after, form)
        }
        Event::Affirmed { .. }
        | Event::Withdrawn { .. }
        | Event::SetAside { .. }
        | Event::AskedIfLive { .. }
        | Event::AskedIfOut { .. }
        | Event::AskedAnew { .. }
        | Event::ProposedAllBack { .. }
        | Event::ProposedNeverOut { .. }
        | Event::ProposedStatement { .. }
        | Event::ProposedPoint { .. }
        | Event::ProposedCircuit { .. }
        | Event::ProposedFinish { .. } => questions::told(before, event, after),
        Event::NotTested { step, reason } => left_out(before, "Not tested", step, reason),
        Event::Skipped { step, reason } => left_out(before, "For later", step, reason),
        Event::Overridden { .. }
        | Event::Moved { .. }
        | Event::VoltageFound { .. }
        | Event::LockRemoved { .. } => of_the_way(before, event),
        Event::Refused { .. } | Event::Unclear { .. } | Event::NotTaken { .. } => {
            not_done(before, event)
        }
        Event::Asked { said, voice } => asked::answered(before, said, *voice),
        Event::NoteBegun { .. }
        | Event::NoteEnded
        | Event::StoodBy
        | Event::CarriedOn
        | Event::Paused
        | Event::Unpaused
        | Event::Finished { .. } => of_waiting(before, event, after),
        Event::Probed { .. }
        | Event::SwitchedOn { .. }
        | Event::Came { .. }
        | Event::Predicted { .. }
        | Event::Diagnosed { .. }
        | Event::Revealed { .. } => practice::told(before, event),
        Event::Ordered { .. }
        | Event::Noted { .. }
        | Event::NeighbourHeard { .. }
        | Event::ReadBackCut { .. }
        | Event::CorrectedAtDesk { .. }
        | Event::Photographed { .. }
        | Event::SoundForgotten { .. }
        | Event::Struck { .. } => Vec::new(),
    }
}

/// A run of the program, and who was away meanwhile.
fn of_a_run(event: &Event) -> Vec<Line> {
    match event {
        Event::Opened { .. } => CAUTIONS_SPOKEN.iter().map(|c| Line::warning(*c)).collect(),
        Event::Resumed { .. } => CAUTIONS_SPOKEN
            .iter()
            .take(2)
            .map(|c| Line::warning(*c))
            .collect(),
        Event::CameBack {
            after_minutes: 0,
            anew: true,
        } => vec![Line::warning(
            "The clock was put back: how long you were away can't be told. Isolate and prove dead again.",
        )],
        Event::CameBack { after_minutes, .. } => {
            let away = jiff::SignedDuration::from_mins(i64::from(*after_minutes));
            vec![Line::warning(format!(
                "{} without a word. Whoever leaves proves dead again.",
                capital(&duration(away))
            ))]
        }
        Event::CalibrationOverdue {
            instrument,
            serial,
            due,
        } => vec![Line::warning(format!(
            "{}, serial {serial}: calibration was due {due}. It is recorded.",
            capital(instrument)
        ))],
        _ => Vec::new(),
    }
}

/// A step that is left out for good, or for later.
fn left_out(before: &Agenda, how: &str, step: &StepId, reason: &Reason) -> Vec<Line> {
    let Some(step) = before.step(step) else {
        return Vec::new();
    };
    let subject = match subject(step) {
        empty if empty.is_empty() => step.stage.to_string(),
        subject => subject,
    };
    vec![Line::answer(format!("{how}: {subject}, {reason}."))]
}

/// What changes the way on: an override, a move, voltage where there should be none, a lock.
fn of_the_way(before: &Agenda, event: &Event) -> Vec<Line> {
    match event {
        Event::Overridden { reason, .. } => {
            let out = about::out(before, |_| true);
            let out = if out.is_empty() {
                String::new()
            } else {
                format!(" Still out: {out}.")
            };
            vec![Line::warning(format!(
                "Overridden: {reason}.{out} It stands in the report."
            ))]
        }
        Event::Moved {
            to, passed_over, ..
        } => match before.step(to) {
            Some(step) => vec![Line::answer(moved(step, *passed_over))],
            None => Vec::new(),
        },
        Event::VoltageFound { .. } => vec![Line::warning(
            "Stop. Voltage is present. Hands off. Find out what feeds it, and begin isolation again.",
        )],
        Event::LockRemoved {
            to_energise: true, ..
        } => vec![Line::answer("Lock off.")],
        Event::LockRemoved { .. } => vec![Line::warning(
            "The lock is off: the board no longer counts as isolated. Begin isolation again.",
        )],
        _ => Vec::new(),
    }
}

/// What was refused, or not understood.
fn not_done(before: &Agenda, event: &Event) -> Vec<Line> {
    match event {
        Event::Refused { said, refusal } => practice::refused_and_never_off(before, said)
            .then(|| Line::warning(practice::NEVER_OFF))
            .into_iter()
            .chain([refusals::refused(before, refusal)])
            .collect(),
        Event::Unclear {
            words,
            permission: Some(said),
            ..
        } => vec![Line::question(match said.in_full() {
            Some(full) => format!("{words}? Say it in full: {full}."),
            None => format!("Say again: {words}?"),
        })],
        Event::Unclear {
            words, runner_up, ..
        } => vec![match runner_up {
            Some(other) => Line::one_or_other(words, other),
            None => Line::question("Say again?"),
        }],
        Event::NotTaken { spoken: true, .. } => Vec::new(),
        Event::NotTaken { words, .. } => vec![Line::answer(format!(
            "{} {}",
            asked::unknown(words),
            asked::phrases_taken(before)
        ))],
        _ => Vec::new(),
    }
}

/// Notes and pauses, and the end.
fn of_waiting(before: &Agenda, event: &Event, after: &Agenda) -> Vec<Line> {
    match event {
        Event::NoteBegun { observation: true } => vec![Line::answer(
            "Say what you found, then end of note. It stands in the report.",
        )],
        Event::NoteBegun { .. } => vec![Line::answer(
            "Note. Say end of note when you have finished.",
        )],
        Event::NoteEnded => match before.observations().find(|seen| before.is_telling(seen)) {
            Some(seen) if seen.noted.is_empty() => vec![Line::answer(
                "Nothing was said: the observation stands with its code alone.",
            )],
            Some(_) => vec![Line::answer("Observation kept.")],
            None => vec![Line::answer("Note kept.")],
        },
        Event::StoodBy => vec![Line::answer("Standing by.")],
        Event::CarriedOn => vec![Line::answer("Carrying on.")],
        Event::Paused => {
            let mut boards = before.job().boards.iter();
            let dead = boards.any(|board| before.isolation_begun(board.number));
            let again = if dead {
                " When you resume, prove dead again."
            } else {
                ""
            };
            vec![Line::answer(format!(
                "Paused. {}{again}",
                what_is_out(before)
            ))]
        }
        Event::Unpaused => std::iter::once(Line::answer(recap(before)))
            .chain(questions::asked_now(after))
            .collect(),
        Event::Finished { left_open, .. } => {
            let still_out = (*left_open > 0).then(|| Line::reminder(what_is_out(before)));
            let finished = "Finished. The log holds what was said and measured; it is not a certificate. A competent person decides and signs.";
            still_out
                .into_iter()
                .chain([Line::answer(finished)])
                .collect()
        }
        _ => Vec::new(),
    }
}
