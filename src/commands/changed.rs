use super::{about_log, shown};
use bothhands::log::Log;
use bothhands::report::{changes, changes_text};
use bothhands::sequence::Agenda;
use bothhands::store::{Mode, Store};
use clap::Args;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Compare the readings of two visits: what changed since the last one, and what the instruments explain
///
/// Readings are compared step by step, without their test leads; what differs by more than the accuracy of
/// two instruments is told.
#[derive(Debug, Args)]
pub(crate) struct ChangedArgs {
    /// The log of the last visit
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
    let (last, now) = (agenda(&args.last)?, agenda(&args.now)?);
    if last.practises() != now.practises() {
        anyhow::bail!(
            "one of the two logs is practice on a simulated installation: compare two tests, or two practices"
        );
    }
    let changes = changes(&last, &now);
    if args.json {
        for one in &changes {
            shown::json(&(serde_json::to_string(one)? + "\n"))?;
        }
    } else {
        shown::all(changes_text(&changes))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// What a log comes to.
pub(super) fn agenda(path: &Path) -> anyhow::Result<Agenda> {
    let store = Store::open(path, Mode::Read)?;
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
