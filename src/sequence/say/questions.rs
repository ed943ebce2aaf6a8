//! What waits for "affirm" or "negative", and what is said when it came.

use super::about::{self, entries, subject, what_is_out};
use super::amended;
use super::line::Line;
use super::numbers::{capital, plural, value};
use super::readings::{OUTSIDE, which, why_asked};
use super::statements::{no_supply_line, tell_in_charge};
use crate::limits::Outcome;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Doubt, Event, EventNo, Withdrawal};
use crate::sequence::procedures::{inspection, is_danger, is_supply_fault, pattern_now};
use crate::sequence::state::{OutEntry, Question};
use crate::terms::{Level, Stage, Wording};

/// What is said of what is asked back, and of the answer.
pub(super) fn told(before: &Agenda, event: &Event, after: &Agenda) -> Vec<Line> {
    let wording = after.delivery().wording;
    match event {
        Event::Affirmed { of, by_touch } => match before.question() {
            Some(question) if question.about() == *of => {
                affirmed(before, question, *by_touch, after)
            }
            _ => Vec::new(),
        },
        Event::Withdrawn { of, why } => match why {
            Withdrawal::Widened | Withdrawal::Restated => Vec::new(),
            Withdrawal::Replaced => vec![Line::answer(match before.out_entry(*of) {
                Some(entry) => format!("Correction: not {}.", entry.what()),
                None => "Correction.".to_owned(),
            })],
            Withdrawal::Negative | Withdrawal::Correction | Withdrawal::Disregard => {
                vec![Line::answer(match before.question() {
                    Some(question) if question.about() == *of => not_so(before, question),
                    _ => taken_back(before, *of),
                })]
            }
        },
        Event::SetAside { of } => match before.reading(*of) {
            Some(record) => vec![Line::answer(format!(
                "{} stays unaffirmed, and is shown so.",
                capital(&value(&record.reading, wording))
            ))],
            None => Vec::new(),
        },
        Event::AskedIfLive { .. } => vec![Line::warning(if_live(wording))],
        _ => asked_now(after).into_iter().collect(),
    }
}

/// What waits for an answer now.
pub(super) fn asked_now(agenda: &Agenda) -> Option<Line> {
    let asked = agenda.question()?;
    Some(Line::question(question(agenda, asked)))
}

