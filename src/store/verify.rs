use super::{
    error::StoreError,
    forget::forgotten_by,
    hex::{ChainId, Digest256, EventId},
    log::{Store, to_head},
    record::{Record, id_of},
    schema,
};
use jiff::Timestamp;
use rusqlite::Connection;
use std::{
    collections::{BTreeMap, BTreeSet, HashMap, HashSet},
    fmt,
};

/// What checking a whole log found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Verification {
    /// Events that fit, up to the first that does not. Damage to the sound alone does not count
    /// here: the events after it still stand.
    pub events: u64,
    /// Pieces of evidence that fit.
    pub evidence: u64,
    /// Bytes of sound in them.
    pub sound_bytes: u64,
    /// The chains, in order of their first event.
    pub chains: Vec<ChainState>,
    /// What does not fit: events first, in order, then the file as a whole.
    pub faults: Vec<Damage>,
    /// Things that are no damage but worth knowing.
    pub remarks: Vec<Remark>,
    /// Places where two events follow the same one: two copies of one log both went on.
    pub conflicts: Vec<Conflict>,
}

impl Verification {
    /// Whether everything is as it was written.
    pub fn is_whole(&self) -> bool {
        self.faults.is_empty()
    }
}

/// One chain of a log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChainState {
    /// Its name.
    pub chain: ChainId,
    /// The device that wrote it.
    pub device: String,
    /// How many events it has.
    pub events: u64,
    /// When its first event was written.
    pub first: Timestamp,
    /// When its last event was written.
    pub last: Timestamp,
}

/// Something that is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// Where.
    pub place: DamagedAt,
    /// What does not fit.
    pub why: String,
}

/// Where a fault is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DamagedAt {
    /// At this event.
    Event {
        /// Its number in the log, from 1.
        seq: u64,
        /// Its name on every device.
        id: EventId,
        /// What kind it is.
        kind: String,
        /// When it says it was kept.
        at: Timestamp,
    },
    /// After this event, where the next cannot be read or is missing; 0 is the beginning.
    After(u64),
    /// Not at any one event.
    File,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.place {
            DamagedAt::Event { seq, id, kind, at } => {
                write!(f, "event {seq} ({kind}, {at:.0}, id {id}): {}", self.why)
            }
            DamagedAt::After(0) => write!(f, "the first event: {}", self.why),
            DamagedAt::After(seq) => write!(f, "the event after event {seq}: {}", self.why),
            DamagedAt::File => write!(f, "the file: {}", self.why),
        }
    }
}

/// Something worth knowing that is no damage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Remark {
    /// The device's clock was set back between this event and the one before it in its chain.
    ClockWentBack {
        /// The later event.
        seq: u64,
        /// The time of the one before.
        before: Timestamp,
        /// Its own time.
        at: Timestamp,
    },
    /// Evidence that no event rests on.
    LooseEvidence {
        /// Its hash.
        hash: Digest256,
    },
    /// The sound behind this event was left out when the log was exported.
    NoSound {
        /// The event's number.
        seq: u64,
    },
    /// The sound of so many pieces of evidence was deleted.
    SoundForgotten {
        /// The event that says so.
        by: u64,
        /// When that was kept.
        at: Timestamp,
        /// How many it names.
        pieces: usize,
    },
    /// Sound that was deleted is here again.
    SoundCameBack {
        /// The event that says it was deleted.
        by: u64,
        /// Of which evidence.
        hash: Digest256,
    },
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ClockWentBack { seq, before, at } => write!(
                f,
                "the clock went back before event {seq}: from {before:.0} to {at:.0}; \
                 the order of events is kept all the same"
            ),
            Self::LooseEvidence { hash } => write!(f, "no event rests on the evidence {hash}"),
            Self::SoundForgotten { by, at, pieces } => {
                let utterances = match pieces {
                    1 => "1 utterance".to_owned(),
                    several => format!("{several} utterances"),
                };
                write!(
                    f,
                    "the sound of {utterances} was deleted, event {by}, {at:.0}; what was made of it \
                     stands"
                )
            }
            Self::SoundCameBack { by, hash } => write!(
                f,
                "event {by} says that the sound of the evidence {hash} was deleted, and it is here: \
                 delete it again with `bothhands forget-sound`"
            ),
            Self::NoSound { seq } => write!(
                f,
                "the sound of event {seq} is not in this log; what was made of it is"
            ),
        }
    }
}

