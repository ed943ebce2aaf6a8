//! Logs carried as JSON Lines and put together: nothing changes, nothing is dropped.

use crate::keeping::{clip, folder, note};
use bothhands::store::{
    ImportError, MergeError, NewEvent, OpenMode, Options, Record, Remark, Sounds, Store, import,
    merge,
};
use jiff::{SignedDuration, Timestamp};
use std::{
    fs,
    path::{Path, PathBuf},
};

const JOB: &str = "title = \"Boathouse\"\n";

fn start() -> Timestamp {
    "2026-11-25T09:00:00Z".parse().unwrap()
}

/// Appends to a log as some device, some minutes after nine.
fn write(path: &Path, device: &str, minute: i64, events: &[NewEvent]) -> Vec<Record> {
    let at = start() + SignedDuration::from_mins(minute);
    let options = Options::new(OpenMode::AppendOrCreate)
        .device(device)
        .clock(move || at);
    Store::open_with(path, options)
        .unwrap()
        .append(events, None)
        .unwrap()
}

fn records(path: &Path) -> Vec<Record> {
    let store = Store::open(path, OpenMode::Read).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    store.records().map(Result::unwrap).collect()
}

/// A log with sound, with text and numbers that are easily changed on the way.
fn full_log(dir: &Path) -> PathBuf {
    let path = dir.join("session.db");
    let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    store.append(&[NewEvent::job(JOB).unwrap()], None).unwrap();
    let odd = serde_json::json!({
        "text": "“0.05 Ω” \u{1f6a3} \u{0} \\ \" </script> \u{2028} é e\u{301}",
        "numbers": [0.1, 1e300, 5e-324, -0.0, 100.0, 9007199254740993u64, 1.7976931348623157e308],
        "z": 1, "a": { "nested": [null, true, []] }
    });
    store
        .append(
            &[NewEvent::new("odd", 3, &odd).unwrap()],
            Some(&clip("über Ω", 1)),
        )
        .unwrap();
    store
        .append(&[note(1), note(2)], Some(&clip("two nine nine", 2)))
        .unwrap();
    store.append(&[note(3)], None).unwrap();
    path
}

fn exported(path: &Path, sounds: &Sounds) -> Vec<u8> {
    let mut lines = Vec::new();
    Store::open(path, OpenMode::Read)
        .unwrap()
        .export(&mut lines, sounds)
        .unwrap();
    lines
}

#[test]
fn the_round_trip_is_identical() {
    let dir = folder();
    let path = full_log(dir.path());
    let lines = exported(&path, &Sounds::Inside);
    let copy = dir.path().join("copy.db");
    let done = import(&mut &lines[..], Path::new("log.jsonl"), None, &copy).unwrap();
    assert_eq!((done.events, done.evidence, done.without_sound), (5, 2, 0));
    assert_eq!(records(&copy), records(&path));
    assert_eq!(exported(&copy, &Sounds::Inside), lines, "byte for byte");
    let (one, other) = (
        Store::open(&path, OpenMode::Read).unwrap(),
        Store::open(&copy, OpenMode::Read).unwrap(),
    );
    for record in one.records().map(Result::unwrap) {
        if let Some(hash) = record.evidence {
            assert_eq!(one.evidence(&hash).unwrap(), other.evidence(&hash).unwrap());
        }
    }
}

#[test]
fn sound_may_travel_in_a_folder() {
    let dir = folder();
    let path = full_log(dir.path());
    let sounds = dir.path().join("sounds");
    fs::create_dir(&sounds).unwrap();
    let lines = exported(&path, &Sounds::Folder(sounds.clone()));
    assert_eq!(fs::read_dir(&sounds).unwrap().count(), 2);
    let copy = dir.path().join("copy.db");
    import(
        &mut &lines[..],
        Path::new("log.jsonl"),
        Some(&sounds),
        &copy,
    )
    .unwrap();
    assert_eq!(
        exported(&copy, &Sounds::Inside),
        exported(&path, &Sounds::Inside)
    );
}

