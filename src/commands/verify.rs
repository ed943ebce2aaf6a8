use bothhands::store::{Mode, Store, Verdict};
use clap::Args;
use std::{path::PathBuf, process::ExitCode};

/// Check that a log is as it was written, and name the first event that does not fit
#[derive(Debug, Args)]
pub(crate) struct VerifyArgs {
    /// The log
    #[arg(value_name = "DB")]
    db: PathBuf,
}

/// Prints what checking the log found. Exit status 0 when it is whole, 2 when it is not.
///
/// # Errors
/// When the log cannot be read at all.
pub(crate) fn run(args: VerifyArgs) -> anyhow::Result<ExitCode> {
    let store = Store::open(&args.db, Mode::Read)?;
    let verdict = store.verify()?;
    print!("{}", report(&args, &verdict));
    Ok(if verdict.is_whole() {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(2)
    })
}

fn report(args: &VerifyArgs, verdict: &Verdict) -> String {
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
    let db = args.db.display();
    match verdict.faults.as_slice() {
        [] => lines.push(format!(
            "{db}: whole. {} events and {} pieces of evidence ({:.1} MB of sound) are as they were written.",
            verdict.events,
            verdict.evidence,
            verdict.sound_bytes as f64 / 1e6
        )),
        [first, rest @ ..] => {
            lines.push(format!("{db}: does not fit at {first}"));
            lines.extend(rest.iter().map(|fault| format!("also: {fault}")));
            lines.push(format!(
                "{} events before that are as they were written. Keep the file as it is; \
                 `bothhands export` takes out what is whole.",
                verdict.events
            ));
        }
    }
    lines.push(String::new());
    lines.join("\n")
}
