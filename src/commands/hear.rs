//! `bothhands hear`: what was heard in recordings.

use super::engine::{EngineArgs, GrammarArgs};
use super::shown;
use bothhands::audio::{EndpointConfig, Utterance};
use bothhands::eval::hear::{HeardLine, cut, whole};
use bothhands::speech::{DecodeContext, Recogniser};
use clap::Args;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Say what was heard in recordings: words, meaning, outcome, scores and times.
#[derive(Debug, Args)]
pub(crate) struct Hear {
    /// WAV or FLAC files of any rate; `-` is a WAV on standard input.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The grammar rule to listen for, as in `grammars/steps.jsgf`.
    #[arg(long, value_name = "NAME", default_value = DEFAULT_RULE)]
    rule: String,
    /// One JSON object a line for each utterance.
    #[arg(long)]
    json: bool,
    /// Seconds of silence that end an utterance.
    #[arg(long, value_name = "SECONDS", default_value_t = EndpointConfig::default().pause)]
    pause: f64,
    /// Take each file as one utterance instead of cutting it at pauses.
    #[arg(long)]
    whole: bool,
    #[command(flatten)]
    grammars: GrammarArgs,
    #[command(flatten)]
    engine: EngineArgs,
}

/// Everything that any step allows.
pub(crate) const DEFAULT_RULE: &str = "anything";

/// Runs the command. Exit status 2 when a file could not be used; the others are still heard.
///
/// # Errors
/// When the rule does not exist or the engine cannot start.
pub(crate) fn run(mut args: Hear) -> anyhow::Result<ExitCode> {
    let (grammar, rule) = args.grammars.open(&args.rule)?;
    args.rule = rule;
    let mut engine: Box<dyn Recogniser> = match args.engine.other(&grammar)? {
        Some(engine) => {
            grammar.graph(&args.rule)?;
            engine
        }
        None => {
            let mut ear = args.engine.ear(&grammar)?;
            args.grammars.teach(&mut ear)?;
            ear.prepare(&args.rule)?;
            Box::new(ear)
        }
    };
    let cutting = EndpointConfig {
        pause: args.pause.clamp(0.1, 10.0),
        ..EndpointConfig::default()
    };
    let mut status = ExitCode::SUCCESS;
    for file in &args.files {
        let mut sink = |utterance: Utterance| hear(&args, engine.as_mut(), file, &utterance);
        let done = if args.whole {
            whole(file).map_or_else(|e| Err(e.into()), &mut sink)
        } else {
            cut(file, cutting, &mut sink)
        };
        if let Err(error) = done {
            shown::note(format!("bothhands: {error:#}"));
            status = super::exit::Exit::Wrong.into();
        }
    }
    Ok(status)
}

fn hear(
    args: &Hear,
    engine: &mut dyn Recogniser,
    file: &Path,
    utterance: &Utterance,
) -> anyhow::Result<()> {
    let expected = DecodeContext {
        rule: args.rule.clone(),
        excluded: Vec::new(),
    };
    let heard = engine.recognise(&utterance.samples, &expected)?;
    let line = HeardLine::of(file, utterance, &heard);
    if args.json {
        shown::json(&(serde_json::to_string(&line)? + "\n"))
    } else {
        shown::line(line)
    }
}
