//! `bothhands test`: the main job.

use super::engine::EngineArgs;
use super::stop::stop_on_signal;
use super::terminal::ToTerminal;
use super::voice::{VoiceKind, voice};
use super::{by, source};
use anyhow::{Context, bail};
use bothhands::dialogue::screen::{OnScreen, Screen};
use bothhands::dialogue::{
    Conductor, InputSource, Observer, Tally, TypedLines, grammar_for, settings,
};
use bothhands::installation::Job;
use bothhands::limits::Tables;
use bothhands::log::{self, SharedClock};
use bothhands::sequence::{Session, State};
use bothhands::speech::ear::Thresholds;
use bothhands::speech::{Hearing, Recogniser, ours};
use bothhands::voice::{Profile, Rate, Volume, until_quiet};
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Leads a job by voice, or by typing, and keeps its log.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The job file.
    job: PathBuf,
    /// The log; beside the job file with the ending .db when not given. An existing log is taken
    /// up where it ends.
    #[arg(long, value_name = "FILE")]
    db: Option<PathBuf>,
    /// Compare readings with an edited copy of the tables of limits; every verdict names their
    /// edition.
    #[arg(long, value_name = "FILE")]
    tables: Option<PathBuf>,
    /// Where sound comes from: `mic`, recordings (WAV or FLAC) one after another, or `-` for a
    /// WAV on standard input.
    #[arg(long, value_name = "mic|FILE|-", num_args = 1..)]
    sound: Vec<String>,
    /// Typed lines taken as if they had been heard: a file, or `-` for the keyboard.
    #[arg(long, value_name = "FILE|-", conflicts_with = "sound")]
    words: Option<PathBuf>,
    /// How prompts come: the system's speech service, the terminal, or not at all.
    #[arg(long, value_enum)]
    voice: Option<VoiceKind>,
    /// Shows where the session is, what is asked, the last readings and what is out on the whole
    /// terminal; plain lines without it.
    #[arg(long)]
    screen: bool,
    /// A profile (TOML): how the program speaks (rate, volume, voice, the room's tail), and in
    /// [hearing] how it hears you, as `bothhands rehearse` writes it.
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// How fast prompts are spoken: -100 (slowest) to 100 (fastest), 0 as usual.
    #[arg(long, allow_negative_numbers = true)]
    rate: Option<Rate>,
    /// How loud prompts are spoken, 0 to 100.
    #[arg(long)]
    volume: Option<Volume>,
    /// A voice of the speech service, by name or part of it.
    #[arg(long, value_name = "NAME")]
    voice_name: Option<String>,
    /// The microphone to use, by name; `bothhands devices` lists them.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    #[command(flatten)]
    engine: EngineArgs,
}

