use super::manifest::Clip;
use super::summary::millis;
use crate::audio::{self, EndpointConfig, Utterance};
use crate::grammar::Intent;
use crate::speech::ear::same_meaning;
use crate::speech::{Decision, DecodeContext, Recogniser, Recognition, repeated};
use serde::Serialize;
use std::fmt::Write as _;
use std::path::Path;
use std::time::{Duration, Instant};

/// What became of a clip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ClipResult {
    /// Taken, with the expected meaning.
    Exact,
    /// Asked again.
    AskedAgain,
    /// Taken, with another meaning.
    WrongTaken,
    /// Taken for other talk or noise, rightly or wrongly.
    Ignored,
    /// Taken, though it should have been ignored.
    FalselyTaken,
}

/// One clip with what was heard.
#[derive(Debug, Clone)]
pub struct HeardClip {
    /// What was to be heard.
    pub clip: Clip,
    /// What became of it.
    pub verdict: ClipResult,
    /// Whether the likeliest reading had the expected meaning, whatever the outcome.
    pub first_right: bool,
    /// What was heard.
    pub heard: Recognition,
    /// Length of the clip, s.
    pub seconds: f64,
    /// How long hearing and cutting took.
    pub took: Duration,
    /// Utterances that the voice activity cuts the clip into.
    pub pieces: usize,
    /// What was heard at second hearing; nothing unless [`hear_again`] was asked for and the first
    /// hearing was wrong.
    pub again: Option<SecondHearing>,
    /// What the repetition gives of a clip that was asked again; nothing unless [`hear_again`] was
    /// asked for with other recordings.
    pub repeated: Option<Repetition>,
}

/// The same words once more, after "say again".
#[derive(Debug, Clone)]
pub struct Repetition {
    /// The other recording by itself.
    pub alone: Recognition,
    /// Both recordings together; as `alone` from an engine that hears each by itself.
    pub together: Recognition,
    /// What a session makes of it ([`repeated`]).
    pub taken: Recognition,
}

/// What a clip that was heard wrongly gives when it is heard again.
#[derive(Debug, Clone)]
pub struct SecondHearing {
    /// The same sound, the wrong meaning refused. A person says it anew and so differently: this
    /// counts what the refusal alone is worth.
    pub same: Recognition,
    /// Another recording of the same words, where there is one.
    pub other: Option<OtherRecording>,
}

/// A second recording of the same words.
#[derive(Debug, Clone)]
pub struct OtherRecording {
    /// Heard as if nothing had been refused.
    pub plain: Recognition,
    /// Heard with the meaning refused that the first recording was heard as.
    pub refused: Recognition,
}

/// Hears every clip.
///
/// # Errors
/// When a recording cannot be used or the engine fails.
pub fn measure(
    engine: &mut dyn Recogniser,
    clips: &[Clip],
    rule: &str,
    cut: bool,
) -> anyhow::Result<Vec<HeardClip>> {
    let expected = DecodeContext {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    };
    let mut rows = Vec::with_capacity(clips.len());
    for clip in clips {
        let samples = audio::read(&clip.path)?;
        let started = Instant::now();
        let pieces = audio::utterances(&samples, EndpointConfig::default());
        let heard = engine.recognise(counting(&samples, &pieces, cut), &expected)?;
        rows.push(HeardClip {
            verdict: verdict(clip, &heard),
            first_right: matches_expected(clip, &heard),
            heard,
            seconds: audio::seconds(&samples),
            took: started.elapsed(),
            pieces: pieces.len(),
            clip: clip.clone(),
            again: None,
            repeated: None,
        });
    }
    Ok(rows)
}

/// The sound that counts. What was cut apart was not heard as one reading, so only the last piece
/// does: the one after which the person waits for an answer.
fn counting<'a>(samples: &'a [f32], pieces: &'a [Utterance], cut: bool) -> &'a [f32] {
    match pieces.last() {
        Some(last) if cut => &last.samples,
        _ => samples,
    }
}

