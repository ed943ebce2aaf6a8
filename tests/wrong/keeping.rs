//! Keeping and showing: what is read is whole, what was said is kept, and nothing is claimed that
//! the log can't bear.

use crate::looking_back::browser::ask;
use crate::looking_back::rehearsal::{Rehearsal, altered, megohms, socket};
use bothhands::dialogue::grammar_for;
use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::Job;
use bothhands::log::{Log, SharedClock};
use bothhands::quantity::Conductors;
use bothhands::sequence::{Event, EventNo, Session, place_of};
use bothhands::store::{JOB_KIND, NewEvent, OpenMode, Record, Store};
use bothhands::terms::{Change, Part};
use jiff::{SignedDuration, Timestamp};
use serde_json::Value;
use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Output, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const JOB: &str = include_str!("../../demo/boathouse.toml");
/// The job of [`Rehearsal::boathouse`].
const WHOLE_JOB: &str = include_str!("../jobs/boathouse.toml");

/// A folder with a job file, in which the program is run.
struct Site {
    folder: TempDir,
}

/// What a run of the program came to.
#[derive(Debug)]
struct Ran {
    code: Option<i32>,
    out: String,
    err: String,
}

impl Ran {
    fn of(output: Output) -> Self {
        let text = |bytes| String::from_utf8_lossy(bytes).into_owned();
        let ran = Self {
            code: output.status.code(),
            out: text(&output.stdout),
            err: text(&output.stderr),
        };
        assert!(!ran.err.contains("panicked"), "{}", ran.err);
        ran
    }

    #[track_caller]
    fn well(self) -> Self {
        assert_eq!(self.code, Some(0), "{self:?}");
        self
    }

    /// Refused, with this in what it says.
    #[track_caller]
    fn refused(self, why: &str) -> Self {
        assert_eq!(self.code, Some(2), "{self:?}");
        assert!(self.err.contains(why), "no {why:?} in {self:?}");
        self
    }
}

impl Site {
    fn new() -> Self {
        let site = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        fs::write(site.path("job.toml"), JOB).unwrap();
        site
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn program(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bothhands"));
        command
            .current_dir(self.folder.path())
            .env_remove("PGPASSWORD")
            .stdin(Stdio::null())
            .args(args);
        command
    }

    fn run(&self, args: &[&str]) -> Ran {
        Ran::of(self.program(args).output().unwrap())
    }

    /// The job on typed lines, its log in `session.db`.
    fn typed(&self, lines: impl AsRef<[u8]>) -> Ran {
        fs::write(self.path("words.txt"), lines).unwrap();
        self.run(&[
            "test",
            "job.toml",
            "--db",
            "session.db",
            "--words",
            "words.txt",
        ])
    }

    fn records(&self, name: &str) -> Vec<Record> {
        let store = Store::open(self.path(name), OpenMode::Read).unwrap();
        store.records().collect::<Result<_, _>>().unwrap()
    }

    /// A session with readings, one of 200 MΩ, that is not finished: a log named so.
    fn measured(&self, name: &str) {
        let mut session = Rehearsal::boathouse();
        session.until("500/L-E");
        session.say(megohms("200"));
        session.keep(&self.path(name), false);
    }

    fn json(&self, db: &str) -> Value {
        self.run(&["schedule", db, "--json", "made.json"]).well();
        serde_json::from_str(&fs::read_to_string(self.path("made.json")).unwrap()).unwrap()
    }
}

/// A program that goes on while a test does something.
struct Running {
    child: Child,
    lines: BufReader<ChildStdout>,
    typed: Option<ChildStdin>,
}

impl Running {
    fn start(mut command: Command) -> Self {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        Self {
            lines: BufReader::new(child.stdout.take().unwrap()),
            typed: child.stdin.take(),
            child,
        }
    }

    /// Reads lines until one has this in it.
    #[track_caller]
    fn until(&mut self, what: &str) -> String {
        let mut all = String::new();
        loop {
            let mut line = String::new();
            let read = self.lines.read_line(&mut line).unwrap();
            all.push_str(&line);
            assert!(read > 0, "it ended without {what:?}: {all}");
            if line.contains(what) {
                return all;
            }
        }
    }

    fn say(&mut self, line: &str) {
        writeln!(self.typed.as_mut().unwrap(), "{line}").unwrap();
    }

    /// Types no more, and waits for the end.
    fn end(mut self) -> Ran {
        drop(self.typed.take());
        let mut out = String::new();
        self.lines.read_to_string(&mut out).unwrap();
        let mut output = self.child.wait_with_output().unwrap();
        output.stdout = out.into_bytes();
        Ran::of(output)
    }
}

/// Ends what is served when a test is done.
struct Served(Child);

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Serves a log's review; its first page's address.
fn review(site: &Site, db: &str) -> (Served, String) {
    let mut child = site
        .program(&["review", db])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap())
        .read_line(&mut line)
        .unwrap();
    let address = line
        .trim()
        .strip_prefix("Look back at ")
        .unwrap()
        .to_owned();
    (Served(child), address)
}

/// Flips one bit of the first place that holds these bytes: "200" becomes "300".
fn flip(file: &Path, what: &str) {
    let mut bytes = fs::read(file).unwrap();
    let places: Vec<usize> = bytes
        .windows(what.len())
        .enumerate()
        .filter(|(_, window)| *window == what.as_bytes())
        .map(|(at, _)| at)
        .collect();
    assert!(!places.is_empty(), "{what} is not in it");
    for at in places {
        bytes[at] ^= 1;
    }
    fs::write(file, bytes).unwrap();
}

/// Changes a payload with SQL, and puts the trigger that forbids it back.
fn update(file: &Path, from: &str, to: &str) {
    let connection = rusqlite::Connection::open(file).unwrap();
    let triggers: Vec<(String, String)> = connection
        .prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    for (name, _) in &triggers {
        connection
            .execute_batch(&format!("DROP TRIGGER \"{name}\""))
            .unwrap();
    }
    let changed = connection
        .execute(
            "UPDATE event SET payload = replace(payload, ?1, ?2) WHERE payload LIKE '%' || ?1 || '%'",
            [from, to],
        )
        .unwrap();
    assert!(changed > 0, "{from} is in no event");
    for (_, sql) in &triggers {
        connection.execute_batch(sql).unwrap();
    }
}

