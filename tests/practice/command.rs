//! `practise` and `mark` as they are started.

use super::learner::{JOB, Learner};
use assert_cmd::Command;
use bothhands::practice::Hidden;
use bothhands::terms::{FaultKind, Level};
use std::path::{Path, PathBuf};

fn bothhands(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::cargo_bin("bothhands").unwrap();
    command.current_dir(folder).args(args);
    command
}

const FAULTS: &str = "seed = 7\n\n[[fault]]\nkind = \"open-leg\"\ncircuit = 1\nplace = \"socket 2\"\nconductor = \"N\"\n";

/// A folder with the job, the faults, and what a learner says who goes through it.
fn folder() -> (tempfile::TempDir, usize) {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| -> PathBuf { folder.path().join(name) };
    std::fs::write(at("bay.toml"), JOB).unwrap();
    std::fs::write(at("faults.toml"), FAULTS).unwrap();
    let hidden = Hidden::load(&at("faults.toml")).unwrap();
    let mut learner = Learner::begin(JOB, hidden, Level::Silent, None);
    learner.diagnosis =
        vec!["the fault is open leg of the neutral at socket two on circuit one".to_owned()];
    learner.go_to_the_end();
    let words: Vec<&str> = learner
        .diary
        .iter()
        .filter_map(|line| line.strip_prefix("> "))
        .collect();
    std::fs::write(at("words.txt"), words.join("\n")).unwrap();
    let half = words.len() / 2;
    std::fs::write(at("half.txt"), words[..half].join("\n")).unwrap();
    std::fs::write(at("rest.txt"), words[half..].join("\n")).unwrap();
    (folder, words.len())
}

/// Half of an examination is typed, the program ends, and the other half is typed: the same as without
/// a break. Then it is marked.
#[test]
fn an_examination_is_typed_taken_up_and_marked() {
    let (folder, said) = folder();
    let examine = |words: &str| {
        let args = [
            "practise",
            "bay.toml",
            "--faults",
            "faults.toml",
            "--level",
            "silent",
            "--learner",
            "Kim",
            "--words",
            words,
            "--voice",
            "terminal",
        ];
        let out = bothhands(folder.path(), &args).assert().success();
        String::from_utf8(out.get_output().stdout.clone()).unwrap()
    };
    let first = examine("half.txt");
    assert!(first.contains("instrument: "), "{first}");
    assert!(
        !first.contains("What comes next?") && !first.contains("Say the reading"),
        "{first}"
    );
    assert!(!folder.path().join("bay.db").exists());
    let rest = examine("rest.txt");
    assert!(rest.contains("Finished."), "{rest}");
    assert!(
        rest.contains("What was hidden stands on the sheet"),
        "{rest}"
    );
    assert!(said > 100);
    let marked = bothhands(folder.path(), &["mark", "bay.practice.db", "--json"])
        .assert()
        .success();
    let sheet: serde_json::Value = serde_json::from_slice(&marked.get_output().stdout).unwrap();
    assert_eq!(sheet["learner"], "Kim");
    assert_eq!(sheet["diagnosis"]["kinds"], 1);
    assert_eq!(sheet["diagnosis"]["places"], 1);
    assert_eq!(sheet["passed"], true, "{sheet:#}");
    bothhands(
        folder.path(),
        &[
            "mark",
            "bay.practice.db",
            "bay.practice.db",
            "--out",
            "marks",
        ],
    )
    .assert()
    .success();
    for name in [
        "group.marks.html",
        "group.marks.pdf",
        "group.marks.csv",
        "bay.practice.marks.html",
        "bay.practice-2.marks.pdf",
    ] {
        assert!(folder.path().join("marks").join(name).exists(), "{name}");
    }
}

/// A log of practice is no log of a test, and the other way round; faults are those that it was begun
/// with.
#[test]
fn practice_and_test_are_kept_apart() {
    let (folder, _) = folder();
    let practise = |more: &[&str]| {
        let args = [
            &[
                "practise", "bay.toml", "--words", "half.txt", "--db", "p.db",
            ],
            more,
        ]
        .concat();
        bothhands(folder.path(), &args)
    };
    practise(&["--seed", "3"]).assert().success();
    for (mut command, why) in [
        (practise(&["--seed", "4"]), "other faults"),
        (
            bothhands(
                folder.path(),
                &["test", "bay.toml", "--words", "half.txt", "--db", "p.db"],
            ),
            "bothhands practise",
        ),
    ] {
        let out = command.assert().failure();
        let told = String::from_utf8(out.get_output().stderr.clone()).unwrap();
        assert!(told.contains(why), "{told}");
    }
    let schedule = bothhands(folder.path(), &["schedule", "p.db", "--csv", "-"])
        .assert()
        .success();
    let csv = String::from_utf8(schedule.get_output().stdout.clone()).unwrap();
    assert!(csv.contains("PRACTICE"), "{csv}");
}

