use super::{about_log, shown, written};
use anyhow::Context;
use bothhands::log::{Log, LogError};
use bothhands::report::{self, Schedule, Times};
use bothhands::sequence::ReplayError;
use bothhands::store::{Mode, Store};
use clap::Args;
use std::{
    fs,
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Write the schedule of test results of a session
#[derive(Debug, Args)]
pub(crate) struct ScheduleArgs {
    /// The log of the session
    #[arg(value_name = "DB")]
    db: PathBuf,
    /// Put schedule.html and schedule.csv in this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write the HTML page here
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write the circuits as CSV here
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write the PDF here
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Write everything as JSON here
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Show times in this zone, such as Europe/London; this machine's zone when left out
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<String>,
}

/// Writes the schedule, and says what it wrote. With no file named: `schedule.html` and
/// `schedule.csv` beside the log, or in the folder given. A merged log gives one for each of its
/// sessions, in one file.
///
/// # Errors
/// When the log can't be read or a file not written.
pub(crate) fn run(args: ScheduleArgs) -> anyhow::Result<ExitCode> {
    let times = times(args.time_zone.as_deref())?;
    let store = Store::open(&args.db, Mode::Read)?;
    let schedules = read(&store, &times)
        .map_err(|why| about_log(&args.db, why).context("no schedule can be made of this log"))?;
    let named = [&args.html, &args.csv, &args.json, &args.pdf]
        .iter()
        .any(|file| file.is_some());
    let (mut html, mut csv) = (args.html, args.csv);
    if !named || args.out.is_some() {
        let folder = match &args.out {
            Some(folder) => {
                fs::create_dir_all(folder)
                    .with_context(|| format!("{}: this folder cannot be made", folder.display()))?;
                folder.clone()
            }
            None => args.db.parent().map(Path::to_owned).unwrap_or_default(),
        };
        html.get_or_insert(folder.join("schedule.html"));
        csv.get_or_insert(folder.join("schedule.csv"));
    }
    let write = |path: &Path, bytes: &[u8]| {
        written::file(path, bytes, &[&args.db])?;
        shown::line(format!("wrote {}", path.display()))
    };
    if let Some(path) = html {
        write(&path, report::html_of_threads(&schedules).as_bytes())?;
    }
    if let Some(path) = csv {
        write(&path, report::csv_of_threads(&schedules).as_bytes())?;
    }
    if let Some(path) = args.json {
        write(&path, report::json_of_threads(&schedules).as_bytes())?;
    }
    if let Some(path) = args.pdf {
        write(&path, &report::pdf_of_threads(&schedules)?)?;
    }
    for schedule in &schedules {
        let whose = schedule
            .thread
            .as_ref()
            .map_or(String::new(), |thread| format!("{thread}: "));
        for item in schedule.open_items.iter().filter(|item| item.still_out) {
            shown::note(format!("Note: {whose}{}", item.what));
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The schedules of a log that is open: one for each thread.
fn read(store: &Store, times: &Times) -> Result<Vec<Schedule>, LogError> {
    let threads = Log::threads(store)?;
    if threads.is_empty() {
        return Err(ReplayError::Empty.into());
    }
    threads.iter().map(|log| Schedule::of(log, times)).collect()
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
