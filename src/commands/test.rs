//! `bothhands test`: the main job.

use super::engine::EngineArgs;
use super::learning::LearningArgs;
use super::led::Led;
use super::phone::PhoneArgs;
use super::progress::Progress;
use super::stop::{end_at_once, stop_on_signal, stop_on_signal_and};
use super::terminal::{self, ToTerminal};
use super::voice::VoiceArgs;
use super::{about_log, by, shown, source};
use anyhow::{Context, bail};
use bothhands::dialogue::keys::WithKeys;
use bothhands::dialogue::screen::{OnScreen, Screen};
use bothhands::dialogue::{DialogueManager, InputSource, Observer, TypedLines, job_change};
use bothhands::installation::Job;
use bothhands::limits::Tables;
use bothhands::log::{self, Log, LogError, SharedClock};
use bothhands::practice::Hidden;
use bothhands::speech::Recogniser;
use bothhands::store::{OpenMode, Store};
use bothhands::terms::BayEdition;
use bothhands::voice::{Tone, until_quiet};
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Leads a job by voice, or by typing, and keeps its log.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The job file; `-` for standard input.
    pub(super) job: PathBuf,
    /// The log; beside the job file with the ending .db when not given. An existing log is taken
    /// up where it ends.
    #[arg(long, value_name = "FILE")]
    pub(super) db: Option<PathBuf>,
    /// The job file was changed since the log was begun, and it is still that job: what was added is
    /// tested too, and what was tested stays. Without it you are shown the changes and asked.
    #[arg(long)]
    job_changed: bool,
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
    #[command(flatten)]
    pub(super) learning: LearningArgs,
    #[command(flatten)]
    voice: VoiceArgs,
    /// Shows where the session is, what is asked, the last readings and what is out on the whole
    /// terminal; plain lines without it.
    #[arg(long)]
    screen: bool,
    /// The microphone to use, by name; `bothhands devices` lists them.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    #[command(flatten)]
    phone: PhoneArgs,
    #[command(flatten)]
    engine: EngineArgs,
}

/// Runs it.
///
/// # Errors
/// When the job, the log or the sound can't be used; nothing is lost.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    lead(args, |_, _| Ok(None))
}

