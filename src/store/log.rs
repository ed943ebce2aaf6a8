use super::{
    error::StoreError,
    evidence::Evidence,
    hex::{ChainId, Digest256, EventId},
    lock::WriterLock,
    open::{Opening, ReadCopy, new_chain},
    record::{JOB_KIND, NewEvent, Record, read_time, to_microseconds, written_time},
};
use jiff::Timestamp;
use rusqlite::{
    Connection, OptionalExtension, Row, Transaction, TransactionBehavior, ffi, named_params,
};
use std::{
    collections::{HashMap, HashSet},
    fmt,
    path::{Path, PathBuf},
    str::FromStr,
};

/// A log: events that are never changed, with the sound they rest on, in one SQLite file.
pub struct Store {
    pub(super) path: PathBuf,
    /// The file that was opened to be added to, and the number of its last event.
    pub(super) own: Option<Own>,
    // The order of these is the order they are dropped in: the database is closed before the
    // writer's lock is given up and before a copy of it is removed.
    pub(super) connection: Connection,
    pub(super) device: String,
    pub(super) clock: Box<dyn Fn() -> Timestamp + Send>,
    pub(super) opening: Opening,
    /// A commit failed as it was synced and could not be cleared away yet.
    pub(super) doubtful: bool,
    pub(super) writer: Option<WriterLock>,
    pub(super) copy: Option<ReadCopy>,
}

/// What a writer knows of its log.
#[derive(Debug, Clone)]
pub(super) struct Own {
    /// Where the file really is, past any link.
    pub file: PathBuf,
    /// Which file was there.
    pub identity: Option<(u64, u64)>,
    /// The number of the last event.
    pub last: u64,
}

/// Device and number of the file at a path, where the system has such a thing.
#[cfg(unix)]
pub(super) fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    let found = std::fs::symlink_metadata(path).ok()?;
    Some((found.dev(), found.ino()))
}

/// Device and number of the file at a path, where the system has such a thing.
#[cfg(not(unix))]
pub(super) fn identity(path: &Path) -> Option<(u64, u64)> {
    path.exists().then_some((0, 0))
}

impl fmt::Debug for Store {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Store")
            .field("path", &self.path)
            .field("device", &self.device)
            .field("opening", &self.opening)
            .field("writes", &self.writer.is_some())
            .field("reads_a_copy", &self.copy.is_some())
            .finish_non_exhaustive()
    }
}

impl Store {
    /// What was found when the log was opened.
    pub fn opening(&self) -> &Opening {
        &self.opening
    }

