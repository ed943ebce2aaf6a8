//! `bothhands bay`: a room full of learners, a phone each, and a page for the instructor.

use super::engine::ModelArgs;
use super::led::Led;
use super::mark::HiddenArgs;
use super::practise::hidden_in;
use super::progress::Progress;
use super::stop::stop_on_signal;
use super::{about_log, by, shown, source, terminal, voice};
use anyhow::{Context, bail, ensure};
use bothhands::dialogue::{DialogueManager, Observer};
use bothhands::installation::Job;
use bothhands::log::{self, SharedClock};
use bothhands::phone::{Classroom, LearnerAt, Phone, Settings, Wants, authority::Authority};
use bothhands::speech::ear::Ear;
use bothhands::speech::{InTurn, Queue, Recogniser, Recognition, Rehearsed};
use bothhands::terms::{Level, Practice};
use bothhands::voice::{Profile, Silent, Tone, until_quiet};
use serde::Deserialize;
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// Serves a room full of learners: a phone, a session and a log for each, and one page for the instructor, who
/// watches all of them.
///
/// The folder holds `bay.toml`, which names the learners and their jobs; without it each job file of the folder
/// is practised by one learner.
#[derive(Debug, clap::Args)]
pub(crate) struct BayArgs {
    /// The folder with the job files, and `bay.toml`. The logs are kept there too.
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    /// Serves at this address of the machine only; at all its private addresses when left out.
    #[arg(long, value_name = "ADDRESS")]
    phone_at: Option<IpAddr>,
    /// The port; any free one when left out.
    #[arg(long, value_name = "N")]
    phone_port: Option<u16>,
    /// Shows the learners' codes here too, and not on the instructor's page alone.
    #[arg(long)]
    codes: bool,
    #[command(flatten)]
    models: ModelArgs,
}

/// What `bay.toml` holds.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Listed {
    #[serde(default, rename = "learner")]
    learners: Vec<Entry>,
}

/// A learner of `bay.toml`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    /// What he is called.
    name: String,
    /// His job file.
    job: PathBuf,
    /// Whether an installation is really tested, and not practised on.
    #[serde(default)]
    real: bool,
    /// A file of faults that are hidden.
    faults: Option<PathBuf>,
    /// Draws the faults that are hidden.
    seed: Option<u64>,
    /// How many a seed draws.
    how_many: Option<usize>,
    /// How much is told.
    #[serde(default)]
    level: Level,
    /// Whether readings are to be predicted.
    #[serde(default)]
    predict: bool,
    /// His profile, as `rehearse` writes it.
    profile: Option<PathBuf>,
}

/// A learner whose session can begin.
struct Learner {
    name: String,
    led: Led,
    speaks: Profile,
    hearing: Option<Rehearsed>,
}

/// How often it is seen whether to stop.
const LOOK_UP: Duration = Duration::from_millis(200);

/// Serves the room until every session is finished, or it is told to stop.
///
/// # Errors
/// When the folder, a job or a log can't be used, or nothing can be served; nothing is lost.
pub(crate) fn run(args: &BayArgs) -> anyhow::Result<ExitCode> {
    let learners = learners(&args.dir)?;
    let stop = stop_on_signal()?;
    let folder = Authority::folder()?;
    let at: Vec<LearnerAt> = learners
        .iter()
        .map(|learner| LearnerAt {
            learner: learner.name.clone(),
            job: learner.led.job.title.clone(),
            practice: learner
                .led
                .practice
                .as_ref()
                .is_some_and(|p| p.simulated.is_some()),
            profile: learner.speaks.clone(),
        })
        .collect();
    let settings = Settings {
        at: args.phone_at,
        port: args.phone_port.unwrap_or(0),
        wants: Wants {
            hears: true,
            speaks: true,
        },
        profile: Profile::default(),
        folder: &folder,
    };
    // Before the models, which take their time.
    let (room, phones) = Classroom::open(&settings, &at)?;
    let hearing = hearing(args, &learners)?;
    let queue = Arc::new(Queue::new(
        std::thread::available_parallelism().map_or(1, usize::from),
    ));
    let telling = Arc::new(Mutex::new(()));
    let mut threads = Vec::new();
    for ((learner, phone), ear) in learners.into_iter().zip(phones).zip(hearing) {
        let one = One {
            learner,
            phone,
            engine: InTurn::new(Box::new(ear), Arc::clone(&queue)),
            stop: Arc::clone(&stop),
            codes: args.codes,
            telling: Arc::clone(&telling),
        };
        let name = one.learner.name.clone();
        let thread = std::thread::Builder::new()
            .name(name.clone())
            .spawn(move || one.learn())
            .context("the thread of a learner could not be started")?;
        threads.push((name, thread));
    }
    let mut link = String::new();
    while threads.iter().any(|(_, thread)| !thread.is_finished()) {
        if !stop.load(Ordering::SeqCst) && !room.is_paired() && link != room.link()? {
            link = room.link()?;
            shown::line(format!(
                "{}\nThe instructor's page, on the same network: read this, or open\n{link}\nIt is good for one browser and for ten minutes; the learners' codes are on it. This machine's authority has the fingerprint (SHA-256)\n{}",
                room.code()?,
                room.fingerprint()
            ))?;
        }
        room.notices().into_iter().for_each(shown::note);
        std::thread::sleep(LOOK_UP);
    }
    let mut exit = ExitCode::SUCCESS;
    for (name, thread) in threads {
        let why = match thread.join() {
            Ok(Ok(())) => continue,
            Ok(Err(why)) => format!("{why:#}"),
            Err(_) => {
                "the session broke off; what was read back is kept. Please report this".to_owned()
            }
        };
        shown::note(format!("{name}: {why}"));
        exit = super::exit::Exit::Wrong.into();
    }
    Ok(exit)
}

