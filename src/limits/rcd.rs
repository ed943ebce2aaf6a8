//! Residual current devices: break times by type and multiple of the rated residual current
//! (BS EN 61008-1, BS EN 61009-1), verified as BS 7671 643.7.1 and 643.8 ask.

use super::facts::Residual;
use super::kinds::RcdDelay;
use super::tables::Tables;
use super::verdict::{Finding, Outcome, Verdict};
use super::words::{Said, ToSaid as _, said};
use crate::quantity::{MilliSeconds, Reading, Relation, Truth};
use serde::{Deserialize, Serialize};

/// The test current as a multiple of the rated residual operating current IΔn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Multiple {
    /// 0.5 IΔn: must not trip.
    Half,
    /// IΔn.
    Once,
    /// 2 IΔn.
    Twice,
    /// 5 IΔn.
    Five,
}

impl Multiple {
    /// As a number.
    pub fn factor(self) -> f64 {
        match self {
            Self::Half => 0.5,
            Self::Once => 1.0,
            Self::Twice => 2.0,
            Self::Five => 5.0,
        }
    }
}

/// Shortest and longest break time at a multiple; nothing at half, where it must not trip.
pub fn break_time(tables: &Tables, delay: RcdDelay, multiple: Multiple) -> Option<MilliSeconds> {
    let times = tables.break_times(delay);
    let (least, most) = match multiple {
        Multiple::Half => return None,
        Multiple::Once => (times.once_least, times.once),
        Multiple::Twice => (times.twice_least, times.twice),
        Multiple::Five => (times.five_least, times.five),
    };
    Some(MilliSeconds::between(least, most))
}

/// Compares one trip time with the standard. "Over range" is what instruments show when the
/// device did not trip: right at half, wrong at any other multiple.
pub fn verdict(tables: &Tables, rcd: &Residual, multiple: Multiple, reading: &Reading) -> Verdict {
    let clause = &tables.rcd.clause;
    let current = rcd.milliamps.times(multiple.factor());
    let at = said!(TestCurrent, multiple.factor(), rcd.milliamps, current);
    let untripped = matches!(reading.relation, Relation::OverRange);
    let limits = break_time(tables, rcd.delay, multiple);
    let limit = match limits {
        None => said!(NoTripAt, current),
        Some(l) if l.low() > 0.0 => said!(BetweenMs, l.low(), l.high(), current),
        Some(l) => said!(AtMostMs, l.high(), current),
    };
    let made = |outcome, arithmetic: Said| {
        Verdict::new(tables, outcome, limit.clone(), clause, arithmetic)
    };
    let time = match MilliSeconds::from_reading(reading, None) {
        Ok(time) => time,
        Err(wrong) => {
            return made(Outcome::CannotSay, reading.to_said())
                .found(Finding::WrongUnit, wrong.to_said());
        }
    };
    let Some(limits) = limits else {
        // Above half the standard lets it trip at any time; a shown time means that it did.
        let tripped = matches!(reading.relation, Relation::Exact | Relation::Under);
        return if tripped {
            made(Outcome::Fail, said!(ItTripped, at, time)).remarked(said!(TrippedAtHalf))
        } else {
            made(Outcome::Pass, said!(DidNotTrip, at))
        };
    };
    if untripped {
        return made(Outcome::Fail, said!(DidNotTrip, at)).remarked(said!(NotTripped));
    }
    let holds = time.is_within(limits);
    let arithmetic = match holds {
        Truth::Yes => said!(TimeWithin, at, time, limits_shown(limits)),
        Truth::No if time.low() > limits.high() => said!(TimeMore, at, time, limits.high()),
        Truth::No => said!(TimeLess, at, time, limits.low()),
        Truth::CannotSay => said!(TimeAgainst, at, time, limits_shown(limits)),
    };
    let verdict = made(holds.into(), arithmetic);
    if holds == Truth::No && time.high() < limits.low() {
        return verdict.remarked(said!(TooQuick));
    }
    verdict
}

fn limits_shown(limits: MilliSeconds) -> Said {
    if limits.low() > 0.0 {
        limits.to_said()
    } else {
        said!(ToMs, limits.high())
    }
}

/// The slower of the two half-cycles, which is the one to record. A time that did not come, "over
/// range", is slower than any.
pub fn slower<'r>(zero: &'r Reading, one_eighty: &'r Reading) -> &'r Reading {
    let time = |r: &Reading| match r.relation {
        Relation::OverRange => f64::INFINITY,
        _ => MilliSeconds::from_reading(r, None).map_or(f64::INFINITY, |t| t.low()),
    };
    if time(one_eighty) > time(zero) {
        one_eighty
    } else {
        zero
    }
}
