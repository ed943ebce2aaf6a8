use super::LogError;
use crate::sequence::say::is_of_the_same_turn;
use crate::sequence::{Agenda, EVENT_VERSION, Event, EventNo, ReplayError};
use crate::store::{Digest256, EventId, Evidence, Head, JOB_KIND, Record, Store};
use jiff::Timestamp;
use serde::Serialize;
use std::fmt;

/// One event of a log, with what the store knows of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number in the session, from 0.
    pub no: EventNo,
    /// Its name on every device; nothing when it is kept nowhere.
    pub id: Option<EventId>,
    /// When it was kept.
    pub at: Timestamp,
    /// The device that kept it.
    pub device: String,
    /// What happened.
    pub event: Event,
    /// The sound it rests on.
    pub evidence: Option<Digest256>,
    /// What was made of that sound; nothing when it was typed.
    pub heard: Option<Heard>,
}

/// What the recogniser made of an utterance.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Heard {
    /// The likeliest words; empty when there were none.
    pub words: String,
    /// The likeliest words with another meaning.
    pub runner_up: Option<String>,
    /// How well the words fit the sound: zero is perfect, very negative none of our words.
    pub fit: Option<f64>,
    /// How far the runner-up was behind: small means that it could have been either.
    pub margin: Option<f64>,
    /// Length of the sound, s.
    pub seconds: f64,
    /// Whether the sound is not in the log: deleted, or left out of an export.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub without_sound: bool,
    /// The engine and the model that heard; older logs do not say.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub engine: Option<String>,
}

impl Heard {
    fn of(evidence: &Evidence) -> Self {
        let told = evidence.heard().unwrap_or_default();
        // Scores stand in `scores`; older logs had them beside the words.
        let score = |name: &str| {
            told.get("scores")
                .and_then(|scores| scores.get(name))
                .or_else(|| told.get(name))
                .and_then(serde_json::Value::as_f64)
        };
        let text = |name: &str| {
            told.get(name)
                .and_then(serde_json::Value::as_str)
                .map(str::to_owned)
        };
        Self {
            words: evidence.words().to_owned(),
            runner_up: text("runner_up"),
            engine: text("engine"),
            fit: score("fit"),
            margin: score("margin"),
            seconds: evidence.seconds(),
            without_sound: evidence.flac().is_none(),
        }
    }
}

/// All events of a log in order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Log {
    /// In the order in which they were kept.
    pub entries: Vec<Entry>,
    /// Where it ends; nothing when it is kept nowhere.
    pub head: Option<Head>,
    /// Which of several it is; nothing when it stands alone.
    pub thread: Option<Thread>,
}

/// One of the logs that a merged one was put together from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Thread {
    /// From 1.
    pub number: usize,
    /// How many there are.
    pub of: usize,
    /// The devices that wrote it, in the order they did.
    pub devices: Vec<String>,
}

impl fmt::Display for Thread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "Thread {} of {}, written on {}",
            self.number,
            self.of,
            self.devices.join(", then on ")
        )
    }
}

impl Log {
    /// Reads a log that was not merged, with the words that were heard and without their sound.
    ///
    /// # Errors
    /// When it is not whole, can't be read, was merged (see [`Log::threads`]), or holds an event
    /// that this version does not know.
    pub fn read(store: &Store) -> Result<Self, LogError> {
        store.check_whole()?;
        Self::read_checked(store)
    }

    /// The same of a log whose hashes were walked as it was opened.
    pub(super) fn read_checked(store: &Store) -> Result<Self, LogError> {
        let mut threads = Self::each(store)?;
        match (threads.pop(), threads.len()) {
            (None, _) => Ok(Self::default()),
            (Some(only), 0) => Ok(only),
            (Some(_), others) => Err(LogError::Threads(others + 1)),
        }
    }

    /// Reads the logs that one was put together from, each in its own order and with numbers of
    /// its own: events name others by their number in their own thread, so each is replayed by
    /// itself. A log that was not merged is one of one, an empty one none.
    ///
    /// # Errors
    /// When the log is not whole, can't be read, or holds an event that this version does not know.
    pub fn threads(store: &Store) -> Result<Vec<Self>, LogError> {
        store.check_whole()?;
        Self::each(store)
    }

