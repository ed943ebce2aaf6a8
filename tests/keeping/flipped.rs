//! One bit of a log flips: either checking names the damage, or nothing that was kept changed.
//!
//! `BOTHHANDS_HARM=long cargo test --test it keeping::flipped -- --nocapture` flips a bit in every
//! fourth byte and prints counts; without it a sample is done.

use crate::keeping::disk::Chance;
use crate::keeping::{clip, folder_in_memory, long, note};
use bothhands::store::{NewEvent, OpenMode, Sounds, Store, StoreError};
use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
};

fn fill(path: &Path) -> Store {
    let mut store = Store::open(path, OpenMode::AppendOrCreate).unwrap();
    store
        .append(&[NewEvent::job("title = \"Boathouse\"\n").unwrap()], None)
        .unwrap();
    for n in 0..9 {
        let sound = (n % 3 == 0).then(|| clip("two nine nine", n));
        store
            .append(&[note(n), note(n + 100)], sound.as_ref())
            .unwrap();
    }
    store
}

fn content(store: &Store) -> Vec<u8> {
    let mut lines = Vec::new();
    store.export(&mut lines, &Sounds::Inside).unwrap();
    lines
}

#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Found {
    RefusedToOpen,
    NamedAnEvent,
    NamedTheFile,
    Unchanged,
}

/// What checking the log finds; it must be the damage or there must be none.
fn find(path: &Path, whole: &[u8], scene: &str) -> Found {
    let store = match Store::open(path, OpenMode::Read) {
        Ok(store) => store,
        Err(why) => {
            assert!(!why.to_string().is_empty());
            return Found::RefusedToOpen;
        }
    };
    let verdict = match store.verify() {
        Ok(verdict) => verdict,
        Err(why) => {
            assert!(!why.to_string().is_empty());
            return Found::RefusedToOpen;
        }
    };
    match verdict.faults.first().map(ToString::to_string) {
        Some(fault) if fault.starts_with("the file:") => Found::NamedTheFile,
        Some(_) => Found::NamedAnEvent,
        None => {
            assert!(
                content(&store) == whole,
                "{scene}: changed, and nobody said so"
            );
            Found::Unchanged
        }
    }
}

/// Adding to the log is refused, or it works and nothing that was kept before changed unnoticed.
fn add(path: &Path, whole: &[u8], scene: &str) {
    let mut store = match Store::open(path, OpenMode::Append) {
        Ok(store) => store,
        Err(why) => {
            assert!(!why.to_string().is_empty());
            return;
        }
    };
    match store.append(&[note(500)], None) {
        Ok(records) => assert_eq!(records[0].seq, 20, "{scene}"),
        Err(StoreError::NotKept(_) | StoreError::Uncertain(_)) => {}
        Err(why) => panic!("{scene}: {why}"),
    }
    if store.verify().is_ok_and(|verdict| verdict.is_whole()) {
        let after_header = |lines: &[u8]| {
            let header = lines.iter().position(|&byte| byte == b'\n').unwrap();
            lines[header..].to_vec()
        };
        let now = after_header(&content(&store));
        assert!(
            now.starts_with(&after_header(whole)),
            "{scene}: changed by adding to it"
        );
    }
}

fn flip_all(files: &[PathBuf], flipped: &Path, whole: &[u8], seed: u64, flips: usize) -> String {
    let size = fs::metadata(flipped).unwrap().len() as usize;
    let mut chance = Chance::new(seed);
    let mut counts: BTreeMap<Found, usize> = BTreeMap::new();
    for n in 0..flips {
        // Spread evenly, with the place inside each stretch left to chance.
        let byte = (n * size / flips + chance.below(size.div_ceil(flips))).min(size - 1);
        let bit = chance.below(8);
        let scene = format!("bit {bit} of byte {byte} of {}", flipped.display());
        let dir = folder_in_memory();
        for file in files {
            let copy = dir.path().join(file.file_name().unwrap());
            let mut data = fs::read(file).unwrap();
            if file == flipped {
                data[byte] ^= 1 << bit;
            }
            fs::write(copy, data).unwrap();
        }
        let log = dir.path().join("session.db");
        *counts.entry(find(&log, whole, &scene)).or_default() += 1;
        add(&log, whole, &scene);
    }
    format!("{flips} flips over {size} bytes: {counts:?}, changed unnoticed 0")
}

#[test]
fn a_flipped_bit_in_a_closed_log_is_named_or_harmless() {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    let store = fill(&path);
    let whole = content(&store);
    drop(store);
    let size = fs::metadata(&path).unwrap().len() as usize;
    let flips = if long() { size / 4 } else { 240 };
    let counts = flip_all(std::slice::from_ref(&path), &path, &whole, 1, flips);
    println!("closed log: {counts}");
}