/// Two sessions of one job put together in `both.db`: one in which a neutral is left out, and a
/// later one, on another device, in which something else is taken back.
fn merged(site: &Site) {
    let mut morning = Rehearsal::boathouse();
    morning.until("500/L-E");
    morning.say(altered(
        Part::Conductors(Conductors::N),
        Change::Out,
        Some(socket(3)),
    ));
    morning.keep(&site.path("morning.db"), false);
    let mut afternoon = Rehearsal::boathouse();
    afternoon.until("500/L-E");
    afternoon.say(megohms("299"));
    afternoon.say(Intent::Correction(None));
    for (_, at) in &mut afternoon.events {
        *at += SignedDuration::from_hours(5);
    }
    afternoon.keep(&site.path("afternoon.db"), false);
    site.run(&["merge", "morning.db", "afternoon.db", "-o", "both.db"])
        .well();
}

#[test]
fn wrong_12_a_merged_log_has_a_schedule_for_each_session_and_what_is_out_stays_out() {
    let site = Site::new();
    merged(&site);
    let alone = site.json("morning.db");
    let out = |schedule: &Value| {
        let items = schedule["open_items"].as_array().unwrap();
        let out = items.iter().filter(|item| item["still_out"] == true);
        out.map(|item| item["what"].to_string()).collect::<Vec<_>>()
    };
    assert!(!out(&alone).is_empty(), "{alone}");
    let both = site.json("both.db");
    let both = both.as_array().expect("one schedule for each session");
    assert_eq!(both.len(), 2);
    assert_eq!(out(&both[0]), out(&alone));
    assert_eq!(out(&both[1]), out(&site.json("afternoon.db")));
    assert_ne!(out(&both[0]), out(&both[1]));
    for (n, schedule) in both.iter().enumerate() {
        assert_eq!(schedule["thread"]["number"], n + 1);
        assert_eq!(schedule["thread"]["of"], 2);
    }
    let ran = site
        .run(&[
            "schedule", "both.db", "--html", "a.html", "--csv", "a.csv", "--pdf", "a.pdf",
        ])
        .well();
    assert!(ran.err.contains("Note: Thread 1 of 2"), "{}", ran.err);
    let page = fs::read_to_string(site.path("a.html")).unwrap();
    for part in ["Thread 1 of 2", "Thread 2 of 2", "✗ still out"] {
        assert!(page.contains(part), "no {part} on the page");
    }
    let rows = fs::read_to_string(site.path("a.csv")).unwrap();
    assert!(rows.starts_with("\u{feff}thread,board,"), "{rows}");
    assert!(
        rows.contains("\r\n1,1,") && rows.contains("\r\n2,1,"),
        "{rows}"
    );
    assert!(fs::metadata(site.path("a.pdf")).unwrap().len() > 1000);
}

#[test]
fn wrong_12_the_dialogue_of_a_merged_log_says_whose_it_is() {
    let site = Site::new();
    merged(&site);
    let log = |db| site.run(&["log", db, "--time-zone", "UTC"]).well().out;
    let both = log("both.db");
    let (first, second) = both.split_once("Thread 2 of 2").unwrap();
    assert!(
        first.starts_with("Thread 1 of 2, written on laptop\n"),
        "{first}"
    );
    assert!(first.ends_with(&log("morning.db")), "the morning as it was");
    assert!(second.ends_with(&log("afternoon.db")), "the afternoon too");
    let lines = site.run(&["log", "both.db", "--json"]).well().out;
    for number in [1, 2] {
        assert!(
            lines.contains(&format!("{{\"thread\":{number},")),
            "{lines}"
        );
    }
}

#[test]
fn wrong_12_the_review_of_a_merged_log_shows_one_session_at_a_time() {
    let site = Site::new();
    merged(&site);
    let (_served, first) = review(&site, "both.db");
    let get = |address: &str| ask("GET", address, &[], "").body;
    let out = |address: &str| get(&address.replace("timeline", "out"));
    assert!(first.ends_with("/thread/1/timeline"), "{first}");
    assert!(get(&first).contains("Thread 1 of 2"), "it says which");
    assert!(out(&first).contains("Neutral at socket 3") && out(&first).contains("✗ still out"));
    let second = first.replace("/thread/1/", "/thread/2/");
    assert!(get(&second).contains("Thread 2 of 2"));
    assert!(!out(&second).contains("Neutral at socket 3"));
    let schedule = get(&second.replace("timeline", "schedule.html"));
    assert!(schedule.contains("Thread 2 of 2") && !schedule.contains("Thread 1 of 2"));
}

#[test]
fn wrong_14_a_typed_note_is_kept_as_it_was_typed() {
    let site = Site::new();
    let note = "The board lid is cracked at the bottom left";
    let ran = site
        .typed(format!("take a note\n{note}\ndone\nend of note\n"))
        .well();
    assert!(ran.out.contains("Note kept."), "{}", ran.out);
    let texts: Vec<Value> = site
        .records("session.db")
        .iter()
        .filter(|record| record.kind == "noted")
        .map(|record| record.payload::<Value>().unwrap()["text"].clone())
        .collect();
    // What would be an answer elsewhere is part of the note too.
    assert_eq!(texts, [note, "done"]);
    assert!(site.run(&["log", "session.db"]).well().out.contains(note));
    site.run(&["schedule", "session.db"]).well();
    let page = fs::read_to_string(site.path("session-schedule.html")).unwrap();
    assert!(page.contains(note), "it is on the schedule");
    let (_served, address) = review(&site, "session.db");
    assert!(ask("GET", &address, &[], "").body.contains(note));
}

