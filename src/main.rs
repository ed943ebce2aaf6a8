use clap::Parser;
use std::process::ExitCode;

#[derive(Parser)]
#[command(version, about)]
enum Command {
    Check(bothhands::commands::check::Args),
}

fn main() -> anyhow::Result<ExitCode> {
    match Command::parse() {
        Command::Check(args) => bothhands::commands::check::run(args),
    }
}