/// An engine for each, whose models are in memory once.
fn hearing(args: &BayArgs, learners: &[Learner]) -> anyhow::Result<Vec<Ear>> {
    let first = learners.first().context("a room needs a learner")?;
    let _progress = Progress::of("loading the models");
    let shared = args.models.ear(&first.led.grammar)?;
    learners
        .iter()
        .map(|learner| {
            let mut ear = shared.for_another(Arc::clone(&learner.led.grammar));
            if let Some(hearing) = &learner.hearing {
                hearing.set(&mut ear)?;
            }
            Ok(ear)
        })
        .collect()
}

/// One learner, with all that his session needs.
struct One {
    learner: Learner,
    phone: Phone,
    engine: InTurn,
    stop: Arc<AtomicBool>,
    codes: bool,
    /// Held by whoever writes several lines.
    telling: Arc<Mutex<()>>,
}

impl One {
    /// Waits for the phone, and leads the session.
    fn learn(mut self) -> anyhow::Result<()> {
        let came = match self.wait() {
            Ok(true) => self.lead(),
            other => other.map(|_| ()),
        };
        self.phone.close();
        came
    }

    fn lead(&mut self) -> anyhow::Result<()> {
        let Learner {
            name,
            led,
            speaks,
            hearing,
        } = &self.learner;
        let end_pause = hearing.as_ref().and_then(|h| h.profile.end_pause);
        let source = self.phone.source(source::cutting(end_pause));
        let mut source = source.context("the phone's microphone is in use already")?;
        let clock = SharedClock::default();
        let (mut store, log) =
            log::take_up(&led.db, &clock).map_err(|why| about_log(&led.db, why))?;
        let opening = store.opening().to_string();
        if !opening.is_empty() {
            shown::note(format!("{name}: {opening}"));
        }
        let begun = led.begin(&mut store, &log, &by(), false, speaks.delivery(), &clock)?;
        let mut voice = self
            .phone
            .on_page(Box::new(self.phone.voice(Box::new(Silent))));
        let mut observer = self.phone.beside(Box::new(Unseen));
        let mut conductor = DialogueManager {
            session: begun.session,
            store: &mut store,
            clock,
            grammar: &led.grammar,
            bench: begun.bench,
            recogniser: Some(&mut self.engine as &mut dyn Recogniser),
            voice: &mut voice,
            observer: &mut observer,
            stop: Arc::clone(&self.stop),
            live: true,
        };
        for one in &led.other_words {
            // Where it can't be said, it stands on the page.
            let _ = conductor.voice.say(Tone::Plain, &one.to_string());
        }
        conductor.open(&begun.first);
        let conducted = conductor.run(&mut source);
        until_quiet(conductor.voice, Duration::from_secs(20));
        let told = self.telling.lock();
        shown::note(format!("{name}:"));
        if let Ok(tally) = &conducted {
            let stopped = self.stop.load(Ordering::SeqCst);
            terminal::summed_up(tally, &conductor, &led.db, stopped);
        }
        drop(told);
        conducted.map(|_| ())
    }

