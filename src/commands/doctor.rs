//! `bothhands doctor`: whether this machine is ready, and what to do where it is not.

use bothhands::doctor::{ToCheck, examine};
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

/// Checks microphone, voice, model, disk and clock, and says what to do about each.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct Args {
    /// The microphone to check, by name; `bothhands devices` lists them.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// The folder where logs will be kept.
    #[arg(long, value_name = "DIR", default_value = ".")]
    folder: PathBuf,
    /// Leave out the microphone: everything will be typed.
    #[arg(long)]
    no_microphone: bool,
    /// Leave out the voice: prompts will be read on the screen.
    #[arg(long)]
    no_voice: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Runs it: exit status 0 when all that is needed is there, 1 otherwise.
///
/// # Errors
/// When the findings cannot be written.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let wanted = ToCheck {
        folder: &args.folder,
        microphone: !args.no_microphone,
        device: args.device.as_deref(),
        voice: !args.no_voice,
    };
    if args.json {
        let mut all = Vec::new();
        let ready = examine(&wanted, &mut |finding| {
            all.push(finding.clone());
            Ok(())
        })?;
        let told = serde_json::json!({ "ready": ready, "findings": all });
        super::shown::json(&(serde_json::to_string_pretty(&told)? + "\n"))?;
        return Ok(status(ready));
    }
    let mut out = std::io::stdout().lock();
    let ready = examine(&wanted, &mut |finding| {
        writeln!(out, "{finding}")?;
        Ok(out.flush()?)
    })?;
    Ok(status(ready))
}

fn status(ready: bool) -> ExitCode {
    if ready {
        ExitCode::SUCCESS
    } else {
        super::exit::Exit::Lacking.into()
    }
}
