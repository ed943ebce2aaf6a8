//! What is heard by way of a phone is what is heard in a file.

use crate::phone::client::{Client, Served};
use bothhands::audio::{self, EndpointConfig};
use bothhands::dialogue::{Input, InputSource, Recordings};
use bothhands::grammar::Grammar;
use bothhands::phone::PhoneSource;
use bothhands::speech::ear::Ear;
use bothhands::speech::{Decision, DecodeContext, Recogniser};
use bothhands::voice::Silent;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Sound at three times the rate, as a phone takes it: between the samples by a windowed sinc, the
/// textbook's interpolation of a band-limited signal.
fn at_48_khz(sound: &[f32]) -> Vec<f32> {
    const HALF: i64 = 24;
    let kernel = |phase: i64, tap: i64| {
        let t = phase as f64 / 3.0 - tap as f64;
        let window = 0.5 + 0.5 * (std::f64::consts::PI * t / (HALF + 1) as f64).cos();
        let sinc = if t == 0.0 {
            1.0
        } else {
            (std::f64::consts::PI * t).sin() / (std::f64::consts::PI * t)
        };
        (sinc * window) as f32
    };
    let kernels: Vec<Vec<f32>> = (0..3)
        .map(|phase| (-HALF..=HALF).map(|tap| kernel(phase, tap)).collect())
        .collect();
    let at = |n: i64| usize::try_from(n).ok().and_then(|n| sound.get(n));
    (0..sound.len() as i64 * 3)
        .map(|n| {
            let (whole, phase) = (n / 3, (n % 3) as usize);
            (-HALF..=HALF)
                .zip(&kernels[phase])
                .filter_map(|(tap, weight)| Some(at(whole + tap)? * weight))
                .sum()
        })
        .collect()
}

/// Posts it as the page does, from this number on; the number after it.
pub fn post(client: &Client, sound: &[f32], rate: u32, mut n: u64) -> u64 {
    let mut posts = client.keeps_open();
    for block in sound.chunks(rate as usize / 10) {
        let bytes: Vec<u8> = block
            .iter()
            .flat_map(|sample| ((sample.clamp(-1.0, 1.0) * 32_767.0).round() as i16).to_le_bytes())
            .collect();
        let path = format!("/sound?run=1&n={n}&from={n}&rate={rate}&spoke=0");
        assert_eq!(posts.post(&path, &bytes), 204);
        n += 1;
    }
    n
}

/// A quiet room.
pub fn room(samples: usize) -> Vec<f32> {
    let mut random = fastrand::Rng::with_seed(1);
    std::iter::repeat_with(|| (random.f32() - 0.5) * 2e-4)
        .take(samples)
        .collect()
}

type Heard = Vec<(Decision, String)>;

fn recognised(ear: &mut Ear, samples: &[f32]) -> (Decision, String) {
    let expected = DecodeContext {
        rule: "anything".to_owned(),
        excluded: Vec::new(),
    };
    let heard = ear.recognise(samples, &expected).unwrap();
    (heard.outcome, heard.words)
}

fn by_file(ear: &mut Ear, file: &Path) -> Heard {
    let mut recordings = Recordings::new([file.to_owned()]);
    let mut heard = Vec::new();
    while let Some(input) = recordings.next(&mut Silent).unwrap() {
        if let Input::Sound(utterance) = input {
            heard.push(recognised(ear, &utterance.samples));
        }
    }
    heard
}

/// As many utterances as the file had, and no more.
fn by_phone(ear: &mut Ear, source: &mut PhoneSource, wanted: usize) -> Heard {
    let mut heard = Vec::new();
    let mut idle = 0;
    // A machine that is busy with something else is not through with the sound when it is idle for the second time.
    while idle < 2 || (heard.len() < wanted && idle < 60) {
        match source.next(&mut Silent).unwrap().unwrap() {
            Input::Sound(utterance) => heard.push(recognised(ear, &utterance.samples)),
            // Between two recordings nothing comes for as long as hearing takes.
            Input::Notice(notice) => assert!(!notice.contains("lost"), "{notice}"),
            Input::Idle(_) => idle += 1,
            _ => {}
        }
        if heard.len() > wanted {
            break;
        }
    }
    heard
}

/// The same sound as a file: as a phone takes it, 16 bits.
fn as_file(sound: &[f32], path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(path, spec).unwrap();
    for sample in sound {
        let whole = (sample.clamp(-1.0, 1.0) * 32_767.0).round() as i16;
        wav.write_sample(whole).unwrap();
    }
    wav.finalize().unwrap();
}

/// Differences between the two ways, one recording after another in one stream.
fn differences(files: &[PathBuf]) -> Vec<String> {
    let mut served = Served::new();
    let client = served.paired();
    let mut source = served.phone.source(EndpointConfig::default()).unwrap();
    assert!(served.phone.source(EndpointConfig::default()).is_none());
    let mut ear = Ear::new(Arc::new(Grammar::built_in().unwrap()), 2).unwrap();
    let mut n = 0;
    let mut differences = Vec::new();
    for file in files {
        let expected = by_file(&mut ear, file);
        // A person who was told that something was lost waits for the end of that.
        let mut sound = room(48_000);
        sound.extend(at_48_khz(&audio::read(file).unwrap()));
        sound.extend(room(48_000 * 3 / 2));
        n = post(&client, &sound, 48_000, n);
        let came = by_phone(&mut ear, &mut source, expected.len());
        println!("{}: {came:?}", file.display());
        if came != expected {
            differences.push(format!("{}: {expected:?}, {came:?}", file.display()));
        }
    }
    assert_eq!(source.account().unwrap().matches("0 gaps").count(), 1);
    differences
}

