//! The power goes, or the disk fails, at every single step of keeping.
//!
//! `BOTHHANDS_HARM=long cargo test --test it keeping::power -- --nocapture` tries every step in many
//! ways and prints counts; without it a sample is tried.

use crate::keeping::disk::{Failure, Op, Unsynced};
use crate::keeping::{clip, disk, folder_in_memory, long, note};
use bothhands::store::{OpenMode, Record, Store, StoreError};
use std::{
    fs,
    path::{Path, PathBuf},
    sync::Mutex,
};

/// There is one watch on the disk for the whole process.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// What a run kept: events in order, and where each append ended.
struct Run {
    ops: Vec<Op>,
    records: Vec<Record>,
    /// Numbers of events at which an append ended: only these may be found.
    ends: Vec<usize>,
}

/// Three sessions with sound and without, of one, two and three events at a time.
fn run(path: &Path, appends: u64) -> Run {
    let (mut records, mut ends) = (Vec::new(), vec![0]);
    disk::begin(path.parent().unwrap());
    for session in 0..3 {
        let mut store = Store::open(path, OpenMode::AppendOrCreate).unwrap();
        for n in 0..appends {
            let number = session * 100 + n;
            let events: Vec<_> = (0..=n % 3).map(|i| note(number * 10 + i)).collect();
            let sound = (n % 2 == 0).then(|| clip("two nine nine", number));
            records.extend(store.append(&events, sound.as_ref()).unwrap());
            ends.push(records.len());
            disk::acknowledged(records.len());
        }
    }
    Run {
        ops: disk::end(),
        records,
        ends,
    }
}

#[test]
fn whatever_was_acknowledged_survives_a_power_cut_at_any_step() {
    let _alone = ONE_AT_A_TIME.lock();
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    let run = run(&path, if long() { 12 } else { 4 });
    let seeds = if long() { 6 } else { 1 };
    let step = if long() { 1 } else { 7 };
    let (mut cuts, mut with_last, mut dropped) = (0, 0, 0);
    for cut in (0..=run.ops.len()).step_by(step) {
        let before = &run.ops[..cut];
        let acknowledged = before
            .iter()
            .rev()
            .find_map(|op| match op {
                Op::Acknowledged(events) => Some(*events),
                _ => None,
            })
            .unwrap_or(0);
        for (unsynced, seeds) in [
            (Unsynced::Lost, 1),
            (Unsynced::Arrived, 1),
            (Unsynced::Scattered, seeds),
            (Unsynced::Spoilt, seeds),
        ] {
            for seed in 0..seeds {
                let scene = format!("cut after {cut} steps, {unsynced:?}, seed {seed}");
                let disk = disk::after_power_cut(before, unsynced, cut as u64 * 100 + seed);
                let there = look_after(disk, &path, &scene);
                let kept = there.records.len();
                assert!(
                    kept >= acknowledged,
                    "{scene}: {kept} of {acknowledged} acknowledged"
                );
                assert!(run.ends.contains(&kept), "{scene}: half an append: {kept}");
                let next = run.ends[run
                    .ends
                    .iter()
                    .position(|&end| end == acknowledged)
                    .unwrap()
                    + 1..]
                    .first()
                    .copied()
                    .unwrap_or(acknowledged);
                assert!(kept <= next, "{scene}: {kept}, more than was begun");
                assert_eq!(there.records, run.records[..kept], "{scene}");
                cuts += 1;
                with_last += usize::from(kept > acknowledged);
                dropped += usize::from(there.told_of_unfinished);
            }
        }
    }
    assert!(cuts > 50);
    println!(
        "power cuts: {cuts} over {} steps of {} appends ({} events); lost 0, half-kept 0; \
         {with_last} held one append more that was not yet acknowledged; {dropped} told of an \
         unfinished write",
        run.ops.len(),
        run.ends.len() - 1,
        run.records.len()
    );
}

struct There {
    records: Vec<Record>,
    told_of_unfinished: bool,
}

/// The next start after a power cut: everything fits, and the log goes on.
fn look_after(
    disk: std::collections::BTreeMap<PathBuf, Vec<u8>>,
    original: &Path,
    scene: &str,
) -> There {
    let dir = folder_in_memory();
    let path = dir.path().join("session.db");
    for (name, data) in disk {
        let name = name.file_name().unwrap().to_owned();
        fs::write(dir.path().join(name), data).unwrap();
    }
    fs::write(dir.path().join("session.db.lock"), "").unwrap();
    assert_eq!(original.file_name(), path.file_name());
    let mut store =
        Store::open(&path, OpenMode::AppendOrCreate).unwrap_or_else(|why| panic!("{scene}: {why}"));
    let records: Vec<_> = store.records().map(Result::unwrap).collect();
    assert!(store.opening().cut_short.is_some());
    assert!(store.opening().to_string().contains("cut short"), "{scene}");
    let told_of_unfinished = store.opening().unfinished;
    store
        .append(&[note(77)], Some(&clip("affirm", 77)))
        .unwrap();
    assert_eq!(store.verify().unwrap().faults, [], "{scene}");
    assert_eq!(store.len().unwrap(), records.len() as u64 + 1, "{scene}");
    There {
        records,
        told_of_unfinished,
    }
}