#[test]
fn wrong_16_an_unfinished_session_never_says_that_everything_was_tested() {
    crate::need("pdftotext", "poppler-utils");
    let site = Site::new();
    // A job that is not limited to some tests: that would be a limitation.
    fs::write(site.path("job.toml"), WHOLE_JOB).unwrap();
    site.typed("done\n").well();
    site.run(&[
        "schedule",
        "session.db",
        "--html",
        "a.html",
        "--pdf",
        "a.pdf",
    ])
    .well();
    let text = Command::new("pdftotext")
        .args([site.path("a.pdf"), "-".into()])
        .output()
        .unwrap();
    let pages = [
        fs::read_to_string(site.path("a.html")).unwrap(),
        String::from_utf8_lossy(&text.stdout).into_owned(),
    ];
    for page in pages {
        assert!(!page.contains("Everything planned was tested"), "{page}");
        assert!(
            page.contains("No planned test is left out so far; see the open items."),
            "{page}"
        );
    }
}

#[test]
fn wrong_17_no_reader_takes_a_log_in_which_a_bit_was_flipped() {
    // 0x32 to 0x33: 200 MΩ become 300.
    no_reader_takes(
        |file| flip(file, "\"number\":\"200\""),
        "it is not as it was written",
    );
}

#[test]
fn wrong_17_no_reader_takes_a_log_that_was_changed_by_sql() {
    no_reader_takes(
        |file| update(file, "\"number\":\"200\"", "\"number\":\"855\""),
        "it is not as it was written",
    );
}

#[test]
fn wrong_17_no_reader_takes_a_log_that_lost_its_end() {
    no_reader_takes(
        |file| {
            let connection = rusqlite::Connection::open(file).unwrap();
            let delete: String = connection
                .query_row(
                    "SELECT group_concat('DROP TRIGGER \"' || name || '\";', ' ')
                     FROM sqlite_schema WHERE type = 'trigger'",
                    [],
                    |row| row.get(0),
                )
                .unwrap();
            connection
                .execute_batch(&format!(
                    "PRAGMA foreign_keys = off; {delete}
                     DELETE FROM event WHERE seq = (SELECT max(seq) FROM event);"
                ))
                .unwrap();
        },
        "has lost its end",
    );
}

fn no_reader_takes(harm: impl Fn(&Path), why: &str) {
    let site = Site::new();
    site.measured("session.db");
    site.measured("other.db");
    fs::copy(site.path("session.db"), site.path("whole.db")).unwrap();
    fs::write(site.path("job.toml"), WHOLE_JOB).unwrap();
    harm(&site.path("session.db"));
    for args in [
        &["schedule", "session.db"][..],
        &["schedule", "session.db", "--pdf", "a.pdf"],
        &["log", "session.db"],
        &["log", "session.db", "--json"],
        &["review", "session.db"],
        &["merge", "session.db", "other.db", "-o", "both.db"],
        &["export", "session.db", "-o", "lines"],
    ] {
        let ran = site.run(args).refused(why);
        assert!(
            !ran.out.contains("300") && !ran.out.contains("855"),
            "{ran:?}"
        );
        assert!(
            ran.err.contains("bothhands export") || args[0] == "export",
            "{ran:?}"
        );
    }
    fs::write(site.path("words.txt"), "where are we\n").unwrap();
    site.run(&[
        "test",
        "job.toml",
        "--db",
        "session.db",
        "--words",
        "words.txt",
    ])
    .refused(why);
    for name in ["schedule.html", "schedule.csv", "a.pdf", "both.db"] {
        assert!(
            !site.path(name).exists(),
            "{name} was made of a damaged log"
        );
    }
    let lines = fs::read_to_string(site.path("lines")).unwrap_or_default();
    assert!(
        !lines.contains("\\\"number\\\":\\\"855\\\""),
        "only what is whole is exported"
    );
    site.run(&["schedule", "whole.db"]).well();
}

/// Names that a job file may give, that once stopped a session.
const NAMES: [&str; 12] = [
    "charge point",
    "FCU",
    "RCD socket",
    "induction hob",
    "Wi-Fi router",
    "Café lamp",
    "boiler 7",
    "bay thirty two",
    "qwxyz",
    "Boat-store heater",
    "冷蔵庫",
    "...",
];

fn named_job() -> String {
    let points: String = NAMES
        .iter()
        .map(|name| format!("[[board.circuit.point]]\nname = \"{name}\"\n"))
        .collect();
    let (before, after) = JOB.split_once("[[board.circuit.point]]").unwrap();
    let after = after.split_once("\n\n").map_or("", |(_, after)| after);
    format!("{before}{points}\n{after}")
}

#[test]
fn wrong_27_no_ordinary_name_stops_a_session_or_is_not_understood() {
    let site = Site::new();
    fs::write(site.path("job.toml"), named_job()).unwrap();
    let checked = site.run(&["check", "job.toml"]).well().out;
    site.typed("where are we\n").well();
    // Typed, each goes by its name, and the place is the one of the job.
    let job = Job::parse(&named_job(), "job.toml").unwrap();
    let (typed, _) = grammar_for(&job, false, false).unwrap();
    let (spoken, instead) = grammar_for(&job, true, false).unwrap();
    let out_at = |grammar: &Grammar, name: &str| {
        let said = grammar.understand("insulation", &format!("neutral out at {name}"));
        match said {
            Some(Intent::Altered(alteration)) => alteration.place,
            _ => None,
        }
    };
    for point in job.boards[0].circuits.iter().flat_map(|c| &c.points) {
        let place = place_of(point);
        let written = match point.number {
            Some(number) => format!("{} {number}", point.name),
            None => point.name.clone(),
        };
        if written.chars().any(char::is_alphabetic) {
            let typed = out_at(&typed, &written);
            assert_eq!(typed, Some(place.clone()), "{written}");
        }
        let said = instead.iter().find(|one| one.place == place);
        let words = said.map_or(written.as_str(), |one| one.say.as_str());
        assert_eq!(out_at(&spoken, words), Some(place), "{words}");
    }
    // By voice, `check` and the session say the same of those whose sound nobody knows.
    assert!(instead.iter().any(|one| one.place.name == "qwxyz"));
    hush(&site.path("hush.wav"));
    let ran = site
        .run(&[
            "test", "job.toml", "--db", "voice.db", "--sound", "hush.wav",
        ])
        .well();
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for one in &instead {
        assert!(
            flat(&ran.err).contains(&one.to_string()),
            "{one}: {}",
            ran.err
        );
        assert!(
            flat(&checked).contains(&one.to_string()),
            "{one}: {checked}"
        );
    }
}

