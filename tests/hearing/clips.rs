//! The fixed set of recordings that `tests/clips/make.sh` makes, heard as the program hears: fails
//! when fewer readings are right than the number recorded in `tests/clips/recorded.toml`, when a
//! reading is taken wrongly, or something taken that should be ignored, that was not before, or when
//! any decision is not the one recorded in `models/same/decisions.tsv`.

use bothhands::eval::{self, Clip, ClipResult, HeardClip, Summary};
use bothhands::grammar::Grammar;
use bothhands::speech::Decision;
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
    /// Fewer right than this is worse; some clips fewer than were measured.
    exact: usize,
    /// Recordings that are taken wrongly, each with why that is borne.
    wrong_taken: Vec<String>,
    falsely_taken: Vec<String>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

/// What became of each recording: its path, the outcome and the meaning of what was taken or asked
/// again.
fn decisions(rows: &[HeardClip]) -> BTreeSet<String> {
    rows.iter()
        .map(|row| {
            let path = row.clip.path.strip_prefix(folder().join("cache"));
            let path = path.unwrap_or(&row.clip.path).display();
            let said = match (&row.heard.outcome, &row.heard.said) {
                (Decision::Reject, _) | (_, None) => String::new(),
                (_, Some(said)) => said.words(),
            };
            let outcome = serde_json::to_value(row.heard.outcome).unwrap();
            format!("{path}\t{}\t{said}", outcome.as_str().unwrap())
        })
        .collect()
}

/// Fails when a decision is another than the recorded one; what this run gave is kept under
/// `tests/cache/same/`, to be looked at and copied after a new model.
fn compare_decisions(rows: &[HeardClip], made_with: &str) {
    let given = decisions(rows);
    let kept = folder().join("cache/same/decisions.tsv");
    std::fs::create_dir_all(kept.parent().unwrap()).unwrap();
    let lines: String = given.iter().map(|line| format!("{line}\n")).collect();
    std::fs::write(kept, lines).unwrap();
    let recorded = folder().join("../models/same/decisions.tsv");
    let recorded = std::fs::read_to_string(recorded).unwrap_or_default();
    let recorded: BTreeSet<String> = recorded.lines().map(str::to_owned).collect();
    let new: Vec<_> = given.difference(&recorded).collect();
    assert!(
        new.is_empty() && given.len() == recorded.len(),
        "{} decisions of {} are not the recorded ones (recordings made with {made_with}): {new:#?}",
        new.len(),
        recorded.len()
    );
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
fn hear(clips: &[Clip], threads: usize) -> Vec<HeardClip> {
    let grammar = Arc::new(Grammar::built_in().unwrap());
    let share = clips.len().div_ceil(threads).max(1);
    std::thread::scope(|scope| {
        let work = |part| {
            let grammar = grammar.clone();
            scope.spawn(move || {
                let mut ear = Ear::new(grammar, 1).unwrap();
                eval::measure(&mut ear, part, RULE, false).unwrap()
            })
        };
        let parts: Vec<_> = clips.chunks(share).map(work).collect();
        parts.into_iter().flat_map(|p| p.join().unwrap()).collect()
    })
}

fn names(rows: &[HeardClip], verdict: ClipResult) -> BTreeSet<String> {
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
    let clips = eval::read_manifest(&manifest, &grammar, RULE).unwrap();
    let rows = hear(&clips, 2);
    let summary = Summary::of(&rows);
    println!("{summary}");

    let known = |list: &[String]| list.iter().cloned().collect::<BTreeSet<_>>();
    let wrong = names(&rows, ClipResult::WrongTaken);
    let falsely = names(&rows, ClipResult::FalselyTaken);
    let made_with = &recorded.made_with;
    assert!(
        summary.exact >= recorded.exact,
        "{} readings are right, fewer than {} (recordings made with {made_with}):\n{}",
        summary.exact,
        recorded.exact,
        eval::table(&rows)
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
    compare_decisions(&rows, made_with);
}
