//! `bothhands test`: the main job.

use super::conduct::{Conductor, Tally, Witness};
use super::engine::EngineArgs;
use super::screen::{OnScreen, Screen};
use super::sources::{InputSource, Recordings, TypedLines};
use crate::grammar::Grammar;
use crate::installation::Job;
use crate::limits::Tables;
use crate::log::{self, SharedClock};
use crate::sequence::{Session, State, place_of};
use crate::speech::ear::{Ear, Thresholds};
use crate::speech::{Heard, Hearing, Outcome, Recogniser};
#[cfg(feature = "system-voice")]
use crate::voice::WithFallback;
use crate::voice::{Profile, Rate, Silent, Terminal, Voice, Volume, until_quiet};
use anyhow::{Context, bail};
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
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

/// How prompts come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum VoiceKind {
    System,
    Terminal,
    None,
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
                recogniser(&grammar, hearing.as_ref())?
            }
        })
    };
    let on_screen = args.screen && std::io::stdout().is_terminal();
    if args.screen && !on_screen {
        eprintln!("This is no terminal: plain lines are written instead of the screen.");
    }
    let mut voice = voice(args, speaks, on_screen);
    // After the voice, whose service takes seconds to start: sound that waits meanwhile would be
    // too much. Before the log, so that no empty one is left behind where there is no microphone.
    let mut source = source(args)?;
    let (mut store, log) = log::take_up(&db, &clock)
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
    let (session, first) = if log.entries.is_empty() {
        log::begin(&mut store, &text)?;
        Session::begin(job, &by(), clock.tick())?
    } else {
        same_job(&db, &job, &log.agenda()?)?;
        Session::resume(log.events(), &by(), clock.tick())?
    };
    let session = match tables {
        Some(tables) => session.with_tables(tables),
        None => session,
    };
    let mut witness: Box<dyn Witness> = match &screen {
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
        witness: witness.as_mut(),
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
    let finished = conductor.session.state().mode() == crate::sequence::Mode::Finished;
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

/// This program and its version, for the log.
pub fn by() -> String {
    format!("bothhands {}", env!("CARGO_PKG_VERSION"))
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

/// The grammar with the job's own places.
///
/// # Errors
/// When a name in the job has a word without a pronunciation.
pub fn grammar_for(job: &Job) -> anyhow::Result<Grammar> {
    let mut places: Vec<String> = job
        .boards
        .iter()
        .flat_map(|board| &board.circuits)
        .flat_map(|circuit| &circuit.points)
        .map(|point| place_of(point).name)
        .collect();
    places.sort();
    places.dedup();
    Ok(Grammar::built_in()?.with_places(&places)?)
}

fn source(args: &Args) -> anyhow::Result<Box<dyn InputSource>> {
    if let Some(words) = &args.words {
        return Ok(Box::new(TypedLines::open(words)?));
    }
    if args.sound.is_empty() || args.sound == ["mic"] {
        return microphone(args);
    }
    if args.sound.iter().any(|name| name == "mic") {
        bail!("give either mic or recordings after --sound, not both");
    }
    let files: Vec<PathBuf> = args.sound.iter().map(PathBuf::from).collect();
    for file in &files {
        if file != Path::new("-") && !file.exists() {
            bail!("{}: no such recording; check the path", file.display());
        }
    }
    Ok(Box::new(Recordings::new(files)))
}

#[cfg(not(feature = "microphone"))]
fn microphone(_args: &Args) -> anyhow::Result<Box<dyn InputSource>> {
    bail!("this build has no microphone; use --words - to type, or --sound FILE.wav")
}

/// Stops at the end of the utterance in hand when the program is told to stop.
///
/// # Errors
/// When the machine does not let it watch for the signal.
pub fn stop_on_signal() -> anyhow::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if told.swap(true, Ordering::SeqCst) {
            // Asked twice: everything read back is on the disk already.
            std::process::exit(130);
        }
    })
    .context("can't watch for Ctrl-C")?;
    Ok(stop)
}