/// What waits for "affirm", asked once more.
pub fn question(agenda: &Agenda, question: &Question) -> String {
    let wording = agenda.delivery().wording;
    let (agree, refuse) = (wording.agree(), wording.refuse());
    let capital_agree = capital(agree);
    match question {
        Question::Reading(no) => match agenda.reading(*no) {
            Some(record)
                if matches!(record.doubt, Some(Doubt::MaybeVolts | Doubt::LoadOrShort)) =>
            {
                let doubt = record.doubt.unwrap_or(Doubt::MaybeVolts);
                agenda
                    .step(&record.step)
                    .map(|step| which(step, &record.reading, doubt, wording))
                    .unwrap_or_default()
            }
            Some(record) if agenda.is_judged_anew(*no) => format!(
                "{}? {}. {capital_agree}, or correct.",
                amended::named(record, agenda).unwrap_or_default(),
                capital(&why_asked(agenda, record))
            ),
            Some(record) => format!(
                "Was that {}? {}. {capital_agree}, or correct.",
                value(&record.reading, wording),
                capital(&why_asked(agenda, record))
            ),
            None => format!("{capital_agree}, or correct."),
        },
        Question::AllBack(_, numbers) => {
            // What was said to be back by itself since needs no answer.
            let open = agenda
                .open_entries()
                .map(|entry| entry.no)
                .filter(|no| numbers.contains(no));
            let left: Vec<EventNo> = open.collect();
            let lamp = match left.as_slice() {
                [only] => agenda
                    .out_entry(*only)
                    .filter(|entry| entry.is_counted_lamp()),
                _ => None,
            };
            let what = match lamp {
                Some(_) => "lamps".to_owned(),
                None => entries(agenda, &left, "; "),
            };
            format!("All back: {what}? {capital_agree}, or {refuse}.")
        }
        Question::NeverOut(_, entry) => {
            let linked = agenda.out_entry(*entry).is_some_and(|entry| entry.linked);
            format!(
                "Was {} never {}? {capital_agree} to take it off the list; {refuse} keeps it.",
                entries(agenda, &[*entry], "; "),
                if linked { "joined" } else { "out" }
            )
        }
        // Who is examined is not told what it was that the step ordered.
        Question::IfOut(..) if agenda.level() == Level::Silent => format!(
            "Left without an answer. Is anything that it needed out or joined now? {capital_agree} if any of it is, {refuse} if none."
        ),
        Question::IfOut(_, numbers) => {
            let left: Vec<_> = agenda
                .open_entries()
                .filter(|entry| numbers.contains(&entry.no))
                .map(|entry| about::as_it_is(agenda, entry))
                .collect();
            format!(
                "Left without an answer. Is it so now: {}? {capital_agree} if any of it is, {refuse} if none.",
                left.join("; ")
            )
        }
        Question::IfLive(_) => if_live(wording),
        Question::Point(_, board, circuit, place) => {
            let name = agenda.circuit(*board, *circuit).map(|c| c.name.as_str());
            let name = name.map(|name| format!(", {name}")).unwrap_or_default();
            format!("Add {place} to circuit {circuit}{name}? {capital_agree}, or {refuse}.")
        }
        Question::Circuit(_, board, circuit, said) => {
            amended::circuit_asked(agenda, (*board, *circuit), said)
        }
        Question::Statement(_, step, statement, _) => match agenda.step(step) {
            Some(step) => {
                let named = [
                    subject(step),
                    about::test_name(step).unwrap_or_default().to_owned(),
                ];
                let named: Vec<_> = named.into_iter().filter(|n| !n.is_empty()).collect();
                if step.kind == inspection::OUTCOME {
                    return about::outcome_asked(agenda, *statement, agree);
                }
                format!(
                    "{}, {}? {}. {capital_agree}, or correct.",
                    capital(&named.join(", ")),
                    statement.shown(),
                    capital(OUTSIDE)
                )
            }
            None => format!("{capital_agree}, or correct."),
        },
        Question::Finish(_, left) => format!(
            "{} not done. {capital_agree} to finish all the same, or {refuse}.",
            plural(*left, "step is", "steps are")
        ),
    }
}

/// What is asked when it may be live.
fn if_live(wording: Wording) -> String {
    format!(
        "Live? Hands off. {} if it is live, {} if it is not.",
        capital(wording.agree()),
        wording.refuse()
    )
}

/// After "negative" to a question.
fn not_so(agenda: &Agenda, asked: &Question) -> String {
    match asked {
        Question::Reading(no) => taken_back(agenda, *no),
        Question::NeverOut(_, entry) => format!(
            "{} stays on the list.",
            capital(&entries(agenda, &[*entry], "; "))
        ),
        Question::AllBack(..) => format!("Not all back. {}", what_is_out(agenda)),
        Question::Finish(..) => "Not finished.".to_owned(),
        Question::IfOut(..) if agenda.level() == Level::Silent => "None of it.".to_owned(),
        Question::IfOut(_, numbers) => {
            format!("Not out: {}.", entries(agenda, numbers, "; "))
        }
        Question::Point(..) => "Not added.".to_owned(),
        Question::Circuit(_, _, circuit, _) => format!("Circuit {circuit} is not added."),
        Question::Statement(_, _, statement, _) => {
            format!("Not {}. Dropped.", statement.shown())
        }
        Question::IfLive(_) => "Not live.".to_owned(),
    }
}

