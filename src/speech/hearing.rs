//! What is known of one person's voice at one microphone, from a rehearsal.

use super::{Decision, Recognition};
use crate::audio::{EndpointConfig, Levels};
use crate::grammar::Intent;
use crate::speech::ear::{Correction, Corrections, Ear, Thresholds, same_meaning};
use anyhow::{Context, bail};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::path::Path;

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
    /// Seconds of quiet that end what is said, for a person whose pauses are longer than usual.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end_pause: Option<f64>,
    /// What the models learned of the voice.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub adapted: Option<AdaptedTo>,
}

/// The part `[hearing.adapted]`: the file in which the corrections of the models' last layers stand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AdaptedTo {
    /// Its name; it lies beside the profile.
    pub file: String,
    /// Its SHA-256, in hexadecimal digits.
    pub sha256: String,
    /// Phrases taken with the right meaning afterwards.
    pub right: u32,
}

/// One phrase, read once.
#[derive(Debug, Clone)]
pub struct PhraseAttempt {
    /// The words that were shown.
    pub phrase: String,
    /// Their meaning.
    pub wanted: Intent,
    /// What was heard.
    pub heard: Recognition,
    /// How loud it was.
    pub levels: Levels,
    /// The sound, 16 kHz mono.
    pub samples: Vec<f32>,
}

/// How a phrase was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    /// Taken, and right.
    Right,
    /// It would be asked again.
    AskedAgain,
    /// Taken, and wrong.
    Wrong,
    /// Taken for none of our words.
    Ignored,
}

impl PhraseAttempt {
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

    /// Seconds of the longest pause between two words, where the words are known.
    fn longest_pause(&self) -> f64 {
        if !self.likeliest_is_right() {
            return 0.0;
        }
        let pauses = self
            .heard
            .times
            .windows(2)
            .map(|two| two[1].from - two[0].to);
        f64::from(pauses.fold(0.0, f32::max))
    }
}

/// The strictest that a rehearsal asks for: above this half of what is right is asked again.
const STRICTEST: f32 = 0.97;
/// How far the fit of a strange voice may fall and still count as ours.
const LOWEST_FIT: f32 = -1.8;
/// Room left beside what was seen.
const ROOM: (f32, f32) = (0.005, 0.2);

/// Seconds of quiet that end a phrase while it is rehearsed, so that longer pauses than usual are
/// seen as pauses.
pub const REHEARSED_PAUSE: f64 = 1.2;
/// What is added to the longest pause seen, and the longest that then ends an utterance: whoever
/// waits longer for an answer thinks that he was not heard. Words are timed by the peaks of their
/// phones, so a pause already has some 0.3 s of the words themselves in it.
const PAUSE_ROOM: f64 = 0.1;
const LONGEST_PAUSE: f64 = 1.4;

/// What a rehearsal sets, from the first reading of each phrase.
///
/// Only what was seen moves a bound, and only in the safe direction for what is taken: something
/// wrong that was taken raises the probability that is asked for to just above its own. A right
/// phrase that was taken for other talk lowers the fit that counts as ours, so that it is asked
/// about or taken; the probability bound still stands in its way. Twenty phrases without a mistake
/// prove little (with a mistake in every seventh reading they still happen once in twenty times),
/// so they never make the program less careful than it ships.
pub fn conclude(
    attempts: &[PhraseAttempt],
    shipped: &Thresholds,
    now: jiff::Timestamp,
) -> VoiceProfile {
    let probability = |a: &PhraseAttempt| shipped.probability.of(a.heard.scores);
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
        right: right(attempts),
        speech_dbfs: round(middle(|l| l.loud), 1),
        room_dbfs: round(middle(|l| l.quiet), 1),
        probability_below: round((surest_wrong + ROOM.0).clamp(asked, STRICTEST), 3),
        fit_below: round((least_fit - ROOM.1).clamp(LOWEST_FIT, ours), 2),
        end_pause: end_pause(attempts),
        adapted: None,
    }
}

/// How many were taken with the right meaning.
fn right(attempts: &[PhraseAttempt]) -> u32 {
    let right = attempts.iter().filter(|a| a.result() == Came::Right);
    u32::try_from(right.count()).unwrap_or(u32::MAX)
}

