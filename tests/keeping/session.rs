//! The program itself is killed (SIGKILL) at random moments of a typed session.
//!
//! `BOTHHANDS_HARM=long cargo test --test it keeping::session -- --nocapture` kills 520 times and
//! prints counts; without it a sample is done.

use crate::keeping::{folder, long};
use bothhands::store::{OpenMode, Store};
use serde_json::Value;
use std::{
    fs,
    io::{BufRead, BufReader, Write},
    path::Path,
    process::{Command, Stdio},
    time::{Duration, SystemTime},
};

const JOB: &str = include_str!("../../demo/boathouse.toml");
/// Isolation and the instrument check, then the first reading.
const BEGINNING: &str = "done\nproved\nisolated\nlocked off\ndead\ndead\ndead\nproved\n\
                         over nine nine nine\nzero point zero zero\nline to neutral one zero zero\n";
const DIGITS: [&str; 10] = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
];

fn spoken(number: u64) -> String {
    number
        .to_string()
        .bytes()
        .filter_map(|digit| DIGITS.get(usize::from(digit.wrapping_sub(b'0'))))
        .copied()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The number in a line such as "read back: Line to neutral, one two six megohms."
fn read_back(line: &str) -> Option<String> {
    let text = line
        .strip_prefix("read back: ")?
        .strip_suffix(" megohms.")?;
    let digits: Vec<_> = text.rsplit(", ").next()?.split(' ').collect();
    digits
        .iter()
        .map(|word| {
            DIGITS
                .iter()
                .position(|digit| digit == word)
                .map(|digit| digit.to_string())
        })
        .collect()
}

/// The numbers of the readings in a log, in order, without those of the instrument check.
fn kept(path: &Path) -> Vec<String> {
    let store = Store::open(path, OpenMode::Read).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    store
        .records()
        .map(|record| record.unwrap())
        .filter(|record| record.kind == "reading")
        .map(|record| record.payload::<Value>().unwrap()["reading"].clone())
        .filter(|reading| reading["pair"] == "L-N")
        .map(|reading| reading["number"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn everything_that_was_read_back_is_there_after_kill_9() {
    let (sessions, kills) = if long() { (26, 20) } else { (1, 4) };
    let mut chance = SystemTime::now()
        .duration_since(SystemTime::UNIX_EPOCH)
        .unwrap()
        .subsec_nanos();
    let (mut heard, mut one_more, mut told) = (0, 0, 0);
    for _ in 0..sessions {
        let dir = folder();
        fs::write(dir.path().join("job.toml"), JOB).unwrap();
        let mut there: Vec<String> = Vec::new();
        for kill in 0..kills {
            chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let delay = Duration::from_micros(u64::from(chance >> 8) % 200_000);
            let run = type_and_kill(dir.path(), kill, delay);
            told += u64::from(run.told);
            heard += run.read_back.len();
            there.extend(run.read_back);
            let kept = kept(&dir.path().join("session.db"));
            assert!(
                kept.len() >= there.len(),
                "{} of {} read back",
                kept.len(),
                there.len()
            );
            assert_eq!(kept[..there.len()], there[..]);
            assert!(
                kept.len() <= there.len() + 1,
                "{} more",
                kept.len() - there.len()
            );
            one_more += usize::from(kept.len() > there.len());
            there = kept;
        }
    }
    let all = sessions * kills;
    println!(
        "kill -9 of a typed session: {all} times; {heard} readings read back, lost 0; {one_more} \
         times one more was kept and not yet read back; {told} next starts told of it"
    );
    assert!(heard > 0);
    assert_eq!(
        told,
        all - sessions,
        "each start but the first of a session"
    );
}

struct Run {
    read_back: Vec<String>,
    told: bool,
}

/// Goes on with the session, typing one correction after another, and kills it `delay` after its
/// first read-back.
fn type_and_kill(dir: &Path, kill: u64, delay: Duration) -> Run {
    let mut child = Command::new(env!("CARGO_BIN_EXE_bothhands"))
        .args([
            "test",
            "job.toml",
            "--db",
            "session.db",
            "--words",
            "-",
            "--voice",
            "terminal",
        ])
        .current_dir(dir)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut words = if kill == 0 {
        BEGINNING.to_owned()
    } else {
        String::new()
    };
    for n in 0..30 {
        words += &format!(
            "correction line to neutral {}\n",
            spoken(301 + kill * 30 + n)
        );
    }
    let mut keyboard = child.stdin.take().unwrap();
    keyboard.write_all(words.as_bytes()).unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap())
        .lines()
        .map_while(Result::ok);
    let is_reading = |line: &String| {
        line.starts_with("read back: Line to neutral, ") && read_back(line).is_some()
    };
    let first = lines.by_ref().find(is_reading);
    std::thread::sleep(delay);
    child.kill().unwrap();
    let shown: Vec<String> = first.into_iter().chain(lines.filter(is_reading)).collect();
    let output = child.wait_with_output().unwrap();
    drop(keyboard);
    Run {
        read_back: shown.iter().filter_map(|line| read_back(line)).collect(),
        told: String::from_utf8_lossy(&output.stderr).contains("cut short"),
    }
}