    /// Whether the learner has begun at his phone; waits for it until it is told to stop.
    fn wait(&self) -> anyhow::Result<bool> {
        let mut link = String::new();
        while !self.stop.load(Ordering::SeqCst) {
            if self.codes && !self.phone.is_paired() && link != self.phone.link()? {
                link = self.phone.link()?;
                shown::line(format!(
                    "{}\n{}: read this, or open\n{link}",
                    self.phone.code()?,
                    self.learner.name
                ))?;
            }
            self.phone.notices().into_iter().for_each(shown::note);
            if self.phone.is_ready(LOOK_UP) {
                return Ok(true);
            }
        }
        Ok(false)
    }
}

/// All that is seen of a session is seen at its phone, and on the instructor's page.
struct Unseen;

impl Observer for Unseen {
    fn heard(&mut self, _words: &str, _heard: Option<&Recognition>) {}

    fn unsaid(&mut self, _line: &str) {}
}

/// The learners of a folder.
fn learners(dir: &Path) -> anyhow::Result<Vec<Learner>> {
    ensure!(
        dir.is_dir(),
        "{}: no such folder. Give the folder that holds the job files of the class",
        dir.display()
    );
    let list = dir.join("bay.toml");
    let entries = if list.exists() {
        let text = std::fs::read_to_string(&list)
            .with_context(|| format!("{}: can't be read", list.display()))?;
        let listed: Listed = toml::from_str(&text).with_context(|| {
            format!(
                "{}: it holds a [[learner]] for each, with name and job, and what is hidden: faults, or seed",
                list.display()
            )
        })?;
        listed.learners
    } else {
        job_files(dir)?
    };
    ensure!(
        !entries.is_empty(),
        "{}: nobody learns here. Put job files into the folder (`bothhands new`), or name learners in bay.toml",
        dir.display()
    );
    let mut logs = BTreeSet::new();
    let mut learners: Vec<Learner> = Vec::new();
    for entry in entries {
        let name = entry.name.clone();
        let mut learner = learner(dir, entry).with_context(|| format!("learner {name}"))?;
        ensure!(
            logs.insert(learner.led.db.clone()),
            "learner {name}: {} is another learner's log too. Give each a name of his own",
            learner.led.db.display()
        );
        for other in &learners {
            learner.led.says_as(&other.led);
        }
        learners.push(learner);
    }
    Ok(learners)
}

/// Each job file of a folder, practised with nothing hidden.
fn job_files(dir: &Path) -> anyhow::Result<Vec<Entry>> {
    let mut files = Vec::new();
    for entry in
        std::fs::read_dir(dir).with_context(|| format!("{}: can't be read", dir.display()))?
    {
        let path = entry?.path();
        if path.extension().is_some_and(|ending| ending == "toml") {
            files.push(path);
        }
    }
    files.sort();
    let entry = |path: PathBuf| Entry {
        name: path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        job: path.file_name().unwrap_or_default().into(),
        real: false,
        faults: None,
        seed: None,
        how_many: None,
        level: Level::default(),
        predict: false,
        profile: None,
    };
    Ok(files.into_iter().map(entry).collect())
}

fn learner(dir: &Path, entry: Entry) -> anyhow::Result<Learner> {
    let of_file = |c: char| if c.is_alphanumeric() { c } else { '-' };
    let short: String = entry.name.to_lowercase().chars().map(of_file).collect();
    ensure!(
        short.chars().any(char::is_alphanumeric),
        "a learner has a name of letters or digits"
    );
    let hides_something = entry.faults.is_some() || entry.seed.is_some();
    if entry.real && hides_something {
        bail!("nothing can be hidden in a real installation: leave real out, or faults and seed");
    }
    if entry.how_many.is_some() && entry.seed.is_none() {
        bail!("how_many goes with a seed");
    }
    let path = dir.join(&entry.job);
    let text = Job::text_of(&path)?;
    let job = Job::parse(&text, &path.display().to_string())?;
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let kind = if entry.real { "db" } else { "practice.db" };
    let own = if *stem == *entry.name {
        short
    } else {
        format!("{short}.{stem}")
    };
    let hidden = HiddenArgs::new(
        entry.faults.as_ref().map(|file| dir.join(file)),
        entry.seed,
        entry.how_many.unwrap_or(1),
    );
    let led = Led::of(
        job,
        text,
        dir.join(format!("{own}.{kind}")),
        true,
        |job, edition| {
            if entry.real {
                Ok(None)
            } else {
                hidden_in(job, edition, &hidden)
            }
        },
        |_, simulated| {
            Some(Practice {
                learner: entry.name.clone(),
                level: entry.level,
                predict: entry.predict,
                simulated,
            })
        },
    )?;
    let (speaks, hearing) = voice::of_profile(entry.profile.map(|file| dir.join(file)))?;
    Ok(Learner {
        name: entry.name,
        led,
        speaks,
        hearing,
    })
}
