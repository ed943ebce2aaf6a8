//! The sessions, put together of the same parts as `bothhands test --phone` and `bothhands bay`.

use crate::now;
use bothhands::audio::EndpointConfig;
use bothhands::dialogue::{
    DialogueManager, Input, InputSource, Observer, RunBy, grammar_for, open_session,
};
use bothhands::installation::Job;
use bothhands::log::{self, SharedClock};
use bothhands::phone::{Phone, PhoneSource};
use bothhands::speech::ear::Ear;
use bothhands::speech::{InTurn, Queue, Recogniser, Recognition};
use bothhands::terms::ProsodyChange;
use bothhands::terms::ProsodyNow;
use bothhands::voice::{Earcon, Profile, Saying, Silent, Tone, Voice};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

const JOB: &str = "demo/boathouse.toml";

/// What is said before, typed: up to a reading that can be put right.
const BEFORE: [&str; 16] = [
    "done",
    "proved",
    "isolated",
    "locked off",
    "dead",
    "dead",
    "dead",
    "proved",
    "over nine nine nine",
    "zero point zero zero",
    "line to neutral over nine nine nine",
    "line to earth over nine nine nine",
    "neutral to earth over nine nine nine",
    "go to five hundred volts",
    "neutral out at door entry unit in a connector",
    "line to neutral over nine nine nine",
];

/// A log for each, as far as that.
pub(crate) fn logs(folder: &Path, people: usize) -> Vec<PathBuf> {
    let words = folder.join("words.txt");
    std::fs::write(&words, BEFORE.join("\n")).unwrap();
    let first = folder.join("0.db");
    let made = Command::new(env!("CARGO_BIN_EXE_bothhands"))
        .args(["test", JOB, "--voice", "none", "--words"])
        .arg(&words)
        .arg("--db")
        .arg(&first)
        .env("XDG_CONFIG_HOME", folder)
        .output()
        .unwrap();
    assert!(made.status.success(), "{made:?}");
    (0..people)
        .map(|n| {
            let path = folder.join(format!("{n}.db"));
            if n > 0 {
                std::fs::copy(&first, &path).unwrap();
            }
            path
        })
        .collect()
}

/// What was seen of a session, when.
#[derive(Debug)]
pub(crate) enum What {
    /// It was decided that an utterance is over: its first sample and the one after its last speech.
    Decided {
        start: u64,
        speech_end: u64,
    },
    /// A line was handed to the phone.
    Put {
        id: u64,
        tone: Tone,
    },
    Neighbour,
    Notice(String),
    /// At its end: what it came to, and how much sound came.
    Ended(String),
}

#[derive(Default)]
pub(crate) struct Seen(Mutex<Vec<(usize, f64, What)>>);

impl Seen {
    fn put(&self, phone: usize, what: What) {
        self.0.lock().unwrap().push((phone, now(), what));
    }

    pub(crate) fn take(&self) -> Vec<(usize, f64, What)> {
        std::mem::take(&mut self.0.lock().unwrap())
    }
}

struct Source {
    phone: usize,
    source: PhoneSource,
    seen: Arc<Seen>,
}

impl InputSource for Source {
    fn next(&mut self, voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        let input = self.source.next(voice)?;
        match &input {
            Some(Input::Sound(utterance) | Input::OverlapsPrompt(utterance)) => self.seen.put(
                self.phone,
                What::Decided {
                    start: utterance.start,
                    speech_end: utterance.speech_end,
                },
            ),
            Some(Input::Neighbour { .. }) => self.seen.put(self.phone, What::Neighbour),
            Some(Input::Notice(notice)) => {
                self.seen.put(self.phone, What::Notice(notice.clone()));
            }
            _ => {}
        }
        Ok(input)
    }

    fn set_end_pause(&mut self, pause: Duration) {
        self.source.set_end_pause(pause);
    }

    fn account(&self) -> Option<String> {
        self.source.account()
    }
}

/// Counts as the phone's own list does.
struct Counted<V> {
    phone: usize,
    voice: V,
    last: u64,
    seen: Arc<Seen>,
}

