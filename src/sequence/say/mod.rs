//! The only maker of words: what is said of each event, live and in the report. Short, in the
//! trade's words. Nothing here decides anything.

mod about;
mod amended;
mod asked;
mod brief;
mod level;
mod line;
mod narrator;
mod numbers;
mod practice;
mod prompt;
mod refusals;

pub use about::{entries, moved, recap, subject, what_is_out, where_are_we};
pub use amended::{changes, not_changed};
pub use line::{Line, LineKind};
pub use narrator::{Narrator, is_of_the_same_turn};
pub use numbers::{bare_value, capital, digits, duration, plural, three_as_one, value};
pub use practice::named as fault;
pub use prompt::{Prompt, Prompts, in_full as prompt_in_full, of_step, prompt, without_prompt};
pub use refusals::refused_in_short;

use super::agenda::Agenda;
use super::facts::{Doubt, Event, EventNo, External, Mode, Step, StepKind, Withdrawal};
use super::procedures::{inspection, is_danger, is_supply_fault, pattern_now, to_put_back};
use super::state::{OutEntry, Question, ReadingRecord, count, goes_on, place_of};
use crate::grammar::Intent;
use crate::installation::Board;
use crate::limits::{Finding, Outcome, Verdict};
use crate::quantity::Reading;
use crate::quantity::Unit;
use crate::terms::{Change, Level, Part, Place, Stage, Statement, Wording};
use brief::Form;

/// The cautions, spoken when a session is begun and shown with every report.
pub const CAUTIONS: &[&str] = &[
    "Testing can kill. For competent persons, or learners under direct supervision.",
    "Prove dead, every time. When you say dead, that is a record of what you say: this program measures nothing.",
    "No dead test on live conductors. Live work only where dead working is not reasonable: Electricity at Work Regulations 1989, regulation 14.",
    "Insulation testers hold a charge: discharge before touching.",
    "Local rules, the maker's instructions and licensed practice come first. This is an aid for recording and reminding; you decide.",
];

/// What is said of one event, given what stood before and after it. Prompts and reminders that
/// follow a whole turn are the [`Narrator`]'s.
pub fn lines(before: &Agenda, event: &Event, after: &Agenda) -> Vec<Line> {
    level::told(before, event, in_full(before, event, after))
}

