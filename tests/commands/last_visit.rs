//! The last visit: a job made from its log, and what reads otherwise now.

use super::begin::bothhands;
use ::bothhands::report::{PRACTICE_OF, RECORD_OF};
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

/// Where the last visit left a schedule and no log.
#[test]
fn a_job_is_made_of_the_last_schedule_and_its_readings_stand_beside_todays() {
    let folder = tempfile::tempdir().unwrap();
    let job = Path::new("tests/dialogues/jobs/live-retest.toml");
    fs::copy(job, folder.path().join("job.toml")).unwrap();
    visit(&folder, "job.toml", "last.db", "0.62", "23");
    visit(&folder, "job.toml", "now.db", "0.94", "24");
    bothhands(&folder, &["schedule", "last.db", "--csv", "last.csv"])
        .assert()
        .success();
    // As with two logs: 0.62 and 0.94 are further apart than two instruments explain.
    bothhands(&folder, &["changed", "last.csv", "now.db"])
        .assert()
        .success()
        .stdout(
            contains("1 not explained")
                .and(contains("Zs ohm: 0.62 last time, 0.94 now: NOT explained"))
                .and(contains(
                    "RCD rated ms: 23 last time, 24 now: within the accuracy",
                ))
                .and(contains("Ipf kA: 1.3 last time, 1.3 now: within")),
        );
    bothhands(&folder, &["new", "again.toml", "--last", "last.csv"])
        .assert()
        .success()
        .stderr(contains("A schedule does not tell all of a job"));
    let text = fs::read_to_string(folder.path().join("again.toml")).unwrap();
    for wanted in [
        "kind = \"periodic-inspection\"",
        "earthing = \"TN-C-S\"",
        "name = \"office board\"",
        "name = \"office sockets\"",
        "line_mm2 = 2.5",
        "metres = 20",
        "milliamps = 30",
    ] {
        assert!(text.contains(wanted), "{wanted}\n{text}");
    }
    // What can't be taken is told with its line and column, and the rest of the job is written.
    let schedule = fs::read_to_string(folder.path().join("last.csv")).unwrap();
    for (n, (what, instead, told)) in [
        (
            ",RCD mA,",
            ",RCD milliamps,",
            "odd.csv:1: left out, add it by hand: column \"RCD milliamps\" is none that a schedule has",
        ),
        (
            ",RCD mA,",
            ",RCD milliamps,",
            "odd.csv:1: left out, add it by hand: there is no column \"RCD mA\"",
        ),
        (
            ",protected by RCD,",
            ",protected by RCDs,",
            "did you mean \"protected by RCD\"?",
        ),
        (
            ",20,6,30,",
            ",20,6,x30,",
            "odd.csv:2: left out, add it by hand: column \"RCD mA\": `x30` is no residual current",
        ),
    ]
    .into_iter()
    .enumerate()
    {
        assert!(schedule.contains(what), "{what}\n{schedule}");
        let odd = schedule.replacen(what, instead, 1);
        fs::write(folder.path().join("odd.csv"), odd).unwrap();
        let file = format!("odd-{n}.toml");
        bothhands(&folder, &["new", &file, "--last", "odd.csv"])
            .assert()
            .code(2)
            .stdout(contains("left out above"))
            .stderr(contains(told));
        let text = fs::read_to_string(folder.path().join(file)).unwrap();
        assert!(text.contains("name = \"office sockets\""), "{text}");
    }
    for (name, text, why) in [
        (
            "table.csv",
            "number,kind,device\n1,ring,B32\n",
            "this is no schedule",
        ),
        (
            "text.csv",
            "nothing of the kind, whatever it is\n",
            "this is no schedule",
        ),
    ] {
        fs::write(folder.path().join(name), text).unwrap();
        bothhands(&folder, &["new", "other.toml", "--last", name])
            .assert()
            .code(2)
            .stderr(contains(why));
        bothhands(&folder, &["changed", name, "now.db"])
            .assert()
            .code(2)
            .stderr(contains("neither a log nor a schedule as CSV"));
    }
    let practice = fs::read_to_string(folder.path().join("last.csv"))
        .unwrap()
        .replace(RECORD_OF, PRACTICE_OF);
    fs::write(folder.path().join("practice.csv"), practice).unwrap();
    bothhands(&folder, &["new", "other.toml", "--last", "practice.csv"])
        .assert()
        .code(2)
        .stderr(contains("nothing was tested"));
    assert!(!folder.path().join("other.toml").exists());
}
