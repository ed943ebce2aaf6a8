use super::schedule::times;
use anyhow::{Context, bail};
use bothhands::log::Log;
use bothhands::report::{self, Exchange, Times, Wanted};
use bothhands::store::{Mode, Store};
use clap::{Args, ValueEnum};
use jiff::{Timestamp, civil};
use std::{
    io::{self, Write},
    path::PathBuf,
    process::ExitCode,
};

/// Show a session as a dialogue: what was heard, what was answered, what is out
#[derive(Debug, Args)]
pub(crate) struct LogArgs {
    /// The log of the session
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
    /// Show times in this zone, such as Europe/London; this machine's zone when left out
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<String>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Only {
    /// What the program asked back, and the answers
    Questions,
}

/// Prints the dialogue.
///
/// # Errors
/// When the log can't be read, or the time is none.
pub(crate) fn run(args: LogArgs) -> anyhow::Result<ExitCode> {
    let times = times(args.time_zone.as_deref())?;
    let store = Store::open(&args.db, Mode::Read)?;
    let exchanges = Log::read(&store)
        .and_then(|log| report::dialogue(&log))
        .with_context(|| format!("{}: this log cannot be shown", args.db.display()))?;
    let wanted = Wanted {
        since: args
            .since
            .as_deref()
            .map(|text| since(text, &exchanges, &times))
            .transpose()?,
        circuit: args.circuit,
        only_questions: matches!(args.only, Some(Only::Questions)),
    };
    let shown: Vec<Exchange> = exchanges.into_iter().filter(|e| wanted.has(e)).collect();
    let text = if args.json {
        report::dialogue_jsonl(&shown)
    } else {
        report::dialogue_text(&shown, &times)
    };
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(why) if why.kind() != io::ErrorKind::BrokenPipe => Err(why.into()),
        _ => Ok(ExitCode::SUCCESS),
    }
}

/// A time as typed; one without a day is of the last day of the log.
fn since(text: &str, exchanges: &[Exchange], times: &Times) -> anyhow::Result<Timestamp> {
    if let Ok(at) = text.parse::<Timestamp>() {
        return Ok(at);
    }
    let civil = match (text.parse::<civil::DateTime>(), text.parse::<civil::Time>()) {
        (Ok(at), _) => Some(at),
        (_, Ok(time)) => exchanges.last().map(|last| {
            last.at
                .to_zoned_datetime(times.zone().clone())
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
