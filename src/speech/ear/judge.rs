use super::pair::Candidate;
use super::search::{Hypothesis, PhoneLoop};
use super::{EarError, models};
use crate::grammar::Intent;
use crate::quantity::Reading;
use crate::speech::{Decision, Scores, is_lone_digit};
use serde::Deserialize;
use std::path::Path;

/// What stands in `models/thresholds.toml`: the bounds for one model, and those for the sum of two.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bounds {
    /// How much each of two ears counts in the sum of their scores.
    pub ear_weights: [f32; 2],
    /// How much a take that was in doubt counts beside its repetition.
    pub earlier_take: f32,
    /// Where one model hears.
    pub one_ear: Thresholds,
    /// Where two hear, for the sums of their scores.
    pub two_ears: Thresholds,
}

impl Bounds {
    /// Those that ship with the program.
    ///
    /// # Errors
    /// When `models/thresholds.toml` does not hold them.
    pub fn shipped() -> Result<Self, EarError> {
        Self::read(include_str!("../../../models/thresholds.toml"))
            .map_err(|e| EarError::Thresholds("models/thresholds.toml".to_owned(), e.to_string()))
    }

    /// Those of another file of the same form.
    ///
    /// # Errors
    /// When the file cannot be read or does not hold them.
    pub fn open(path: &Path) -> Result<Self, EarError> {
        let wrong = |e: String| EarError::Thresholds(path.display().to_string(), e);
        let text = std::fs::read_to_string(path).map_err(|e| wrong(e.to_string()))?;
        Self::read(&text).map_err(|e| wrong(e.to_string()))
    }

    fn read(text: &str) -> Result<Self, toml::de::Error> {
        toml::from_str(text)
    }
}

/// When to take a reading, to ask again or to leave it alone.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thresholds {
    /// When it was none of our words.
    pub not_for_us: NotForUs,
    /// When it is asked again.
    pub ask_again: AskAgain,
    /// How likely it is that the likeliest meaning is right.
    pub probability: Probability,
    /// How words that are not ours compete.
    pub strangers: StrangerBounds,
    /// How longer readings are weighed.
    pub longer: Longer,
}

/// How a reading with more words is weighed against one with fewer. Every word costs what the grammar
/// asks for it, so that "eight" would win over "eight eight" by its shortness.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Longer {
    /// Added for each word in a second search, which finds the longer ones.
    pub reward: f32,
    /// What a word more may cost between two readings.
    pub worth: f32,
}

impl Longer {
    /// What a reading of so many words gains on one of `fewer`.
    fn gain(self, words: usize, fewer: usize) -> f32 {
        self.worth * (words as f32 - fewer as f32)
    }
}

/// How words that are not ours compete with our commands.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StrangerBounds {
    /// Added to the log weight of the command that a stranger is near to.
    pub weight: f32,
    /// A stranger that is likelier than a command by no more than this is asked about.
    pub near: f32,
    /// A permission of one or two words that is less probable than this is asked again.
    pub permission_below: f32,
}

/// Bounds below which it was none of our words.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NotForUs {
    /// The fit, natural logarithm for each phone.
    pub fit_below: f32,
}

/// Bounds below which the reading is in doubt.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AskAgain {
    /// The probability, 0 to 1.
    pub probability_below: f32,
    /// Also whatever fits worse than this, but for a warning: of nearly all that is ours nothing fits so ill.
    pub poor_fit_below: f32,
    /// Also when the likeliest meaning of one ear is not that of the other. With one, nothing.
    #[serde(default)]
    pub when_ears_differ: bool,
}

/// The probability that the likeliest meaning is the right one, from the two scores: the logistic
/// function of `constant + margin * ln(1 + margin, at most margin_cap) + fit * fit`.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Probability {
    /// Added whatever the scores.
    pub constant: f32,
    /// Weight of the margin.
    pub margin: f32,
    /// A margin is not counted beyond this, in the unit of the scores.
    pub margin_cap: f32,
    /// Weight of the fit.
    pub fit: f32,
}

impl Probability {
    /// From 0 to 1; not a number when a score is not one.
    pub fn of(&self, scores: Scores) -> f32 {
        if scores.margin.is_nan() {
            return f32::NAN;
        }
        let margin = scores.margin.clamp(0.0, self.margin_cap);
        // Not the C library's, which differ from one processor to another in the last bit.
        let margin = libm::log1pf(margin);
        let z = self.constant + self.margin * margin + self.fit * scores.llr_per_phone;
        1.0 / (1.0 + libm::expf(-z))
    }
}