fn in_full(before: &Agenda, event: &Event, after: &Agenda) -> Vec<Line> {
    let form = brief::form(before, event);
    let wording = after.delivery().wording;
    match event {
        Event::Opened { .. } => CAUTIONS.iter().map(|c| Line::warning(*c)).collect(),
        Event::Resumed { .. } => CAUTIONS[..2].iter().map(|c| Line::warning(*c)).collect(),
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
        Event::Reading {
            step,
            reading,
            verdict,
            doubt,
            question,
            calculated,
            place,
            ..
        } => {
            let Some(step) = before.step(step) else {
                return Vec::new();
            };
            // Zs is read where R1+R2 was highest.
            let there = Step {
                place: place.clone().or_else(|| step.place.clone()),
                ..step.clone()
            };
            let is_zs = step.kind == StepKind::LOOP_IMPEDANCE;
            let step = if is_zs { &there } else { step };
            let why = question
                .clone()
                .or_else(|| doubt.map(|doubt| doubted(before, doubt, verdict.as_ref())));
            let mut lines = vec![match doubt {
                Some(doubt @ (Doubt::MaybeVolts | Doubt::LoadOrShort)) => {
                    Line::question(which(step, reading, *doubt, wording))
                }
                _ => read_back(before, step, reading, why.as_deref(), form),
            }];
            if let Some(by) = calculated {
                let part = |reading: &Reading| bare_value(reading, wording);
                let outside = match by.by {
                    External::Ze => "Z e",
                    External::GivenZe => "Z e as given",
                    External::Zdb => "the loop at this board",
                };
                let sum = format!(
                    "By calculation, not measured: {outside} {} plus R1 plus R2 {}.",
                    part(&by.external),
                    part(&by.r1_r2)
                );
                lines.insert(0, Line::answer(sum));
            }
            if why.is_none()
                && let Some(pattern) = pattern_now(before, step, reading)
            {
                lines.push(Line::answer(pattern.spoken()));
            }
            lines
        }
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
        Event::JobChanged { .. } => amended::changed(before, after),
        Event::JudgedAnew { of, .. } => amended::judged_anew(*of, after).into_iter().collect(),
        Event::CorrectedAtDesk { .. }
        | Event::Noted { .. }
        | Event::Photographed { .. }
        | Event::SoundForgotten { .. }
        | Event::Struck { .. } => Vec::new(),
        Event::Probed {
            shown,
            came,
            refusal,
            ..
        } => practice::probed(before, shown, came, refusal.as_ref()),
        Event::SwitchedOn { circuit, .. } => vec![Line::read_back(format!(
            "The device of circuit {circuit} is on again."
        ))],
        Event::Came { came } => practice::came(before, came),
        Event::Predicted { of, reading, .. } => {
            vec![practice::predicted(*of, reading.as_ref(), wording)]
        }
        Event::Diagnosed { fault } => vec![practice::diagnosed(fault.as_ref())],
        Event::Revealed { faults, .. } => vec![practice::revealed(faults)],
        Event::Stated {
            step,
            statement,
            place,
        } => match before.step(step) {
            Some(step) => stated(step, *statement, place.as_ref(), form),
            None => Vec::new(),
        },
        Event::TakenOut { board, part, .. } => {
            let live = before.energised(*board).then(|| {
                if before.plan().isolation(*board).next().is_some() {
                    format!(
                        "Stop. You said it is energised: nothing is taken out or joined live. Isolate it and prove it dead: say {}.",
                        refusals::to_isolation()
                    )
                } else {
                    "Stop. The board is live and stays so: at this visit nothing is taken out or joined. What needs that is another job, with isolation.".to_owned()
                }
            });
            // Circuits are off, and what belongs to all of the board is not.
            let of_all = || {
                let stays_live = before.board(*board).is_some_and(Board::isolates_circuits);
                let of_all = matches!(part, Part::EarthingConductor | Part::Bond);
                (stays_live && of_all).then(|| {
                    "Stop. The rest of the board is live: earthing and bonds stay on. What needs them off is another job, with isolation.".to_owned()
                })
            };
            // Of a simulated installation it is known that nobody has switched it off yet.
            let never_off =
                || practice::is_never_off(before, event).then(|| practice::NEVER_OFF.to_owned());
            let live = live.or_else(of_all).or_else(never_off);
            let live = live.map(Line::warning);
            live.into_iter().chain(taken_out(after, form)).collect()
        }
        Event::SectionStated {
            section,
            steps,
            statement,
        } => vec![Line::read_back(format!(
            "Section {section}, {}: {}.",
            plural(count(steps.len()), "item", "items"),
            statement.said_back()
        ))],
        Event::Observed {
            code,
            circuit,
            place,
            item,
            ..
        } => {
            let beside = item.is_some();
            observed(*code, beside, *circuit, place.as_ref(), form)
        }
        Event::Ordered { .. } => Vec::new(),
        Event::AskedIfLive { .. } => vec![Line::warning(if_live(wording))],
        Event::SetAside { of } => match before.reading(*of) {
            Some(record) => vec![Line::answer(format!(
                "{} stays unaffirmed, and is shown so.",
                capital(&value(&record.reading, wording))
            ))],
            None => Vec::new(),
        },
        Event::StaysOff { circuit, .. } => {
            vec![Line::read_back(format!("Circuit {circuit} stays off."))]
        }
        Event::PutBack { entries } => put_back(before, entries, after, form),
        Event::ProposedAllBack { .. }
        | Event::AskedIfOut { .. }
        | Event::AskedAnew { .. }
        | Event::ProposedNeverOut { .. }
        | Event::ProposedStatement { .. }
        | Event::ProposedPoint { .. }
        | Event::ProposedCircuit { .. }
        | Event::ProposedFinish { .. } => match after.question() {
            Some(asked) => vec![Line::question(question(after, asked))],
            None => Vec::new(),
        },
        Event::NotTested { step, reason } | Event::Skipped { step, reason } => {
            let Some(step) = before.step(step) else {
                return Vec::new();
            };
            let how = match event {
                Event::NotTested { .. } => "Not tested",
                _ => "For later",
            };
            let subject = match subject(step) {
                empty if empty.is_empty() => step.stage.to_string(),
                subject => subject,
            };
            vec![Line::answer(format!("{how}: {subject}, {reason}."))]
        }
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
        Event::Refused { said, refusal } => practice::refused_and_never_off(before, said)
            .then(|| Line::warning(practice::NEVER_OFF))
            .into_iter()
            .chain([Line::warning(refusals::refusal(before, refusal))])
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
        Event::Asked { said } => vec![asked(before, said)],
        Event::NotTaken { spoken: true, .. } => Vec::new(),
        Event::NotTaken { words, .. } => vec![Line::answer(format!(
            "{} {}",
            asked::unknown(words),
            asked::what_is_taken(before)
        ))],
        Event::NeighbourHeard { .. } => Vec::new(),
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
        Event::Unpaused => {
            let asked = after
                .question()
                .map(|asked| Line::question(question(after, asked)));
            std::iter::once(Line::answer(recap(before)))
                .chain(asked)
                .collect()
        }
        Event::Finished { left_open, .. } => {
            let still_out = (*left_open > 0).then(|| Line::reminder(what_is_out(before)));
            let finished = "Finished. The log holds what was said and measured; it is not a certificate. A competent person decides and signs.";
            still_out
                .into_iter()
                .chain([Line::answer(finished)])
                .collect()
        }
    }
}