    fn each(store: &Store) -> Result<Vec<Self>, LogError> {
        let threads = store.threads()?;
        let of = threads.len();
        (1..)
            .zip(threads)
            .map(|(number, records)| {
                let mut devices: Vec<String> = records.iter().map(|r| r.device.clone()).collect();
                devices.dedup();
                let mut log = Self {
                    entries: Vec::new(),
                    head: records.last().map(|last| Head {
                        events: records.len() as u64,
                        hash: last.hash,
                    }),
                    thread: (of > 1).then_some(Thread {
                        number,
                        of,
                        devices,
                    }),
                };
                for record in records {
                    let heard = record
                        .evidence
                        .map(|hash| store.evidence(&hash))
                        .transpose()?
                        .flatten();
                    log.take(record, heard.as_ref().map(Heard::of))?;
                }
                Ok(log)
            })
            .collect()
    }

    /// Adds a record, unless it is the job file's text.
    fn take(&mut self, record: Record, heard: Option<Heard>) -> Result<(), LogError> {
        if let Some(event) = event_of(&record)? {
            self.push(Entry {
                no: EventNo(0),
                id: Some(record.id),
                at: record.at,
                device: record.device,
                event,
                evidence: record.evidence,
                heard,
            });
        }
        Ok(())
    }

    /// A log of events that are not kept anywhere, for tests and for a session in progress.
    pub fn of(events: impl IntoIterator<Item = (Event, Timestamp)>) -> Self {
        let mut log = Self::default();
        for (event, at) in events {
            log.push(Entry {
                no: EventNo(0),
                id: None,
                at,
                device: String::new(),
                event,
                evidence: None,
                heard: None,
            });
        }
        log
    }

    /// Adds an entry at the end and gives it its number.
    pub fn push(&mut self, entry: Entry) {
        let no = EventNo(self.entries.len() as u64);
        self.entries.push(Entry { no, ..entry });
    }

    /// The events with their times.
    pub fn events(&self) -> impl Iterator<Item = (&Event, Timestamp)> {
        self.entries.iter().map(|entry| (&entry.event, entry.at))
    }

    /// The agenda after all of it.
    ///
    /// # Errors
    /// When it is empty or does not begin with the job.
    pub fn agenda(&self) -> Result<Agenda, ReplayError> {
        Agenda::replay(self.events())
    }

    /// The entries by turns: what came of one utterance, or of the program being started, was kept
    /// at one time.
    pub fn turns(&self) -> impl Iterator<Item = &[Entry]> {
        self.entries
            .chunk_by(|a, b| a.at == b.at && is_of_the_same_turn(&a.event, &b.event))
    }

    /// Whether it was practised on a simulated installation.
    pub fn is_practice(&self) -> bool {
        let first = self.entries.first();
        first.is_some_and(|entry| entry.event.begins_practice())
    }

    /// The entry with this number.
    pub fn entry(&self, no: EventNo) -> Option<&Entry> {
        self.entries.get(usize::try_from(no.0).ok()?)
    }
}

/// The event in a record; nothing when the record is the job file's text, which is no event of
/// the session.
fn event_of(record: &Record) -> Result<Option<Event>, LogError> {
    event_known_to(record, EVENT_VERSION)
}

/// The same, as a program reads it that knows events up to a version.
pub(super) fn event_known_to(record: &Record, version: u16) -> Result<Option<Event>, LogError> {
    if record.kind == JOB_KIND {
        return Ok(None);
    }
    if record.version > version.into() {
        return Err(LogError::Newer {
            seq: record.seq,
            kind: record.kind.clone(),
            version: record.version,
        });
    }
    record
        .payload()
        .map(Some)
        .map_err(|why| LogError::Unreadable {
            seq: record.seq,
            kind: record.kind.clone(),
            why: why.to_string(),
        })
}
