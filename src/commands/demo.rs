//! `bothhands demo`: the main job on recorded speech, through the real recogniser.

use super::stop::stop_on_signal;
use super::terminal::ToTerminal;
use super::{about_log, by, shown, written};
use anyhow::{Context, bail};
use bothhands::dialogue::{Clips, DialogueManager, Tally, grammar_for, open_session};
use bothhands::installation::Job;
use bothhands::log::{self, Log, SharedClock};
use bothhands::report::{self, Schedule, Times};
use bothhands::speech::Recogniser;
use bothhands::speech::ear::Ear;
use bothhands::voice::Terminal;
use include_dir::{Dir, include_dir};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

static RECORDINGS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/demo/recordings");
const JOB: &str = include_str!("../../demo/boathouse.toml");

/// Shows the main job on recorded speech: a circuit with electronics wired in, tested for
/// insulation.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Where the log, the schedule and the dialogue are written.
    #[arg(long, value_name = "DIR", default_value = "demo-out")]
    out: PathBuf,
}

/// Runs it.
///
/// # Errors
/// When the folder can't be written, or something in it is not from an earlier demo.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let out = &args.out;
    std::fs::create_dir_all(out)
        .with_context(|| format!("{}: this folder can't be made", out.display()))?;
    let db = out.join("session.db");
    let job = Job::parse(JOB, "demo/boathouse.toml")?;
    clear_earlier_demo(&db, &job)?;
    shown::line(format!(
        "The demo: {}. Recorded voices, a burst of noise and some talk go through the recogniser;\n\
         lines beginning \"you:\" are what it heard, the others what the program says.\n",
        job.title
    ))?;
    let clock = SharedClock::default();
    let (mut store, log) = log::take_up(&db, &clock).map_err(|why| about_log(&db, why))?;
    let started = Instant::now();
    let grammar = Arc::new(grammar_for(&job, true, false)?.0);
    let mut engine = Ear::new(Arc::clone(&grammar), 1)?;
    let start_up = started.elapsed();
    let (session, first) = open_session(&mut store, &log, job, JOB, by().as_str().into(), &clock)?;
    let mut voice = Terminal::stdout();
    let mut observer = ToTerminal::timed();
    let mut conductor = DialogueManager {
        session,
        store: &mut store,
        clock,
        grammar: &grammar,
        bench: None,
        recogniser: Some(&mut engine as &mut dyn Recogniser),
        voice: &mut voice,
        observer: &mut observer,
        stop: stop_on_signal()?,
        live: false,
    };
    conductor.open(&first);
    let mut clips: Vec<_> = RECORDINGS
        .files()
        .map(|file| (file.path().display().to_string(), file.contents().to_vec()))
        .collect();
    clips.sort();
    let tally = conductor.run(&mut Clips::new(clips))?;
    let finished = conductor.session.state().mode() == bothhands::sequence::Mode::Finished;
    let log = Log::read(&store)?;
    let schedule = Schedule::of(&log, &Times::here())?;
    let exchanges = report::dialogue(&log)?;
    shown::line("")?;
    for (name, bytes) in [
        ("schedule.html", report::html(&schedule).into_bytes()),
        ("schedule.pdf", report::pdf(&schedule)?),
        ("schedule.csv", report::csv(&schedule).into_bytes()),
        ("log.jsonl", report::dialogue_jsonl(&exchanges).into_bytes()),
    ] {
        let path = out.join(name);
        written::file(&path, &bytes, &[&db])?;
        shown::line(format!("wrote {}", path.display()))?;
    }
    shown::line(format!("the log is {}", db.display()))?;
    print_tally(&tally, start_up.as_secs_f64())?;
    shown::line(format!(
        "Next: open {}, or look back with `bothhands review {}`.",
        out.join("schedule.html").display(),
        db.display()
    ))?;
    if !finished {
        bail!("the demo did not come to its end; please report this");
    }
    Ok(ExitCode::SUCCESS)
}

fn print_tally(tally: &Tally, start_up: f64) -> anyhow::Result<()> {
    let hearing = tally.hearing.as_secs_f64();
    let sound = tally.sound.as_secs_f64();
    shown::line(format!(
        "\n{} utterances taken, {} asked again, {} ignored. Start-up {start_up:.2} s; hearing took \
         {hearing:.1} s for {sound:.0} s of sound, {:.2} of real time.",
        tally.taken,
        tally.asked_again,
        tally.ignored,
        hearing / sound.max(0.1)
    ))
}

/// A demo begins a new log; only one that an earlier demo left may be replaced.
fn clear_earlier_demo(db: &Path, job: &Job) -> anyhow::Result<()> {
    if !db.exists() {
        return Ok(());
    }
    let ours = {
        let (_, log) = log::take_up(db, &SharedClock::default())
            .with_context(|| format!("{} is in the way; choose another --out", db.display()))?;
        log.entries.is_empty() || log.agenda()?.job().title == job.title
    };
    if !ours {
        bail!(
            "{} holds the log of another job; choose another --out",
            db.display()
        );
    }
    for ending in ["", "-wal", "-shm", ".lock"] {
        let mut path = db.as_os_str().to_owned();
        path.push(ending);
        match std::fs::remove_file(&path) {
            Err(why) if why.kind() != std::io::ErrorKind::NotFound => {
                bail!("{}: can't be replaced: {why}", db.display())
            }
            _ => {}
        }
    }
    Ok(())
}
