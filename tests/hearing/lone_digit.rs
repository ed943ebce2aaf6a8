//! One digit said by itself is asked about once: coughs, foreign words and the beginnings of longer
//! numbers sound like one. With its unit, or said again, it is taken. Spoken by flite (Debian).

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use std::path::{Path, PathBuf};

pub fn bothhands() -> Command {
    Command::cargo_bin("bothhands").unwrap()
}

/// These words as a recording in the folder.
pub fn spoken(folder: &Path, words: &str) -> PathBuf {
    let (raw, file) = (
        folder.join("raw.wav"),
        folder.join(words.replace(' ', "-") + ".wav"),
    );
    let said = std::process::Command::new("flite")
        .args([
            "-voice",
            "rms",
            "-t",
            &words.replace("megohms", "meg ohms"),
            "-o",
        ])
        .arg(&raw)
        .status();
    assert!(said.is_ok_and(|status| status.success()), "install flite");
    let made = std::process::Command::new("sox")
        .args(["-D", "-R"])
        .arg(&raw)
        .args(["-r", "16000", "-b", "16"])
        .arg(&file)
        .args(["gain", "-n", "-6", "pad", "0.5", "0.9"])
        .status();
    assert!(made.is_ok_and(|status| status.success()), "install sox");
    file
}

#[test]
fn one_digit_alone_is_asked_about_and_with_its_unit_taken() {
    let folder = tempfile::tempdir().unwrap();
    let hear = |words: &str| {
        let mut hear = bothhands();
        hear.args(["hear", "--rule", "insulation", "--json"])
            .arg(spoken(folder.path(), words));
        hear.assert().success()
    };
    hear("four").stdout(contains("\"ask-again\"").and(contains("\"words\":\"four\"")));
    hear("four megohms").stdout(contains("\"taken\""));
    hear("line to earth four").stdout(contains("\"taken\"").or(contains("\"ask-again\"")));
}

#[test]
fn said_again_it_counts() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("log.db");
    let session = |arguments: &[&str], sound: &[PathBuf]| {
        let mut test = bothhands();
        test.args(["test", "tests/dialogues/jobs/plain.toml", "--db"])
            .arg(&db)
            .args(arguments)
            .args(sound);
        test.assert().success()
    };
    let typed = folder.path().join("words.txt");
    std::fs::write(
        &typed,
        "done\nproved\nisolated\nlocked off\ndead\ndead\ndead\nproved\n",
    )
    .unwrap();
    session(&["--words", typed.to_str().unwrap()], &[]);
    let four = spoken(folder.path(), "four");
    session(&["--sound"], &[four.clone(), four]).stdout(
        contains("Say again: four")
            .and(contains("you:  four (?)"))
            .and(contains("Four ohms? Leads apart should read over range")),
    );
}
