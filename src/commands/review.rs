use super::letterhead::LetterheadArgs;
use super::mark::{HiddenArgs, criteria, read};
use super::paper::times;
use super::progress::Progress;
use super::{shown, written};
use anyhow::Context;
use bothhands::review::{Marking, Review, serve};
use clap::Args;
use std::{path::PathBuf, process::ExitCode};

/// Look back at a session in a browser on this machine: timeline with sound, verdicts, graphs, marks
///
/// Several logs are looked back at as a group: who passed, what was missed, attempts side by side.
#[derive(Debug, Args)]
pub(crate) struct ReviewArgs {
    /// The log of the session, or several of a group
    #[arg(value_name = "DB", required = true)]
    dbs: Vec<PathBuf>,
    /// The instructor's criteria and weights for marks
    #[arg(long, value_name = "FILE")]
    criteria: Option<PathBuf>,
    /// The instructor's own log of the same bay: readings are compared with its
    #[arg(long, value_name = "DB")]
    reference: Option<PathBuf>,
    #[command(flatten)]
    hidden: HiddenArgs,
    /// The port on this machine; any free one when left out
    #[arg(long, value_name = "N", default_value_t = 0)]
    port: u16,
    /// Show times in this zone, such as Europe/London; this machine's zone when left out
    #[arg(long, value_name = "ZONE", visible_alias = "zone")]
    time_zone: Option<String>,
    /// Open the first page in a browser
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    letterhead: LetterheadArgs,
}

/// Serves the pages until Ctrl-C. Only this machine can reach them, and only with the whole
/// address.
///
/// # Errors
/// When the log can't be read or the port is taken.
pub(crate) fn run(args: ReviewArgs) -> anyhow::Result<ExitCode> {
    let letterhead = args.letterhead.read()?;
    let marking = Marking {
        criteria: criteria(args.criteria.as_deref())?,
        reference: match &args.reference {
            Some(db) => Some(read(db)?.1),
            None => None,
        },
        hidden: args.hidden.given()?,
    };
    let times = times(args.time_zone.as_deref())?;
    let review = {
        let _progress = Progress::of("reading the log");
        Review::of(args.dbs, times, letterhead, marking)?
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .context("the page can't be served on this machine")?;
    let ready = |address: String| {
        // Where nobody reads the address, nobody looks back; serving it harms nobody.
        let _ = shown::line(format!(
            "Look back at {address}\nOnly this machine can open it. Ctrl-C ends it."
        ));
        if args.open
            && let Err(why) = written::opened(address.as_ref())
        {
            shown::note(format!("{why:#}"));
        }
    };
    let stop = async {
        let _ = tokio::signal::ctrl_c().await;
    };
    runtime.block_on(serve(review, args.port, ready, stop))?;
    Ok(ExitCode::SUCCESS)
}
