//! `bothhands check JOB.toml`: what each test should read, and why.

use super::shown;
use bothhands::installation::Job;
use bothhands::limits::Tables;
use bothhands::report;
use clap::Args as ClapArgs;
use std::path::PathBuf;
use std::process::ExitCode;

/// Check a job file and print what each test of each circuit should read, and why.
#[derive(Debug, ClapArgs)]
pub(crate) struct Args {
    /// The job file; `-` for standard input.
    #[arg(value_name = "JOB.toml")]
    pub job: PathBuf,
    /// Use an edited copy of the tables of limits.
    #[arg(long, value_name = "FILE")]
    pub tables: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

/// Runs the command: exit status 0, or 2 with every problem on standard error.
///
/// # Errors
/// When standard output cannot be written.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let loaded;
    let tables = match &args.tables {
        None => Tables::shipped(),
        Some(path) => match Tables::load(path) {
            Ok(tables) => {
                loaded = tables;
                &loaded
            }
            Err(error) => {
                shown::note(error);
                return Ok(super::exit::Exit::Wrong.into());
            }
        },
    };
    let job = match Job::load(&args.job) {
        // Boards as they are written: how they are worked on is no matter here.
        Ok(job) => job.as_written(),
        Err(error) => {
            shown::note(error);
            return Ok(super::exit::Exit::Wrong.into());
        }
    };
    let checked = report::expected(&job, tables, jiff::ZonedDateTime::now().date());
    if args.json {
        shown::json(&(serde_json::to_string_pretty(&checked)? + "\n"))?;
    } else {
        shown::all(report::expected_text(
            &job,
            &checked,
            shown::columns().unwrap_or(report::COLUMNS),
        ))?;
    }
    Ok(ExitCode::SUCCESS)
}
