//! The log of every dialogue as each edition of the plan wrote it, in `tests/golden/edition-N`:
//! its exported lines, the state they fold to as JSON, and its schedule as CSV. Whatever changes
//! in the program, an old log is still read as it was.
//!
//! The files of an edition are written once, by a build that has landed, and never again: the first by that of
//! 2026-11-26, the second and the third by those of 2026-11-28; the fourth and the fifth by the builds that brought them.
//!
//! ```sh
//! cargo test --test it logs_of_a_new_edition -- --ignored     # those of the edition of now
//! ```
//!
//! Columns that a schedule got after an edition's files were written stand at its end, and beside those files in
//! `added.csv`, written by the build that added them; what stands there is never changed either.
//!
//! ```sh
//! cargo test --test it added_columns_are_written -- --ignored
//! ```
//!
//! What an edition's schedules said that was not so, and what they say since, stands cell by cell in `untrue.csv`
//! beside them, with the reason: log, line, column, what stood there, what does now, why.
//!
//! ```sh
//! WHY="a reason" cargo test --test it untrue_cells_are_listed -- --ignored     # then look at the change
//! ```

use crate::dialogues::typed::{Run, files};
use bothhands::log::Log;
use bothhands::report::{Schedule, Times, csv};
use bothhands::sequence::say::Narrator;
use bothhands::sequence::{Agenda, EVENT_VERSION, Edition, Event};
use bothhands::store::{NewEvent, OpenMode, Options, Sounds, Store, import};
use jiff::Timestamp;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// Where the logs of an edition are.
fn folder(edition: Edition) -> PathBuf {
    Path::new("tests/golden").join(format!("edition-{}", edition.number()))
}

/// What a log comes to: its lines, its state and its schedule.
struct Came {
    lines: String,
    state: String,
    schedule: String,
}

#[test]
fn logs_of_the_first_edition_read_as_they_did() {
    read_as_they_did(Edition::First, 60);
}

#[test]
fn logs_of_the_second_edition_read_as_they_did() {
    read_as_they_did(Edition::Second, 80);
}

#[test]
fn logs_of_the_third_edition_read_as_they_did() {
    read_as_they_did(Edition::Third, 130);
}

#[test]
fn logs_of_the_fourth_edition_read_as_they_did() {
    read_as_they_did(Edition::Fourth, 130);
}

#[test]
fn logs_of_the_fifth_edition_read_as_they_did() {
    assert_eq!(
        Edition::NOW,
        Edition::Fifth,
        "keep the logs of the new edition"
    );
    read_as_they_did(Edition::Fifth, 130);
}

#[test]
#[ignore = "once for each edition, by a build that has landed"]
fn logs_of_a_new_edition_are_written() {
    write(&folder(Edition::NOW));
}

#[test]
#[ignore = "once for each column that is added, by the build that adds it"]
fn added_columns_are_written() {
    for number in 1..=Edition::NOW.number() {
        let this = Edition::try_from(number).unwrap();
        let mut added = Vec::new();
        for path in logs_of(this) {
            let came = read(&fs::read_to_string(&path).unwrap());
            let wanted = fs::read_to_string(path.with_extension("csv")).unwrap();
            added.extend(added_rows(&path, &came.schedule, &wanted));
        }
        let before = fs::read_to_string(folder(this).join(ADDED)).unwrap_or_default();
        let wrong = differing(&rows(&before), &added);
        assert!(wrong.is_empty(), "not as they were: {}", wrong.join("\n"));
        fs::write(folder(this).join(ADDED), rows_as_csv(&added)).unwrap();
    }
}

#[test]
#[ignore = "once for what was untrue, by the build that mends it"]
fn untrue_cells_are_listed() {
    let why = std::env::var("WHY").expect("WHY: the reason");
    for number in 1..=Edition::NOW.number() {
        let this = Edition::try_from(number).unwrap();
        let file = folder(this).join(UNTRUE);
        let before = rows(&fs::read_to_string(&file).unwrap_or_default());
        let mut cells = Vec::new();
        for path in logs_of(this) {
            let came = read(&fs::read_to_string(&path).unwrap());
            let wanted = fs::read_to_string(path.with_extension("csv")).unwrap();
            let found = first_columns(&came.schedule, &wanted);
            for cell in cells_otherwise(&path, &wanted, &found) {
                let old = before
                    .iter()
                    .find(|row| without_why((*row).clone()) == cell);
                let reason = old.and_then(|row| row.last().cloned());
                let reason = reason.unwrap_or_else(|| why.clone());
                cells.push([cell, vec![reason]].concat());
            }
        }
        fs::write(file, rows_as_csv(&cells)).unwrap();
    }
}

/// The logs of an edition, in the order of their names.
fn logs_of(edition: Edition) -> Vec<PathBuf> {
    let mut names: Vec<PathBuf> = fs::read_dir(folder(edition))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "jsonl"))
        .collect();
    names.sort();
    names
}

