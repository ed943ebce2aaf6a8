//! The fixed set of recordings that `tests/clips/make.sh` makes, heard as the program hears: fails
//! when fewer readings are right than the number recorded in `tests/clips/recorded.toml`, or when a
//! reading is taken wrongly, or something taken that should be ignored, that was not before.

use bothhands::commands::score::{self, Clip, Row, Summary, Verdict};
use bothhands::grammar::Grammar;
use bothhands::speech::ear::Ear;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

const RULE: &str = "anything";

#[derive(Deserialize)]
struct Recorded {
    /// Versions of the programs that made the recordings.
    made_with: String,
    exact: usize,
    /// Recordings that are taken wrongly, each with why that is borne.
    wrong_taken: Vec<String>,
    falsely_taken: Vec<String>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

/// The manifest, made first where that has not been done.
fn manifest() -> PathBuf {
    let made = Command::new("bash")
        .arg(folder().join("clips/make.sh"))
        .status();
    assert!(
        made.is_ok_and(|status| status.success()),
        "the recordings could not be made: tests/clips/make.sh says what is missing"
    );
    folder().join("cache/small.tsv")
}

/// Hears `clips` on `threads` threads, one engine each.
fn hear(clips: &[Clip], threads: usize) -> Vec<Row> {
    let grammar = Arc::new(Grammar::built_in().unwrap());
    let share = clips.len().div_ceil(threads).max(1);
    std::thread::scope(|scope| {
        let work = |part| {
            let grammar = grammar.clone();
            scope.spawn(move || {
                let mut ear = Ear::new(grammar, 1).unwrap();
                score::measure(&mut ear, part, RULE, false).unwrap()
            })
        };
        let parts: Vec<_> = clips.chunks(share).map(work).collect();
        parts.into_iter().flat_map(|p| p.join().unwrap()).collect()
    })
}

fn names(rows: &[Row], verdict: Verdict) -> BTreeSet<String> {
    rows.iter()
        .filter(|row| row.verdict == verdict)
        .map(|row| {
            let path = row.clip.path.strip_prefix(folder().join("cache/clips"));
            path.unwrap_or(&row.clip.path).display().to_string()
        })
        .collect()
}

#[test]
fn the_fixed_set_is_heard_no_worse_than_recorded() {
    let manifest = manifest();
    let recorded = std::fs::read_to_string(folder().join("clips/recorded.toml")).unwrap();
    let recorded: Recorded = toml::from_str(&recorded).unwrap();
    let grammar = Grammar::built_in().unwrap();
    let clips = score::read_manifest(&manifest, &grammar, RULE).unwrap();
    let rows = hear(&clips, 2);
    let summary = Summary::of(&rows);
    println!("{summary}");

    let known = |list: &[String]| list.iter().cloned().collect::<BTreeSet<_>>();
    let wrong = names(&rows, Verdict::WrongTaken);
    let falsely = names(&rows, Verdict::FalselyTaken);
    let made_with = &recorded.made_with;
    assert!(
        summary.exact >= recorded.exact,
        "{} readings are right, {} were (recordings made with {made_with}):\n{}",
        summary.exact,
        recorded.exact,
        score::table(&rows)
    );
    let new: Vec<_> = wrong
        .difference(&known(&recorded.wrong_taken))
        .cloned()
        .collect();
    assert!(
        new.is_empty(),
        "wrongly taken, and were not before: {new:?}"
    );
    let new: Vec<_> = falsely
        .difference(&known(&recorded.falsely_taken))
        .cloned()
        .collect();
    assert!(
        new.is_empty(),
        "falsely taken, and were not before: {new:?}"
    );
}