/// A second of silence.
fn hush(path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for _ in 0..16_000 {
        writer.write_sample(0i16).unwrap();
    }
    writer.finalize().unwrap();
}

#[test]
fn wrong_29_a_line_that_is_not_understood_is_kept_as_not_taken() {
    let site = Site::new();
    let ran = site.typed("the kettle is on\ndone\n").well();
    assert!(
        ran.out.contains("I don't know \"the kettle is on\" here."),
        "{}",
        ran.out
    );
    let kept = site.records("session.db");
    let not_taken: Vec<Value> = kept
        .iter()
        .filter(|record| record.kind == "not-taken")
        .map(|record| record.payload().unwrap())
        .collect();
    assert_eq!(not_taken.len(), 1);
    assert_eq!(not_taken[0]["words"], "the kettle is on");
    assert!(not_taken[0]["step"].is_string(), "where: {not_taken:?}");
    let log = site.run(&["log", "session.db"]).well().out;
    assert!(log.contains("the kettle is on (not taken)"), "{log}");
    assert!(
        log.contains("I don't know \"the kettle is on\" here."),
        "{log}"
    );
    let (_served, address) = review(&site, "session.db");
    assert!(
        ask("GET", &address, &[], "")
            .body
            .contains("the kettle is on (not taken)")
    );
}

#[test]
fn wrong_29_what_is_not_understood_is_no_sign_of_presence() {
    let now: Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
    let job = Job::parse(JOB, "job.toml").unwrap();
    let (mut session, _) = Session::begin(job, "a test", now).unwrap();
    let later = now + SignedDuration::from_hours(10);
    let turn = session.not_taken("four?", later);
    assert_eq!(turn.events.len(), 1, "{turn:?}");
    assert_eq!(session.state().last_event_at(), now, "nobody was there");
    assert_eq!(session.state().open_steps().count(), {
        let job = Job::parse(JOB, "job.toml").unwrap();
        let (fresh, _) = Session::begin(job, "a test", now).unwrap();
        fresh.state().open_steps().count()
    });
}

/// Lines that were said: questions, warnings, read-backs and prompts, without what marks them.
fn said_in(out: &str) -> Vec<String> {
    let marks = ["read back: ", "question: ", "WARNING: "];
    let said = out.lines().filter(|line| !line.starts_with("you:"));
    said.map(|line| {
        let bare = marks.iter().find_map(|mark| line.strip_prefix(mark));
        bare.unwrap_or(line).trim().to_owned()
    })
    .collect()
}

#[test]
fn wrong_30_the_log_tells_the_words_that_were_said() {
    let site = Site::new();
    // On the list already; taken back; out of its turn.
    let ran = site
        .typed(
            "done\nproved\ncorrection\nproved\nfridge out at socket one\nsocket one out\nsocket one out\n\
             energised\nnegative\n",
        )
        .well();
    let log = site.run(&["log", "session.db"]).well().out;
    let told: String = log.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = said_in(&ran.out);
    assert!(said.len() > 15, "{said:?}");
    for line in said.iter().filter(|line| !line.is_empty()) {
        let line: String = line.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(&line), "said: {line}\nlog: {log}");
    }
    assert!(told.contains("on the list already"), "{told}");
}

#[test]
fn wrong_30_the_log_of_a_newer_program_is_not_taken_up() {
    let site = Site::new();
    site.typed("done\n").well();
    let mut store = Store::open(site.path("session.db"), OpenMode::Append).unwrap();
    let newer = serde_json::json!({"event": "stood-by"});
    store
        .append(&[NewEvent::new("stood-by", 99, &newer).unwrap()], None)
        .unwrap();
    drop(store);
    let before = site.records("session.db").len();
    site.typed("proved\n").refused("newer");
    site.run(&["schedule", "session.db"]).refused("newer");
    site.run(&["log", "session.db"]).refused("newer");
    assert_eq!(site.records("session.db").len(), before);
}

#[test]
fn wrong_30_what_could_not_be_kept_is_not_read_back() {
    let site = Site::new();
    let mut session =
        Running::start(site.program(&["test", "job.toml", "--db", "session.db", "--words", "-"]));
    session.say("done");
    session.until("read back: Done.");
    session.until("Prove the voltage indicator");
    fs::remove_file(site.path("session.db")).unwrap();
    session.say("proved");
    let told = session.until("nothing was kept");
    assert!(!told.contains("read back"), "{told}");
    // It stands where it stood.
    session.say("where are we");
    let ran = session.end();
    assert!(!ran.out.contains("Isolate every source"), "{}", ran.out);
}

fn at_the_keyboard(site: &Site, db: &str) -> Running {
    let mut session =
        Running::start(site.program(&["test", "job.toml", "--db", db, "--words", "-"]));
    session.say("where are we");
    session.until("you:  where are we");
    session.say("take a note");
    session.until("Note. Say end of note");
    session
}

#[test]
fn wrong_33_a_log_that_is_deleted_in_session_is_noticed() {
    let site = Site::new();
    let mut session = at_the_keyboard(&site, "session.db");
    fs::remove_file(site.path("session.db")).unwrap();
    session.say("the lid is cracked");
    session.until("it was removed, moved or replaced");
    let ran = session.end();
    assert!(!ran.err.contains("Head of the log"), "{}", ran.err);
    assert!(
        ran.err
            .contains("WARNING: session.db: the log is no longer there"),
        "{}",
        ran.err
    );
}

