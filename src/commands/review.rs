use super::letterhead::LetterheadArgs;
use super::paper::times;
use super::progress::Progress;
use super::{shown, written};
use anyhow::Context;
use bothhands::review::{Review, serve};
use clap::Args;
use std::{path::PathBuf, process::ExitCode};

/// Look back at a session in a browser on this machine: timeline with sound, verdicts, graphs
#[derive(Debug, Args)]
pub(crate) struct ReviewArgs {
    /// The log of the session
    #[arg(value_name = "DB")]
    db: PathBuf,
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
    let times = times(args.time_zone.as_deref())?;
    let review = {
        let _progress = Progress::of("reading the log");
        Review::of(args.db, times, letterhead)?
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
