//! A log as JSON Lines.
//!
//! The first line is a header, `{"format":"bothhands log","version":1,"events":N,"evidence":M}`.
//! Then come `{"evidence":{...}}` and `{"event":{...}}` lines: events in the order of the log,
//! each piece of evidence just before the first event that rests on it. Every value stands as the
//! log keeps it, so the hashes can be checked from the lines alone (see `Record::computed_hash`
//! and `Evidence::hash`): `payload` and `heard` are the very JSON text that was hashed. Sound is
//! in `flac` as Base64 (RFC 4648), or in a file `<sound_hash>.flac` in a folder of its own, or
//! left out.

use super::{
    error::StoreError,
    evidence::Evidence,
    hex::{ChainId, Digest256, EventId, digest_of},
    lock::WriterLock,
    log::{Store, insert_chain, insert_event, keep_evidence},
    open::{OpenMode, beside},
    record::{Record, id_of, read_time, written_time},
    verify::Verification,
};
use base64::{Engine, engine::general_purpose::STANDARD};
use jiff::Timestamp;
use rusqlite::Transaction;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::{
    collections::HashSet,
    fs,
    io::{self, BufRead, Write},
    path::{Path, PathBuf},
};

/// Version of the lines that this program writes and reads.
const LINES_VERSION: u32 = 1;

const FORMAT: &str = "bothhands log";

/// Where the sound goes when a log is exported.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sounds {
    /// Into the lines, as Base64.
    Inside,
    /// Into a folder, one FLAC file each, named by its hash.
    Folder(PathBuf),
    /// Nowhere: only what was made of it is exported.
    LeftOut,
}

/// What an export wrote, and what kept it from writing more.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Exported {
    /// Events written.
    pub events: u64,
    /// Pieces of evidence written.
    pub evidence: u64,
    /// Pieces of evidence whose sound is damaged and was left out.
    pub sounds_lost: u64,
    /// What checking the log found beforehand.
    pub verdict: Verification,
}

