//! What is written to the terminal, or to whatever stands in its place. Nothing here ends the
//! program: a reader such as `head` that has seen enough is no error, and a full disk is one that is
//! told. Names and words from files are tamed on their way.

use anyhow::{Context, bail};
use bothhands::voice::{is_wild, tame};
use std::fmt::Display;
use std::io::{self, IsTerminal, Write};

/// Columns of the terminal that standard output is; nothing where it is none.
pub(crate) fn columns() -> Option<usize> {
    let (width, _) = terminal_size::terminal_size_of(io::stdout())?;
    Some(width.0.into())
}

/// Writes a line to standard output.
///
/// # Errors
/// When it can't be written for another reason than that nobody reads it.
pub(crate) fn line(text: impl Display) -> anyhow::Result<()> {
    all(format!("{text}\n"))
}

/// Writes text to standard output as it is, without a line end of its own.
///
/// # Errors
/// As [`line`].
pub(crate) fn all(text: impl Display) -> anyhow::Result<()> {
    written(tame(&text.to_string()).as_bytes())
}

/// Writes JSON to standard output: what a terminal would obey stands in it as `\u` and digits,
/// which means the same.
///
/// # Errors
/// As [`line`].
pub(crate) fn json(text: &str) -> anyhow::Result<()> {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        if is_wild(letter) {
            safe.push_str(&format!("\\u{:04x}", u32::from(letter)));
        } else {
            safe.push(letter);
        }
    }
    written(safe.as_bytes())
}

/// Writes text to standard output: as it is where that is a file or another program, tamed where it
/// is a terminal.
///
/// # Errors
/// As [`line`].
pub(crate) fn text_or_piped(text: &str) -> anyhow::Result<()> {
    if io::stdout().is_terminal() {
        all(text)
    } else {
        written(text.as_bytes())
    }
}

/// Writes to standard output what is no text.
///
/// # Errors
/// When it is a terminal, or as [`line`].
pub(crate) fn only_piped(bytes: &[u8]) -> anyhow::Result<()> {
    if io::stdout().is_terminal() {
        bail!("this is not for a terminal: send it to a file or to another program");
    }
    written(bytes)
}

/// Writes what is made by the program itself, and for another program, as it is.
///
/// # Errors
/// As [`line`].
pub(crate) fn raw(bytes: &[u8]) -> anyhow::Result<()> {
    written(bytes)
}

fn written(bytes: &[u8]) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(why) if why.kind() != io::ErrorKind::BrokenPipe => {
            Err(why).context("standard output can't be written; look where it goes")
        }
        _ => Ok(()),
    }
}

/// Writes a line to standard error, cut between words where a terminal is narrower. Where that is
/// closed or full, nobody can be told.
pub(crate) fn note(text: impl Display) {
    let text = text.to_string();
    let mut out = io::stderr().lock();
    let text = tame(text.trim_end_matches('\n'));
    let _ = match terminal_size::terminal_size_of(&out) {
        // Between words only: what is long is a path, or a command to copy.
        Some((width, _)) => {
            let options = textwrap::Options::new(width.0.max(20).into()).break_words(false);
            writeln!(out, "{}", textwrap::fill(&text, options))
        }
        None => writeln!(out, "{text}"),
    };
}
