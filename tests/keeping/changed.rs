//! A job that is changed after its log was begun.

use assert_cmd::Command;
use bothhands::installation::Job;
use bothhands::log::Log;
use bothhands::report::{Schedule, Times};
use bothhands::sequence::{Agenda, Event, ReadingStatus};
use bothhands::store::{OpenMode, Store};
use predicates::prelude::*;
use predicates::str::contains;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Isolation, and the first check of the instrument.
const BEGUN: &str = "done\nproved\nisolated\nlocked off\ndead\ndead\ndead\nproved\nleads open\n";
/// From there to a reading of continuity at the first socket.
const READ: &str = "leads nulled\nover range\nnought point nought nought\n\
                    line and earth linked at board\nnought point two\naffirm\n";

struct Bench {
    folder: TempDir,
}

impl Bench {
    /// A job of one radial, isolated, and its log.
    fn begun() -> Self {
        let bench = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        bench.write("job.toml", &job("sockets = 2", ""));
        bench.test("job.toml", BEGUN, &[]).success();
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    fn test(&self, job: &str, words: &str, more: &[&str]) -> assert_cmd::assert::Assert {
        self.write("words.txt", words);
        Command::cargo_bin("bothhands")
            .unwrap()
            .current_dir(self.folder.path())
            .args(["test", job, "--db", "s.db", "--words", "words.txt"])
            .args(more)
            .assert()
    }

    fn run(&self, args: &[&str]) -> assert_cmd::assert::Assert {
        Command::cargo_bin("bothhands")
            .unwrap()
            .current_dir(self.folder.path())
            .args(args)
            .assert()
    }

    fn log(&self, name: &str) -> Log {
        Log::read(&Store::open(self.path(name), OpenMode::Read).unwrap()).unwrap()
    }

    fn agenda(&self) -> Agenda {
        self.log("s.db").agenda().unwrap()
    }

    fn events(&self) -> usize {
        self.log("s.db").entries.len()
    }

    /// The instruments are checked, and the continuity of the first socket is read.
    fn with_a_reading(&self) {
        self.test("job.toml", READ, &[]).success();
        let last = self.agenda().readings().last().unwrap().step.to_string();
        assert!(last.contains("c1/continuity"), "{last}");
    }
}

fn job(points: &str, more: &str) -> String {
    format!(
        "title = \"Boathouse\"\nkind = \"initial-verification\"\ntester = \"A. Learner\"\n\
         [site]\nname = \"Kingfisher Rowing Club\"\n[supply]\nearthing = \"TN-C-S\"\nphases = 1\n\
         [[instrument]]\nname = \"tester\"\nserial = \"IT-1\"\ncalibration_due = 2099-01-01\n\
         used_for = [\"continuity\", \"insulation\", \"loop\", \"rcd\"]\ninsulation_range_megohms = \"999\"\n\
         [[board]]\nnumber = 1\nname = \"workshop board\"\n\
         [[board.circuit]]\nnumber = 1\nname = \"bench sockets\"\nkind = \"radial\"\n\
         device = \"B20 RCBO 30 mA\"\ncable = \"2.5/1.5 20 m\"\n{points}\n{more}"
    )
}

const ANOTHER: &str = "[[board.circuit]]\nnumber = 2\nname = \"lights\"\nkind = \"lighting\"\n\
                       device = \"B6 RCBO 30 mA\"\nlights = 2\n";

#[test]
fn a_circuit_and_a_point_are_added_on_the_way_and_what_was_done_stays() {
    let bench = Bench::begun();
    let before = bench.agenda();
    let steps = before.plan().steps.len();
    let done: Vec<String> = before
        .plan()
        .steps
        .iter()
        .filter(|step| before.outcome(step).is_some())
        .map(|step| step.id.to_string())
        .collect();
    assert!(done.len() >= 8, "{done:?}");
    bench.write("more.toml", &job("sockets = 3", ANOTHER));
    let events = bench.events();
    bench
        .test("more.toml", "where are we\n", &[])
        .code(2)
        .stderr(
            contains("Circuit 1, socket 3: added.")
                .and(contains("Circuit 2: added."))
                .and(contains("give --job-changed")),
        );
    assert_eq!(bench.events(), events, "nothing was added to it");
    bench
        .test("more.toml", "where are we\n", &["--job-changed"])
        .success()
        .stdout(contains("The job is changed."));
    let after = bench.agenda();
    assert!(after.plan().steps.len() > steps);
    for id in &done {
        let step = after.step(&id.parse().unwrap()).unwrap();
        assert!(after.outcome(step).is_some(), "{id} is still done");
    }
    assert_eq!(after.job(), &Job::load(&bench.path("more.toml")).unwrap());
    // The changed job is the log's job now; the old one is not.
    bench.test("more.toml", "where are we\n", &[]).success();
    let at = bench.path("s.db").display().to_string();
    for args in [
        &["verify", &at][..],
        &["log", &at],
        &["schedule", &at, "--out", "result"],
    ] {
        bench.run(args).success();
    }
    let schedule = Schedule::of(&bench.log("s.db"), &Times::utc()).unwrap();
    assert_eq!(schedule.boards[0].circuits.len(), 2);
    let held = bench.log("s.db");
    let text = held.entries.iter().find_map(|entry| match &entry.event {
        Event::JobChanged { text, .. } => Some(text.clone()),
        _ => None,
    });
    assert_eq!(
        text,
        Some(job("sockets = 3", ANOTHER)),
        "the file's text is in the log"
    );
}

#[test]
fn what_was_tested_is_not_taken_out_of_a_job() {
    let bench = Bench::begun();
    bench.with_a_reading();
    let events = bench.events();
    for (name, text, told) in [
        (
            "ring.toml",
            job("sockets = 2", "").replace("\"radial\"", "\"ring\""),
            "would be lost",
        ),
        ("fewer.toml", job("", ANOTHER), "would be lost: circuit 1"),
        (
            "kind.toml",
            job("sockets = 2", "").replace("initial-verification", "periodic-inspection"),
            "different rules",
        ),
    ] {
        bench.write(name, &text);
        let refused = bench.test(name, "where are we\n", &["--job-changed"]);
        let output = refused.get_output().clone();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{name}: {said}");
        assert!(said.contains(told), "{name}: {said}");
        assert_eq!(bench.events(), events, "{name}: nothing was added");
    }
}

#[test]
fn a_reading_is_judged_by_the_cable_as_it_is_now() {
    let bench = Bench::begun();
    bench.with_a_reading();
    let record = bench.agenda().readings().last().unwrap().clone();
    bench.write(
        "shorter.toml",
        &job("sockets = 2", "").replace("20 m", "90 m"),
    );
    bench
        .test("shorter.toml", "where are we\n", &["--job-changed"])
        .success();
    let after = bench.agenda();
    let now = after.reading(record.no).unwrap();
    assert_eq!(now.reading, record.reading, "what was read stays");
    assert_ne!(now.verdict, record.verdict, "it is compared with 90 m now");
    let kept = bench.log("s.db");
    let old = kept.entries.iter().find_map(|entry| match &entry.event {
        Event::Reading { verdict, .. } if entry.no == record.no => Some(verdict.clone()),
        _ => None,
    });
    assert_eq!(old, Some(record.verdict), "the event is as it was written");
}

#[test]
fn a_reading_that_the_changed_job_puts_in_doubt_is_asked_about_where_it_is_taken_up() {
    let bench = Bench::begun();
    bench.with_a_reading();
    let reading = bench.agenda().readings().last().unwrap().no;
    bench.write(
        "shorter.toml",
        &job("sockets = 2", "").replace("20 m", "2 m"),
    );
    bench
        .test("shorter.toml", "where are we\n", &["--job-changed"])
        .success()
        .stdout(contains("Circuit 1, socket 1, line to earth"))
        .stdout(contains("Affirm, or correct."));
    let agenda = bench.agenda();
    assert!(agenda.question().is_some(), "it waits for an answer");
    assert_eq!(
        agenda.reading(reading).unwrap().status,
        ReadingStatus::Questioned
    );
    // Taken up again it waits still, and is answered as if it were said now.
    bench.test("shorter.toml", "affirm\n", &[]).success();
    let agenda = bench.agenda();
    assert_eq!(agenda.question(), None);
    assert_eq!(
        agenda.reading(reading).unwrap().status,
        ReadingStatus::Counts
    );
    let step = agenda.reading(reading).unwrap().step.clone();
    assert_eq!(agenda.result_of(&step).unwrap().no, reading);
}

#[test]
fn a_reading_that_the_changed_job_puts_in_doubt_can_be_dropped() {
    let bench = Bench::begun();
    bench.with_a_reading();
    let record = bench.agenda().readings().last().unwrap().clone();
    bench.write(
        "shorter.toml",
        &job("sockets = 2", "").replace("20 m", "2 m"),
    );
    bench
        .test("shorter.toml", "negative\n", &["--job-changed"])
        .success();
    let agenda = bench.agenda();
    assert_eq!(agenda.question(), None);
    assert!(agenda.result_of(&record.step).is_none());
    let step = agenda.step(&record.step).unwrap();
    assert!(agenda.is_open(step), "it is to be read again");
}

#[test]
fn nothing_with_dead_tests_is_added_to_a_board_that_is_energised() {
    let text = fs::read_to_string("tests/dialogues/jobs/radial.toml").unwrap();
    let job = Job::parse(&text, "radial.toml").unwrap();
    let mut more = job.clone();
    let mut circuit = more.boards[0].circuits[0].clone();
    circuit.number = 77;
    more.boards[0].circuits.push(circuit);
    let (mut agenda, now) = opened(job);
    let energise = agenda
        .plan()
        .energising(1)
        .find(|step| matches!(&step.ask, bothhands::sequence::Ask::Statement(all) if all.contains(&bothhands::terms::Statement::Energised)))
        .unwrap()
        .id
        .clone();
    assert!(bothhands::sequence::change_job(&agenda, &more, "", "test", now).is_ok());
    let said = Event::Stated {
        step: energise,
        statement: bothhands::terms::Statement::Energised,
        place: None,
    };
    agenda.apply(&said, now);
    assert!(agenda.energised(1));
    let refused = bothhands::sequence::change_job(&agenda, &more, "", "test", now);
    assert_eq!(
        refused,
        Err(bothhands::sequence::ChangeRefusal::Energised(1))
    );
    let told = bothhands::sequence::say::not_changed(&agenda, &refused.unwrap_err());
    assert!(told.contains("go to safe isolation"), "{told}");
    // A name may be put right all the same.
    let mut renamed = agenda.job().clone();
    renamed.boards[0].circuits[0].name = "another name".to_owned();
    assert_eq!(
        bothhands::sequence::change_job(&agenda, &renamed, "", "test", now)
            .unwrap()
            .len(),
        1
    );
}

fn opened(job: Job) -> (Agenda, jiff::Timestamp) {
    let now: jiff::Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
    let (session, _) = bothhands::sequence::Session::begin(job, "test", now).unwrap();
    (session.state().clone(), now)
}

#[test]
fn logs_with_a_changed_job_are_merged_and_carried() {
    let bench = Bench::begun();
    fs::copy(bench.path("s.db"), bench.path("other.db")).unwrap();
    bench.write("more.toml", &job("sockets = 3", ""));
    bench
        .test("more.toml", "where are we\n", &["--job-changed"])
        .success();
    bench.run(&["export", "s.db", "-o", "s.jsonl"]).success();
    bench
        .run(&["import", "s.jsonl", "--db", "again.db"])
        .success();
    assert_eq!(bench.log("again.db").head, bench.log("s.db").head);
    bench
        .run(&["merge", "s.db", "other.db", "-o", "both.db"])
        .success();
    bench.run(&["verify", "both.db"]).success();
    bench
        .run(&["schedule", "both.db", "--out", "both"])
        .success();
    let whole = |name: &Path| {
        Store::open(name, OpenMode::Read)
            .unwrap()
            .check_whole()
            .is_ok()
    };
    assert!(whole(&bench.path("both.db")));
}

#[test]
fn a_point_added_by_voice_stays_though_no_file_has_it() {
    let bench = Bench::begun();
    bench
        .test("job.toml", "add a socket to circuit one\naffirm\n", &[])
        .success();
    let points = |bench: &Bench| bench.agenda().job().boards[0].circuits[0].points.len();
    assert_eq!(points(&bench), 3);
    // The file is as it was, and nothing is asked.
    bench.test("job.toml", "where are we\n", &[]).success();
    assert_eq!(points(&bench), 3);
    // A file that was changed since is a change, and says what it would take out.
    bench.write("more.toml", &job("sockets = 2\nlights = 1", ""));
    bench
        .test("more.toml", "where are we\n", &[])
        .failure()
        .stderr(contains("socket 3: taken out of the job"));
}

#[test]
fn a_circuit_added_by_voice_stays_though_no_file_has_it() {
    let bench = Bench::begun();
    let said = "add circuit five, lighting, six amp B, four lights\naffirm\n";
    bench.test("job.toml", said, &[]).success();
    let agenda = bench.agenda();
    let added = agenda.circuit(1, 5).unwrap();
    assert_eq!((added.name.as_str(), added.points.len()), ("lights", 4));
    assert!(
        agenda
            .plan()
            .steps
            .iter()
            .any(|step| step.circuit == Some(5))
    );
    bench.test("job.toml", "where are we\n", &[]).success();
    assert!(bench.agenda().circuit(1, 5).is_some());
}

#[test]
fn voltage_found_drops_no_reading_that_only_the_changed_job_put_in_doubt() {
    let bench = Bench::begun();
    bench.with_a_reading();
    let record = bench.agenda().readings().last().unwrap().clone();
    bench.write(
        "shorter.toml",
        &job("sockets = 2", "").replace("20 m", "2 m"),
    );
    bench
        .test("shorter.toml", "it is live\n", &["--job-changed"])
        .success();
    let agenda = bench.agenda();
    assert_eq!(agenda.question(), None, "a warning asks nothing else");
    let kept = agenda.reading(record.no).unwrap();
    assert_eq!(kept.status, ReadingStatus::Questioned);
    assert!(
        agenda.result_of(&record.step).is_none(),
        "it is not affirmed"
    );
}
