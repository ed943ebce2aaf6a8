use super::progress::Progress;
use super::shown;
use anyhow::{Result, bail};
use bothhands::log;
use bothhands::store::{ExportError, Merged, OpenMode, Sounds, Store, merge};
use clap::Args;
use serde_json::json;
use std::{
    io::{self, BufWriter},
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Put the logs of several devices for one job together in a new log; nothing is dropped
#[derive(Debug, Args)]
pub(crate) struct MergeArgs {
    /// The logs
    #[arg(value_name = "DB", num_args = 2.., required = true)]
    sources: Vec<PathBuf>,
    /// The log to make; `-` is standard output, as JSON Lines like those of `export`
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
        .map(|path| Store::open(path, OpenMode::Read))
        .collect::<Result<Vec<_>, _>>()?;
    not_mixed(&args.sources, &sources)?;
    let piped = args.output == Path::new("-");
    if piped && args.json {
        bail!("the log goes to standard output: leave --json out, or name a file with --output");
    }
    // A log is a file: what is piped is made in a place of its own first.
    let place = piped.then(tempfile::tempdir).transpose()?;
    let output = match &place {
        Some(place) => place.path().join("merged.db"),
        None => args.output.clone(),
    };
    let merged = {
        let _progress = Progress::of("merging");
        merge(&sources, &output, args.job_changed)?
    };
    let made = Store::open(&output, OpenMode::Read)?;
    let disagreements = log::disagreements(&made);
    if piped {
        let mut out = BufWriter::new(io::stdout().lock());
        match made.export(&mut out, &Sounds::Inside) {
            Err(ExportError::Write(why)) if why.kind() == io::ErrorKind::BrokenPipe => {}
            exported => {
                exported?;
            }
        }
        drop(out);
        shown::note(report(&args, &merged));
        for text in told(&disagreements) {
            shown::note(text);
        }
        return Ok(ExitCode::SUCCESS);
    }
    if args.json {
        let told = as_json(&args, &merged, &disagreements);
        shown::json(&(told.to_string() + "\n"))?;
        return Ok(ExitCode::SUCCESS);
    }
    shown::all(report(&args, &merged))?;
    for text in told(&disagreements) {
        shown::line(text)?;
    }
    Ok(ExitCode::SUCCESS)
}

/// A practice is no part of the record of an installation, and a test is none of a practice. What can't be read
/// is told where it is merged.
fn not_mixed(paths: &[PathBuf], sources: &[Store]) -> Result<()> {
    let practised = |store: &Store| {
        let logs = log::Log::threads(store).ok()?;
        Some(logs.iter().any(log::Log::is_practice))
    };
    let known = paths.iter().zip(sources);
    let known: Vec<(&PathBuf, bool)> = known
        .filter_map(|(path, store)| Some((path, practised(store)?)))
        .collect();
    let practice: Vec<String> = known
        .iter()
        .filter(|(_, practised)| *practised)
        .map(|(path, _)| path.display().to_string())
        .collect();
    if practice.is_empty() || practice.len() == known.len() {
        return Ok(());
    }
    bail!(
        "practice on a simulated installation: {}\nIt is not merged with the log of a test. Leave it out, or merge only logs of practice",
        practice.join(", ")
    )
}

/// Where the readings of the logs disagree, a line each.
fn told<D: ToString, E: std::fmt::Display>(disagreements: &Result<Vec<D>, E>) -> Vec<String> {
    match disagreements {
        Ok(found) => {
            let found = found.iter();
            found
                .map(|one| format!("conflict: {}", one.to_string()))
                .collect()
        }
        Err(why) => vec![format!("The readings could not be compared: {why:#}")],
    }
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
