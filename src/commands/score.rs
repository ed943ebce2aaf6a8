//! `bothhands score`: how well a list of recordings is heard.

use super::engine::{EngineArgs, GrammarArgs};
use super::hear::DEFAULT_RULE;
use super::progress::Progress;
use super::voice::rehearsed;
use super::{shown, written};
use anyhow::Context;
use bothhands::dialogue::settings;
use bothhands::eval::{Again, Summary, hear_again, measure, read_manifest, read_second, table};
use bothhands::speech::Recogniser;
use bothhands::speech::ear::{Beam, Bounds, WIDTH};
use clap::Args;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

/// Measure how well recordings are heard, against the words that were said in them.
#[derive(Debug, Args)]
pub(crate) struct Score {
    /// Lines `path<TAB>expected words`, paths relative to this file; no words means that the
    /// recording must be ignored. Empty lines and lines that begin with `#` are skipped.
    #[arg(value_name = "MANIFEST.tsv")]
    manifest: PathBuf,
    /// The grammar rule to listen for, as in `grammars/steps.jsgf`.
    #[arg(long, value_name = "NAME", default_value = DEFAULT_RULE)]
    rule: String,
    /// The result as one JSON object.
    #[arg(long)]
    json: bool,
    /// Write one line a recording: what was expected, heard and scored.
    #[arg(long, value_name = "FILE.tsv")]
    rows: Option<PathBuf>,
    /// Hear what the voice activity cuts out of each recording instead of the whole of it.
    #[arg(long)]
    cut: bool,
    /// Also hear again what was heard wrongly, with that meaning refused, as after "negative".
    #[arg(long)]
    again: bool,
    /// Another recording of each line of the manifest, in the same order: what is heard when a
    /// person says it again, with the refused meaning left out and without leaving it out.
    #[arg(long, value_name = "OTHER.tsv", requires = "again")]
    second: Option<PathBuf>,
    /// With what a rehearsal set: the part [hearing] of a profile, and what lies beside it.
    #[arg(long, value_name = "FILE.toml")]
    profile: Option<PathBuf>,
    /// How much less likely than the best a hypothesis may be before it is dropped.
    #[arg(long, hide = true)]
    beam: Option<f32>,
    /// How much each of two models counts.
    #[arg(long, hide = true, num_args = 2, value_names = ["FIRST", "SECOND"])]
    ear_weights: Option<Vec<f32>>,
    /// How many nodes the search follows.
    #[arg(long, hide = true)]
    nodes: Option<usize>,
    /// Other bounds than those of `models/thresholds.toml`: a file of the same form.
    #[arg(long, value_name = "FILE.toml")]
    bounds: Option<PathBuf>,
    #[command(flatten)]
    grammars: GrammarArgs,
    #[command(flatten)]
    engine: EngineArgs,
}

/// Runs the command. Exit status 0 whatever the result.
///
/// # Errors
/// When the manifest or a recording cannot be used.
pub(crate) fn run(mut args: Score) -> anyhow::Result<ExitCode> {
    let started = Instant::now();
    let (grammar, rule) = args.grammars.open(&args.rule)?;
    args.rule = rule;
    let mut nodes = None;
    let mut engine: Box<dyn Recogniser> = match args.engine.other(&grammar)? {
        Some(engine) => engine,
        None => {
            let mut ear = args.engine.ear(&grammar)?;
            ear.set_width(Beam {
                beam: args.beam.unwrap_or(WIDTH.beam),
                nodes: args.nodes.unwrap_or(WIDTH.nodes),
                ..WIDTH
            });
            args.grammars.teach(&mut ear)?;
            if let Some(path) = &args.bounds {
                ear.set_bounds(Bounds::open(path)?);
            }
            if let Some(&[first, second]) = args.ear_weights.as_deref() {
                ear.set_weights([first, second]);
            }
            if let Some(path) = &args.profile {
                let text = std::fs::read_to_string(path)
                    .with_context(|| format!("{}: can't read the profile", path.display()))?;
                let settings = settings(&text).with_context(|| format!("{}", path.display()))?;
                if let Some(hearing) = rehearsed(settings.1, path)? {
                    hearing.set(&mut ear)?;
                }
            }
            nodes = Some(ear.prepare(&args.rule)?.size());
            Box::new(ear)
        }
    };
    let start_up = started.elapsed();
    let clips = read_manifest(&args.manifest, &grammar, &args.rule)?;
    let mut rows = Vec::with_capacity(clips.len());
    let progress = Progress::count("recordings", clips.len());
    for clip in clips.chunks(1) {
        rows.extend(measure(engine.as_mut(), clip, &args.rule, args.cut)?);
        progress.one_more();
    }
    drop(progress);
    if args.again {
        let others = match &args.second {
            Some(path) => Some(read_second(path, &grammar, &args.rule, &clips)?),
            None => None,
        };
        hear_again(
            engine.as_mut(),
            &mut rows,
            others.as_deref(),
            &args.rule,
            args.cut,
        )?;
    }
    let mut summary = Summary::of(&rows).with_cost(start_up);
    summary.again = args.again.then(|| Again::of(&rows));
    if let Some(path) = &args.rows {
        written::file(path, table(&rows).as_bytes(), &[&args.manifest])?;
    }
    if args.json {
        shown::json(&(serde_json::to_string_pretty(&summary)? + "\n"))?;
    } else {
        shown::all(&summary)?;
        if let Some(nodes) = nodes {
            shown::line(format!("search graph of `{}`: {nodes} nodes", args.rule))?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
