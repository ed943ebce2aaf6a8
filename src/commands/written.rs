//! Files that are written: never over a log, and never over what they are made from.

use anyhow::{Context, bail};
use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// How every SQLite file begins.
const DATABASE: &[u8] = b"SQLite format 3\0";

/// Writes a file beside its place and moves it there when it is whole. What is there already is
/// replaced, but for a log or any other database, and for `inputs` and what belongs to them.
///
/// # Errors
/// When it is one of these, or can't be written.
pub(super) fn file(path: &Path, bytes: &[u8], inputs: &[&Path]) -> anyhow::Result<()> {
    refuse_what_is_dear(path, inputs)?;
    let part = beside(path, ".part");
    // An old one goes first and a new one is made: never through a link that somebody put there.
    let done = match fs::remove_file(&part) {
        Err(why) if why.kind() != io::ErrorKind::NotFound => Err(why),
        _ => OpenOptions::new().write(true).create_new(true).open(&part),
    }
    .and_then(|mut file| {
        let written = file.write_all(bytes).and_then(|()| file.sync_all());
        let moved = written.and_then(|()| fs::rename(&part, path));
        if moved.is_err() {
            let _ = fs::remove_file(&part);
        }
        moved
    });
    done.with_context(|| format!("{}: this cannot be written", path.display()))
}

fn refuse_what_is_dear(path: &Path, inputs: &[&Path]) -> anyhow::Result<()> {
    let same = |other: &Path| match (fs::canonicalize(path), fs::canonicalize(other)) {
        (Ok(one), Ok(other)) => one == other,
        _ => path == other,
    };
    for input in inputs {
        for ending in ["", "-wal", "-shm", ".lock"] {
            if same(&beside(input, ending)) {
                bail!(
                    "{}: this is what is read, or belongs to it, and is not written over; choose \
                     another name",
                    path.display()
                );
            }
        }
    }
    let mut begins = Vec::new();
    let looked =
        File::open(path).and_then(|file| file.take(DATABASE.len() as u64).read_to_end(&mut begins));
    if looked.is_ok() && begins == DATABASE {
        bail!(
            "{}: this is a log or another database, and is not written over; choose another name",
            path.display()
        );
    }
    Ok(())
}

/// The path with something added to its last part.
fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    name.into()
}
