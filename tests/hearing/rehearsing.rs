//! `rehearse` as a person uses it: twenty phrases, a profile, and a session that keeps to it.

use assert_cmd::Command;
use bothhands::audio;
use bothhands::dialogue::rehearsal::PHRASES;
use bothhands::dialogue::settings;
use bothhands::grammar::Grammar;
use bothhands::speech::ear::{Correction, Corrections, Ear};
use bothhands::speech::{DecodeContext, Recogniser, Rehearsed};
use predicates::prelude::*;
use predicates::str::contains;
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::process::Command as Program;
use std::sync::{Arc, OnceLock};

fn bothhands() -> Command {
    Command::cargo_bin("bothhands").unwrap()
}

/// The phrases as an American voice says them (Debian package flite), at a level of sox's choice.
fn spoken(decibels: &str) -> (tempfile::TempDir, Vec<PathBuf>) {
    crate::need("flite", "flite");
    crate::need("sox", "sox");
    let folder = tempfile::tempdir().unwrap();
    let files = PHRASES
        .iter()
        .enumerate()
        .map(|(n, phrase)| {
            let (raw, file) = (
                folder.path().join("raw.wav"),
                folder.path().join(format!("{n:02}.wav")),
            );
            let said = phrase.replace("megohms", "meg ohms");
            run(Program::new("flite")
                .args(["-voice", "rms", "-t", &said, "-o"])
                .arg(&raw));
            run(Program::new("sox")
                .args(["-D", "-R"])
                .arg(&raw)
                .args(["-r", "16000", "-b", "16"])
                .arg(&file)
                .args(["gain", "-n", decibels, "pad", "0.5", "0.9"]));
            file
        })
        .collect();
    (folder, files)
}

fn run(program: &mut Program) {
    let done = program.output();
    assert!(
        done.is_ok_and(|out| out.status.success()),
        "install flite and sox: {program:?}"
    );
}

/// At a usual level, once for all tests.
fn usual() -> &'static [PathBuf] {
    static SPOKEN: OnceLock<(tempfile::TempDir, Vec<PathBuf>)> = OnceLock::new();
    &SPOKEN.get_or_init(|| spoken("-6")).1
}

fn rehearse(profile: &Path, files: &[PathBuf]) -> Command {
    let mut command = bothhands();
    command
        .arg("rehearse")
        .arg(profile)
        .arg("--sound")
        .args(files);
    command
}

/// The number of phrases heard right, from the report.
fn right(out: &[u8]) -> u32 {
    let text = String::from_utf8_lossy(out);
    let line = text.lines().find(|line| line.contains(" right, ")).unwrap();
    let number = line.split_whitespace().nth(3).unwrap();
    number.parse().unwrap_or_else(|_| panic!("{line}"))
}

#[test]
fn twenty_phrases_make_a_profile_that_a_session_says_it_uses() {
    let folder = tempfile::tempdir().unwrap();
    let profile = folder.path().join("mine.toml");
    std::fs::write(&profile, "rate = 10 # a little faster\n").unwrap();
    let out = rehearse(&profile, usual()).output().unwrap();
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    // 20 were.
    assert!(
        right(&out.stdout) >= 16,
        "{}",
        String::from_utf8_lossy(&out.stdout)
    );
    let text = std::fs::read_to_string(&profile).unwrap();
    assert!(text.starts_with("rate = 10 # a little faster\n"), "{text}");
    assert!(
        text.contains("[hearing]") && text.contains("phrases = 20"),
        "{text}"
    );
    // What is learned is kept in both places or in none, and the person is told.
    let out = String::from_utf8_lossy(&out.stdout);
    let kept = folder.path().join("mine.ear").exists();
    assert_eq!(text.contains("[hearing.adapted]"), kept, "{text}");
    assert_eq!(
        out.contains("the last layer learned your voice"),
        kept,
        "{out}"
    );
    assert_ne!(out.contains("taught nothing that is kept"), kept, "{out}");

    bothhands()
        .arg("test")
        .arg("tests/jobs/boathouse.toml")
        .arg("--db")
        .arg(folder.path().join("log.db"))
        .arg("--profile")
        .arg(&profile)
        .args(["--sound", "demo/recordings/01-done.flac"])
        .assert()
        .success()
        .stderr(contains("Hearing as rehearsed on").and(contains("of 20 phrases right")));
}

/// A profile beside which a correction lies, the first number of which is `weight`, for a model with
/// this hash.
fn adapted(folder: &Path, model: &str, weight: f32) -> PathBuf {
    let mut correction = Correction::none(384, 40);
    correction.weights[0] = weight;
    let bytes = Corrections(vec![(model.to_owned(), correction)]).to_bytes();
    std::fs::write(folder.join("mine.ear"), &bytes).unwrap();
    let profile = format!(
        "[hearing]\nrehearsed = \"2026-01-01T00:00:00Z\"\nphrases = 20\nright = 17\n\
         speech_dbfs = -20.0\nroom_dbfs = -50.0\nprobability_below = 0.94\nfit_below = -1.25\n\
         \n[hearing.adapted]\nfile = \"mine.ear\"\nsha256 = \"{:x}\"\nright = 19\n",
        Sha256::digest(&bytes)
    );
    let path = folder.join("mine.toml");
    std::fs::write(&path, profile).unwrap();
    path
}