#[test]
fn sound_may_be_left_out_and_the_chain_still_holds() {
    let dir = folder();
    let path = full_log(dir.path());
    let lines = exported(&path, &Sounds::LeftOut);
    let copy = dir.path().join("copy.db");
    let done = import(&mut &lines[..], Path::new("log.jsonl"), None, &copy).unwrap();
    assert_eq!(done.without_sound, 2);
    let verdict = Store::open(&copy, OpenMode::Read)
        .unwrap()
        .verify()
        .unwrap();
    assert_eq!(verdict.faults, []);
    assert_eq!(
        verdict.remarks,
        [Remark::NoSound { seq: 2 }, Remark::NoSound { seq: 3 }]
    );
    assert_eq!(records(&copy), records(&path));
}

#[test]
fn importing_again_changes_nothing_and_another_log_is_not_overwritten() {
    let dir = folder();
    let path = full_log(dir.path());
    let lines = exported(&path, &Sounds::Inside);
    let copy = dir.path().join("copy.db");
    import(&mut &lines[..], Path::new("log.jsonl"), None, &copy).unwrap();
    let before = fs::read(&copy).unwrap();
    let again = import(&mut &lines[..], Path::new("log.jsonl"), None, &copy).unwrap();
    assert!(again.already_there);
    assert_eq!(fs::read(&copy).unwrap(), before);

    write(&copy, "board", 0, &[note(9)]);
    let longer = records(&copy);
    let refused = import(&mut &lines[..], Path::new("log.jsonl"), None, &copy);
    assert!(matches!(refused, Err(ImportError::AnotherLog(_))));
    assert_eq!(records(&copy), longer);
}

#[test]
fn whoever_goes_on_in_an_imported_log_begins_a_chain() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let last = write(&path, "laptop", 0, &[note(1), note(2)]).remove(1);
    let lines = exported(&path, &Sounds::Inside);
    let copy = dir.path().join("copy.db");
    import(&mut &lines[..], Path::new("log.jsonl"), None, &copy).unwrap();
    let next = write(&copy, "laptop", 1, &[note(3)]).remove(0);
    assert_ne!(next.chain, last.chain);
    assert_eq!((next.position, next.prev_hash), (1, last.hash));
    records(&copy);
}

/// Every line changed a little, left out, doubled, or cut: the line is named and nothing is left
/// behind.
#[test]
fn lines_that_do_not_fit_are_named() {
    let dir = folder();
    let lines = String::from_utf8(exported(&full_log(dir.path()), &Sounds::Inside)).unwrap();
    let lines: Vec<&str> = lines.lines().collect();
    let refused = |changed: Vec<String>, why: &str| -> String {
        let text = changed.join("\n");
        let to = dir.path().join("refused.db");
        let error = import(&mut text.as_bytes(), Path::new("log.jsonl"), None, &to)
            .expect_err(why)
            .to_string();
        assert!(error.starts_with("log.jsonl:"), "{error}");
        assert!(error.ends_with("Nothing was imported"), "{error}");
        assert!(!to.exists());
        let left = fs::read_dir(dir.path()).unwrap().count();
        assert_eq!(left, 1, "nothing but the log itself: {why}");
        error
    };
    let owned = || -> Vec<String> { lines.iter().map(|&line| line.to_owned()).collect() };
    for n in 0..lines.len() {
        let mut left_out = owned();
        left_out.remove(n);
        refused(left_out, "a line left out");
        let mut doubled = owned();
        doubled.insert(n, lines[n].to_owned());
        refused(doubled, "a line twice");
        let mut cut = owned();
        cut[n].truncate(lines[n].len() / 2);
        let error = refused(cut, "a line cut");
        assert!(
            error.starts_with(&format!("log.jsonl:{}:", n + 1)),
            "{error}"
        );
        if n > 0 {
            refused(owned()[..n].to_vec(), "the end missing");
        }
    }
    let mut changed = owned();
    changed[6] = changed[6].replace("\"n\":2", "\"n\":3");
    assert!(
        refused(changed, "a reading changed").contains("log.jsonl:7: the event is not as it was")
    );
    let mut swapped = owned();
    swapped.swap(5, 6);
    refused(swapped, "two events swapped");
    refused(vec![String::new()], "empty");
    refused(
        vec!["{\"format\":\"something else\",\"version\":1}".into()],
        "another format",
    );
    let mut newer = owned();
    newer[0] = newer[0].replace("\"version\":1", "\"version\":2");
    assert!(refused(newer, "newer").contains("newer bothhands"));
}