impl Thresholds {
    /// Those of the engine that ships: of two ears where it has two.
    ///
    /// # Errors
    /// When `models/thresholds.toml` does not hold them.
    pub fn shipped() -> Result<Self, EarError> {
        let bounds = Bounds::shipped()?;
        Ok(if models::SECOND.is_some() {
            bounds.two_ears
        } else {
            bounds.one_ear
        })
    }

    /// Puts the likeliest first and gives its margin before the next; `width` where there is no next.
    /// The candidates come with the greatest score first. `ears` is how many models' scores are summed.
    pub(super) fn ranked(&self, candidates: &mut [Candidate], ears: f32, width: f32) -> f32 {
        // How much likelier `a` is than `b`.
        let over = |a: &Candidate, b: &Candidate| {
            let length = match (&a.said, &b.said) {
                (Some(Intent::Reading { .. }), Some(Intent::Reading { .. })) => self
                    .longer
                    .gain(a.hypothesis.words.len(), b.hypothesis.words.len()),
                _ => 0.0,
            };
            a.hypothesis.score - b.hypothesis.score + ears * length
        };
        if let Some((first, others)) = candidates.split_first_mut()
            && let Some(better) = others
                .iter_mut()
                .filter(|other| over(other, first) > 0.0)
                .max_by(|a, b| over(a, first).total_cmp(&over(b, first)))
        {
            std::mem::swap(first, better);
        }
        let Some((first, others)) = candidates.split_first_mut() else {
            return 0.0;
        };
        others.sort_by(|a, b| over(first, a).total_cmp(&over(first, b)));
        others
            .first()
            .map_or(width, |next| over(first, next).max(0.0))
    }

    /// What to do with words of ours that scored so. What fits ill is asked about, unless it warns.
    pub fn of_ours(&self, scores: Scores, said: &Intent, words: &str) -> Decision {
        match self.whatever_the_fit(scores, said, words) {
            Decision::Accept if self.fits_ill(scores, said) => Decision::Confirm,
            decision => decision,
        }
    }

    /// Whether words of ours would be taken but for how ill they fit.
    pub fn only_fits_ill(&self, scores: Scores, said: &Intent, words: &str) -> bool {
        self.whatever_the_fit(scores, said, words) == Decision::Accept
            && self.fits_ill(scores, said)
    }

    fn fits_ill(&self, scores: Scores, said: &Intent) -> bool {
        scores.llr_per_phone < self.ask_again.poor_fit_below && !said.is_a_warning()
    }

    /// One digit by itself is asked about whatever its scores; a permission in one or two words is
    /// taken more strictly than anything else.
    fn whatever_the_fit(&self, scores: Scores, said: &Intent, words: &str) -> Decision {
        let taken = self.outcome(scores);
        if taken != Decision::Accept {
            return taken;
        }
        let short = words.split_whitespace().count() <= 2;
        let doubtful = self.probability.of(scores) < self.strangers.permission_below;
        if is_lone_digit(words, said) || (short && said.is_a_permission() && doubtful) {
            return Decision::Confirm;
        }
        Decision::Accept
    }

    /// What to do when a word that is not ours is likeliest: it is left alone, or asked about when
    /// `next`, of ours, is near.
    pub fn of_a_stranger(&self, scores: Scores, next: Option<&Intent>) -> Decision {
        match self.outcome(scores) {
            Decision::Reject => Decision::Reject,
            _ if next.is_some() && scores.margin <= self.strangers.near => Decision::Confirm,
            _ => Decision::Reject,
        }
    }

    /// What to do with a reading that scored so.
    pub fn outcome(&self, scores: Scores) -> Decision {
        // A score that is not a number is never taken.
        if scores.llr_per_phone.is_nan() || scores.llr_per_phone < self.not_for_us.fit_below {
            Decision::Reject
        } else if self.probability.of(scores) >= self.ask_again.probability_below {
            Decision::Accept
        } else {
            Decision::Confirm
        }
    }
}

/// (the sound's part of `best` - free path) / phones of the free path. The grammar's weights are
/// left out: a rare short command would look like noise by them.
pub(crate) fn fit(best: &Hypothesis, free: PhoneLoop) -> f32 {
    (best.score - best.weight - free.score) / free.phones.max(1) as f32
}

