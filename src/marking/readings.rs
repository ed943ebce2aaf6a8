use crate::quantity::{Reading, Relation, Unit};
use crate::sequence::{EventNo, StepId};
use crate::terms::Place;
use serde::Serialize;

/// A reading that counts, and how it compares.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// The event that brought it.
    pub event: EventNo,
    /// The step it was taken for.
    pub step: StepId,
    /// Where.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// What was said.
    pub said: Reading,
    /// What was shown, or what the instructor's own log has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub is: Option<Reading>,
    /// How they compare.
    pub judgement: Judgement,
    /// The sound of it, by hash.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sound: Option<String>,
    /// How far the next other meaning of the sound was behind: small means that it may have been
    /// misheard.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<f64>,
    /// Whether its read-back was broken off, and the value was not told again: a value that may have been
    /// misheard does not count against the learner then.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub not_read_back: bool,
    /// Why an instructor struck it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub struck: Option<String>,
}

impl Judged {
    /// Whether it counts against the learner.
    pub fn is_wrong(&self) -> bool {
        self.struck.is_none() && self.judgement.is_wrong() && !self.is_excused()
    }

    /// Whether it is wrong and does not count, since it was never read back whole.
    pub fn is_excused(&self) -> bool {
        self.not_read_back && self.judgement.may_be_misheard()
    }
}

/// How a reading compares with what it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Judgement {
    /// As it was shown.
    AsShown,
    /// Within what two instruments may differ.
    Agrees,
    /// The digits, and the decimal point in the wrong place.
    Decimal,
    /// What was shown while the display was still moving.
    TooEarly,
    /// Another value: misread, or misheard.
    Other,
    /// Nothing was probed for it.
    NotProbed,
    /// There is nothing to compare it with.
    NotCompared,
}

impl Judgement {
    /// Whether it is wrong.
    pub fn is_wrong(self) -> bool {
        matches!(
            self,
            Self::Decimal | Self::TooEarly | Self::Other | Self::NotProbed
        )
    }

    /// Whether it may have been misheard. What equals a display that was moving, or that nothing was probed
    /// for, was heard as it was said.
    pub fn may_be_misheard(self) -> bool {
        matches!(self, Self::Decimal | Self::Other)
    }

    /// As it stands on a sheet.
    pub fn shown(self) -> &'static str {
        match self {
            Self::AsShown => "as shown",
            Self::Agrees => "agrees",
            Self::Decimal => "decimal point misplaced: misread, or misheard: listen",
            Self::TooEarly => "read before the display stood still",
            Self::Other => "misread, or misheard: listen",
            Self::NotProbed => "nothing was probed for it",
            Self::NotCompared => "not compared",
        }
    }
}

/// How what was said compares with what was shown, for which every digit counts.
pub(super) fn as_shown(said: &Reading, is: &Reading) -> Judgement {
    let over = |reading: &Reading| matches!(reading.relation, Relation::Over | Relation::OverRange);
    if over(said) || over(is) {
        let both = over(said) && over(is);
        let number = match (said.number, is.number) {
            (Some(a), Some(b)) => close(a.value() * scale(said), b.value() * scale(is), 1e-9),
            _ => true,
        };
        return if both && number {
            Judgement::AsShown
        } else {
            Judgement::Other
        };
    }
    let (a, b) = (said.size(), is.size());
    if said.relation == is.relation && close(a, b, 1e-9) {
        Judgement::AsShown
    } else {
        slipped(a, b)
    }
}

/// What an instrument may be wrong by: a share of the value, and digits of the last place shown. The
/// operating uncertainty of BS EN 61557 allows much more (30 %), what is sold is better; common
/// practice.
pub(crate) const INSTRUMENT: (f64, f64) = (0.05, 3.0);

/// How a reading compares with that of another instrument.
pub(super) fn between_instruments(said: &Reading, is: &Reading) -> Judgement {
    as_measured(said, is, INSTRUMENT.0, INSTRUMENT.1)
}

/// Whether two instruments that are right may show both.
pub(crate) fn agree(one: &Reading, other: &Reading) -> bool {
    between_instruments(one, other) == Judgement::Agrees
}

/// How a reading compares with another instrument's, each of which may be wrong by `share` of the
/// value and `digits` of the last place shown.
pub(super) fn as_measured(said: &Reading, is: &Reading, share: f64, digits: f64) -> Judgement {
    if said.agrees(is, share, digits) {
        Judgement::Agrees
    } else if said.is_over() || is.is_over() {
        Judgement::Other
    } else {
        slipped(said.size(), is.size())
    }
}

fn slipped(a: f64, b: f64) -> Judgement {
    let tens = [0.001, 0.01, 0.1, 10.0, 100.0, 1000.0];
    if tens.iter().any(|ten| close(a, b * ten, 0.02)) {
        Judgement::Decimal
    } else {
        Judgement::Other
    }
}

fn scale(reading: &Reading) -> f64 {
    reading.unit.map_or(1.0, Unit::scale)
}

fn close(a: f64, b: f64, share: f64) -> bool {
    (a - b).abs() <= share * a.abs().max(b.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ohms(text: &str) -> Reading {
        Reading::exact(text.parse().unwrap()).in_unit(Unit::Ohm)
    }

    #[test]
    fn every_digit_shown_counts() {
        assert_eq!(as_shown(&ohms("0.45"), &ohms("0.45")), Judgement::AsShown);
        assert_eq!(as_shown(&ohms("0.450"), &ohms("0.45")), Judgement::AsShown);
        assert_eq!(as_shown(&ohms("0.46"), &ohms("0.45")), Judgement::Other);
        assert_eq!(as_shown(&ohms("4.5"), &ohms("0.45")), Judgement::Decimal);
        let over = Reading::over_range();
        assert_eq!(as_shown(&over, &over), Judgement::AsShown);
        assert_eq!(as_shown(&over, &ohms("0.45")), Judgement::Other);
    }

    #[test]
    fn two_instruments_may_differ() {
        // 2 % of each and two digits of each: 0.45 and 0.49 differ by 0.04; allowed is 0.0588.
        let agrees = |a, b| as_measured(&ohms(a), &ohms(b), 0.02, 2.0);
        assert_eq!(agrees("0.45", "0.49"), Judgement::Agrees);
        assert_eq!(agrees("0.45", "0.60"), Judgement::Other);
        assert_eq!(agrees("4.5", "0.45"), Judgement::Decimal);
    }
}
