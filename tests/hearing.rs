//! `hear` and `score` as a person runs them.

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use serde_json::Value;
use std::path::{Path, PathBuf};

fn bothhands() -> Command {
    Command::cargo_bin("bothhands").unwrap()
}

fn recording(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference")
        .join(name)
}

/// A folder with one recording that is a reading and one of five digits, which no rule allows, and
/// a manifest of the given lines beside them.
fn folder(manifest: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["reading.flac", "digits.flac"] {
        std::fs::copy(recording(name), folder.path().join(name)).unwrap();
    }
    std::fs::write(folder.path().join("list.tsv"), manifest).unwrap();
    folder
}

#[test]
fn hear_tells_words_meaning_and_times() {
    let out = bothhands()
        .args(["hear", "--rule", "insulation", "--json"])
        .arg(recording("reading.flac"))
        .output()
        .unwrap();
    assert!(out.status.success());
    let line: Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(line["outcome"], "taken");
    assert_eq!(line["words"], "line to earth over two ninety nine megohms");
    let said = &line["said"]["reading"]["reading"];
    assert_eq!(said["pair"], "L-E");
    assert_eq!(said["relation"], "over");
    assert_eq!(said["number"], "299");
    let times = line["times"].as_array().unwrap();
    assert_eq!(times.len(), 8);
    let at = |i: usize, key: &str| times[i][key].as_f64().unwrap();
    assert!((1..8).all(|i| at(i - 1, "to") <= at(i, "from") + 1e-6));
    assert!(at(7, "to") <= line["to_s"].as_f64().unwrap());
}

#[test]
fn hear_still_hears_the_rest_when_one_file_is_missing() {
    bothhands()
        .args(["hear", "no-such.wav"])
        .arg(recording("reading.flac"))
        .assert()
        .code(2)
        .stderr(contains("no-such.wav").and(contains("check the path")))
        .stdout(contains("line to earth over two ninety nine megohms"));
}

#[test]
fn hear_names_the_rules_there_are_when_one_does_not_exist() {
    bothhands()
        .args(["hear", "--rule", "no-such-rule"])
        .arg(recording("reading.flac"))
        .assert()
        .code(2)
        .stderr(contains("no-such-rule").and(contains("insulation")));
}

#[test]
fn score_counts_what_became_of_each_recording() {
    let folder = folder(
        "# what is said\nreading.flac\tline to earth over two nine nine\n\ndigits.flac\t\n",
    );
    let rows = folder.path().join("rows.tsv");
    let out = bothhands()
        .args(["score", "--json", "--rows"])
        .arg(&rows)
        .arg(folder.path().join("list.tsv"))
        .output()
        .unwrap();
    assert!(out.status.success());
    let result: Value = serde_json::from_slice(&out.stdout).unwrap();
    for (key, count) in [
        ("clips", 2),
        // Said as "two ninety nine megohms": the meaning counts, and the unit may be left out.
        ("exact", 1),
        ("asked_again", 0),
        ("wrong_taken", 0),
        ("ignored", 1),
        ("falsely_taken", 0),
    ] {
        assert_eq!(result[key], count, "{key} in {result}");
    }
    for key in ["latency_ms_p50", "latency_ms_p95", "real_time_factor"] {
        assert!(result[key].as_f64().unwrap() > 0.0, "{key}");
    }
    let rows = std::fs::read_to_string(rows).unwrap();
    assert_eq!(rows.lines().count(), 3);
    assert!(rows.lines().next().unwrap().starts_with("path\texpected\tverdict"));
}

#[test]
fn score_names_the_line_whose_words_no_rule_allows() {
    let folder = folder("reading.flac\tlovely weather today\n");
    bothhands()
        .arg("score")
        .arg(folder.path().join("list.tsv"))
        .assert()
        .code(2)
        .stderr(contains("list.tsv line 1").and(contains("lovely weather today")));
}

#[test]
fn score_names_a_recording_or_a_list_that_is_not_there() {
    let folder = folder("gone.wav\taffirm\n");
    bothhands()
        .arg("score")
        .arg(folder.path().join("list.tsv"))
        .assert()
        .code(2)
        .stderr(contains("gone.wav").and(contains("check the path")));
    bothhands()
        .args(["score", "no-such-list.tsv"])
        .assert()
        .code(2)
        .stderr(contains("no-such-list.tsv"));
}
