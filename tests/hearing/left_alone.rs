//! What was spoken to a session that waited for something else is left alone, and kept with its sound for
//! whoever wants to learn from it. Spoken by flite (Debian).

use super::lone_digit::{bothhands, spoken};
use std::path::Path;

/// A session of these recordings, and what it shows.
pub fn session(db: &Path, sound: &[&Path]) -> String {
    let mut test = bothhands();
    test.args(["test", "tests/dialogues/jobs/plain.toml", "--db"])
        .arg(db)
        .arg("--sound")
        .args(sound);
    String::from_utf8(test.assert().success().get_output().stdout.clone()).unwrap()
}

pub fn shown(args: &[&str], db: &Path) -> String {
    let mut command = bothhands();
    command.args(args).arg(db);
    String::from_utf8(command.assert().success().get_output().stdout.clone()).unwrap()
}

#[test]
fn what_was_spoken_and_left_alone_is_kept_with_its_sound() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("log.db");
    let aside = spoken(folder.path(), "polarity is fine");
    let said = session(&db, &[&aside]);
    assert!(said.contains("(ignored: not for us)"), "{said}");
    // It is answered with nothing, and decides nothing.
    assert!(!said.contains("I don't know"), "{said}");
    let told = shown(&["log", "--only", "not-understood"], &db);
    assert!(
        told.contains("you      (spoken, and left alone; nearest to"),
        "{told}"
    );
    let lessons = shown(&["lessons", "--json"], &db);
    let lesson: serde_json::Value = serde_json::from_str(lessons.trim()).unwrap();
    assert_eq!(lesson["kind"], "not-understood");
    assert_eq!(lesson["rule"], "isolation");
    assert!(lesson["evidence"].is_string() && lesson["seconds"].as_f64() > Some(0.5));
    shown(&["verify"], &db);
}

/// Who stands by talks to somebody else.
#[test]
fn what_is_said_beside_the_session_while_it_stands_by_is_not_kept() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("log.db");
    let (wait, aside) = (
        spoken(folder.path(), "stand by"),
        spoken(folder.path(), "polarity is fine"),
    );
    let said = session(&db, &[&wait, &aside]);
    assert!(said.contains("(ignored: not for us)"), "{said}");
    assert_eq!(shown(&["lessons", "--json"], &db), "");
}
