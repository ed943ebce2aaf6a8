//! Answers to questions that change nothing: what can be said, what is left, what a value may be, what
//! was said.

use super::line::Line;
use super::numbers::{capital, plural, value};
use super::{about, prompt, questions};
use crate::grammar::Intent;
use crate::installation::{Expectation, Phases};
use crate::limits::judge;
use crate::quantity::{Conductors, Number, Reading, Unit, tidy};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Mode, Quantity, Step, StepKind};
use crate::sequence::procedures::assess::measured_ze;
use crate::sequence::state::{OutEntry, Question, ReadingRecord, ReadingStatus};
use crate::terms::{Alteration, Change, Level, Part, ProsodyChange, ProsodyNow, Stage};

/// What is answered to a question about the session, or to what changes nothing in it; with how the voice is
/// now, where it was asked to speak otherwise.
pub(super) fn answered(agenda: &Agenda, said: &Intent, voice: Option<ProsodyNow>) -> Vec<Line> {
    let spoken = match (said, voice) {
        (Intent::ProsodyChange(manner), Some(now)) => Some(Line::answer(spoken_now(*manner, now))),
        _ => None,
    };
    std::iter::once(answer(agenda, said))
        .chain(spoken)
        .collect()
}

/// How the voice is since it was asked to speak otherwise.
fn spoken_now(asked: ProsodyChange, now: ProsodyNow) -> String {
    match (now, asked) {
        (ProsodyNow::AtItsEnd, ProsodyChange::Quieter) => "As quiet as it goes.".to_owned(),
        (ProsodyNow::AtItsEnd, ProsodyChange::Louder) => "As loud as it goes.".to_owned(),
        (ProsodyNow::AtItsEnd, ProsodyChange::Slower) => "As slow as it goes.".to_owned(),
        (ProsodyNow::AtItsEnd, ProsodyChange::Faster) => "As fast as it goes.".to_owned(),
        (ProsodyNow::Volume(percent), _) => format!("Volume {percent}."),
        (ProsodyNow::Rate(_), asked) => format!("{}.", capital(asked.shown())),
    }
}

fn answer(agenda: &Agenda, said: &Intent) -> Line {
    match said {
        Intent::SayAgain => {
            let asked = prompt::in_full(agenda);
            let running = agenda.question().is_none() && agenda.mode() == Mode::Running;
            match agenda.current().filter(|_| running) {
                Some(step) => Line::prompt(about::with_circuit(step, &asked.full, &asked.in_full)),
                None => asked.again(),
            }
        }
        Intent::WhereAreWe => Line::answer(about::where_are_we(agenda)),
        Intent::WhatIsOut => Line::answer(about::what_is_out(agenda)),
        Intent::HowLongIsLeft => Line::answer(about::how_long_is_left(agenda)),
        Intent::WhatIsLeft => Line::answer(what_is_left(agenda)),
        // Who is asked what comes next asks for that.
        Intent::WhatIsNext if agenda.level() == Level::Asked => prompt::in_full(agenda).again(),
        Intent::WhatIsNext => Line::answer(what_is_next(agenda)),
        Intent::WhatIsTheLimit => Line::answer(what_is_the_limit(agenda)),
        Intent::WhatDidISay(circuit) => Line::answer(what_was_said(agenda, *circuit)),
        Intent::Help => Line::answer(what_can_be_said(agenda)),
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
        | Intent::StatedAt { .. } => {
            questions::asked_now(agenda).unwrap_or_else(|| prompt::prompt(agenda).again())
        }
        _ => Line::answer("Is this better?"),
    }
}

/// As many phrases as a person keeps in mind.
const MOST_PHRASES: usize = 3;
/// As many readings as one listens to.
const MOST_READINGS: usize = 8;

/// A value as instruments show it, to say how one is said.
fn example(unit: Unit) -> Reading {
    let number = match unit {
        Unit::MegOhm | Unit::GigOhm => "299",
        Unit::Volt => "236",
        Unit::MilliSecond | Unit::MilliAmp => "23",
        Unit::KiloAmp => "1.2",
        _ => "0.34",
    };
    Reading::exact(number.parse().unwrap_or(Number::whole(1)))
}