/// The disk is full, or fails to write, or fails to sync, at each step of an append; for one step
/// or for all that follow until it is seen to. Each time: an error says that nothing was kept and
/// then nothing is, or the append was acknowledged and it is there.
#[test]
fn an_append_that_fails_keeps_nothing_and_the_next_one_works() {
    let _alone = ONE_AT_A_TIME.lock();
    let (mut tries, mut refused, mut uncertain) = (0, 0, 0);
    for how in [Failure::Full, Failure::Write, Failure::Sync] {
        for times in [1, usize::MAX] {
            let mut after = 0;
            loop {
                let scene = format!("{how:?} after {after}, {times} times");
                let dir = folder_in_memory();
                let path = dir.path().join("session.db");
                let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
                let mut kept = store.append(&[note(1)], None).unwrap();

                disk::fail(dir.path(), after, times, how);
                let result = store.append(&[note(2), note(3)], Some(&clip("affirm", 2)));
                let killed = copy_of(dir.path());
                let counted = disk::heal();
                if counted <= after {
                    break;
                }
                tries += 1;
                let in_doubt = match result {
                    Ok(records) => {
                        kept.extend(records);
                        false
                    }
                    Err(StoreError::NotKept(_)) => {
                        refused += 1;
                        false
                    }
                    Err(StoreError::Uncertain(_)) => {
                        uncertain += 1;
                        true
                    }
                    Err(why) => panic!("{scene}: {why}"),
                };
                // The program is killed right then.
                let found = Store::open(killed.path().join("session.db"), OpenMode::Append)
                    .unwrap_or_else(|why| panic!("{scene}: {why}"));
                let found: Vec<_> = found.records().map(Result::unwrap).collect();
                if in_doubt {
                    assert!([1, 3].contains(&found.len()), "{scene}: {}", found.len());
                } else {
                    assert_eq!(found, kept, "{scene}, then killed");
                }
                // The disk is seen to, and the session goes on.
                kept.extend(
                    store
                        .append(&[note(4)], None)
                        .unwrap_or_else(|why| panic!("{scene}: {why}")),
                );
                drop(store);
                let store = Store::open(&path, OpenMode::Append).unwrap();
                assert_eq!(store.verify().unwrap().faults, [], "{scene}");
                let found: Vec<_> = store.records().map(Result::unwrap).collect();
                assert_eq!(found, kept, "{scene}, then healed");
                after += 1;
            }
        }
    }
    assert!(tries > 30 && refused > 10);
    println!(
        "failing disk: {tries} failures injected, {refused} appends refused with nothing kept, \
         {uncertain} told to be uncertain, the rest acknowledged and there"
    );
}

fn copy_of(dir: &Path) -> tempfile::TempDir {
    let copy = folder_in_memory();
    for entry in fs::read_dir(dir).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name();
        if !name.to_string_lossy().ends_with("-shm") {
            fs::copy(entry.path(), copy.path().join(name)).unwrap();
        }
    }
    copy
}

/// Making a log on a failing disk gives an error and no log, or a log; never half of one that
/// cannot be opened later.
#[test]
fn a_log_whose_making_failed_can_be_made_later() {
    let _alone = ONE_AT_A_TIME.lock();
    let (mut tries, mut refused) = (0, 0);
    for how in [Failure::Full, Failure::Write, Failure::Sync] {
        let mut after = 0;
        loop {
            let dir = folder_in_memory();
            let path = dir.path().join("session.db");
            disk::fail(dir.path(), after, usize::MAX, how);
            let made = Store::open(&path, OpenMode::AppendOrCreate).is_ok();
            if disk::heal() <= after {
                break;
            }
            tries += 1;
            refused += usize::from(!made);
            let mut store = Store::open(&path, OpenMode::AppendOrCreate)
                .unwrap_or_else(|why| panic!("{how:?} after {after}: {why}"));
            store.append(&[note(1)], None).unwrap();
            assert_eq!(store.verify().unwrap().faults, []);
            after += 1;
        }
    }
    assert!(refused > 5);
    println!(
        "making a log on a failing disk: {tries} failures injected, {refused} refused, all made later"
    );
}