/// Runs it.
///
/// # Errors
/// When the job, the log or the sound can't be used; nothing is lost.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let text = std::fs::read_to_string(&args.job).with_context(|| {
        format!(
            "{}: can't read the job file; check the path",
            args.job.display()
        )
    })?;
    let job = Job::parse(&text, &args.job.display().to_string())?;
    let tables = args.tables.as_deref().map(Tables::load).transpose()?;
    let db = args
        .db
        .clone()
        .unwrap_or_else(|| args.job.with_extension("db"));
    let (speaks, hearing) = profile(args)?;
    let stop = stop_on_signal()?;
    let clock = SharedClock::default();
    let grammar = Arc::new(grammar_for(&job)?);
    let mut recogniser = if args.words.is_some() {
        None
    } else {
        Some(match args.engine.other(&grammar)? {
            Some(engine) => engine,
            None => {
                if let Some(hearing) = &hearing {
                    eprintln!("{}", hearing.told(&Thresholds::shipped()?));
                }
                Box::new(ours(&grammar, hearing.as_ref())?)
            }
        })
    };
    let on_screen = args.screen && std::io::stdout().is_terminal();
    if args.screen && !on_screen {
        eprintln!("This is no terminal: plain lines are written instead of the screen.");
    }
    let mut voice = voice(args.voice, is_live(args), speaks, on_screen);
    // After the voice, whose service takes seconds to start: sound that waits meanwhile would be
    // too much. Before the log, so that no empty one is left behind where there is no microphone.
    let mut source = source(args)?;
    let (mut store, state) = log::take_up(&db, &clock)
        .with_context(|| format!("{}: the log can't be taken up", db.display()))?;
    let opening = store.opening().to_string();
    if !opening.is_empty() {
        eprint!("{opening}");
    }
    let screen = if on_screen {
        let screen = Screen::open().context("this terminal has no screen; leave --screen out")?;
        voice = Box::new(OnScreen {
            screen: screen.clone(),
            voice,
        });
        Some(screen)
    } else {
        None
    };
    let (session, first) = match state {
        None => {
            log::begin(&mut store, &text)?;
            Session::begin(job, &by(), clock.tick())?
        }
        Some(state) => {
            same_job(&db, &job, &state)?;
            Session::resume(state, &by(), clock.tick())
        }
    };
    let session = match tables {
        Some(tables) => session.with_tables(tables),
        None => session,
    };
    let mut observer: Box<dyn Observer> = match &screen {
        Some(screen) => Box::new(screen.clone()),
        None => Box::new(ToTerminal {
            quiet: args.voice == Some(VoiceKind::None),
            timed: false,
        }),
    };
    let mut conductor = Conductor {
        session,
        store: &mut store,
        clock,
        grammar: &grammar,
        recogniser: recogniser
            .as_mut()
            .map(|engine| engine.as_mut() as &mut dyn Recogniser),
        voice: voice.as_mut(),
        observer: observer.as_mut(),
        stop: Arc::clone(&stop),
        live: is_live(args),
    };
    let conducted = conductor
        .open(&first)
        .and_then(|()| conductor.run(source.as_mut()));
    // Before the last words: nobody takes what the microphone gives from here on.
    let account = source.account();
    // The last words are worth hearing; a voice that never ends is not waited for.
    until_quiet(conductor.voice, Duration::from_secs(20));
    if let Some(screen) = screen {
        screen.close();
    }
    let tally = conducted?;
    report(&tally, &conductor, &db, stop.load(Ordering::SeqCst));
    if let Some(account) = account {
        eprintln!("{account}");
    }
    Ok(ExitCode::SUCCESS)
}

fn report(tally: &Tally, conductor: &Conductor<'_>, db: &Path, stopped: bool) {
    let finished = conductor.session.state().mode() == bothhands::sequence::Mode::Finished;
    let how = match (finished, stopped) {
        (true, _) => "Finished",
        (false, true) => "Stopped",
        (false, false) => "Nothing more to hear",
    };
    eprintln!(
        "{how}. {} taken, {} asked again, {} ignored, {} not understood. The log is {}.",
        tally.taken,
        tally.asked_again,
        tally.ignored,
        tally.not_understood,
        db.display()
    );
    if !finished {
        eprintln!("The same command takes it up again where it is.");
    }
}

fn same_job(db: &Path, job: &Job, state: &State) -> anyhow::Result<()> {
    if job != state.job() {
        bail!(
            "{} holds the log of \"{}\" with another job file. Use the job file as it was, or begin a new log with --db.",
            db.display(),
            state.job().title
        );
    }
    Ok(())
}

fn source(args: &Args) -> anyhow::Result<Box<dyn InputSource>> {
    if let Some(words) = &args.words {
        return Ok(Box::new(TypedLines::open(words)?));
    }
    source::sound(&args.sound, args.device.as_deref())
}

/// Whether a person is at the microphone.
fn is_live(args: &Args) -> bool {
    args.words.is_none() && source::is_live(&args.sound)
}

/// The profile, from its file when one is given: how the program speaks, changed by the options,
/// and how it hears.
fn profile(args: &Args) -> anyhow::Result<(Profile, Option<Hearing>)> {
    let (mut profile, hearing) = match &args.profile {
        None => (Profile::default(), None),
        Some(path) => {
            let text = std::fs::read_to_string(path)
                .with_context(|| format!("{}: can't read the profile", path.display()))?;
            settings(&text).with_context(|| format!("{}", path.display()))?
        }
    };
    if let Some(rate) = args.rate {
        profile.rate = rate;
    }
    if let Some(volume) = args.volume {
        profile.volume = volume;
    }
    if args.voice_name.is_some() {
        profile.voice.clone_from(&args.voice_name);
    }
    Ok((profile, hearing))
}
