//! Opening what is no log, or may not be written, or is in use: a message that says what to do,
//! and nothing changed.

use crate::keeping::{folder, note, other};
use bothhands::store::{OpenMode, Options, Store, StoreError};
use rusqlite::Connection;
use std::{
    fs,
    path::{Path, PathBuf},
    time::Duration,
};

const HERE: &str = module_path!();

/// What other processes do for these tests.
#[test]
#[ignore = "another process for these tests, which they start"]
fn other_program() {
    let task = other::task();
    let path = PathBuf::from(&task[1]);
    match task[0].as_str() {
        "open" => {
            let mode = if task[2] == "read" {
                OpenMode::Read
            } else {
                OpenMode::AppendOrCreate
            };
            match Store::open(&path, mode) {
                Ok(store) => {
                    let records = store.records().filter(Result::is_ok).count();
                    let whole = store.verify().is_ok_and(|verdict| verdict.is_whole());
                    other::tell(format!("ok {records} {whole}"));
                }
                Err(why) => other::tell(why),
            }
        }
        "hold" => {
            let _store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
            other::tell("open");
            wait_for_end();
        }
        "lock" => {
            let plain = Connection::open(&path).unwrap();
            plain.execute_batch(&task[2]).unwrap();
            other::tell("locked");
            wait_for_end();
        }
        "append" => append_in_turn(&path, task[2].parse().unwrap()),
        other => panic!("no such task: {other}"),
    }
}

/// Waits until whoever started this process closes its standard input, or kills it.
fn wait_for_end() {
    let _ = std::io::read_to_string(std::io::stdin());
}

/// Opens the log, appends, and closes it again, however often it is refused.
fn append_in_turn(path: &Path, times: u64) {
    for n in 0..times {
        let mut store = loop {
            match Store::open(path, OpenMode::AppendOrCreate) {
                Ok(store) => break store,
                Err(StoreError::InUse { .. }) => std::thread::sleep(Duration::from_millis(1)),
                Err(why) => panic!("{why}"),
            }
        };
        for record in store.append(&[note(n), note(n)], None).unwrap() {
            other::tell(record.id);
        }
    }
}

fn refusal(path: &Path, mode: OpenMode) -> String {
    Store::open(path, mode)
        .map(|_| ())
        .expect_err("refused")
        .to_string()
}

/// The file is refused in every mode with a message that says these things, and stays as it was.
fn refused_untouched(path: &Path, says: &[&str]) {
    let before = fs::read(path).unwrap();
    for mode in [OpenMode::Read, OpenMode::Append, OpenMode::AppendOrCreate] {
        let message = refusal(path, mode);
        assert!(
            message.starts_with(&path.display().to_string()),
            "{message}"
        );
        for part in says {
            assert!(message.contains(part), "{mode:?}: {message}");
        }
    }
    assert_eq!(fs::read(path).unwrap(), before);
    let left: Vec<_> = fs::read_dir(path.parent().unwrap()).unwrap().collect();
    assert_eq!(left.len(), 1, "nothing is left beside it");
}

fn small_log(path: &Path) {
    let mut store = Store::open(path, OpenMode::AppendOrCreate).unwrap();
    store.append(&[note(1), note(2), note(3)], None).unwrap();
}

#[test]
fn a_text_file_is_no_log() {
    let dir = folder();
    let path = dir.path().join("job.toml");
    fs::write(&path, "title = \"Boathouse\"\n".repeat(100)).unwrap();
    refused_untouched(&path, &["not a log", "Check the name"]);
}

#[test]
fn another_programs_database_is_no_log() {
    let dir = folder();
    let path = dir.path().join("rowers.db");
    Connection::open(&path)
        .unwrap()
        .execute_batch("CREATE TABLE rower (name TEXT)")
        .unwrap();
    refused_untouched(&path, &["not a bothhands log", "another name"]);
}

#[test]
fn a_log_of_a_newer_version_is_left_alone() {
    let dir = folder();
    let path = dir.path().join("session.db");
    small_log(&path);
    let plain = Connection::open(&path).unwrap();
    plain.pragma_update(None, "user_version", 99).unwrap();
    plain
        .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
        .unwrap();
    drop(plain);
    refused_untouched(&path, &["format 99", "newer bothhands"]);
}

#[test]
fn a_log_cut_in_half_is_damaged() {
    let dir = folder();
    let path = dir.path().join("session.db");
    small_log(&path);
    let data = fs::read(&path).unwrap();
    fs::write(&path, &data[..data.len() / 2]).unwrap();
    let message = refusal(&path, OpenMode::Append);
    assert!(
        message.contains("damaged") && message.contains("Keep the file"),
        "{message}"
    );
    assert_eq!(fs::read(&path).unwrap(), data[..data.len() / 2]);
}

