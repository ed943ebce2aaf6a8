//! What a log promises: kept means kept, in order, unchanged.

use crate::keeping::{clip, folder, note};
use bothhands::store::{NewEvent, OpenMode, Options, Remark, Store, StoreError};
use jiff::{SignedDuration, Timestamp};
use std::sync::{Arc, Mutex};

#[test]
fn what_was_appended_is_there_after_reopening() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let evidence = clip("two nine nine", 1);
    let kept = {
        let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
        assert!(store.opening().created);
        let mut kept = store
            .append(&[NewEvent::job("title = \"Boathouse\"\n").unwrap()], None)
            .unwrap();
        kept.extend(store.append(&[note(1), note(2)], Some(&evidence)).unwrap());
        kept
    };
    let store = Store::open(&path, OpenMode::Append).unwrap();
    let read: Vec<_> = store.records().map(Result::unwrap).collect();
    assert_eq!(read, kept);
    assert_eq!(read.iter().map(|r| r.seq).collect::<Vec<_>>(), [1, 2, 3]);
    assert_eq!(read[1].evidence, Some(evidence.hash()));
    assert_eq!(read[2].evidence, Some(evidence.hash()));
    assert_eq!(read[2].payload::<serde_json::Value>().unwrap()["n"], 2);
    assert_eq!(store.evidence(&evidence.hash()).unwrap(), Some(evidence));
    assert_eq!(
        store.job().unwrap().as_deref(),
        Some("title = \"Boathouse\"\n")
    );
    assert_eq!(store.opening().events, 3);
    assert_eq!(store.opening().to_string(), "");
}

#[test]
fn a_closed_log_is_one_file() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    store.append(&[note(1)], None).unwrap();
    drop(store);
    drop(Store::open(&path, OpenMode::Read).unwrap());
    let names: Vec<_> = std::fs::read_dir(dir.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .collect();
    assert_eq!(names, ["session.db"]);
}

#[test]
fn many_events_come_back_in_order() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    let notes: Vec<_> = (1..=1000).map(note).collect();
    store.append(&notes, None).unwrap();
    let order: Vec<u64> = store.records().map(|record| record.unwrap().seq).collect();
    assert_eq!(order, (1..=1000).collect::<Vec<_>>());
    let tail: Vec<u64> = store
        .records_after(997)
        .map(|record| record.unwrap().seq)
        .collect();
    assert_eq!(tail, [998, 999, 1000]);
    assert_eq!(store.verify().unwrap().faults, []);
}

#[test]
fn each_event_carries_the_hash_of_the_one_before() {
    let dir = folder();
    let mut store = Store::open(dir.path().join("session.db"), OpenMode::AppendOrCreate).unwrap();
    store.append(&[note(1), note(2)], None).unwrap();
    store.append(&[note(3)], None).unwrap();
    let records: Vec<_> = store.records().map(Result::unwrap).collect();
    for pair in records.windows(2) {
        assert_eq!(pair[1].prev_hash, pair[0].hash);
        assert_eq!(pair[1].chain, pair[0].chain);
        assert_eq!(pair[1].position, pair[0].position + 1);
    }
}

#[test]
fn the_database_itself_refuses_to_change_or_delete() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    store
        .append(&[note(1), note(2)], Some(&clip("affirm", 1)))
        .unwrap();
    drop(store);
    let plain = rusqlite::Connection::open(&path).unwrap();
    for sql in [
        "UPDATE event SET payload = '{}' WHERE seq = 1",
        "UPDATE event SET seq = 9 WHERE seq = 2",
        "DELETE FROM event",
        "DELETE FROM event WHERE seq = 2",
        "UPDATE evidence SET words = 'negative'",
        "DELETE FROM evidence",
        "UPDATE chain SET id = id",
        "DELETE FROM chain",
        "INSERT OR REPLACE INTO event SELECT * FROM event WHERE seq = 1",
        "INSERT OR REPLACE INTO event SELECT 3, id, chain, 3, device, at, version, kind, payload, evidence, hash, hash FROM event WHERE seq = 2",
        "INSERT OR REPLACE INTO evidence SELECT * FROM evidence",
        "REPLACE INTO event SELECT 7, 'ffffffffffffffffffffffffffffffff', chain, 3, device, at, version, kind, payload, evidence, hash, prev_hash FROM event WHERE seq = 2",
    ] {
        assert!(plain.execute(sql, []).is_err(), "{sql}");
    }
    drop(plain);
    assert_eq!(
        Store::open(&path, OpenMode::Read)
            .unwrap()
            .verify()
            .unwrap()
            .faults,
        []
    );
}

