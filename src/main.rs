//! The program: reads its command line and hands over to a subcommand.

#![forbid(unsafe_code)]

mod commands;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use std::process::ExitCode;

/// A voice companion for inspecting and testing an electrical installation with a probe in each
/// hand. Testing can kill: for competent persons, or learners under direct supervision. It
/// records, compares and reminds; the person decides.
#[derive(Debug, Parser)]
///
/// Without a command it lists the jobs of this folder, how far each is, and what to type next.
#[command(
    version,
    propagate_version = true,
    args_conflicts_with_subcommands = true
)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
    /// Print the jobs of this folder as JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    Demo(commands::demo::Args),
    New(commands::new::Args),
    Check(commands::check::Args),
    Test(commands::test::Args),
    Practise(commands::practise::PractiseArgs),
    #[cfg(feature = "phone")]
    Bay(commands::bay::BayArgs),
    Mark(commands::mark::Args),
    Rehearse(commands::rehearse::Args),
    Hear(commands::hear::Hear),
    Score(commands::score::Score),
    Schedule(commands::schedule::ScheduleArgs),
    Changed(commands::changed::ChangedArgs),
    Labels(commands::labels::LabelsArgs),
    Pack(commands::pack::PackArgs),
    Log(commands::log::LogArgs),
    Review(commands::review::ReviewArgs),
    Verify(commands::verify::VerifyArgs),
    Export(commands::export::ExportArgs),
    Import(commands::import::ImportArgs),
    Merge(commands::merge::MergeArgs),
    Lessons(commands::lessons::LessonsArgs),
    ForgetSound(commands::forget_sound::ForgetSoundArgs),
    Photo(commands::photo::PhotoArgs),
    #[cfg(feature = "hand-in")]
    HandIn(commands::hand_in::HandInArgs),
    Completions(commands::completions::Args),
    Man(commands::man::Args),
    Devices(commands::devices::Args),
    Doctor(commands::doctor::Args),
    Config(commands::config::Args),
    Schema(commands::schema::Args),
}

fn main() -> ExitCode {
    let command = commands::help::with_examples(Cli::command());
    let matches = command.clone().get_matches();
    let cli = Cli::from_arg_matches(&matches).unwrap_or_else(|error| error.exit());
    let Some(asked) = cli.command else {
        return ended(commands::overview::run(cli.json));
    };
    ended(match asked {
        Command::Demo(args) => commands::demo::run(&args),
        Command::New(args) => commands::new::run(&args),
        Command::Check(args) => commands::check::run(&args),
        Command::Test(args) => commands::test::run(&args),
        Command::Practise(args) => commands::practise::run(args),
        #[cfg(feature = "phone")]
        Command::Bay(args) => commands::bay::run(&args),
        Command::Mark(args) => commands::mark::run(&args),
        Command::Rehearse(args) => commands::rehearse::run(&args),
        Command::Hear(args) => commands::hear::run(args),
        Command::Score(args) => commands::score::run(args),
        Command::Schedule(args) => commands::schedule::run(args),
        Command::Changed(args) => commands::changed::run(&args),
        Command::Labels(args) => commands::labels::run(args),
        Command::Pack(args) => commands::pack::run(args),
        Command::Log(args) => commands::log::run(args),
        Command::Review(args) => commands::review::run(args),
        Command::Verify(args) => commands::verify::run(args),
        Command::Export(args) => commands::export::run(args),
        Command::Import(args) => commands::import::run(args),
        Command::Merge(args) => commands::merge::run(args),
        Command::Lessons(args) => commands::lessons::run(args),
        Command::ForgetSound(args) => commands::forget_sound::run(args),
        Command::Photo(args) => commands::photo::run(args),
        #[cfg(feature = "hand-in")]
        Command::HandIn(args) => commands::hand_in::run(&args),
        Command::Completions(args) => commands::completions::run(&args, command),
        Command::Man(args) => commands::man::run(&args, command),
        Command::Devices(args) => commands::devices::run(&args),
        Command::Doctor(args) => commands::doctor::run(&args),
        Command::Config(args) => commands::config::run(&args),
        Command::Schema(args) => commands::schema::run(&args),
    })
}

/// The exit status, with what went wrong on standard error.
fn ended(done: anyhow::Result<ExitCode>) -> ExitCode {
    done.unwrap_or_else(|error| {
        commands::shown::note(format!("bothhands: {error:#}"));
        commands::exit::Exit::Wrong.into()
    })
}
