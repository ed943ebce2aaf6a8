//! How a job begins: a new job file, and the configuration that it takes from.

use assert_cmd::Command;
use bothhands::installation::Job;
use predicates::prelude::*;
use predicates::str::contains;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::process::Stdio;
use tempfile::TempDir;

pub fn bothhands(folder: &TempDir, args: &[&str]) -> Command {
    let mut command = Command::cargo_bin("bothhands").unwrap();
    command
        .current_dir(folder.path())
        .env("XDG_CONFIG_HOME", folder.path().join("settings"))
        .env_remove("BOTHHANDS_CONFIG")
        .args(args);
    command
}

#[test]
fn an_interview_is_answered_by_voice_and_names_are_typed() {
    crate::need("espeak-ng", "espeak-ng");
    crate::need("sox", "sox");
    let folder = folder();
    let said = [
        "new work",
        "t n c s",
        "one",
        "solar and battery",
        "water and gas",
        "circuit three ring thirty two amp b rcbo eight sockets",
        "circuit four lighting six amp b six lights",
        "change circuit four ten amp c",
        "one hundred milliamp r c d over all circuits",
        "done",
        "six kiloamps",
    ];
    let mut args = vec!["new".to_owned(), "--ask".to_owned(), "--sound".to_owned()];
    for (n, words) in said.iter().enumerate() {
        let file = folder.path().join(format!("{n}.wav"));
        let made = std::process::Command::new("tests/dialogues/speak.sh")
            .arg(&file)
            .args(["0", *words])
            .status();
        assert!(made.unwrap().success(), "{words}");
        args.push(file.display().to_string());
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    bothhands(&folder, &args)
        .write_stdin(
            "Kingfisher Rowing Club\nA. Learner\nIT-2204, 31 March 2027\nVI-0117\nboat bay board\n",
        )
        .assert()
        .success()
        .stderr(contains(
            "Circuit 3, sockets; ring; BS EN 61009 B 32 A; RCD 30 mA",
        ));
    let job = Job::load(&folder.path().join("job.toml")).unwrap();
    assert_eq!(job.tester, "A. Learner");
    assert_eq!(job.supply.bonds, ["water", "gas"]);
    assert_eq!(job.boards[0].rcds[0].written(), "RCD 1: 100 mA");
    let circuits = &job.boards[0].circuits;
    assert_eq!((circuits[0].number, circuits[0].points.len()), (3, 8));
    let device = circuits[1].device.as_ref().unwrap();
    assert_eq!(device.kind.to_string(), "BS EN 60898 C");
    assert_eq!((device.amps, device.breaking_ka), (10.0, Some(6.0)));
}

fn folder() -> TempDir {
    tempfile::tempdir().unwrap()
}

#[test]
fn a_template_says_what_is_to_be_filled_in_and_is_never_written_over_anything() {
    let folder = folder();
    bothhands(&folder, &["new"])
        .assert()
        .success()
        .stdout(contains("11 values").and(contains("bothhands check job.toml")));
    bothhands(&folder, &["check", "job.toml"])
        .assert()
        .code(2)
        .stderr(contains("tester: fill this in: who tests"));
    let before = fs::read(folder.path().join("job.toml")).unwrap();
    bothhands(&folder, &["new"])
        .assert()
        .code(2)
        .stderr(contains("job.toml: this is there already"));
    assert_eq!(fs::read(folder.path().join("job.toml")).unwrap(), before);
    bothhands(&folder, &["new", "-"])
        .assert()
        .success()
        .stdout(before);
}

#[test]
fn circuits_come_from_a_table() {
    let folder = folder();
    let table = "points,name,kind,device,amps,rcd,sizes,metres,number\n\
                 8 sockets,downstairs,ring,B RCBO,32,30,2.5/1.5,54,1\n\
                 6 lights,up,lighting,B,6,,1.5/1,31,2\n";
    bothhands(&folder, &["new", "house.toml", "--from", "-"])
        .write_stdin(table)
        .assert()
        .success()
        .stderr(contains("Circuit 1, downstairs; ring; BS EN 61009 B 32 A; RCD 30 mA; 2.5/1.5 mm², 54 m; 8 sockets."));
    let text = fs::read_to_string(folder.path().join("house.toml")).unwrap();
    assert!(
        text.contains("sockets = 8") && text.contains("lights = 6"),
        "{text}"
    );
    fs::write(
        folder.path().join("bad.csv"),
        "number,kind,device\n1,socket,B32\n",
    )
    .unwrap();
    bothhands(&folder, &["new", "bad.toml", "--from", "bad.csv"])
        .assert()
        .code(2)
        .stderr(contains("bad.csv:2: column \"kind\""));
    assert!(!folder.path().join("bad.toml").exists());
    bothhands(&folder, &["new", "bad.toml", "--from", "none.csv"])
        .assert()
        .code(2)
        .stderr(contains("none.csv"));
}

#[test]
fn an_interview_gives_a_job_that_passes_the_check() {
    let folder = folder();
    let answers = "Kingfisher Rowing Club\nsometimes\nnew\nA. Learner\nPME\n1\nnone\nnone\n\
                   IT-2204, 2030-03-31\nVI-0117\nworkshop board\n\
                   circuit three, ring, thirty-two amp B, RCBO, eight sockets\n\
                   4, radial, 16 B, rcbo 30, 4 sockets, 2.5/1.5, 18 m\n\
                   5, radail, B6\nchange 4: 20 amp\n6, cooker, B32\nremove 6\ndone\n";
    bothhands(&folder, &["new", "--ask"])
        .write_stdin(answers)
        .assert()
        .success()
        .stderr(
            contains("Not taken: `sometimes`")
                .and(contains("did you mean \"radial\"?"))
                .and(contains("Circuit 4, sockets; radial; BS EN 61009 B 20 A")),
        )
        .stdout(contains("Next: `bothhands check job.toml`"));
    bothhands(&folder, &["check", "job.toml"])
        .assert()
        .success();
    let job = Job::load(&folder.path().join("job.toml")).unwrap();
    let circuits = &job.boards[0].circuits;
    assert_eq!(circuits.len(), 2);
    assert_eq!(circuits[0].points.len(), 8);
}

#[test]
fn an_interview_that_ends_early_leaves_what_was_said_and_marks_the_rest() {
    let folder = folder();
    bothhands(&folder, &["new", "--ask"])
        .write_stdin("the boathouse\nperiodic\n")
        .assert()
        .success()
        .stderr(contains("what is missing is marked"));
    let text = fs::read_to_string(folder.path().join("job.toml")).unwrap();
    assert!(
        text.contains("kind = \"periodic-inspection\"") && text.contains("FILL IN"),
        "{text}"
    );
}

/// An interview at a keyboard that stays: what was typed so far, then Ctrl-C.
#[test]
fn an_interview_that_is_broken_off_is_written_as_far_as_it_went() {
    crate::need("kill", "procps");
    let folder = folder();
    let mut asking = std::process::Command::new(env!("CARGO_BIN_EXE_bothhands"))
        .args(["new", "--ask"])
        .current_dir(folder.path())
        .env("XDG_CONFIG_HOME", folder.path().join("settings"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut keyboard = asking.stdin.take().unwrap();
    keyboard
        .write_all(b"the boathouse\nperiodic\nA. Learner\n")
        .unwrap();
    let mut told = BufReader::new(asking.stderr.take().unwrap());
    let mut seen = String::new();
    while !seen.contains("How is it earthed?") {
        assert!(told.read_line(&mut seen).unwrap() > 0, "{seen}");
    }
    let broken = std::process::Command::new("kill")
        .args(["-INT", &asking.id().to_string()])
        .status();
    assert!(broken.unwrap().success());
    told.read_to_string(&mut seen).unwrap();
    let ended = asking.wait_with_output().unwrap();
    drop(keyboard);
    assert_eq!(ended.status.code(), Some(0), "{seen}");
    assert!(seen.contains("what you answered is written"), "{seen}");
    let out = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(out.contains("Written to job.toml"), "{out}");
    let text = fs::read_to_string(folder.path().join("job.toml")).unwrap();
    for line in [
        "name = \"the boathouse\"",
        "kind = \"periodic-inspection\"",
        "tester = \"A. Learner\"",
        "earthing = \"FILL IN",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
}

#[test]
fn socket_outlets_are_remarked_where_there_are_some_or_nobody_said() {
    let remarked = |circuit: &str| {
        let folder = folder();
        let answers = format!(
            "the boathouse\nnew\nA. Learner\nPME\n1\nnone\nnone\nIT-2204, 2030-03-31\nVI-0117\n\
             workshop board\n{circuit}\ndone\nlater\n"
        );
        bothhands(&folder, &["new", "--ask"])
            .write_stdin(answers)
            .assert()
            .success();
        let checked = bothhands(&folder, &["check", "job.toml"]).output().unwrap();
        assert!(checked.status.success(), "{circuit}: {checked:?}");
        String::from_utf8_lossy(&checked.stdout).contains("socket-outlets up to")
    };
    assert!(remarked("1, radial, B16, 2.5/1.5, 4 sockets"));
    assert!(remarked("1, pump, radial, B16, 2.5/1.5"));
    assert!(!remarked("1, pump, radial, B16, 2.5/1.5, 1 pump"));
    assert!(!remarked("1, smoke alarms, B6, 1.5/1, 3 smoke alarms"));
}

#[test]
fn the_configuration_fills_a_new_job_and_says_where_it_is() {
    let folder = folder();
    bothhands(&folder, &["config"])
        .assert()
        .success()
        .stdout(contains("settings/bothhands/config.toml").and(contains("no such file yet")));
    let place = folder.path().join("settings/bothhands");
    fs::create_dir_all(&place).unwrap();
    let text = "tester = 'A. Learner'\nvoice = 'terminal'\n\
                [[instrument]]\nname = 'tester'\nserial = 'IT-9'\ncalibration_due = 2030-01-31\nused_for = ['zs']\n";
    fs::write(place.join("config.toml"), text).unwrap();
    bothhands(&folder, &["config", "--json"])
        .assert()
        .success()
        .stdout(contains("\"tester\": \"A. Learner\"").and(contains("\"exists\": true")));
    bothhands(&folder, &["new"]).assert().success();
    let job = fs::read_to_string(folder.path().join("job.toml")).unwrap();
    assert!(
        job.contains("tester = \"A. Learner\"") && job.contains("serial = \"IT-9\""),
        "{job}"
    );
    fs::write(folder.path().join("other.toml"), "testr = 'B'\n").unwrap();
    for args in [&["config"][..], &["new", "another.toml"]] {
        bothhands(&folder, args)
            .env("BOTHHANDS_CONFIG", folder.path().join("other.toml"))
            .assert()
            .code(2)
            .stderr(contains("other.toml:1: `testr` is not a key").and(contains("`tester`")));
    }
    bothhands(&folder, &["config"])
        .env("BOTHHANDS_CONFIG", "gone.toml")
        .assert()
        .code(2)
        .stderr(contains("gone.toml").and(contains("BOTHHANDS_CONFIG")));
}

#[test]
fn a_slip_in_the_configuration_keeps_no_record_and_no_work_that_was_begun_back() {
    let folder = folder();
    let job = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/boathouse.toml");
    fs::write(folder.path().join("words.txt"), "done\nwhere are we\n").unwrap();
    let test = ["test", job, "--db", "s.db", "--words", "words.txt"];
    bothhands(&folder, &test).assert().success();
    let slip = |text: &str| fs::write(folder.path().join("c.toml"), text).unwrap();
    let with = |args: &[&str]| {
        let mut command = bothhands(&folder, args);
        command.env("BOTHHANDS_CONFIG", folder.path().join("c.toml"));
        command.assert()
    };
    for (text, told) in [
        ("testr = 'A'\n", "c.toml:1: `testr` is not a key"),
        ("rate =\n", "c.toml:1:"),
        ("logo = 'gone.png'\nprofile = 'gone.toml'\n", "gone."),
    ] {
        slip(text);
        with(&test)
            .success()
            .stderr(contains(told).and(contains("It goes on")));
        with(&["schedule", "s.db", "--html", "s.html"])
            .success()
            .stderr(contains(told).and(contains("It goes on")));
        fs::remove_file(folder.path().join("s.html")).unwrap();
    }
    // What was given is asked for, and is no slip.
    slip("");
    with(&["schedule", "s.db", "--html", "s.html", "--logo", "gone.png"])
        .code(2)
        .stderr(contains("gone.png: this is no logo"));
}

#[test]
fn how_the_program_speaks_comes_from_the_configuration_unless_it_is_given() {
    let folder = folder();
    let job = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/boathouse.toml");
    fs::write(
        folder.path().join("c.toml"),
        "voice = 'none'\nprofile = 'gone.toml'\n",
    )
    .unwrap();
    fs::write(folder.path().join("words.txt"), "where are we\n").unwrap();
    let test = ["test", job, "--db", "s.db", "--words", "words.txt"];
    bothhands(&folder, &test)
        .env("BOTHHANDS_CONFIG", folder.path().join("c.toml"))
        .assert()
        .code(2)
        .stderr(contains("gone.toml: can't read the profile"));
    fs::write(folder.path().join("c.toml"), "voice = 'none'\n").unwrap();
    bothhands(&folder, &test)
        .env("BOTHHANDS_CONFIG", folder.path().join("c.toml"))
        .assert()
        .success()
        .stdout("");
    bothhands(&folder, &test)
        .env("BOTHHANDS_CONFIG", folder.path().join("c.toml"))
        .args(["--voice", "terminal"])
        .assert()
        .success()
        .stdout(contains("you:  where are we"));
}

#[test]
fn alone_it_lists_the_jobs_of_the_folder_and_what_comes_next() {
    let folder = folder();
    bothhands(&folder, &[])
        .assert()
        .success()
        .stdout(contains("no job in this folder").and(contains("bothhands new")));
    let job = include_str!("../../tests/jobs/boathouse.toml");
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("a.toml", job);
    write("b.toml", job);
    write("c.toml", &job.replace("TN-C-S", "TN-X"));
    write("not-a-job.toml", "colour = 'blue'\n");
    write("other.db", "no log at all");
    write(
        "words.txt",
        "done\nmain earthing conductor off\nearthing conductor off\n",
    );
    bothhands(
        &folder,
        &["test", "b.toml", "--words", "words.txt", "--voice", "none"],
    )
    .assert()
    .success();
    fs::rename(folder.path().join("words.txt"), folder.path().join("w")).unwrap();
    bothhands(&folder, &[]).assert().success().stdout(
        contains(
            "a.toml: Boathouse, new wiring\n  not begun, 6 circuits\n  next: bothhands test a.toml",
        )
        .and(contains(
            "b.toml: Boathouse, new wiring\n  0 of 6 circuits done. Out: earthing conductor",
        ))
        .and(contains("Last touched"))
        .and(contains("c.toml\n  line 11: earthing: `TN-X`"))
        .and(contains("next: bothhands check c.toml"))
        .and(contains("not-a-job").not())
        .and(contains("other.db").not()),
    );
    let output = bothhands(&folder, &["--json"]).output().unwrap();
    let all: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(all.as_array().unwrap().len(), 3, "{all}");
    assert_eq!(all[1]["circuits"], 6);
    assert_eq!(all[1]["out"], 1);
    assert_eq!(all[1]["log"], "b.db");
    // A log is listed without its job file too.
    fs::remove_file(folder.path().join("b.toml")).unwrap();
    bothhands(&folder, &[]).assert().success().stdout(
        contains("b.db: Boathouse, new wiring")
            .and(contains("next: bothhands test a.toml --db b.db")),
    );
    fs::remove_file(folder.path().join("a.toml")).unwrap();
    bothhands(&folder, &[])
        .assert()
        .success()
        .stdout(contains("next: bothhands test JOB --db b.db"));
}