/// What is answered to a question about the session, or to what changes nothing in it.
fn asked(agenda: &Agenda, said: &Intent) -> Line {
    match said {
        Intent::SayAgain => {
            let again = prompt::in_full(agenda).again();
            let running = agenda.question().is_none() && agenda.mode() == Mode::Running;
            match agenda.current().filter(|_| running) {
                Some(step) => {
                    let text = about::with_circuit(step, &again.text);
                    Line { text, ..again }
                }
                None => again,
            }
        }
        Intent::WhereAreWe => Line::answer(where_are_we(agenda)),
        Intent::WhatIsOut => Line::answer(what_is_out(agenda)),
        Intent::HowLongIsLeft => Line::answer(about::how_long_is_left(agenda)),
        Intent::WhatIsLeft => Line::answer(asked::what_is_left(agenda)),
        // Who is asked what comes next asks for that.
        Intent::WhatIsNext if agenda.level() == Level::Asked => prompt::in_full(agenda).again(),
        Intent::WhatIsNext => Line::answer(asked::what_is_next(agenda)),
        Intent::WhatIsTheLimit => Line::answer(asked::what_is_the_limit(agenda)),
        Intent::WhatDidISay(circuit) => Line::answer(asked::what_was_said(agenda, *circuit)),
        Intent::Help => Line::answer(asked::what_can_be_said(agenda)),
        Intent::Altered(alteration) if alteration.part == Part::Lock => Line::answer("Lock off."),
        Intent::StaysOff(circuit) => Line::answer(format!("Circuit {circuit} stays off already.")),
        Intent::Altered(alteration) => {
            let listed = agenda.open_entries().find(|entry| {
                entry.part == alteration.part
                    && (alteration.place.is_none() || entry.place == alteration.place)
            });
            let what = listed.map_or_else(
                || {
                    let place = alteration.place.as_ref();
                    alteration.part.described(place, alteration.both, false)
                },
                OutEntry::what,
            );
            let are = if listed.is_some_and(|entry| entry.both) {
                "are"
            } else {
                "is"
            };
            Line::answer(format!("{} {are} on the list already.", capital(&what)))
        }
        Intent::Reading { .. }
        | Intent::Measured { .. }
        | Intent::Stated(_)
        | Intent::StatedAt { .. } => match agenda.question() {
            Some(asked) => Line::question(question(agenda, asked)),
            None => prompt(agenda).again(),
        },
        _ => Line::answer("Is this better?"),
    }
}