#[test]
fn wrong_33_a_log_that_is_moved_or_replaced_in_session_is_noticed() {
    let site = Site::new();
    let mut session = at_the_keyboard(&site, "session.db");
    fs::rename(site.path("session.db"), site.path("moved.db")).unwrap();
    session.say("the lid is cracked");
    session.until("it was removed, moved or replaced");
    // Another in its place is not written to either.
    site.measured("other.db");
    fs::rename(site.path("other.db"), site.path("session.db")).unwrap();
    let before = fs::read(site.path("session.db")).unwrap();
    session.say("and the door hangs");
    session.until("it was removed, moved or replaced");
    session.end();
    assert_eq!(fs::read(site.path("session.db")).unwrap(), before);
}

#[test]
fn wrong_33_a_second_writer_is_refused_by_whatever_name_it_comes() {
    let site = Site::new();
    let session = at_the_keyboard(&site, "session.db");
    std::os::unix::fs::symlink("session.db", site.path("link.db")).unwrap();
    let hard = || fs::hard_link(site.path("session.db"), site.path("hard.db")).unwrap();
    let second = |db: &str| site.run(&["test", "job.toml", "--db", db, "--words", "words.txt"]);
    fs::write(site.path("words.txt"), "where are we\n").unwrap();
    fs::create_dir(site.path("folder")).unwrap();
    second("folder/../session.db").refused("another program is writing this log");
    hard();
    second("link.db").refused("hard link");
    second("hard.db").refused("hard link");
    fs::remove_file(site.path("hard.db")).unwrap();
    second("link.db").refused("another program is writing this log");
    session.end().well();
    second("link.db").well();
}

#[test]
fn wrong_33_what_somebody_else_added_is_noticed_before_anything_is_added_to_it() {
    let site = Site::new();
    let clock = SharedClock::default();
    let (mut store, _) = bothhands::log::take_up(&site.path("session.db"), &clock).unwrap();
    store.append(&[NewEvent::job(JOB).unwrap()], None).unwrap();
    // Without the lock, a program of another maker may.
    fs::remove_file(site.path("session.db.lock")).unwrap();
    let mut other = Store::open(site.path("session.db"), OpenMode::Append).unwrap();
    let note =
        |n| NewEvent::new("noted", 1, &serde_json::json!({"event": "noted", "n": n})).unwrap();
    other.append(&[note(1)], None).unwrap();
    let why = store.append(&[note(2)], None).unwrap_err().to_string();
    assert!(why.contains("another program added to this log"), "{why}");
    assert_eq!(other.len().unwrap(), 2, "nothing was added");
}

#[cfg(feature = "hand-in")]
#[test]
fn wrong_34_a_silent_server_is_not_waited_for_for_ever() {
    let site = Site::new();
    site.measured("session.db");
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let waits = std::thread::spawn(move || listener.accept().map(|(stream, _)| stream));
    let to = format!("postgres://desk@127.0.0.1:{port}/tests?sslmode=disable");
    site.run(&["hand-in", "session.db", "--to", &to, "--patience", "1"])
        .refused("the server has not answered for 1 seconds");
    drop(waits.join());
}

#[cfg(feature = "hand-in")]
#[test]
fn wrong_34_no_password_goes_in_clear_unless_it_is_asked_for() {
    let site = Site::new();
    site.measured("session.db");
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    listener.set_nonblocking(true).unwrap();
    for mode in ["", "?sslmode=disable", "?sslmode=prefer"] {
        let to = format!("postgres://desk@127.0.0.1:{port}/tests{mode}");
        let mut command = site.program(&["hand-in", "session.db", "--to", &to, "--patience", "5"]);
        let ran = Ran::of(command.env("PGPASSWORD", "hush-hush").output().unwrap());
        let ran = ran.refused("--password-in-clear");
        assert!(!ran.err.contains("hush-hush"), "{}", ran.err);
        assert!(listener.accept().is_err(), "nobody was even asked");
    }
}

#[cfg(all(feature = "hand-in", unix))]
mod handed_in {
    use super::*;
    use crate::handed_in::server::{Database, Server};
    use bothhands::handin::{Folded, hand_in};

    fn to(site: &Site, database: &Database, db: &str) -> Ran {
        let root = database.server.root_certificate();
        let mut command = site.program(&["hand-in", db, "--to", &database.address()]);
        command
            .arg("--root-certificate")
            .arg(root)
            .env("PGPASSWORD", &database.server.password);
        Ran::of(command.output().unwrap())
    }

    /// A log whose hashes are right and that no program can follow.
    fn crafted(site: &Site) {
        let mut session = Rehearsal::boathouse();
        session.until("500/L-E");
        session.keep(&site.path("bad.db"), false);
        let mut store = Store::open(site.path("bad.db"), OpenMode::Append).unwrap();
        let bad = serde_json::json!({
            "event": "reading", "step": "b1/c1/insulation-resistance/full", "replaces": "abc",
            "reading": {"relation": "exact", "number": "1"}
        });
        let bad = NewEvent::new("reading", 2, &bad).unwrap();
        store.append(&[bad], None).unwrap();
    }

    #[test]
    fn wrong_34_a_log_is_replayed_before_it_is_handed_in() {
        let (site, database) = (Site::new(), Server::with_tls().database());
        site.measured("good.db");
        crafted(&site);
        to(&site, &database, "good.db").well();
        let ran = to(&site, &database, "bad.db").refused("this log can't be followed");
        assert!(
            ran.err.contains("Nothing of it was handed in"),
            "{}",
            ran.err
        );
        assert_eq!(database.number("SELECT count(*) FROM bothhands.logs"), 1);
    }

