//! `bothhands demo`: the main job on recorded speech, through the real recogniser.

use super::stop::stop_on_signal;
use super::terminal::ToTerminal;
use super::{about_log, by, shown, written};
use anyhow::{Context, bail};
use bothhands::dialogue::{Clips, DialogueManager, RunBy, Tally, grammar_for, open_session};
use bothhands::installation::Job;
use bothhands::log::{self, Log, SharedClock};
use bothhands::marking::{Criteria, Economy, mark};
use bothhands::practice::{Bench, Hidden};
use bothhands::report::{self, Schedule, Times};
use bothhands::speech::Recogniser;
use bothhands::speech::ear::Ear;
use bothhands::store::Store;
use bothhands::terms::{Level, Practice};
use bothhands::voice::Terminal;
use include_dir::{Dir, include_dir};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

static RECORDINGS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/demo/recordings");
const JOB: &str = include_str!("../../demo/boathouse.toml");
const SCRIPT: &str = include_str!("../../demo/script.tsv");
const FAULTS: &str = include_str!("../../demo/faults.toml");
const PRACTICE: &str = include_str!("../../demo/practice.tsv");

/// Shows the main job on recorded speech: a circuit with electronics wired in, tested for
/// insulation. Then a learner practises it, and is marked.
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
    let job = Job::parse(JOB, "demo/boathouse.toml")?;
    let stop = stop_on_signal()?;
    let session = out.join("session.db");
    let learner = out.join("learner.db");
    for db in [&session, &learner] {
        clear_earlier_demo(db, &job)?;
    }
    shown::line(format!(
        "The demo: {}. Recorded voices, a burst of noise and some talk go through the recogniser;\n\
         lines beginning \"you:\" are what it heard, the others what the program says.\n",
        job.title
    ))?;
    let played = play(&session, &job, SCRIPT, None, &stop)?;
    let log = Log::read(&played.store)?;
    let schedule = Schedule::of(&log, &Times::here())?;
    let exchanges = report::dialogue(&log)?;
    shown::line("")?;
    write_all(
        out,
        &[&session],
        [
            ("schedule.html", report::html(&schedule).into_bytes()),
            ("schedule.pdf", report::pdf(&schedule)?),
            ("schedule.csv", report::csv(&schedule).into_bytes()),
            ("log.jsonl", report::dialogue_jsonl(&exchanges).into_bytes()),
        ],
    )?;
    shown::line(format!("the log is {}", session.display()))?;
    print_tally(&played)?;
    if !played.finished || stop.load(Ordering::SeqCst) {
        bail!("the demo did not come to its end; please report this");
    }
    practise(out, &learner, &job, &stop)?;
    shown::line(format!(
        "Next: open {} and {}, or look back with `bothhands review {}`.",
        out.join("schedule.html").display(),
        out.join("learner.marks.html").display(),
        session.display()
    ))?;
    Ok(ExitCode::SUCCESS)
}

/// The second part: a learner practises the same job on a simulated installation, forgets a neutral, and
/// is marked.
fn practise(out: &Path, db: &Path, job: &Job, stop: &Arc<AtomicBool>) -> anyhow::Result<()> {
    shown::line(
        "\nThe second part: a learner practises the same job on a simulated installation in which something is\n\
         hidden, and is asked what comes next. Lines beginning \"instrument:\" are what it shows.\n",
    )?;
    let hidden = Hidden::parse(FAULTS, "demo/faults.toml")?;
    let practice = Practice {
        learner: "C. Learner".to_owned(),
        level: Level::Asked,
        predict: false,
        simulated: Some(hidden.seal()),
    };
    let bench = Bench::of(job, hidden)?;
    let played = play(db, job, PRACTICE, Some((&practice, bench)), stop)?;
    let log = Log::read(&played.store)?;
    let criteria = Criteria::default();
    let sheet = mark(&log, None, None, &criteria, &mut Economy::default())?;
    let sounds = super::mark::heard(&played.store, &sheet)?;
    let times = Times::here();
    shown::line("")?;
    write_all(
        out,
        &[db],
        [
            (
                "learner.marks.html",
                report::sheet_html(&sheet, &sounds, &times).into_bytes(),
            ),
            ("learner.marks.pdf", report::sheet_pdf(&sheet, &times)?),
        ],
    )?;
    print_tally(&played)?;
    if !played.finished {
        bail!("the practice did not come to its end; please report this");
    }
    Ok(())
}

fn write_all<const N: usize>(
    out: &Path,
    inputs: &[&Path],
    files: [(&str, Vec<u8>); N],
) -> anyhow::Result<()> {
    for (name, bytes) in files {
        let path = out.join(name);
        written::file(&path, &bytes, inputs)?;
        shown::line(format!("wrote {}", path.display()))?;
    }
    Ok(())
}

/// What came of playing recordings.
struct Played {
    store: Store,
    tally: Tally,
    start_up: f64,
    finished: bool,
}

/// Leads a session on the recordings that a script names, in its order.
fn play(
    db: &Path,
    job: &Job,
    script: &str,
    practice: Option<(&Practice, Bench)>,
    stop: &Arc<AtomicBool>,
) -> anyhow::Result<Played> {
    let clock = SharedClock::default();
    let (mut store, log) = log::take_up(db, &clock).map_err(|why| about_log(db, why))?;
    let started = Instant::now();
    let grammar = Arc::new(grammar_for(job, true, practice.is_some())?.0);
    let mut engine = Ear::new(Arc::clone(&grammar), 1)?;
    let start_up = started.elapsed().as_secs_f64();
    let by = by();
    let run = RunBy {
        practice: practice.as_ref().map(|(practice, _)| *practice),
        ..by.as_str().into()
    };
    let (session, first) = open_session(&mut store, &log, job.clone(), JOB, run, &clock)?;
    let mut voice = Terminal::stdout();
    let mut observer = ToTerminal::timed();
    let mut conductor = DialogueManager {
        session,
        store: &mut store,
        clock,
        grammar: &grammar,
        bench: practice.map(|(_, bench)| bench),
        recogniser: Some(&mut engine as &mut dyn Recogniser),
        voice: &mut voice,
        observer: &mut observer,
        stop: Arc::clone(stop),
        live: false,
    };
    conductor.open(&first);
    let tally = conductor.run(&mut Clips::new(clips(script)?))?;
    let finished = conductor.session.state().mode() == bothhands::sequence::Mode::Finished;
    Ok(Played {
        store,
        tally,
        start_up,
        finished,
    })
}

/// The recordings that a script names, in its order.
fn clips(script: &str) -> anyhow::Result<Vec<(String, Vec<u8>)>> {
    let lines = script.lines().filter(|line| !line.starts_with('#'));
    lines
        .filter_map(|line| line.split('\t').next())
        .filter(|name| !name.is_empty())
        .map(|name| {
            let file = format!("{name}.flac");
            let sound = RECORDINGS.get_file(&file).with_context(|| {
                format!("demo/recordings/{file} is missing: run make-recordings.sh")
            })?;
            Ok((file, sound.contents().to_vec()))
        })
        .collect()
}

fn print_tally(played: &Played) -> anyhow::Result<()> {
    let Played {
        tally, start_up, ..
    } = played;
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
