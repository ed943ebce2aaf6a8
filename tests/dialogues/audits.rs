//! Seven jobs that an examiner of the trade could not do with an earlier version: each is a dialogue
//! that goes to its end.
//!
//! The examiner's list (her findings on kinds of visit, withdrawn devices, groups of circuits, surge
//! protection and sub-boards) numbers no jobs: these seven are what it comes to.

use crate::dialogues::typed::Run;
use bothhands::sequence::{Event, Mode};
use std::collections::BTreeSet;
use std::fs;

/// Each dialogue, and the job that could not be done.
const JOBS: [(&str, &str); 7] = [
    (
        "audit-live-retest",
        "live tests alone, in an occupied house",
    ),
    (
        "audit-one-circuit-of-a-live-board",
        "one circuit isolated on a live board",
    ),
    ("audit-minor-works", "minor works, with its adequacy checks"),
    (
        "audit-sub-board",
        "a sub-main and its board, with the loop and the current there",
    ),
    (
        "audit-withdrawn-devices",
        "devices of withdrawn standards, and one that no table knows",
    ),
    (
        "audit-rcds-over-groups",
        "a main RCD, and one over several circuits",
    ),
    (
        "audit-surge-protection",
        "surge protection, taken out, put back and looked at",
    ),
];

#[test]
fn the_seven_jobs_that_could_not_be_done_go_to_their_end() {
    let named: BTreeSet<String> = fs::read_dir("tests/dialogues")
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter_map(|name| Some(name.strip_suffix(".txt")?.to_owned()))
        .filter(|name| name.starts_with("audit-"))
        .collect();
    let known: BTreeSet<String> = JOBS.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(named, known, "dialogues named audit-... and the seven jobs");
    for (name, job) in JOBS {
        let text = fs::read_to_string(format!("tests/dialogues/{name}.txt")).unwrap();
        let mut run = Run::new(&text);
        run.all(false);
        assert!(run.wrong.is_empty(), "{name}: {:?}", run.wrong);
        let site = run.site.unwrap();
        assert_eq!(site.state().mode(), Mode::Finished, "{name}: {job}");
        let last = site.said.last().map(String::as_str).unwrap_or_default();
        assert!(last.starts_with("Finished."), "{name}: {job}: {last}");
        assert_eq!(site.state().open_steps().count(), 0, "{name}: {job}");
        assert_eq!(site.state().open_entries().count(), 0, "{name}: {job}");
        let broken = site
            .events
            .iter()
            .any(|(event, _)| matches!(event, Event::Overridden { .. } | Event::Skipped { .. }));
        assert!(!broken, "{name}: went past a bar");
    }
}
