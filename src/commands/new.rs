//! `bothhands new`: a job file to begin with.

use super::shown;
use anyhow::Context;
use bothhands::config;
use bothhands::draft::{Draft, Interview, circuits_of_table, read_back};
use std::fs::OpenOptions;
use std::io::{self, BufRead, ErrorKind, IsTerminal, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Begin a job: write a job file with comments, from a table of circuits, or from your answers.
///
/// What is not known is marked "FILL IN"; `bothhands check` names each such place. Tester and
/// instruments come from the configuration (`bothhands config`).
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The job file to write; never one that is there already. `-` is standard output.
    #[arg(value_name = "FILE", default_value = "job.toml")]
    file: PathBuf,
    /// Take the circuits from a table (CSV): the first line names the columns, in any order, of
    /// number, name, kind, device, amps, breaking kA, rcd, sizes, metres, points. `-` is standard input.
    #[arg(long, value_name = "CIRCUITS.csv", conflicts_with = "ask")]
    from: Option<PathBuf>,
    /// Ask one thing at a time, and take a whole circuit in one line: "circuit three, ring, thirty-two
    /// amp B, RCBO, eight sockets".
    #[arg(long)]
    ask: bool,
}

/// Runs it.
///
/// # Errors
/// When the file is there already or can't be written, or the table holds what is not understood.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let to_output = args.file == Path::new("-");
    if !to_output && args.file.symlink_metadata().is_ok() {
        return Err(there_already(&args.file));
    }
    let configured = config::find()?.config;
    let mut draft = Draft {
        tester: configured.tester,
        supervisor: configured.supervisor,
        instruments: configured.instruments,
        ..Draft::default()
    };
    if let Some(from) = &args.from {
        draft.circuits = circuits_of_table(&table(from)?, &from.display().to_string())?;
        for circuit in &draft.circuits {
            shown::note(read_back(circuit));
        }
    } else if args.ask {
        draft = asked(draft)?;
    }
    let text = draft.text();
    if to_output {
        shown::all(&text)?;
        return Ok(ExitCode::SUCCESS);
    }
    write(&args.file, &text)?;
    let file = args.file.display();
    shown::line(format!("Written to {file}."))?;
    shown::line(match draft.to_fill_in() {
        0 => format!(
            "Next: `bothhands check {file}` says what each test should read; `bothhands test {file}` begins."
        ),
        1 => format!(
            "Next: fill in the one value that is marked \"FILL IN\"; then `bothhands check {file}`, and \
             `bothhands test {file}` to begin."
        ),
        marked => format!(
            "Next: fill in the {marked} values that are marked \"FILL IN\"; then `bothhands check {file}`, \
             and `bothhands test {file}` to begin."
        ),
    })?;
    Ok(ExitCode::SUCCESS)
}

fn table(from: &Path) -> anyhow::Result<String> {
    let mut bytes = Vec::new();
    if from == Path::new("-") {
        io::stdin()
            .lock()
            .read_to_end(&mut bytes)
            .context("standard input can't be read")?;
    } else {
        bytes = std::fs::read(from).with_context(|| {
            format!(
                "{}: the table can't be read; check the path",
                from.display()
            )
        })?;
    }
    String::from_utf8(bytes).map_err(|_| {
        anyhow::anyhow!(
            "{}: this is not text in UTF-8; save it as \"CSV UTF-8\"",
            from.display()
        )
    })
}

/// A draft from answers, typed one a line; what was not answered when they end is marked.
fn asked(draft: Draft) -> anyhow::Result<Draft> {
    let mut interview = Interview::new(draft);
    let typed = io::stdin().is_terminal();
    shown::note("Answer each; help says what else there is.");
    let mut asked = "";
    let mut lines = io::stdin().lock();
    let mut line = Vec::new();
    while !interview.is_over() {
        let prompt = interview.prompt();
        if prompt != asked {
            shown::note(prompt);
            asked = prompt;
        }
        line.clear();
        let read = lines
            .read_until(b'\n', &mut line)
            .context("standard input can't be read")?;
        if read == 0 {
            shown::note("No more answers: what is missing is marked in the file.");
            break;
        }
        let said = String::from_utf8_lossy(&line);
        if !typed && !said.trim().is_empty() {
            shown::note(format!("> {}", said.trim()));
        }
        match interview.answer(&said) {
            Ok(told) if told.is_empty() => {}
            Ok(told) => shown::note(told),
            Err(why) => {
                shown::note(format!("Not taken: {why}"));
                asked = "";
            }
        }
    }
    Ok(interview.draft()?)
}

fn there_already(path: &Path) -> anyhow::Error {
    anyhow::anyhow!(
        "{}: this is there already, and is not written over; choose another name",
        path.display()
    )
}

/// Writes a file that is not there yet, all of it or none.
fn write(path: &Path, text: &str) -> anyhow::Result<()> {
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    let mut file = match file {
        Err(why) if why.kind() == ErrorKind::AlreadyExists => return Err(there_already(path)),
        other => other.with_context(|| {
            format!(
                "{}: this can't be written; check the folder",
                path.display()
            )
        })?,
    };
    let written = file
        .write_all(text.as_bytes())
        .and_then(|()| file.sync_all());
    if written.is_err() {
        let _ = std::fs::remove_file(path);
    }
    written.with_context(|| format!("{}: this can't be written; check the disk", path.display()))
}