    /// Where the log is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How many events there are.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn len(&self) -> Result<u64, StoreError> {
        self.number("SELECT coalesce(max(seq), 0) FROM event")
    }

    /// Whether there are none yet.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn is_empty(&self) -> Result<bool, StoreError> {
        Ok(self.len()? == 0)
    }

    /// Keeps events, and the sound they rest on, all or none. When this returns, they are on the
    /// disk: only then may anything be read back. The events come back as they were kept, in the
    /// given order.
    ///
    /// # Errors
    /// [`StoreError::NotKept`] with the reason: then nothing was kept, and the same call may be
    /// made again once the reason is gone. [`StoreError::Uncertain`] when the disk failed so badly that it may hold what
    /// it could not confirm: whether it does is seen when the log is opened again.
    pub fn append(
        &mut self,
        events: &[NewEvent],
        evidence: Option<&Evidence>,
    ) -> Result<Vec<Record>, StoreError> {
        self.append_and(events, evidence, |_| Ok(()))
    }

    /// The same, with something else done in the same transaction.
    pub(super) fn append_and(
        &mut self,
        events: &[NewEvent],
        evidence: Option<&Evidence>,
        also: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()>,
    ) -> Result<Vec<Record>, StoreError> {
        if self.writer.is_none() {
            let path = self.path.clone();
            return Err(StoreError::NotKept(Box::new(StoreError::OpenedForReading(
                path,
            ))));
        }
        if events.is_empty() {
            return Ok(Vec::new());
        }
        if self.doubtful {
            self.forget_what_failed()
                .map_err(|why| StoreError::NotKept(Box::new(why)))?;
        }
        self.still_there()
            .map_err(|why| StoreError::NotKept(Box::new(why)))?;
        let at = to_microseconds((self.clock)());
        let last = self.own.as_ref().map(|own| own.last);
        match keep(
            &mut self.connection,
            &self.device,
            at,
            last,
            events,
            evidence,
            also,
        ) {
            Ok(Some(records)) => {
                if let (Some(own), Some(last)) = (&mut self.own, records.last()) {
                    own.last = last.seq;
                }
                self.copy_into_place();
                // It may have gone while it was written: then nothing is where it should be.
                self.still_there()
                    .map_err(|why| StoreError::NotKept(Box::new(why)))?;
                Ok(records)
            }
            Ok(None) => Err(StoreError::NotKept(Box::new(StoreError::AnotherWrote(
                self.path.clone(),
            )))),
            Err(why) => {
                self.doubtful = failed_to_sync(&why);
                let why = Box::new(StoreError::from_sqlite(&self.path, why));
                if self.doubtful && self.forget_what_failed().is_err() {
                    return Err(StoreError::Uncertain(why));
                }
                Err(StoreError::NotKept(why))
            }
        }
    }

    /// Whether the file that was opened to be added to is still in its place.
    ///
    /// # Errors
    /// [`StoreError::Vanished`] when it was removed, moved or replaced.
    pub fn still_there(&self) -> Result<(), StoreError> {
        match &self.own {
            Some(own) if identity(&own.file) != own.identity => {
                Err(StoreError::Vanished(self.path.clone()))
            }
            _ => Ok(()),
        }
    }

    /// Moves what was just committed from the write-ahead log into the database, so that it
    /// stands in two places and no damage to the first can cost it. It is kept already: a
    /// failure here, or a reader in the way, only leaves this for later.
    fn copy_into_place(&self) {
        let _ = self.checkpoint("PASSIVE");
    }

    /// A commit that failed while it was synced may have reached the disk: empties the
    /// write-ahead log, so that it cannot come back at the next start.
    fn forget_what_failed(&mut self) -> Result<(), StoreError> {
        match self.checkpoint("TRUNCATE") {
            Ok(0) => {
                self.doubtful = false;
                Ok(())
            }
            // A reader is in the way. What failed stays where nobody reads it, and the next
            // write goes over it.
            Ok(_) => Ok(()),
            Err(why) => Err(StoreError::from_sqlite(&self.path, why)),
        }
    }

    /// Returns whether something was in the way: 0 or 1.
    pub(super) fn checkpoint(&self, how: &str) -> rusqlite::Result<i64> {
        self.connection
            .query_row(&format!("PRAGMA wal_checkpoint({how})"), [], |row| {
                row.get(0)
            })
    }

    /// All events in order.
    pub fn records(&self) -> Records<'_> {
        self.records_after(0)
    }

    /// Events that come after event number `seq`, in order.
    pub fn records_after(&self, seq: u64) -> Records<'_> {
        Records {
            store: self,
            after: seq,
            page: Vec::new().into_iter(),
            failed: false,
        }
    }

    /// The evidence of a hash, where there is any.
    ///
    /// # Errors
    /// When the log cannot be read or what is kept there is not as it was written.
    pub fn evidence(&self, hash: &Digest256) -> Result<Option<Evidence>, StoreError> {
        let found = self.evidence_as_it_is(hash)?;
        let wrong = match &found {
            Some(evidence) if evidence.hash() != *hash => "the evidence",
            Some(evidence) if !evidence.sound_fits() => "the sound of the evidence",
            _ => return Ok(found),
        };
        Err(StoreError::Damaged {
            path: self.path.clone(),
            why: format!("{wrong} {hash} is not as it was written"),
        })
    }

    /// The evidence that is kept under a hash, whether it fits or not.
    pub(super) fn evidence_as_it_is(
        &self,
        hash: &Digest256,
    ) -> Result<Option<Evidence>, StoreError> {
        self.connection
            .prepare_cached(
                "SELECT sound_hash, flac, rate, samples, start, words, heard
                 FROM evidence WHERE hash = ?1",
            )
            .and_then(|mut query| query.query_row([hash.to_string()], to_evidence).optional())
            .map_err(|why| StoreError::from_sqlite(&self.path, why))
    }

    /// The text of the job file, as the first event has it.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn job(&self) -> Result<Option<String>, StoreError> {
        self.connection
            .query_row(
                "SELECT payload ->> '$.job' FROM event WHERE kind = ?1 ORDER BY seq LIMIT 1",
                [JOB_KIND],
                |row| row.get(0),
            )
            .optional()
            .map(Option::flatten)
            .map_err(|why| StoreError::from_sqlite(&self.path, why))
    }

    /// The logs that this one was put together from, each in its own order; a log that was not
    /// merged is one thread. Events that stood in several sources stand in several threads.
    ///
    /// Payloads that name other events by number mean the number in their own thread.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn threads(&self) -> Result<Vec<Vec<Record>>, StoreError> {
        let records: Vec<Record> = self.records().collect::<Result<_, _>>()?;
        let by_hash: HashMap<Digest256, &Record> =
            records.iter().map(|record| (record.hash, record)).collect();
        let followed: HashSet<Digest256> = records.iter().map(|record| record.prev_hash).collect();
        let thread = |end: &Record| {
            let back = |record: &&Record| by_hash.get(&record.prev_hash).copied();
            let mut thread: Vec<Record> =
                std::iter::successors(by_hash.get(&end.hash).copied(), back)
                    .cloned()
                    .collect();
            thread.reverse();
            thread
        };
        Ok(records
            .iter()
            .filter(|record| !followed.contains(&record.hash))
            .map(thread)
            .collect())
    }

    /// Whether the log was put together from several: see [`Store::threads`].
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn is_merged(&self) -> Result<bool, StoreError> {
        Ok(self
            .number("SELECT count(*) FROM event WHERE hash NOT IN (SELECT prev_hash FROM event)")?
            > 1)
    }

    pub(super) fn number(&self, query: &str) -> Result<u64, StoreError> {
        self.connection
            .query_row(query, [], |row| row.get(0))
            .map_err(|why| StoreError::from_sqlite(&self.path, why))
    }

    /// Fills in what the opening found.
    pub(super) fn take_stock(&mut self, now: Option<Timestamp>) -> Result<(), StoreError> {
        self.opening.events = self.len()?;
        self.opening.last = match self.opening.events {
            0 => None,
            events => self
                .records_after(events - 1)
                .next()
                .transpose()?
                .map(|last| last.at),
        };
        self.opening.clock_behind =
            now.filter(|&now| self.opening.last.is_some_and(|last| now < last));
        Ok(())
    }
}