/// Two events that follow the same one in the same chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// The event that both follow; 0 when both are the first of their chain.
    pub after: u64,
    /// The one that stands first in this log.
    pub one: u64,
    /// The other.
    pub other: u64,
}

impl fmt::Display for Conflict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "events {} and {} both follow event {}: two copies of this log went on separately; \
             both are kept",
            self.one, self.other, self.after
        )
    }
}

/// How much is checked.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Depth {
    /// The events and that their evidence is there.
    Events,
    /// Every page of the file too, and its indexes and references, but not the sound.
    Pages,
    /// The sound too, and every page of the file.
    Everything,
}

impl Store {
    /// Checks everything: every page of the file, the tables and triggers, every event against
    /// its hash and the one before it, every piece of evidence against its own, and that no chain
    /// has lost its end.
    ///
    /// # Errors
    /// When the log cannot be read at all. Damage inside it is in the verdict.
    pub fn verify(&self) -> Result<Verification, StoreError> {
        self.examine(Depth::Everything)
    }

    /// Refuses a log to which nothing may be added.
    pub(super) fn check_chains(&self) -> Result<(), StoreError> {
        let thorough = self.opening.cut_short.is_some();
        self.refuse_damage(if thorough {
            Depth::Everything
        } else {
            Depth::Pages
        })
    }

    /// Refuses a log whose events do not fit together: every event against its hash and the one
    /// before it, and that no chain has lost its end. What reads events to show them asks this
    /// first; [`Store::verify`] checks the sound and the file too.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] with the first that does not fit, or the log cannot be read.
    pub fn check_whole(&self) -> Result<(), StoreError> {
        self.refuse_damage(Depth::Events)
    }

    fn refuse_damage(&self, depth: Depth) -> Result<(), StoreError> {
        let verdict = self.examine(depth)?;
        match verdict.faults.first() {
            None => Ok(()),
            Some(fault) => Err(StoreError::Damaged {
                path: self.path.clone(),
                why: fault.to_string(),
            }),
        }
    }

    fn examine(&self, depth: Depth) -> Result<Verification, StoreError> {
        // One view of the log throughout, whoever adds to it meanwhile.
        let view = self
            .connection
            .unchecked_transaction()
            .map_err(|why| StoreError::from_sqlite(&self.path, why))?;
        let verdict = self.examine_in_view(depth);
        drop(view);
        verdict
    }

    /// [`Store::verify`] inside a transaction of the caller's.
    pub(super) fn verify_in_view(&self) -> Result<Verification, StoreError> {
        self.examine_in_view(Depth::Everything)
    }

    fn examine_in_view(&self, depth: Depth) -> Result<Verification, StoreError> {
        let mut verdict = Verification::default();
        let mut walk = Walk::default();
        if let Err(fault) = self.walk(&mut walk, depth, &mut verdict) {
            verdict.faults.push(fault);
        } else if let Err(why) = compare_heads(&self.connection, &walk, &mut verdict) {
            verdict.faults.push(in_file(why));
        }
        check_tables(&self.connection, &mut verdict)?;
        if depth != Depth::Events {
            check_pages(&self.connection, &mut verdict);
        }
        if depth == Depth::Everything && verdict.is_whole() {
            find_loose_evidence(&self.connection, &mut verdict)
                .unwrap_or_else(|why| verdict.faults.push(in_file(why)));
        }
        verdict.chains = walk.chains;
        Ok(verdict)
    }

    fn walk(
        &self,
        walk: &mut Walk,
        depth: Depth,
        verdict: &mut Verification,
    ) -> Result<(), Damage> {
        for record in self.records() {
            let record = record.map_err(|why| Damage {
                place: DamagedAt::After(verdict.events),
                why: format!("it cannot be read: {}", inner(&why)),
            })?;
            if record.seq != verdict.events + 1 {
                return Err(Damage {
                    place: DamagedAt::After(verdict.events),
                    why: format!("it is missing; the next one is event {}", record.seq),
                });
            }
            walk.step(&record, verdict)
                .map_err(|why| at(&record, why))?;
            if let Some(hash) = record.evidence.filter(|hash| walk.evidence.insert(*hash)) {
                self.check_evidence(&hash, record.seq, depth, walk, verdict)
                    .unwrap_or_else(|why| verdict.faults.push(at(&record, why)));
            }
            let forgotten = forgotten_by(&record);
            if !forgotten.is_empty() {
                walk.forgotten.push((record.seq, record.at, forgotten));
            }
            verdict.events += 1;
        }
        walk.remark_on_sound(verdict);
        Ok(())
    }

