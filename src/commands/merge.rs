use super::progress::Progress;
use super::shown;
use anyhow::Result;
use bothhands::log;
use bothhands::store::{Merged, Mode, Store, merge};
use clap::Args;
use serde_json::json;
use std::{path::PathBuf, process::ExitCode};

/// Put the logs of several devices for one job together in a new log; nothing is dropped
#[derive(Debug, Args)]
pub(crate) struct MergeArgs {
    /// The logs
    #[arg(value_name = "DB", num_args = 2.., required = true)]
    sources: Vec<PathBuf>,
    /// The log to make
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// It is one job although the text of the job differs between the logs
    #[arg(long)]
    job_changed: bool,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Merges the logs and shows where they disagree.
///
/// # Errors
/// When the jobs differ, a log is damaged, or the new log cannot be written.
pub(crate) fn run(args: MergeArgs) -> Result<ExitCode> {
    let sources = args
        .sources
        .iter()
        .map(|path| Store::open(path, Mode::Read))
        .collect::<Result<Vec<_>, _>>()?;
    let merged = {
        let _progress = Progress::of("merging");
        merge(&sources, &args.output, args.job_changed)?
    };
    let disagreements = log::disagreements(&Store::open(&args.output, Mode::Read)?);
    if args.json {
        let told = as_json(&args, &merged, &disagreements);
        shown::json(&(told.to_string() + "\n"))?;
        return Ok(ExitCode::SUCCESS);
    }
    shown::all(report(&args, &merged))?;
    match disagreements {
        Ok(found) => {
            for conflict in found {
                shown::line(format!("conflict: {conflict}"))?;
            }
        }
        Err(why) => shown::line(format!("The readings could not be compared: {why:#}"))?,
    }
    Ok(ExitCode::SUCCESS)
}

/// What was merged, for another program.
fn as_json<D: ToString, E: std::fmt::Display>(
    args: &MergeArgs,
    merged: &Merged,
    disagreements: &Result<Vec<D>, E>,
) -> serde_json::Value {
    let sources = args.sources.iter().zip(&merged.sources);
    let sources: Vec<_> = sources
        .map(|(log, events)| json!({ "log": log, "events": events }))
        .collect();
    let conflicts: Vec<String> = merged.conflicts.iter().map(ToString::to_string).collect();
    let readings = disagreements.as_ref().ok();
    let readings = readings.map(|all| all.iter().map(ToString::to_string).collect::<Vec<_>>());
    json!({
        "log": args.output,
        "events": merged.events,
        "shared": merged.shared,
        "sources": sources,
        "other_jobs": merged.other_jobs,
        "conflicts": conflicts,
        "readings_that_differ": readings,
        "not_compared": disagreements.as_ref().err().map(|why| format!("{why:#}")),
    })
}

fn report(args: &MergeArgs, merged: &Merged) -> String {
    let mut lines: Vec<String> = args
        .sources
        .iter()
        .zip(&merged.sources)
        .map(|(path, events)| format!("{}: {events} events", path.display()))
        .collect();
    lines.push(format!(
        "{}: {} events, {} of which stood in more than one log",
        args.output.display(),
        merged.events,
        merged.shared
    ));
    lines.extend(merged.other_jobs.iter().map(|path| {
        format!(
            "conflict: the job text of {} is not that of {}; both are kept",
            path.display(),
            args.sources
                .first()
                .map_or_else(String::new, |first| first.display().to_string())
        )
    }));
    lines.extend(
        merged
            .conflicts
            .iter()
            .map(|conflict| format!("conflict: {conflict}")),
    );
    lines.push(String::new());
    lines.join("\n")
}