/// Shows what was heard.
#[derive(Debug, Clone, Copy, Default)]
pub struct ToTerminal {
    /// Shows nothing.
    pub quiet: bool,
    /// Shows how long hearing took.
    pub timed: bool,
}

impl ToTerminal {
    /// With the time that hearing took.
    pub fn timed() -> Self {
        Self {
            quiet: false,
            timed: true,
        }
    }
}

impl Witness for ToTerminal {
    fn no_voice(&mut self, name: &str) {
        if !self.quiet {
            println!("(ignored: no voice in {name})");
        }
    }

    fn heard(&mut self, words: &str, heard: Option<&Heard>) {
        if self.quiet {
            return;
        }
        let took = match heard {
            Some(heard) if self.timed => format!("   [heard in {} ms]", heard.took.as_millis()),
            _ => String::new(),
        };
        match heard.map(|h| h.outcome) {
            Some(Outcome::NotForUs) => println!("(ignored: not for us){took}"),
            Some(Outcome::AskAgain) => println!("you:  {words} (?){took}"),
            Some(Outcome::Taken) | None => println!("you:  {words}{took}"),
        }
    }
}

/// Whether a person is at the microphone.
fn is_live(args: &Args) -> bool {
    args.words.is_none() && (args.sound.is_empty() || args.sound == ["mic"])
}

/// The voice asked for; without a wish, the system's where the microphone is used and the
/// terminal otherwise. Where the screen shows every line, nothing else may write over it.
fn voice(args: &Args, profile: Profile, on_screen: bool) -> Box<dyn Voice> {
    let terminal = || -> Box<dyn Voice + Send> {
        if on_screen {
            Box::new(Silent)
        } else {
            Box::new(Terminal::stdout())
        }
    };
    let wanted = args.voice.unwrap_or(if is_live(args) {
        VoiceKind::System
    } else {
        VoiceKind::Terminal
    });
    match wanted {
        VoiceKind::None => Box::new(Silent),
        VoiceKind::Terminal => terminal(),
        VoiceKind::System => system_voice(profile, terminal()),
    }
}

#[cfg(feature = "system-voice")]
fn system_voice(profile: Profile, shown: Box<dyn Voice + Send>) -> Box<dyn Voice> {
    Box::new(WithFallback::system(profile, shown))
}

#[cfg(not(feature = "system-voice"))]
fn system_voice(_profile: Profile, shown: Box<dyn Voice + Send>) -> Box<dyn Voice> {
    eprintln!("This build has no spoken voice; prompts are shown instead.");
    shown
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

/// The two parts of a profile's text.
///
/// # Errors
/// When it is no TOML, or says something that is not known or out of range.
pub fn settings(text: &str) -> anyhow::Result<(Profile, Option<Hearing>)> {
    let mut all: toml::Table = toml::from_str(text)?;
    let hearing: Option<Hearing> = all
        .remove("hearing")
        .map(toml::Value::try_into)
        .transpose()
        .context("[hearing]")?;
    if let Some(hearing) = &hearing {
        hearing.check().map_err(anyhow::Error::msg)?;
    }
    Ok((all.try_into()?, hearing))
}

#[cfg(feature = "microphone")]
fn microphone(args: &Args) -> anyhow::Result<Box<dyn InputSource>> {
    Ok(Box::new(super::live::Live::open(args.device.as_deref())?))
}

/// Our own engine, listening for the job's grammar on one thread.
///
/// # Errors
/// When the model can't be loaded.
pub fn recogniser(
    grammar: &Arc<Grammar>,
    hearing: Option<&Hearing>,
) -> anyhow::Result<Box<dyn Recogniser>> {
    let mut ear = Ear::new(Arc::clone(grammar), 1)?;
    if let Some(hearing) = hearing {
        ear.set_thresholds(hearing.bounds(Thresholds::shipped()?));
    }
    Ok(Box::new(ear))
}
