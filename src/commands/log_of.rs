//! The log that a command reads: a file, or its lines on standard input as `export` writes them.

use super::written::DATABASE;
use anyhow::bail;
use bothhands::store::{OpenMode, Store, import};
use std::io::{self, BufRead};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A log that is open to be read.
pub(super) struct Opened {
    /// The log.
    pub(super) store: Store,
    /// How messages call it.
    pub(super) name: PathBuf,
    /// Where it is while it is read, when it came through standard input.
    _place: Option<TempDir>,
}

/// Opens the log of this name; `-` takes the lines of one from standard input.
///
/// # Errors
/// When there is none, or it can't be read.
pub(super) fn opened(db: &Path) -> anyhow::Result<Opened> {
    if !is_piped(db) {
        return Ok(Opened {
            store: Store::open(db, OpenMode::Read)?,
            name: db.to_owned(),
            _place: None,
        });
    }
    let name = PathBuf::from("standard input");
    let mut lines = io::stdin().lock();
    if lines.fill_buf()?.starts_with(DATABASE) {
        bail!(
            "standard input: this is the log's file itself, part of which may stand beside it: name the file \
             in place of -, or send what `bothhands export` writes"
        );
    }
    let place = tempfile::tempdir()?;
    let made = place.path().join("piped.db");
    import(&mut lines, &name, None, &made)?;
    Ok(Opened {
        store: Store::open(&made, OpenMode::Read)?,
        name,
        _place: Some(place),
    })
}

/// Whether a log comes through standard input.
pub(super) fn is_piped(db: &Path) -> bool {
    db == Path::new("-")
}