#[test]
fn an_empty_file_holds_nothing_and_may_become_a_log() {
    let dir = folder();
    let path = dir.path().join("session.db");
    fs::write(&path, "").unwrap();
    for mode in [OpenMode::Read, OpenMode::Append] {
        assert!(refusal(&path, mode).contains("nothing has been kept"));
    }
    small_log(&path);
    assert_eq!(
        Store::open(&path, OpenMode::Read).unwrap().len().unwrap(),
        3
    );
}

#[test]
fn what_is_not_there_is_only_made_when_asked_for() {
    let dir = folder();
    let path = dir.path().join("session.db");
    for mode in [OpenMode::Read, OpenMode::Append] {
        assert!(refusal(&path, mode).contains("no such log"));
    }
    assert!(!path.exists());
    let nowhere = dir.path().join("no/such/folder/session.db");
    let message = refusal(&nowhere, OpenMode::AppendOrCreate);
    assert!(
        message.contains("there is no folder") && message.contains("make it first"),
        "{message}"
    );
    let message = refusal(dir.path(), OpenMode::AppendOrCreate);
    assert!(message.contains("this is a folder"), "{message}");
}

#[cfg(unix)]
#[test]
fn a_device_is_no_log() {
    assert!(refusal(Path::new("/dev/null"), OpenMode::Read).contains("not an ordinary file"));
}

#[cfg(unix)]
#[test]
fn a_name_that_is_no_text_will_do() {
    use std::os::unix::ffi::OsStrExt;
    let dir = folder();
    let path = dir
        .path()
        .join(std::ffi::OsStr::from_bytes(b"s\xff?mode=ro&x%41.db"));
    small_log(&path);
    assert_eq!(
        Store::open(&path, OpenMode::Read).unwrap().len().unwrap(),
        3
    );
}

#[test]
fn a_second_program_is_told_who_writes() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let mut first = other::start(HERE, &["hold", path.to_str().unwrap()]);
    assert_eq!(first.hear().as_deref(), Some("open"));
    let message = refusal(&path, OpenMode::AppendOrCreate);
    assert!(
        message.contains("another program is writing this log"),
        "{message}"
    );
    assert!(
        message.contains(&format!("process {}", first.pid())),
        "{message}"
    );
    assert!(
        Store::open(&path, OpenMode::Read).is_err_and(|why| matches!(why, StoreError::Empty(_)))
            || Store::open(&path, OpenMode::Read).is_ok(),
        "readers may read"
    );
    first.kill();
    let store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    let told = store.opening().to_string();
    assert!(told.contains(&format!("process {}", first.pid())), "{told}");
}

#[test]
fn many_programs_take_turns_and_none_loses_anything() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let (programs, times) = if crate::keeping::long() {
        (8, "100")
    } else {
        (4, "6")
    };
    let mut others: Vec<_> = (0..programs)
        .map(|_| other::start(HERE, &["append", path.to_str().unwrap(), times]))
        .collect();
    let mut told: Vec<String> = others.iter_mut().flat_map(other::Other::hear_all).collect();
    let store = Store::open(&path, OpenMode::Read).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    let mut kept: Vec<String> = store
        .records()
        .map(|record| record.unwrap().id.to_string())
        .collect();
    told.sort();
    kept.sort();
    assert_eq!(told, kept);
    assert_eq!(kept.len(), programs * times.parse::<usize>().unwrap() * 2);
    println!(
        "{programs} programs took turns: {} events, all there, none else",
        kept.len()
    );
}

#[test]
fn a_database_locked_elsewhere_is_told_and_the_session_goes_on_afterwards() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let patience = Duration::from_millis(50);
    let open = || {
        Store::open_with(
            &path,
            Options::new(OpenMode::AppendOrCreate).patience(patience),
        )
    };
    let mut store = open().unwrap();
    store.append(&[note(1)], None).unwrap();

    let mut holder = other::start(HERE, &["lock", path.to_str().unwrap(), "BEGIN IMMEDIATE"]);
    assert_eq!(holder.hear().as_deref(), Some("locked"));
    let message = store.append(&[note(2)], None).unwrap_err().to_string();
    assert!(message.starts_with("nothing was kept"), "{message}");
    assert!(
        message.contains("locked") && message.contains("try again"),
        "{message}"
    );
    #[cfg(target_os = "linux")]
    assert!(
        message.contains(&format!("process {}", holder.pid())),
        "{message}"
    );
    holder.kill();
    store.append(&[note(3)], None).unwrap();
    drop(store);

    let mut holder = other::start(
        HERE,
        &[
            "lock",
            path.to_str().unwrap(),
            "PRAGMA locking_mode=EXCLUSIVE; BEGIN EXCLUSIVE",
        ],
    );
    assert_eq!(holder.hear().as_deref(), Some("locked"));
    let message = open().unwrap_err().to_string();
    assert!(message.contains("locked"), "{message}");
    holder.kill();
    let store = open().unwrap();
    assert_eq!(store.len().unwrap(), 2);
    assert_eq!(store.verify().unwrap().faults, []);
}

