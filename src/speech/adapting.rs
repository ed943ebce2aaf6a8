//! What a rehearsal teaches the engine of one voice, and whether it is kept.
//!
//! Each phrase is learned from as it was read and in noise; what must not be taken is heard before
//! and after.

use super::ear::{Correction, Ear, Example, Learning, same_meaning};
use super::{Decision, DecodeContext, Recogniser, Recognition};
use crate::audio;
use crate::grammar::Intent;

/// One phrase as it was read.
#[derive(Debug, Clone, Copy)]
pub struct Read<'a> {
    /// 16 kHz, mono.
    pub samples: &'a [f32],
    /// The words that were shown.
    pub phrase: &'a str,
    /// Their meaning.
    pub wanted: &'a Intent,
}

/// What came of adapting.
#[derive(Debug, Clone, PartialEq)]
pub enum Adapted {
    /// The corrections that the engine now hears with, one a model.
    Kept {
        /// What the engine now hears with, one for each of its models.
        corrections: Vec<Correction>,
        /// What each phrase was heard as with it; those held back by a correction that had not
        /// learned from them.
        heard: Vec<Recognition>,
    },
    /// The engine is as it was; why.
    Left(String),
}

/// Of so many phrases each one is held back.
const HELD_BACK: usize = 4;
/// A phrase whose loss for each phone is greater was not said as shown.
const NOT_AS_SHOWN: f64 = 3.0;
/// Fewer phrases than this teach nothing.
const FEWEST: usize = 10;
/// The noises that a phrase is learned in, and how far below the voice they are, in dB.
const NOISES: [(Noise, f32); 3] = [
    (Noise::Pink, 15.0),
    (Noise::Pink, 8.0),
    (Noise::Babble, 12.0),
];

#[derive(Debug, Clone, Copy)]
enum Noise {
    Pink,
    /// Other phrases of the same voice, several at once.
    Babble,
}

