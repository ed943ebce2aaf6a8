//! Keeping: logs that are written, carried, harmed and opened again. What they share is here.

mod carrying;
mod changed;
mod disk;
mod flipped;
mod full;
mod golden;
mod killed;
mod log;
mod opening;
mod other;
mod power;
mod session;

use bothhands::{
    audio::Utterance,
    store::{Evidence, NewEvent},
};
use tempfile::TempDir;

/// A folder of its own for one test, gone afterwards.
pub fn folder() -> TempDir {
    tempfile::tempdir().expect("a folder for temporary files")
}

/// As [`folder`], in memory where the system has such a place: many tests write thousands of logs.
pub fn folder_in_memory() -> TempDir {
    tempfile::tempdir_in("/dev/shm").unwrap_or_else(|_| folder())
}

/// Whether harm is to be done at length: `BOTHHANDS_HARM=long`.
pub fn long() -> bool {
    std::env::var("BOTHHANDS_HARM").is_ok_and(|value| value == "long")
}

/// An event that can be told from others by its number.
pub fn note(n: u64) -> NewEvent {
    let text = format!("reading number {n} of the boat store");
    NewEvent::new("note", 1, &serde_json::json!({ "n": n, "text": text })).expect("plain JSON")
}

/// A tenth of a second of sound, another for each seed.
pub fn clip(words: &str, seed: u64) -> Evidence {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let samples = (0..1600)
        .map(|i| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            let noise = (state >> 40) as f32 / (1u64 << 24) as f32 - 0.5;
            0.3 * (i as f32 * 0.2).sin() + 0.05 * noise
        })
        .collect();
    let utterance = Utterance {
        samples,
        start: seed * 16_000,
        speech_end: seed * 16_000 + 1500,
    };
    Evidence::new(
        &utterance,
        words,
        &serde_json::json!({ "fit": -0.25, "margin": 4.0 }),
    )
    .expect("sound that can be encoded")
}
