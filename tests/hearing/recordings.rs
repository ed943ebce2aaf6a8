//! Recordings of every kind, whole and damaged: what can be read is read right, and what cannot is
//! refused with the file's name, what is wrong and what to do. Nothing panics.

use bothhands::audio::{self, SAMPLE_RATE, SoundProblem};
use proptest::prelude::*;
use std::io::Cursor;
use std::path::Path;

fn tone(rate: u32, seconds: f64) -> Vec<f32> {
    let step = 300.0 * std::f64::consts::TAU / f64::from(rate);
    (0..(f64::from(rate) * seconds) as usize)
        .map(|n| (n as f64 * step).sin() as f32 * 0.5)
        .collect()
}

/// A WAV with `channels` copies of `samples`, in the format of `spec`.
fn wav(samples: &[f32], rate: u32, channels: u16, bits: u16, float: bool) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate,
        bits_per_sample: bits,
        sample_format: if float {
            hound::SampleFormat::Float
        } else {
            hound::SampleFormat::Int
        },
    };
    let mut bytes = Vec::new();
    let mut writer = hound::WavWriter::new(Cursor::new(&mut bytes), spec).unwrap();
    for sample in samples {
        for _ in 0..channels {
            if float {
                writer.write_sample(*sample).unwrap();
            } else {
                let full = (1i64 << (bits - 1)) as f32;
                writer.write_sample((sample * full) as i32).unwrap();
            }
        }
    }
    writer.finalize().unwrap();
    bytes
}

fn problem(bytes: Vec<u8>) -> SoundProblem {
    audio::read_bytes("clip.wav", bytes).unwrap_err().problem
}

#[test]
fn every_width_and_number_of_channels_gives_the_same_sound() {
    let expected = tone(SAMPLE_RATE, 0.2);
    for (bits, float, within) in [
        (8, false, 0.01),
        (16, false, 1e-4),
        (24, false, 1e-6),
        (32, false, 1e-6),
        (32, true, 1e-7),
    ] {
        for channels in [1, 2, 6] {
            let bytes = wav(&expected, SAMPLE_RATE, channels, bits, float);
            let got = audio::read_bytes("clip.wav", bytes).unwrap();
            assert_eq!(got.len(), expected.len());
            for (g, e) in got.iter().zip(&expected) {
                assert!((g - e).abs() <= within, "{bits} bits: {g} for {e}");
            }
        }
    }
}

#[test]
fn any_rate_is_brought_to_16_khz() {
    for rate in [4000, 8000, 11_025, 22_050, 44_100, 48_000, 192_000] {
        let bytes = wav(&tone(rate, 0.5), rate, 1, 16, false);
        let got = audio::read_bytes("clip.wav", bytes).unwrap();
        assert!(got.len().abs_diff(8000) <= 1, "{rate}: {}", got.len());
        let expected = tone(SAMPLE_RATE, 0.5);
        // At odd rates the filter may shift the sound by up to one sample, where the tone's slope
        // is 0.059.
        for n in 2000..6000 {
            assert!((got[n] - expected[n]).abs() < 0.06, "{rate} Hz at {n}");
        }
    }
}

#[test]
fn a_stream_that_leaves_its_length_open_is_read_to_its_end() {
    let whole = wav(&tone(SAMPLE_RATE, 0.1), SAMPLE_RATE, 2, 16, false);
    let at = whole.windows(4).position(|w| w == b"data").unwrap() + 4;
    for length in [0u32, 0x7fff_ffff, 0xffff_ffff] {
        let mut bytes = whole.clone();
        bytes[at..at + 4].copy_from_slice(&length.to_le_bytes());
        let got = audio::read_bytes("standard input", bytes).unwrap();
        assert_eq!(got.len(), 1600, "length {length:#x}");
    }
}

#[test]
fn chunks_that_say_nothing_about_the_samples_are_passed_over() {
    let whole = wav(&tone(SAMPLE_RATE, 0.1), SAMPLE_RATE, 1, 16, false);
    // A chunk of odd length takes a byte of padding.
    let mut bytes = whole[..12].to_vec();
    bytes.extend(b"LIST\x05\x00\x00\x00notes\x00");
    bytes.extend(&whole[12..]);
    assert_eq!(audio::read_bytes("clip.wav", bytes).unwrap().len(), 1600);
}

