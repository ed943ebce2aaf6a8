use super::*;
use crate::audio::Utterance;
use crate::installation::Job;
use crate::sequence::{Event, Session};
use crate::store::{Evidence, NewEvent, OpenMode, Store};
use std::path::PathBuf;

const JOB: &str = include_str!("../../demo/boathouse.toml");

/// A log that was begun and nothing more.
fn begun(folder: &tempfile::TempDir) -> (PathBuf, Store) {
    let db = folder.path().join("session.db");
    let clock = SharedClock::default();
    let (mut store, log) = take_up(&db, &clock).unwrap();
    assert!(log.entries.is_empty(), "there is nothing in it yet");
    let job = Job::parse(JOB, "boathouse.toml").unwrap();
    let (_, turn) = Session::begin(job, "a test", clock.tick()).unwrap();
    begin(&mut store, JOB, &turn.events).unwrap();
    (db, store)
}

#[test]
fn what_was_kept_is_taken_up_again() {
    let folder = tempfile::tempdir().unwrap();
    let (db, store) = begun(&folder);
    let kept = Log::read(&store).unwrap();
    drop(store);
    let (store, log) = take_up(&db, &SharedClock::default()).unwrap();
    let state = log.agenda().unwrap();
    assert_eq!(state.job().title, Job::parse(JOB, "").unwrap().title);
    assert_eq!(Log::read(&store).unwrap(), kept);
    let threads = Log::threads(&store).unwrap();
    assert_eq!(threads, [kept], "a log that was not merged is one thread");
}

#[test]
fn a_log_of_a_newer_version_is_neither_read_nor_taken_up() {
    let folder = tempfile::tempdir().unwrap();
    let (db, mut store) = begun(&folder);
    let newer = NewEvent::new("weighed", u32::from(EVENT_VERSION) + 1, &"3 kg").unwrap();
    store.append(&[newer], None).unwrap();
    let before = store.len().unwrap();
    let read = Log::read(&store).unwrap_err();
    let thread = Log::threads(&store).unwrap_err();
    drop(store);
    let taken_up = take_up(&db, &SharedClock::default()).unwrap_err();
    for why in [read, thread, taken_up] {
        assert!(
            matches!(&why, LogError::Newer { kind, .. } if kind == "weighed"),
            "{why}"
        );
        assert!(why.to_string().contains("use that version"), "{why}");
    }
    let store = Store::open(&db, OpenMode::Read).unwrap();
    assert_eq!(store.len().unwrap(), before, "nothing was added");
}

/// Photographs, what was affirmed by touch and the third edition of the plan came in after version 6: a program
/// of that version is told to use a newer one, and never takes them for something else.
#[test]
fn a_program_of_version_six_is_told_of_what_came_in_after_it() {
    let folder = tempfile::tempdir().unwrap();
    let (_, mut store) = begun(&folder);
    let of = crate::sequence::EventNo(1);
    let png = [
        b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".as_slice(),
        &[0, 0, 0, 3, 0, 0, 0, 2, 8, 2, 0, 0, 0],
        b"\0\0\0\0IEND\xae\x42\x60\x82",
    ];
    let picture = crate::sequence::Picture::of(&png.concat()).unwrap();
    let touched = Event::Affirmed { of, by_touch: true };
    let photographed = Event::Photographed { of, picture };
    keep(&mut store, &[touched, photographed], false, None).unwrap();
    let records: Vec<_> = store.records().map(Result::unwrap).collect();
    for kind in ["opened", "affirmed", "photographed"] {
        let record = records.iter().find(|one| one.kind == kind).unwrap();
        let why = read::event_known_to(record, 6).unwrap_err();
        assert!(matches!(why, LogError::Newer { .. }), "{kind}: {why}");
        assert!(
            read::event_known_to(record, EVENT_VERSION).is_ok(),
            "{kind}"
        );
    }
}

#[test]
fn what_was_heard_names_the_engine_and_its_model_where_the_log_does() {
    let folder = tempfile::tempdir().unwrap();
    let (_, mut store) = begun(&folder);
    let utterance = Utterance {
        samples: vec![0.25; 400],
        start: 0,
        speech_end: 300,
    };
    let engine = "ear (models/ear.int8.onnx, 39 phones)";
    for told in [
        serde_json::json!({ "scores": { "fit": -0.5 }, "engine": engine }),
        serde_json::json!({ "scores": { "fit": -0.5 } }),
    ] {
        let evidence = Evidence::new(&utterance, "pause", &told).unwrap();
        keep(&mut store, &[Event::Paused], false, Some(&evidence)).unwrap();
    }
    let log = Log::read(&store).unwrap();
    let heard: Vec<_> = log
        .entries
        .iter()
        .filter_map(|entry| entry.heard.as_ref())
        .map(|heard| (heard.words.as_str(), heard.fit, heard.engine.as_deref()))
        .collect();
    let fit = Some(-0.5);
    assert_eq!(heard, [("pause", fit, Some(engine)), ("pause", fit, None)]);
}

#[test]
fn an_event_that_could_not_be_read_again_is_refused_with_all_that_came_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let (_, mut store) = begun(&folder);
    let before = Log::read(&store).unwrap();
    let mut job = Job::parse(JOB, "").unwrap();
    job.supply.volts = f64::NAN;
    let opened = Event::Opened {
        job: Box::new(job),
        by: String::new(),
        edition: crate::sequence::Edition::NOW,
        boot: None,
        delivery: Default::default(),
        practice: None,
    };
    let why = keep(&mut store, &[Event::Paused, opened], false, None).unwrap_err();
    assert!(
        matches!(&why, LogError::Unwritable { kind: "opened", .. }),
        "{why}"
    );
    assert_eq!(Log::read(&store).unwrap(), before, "none of them was kept");
}
