//! `bothhands schema`: what a job file, or the configuration, may hold.

use super::shown;
use bothhands::{config, installation};
use std::process::ExitCode;

/// What a file may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Of {
    Job,
    Config,
}

/// Print what a job file may hold as a JSON Schema, for an editor that completes and checks as you
/// type, or as tables to read.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Of a job file, or of the configuration.
    #[arg(value_enum, default_value = "job")]
    of: Of,
    /// Print tables to read (Markdown) in place of the schema.
    #[arg(long)]
    tables: bool,
}

/// Runs it.
///
/// # Errors
/// When standard output can't be written.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let (schema, name) = match args.of {
        Of::Job => (installation::schema(), "The job"),
        Of::Config => (config::schema(), "The configuration"),
    };
    if args.tables {
        shown::all(installation::reference(&schema, name))?;
    } else {
        shown::json(&(serde_json::to_string_pretty(&schema)? + "\n"))?;
    }
    Ok(ExitCode::SUCCESS)
}