/// A reading said back, and nothing made of it.
fn bare_read_back(before: &Agenda, step: &Step, reading: &Reading) -> Line {
    read_back(before, step, reading, None, Form::Whole)
}

/// A reading said back, with where it landed when that was not where it was asked for, and as a
/// question when it surprises.
fn read_back(
    before: &Agenda,
    step: &Step,
    reading: &Reading,
    why: Option<&str>,
    form: Form,
) -> Line {
    let wording = before.delivery().wording;
    if form == Form::Bare {
        let asked = step.measure().map(|measure| measure.unit);
        let value = match reading.unit {
            Some(unit) if asked == Some(unit) && is_the_only_one(unit) => {
                bare_value(reading, wording)
            }
            _ => value(reading, wording),
        };
        return Line::read_back(format!("{}.", capital(&three_as_one(&value))));
    }
    let elsewhere = before
        .current()
        .is_some_and(|current| current.id != step.id);
    let mut what = Vec::new();
    if let Some(place) = &step.place {
        what.push(place.to_string());
    }
    if let Some(pair) = reading.pair {
        what.push(pair.spoken());
    }
    what.push(value(reading, wording));
    let text = if elsewhere {
        let named = [
            Some(subject(step)),
            about::test_name(step).map(str::to_owned),
        ];
        let named: Vec<_> = named
            .into_iter()
            .flatten()
            .filter(|n| !n.is_empty())
            .collect();
        format!(
            "Taken for {}: {}",
            named.join(", "),
            value(reading, wording)
        )
    } else {
        capital(&what.join(", "))
    };
    match why {
        Some(why) => Line::question(format!(
            "{text}? {}. {}, or correct.",
            capital(why),
            capital(wording.agree())
        )),
        None => Line::read_back(format!("{text}.")),
    }
}

/// Whether a value asked for in this unit is heard in no other: its unit need not be said back.
fn is_the_only_one(unit: Unit) -> bool {
    match unit {
        Unit::Ohm | Unit::MegOhm | Unit::MilliSecond => true,
        Unit::MilliOhm
        | Unit::KiloOhm
        | Unit::GigOhm
        | Unit::Volt
        | Unit::Amp
        | Unit::MilliAmp
        | Unit::KiloAmp => false,
    }
}

/// What a number could be, where that must be said.
fn which(step: &Step, reading: &Reading, doubt: Doubt, wording: Wording) -> String {
    let number = reading.number.map(|number| digits(number, wording));
    let number = capital(&number.unwrap_or_default());
    let unit = step
        .measure()
        .map_or("ohms", |measure| measure.unit.spoken());
    match doubt {
        Doubt::MaybeVolts => format!("{number}: {unit}, or volts?"),
        _ => format!(
            "{}: a load, or a short. Load out, or ohms? Say {}, or the ohms; or {}.",
            capital(&value(reading, wording)),
            "load out",
            wording.agree()
        ),
    }
}

/// Why a reading is asked about, in few words.
fn doubted(agenda: &Agenda, doubt: Doubt, verdict: Option<&Verdict>) -> String {
    let wording = agenda.delivery().wording;
    match doubt {
        Doubt::ReadBefore { reading } => match agenda.reading(reading) {
            Some(old) => format!("there is {} here already", value(&old.reading, wording)),
            None => "there is a reading here already".to_owned(),
        },
        Doubt::Verdict { expected } => {
            let why = verdict.map_or_else(|| "I was not sure".to_owned(), found);
            match expected {
                Some(expected) => {
                    format!("{why}; length and size give {}", digits(expected, wording))
                }
                None => why.to_owned(),
            }
        }
        Doubt::SomethingConnected => {
            "low, but not a dead short: something may be connected".to_owned()
        }
        Doubt::SaidBefore { event } => match about::answered_by(agenda, event) {
            Some(what) => format!("there is {what} here already"),
            None => "that is answered already".to_owned(),
        },
        Doubt::Short => "a short between live conductors".to_owned(),
        Doubt::LoadOrShort => "a load, or a short: load out, or ohms".to_owned(),
        Doubt::MaybeVolts => "it could be volts".to_owned(),
        Doubt::LeadsNotApart => {
            "leads apart should read over range: check the leads and the range".to_owned()
        }
        Doubt::LeadsNotJoined => format!(
            "leads joined should read about {}: check the leads",
            wording.digit('0')
        ),
    }
}

