//! `bothhands config`: what holds for every job, and where it comes from.

use super::shown;
use bothhands::config::{self, FoundConfig, NAMED_BY};
use std::process::ExitCode;

/// Show what the configuration sets, and where it is: tester and instruments of new jobs, heading and
/// logo of what is printed, voice, rate, volume, manner, wording and profile.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Runs it.
///
/// # Errors
/// When the configuration can't be used, or standard output can't be written.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let found = config::find()?;
    if args.json {
        let all = serde_json::json!({
            "path": found.path,
            "named_by_environment": found.named,
            "exists": found.exists,
            "config": found.config,
        });
        shown::json(&(serde_json::to_string_pretty(&all)? + "\n"))?;
    } else {
        shown::all(told(&found)?)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn told(found: &FoundConfig) -> anyhow::Result<String> {
    let Some(path) = &found.path else {
        return Ok(format!(
            "There is no home folder to look in: name a file with {NAMED_BY}. Nothing is set.\n"
        ));
    };
    let named = if found.named {
        format!("named by {NAMED_BY}")
    } else {
        format!("the usual place; {NAMED_BY} names another")
    };
    let mut text = format!("{} ({named})\n", path.display());
    if found.exists {
        let set = toml::to_string(&found.config)?;
        text.push_str(if set.is_empty() {
            "It sets nothing.\n"
        } else {
            &set
        });
    } else {
        text.push_str(
            "There is no such file yet, so nothing is set. It may hold, as in guide/job-file.md:\n\
             \x20 tester = \"who tests\"\n\
             \x20 heading = \"what stands at the head of a schedule\"\n\
             \x20 voice = \"system\"\n\
             \x20 profile = \"mine.toml\"\n",
        );
    }
    Ok(text)
}
