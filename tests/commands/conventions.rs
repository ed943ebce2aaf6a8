//! What people are used to from other programs: help with examples, completions, manual pages, exit
//! statuses, JSON, colours only where they are wanted.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn bothhands(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bothhands"));
    command.args(arguments);
    command
}

fn said(arguments: &[&str]) -> String {
    let output = bothhands(arguments).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {output:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn commands() -> Vec<String> {
    let help = said(&["-h"]);
    let listed = help
        .split("Commands:")
        .nth(1)
        .unwrap()
        .split("Options:")
        .next()
        .unwrap();
    let first = |line: &str| {
        line.strip_prefix("  ")
            .filter(|l| !l.starts_with(' '))
            .map(first_word)
    };
    let all: Vec<String> = listed
        .lines()
        .filter_map(first)
        .filter(|c| c != "help")
        .collect();
    assert!(all.len() >= 16, "{all:?}");
    all
}

fn first_word(line: &str) -> String {
    line.split_whitespace().next().unwrap().to_owned()
}

#[test]
fn each_command_has_examples_in_its_long_help_that_its_options_take() {
    for command in commands() {
        let long = said(&[&command, "--help"]);
        let short = said(&[&command, "-h"]);
        // Words: the short one is set in columns, with spaces between.
        let words = |text: &str| text.split_whitespace().count();
        assert!(words(&short) < words(&long), "{command}: -h is not shorter");
        let examples = long
            .split("Examples:")
            .nth(1)
            .unwrap_or_else(|| panic!("{command}: none"));
        let mut tried = 0;
        for example in examples
            .lines()
            .filter_map(|line| line.trim().strip_prefix("bothhands "))
        {
            let words = example.split(" > ").next().unwrap().split_whitespace();
            for option in words.filter(|word| word.starts_with("--")) {
                assert!(long.contains(option), "{command}: {option} in {example}");
            }
            tried += 1;
        }
        assert!(tried > 0, "{command}");
    }
}

/// `GUIDE=write` writes it anew.
#[test]
fn exit_statuses_and_environment_stand_in_the_help_and_in_the_guide() {
    let help = said(&["--help"]);
    let general =
        &help[help.find("Exit status:").unwrap()..help.find("Every command has").unwrap()];
    let general = format!("```text\n{}\n```\n", general.trim());
    let path = "demo/README.md";
    let guide = fs::read_to_string(path).unwrap();
    let (begin, end) = ("<!-- general:begin -->\n", "<!-- general:end -->");
    let from = guide.find(begin).unwrap() + begin.len();
    let to = guide.find(end).unwrap();
    if std::env::var("GUIDE").is_ok_and(|v| v == "write") {
        fs::write(path, format!("{}{general}{}", &guide[..from], &guide[to..])).unwrap();
        return;
    }
    assert_eq!(
        &guide[from..to],
        general,
        "GUIDE=write cargo test --test it conventions"
    );
}

#[test]
fn shells_complete_and_pages_are_made_for_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let script = said(&["completions", shell]);
        for command in commands() {
            assert!(script.contains(&command), "{shell}: {command}");
        }
    }
    let dir = tempfile::tempdir().unwrap();
    said(&["man", "--out", dir.path().to_str().unwrap()]);
    let page = fs::read_to_string(dir.path().join("bothhands.1")).unwrap();
    assert_eq!(page, said(&["man"]));
    assert!(
        page.contains("Exit status") && page.contains("NO\\_COLOR") | page.contains("NO_COLOR"),
        "{page}"
    );
    for command in commands() {
        let page = fs::read_to_string(dir.path().join(format!("bothhands-{command}.1"))).unwrap();
        assert!(page.contains("bothhands"), "{command}");
    }
}

/// A log with two typed answers.
fn log() -> (TempDir, String) {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(
        "tests/dialogues/jobs/radial.toml",
        dir.path().join("job.toml"),
    )
    .unwrap();
    fs::write(dir.path().join("words.txt"), "done\nproved\n").unwrap();
    bothhands(&["test", "job.toml", "--words", "words.txt"])
        .current_dir(dir.path())
        .assert()
        .success();
    let log = dir.path().join("job.db").display().to_string();
    (dir, log)
}