fn read_as_they_did(edition: Edition, at_least: usize) {
    let names = logs_of(edition);
    assert!(names.len() >= at_least, "only {} logs", names.len());
    let mut wrong = Vec::new();
    let mut added = Vec::new();
    let mut untrue = Vec::new();
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
        let beside = |ending: &str| fs::read_to_string(path.with_extension(ending)).unwrap();
        differs("export", lines.clone(), &came.lines);
        differs("state", beside("state.json"), &came.state);
        let wanted = beside("csv");
        let found = first_columns(&came.schedule, &wanted);
        let otherwise = cells_otherwise(&path, &wanted, &found);
        if otherwise.is_empty() {
            differs("schedule", wanted.clone(), &found);
        }
        untrue.extend(otherwise);
        added.extend(added_rows(&path, &came.schedule, &wanted));
    }
    let before = fs::read_to_string(folder(edition).join(ADDED)).unwrap();
    wrong.extend(differing(&rows(&before), &added));
    let listed = rows(&fs::read_to_string(folder(edition).join(UNTRUE)).unwrap());
    let listed: Vec<Vec<String>> = listed.into_iter().map(without_why).collect();
    let of = |cell: &Vec<String>, all: &[Vec<String>]| all.contains(cell);
    let unlisted = untrue.iter().filter(|cell| !of(cell, &listed));
    wrong.extend(
        unlisted.map(|cell| format!("another cell, log and line, column, was, is: {cell:?}")),
    );
    let as_it_was = listed.iter().filter(|cell| !of(cell, &untrue));
    wrong.extend(as_it_was.map(|cell| format!("listed as untrue, and still so: {cell:?}")));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A reading that another build asked for, in a step that this one has not: it is kept, stands on the
/// schedule, and whoever goes on with the log is told. None is left out in silence.
#[test]
fn an_answer_to_a_step_of_no_plan_is_told() {
    let golden = folder(Edition::Second).join("correct-a-reading.jsonl");
    let events = crate::sequence::prompts::events(&fs::read_to_string(golden).unwrap());
    let mut at: Timestamp = "2026-11-28T09:30:00Z".parse().unwrap();
    let mut moved = None;
    let mut logged: Vec<(Event, Timestamp)> = Vec::new();
    for mut event in events {
        if let Event::Reading { step, reading, .. } = &mut event
            && moved.is_none()
            && let Some(number) = reading.number
        {
            "once/asked/for".clone_into(&mut step.tail);
            moved = Some((step.clone(), number.to_string()));
        }
        at += jiff::SignedDuration::from_secs(5);
        logged.push((event, at));
    }
    let (step, value) = moved.expect("a reading");
    let dir = tempfile::tempdir().unwrap();
    let store = stored(dir.path(), &logged);
    let log = Log::read(&store).unwrap();
    let agenda = log.agenda().unwrap();
    let unplanned: Vec<_> = agenda.unplanned().map(|(_, step)| step.clone()).collect();
    assert_eq!(unplanned, [step]);
    let schedule = Schedule::of(&log, &Times::utc()).unwrap();
    let exception = schedule
        .exceptions
        .iter()
        .find(|one| one.what.contains("once/asked/for"))
        .unwrap_or_else(|| panic!("not on the schedule: {:?}", schedule.exceptions));
    assert!(exception.what.contains(&value), "{exception:?}");
    assert_eq!(
        exception.outcome,
        "answers a step that this version does not ask for"
    );
    let said = resumed(&agenda, at);
    assert!(
        said.contains("One answer in this log is to a step that this version does not ask for"),
        "{said}"
    );
}

/// The second edition was changed once before its logs were kept: at an outlet that was opened a three-phase
/// loop was one reading, and is one for each line now. Of the 89 logs that build 4d54b1c made of its dialogues
/// this is the one that reads otherwise; its answers are told.
#[test]
fn a_log_of_the_second_edition_before_it_was_kept_loses_nothing_in_silence() {
    let lines = fs::read_to_string("tests/golden/motor-three-phase-4d54b1c.jsonl").unwrap();
    let dir = tempfile::tempdir().unwrap();
    let db = dir.path().join("log.db");
    import(&mut lines.as_bytes(), Path::new("lines"), None, &db).unwrap();
    let log = Log::read(&Store::open(&db, OpenMode::Read).unwrap()).unwrap();
    let agenda = log.agenda().unwrap();
    assert_eq!(agenda.unplanned().count(), 3);
    let schedule = Schedule::of(&log, &Times::utc()).unwrap();
    for (no, step) in agenda.unplanned() {
        let mut exceptions = schedule.exceptions.iter();
        let exception = exceptions.find(|one| one.event == no);
        let exception = exception.unwrap_or_else(|| panic!("{step} is not on the schedule"));
        assert!(exception.what.contains(&step.tail), "{exception:?}");
    }
}