#[test]
fn two_devices_of_one_job_merge_by_time_and_device() {
    let dir = folder();
    let (a, b) = (dir.path().join("a.db"), dir.path().join("b.db"));
    let job = || NewEvent::job(JOB).unwrap();
    write(&a, "laptop", 0, &[job()]);
    write(&b, "board", 1, &[job()]);
    write(&a, "laptop", 2, &[note(1)]);
    write(&b, "board", 3, &[note(2)]);
    write(&a, "laptop", 3, &[note(3)]);
    write(&b, "board", 4, &[note(4)]);
    let open = |path: &Path| Store::open(path, OpenMode::Read).unwrap();
    let to = dir.path().join("both.db");
    let merged = merge(&[open(&a), open(&b)], &to, false).unwrap();
    assert_eq!((merged.events, merged.shared), (6, 0));
    assert_eq!(merged.sources, [3, 3]);
    let order: Vec<_> = records(&to)
        .into_iter()
        .map(|record| (record.seq, record.device, record.position))
        .collect();
    let expected = [
        (1, "laptop", 1),
        (2, "board", 1),
        (3, "laptop", 2),
        (4, "board", 2),
        (5, "laptop", 3),
        (6, "board", 3),
    ];
    assert_eq!(
        order,
        expected.map(|(seq, device, n)| (seq, device.to_owned(), n))
    );

    let other_way = dir.path().join("other-way.db");
    merge(&[open(&b), open(&a)], &other_way, false).unwrap();
    assert_eq!(records(&other_way), records(&to), "whichever comes first");
    let again = dir.path().join("again.db");
    let merged = merge(&[open(&to), open(&a), open(&b)], &again, false).unwrap();
    assert_eq!((merged.events, merged.shared), (6, 6));
    assert_eq!(
        records(&again),
        records(&to),
        "merging again changes nothing"
    );
}

#[test]
fn a_clock_that_went_back_does_not_reorder_a_chain() {
    let dir = folder();
    let (a, b) = (dir.path().join("a.db"), dir.path().join("b.db"));
    for (minute, n) in [(10, 1), (2, 2), (11, 3)] {
        write(&a, "laptop", minute, &[note(n)]);
    }
    write(&b, "board", 5, &[note(4)]);
    write(&b, "board", 12, &[note(5)]);
    let to = dir.path().join("both.db");
    let sources = [&a, &b].map(|path| Store::open(path, OpenMode::Read).unwrap());
    merge(&sources, &to, false).unwrap();
    let order: Vec<u64> = records(&to)
        .iter()
        .map(|record| {
            record.payload::<serde_json::Value>().unwrap()["n"]
                .as_u64()
                .unwrap()
        })
        .collect();
    assert_eq!(order, [4, 1, 2, 3, 5]);
}

#[test]
fn a_copy_that_went_on_separately_is_a_conflict_and_both_sides_stay() {
    let dir = folder();
    let (a, b) = (dir.path().join("a.db"), dir.path().join("b.db"));
    write(&a, "laptop", 0, &[NewEvent::job(JOB).unwrap(), note(1)]);
    fs::copy(&a, &b).unwrap();
    write(&a, "laptop", 1, &[note(2)]);
    write(&b, "laptop", 2, &[note(3), note(4)]);
    let to = dir.path().join("both.db");
    let sources = [&a, &b].map(|path| Store::open(path, OpenMode::Read).unwrap());
    let merged = merge(&sources, &to, false).unwrap();
    assert_eq!((merged.events, merged.shared), (5, 2));
    let [conflict] = merged.conflicts.as_slice() else {
        panic!("one conflict, not {:?}", merged.conflicts);
    };
    assert_eq!((conflict.after, conflict.one, conflict.other), (2, 3, 4));
    assert_eq!(records(&to).len(), 5);
    let lines = exported(&to, &Sounds::Inside);
    let copy = dir.path().join("copy.db");
    import(&mut &lines[..], Path::new("log.jsonl"), None, &copy).unwrap();
    assert_eq!(records(&copy), records(&to));
}

#[test]
fn another_device_that_went_on_in_a_copy_is_no_conflict() {
    let dir = folder();
    let (a, b) = (dir.path().join("a.db"), dir.path().join("b.db"));
    write(&a, "laptop", 0, &[NewEvent::job(JOB).unwrap(), note(1)]);
    fs::copy(&a, &b).unwrap();
    write(&b, "board", 1, &[note(2)]);
    write(&a, "laptop", 2, &[note(3)]);
    let to = dir.path().join("both.db");
    let sources = [&a, &b].map(|path| Store::open(path, OpenMode::Read).unwrap());
    let merged = merge(&sources, &to, false).unwrap();
    assert_eq!((merged.events, merged.shared), (4, 2));
    assert_eq!(merged.conflicts, []);
}

