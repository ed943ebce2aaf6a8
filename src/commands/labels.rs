use super::about_log;
use super::letterhead::LetterheadArgs;
use super::schedule::{Place, read, times};
use super::written::{Output, Outputs};
use bothhands::report;
use bothhands::store::{Mode, Store};
use clap::Args;
use std::{path::PathBuf, process::ExitCode};

/// Write what stays at the board: the chart of its circuits for the door, and notices to cut out
///
/// With no file named: as HTML and PDF, beside the log and named after it. A file named - is
/// standard output.
#[derive(Debug, Args)]
pub(crate) struct LabelsArgs {
    /// The log of the session
    #[arg(value_name = "DB")]
    db: PathBuf,
    /// Write the page here
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write the PDF here
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Open the page that was written
    #[arg(long)]
    open: bool,
    /// Write days as they are in this zone, such as Europe/London; this machine's when left out
    #[arg(long, value_name = "ZONE", visible_alias = "zone")]
    time_zone: Option<String>,
    #[command(flatten)]
    letterhead: LetterheadArgs,
}

/// Writes charts and notices, and says what it wrote.
///
/// # Errors
/// When the log can't be read or a file not written.
pub(crate) fn run(args: LabelsArgs) -> anyhow::Result<ExitCode> {
    let times = times(args.time_zone.as_deref())?;
    let letterhead = args.letterhead.read()?;
    let store = Store::open(&args.db, Mode::Read)?;
    let schedules = read(&store, &times, &letterhead)
        .map_err(|why| about_log(&args.db, why).context("no labels can be made of this log"))?;
    let (mut html, mut pdf) = (args.html, args.pdf);
    if html.is_none() && pdf.is_none() {
        let place = Place::of(None, &args.db)?;
        html = Some(place.file("labels.html"));
        pdf = Some(place.file("labels.pdf"));
    }
    let inputs = [args.db.as_path()];
    let mut outputs = Outputs::new(&inputs);
    if let Some(path) = html {
        outputs.add(path, Output::Page(report::labels_html(&schedules)))?;
    }
    if let Some(path) = pdf {
        outputs.add(path, Output::Pdf(report::labels_pdf(&schedules)?))?;
    }
    outputs.write()?;
    if args.open {
        outputs.open()?;
    }
    Ok(ExitCode::SUCCESS)
}
