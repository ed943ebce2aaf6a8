//! What is fed, and what must hold of what comes back.

use super::feed;
use super::spoil::{spoil, spoil_text};
use crate::keeping::{clip, folder_in_memory, note};
use bothhands::audio;
use bothhands::grammar::Grammar;
use bothhands::installation::Job;
use bothhands::limits::Tables;
use bothhands::log::Log;
use bothhands::report::{self, Schedule, Times};
use bothhands::sequence::Session;
use bothhands::store::{NewEvent, OpenMode, Sounds, Store, import};
use std::fs;
use std::io::Cursor;
use std::path::Path;

/// Every file of a folder with this ending, in the order of their names.
fn files(folder: &str, ending: &str) -> Vec<Vec<u8>> {
    let mut paths: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == ending))
        .collect();
    paths.sort();
    assert!(!paths.is_empty(), "nothing in {folder}");
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

/// A job file: a session can begin with what is taken, and every complaint names the file.
#[test]
fn job() {
    let seeds = [
        files("tests/jobs", "toml"),
        files("tests/dialogues/jobs", "toml"),
    ]
    .concat();
    let tables = Tables::shipped();
    feed("job", |rng| {
        let text = spoil_text(rng, &seeds);
        match Job::parse(&text, "spoilt.toml") {
            Ok(job) => {
                for board in &job.boards {
                    for circuit in &board.circuits {
                        let _ = job.expected(tables, board, circuit);
                    }
                }
                let _ = job.oddities(tables, jiff::civil::date(2026, 11, 25));
                let now = "2026-11-25T09:30:00Z".parse().unwrap();
                if let Err(why) = Session::begin(job, "bothhands", now) {
                    assert!(!why.to_string().is_empty());
                }
                true
            }
            Err(error) => {
                assert!(!error.problems.is_empty());
                for line in error.to_string().lines() {
                    assert!(line.starts_with("spoilt.toml:"), "{line}");
                }
                false
            }
        }
    });
}

/// A grammar in JSGF: what is taken can be drawn from, understood and made into a graph, or is
/// refused as too large.
#[test]
fn jsgf() {
    let seeds = files("grammars", "jsgf");
    feed("jsgf", |rng| {
        let text = spoil_text(rng, &seeds);
        let grammar = match Grammar::from_texts([("spoilt.jsgf", text)]) {
            Ok(grammar) => grammar,
            Err(error) => {
                let error = error.to_string();
                assert!(error.starts_with("spoilt.jsgf:"), "{error}");
                return false;
            }
        };
        let rules: Vec<String> = grammar.public().map(str::to_owned).collect();
        for rule in rules {
            if let Ok(words) = grammar.sample(&rule, &mut || rng.f64()) {
                let _ = grammar.understand(&rule, &words);
            }
        }
        true
    });
}

/// Exported lines: what is imported fits, and of what is refused nothing is left. Every other case
/// spoils what the events say before they are hashed, so that reports get to see it.
#[test]
fn lines() {
    let seeds = [
        files("tests/golden", "jsonl"),
        files("tests/golden/edition-1", "jsonl"),
        files("tests/golden/edition-2", "jsonl"),
    ]
    .concat();
    let events: Vec<(String, String)> = seeds
        .iter()
        .flat_map(|text| text.split(|&b| b == b'\n'))
        .filter_map(|line| serde_json::from_slice::<serde_json::Value>(line).ok())
        .filter_map(|line| {
            let event = line.get("event")?;
            Some((
                event["kind"].as_str()?.to_owned(),
                event["payload"].to_string(),
            ))
        })
        .collect();
    let payloads: Vec<Vec<u8>> = events
        .iter()
        .map(|(_, text)| text.clone().into_bytes())
        .collect();
    feed("lines", |rng| {
        let dir = folder_in_memory();
        let to = dir.path().join("spoilt.db");
        if rng.bool() {
            let text = spoil_text(rng, &seeds);
            return imported(&text, &to);
        }
        let new: Vec<NewEvent> = events
            .iter()
            .filter_map(|(kind, payload)| {
                let text = if rng.u32(0..12) == 0 {
                    String::from_utf8_lossy(&spoil(rng, payload.as_bytes(), &payloads)).into_owned()
                } else {
                    payload.clone()
                };
                let value: serde_json::Value = serde_json::from_str(&text).ok()?;
                NewEvent::new(kind, 1, &value).ok()
            })
            .collect();
        let made = dir.path().join("made.db");
        Store::open(&made, OpenMode::AppendOrCreate)
            .unwrap()
            .append(&new, None)
            .unwrap();
        let mut text = Vec::new();
        let store = Store::open(&made, OpenMode::Read).unwrap();
        store.export(&mut text, &Sounds::Inside).unwrap();
        imported(&String::from_utf8(text).unwrap(), &to)
    });
}