impl<V: Voice> Voice for Counted<V> {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        self.last += 1;
        let (id, tone) = (self.last, line.tone);
        self.seen.put(self.phone, What::Put { id, tone });
        self.voice.put(line)
    }

    fn speaking(&self) -> bool {
        self.voice.speaking()
    }

    fn stop(&mut self) {
        self.voice.stop();
    }

    fn cut_short(&mut self) {
        self.voice.cut_short();
    }

    fn mark(&mut self, mark: Earcon) {
        self.last += 1;
        self.voice.mark(mark);
    }

    fn mark_for(&mut self, mark: Earcon, words: &str) {
        self.last += 1;
        self.voice.mark_for(mark, words);
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
        self.voice.adjust(manner)
    }

    fn level(&mut self, decibels: f32) {
        self.voice.level(decibels);
    }

    fn notices(&mut self) -> Vec<String> {
        self.voice.notices()
    }
}

struct Unseen;

impl Observer for Unseen {
    fn heard(&mut self, _words: &str, _heard: Option<&Recognition>) {}

    fn unsaid(&mut self, _line: &str) {}
}

/// Begins a session for each phone.
pub(crate) fn begin(
    phones: Vec<Phone>,
    logs: &[PathBuf],
    stop: &Arc<AtomicBool>,
    seen: &Arc<Seen>,
) -> Vec<JoinHandle<()>> {
    let text = std::fs::read_to_string(JOB).unwrap();
    let job = Job::parse(&text, JOB).unwrap();
    let grammar = Arc::new(grammar_for(&job, true, false).unwrap().0);
    let ear = Ear::new(Arc::clone(&grammar), 1).unwrap();
    // As a bay does.
    let both = std::thread::available_parallelism().map_or(1, usize::from);
    let queue = Arc::new(Queue::new(both));
    let sessions = phones.into_iter().zip(logs).enumerate();
    sessions
        .map(|(n, (mut phone, db))| {
            let (job, text, db) = (job.clone(), text.clone(), db.clone());
            let (grammar, queue) = (Arc::clone(&grammar), Arc::clone(&queue));
            let (stop, seen) = (Arc::clone(stop), Arc::clone(seen));
            let ear = ear.for_another(Arc::clone(&grammar));
            std::thread::spawn(move || {
                let mut engine = InTurn::new(Box::new(ear), Arc::clone(&queue));
                while !phone.is_ready(Duration::from_millis(200)) {}
                let clock = SharedClock::default();
                let (mut store, log) = log::take_up(&db, &clock).unwrap();
                let run = RunBy {
                    by: "bothhands bench",
                    changed: false,
                    delivery: Profile::default().delivery(),
                    practice: None,
                };
                let (session, first) =
                    open_session(&mut store, &log, job, &text, run, &clock).unwrap();
                let mut source = Source {
                    phone: n,
                    source: phone.source(EndpointConfig::default()).unwrap(),
                    seen: Arc::clone(&seen),
                };
                let mut voice = Counted {
                    phone: n,
                    voice: phone.on_page(Box::new(phone.voice(Box::new(Silent)))),
                    last: 0,
                    seen: Arc::clone(&seen),
                };
                let mut observer = phone.beside(Box::new(Unseen));
                let mut conductor = DialogueManager {
                    session,
                    store: &mut store,
                    clock,
                    grammar: &grammar,
                    bench: None,
                    recogniser: Some(&mut engine as &mut dyn Recogniser),
                    voice: &mut voice,
                    observer: &mut observer,
                    stop,
                    live: true,
                };
                conductor.open(&first);
                let tally = conductor.run(&mut source).unwrap();
                let told = format!("{tally:?} {}", source.account().unwrap_or_default());
                seen.put(n, What::Ended(told));
            })
        })
        .collect()
}

/// Of this process, in MB.
pub(crate) fn memory(what: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with(what));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kilobytes.unwrap_or(f64::NAN) / 1000.0
}

/// Seconds of processor that this process has had; a hundred ticks are one.
pub(crate) fn processor() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields = stat
        .rsplit_once(')')
        .map_or("", |(_, rest)| rest)
        .split_whitespace();
    let ticks: f64 = fields
        .skip(11)
        .take(2)
        .filter_map(|n| n.parse::<f64>().ok())
        .sum();
    ticks / 100.0
}
