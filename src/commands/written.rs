//! Files that are written: never over a log, and never over what they are made from.

use super::shown;
use anyhow::{Context, bail};
use bothhands::installation::Job;
use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// How every SQLite file begins.
pub(super) const DATABASE: &[u8] = b"SQLite format 3\0";

/// Writes a file beside its place and moves it there when it is whole. What is there already is
/// replaced, but for a log or any other database, and for `inputs` and what belongs to them.
///
/// # Errors
/// When it is one of these, or can't be written.
pub(super) fn file(path: &Path, bytes: &[u8], inputs: &[&Path]) -> anyhow::Result<()> {
    refuse_what_is_dear(path, inputs)?;
    refuse_what_is_another_kind(path, bytes)?;
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

/// What is written, by what a terminal may show of it.
pub(super) enum Output {
    /// A page for a browser.
    Page(String),
    /// Paper.
    Pdf(Vec<u8>),
    /// Text.
    Text(String),
    /// JSON.
    Json(String),
    /// Anything else that is not for a terminal.
    Archive(Vec<u8>),
}

impl Output {
    fn bytes(&self) -> &[u8] {
        match self {
            Self::Page(text) | Self::Text(text) | Self::Json(text) => text.as_bytes(),
            Self::Pdf(bytes) | Self::Archive(bytes) => bytes,
        }
    }
}

/// The files of one command, one of which may be standard output.
pub(super) struct Outputs<'a> {
    /// What they are made from.
    inputs: &'a [&'a Path],
    files: Vec<(PathBuf, Output)>,
}

/// The name of standard output among files.
const STANDARD: &str = "-";

impl<'a> Outputs<'a> {
    pub(super) fn new(inputs: &'a [&'a Path]) -> Self {
        Self {
            inputs,
            files: Vec::new(),
        }
    }

    /// One more file.
    ///
    /// # Errors
    /// When another goes to the same place.
    pub(super) fn add(&mut self, path: PathBuf, what: Output) -> anyhow::Result<()> {
        if self.files.iter().any(|(other, _)| *other == path) {
            bail!(
                "{}: two things can't be written to one place; give each its own",
                path.display()
            );
        }
        self.files.push((path, what));
        Ok(())
    }

    /// Writes all of them, and says which: where one of them is standard output, nothing else goes
    /// there.
    ///
    /// # Errors
    /// When one can't be written.
    pub(super) fn write(&self) -> anyhow::Result<()> {
        let piped = self.piped();
        self.put(|path| {
            let wrote = format!("wrote {}", path.display());
            if piped {
                shown::note(wrote);
                Ok(())
            } else {
                shown::line(wrote)
            }
        })
    }

    /// Writes all of them, and says which as JSON, with what else there is to say.
    ///
    /// # Errors
    /// When one is standard output, where the JSON goes, or can't be written.
    pub(super) fn write_told_as_json(&self, told: &mut serde_json::Value) -> anyhow::Result<()> {
        if self.piped() {
            bail!("a file goes to standard output: leave --json out, or name another place for it");
        }
        let mut wrote = Vec::new();
        self.put(|path| {
            wrote.push(path.display().to_string());
            Ok(())
        })?;
        told["wrote"] = wrote.into();
        shown::json(&format!("{told}\n"))
    }

    /// Whether one of them is standard output.
    fn piped(&self) -> bool {
        self.files
            .iter()
            .any(|(path, _)| path == Path::new(STANDARD))
    }

    fn put(&self, mut wrote: impl FnMut(&Path) -> anyhow::Result<()>) -> anyhow::Result<()> {
        let standard = |path: &Path| path == Path::new(STANDARD);
        for (path, what) in &self.files {
            if standard(path) {
                match what {
                    Output::Json(text) => shown::json(text)?,
                    Output::Page(text) | Output::Text(text) => shown::text_or_piped(text)?,
                    Output::Pdf(bytes) | Output::Archive(bytes) => shown::only_piped(bytes)?,
                }
                continue;
            }
            file(path, what.bytes(), self.inputs)?;
            wrote(path)?;
        }
        Ok(())
    }

    /// Opens the page that was written, or the paper where there is no page, with what this machine
    /// opens such files with.
    ///
    /// # Errors
    /// When there is none, or nothing opens it.
    pub(super) fn open(&self) -> anyhow::Result<()> {
        let page = |pdf: bool| {
            self.files.iter().find(|(path, what)| {
                path != Path::new(STANDARD)
                    && (matches!(what, Output::Page(_)) || pdf && matches!(what, Output::Pdf(_)))
            })
        };
        let Some((path, _)) = page(false).or_else(|| page(true)) else {
            bail!("there is no page to open: write one to a file (--html FILE)");
        };
        // What opens it may start in another folder.
        let whole = fs::canonicalize(path)
            .with_context(|| format!("{}: this cannot be opened", path.display()))?;
        opened(whole.as_os_str())
    }
}

/// Opens a file or an address with what this machine opens such things with.
///
/// # Errors
/// When nothing does.
pub(super) fn opened(what: &std::ffi::OsStr) -> anyhow::Result<()> {
    open::that_detached(what).with_context(|| {
        format!(
            "{}: nothing on this machine opens it; open it by hand",
            what.display()
        )
    })
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

/// How pages, paper and archives begin.
const KINDS: [&[u8]; 3] = [b"<!DOCTYPE", b"%PDF", b"PK"];

/// Endings of what is written for people and other programs, and made anew whenever it is wanted.
const WRITTEN: [&str; 8] = ["html", "htm", "pdf", "zip", "csv", "json", "jsonl", "tsv"];

/// What is there is replaced by what is newer of its kind: never a job file, a picture or a letter by a
/// page.
fn refuse_what_is_another_kind(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let kind = |bytes: &[u8]| KINDS.iter().position(|begins| bytes.starts_with(begins));
    let Ok(there) = fs::read(path) else {
        return Ok(());
    };
    let is_job = || {
        let text = std::str::from_utf8(&there).unwrap_or_default();
        Job::parse(text, "").is_ok()
    };
    let named_so = path
        .extension()
        .and_then(|ending| ending.to_str())
        .is_some_and(|ending| WRITTEN.contains(&ending));
    if there.is_empty() || (named_so || kind(&there) == kind(bytes)) && !is_job() {
        return Ok(());
    }
    bail!(
        "{}: what is there is something else, and is not written over; choose another name",
        path.display()
    )
}

/// The path with something added to its last part.
fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    name.into()
}
