//! Answers to what waits for "affirm", and taking back what was said last.

use super::events::{Decide, asked, refused};
use super::{adding, alteration, finishing, inspecting, moving, reading, statement, warning};
use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Doubt, Edition, Event, EventNo, Refusal, Step, Withdrawal};
use crate::sequence::state::{OutEntry, Question};
use crate::terms::{Alteration, Change, Part, Statement};

/// What an open question makes of something said; nothing when it does not stand in its way. What has to
/// be decided once it is answered is decided by `anew`.
pub(super) fn decide(
    agenda: &Agenda,
    question: &Question,
    said: &Intent,
    anew: Decide,
) -> Option<Vec<Event>> {
    let of = question.about();
    if let Question::Circuit(_, board, circuit, pieces) = question
        && let Some(more) = more_of_circuit(said)
    {
        let all = [pieces.as_slice(), more].concat();
        return Some(adding::more(agenda, said, of, (*board, *circuit), all));
    }
    let withdrawn = |why| vec![Event::Withdrawn { of, why }];
    let events = match said {
        Intent::Affirm => match question {
            Question::IfLive(_) => warning::found_here(agenda),
            Question::Reading(no) if doubt_of(agenda, *no) == Some(Doubt::MaybeVolts) => {
                refused(said, Refusal::QuestionOpen)
            }

            Question::Finish(..) => finishing::affirmed(agenda, said),
            Question::Point(_, board, circuit, place) => {
                adding::affirmed(agenda, of, *board, *circuit, place)
            }
            Question::Circuit(_, board, circuit, pieces) => {
                adding::circuit_affirmed(agenda, said, of, (*board, *circuit), pieces)
            }
            Question::Statement(_, step, statement, place) => {
                // Something may be out since it was asked.
                let barred = agenda.step(step).map(|step| agenda.guard(step));
                let item = agenda.step(step).and_then(Step::item);
                match (barred, item) {
                    (Some(Err(refusal)), _) => refused(said, refusal),
                    // With the item's answer, what was seen of it before is taken back.
                    (_, Some(number)) => {
                        let stated = inspecting::item(agenda, said, &number, *statement);
                        std::iter::once(Event::affirmed(of)).chain(stated).collect()
                    }
                    _ => vec![
                        Event::affirmed(of),
                        Event::Stated {
                            step: step.clone(),
                            statement: *statement,
                            place: place.clone(),
                        },
                    ],
                }
            }
            _ => vec![Event::affirmed(of)],
        },
        Intent::Stated(Statement::Megohms) if doubt_of(agenda, of) == Some(Doubt::MaybeVolts) => {
            vec![Event::affirmed(of)]
        }
        Intent::Altered(Alteration {
            part: Part::Load,
            change: Change::Out,
            ..
        }) if doubt_of(agenda, of) == Some(Doubt::LoadOrShort) => load_out(agenda, of, said, anew),
        // The same once more is no answer.
        Intent::Stated(again) | Intent::StatedAt { state: again, .. } if matches!(question, Question::Statement(_, _, asked, _) if asked == again) => {
            asked(said)
        }
        Intent::StaysOff(number) => {
            let off = moving::stays_off(agenda, said, *number);
            let aside = matches!(question, Question::Reading(_)).then_some(Event::SetAside { of });
            if off.iter().any(is_refused) {
                off
            } else {
                aside.into_iter().chain(off).collect()
            }
        }
        // Whether something is out, or live, is answered with yes or no and nothing else: what takes
        // back what was said just before is no answer to it.
        Intent::Disregard | Intent::Correction(_)
            if matches!(question, Question::IfOut(..) | Question::IfLive(_)) =>
        {
            refused(said, Refusal::QuestionOpen)
        }
        Intent::Negative => withdrawn(Withdrawal::Negative),
        Intent::Disregard => withdrawn(Withdrawal::Disregard),
        Intent::Correction(None) => withdrawn(Withdrawal::Correction),
        Intent::Correction(Some(right)) => match question {
            Question::NeverOut(_, entry) if takes_out(right) => {
                corrected(agenda, *entry, right, anew)
            }
            Question::NeverOut(..) => refused(said, Refusal::QuestionOpen),
            _ => corrected(agenda, of, right, anew),
        },
        Intent::Reading { reading, .. } | Intent::Measured { reading, .. } => match question {
            // The same with its unit is the answer to which it was.
            Question::Reading(no)
                if doubt_of(agenda, *no) == Some(Doubt::MaybeVolts)
                    && reading.unit.is_some()
                    && agenda
                        .reading(*no)
                        .is_some_and(|asked| reading::same(&asked.reading, reading)) =>
            {
                vec![Event::affirmed(of)]
            }
            // The same once more is no answer: the question is put again.
            Question::Reading(no)
                if agenda
                    .reading(*no)
                    .is_some_and(|asked| reading::same(&asked.reading, reading)) =>
            {
                asked(said)
            }
            // Volts where volts are asked for are the answer.
            Question::IfLive(_) if warning::asks_volts(agenda) => {
                after_it(agenda, Event::SetAside { of }, said, anew)
            }
            Question::Reading(_) => another_reading(agenda, of, said, anew),
            Question::Statement(..) => replaced(agenda, of, said, Withdrawal::Restated, anew),
            _ => refused(said, Refusal::QuestionOpen),
        },
        Intent::Altered(alteration) => return settled_by(agenda, question, said, alteration),
        // What is dangerous is kept, whatever is asked.
        Intent::Observed { .. } => return None,
        Intent::StandBy | Intent::Pause | Intent::Note => return None,
        _ => refused(said, Refusal::QuestionOpen),
    };
    Some(events)
}

