//! `bothhands rehearse`: before the first job, how well the program hears one voice at one
//! microphone.

use super::engine::ModelArgs;
use super::stop::stop_on_signal;
use super::{shown, source};
use anyhow::Context;
use bothhands::dialogue::rehearsal::{PHRASES, RULE, read_aloud, report};
use bothhands::dialogue::with_hearing;
use bothhands::grammar::Grammar;
use bothhands::speech::hearing::conclude;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Read 20 phrases: see how well the program hears you at this microphone, and keep what it learns
/// in a profile for `bothhands test --profile`.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The profile (TOML). Made when it does not exist; otherwise only its part [hearing] is
    /// written anew.
    #[arg(value_name = "PROFILE.toml")]
    profile: PathBuf,
    /// Where sound comes from: `mic`, or a recording of each phrase, in order (WAV or FLAC).
    #[arg(long, value_name = "mic|FILE", num_args = 1..)]
    sound: Vec<String>,
    /// The microphone to use, by name; `bothhands devices` lists them.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    #[command(flatten)]
    models: ModelArgs,
    /// Only list the phrases.
    #[arg(long)]
    list: bool,
    /// Report, but write nothing.
    #[arg(long)]
    dry_run: bool,
}

/// Runs it.
///
/// # Errors
/// When the sound or the profile cannot be used; the profile is as it was then.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    if args.list {
        for phrase in PHRASES {
            shown::line(phrase)?;
        }
        return Ok(ExitCode::SUCCESS);
    }
    let before = if args.profile.exists() {
        std::fs::read_to_string(&args.profile)
            .with_context(|| format!("{}: can't read the profile", args.profile.display()))?
    } else {
        String::new()
    };
    // Whether it can be written is found out before anybody reads twenty phrases.
    with_hearing(&before, None).with_context(|| {
        format!(
            "{}: not a profile; correct it, or give another file",
            args.profile.display()
        )
    })?;
    let stop = stop_on_signal()?;
    let grammar = Arc::new(Grammar::built_in()?);
    let mut ear = args.models.ear(&grammar)?;
    ear.prepare(RULE)?;
    let mut source = source::sound(&args.sound, args.device.as_deref())?;
    shown::line(format!(
        "{} phrases. Read each as you would at work, where you work. Ctrl-C stops; nothing is kept then.",
        PHRASES.len()
    ))?;
    let attempts = read_aloud(
        &mut ear,
        &grammar,
        source.as_mut(),
        source::is_live(&args.sound),
        &|| stop.load(Ordering::SeqCst),
        &mut std::io::stdout(),
    )?;
    let shipped = *ear.thresholds();
    let hearing = conclude(&attempts, &shipped, jiff::Timestamp::now());
    shown::line(format!("\n{}", report(&attempts, &hearing, &shipped)))?;
    if args.dry_run {
        shown::line("Nothing is written (--dry-run).")?;
        return Ok(ExitCode::SUCCESS);
    }
    write(&args.profile, &with_hearing(&before, Some(&hearing))?)?;
    shown::line(format!(
        "Written to {}. Use it with: bothhands test JOB.toml --profile {}",
        args.profile.display(),
        args.profile.display()
    ))?;
    Ok(ExitCode::SUCCESS)
}

/// Writes the whole of it or nothing.
fn write(path: &Path, text: &str) -> anyhow::Result<()> {
    let beside = path.with_extension("toml.new");
    let done = std::fs::write(&beside, text).and_then(|()| std::fs::rename(&beside, path));
    if done.is_err() {
        let _ = std::fs::remove_file(&beside);
    }
    done.with_context(|| {
        format!(
            "{}: can't write the profile; it is as it was. Check the folder and the disk",
            path.display()
        )
    })
}
