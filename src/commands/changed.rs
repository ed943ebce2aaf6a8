use super::{about_log, shown};
use anyhow::Context;
use bothhands::log::Log;
use bothhands::report::{
    PRACTICE_OF, ReadingChange, Schedule, Times, changes, changes_since, changes_text,
};
use bothhands::sequence::Agenda;
use bothhands::store::{OpenMode, Store};
use clap::Args;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Compare the readings of two visits: what changed since the last one, and what the instruments explain
///
/// Readings are compared step by step, without their test leads; what differs by more than the accuracy of
/// two instruments is told.
#[derive(Debug, Args)]
pub(crate) struct ChangedArgs {
    /// The log of the last visit, or its schedule as CSV
    #[arg(value_name = "LAST")]
    last: PathBuf,
    /// The log of this visit
    #[arg(value_name = "NOW")]
    now: PathBuf,
    /// As JSON Lines, a reading each
    #[arg(long)]
    json: bool,
}

/// Prints what changed.
///
/// # Errors
/// When a log can't be read, was put together from several sessions, or one of the two is practice.
pub(crate) fn run(args: &ChangedArgs) -> anyhow::Result<ExitCode> {
    if !is_log(&args.last)? {
        return beside_a_schedule(args);
    }
    let (last, now) = (agenda(&args.last)?, agenda(&args.now)?);
    if last.practises() != now.practises() {
        anyhow::bail!(
            "one of the two logs is practice on a simulated installation: compare two tests, or two practices"
        );
    }
    told(&changes(&last, &now), args.json)
}

fn told(changes: &[ReadingChange], json: bool) -> anyhow::Result<ExitCode> {
    if json {
        for one in changes {
            shown::json(&(serde_json::to_string(one)? + "\n"))?;
        }
    } else {
        shown::all(changes_text(changes))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The same where the last visit left a schedule and no log.
fn beside_a_schedule(args: &ChangedArgs) -> anyhow::Result<ExitCode> {
    let path = args.last.display();
    let text = schedule_text(&args.last)?;
    let store = Store::open(&args.now, OpenMode::Read)?;
    let log = Log::read(&store).map_err(|why| about_log(&args.now, why))?;
    let now = Schedule::of(&log, &Times::utc()).map_err(|why| about_log(&args.now, why))?;
    let Some(changes) = changes_since(&text, &now) else {
        anyhow::bail!(
            "{path}: this is neither a log nor a schedule as CSV: its first line names no columns of one; \
             `bothhands schedule LOG --csv FILE` writes one"
        )
    };
    told(&changes, args.json)
}

/// The text of a schedule of a test.
///
/// # Errors
/// When it can't be read, is no text, or is of practice.
pub(super) fn schedule_text(path: &Path) -> anyhow::Result<String> {
    let path_shown = path.display();
    let bytes = std::fs::read(path)
        .with_context(|| format!("{path_shown}: the schedule can't be read; check the path"))?;
    let text = String::from_utf8(bytes).map_err(|_| {
        anyhow::anyhow!(
            "{path_shown}: this is neither a log nor text in UTF-8; take a log, or a schedule as CSV"
        )
    })?;
    if text.contains(PRACTICE_OF) {
        anyhow::bail!(
            "{path_shown}: this schedule is of practice on a simulated installation: nothing was tested; take one of a test"
        );
    }
    Ok(text)
}

/// Whether a file is a log; else it can only be a schedule.
///
/// # Errors
/// When it can't be read.
pub(super) fn is_log(path: &Path) -> anyhow::Result<bool> {
    const BEGINS: &[u8; 16] = b"SQLite format 3\0";
    let opened = std::fs::File::open(path);
    let mut file = opened
        .with_context(|| format!("{}: this can't be read; check the path", path.display()))?;
    let mut begins = [0; 16];
    match file.read_exact(&mut begins) {
        Ok(()) => Ok(&begins == BEGINS),
        // Nothing that short is a schedule either: the store says what is wrong with it.
        Err(why) if why.kind() == std::io::ErrorKind::UnexpectedEof => Ok(true),
        Err(why) => Err(why).with_context(|| format!("{}: this can't be read", path.display())),
    }
}

/// What a log comes to.
pub(super) fn agenda(path: &Path) -> anyhow::Result<Agenda> {
    let store = Store::open(path, OpenMode::Read)?;
    let threads = Log::threads(&store).map_err(|why| about_log(path, why))?;
    match threads.as_slice() {
        [only] => only.agenda().map_err(|why| about_log(path, why.into())),
        [] => anyhow::bail!("{}: this log holds no session yet", path.display()),
        several => anyhow::bail!(
            "{}: this log was put together from {} sessions: take the log of one of them",
            path.display(),
            several.len()
        ),
    }
}
