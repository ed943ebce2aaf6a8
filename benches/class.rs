//! How long it takes to mark a class: 200 logs, with a page each and one for all. `BOTHHANDS=PROGRAM` times
//! another program; `KEEP=DIR` keeps what was written. Nothing is asserted.
#![allow(
    missing_docs,
    unreachable_pub,
    reason = "a program of measurements, used by nobody"
)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a measurement may fail"
)]

#[path = "../tests/practice/learner.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod learner;
#[path = "../tests/looking_back/rehearsal.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod rehearsal;

/// Where the learner finds it.
mod looking_back {
    pub(crate) use crate::rehearsal;
}

use bothhands::installation::Job;
use bothhands::log::{self, SharedClock};
use bothhands::practice::Hidden;
use bothhands::terms::Level;
use learner::{Habit, JOB, Learner};
use std::path::PathBuf;
use std::time::Instant;

fn main() {
    let temporary = tempfile::tempdir().unwrap();
    let folder = std::env::var_os("KEEP").map_or(temporary.path().to_owned(), PathBuf::from);
    std::fs::create_dir_all(&folder).unwrap();
    let habits = [
        None,
        Some(Habit::DoesNotIsolate),
        Some(Habit::DoesNotProveAgain),
        Some(Habit::LeadsNotNulled),
        Some(Habit::RingNotCrossed),
        Some(Habit::ElectronicsLeftIn),
        Some(Habit::DecimalPlaceOff),
        Some(Habit::SkipsPolarity),
    ];
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let mut names = vec!["mark".to_owned()];
    for n in 0..200 {
        let hidden = Hidden::drawn(&job, n % 10, 1, &[]);
        let habit = habits[n as usize % habits.len()];
        let mut learner = Learner::begin(JOB, hidden, Level::Led, habit);
        learner.go_to_the_end();
        let name = format!("learner-{n:03}.db");
        let clock = SharedClock::default();
        let (mut store, _) = log::take_up(&folder.join(&name), &clock).unwrap();
        clock.tick();
        let events: Vec<_> = learner
            .events
            .iter()
            .map(|(event, _)| event.clone())
            .collect();
        log::begin(&mut store, JOB, &events[..1]).unwrap();
        log::keep(&mut store, &events[1..], true, None).unwrap();
        names.push(name);
    }
    names.extend(["--out".to_owned(), "marks".to_owned()]);
    let args: Vec<&str> = names.iter().map(String::as_str).collect();
    let mut command = match std::env::var_os("BOTHHANDS") {
        Some(program) => std::process::Command::new(program),
        None => std::process::Command::new(env!("CARGO_BIN_EXE_bothhands")),
    };
    let begun = Instant::now();
    let done = command.current_dir(&folder).args(args).output().unwrap();
    assert!(done.status.success(), "{done:?}");
    println!(
        "200 logs marked, with their pages: {:.1} s",
        begun.elapsed().as_secs_f64()
    );
}
