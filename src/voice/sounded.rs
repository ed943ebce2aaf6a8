//! Lines as sound, for a loudspeaker elsewhere: our tones, and words by `espeak-ng` where this machine
//! has it. Slower to begin than the speech service, and in one voice.

use super::spoken::Piece;
use super::tones::Notes;
use super::{Earcon, Profile};
use crate::audio::{SAMPLE_RATE, read_bytes};
use anyhow::{Context, ensure};
use std::io::Write;
use std::process::{Child, Command, Stdio};

/// The program that makes words into sound.
const SPEAKER: &str = "espeak-ng";

/// A mark as WAV.
///
/// # Errors
/// When it can't be written as WAV.
pub fn mark(mark: Earcon, profile: &Profile) -> anyhow::Result<Vec<u8>> {
    wav(&Notes::of(mark).samples(SAMPLE_RATE, loud(profile)))
}

/// Words as WAV, with the tone of a warning before them where they are one.
///
/// # Errors
/// When this machine has no such voice.
pub fn words(pieces: &[Piece], warning: bool, profile: &Profile) -> anyhow::Result<Vec<u8>> {
    let mut samples = Vec::new();
    if warning {
        samples.extend(Notes::WARNING.samples(SAMPLE_RATE, loud(profile)));
        samples.extend(vec![0.0; SAMPLE_RATE as usize / 10]);
    }
    // All at once: the first need not be over for the next to be made.
    let begun: Vec<_> = pieces.iter().map(|piece| begun(piece, profile)).collect();
    // Each is waited for, whatever comes of another.
    let made: Vec<_> = { begun }.into_iter().map(|b| b.and_then(said)).collect();
    for piece in made {
        samples.extend(piece?);
    }
    wav(&samples)
}

fn loud(profile: &Profile) -> f32 {
    profile.volume.get() as f32 / 100.0
}

/// A piece that is being said.
fn begun(piece: &Piece, profile: &Profile) -> anyhow::Result<Child> {
    // Its usual 175 words a minute; the person's own rate goes from half to twice of that.
    let rate = 175.0 * 2_f64.powf(f64::from(piece.rate(profile.rate).get()) / 100.0);
    let mut voice = Command::new(SPEAKER)
        .args(["--stdin", "--stdout", "-v", "en-gb", "-b", "1"])
        .args(["-s", &format!("{rate:.0}")])
        // Of 0 to 99 its usual pitch is 50, and of 0 to 200 its usual loudness is 100.
        .args(["-p", &format!("{:.0}", 50.0 + 49.0 * piece.rise())])
        .args(["-a", &format!("{:.0}", piece.loudness(profile.volume))])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .with_context(|| {
            format!("{SPEAKER} is missing: install it, or use a phone with a voice")
        })?;
    let mut to = voice.stdin.take().context("it takes no words")?;
    // No line is longer than a pipe holds.
    let given = to.write_all(piece.words.as_bytes());
    drop(to);
    if given.is_err() {
        // It has ended, and is forgotten.
        let _ = voice.wait();
    }
    given.context("it took no words")?;
    Ok(voice)
}

fn said(voice: Child) -> anyhow::Result<Vec<f32>> {
    let out = voice.wait_with_output()?;
    ensure!(out.status.success(), "{SPEAKER} ended with {}", out.status);
    Ok(read_bytes(SPEAKER, out.stdout)?)
}

fn wav(samples: &[f32]) -> anyhow::Result<Vec<u8>> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec)?;
    for sample in samples {
        writer.write_sample((sample.clamp(-1.0, 1.0) * f32::from(i16::MAX)) as i16)?;
    }
    writer.finalize()?;
    Ok(bytes.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::Levels;

    #[test]
    fn a_mark_is_a_recording_of_its_length() {
        let profile = Profile::default();
        let wav = mark(Earcon::Listening, &profile).unwrap();
        let samples = read_bytes("mark.wav", wav).unwrap();
        assert_eq!(samples.len(), SAMPLE_RATE as usize * 140 / 1000);
        assert!(Levels::of(&samples).loud > -20.0);
    }
}