fn json(arguments: &[&str]) -> Value {
    let output = bothhands(arguments).output().unwrap();
    serde_json::from_slice(&output.stdout).unwrap_or_else(|why| panic!("{why}: {output:?}"))
}

#[test]
fn what_is_listed_is_given_as_json_too() {
    let (dir, log) = log();
    let verified = json(&["verify", &log, "--json"]);
    assert_eq!(verified["whole"], true);
    assert_eq!(verified["events"].as_u64(), Some(4));
    let head = verified["heads"][0].as_str().unwrap().to_owned();
    let held = json(&[
        "verify",
        &log,
        "--json",
        "--head",
        head.split(' ').next().unwrap(),
    ]);
    assert_eq!(held["holds_head"], true, "{head}");
    let second = dir.path().join("copy.db");
    fs::copy(&log, &second).unwrap();
    let both = dir.path().join("both.db").display().to_string();
    let merged = json(&[
        "merge",
        &log,
        second.to_str().unwrap(),
        "-o",
        &both,
        "--json",
    ]);
    assert_eq!(
        merged["shared"].as_u64(),
        merged["events"].as_u64(),
        "{merged}"
    );
    let folder = dir.path().display().to_string();
    let ready = json(&[
        "doctor",
        "--json",
        "--no-microphone",
        "--no-voice",
        "--folder",
        &folder,
    ]);
    assert_eq!(ready["findings"].as_array().unwrap().len(), 5, "{ready}");
    let output = bothhands(&["devices", "--json"]).output().unwrap();
    if output.status.success() || output.status.code() == Some(1) {
        assert!(
            serde_json::from_slice::<Value>(&output.stdout)
                .unwrap()
                .is_array()
        );
    }
}