/// What a verdict finds, in few words; the remark is spoken once it is affirmed.
fn found(verdict: &Verdict) -> String {
    let what = found_in_short(verdict);
    if verdict.outcome == Outcome::Fail && !what.starts_with(OUTSIDE) {
        format!("{OUTSIDE}, {what}")
    } else {
        what.to_owned()
    }
}

/// What is never left out.
const OUTSIDE: &str = "outside the limit";

fn found_in_short(verdict: &Verdict) -> &'static str {
    match (verdict.finding, verdict.outcome) {
        (Some(Finding::SlippedDecimal), _) => "about ten times off: has the decimal point slipped",
        (Some(Finding::HigherThanExpected), _) => "higher than length and size give",
        (Some(Finding::LowerThanExpected), _) => "lower than length and size give",
        (Some(Finding::Open), _) => "no continuity",
        (Some(Finding::ShortCircuit), _) => "about nothing",
        (Some(Finding::LowForNewWork), _) => "within the limit, but low for sound wiring",
        (Some(Finding::ParallelPath), _) => "lower than the sum: a parallel path",
        (Some(Finding::HigherThanSum), _) => "higher than the sum",
        (Some(Finding::RestsOnRcd), _) => "outside the limit for the overcurrent device alone",
        (Some(Finding::UnstableElectrode), _) => "high for an electrode, and may not be stable",
        (Some(Finding::WithinWhenCorrected), _) => {
            "over 0.8 of the limit, but within it when corrected for heat"
        }
        (Some(Finding::LongForABond), _) => "more than a short bond reads",
        (Some(Finding::HigherThanDeclared), _) => "higher than is declared or usual",
        (Some(Finding::LowerThanZeGives), _) => "lower than Ze gives",
        (Some(Finding::HigherThanZeGives), _) => "far higher than Ze gives",
        (Some(Finding::BelowLeads), _) => "less than your leads alone read",
        (Some(Finding::MakersEnergy), _) => "only the maker's let-through energy tells",
        (Some(Finding::OtherTestVoltage), _) => "a higher test voltage than the table asks for",
        (Some(Finding::WrongUnit), _) => "that is another unit",
        (Some(Finding::RangeUnknown), _) => "over range, but past what",
        (Some(Finding::RingFault), _) => "that is not how a sound ring reads",
        (Some(Finding::Spur), _) => "it reads like a spur",
        (_, Outcome::Fail) => OUTSIDE,
        (_, Outcome::CannotSay) => "the limit can't be settled by that",
        (_, Outcome::Pass) => "within the limit, but unusual",
    }
}

/// Why a reading was asked about: as the log has it in words, or as it is doubted.
fn why_asked(agenda: &Agenda, record: &ReadingRecord) -> String {
    record
        .question
        .clone()
        .or_else(|| {
            let verdict = record.verdict.as_ref();
            record.doubt.map(|doubt| doubted(agenda, doubt, verdict))
        })
        .unwrap_or_else(|| "I was not sure".to_owned())
}