    fn check_evidence(
        &self,
        hash: &Digest256,
        seq: u64,
        depth: Depth,
        walk: &mut Walk,
        verdict: &mut Verification,
    ) -> Result<(), String> {
        let missing = || format!("the evidence {hash} that it rests on is missing");
        if depth != Depth::Everything {
            let there = self
                .connection
                .prepare_cached("SELECT 1 FROM evidence WHERE hash = ?1")
                .and_then(|mut query| query.exists([hash.to_string()]))
                .map_err(|why| format!("its evidence cannot be read: {why}"))?;
            return if there { Ok(()) } else { Err(missing()) };
        }
        match self.evidence(hash) {
            Ok(Some(evidence)) => {
                verdict.evidence += 1;
                match evidence.flac() {
                    Some(flac) => {
                        verdict.sound_bytes += flac.len() as u64;
                        walk.sounding.insert(*hash);
                    }
                    None => walk.soundless.push((seq, *hash)),
                }
                Ok(())
            }
            Ok(None) => Err(missing()),
            Err(StoreError::Damaged { why, .. }) => Err(why),
            Err(why) => Err(format!("its evidence cannot be read: {}", inner(&why))),
        }
    }
}

/// What walking along the events remembers of those passed.
#[derive(Default)]
struct Walk {
    passed: HashMap<Digest256, Passed>,
    followed: HashMap<(ChainId, Digest256), u64>,
    tips: BTreeSet<Digest256>,
    evidence: HashSet<Digest256>,
    /// Events whose evidence has no sound, with that.
    soundless: Vec<(u64, Digest256)>,
    sounding: HashSet<Digest256>,
    /// What was deleted, by which event.
    forgotten: Vec<(u64, Timestamp, Vec<Digest256>)>,
    chains: Vec<ChainState>,
    chain_index: BTreeMap<ChainId, usize>,
}

struct Passed {
    seq: u64,
    chain: ChainId,
    position: u64,
    at: Timestamp,
}

impl Walk {
    /// What lacks its sound, and whether an event says why.
    fn remark_on_sound(&self, verdict: &mut Verification) {
        let forgotten = |hash: &Digest256| {
            let mut by = self.forgotten.iter();
            by.any(|(_, _, evidence)| evidence.contains(hash))
        };
        let soundless = self.soundless.iter().filter(|(_, hash)| !forgotten(hash));
        verdict
            .remarks
            .extend(soundless.map(|(seq, _)| Remark::NoSound { seq: *seq }));
        for (by, at, evidence) in &self.forgotten {
            verdict.remarks.push(Remark::SoundForgotten {
                by: *by,
                at: *at,
                pieces: evidence.len(),
            });
            let back = evidence.iter().filter(|hash| self.sounding.contains(hash));
            verdict
                .remarks
                .extend(back.map(|hash| Remark::SoundCameBack {
                    by: *by,
                    hash: *hash,
                }));
        }
    }

    fn step(&mut self, record: &Record, verdict: &mut Verification) -> Result<(), String> {
        if record.hash != record.computed_hash() {
            return Err("it is not as it was written: its hash does not fit".to_owned());
        }
        if record.id != id_of(record.hash) {
            return Err("its id does not fit its hash".to_owned());
        }
        let before = self.passed.get(&record.prev_hash);
        let follows = match before {
            _ if record.position == 1 => before.is_some() || record.prev_hash == Digest256::ZERO,
            Some(before) => before.chain == record.chain && before.position + 1 == record.position,
            None => false,
        };
        if !follows {
            return Err(format!(
                "the event it follows ({}) is missing or out of place",
                id_of(record.prev_hash)
            ));
        }
        if let Some(before) = before
            && record.at < before.at
        {
            verdict.remarks.push(Remark::ClockWentBack {
                seq: record.seq,
                before: before.at,
                at: record.at,
            });
        }
        if let Some(&one) = self.followed.get(&(record.chain, record.prev_hash)) {
            verdict.conflicts.push(Conflict {
                after: before.map_or(0, |before| before.seq),
                one,
                other: record.seq,
            });
        }
        self.remember(record);
        Ok(())
    }

