//! Things of the house put into the words of a schedule.

use crate::installation::{CircuitKind, InstrumentUse, JobKind};
use crate::limits::Outcome;
pub use crate::sequence::say::{step_named as step, voltage_found, written as value};
use crate::terms::Statement;
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

/// A number without noughts that say nothing: 32, 2.5.
pub fn plain(number: f64) -> String {
    format!("{number}")
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
