use crate::log::Log;
use crate::sequence::ReadingStatus;
use crate::store::{EventId, Merged, Mode, Store, merge};
use anyhow::Context;
use clap::Args;
use std::{
    collections::{BTreeMap, BTreeSet},
    path::PathBuf,
    process::ExitCode,
};

/// Put the logs of several devices for one job together in a new log; nothing is dropped
#[derive(Debug, Args)]
pub struct MergeArgs {
    /// The logs
    #[arg(value_name = "DB", num_args = 2.., required = true)]
    sources: Vec<PathBuf>,
    /// The log to make
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// It is one job although the text of the job differs between the logs
    #[arg(long)]
    job_changed: bool,
}

/// Merges the logs and shows where they disagree.
///
/// # Errors
/// When the jobs differ, a log is damaged, or the new log cannot be written.
pub fn run(args: MergeArgs) -> anyhow::Result<ExitCode> {
    let sources = args
        .sources
        .iter()
        .map(|path| Store::open(path, Mode::Read))
        .collect::<Result<Vec<_>, _>>()?;
    let merged = merge(&sources, &args.output, args.job_changed)?;
    print!("{}", report(&args, &merged));
    match disagreements(&Store::open(&args.output, Mode::Read)?) {
        Ok(found) => found
            .iter()
            .for_each(|conflict| println!("conflict: {conflict}")),
        Err(why) => println!("The readings could not be compared: {why:#}"),
    }
    Ok(ExitCode::SUCCESS)
}

/// Readings that count in one log and differ from those that count in another for the same step
/// at the same place. All of them are kept.
fn disagreements(store: &Store) -> anyhow::Result<Vec<String>> {
    let mut steps: BTreeMap<String, Vec<Counting>> = BTreeMap::new();
    for (thread, log) in Log::threads(store)?.iter().enumerate() {
        let state = log.agenda()?;
        for kept in state
            .readings()
            .filter(|kept| kept.status == ReadingStatus::Counts)
        {
            let entry = log
                .entry(kept.no)
                .context("a reading names an event that is not there")?;
            let id = entry.id.context("an event of a log has no name")?;
            let place = serde_json::to_string(&(&kept.step, &kept.place, &kept.half))?;
            steps.entry(place).or_default().push(Counting {
                thread,
                id,
                step: kept.step.to_string(),
                device: entry.device.clone(),
                value: kept.reading.to_string(),
            });
        }
    }
    Ok(steps
        .into_values()
        .filter_map(|counting| disagreement(&counting))
        .collect())
}

/// A reading that counts in one log.
struct Counting {
    thread: usize,
    id: EventId,
    step: String,
    device: String,
    value: String,
}

fn disagreement(counting: &[Counting]) -> Option<String> {
    let mut values: BTreeMap<usize, BTreeSet<&str>> = BTreeMap::new();
    for side in counting {
        values.entry(side.thread).or_default().insert(&side.value);
    }
    let mut values = values.into_values();
    let first = values.next()?;
    values.any(|other| other != first).then(|| {
        let sides: BTreeSet<String> = counting
            .iter()
            .map(|side| format!("{} on {} (event {})", side.value, side.device, side.id))
            .collect();
        let sides: Vec<String> = sides.into_iter().collect();
        let step = counting.first().map_or("", |side| &side.step);
        format!("{step}: {}; all are kept", sides.join(", "))
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