    #[test]
    fn wrong_34_a_log_that_cannot_be_followed_is_in_nobodys_way_on_the_server() {
        let (site, database) = (Site::new(), Server::with_tls().database());
        site.measured("good.db");
        crafted(&site);
        to(&site, &database, "good.db").well();
        // As an older program did, which followed nothing.
        let store = Store::open(site.path("bad.db"), OpenMode::Read).unwrap();
        let thread = store.threads().unwrap().remove(0);
        let mut client = database.desk();
        hand_in(
            &mut client,
            &store,
            &thread,
            &Folded::default(),
            true,
            &|| (),
        )
        .unwrap();
        client
            .batch_execute("DELETE FROM bothhands.folded; DELETE FROM bothhands.folded_logs")
            .unwrap();
        let bad = thread[0].id.to_string();
        for view in ["readings", "verdicts", "corrections", "out_list", "jobs"] {
            database.number(&format!("SELECT count(*) FROM bothhands.{view}"));
        }
        assert!(database.number("SELECT count(*) FROM bothhands.readings") > 0);
        let named = database.rows("SELECT log, why FROM bothhands.not_followed");
        assert_eq!(named.len(), 1, "{named:?}");
        assert_eq!(named[0]["log"], bad.as_str());
    }

    #[test]
    fn wrong_17_a_log_changed_by_sql_is_not_handed_in() {
        let (site, database) = (Site::new(), Server::with_tls().database());
        site.measured("session.db");
        update(
            &site.path("session.db"),
            "\"number\":\"200\"",
            "\"number\":\"855\"",
        );
        to(&site, &database, "session.db").refused("this log is damaged at event");
    }
}

#[test]
fn wrong_35_a_closed_or_full_output_ends_nothing_and_panics_nowhere() {
    let site = Site::new();
    site.measured("measured.db");
    fs::write(
        site.path("words.txt"),
        "done\ntake a note\nthe lid\nend of note\n",
    )
    .unwrap();
    let test = [
        "test",
        "job.toml",
        "--db",
        "session.db",
        "--words",
        "words.txt",
    ];
    for (n, args) in [
        &test[..],
        &["verify", "measured.db"],
        &["schedule", "measured.db"],
        &["log", "measured.db"],
        &["check", "job.toml"],
        &["rehearse", "p.toml", "--list"],
        &["doctor", "--no-microphone", "--no-voice"],
    ]
    .into_iter()
    .enumerate()
    {
        let full = || File::options().write(true).open("/dev/full").unwrap();
        // Full: where it matters that somebody sees it, that is an error; a session goes on.
        let ran = Ran::of(site.program(args).stdout(full()).output().unwrap());
        assert!(matches!(ran.code, Some(0..=2)), "{args:?}: {ran:?}");
        Ran::of(site.program(args).stderr(full()).output().unwrap());
        // Closed at once.
        let mut child = site
            .program(args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let ran = Ran::of(child.wait_with_output().unwrap());
        assert!(matches!(ran.code, Some(0..=2)), "{args:?}: {ran:?}");
        if n == 0 {
            let notes = |record: &&Record| record.kind == "noted";
            let kept = site.records("session.db");
            assert_eq!(
                kept.iter().filter(notes).count(),
                3,
                "each session went to its end"
            );
        }
    }
}

#[test]
fn wrong_35_no_part_of_the_program_prints_so_that_it_can_panic() {
    let mut folders = vec![PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src")];
    let mut looked_at = 0;
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                // Tests may print.
                if !path.ends_with("tests") {
                    folders.push(path);
                }
            } else if path.extension().is_some_and(|ext| ext == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                let code = text.split("#[cfg(test)]").next().unwrap();
                let mut lines = code.lines().map(str::trim_start);
                let prints = lines.find(|line| {
                    let print = line.contains("print!(") || line.contains("println!(");
                    print && !line.starts_with("//")
                });
                assert_eq!(prints, None, "{}: use commands::shown", path.display());
                looked_at += 1;
            }
        }
    }
    assert!(looked_at > 100, "{looked_at}");
}

#[test]
fn wrong_35_no_output_is_written_over_a_log_or_what_it_is_made_from() {
    let site = Site::new();
    site.measured("session.db");
    site.measured("other.db");
    fs::write(site.path("page.html"), "an old page").unwrap();
    let whole = |name: &str| fs::read(site.path(name)).unwrap();
    let (own, other) = (whole("session.db"), whole("other.db"));
    for (kind, file) in [
        ("--html", "session.db"),
        ("--csv", "other.db"),
        ("--json", "./session.db"),
        ("--pdf", "session.db-wal"),
        ("--html", "session.db.lock"),
    ] {
        site.run(&["schedule", "session.db", kind, file])
            .refused("is not written over");
    }
    assert_eq!(whole("session.db"), own);
    assert_eq!(whole("other.db"), other);
    site.run(&["schedule", "session.db", "--html", "page.html"])
        .well();
    assert!(
        fs::read_to_string(site.path("page.html"))
            .unwrap()
            .contains("<h1>")
    );
}

#[test]
fn wrong_35_a_log_that_would_not_stay_is_refused() {
    let site = Site::new();
    fs::write(site.path("words.txt"), "done\n").unwrap();
    for db in [":memory:", "file:session.db?mode=memory"] {
        site.run(&["test", "job.toml", "--db", db, "--words", "words.txt"])
            .refused("a log needs a file that stays");
    }
}

#[test]
fn wrong_35_sound_from_standard_input_is_heard() {
    let site = Site::new();
    let recording = fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/demo/recordings"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .min()
        .unwrap();
    let mut command = site.program(&["test", "job.toml", "--db", "session.db", "--sound", "-"]);
    let ran = Ran::of(
        command
            .stdin(File::open(recording).unwrap())
            .output()
            .unwrap(),
    )
    .well();
    assert!(ran.out.contains("you:  "), "{ran:?}");
    assert!(ran.err.contains("1 taken"), "{ran:?}");
    // A pipe that closes without a sound is told, and nothing is begun over it.
    let ran = site.run(&["test", "job.toml", "--db", "none.db", "--sound", "-"]);
    ran.refused("standard input");
}

#[test]
fn wrong_35_a_byte_that_is_no_text_does_not_end_the_session() {
    let site = Site::new();
    let ran = site.typed(b"do\xffne\ntake a note\nend of note\n").well();
    assert!(
        ran.out.contains("I don't know \"do\u{fffd}ne\" here."),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("Note kept."), "{}", ran.out);
}