/// Brings `ear` nearer to the voice that read the phrases, and keeps that only when nothing is lost
/// by it. A quarter of the phrases is held back and heard with what the others taught: none may be
/// heard less well than before, or taken wrongly. No phrase whose likeliest meaning was right may get
/// another, no fewer may be taken rightly in all, and none of the sounds that are nobody's reading (`models/other-words/`) may be taken that
/// was not. What is kept has learned from all phrases.
///
/// # Errors
/// When the engine fails.
pub fn adapt(ear: &mut Ear, read: &[Read<'_>], rule: &str) -> anyhow::Result<Adapted> {
    ear.correct(Vec::new());
    let expected = DecodeContext {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    };
    let before = hear_all(ear, read, &expected)?;
    if right(read, &before) == read.len() {
        return Ok(Adapted::Left("every phrase was right already".to_owned()));
    }
    let mut examples = Vec::new();
    for (n, of) in read.iter().enumerate() {
        let mut of_phrase = Vec::new();
        for samples in variants(read, n) {
            match ear.examples(&samples, of.phrase)? {
                Some(example) => of_phrase.push(example),
                None => break,
            }
        }
        let said = of_phrase
            .first()
            .and_then(|clean: &Vec<Example>| clean.first()?.loss_a_phone());
        examples.push(match said {
            Some(loss) if loss <= NOT_AS_SHOWN => of_phrase,
            _ => Vec::new(),
        });
    }
    let usable = examples.iter().filter(|of| !of.is_empty()).count();
    if usable < FEWEST {
        return Ok(Adapted::Left(format!(
            "only {usable} of the phrases were said as shown"
        )));
    }
    let held = |n: usize| n % HELD_BACK == HELD_BACK - 1;
    let learned = |from: &dyn Fn(usize) -> bool| -> Option<Vec<Correction>> {
        (0..ear.ears())
            .map(|model| {
                let of_model = examples.iter().enumerate().filter(|(n, _)| from(*n));
                let of_model: Vec<&Example> = of_model
                    .flat_map(|(_, of)| of.iter().filter_map(|example| example.get(model)))
                    .collect();
                Correction::learned(&of_model, Learning::default())
            })
            .collect()
    };
    let (Some(by_others), Some(by_all)) = (learned(&|n| !held(n)), learned(&|_| true)) else {
        return Ok(Adapted::Left("nothing could be learned".to_owned()));
    };

    let strangers_before = strangers_taken(ear, &expected)?;
    ear.correct(by_others.into_iter().map(Some).collect());
    let held_after = hear_all(ear, read, &expected)?;
    ear.correct(by_all.iter().cloned().map(Some).collect());
    let mut after = hear_all(ear, read, &expected)?;
    let strangers_after = strangers_taken(ear, &expected)?;
    for (n, heard) in held_after.into_iter().enumerate() {
        if held(n) {
            after[n] = heard;
        }
    }
    let each = read.iter().zip(before.iter().zip(&after)).enumerate();
    let mut lost = each.filter(|(n, (read, (before, after)))| {
        let (before, after) = (value(read, before), value(read, after));
        after < before && (held(*n) || before >= LIKELIEST && after < LIKELIEST)
    });
    let taken = strangers_before.iter().zip(&strangers_after);
    let why = if let Some((_, (read, _))) = lost.next() {
        Some(format!("\"{}\" was heard less well by it", read.phrase))
    } else if right(read, &after) < right(read, &before) {
        Some("fewer phrases were right with it".to_owned())
    } else if taken.into_iter().any(|(before, after)| !before && *after) {
        Some("it took what is none of the program's words".to_owned())
    } else {
        None
    };
    if let Some(why) = why {
        ear.correct(Vec::new());
        return Ok(Adapted::Left(why));
    }
    Ok(Adapted::Kept {
        corrections: by_all,
        heard: after,
    })
}

/// The value from which the likeliest meaning is the right one.
const LIKELIEST: u8 = 2;

/// How well a phrase was heard: taken wrongly, not likeliest, likeliest, taken.
fn value(read: &Read<'_>, heard: &Recognition) -> u8 {
    let right = heard
        .said
        .as_ref()
        .is_some_and(|said| same_meaning(said, read.wanted));
    match (heard.outcome, right) {
        (Decision::Accept, false) => 0,
        (_, false) => 1,
        (_, true) => LIKELIEST + u8::from(heard.outcome == Decision::Accept),
    }
}

/// How many were taken with the right meaning.
fn right(read: &[Read<'_>], heard: &[Recognition]) -> usize {
    let each = read.iter().zip(heard);
    each.filter(|(read, heard)| value(read, heard) > LIKELIEST)
        .count()
}

fn hear_all(
    ear: &mut Ear,
    read: &[Read<'_>],
    expected: &DecodeContext,
) -> anyhow::Result<Vec<Recognition>> {
    read.iter()
        .map(|read| ear.recognise(read.samples, expected))
        .collect()
}

/// Which of the sounds that are nobody's reading are taken.
fn strangers_taken(ear: &mut Ear, expected: &DecodeContext) -> anyhow::Result<Vec<bool>> {
    strangers()?
        .iter()
        .map(|samples| Ok(ear.recognise(samples, expected)?.outcome == Decision::Accept))
        .collect()
}

/// Words of people that are none of ours, and noises.
fn strangers() -> anyhow::Result<Vec<Vec<f32>>> {
    static FILES: include_dir::Dir<'_> =
        include_dir::include_dir!("$CARGO_MANIFEST_DIR/models/other-words");
    let mut all = Vec::new();
    for file in FILES.files() {
        if file.path().extension().is_some_and(|e| e == "flac") {
            let name = file.path().display().to_string();
            all.push(audio::read_bytes(&name, file.contents().to_vec())?);
        }
    }
    let mut random = Random(7);
    let seconds = 3 * audio::SAMPLE_RATE as usize;
    all.push(random.pink(seconds).iter().map(|s| 0.1 * s).collect());
    all.push(buzz(seconds));
    Ok(all)
}

/// A motor: a sawtooth that comes and goes.
fn buzz(samples: usize) -> Vec<f32> {
    let turn = |n: usize, hertz: f32| (n as f32 * hertz / audio::SAMPLE_RATE as f32).fract();
    (0..samples)
        .map(|n| {
            (turn(n, 240.0) - 0.5) * (0.2 + 0.1 * (std::f32::consts::TAU * turn(n, 3.0)).sin())
        })
        .collect()
}

/// The phrase as it was read, and in each noise.
fn variants<'a>(read: &'a [Read<'_>], n: usize) -> impl Iterator<Item = Vec<f32>> + 'a {
    let clean = read[n].samples;
    let mut random = Random(n as u32 + 1);
    let noisy = NOISES.iter().map(move |&(noise, decibels)| {
        let noise = match noise {
            Noise::Pink => random.pink(clean.len()),
            Noise::Babble => babble(read, clean.len(), &mut random),
        };
        let factor = level(&loud(clean)) / level(&noise).max(1e-9) * 10f32.powf(-decibels / 20.0);
        clean
            .iter()
            .zip(noise)
            .map(|(s, n)| s + factor * n)
            .collect()
    });
    std::iter::once(clean.to_vec()).chain(noisy)
}

/// Four others of the phrases at once, each from somewhere.
fn babble(read: &[Read<'_>], samples: usize, random: &mut Random) -> Vec<f32> {
    let mut sum = vec![0.0; samples];
    let all: usize = read.iter().map(|r| r.samples.len()).sum();
    for _ in 0..4 {
        let from = random.below(all);
        let talk = read.iter().cycle().flat_map(|r| r.samples).skip(from);
        for (sum, sample) in sum.iter_mut().zip(talk) {
            *sum += sample;
        }
    }
    sum
}

/// What of the sound is voice: what stands out of the rest.
fn loud(samples: &[f32]) -> Vec<f32> {
    let peak = samples.iter().fold(0.0, |peak: f32, s| peak.max(s.abs()));
    let voice = samples.iter().copied();
    voice.filter(|s| s.abs() > 0.05 * peak).collect()
}

fn level(samples: &[f32]) -> f32 {
    let sum: f32 = samples.iter().map(|s| s * s).sum();
    (sum / samples.len().max(1) as f32).sqrt()
}

/// Numbers that look random and are the same every time.
struct Random(u32);

impl Random {
    fn next(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        self.0 >> 8
    }

    /// From -1 to 1.
    fn white(&mut self) -> f32 {
        self.next() as f32 / (1 << 23) as f32 - 1.0
    }

    fn below(&mut self, most: usize) -> usize {
        self.next() as usize % most.max(1)
    }

    /// Noise with as much power in each octave: white noise through the usual three first-order
    /// filters (P. Kellet, 1999), within 0.5 dB from 40 Hz on at this rate.
    fn pink(&mut self, samples: usize) -> Vec<f32> {
        let mut held = [0.0f32; 3];
        (0..samples)
            .map(|_| {
                let white = self.white();
                for (held, (kept, gain)) in held.iter_mut().zip([
                    (0.99765, 0.099_046),
                    (0.963, 0.296_516_4),
                    (0.57, 1.052_691_3),
                ]) {
                    *held = kept * *held + gain * white;
                }
                held.iter().sum::<f32>() + 0.1848 * white
            })
            .collect()
    }
}
