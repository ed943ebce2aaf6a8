//! The program: reads its command line and hands over to a subcommand.

use bothhands::commands;
use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// A voice companion for inspecting and testing an electrical installation with a probe in each
/// hand. Testing can kill: for competent persons, or learners under direct supervision. It
/// records, compares and reminds; the person decides.
#[derive(Debug, Parser)]
#[command(version, propagate_version = true)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Test(commands::test::Args),
}

fn main() -> ExitCode {
    let cli = Cli::parse();
    let done = match &cli.command {
        Command::Test(args) => commands::test::run(args),
    };
    done.unwrap_or_else(|error| {
        eprintln!("bothhands: {error:#}");
        ExitCode::from(2)
    })
}
