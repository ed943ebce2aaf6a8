//! From vosk's alternatives to [`Recognition`].

use super::UNKNOWN;
use crate::grammar::{Grammar, Intent};
use crate::speech::ear::{refused, same_meaning};
use crate::speech::{Decision, DecodeContext, Recognition, Scores, WordTime, is_lone_digit};

/// One sentence that vosk thinks was said, with its log-likelihood.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternative {
    /// As vosk writes them, its word for unknown ones among them.
    pub words: String,
    /// Natural logarithm; only differences mean something.
    pub score: f32,
    /// Where each word begins and ends.
    pub times: Vec<WordTime>,
}

/// A meaning less far ahead than this, in natural logarithms, is in doubt: nine to one.
pub const ASK_AGAIN_BELOW: f32 = 2.2;

/// Where the likeliest words lie outside the grammar, ours must not be further behind than this in
/// all to be worth a question.
pub const NOT_FOR_US_BELOW: f32 = -2.2;

/// The margin where nothing else was heard at all.
const ALONE: f32 = 40.0;

/// Phones that are spoken in a second, roughly: vosk does not tell them.
const PHONES_A_SECOND: f32 = 12.0;

/// What our grammar makes of the alternatives, likeliest first. Taken is only what is the likeliest
/// of all and means something; words outside the grammar are not for us, or asked again where words
/// of ours are almost as likely.
///
/// `fit` is how far the likeliest meaning is behind the likeliest words of any kind, for each phone
/// (phones are estimated from the time); `margin` how far the next other meaning, or other words,
/// are behind it.
pub fn judged(
    alternatives: Vec<Alternative>,
    grammar: &Grammar,
    expected: &DecodeContext,
) -> Recognition {
    let mut heard = Recognition::nothing();
    let mut best: Option<(Alternative, Intent)> = None;
    let mut likeliest: Option<f32> = None;
    let mut next: Option<f32> = None;
    for alternative in alternatives {
        let said = understood(&alternative, grammar, expected);
        if said
            .as_ref()
            .is_some_and(|said| refused(said, &expected.excluded))
        {
            continue;
        }
        likeliest = likeliest.or(Some(alternative.score));
        match (said, &best) {
            (Some(said), None) => best = Some((alternative, said)),
            (Some(said), Some((first, meant))) if !same_meaning(meant, &said) => {
                next = next.or(Some(first.score - alternative.score));
                if heard.runner_up.is_none() {
                    heard.runner_up = Some(alternative.words);
                    heard.runner_up_said = Some(said);
                }
            }
            (None, Some((first, _))) => next = next.or(Some(first.score - alternative.score)),
            _ => {}
        }
    }
    let (Some((best, said)), Some(likeliest)) = (best, likeliest) else {
        return heard;
    };
    let seconds: f32 = best.times.iter().map(|word| word.to - word.from).sum();
    let phones = (seconds * PHONES_A_SECOND).round().max(1.0);
    let behind = best.score - likeliest;
    heard.scores = Scores {
        llr_per_phone: behind / phones,
        margin: next.unwrap_or(ALONE).max(0.0),
        phones: phones as u32,
    };
    heard.outcome = if behind.is_nan() || behind < NOT_FOR_US_BELOW {
        Decision::Reject
    } else if behind < 0.0
        || heard.scores.margin < ASK_AGAIN_BELOW
        || is_lone_digit(&best.words, &said)
    {
        Decision::Confirm
    } else {
        Decision::Accept
    };
    heard.words = best.words;
    heard.times = best.times;
    heard.said = Some(said);
    heard
}

fn understood(
    alternative: &Alternative,
    grammar: &Grammar,
    expected: &DecodeContext,
) -> Option<Intent> {
    let foreign = alternative.words.split_whitespace().any(|w| w == UNKNOWN);
    if foreign || !alternative.score.is_finite() {
        return None;
    }
    grammar.understand(&expected.rule, &alternative.words)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(alternatives: &[(&str, f32)], excluded: Vec<Intent>) -> Recognition {
        let alternatives = alternatives
            .iter()
            .map(|(words, score)| Alternative {
                words: (*words).to_owned(),
                score: *score,
                times: Vec::new(),
            })
            .collect();
        let expected = DecodeContext {
            rule: "insulation".to_owned(),
            excluded,
        };
        judged(alternatives, &Grammar::built_in().unwrap(), &expected)
    }

    #[test]
    fn a_meaning_well_ahead_is_taken() {
        let heard = heard(
            &[("over nine nine nine", 90.0), ("over nine nine five", 85.0)],
            vec![],
        );
        assert_eq!(heard.outcome, Decision::Accept);
        assert_eq!(heard.words, "over nine nine nine");
        assert_eq!(heard.runner_up.as_deref(), Some("over nine nine five"));
        assert!((heard.scores.margin - 5.0).abs() < 1e-4);
    }

    #[test]
    fn the_same_said_differently_is_no_runner_up() {
        let heard = heard(
            &[("nine nine nine", 90.0), ("nine ninety nine", 89.9)],
            vec![],
        );
        assert_eq!(heard.outcome, Decision::Accept);
        assert_eq!(heard.runner_up, None);
    }

    #[test]
    fn two_meanings_about_as_likely_are_asked_again() {
        let heard = heard(
            &[("line to earth four", 90.0), ("line to earth five", 88.5)],
            vec![],
        );
        assert_eq!(heard.outcome, Decision::Confirm);
    }

    #[test]
    fn words_outside_the_grammar_are_not_for_us() {
        for likeliest in ["nine line over", "[unk]", "over [unk]", ""] {
            let heard = heard(&[(likeliest, 90.0), ("over nine", 80.0)], vec![]);
            assert_eq!(heard.outcome, Decision::Reject, "{likeliest}");
        }
        assert_eq!(heard(&[("[unk]", 90.0)], vec![]).said, None);
        assert_eq!(heard(&[], vec![]).outcome, Decision::Reject);
    }

    #[test]
    fn ours_almost_as_likely_as_words_outside_the_grammar_are_asked_again() {
        let heard = heard(&[("nine line over", 90.0), ("over nine", 89.0)], vec![]);
        assert_eq!(heard.outcome, Decision::Confirm);
        assert!(heard.scores.llr_per_phone < 0.0);
    }

    #[test]
    fn words_outside_the_grammar_almost_as_likely_as_ours_are_a_doubt() {
        let heard = heard(&[("over nine", 90.0), ("over [unk]", 89.0)], vec![]);
        assert_eq!(heard.outcome, Decision::Confirm);
    }

    #[test]
    fn what_was_just_refused_is_left_out() {
        let grammar = Grammar::built_in().unwrap();
        let refused = grammar
            .understand("insulation", "over nine nine five")
            .unwrap();
        let heard = heard(
            &[("over nine nine five", 90.0), ("over nine nine nine", 85.0)],
            vec![refused],
        );
        assert_eq!(heard.outcome, Decision::Accept);
        assert_eq!(heard.words, "over nine nine nine");
    }

    #[test]
    fn a_score_that_is_no_number_is_never_taken() {
        let heard = heard(&[("over nine", f32::NAN)], vec![]);
        assert_eq!(heard.outcome, Decision::Reject);
    }
}
