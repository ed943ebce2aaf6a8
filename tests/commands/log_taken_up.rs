//! Whoever opens a log refuses the same logs, and for the same reason.

use assert_cmd::Command;
use bothhands::store::{NewEvent, OpenMode, Store};
use std::path::Path;

fn bothhands(args: &[&str]) -> Command {
    let mut command = Command::cargo_bin("bothhands").unwrap();
    command.args(args);
    command
}

fn events(db: &Path) -> u64 {
    Store::open(db, OpenMode::Read).unwrap().len().unwrap()
}

#[test]
fn a_log_of_a_newer_version_is_not_taken_up_nor_reported_on() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("session.db");
    let at = db.display().to_string();
    let words = folder.path().join("words.txt");
    std::fs::write(&words, "where are we\n").unwrap();
    let test = [
        "test",
        concat!(env!("CARGO_MANIFEST_DIR"), "/demo/boathouse.toml"),
        "--db",
        &at,
        "--words",
        &words.display().to_string(),
    ];
    bothhands(&test).assert().success();
    let mut store = Store::open(&db, OpenMode::Append).unwrap();
    let newer = NewEvent::new("weighed", 1000, &"3 kg").unwrap();
    store.append(&[newer], None).unwrap();
    drop(store);
    let before = events(&db);
    for args in [&test[..], &["schedule", &at], &["log", &at]] {
        let told = bothhands(args).assert().code(2).get_output().stderr.clone();
        let told = String::from_utf8_lossy(&told).into_owned();
        assert!(told.contains(&at), "it names the log: {told}");
        assert!(
            told.contains("(weighed) was written by a newer version of bothhands"),
            "{args:?}: {told}"
        );
    }
    assert_eq!(events(&db), before, "nothing was added to it");
}
