//! The options that choose an engine, in a build with our own only.
#![cfg(not(feature = "vosk"))]

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;

#[test]
fn an_engine_that_is_not_in_the_build_is_refused_with_how_to_build_it() {
    for command in ["hear", "score", "test"] {
        let file = match command {
            "test" => "demo/boathouse.toml",
            _ => "demo/recordings",
        };
        let db = tempfile::tempdir().unwrap();
        let mut vosk = Command::cargo_bin("bothhands").unwrap();
        vosk.args([command, file, "--engine", "vosk", "--vosk-model", "m"]);
        if command == "test" {
            vosk.arg("--db")
                .arg(db.path().join("log.db"))
                .args(["--sound", "x.wav"]);
        }
        vosk.assert()
            .code(2)
            .stderr(contains("no vosk engine").and(contains("--features vosk")));
    }
}

#[test]
fn a_vosk_model_for_our_own_engine_is_a_mistake() {
    Command::cargo_bin("bothhands")
        .unwrap()
        .args(["hear", "x.wav", "--vosk-model", "m"])
        .assert()
        .code(2)
        .stderr(contains("--vosk-model is for --engine vosk"));
}