/// What the step that is asked for takes: two or three phrases.
fn phrases(agenda: &Agenda) -> Vec<String> {
    let wording = agenda.delivery().wording;
    let prompt = prompt::in_full(agenda);
    let mut phrases: Vec<String> = Vec::new();
    let running = agenda.mode() == Mode::Running && agenda.question().is_none();
    let step = agenda.current().filter(|_| running);
    if let Some(measure) = step.and_then(Step::measure) {
        phrases.push(format!(
            "the value, such as {}",
            value(&example(measure.unit), wording)
        ));
    }
    phrases.extend(prompt.answers.iter().map(|answer| match answer {
        Intent::Affirm => wording.agree().to_owned(),
        Intent::Negative => wording.refuse().to_owned(),
        answer => answer.words(),
    }));
    if step.is_some_and(|step| step.kind == StepKind::PutBack) {
        let back = |part, place, both| {
            Intent::Altered(Alteration {
                part,
                change: Change::Back,
                place,
                both,
                parked: None,
            })
        };
        let first = agenda.open_entries().find(|entry| !entry.linked);
        let first = first.map(|entry| back(entry.part, entry.place.clone(), entry.both));
        let all = [first, Some(back(Part::Everything, None, false))];
        phrases.extend(all.iter().flatten().map(Intent::words));
    }
    if let Some(step) = step
        && agenda.procedure(step).answers(step).may_be_left_out
    {
        phrases.push("not tested, and the reason".to_owned());
    }
    phrases.truncate(MOST_PHRASES);
    phrases
}

/// "Say dead, or it is live."
pub(super) fn phrases_taken(agenda: &Agenda) -> String {
    let phrases = phrases(agenda);
    match phrases.split_last() {
        None => "Say again?".to_owned(),
        Some((only, [])) => format!("Say {only}."),
        Some((last, before)) => format!("Say {}, or {last}.", before.join(", ")),
    }
}

/// What the step takes, where the program leads and waits for an answer.
pub fn what_is_taken(agenda: &Agenda) -> Option<Line> {
    let waits = agenda.mode() == Mode::Running && agenda.level() == Level::Led;
    (waits && agenda.current().is_some()).then(|| Line::question(phrases_taken(agenda)))
}

/// What to say instead of what was said in the trade's other words: those for its meaning. A permission is not
/// put into anybody's mouth: there, as where it means nothing to any step, it is what the step takes.
pub fn words_instead(agenda: &Agenda, said: &Intent) -> Option<Line> {
    let line = what_is_taken(agenda)?;
    Some(match said {
        Intent::TradeTalk | Intent::Help => line,
        said if said.is_a_permission() => line,
        said => Line::question(format!("Say {}.", said.words())),
    })
}

/// What is of use at any step.
const WHENEVER: [Intent; 7] = [
    Intent::WhatIsOut,
    Intent::WhereAreWe,
    Intent::WhatIsTheLimit,
    Intent::WhatIsLeft,
    Intent::SayAgain,
    Intent::Note,
    Intent::Pause,
];

/// What can be said here, and whenever.
fn what_can_be_said(agenda: &Agenda) -> String {
    let whenever: Vec<String> = WHENEVER.iter().map(Intent::words).collect();
    let practised = if agenda.practises() {
        " In practice: what you do, such as ring ends out; where the probes are, such as probe line to neutral at socket one; the fault is, and its kind, conductor, place and circuit; or there is no fault."
    } else {
        ""
    };
    format!(
        "{} At any time: {}, go to and the test, circuit and its number.{practised}",
        phrases_taken(agenda),
        whenever.join(", ")
    )
}

/// The open steps, by stage.
fn what_is_left(agenda: &Agenda) -> String {
    let mut stages: Vec<(Stage, u32)> = Vec::new();
    for step in agenda.open_steps() {
        match stages.iter_mut().find(|(stage, _)| *stage == step.stage) {
            Some((_, count)) => *count += 1,
            None => stages.push((step.stage, 1)),
        }
    }
    if stages.is_empty() {
        return "Nothing is left to do.".to_owned();
    }
    let all: Vec<String> = stages
        .iter()
        .map(|(stage, count)| format!("{stage}, {}", plural(*count, "step", "steps")))
        .collect();
    format!("Left: {}.", all.join("; "))
}

