use super::exit::Exit;
use super::{about_log, shown};
use anyhow::{Context, bail};
use bothhands::log::{ForgetError, SharedClock, forget_sounds, take_up};
use bothhands::sequence::EventNo;
use bothhands::sequence::say::plural;
use bothhands::store::{OpenMode, Store};
use clap::{ArgGroup, Args};
use serde_json::json;
use std::{path::PathBuf, process::ExitCode};

/// Delete the sound of what was said: people's voices
///
/// What was heard in it stays, with an event that says whose sound was deleted and when, and the log
/// still fits together. It is gone from this file for good. Copies, exports and archives of the log
/// keep theirs, and so does a server it was handed in to.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("which").required(true).args(["all", "event"])))]
pub(crate) struct ForgetSoundArgs {
    /// The log of the session
    #[arg(value_name = "DB")]
    db: PathBuf,
    /// All of it
    #[arg(long)]
    all: bool,
    /// Only that of this event, by its number in `bothhands log`; may be given several times
    #[arg(long, value_name = "N")]
    event: Vec<u64>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Deletes the sound. Exit status 2 when it is deleted, but still in the file because another
/// program reads it.
///
/// # Errors
/// When the log can't be written, was merged, or an event has no sound.
pub(crate) fn run(args: ForgetSoundArgs) -> anyhow::Result<ExitCode> {
    let db = args.db.display();
    // Opened to be added to, a log that is not there would be made.
    if Store::open(&args.db, OpenMode::Read)?.is_empty()? {
        bail!("{db}: there is nothing in this log");
    }
    let (mut store, log) =
        take_up(&args.db, &SharedClock::default()).map_err(|why| about_log(&args.db, why))?;
    let only: Vec<EventNo> = args.event.iter().copied().map(EventNo).collect();
    let done = forget_sounds(&mut store, &log, (!args.all).then_some(only.as_slice()))
        .map_err(|why| match why {
            ForgetError::Log(why) => about_log(&args.db, why),
            why => why.into(),
        })
        .with_context(|| format!("{db}: nothing was deleted"))?;
    if args.json {
        let told = json!({
            "log": args.db,
            "utterances": done.utterances,
            "still_in_file": done.still_in_file,
        });
        shown::json(&(told.to_string() + "\n"))?;
    }
    let utterances = match done.utterances {
        0 => "There was no sound left to delete".to_owned(),
        some => format!(
            "The sound of {} is deleted",
            plural(some, "utterance", "utterances")
        ),
    };
    if let Some(why) = done.still_in_file {
        shown::note(format!(
            "{db}: {utterances}, but it is still in the file: {why}. Put that right, and run this \
             again."
        ));
        return Ok(Exit::Wrong.into());
    }
    if args.json {
        return Ok(ExitCode::SUCCESS);
    }
    shown::line(format!(
        "{utterances}. What was heard in it stays, and nothing of it is left in {db}. Copies and \
         exports of the log keep theirs."
    ))?;
    Ok(ExitCode::SUCCESS)
}
