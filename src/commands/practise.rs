//! `bothhands practise`: a job on a simulated installation with hidden faults.

use super::mark::HiddenArgs;
use super::{shown, test};
use bothhands::installation::Job;
use bothhands::practice::Hidden;
use bothhands::terms::BayEdition;
use std::process::ExitCode;

/// Practises a job on a simulated installation with hidden faults: say what you switch off, take out,
/// link and cross, and where the probes are; the instrument answers.
#[derive(Debug, clap::Args)]
pub(crate) struct PractiseArgs {
    #[command(flatten)]
    test: test::Args,
    #[command(flatten)]
    hidden: HiddenArgs,
}

/// Runs it.
///
/// # Errors
/// As `test`, or when the faults can't be hidden in that job.
pub(crate) fn run(mut args: PractiseArgs) -> anyhow::Result<ExitCode> {
    if args.test.db.is_none() {
        // Never the log of a test.
        args.test.db = Some(args.test.job.with_extension("practice.db"));
    }
    shown::note(
        "Practice on a simulated installation. Say what you do, and where the probes are: \"probe line to neutral at socket three\".",
    );
    let PractiseArgs { test, hidden } = args;
    test::lead(&test, |job, edition| hidden_in(job, edition, &hidden))
}

/// What is hidden in a job that is practised.
///
/// # Errors
/// When that can't be hidden in the job.
pub(super) fn hidden_in(
    job: &Job,
    edition: BayEdition,
    hidden: &HiddenArgs,
) -> anyhow::Result<Option<Hidden>> {
    let found = hidden.of(job, edition)?;
    Ok(Some(found.unwrap_or_else(Hidden::nothing)))
}
