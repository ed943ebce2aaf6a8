//! Made voices: noise that comes and goes in each band by itself, as speech does.

use super::*;

const RATE: usize = 16_000;

/// Noise whose bands rise and fall as syllables do; another for each seed.
fn voice(seed: u64, seconds: usize) -> Vec<f32> {
    let mut random = fastrand::Rng::with_seed(seed);
    let tones: Vec<(f32, f32, f32, f32)> = (0..40)
        .map(|_| {
            let hertz = 250.0 * 20f32.powf(random.f32());
            (
                hertz,
                random.f32() * 6.0,
                2.0 + 4.0 * random.f32(),
                random.f32() * 6.0,
            )
        })
        .collect();
    (0..seconds * RATE)
        .map(|n| {
            let t = n as f32 / RATE as f32;
            let all = tones.iter().map(|(hertz, at, beat, turn)| {
                let rises = (beat * std::f32::consts::TAU * t + turn)
                    .sin()
                    .max(0.0)
                    .powi(2);
                rises * (std::f32::consts::TAU * hertz * t + at).sin()
            });
            0.02 * all.sum::<f32>()
        })
        .collect()
}

fn hiss(seed: u64, samples: usize) -> Vec<f32> {
    let mut random = fastrand::Rng::with_seed(seed);
    (0..samples).map(|_| 4e-4 * (random.f32() - 0.5)).collect()
}

/// What a phone hears: voices so much quieter, so many samples late.
fn heard(seed: u64, voices: &[(&[f32], f32, usize)]) -> Vec<f32> {
    let samples = voices.iter().map(|(v, ..)| v.len()).max().unwrap();
    let mut sound = hiss(seed, samples);
    for (voice, under, late) in voices {
        let gain = 10f32.powf(-under / 20.0);
        for (at, sample) in sound.iter_mut().skip(*late).zip(*voice) {
            *at += gain * sample;
        }
    }
    sound
}

/// Silence, and then the voice.
fn after(seconds: usize, voice: &[f32]) -> Vec<f32> {
    [vec![0.0; seconds * RATE], voice.to_vec()].concat()
}

/// The sounds in posts of a tenth of a second, the second so many frames longer on its way.
fn room(sounds: &[Vec<f32>], behind: f64) -> (Neighbours, Vec<LetThrough>) {
    let mut room = Neighbours::new(sounds.len());
    let mut gates: Vec<NeighbourGate> = (0..sounds.len()).map(NeighbourGate::new).collect();
    let mut passed: Vec<LetThrough> = sounds.iter().map(|_| LetThrough::default()).collect();
    let posts = sounds.iter().map(Vec::len).min().unwrap() / 1600;
    for post in 0..=posts {
        for (n, sound) in sounds.iter().enumerate() {
            let part = sound
                .get(post * 1600..(post + 1) * 1600)
                .unwrap_or_default();
            let arrived = 10.0 * (post + 1) as f64 + behind * n as f64;
            let frame = room.push(n, arrived, part);
            gates[n].push(frame, part);
            let more = gates[n].pass(&room, post == posts);
            passed[n].steps.extend(more.steps);
            passed[n].told.extend(more.told);
        }
    }
    (room, passed)
}

/// Steps that were let through with something of his own in them.
fn own(passed: &LetThrough) -> usize {
    passed
        .steps
        .iter()
        .filter(|step| step.own.own > 0.0)
        .count()
}

#[test]
fn one_who_speaks_is_heard_at_his_own_phone_and_kept_from_the_other() {
    let speaks = after(1, &voice(1, 6));
    for behind in [0.0, 12.0] {
        for under in [6.0, 20.0] {
            let sounds = [
                heard(1, &[(&speaks, 0.0, 0)]),
                heard(2, &[(&speaks, under, 160)]),
            ];
            let (_, passed) = room(&sounds, behind);
            assert!(own(&passed[0]) > 400, "{}", own(&passed[0]));
            assert!(own(&passed[1]) < 100, "{under}: {}", own(&passed[1]));
            let told = &passed[1].told;
            assert!(told.iter().all(|kept| kept.at == Some(0)), "{told:?}");
            assert!(passed[0].told.is_empty());
        }
    }
}

#[test]
fn two_who_speak_at_once_are_both_heard_at_their_own() {
    let (one, other) = (after(1, &voice(1, 6)), after(1, &voice(2, 6)));
    let sounds = [
        heard(1, &[(&one, 0.0, 0), (&other, 10.0, 200)]),
        heard(2, &[(&other, 0.0, 0), (&one, 10.0, 200)]),
    ];
    let (_, passed) = room(&sounds, 3.0);
    for passed in &passed {
        assert!(own(passed) > 350, "{}", own(passed));
    }
}

#[test]
fn a_phone_that_is_turned_up_hears_no_more_of_its_own_than_before() {
    let speaks = after(1, &voice(1, 6));
    let own_phone = heard(1, &[(&speaks, 0.0, 0)]);
    // Its hiss is turned up as well: against its own floor it is as it was.
    let turned_up = heard(2, &[(&speaks, 9.0, 160)])
        .iter()
        .map(|s| s * 6.0)
        .collect();
    let (_, passed) = room(&[own_phone, turned_up], 0.0);
    assert!(own(&passed[0]) > 400);
    assert!(own(&passed[1]) < 100, "{}", own(&passed[1]));
}

#[test]
fn what_is_further_apart_than_the_way_explains_is_not_the_same() {
    // Half a second later, and quieter: somebody else said the same.
    let speaks = after(1, &voice(1, 6));
    let later = [vec![0.0; RATE / 2], speaks.clone()].concat();
    let sounds = [
        heard(1, &[(&speaks, 0.0, 0)]),
        heard(2, &[(&later, 10.0, 0)]),
    ];
    let (_, passed) = room(&sounds, 0.0);
    assert!(own(&passed[1]) > 200, "{}", own(&passed[1]));
}

#[test]
fn nothing_is_waited_for_that_is_not_heard_from_and_nothing_is_lost() {
    let speaks = after(1, &voice(1, 3));
    let mut all = Neighbours::new(3);
    let mut gate = NeighbourGate::new(0);
    let mut steps = 0;
    for (n, part) in heard(1, &[(&speaks, 0.0, 0)])
        .chunks_exact(1600)
        .enumerate()
    {
        let frame = all.push(0, 10.0 * (n + 1) as f64, part);
        assert!(!gate.push(frame, part));
        steps += gate.pass(&all, false).steps.len();
    }
    assert!(steps > 350, "{steps}");
    steps += gate.pass(&all, true).steps.len();
    assert_eq!(steps, 400);
    // After a loss it goes on from there.
    all.lost(0);
    let frame = all.push(0, 500.0, &[0.0; 1600]);
    assert_eq!(frame, 400);
    assert!(!gate.push(frame, &[0.0; 1600]));
    assert!(gate.push(frame + 50, &[0.0; 1600]));
    assert_eq!(gate.pass(&all, true).steps.len(), 10);
}

#[test]
fn sound_that_is_no_sound_breaks_nothing() {
    let sounds = [vec![f32::NAN; 32_000], vec![0.0; 32_000], vec![1.0; 32_000]];
    let (_, passed) = room(&sounds, 1.0);
    for passed in passed {
        assert_eq!(passed.steps.len(), 200);
    }
}
