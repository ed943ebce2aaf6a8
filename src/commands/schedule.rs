use super::log_of::is_piped;
use super::paper::{Paper, PaperArgs};
use super::progress::Progress;
use super::shown;
use super::written::{Output, Outputs};
use anyhow::{Context, bail};
use bothhands::report;
use clap::Args;
use std::{fs, path::Path, path::PathBuf, process::ExitCode};

/// Write the schedule of test results of a session
///
/// With no file named: the schedule as HTML, PDF and CSV, and the page for the customer as PDF,
/// beside the log and named after it. A file named - is standard output.
#[derive(Debug, Args)]
pub(crate) struct ScheduleArgs {
    #[command(flatten)]
    paper: PaperArgs,
    /// Put all of it in this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Write the HTML page here
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write the PDF here
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Write the circuits as CSV here
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write everything as JSON here
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write the page for the customer here: as PDF where its name ends so, else as HTML
    #[arg(long, value_name = "FILE")]
    customer: Option<PathBuf>,
    /// Open the page that was written
    #[arg(long)]
    open: bool,
}

/// Writes the schedule, and says what it wrote. A merged log gives one for each of its sessions, in
/// one file.
///
/// # Errors
/// When the log can't be read or a file not written.
pub(crate) fn run(args: ScheduleArgs) -> anyhow::Result<ExitCode> {
    let Paper { schedules, .. } = args.paper.read("no schedule can be made of this log")?;
    let db = args.paper.db.as_path();
    let (mut html, mut pdf, mut csv, mut customer) = (args.html, args.pdf, args.csv, args.customer);
    let named = [&html, &csv, &args.json, &pdf, &customer]
        .iter()
        .any(|file| file.is_some());
    if !named || args.out.is_some() {
        let place = Place::of(args.out.as_deref(), db)?;
        html.get_or_insert(place.file("schedule.html"));
        pdf.get_or_insert(place.file("schedule.pdf"));
        csv.get_or_insert(place.file("schedule.csv"));
        customer.get_or_insert(place.file("customer.pdf"));
    }
    let inputs = [db];
    let mut outputs = Outputs::new(&inputs);
    let progress = Progress::of("making the pages");
    if let Some(path) = html {
        outputs.add(path, Output::Page(report::html_of_threads(&schedules)))?;
    }
    if let Some(path) = pdf {
        outputs.add(path, Output::Pdf(report::pdf_of_threads(&schedules)?))?;
    }
    if let Some(path) = csv {
        outputs.add(path, Output::Text(report::csv_of_threads(&schedules)))?;
    }
    if let Some(path) = args.json {
        outputs.add(path, Output::Json(report::json_of_threads(&schedules)))?;
    }
    if let Some(path) = customer {
        let page = match path.extension().and_then(|end| end.to_str()) {
            Some(end) if end.eq_ignore_ascii_case("pdf") => {
                Output::Pdf(report::customer_pdf(&schedules)?)
            }
            _ => Output::Page(report::customer_html(&schedules)),
        };
        outputs.add(path, page)?;
    }
    drop(progress);
    outputs.write()?;
    for schedule in &schedules {
        let whose = schedule
            .thread
            .as_ref()
            .map_or(String::new(), |thread| format!("{thread}: "));
        for item in schedule.open_items.iter().filter(|item| item.still_out) {
            shown::note(format!("Note: {whose}{}", item.what));
        }
    }
    if args.open {
        outputs.open()?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Where files go that were not named.
pub(super) enum Place {
    /// In a folder of their own, by their plain names.
    Folder(PathBuf),
    /// Beside a log, and named after it, so that another log there keeps its own.
    Beside(PathBuf),
}

impl Place {
    /// The folder that was asked for, which is made; else beside the log.
    ///
    /// # Errors
    /// When the folder can't be made.
    pub(super) fn of(folder: Option<&Path>, db: &Path) -> anyhow::Result<Self> {
        let Some(folder) = folder else {
            if is_piped(db) {
                bail!(
                    "the log comes from standard input, so nothing is named after it: name what to write; \
                     --help says how"
                );
            }
            return Ok(Self::Beside(db.to_owned()));
        };
        fs::create_dir_all(folder)
            .with_context(|| format!("{}: this folder cannot be made", folder.display()))?;
        Ok(Self::Folder(folder.to_owned()))
    }

    /// The path of a file: `schedule.html`, or `session-schedule.html`.
    pub(super) fn file(&self, name: &str) -> PathBuf {
        match self {
            Self::Folder(folder) => folder.join(name),
            Self::Beside(db) => {
                let mut file = db.file_stem().unwrap_or_default().to_owned();
                file.push("-");
                file.push(name);
                db.with_file_name(file)
            }
        }
    }
}