/// Events of a log in order, read a page at a time. Ends after the first that cannot be read.
#[derive(Debug)]
pub struct Records<'a> {
    store: &'a Store,
    after: u64,
    page: std::vec::IntoIter<Record>,
    failed: bool,
}

const PAGE: u32 = 256;

impl Iterator for Records<'_> {
    type Item = Result<Record, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.failed {
            return None;
        }
        if let Some(record) = self.page.next() {
            return Some(Ok(record));
        }
        match read_page(&self.store.connection, self.after) {
            Ok(page) => {
                self.after = page.last()?.seq;
                self.page = page.into_iter();
                self.page.next().map(Ok)
            }
            Err(why) => {
                self.failed = true;
                Some(Err(StoreError::from_sqlite(&self.store.path, why)))
            }
        }
    }
}

/// Whether a commit may be on the disk although it failed. One that failed before it was synced
/// cannot: its end was never written.
fn failed_to_sync(why: &rusqlite::Error) -> bool {
    why.sqlite_error().is_some_and(|error| {
        [ffi::SQLITE_IOERR_FSYNC, ffi::SQLITE_IOERR_DIR_FSYNC].contains(&error.extended_code)
    })
}

const COLUMNS: &str =
    "seq, id, chain, position, device, at, version, kind, payload, evidence, prev_hash, hash";