/// What is said further of a circuit that is being added, as a correction too: what is said later counts.
fn more_of_circuit(said: &Intent) -> Option<&[String]> {
    match said {
        Intent::Pieces(more) => Some(more),
        Intent::Correction(Some(right)) => more_of_circuit(right),
        _ => None,
    }
}

/// What becomes of a question about entries of the out-list when something is said to be out or back
/// instead: once none of them is open, nothing is left to ask.
fn settled_by(
    agenda: &Agenda,
    question: &Question,
    said: &Intent,
    alteration: &Alteration,
) -> Option<Vec<Event>> {
    let asked: &[EventNo] = match question {
        Question::AllBack(_, entries) | Question::IfOut(_, entries) => entries,
        Question::NeverOut(_, entry) => std::slice::from_ref(entry),
        Question::Reading(_)
        | Question::Statement(..)
        | Question::Point(..)
        | Question::Circuit(..)
        | Question::Finish(..)
        | Question::IfLive(_) => return None,
    };
    if alteration.part == Part::Lock {
        return None;
    }
    let aside = Event::SetAside {
        of: question.about(),
    };
    let next = alteration::decide(agenda, said, alteration);
    let mut after = agenda.clone();
    for event in &next {
        after.apply(event, agenda.last_event_at());
    }
    let is_open = |no: &EventNo| after.out_entry(*no).is_some_and(OutEntry::is_open);
    let asked_anew = after.question() != Some(question);
    if asked.iter().any(is_open) || asked_anew {
        return Some(next);
    }
    Some(std::iter::once(aside).chain(next).collect())
}

/// Another value while one is asked about. For the same test it stands in its place; for another
/// pair or place it is no correction: the first stays as it is, not affirmed.
fn another_reading(agenda: &Agenda, of: EventNo, said: &Intent, anew: Decide) -> Vec<Event> {
    let step_of = |events: &[Event]| {
        events.iter().find_map(|event| match event {
            Event::Reading { step, .. } => Some(step.clone()),
            _ => None,
        })
    };
    let asked = agenda.reading(of).map(|record| record.step.clone());
    let restated = replaced(agenda, of, said, Withdrawal::Restated, anew);
    if step_of(&restated) == asked {
        return restated;
    }
    unless_refused(after_it(agenda, Event::SetAside { of }, said, anew))
}

/// What is refused changes nothing of what came before it.
fn unless_refused(events: Vec<Event>) -> Vec<Event> {
    match events.iter().any(is_refused) {
        true => events.into_iter().skip(1).collect(),
        false => events,
    }
}