/// What the step takes, where the program leads and waits for an answer.
pub fn what_is_taken(agenda: &Agenda) -> Option<Line> {
    let waits = agenda.mode() == Mode::Running && agenda.level() == Level::Led;
    (waits && agenda.current().is_some()).then(|| Line::question(asked::what_is_taken(agenda)))
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

/// What was seen, by its code; danger is told as such. Beside an item, that has told the code.
fn observed(
    code: Statement,
    beside: bool,
    circuit: Option<u16>,
    place: Option<&Place>,
    form: Form,
) -> Vec<Line> {
    let circuit = circuit.map(|circuit| format!(", circuit {circuit}"));
    let place = place.map(|place| format!(", {place}"));
    let told = if beside {
        capital(code.code_means().unwrap_or_default())
    } else {
        format!("Observation, {}", about::code_with_meaning(code))
    };
    let read_back = Line::read_back(format!(
        "{told}{}{}.",
        circuit.unwrap_or_default(),
        place.unwrap_or_default()
    ));
    let danger = (code == Statement::DangerCodeOne).then(|| {
        Line::warning(
            "Danger present now. Make it safe at once if you may, keep people off it, and tell the person in charge before you leave it.",
        )
    });
    let what = Line::answer(match form {
        Form::Whole => "Say what you saw and where, then end of note.",
        Form::Bare | Form::Tone => "Say what, then end of note.",
    });
    std::iter::once(read_back)
        .chain(danger)
        .chain([what])
        .collect()
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
                verdict
                    .filter(|verdict| verdict.finding.is_some())
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

/// A statement said back, and what it means for the work.
fn stated(step: &Step, statement: Statement, place: Option<&Place>, form: Form) -> Vec<Line> {
    let at = place
        .map(|place| format!(" at {place}"))
        .unwrap_or_default();
    let said = format!("{}{at}", statement.said_back());
    let subject = match step.pair {
        Some(pair) => pair.spoken(),
        None => subject(step),
    };
    let text = if subject.is_empty() || form == Form::Bare {
        format!("{}.", capital(&said))
    } else {
        format!("{}, {said}.", capital(&subject))
    };
    let mut lines = vec![match form {
        Form::Tone => Line::tone(text),
        Form::Whole | Form::Bare => Line::read_back(text),
    }];
    lines.extend(after_statement(step, statement, form));
    lines
}

fn after_statement(step: &Step, statement: Statement, form: Form) -> Option<Line> {
    match (step.stage, statement) {
        (Stage::Isolation, Statement::NotProved) => Some(Line::warning(
            "The indicator is not proved. Nothing it showed counts. Get one that proves, and begin again.",
        )),
        (Stage::Isolation, Statement::Proved)
            if step.kind == StepKind::ProveAfter && form == Form::Whole =>
        {
            Some(Line::answer("Recorded as isolated and proved dead by you."))
        }
        (_, Statement::Energised) => {
            Some(Line::warning("You say it is energised. Live from here on."))
        }
        (_, Statement::SequenceReversed) => Some(Line::warning(
            "Sequence reversed. It stands as an exception: motors may run backwards.",
        )),
        (Stage::MakeSafe, Statement::StaysOn) => Some(Line::warning(
            "It stays on by their decision, and stands as an exception.",
        )),
        (Stage::LoopImpedance, Statement::PolarityReversed) => {
            Some(Line::warning("Polarity reversed, and it is live."))
        }
        (_, Statement::PolarityReversed) => Some(Line::warning(
            "Polarity reversed. Put it right and test again before energising.",
        )),
        (Stage::Functional, Statement::Fail | Statement::IndicatorRed) => Some(tell_in_charge()),
        (Stage::Rcd, _) if step.is_wrong(statement) => Some(Line::warning(
            "It should not do that. Tell the person in charge. It stands as an exception.",
        )),
        _ => None,
    }
}

/// A voltage at the incoming terminals that is not that of the supply.
fn no_supply_line() -> Line {
    Line::warning(
        "That is no sound supply: nothing is energised by it, and nothing more is measured of it. Touch nothing there; have it put right, or tell the distributor, then read it again.",
    )
}

/// What is wrong and live, and no danger by itself.
fn tell_in_charge() -> Line {
    Line::warning("Tell the person in charge. It stands as an exception.")
}

/// Something put on the out-list, said back.
fn taken_out(after: &Agenda, form: Form) -> Vec<Line> {
    let Some(entry) = after.out_list().last() else {
        return Vec::new();
    };
    let parked = entry
        .parked
        .map(|parked| format!(", {parked}"))
        .unwrap_or_default();
    let what = capital(&about::as_it_is(after, entry));
    // What is counted is told with how many there are by now.
    let same = |other: &&OutEntry| {
        (other.board, other.circuit) == (entry.board, entry.circuit)
            && other.what() == entry.what()
            && other.linked == entry.linked
    };
    let many = after.sure_entries().filter(same).count();
    let as_a_line = match form {
        Form::Tone if many <= 1 => Line::tone,
        _ => Line::read_back,
    };
    let mut lines = vec![as_a_line(match form {
        _ if many > 1 => format!("{what}{parked}. {many} of them are on the list."),
        Form::Whole => format!("{what}{parked}. On the list until it is back."),
        Form::Bare | Form::Tone if !entry.linked => format!("{what}{parked}."),
        Form::Bare | Form::Tone => {
            format!("{}{parked}.", capital(Change::Linked.shown()))
        }
    })];
    let circuit = entry
        .circuit
        .and_then(|number| after.circuit(entry.board, number));
    let feeds_on = circuit.is_some_and(|circuit| {
        let mut points = circuit.points.iter();
        points
            .any(|point| Some(place_of(point)) == entry.place && goes_on(Some(circuit.kind), point))
    });
    let one_of_two =
        matches!(entry.part, Part::Conductors(c) if c.count() == 1) && !entry.linked && !entry.both;
    if feeds_on && one_of_two {
        lines.push(Line::reminder(
            "The circuit goes on from there. Keep the two conductors joined together; say both when both are out.",
        ));
    }
    lines
}

/// Whether this very entry is what a step asks to be put back.
fn puts_back(agenda: &Agenda, step: &Step, entry: &OutEntry) -> bool {
    let here = (entry.board, entry.circuit) == (step.board, step.circuit);
    // A ring's ends are out for all of its test, which ends with them.
    if here && step.stage == Stage::Ring && entry.is_ring_end() {
        return true;
    }
    match step.kind {
        StepKind::PutBack => to_put_back(agenda.state(), step).any(|asked| asked.no == entry.no),
        StepKind::RingUncrossNeutral | StepKind::RingUncrossEarth => {
            here && matches!(entry.part, Part::Crossing(_))
        }
        StepKind::ContinuityUnlink
        | StepKind::InsulationUnlink
        | StepKind::InsulationReconnectedUnlink => here && entry.linked,
        _ => false,
    }
}

/// Entries that are back, said back, and what is not.
fn put_back(before: &Agenda, numbers: &[EventNo], after: &Agenda, form: Form) -> Vec<Line> {
    let mut lines: Vec<Line> = before
        .open_entries()
        .filter(|entry| numbers.contains(&entry.no))
        .map(|entry| {
            Line::read_back(if entry.linked {
                let place = entry.place.as_ref().filter(|_| form == Form::Whole);
                let what = entry.part.described(place, entry.both, false);
                match entry.part {
                    Part::Crossing(_) if form != Form::Whole => "Crossing off.".to_owned(),
                    Part::Crossing(_) => format!("Off: {what}."),
                    _ if form != Form::Whole => "Link off.".to_owned(),
                    _ => format!("Link off: {what}."),
                }
            } else {
                format!("{} back.", capital(&entry.what()))
            })
        })
        .collect();
    // What goes by one name is told once.
    lines.dedup();
    let ends = before
        .current()
        .filter(|now| now.kind == StepKind::RingEndsBack);
    let ends_left = |now: &Step| after.open_on(now.board, now.circuit?).next();
    if form != Form::Whole && ends.is_some_and(|now| ends_left(now).is_none()) {
        lines = vec![Line::read_back(format!(
            "{} back.",
            capital(&Part::RingEnds.shown(false))
        ))];
    }
    // In brief, what the step asked for now puts back is left to its own prompt. What else is out is told:
    // that its circuit will ask for it some time is no reason to be silent.
    let asked_for = |entry: &OutEntry| {
        let now = after.current().filter(|_| form != Form::Whole);
        now.is_some_and(|now| puts_back(after, now, entry))
    };
    let rest = about::out(after, |entry| !asked_for(entry));
    if !rest.is_empty() {
        lines.push(Line::reminder(format!(
            "Still out: {}.",
            about::out(after, |_| true)
        )));
    } else if form == Form::Whole {
        lines.push(Line::answer("Nothing is out."));
    }
    lines
}
