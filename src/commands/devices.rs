//! `bothhands devices`: the microphones there are.

use std::process::ExitCode;

/// Lists the machine's microphones, by the names that `--device` takes.
#[derive(Debug, Clone, clap::Args)]
pub struct Args {
    /// Also list what the sound system has for its own use: converters and raw devices.
    #[arg(long)]
    all: bool,
}

/// Runs it: exit status 1 when there is none.
///
/// # Errors
/// When the sound system cannot be asked.
#[cfg(feature = "microphone")]
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    use crate::audio::microphone::{MicrophoneError, devices};
    let found = devices(args.all)?;
    for device in &found {
        let default = if device.default { "  (default)" } else { "" };
        println!("{}{default}", device.name);
        if !device.description.is_empty() {
            println!("    {}", device.description);
        }
    }
    if found.is_empty() {
        println!("{}", MicrophoneError::None);
        return Ok(ExitCode::FAILURE);
    }
    Ok(ExitCode::SUCCESS)
}

/// Runs it: this build has no microphone.
///
/// # Errors
/// Always.
#[cfg(not(feature = "microphone"))]
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let _ = args;
    anyhow::bail!("this build has no microphone; use one built with the feature `microphone`")
}
