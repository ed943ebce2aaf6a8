use crate::log::{Log, LogError};
use crate::report::{Exchange, Schedule, Times, dialogue};
use crate::sequence::{Agenda, Event, EventNo};
use crate::store::{Mode, Store};
use std::collections::BTreeMap;
use std::path::Path;

/// Everything the pages show of a log, made once and again when the log has grown.
pub(crate) struct View {
    pub log: Log,
    pub state: Agenda,
    pub schedule: Schedule,
    pub exchanges: Vec<Exchange>,
    /// For each reading, the one that took its place.
    pub replaced_by: BTreeMap<EventNo, EventNo>,
    /// How many records the log held.
    pub records: u64,
}

impl View {
    /// Reads a log.
    ///
    /// # Errors
    /// When it can't be read or replayed.
    pub(crate) fn read(db: &Path, times: &Times) -> Result<Self, LogError> {
        let store = Store::open(db, Mode::Read)?;
        let records = store.len()?;
        let log = Log::read(&store)?;
        Self::of(log, times, records)
    }

    /// The view of a log that was read.
    ///
    /// # Errors
    /// When it can't be replayed.
    pub(crate) fn of(log: Log, times: &Times, records: u64) -> Result<Self, LogError> {
        Ok(Self {
            state: log.agenda()?,
            schedule: Schedule::of(&log, times)?,
            exchanges: dialogue(&log)?,
            replaced_by: replacements(&log),
            log,
            records,
        })
    }

    /// The chain of readings that a reading belongs to, oldest first.
    pub(crate) fn chain(&self, no: EventNo) -> Vec<EventNo> {
        let mut first = no;
        while let Some((old, _)) = self.replaced_by.iter().find(|(_, new)| **new == first) {
            first = *old;
        }
        let mut chain = vec![first];
        let mut last = first;
        while let Some(next) = self.replaced_by.get(&last) {
            chain.push(*next);
            last = *next;
        }
        chain
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
            | Event::Unclear { .. } => {}
            _ => withdrawn = None,
        }
    }
    replaced
}
