//! `bothhands completions`: what a shell completes after the program's name.

use super::shown;
use clap::Command;
use clap_complete::Shell;
use std::process::ExitCode;

/// Prints what a shell needs to complete commands and options.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The shell.
    #[arg(value_parser = clap::builder::EnumValueParser::<Shell>::new())]
    shell: Shell,
}

/// Prints it.
///
/// # Errors
/// When standard output can't be written.
pub(crate) fn run(args: &Args, mut command: Command) -> anyhow::Result<ExitCode> {
    let mut script = Vec::new();
    let name = command.get_name().to_owned();
    clap_complete::generate(args.shell, &mut command, name, &mut script);
    shown::raw(&script)?;
    Ok(ExitCode::SUCCESS)
}
