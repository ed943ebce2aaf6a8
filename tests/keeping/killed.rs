//! The program is killed (SIGKILL) at random moments while it keeps events.
//!
//! `BOTHHANDS_HARM=long cargo test --test it keeping::killed -- --nocapture` kills 600 times and
//! prints counts; without it a sample is done.

use crate::keeping::{clip, folder, folder_in_memory, long, other};
use bothhands::store::{NewEvent, OpenMode, Record, Store};
use serde_json::json;
use std::{
    path::{Path, PathBuf},
    time::{Duration, Instant, SystemTime},
};

/// Keeps events until it is killed, and tells of each append once it is acknowledged. Now and
/// then it closes the log and opens it again.
#[test]
#[ignore = "another process for these tests, which they start"]
fn other_program() {
    let task = other::task();
    let path = PathBuf::from(&task[0]);
    let round = &task[1];
    let mut batch = 0;
    loop {
        let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
        other::tell("open");
        for n in 0..8 {
            let size = n % 3 + 1;
            let events: Vec<_> = (0..size)
                .map(|i| {
                    let payload = json!({ "round": round, "batch": batch, "of": size, "i": i });
                    NewEvent::new("reading", 1, &payload).unwrap()
                })
                .collect();
            let sound = (n % 2 == 0).then(|| clip("over two nine nine", batch));
            let kept = store.append(&events, sound.as_ref()).unwrap();
            let ids: Vec<_> = kept.iter().map(|record| record.id.to_string()).collect();
            other::tell(ids.join(","));
            batch += 1;
        }
    }
}

#[derive(Default)]
struct Counts {
    kills: u64,
    while_opening: u64,
    acknowledged: usize,
    one_more: u64,
    told: u64,
    unfinished: u64,
}

#[test]
fn whatever_was_acknowledged_survives_kill_9_at_any_moment() {
    let (logs, rounds) = if long() { (30, 20) } else { (2, 6) };
    let mut chance = SystemTime::now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .unwrap()
        .subsec_nanos();
    let mut counts = Counts::default();
    for log in 0..logs {
        // In memory an append is so quick that other moments are hit than on a disk.
        let dir = if log % 2 == 0 {
            folder()
        } else {
            folder_in_memory()
        };
        let path = dir.path().join("session.db");
        let mut ids: Vec<String> = Vec::new();
        for round in 0..rounds {
            chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let delay = Duration::from_micros(u64::from(chance >> 8) % 120_000);
            let acknowledged = keep_and_kill(&path, round, delay, &mut counts);
            counts.acknowledged += acknowledged.iter().map(Vec::len).sum::<usize>();
            ids.extend(acknowledged.into_iter().flatten());
            look_after(&path, &mut ids, &mut counts);
        }
    }
    println!(
        "kill -9: {} times, {} of them before the log was open; {} events acknowledged, lost 0, \
         half-kept 0; {} times one append more was there, committed but not yet acknowledged; \
         {} next starts told of it, {} of an unfinished write",
        counts.kills,
        counts.while_opening,
        counts.acknowledged,
        counts.one_more,
        counts.told,
        counts.unfinished
    );
    assert_eq!(counts.kills, logs * rounds);
    assert!(counts.acknowledged > 0);
}

/// Lets another program keep events and kills it after a while. Returns what it acknowledged.
fn keep_and_kill(
    path: &Path,
    round: u64,
    delay: Duration,
    counts: &mut Counts,
) -> Vec<Vec<String>> {
    let mut other = other::start(
        module_path!(),
        &[path.to_str().unwrap(), &round.to_string()],
    );
    // Every other time the moment is chosen from when it has begun to keep.
    let mut heard = Vec::new();
    if round.is_multiple_of(2) {
        heard.extend(other.hear());
    }
    let until = Instant::now() + delay;
    std::thread::sleep(until.saturating_duration_since(Instant::now()));
    other.kill();
    counts.kills += 1;
    heard.extend(other.hear_all());
    counts.while_opening += u64::from(heard.is_empty());
    heard
        .into_iter()
        .filter(|line| line != "open")
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect()
}

/// The next start: everything acknowledged is there, and no more than the one append that was
/// under way, whole. `ids` is brought up to what there is.
fn look_after(path: &Path, ids: &mut Vec<String>, counts: &mut Counts) {
    let store = Store::open(path, OpenMode::AppendOrCreate).unwrap();
    let records: Vec<Record> = store.records().map(Result::unwrap).collect();
    let there: Vec<String> = records.iter().map(|record| record.id.to_string()).collect();
    assert!(
        there.len() >= ids.len(),
        "{} of {} acknowledged",
        there.len(),
        ids.len()
    );
    assert_eq!(
        there[..ids.len()],
        ids[..],
        "everything acknowledged, in order"
    );
    let more = &records[ids.len()..];
    if let Some(first) = more.first() {
        counts.one_more += 1;
        let batch =
            |record: &Record| record.payload::<serde_json::Value>().unwrap()["batch"].clone();
        let size = first.payload::<serde_json::Value>().unwrap()["of"].clone();
        assert!(
            more.iter().all(|record| batch(record) == batch(first)),
            "one append"
        );
        assert_eq!(size, more.len(), "and all of it");
    }
    assert_eq!(store.verify().unwrap().faults, []);
    let opening = store.opening();
    if opening.cut_short.is_some() {
        counts.told += 1;
        assert!(opening.to_string().contains("cut short"));
    }
    counts.unfinished += u64::from(opening.unfinished);
    *ids = there;
}
