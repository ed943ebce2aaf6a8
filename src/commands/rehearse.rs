//! `bothhands rehearse`: before the first job, how well the program hears one voice at one
//! microphone.

use super::engine::ModelArgs;
use super::stop::stop_on_signal;
use super::{shown, source};
use anyhow::Context;
use bothhands::audio::{self, Levels};
use bothhands::config;
use bothhands::dialogue::rehearsal::{PHRASES, RULE, read_aloud, report};
use bothhands::dialogue::with_hearing;
use bothhands::eval::read_manifest;
use bothhands::grammar::Grammar;
use bothhands::speech::adapting::{Adapted, Read, adapt};
use bothhands::speech::ear::Ear;
use bothhands::speech::hearing::{PhraseAttempt, REHEARSED_PAUSE, conclude, kept};
use bothhands::speech::{DecodeContext, Recogniser, Recognition};
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
    /// The one that the configuration names when none is given.
    #[arg(value_name = "PROFILE.toml")]
    profile: Option<PathBuf>,
    /// Recordings with the words said in each, in place of the twenty phrases: lines
    /// `path<TAB>words`, paths relative to this file.
    #[arg(long, value_name = "LIST.tsv", conflicts_with = "sound")]
    recorded: Option<PathBuf>,
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
    let configured = match &args.profile {
        Some(_) => None,
        None => config::find()?.config.profile,
    };
    let at = args.profile.as_ref().or(configured.as_ref()).context(
        "name the profile to write, as in `bothhands rehearse mine.toml`, or set `profile` in the \
         configuration (`bothhands config`)",
    )?;
    let before = if at.exists() {
        std::fs::read_to_string(at)
            .with_context(|| format!("{}: can't read the profile", at.display()))?
    } else {
        String::new()
    };
    // Whether it can be written is found out before anybody reads twenty phrases.
    with_hearing(&before, None).with_context(|| {
        format!(
            "{}: not a profile; correct it, or give another file",
            at.display()
        )
    })?;
    let stop = stop_on_signal()?;
    let grammar = Arc::new(Grammar::built_in()?);
    let mut ear = args.models.ear(&grammar)?;
    ear.prepare(RULE)?;
    let attempts = match &args.recorded {
        Some(list) => recorded(list, &mut ear, &grammar)?,
        None => {
            let stopped = || stop.load(Ordering::SeqCst);
            let cutting = source::cutting(Some(REHEARSED_PAUSE));
            let mut source = source::sound(&args.sound, args.device.as_deref(), cutting)?;
            shown::line(format!(
                "{} phrases. Read each as you would at work, where you work. Ctrl-C stops; nothing is kept then.",
                PHRASES.len()
            ))?;
            read_aloud(
                &mut ear,
                &grammar,
                source.as_mut(),
                source::is_live(&args.sound),
                &stopped,
                &mut std::io::stdout(),
            )?
        }
    };
    let shipped = *ear.thresholds();
    let mut hearing = conclude(&attempts, &shipped, jiff::Timestamp::now());
    shown::line("\nLearning your voice ...")?;
    let beside = at.with_extension("ear");
    let (corrections, left) = match learned(&mut ear, &attempts)? {
        Adapted::Left(why) => (None, Some(why)),
        Adapted::Kept { corrections, heard } => {
            let name = beside.file_name().unwrap_or_default().to_string_lossy();
            let after = heard_again(&attempts, heard);
            let (bytes, adapted) = kept(&ear, corrections, name.into_owned(), &after);
            let since = conclude(&after, &shipped, hearing.rehearsed);
            hearing = hearing.learned(adapted, &since);
            (Some(bytes), None)
        }
    };
    shown::line(format!("\n{}", report(&attempts, &hearing, &shipped)))?;
    if let Some(why) = left {
        shown::line(format!("Your voice taught nothing that is kept: {why}."))?;
    }
    if args.dry_run {
        shown::line("Nothing is written (--dry-run).")?;
        return Ok(ExitCode::SUCCESS);
    }
    if let Some(bytes) = &corrections {
        write(&beside, bytes)?;
    }
    let profile = with_hearing(&before, Some(&hearing))?;
    write(at, profile.as_bytes())?;
    let by = if configured.is_some() {
        "; `bothhands test` takes it from the configuration.".to_owned()
    } else {
        format!(
            ". Use it with: bothhands test JOB.toml --profile {}",
            at.display()
        )
    };
    shown::line(format!("Written to {}{by}", at.display()))?;
    Ok(ExitCode::SUCCESS)
}

/// What each recording of a list was heard as.
fn recorded(list: &Path, ear: &mut Ear, grammar: &Grammar) -> anyhow::Result<Vec<PhraseAttempt>> {
    let expected = DecodeContext {
        rule: RULE.to_owned(),
        excluded: Vec::new(),
    };
    let mut attempts = Vec::new();
    for clip in read_manifest(list, grammar, RULE)? {
        let Some(wanted) = clip.said else { continue };
        let samples = audio::read(&clip.path)?;
        attempts.push(PhraseAttempt {
            phrase: clip.words,
            wanted,
            heard: ear.recognise(&samples, &expected)?,
            levels: Levels::of(&samples),
            samples,
        });
    }
    Ok(attempts)
}

/// Whether the engine could learn the voice.
fn learned(ear: &mut Ear, attempts: &[PhraseAttempt]) -> anyhow::Result<Adapted> {
    let read: Vec<Read<'_>> = attempts
        .iter()
        .map(|attempt| Read {
            samples: &attempt.samples,
            phrase: &attempt.phrase,
            wanted: &attempt.wanted,
        })
        .collect();
    adapt(ear, &read, RULE)
}

/// The attempts as they were heard with what was learned.
fn heard_again(attempts: &[PhraseAttempt], heard: Vec<Recognition>) -> Vec<PhraseAttempt> {
    let each = attempts.iter().zip(heard);
    each.map(|(attempt, heard)| PhraseAttempt {
        heard,
        ..attempt.clone()
    })
    .collect()
}

/// Writes the whole of it or nothing.
fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let beside = path.with_added_extension("new");
    let done = std::fs::write(&beside, bytes).and_then(|()| std::fs::rename(&beside, path));
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
