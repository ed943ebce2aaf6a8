use crate::log::{Log, LogError};
use crate::report::{Exchange, Letterhead, Schedule, Times, dialogue};
use crate::sequence::{Agenda, Event, EventNo, ReplayError};
use crate::store::{Mode, Store};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// Everything the pages show of a log, made once and again when the log has grown.
pub(crate) struct View {
    pub log: Log,
    pub state: Agenda,
    pub schedule: Schedule,
    pub exchanges: Vec<Exchange>,
    /// For each reading, the one that took its place.
    pub replaced_by: BTreeMap<EventNo, EventNo>,
    /// Where the pages of each thread of a merged log begin, with its name; empty for a log that was
    /// not merged.
    pub threads: Vec<(String, String)>,
}

/// All the threads of a log, and how many records it held when they were read.
pub(crate) struct Views {
    pub threads: Vec<Arc<View>>,
    pub records: u64,
}

impl View {
    /// The view of a log that was read.
    ///
    /// # Errors
    /// When it can't be replayed.
    fn of(
        log: Log,
        times: &Times,
        letterhead: &Letterhead,
        threads: &[(String, String)],
    ) -> Result<Self, LogError> {
        Ok(Self {
            state: log.agenda()?,
            schedule: Schedule::of(&log, times)?.on_paper_of(letterhead),
            exchanges: dialogue(&log)?,
            replaced_by: replacements(&log),
            log,
            threads: threads.to_vec(),
        })
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

impl Views {
    /// Reads a log whose pages begin at `root`.
    ///
    /// # Errors
    /// When it is not whole, or can't be read or replayed.
    pub(crate) fn read(
        db: &Path,
        times: &Times,
        letterhead: &Letterhead,
        root: &str,
    ) -> Result<Self, LogError> {
        let store = Store::open(db, Mode::Read)?;
        let records = store.len()?;
        let logs = Log::threads(&store)?;
        if logs.is_empty() {
            return Err(ReplayError::Empty.into());
        }
        let names: Vec<(String, String)> = logs
            .iter()
            .filter_map(|log| log.thread.as_ref())
            .map(|thread| {
                (
                    format!("{root}/thread/{}/timeline", thread.number),
                    thread.to_string(),
                )
            })
            .collect();
        let threads = logs
            .into_iter()
            .map(|log| View::of(log, times, letterhead, &names).map(Arc::new))
            .collect::<Result<Vec<_>, LogError>>()?;
        Ok(Self { threads, records })
    }
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
            | Event::SoundForgotten { .. }
            | Event::Probed { .. }
            | Event::Struck { .. }
            | Event::Unclear { .. } => {}
            _ => withdrawn = None,
        }
    }
    replaced
}
