//! The log of every dialogue as an edition of the plan wrote it, in a folder for each edition:
//! its exported lines, the state they fold to as JSON, and its schedule as CSV. Whatever changes
//! in the program, an old log is still read as it was.
//!
//! Each folder was written once, by the last build of its edition (`GOLDEN=write`: the first on
//! 2026-11-26, the second on 2026-11-28), and is never written again: a later edition gets a folder
//! of its own.

use crate::dialogues::typed::{Run, files};
use bothhands::log::Log;
use bothhands::report::{Schedule, Times, csv};
use bothhands::sequence::{EVENT_VERSION, Edition, Event};
use bothhands::store::{Mode, NewEvent, Options, Sounds, Store, import};
use jiff::Timestamp;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

const FIRST: &str = "tests/golden/edition-1";
const SECOND: &str = "tests/golden/edition-2";

/// Where an edition that has no folder yet would be written.
fn folder_now() -> PathBuf {
    Path::new("tests/golden").join(format!("edition-{}", Edition::NOW.number()))
}

/// What the first version said of a log that is not so: the file, what stood there, what is so.
///
/// A three-phase circuit tested with its live conductors joined: the result was missing, and the
/// pairs to earth named no limitation.
///
/// R1+R2 read through leads that were noted and not nulled: their 50 milliohms stood in the value.
const UNTRUE: &[(&str, &str, &str)] = &[
    (
        "instruments-leads-taken-off.csv",
        ",6,,,0.53,–,–,–,–,500,–,not done,not done,not done,–,not done,not done,2.73,–,–,–,–,still out: line and earth linked at board,",
        ",6,,,0.48,–,–,–,–,500,–,not done,not done,not done,–,not done,not done,2.73,–,–,–,–,\"still out: line and earth linked at board; R1+R2 ohm 0.53 read, leads 50 mΩ\",",
    ),
    (
        "periodic-three-phase-joined.csv",
        "500,not done,not done,–,–,–,not done,not done,1.37,–,–,–,–,see L1; three-phase: the lowest of each group of pairs is shown,",
        "500,not done,not done,not tested (L2),not tested (L2),>299,not done,not done,1.37,–,–,–,–,\"see L1, L2; three-phase: the lowest of each group of pairs is shown\",",
    ),
];

/// What a log comes to: its lines, its state and its schedule.
struct Came {
    lines: String,
    state: String,
    schedule: String,
}

#[test]
fn logs_of_the_first_edition_read_as_they_did() {
    if std::env::var("GOLDEN").is_ok_and(|v| v == "write") {
        return write();
    }
    read_as_they_did(FIRST);
}

#[test]
fn logs_of_the_second_edition_read_as_they_did() {
    read_as_they_did(SECOND);
}

fn read_as_they_did(folder: &str) {
    let mut names: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "jsonl"))
        .collect();
    names.sort();
    assert!(names.len() >= 60, "only {} logs", names.len());
    let mut wrong = Vec::new();
    for path in names {
        let lines = fs::read_to_string(&path).unwrap();
        let came = read(&lines);
        let mut differs = |what: &str, wanted: String, found: &str| {
            if wanted != found {
                let at = wanted
                    .chars()
                    .zip(found.chars())
                    .take_while(|(a, b)| a == b)
                    .count();
                let from = at.saturating_sub(60);
                let around = |text: &str| text.chars().skip(from).take(160).collect::<String>();
                wrong.push(format!(
                    "{}: another {what}:\n  was ...{}\n  now ...{}",
                    path.display(),
                    around(&wanted),
                    around(found)
                ));
            }
        };
        let beside = |ending: &str| {
            let file = path.with_extension(ending);
            let mut text = fs::read_to_string(&file).unwrap();
            let untrue = UNTRUE
                .iter()
                .filter(|(name, ..)| file == Path::new(FIRST).join(name));
            for (name, was, is) in untrue {
                assert!(text.contains(was), "{name} has no {was}");
                text = text.replace(was, is);
            }
            text
        };
        differs("export", lines.clone(), &came.lines);
        differs("state", beside("state.json"), &came.state);
        let wanted = beside("csv");
        differs(
            "schedule",
            wanted.clone(),
            &first_columns(&came.schedule, &wanted),
        );
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A schedule with as many of its columns as another has: later versions add theirs at the end.
fn first_columns(schedule: &str, of: &str) -> String {
    let reader = |text: &str| {
        let text = text.trim_start_matches('\u{feff}').as_bytes().to_vec();
        csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(std::io::Cursor::new(text))
    };
    let wanted = reader(of).records().next().unwrap().unwrap().len();
    let mut lines = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::from("\u{feff}"));
    for row in reader(schedule).records() {
        lines
            .write_record(row.unwrap().iter().take(wanted))
            .unwrap();
    }
    String::from_utf8(lines.into_inner().unwrap()).unwrap()
}

fn read(lines: &str) -> Came {
    let dir = tempfile::tempdir().unwrap();
    let db = dir.path().join("log.db");
    import(&mut lines.as_bytes(), Path::new("lines"), None, &db).unwrap();
    came(&Store::open(&db, Mode::Read).unwrap())
}

fn came(store: &Store) -> Came {
    let mut lines = Vec::new();
    store.export(&mut lines, &Sounds::Inside).unwrap();
    let log = Log::read(store).unwrap();
    let state = serde_json::to_string(&log.agenda().unwrap()).unwrap() + "\n";
    Came {
        lines: String::from_utf8(lines).unwrap(),
        state,
        schedule: csv(&Schedule::of(&log, &Times::utc()).unwrap()),
    }
}

fn write() {
    let folder = folder_now();
    assert!(
        !folder.exists(),
        "{} is there, and is never written again",
        folder.display()
    );
    fs::create_dir_all(&folder).unwrap();
    for path in files() {
        let text = fs::read_to_string(&path).unwrap();
        let mut run = Run::new(&text);
        run.all(false);
        assert!(run.wrong.is_empty(), "{:?}", run.wrong);
        let came = kept(&run.site.unwrap().events);
        let to = |ending: &str| {
            folder
                .join(path.file_stem().unwrap())
                .with_extension(ending)
        };
        fs::write(to("jsonl"), came.lines).unwrap();
        fs::write(to("state.json"), came.state).unwrap();
        fs::write(to("csv"), came.schedule).unwrap();
    }
}

fn kept(events: &[(Event, Timestamp)]) -> Came {
    let dir = tempfile::tempdir().unwrap();
    let clock = Arc::new(AtomicI64::new(0));
    let ticking = Arc::clone(&clock);
    let options = Options::new(Mode::AppendOrCreate)
        .device("bench")
        .clock(move || Timestamp::from_microsecond(ticking.load(Ordering::SeqCst)).unwrap());
    let mut store = Store::open_with(dir.path().join("log.db"), options).unwrap();
    for (event, at) in events {
        clock.store(at.as_microsecond(), Ordering::SeqCst);
        let event = NewEvent::new(event.kind(), u32::from(EVENT_VERSION), event).unwrap();
        store.append(&[event], None).unwrap();
    }
    came(&store)
}
