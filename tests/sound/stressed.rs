//! What is in doubt stands out to the ear: slower, louder and higher than the words around it, and never
//! faster. Measured on the sound that is made for a phone, by espeak-ng (Debian).

use bothhands::audio::{SAMPLE_RATE, read_bytes};
use bothhands::terms::Wording;
use bothhands::voice::{Piece, Profile, Saying, Tone, pieces, sounded};

/// What an ear makes of a word.
#[derive(Debug)]
struct Heard {
    seconds: f32,
    /// Mean of the square.
    energy: f32,
    /// Of the voice, Hz.
    pitch: f32,
}

/// Each piece of a line by itself.
fn heard(piece: &Piece, profile: &Profile) -> Heard {
    let wav = sounded::words(std::slice::from_ref(piece), false, profile).unwrap();
    let samples = read_bytes("said.wav", wav).unwrap();
    let loudest = samples.iter().fold(0.0_f32, |most, s| most.max(s.abs()));
    let loud = |s: &&f32| s.abs() > 0.1 * loudest;
    let first = samples.iter().position(|s| loud(&s)).unwrap();
    let last = samples.iter().rposition(|s| loud(&s)).unwrap();
    let word = &samples[first..=last];
    let square = |part: &[f32]| part.iter().map(|s| s * s).sum::<f32>() / part.len() as f32;

    Heard {
        seconds: word.len() as f32 / SAMPLE_RATE as f32,
        energy: square(word),
        pitch: pitch(word),
    }
}

/// The median over the word of the lag at which a stretch of 40 ms is most like itself.
fn pitch(word: &[f32]) -> f32 {
    const WINDOW: usize = SAMPLE_RATE as usize / 25;
    let lags = SAMPLE_RATE as usize / 300..SAMPLE_RATE as usize / 60;
    let mut found: Vec<f32> = word
        .windows(WINDOW + lags.end)
        .step_by(160)
        .filter_map(|part| {
            let like = |lag: usize| {
                let (a, b) = (&part[..WINDOW], &part[lag..lag + WINDOW]);
                let dot = |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f32>();
                dot(a, b) / (dot(a, a) * dot(b, b)).sqrt().max(1e-9)
            };
            let lag = lags
                .clone()
                .max_by(|a, b| like(*a).total_cmp(&like(*b)))
                .unwrap();
            (like(lag) > 0.8).then_some(SAMPLE_RATE as f32 / lag as f32)
        })
        .collect();
    found.sort_by(f32::total_cmp);
    found[found.len() / 2]
}

#[test]
fn the_doubtful_digit_is_slower_louder_and_higher_than_the_others() {
    crate::need("espeak-ng", "espeak-ng");
    let profile = Profile::default();
    let nine = 13..14;
    let line = Saying {
        tone: Tone::Question,
        text: "Say again: 2 9 4?",
        doubtful: std::slice::from_ref(&nine),
    };
    let said = pieces(line, Wording::Radio);
    let words: Vec<&str> = said.iter().map(|piece| piece.words.trim()).collect();
    assert_eq!(words, ["Say again: two", "nine", "four?"]);
    let (doubted, after) = (heard(&said[1], &profile), heard(&said[2], &profile));
    // The same word where it is sure.
    let sure = heard(
        &Piece {
            doubtful: false,
            ..said[1].clone()
        },
        &profile,
    );
    println!("in doubt {doubted:?}, sure {sure:?}, the one after it {after:?}");
    assert!(doubted.energy > 1.3 * sure.energy);
    assert!(doubted.energy > 1.3 * after.energy);
    assert!(doubted.pitch > 1.1 * sure.pitch);
    assert!(doubted.seconds > 1.15 * sure.seconds);
}

#[test]
fn at_any_pace_and_volume_what_is_in_doubt_is_never_faster_or_fainter() {
    let piece = |doubtful| Piece {
        words: "nine".to_owned(),
        doubtful,
    };
    for rate in [-100, -80, 0, 60, 100] {
        for volume in [0, 15, 100] {
            let (rate, volume) = (rate.try_into().unwrap(), volume.try_into().unwrap());
            assert!(piece(true).rate(rate) <= piece(false).rate(rate));
            assert!(piece(true).loudness(volume) >= piece(false).loudness(volume));
        }
    }
    assert!(piece(true).rise() > piece(false).rise());
}
