use super::paper::{Paper, PaperArgs};
use super::schedule::Place;
use super::written::{Output, Outputs};
use bothhands::report;
use clap::Args;
use serde_json::json;
use std::{path::PathBuf, process::ExitCode};

/// Write what stays at the board: the chart of its circuits for the door, and notices to cut out
///
/// With no file named: as HTML and PDF, beside the log and named after it. A file named - is
/// standard output.
#[derive(Debug, Args)]
pub(crate) struct LabelsArgs {
    #[command(flatten)]
    paper: PaperArgs,
    /// Write the page here
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write the PDF here
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Open the page that was written
    #[arg(long)]
    open: bool,
    /// Say as JSON which files were written
    #[arg(long)]
    json: bool,
}

/// Writes charts and notices, and says what it wrote.
///
/// # Errors
/// When the log can't be read or a file not written.
pub(crate) fn run(args: LabelsArgs) -> anyhow::Result<ExitCode> {
    let Paper { schedules, .. } = args.paper.read("no labels can be made of this log")?;
    let db = args.paper.db.as_path();
    let (mut html, mut pdf) = (args.html, args.pdf);
    if html.is_none() && pdf.is_none() {
        let place = Place::of(None, db)?;
        html = Some(place.file("labels.html"));
        pdf = Some(place.file("labels.pdf"));
    }
    let inputs = [db];
    let mut outputs = Outputs::new(&inputs);
    if let Some(path) = html {
        outputs.add(path, Output::Page(report::labels_html(&schedules)))?;
    }
    if let Some(path) = pdf {
        outputs.add(path, Output::Pdf(report::labels_pdf(&schedules)?))?;
    }
    if args.json {
        outputs.write_told_as_json(&mut json!({ "log": db }))?;
    } else {
        outputs.write()?;
    }
    if args.open {
        outputs.open()?;
    }
    Ok(ExitCode::SUCCESS)
}
