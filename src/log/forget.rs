use super::write::written;
use super::{Log, LogError};
use crate::sequence::{Event, EventNo};
use crate::store::{Digest256, Store};
use std::collections::BTreeSet;

/// What deleting sound did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Forgotten {
    /// How many utterances lost their sound.
    pub utterances: usize,
    /// Why it is still in the file, although no reader of the log finds it; nothing when it is gone.
    pub still_in_file: Option<String>,
}

/// Why no sound was deleted.
#[derive(Debug, thiserror::Error)]
pub enum ForgetError {
    /// There is no such event.
    #[error("there is no event {0} in this log: `bothhands log` numbers them")]
    NoSuchEvent(EventNo),
    /// Nothing was said for it.
    #[error("event {0} rests on no sound: `bothhands log` shows what was said")]
    NoSound(EventNo),
    /// The log.
    #[error(transparent)]
    Log(#[from] LogError),
}

/// Deletes the sound that these events rest on, or all, and keeps an event that says which. An
/// utterance that several events rest on loses its sound for all of them. Where there is nothing
/// left to delete, only the file is written anew, as after a deletion that something was in the way of.
///
/// # Errors
/// When an event has no sound, or it can't be deleted: then nothing was.
pub fn forget_sounds(
    store: &mut Store,
    log: &Log,
    only: Option<&[EventNo]>,
) -> Result<Forgotten, ForgetError> {
    let sounding: BTreeSet<Digest256> = store
        .with_sound()
        .map_err(LogError::from)?
        .into_iter()
        .collect();
    let wanted: BTreeSet<Digest256> = match only {
        None => sounding,
        Some(events) => {
            let mut wanted = BTreeSet::new();
            for no in events {
                let entry = log.entry(*no).ok_or(ForgetError::NoSuchEvent(*no))?;
                let hash = entry.evidence.ok_or(ForgetError::NoSound(*no))?;
                // What was deleted before is only taken out of the file.
                if sounding.contains(&hash) {
                    wanted.insert(hash);
                }
            }
            wanted
        }
    };
    if !wanted.is_empty() {
        let resting = |hash: &Digest256| wanted.contains(hash);
        let event = Event::SoundForgotten {
            of: log
                .entries
                .iter()
                .filter(|entry| entry.evidence.as_ref().is_some_and(resting))
                .map(|entry| entry.no)
                .collect(),
            evidence: wanted.iter().map(ToString::to_string).collect(),
        };
        let event = written(&event, log.is_practice())?;
        store
            .forget_sounds(&event, &wanted)
            .map_err(LogError::from)?;
    }
    Ok(Forgotten {
        utterances: wanted.len(),
        still_in_file: match store.purge() {
            Ok(true) => None,
            Ok(false) => Some("another program reads it".to_owned()),
            Err(why) => Some(why.to_string()),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::FORGOTTEN_KIND;

    /// The store looks for these events by their kind, when logs are merged and checked.
    #[test]
    fn the_event_is_of_the_kind_that_the_store_looks_for() {
        let hash = "ab".repeat(32);
        let event = Event::SoundForgotten {
            of: vec![EventNo(3)],
            evidence: vec![hash.clone()],
        };
        let new = written(&event, false).unwrap();
        assert_eq!(event.kind(), FORGOTTEN_KIND);
        let payload: serde_json::Value = new.payload().unwrap();
        assert_eq!(payload["evidence"][0], hash);
    }
}
