//! Recognisers behind one trait. `ear` is ours and the default; `vosk` is optional.

pub mod adapting;
pub mod ear;
pub mod hearing;
mod queue;
#[cfg(any(test, feature = "vosk"))]
pub mod vosk;

pub use hearing::{Rehearsed, VoiceProfile};
pub use queue::{InTurn, Queue};

use crate::grammar::{Intent, number};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// What a recogniser made of one utterance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recognition {
    /// What to do with it.
    pub outcome: Decision,
    /// The likeliest words the grammar allows; empty when there are none.
    pub words: String,
    /// The meaning of `words`.
    pub said: Option<Intent>,
    /// The likeliest words with another meaning.
    pub runner_up: Option<String>,
    /// The runner-up's meaning.
    pub runner_up_said: Option<Intent>,
    /// How well the words fit, and how clearly.
    pub scores: Scores,
    /// Each word with its time in seconds from the utterance's first sample.
    pub times: Vec<WordTime>,
    /// Whether the likeliest meaning of one ear is not that of the other; never with one ear.
    #[serde(skip)]
    pub ears_differ: bool,
    /// Whether it is asked again for nothing but how ill it fits: said once more, it is taken.
    #[serde(skip)]
    pub only_fits_ill: bool,
    /// Whether the grammar allows more words after these: the person may only be pausing.
    #[serde(skip)]
    pub may_go_on: bool,
    /// How long the recogniser worked.
    #[serde(skip)]
    pub took: Duration,
}

impl Recognition {
    /// What is made of sound without any of our words in it.
    pub fn nothing() -> Self {
        Self {
            outcome: Decision::Reject,
            words: String::new(),
            said: None,
            runner_up: None,
            runner_up_said: None,
            scores: Scores {
                // A finite number, so that it can be kept as JSON.
                llr_per_phone: -100.0,
                margin: 0.0,
                phones: 0,
            },
            times: Vec::new(),
            ears_differ: false,
            only_fits_ill: false,
            may_go_on: false,
            took: Duration::ZERO,
        }
    }
}

/// What a repetition comes to: `alone` as it is heard by itself, `both` together with what it repeats.
/// It is taken where both mean the same and either is sure, or both are but for how ill they fit; where they differ it is
/// asked once more.
pub fn repeated(alone: Recognition, both: Option<Recognition>) -> Recognition {
    let Some(both) = both else { return alone };
    let same = match (&alone.said, &both.said) {
        (Some(a), Some(b)) => ear::same_meaning(a, b),
        _ => false,
    };
    match (alone.outcome, both.outcome) {
        (Decision::Accept, _) if !same => Recognition {
            outcome: Decision::Confirm,
            runner_up: Some(both.words),
            runner_up_said: both.said,
            ..alone
        },
        (Decision::Confirm, Decision::Accept) if same => Recognition {
            took: alone.took + both.took,
            times: alone.times,
            ..both
        },
        (Decision::Confirm, Decision::Confirm)
            if same && alone.only_fits_ill && both.only_fits_ill =>
        {
            Recognition {
                outcome: Decision::Accept,
                ..alone
            }
        }
        _ => alone,
    }
}

/// The three things a recogniser may conclude.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Decision {
    /// Heard well enough to be taken and read back.
    #[serde(rename = "taken")]
    Accept,
    /// Could have been two things: ask again.
    #[serde(rename = "ask-again")]
    Confirm,
    /// Other talk or noise: not for us.
    #[serde(rename = "not-for-us")]
    Reject,
}

/// Log-probability scores behind an outcome.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Scores {
    /// (best grammar path - best free path) / phones of the free path. Zero is perfect, very
    /// negative means it was none of our words.
    #[serde(rename = "fit")]
    pub llr_per_phone: f32,
    /// Best - best with another meaning. Small means it could have been two things.
    pub margin: f32,
    /// Phones in the free path.
    pub phones: u32,
}

/// One word with its times in seconds from the utterance's first sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WordTime {
    /// As in the grammar.
    pub word: String,
    /// Where it begins, s.
    pub from: f32,
    /// Where it ends, s.
    pub to: f32,
}