/// Why a log could not be exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The log could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The lines could not be written.
    #[error("the lines could not be written: {0}")]
    Write(#[source] io::Error),
    /// A sound file could not be written.
    #[error("{}: the sound could not be written: {source}", .path.display())]
    Sound {
        /// Where it was to go.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Something in the log cannot be written as JSON.
    #[error("event {seq} cannot be written as JSON: {source}")]
    Json {
        /// The event's number.
        seq: u64,
        /// What can't be written.
        source: serde_json::Error,
    },
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Header {
    format: String,
    version: u32,
    events: u64,
    evidence: u64,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Line<'a> {
    #[serde(borrow)]
    Evidence(EvidenceLine<'a>),
    #[serde(borrow)]
    Event(EventLine<'a>),
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct EvidenceLine<'a> {
    hash: Digest256,
    sound_hash: Digest256,
    rate: u32,
    samples: u64,
    start: u64,
    words: String,
    #[serde(borrow)]
    heard: &'a RawValue,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    flac: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct EventLine<'a> {
    seq: u64,
    id: EventId,
    chain: ChainId,
    position: u64,
    device: String,
    at: String,
    version: u32,
    kind: String,
    #[serde(borrow)]
    payload: &'a RawValue,
    evidence: Option<Digest256>,
    prev_hash: Digest256,
    hash: Digest256,
}

impl Store {
    /// Writes the log as lines. Of a damaged log it writes all events up to the first that does
    /// not fit, with the sound that is whole: what it writes can always be read back by
    /// [`import`]. What is wrong stands in the result's verdict.
    ///
    /// # Errors
    /// When the log cannot be read or the lines not written.
    pub fn export(&self, out: &mut impl Write, sounds: &Sounds) -> Result<Exported, ExportError> {
        let view = self
            .connection
            .unchecked_transaction()
            .map_err(|why| StoreError::from_sqlite(&self.path, why))?;
        let verdict = self.verify_in_view()?;
        let events = self.exportable(verdict.events)?;
        let mut done = Exported {
            verdict,
            ..Exported::default()
        };
        let evidence = self.evidence_of_first(events)?;
        write_line(
            out,
            0,
            &Header {
                format: FORMAT.to_owned(),
                version: LINES_VERSION,
                events,
                evidence,
            },
        )?;
        let mut written = HashSet::new();
        for record in self
            .records()
            .take(usize::try_from(events).unwrap_or(usize::MAX))
        {
            let record = record?;
            if let Some(hash) = record.evidence.filter(|hash| written.insert(*hash))
                && let Some(evidence) = self.evidence_as_it_is(&hash)?
            {
                done.sounds_lost += u64::from(!evidence.sound_fits());
                write_evidence(out, record.seq, &hash, &evidence, sounds)?;
                done.evidence += 1;
            }
            write_event(out, &record)?;
            done.events += 1;
        }
        out.flush().map_err(ExportError::Write)?;
        drop(view);
        Ok(done)
    }

    /// How many events from the beginning can be exported: up to the first whose evidence is
    /// missing or, its sound aside, not as it was written.
    fn exportable(&self, events: u64) -> Result<u64, StoreError> {
        for record in self.records() {
            let record = record?;
            if record.seq > events {
                break;
            }
            let Some(hash) = record.evidence else {
                continue;
            };
            match self.evidence_as_it_is(&hash) {
                Ok(Some(evidence)) if evidence.hash() == hash => {}
                _ => return Ok(record.seq - 1),
            }
        }
        Ok(events)
    }

    fn evidence_of_first(&self, events: u64) -> Result<u64, StoreError> {
        self.number(&format!(
            "SELECT count(DISTINCT evidence) FROM event WHERE seq <= {events}"
        ))
    }
}

fn write_line(out: &mut impl Write, seq: u64, line: &impl Serialize) -> Result<(), ExportError> {
    let mut text =
        serde_json::to_string(line).map_err(|source| ExportError::Json { seq, source })?;
    text.push('\n');
    out.write_all(text.as_bytes()).map_err(ExportError::Write)
}

fn write_event(out: &mut impl Write, record: &Record) -> Result<(), ExportError> {
    let seq = record.seq;
    let line = EventLine {
        seq,
        id: record.id,
        chain: record.chain,
        position: record.position,
        device: record.device.clone(),
        at: written_time(record.at),
        version: record.version,
        kind: record.kind.clone(),
        payload: serde_json::from_str(&record.payload)
            .map_err(|source| ExportError::Json { seq, source })?,
        evidence: record.evidence,
        prev_hash: record.prev_hash,
        hash: record.hash,
    };
    write_line(out, seq, &Line::Event(line))
}

fn write_evidence(
    out: &mut impl Write,
    seq: u64,
    hash: &Digest256,
    evidence: &Evidence,
    sounds: &Sounds,
) -> Result<(), ExportError> {
    let flac = evidence.flac().filter(|_| evidence.sound_fits());
    if let (Some(flac), Sounds::Folder(folder)) = (flac, sounds) {
        let path = folder.join(sound_file(&evidence.sound_hash));
        fs::write(&path, flac).map_err(|source| ExportError::Sound { path, source })?;
    }
    let line = EvidenceLine {
        hash: *hash,
        sound_hash: evidence.sound_hash,
        rate: evidence.rate,
        samples: evidence.samples,
        start: evidence.start,
        words: evidence.words.clone(),
        heard: serde_json::from_str(&evidence.heard)
            .map_err(|source| ExportError::Json { seq, source })?,
        flac: flac
            .filter(|_| *sounds == Sounds::Inside)
            .map(|flac| STANDARD.encode(flac)),
    };
    write_line(out, seq, &Line::Evidence(line))
}

fn sound_file(hash: &Digest256) -> String {
    format!("{hash}.flac")
}

/// What an import did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Imported {
    /// Events in the lines.
    pub events: u64,
    /// Pieces of evidence in the lines.
    pub evidence: u64,
    /// Pieces of evidence that came without their sound.
    pub without_sound: u64,
    /// The log was there already and holds just these events: it was left alone.
    pub already_there: bool,
}

/// Why lines could not be made into a log. Nothing was written then.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// The lines could not be read.
    #[error("{}: {source}", .path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A line is not as an export writes it.
    #[error("{}:{line}: {why}. Nothing was imported", .path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// From 1.
        line: u64,
        /// What does not fit.
        why: String,
    },
    /// There is a log of that name with other events in it.
    #[error("{}: there is a log here already, and its events are not those of the import; choose another name, and put the two together with `bothhands merge`", .0.display())]
    AnotherLog(PathBuf),
    /// The new log could not be written.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Makes a new log at `to` of exported lines: the same events with the same hashes. `name` stands
/// in messages; sound that is not inside the lines is looked for in the folder `sounds`.
///
/// The log is made beside its place and moved there when it is whole. A device that goes on in it
/// begins a chain of its own.
///
/// # Errors
/// When a line does not fit, naming it; when there is another log at `to`; when it cannot be
/// written. Then nothing is left behind.
pub fn import(
    lines: &mut impl BufRead,
    name: &Path,
    sounds: Option<&Path>,
    to: &Path,
) -> Result<Imported, ImportError> {
    let mut done = Imported::default();
    let mut ids = Vec::new();
    let part = make_log(to, |tx, path| {
        let mut reader = Reader {
            name,
            sounds,
            line: 0,
            last: 0,
            chains: HashSet::new(),
            unused: HashSet::new(),
            kept: HashSet::new(),
            path,
        };
        reader.read_all(lines, tx, &mut done, &mut ids)
    })?;
    if to.exists() {
        let there = Store::open(to, OpenMode::Read)?;
        let same = there.len()? == ids.len() as u64
            && there
                .records()
                .zip(&ids)
                .all(|(record, id)| record.is_ok_and(|record| record.id == *id));
        if !same {
            return Err(ImportError::AnotherLog(to.to_owned()));
        }
        done.already_there = true;
        return Ok(done);
    }
    part.move_into_place(to)?;
    Ok(done)
}

/// A log under construction, removed again unless it is moved into place.
pub(super) struct Part {
    path: PathBuf,
}

impl Part {
    pub(super) fn move_into_place(self, to: &Path) -> Result<(), StoreError> {
        let refused = |why: &io::Error| StoreError::from_io(to, why);
        // A link never replaces what is there, as a rename would; not every file system has them.
        match fs::hard_link(&self.path, to) {
            Ok(()) => {}
            Err(_) if !to.exists() => fs::rename(&self.path, to).map_err(|why| refused(&why))?,
            Err(why) => return Err(refused(&why)),
        }
        sync_folder(to);
        Ok(())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        for ending in ["", "-wal", "-shm"] {
            let _ = fs::remove_file(beside(&self.path, ending));
        }
    }
}

/// Makes a log beside `to` and fills it in one transaction.
pub(super) fn make_log<E: From<StoreError>>(
    to: &Path,
    fill: impl FnOnce(&Transaction<'_>, &Path) -> Result<(), E>,
) -> Result<Part, E> {
    if to.is_dir() {
        return Err(StoreError::IsFolder(to.to_owned()).into());
    }
    let path = beside(to, ".part");
    clear_away_stale(&path)?;
    let store = Store::open(&path, OpenMode::AppendOrCreate)?;
    let part = Part { path };
    // Bound anew so that it is closed before the part is removed, whichever way this ends.
    let mut store = store;
    let failed = |why| StoreError::from_sqlite(&part.path, why);
    let tx = store.connection.transaction().map_err(failed)?;
    fill(&tx, &part.path)?;
    tx.commit().map_err(failed)?;
    store
        .connection
        .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
        .map_err(failed)?;
    drop(store);
    Ok(part)
}

/// Removes what a making that was cut short left behind, unless it is still going on.
fn clear_away_stale(path: &Path) -> Result<(), StoreError> {
    if path.exists() {
        let taken = WriterLock::take(path, "", Timestamp::now())?;
        drop(Part {
            path: path.to_owned(),
        });
        drop(taken);
    }
    Ok(())
}

/// Puts a new name in a folder onto the disk, where the system can.
fn sync_folder(file: &Path) {
    #[cfg(unix)]
    {
        let folder = file
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        let _ =
            fs::File::open(folder.unwrap_or(Path::new("."))).and_then(|folder| folder.sync_all());
    }
    #[cfg(not(unix))]
    let _ = file;
}

struct Reader<'a> {
    name: &'a Path,
    sounds: Option<&'a Path>,
    line: u64,
    last: u64,
    chains: HashSet<ChainId>,
    /// Evidence that no event rests on yet.
    unused: HashSet<Digest256>,
    kept: HashSet<Digest256>,
    path: &'a Path,
}

impl Reader<'_> {
    fn read_all(
        &mut self,
        lines: &mut impl BufRead,
        tx: &Transaction<'_>,
        done: &mut Imported,
        ids: &mut Vec<EventId>,
    ) -> Result<(), ImportError> {
        let header = self.header(lines)?;
        let mut text = String::new();
        while self.next_line(lines, &mut text)? {
            match serde_json::from_str(&text).map_err(|why| self.refuse(&explain(&why)))? {
                Line::Evidence(line) => {
                    let evidence = self.evidence(line)?;
                    done.evidence += 1;
                    done.without_sound += u64::from(evidence.flac.is_none());
                    self.keep(keep_evidence(tx, &evidence).map(|_| ()))?;
                }
                Line::Event(line) => {
                    let record = self.event(line)?;
                    if self.chains.insert(record.chain) {
                        self.keep(insert_chain(tx, record.chain, false))?;
                    }
                    self.keep(insert_event(tx, &record))?;
                    ids.push(record.id);
                    done.events += 1;
                }
            }
        }
        let promised = (header.events, header.evidence);
        if (done.events, done.evidence) != promised {
            return Err(self.refuse(&format!(
                "the end is missing: the header says {} events and {} pieces of evidence, and \
                 here are {} and {}",
                promised.0, promised.1, done.events, done.evidence
            )));
        }
        if let Some(hash) = self.unused.iter().next() {
            return Err(self.refuse(&format!("no event rests on the evidence {hash}")));
        }
        Ok(())
    }

    fn header(&mut self, lines: &mut impl BufRead) -> Result<Header, ImportError> {
        let mut text = String::new();
        if !self.next_line(lines, &mut text)? {
            self.line = 1;
            return Err(self.refuse("the file is empty"));
        }
        // The version comes first: another one may have other fields.
        #[derive(Deserialize)]
        struct Kind {
            format: String,
            version: u32,
        }
        let not_ours = "this is not an export of a log: its first line must be \
                        {\"format\":\"bothhands log\",...}";
        let kind: Kind = serde_json::from_str(&text).map_err(|_| self.refuse(not_ours))?;
        if kind.format != FORMAT {
            return Err(self.refuse(not_ours));
        }
        if kind.version > LINES_VERSION {
            return Err(self.refuse(&format!(
                "this export is of version {} and this program knows up to {LINES_VERSION}; use \
                 the newer bothhands that wrote it",
                kind.version
            )));
        }
        serde_json::from_str(&text).map_err(|why| self.refuse(&explain(&why)))
    }

    fn next_line(
        &mut self,
        lines: &mut impl BufRead,
        text: &mut String,
    ) -> Result<bool, ImportError> {
        text.clear();
        self.line += 1;
        match lines.read_line(text) {
            Ok(0) => Ok(false),
            Ok(_) => Ok(true),
            Err(why) if why.kind() == io::ErrorKind::InvalidData => {
                Err(self.refuse("this line is not UTF-8 text"))
            }
            Err(source) => Err(ImportError::Read {
                path: self.name.to_owned(),
                source,
            }),
        }
    }

    fn evidence(&mut self, line: EvidenceLine<'_>) -> Result<Evidence, ImportError> {
        let flac = match line.flac {
            Some(text) => Some(
                STANDARD
                    .decode(text)
                    .map_err(|why| self.refuse(&format!("the sound is no Base64: {why}")))?,
            ),
            None => self.sound_from_folder(&line.sound_hash)?,
        };
        if flac
            .as_deref()
            .is_some_and(|flac| digest_of(flac) != line.sound_hash)
        {
            return Err(self.refuse("the sound is not as it was heard: its hash does not fit"));
        }
        let evidence = Evidence {
            sound_hash: line.sound_hash,
            flac,
            rate: line.rate,
            samples: line.samples,
            start: line.start,
            words: line.words,
            heard: line.heard.get().to_owned(),
        };
        if evidence.hash() != line.hash {
            return Err(self.refuse("the evidence is not as it was written: its hash does not fit"));
        }
        if !self.kept.insert(line.hash) {
            return Err(self.refuse("this evidence was here before"));
        }
        self.unused.insert(line.hash);
        Ok(evidence)
    }

    fn sound_from_folder(&self, hash: &Digest256) -> Result<Option<Vec<u8>>, ImportError> {
        let Some(folder) = self.sounds else {
            return Ok(None);
        };
        match fs::read(folder.join(sound_file(hash))) {
            Ok(flac) => Ok(Some(flac)),
            Err(why) if why.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(source) => Err(ImportError::Read {
                path: folder.join(sound_file(hash)),
                source,
            }),
        }
    }

    fn event(&mut self, line: EventLine<'_>) -> Result<Record, ImportError> {
        let at = read_time(&line.at).ok_or_else(|| {
            self.refuse(&format!(
                "\u{201c}{}\u{201d} is not a time as a log writes it",
                line.at
            ))
        })?;
        let record = Record {
            seq: line.seq,
            id: line.id,
            chain: line.chain,
            position: line.position,
            device: line.device,
            at,
            version: line.version,
            kind: line.kind,
            payload: line.payload.get().to_owned(),
            evidence: line.evidence,
            prev_hash: line.prev_hash,
            hash: line.hash,
        };
        if record.computed_hash() != record.hash || id_of(record.hash) != record.id {
            return Err(self.refuse("the event is not as it was written: its hash does not fit"));
        }
        if record.seq != self.last + 1 {
            return Err(self.refuse(&format!(
                "event {} is missing: this is event {}",
                self.last + 1,
                record.seq
            )));
        }
        self.last = record.seq;
        if let Some(hash) = record.evidence {
            if !self.kept.contains(&hash) {
                return Err(self.refuse(&format!("its evidence {hash} does not stand before it")));
            }
            self.unused.remove(&hash);
        }
        Ok(record)
    }

    /// An event that the log's own rules refuse is the line's fault; a full disk is not.
    fn keep(&self, kept: rusqlite::Result<()>) -> Result<(), ImportError> {
        match kept {
            Ok(()) => Ok(()),
            Err(why)
                if why.sqlite_error_code() == Some(rusqlite::ErrorCode::ConstraintViolation) =>
            {
                Err(self.refuse(&why.to_string()))
            }
            Err(why) => Err(StoreError::from_sqlite(self.path, why).into()),
        }
    }

    fn refuse(&self, why: &str) -> ImportError {
        ImportError::Line {
            path: self.name.to_owned(),
            line: self.line,
            why: why.to_owned(),
        }
    }
}

fn explain(why: &serde_json::Error) -> String {
    let text = why.to_string();
    // Every line is line 1 of its own text.
    let text = text.split(" at line 1 column").next().unwrap_or(&text);
    format!("this is not a line of a log: {text}")
}