/// After "affirm".
fn affirmed(before: &Agenda, question: &Question, by_touch: bool, after: &Agenda) -> Vec<Line> {
    let wording = after.delivery().wording;
    match question {
        Question::Reading(no) => {
            let Some(record) = before.reading(*no) else {
                return Vec::new();
            };
            let how = if by_touch { "Taken by touch" } else { "Taken" };
            let taken = Line::read_back(format!("{how}: {}.", value(&record.reading, wording)));
            let pattern = before
                .step(&record.step)
                .and_then(|step| pattern_now(before, step, &record.reading))
                .map(|pattern| pattern.spoken());
            let remark = || {
                let verdict = record.verdict.as_ref();
                // An instrument that is out tells nothing of the installation.
                let of_the_tester = record.step.stage == Stage::Instruments;
                let failed = record.outcome() == Some(Outcome::Fail);
                verdict
                    .filter(|verdict| verdict.finding.is_some() || of_the_tester && failed)
                    .and_then(|verdict| verdict.remark.clone())
                    .map(String::from)
            };
            let more = pattern.or_else(remark).map(Line::answer);
            // What is dangerous is asked to be made safe instead.
            let live = after
                .step(&record.step)
                .is_some_and(|step| step.is_live_work() && !is_danger(after.state(), step));
            let no_supply = after
                .step(&record.step)
                .is_some_and(|step| is_supply_fault(after.state(), step));
            let tell = (live && record.outcome() == Some(Outcome::Fail)).then(|| match no_supply {
                true => no_supply_line(),
                false => tell_in_charge(),
            });
            std::iter::once(taken).chain(more).chain(tell).collect()
        }
        Question::AllBack(_, numbers) => {
            let rest = about::out(before, |entry| !numbers.contains(&entry.no));
            if rest.is_empty() {
                vec![Line::read_back("All back. Nothing is out.")]
            } else {
                vec![
                    Line::read_back("Back."),
                    Line::reminder(format!("Still out: {rest}.")),
                ]
            }
        }
        Question::NeverOut(_, entry) => vec![Line::read_back(format!(
            "{} is off the list.",
            capital(&entries(before, &[*entry], "; "))
        ))],
        Question::IfOut(..) if before.level() == Level::Silent => {
            vec![Line::read_back("On the list until it is back.")]
        }
        Question::IfOut(_, numbers) => vec![Line::read_back(format!(
            "On the list until it is back: {}.",
            entries(before, numbers, "; ")
        ))],
        Question::Finish(..)
        | Question::IfLive(_)
        | Question::Statement(..)
        | Question::Point(..)
        | Question::Circuit(..) => Vec::new(),
    }
}

/// After something was taken back.
fn taken_back(agenda: &Agenda, of: EventNo) -> String {
    let wording = agenda.delivery().wording;
    if let Some(record) = agenda.reading(of) {
        let before = agenda
            .replaced_by(of)
            .map(|old| format!(" {} stands.", capital(&value(&old.reading, wording))));
        return format!(
            "Not {}. Dropped.{}",
            value(&record.reading, wording),
            before.unwrap_or_default()
        );
    }
    let put_back = put_back_by(agenda, of);
    if !put_back.is_empty() {
        return format!("Not back, then. Still out: {put_back}.");
    }
    let energised = agenda.plan().steps.iter().any(|step| {
        agenda
            .outcome(step)
            .is_some_and(|outcome| outcome.no() == of && outcome.is_energised())
    });
    if energised {
        return "Dropped. It may be live all the same: prove it dead again.".to_owned();
    }
    "Dropped.".to_owned()
}

/// What an event put back, in words.
fn put_back_by(agenda: &Agenda, of: EventNo) -> String {
    let what: Vec<_> = agenda
        .out_list()
        .iter()
        .filter(|entry| entry.back.is_some_and(|(by, _)| by == of))
        .map(OutEntry::what)
        .collect();
    what.join("; ")
}