#[test]
fn wrong_35_no_escape_reaches_the_terminal() {
    let site = Site::new();
    let wild = "Boathouse \u{1b}]0;owned\u{7}\u{1b}[2J\u{9b}31m\u{202e}";
    let named = JOB.replacen(
        "title = \"",
        "title = \"Boathouse \\u001b]0;owned\\u0007\\u001b[2J\\u009b31m\\u202e",
        1,
    );
    let named = named.replacen("name = \"", "name = \"\\u001b[31m", 1);
    assert_ne!(named, JOB);
    fs::write(site.path("job.toml"), &named).unwrap();
    let tame = |ran: &Ran| {
        for text in [&ran.out, &ran.err] {
            let wild = text
                .chars()
                .find(|c| matches!(c, '\u{202e}') || (c.is_control() && !matches!(c, '\n' | '\t')));
            assert_eq!(wild, None, "{text:?}");
        }
    };
    tame(&site.typed(format!("{wild}\ntake a note\n{wild}\nend of note\n")));
    for args in [
        &["log", "session.db"][..],
        &["log", "session.db", "--json"],
        &["schedule", "session.db"],
        &["check", "job.toml"],
        &["check", "job.toml", "--json"],
        &["verify", "session.db"],
        &["schedule", "\u{1b}[2J.db"],
    ] {
        tame(&site.run(args));
    }
    // The JSON still says what it is.
    let lines = site.run(&["log", "session.db", "--json"]).well().out;
    let all: Vec<Value> = lines
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert!(all.iter().any(|one| one.to_string().contains("owned")));
    let understood = all.iter().filter_map(|one| one["understood"].as_str());
    assert!(
        understood
            .into_iter()
            .any(|text| text.contains("\u{1b}[2J"))
    );
}

#[test]
fn wrong_35_a_reading_that_replaces_itself_does_not_hang_the_review() {
    let site = Site::new();
    let mut session = Rehearsal::boathouse();
    session.until("500/L-E");
    session.say(megohms("200"));
    session.say(Intent::Correction(Some(Box::new(megohms("201")))));
    let count = session.events.len() as u64;
    let mut first = None;
    // The last two readings replace each other, and themselves.
    for (n, (event, _)) in session.events.iter_mut().enumerate().rev() {
        if let Event::Reading { replaces, .. } = event {
            let own = EventNo(n as u64);
            *replaces = Some(first.unwrap_or(own));
            if first.is_some() {
                break;
            }
            first = Some(own);
        }
    }
    assert!(first.is_some() && count > 2);
    session.keep(&site.path("session.db"), false);
    let (_served, address) = review(&site, "session.db");
    for page in ["timeline", "out", "graphs", "schedule.html"] {
        let answer = ask("GET", &address.replace("timeline", page), &[], "");
        assert_eq!(answer.status, 200, "{page}");
    }
}

#[test]
fn wrong_36_verify_claims_no_more_than_hashes_can_bear() {
    let site = Site::new();
    site.measured("session.db");
    fs::copy(site.path("session.db"), site.path("older.db")).unwrap();
    fs::write(site.path("job.toml"), WHOLE_JOB).unwrap();
    let ran = site.typed("take a note\nthe lid\nend of note\n").well();
    let last = ran.err.lines().last().unwrap().to_owned();
    let head = last
        .strip_prefix("Head of the log: ")
        .and_then(|rest| rest.split('.').next())
        .unwrap_or_else(|| panic!("the last line has the head: {last}"))
        .to_owned();
    let records = site.records("session.db");
    let full = format!("{}:{}", records.len(), records.last().unwrap().hash);
    assert!(
        full.starts_with(&head) && head.split(':').nth(1).unwrap().len() == 16,
        "{head}"
    );

    let plain = site.run(&["verify", "session.db"]).well().out;
    assert!(
        plain.contains("fit together") && plain.contains(&full),
        "{plain}"
    );
    assert!(!plain.contains("as they were written"), "{plain}");
    // Versions before wrote eight digits down.
    let before = head[..head.len() - 8].to_owned();
    for known in [&head, &full, &before] {
        let ran = site.run(&["verify", "session.db", "--head", known]).well();
        assert!(ran.out.contains("is as it was written then"), "{}", ran.out);
    }
    // The end was cut off; or it is made anew.
    let ran = site.run(&["verify", "older.db", "--head", &head]);
    assert_eq!(ran.code, Some(2), "{ran:?}");
    assert!(ran.out.contains("DOES NOT HOLD"), "{}", ran.out);
    site.measured("anew.db");
    let old = site.records("older.db");
    let before = format!("{}:{}", old.len(), old.last().unwrap().hash);
    assert_eq!(
        site.run(&["verify", "anew.db", "--head", &before]).code,
        Some(2)
    );
    // A log that went on still holds where it was.
    let ran = site
        .run(&["verify", "session.db", "--head", &before])
        .well();
    assert!(ran.out.contains(&before), "{}", ran.out);
    site.run(&["verify", "session.db", "--head", "26:zz"])
        .refused("eight digits");
}

#[test]
fn wrong_36_the_schedule_says_which_log_it_was_made_from() {
    crate::need("pdftotext", "poppler-utils");
    let site = Site::new();
    site.measured("session.db");
    let records = site.records("session.db");
    let hash = records.last().unwrap().hash.to_string();
    let head = format!("{}:{hash}", records.len());
    assert_eq!(site.json("session.db")["head"], head);
    site.run(&[
        "schedule",
        "session.db",
        "--html",
        "a.html",
        "--pdf",
        "a.pdf",
    ])
    .well();
    assert!(
        fs::read_to_string(site.path("a.html"))
            .unwrap()
            .contains(&head)
    );
    let text = Command::new("pdftotext")
        .args([site.path("a.pdf"), "-".into()])
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&text.stdout).into_owned();
    let short = format!("{}:{}", records.len(), &hash[..16]);
    assert!(
        text.contains(&format!("Head {short}.")),
        "on every page: {text}"
    );
}

