//! Things of the house put into the words of a schedule.

use crate::installation::{CircuitKind, InstrumentUse, JobKind};
use crate::limits::Outcome;
use crate::quantity::{Reading, Unit};
use crate::sequence::{Agenda, Quantity, Step, StepKind};
use crate::terms::{Statement, Wording};
use jiff::{SignedDuration, Timestamp, civil::Date, tz::TimeZone};

/// A sign and words for an outcome: never colour alone, and never "safe".
pub fn outcome(outcome: Outcome) -> (&'static str, &'static str) {
    match outcome {
        Outcome::Pass => ("✓", "within the limit"),
        Outcome::Fail => ("✗", "outside the limit"),
        Outcome::CannotSay => ("?", "cannot say"),
    }
}

/// The kind of a job.
pub fn job_kind(kind: JobKind) -> &'static str {
    match kind {
        JobKind::InitialVerification => "Initial verification",
        JobKind::PeriodicInspection => "Periodic inspection",
        JobKind::MinorWorks => "Minor works",
        JobKind::LiveRetest => "Live re-test",
    }
}

/// The kind of a circuit.
pub fn circuit_kind(kind: CircuitKind) -> &'static str {
    match kind {
        CircuitKind::Radial => "radial",
        CircuitKind::Ring => "ring final",
        CircuitKind::Lighting => "lighting",
        CircuitKind::SinglePoint => "single point",
        CircuitKind::Motor => "motor",
        CircuitKind::Distribution => "distribution",
    }
}

/// What an instrument is used for.
pub fn instrument_use(used: InstrumentUse) -> &'static str {
    match used {
        InstrumentUse::VoltageIndication => "voltage indication",
        InstrumentUse::Continuity => "continuity",
        InstrumentUse::Insulation => "insulation resistance",
        InstrumentUse::Loop => "loop impedance",
        InstrumentUse::Rcd => "RCD",
        InstrumentUse::PhaseSequence => "phase sequence",
    }
}

/// What a step is, in the words of a schedule: "insulation resistance L-N at 500 V".
pub fn step(agenda: &Agenda, step: &Step) -> String {
    let label = agenda.procedure(step).label(step);
    let Some(measure) = step.measure() else {
        return label.unwrap_or_else(|| step.stage.to_string());
    };
    let mut text = label.unwrap_or_else(|| measure.quantity.shown().to_owned());
    if measure.quantity == Quantity::RingEndToEnd {
        text = format!("ring {}", last(step));
    } else if matches!(
        measure.quantity,
        Quantity::LeadsOpen | Quantity::LeadsShorted
    ) {
        let range = if measure.unit == Unit::MegOhm {
            "insulation range"
        } else {
            "continuity range"
        };
        text = format!("{range}, {text}");
    } else if let Some(pair) = measure.pair {
        text = format!("{text} {pair}");
    }
    if let Some(at) = measure.at {
        text = format!("{text} at {at}");
    }
    if let Some(half) = measure.half {
        text = format!("{text}, {half}");
    }
    // Zs is read where R1+R2 was highest.
    let there = agenda
        .result(step)
        .filter(|_| measure.quantity == Quantity::LoopImpedance)
        .and_then(|record| record.place.as_ref());
    if let Some(place) = there.or(step.place.as_ref()) {
        text = format!("{text}, {place}");
    }
    if step.kind == StepKind::InsulationTwoWay {
        text.push_str(", switches in the other position");
    }
    text
}

/// The last part of a step's name.
pub fn last(step: &Step) -> &str {
    step.id.tail.rsplit('/').next().unwrap_or_default()
}

/// A value with its unit, as written: ">999 MΩ", "over range", "0.34 Ω".
pub fn value(reading: &Reading) -> String {
    match (reading.number, reading.unit) {
        (Some(_), Some(unit)) => format!("{} {}", reading.shown(), unit.symbol()),
        _ => reading.shown(),
    }
}

/// A number without noughts that say nothing: 32, 2.5.
pub fn plain(number: f64) -> String {
    format!("{number}")
}

/// What was said when voltage was found: a voltage, or the word.
pub fn voltage_found(reading: Option<&Reading>, heard: Option<&str>) -> String {
    match (reading, heard) {
        (_, Some(heard)) => heard.to_owned(),
        (Some(reading), None) => crate::sequence::say::value(reading, Wording::Radio),
        (None, None) => Statement::Live.shown().to_owned(),
    }
}

/// Who was heard beside the learner.
pub fn neighbour(whose: Option<&str>) -> String {
    match whose {
        Some(whose) => format!("(heard from {whose})"),
        None => "(heard from a neighbour)".to_owned(),
    }
}

/// What meant nothing, as typed or as it was heard.
pub fn not_taken(words: &str, spoken: bool) -> String {
    match (words, spoken) {
        (_, false) => format!("{words} (not taken)"),
        ("", true) => "(spoken, and left alone)".to_owned(),
        (_, true) => format!("(spoken, and left alone; nearest to \"{words}\")"),
    }
}

/// The word that the person said.
pub fn stated(statement: Statement) -> &'static str {
    match statement {
        Statement::Dead => Statement::Dead.spoken(),
        other => other.shown(),
    }
}

/// How times are shown: in which zone.
#[derive(Debug, Clone)]
pub struct Times(TimeZone);

impl Times {
    /// In this zone.
    pub fn of(zone: TimeZone) -> Self {
        Self(zone)
    }

    /// In UTC, as the log keeps them.
    pub fn utc() -> Self {
        Self(TimeZone::UTC)
    }

    /// In the zone this machine is set to.
    pub fn here() -> Self {
        Self(TimeZone::system())
    }

    /// 25 November 2026
    pub fn date(&self, at: Timestamp) -> String {
        day(at.to_zoned_datetime(self.0.clone()).date())
    }

    /// 09:30:05
    pub fn clock(&self, at: Timestamp) -> String {
        at.to_zoned_datetime(self.0.clone())
            .strftime("%H:%M:%S")
            .to_string()
    }

    /// 25 November 2026, 09:30 GMT
    pub fn minute(&self, at: Timestamp) -> String {
        at.to_zoned_datetime(self.0.clone())
            .strftime("%-d %B %Y, %H:%M %Z")
            .to_string()
    }

    /// The zone.
    pub fn zone(&self) -> &TimeZone {
        &self.0
    }

    /// The zone's name: UTC, Europe/London.
    pub fn zone_name(&self) -> String {
        match self.0.iana_name() {
            // Names of one and the same zone in the zone database.
            Some("Etc/UTC" | "Etc/UCT" | "Etc/Universal" | "Etc/Zulu" | "Etc/Unknown") => "UTC",
            Some(name) => name,
            None => "local time",
        }
        .to_owned()
    }
}

/// A day as it is read here: 25 November 2026.
pub fn day(date: Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}

/// A length of time: "48 s", "4 min 05 s", "2 h 03 min".
pub fn length(time: SignedDuration) -> String {
    let seconds = time.as_secs().max(0);
    match seconds {
        0..60 => format!("{seconds} s"),
        60..3600 => format!("{} min {:02} s", seconds / 60, seconds % 60),
        _ => format!("{} h {:02} min", seconds / 3600, seconds % 3600 / 60),
    }
}
