//! The last visit: a job made from its log, and what reads otherwise now.

use super::begin::bothhands;
use predicates::prelude::*;
use predicates::str::contains;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// A live re-test of one circuit, with these readings.
fn visit(folder: &TempDir, job: &str, db: &str, zs: &str, trip: &str) {
    let lines = format!("done\n1.2\n1.3\n{zs}\n{trip}\n{trip}\ntripped\nworks\ndone\nfinish\n");
    fs::write(folder.path().join("lines.txt"), lines).unwrap();
    let words = [
        "test",
        job,
        "--db",
        db,
        "--words",
        "lines.txt",
        "--voice",
        "none",
    ];
    bothhands(folder, &words).assert().success();
}

#[test]
fn a_job_is_made_of_the_last_visit_and_what_reads_otherwise_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let job = Path::new("tests/dialogues/jobs/live-retest.toml");
    fs::copy(job, folder.path().join("job.toml")).unwrap();
    visit(&folder, "job.toml", "last.db", "0.62", "23");
    visit(&folder, "job.toml", "now.db", "0.94", "24");
    // 0.62 and 0.94 differ by 0.32; allowed are 5 % of their sum, 0.078, and twice three hundredths.
    bothhands(&folder, &["changed", "last.db", "now.db"])
        .assert()
        .success()
        .stdout(
            contains("1 not explained")
                .and(contains("0.62 Ω last time, 0.94 Ω now: NOT explained"))
                .and(contains("23 ms last time, 24 ms now: within the accuracy")),
        );
    let json = bothhands(&folder, &["changed", "last.db", "now.db", "--json"])
        .assert()
        .success();
    let json = String::from_utf8(json.get_output().stdout.clone()).unwrap();
    assert!(json.contains("\"since\":\"not-explained\""), "{json}");

    bothhands(&folder, &["new", "again.toml", "--last", "last.db"])
        .assert()
        .success()
        .stdout(contains("periodic inspection").and(contains("bothhands changed last.db LOG")));
    bothhands(&folder, &["check", "again.toml"])
        .assert()
        .success();
    let text = fs::read_to_string(folder.path().join("again.toml")).unwrap();
    assert!(text.contains("kind = \"periodic-inspection\""), "{text}");
    bothhands(&folder, &["new", "again.toml", "--last", "last.db"])
        .assert()
        .code(2)
        .stderr(contains("this is there already"));
    bothhands(&folder, &["changed", "last.db", "nothing.db"])
        .assert()
        .failure();
}
