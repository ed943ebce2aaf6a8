//! What is known of one person's voice at one microphone, from a rehearsal.

use super::{Decision, Recognition};
use crate::audio::Levels;
use crate::grammar::Intent;
use crate::speech::ear::{Thresholds, same_meaning};
use serde::{Deserialize, Serialize};

/// The part `[hearing]` of a profile file, written by `bothhands rehearse`.
///
/// ```
/// let hearing: bothhands::speech::VoiceProfile = toml::from_str(
///     r#"
///     rehearsed = "2026-11-25T09:30:00Z"
///     phrases = 20                # read
///     right = 19                  # taken at first hearing with the right meaning
///     speech_dbfs = -24.5         # the louder moments of the voice
///     room_dbfs = -58.0           # between the words
///     probability_below = 0.9     # less probable than this is asked again
///     fit_below = -1.3            # below this it was none of our words
///     "#,
/// )?;
/// assert_eq!(hearing.right, 19);
/// # Ok::<(), toml::de::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VoiceProfile {
    /// When the rehearsal was held.
    pub rehearsed: jiff::Timestamp,
    /// How many phrases were read.
    pub phrases: u32,
    /// How many of them were taken at first hearing with the right meaning.
    pub right: u32,
    /// RMS of the louder moments of the voice, in dB of full scale.
    pub speech_dbfs: f32,
    /// RMS of the quieter moments, in dB of full scale.
    pub room_dbfs: f32,
    /// Below this probability a reading is asked again.
    pub probability_below: f32,
    /// Below this fit it was none of our words.
    pub fit_below: f32,
}

/// One phrase, read once.
#[derive(Debug, Clone)]
pub struct Attempt {
    /// The words that were shown.
    pub phrase: &'static str,
    /// Their meaning.
    pub wanted: Intent,
    pub heard: Recognition,
    pub levels: Levels,
}

/// How a phrase was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    Right,
    AskedAgain,
    Wrong,
    Ignored,
}

impl Attempt {
    /// How it was heard.
    pub fn result(&self) -> Came {
        let same = |said: &Intent| same_meaning(said, &self.wanted);
        match self.heard.outcome {
            Decision::Reject => Came::Ignored,
            Decision::Confirm => Came::AskedAgain,
            Decision::Accept if self.heard.said.as_ref().is_some_and(same) => Came::Right,
            Decision::Accept => Came::Wrong,
        }
    }

    fn likeliest_is_right(&self) -> bool {
        let same = |said: &Intent| same_meaning(said, &self.wanted);
        self.heard.said.as_ref().is_some_and(same)
    }
}

/// The strictest that a rehearsal asks for: above this half of what is right is asked again.
const STRICTEST: f32 = 0.97;
/// How far the fit of a strange voice may fall and still count as ours.
const LOWEST_FIT: f32 = -1.8;
/// Room left beside what was seen.
const ROOM: (f32, f32) = (0.005, 0.2);

/// What a rehearsal sets, from the first reading of each phrase.
///
/// Only what was seen moves a bound, and only in the safe direction for what is taken: something
/// wrong that was taken raises the probability that is asked for to just above its own. A right
/// phrase that was taken for other talk lowers the fit that counts as ours, so that it is asked
/// about or taken; the probability bound still stands in its way. Twenty phrases without a mistake
/// prove little (with a mistake in every seventh reading they still happen once in twenty times),
/// so they never make the program less careful than it ships.
pub fn conclude(attempts: &[Attempt], shipped: &Thresholds, now: jiff::Timestamp) -> VoiceProfile {
    let probability = |a: &Attempt| shipped.probability.of(a.heard.scores);
    let surest_wrong = attempts
        .iter()
        .filter(|a| a.result() == Came::Wrong)
        .map(probability)
        .fold(0.0, f32::max);
    let least_fit = attempts
        .iter()
        .filter(|a| a.likeliest_is_right() && a.heard.scores.llr_per_phone.is_finite())
        .map(|a| a.heard.scores.llr_per_phone)
        .fold(f32::INFINITY, f32::min);
    let asked = shipped.ask_again.probability_below;
    let ours = shipped.not_for_us.fit_below;
    let middle = |of: fn(&Levels) -> f32| {
        let mut all: Vec<f32> = attempts.iter().map(|a| of(&a.levels)).collect();
        all.sort_by(f32::total_cmp);
        all.get(all.len() / 2).copied().unwrap_or(Levels::SILENCE)
    };
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    VoiceProfile {
        rehearsed: now,
        phrases: count(attempts.len()),
        right: count(
            attempts
                .iter()
                .filter(|a| a.result() == Came::Right)
                .count(),
        ),
        speech_dbfs: round(middle(|l| l.loud), 1),
        room_dbfs: round(middle(|l| l.quiet), 1),
        probability_below: round((surest_wrong + ROOM.0).clamp(asked, STRICTEST), 3),
        fit_below: round((least_fit - ROOM.1).clamp(LOWEST_FIT, ours), 2),
    }
}

fn round(value: f32, places: i32) -> f32 {
    let scale = 10f32.powi(places);
    (value * scale).round() / scale
}

impl VoiceProfile {
    /// The shipped bounds with this person's in their place.
    pub fn bounds(&self, shipped: Thresholds) -> Thresholds {
        let mut bounds = shipped;
        bounds.ask_again.probability_below = self.probability_below;
        bounds.not_for_us.fit_below = self.fit_below;
        bounds
    }

    /// What is used of it, to be shown when a session begins: never silently.
    pub fn told(&self, shipped: &Thresholds) -> String {
        let mut changes = Vec::new();
        if self.probability_below != shipped.ask_again.probability_below {
            changes.push(format!(
                "asks again below a probability of {} (ships as {})",
                self.probability_below, shipped.ask_again.probability_below
            ));
        }
        if self.fit_below != shipped.not_for_us.fit_below {
            changes.push(format!(
                "counts as ours from a fit of {} on (ships as {})",
                self.fit_below, shipped.not_for_us.fit_below
            ));
        }
        let changes = if changes.is_empty() {
            "bounds as they ship".to_owned()
        } else {
            changes.join("; ")
        };
        format!(
            "Hearing as rehearsed on {}, {} of {} phrases right: {changes}.",
            self.rehearsed.strftime("%Y-%m-%d"),
            self.right,
            self.phrases
        )
    }

    /// Whether the numbers can be used.
    ///
    /// # Errors
    /// Which one can't, and what to do.
    pub fn check(&self) -> Result<(), String> {
        let probability = (0.5..1.0).contains(&self.probability_below);
        let fit = (-10.0..0.0).contains(&self.fit_below);
        if probability && fit {
            return Ok(());
        }
        Err(format!(
            "[hearing] has {}; rehearse again with `bothhands rehearse`",
            if probability {
                format!(
                    "fit_below = {}, which lies between -10 and 0",
                    self.fit_below
                )
            } else {
                format!(
                    "probability_below = {}, which lies between 0.5 and 1",
                    self.probability_below
                )
            }
        ))
    }
}