/// The load that was read is out by now: before the trial that is what is done next; a test at
/// more than 250 V is to be made again.
fn load_out(agenda: &Agenda, of: EventNo, said: &Intent, anew: Decide) -> Vec<Event> {
    let trial = agenda
        .reading(of)
        .and_then(|record| agenda.step(&record.step))
        .is_some_and(|step| step.kind.is_trial());
    let answered = if trial {
        Event::affirmed(of)
    } else {
        Event::Withdrawn {
            of,
            why: Withdrawal::Negative,
        }
    };
    after_it(agenda, answered, said, anew)
}

/// An event, and what is decided once it has happened.
fn after_it(agenda: &Agenda, first: Event, said: &Intent, anew: Decide) -> Vec<Event> {
    let mut after = agenda.clone();
    after.apply(&first, agenda.last_event_at());
    let next = anew(&after, said);
    std::iter::once(first).chain(next).collect()
}

fn doubt_of(agenda: &Agenda, of: EventNo) -> Option<Doubt> {
    agenda.reading(of)?.doubt
}

fn is_refused(event: &Event) -> bool {
    matches!(event, Event::Refused { .. })
}

/// "Negative", "disregard" and "correction" where nothing is asked: what was taken last is taken
/// back. What was put on the out-list is not taken off it without asking: it may well be out.
pub(super) fn take_back(agenda: &Agenda, said: &Intent, anew: Decide) -> Vec<Event> {
    let is_out = |of: EventNo| agenda.open_entries().any(|entry| entry.no == of);
    let why = match said {
        Intent::Correction(Some(right)) => {
            if let Some(events) = statement::of_an_earlier_answer(agenda, right, anew) {
                return events;
            }
            return match agenda.last_taken() {
                // What is out is only replaced by what is out instead; anything else is taken
                // beside it.
                Some(of) if is_out(of) && !takes_out(right) => anew(agenda, right),
                Some(of) if is_of_another_test(agenda, of, right) => anew(agenda, right),
                Some(of) => corrected(agenda, of, right, anew),
                None => anew(agenda, right),
            };
        }
        Intent::Correction(None) => Withdrawal::Correction,
        Intent::Disregard => Withdrawal::Disregard,
        _ => Withdrawal::Negative,
    };
    // What was refused was not taken: there is nothing of it to take back, and what was taken
    // before it is not meant.
    if agenda.last_refusal().is_some() && agenda.edition() > Edition::First {
        return refused(said, Refusal::NothingToAnswer);
    }
    match agenda.last_taken() {
        Some(of) if is_out(of) => vec![Event::ProposedNeverOut { entry: of }],
        Some(of) => vec![Event::Withdrawn { of, why }],
        None => refused(said, Refusal::NothingToAnswer),
    }
}

/// Whether a value names another pair or place than the reading that was taken last: that one stays.
fn is_of_another_test(agenda: &Agenda, of: EventNo, right: &Intent) -> bool {
    let (pair, place) = match right {
        Intent::Reading { reading, place, .. } | Intent::Measured { reading, place, .. } => {
            (reading.pair, place.as_ref())
        }
        _ => return false,
    };
    let Some(taken) = agenda.reading(of) else {
        return false;
    };
    let step = agenda.step(&taken.step);
    let here = taken
        .place
        .as_ref()
        .or(step.and_then(|step| step.place.as_ref()));
    let other_pair = pair
        .zip(taken.reading.pair)
        .is_some_and(|(said, was)| said != was);
    other_pair || place.zip(here).is_some_and(|(said, was)| said != was)
}

/// What is right is taken in the place of what was said.
fn corrected(agenda: &Agenda, of: EventNo, right: &Intent, anew: Decide) -> Vec<Event> {
    replaced(agenda, of, right, Withdrawal::Replaced, anew)
}

fn replaced(
    agenda: &Agenda,
    of: EventNo,
    right: &Intent,
    why: Withdrawal,
    anew: Decide,
) -> Vec<Event> {
    let events = after_it(agenda, Event::Withdrawn { of, why }, right, anew);
    // A correction that is refused changes nothing that is out.
    let is_out = agenda.open_entries().any(|entry| entry.no == of);
    let was_asked = why == Withdrawal::Restated;
    match is_out || was_asked {
        true => unless_refused(events),
        false => events,
    }
}

fn takes_out(said: &Intent) -> bool {
    matches!(said, Intent::Altered(a) if matches!(a.change, Change::Out | Change::Linked | Change::Crossed))
}
