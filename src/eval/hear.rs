//! What was heard in a recording, utterance by utterance.

use crate::audio::{self, EndpointConfig, SAMPLE_RATE, Segmenter, Utterance};
use crate::speech::{Decision, Recognition};
use serde::Serialize;
use std::fmt;
use std::path::Path;

/// The file as one utterance.
///
/// # Errors
/// When it can't be read as sound.
pub fn whole(file: &Path) -> Result<Utterance, audio::SoundError> {
    let samples = audio::read(file)?;
    Ok(Utterance {
        start: 0,
        speech_end: samples.len() as u64,
        samples,
    })
}

/// Gives `sink` each utterance of the file as soon as it has ended.
///
/// # Errors
/// When it can't be read as sound, or what `sink` says.
pub fn cut(
    file: &Path,
    cutting: EndpointConfig,
    sink: &mut impl FnMut(Utterance) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let mut segmenter = Segmenter::new(cutting);
    for block in audio::SoundBlocks::open(file)? {
        let block = match block {
            Ok(block) => block,
            Err(error) => {
                // What was there is still heard: nothing spoken is lost.
                if let Some(last) = segmenter.finish() {
                    sink(last)?;
                }
                return Err(error.into());
            }
        };
        for utterance in segmenter.push(&block) {
            sink(utterance)?;
        }
    }
    segmenter.finish().map_or(Ok(()), sink)
}

/// What `--json` prints for an utterance; times in seconds from the file's beginning.
#[derive(Debug, Serialize)]
pub struct HeardLine<'a> {
    file: String,
    from_s: f64,
    to_s: f64,
    took_ms: f64,
    #[serde(flatten)]
    heard: &'a Recognition,
    #[serde(skip)]
    from: f64,
    #[serde(skip)]
    to: f64,
}

impl<'a> HeardLine<'a> {
    /// Of one utterance of a file.
    pub fn of(file: &Path, utterance: &Utterance, heard: &'a Recognition) -> Self {
        let from = utterance.start as f64 / f64::from(SAMPLE_RATE);
        let to = from + utterance.seconds();
        Self {
            file: file.display().to_string(),
            from_s: round(from),
            to_s: round(to),
            took_ms: round(heard.took.as_secs_f64() * 1e3),
            heard,
            from,
            to,
        }
    }
}

impl fmt::Display for HeardLine<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let heard = self.heard;
        let mut line = format!("{} {:.2}-{:.2} s: ", self.file, self.from, self.to);
        match (&heard.outcome, &heard.said) {
            (Decision::Reject, _) | (_, None) => {
                line.push_str("not for us");
                if !heard.words.is_empty() {
                    line.push_str(&format!(", nearest \"{}\"", heard.words));
                }
            }
            (Decision::Accept, Some(said)) => {
                line.push_str(&format!("\"{}\" = {}", heard.words, said.words()));
            }
            (Decision::Confirm, Some(said)) => line.push_str(&format!(
                "ask again: \"{}\" = {}, or \"{}\"?",
                heard.words,
                said.words(),
                heard.runner_up.as_deref().unwrap_or("something else")
            )),
        }
        line.push_str(&format!(
            " (fit {:.2}, margin {:.1}, {:.0} ms)",
            heard.scores.llr_per_phone,
            heard.scores.margin,
            heard.took.as_secs_f64() * 1e3
        ));
        f.write_str(&line)
    }
}

fn round(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}
