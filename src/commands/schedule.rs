use anyhow::Context;
use bothhands::log::Log;
use bothhands::report::{self, Schedule, Times};
use bothhands::store::{Mode, Store};
use clap::Args;
use std::{
    ffi::OsString,
    fs::{self, File},
    io::Write,
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
/// `schedule.csv` beside the log, or in the folder given.
///
/// # Errors
/// When the log can't be read or a file not written.
pub(crate) fn run(args: ScheduleArgs) -> anyhow::Result<ExitCode> {
    let times = times(args.time_zone.as_deref())?;
    let store = Store::open(&args.db, Mode::Read)?;
    let schedule = read(&store, &args.db, &times)?;
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
    if let Some(path) = html {
        write(&path, report::html(&schedule).as_bytes())?;
    }
    if let Some(path) = csv {
        write(&path, report::csv(&schedule).as_bytes())?;
    }
    if let Some(path) = args.json {
        write(&path, report::json(&schedule).as_bytes())?;
    }
    if let Some(path) = args.pdf {
        write(&path, &report::pdf(&schedule)?)?;
    }
    for item in schedule.open_items.iter().filter(|item| item.still_out) {
        eprintln!("Note: {}", item.what);
    }
    Ok(ExitCode::SUCCESS)
}

/// The schedule of a log that is open.
pub(super) fn read(store: &Store, db: &Path, times: &Times) -> anyhow::Result<Schedule> {
    Log::read(store)
        .and_then(|log| Schedule::of(&log, times))
        .with_context(|| format!("{}: no schedule can be made of this log", db.display()))
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

/// Writes beside the file and moves it into place when it is whole.
fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let mut part = OsString::from(path);
    part.push(".part");
    let part = PathBuf::from(part);
    let written = File::create(&part)
        .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(&part, path));
    if written.is_err() {
        let _ = fs::remove_file(&part);
    }
    written.with_context(|| format!("{}: this cannot be written", path.display()))?;
    println!("wrote {}", path.display());
    Ok(())
}