fn read_page(connection: &Connection, after: u64) -> rusqlite::Result<Vec<Record>> {
    connection
        .prepare_cached(&format!(
            "SELECT {COLUMNS} FROM event WHERE seq > ?1 ORDER BY seq LIMIT {PAGE}"
        ))?
        .query_map([after], to_record)?
        .collect()
}

/// The hash in a row that has nothing else.
pub(super) fn to_head(row: &Row<'_>) -> rusqlite::Result<Digest256> {
    from_text(&row.get::<_, String>(0)?)
}

fn to_record(row: &Row<'_>) -> rusqlite::Result<Record> {
    Ok(Record {
        seq: row.get("seq")?,
        id: parsed(row, "id")?,
        chain: parsed(row, "chain")?,
        position: row.get("position")?,
        device: row.get("device")?,
        at: {
            let text: String = row.get("at")?;
            read_time(&text)
                .ok_or_else(|| unreadable(format!("\u{201c}{text}\u{201d} is no time")))?
        },
        version: row.get("version")?,
        kind: row.get("kind")?,
        payload: row.get("payload")?,
        evidence: match row.get::<_, Option<String>>("evidence")? {
            Some(text) => Some(from_text(&text)?),
            None => None,
        },
        prev_hash: parsed(row, "prev_hash")?,
        hash: parsed(row, "hash")?,
    })
}

fn to_evidence(row: &Row<'_>) -> rusqlite::Result<Evidence> {
    Ok(Evidence {
        sound_hash: parsed(row, "sound_hash")?,
        flac: row.get("flac")?,
        rate: row.get("rate")?,
        samples: row.get("samples")?,
        start: row.get("start")?,
        words: row.get("words")?,
        heard: row.get("heard")?,
    })
}

fn parsed<T: FromStr<Err: std::error::Error + Send + Sync + 'static>>(
    row: &Row<'_>,
    column: &str,
) -> rusqlite::Result<T> {
    from_text(&row.get::<_, String>(column)?)
}

fn from_text<T: FromStr<Err: std::error::Error + Send + Sync + 'static>>(
    text: &str,
) -> rusqlite::Result<T> {
    text.parse().map_err(unreadable)
}

fn unreadable(
    why: impl Into<Box<dyn std::error::Error + Send + Sync + 'static>>,
) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(0, rusqlite::types::Type::Text, why.into())
}

/// The end of the chain that this device goes on writing in this file.
struct End {
    chain: ChainId,
    position: u64,
    hash: Digest256,
}

/// Nothing comes back, and nothing is kept, when the log does not end where this writer left it.
fn keep(
    connection: &mut Connection,
    device: &str,
    at: Timestamp,
    own_last: Option<u64>,
    events: &[NewEvent],
    evidence: Option<&Evidence>,
    also: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()>,
) -> rusqlite::Result<Option<Vec<Record>>> {
    let tx = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let last: u64 = tx.query_row("SELECT coalesce(max(seq), 0) FROM event", [], |row| {
        row.get(0)
    })?;
    if own_last.is_some_and(|own| own != last) {
        return Ok(None);
    }
    let mut end = match own_end(&tx, device)? {
        Some(end) => end,
        None => begin_chain(&tx, last)?,
    };
    let evidence = evidence
        .map(|evidence| keep_evidence(&tx, evidence))
        .transpose()?;
    let mut records = Vec::with_capacity(events.len());
    for (seq, event) in (last + 1..).zip(events) {
        end.position += 1;
        let record = Record {
            seq,
            id: EventId::ZERO,
            chain: end.chain,
            position: end.position,
            device: device.to_owned(),
            at,
            version: event.version,
            kind: event.kind.clone(),
            payload: event.payload.clone(),
            evidence,
            prev_hash: end.hash,
            hash: Digest256::ZERO,
        }
        .sealed();
        end.hash = record.hash;
        insert_event(&tx, &record)?;
        records.push(record);
    }
    also(&tx)?;
    tx.commit()?;
    Ok(Some(records))
}

