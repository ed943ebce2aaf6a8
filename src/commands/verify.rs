use super::log_of::opened;
use super::progress::Progress;
use super::shown;
use bothhands::store::{Head, KnownHead, Verification};
use clap::Args;
use serde_json::json;
use std::{
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Check that everything in a log fits together, and name the first event that does not
///
/// Hashes that fit do not show that the end was not cut off, nor that all was not made anew. The
/// head of the log, copied from a schedule or the last line of a session, shows both.
#[derive(Debug, Args)]
pub(crate) struct VerifyArgs {
    /// The log; - takes what `export` writes from standard input
    #[arg(value_name = "DB")]
    db: PathBuf,
    /// The head that the log had once: the number of events and eight digits or more, as it stands
    /// on a schedule and in the last line of a session
    #[arg(long, value_name = "N:HASH")]
    head: Option<KnownHead>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Prints what checking the log found. Exit status 0 when it is whole and holds the head given, 2
/// otherwise.
///
/// # Errors
/// When the log cannot be read at all.
pub(crate) fn run(args: VerifyArgs) -> anyhow::Result<ExitCode> {
    let from = opened(&args.db)?;
    let store = &from.store;
    let verdict = {
        let _progress = Progress::of("checking the log");
        store.verify()?
    };
    let (heads, held) = if verdict.is_whole() {
        let held = args
            .head
            .as_ref()
            .map(|head| store.holds(head))
            .transpose()?;
        (store.heads()?, held)
    } else {
        (Vec::new(), None)
    };
    if args.json {
        shown::json(&(as_json(&args, &verdict, &heads, held).to_string() + "\n"))?;
    } else {
        shown::all(report(&args, &from.name, &verdict, &heads, held))?;
    }
    Ok(if verdict.is_whole() && held != Some(false) {
        ExitCode::SUCCESS
    } else {
        super::exit::Exit::Wrong.into()
    })
}

/// The same for another program.
fn as_json(
    args: &VerifyArgs,
    verdict: &Verification,
    heads: &[Head],
    held: Option<bool>,
) -> serde_json::Value {
    let words = |all: &mut dyn Iterator<Item = String>| all.collect::<Vec<_>>();
    let chains: Vec<_> = verdict
        .chains
        .iter()
        .map(|chain| {
            json!({
                "chain": chain.chain.to_string(),
                "device": chain.device,
                "events": chain.events,
                "first": chain.first,
                "last": chain.last,
            })
        })
        .collect();
    json!({
        "log": args.db,
        "whole": verdict.is_whole(),
        "events": verdict.events,
        "evidence": verdict.evidence,
        "sound_bytes": verdict.sound_bytes,
        "chains": chains,
        "faults": words(&mut verdict.faults.iter().map(ToString::to_string)),
        "remarks": words(&mut verdict.remarks.iter().map(ToString::to_string)),
        "conflicts": words(&mut verdict.conflicts.iter().map(ToString::to_string)),
        "heads": words(&mut heads.iter().map(ToString::to_string)),
        "holds_head": held,
    })
}

/// `held` is whether the log holds the head that was given.
fn report(
    args: &VerifyArgs,
    db: &Path,
    verdict: &Verification,
    heads: &[Head],
    held: Option<bool>,
) -> String {
    let mut lines = Vec::new();
    for chain in &verdict.chains {
        lines.push(format!(
            "chain {}: {} events on {}, {:.0} to {:.0}",
            chain.chain, chain.events, chain.device, chain.first, chain.last
        ));
    }
    lines.extend(
        verdict
            .conflicts
            .iter()
            .map(|conflict| format!("conflict: {conflict}")),
    );
    lines.extend(
        verdict
            .remarks
            .iter()
            .map(|remark| format!("remark: {remark}")),
    );
    let db = db.display();
    match verdict.faults.as_slice() {
        [] => {
            lines.push(format!(
                "{db}: whole. {} events and {} pieces of evidence ({:.1} MB of sound) fit together.",
                verdict.events,
                verdict.evidence,
                verdict.sound_bytes as f64 / 1e6
            ));
            lines.extend(heads.iter().map(|head| format!("head: {head}")));
            lines.push(match (&args.head, held) {
                (Some(head), Some(true)) => format!(
                    "It holds the head {head}: everything up to there is as it was written then."
                ),
                (Some(head), _) => format!(
                    "{db}: IT DOES NOT HOLD the head {head}. Its end was cut off, or it was made \
                     anew, or it is another log. Keep the file as it is, and look for a copy."
                ),
                (None, _) => "That its end was not cut off, and that it was not made anew, only a head \
                     shows that stands elsewhere: on a schedule, or in the last line of the session. \
                     Give it with --head."
                    .to_owned(),
            });
        }
        [first, rest @ ..] => {
            lines.push(format!("{db}: does not fit at {first}"));
            lines.extend(rest.iter().map(|fault| format!("also: {fault}")));
            lines.push(format!(
                "{} events before that fit together. Keep the file as it is; \
                 `bothhands export` takes out what is whole.",
                verdict.events
            ));
        }
    }
    lines.push(String::new());
    lines.join("\n")
}
