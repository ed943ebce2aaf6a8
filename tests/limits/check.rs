//! `bothhands check JOB.toml`, as it is run.

use assert_cmd::Command;
use predicates::prelude::*;
use std::fs;

fn check(job: &str) -> Command {
    let mut command = Command::cargo_bin("bothhands").unwrap();
    command.args(["check", job]);
    command
}

const BOATHOUSE: &str = "tests/jobs/boathouse.toml";

#[test]
fn it_prints_for_every_circuit_what_each_test_should_read_and_why() {
    let out = check(BOATHOUSE)
        .assert()
        .success()
        .get_output()
        .stdout
        .clone();
    let text = String::from_utf8(out).unwrap();
    for expected in [
        "Limits: BS 7671:2018+A2:2022",
        "r1, rn                about 0.39 Ω (0.24 to 0.54), within 0.05 Ω of each other",
        "54 m × 7.41 mΩ/m × 0.98 for 15 °C = 0.3921 Ω",
        "Zs, hot               at most 1.37 Ω within 0.4 s",
        "0.95 × 230 V ÷ (5 × 32 A) = 1.37 Ω [P: 411.4.4; Table 41.3]",
        "Zs, measured cold     at most 1.096 Ω by the rule of thumb",
        "0.8 × 1.37 = 1.096 Ω [P: Appendix 3; IET Guidance Note 3]",
        "Zs, corrected         or at most 1.119 Ω, all of it corrected to 70 °C",
        "M: from memory, to be confirmed in your own",
        "RCD, half             no trip",
        "insulation            at least 0.5 MΩ at 250 V d.c.",
        "do not say that an installation is safe",
    ] {
        assert!(
            text.contains(expected),
            "`{expected}` is missing from\n{text}"
        );
    }
    for line in text.lines() {
        assert!(
            line.chars().count() <= 100,
            "longer than 100 columns: {line}"
        );
    }
}

#[test]
fn as_json_every_expectation_has_its_reason_and_clause() {
    let out = check(BOATHOUSE)
        .arg("--json")
        .assert()
        .success()
        .get_output()
        .stdout
        .clone();
    let json: serde_json::Value = serde_json::from_slice(&out).unwrap();
    let circuits = json["boards"][0]["circuits"].as_array().unwrap();
    assert_eq!(circuits.len(), 6);
    for circuit in circuits {
        for one in circuit["expected"].as_array().unwrap() {
            for part in ["test", "reads", "why", "clause"] {
                assert!(!one[part].as_str().unwrap().is_empty(), "{one}");
            }
        }
    }
}

#[test]
fn a_job_with_mistakes_ends_with_status_2_and_names_file_and_line() {
    check("tests/jobs/everything_wrong.toml")
        .assert()
        .code(2)
        .stdout("")
        .stderr(predicate::str::contains(
            "tests/jobs/everything_wrong.toml:22: a 0 A device to BS EN 60898 B does not exist",
        ));
}

#[test]
fn an_edited_copy_of_the_tables_takes_their_place() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mine.toml");
    let text = bothhands::limits::Tables::shipped_text()
        .replace("BS 7671:2018+A2:2022", "BS 7671:2008")
        .replace("cmin = 0.95", "cmin = 1.0");
    fs::write(&file, text).unwrap();
    check(BOATHOUSE)
        .arg("--tables")
        .arg(&file)
        .assert()
        .success()
        .stdout(predicate::str::contains("Limits: BS 7671:2008"))
        .stdout(predicate::str::contains("230 V ÷ (5 × 32 A) = 1.44 Ω"));
}

#[test]
fn a_broken_copy_ends_with_status_2_and_says_where() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mine.toml");
    fs::write(&file, "edition = \"mine\"\n").unwrap();
    check(BOATHOUSE)
        .arg("--tables")
        .arg(&file)
        .assert()
        .code(2)
        .stderr(
            predicate::str::contains("mine.toml")
                .and(predicate::str::contains("copy of the shipped")),
        );
}