#[test]
fn attack_21_the_job_and_the_first_event_are_kept_together() {
    let site = Site::new();
    // As an older program left it, killed in between.
    let mut store = Store::open(site.path("session.db"), OpenMode::AppendOrCreate).unwrap();
    store.append(&[NewEvent::job(JOB).unwrap()], None).unwrap();
    drop(store);
    site.typed("where are we\n").well();
    let kinds = |db| -> Vec<(String, Timestamp)> {
        let records = site.records(db);
        records.into_iter().map(|r| (r.kind, r.at)).collect()
    };
    let jobs = kinds("session.db");
    assert_eq!(jobs.iter().filter(|(kind, _)| kind == JOB_KIND).count(), 1);
    fs::rename(site.path("session.db"), site.path("old.db")).unwrap();
    site.typed("where are we\n").well();
    let fresh = kinds("session.db");
    assert_eq!(
        (fresh[0].0.as_str(), fresh[1].0.as_str()),
        (JOB_KIND, "opened")
    );
    assert_eq!(fresh[0].1, fresh[1].1, "in one write");
}

#[test]
fn attack_22_the_first_interruption_is_answered() {
    let site = Site::new();
    let session = at_the_keyboard(&site, "session.db");
    let since = Instant::now();
    let pid = session.child.id().to_string();
    let kill = |pid: &str| Command::new("kill").args(["-INT", pid]).status().unwrap();
    assert!(kill(&pid).success());
    let Running {
        mut child, typed, ..
    } = session;
    let mut told = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut told)
        .unwrap();
    assert!(child.wait().unwrap().success(), "{told}");
    drop(typed);
    assert!(told.contains("Stopping after what is in hand"), "{told}");
    assert!(told.contains("Stopped."), "{told}");
    assert!(!site.path("session.db.lock").exists(), "closed in order");
    // The review too, whatever stands half open.
    let (mut served, address) = review(&site, "session.db");
    let place = address
        .trim_start_matches("http://")
        .split('/')
        .next()
        .unwrap();
    let mut half = std::net::TcpStream::connect(place).unwrap();
    half.write_all(b"GET / HTTP/1.1\r\nhost: 127").unwrap();
    std::thread::sleep(Duration::from_millis(200));
    assert!(kill(&served.0.id().to_string()).success());
    while served.0.try_wait().unwrap().is_none() {
        assert!(since.elapsed() < Duration::from_secs(120), "it never ends");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn attack_26_nothing_is_written_through_a_link_that_somebody_put_there() {
    let site = Site::new();
    fs::write(site.path("dear.txt"), "dear").unwrap();
    let link = |name: &str| std::os::unix::fs::symlink("dear.txt", site.path(name)).unwrap();
    link("session.db.lock");
    site.typed("done\n").refused("it is a link to another file");
    fs::remove_file(site.path("session.db.lock")).unwrap();
    site.measured("session.db");
    link("a.html.part");
    site.run(&["schedule", "session.db", "--html", "a.html"])
        .well();
    assert_eq!(fs::read_to_string(site.path("dear.txt")).unwrap(), "dear");
    std::os::unix::fs::symlink("nowhere.db", site.path("loose.db")).unwrap();
    site.run(&[
        "test",
        "job.toml",
        "--db",
        "loose.db",
        "--words",
        "words.txt",
    ])
    .refused("a link to a file that is not there");
}

#[test]
fn attack_28_text_in_another_encoding_is_told_as_what_it_is() {
    let site = Site::new();
    let utf16: Vec<u8> = std::iter::once(0xfeff)
        .chain(JOB.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    fs::write(site.path("job.toml"), &utf16).unwrap();
    site.run(&["check", "job.toml"]).refused("save it as UTF-8");
    site.typed("done\n").refused("save it as UTF-8");
    fs::write(site.path("job.toml"), JOB).unwrap();
    site.typed(&utf16).refused("save it as UTF-8");
    let ran = site.typed("\u{feff}take a note\nend of note\n").well();
    assert!(ran.out.contains("Note kept."), "{}", ran.out);
}

#[test]
fn attack_28_the_review_takes_no_other_host_and_no_endless_reason() {
    let site = Site::new();
    site.measured("session.db");
    let (_served, address) = review(&site, "session.db");
    for host in [
        "127.0.0.1:x.evil.example",
        "evil.example",
        "localhost:80:80",
    ] {
        let answer = ask("GET", &address, &[("host", host)], "");
        assert_eq!(answer.status, 403, "{host}");
    }
    let reading = site.records("session.db").len() - 2;
    let body = format!("of={reading}&value=201&reason={}", "because ".repeat(100));
    let form = [("content-type", "application/x-www-form-urlencoded")];
    let answer = ask(
        "POST",
        &address.replace("timeline", "put-right"),
        &form,
        &body,
    );
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("more than 200 letters"),
        "{}",
        answer.body
    );
}

#[test]
fn attack_27_a_reason_is_told_once() {
    let site = Site::new();
    let mut session = at_the_keyboard(&site, "session.db");
    fs::remove_file(site.path("session.db")).unwrap();
    session.say("the lid is cracked");
    let told = session.until("nothing was kept");
    assert_eq!(told.matches("no longer there").count(), 1, "{told}");
    session.end();
}

#[test]
fn one_replay_never_stands_for_several_sessions() {
    let site = Site::new();
    merged(&site);
    let store = Store::open(site.path("both.db"), OpenMode::Read).unwrap();
    let why = Log::read(&store).unwrap_err().to_string();
    assert!(why.contains("put together from 2"), "{why}");
    let threads = Log::threads(&store).unwrap();
    assert_eq!(threads.len(), 2);
    let alone = Store::open(site.path("morning.db"), OpenMode::Read).unwrap();
    let alone = Log::read(&alone).unwrap();
    assert_eq!(threads[0].entries, alone.entries);
    assert_eq!(threads[0].head, alone.head);
}
