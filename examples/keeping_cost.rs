//! What keeping costs: the time of one append, with and without sound, the size of a log, and the
//! time to open and to verify it.
//!
//! `cargo run --release --example keeping_cost -- [FOLDER] [EVENTS] [SECONDS_OF_SOUND]`

use bothhands::{
    audio::{SAMPLE_RATE, Utterance},
    store::{Evidence, Mode, NewEvent, Store},
};
use std::{
    path::PathBuf,
    time::{Duration, Instant},
};

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let folder = args.next().map_or_else(std::env::temp_dir, PathBuf::from);
    let events: u64 = args.next().map_or(Ok(400), |text| text.parse())?;
    let seconds: f64 = args.next().map_or(Ok(3.0), |text| text.parse())?;
    let folder = tempfile::tempdir_in(folder)?;
    let path = folder.path().join("session.db");

    let mut store = Store::open(&path, Mode::AppendOrCreate)?;
    let (mut encoding, mut bare, mut with_sound, mut sound) = (vec![], vec![], vec![], 0);
    for n in 0..events {
        let reading = serde_json::json!({ "n": n, "test": "insulation", "megohms": "299" });
        let event = [NewEvent::new("reading", 1, &reading)?];
        if n % 2 == 0 {
            bare.push(timed(|| store.append(&event, None))?.1);
            continue;
        }
        let (evidence, took) = timed(|| utterance(n, seconds).map_err(anyhow::Error::from))?;
        encoding.push(took);
        sound += evidence.flac().map_or(0, <[u8]>::len);
        with_sound.push(timed(|| store.append(&event, Some(&evidence)))?.1);
    }
    drop(store);
    show("encode FLAC", encoding);
    show("append one event", bare);
    show("append one event with sound", with_sound);
    let size = std::fs::metadata(&path)?.len();
    println!(
        "{events} events, {} clips of {seconds} s ({:.0} kB each), file {:.1} MB",
        events / 2,
        sound as f64 / 1e3 / (events / 2).max(1) as f64,
        size as f64 / 1e6
    );
    let (store, took) = timed(|| Store::open(&path, Mode::Append))?;
    println!("open to append: {took:.1?}");
    let (records, took) = timed(|| store.records().collect::<Result<Vec<_>, _>>())?;
    println!("read {} events: {took:.1?}", records.len());
    let (verdict, took) = timed(|| store.verify())?;
    println!(
        "verify everything: {took:.1?}, whole: {}",
        verdict.is_whole()
    );
    Ok(())
}

/// A voice-like sound: a few harmonics that come and go over room noise.
fn utterance(seed: u64, seconds: f64) -> Result<Evidence, bothhands::store::EvidenceError> {
    let mut state = seed | 1;
    let samples = (0..(seconds * f64::from(SAMPLE_RATE)) as u64)
        .map(|i| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            let noise = (state >> 40) as f32 / (1 << 24) as f32 - 0.5;
            let t = i as f32 / SAMPLE_RATE as f32;
            let loud = (t * 9.0).sin().max(0.0);
            let voice: f32 = (1..8)
                .map(|k| (t * 760.0 * k as f32).sin() / k as f32)
                .sum();
            0.15 * loud * voice + 0.01 * noise
        })
        .collect();
    let utterance = Utterance {
        samples,
        start: 0,
        speech_end: 0,
    };
    Evidence::new(
        &utterance,
        "two nine nine",
        &serde_json::json!({ "fit": -0.2 }),
    )
}

fn timed<T, E>(work: impl FnOnce() -> Result<T, E>) -> Result<(T, Duration), E> {
    let begin = Instant::now();
    Ok((work()?, begin.elapsed()))
}

fn show(what: &str, mut times: Vec<Duration>) {
    times.sort();
    let at =
        |share: usize| times.get((times.len() * share / 100).min(times.len().saturating_sub(1)));
    if let (Some(half), Some(most), Some(last)) = (at(50), at(95), times.last()) {
        println!("{what}: p50 {half:.1?}, p95 {most:.1?}, longest {last:.1?}");
    }
}
