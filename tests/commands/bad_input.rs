//! Bad input gets a clear message that names the file (and the line where there is one), exit
//! status 2, and loses nothing.

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tempfile::TempDir;

const JOB: &str = include_str!("../../demo/boathouse.toml");
/// Isolation, as it is typed.
const ISOLATED: &str = "done\nproved\nisolated\nlocked off\ndead\ndead\ndead\nproved\n";

struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("job.toml"), JOB).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        fs::write(&path, bytes).unwrap();
        path
    }

    fn bothhands(&self) -> Command {
        let mut command = Command::cargo_bin("bothhands").unwrap();
        command
            .current_dir(self.folder.path())
            .timeout(Duration::from_secs(120));
        command
    }

    /// Runs the job on typed words, with the log in `session.db`.
    fn typed(&self, words: &str) -> assert_cmd::assert::Assert {
        self.write("words.txt", words);
        self.bothhands()
            .args([
                "test",
                "job.toml",
                "--db",
                "session.db",
                "--words",
                "words.txt",
            ])
            .assert()
    }

    fn log(&self) -> String {
        let output = self
            .bothhands()
            .args(["log", "session.db", "--json"])
            .output()
            .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    }
}

fn wav(samples: &[i16], rate: u32, path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
}

/// Noise without any voice in it, the same every time.
fn noise(seconds: u32) -> Vec<i16> {
    let mut state = 1u32;
    (0..16_000 * seconds)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 20) as i16 - 2048
        })
        .collect()
}

#[test]
fn a_missing_recording_is_named() {
    let bench = Bench::new();
    bench
        .bothhands()
        .args(["hear", "missing.wav"])
        .assert()
        .code(2)
        .stderr(contains("missing.wav"));
    bench
        .bothhands()
        .args(["test", "job.toml", "--sound", "missing.wav"])
        .assert()
        .code(2)
        .stderr(contains("missing.wav"));
}

#[test]
fn damaged_and_empty_recordings_are_named() {
    let bench = Bench::new();
    bench.write("empty.wav", []);
    bench.write("text.wav", "this is no recording");
    wav(&noise(1), 16_000, &bench.path("whole.wav"));
    let whole = fs::read(bench.path("whole.wav")).unwrap();
    bench.write("header.wav", &whole[..30]);
    for name in ["empty.wav", "text.wav", "header.wav"] {
        bench
            .bothhands()
            .args(["hear", name])
            .assert()
            .code(2)
            .stderr(contains(name));
    }
}

#[test]
fn any_sample_rate_is_taken() {
    let bench = Bench::new();
    for rate in [8_000, 11_025, 44_100, 48_000] {
        wav(&noise(1), rate, &bench.path("rate.wav"));
        bench
            .bothhands()
            .args(["hear", "rate.wav"])
            .assert()
            .success();
    }
}

#[test]
fn silence_and_ten_minutes_of_noise_give_no_reading() {
    let bench = Bench::new();
    wav(&vec![0; 32_000], 16_000, &bench.path("silence.wav"));
    wav(&noise(600), 16_000, &bench.path("noise.wav"));
    bench
        .bothhands()
        .args(["test", "job.toml", "--db", "session.db", "--voice", "none"])
        .args(["--sound", "silence.wav", "noise.wav"])
        .assert()
        .success();
    let log = bench.log();
    assert!(!log.contains("\"reading\""), "{log}");
    assert!(!log.contains("\"stated\""), "{log}");
}

#[test]
fn a_job_file_with_an_unknown_key_names_file_and_line() {
    let bench = Bench::new();
    let line = 1 + JOB.lines().take_while(|l| !l.starts_with("tester")).count();
    bench.write("typo.toml", JOB.replace("tester =", "testor ="));
    bench
        .bothhands()
        .args(["check", "typo.toml"])
        .assert()
        .code(2)
        .stderr(contains(format!("typo.toml:{line}")).and(contains("testor")));
}

#[test]
fn an_impossible_device_names_file_and_line() {
    let bench = Bench::new();
    let line = 1 + JOB.lines().take_while(|l| !l.starts_with("device")).count();
    bench.write("zero.toml", JOB.replace("amps = 20", "amps = 0"));
    for command in ["check", "test"] {
        bench
            .bothhands()
            .args([command, "zero.toml"])
            .assert()
            .code(2)
            .stderr(contains(format!("zero.toml:{line}")));
    }
    assert!(!bench.path("zero.db").exists(), "no log for a bad job");
}

#[test]
fn a_log_in_use_by_another_program_is_left_alone() {
    let bench = Bench::new();
    bench.typed(ISOLATED).success();
    let held = bothhands::store::Store::open(
        bench.path("session.db"),
        bothhands::store::OpenMode::AppendOrCreate,
    )
    .unwrap();
    let before = held.len().unwrap();
    bench
        .typed("over nine nine nine\n")
        .code(2)
        .stderr(contains("session.db"));
    assert_eq!(held.len().unwrap(), before);
}

