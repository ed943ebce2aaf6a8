//! Logs written by earlier versions stay readable, and what the documentation says of them is
//! enough to check them without this program.
//!
//! `tests/golden/log-v1.sql` is a log of database format 1 as text (`sqlite3 LOG .dump`, with its
//! two header numbers), `log-v1.jsonl` the same log as lines of version 1. Never change them: a
//! new format gets files of its own.

use crate::keeping::folder;
use bothhands::store::{OpenMode, Sounds, Store, import};
use std::{fs, path::Path, process::Command};

const LINES: &str = "tests/golden/log-v1.jsonl";
const DUMP: &str = "tests/golden/log-v1.sql";

fn exported(store: &Store) -> String {
    let mut lines = Vec::new();
    store.export(&mut lines, &Sounds::Inside).unwrap();
    String::from_utf8(lines).unwrap()
}

#[test]
fn lines_of_version_1_can_be_imported() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let lines = fs::read_to_string(LINES).unwrap();
    import(&mut lines.as_bytes(), Path::new(LINES), None, &path).unwrap();
    let store = Store::open(&path, OpenMode::Read).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    assert_eq!(exported(&store), lines);
}

#[test]
fn a_log_of_format_1_can_be_opened_and_gone_on_in() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let plain = rusqlite::Connection::open(&path).unwrap();
    plain
        .execute_batch(&fs::read_to_string(DUMP).unwrap())
        .unwrap();
    drop(plain);
    let mut store = Store::open(&path, OpenMode::Append).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    assert_eq!(exported(&store), fs::read_to_string(LINES).unwrap());
    assert_eq!(
        store.job().unwrap().as_deref(),
        Some("title = \"Boathouse\"\n")
    );
    let events = store.len().unwrap();
    store.append(&[crate::keeping::note(1)], None).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    assert_eq!(store.len().unwrap(), events + 1);
}

/// Python's own SHA-256, JSON and Base64 find the lines to be as described.
#[test]
fn another_program_finds_that_the_hashes_fit() {
    crate::need("python3", "python3");
    let check = |lines: &Path| {
        Command::new("python3")
            .arg("tests/keeping/check_lines.py")
            .arg(lines)
            .output()
            .unwrap()
    };
    let output = check(Path::new(LINES));
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert_eq!(said.trim(), "8 events and 2 pieces of evidence fit");

    let dir = folder();
    let changed = dir.path().join("changed.jsonl");
    let text = fs::read_to_string(LINES)
        .unwrap()
        .replace("number 2 ", "number 3 ");
    fs::write(&changed, text).unwrap();
    assert!(
        !check(&changed).status.success(),
        "and that a changed one does not"
    );
}
