use crate::log::{Log, LogError};
use crate::marking::Sheet;
use crate::report::{Exchange, Letterhead, Schedule, Times, follow};
use crate::sequence::{Agenda, Event, EventNo, ReplayError};
use crate::store::{OpenMode, Store};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// Everything the pages show of a log, made once and again when the log has grown.
pub(crate) struct View {
    pub log: Arc<Log>,
    pub state: Agenda,
    pub schedule: Schedule,
    pub exchanges: Vec<Exchange>,
    /// For each reading, the one that took its place.
    pub replaced_by: BTreeMap<EventNo, EventNo>,
    pub around: Around,
}

/// What lies around the pages of one session.
#[derive(Clone, Default)]
pub(crate) struct Around {
    /// Where the pages of each thread of a merged log begin, with its name; empty for a log that was
    /// not merged.
    pub threads: Vec<(String, String)>,
    /// The page of the group, where several logs are looked back at.
    pub group: Option<String>,
}

/// All the threads of a log, and how many records it held when they were read.
pub(crate) struct Threads {
    pub threads: Vec<KeptSession>,
    pub records: u64,
}

/// One session as it is kept, and what was made of it so far.
pub(crate) struct KeptSession {
    pub log: Arc<Log>,
    around: Around,
    view: Made<View>,
    sheet: Made<Sheet>,
}

/// Something that is made when it is first asked for.
struct Made<T>(Mutex<Option<Arc<T>>>);

impl<T> Made<T> {
    fn nothing() -> Self {
        Self(Mutex::new(None))
    }

    fn get<E>(&self, make: impl FnOnce() -> Result<T, E>) -> Result<Arc<T>, E> {
        let mut made = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(made) = made.as_ref() {
            return Ok(Arc::clone(made));
        }
        let new = Arc::new(make()?);
        *made = Some(Arc::clone(&new));
        Ok(new)
    }
}

impl KeptSession {
    /// What its pages show.
    ///
    /// # Errors
    /// When it can't be replayed.
    pub(crate) fn view(
        &self,
        times: &Times,
        letterhead: &Letterhead,
    ) -> Result<Arc<View>, LogError> {
        self.view
            .get(|| View::of(&self.log, times, letterhead, &self.around))
    }

    /// Its sheet of marks.
    ///
    /// # Errors
    /// What kept it from being marked.
    pub(crate) fn sheet<E>(
        &self,
        mark: impl FnOnce(&Log) -> Result<Sheet, E>,
    ) -> Result<Arc<Sheet>, E> {
        self.sheet.get(|| mark(&self.log))
    }
}

impl View {
    /// The view of a log that was read.
    ///
    /// # Errors
    /// When it can't be replayed.
    fn of(
        log: &Arc<Log>,
        times: &Times,
        letterhead: &Letterhead,
        around: &Around,
    ) -> Result<Self, LogError> {
        let first = log.entries.first().ok_or(ReplayError::Empty)?;
        let opened = Agenda::open(&first.event, first.at)?;
        Ok(Self::made(log, opened, times, letterhead, around))
    }

    /// The same, with an agenda that has taken the log's first event.
    pub(crate) fn made(
        log: &Arc<Log>,
        opened: Agenda,
        times: &Times,
        letterhead: &Letterhead,
        around: &Around,
    ) -> Self {
        let mut state = opened.clone();
        for (event, at) in log.events().skip(1) {
            state.apply(event, at);
        }
        Self {
            schedule: Schedule::made(log, &state, times).on_paper_of(letterhead),
            exchanges: follow(log, opened),
            replaced_by: replacements(log),
            log: Arc::clone(log),
            around: around.clone(),
            state,
        }
    }

    /// Whether there is a sheet of marks to look at.
    pub(crate) fn is_marked(&self) -> bool {
        self.around.group.is_some() || self.state.practice().is_some()
    }

    /// The chain of readings that a reading belongs to, oldest first.
    pub(crate) fn chain(&self, no: EventNo) -> Vec<EventNo> {
        // What stands in the place of something comes after it: a crafted log can't lead in a circle.
        let mut first = no;
        while let Some((old, _)) = self
            .replaced_by
            .iter()
            .find(|(old, new)| **new == first && **old < first)
        {
            first = *old;
        }
        let mut chain = vec![first];
        let mut last = first;
        while let Some(next) = self.replaced_by.get(&last).filter(|next| **next > last) {
            chain.push(*next);
            last = *next;
        }
        chain
    }
}

impl Threads {
    /// Reads a log whose pages begin at `root`.
    ///
    /// # Errors
    /// When it is not whole, or can't be read.
    pub(crate) fn read(db: &Path, root: &str, group: Option<&str>) -> Result<Self, LogError> {
        let store = Store::open(db, OpenMode::Read)?;
        let records = store.len()?;
        let logs = Log::threads(&store)?;
        if logs.is_empty() {
            return Err(ReplayError::Empty.into());
        }
        let threads = logs.iter().filter_map(|log| log.thread.as_ref());
        let around = Around {
            threads: threads
                .map(|thread| {
                    (
                        format!("{}/timeline", thread_root(root, thread.number)),
                        thread.to_string(),
                    )
                })
                .collect(),
            group: group.map(str::to_owned),
        };
        let threads = logs.into_iter().map(|log| KeptSession {
            log: Arc::new(log),
            around: around.clone(),
            view: Made::nothing(),
            sheet: Made::nothing(),
        });
        Ok(Self {
            threads: threads.collect(),
            records,
        })
    }
}

/// Where the pages of one thread of a merged log begin.
pub(crate) fn thread_root(root: &str, number: usize) -> String {
    format!("{root}/thread/{number}")
}

/// What took the place of what: named by the event itself, or said right after taking it back.
fn replacements(log: &Log) -> BTreeMap<EventNo, EventNo> {
    let mut replaced = BTreeMap::new();
    let mut withdrawn: Option<EventNo> = None;
    for entry in &log.entries {
        match &entry.event {
            Event::Reading { replaces, .. } => {
                for old in replaces.iter().chain(withdrawn.as_ref()) {
                    replaced.insert(*old, entry.no);
                }
                withdrawn = None;
            }
            Event::CorrectedAtDesk { of, .. } => {
                replaced.insert(*of, entry.no);
                withdrawn = None;
            }
            Event::Withdrawn { of, .. } => {
                let reading = log
                    .entry(*of)
                    .is_some_and(|entry| matches!(entry.event, Event::Reading { .. }));
                withdrawn = reading.then_some(*of);
            }
            Event::Refused { .. }
            | Event::Asked { .. }
            | Event::NotTaken { .. }
            | Event::NeighbourHeard { .. }
            | Event::ReadBackCut { .. }
            | Event::SoundForgotten { .. }
            | Event::Probed { .. }
            | Event::Photographed { .. }
            | Event::Struck { .. }
            | Event::Unclear { .. } => {}
            _ => withdrawn = None,
        }
    }
    replaced
}
