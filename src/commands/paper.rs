//! The options of what is printed from a log: whose paper it is, and the zone of its times.

use super::about_log;
use super::letterhead::LetterheadArgs;
use super::log_of::{Opened, opened};
use super::progress::Progress;
use anyhow::Context;
use bothhands::log::{Log, LogError};
use bothhands::report::{Letterhead, Schedule, Times};
use bothhands::sequence::ReplayError;
use bothhands::store::Store;
use clap::Args;
use std::path::PathBuf;

/// The log, and how it is put on paper.
#[derive(Debug, Args)]
pub(super) struct PaperArgs {
    /// The log of the session; - takes what `export` writes from standard input
    #[arg(value_name = "DB")]
    pub(super) db: PathBuf,
    /// Show times in this zone, such as Europe/London; this machine's zone when left out
    #[arg(long, value_name = "ZONE", visible_alias = "zone")]
    time_zone: Option<String>,
    #[command(flatten)]
    letterhead: LetterheadArgs,
}

/// A log that is open, with its schedules: one for each thread.
pub(super) struct Paper {
    /// The log.
    pub(super) log: Opened,
    /// How its times are shown.
    pub(super) times: Times,
    /// What is printed.
    pub(super) schedules: Vec<Schedule>,
}

impl PaperArgs {
    /// Opens the log and makes its schedules; `what` says what can't be made of it otherwise.
    ///
    /// # Errors
    /// When the zone, the letterhead or the log can't be used.
    pub(super) fn read(&self, what: &'static str) -> anyhow::Result<Paper> {
        let times = times(self.time_zone.as_deref())?;
        let letterhead = self.letterhead.read()?;
        let _progress = Progress::of("reading the log");
        let log = opened(&self.db)?;
        let schedules = read(&log.store, &times, &letterhead)
            .map_err(|why| about_log(&log.name, why).context(what))?;
        Ok(Paper {
            log,
            times,
            schedules,
        })
    }
}

/// The schedules of a log that is open: one for each thread.
///
/// # Errors
/// When it is not whole, holds nothing, or can't be read.
fn read(store: &Store, times: &Times, letterhead: &Letterhead) -> Result<Vec<Schedule>, LogError> {
    let threads = Log::threads(store)?;
    if threads.is_empty() {
        return Err(ReplayError::Empty.into());
    }
    threads
        .iter()
        .map(|log| Ok(Schedule::of(log, times)?.on_paper_of(letterhead)))
        .collect()
}

/// The zone to show times in.
pub(super) fn times(zone: Option<&str>) -> anyhow::Result<Times> {
    match zone {
        None => Ok(Times::here()),
        Some(name) => jiff::tz::TimeZone::get(name)
            .map(Times::of)
            .with_context(|| format!("{name}: no such time zone; write one such as Europe/London")),
    }
}