#[test]
fn what_cannot_be_used_is_refused_with_its_name_and_what_to_do() {
    let good = wav(&tone(SAMPLE_RATE, 0.1), SAMPLE_RATE, 1, 16, false);
    let rate = |hertz: u32| {
        let mut bytes = good.clone();
        bytes[24..28].copy_from_slice(&hertz.to_le_bytes());
        bytes[28..32].copy_from_slice(&(2 * hertz).to_le_bytes());
        bytes
    };
    assert!(matches!(problem(Vec::new()), SoundProblem::Empty));
    assert!(matches!(
        problem(wav(&[], SAMPLE_RATE, 1, 16, false)),
        SoundProblem::Empty
    ));
    assert!(matches!(
        problem(b"hello, this is no sound".to_vec()),
        SoundProblem::UnknownFormat
    ));
    assert!(matches!(problem(rate(0)), SoundProblem::SampleRate(0)));
    assert!(matches!(
        problem(rate(3_000_000)),
        SoundProblem::SampleRate(_)
    ));
    assert!(matches!(
        problem(good[..good.len() - 100].to_vec()),
        SoundProblem::Truncated {
            promised: 1600,
            found: 1550
        }
    ));
    assert!(matches!(
        problem(good[..30].to_vec()),
        SoundProblem::Damaged { .. }
    ));
    let bad = [0.1, f32::NAN, 0.2];
    assert!(matches!(
        problem(wav(&bad, SAMPLE_RATE, 1, 32, true)),
        SoundProblem::NotANumber(1)
    ));
    let missing = audio::read(Path::new("no/such/clip.wav")).unwrap_err();
    let message = missing.to_string();
    assert!(message.starts_with("no/such/clip.wav: "), "{message}");
    assert!(message.contains("check the path"), "{message}");
}

#[test]
fn what_was_there_before_the_damage_is_still_given() {
    let whole = wav(&tone(SAMPLE_RATE, 1.0), SAMPLE_RATE, 1, 16, false);
    let cut = whole[..whole.len() / 2].to_vec();
    let source = audio::SoundBlocks::new("clip.wav", Box::new(Cursor::new(cut))).unwrap();
    let (good, bad): (Vec<_>, Vec<_>) = source.partition(Result::is_ok);
    assert_eq!(bad.len(), 1);
    let samples: usize = good.into_iter().map(|b| b.unwrap().len()).sum();
    assert!(samples > 6000, "{samples}");
}

fn flac() -> Vec<u8> {
    audio::flac::encode(&tone(SAMPLE_RATE, 0.5)).unwrap()
}

#[test]
fn a_cut_flac_is_refused() {
    let whole = flac();
    for at in [4, 20, 60, whole.len() / 2, whole.len() - 1] {
        assert!(
            audio::read_bytes("clip.flac", whole[..at].to_vec()).is_err(),
            "cut at {at}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn damaged_bytes_never_panic(
        flac_or_wav in any::<bool>(),
        float in any::<bool>(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        header in any::<bool>(),
        cut in prop::option::of(any::<prop::sample::Index>()),
    ) {
        let mut bytes = if flac_or_wav {
            flac()
        } else {
            wav(&tone(SAMPLE_RATE, 0.1), SAMPLE_RATE, 2, if float { 32 } else { 16 }, float)
        };
        for (at, value) in changes {
            // Damage to the header is the more dangerous.
            let at = at.index(if header { 48.min(bytes.len()) } else { bytes.len() });
            bytes[at] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        match audio::read_bytes("clip", bytes) {
            Ok(samples) => prop_assert!(samples.iter().all(|s| s.is_finite())),
            Err(error) => prop_assert!(error.to_string().starts_with("clip: ")),
        }
    }

    #[test]
    fn noise_behind_a_good_beginning_never_panics(
        flac in any::<bool>(),
        bytes in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        let mut all = if flac { b"fLaC".to_vec() } else { b"RIFF".to_vec() };
        all.extend(bytes);
        let _ = audio::read_bytes("clip", all);
    }
}