/// What is said when a log is taken up again.
fn resumed(before: &Agenda, at: Timestamp) -> String {
    let event = Event::Resumed {
        by: "test".to_owned(),
        boot: None,
        anew: false,
        delivery: before.delivery(),
    };
    let lines = Narrator::default().tell(&mut before.clone(), &[event], at);
    let texts: Vec<_> = lines.into_iter().map(|line| line.text).collect();
    texts.join("\n")
}

/// A schedule with as many of its columns as another has: later versions add theirs at the end.
fn first_columns(schedule: &str, of: &str) -> String {
    let wanted = rows(of)[0].len();
    let mut lines = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::from("\u{feff}"));
    for row in rows(schedule) {
        lines.write_record(row.iter().take(wanted)).unwrap();
    }
    String::from_utf8(lines.into_inner().unwrap()).unwrap()
}

/// Where cells of an edition's schedules are listed that were untrue.
const UNTRUE: &str = "untrue.csv";

fn without_why(mut row: Vec<String>) -> Vec<String> {
    row.pop();
    row
}

/// The cells of a schedule that are otherwise than they were: log, line, column, was, is.
fn cells_otherwise(log: &Path, wanted: &str, found: &str) -> Vec<Vec<String>> {
    let name = log.file_stem().unwrap().to_str().unwrap();
    let (wanted, found) = (rows(wanted), rows(found));
    assert_eq!(wanted.len(), found.len(), "{name}: other lines");
    let heads = wanted[0].clone();
    let mut all = Vec::new();
    for (line, (was, is)) in wanted.iter().zip(&found).enumerate() {
        for (head, (was, is)) in heads.iter().zip(was.iter().zip(is)) {
            if was != is {
                let line = line.to_string();
                all.push(
                    [name, line.as_str(), head, was, is]
                        .map(str::to_owned)
                        .to_vec(),
                );
            }
        }
    }
    all
}

/// Where the columns of an edition's schedules stand that were added later.
const ADDED: &str = "added.csv";

/// The columns that a schedule has and another lacks: a row for its headings and one for each circuit, after the
/// name of the log.
fn added_rows(log: &Path, schedule: &str, of: &str) -> Vec<Vec<String>> {
    let name = log.file_stem().unwrap().to_str().unwrap();
    let wanted = rows(of)[0].len();
    let rest = |row: Vec<String>| {
        let cells = row.into_iter().skip(wanted);
        std::iter::once(name.to_owned()).chain(cells).collect()
    };
    rows(schedule).into_iter().map(rest).collect()
}

/// Rows that are no longer as they were; cells that came at the end of a row since are no difference.
fn differing(before: &[Vec<String>], now: &[Vec<String>]) -> Vec<String> {
    let mut wrong = Vec::new();
    if before.len() != now.len() && !before.is_empty() {
        wrong.push(format!("{} added rows, {} now", before.len(), now.len()));
    }
    for (was, is) in before.iter().zip(now) {
        if !is.starts_with(was) {
            wrong.push(format!("other added columns:\n  was {was:?}\n  now {is:?}"));
        }
    }
    wrong
}

fn rows(text: &str) -> Vec<Vec<String>> {
    let text = text.trim_start_matches('\u{feff}').as_bytes().to_vec();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(std::io::Cursor::new(text));
    let cells = |row: csv::StringRecord| row.iter().map(str::to_owned).collect();
    reader.records().map(|row| cells(row.unwrap())).collect()
}

fn rows_as_csv(rows: &[Vec<String>]) -> String {
    let mut lines = csv::WriterBuilder::new()
        .flexible(true)
        .from_writer(Vec::new());
    for row in rows {
        lines.write_record(row).unwrap();
    }
    String::from_utf8(lines.into_inner().unwrap()).unwrap()
}

fn read(lines: &str) -> Came {
    let dir = tempfile::tempdir().unwrap();
    let db = dir.path().join("log.db");
    import(&mut lines.as_bytes(), Path::new("lines"), None, &db).unwrap();
    came(&Store::open(&db, OpenMode::Read).unwrap())
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

fn write(folder: &Path) {
    assert!(
        !folder.exists(),
        "{} is there, and is never written again",
        folder.display()
    );
    fs::create_dir_all(folder).unwrap();
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
    came(&stored(dir.path(), events))
}

/// A log in this folder with these events.
fn stored(dir: &Path, events: &[(Event, Timestamp)]) -> Store {
    let clock = Arc::new(AtomicI64::new(0));
    let ticking = Arc::clone(&clock);
    let options = Options::new(OpenMode::AppendOrCreate)
        .device("bench")
        .clock(move || Timestamp::from_microsecond(ticking.load(Ordering::SeqCst)).unwrap());
    let mut store = Store::open_with(dir.join("log.db"), options).unwrap();
    for (event, at) in events {
        clock.store(at.as_microsecond(), Ordering::SeqCst);
        let event = NewEvent::new(event.kind(), u32::from(EVENT_VERSION), event).unwrap();
        store.append(&[event], None).unwrap();
    }
    store
}