#[test]
fn a_flipped_bit_after_a_crash_is_named_or_harmless() {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    let store = fill(&path);
    let whole = content(&store);
    // As a killed program leaves them.
    let crashed = folder_in_memory();
    let files: Vec<PathBuf> = ["session.db", "session.db-wal"]
        .map(|name| {
            let to = crashed.path().join(name);
            fs::copy(dir.path().join(name), &to).unwrap();
            to
        })
        .into();
    drop(store);
    for (seed, file) in (2..).zip(&files) {
        let size = fs::metadata(file).unwrap().len() as usize;
        let flips = if long() { size / 4 } else { 80 };
        let counts = flip_all(&files, file, &whole, seed, flips);
        println!(
            "after a crash, {}: {counts}",
            file.file_name().unwrap().display()
        );
    }
}

#[test]
fn changing_what_was_said_is_named_even_when_done_with_care() {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    drop(fill(&path));
    let plain = rusqlite::Connection::open(&path).unwrap();
    plain
        .execute_batch(
            "DROP TRIGGER event_is_never_changed;
             UPDATE event SET payload = replace(payload, 'number 4', 'number 5') WHERE seq = 10;
             CREATE TRIGGER event_is_never_changed BEFORE UPDATE ON event
             BEGIN SELECT RAISE(ABORT, 'events are never changed: a correction is a new event'); END;",
        )
        .unwrap();
    drop(plain);
    let verdict = Store::open(&path, OpenMode::Read)
        .unwrap()
        .verify()
        .unwrap();
    let fault = verdict.faults[0].to_string();
    assert!(fault.starts_with("event 10 (note, "), "{fault}");
    assert!(fault.contains("not as it was written"), "{fault}");
    assert_eq!(verdict.events, 9);
}

#[test]
fn a_lost_end_is_named() {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    drop(fill(&path));
    let plain = rusqlite::Connection::open(&path).unwrap();
    plain
        .execute_batch(
            "PRAGMA foreign_keys = OFF; DROP TRIGGER event_is_never_deleted;
             DELETE FROM event WHERE seq > 15;",
        )
        .unwrap();
    drop(plain);
    let verdict = Store::open(&path, OpenMode::Read)
        .unwrap()
        .verify()
        .unwrap();
    let fault = verdict.faults[0].to_string();
    assert!(
        fault.starts_with("the event after event 15: it is missing"),
        "{fault}"
    );
}

#[test]
fn a_gap_is_named() {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    drop(fill(&path));
    let plain = rusqlite::Connection::open(&path).unwrap();
    plain
        .execute_batch(
            "PRAGMA foreign_keys = OFF; DROP TRIGGER event_is_never_deleted;
             DELETE FROM event WHERE seq = 7;",
        )
        .unwrap();
    drop(plain);
    let verdict = Store::open(&path, OpenMode::Read)
        .unwrap()
        .verify()
        .unwrap();
    let fault = verdict.faults[0].to_string();
    assert!(
        fault.starts_with("the event after event 6: it is missing"),
        "{fault}"
    );
}

#[test]
fn damaged_sound_is_named_and_everything_else_can_be_taken_out() {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    drop(fill(&path));
    let plain = rusqlite::Connection::open(&path).unwrap();
    plain
        .execute_batch(
            "DROP TRIGGER evidence_is_never_changed;
             UPDATE evidence SET flac = zeroblob(length(flac)) WHERE rowid = 2;",
        )
        .unwrap();
    drop(plain);
    let store = Store::open(&path, OpenMode::Read).unwrap();
    let verdict = store.verify().unwrap();
    let fault = verdict.faults[0].to_string();
    assert!(
        fault.starts_with("event 8 (note") && fault.contains("the sound"),
        "{fault}"
    );
    assert_eq!(verdict.events, 19);
    let mut lines = Vec::new();
    let exported = store.export(&mut lines, &Sounds::Inside).unwrap();
    assert_eq!((exported.events, exported.sounds_lost), (19, 1));
    let saved = dir.path().join("saved.db");
    let imported =
        bothhands::store::import(&mut &lines[..], Path::new("log.jsonl"), None, &saved).unwrap();
    assert_eq!((imported.events, imported.without_sound), (19, 1));
    assert_eq!(
        Store::open(&saved, OpenMode::Append)
            .unwrap()
            .verify()
            .unwrap()
            .faults,
        []
    );
}

#[test]
fn all_before_a_damaged_event_can_be_taken_out() {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    drop(fill(&path));
    let plain = rusqlite::Connection::open(&path).unwrap();
    plain
        .execute_batch(
            "DROP TRIGGER event_is_never_changed; UPDATE event SET kind = 'x' WHERE seq = 12",
        )
        .unwrap();
    drop(plain);
    let refused = Store::open(&path, OpenMode::Append)
        .unwrap_err()
        .to_string();
    assert!(
        refused.contains("event 12") && refused.contains("bothhands verify"),
        "{refused}"
    );
    let mut lines = Vec::new();
    let exported = Store::open(&path, OpenMode::Read)
        .unwrap()
        .export(&mut lines, &Sounds::Inside)
        .unwrap();
    assert_eq!(exported.events, 11);
    let saved = dir.path().join("saved.db");
    bothhands::store::import(&mut &lines[..], Path::new("log.jsonl"), None, &saved).unwrap();
    assert_eq!(
        Store::open(&saved, OpenMode::Append)
            .unwrap()
            .len()
            .unwrap(),
        11
    );
}
