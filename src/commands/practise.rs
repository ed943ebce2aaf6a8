//! `bothhands practise`: a job on a simulated installation with hidden faults.

use super::mark::HiddenArgs;
use super::{shown, test};
use bothhands::installation::{Board, Job, JobKind};
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

/// What a job has that the simulated installation does not, and what to do.
fn not_simulated(job: &Job) -> Option<&'static str> {
    let several = job.boards.iter().any(|board| !board.rcds.is_empty());
    let reference = job
        .instruments
        .iter()
        .any(|i| i.loop_reference_ohms.is_some() || i.rcd_reference_ms.is_some());
    let stays_live =
        job.kind == JobKind::LiveRetest || job.boards.iter().any(Board::isolates_circuits);
    if stays_live {
        return Some(
            "the simulated installation is dead or live as a whole: practise a copy of the job of another kind, \
             without isolate = \"circuits\"",
        );
    }
    match (several, reference) {
        (true, _) => Some(
            "the simulated installation has no RCD of several circuits: practise a copy of the job without \
             [[board.rcd]], each circuit with its own",
        ),
        (false, true) => Some(
            "the simulated instruments have no reference: practise a copy of the job without \
             loop_reference_ohms and rcd_reference_ms",
        ),
        (false, false) => None,
    }
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
/// When the job can't be practised, or that can't be hidden in it.
pub(super) fn hidden_in(
    job: &Job,
    edition: BayEdition,
    hidden: &HiddenArgs,
) -> anyhow::Result<Option<Hidden>> {
    if let Some(not_there) = not_simulated(job) {
        anyhow::bail!("{not_there}");
    }
    let found = hidden.of(job, edition)?;
    Ok(Some(found.unwrap_or_else(Hidden::nothing)))
}