/// Hears once more what was taken or asked again with a wrong likeliest meaning, with that meaning
/// refused; and the recording of `others` that belongs to it, with and without. What was asked again
/// is heard with the recording of `others` as its repetition, alone and both together.
///
/// # Errors
/// When a recording cannot be used or the engine fails.
pub fn hear_again(
    engine: &mut dyn Recogniser,
    rows: &mut [HeardClip],
    others: Option<&[Clip]>,
    rule: &str,
    cut: bool,
) -> anyhow::Result<()> {
    let sound = |path: &Path| -> anyhow::Result<Vec<f32>> {
        let samples = audio::read(path)?;
        let pieces = if cut {
            audio::utterances(&samples, EndpointConfig::default())
        } else {
            Vec::new()
        };
        Ok(counting(&samples, &pieces, cut).to_vec())
    };
    for (number, row) in rows.iter_mut().enumerate() {
        let plain = DecodeContext {
            rule: rule.to_owned(),
            excluded: Vec::new(),
        };
        let other = others.and_then(|others| others.get(number));
        if let (Some(other), ClipResult::AskedAgain, Some(_)) = (other, row.verdict, &row.clip.said)
        {
            let (before, samples) = (sound(&row.clip.path)?, sound(&other.path)?);
            let alone = engine.recognise(&samples, &plain)?;
            let together = engine.together(&before, &samples, &plain)?;
            row.repeated = Some(Repetition {
                taken: repeated(alone.clone(), together.clone()),
                together: together.unwrap_or_else(|| alone.clone()),
                alone,
            });
        }
        let Some(wrong) = refusable(row) else {
            continue;
        };
        let refused = DecodeContext {
            excluded: vec![wrong.clone()],
            ..plain.clone()
        };
        let mut hear =
            |path: &Path, expected: &DecodeContext| engine.recognise(&sound(path)?, expected);
        let other = match other {
            Some(other) => Some(OtherRecording {
                plain: hear(&other.path, &plain)?,
                refused: hear(&other.path, &refused)?,
            }),
            None => None,
        };
        row.again = Some(SecondHearing {
            same: hear(&row.clip.path, &refused)?,
            other,
        });
    }
    Ok(())
}

/// The wrong meaning that a person would have been told, and could refuse.
fn refusable(row: &HeardClip) -> Option<&Intent> {
    let told = row.clip.said.is_some() && row.heard.outcome != Decision::Reject;
    row.heard.said.as_ref().filter(|_| told && !row.first_right)
}

pub(super) fn matches_expected(clip: &Clip, heard: &Recognition) -> bool {
    match (&clip.said, &heard.said) {
        (Some(expected), Some(said)) => same_meaning(expected, said),
        _ => false,
    }
}

pub(super) fn verdict(clip: &Clip, heard: &Recognition) -> ClipResult {
    match heard.outcome {
        Decision::Reject => ClipResult::Ignored,
        Decision::Confirm => ClipResult::AskedAgain,
        Decision::Accept if clip.said.is_none() => ClipResult::FalselyTaken,
        Decision::Accept if matches_expected(clip, heard) => ClipResult::Exact,
        Decision::Accept => ClipResult::WrongTaken,
    }
}

/// One line a clip, tab-separated, with a heading.
pub fn table(rows: &[HeardClip]) -> String {
    let mut text = String::from(
        "path\texpected\tverdict\tfirst_right\twords\trunner_up\tfit\tmargin\tphones\tpieces\tms\t\
         again_refused\tother\tother_refused\tears_differ\n",
    );
    for row in rows {
        let heard = &row.heard;
        let again = row.again.as_ref();
        let other = again.and_then(|a| a.other.as_ref());
        let verdict = serde_json::to_value(row.verdict).unwrap_or_default();
        let _ = writeln!(
            text,
            "{}\t{}\t{}\t{}\t{}\t{}\t{:.3}\t{:.3}\t{}\t{}\t{:.1}\t{}\t{}\t{}\t{}",
            row.clip.path.display(),
            row.clip.words,
            verdict.as_str().unwrap_or_default(),
            row.first_right,
            heard.words,
            heard.runner_up.as_deref().unwrap_or_default(),
            heard.scores.llr_per_phone,
            heard.scores.margin,
            heard.scores.phones,
            row.pieces,
            millis(heard.took),
            again.map_or("", |a| a.same.words.as_str()),
            other.map_or("", |o| o.plain.words.as_str()),
            other.map_or("", |o| o.refused.words.as_str()),
            heard.ears_differ,
        );
    }
    text
}