    fn remember(&mut self, record: &Record) {
        self.followed
            .entry((record.chain, record.prev_hash))
            .or_insert(record.seq);
        if record.position > 1 {
            self.tips.remove(&record.prev_hash);
        }
        self.tips.insert(record.hash);
        self.passed.insert(
            record.hash,
            Passed {
                seq: record.seq,
                chain: record.chain,
                position: record.position,
                at: record.at,
            },
        );
        let index = *self.chain_index.entry(record.chain).or_insert_with(|| {
            self.chains.push(ChainState {
                chain: record.chain,
                device: record.device.clone(),
                events: 0,
                first: record.at,
                last: record.at,
            });
            self.chains.len() - 1
        });
        if let Some(chain) = self.chains.get_mut(index) {
            chain.events += 1;
            chain.last = record.at;
        }
    }
}

/// The last events that the log says it has, against those it does have.
fn compare_heads(
    connection: &Connection,
    walk: &Walk,
    verdict: &mut Verification,
) -> rusqlite::Result<()> {
    let heads: BTreeSet<Digest256> = connection
        .prepare("SELECT hash FROM head")?
        .query_map([], to_head)?
        .collect::<Result<_, _>>()?;
    if let Some(lost) = heads.difference(&walk.tips).next() {
        verdict.faults.push(Damage {
            place: DamagedAt::After(verdict.events),
            why: format!(
                "it is missing: the log has lost its end, up to the event {}",
                id_of(*lost)
            ),
        });
    } else if let Some(extra) = walk.tips.difference(&heads).next() {
        verdict.faults.push(Damage {
            place: DamagedAt::File,
            why: format!("the list of last events lacks the event {}", id_of(*extra)),
        });
    }
    Ok(())
}

fn check_tables(connection: &Connection, verdict: &mut Verification) -> Result<(), StoreError> {
    let expected = schema::expected()?;
    match schema::described(connection) {
        Ok(found) if found == expected => {}
        Ok(found) => {
            let odd = expected
                .iter()
                .zip(&found)
                .find(|(expected, found)| expected != found)
                .map_or("one is missing or too many", |((name, _), _)| name.as_str());
            verdict.faults.push(Damage {
                place: DamagedAt::File,
                why: format!("its tables and triggers are not those of a log: {odd}"),
            });
        }
        Err(why) => verdict.faults.push(in_file(why)),
    }
    Ok(())
}

/// SQLite's own checks of every page, index and reference.
fn check_pages(connection: &Connection, verdict: &mut Verification) {
    let complaints = connection
        .prepare("PRAGMA integrity_check(20)")
        .and_then(|mut query| {
            query
                .query_map([], |row| row.get::<_, String>(0))?
                .collect::<Result<Vec<_>, _>>()
        });
    match complaints {
        Ok(complaints) => verdict.faults.extend(
            complaints
                .into_iter()
                .filter(|complaint| complaint != "ok")
                .map(in_file),
        ),
        Err(why) => verdict.faults.push(in_file(why)),
    }
    let loose = connection
        .prepare("SELECT \"table\", \"parent\" FROM pragma_foreign_key_check")
        .and_then(|mut query| {
            query
                .query_map([], |row| {
                    let (table, parent): (String, String) = (row.get(0)?, row.get(1)?);
                    Ok(format!(
                        "a row of {table} refers to a missing row of {parent}"
                    ))
                })?
                .collect::<Result<Vec<_>, _>>()
        });
    match loose {
        Ok(loose) => verdict.faults.extend(loose.into_iter().map(in_file)),
        Err(why) => verdict.faults.push(in_file(why)),
    }
}

fn find_loose_evidence(
    connection: &Connection,
    verdict: &mut Verification,
) -> rusqlite::Result<()> {
    let loose: Vec<Digest256> = connection
        .prepare(
            "SELECT hash FROM evidence
             WHERE hash NOT IN (SELECT evidence FROM event WHERE evidence IS NOT NULL)
             ORDER BY rowid",
        )?
        .query_map([], to_head)?
        .collect::<Result<_, _>>()?;
    verdict
        .remarks
        .extend(loose.into_iter().map(|hash| Remark::LooseEvidence { hash }));
    Ok(())
}

fn at(record: &Record, why: String) -> Damage {
    Damage {
        place: DamagedAt::Event {
            seq: record.seq,
            id: record.id,
            kind: record.kind.clone(),
            at: record.at,
        },
        why,
    }
}

fn in_file(why: impl fmt::Display) -> Damage {
    Damage {
        place: DamagedAt::File,
        why: why.to_string(),
    }
}

/// The reason inside an error, without the path and advice around it.
fn inner(why: &StoreError) -> String {
    match why {
        StoreError::Damaged { why, .. } | StoreError::Io { why, .. } => why.clone(),
        StoreError::Database { source, .. } => source.to_string(),
        other => other.to_string(),
    }
}