/// The step after the one that is asked for.
fn what_is_next(agenda: &Agenda) -> String {
    let now = agenda.current().map(|step| step.order);
    let next = agenda.open_steps().find(|step| Some(step.order) > now);
    match next {
        Some(step) => {
            let (text, told) = prompt::first_comes(agenda, step);
            format!("After this: {}", about::with_circuit(step, &text, &told))
        }
        None => "Nothing comes after this.".to_owned(),
    }
}

/// What the value that is asked for may be, and what it should be by length and size.
fn what_is_the_limit(agenda: &Agenda) -> String {
    // A value that is asked about is the one that is meant.
    let doubted = match agenda.question() {
        Some(Question::Reading(no)) => agenda.reading(*no).and_then(|r| agenda.step(&r.step)),
        _ => None,
    };
    let Some(step) = doubted.or(agenda.current()) else {
        return "Nothing is asked for.".to_owned();
    };
    // The voltage of the supply is taken where its polarity is asked for.
    let voltage = || {
        let mut beside = agenda.plan().beside(step);
        beside.find(|other| other.stage == step.stage && other.measures(Quantity::SupplyVoltage))
    };
    let step = match step.measure() {
        None => voltage().unwrap_or(step),
        Some(_) => step,
    };
    if step.kind.is_trial() {
        return "At 250 volts one looks for what is connected; nothing is judged by it. The limit belongs to the test after it.".to_owned();
    }
    if step.measures(Quantity::LoopImpedance)
        && let Some(limit) = zs_that_may_be_read(agenda, step)
    {
        return limit;
    }
    let Some(measure) = step.measure() else {
        return format!(
            "Words are asked for here, not a value. {}",
            phrases_taken(agenda)
        );
    };
    let trial = Reading {
        unit: Some(measure.unit),
        pair: measure.pair,
        at: measure.at,
        ..example(measure.unit)
    };
    let assessed = agenda.procedure(step).assess(agenda.state(), step, &trial);
    let limit = assessed
        .verdict
        .map(|verdict| format!("Limit: {}. {}.", verdict.limit, verdict.clause));
    let expected = should_be(agenda, step).map(|expected| match expected.test.as_str() {
        Expectation::R1_R2 | Expectation::R2 => {
            format!("At the furthest point it should read {}.", expected.reads)
        }
        _ => format!("It should read {}.", expected.reads),
    });
    let all: Vec<String> = limit.into_iter().chain(expected).collect();
    if all.is_empty() {
        return "No limit is known for this value. It is noted.".to_owned();
    }
    all.into_iter()
        .chain(corrected(agenda, step))
        .collect::<Vec<_>>()
        .join(" ")
}

/// What is done to a reading before it is compared: a limit without it is not what the instrument may
/// show.
fn corrected(agenda: &Agenda, step: &Step) -> Option<String> {
    let measure = step.measure()?;
    let to_neutral = measure.pair.is_some_and(|pair| pair.to() == Conductors::N);
    if measure.quantity == Quantity::FaultCurrent {
        if agenda.job().supply.phases != Phases::Three || !to_neutral {
            return None;
        }
        let factor = agenda.state().tables().fault_current.three_phase_factor;
        let least = agenda.job().least_breaking(step.board);
        let read = least
            .and_then(|capacity| capacity.value())
            .map(|ka| format!(": it may read at most {} kiloamps", tidy(ka / factor)));
        return Some(format!(
            "On three phases line to neutral counts {} times{}.",
            tidy(factor),
            read.unwrap_or_default()
        ));
    }
    let with_leads = matches!(step.stage, Stage::Continuity | Stage::Ring);
    let leads = agenda.state().leads(None).filter(|_| with_leads)?;
    // Of nothing there is nothing to take off.
    if leads.size() == 0.0 {
        return None;
    }
    Some(format!(
        "Your leads, {}, are taken off what you read before it is compared.",
        value(&leads, agenda.delivery().wording)
    ))
}