/// Differences where file and stream are the same sound from their first sample on.
fn differences_of_the_same(files: &[PathBuf]) -> Vec<String> {
    let mut ear = Ear::new(Arc::new(Grammar::built_in().unwrap()), 2).unwrap();
    let mut differences = Vec::new();
    for file in files {
        let mut served = Served::new();
        let client = served.paired();
        let mut source = served.phone.source(EndpointConfig::default()).unwrap();
        let mut sound = room(48_000);
        sound.extend(at_48_khz(&audio::read(file).unwrap()));
        sound.extend(room(48_000 * 3 / 2));
        let same = served.folder.path().join("same.wav");
        as_file(&sound, &same);
        let expected = by_file(&mut ear, &same);
        post(&client, &sound, 48_000, 0);
        let came = by_phone(&mut ear, &mut source, expected.len());
        println!("{}: {came:?}", file.display());
        if came != expected {
            differences.push(format!("{}: {expected:?}, {came:?}", file.display()));
        }
        assert!(source.account().unwrap().contains(" 0 gaps"));
    }
    differences
}

fn recordings_of_the_demo() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir("demo/recordings")
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    assert!(files.len() > 40);
    files
}

#[test]
fn recordings_are_heard_as_in_their_files() {
    let _attention = crate::attention();
    // Each is waited for as long as a person pauses: not all of them here.
    let few: Vec<PathBuf> = recordings_of_the_demo().into_iter().step_by(5).collect();
    assert_eq!(differences(&few), Vec::<String>::new());
}

/// By hand.
#[test]
#[ignore = "takes minutes"]
fn every_recording_of_the_demo_is_heard_as_in_its_file() {
    assert_eq!(differences(&recordings_of_the_demo()), Vec::<String>::new());
}

/// Of the test set (`tests/clips/make.sh`): every clean clip, and as many with noise as make two hundred. In
/// `make test-long`.
#[test]
#[ignore = "takes minutes"]
fn two_hundred_clips_are_heard_as_in_their_files() {
    let list = std::fs::read_to_string("tests/cache/small.tsv").unwrap();
    let of = |kind: &'static str| {
        let clips = list.lines().filter_map(|line| line.split('\t').next());
        clips.filter(move |clip| clip.starts_with(kind))
    };
    let files: Vec<PathBuf> = of("clips/clean/")
        .chain(of("clips/mix10/"))
        .map(|clip| Path::new("tests/cache").join(clip))
        .take(200)
        .collect();
    assert_eq!(files.len(), 200);
    let differ = differences_of_the_same(&files);
    println!("{} of {} clips differ", differ.len(), files.len());
    assert_eq!(differ, Vec::<String>::new());
}

#[test]
fn a_gap_inside_an_utterance_is_asked_again_and_nothing_of_it_is_taken() {
    let mut served = Served::new();
    let client = served.paired();
    let mut source = served.phone.source(EndpointConfig::default()).unwrap();
    let sound = audio::read(Path::new("demo/recordings/14-line-earth.flac")).unwrap();
    let half = sound.len() / 2 / 1600 * 1600;
    let n = post(&client, &sound[..half], 16_000, 0);
    // Two posts never come, and the page gives them up.
    let mut rest = sound[half..].to_vec();
    rest.extend(room(16_000 * 3 / 2));
    post(&client, &rest, 16_000, n + 2);
    let (mut told, mut idle) = (Vec::new(), 0);
    while idle < 2 {
        match source.next(&mut Silent).unwrap().unwrap() {
            Input::Notice(notice) => told.push(notice),
            Input::Idle(_) => idle += 1,
            // It decides nothing.
            Input::Partial(_) if told.is_empty() => {}
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("Say the last thing again"), "{told:?}");
    // Said again, it is heard.
    let mut again = sound;
    again.extend(room(16_000 * 3 / 2));
    post(
        &client,
        &again,
        16_000,
        n + 2 + (rest.len() as u64).div_ceil(1600),
    );
    let (mut heard, mut idle) = (0, 0);
    while idle < 2 {
        match source.next(&mut Silent).unwrap().unwrap() {
            Input::Sound(utterance) => heard += usize::from(utterance.seconds() > 0.5),
            Input::Idle(_) => idle += 1,
            Input::Partial(_) => {}
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(heard, 1);
}

#[test]
fn when_no_sound_comes_any_more_it_is_told_once_and_so_is_its_return() {
    let mut served = Served::new();
    let client = served.paired();
    let mut source = served.phone.source(EndpointConfig::default()).unwrap();
    let next = |source: &mut PhoneSource| loop {
        match source.next(&mut Silent).unwrap().unwrap() {
            Input::Notice(notice) => return notice,
            Input::Idle(_) => {}
            other => panic!("{other:?}"),
        }
    };
    let n = post(&client, &room(3200), 16_000, 0);
    let lost = next(&mut source);
    assert!(lost.contains("No sound comes from the phone"), "{lost}");
    post(&client, &room(3200), 16_000, n);
    let back = next(&mut source);
    assert!(back.contains("heard again"), "{back}");
    for (told, said) in [
        (r#"{"hidden":12000}"#, "hidden for 12 seconds"),
        (r#""muted""#, "muted"),
    ] {
        assert_eq!(client.post("/state", told.as_bytes()).status, 204);
        let notice = next(&mut source);
        assert!(notice.contains(said), "{notice}");
    }
    assert_eq!(client.post("/state", br#""asleep""#).status, 400);
}
