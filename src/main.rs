use bothhands::commands::{hear, score};
use clap::Parser;
use std::process::ExitCode;

/// A voice companion for inspecting and testing an electrical installation.
#[derive(Parser)]
enum Command {
    Hear(hear::Hear),
    Score(score::Score),
}

fn main() -> ExitCode {
    let done = match Command::parse() {
        Command::Hear(args) => hear::run(args),
        Command::Score(args) => score::run(args),
    };
    done.unwrap_or_else(|error| {
        eprintln!("bothhands: {error:#}");
        ExitCode::from(2)
    })
}
