use super::log_of::opened;
use super::paper::times;
use super::{about_log, shown};
use anyhow::bail;
use bothhands::log::{Log, LogError};
use bothhands::report::{self, Exchange, Times, WantedExchanges};
use bothhands::sequence::ReplayError;
use bothhands::store::Store;
use clap::{Args, ValueEnum};
use jiff::{Timestamp, civil};
use std::{path::PathBuf, process::ExitCode};

/// Show a session as a dialogue: what was heard, what was answered, what is out
#[derive(Debug, Args)]
pub(crate) struct LogArgs {
    /// The log of the session; - takes what `export` writes from standard input
    #[arg(value_name = "DB")]
    db: PathBuf,
    /// As JSON Lines
    #[arg(long)]
    json: bool,
    /// Only from this time on: 14:05, 2026-11-25T14:05 or 2026-11-25T14:05:00Z
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    /// Only what concerns this circuit
    #[arg(long, value_name = "N")]
    circuit: Option<u16>,
    /// Only some of it
    #[arg(long, value_enum)]
    only: Option<Only>,
    /// Only what was not understood: the same as --only not-understood
    #[arg(long, conflicts_with = "only")]
    not_understood: bool,
    /// Show times in this zone, such as Europe/London; this machine's zone when left out
    #[arg(long, value_name = "ZONE", visible_alias = "zone")]
    time_zone: Option<String>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Only {
    /// What the program asked back, and the answers
    Questions,
    /// Typed words that mean nothing there, and sound that could have been two things
    NotUnderstood,
    /// Notes
    Notes,
}

impl From<Only> for report::Only {
    fn from(only: Only) -> Self {
        match only {
            Only::Questions => Self::Questions,
            Only::NotUnderstood => Self::NotUnderstood,
            Only::Notes => Self::Notes,
        }
    }
}

/// Prints the dialogue.
///
/// # Errors
/// When the log can't be read, or the time is none.
pub(crate) fn run(args: LogArgs) -> anyhow::Result<ExitCode> {
    let times = times(args.time_zone.as_deref())?;
    let from = opened(&args.db)?;
    let threads = read(&from.store)
        .map_err(|why| about_log(&from.name, why).context("this log cannot be shown"))?;
    let last = threads
        .iter()
        .filter_map(|(_, exchanges)| exchanges.last())
        .map(|exchange| exchange.at)
        .max();
    let wanted = WantedExchanges {
        since: args
            .since
            .as_deref()
            .map(|text| since(text, last, &times))
            .transpose()?,
        circuit: args.circuit,
        only: if args.not_understood {
            Some(report::Only::NotUnderstood)
        } else {
            args.only.map(report::Only::from)
        },
    };
    if let Some(circuit) = args.circuit {
        must_be_there(&threads, circuit)?;
    }
    let wanted: Vec<(&Log, Vec<Exchange>)> = threads
        .iter()
        .map(|(log, exchanges)| {
            let wanted = exchanges.iter().filter(|one| wanted.has(one)).cloned();
            (log, wanted.collect())
        })
        .collect();
    if args.json {
        for (_, exchanges) in &wanted {
            shown::json(&report::dialogue_jsonl(exchanges))?;
        }
    } else {
        let named: Vec<_> = wanted
            .iter()
            .map(|(log, exchanges)| (log.thread.as_ref(), exchanges.as_slice()))
            .collect();
        shown::all(report::threads(&named, &times, shown::columns()))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Whether a circuit is in any thread's job.
fn must_be_there(threads: &[(Log, Vec<Exchange>)], circuit: u16) -> anyhow::Result<()> {
    let mut there = std::collections::BTreeMap::new();
    for (log, _) in threads {
        let agenda = log.agenda()?;
        for one in agenda.job().boards.iter().flat_map(|board| &board.circuits) {
            there.insert(one.number, one.name.clone());
        }
    }
    if there.contains_key(&circuit) {
        return Ok(());
    }
    let there: Vec<_> = there
        .iter()
        .map(|(n, name)| format!("{n} ({name})"))
        .collect();
    bail!(
        "there is no circuit {circuit} in this log; there are {}",
        there.join(", ")
    )
}

/// Each thread of the log with its dialogue.
fn read(store: &Store) -> Result<Vec<(Log, Vec<Exchange>)>, LogError> {
    let threads = Log::threads(store)?;
    if threads.is_empty() {
        return Err(ReplayError::Empty.into());
    }
    threads
        .into_iter()
        .map(|log| {
            let exchanges = report::dialogue(&log)?;
            Ok((log, exchanges))
        })
        .collect()
}

/// A time as typed; one without a day is of the last day of the log.
fn since(text: &str, last: Option<Timestamp>, times: &Times) -> anyhow::Result<Timestamp> {
    if let Ok(at) = text.parse::<Timestamp>() {
        return Ok(at);
    }
    let civil = match (text.parse::<civil::DateTime>(), text.parse::<civil::Time>()) {
        (Ok(at), _) => Some(at),
        (_, Ok(time)) => last.map(|last| {
            last.to_zoned_datetime(times.zone().clone())
                .date()
                .to_datetime(time)
        }),
        _ => None,
    };
    match civil.and_then(|at| at.to_zoned_datetime(times.zone().clone()).ok()) {
        Some(at) => Ok(at.timestamp()),
        None => bail!("{text}: not a time; write 14:05, 2026-11-25T14:05 or 2026-11-25T14:05:00Z"),
    }
}