/// The pause that ends an utterance, where the phrases had longer ones in them than the usual one
/// leaves room for.
fn end_pause(attempts: &[PhraseAttempt]) -> Option<f64> {
    let longest = attempts
        .iter()
        .map(PhraseAttempt::longest_pause)
        .fold(0.0, f64::max);
    let wanted = ((longest + PAUSE_ROOM).min(LONGEST_PAUSE) * 100.0).round() / 100.0;
    (wanted > EndpointConfig::default().pause).then_some(wanted)
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

    /// With what the models learned of the voice, and the bounds that its phrases ask for when they
    /// are heard with that.
    #[must_use]
    pub fn learned(self, adapted: AdaptedTo, after: &Self) -> Self {
        Self {
            probability_below: after.probability_below,
            fit_below: after.fit_below,
            adapted: Some(adapted),
            ..self
        }
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
        if let Some(pause) = self.end_pause {
            changes.push(format!(
                "waits {pause} s for the next word (ships as {})",
                EndpointConfig::default().pause
            ));
        }
        if let Some(adapted) = &self.adapted {
            changes.push(format!(
                "the last layer learned your voice ({} of them right since)",
                adapted.right
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
        let pause = self.end_pause.is_none_or(|p| (0.1..=10.0).contains(&p));
        if probability && fit && pause {
            return Ok(());
        }
        Err(format!(
            "[hearing] has {}; rehearse again with `bothhands rehearse`",
            if probability && fit {
                "an end_pause that does not lie between 0.1 and 10 s".to_owned()
            } else if probability {
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

/// A profile's part `[hearing]` with what lies beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Rehearsed {
    /// What stands in the profile itself.
    pub profile: VoiceProfile,
    corrections: Option<Corrections>,
}

/// What to do about a correction that can't be used.
const REHEARSE_AGAIN: &str = "rehearse again with `bothhands rehearse`, or take [hearing.adapted] \
                              out of the profile to hear as the program ships";

impl Rehearsed {
    /// With the corrections of `profile` from `folder`, where the profile lies.
    ///
    /// # Errors
    /// When their file is missing, another or damaged; the message says what to do.
    pub fn open(profile: VoiceProfile, folder: &Path) -> anyhow::Result<Self> {
        let Some(adapted) = &profile.adapted else {
            return Ok(Self {
                profile,
                corrections: None,
            });
        };
        let path = folder.join(&adapted.file);
        let bytes = std::fs::read(&path).with_context(|| {
            format!(
                "{}: can't read what was learned of the voice; {REHEARSE_AGAIN}",
                path.display()
            )
        })?;
        if sha256(&bytes) != adapted.sha256 {
            bail!(
                "{}: not the file that the profile names (its SHA-256 differs); {REHEARSE_AGAIN}",
                path.display()
            );
        }
        let corrections = Corrections::parse(&bytes)
            .map_err(|why| anyhow::anyhow!("{}: {why}; {REHEARSE_AGAIN}", path.display()))?;
        Ok(Self {
            profile,
            corrections: Some(corrections),
        })
    }

    /// Makes `ear` hear with it: bounds and corrections.
    ///
    /// # Errors
    /// When a correction belongs to a model that `ear` does not hear with; the message says what to
    /// do.
    pub fn set(&self, ear: &mut Ear) -> anyhow::Result<()> {
        if let Some(Corrections(all)) = &self.corrections {
            let models = ear.hashes();
            if let Some((strange, _)) = all.iter().find(|(model, _)| !models.contains(model)) {
                let short: String = strange.chars().take(12).collect();
                bail!(
                    "the profile's correction was learned for another model ({short}...) than the \
                     program hears with; {REHEARSE_AGAIN}"
                );
            }
            let of = |model: &String| {
                let found = all.iter().find(|(m, _)| m == model);
                found.map(|(_, correction)| correction.clone())
            };
            ear.correct(models.iter().map(of).collect());
        }
        ear.set_thresholds(self.profile.bounds(*ear.thresholds()));
        Ok(())
    }
}

/// The file of these corrections, in the order of [`Ear::hashes`], to be kept as `name`, and what
/// the profile says of it; `after` is what the phrases were heard as with them.
pub fn kept(
    ear: &Ear,
    corrections: Vec<Correction>,
    name: String,
    after: &[PhraseAttempt],
) -> (Vec<u8>, AdaptedTo) {
    let bytes = Corrections(ear.hashes().into_iter().zip(corrections).collect()).to_bytes();
    let adapted = AdaptedTo {
        file: name,
        sha256: sha256(&bytes),
        right: right(after),
    };
    (bytes, adapted)
}

fn sha256(bytes: &[u8]) -> String {
    format!("{:x}", Sha256::digest(bytes))
}