/// The limit as an instrument may show it: at working temperature it is another one, which no cold
/// reading is compared with.
fn zs_that_may_be_read(agenda: &Agenda, step: &Step) -> Option<String> {
    let board = agenda.board(step.board)?;
    let circuit = agenda.circuit_of(step)?;
    let facts = agenda.job().facts(board, circuit);
    let tables = agenda.state().tables();
    let external = measured_ze(agenda.state(), step.board);
    let read = judge::zs_read_at_most(tables, &facts, external.as_ref())?;
    let hot = judge::zs_limit(tables, &facts).and_then(|limit| limit.ohms.value());
    let hot = hot
        .map(|hot| format!(", which is {} hot", tidy(hot)))
        .unwrap_or_default();
    Some(format!(
        "It may read at most {} ohms{hot}.",
        tidy(read.high())
    ))
}

/// What the job file gives for a value: see [`crate::installation::Job::expected`].
fn should_be(agenda: &Agenda, step: &Step) -> Option<Expectation> {
    let board = agenda.board(step.board)?;
    let tables = agenda.state().tables();
    let job = agenda.job();
    let all = job.expected(tables, board, agenda.circuit_of(step)?);
    let test = match step.measure()?.quantity {
        Quantity::R1R2 => Expectation::R1_R2,
        Quantity::R2 => Expectation::R2,
        Quantity::RingEndToEnd if step.conductor == Some(Conductors::E) => Expectation::RING_CPC,
        Quantity::RingEndToEnd => Expectation::RING_LIVES,
        Quantity::RingLineNeutral => Expectation::CROSSED_NEUTRAL,
        Quantity::RingLineEarth => Expectation::CROSSED_EARTH,
        Quantity::LoopImpedance => Expectation::ZS,
        _ => return None,
    };
    all.into_iter().find(|expected| expected.test == test)
}

/// One reading as it stands.
fn as_taken(agenda: &Agenda, record: &ReadingRecord) -> String {
    let value = value(&record.reading, agenda.delivery().wording);
    let Some(step) = agenda.step(&record.step) else {
        return value;
    };
    let name = [
        about::test_name(step).map(str::to_owned),
        Some(about::subject(step)),
        step.conductor.map(Conductors::spoken),
        step.measure()
            .and_then(|measure| measure.at)
            .map(|at| at.to_string()),
    ];
    let name: Vec<String> = name
        .into_iter()
        .flatten()
        .filter(|part| !part.is_empty())
        .collect();
    let by = match record.calculated {
        Some(_) => ", by calculation",
        None => "",
    };
    format!("{}{by}: {value}", name.join(", "))
}

/// The last reading that counts, or those of a circuit of the board.
fn what_was_said(agenda: &Agenda, circuit: Option<u16>) -> String {
    let counts = || {
        agenda
            .readings()
            .filter(|record| record.status == ReadingStatus::Counts)
    };
    let Some(number) = circuit else {
        return match counts().last() {
            Some(record) => format!("{}.", capital(&as_taken(agenda, record))),
            None => "No reading was taken yet.".to_owned(),
        };
    };
    let on = |board: Option<u16>| {
        move |record: &&ReadingRecord| {
            agenda.step(&record.step).is_some_and(|step| {
                step.circuit == Some(number) && board.is_none_or(|board| step.board == board)
            })
        }
    };
    // Of the board one works at, or of another where this one has no such reading.
    let here = agenda.current().map(|step| step.board);
    let board = here.filter(|_| counts().any(|record| on(here)(&record)));
    let of_circuit = on(board);
    let all: Vec<String> = counts()
        .filter(of_circuit)
        .map(|record| as_taken(agenda, record))
        .collect();
    if all.is_empty() {
        return format!("No reading of circuit {number} was taken yet.");
    }
    let from = all.len().saturating_sub(MOST_READINGS);
    let more = match from {
        0 => String::new(),
        n => format!(" {} before that.", plural(n, "reading", "readings")),
    };
    let shown = all.get(from..).unwrap_or_default();
    format!("{}.{more}", capital(&shown.join("; ")))
}

/// That words mean nothing here.
pub(super) fn unknown(words: &str) -> String {
    format!("I don't know \"{words}\" here.")
}