#[test]
fn a_circuit_that_is_not_there_is_an_error_that_names_those_that_are() {
    let (_dir, log) = log();
    let output = bothhands(&["log", &log, "--circuit", "99"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let why = String::from_utf8(output.stderr).unwrap();
    assert!(
        why.contains("no circuit 99") && why.contains("there are"),
        "{why}"
    );
}

#[test]
fn a_job_is_read_from_standard_input() {
    let text = fs::read_to_string("tests/dialogues/jobs/radial.toml").unwrap();
    let dash = bothhands(&["check", "-"])
        .write_stdin(text)
        .output()
        .unwrap();
    let file = bothhands(&["check", "tests/dialogues/jobs/radial.toml"])
        .output()
        .unwrap();
    assert!(dash.status.success());
    assert_eq!(dash.stdout, file.stdout);
    let output = bothhands(&["test", "-"]).write_stdin("").output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--db"));
    assert!(!Path::new("-.db").exists());
}

#[test]
fn without_a_voice_it_says_so_and_a_finished_job_says_what_comes_next() {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(
        "tests/dialogues/jobs/radial.toml",
        dir.path().join("job.toml"),
    )
    .unwrap();
    let silent = bothhands(&["test", "job.toml", "--words", "-", "--voice", "none"])
        .current_dir(dir.path())
        .write_stdin("finish\naffirm\n")
        .output()
        .unwrap();
    let told = String::from_utf8(silent.stderr).unwrap();
    assert!(
        told.contains("No voice: nothing is said and nothing shown"),
        "{told}"
    );
    assert!(told.contains("bothhands schedule job.db"), "{told}");
    assert!(silent.stdout.is_empty());
}

/// https://no-color.org: with NO_COLOR set to anything but nothing, no colour is added, even where another
/// variable asks for it.
#[test]
fn no_colour_is_added_where_no_color_is_set() {
    let (dir, _) = log();
    let shown = |no_color: Option<&str>| {
        let mut command = bothhands(&["test", "job.toml", "--words", "words.txt"]);
        command
            .args(["--db", "another.db", "--voice", "terminal"])
            .current_dir(dir.path())
            .env("CLICOLOR_FORCE", "1")
            .env_remove("NO_COLOR");
        if let Some(value) = no_color {
            command.env("NO_COLOR", value);
        }
        let output = command.output().unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    let coloured = shown(None);
    assert!(coloured.contains("\u{1b}["), "{coloured}");
    assert!(
        shown(Some("")).contains("\u{1b}["),
        "an empty value is none"
    );
    let plain = shown(Some("1"));
    assert!(!plain.contains('\u{1b}'), "{plain}");
    assert!(
        plain.contains("WARNING"),
        "the word stands, colour or not: {plain}"
    );
}

/// What takes its time says so on standard error where that is a terminal, and nowhere else.
#[test]
fn what_takes_its_time_says_so_on_a_terminal_only() {
    let (dir, log) = log();
    let page = dir.path().join("s.html").display().to_string();
    let piped = bothhands(&["schedule", &log, "--html", &page])
        .output()
        .unwrap();
    assert!(piped.status.success());
    assert!(!String::from_utf8_lossy(&piped.stderr).contains("reading the log"));
    let seen = on_a_terminal(&format!("schedule {log} --html {page} >/dev/null"), 80);
    assert!(
        seen.contains("reading the log") || seen.contains("making the pages"),
        "{seen:?}"
    );
}

/// What the program shows on a terminal of its own that has so many columns.
fn on_a_terminal(arguments: &str, columns: usize) -> String {
    crate::need("script", "bsdutils");
    crate::need("stty", "coreutils");
    let program = env!("CARGO_BIN_EXE_bothhands");
    let line = format!("stty rows 24 cols {columns} && {program} {arguments}");
    let seen = std::process::Command::new("script")
        .args(["-qec", &line, "/dev/null"])
        .env("TERM", "xterm")
        .stdin(std::process::Stdio::null())
        .output()
        .unwrap();
    String::from_utf8_lossy(&seen.stdout).into_owned()
}

#[test]
fn a_log_is_cut_between_words_where_the_terminal_is_narrow() {
    let (_dir, log) = log();
    let wide = said(&["log", &log]);
    let narrow = on_a_terminal(&format!("log {log}"), 50);
    let words =
        |text: &str| -> Vec<String> { text.split_whitespace().map(str::to_owned).collect() };
    assert_eq!(words(&narrow), words(&wide));
    let lines: Vec<&str> = narrow.lines().map(|line| line.trim_end()).collect();
    assert!(
        lines.iter().all(|line| line.chars().count() <= 50),
        "{narrow}"
    );
    assert!(lines.len() > wide.lines().count(), "{narrow}");
}

/// https://www.sqlite.org/fileformat.html: a database begins with its format's name.
#[test]
fn a_log_is_read_from_standard_input_as_export_writes_it() {
    let (dir, log) = log();
    let lines = said(&["export", &log]);
    let piped = |arguments: &[&str], lines: &[u8]| {
        let mut command = bothhands(arguments);
        command.current_dir(dir.path()).write_stdin(lines);
        command.output().unwrap()
    };
    let shown = piped(&["log", "-"], lines.as_bytes());
    assert_eq!(String::from_utf8_lossy(&shown.stdout), said(&["log", &log]));
    let verified = piped(&["verify", "-"], lines.as_bytes());
    let verified = String::from_utf8_lossy(&verified.stdout).into_owned();
    assert!(
        verified.contains("standard input: whole. 4 events"),
        "{verified}"
    );
    let csv = piped(&["schedule", "-", "--csv", "-"], lines.as_bytes());
    assert_eq!(
        String::from_utf8_lossy(&csv.stdout),
        said(&["schedule", &log, "--csv", "-"])
    );
    let wrong = [
        (
            piped(&["schedule", "-"], lines.as_bytes()),
            "name what to write",
        ),
        (
            piped(&["log", "-"], &fs::read(&log).unwrap()),
            "bothhands export",
        ),
        (piped(&["verify", "-"], b"what is this\n"), "standard input"),
        (piped(&["log", "-"], b""), "standard input"),
    ];
    for (ended, told) in wrong {
        assert_eq!(ended.status.code(), Some(2), "{ended:?}");
        let why = String::from_utf8_lossy(&ended.stderr).into_owned();
        assert!(why.contains(told), "{why}");
    }
    let there = fs::read_dir(dir.path()).unwrap();
    let there: Vec<_> = there.map(|entry| entry.unwrap().file_name()).collect();
    assert!(
        there
            .iter()
            .all(|name| !name.to_string_lossy().starts_with('-')),
        "{there:?}"
    );
}

#[test]
fn what_is_written_is_told_as_json_too() {
    let (dir, log) = log();
    let at = |name: &str| dir.path().join(name).display().to_string();
    let labels = json(&["labels", &log, "--html", &at("l.html"), "--json"]);
    assert_eq!(labels["wrote"], serde_json::json!([at("l.html")]));
    let packed = json(&["pack", &log, "-o", &at("all.zip"), "--json"]);
    assert_eq!(packed["wrote"], serde_json::json!([at("all.zip")]));
    assert_eq!(packed["heads"], json(&["verify", &log, "--json"])["heads"]);
    let exported = json(&["export", &log, "-o", &at("log.jsonl"), "--json"]);
    assert_eq!(
        (exported["events"].as_u64(), &exported["whole"]),
        (Some(4), &Value::Bool(true))
    );
    let imported = json(&["import", &at("log.jsonl"), "--db", &at("back.db"), "--json"]);
    assert_eq!(imported["events"], exported["events"]);
    assert_eq!(imported["already_there"], false);
    let forgot = json(&["forget-sound", &at("back.db"), "--all", "--json"]);
    assert_eq!(forgot["utterances"].as_u64(), Some(0), "{forgot}");
    // Nothing else goes where the JSON goes.
    for arguments in [
        &["labels", &log, "--html", "-", "--json"][..],
        &["pack", &log, "-o", "-", "--json"],
        &["export", &log, "-o", "-", "--json"],
    ] {
        bothhands(arguments)
            .assert()
            .code(2)
            .stdout("")
            .stderr(predicates::str::contains("leave --json out"));
    }
    for name in ["l.html", "all.zip", "log.jsonl"] {
        assert!(dir.path().join(name).is_file(), "{name}");
    }
}

#[test]
fn a_merged_log_goes_to_standard_output_as_export_does() {
    let (dir, log) = log();
    let copy = dir.path().join("copy.db").display().to_string();
    fs::copy(&log, &copy).unwrap();
    let piped = bothhands(&["merge", &log, &copy, "-o", "-"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert!(piped.status.success(), "{piped:?}");
    let lines = String::from_utf8(piped.stdout).unwrap();
    assert!(
        lines
            .lines()
            .all(|line| serde_json::from_str::<Value>(line).is_ok())
    );
    assert!(!dir.path().join("-").exists());
    let told = String::from_utf8_lossy(&piped.stderr).into_owned();
    assert!(told.contains("stood in more than one log"), "{told}");
    // What is piped is the same log that a file would hold.
    fs::write(dir.path().join("merged.jsonl"), lines).unwrap();
    said_in(&dir, &["import", "merged.jsonl", "--db", "back.db"]);
    said_in(&dir, &["merge", &log, &copy, "-o", "file.db"]);
    assert_eq!(
        said_in(&dir, &["log", "back.db"]),
        said_in(&dir, &["log", "file.db"])
    );
    bothhands(&["merge", &log, &copy, "-o", "-", "--json"])
        .assert()
        .code(2)
        .stderr(predicates::str::contains("leave --json out"));
}

fn said_in(dir: &TempDir, arguments: &[&str]) -> String {
    let output = bothhands(arguments)
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}