/// Whether a reading is one digit said by itself: "four", "oh". A cough, a foreign word or the
/// beginning of a longer number sounds like that as well as the digit does, so no score tells them
/// apart (`models/README.md`, "What must not be taken"): an engine asks again, and whoever means it
/// says it twice, or with its unit.
pub fn is_lone_digit(words: &str, said: &Intent) -> bool {
    let bare = match said {
        Intent::Reading { reading, .. } => {
            reading.number.is_some() && reading.unit.is_none() && reading.pair.is_none()
        }
        _ => false,
    };
    bare && number::digit(words.trim()).is_some()
}

/// What the program expects to hear now.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DecodeContext {
    /// Name of the public grammar rule for the present step; what can be said at any time is
    /// always allowed beside it.
    pub rule: String,
    /// Meanings just refused with "negative" or "correction": left out of this decode.
    pub excluded: Vec<Intent>,
}

/// An engine that turns an utterance into [`Recognition`].
pub trait Recogniser: Send {
    /// Recognises one utterance (mono, 16 kHz, -1 to 1).
    ///
    /// # Errors
    /// When the expected rule does not exist or the engine itself fails; never for bad sound,
    /// which is [`Decision::Reject`].
    fn recognise(
        &mut self,
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Recognition>;

    /// What is made of an utterance that may not be over; nothing where others are heard first. What decides
    /// nothing yet waits for nobody.
    ///
    /// # Errors
    /// As [`Recogniser::recognise`].
    fn early(
        &mut self,
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Option<Recognition>> {
        self.recognise(samples, expected).map(Some)
    }

    /// What is made of an utterance together with `before`, which was in doubt and which it repeats;
    /// nothing from an engine that hears each by itself.
    ///
    /// # Errors
    /// As [`Recogniser::recognise`].
    fn together(
        &mut self,
        _before: &[f32],
        _samples: &[f32],
        _expected: &DecodeContext,
    ) -> anyhow::Result<Option<Recognition>> {
        Ok(None)
    }

    /// The engine's name and its model's, for the log.
    fn describe(&self) -> String;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(outcome: Decision, said: Intent) -> Recognition {
        Recognition {
            outcome,
            words: format!("{said:?}"),
            said: Some(said),
            ..Recognition::nothing()
        }
    }

    #[test]
    fn a_repetition_is_taken_where_both_mean_the_same_and_either_is_sure() {
        use Decision::{Accept, Confirm, Reject};
        let (a, b) = (Intent::WhatIsOut, Intent::WhereAreWe);
        for (alone, both, same, comes) in [
            (Accept, Accept, true, Accept),
            (Accept, Confirm, true, Accept),
            (Accept, Reject, true, Accept),
            (Accept, Accept, false, Confirm),
            (Accept, Confirm, false, Confirm),
            (Confirm, Accept, true, Accept),
            (Confirm, Accept, false, Confirm),
            (Confirm, Confirm, true, Confirm),
            (Reject, Accept, true, Reject),
        ] {
            let other = if same { &a } else { &b };
            let both = heard(both, other.clone());
            let came = repeated(heard(alone, a.clone()), Some(both));
            assert_eq!((came.outcome, came.said), (comes, Some(a.clone())));
        }
    }

    #[test]
    fn what_only_fits_ill_is_taken_when_it_is_said_again() {
        let ill = |said: Intent, only_fits_ill| Recognition {
            only_fits_ill,
            ..heard(Decision::Confirm, said)
        };
        for (alone, both, same, comes) in [
            (true, true, true, Decision::Accept),
            (true, true, false, Decision::Confirm),
            (true, false, true, Decision::Confirm),
            (false, true, true, Decision::Confirm),
        ] {
            let other = if same {
                Intent::WhatIsOut
            } else {
                Intent::WhereAreWe
            };
            let came = repeated(ill(Intent::WhatIsOut, alone), Some(ill(other, both)));
            assert_eq!(came.outcome, comes, "{alone} {both} {same}");
        }
    }

    #[test]
    fn an_engine_that_hears_each_by_itself_is_taken_at_its_word() {
        let alone = heard(Decision::Accept, Intent::WhatIsOut);
        assert_eq!(repeated(alone.clone(), None), alone);
    }

    #[test]
    fn where_they_differ_the_other_is_what_it_may_have_been() {
        let alone = heard(Decision::Accept, Intent::WhatIsOut);
        let both = heard(Decision::Accept, Intent::WhereAreWe);
        let came = repeated(alone, Some(both));
        assert_eq!(came.runner_up_said, Some(Intent::WhereAreWe));
    }
}
