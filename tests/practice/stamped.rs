//! Practice never looks like a test: its stamp stands on every page, line and event.

use super::learner::{JOB, Learner};
use bothhands::log::{self, Log, SharedClock};
use bothhands::practice::Hidden;
use bothhands::report::{self, Schedule, Times};
use bothhands::terms::Level;

const STAMP: &str = "PRACTICE";

fn practised() -> Log {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    learner.go_to_the_end();
    learner.log()
}

#[test]
fn every_page_says_that_it_is_practice() {
    let log = practised();
    let schedules = [Schedule::of(&log, &Times::of(jiff::tz::TimeZone::UTC)).unwrap()];
    let [schedule] = &schedules;
    for (name, text) in [
        ("schedule", report::html(schedule)),
        ("customer", report::customer_html(&schedules)),
        ("labels", report::labels_html(&schedules)),
        ("csv", report::csv(schedule)),
        ("json", report::json(schedule)),
    ] {
        assert!(text.contains(STAMP), "{name}");
    }
    // Each circuit of the table, so that no line goes astray without it.
    let csv = report::csv(schedule);
    assert!(
        csv.lines().skip(1).all(|line| line.contains(STAMP)),
        "{csv}"
    );
    // Nothing to put up at a board.
    let labels = report::labels_html(&schedules);
    assert!(!labels.contains("Isolate here"));
}

/// On paper: the text of every page of every PDF has it.
#[test]
fn every_page_of_paper_says_so() {
    crate::need("pdftotext", "poppler-utils");
    let log = practised();
    let schedules = [Schedule::of(&log, &Times::of(jiff::tz::TimeZone::UTC)).unwrap()];
    for (name, pdf) in [
        ("schedule", report::pdf(&schedules[0]).unwrap()),
        ("customer", report::customer_pdf(&schedules).unwrap()),
        ("labels", report::labels_pdf(&schedules).unwrap()),
    ] {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), pdf).unwrap();
        let text = std::process::Command::new("pdftotext")
            .arg(file.path())
            .arg("-")
            .output()
            .unwrap();
        let text = String::from_utf8(text.stdout).unwrap();
        // A form feed ends each page.
        let pages: Vec<&str> = text
            .split('\u{c}')
            .filter(|page| !page.trim().is_empty())
            .collect();
        assert!(!pages.is_empty(), "{name}");
        for (n, page) in pages.iter().enumerate() {
            assert!(page.contains(STAMP), "{name}, page {}: {page}", n + 1);
        }
    }
}

#[test]
fn every_line_of_the_dialogue_says_so() {
    let exchanges = report::dialogue(&practised()).unwrap();
    let text = report::dialogue_text(&exchanges, &Times::of(jiff::tz::TimeZone::UTC));
    let first = text.lines().filter(|line| line.contains("  #"));
    assert!(first.clone().count() > 50);
    assert!(first.clone().all(|line| line.starts_with(STAMP)), "{text}");
    let jsonl = report::dialogue_jsonl(&exchanges);
    assert!(
        jsonl
            .lines()
            .all(|line| line.contains("\"practised\":true"))
    );
}

/// In the log itself: whoever reads one event knows.
#[test]
fn every_event_says_so() {
    let log = practised();
    let events: Vec<_> = log
        .entries
        .iter()
        .map(|entry| entry.event.clone())
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let clock = SharedClock::default();
    let (mut store, _) = log::take_up(&folder.path().join("p.db"), &clock).unwrap();
    clock.tick();
    log::begin(&mut store, JOB, &events[..1]).unwrap();
    log::keep(&mut store, &events[1..], true, None).unwrap();
    let mut count = 0;
    for record in store.records() {
        let record = record.unwrap();
        let payload: serde_json::Value = record.payload().unwrap();
        if payload.get("event").is_some() {
            assert_eq!(payload["practised"], true, "{payload}");
            count += 1;
        }
    }
    assert_eq!(count, events.len());
}