#[test]
fn a_log_that_is_no_log_is_left_alone() {
    let bench = Bench::new();
    bench.write("session.db", "not a database, but somebody's notes");
    bench.typed(ISOLATED).code(2).stderr(contains("session.db"));
    assert_eq!(
        fs::read_to_string(bench.path("session.db")).unwrap(),
        "not a database, but somebody's notes"
    );
}

#[test]
fn a_log_from_a_newer_version_is_left_alone() {
    let bench = Bench::new();
    bench.typed(ISOLATED).success();
    let path = bench.path("session.db");
    {
        let connection = rusqlite::Connection::open(&path).unwrap();
        connection
            .pragma_update(None, "user_version", 4_000)
            .unwrap();
    }
    bench
        .typed("over nine nine nine\n")
        .code(2)
        .stderr(contains("session.db").and(contains("newer")));
}

#[test]
fn a_log_of_another_job_is_left_alone() {
    let bench = Bench::new();
    bench.typed(ISOLATED).success();
    bench.write("job.toml", JOB.replace("A. Learner", "C. Learner"));
    bench
        .typed("over nine nine nine\n")
        .code(2)
        .stderr(contains("session.db").and(contains("--db")));
}

#[test]
fn a_place_that_cannot_be_said_is_named() {
    let bench = Bench::new();
    bench.write("job.toml", JOB.replace("door entry unit", "xylqz unit"));
    // Typed, its name will do; by voice it has another, which `check` says.
    bench.typed(ISOLATED).success();
    bench
        .bothhands()
        .args(["check", "job.toml"])
        .assert()
        .success()
        .stdout(contains("\"point one\" for \"xylqz unit\""));
}

#[test]
fn typed_words_that_mean_nothing_change_nothing() {
    let bench = Bench::new();
    bench.typed("have you seen the oars\n").success();
    let before = bench.log();
    bench.typed("and the blue boat\n").success();
    let after = bench.log();
    assert_eq!(
        before.matches("\"stated\"").count(),
        after.matches("\"stated\"").count()
    );
}

#[test]
fn the_same_command_takes_a_session_up_where_it_stopped() {
    let bench = Bench::new();
    bench.typed("done\nproved\nisolated\n").success();
    bench
        .typed("locked off\ndead\ndead\ndead\nproved\n")
        .success()
        .stdout(contains("Resuming").and(contains("Lock off")))
        .stdout(contains("Recorded as isolated and proved dead by you"));
}

#[test]
fn no_microphone_is_told_and_leaves_no_log_behind() {
    let bench = Bench::new();
    // No sound server and no card: what ALSA is told to use does not exist.
    let none = bench.write("asound.conf", "pcm.!default { type hw card 99 }\n");
    bench
        .bothhands()
        .env("ALSA_CONFIG_PATH", none)
        .env("XDG_RUNTIME_DIR", bench.path("nowhere"))
        .env("PULSE_SERVER", "unix:/nonexistent")
        .args(["test", "job.toml", "--db", "session.db", "--sound", "mic"])
        .args(["--voice", "none"])
        .assert()
        .code(2)
        .stderr(contains("microphone").and(contains("--device").or(contains("plug"))));
    assert!(!bench.path("session.db").exists());
}

#[test]
fn the_screen_without_a_terminal_becomes_plain_lines() {
    let bench = Bench::new();
    bench.write("words.txt", "done\n");
    bench
        .bothhands()
        .args(["test", "job.toml", "--words", "words.txt", "--screen"])
        .assert()
        .success()
        .stderr(contains("This is no terminal: plain lines are written"))
        .stdout(contains("you:  done").and(contains('\u{1b}').not()));
}

#[test]
fn a_rate_or_a_profile_out_of_range_is_named() {
    let bench = Bench::new();
    bench
        .bothhands()
        .args(["test", "job.toml", "--words", "-", "--rate", "500"])
        .assert()
        .code(2)
        .stderr(contains("rate goes from -100 to 100"));
    bench.write("mine.toml", "volume = 130\n");
    bench.write("words.txt", "done\n");
    let with = |profile: &str, says: &str| {
        bench
            .bothhands()
            .args(["test", "job.toml", "--words", "words.txt"])
            .args(["--voice", "system", "--profile", profile])
            .assert()
            .code(2)
            .stderr(contains(profile).and(contains(says)));
    };
    with("mine.toml", "volume goes from 0 to 100");
    with("missing.toml", "can't read the profile");
    assert!(
        !bench.path("job.db").exists(),
        "no empty log is left behind"
    );
}