fn imported(text: &str, to: &Path) -> bool {
    if let Err(error) = import(&mut text.as_bytes(), Path::new("spoilt.jsonl"), None, to) {
        assert!(error.to_string().starts_with("spoilt.jsonl:"), "{error}");
        assert!(!to.exists(), "{error}");
        return false;
    }
    let store = Store::open(to, OpenMode::Read).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    match Log::read(&store) {
        Ok(log) => reported(&log),
        Err(why) => assert!(!why.to_string().is_empty()),
    }
    true
}

/// Whatever a log says, it is reported on or refused.
fn reported(log: &Log) {
    match Schedule::of(log, &Times::utc()) {
        Ok(schedule) => {
            assert!(!report::csv(&schedule).is_empty());
            assert!(!report::html(&schedule).is_empty());
        }
        Err(why) => assert!(!why.to_string().is_empty()),
    }
    if let Err(why) = report::dialogue(log) {
        assert!(!why.to_string().is_empty());
    }
}

/// A log as a crash leaves it, with either of its files spoilt: opening it for reading or for
/// writing is refused by name, or what is read fits or is told to be damaged.
#[test]
fn damaged_log() {
    let seeds = crashed();
    feed("damaged_log", |rng| {
        let dir = folder_in_memory();
        let path = dir.path().join("spoilt.db");
        let spoilt = rng.usize(..seeds.len());
        for (n, (end, bytes)) in seeds.iter().enumerate() {
            let mut bytes = bytes.clone();
            if n == spoilt {
                bytes = spoil(rng, &bytes, &[]);
            }
            fs::write(dir.path().join(format!("spoilt.db{end}")), bytes).unwrap();
        }
        let mut taken = false;
        for mode in [OpenMode::Read, OpenMode::Append] {
            match Store::open(&path, mode) {
                Ok(mut store) => {
                    let whole = store.verify().is_ok_and(|verdict| verdict.is_whole());
                    let read = store.records().collect::<Result<Vec<_>, _>>();
                    assert!(!whole || read.is_ok(), "whole, and cannot be read");
                    if mode == OpenMode::Append {
                        taken |= store.append(&[note(7)], None).is_ok();
                    }
                }
                Err(why) => {
                    let why = why.to_string();
                    assert!(why.contains("spoilt.db"), "{why}");
                }
            }
        }
        taken
    });
}

/// The files of a log whose writer was killed, by how their names end.
fn crashed() -> Vec<(&'static str, Vec<u8>)> {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    for n in 0..6 {
        let sound = (n % 3 == 0).then(|| clip("two nine nine", n));
        store.append(&[note(n)], sound.as_ref()).unwrap();
    }
    ["", "-wal"]
        .map(|end| {
            (
                end,
                fs::read(dir.path().join(format!("session.db{end}"))).unwrap(),
            )
        })
        .to_vec()
}

/// A WAV whose header, or whatever else, is not what it should be: finite sound, or a refusal by
/// name.
#[test]
fn wav() {
    let mut seeds = Vec::new();
    for (channels, bits, format) in [
        (1, 16, hound::SampleFormat::Int),
        (2, 24, hound::SampleFormat::Int),
        (1, 8, hound::SampleFormat::Int),
        (2, 32, hound::SampleFormat::Float),
    ] {
        let spec = hound::WavSpec {
            channels,
            sample_rate: 16_000,
            bits_per_sample: bits,
            sample_format: format,
        };
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
        for n in 0..400 * i32::from(channels) {
            if bits == 32 {
                writer.write_sample((n as f32 / 20.0).sin()).unwrap();
            } else {
                writer.write_sample(n % 100).unwrap();
            }
        }
        writer.finalize().unwrap();
        seeds.push(bytes.into_inner());
    }
    feed("wav", |rng| {
        let seed = &seeds[rng.usize(..seeds.len())];
        // Damage to the header is the more dangerous.
        let bytes = if rng.bool() {
            let header = 60.min(seed.len());
            let mut bytes = spoil(rng, &seed[..header], &seeds);
            bytes.extend(&seed[header..]);
            bytes
        } else {
            spoil(rng, seed, &seeds)
        };
        match audio::read_bytes("spoilt.wav", bytes) {
            Ok(samples) => {
                assert!(samples.iter().all(|sample| sample.is_finite()));
                true
            }
            Err(error) => {
                assert!(error.to_string().starts_with("spoilt.wav: "), "{error}");
                false
            }
        }
    });
}