/// What is wrong with a file of faults or criteria is told, and nothing is begun.
#[test]
fn a_slip_in_a_file_of_an_instructor_is_told() {
    let (folder, _) = folder();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    for (text, why) in [
        ("[[fault]]\nkind = \"open-legs\"\n", "open-leg"),
        ("[[fault]]\nkind = \"open-leg\"\ncircuit = 2\n", "ring"),
        ("[[faults]]\n", "fault"),
        ("not toml", "TOML"),
    ] {
        write("bad.toml", text);
        let args = [
            "practise", "bay.toml", "--faults", "bad.toml", "--words", "half.txt",
        ];
        let out = bothhands(folder.path(), &args).assert().failure();
        let told = String::from_utf8(out.get_output().stderr.clone()).unwrap();
        assert!(told.contains(why), "{text}: {told}");
        assert!(!folder.path().join("bay.practice.db").exists());
    }
    write("criteria.toml", "[weight]\nreading = 3\n");
    let args = ["mark", "bay.practice.db", "--criteria", "criteria.toml"];
    let out = bothhands(folder.path(), &args).assert().failure();
    let told = String::from_utf8(out.get_output().stderr.clone()).unwrap();
    assert!(told.contains("readings"), "{told}");
}

/// Both parts of the demo, by ear: the learner of the second reads what is shown, forgets a neutral, is
/// marked down for that alone, and names what is hidden; the refusal stands on the sheet with its
/// sound.
#[test]
fn the_demo_comes_to_its_end_and_the_learner_is_marked() {
    let folder = tempfile::tempdir().unwrap();
    let out = bothhands(folder.path(), &["demo", "--out", "out"])
        .assert()
        .success();
    let told = String::from_utf8(out.get_output().stdout.clone()).unwrap();
    assert_eq!(told.matches("Finished. The log holds").count(), 2, "{told}");
    let marked = bothhands(folder.path(), &["mark", "out/learner.db", "--json"])
        .assert()
        .success();
    let sheet: serde_json::Value = serde_json::from_slice(&marked.get_output().stdout).unwrap();
    for judged in sheet["readings"].as_array().unwrap() {
        assert_eq!(judged["judgement"], "as-shown", "{judged:#}");
    }
    let lapsed: Vec<&str> = sheet["lapses"]
        .as_array()
        .unwrap()
        .iter()
        .map(|lapse| lapse["criterion"].as_str().unwrap())
        .collect();
    assert_eq!(lapsed, ["help", "put-back"], "{sheet:#}");
    assert_eq!(sheet["diagnosis"]["places"], 1);
    let page = std::fs::read_to_string(folder.path().join("out/learner.marks.html")).unwrap();
    assert!(page.contains("data:audio/flac;base64,"));
}

/// The guide lists each kind of fault as it is written in a file, and as it is said aloud.
#[test]
fn the_guide_lists_every_kind_of_fault() {
    let guide = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/guide/practice.md");
    let guide = std::fs::read_to_string(guide).unwrap();
    let listed = guide.split("Kinds: ").nth(1).unwrap();
    let (written, listed) = listed.split_once("Said aloud: ").unwrap();
    let said = listed.split_once(". ").unwrap().0.to_lowercase();
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    let said: Vec<&str> = said.split(", ").collect();
    let without_hint = |one: &&str| one.split(" (").next().unwrap().to_owned();
    let said: Vec<String> = said.iter().map(without_hint).collect();
    let spoken = |kind: FaultKind| kind.spoken().replace("r c d", "rcd");
    assert_eq!(said, FaultKind::ALL.map(spoken));
    let written: Vec<&str> = written.split('`').skip(1).step_by(2).collect();
    let named = |kind: FaultKind| {
        let name = serde_json::to_value(kind).unwrap();
        name.as_str().unwrap().to_owned()
    };
    assert_eq!(written, FaultKind::ALL.map(named));
}

/// A sheet of words, said one after the other; what the program answers.
fn said(folder: &Path, words: &str, more: &[&str]) -> String {
    std::fs::write(folder.join("said.txt"), words).unwrap();
    let args = [
        &[
            "practise", "bay.toml", "--words", "said.txt", "--voice", "terminal", "--db", "said.db",
        ],
        more,
    ]
    .concat();
    let out = bothhands(folder, &args).assert().success();
    String::from_utf8(out.get_output().stdout.clone()).unwrap()
}

/// An instrument shows what is there while the session waits, and a link on what nobody has switched off is warned
/// of, and comes to what a short circuit comes to.
#[test]
fn what_is_live_is_shown_while_paused_and_a_short_circuit_trips() {
    let (folder, _) = folder();
    let told = said(
        folder.path(),
        "pause the session\nprobe line to neutral on circuit two\nresume the session\n\
         line and neutral linked at socket one\nprobe voltage line to neutral at socket two on circuit one\n\
         breaker on again on circuit two\nbreaker on again on circuit one\n",
        &["--level", "led"],
    );
    let instrument: Vec<&str> = told
        .lines()
        .filter_map(|line| line.trim().strip_prefix("instrument: "))
        .collect();
    assert_eq!(instrument.len(), 2, "{told}");
    assert!(instrument[0].starts_with("Two "), "{told}");
    assert!(
        told.contains("Nobody has said that it is switched off")
            && told.contains("A short circuit was energised"),
        "{told}"
    );
    assert_eq!(instrument[1].to_lowercase(), "zero volts.", "{told}");
    // It is still joined.
    assert_eq!(
        told.matches("A short circuit was energised").count(),
        2,
        "{told}"
    );
    assert!(told.contains("Nothing has tripped there"), "{told}");
}

