//! Readings said back, and why one is asked about.

use super::about::{self, subject};
use super::brief::Form;
use super::line::Line;
use super::numbers::{bare_value, capital, digits, three_as_one, value};
use crate::limits::{Finding, Outcome, Verdict};
use crate::quantity::{Reading, Unit};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Doubt, Event, External, Step, StepKind};
use crate::sequence::procedures::pattern_now;
use crate::sequence::state::ReadingRecord;
use crate::terms::Wording;

/// What is said of a reading.
pub(super) fn taken(before: &Agenda, event: &Event, form: Form) -> Vec<Line> {
    let Event::Reading {
        step,
        reading,
        verdict,
        doubt,
        question,
        calculated,
        place,
        ..
    } = event
    else {
        return Vec::new();
    };
    let Some(step) = before.step(step) else {
        return Vec::new();
    };
    let wording = before.delivery().wording;
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

/// A reading said back, and nothing made of it.
pub(super) fn bare_read_back(before: &Agenda, step: &Step, reading: &Reading) -> Line {
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
pub(super) fn which(step: &Step, reading: &Reading, doubt: Doubt, wording: Wording) -> String {
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
    let fails = verdict.outcome == Outcome::Fail;
    match verdict.finding.and_then(found_in_short) {
        // What is never left out; but these words hold it.
        Some(what) if fails && verdict.finding != Some(Finding::RestsOnRcd) => {
            format!("{OUTSIDE}, {what}")
        }
        Some(what) => what.to_owned(),
        None => match verdict.outcome {
            Outcome::Fail => OUTSIDE,
            Outcome::CannotSay => "the limit can't be settled by that",
            Outcome::Pass => "within the limit, but unusual",
        }
        .to_owned(),
    }
}

/// What is never left out.
pub(super) const OUTSIDE: &str = "outside the limit";

/// A finding in few words, where its outcome does not say it.
fn found_in_short(finding: Finding) -> Option<&'static str> {
    Some(match finding {
        Finding::SlippedDecimal => "about ten times off: has the decimal point slipped",
        Finding::HigherThanExpected => "higher than length and size give",
        Finding::LowerThanExpected => "lower than length and size give",
        Finding::Open => "no continuity",
        Finding::ShortCircuit => "about nothing",
        Finding::LowForNewWork => "within the limit, but low for sound wiring",
        Finding::ParallelPath => "lower than the sum: a parallel path",
        Finding::HigherThanSum => "higher than the sum",
        Finding::RestsOnRcd => "outside the limit for the overcurrent device alone",
        Finding::UnstableElectrode => "high for an electrode, and may not be stable",
        Finding::WithinWhenCorrected => {
            "over 0.8 of the limit, but within it when corrected for heat"
        }
        Finding::LongForABond => "more than a short bond reads",
        Finding::HigherThanDeclared => "higher than is declared or usual",
        Finding::LowerThanZeGives => "lower than Ze gives",
        Finding::HigherThanZeGives => "far higher than Ze gives",
        Finding::BelowLeads => "less than your leads alone read",
        Finding::MakersEnergy => "only the maker's let-through energy tells",
        Finding::OtherTestVoltage => "a higher test voltage than the table asks for",
        Finding::WrongUnit => "that is another unit",
        Finding::RangeUnknown => "over range, but past what",
        Finding::RingFault => "that is not how a sound ring reads",
        Finding::Spur => "it reads like a spur",
        Finding::LoadConnected
        | Finding::NeutralEarthFault
        | Finding::LineEarthFault
        | Finding::AllLow => return None,
    })
}

/// Why a reading was asked about: as the log has it in words, or as it is doubted.
pub(super) fn why_asked(agenda: &Agenda, record: &ReadingRecord) -> String {
    record
        .question
        .clone()
        .or_else(|| {
            let verdict = record.verdict.as_ref();
            record.doubt.map(|doubt| doubted(agenda, doubt, verdict))
        })
        .unwrap_or_else(|| "I was not sure".to_owned())
}