/// Where the log ends, if it was this device that wrote its last event in this very file: then
/// its chain goes on. When somebody else wrote in between, another chain begins, so that the way
/// back from the last event along the hashes passes every event of the log.
fn own_end(tx: &Transaction<'_>, device: &str) -> rusqlite::Result<Option<End>> {
    tx.prepare_cached(
        "SELECT head.chain, head.position, head.hash
         FROM head JOIN event USING (hash) JOIN chain ON chain.id = head.chain
         WHERE chain.written_here AND event.device = ?1
           AND event.seq = (SELECT max(seq) FROM event)",
    )?
    .query_row([device], |row| {
        Ok(End {
            chain: parsed(row, "chain")?,
            position: row.get("position")?,
            hash: parsed(row, "hash")?,
        })
    })
    .optional()
}

/// A new chain, which follows the last event of the log.
fn begin_chain(tx: &Transaction<'_>, last: u64) -> rusqlite::Result<End> {
    let chain = new_chain(tx)?;
    insert_chain(tx, chain, true)?;
    let follows = tx
        .query_row("SELECT hash FROM event WHERE seq = ?1", [last], |row| {
            parsed(row, "hash")
        })
        .optional()?;
    Ok(End {
        chain,
        position: 0,
        hash: follows.unwrap_or(Digest256::ZERO),
    })
}

pub(super) fn insert_chain(
    tx: &Transaction<'_>,
    chain: ChainId,
    written_here: bool,
) -> rusqlite::Result<()> {
    tx.prepare_cached("INSERT INTO chain (id, written_here) VALUES (?1, ?2)")?
        .execute((chain.to_string(), written_here))
        .map(|_| ())
}

/// Keeps evidence once, however many events rest on it.
pub(super) fn keep_evidence(
    tx: &Transaction<'_>,
    evidence: &Evidence,
) -> rusqlite::Result<Digest256> {
    let hash = evidence.hash();
    let known = tx
        .prepare_cached("SELECT 1 FROM evidence WHERE hash = ?1")?
        .exists([hash.to_string()])?;
    if !known {
        tx.prepare_cached(
            "INSERT INTO evidence (hash, sound_hash, rate, samples, start, words, heard, flac)
             VALUES (:hash, :sound_hash, :rate, :samples, :start, :words, :heard, :flac)",
        )?
        .execute(named_params! {
            ":hash": hash.to_string(),
            ":sound_hash": evidence.sound_hash.to_string(),
            ":rate": evidence.rate,
            ":samples": evidence.samples,
            ":start": evidence.start,
            ":words": evidence.words,
            ":heard": evidence.heard,
            ":flac": evidence.flac,
        })?;
    }
    Ok(hash)
}

pub(super) fn insert_event(tx: &Transaction<'_>, record: &Record) -> rusqlite::Result<()> {
    tx.prepare_cached(&format!(
        "INSERT INTO event ({COLUMNS})
         VALUES (:seq, :id, :chain, :position, :device, :at, :version, :kind, :payload,
                 :evidence, :prev_hash, :hash)"
    ))?
    .execute(named_params! {
        ":seq": record.seq,
        ":id": record.id.to_string(),
        ":chain": record.chain.to_string(),
        ":position": record.position,
        ":device": record.device,
        ":at": written_time(record.at),
        ":version": record.version,
        ":kind": record.kind,
        ":payload": record.payload,
        ":evidence": record.evidence.map(|hash| hash.to_string()),
        ":prev_hash": record.prev_hash.to_string(),
        ":hash": record.hash.to_string(),
    })
    .map(|_| ())
}