/// What is hidden in a practice that is not finished is given to whoever marks it, and not to be had without.
#[test]
fn an_unfinished_practice_is_marked_with_what_is_hidden_where_it_is_given() {
    let (folder, _) = folder();
    let examine = [
        "practise",
        "bay.toml",
        "--faults",
        "faults.toml",
        "--words",
        "half.txt",
    ];
    bothhands(folder.path(), &examine).assert().success();
    for (more, known) in [(&[][..], false), (&["--faults", "faults.toml"], true)] {
        let args = [&["mark", "bay.practice.db", "--json"], more].concat();
        let marked = bothhands(folder.path(), &args).assert().success();
        let sheet: serde_json::Value = serde_json::from_slice(&marked.get_output().stdout).unwrap();
        assert_eq!(sheet["finished"], false);
        assert_eq!(sheet["diagnosis"]["hidden"].is_array(), known, "{sheet:#}");
    }
    let args = ["mark", "bay.practice.db"];
    bothhands(folder.path(), &args).assert().success();
    let page = std::fs::read_to_string(folder.path().join("bay.practice.marks.html")).unwrap();
    assert!(page.contains("marked without what is hidden"));
}

/// `mark` prints heads; a log that does not hold the one that was written down is not marked.
#[test]
fn a_log_that_was_cut_off_is_told_by_its_head() {
    let (folder, _) = folder();
    let practise = |words: &str, db: &str| {
        let args = ["practise", "bay.toml", "--words", words, "--db", db];
        bothhands(folder.path(), &args).assert().success();
    };
    practise("half.txt", "kim.db");
    let marked = bothhands(folder.path(), &["mark", "kim.db"])
        .assert()
        .success();
    let told = String::from_utf8(marked.get_output().stdout.clone()).unwrap();
    let heads: Vec<&str> = told
        .lines()
        .filter(|l| l.starts_with("head kim.db "))
        .collect();
    assert_eq!(heads.len(), 1, "{told}");
    std::fs::write(folder.path().join("heads.txt"), heads.join("\n")).unwrap();
    // It went on: it holds what it held.
    practise("rest.txt", "kim.db");
    let held = ["mark", "kim.db", "--heads", "heads.txt"];
    bothhands(folder.path(), &held).assert().success();
    // Made anew under the same name.
    std::fs::remove_file(folder.path().join("kim.db")).unwrap();
    practise("half.txt", "kim.db");
    let out = bothhands(folder.path(), &held).assert().failure();
    let told = String::from_utf8(out.get_output().stderr.clone()).unwrap();
    assert!(told.contains("does not hold the head"), "{told}");
    for (text, why) in [
        ("kim.db\n", "a line holds"),
        ("other.db 26:0123abcd\n", "no head of it"),
    ] {
        std::fs::write(folder.path().join("heads.txt"), text).unwrap();
        let out = bothhands(folder.path(), &held).assert().failure();
        let told = String::from_utf8(out.get_output().stderr.clone()).unwrap();
        assert!(told.contains(why), "{text}: {told}");
    }
}

/// Every kind of job is practised: none is refused for what it has.
#[test]
fn no_job_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("words.txt"), "done\n").unwrap();
    for name in ["old-board", "references", "live-retest", "in-turn"] {
        let job = format!(
            "{}/tests/dialogues/jobs/{name}.toml",
            env!("CARGO_MANIFEST_DIR")
        );
        let db = format!("{name}.db");
        let args = [
            "practise",
            job.as_str(),
            "--words",
            "words.txt",
            "--db",
            db.as_str(),
        ];
        bothhands(folder.path(), &args).assert().success();
    }
}

/// Practice is no part of the record of an installation.
#[test]
fn practice_is_not_merged_with_a_test() {
    let (folder, _) = folder();
    let run = |args: &[&str]| bothhands(folder.path(), args);
    run(&[
        "practise", "bay.toml", "--words", "half.txt", "--db", "p.db",
    ])
    .assert()
    .success();
    run(&["test", "bay.toml", "--words", "half.txt", "--db", "t.db"])
        .assert()
        .success();
    let out = run(&["merge", "p.db", "t.db", "-o", "both.db"])
        .assert()
        .failure();
    let told = String::from_utf8(out.get_output().stderr.clone()).unwrap();
    assert!(
        told.contains("practice on a simulated installation: p.db"),
        "{told}"
    );
    assert!(!folder.path().join("both.db").exists());
}
