//! The disk is full: a real one, not a pretended failure (those are in `keeping::power`).

#![cfg(unix)]

use crate::keeping::{clip, folder, note, other};
use bothhands::store::{OpenMode, Record, Store, StoreError};
use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
};

/// Appends until it is refused, telling of each event; then says why.
#[test]
#[ignore = "another process for these tests, which they start"]
fn other_program() {
    let task = other::task();
    let mut store = match Store::open(&task[0], OpenMode::AppendOrCreate) {
        Ok(store) => store,
        Err(why) => return other::tell(format!("refused {why}")),
    };
    for n in 0.. {
        match store.append(&[note(n)], Some(&clip("two nine nine", n))) {
            Ok(records) => other::tell(format!("kept {}", records[0].id)),
            Err(why) => {
                other::tell(format!("refused {why}"));
                let there = store.len().unwrap();
                return other::tell(format!("there {there}"));
            }
        }
    }
}

fn ids(path: &Path) -> Vec<String> {
    let store = Store::open(path, OpenMode::Append).unwrap();
    assert_eq!(store.verify().unwrap().faults, []);
    store
        .records()
        .map(|record| record.unwrap().id.to_string())
        .collect()
}

/// The system lets the program write files of 200 kB at most, as a quota would.
#[test]
fn a_limit_on_the_size_of_files() {
    let dir = folder();
    let path = dir.path().join("session.db");
    let limited = dir.path().join("limited.sh");
    let this = std::env::current_exe().unwrap();
    // A program that ignores the signal for it gets an error from the write instead.
    let script = format!(
        "#!/bin/sh\ntrap '' XFSZ\nulimit -f 400\nexec '{}' \"$@\"\n",
        this.display()
    );
    fs::write(&limited, script).unwrap();
    let mut told = {
        let mut other = other::start_with(
            module_path!(),
            &[path.to_str().unwrap()],
            Path::new("/bin/sh"),
            |command| {
                let args: Vec<_> = command.get_args().map(ToOwned::to_owned).collect();
                let mut with_script = Command::new("/bin/sh");
                with_script.arg(&limited).args(args);
                for (key, value) in command.get_envs() {
                    with_script.env(key, value.unwrap_or_default());
                }
                with_script
                    .stdin(std::process::Stdio::piped())
                    .stdout(std::process::Stdio::piped())
                    .stderr(std::process::Stdio::null());
                *command = with_script;
                command
            },
        );
        other.hear_all()
    };
    let there = told.pop().unwrap();
    let refused = told.pop().unwrap();
    assert!(refused.starts_with("refused nothing was kept"), "{refused}");
    assert_eq!(there, format!("there {}", told.len()));
    let kept: Vec<_> = told
        .iter()
        .map(|line| line.trim_start_matches("kept ").to_owned())
        .collect();
    assert!(kept.len() > 10, "{}", kept.len());
    assert_eq!(ids(&path), kept);
    println!(
        "file size limit: {} events kept, then refused; all there, none else",
        kept.len()
    );
}

/// A small file system of its own, gone with the value. Only the superuser may make one.
struct SmallDisk(
    PathBuf,
    #[expect(dead_code, reason = "removed last")] tempfile::TempDir,
);

impl SmallDisk {
    fn new(size: &str) -> Self {
        let dir = folder();
        let at = dir.path().join("small");
        fs::create_dir(&at).unwrap();
        let mount = ["mount", "-t", "tmpfs", "-o"];
        let done = superuser(&mount)
            .args([&format!("size={size},mode=777"), "tmpfs"])
            .arg(&at)
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "a small disk cannot be mounted: run the tests as root, or where sudo asks nothing: {}",
            String::from_utf8_lossy(&done.stderr)
        );
        Self(at, dir)
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = superuser(&["umount"]).arg(&self.0).status();
    }
}

/// A command to be done as root, by sudo where that is somebody else.
fn superuser(command: &[&str]) -> Command {
    let root = fs::metadata("/proc/self").is_ok_and(|data| {
        use std::os::unix::fs::MetadataExt;
        data.uid() == 0
    });
    let mut words = if root { vec![] } else { vec!["sudo", "-n"] };
    words.extend(command);
    let mut done = Command::new(words[0]);
    done.args(&words[1..]);
    done
}

#[test]
fn a_full_disk_keeps_what_it_had_and_the_session_goes_on_when_there_is_room() {
    let disk = SmallDisk::new("512k");
    let filler = disk.0.join("other-things");
    fs::write(&filler, vec![0; 100_000]).unwrap();
    let path = disk.0.join("session.db");
    let mut store = Store::open(&path, OpenMode::AppendOrCreate).unwrap();
    let mut kept: Vec<Record> = Vec::new();
    let refused = loop {
        let n = kept.len() as u64;
        match store.append(&[note(n)], Some(&clip("two nine nine", n))) {
            Ok(records) => kept.extend(records),
            Err(why) => break why,
        }
    };
    let StoreError::NotKept(why) = refused else {
        panic!("{refused}")
    };
    assert!(matches!(*why, StoreError::DiskFull(_)), "{why}");
    assert!(why.to_string().contains("Make room and try again"));
    let before = kept.len();
    for _ in 0..5 {
        assert!(
            store
                .append(&[note(1)], Some(&clip("two nine nine", 1)))
                .is_err()
        );
    }

    let elsewhere = disk.0.join("second.db");
    let refused = Store::open(&elsewhere, OpenMode::AppendOrCreate).and_then(|mut store| {
        let many: Vec<_> = (0..200).map(note).collect();
        store.append(&many, None).map(|_| ())
    });
    assert!(refused.unwrap_err().to_string().contains("disk is full"));

    fs::remove_file(&filler).unwrap();
    kept.extend(store.append(&[note(9)], Some(&clip("affirm", 9))).unwrap());
    drop(store);
    let kept: Vec<_> = kept.iter().map(|record| record.id.to_string()).collect();
    assert_eq!(ids(&path), kept);
    println!(
        "full disk: {before} events kept, 6 refused, 1 kept once there was room; all there, none else"
    );
}
