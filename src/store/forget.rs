//! Deleting the sound of utterances: people's voices. What was made of them stays, and so does every
//! hash: events rest on the hash of their evidence, which rests on that of the sound, not on the sound.

use super::{
    error::StoreError,
    hex::Digest256,
    log::Store,
    record::{NewEvent, Record},
};
use rusqlite::Connection;
use serde::Deserialize;
use std::collections::BTreeSet;

/// The kind of the event that says whose sound was deleted; its payload names the evidence under
/// `evidence`, by hash.
pub const FORGOTTEN_KIND: &str = "sound-forgotten";

/// The evidence that an event of [`FORGOTTEN_KIND`] names.
#[derive(Deserialize)]
struct Named {
    evidence: Vec<Digest256>,
}

/// The evidence whose sound was deleted by this event; none where it is of another kind.
pub(super) fn forgotten_by(record: &Record) -> Vec<Digest256> {
    if record.kind != FORGOTTEN_KIND {
        return Vec::new();
    }
    record
        .payload::<Named>()
        .map(|named| named.evidence)
        .unwrap_or_default()
}

const GUARD: &str = "evidence_is_never_changed";

impl Store {
    /// The evidence that still has its sound, in the order in which it was kept.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn with_sound(&self) -> Result<Vec<Digest256>, StoreError> {
        self.connection
            .prepare("SELECT hash FROM evidence WHERE flac IS NOT NULL ORDER BY rowid")
            .and_then(|mut query| query.query_map([], super::log::to_head)?.collect())
            .map_err(|why| StoreError::from_sqlite(&self.path, why))
    }

    /// Deletes the sound of this evidence and keeps the event that says so, both or neither. What was
    /// deleted stays in the file until [`Store::purge`].
    ///
    /// # Errors
    /// As [`Store::append`].
    pub fn forget_sounds(
        &mut self,
        event: &NewEvent,
        evidence: &BTreeSet<Digest256>,
    ) -> Result<Vec<Record>, StoreError> {
        let (event, evidence) = (event.clone(), evidence.clone());
        self.append_and(&[event], None, |tx| {
            without_guard(tx, |tx| {
                let mut delete = tx.prepare("UPDATE evidence SET flac = NULL WHERE hash = ?1")?;
                for hash in &evidence {
                    delete.execute([hash.to_string()])?;
                }
                Ok(())
            })
        })
    }

    /// Writes the file anew without what was deleted from it, and empties the write-ahead log, so that
    /// it is nowhere in either. Returns whether that was done: a program that reads the log is in
    /// the way.
    ///
    /// # Errors
    /// When the log is open for reading only, or can't be written.
    pub fn purge(&mut self) -> Result<bool, StoreError> {
        if self.writer.is_none() {
            return Err(StoreError::OpenedForReading(self.path.clone()));
        }
        self.still_there()?;
        let failed = |why| StoreError::from_sqlite(&self.path, why);
        self.connection
            .execute_batch("PRAGMA secure_delete = ON; VACUUM")
            .map_err(failed)?;
        Ok(self.checkpoint("TRUNCATE").map_err(failed)? == 0)
    }
}

/// Does something that the trigger on evidence refuses, and puts the trigger back as it was.
fn without_guard(
    tx: &Connection,
    act: impl FnOnce(&Connection) -> rusqlite::Result<()>,
) -> rusqlite::Result<()> {
    let guard: String = tx.query_row(
        "SELECT sql FROM sqlite_schema WHERE type = 'trigger' AND name = ?1",
        [GUARD],
        |row| row.get(0),
    )?;
    tx.execute_batch(&format!("DROP TRIGGER {GUARD}"))?;
    act(tx)?;
    tx.execute_batch(&guard)
}