#[test]
fn a_merged_log_gives_back_the_logs_it_was_put_together_from_and_is_not_gone_on_in() {
    let dir = folder();
    let (a, b) = (dir.path().join("a.db"), dir.path().join("b.db"));
    write(&a, "laptop", 0, &[NewEvent::job(JOB).unwrap(), note(1)]);
    fs::copy(&a, &b).unwrap();
    write(&b, "board", 1, &[note(2)]);
    write(&a, "laptop", 2, &[note(3)]);
    write(&b, "laptop", 3, &[note(4)]);
    let to = dir.path().join("both.db");
    let sources = [&a, &b].map(|path| Store::open(path, OpenMode::Read).unwrap());
    merge(&sources, &to, false).unwrap();
    let ids = |records: &[Record]| records.iter().map(|record| record.id).collect::<Vec<_>>();
    let store = Store::open(&to, OpenMode::Read).unwrap();
    let mut threads: Vec<_> = store
        .threads()
        .unwrap()
        .iter()
        .map(|thread| ids(thread))
        .collect();
    threads.sort();
    let mut expected = [ids(&records(&a)), ids(&records(&b))];
    expected.sort();
    assert_eq!(threads, expected);
    assert!(store.is_merged().unwrap());
    let refused = Store::open(&to, OpenMode::AppendOrCreate)
        .unwrap_err()
        .to_string();
    assert!(refused.contains("only for reading"), "{refused}");
}

#[test]
fn logs_of_different_jobs_are_merged_only_when_told_so() {
    let dir = folder();
    let (a, b) = (dir.path().join("a.db"), dir.path().join("b.db"));
    write(&a, "laptop", 0, &[NewEvent::job(JOB).unwrap()]);
    write(
        &b,
        "board",
        0,
        &[NewEvent::job("title = \"Slipway\"\n").unwrap()],
    );
    let open = |path: &Path| Store::open(path, OpenMode::Read).unwrap();
    let to = dir.path().join("both.db");
    let refused = merge(&[open(&a), open(&b)], &to, false);
    assert!(matches!(refused, Err(MergeError::AnotherJob { .. })));
    assert!(!to.exists());
    let merged = merge(&[open(&a), open(&b)], &to, true).unwrap();
    assert_eq!(merged.other_jobs, [b]);
    assert_eq!(records(&to).len(), 2);
}

#[test]
fn merging_never_overwrites() {
    let dir = folder();
    let a = dir.path().join("a.db");
    write(&a, "laptop", 0, &[note(1)]);
    let before = fs::read(&a).unwrap();
    let sources = [Store::open(&a, OpenMode::Read).unwrap()];
    assert!(matches!(
        merge(&sources, &a, false),
        Err(MergeError::Exists(_))
    ));
    drop(sources);
    assert_eq!(fs::read(&a).unwrap(), before);
}

#[test]
fn evidence_survives_a_merge_even_when_one_side_lost_the_sound() {
    let dir = folder();
    let path = full_log(dir.path());
    let lines = exported(&path, &Sounds::LeftOut);
    let silent = dir.path().join("silent.db");
    import(&mut &lines[..], Path::new("log.jsonl"), None, &silent).unwrap();
    let to = dir.path().join("both.db");
    let sources = [&silent, &path].map(|path| Store::open(path, OpenMode::Read).unwrap());
    merge(&sources, &to, false).unwrap();
    assert_eq!(
        exported(&to, &Sounds::Inside),
        exported(&path, &Sounds::Inside)
    );
}

#[test]
fn a_making_that_was_cut_short_does_not_stand_in_the_way() {
    let dir = folder();
    let path = full_log(dir.path());
    let lines = exported(&path, &Sounds::Inside);
    let copy = dir.path().join("copy.db");
    fs::copy(&path, dir.path().join("copy.db.part")).unwrap();
    import(&mut &lines[..], Path::new("log.jsonl"), None, &copy).unwrap();
    assert_eq!(records(&copy), records(&path));
    assert!(!dir.path().join("copy.db.part").exists());
}
