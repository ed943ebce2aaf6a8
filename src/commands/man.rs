//! `bothhands man`: its manual pages.

use super::{shown, written};
use anyhow::Context;
use clap::Command;
use clap_mangen::Man;
use std::path::PathBuf;
use std::process::ExitCode;

/// Prints the manual page, or writes a page for each command to a folder.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Write bothhands.1, bothhands-test.1 and so on here.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// Prints or writes them.
///
/// # Errors
/// When they can't be written.
pub(crate) fn run(args: &Args, mut command: Command) -> anyhow::Result<ExitCode> {
    command.build();
    let Some(out) = &args.out else {
        shown::raw(&page(&command, command.get_name())?)?;
        return Ok(ExitCode::SUCCESS);
    };
    std::fs::create_dir_all(out)
        .with_context(|| format!("{}: this folder can't be made", out.display()))?;
    let commands = command
        .get_subcommands()
        .filter(|sub| sub.get_name() != "help");
    for one in std::iter::once(&command).chain(commands) {
        let name = match one.get_name() {
            own if own == command.get_name() => own.to_owned(),
            sub => format!("{}-{sub}", command.get_name()),
        };
        let path = out.join(format!("{name}.1"));
        written::file(&path, &page(one, &name)?, &[])?;
    }
    Ok(ExitCode::SUCCESS)
}

fn page(command: &Command, name: &str) -> anyhow::Result<Vec<u8>> {
    let mut page = Vec::new();
    Man::new(command.clone())
        .title(name.to_uppercase())
        .render(&mut page)?;
    Ok(page)
}