/// Leads a job, or the practice of it: `hides` gives what is hidden in it, when it is one.
pub(super) fn lead(
    args: &Args,
    hides: impl FnOnce(&Job, BayEdition) -> anyhow::Result<Option<Hidden>>,
) -> anyhow::Result<ExitCode> {
    if args.job == Path::new("-") && (args.db.is_none() || args.words == Some("-".into())) {
        bail!(
            "the job comes from standard input: name the log with --db, and take words or sound from elsewhere"
        );
    }
    let text = Job::text_of(&args.job)?;
    let job = Job::parse(&text, &args.job.display().to_string())?;
    for one in job.out_of_scope() {
        shown::note(format!("Look: {one}."));
    }
    let tables = args.tables.as_deref().map(Tables::load).transpose()?;
    let db = args
        .db
        .clone()
        .unwrap_or_else(|| args.job.with_extension("db"));
    // Before anything listens at the keyboard.
    let changed = agreed(args, &db, &job, &text)?;
    let mut how = args.voice.or_configured();
    let (speaks, hearing) = match how.profile() {
        // Work that was begun goes on, even if the configuration names a profile that is gone.
        Err(why) if db.exists() && !args.voice.has_profile() => {
            shown::note(format!(
                "{why:#}\nIt goes on without the profile of the configuration."
            ));
            how = how.without_profile();
            how.profile()?
        }
        found => found?,
    };
    let delivery = speaks.delivery();
    let on_screen = args.screen && std::io::stdout().is_terminal();
    // Plain lines would stand in the middle of the screen.
    let stop = if on_screen {
        stop_on_signal_and(|| {})?
    } else {
        stop_on_signal()?
    };
    let phone_hears = args.phone.is_wanted()
        && args.words.is_none()
        && args.sound.is_empty()
        && args.device.is_none();
    let phone_speaks = phone_hears && !args.voice.has_voice() && !how.is_none();
    // Before the models and the voice, which take their time: can it be served, or is there a
    // microphone at all?
    let mut phone = args.phone.serve(phone_hears, phone_speaks, &speaks)?;
    if is_live(args) && !phone_hears {
        drop(source(args, None)?);
    }
    let clock = SharedClock::default();
    let by_voice = args.words.is_none();
    let led = Led::of(job, text, db, by_voice, hides, |job, simulated| {
        args.learning.practice(job, simulated)
    })?;
    let grammar = &led.grammar;
    let mut recogniser = if !by_voice {
        None
    } else {
        Some(match args.engine.other(grammar)? {
            Some(engine) => engine,
            None => {
                let _progress = Progress::of("loading the models");
                let mut ear = args.engine.ear(grammar)?;
                if let Some(hearing) = &hearing {
                    shown::note(hearing.profile.told(ear.thresholds()));
                    hearing.set(&mut ear)?;
                }
                Box::new(ear)
            }
        })
    };
    if args.screen && !on_screen {
        shown::note("This is no terminal: plain lines are written instead of the screen.");
    }
    if how.is_none() && !on_screen {
        shown::note(
            "No voice: nothing is said and nothing shown, but all of it is kept. `--voice terminal` shows it.",
        );
    }
    if let Some(phone) = &phone
        && !phone.wait(&stop)?
    {
        shown::note("Nobody has begun at a phone: nothing was begun here.");
        return Ok(ExitCode::SUCCESS);
    }
    let mut voice = if phone_speaks {
        VoiceArgs::only_shown(on_screen)
    } else {
        how.open(is_live(args), speaks, on_screen)
    };
    if let Some(phone) = &phone {
        voice = phone.voice(voice);
    }
    // After the voice, whose service takes seconds to start: sound that waits meanwhile would be
    // too much. Before the log, so that no empty one is left behind where there is no microphone.
    let end_pause = hearing.as_ref().and_then(|h| h.profile.end_pause);
    // Where lines are typed at this terminal, the screen reads its keys.
    let keys_alone = on_screen
        && args.words.as_deref() == Some(Path::new("-"))
        && std::io::stdin().is_terminal();
    let mut source = match &mut phone {
        _ if keys_alone => None,
        Some(phone) if phone_hears => Some(phone.source(source::cutting(end_pause))?),
        _ => Some(source(args, end_pause)?),
    };
    let (mut store, log) = log::take_up(&led.db, &clock).map_err(|why| about_log(&led.db, why))?;
    let opening = store.opening().to_string();
    if !opening.is_empty() {
        shown::note(opening);
    }
    let screen = if on_screen {
        let screen = Screen::open().context("this terminal has no screen; leave --screen out")?;
        voice = Box::new(OnScreen {
            screen: screen.clone(),
            voice,
        });
        let by_key = {
            let (stop, screen) = (Arc::clone(&stop), screen.clone());
            move || {
                if stop.swap(true, Ordering::SeqCst) {
                    screen.close();
                    end_at_once();
                }
            }
        };
        if keys_alone || is_live(args) {
            screen.typing("");
            screen.hint(bothhands::dialogue::keys::WAY_OUT);
        }
        source = Some(Box::new(WithKeys::read(
            screen.clone(),
            by_key,
            source.take(),
        )));
        Some(screen)
    } else {
        None
    };
    let begun = led.begin(&mut store, &log, &by(), changed, delivery, &clock)?;
    let session = begun.session;
    let session = match tables {
        Some(tables) => session.with_tables(tables),
        None => session,
    };
    let mut observer: Box<dyn Observer> = match &screen {
        Some(screen) => Box::new(screen.clone()),
        None => Box::new(ToTerminal {
            quiet: how.is_none(),
            timed: false,
        }),
    };
    if let Some(phone) = &phone {
        observer = phone.beside(observer);
    }
    let mut conductor = DialogueManager {
        session,
        store: &mut store,
        clock,
        grammar,
        bench: begun.bench,
        recogniser: recogniser
            .as_mut()
            .map(|engine| engine.as_mut() as &mut dyn Recogniser),
        voice: voice.as_mut(),
        observer: observer.as_mut(),
        stop: Arc::clone(&stop),
        live: is_live(args),
    };
    for one in led.other_words.iter().filter(|_| by_voice) {
        let told = one.to_string();
        shown::note(&told);
        // Where it can't be said, it was shown.
        let _ = conductor.voice.say(Tone::Plain, &told);
    }
    conductor.open(&begun.first);
    let mut source = source.context("nothing to take words from")?;
    let conducted = conductor.run(source.as_mut());
    // Before the last words: nobody takes what the microphone gives from here on.
    let account = source.account();
    // The last words are worth hearing; a voice that never ends is not waited for.
    until_quiet(conductor.voice, Duration::from_secs(20));
    if let Some(phone) = phone {
        phone.close();
    }
    if let Some(screen) = screen {
        screen.close();
    }
    let tally = conducted?;
    terminal::summed_up(&tally, &conductor, &led.db, stop.load(Ordering::SeqCst));
    if let Some(account) = account {
        shown::note(account);
    }
    Ok(ExitCode::SUCCESS)
}

/// Whether a job file that differs from that of the log is agreed to be the same job, changed: the
/// changes are shown, and asked about where somebody can answer.
fn agreed(args: &Args, db: &Path, job: &Job, text: &str) -> anyhow::Result<bool> {
    if !db.exists() {
        return Ok(false);
    }
    // What is wrong with the log itself is told where it is taken up.
    let log = Store::open(db, OpenMode::Read).map_err(LogError::from);
    let Ok(left) = log.and_then(|store| Ok(Log::read(&store)?.agenda()?)) else {
        return Ok(false);
    };
    let now = SharedClock::default().tick();
    let Some(change) = job_change(&left, job, text, &by(), now, db)? else {
        return Ok(false);
    };
    shown::note(format!(
        "{} holds the log of \"{}\" with another job file. What differs:",
        db.display(),
        left.job().title
    ));
    for told in &change.told {
        shown::note(format!("  {told}"));
    }
    if args.job_changed {
        return Ok(true);
    }
    let can_answer = std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    if !can_answer {
        bail!(
            "If it is the same job, changed, give --job-changed: what was tested stays, and what was added is \
             tested too. Else use the job file as it was, or begin a new log with --db"
        );
    }
    shown::note("Is it the same job, changed? What was tested stays. Type yes, or no:");
    let mut line = String::new();
    std::io::stdin()
        .read_line(&mut line)
        .context("the keyboard can't be read; give --job-changed instead")?;
    if matches!(line.trim().to_lowercase().as_str(), "y" | "yes" | "affirm") {
        return Ok(true);
    }
    bail!("Nothing was changed. Use the job file as it was, or begin a new log with --db")
}

fn source(args: &Args, end_pause: Option<f64>) -> anyhow::Result<Box<dyn InputSource>> {
    if let Some(words) = &args.words {
        return Ok(Box::new(TypedLines::open(words)?));
    }
    source::sound(
        &args.sound,
        args.device.as_deref(),
        source::cutting(end_pause),
    )
}

/// Whether a person is at the microphone.
fn is_live(args: &Args) -> bool {
    args.words.is_none() && source::is_live(&args.sound)
}