/// The superuser may write everything, so these are done as nobody.
#[cfg(unix)]
mod not_to_be_written {
    use super::*;
    use std::os::unix::{fs::PermissionsExt, process::CommandExt};

    const NOBODY: u32 = 65_534;

    fn permit(path: &Path, mode: u32) {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    }

    fn as_nobody(task: &[&str], binary: &Path) -> String {
        let root = fs::metadata(binary).is_ok_and(|data| {
            use std::os::unix::fs::MetadataExt;
            data.uid() == 0
        });
        let mut other = other::start_with(HERE, task, binary, |command| {
            if root {
                command.uid(NOBODY).gid(NOBODY)
            } else {
                command
            }
        });
        other.hear().expect("an answer")
    }

    /// A log in a folder that others can reach, and this program where they can run it.
    fn scene() -> (tempfile::TempDir, PathBuf, PathBuf) {
        let dir = folder();
        permit(dir.path(), 0o755);
        let binary = dir.path().join("other");
        fs::copy(std::env::current_exe().unwrap(), &binary).unwrap();
        permit(&binary, 0o755);
        let inner = dir.path().join("logs");
        fs::create_dir(&inner).unwrap();
        let path = inner.join("session.db");
        small_log(&path);
        (dir, path, binary)
    }

    #[test]
    fn a_folder() {
        let (_dir, path, binary) = scene();
        let inner = path.parent().unwrap();
        let before = fs::read(&path).unwrap();
        permit(&path, 0o444);
        permit(inner, 0o555);
        let db = path.to_str().unwrap();
        let refused = as_nobody(&["open", db, "append"], &binary);
        assert!(
            refused.contains("cannot be written") && refused.contains("--db"),
            "{refused}"
        );
        assert_eq!(as_nobody(&["open", db, "read"], &binary), "ok 3 true");
        let new = inner.join("new.db");
        let refused = as_nobody(&["open", new.to_str().unwrap(), "append"], &binary);
        assert!(refused.contains("cannot be written"), "{refused}");
        assert_eq!(fs::read(&path).unwrap(), before);
        assert_eq!(fs::read_dir(inner).unwrap().count(), 1);
        permit(inner, 0o755);
    }

    #[test]
    fn a_folder_with_a_log_that_was_cut_short() {
        let (_dir, path, binary) = scene();
        let inner = path.parent().unwrap().to_owned();
        // As a killed writer leaves it: the last event is in the write-ahead log alone.
        let writer = Connection::open(&path).unwrap();
        writer.pragma_update(None, "wal_autocheckpoint", 0).unwrap();
        let crashed = inner.join("crashed.db");
        writer
            .execute_batch("INSERT INTO chain VALUES (hex(randomblob(16)), 0)")
            .unwrap();
        fs::copy(&path, &crashed).unwrap();
        fs::copy(inner.join("session.db-wal"), inner.join("crashed.db-wal")).unwrap();
        drop(writer);
        for file in ["crashed.db", "crashed.db-wal"] {
            permit(&inner.join(file), 0o444);
        }
        permit(&inner, 0o555);
        let answer = as_nobody(&["open", crashed.to_str().unwrap(), "read"], &binary);
        assert_eq!(answer, "ok 3 true");
        permit(&inner, 0o755);
    }

    #[test]
    fn a_file() {
        let (_dir, path, binary) = scene();
        let inner = path.parent().unwrap();
        permit(&path, 0o444);
        permit(inner, 0o777);
        let db = path.to_str().unwrap();
        let refused = as_nobody(&["open", db, "append"], &binary);
        assert!(refused.contains("cannot be written"), "{refused}");
        assert_eq!(as_nobody(&["open", db, "read"], &binary), "ok 3 true");
        assert_eq!(
            fs::read_dir(inner).unwrap().count(),
            1,
            "nothing is left beside it"
        );
    }

    #[test]
    fn a_file_that_may_not_be_read() {
        let (_dir, path, binary) = scene();
        permit(&path, 0o000);
        let refused = as_nobody(&["open", path.to_str().unwrap(), "read"], &binary);
        assert!(refused.starts_with(path.to_str().unwrap()), "{refused}");
    }
}