#[test]
fn a_log_opened_for_reading_is_not_written() {
    let dir = folder();
    let path = dir.path().join("session.db");
    drop(
        Store::open(&path, OpenMode::AppendOrCreate)
            .unwrap()
            .append(&[note(1)], None)
            .unwrap(),
    );
    let mut store = Store::open(&path, OpenMode::Read).unwrap();
    let Err(StoreError::NotKept(why)) = store.append(&[note(2)], None) else {
        panic!("a reader wrote");
    };
    assert!(matches!(*why, StoreError::OpenedForReading(_)));
    assert_eq!(store.len().unwrap(), 1);
}

#[test]
fn another_device_begins_a_chain_of_its_own() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let mut last = None;
    for (device, n) in [("laptop", 1), ("laptop", 2), ("board", 3), ("laptop", 4)] {
        let options = Options::new(OpenMode::AppendOrCreate).device(device);
        let kept = Store::open_with(&path, options)
            .unwrap()
            .append(&[note(n)], None)
            .unwrap();
        if let Some(last) = last {
            assert_eq!(
                kept[0].prev_hash, last,
                "it follows the last event of the log"
            );
        }
        last = Some(kept[0].hash);
    }
    let store = Store::open(&path, OpenMode::Read).unwrap();
    let places: Vec<_> = store
        .records()
        .map(Result::unwrap)
        .map(|record| (record.device, record.position))
        .collect();
    let expected = [("laptop", 1), ("laptop", 2), ("board", 1), ("laptop", 1)];
    assert_eq!(places, expected.map(|(device, n)| (device.to_owned(), n)));
    let verdict = store.verify().unwrap();
    assert_eq!(verdict.faults, []);
    assert_eq!(verdict.chains.len(), 3);
    let threads = store.threads().unwrap();
    let all: Vec<_> = store.records().map(Result::unwrap).collect();
    assert_eq!(threads, [all]);
    assert!(!store.is_merged().unwrap());
    assert_eq!(verdict.conflicts, []);
}

#[test]
fn a_clock_that_goes_backwards_is_told_and_harms_nothing() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let noon: Timestamp = "2026-11-25T12:00:00Z".parse().unwrap();
    let time = Arc::new(Mutex::new(noon));
    let clock = Arc::clone(&time);
    let options = Options::new(OpenMode::AppendOrCreate).clock(move || *clock.lock().unwrap());
    let mut store = Store::open_with(&path, options).unwrap();
    store.append(&[note(1)], None).unwrap();
    *time.lock().unwrap() = noon - SignedDuration::from_hours(3);
    store.append(&[note(2)], None).unwrap();
    let verdict = store.verify().unwrap();
    assert_eq!(verdict.faults, []);
    assert_eq!(
        verdict.remarks,
        [Remark::ClockWentBack {
            seq: 2,
            before: noon,
            at: noon - SignedDuration::from_hours(3)
        }]
    );
    drop(store);

    let earlier = noon - SignedDuration::from_hours(9);
    let options = Options::new(OpenMode::Append).clock(move || earlier);
    let store = Store::open_with(&path, options).unwrap();
    assert_eq!(store.opening().clock_behind, Some(earlier));
    assert!(store.opening().to_string().contains("Check the clock"));
    let order: Vec<_> = store.records().map(|record| record.unwrap().seq).collect();
    assert_eq!(order, [1, 2]);
}

#[test]
fn a_reader_sees_what_the_writer_has_kept() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let mut writer = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    writer.append(&[note(1)], None).unwrap();
    let reader = Store::open(&path, OpenMode::Read).unwrap();
    for n in 2..20 {
        writer.append(&[note(n)], None).unwrap();
        assert_eq!(reader.len().unwrap(), n);
    }
    assert_eq!(reader.verify().unwrap().faults, []);
}