/// The hash of the model that ships, or of the first of two.
fn model() -> String {
    let grammar = Arc::new(Grammar::built_in().unwrap());
    Ear::new(grammar, 1).unwrap().hashes().remove(0)
}

/// A session with the profile in `folder`.
fn session(folder: &Path) -> std::process::Output {
    bothhands()
        .args(["test", "tests/jobs/boathouse.toml", "--db"])
        .arg(folder.join("log.db"))
        .arg("--profile")
        .arg(folder.join("mine.toml"))
        .args(["--sound", "demo/recordings/01-done.flac"])
        .output()
        .unwrap()
}

#[test]
fn what_was_learned_is_told_and_used() {
    let folder = tempfile::tempdir().unwrap();
    adapted(folder.path(), &model(), 0.0);
    let out = session(folder.path());
    let told = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{told}");
    assert!(
        told.contains("the last layer learned your voice (19 of them right since)"),
        "{told}"
    );

    // The blank made so unlikely that every frame is heard as a phone.
    let fit = |weight: f32| {
        let mut ear = Ear::new(Arc::new(Grammar::built_in().unwrap()), 1).unwrap();
        let profile = adapted(folder.path(), &ear.hashes().remove(0), weight);
        let text = std::fs::read_to_string(&profile).unwrap();
        let hearing = settings(&text).unwrap().1.unwrap();
        Rehearsed::open(hearing, folder.path())
            .unwrap()
            .set(&mut ear)
            .unwrap();
        let samples = audio::read(Path::new("tests/reference/reading.flac")).unwrap();
        let expected = DecodeContext {
            rule: "anything".to_owned(),
            excluded: Vec::new(),
        };
        ear.recognise(&samples, &expected)
            .unwrap()
            .scores
            .llr_per_phone
    };
    assert_ne!(fit(0.0), fit(50.0));
}

#[test]
fn what_was_learned_is_refused_where_it_does_not_belong_and_the_person_told_what_to_do() {
    let model = model();
    let refused = |model: &str, change: &dyn Fn(&Path)| {
        let folder = tempfile::tempdir().unwrap();
        adapted(folder.path(), model, 0.0);
        change(&folder.path().join("mine.ear"));
        let out = session(folder.path());
        assert_eq!(out.status.code(), Some(2));
        let told = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(
            told.contains("rehearse again with `bothhands rehearse`"),
            "{told}"
        );
        told
    };
    let missing = refused(&model, &|file| std::fs::remove_file(file).unwrap());
    assert!(missing.contains("can't read what was learned"), "{missing}");
    let changed = refused(&model, &|file| {
        let mut bytes = std::fs::read(file).unwrap();
        bytes[500] ^= 1;
        std::fs::write(file, bytes).unwrap();
    });
    assert!(changed.contains("SHA-256 differs"), "{changed}");
    let other = refused(&model.replace(|c| c > '4', "0"), &|_| {});
    assert!(other.contains("learned for another model"), "{other}");
}

#[test]
fn a_quiet_microphone_is_heard_as_well() {
    let folder = tempfile::tempdir().unwrap();
    let (_sound, quiet) = spoken("-46");
    let heard = |files: &[PathBuf]| {
        let out = rehearse(&folder.path().join("p.toml"), files)
            .arg("--dry-run")
            .output()
            .unwrap();
        assert!(out.status.success());
        out.stdout
    };
    let (loud, faint) = (heard(usual()), heard(&quiet));
    // 20 and 19 were; a voice as faint whose level is not raised loses more than half.
    assert!(
        right(&faint) + 5 >= right(&loud),
        "{}",
        String::from_utf8_lossy(&faint)
    );
    assert!(String::from_utf8_lossy(&faint).contains("Your voice is faint"));
    assert!(
        !folder.path().join("p.toml").exists(),
        "--dry-run writes nothing"
    );
}

#[test]
fn what_is_read_wrong_is_told_and_makes_the_program_more_careful() {
    // The first two recordings changed places: both are taken, and both are wrong.
    let folder = tempfile::tempdir().unwrap();
    let profile = folder.path().join("p.toml");
    let mut files = usual().to_vec();
    files.swap(0, 1);
    rehearse(&profile, &files)
        .assert()
        .success()
        .stdout(contains("WRONG").and(contains("asks again below a probability of 0.97")));
    let text = std::fs::read_to_string(&profile).unwrap();
    assert!(text.contains("probability_below = 0.97"), "{text}");
}

#[test]
fn a_rehearsal_that_ends_early_keeps_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let profile = folder.path().join("p.toml");
    rehearse(&profile, &usual()[..3])
        .assert()
        .code(2)
        .stderr(contains(
            "the sound ended after 3 of 20 phrases: nothing is kept",
        ));
    assert!(!profile.exists());
}

#[test]
fn a_file_that_is_no_profile_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    std::fs::write(&job, "title = \"Boathouse\"\n").unwrap();
    rehearse(&job, usual())
        .assert()
        .code(2)
        .stderr(contains("not a profile; correct it, or give another file"));
    assert_eq!(
        std::fs::read_to_string(&job).unwrap(),
        "title = \"Boathouse\"\n"
    );
}

#[test]
fn the_phrases_can_be_listed_to_record_them_elsewhere() {
    bothhands()
        .args(["rehearse", "p.toml", "--list"])
        .assert()
        .success()
        .stdout(contains(PHRASES[0]).and(contains(PHRASES[19])));
}
