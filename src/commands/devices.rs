//! `bothhands devices`: the microphones there are, and how loud one is.

use std::process::ExitCode;

/// Lists the machine's microphones, by the names that `--device` takes.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct Args {
    /// Also list what the sound system has for its own use: converters and raw devices.
    #[arg(long)]
    all: bool,
    /// Show how loud a microphone is, until Ctrl-C: speak as you would at work.
    #[arg(long)]
    meter: bool,
    /// The microphone to show, by name; the default one when not given.
    #[arg(long, value_name = "NAME", requires = "meter")]
    device: Option<String>,
    /// Stop after so long.
    #[arg(long, value_name = "SECONDS", requires = "meter")]
    seconds: Option<u64>,
    /// Print JSON.
    #[arg(long, conflicts_with = "meter")]
    json: bool,
}

/// Runs it: exit status 1 when there is none.
///
/// # Errors
/// When the sound system cannot be asked, or the microphone to show cannot be used.
#[cfg(feature = "microphone")]
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    use super::shown;
    use bothhands::audio::microphone::{MicrophoneError, devices};
    if args.meter {
        return meter(args);
    }
    let found = devices(args.all)?;
    if args.json {
        let all: Vec<_> = found
            .iter()
            .map(|device| {
                serde_json::json!({
                    "name": device.name,
                    "description": device.description,
                    "default": device.default,
                })
            })
            .collect();
        shown::json(&(serde_json::to_string_pretty(&all)? + "\n"))?;
        return Ok(match found.is_empty() {
            true => super::exit::Exit::Lacking.into(),
            false => ExitCode::SUCCESS,
        });
    }
    for device in &found {
        let default = if device.default { "  (default)" } else { "" };
        shown::line(format!("{}{default}", device.name))?;
        if !device.description.is_empty() {
            shown::line(format!("    {}", device.description))?;
        }
    }
    if found.is_empty() {
        shown::line(MicrophoneError::None)?;
        return Ok(super::exit::Exit::Lacking.into());
    }
    Ok(ExitCode::SUCCESS)
}

/// A line that moves on a terminal, a line each second elsewhere.
#[cfg(feature = "microphone")]
fn meter(args: &Args) -> anyhow::Result<ExitCode> {
    use super::shown;
    use bothhands::audio::bar;
    use bothhands::audio::microphone::{LineEvent, Microphone};
    use std::io::{IsTerminal, Write};
    use std::sync::atomic::Ordering;
    use std::time::{Duration, Instant};

    let stop = super::stop::stop_on_signal()?;
    let mut microphone = Microphone::open(args.device.as_deref())?;
    shown::line(format!(
        "`{}`: a voice at work reaches -30 to -10 dB, a quiet room lies below -50. Ctrl-C ends.",
        microphone.device()
    ))?;
    let terminal = std::io::stdout().is_terminal();
    let every = Duration::from_millis(if terminal { 100 } else { 1000 });
    let begun = Instant::now();
    let (mut shown, mut loudest) = (begun, f32::NEG_INFINITY);
    let mut clipped = false;
    let ended = || {
        args.seconds
            .is_some_and(|s| begun.elapsed() >= Duration::from_secs(s))
    };
    while !stop.load(Ordering::SeqCst) && !ended() {
        match microphone.next(Duration::from_millis(50)) {
            Some(LineEvent::Sound(_)) => {
                let level = microphone.level();
                loudest = loudest.max(level.mean);
                clipped |= level.clipped;
            }
            Some(LineEvent::Notice(notice)) => shown::line(format!("\n{notice}"))?,
            None => {}
        }
        if shown.elapsed() >= every && loudest > f32::NEG_INFINITY {
            let note = if clipped {
                "  too loud: turn it down"
            } else {
                ""
            };
            let end = if terminal { "\r" } else { "\n" };
            // A terminal that can't be written to is no reason to stop early.
            let mut out = std::io::stdout();
            let _ = write!(out, "{}{note:<26}{end}", bar(loudest)).and_then(|()| out.flush());
            (shown, loudest, clipped) = (Instant::now(), f32::NEG_INFINITY, false);
        }
    }
    shown::line("")?;
    Ok(ExitCode::SUCCESS)
}

/// Runs it: this build has no microphone.
///
/// # Errors
/// Always.
#[cfg(not(feature = "microphone"))]
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let _ = (args.all, args.meter, &args.device, args.seconds, args.json);
    anyhow::bail!("this build has no microphone; use one built with the feature `microphone`")
}
