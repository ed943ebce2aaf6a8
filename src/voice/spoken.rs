//! What is handed to whatever speaks: the words of a line as they are to be said.

use super::speakable::{paced, speakable};
use super::{Rate, Saying, Tone, Volume};
use crate::terms::Wording;
use std::ops::Range;
use std::time::Duration;

/// How much slower what is in doubt is said than the person's own rate, of 200 from the slowest to the
/// fastest.
const DOUBT: i32 = 40;

/// How far above its usual pitch it is said, of what a voice has above that.
const HIGHER: f32 = 0.35;

/// How much louder it is said, as a share of the person's own volume.
const LOUDER: f32 = 0.35;

/// A part of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// The words, for the ear.
    pub words: String,
    /// Whether they were heard with doubt: said slowly and with stress, by themselves.
    pub doubtful: bool,
}

impl Piece {
    /// How fast it is said by whom this rate pleases.
    pub fn rate(&self, usual: Rate) -> Rate {
        if self.doubtful {
            usual.by(-DOUBT)
        } else {
            usual
        }
    }

    /// How far above the usual pitch it is said, from 0 to 1 for the highest that a voice has. What is in
    /// doubt stands out from the words around it.
    pub fn rise(&self) -> f32 {
        if self.doubtful { HIGHER } else { 0.0 }
    }

    /// How loud it is said, in percent; more than 100 for a voice that goes beyond its usual loudness.
    pub fn loudness(&self, usual: Volume) -> f32 {
        let usual = usual.get() as f32;
        if self.doubtful {
            usual * (1.0 + LOUDER)
        } else {
            usual
        }
    }
}

/// A line in the pieces in which it is said. Nothing but a comma is no piece.
pub fn pieces(line: Saying<'_>, wording: Wording) -> Vec<Piece> {
    let slowly = matches!(
        line.tone,
        Tone::ReadBack | Tone::Question | Tone::Instrument
    );
    parts(line.text, line.doubtful)
        .into_iter()
        .map(|(part, doubtful)| {
            let said = speakable(part, wording);
            let words = if slowly { paced(&said, wording) } else { said };
            Piece { words, doubtful }
        })
        .filter(|piece| piece.words.contains(char::is_alphanumeric))
        .collect()
}

/// A text cut at the stretches in doubt, and whether each part is one.
fn parts<'a>(text: &'a str, doubtful: &[Range<usize>]) -> Vec<(&'a str, bool)> {
    let mut parts = Vec::new();
    let mut at = 0;
    for range in doubtful {
        parts.push((text.get(at..range.start).unwrap_or_default(), false));
        parts.push((text.get(range.clone()).unwrap_or_default(), true));
        at = range.end;
    }
    parts.push((text.get(at..).unwrap_or_default(), false));
    parts.retain(|(part, _)| !part.trim().is_empty());
    parts
}

/// Longer than any voice takes for these words, on a machine busy enough to keep it waiting: at the
/// usual rate one takes about 65 ms a letter, at the slowest about 140 ms.
pub(crate) fn longest(said: &str, rate: Rate) -> Duration {
    let slow = if rate.get() < 0 { 2 } else { 1 };
    Duration::from_millis(5000 + said.len() as u64 * 130 * slow)
}