/// Whether two meanings are the same for the person: readings are compared by value, and by unit
/// only when both name one, because most readings are said without.
pub fn same_meaning(a: &Intent, b: &Intent) -> bool {
    match (a, b) {
        (
            Intent::Reading {
                reading: x,
                place: p,
                half: g,
            },
            Intent::Reading {
                reading: y,
                place: q,
                half: h,
            },
        ) => same_reading(x, y) && p == q && g == h,
        (Intent::Correction(Some(x)), Intent::Correction(Some(y))) => same_meaning(x, y),
        _ => a == b,
    }
}

fn same_reading(a: &Reading, b: &Reading) -> bool {
    let number = match (a.number, b.number) {
        (Some(x), Some(y)) => x.same_value(y),
        (x, y) => x == y,
    };
    let unit = a.unit.is_none() || b.unit.is_none() || a.unit == b.unit;
    number && unit && a.relation == b.relation && a.pair == b.pair && a.at == b.at
}

/// Whether `said` is, or corrects to, a meaning that was just refused.
pub fn refused(said: &Intent, excluded: &[Intent]) -> bool {
    let meant = match said {
        Intent::Correction(Some(inner)) => inner,
        other => other,
    };
    excluded.iter().any(|e| same_meaning(e, meant))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Pair, Unit};

    fn reading(number: &str) -> Reading {
        Reading::exact(number.parse().unwrap())
    }

    fn said(reading: Reading) -> Intent {
        Intent::Reading {
            reading,
            place: None,
            half: None,
        }
    }

    #[test]
    fn a_unit_left_unsaid_does_not_change_the_meaning() {
        let bare = said(reading("0.34"));
        assert!(same_meaning(
            &bare,
            &said(reading("0.34").in_unit(Unit::Ohm))
        ));
        assert!(same_meaning(&bare, &said(reading("0.340"))));
        assert!(!same_meaning(
            &said(reading("0.34").in_unit(Unit::MegOhm)),
            &said(reading("0.34").in_unit(Unit::Ohm))
        ));
        assert!(!same_meaning(
            &bare,
            &said(reading("0.34").between(Pair::LN))
        ));
    }

    #[test]
    fn a_refused_value_is_refused_in_a_correction_too() {
        let value = said(reading("999"));
        let again = Intent::Correction(Some(Box::new(value.clone())));
        assert!(refused(&value, std::slice::from_ref(&value)));
        assert!(refused(&again, std::slice::from_ref(&value)));
        assert!(!refused(&Intent::Affirm, &[value]));
    }

    #[test]
    fn three_outcomes_in_order_of_doubt() {
        let thresholds = Thresholds::shipped().unwrap();
        let outcome = |fit, margin| {
            thresholds.outcome(Scores {
                llr_per_phone: fit,
                margin,
                phones: 9,
            })
        };
        assert_eq!(outcome(-0.1, 30.0), Decision::Accept);
        assert_eq!(outcome(-0.1, 0.1), Decision::Confirm);
        assert_eq!(outcome(-9.0, 30.0), Decision::Reject);
        assert_eq!(outcome(f32::NAN, 30.0), Decision::Reject);
        assert_ne!(outcome(-0.1, f32::NAN), Decision::Accept);
    }

    #[test]
    fn what_fits_ill_is_asked_about_unless_it_warns() {
        let thresholds = Thresholds::shipped().unwrap();
        let grammar = crate::grammar::Grammar::built_in().unwrap();
        let of = |words: &str, fit| {
            let said = grammar.understand("isolation", words).unwrap();
            let scores = Scores {
                llr_per_phone: fit,
                margin: 60.0,
                phones: 9,
            };
            thresholds.of_ours(scores, &said, words)
        };
        assert_eq!(of("two three zero volts", -0.5), Decision::Accept);
        assert_eq!(of("two three zero", -1.1), Decision::Confirm);
        assert_eq!(of("it is live", -1.1), Decision::Accept);
    }

    #[test]
    fn more_margin_and_better_fit_are_likelier_right() {
        let probability = Thresholds::shipped().unwrap().probability;
        let of = |fit, margin| {
            probability.of(Scores {
                llr_per_phone: fit,
                margin,
                phones: 9,
            })
        };
        assert!(of(-0.5, 2.0) < of(-0.5, 8.0));
        assert!(of(-1.0, 8.0) < of(-0.2, 8.0));
        assert!((0.0..=1.0).contains(&of(-50.0, 0.0)) && (0.0..=1.0).contains(&of(0.0, 1e9)));
        assert_eq!(of(-0.5, f32::INFINITY), of(-0.5, probability.margin_cap));
        assert!(of(-0.5, f32::NAN).is_nan());
    }
}
