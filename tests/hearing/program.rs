//! `hear` and `score` as a person runs them.

use assert_cmd::Command;
use bothhands::audio;
use bothhands::grammar::{Grammar, Lexicon};
use bothhands::speech::ear::{Ear, same_meaning};
use bothhands::speech::{Decision, DecodeContext, Recogniser, Recognition};
use predicates::prelude::*;
use predicates::str::contains;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::Arc;

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
    let folder =
        folder("# what is said\nreading.flac\tline to earth over two nine nine\n\ndigits.flac\t\n");
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
        // Five digits sound like a reading but are none: never taken.
        ("asked_again", 1),
        ("wrong_taken", 0),
        ("ignored", 0),
        ("falsely_taken", 0),
    ] {
        assert_eq!(result[key], count, "{key} in {result}");
    }
    for key in ["latency_ms_p50", "latency_ms_p95", "real_time_factor"] {
        assert!(result[key].as_f64().unwrap() > 0.0, "{key}");
    }
    let rows = std::fs::read_to_string(rows).unwrap();
    assert_eq!(rows.lines().count(), 3);
    assert!(
        rows.lines()
            .next()
            .unwrap()
            .starts_with("path\texpected\tverdict")
    );
}

#[test]
fn score_hears_again_what_was_heard_wrongly_with_that_meaning_refused() {
    // The list says over nine nine nine; what is heard, and then refused, is over two nine nine.
    let folder = folder("reading.flac\tline to earth over nine nine nine\n");
    let list = folder.path().join("list.tsv");
    let second = folder.path().join("second.tsv");
    let score = |more: &[&str]| {
        let out = bothhands()
            .args(["score", "--json"])
            .arg(&list)
            .args(more)
            .output()
            .unwrap();
        assert!(out.status.success());
        serde_json::from_slice::<Value>(&out.stdout).unwrap()["again"].clone()
    };
    let sum = |second: &Value| -> u64 {
        ["exact", "asked_again", "wrong_taken", "ignored"]
            .iter()
            .map(|key| second[key].as_u64().unwrap())
            .sum()
    };
    assert_eq!(score(&[]), Value::Null, "only when asked for");

    let again = score(&["--again"]);
    assert_eq!(again["wrong"], 1);
    assert_eq!(again["wrong_taken"], 1);
    assert_eq!(sum(&again["same"]), 1, "{again}");
    assert_eq!(again["other_plain"], Value::Null);

    std::fs::write(&second, "digits.flac\tline to earth over nine nine nine\n").unwrap();
    let again = score(&["--again", "--second", second.to_str().unwrap()]);
    assert_eq!(sum(&again["other_plain"]), 1, "{again}");
    assert_eq!(sum(&again["other_refused"]), 1, "{again}");

    std::fs::write(&second, "reading.flac\taffirm\n").unwrap();
    bothhands()
        .args(["score", "--again", "--second"])
        .args([&second, &list])
        .assert()
        .code(2)
        .stderr(contains("second.tsv").and(contains("same words")));
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

fn ear() -> Ear {
    Ear::new(Arc::new(Grammar::built_in().unwrap()), 1).unwrap()
}

fn listening_for(rule: &str) -> DecodeContext {
    DecodeContext {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    }
}

#[test]
fn a_meaning_that_was_refused_is_not_heard_again() {
    let mut ear = ear();
    let samples = audio::read(&recording("reading.flac")).unwrap();
    let mut expected = listening_for("insulation");
    let mut meanings = Vec::new();
    for _ in 0..3 {
        let heard = ear.recognise(&samples, &expected).unwrap();
        let said = heard.said.unwrap();
        assert!(!meanings.iter().any(|m| same_meaning(m, &said)), "{said:?}");
        assert_ne!(heard.runner_up_said.as_ref(), Some(&said));
        meanings.push(said.clone());
        expected.excluded.push(said);
    }
}

#[test]
fn sound_that_holds_no_words_is_not_for_us_and_no_error() {
    let mut ear = ear();
    let expected = listening_for("anything");
    let tone = |n: usize| (n as f32 * 0.3).sin() * 0.5;
    let mut damaged = audio::read(&recording("reading.flac")).unwrap();
    damaged.push(f32::NAN);
    for (what, samples) in [
        ("nothing", Vec::new()),
        ("one sample", vec![0.1]),
        ("silence", vec![0.0; 48_000]),
        ("a tone", (0..48_000).map(tone).collect()),
        ("forty seconds", vec![0.01; 640_000]),
        ("samples that are no numbers", damaged),
    ] {
        let heard = ear.recognise(&samples, &expected).unwrap();
        assert_eq!(heard.outcome, Decision::Reject, "{what}");
        assert!(heard.said.is_none(), "{what}");
        assert!(heard.scores.llr_per_phone.is_finite(), "{what}");
    }
}

#[test]
fn a_rule_that_does_not_exist_is_an_error() {
    let samples = vec![0.0; 16_000];
    assert!(
        ear()
            .recognise(&samples, &listening_for("no-such-rule"))
            .is_err()
    );
}

#[test]
fn every_rule_of_every_step_can_be_listened_for() {
    let grammar = Grammar::built_in().unwrap();
    let mut ear = ear();
    for rule in grammar.rules() {
        assert!(ear.prepare(rule).unwrap().size() > 0, "{rule}");
    }
}

/// What several listen for is spelt out once, and each hears what it would hear by itself.
#[test]
fn who_shares_what_is_spelt_out_hears_the_same() {
    let grammar = Arc::new(Grammar::built_in().unwrap());
    let mut first = ear();
    let shared = Ear::new(Arc::clone(&grammar), 1).unwrap();
    let mut learners: Vec<Ear> = (0..3)
        .map(|_| shared.for_another(Arc::clone(&grammar)))
        .collect();
    let mut graphs = Vec::new();
    for learner in &mut learners {
        graphs.push(learner.prepare("insulation").unwrap());
    }
    assert!(graphs.iter().all(|graph| Arc::ptr_eq(graph, &graphs[0])));
    // Another grammar, other bounds, or other pronunciations: other graphs.
    let mut other = shared.for_another(Arc::new(Grammar::built_in().unwrap()));
    assert!(!Arc::ptr_eq(
        &other.prepare("insulation").unwrap(),
        &graphs[0]
    ));
    let mut stranger = shared.for_another(Arc::clone(&grammar));
    let mut bounds = *stranger.thresholds();
    bounds.strangers.weight += 1.0;
    stranger.set_thresholds(bounds);
    assert!(!Arc::ptr_eq(
        &stranger.prepare("insulation").unwrap(),
        &graphs[0]
    ));
    let mut says = shared.for_another(Arc::clone(&grammar));
    says.set_lexicon(Lexicon::built_in().unwrap());
    assert!(!Arc::ptr_eq(
        &says.prepare("insulation").unwrap(),
        &graphs[0]
    ));

    let samples = audio::read(&recording("reading.flac")).unwrap();
    let alone = |heard: Recognition| Recognition {
        took: std::time::Duration::ZERO,
        ..heard
    };
    for rule in ["insulation", "ring", "isolation"] {
        let by_itself = alone(first.recognise(&samples, &listening_for(rule)).unwrap());
        // All at once, as in a room.
        std::thread::scope(|scope| {
            for learner in &mut learners {
                let (by_itself, samples) = (&by_itself, &samples);
                scope.spawn(move || {
                    let heard = alone(learner.recognise(samples, &listening_for(rule)).unwrap());
                    assert_eq!(heard, *by_itself, "{rule}");
                });
            }
        });
    }
}
