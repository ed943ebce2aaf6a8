use super::{
    error::StoreError,
    forget::forgotten_by,
    hex::Digest256,
    lines::make_log,
    log::{Store, insert_chain, insert_event, keep_evidence},
    record::Record,
    verify::Conflict,
};
use jiff::Timestamp;
use std::{
    cmp::Reverse,
    collections::{BTreeSet, BinaryHeap, HashMap, HashSet},
    path::{Path, PathBuf},
};

/// What putting logs together gave.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Merged {
    /// Events in the new log.
    pub events: u64,
    /// Of these, how many stood in more than one source.
    pub shared: u64,
    /// How many events each source had, in the order they were given.
    pub sources: Vec<u64>,
    /// Places where two copies of one log went on separately. Both sides are kept.
    pub conflicts: Vec<Conflict>,
    /// The sources whose job text is not that of the first.
    pub other_jobs: Vec<PathBuf>,
}

/// Why logs could not be put together. Nothing was written then.
#[derive(Debug, thiserror::Error)]
pub enum MergeError {
    /// Their jobs differ.
    #[error("{} and {} are not of one job: the text of the job differs. If it is one job whose text was changed, say `--job-changed`", .one.display(), .other.display())]
    AnotherJob {
        /// The first log.
        one: PathBuf,
        /// The one that is of another job.
        other: PathBuf,
    },
    /// A source is damaged.
    #[error("{}: this log is damaged and cannot be merged as it is: {why}. Take out what is whole with `bothhands export`, import that, and merge the result", .path.display())]
    Damaged {
        /// The log.
        path: PathBuf,
        /// What does not fit.
        why: String,
    },
    /// The new log is there already.
    #[error("{}: there is a file here already; choose another name", .0.display())]
    Exists(PathBuf),
    /// A log could not be read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Puts the logs of one job together in a new log at `to`: the union of their events by id, with
/// their evidence. Nothing is dropped, and the sources are only read.
///
/// Events keep the order of their chains and, between chains, are ordered by time and device. An
/// event counts as no earlier than the one it follows, so that a clock that went back does not
/// move it. The order depends on the events alone, not on the order of the sources.
///
/// Sources with another job text than the first are refused unless `job_changed` says that it is
/// one job all the same; the result names them.
///
/// # Errors
/// When the jobs differ, a source is damaged, there is a file at `to`, or it cannot be written.
pub fn merge(sources: &[Store], to: &Path, job_changed: bool) -> Result<Merged, MergeError> {
    if to.exists() {
        return Err(MergeError::Exists(to.to_owned()));
    }
    let mut done = Merged {
        other_jobs: other_jobs(sources, job_changed)?,
        ..Merged::default()
    };
    let mut events: HashMap<Digest256, (Record, usize)> = HashMap::new();
    for (index, source) in sources.iter().enumerate() {
        if let Some(fault) = source.verify()?.faults.first() {
            return Err(MergeError::Damaged {
                path: source.path.clone(),
                why: fault.to_string(),
            });
        }
        let mut count = 0;
        for record in source.records() {
            let record = record?;
            events.entry(record.hash).or_insert((record, index));
            count += 1;
        }
        done.sources.push(count);
    }
    // What one device deleted does not come back from another's copy.
    let forgotten: HashSet<Digest256> = events
        .values()
        .flat_map(|(record, _)| forgotten_by(record))
        .collect();
    done.events = events.len() as u64;
    done.shared = done.sources.iter().sum::<u64>() - done.events;

    let part = make_log(to, |tx, path| {
        let failed = |why| StoreError::from_sqlite(path, why);
        let mut chains = HashSet::new();
        let mut evidence_kept = HashSet::new();
        for (seq, (record, index)) in (1..).zip(in_order(events)) {
            if chains.insert(record.chain) {
                insert_chain(tx, record.chain, false).map_err(failed)?;
            }
            if let Some(hash) = record.evidence.filter(|hash| evidence_kept.insert(*hash))
                && let Some(mut evidence) = best_evidence(sources, index, &hash)?
            {
                if forgotten.contains(&hash) {
                    evidence.flac = None;
                }
                keep_evidence(tx, &evidence).map_err(failed)?;
            }
            insert_event(tx, &Record { seq, ..record }).map_err(failed)?;
        }
        Ok::<_, MergeError>(())
    })?;
    part.move_into_place(to)?;
    done.conflicts = Store::open(to, super::open::OpenMode::Read)?
        .verify()?
        .conflicts;
    Ok(done)
}

fn other_jobs(sources: &[Store], job_changed: bool) -> Result<Vec<PathBuf>, MergeError> {
    let Some((first, rest)) = sources.split_first() else {
        return Ok(Vec::new());
    };
    let job = first.job()?;
    let mut others = Vec::new();
    for other in rest {
        if other.job()? == job {
            continue;
        }
        if !job_changed {
            return Err(MergeError::AnotherJob {
                one: first.path.clone(),
                other: other.path.clone(),
            });
        }
        others.push(other.path.clone());
    }
    Ok(others)
}

/// Evidence from the source the event came from, or from one that has its sound.
fn best_evidence(
    sources: &[Store],
    index: usize,
    hash: &Digest256,
) -> Result<Option<super::Evidence>, StoreError> {
    let mut found = None;
    for source in sources.iter().skip(index).chain(sources.iter().take(index)) {
        let evidence = source.evidence(hash)?;
        if evidence
            .as_ref()
            .is_some_and(|evidence| evidence.flac().is_some())
        {
            return Ok(evidence);
        }
        found = found.or(evidence);
    }
    Ok(found)
}

/// Where an event goes among those that could come next.
type Place = (Timestamp, String, String, u64, Digest256);

fn in_order(mut events: HashMap<Digest256, (Record, usize)>) -> Vec<(Record, usize)> {
    let mut followers: HashMap<Digest256, BTreeSet<Digest256>> = HashMap::new();
    for (record, _) in events.values() {
        followers
            .entry(record.prev_hash)
            .or_default()
            .insert(record.hash);
    }
    let place = |record: &Record, not_before: Timestamp| -> Place {
        (
            record.at.max(not_before),
            record.device.clone(),
            record.chain.to_string(),
            record.position,
            record.hash,
        )
    };
    // Verified sources have no event without the one it follows, so this reaches all of them.
    let mut next: BinaryHeap<Reverse<Place>> = followers
        .remove(&Digest256::ZERO)
        .unwrap_or_default()
        .iter()
        .filter_map(|hash| events.get(hash))
        .map(|(record, _)| Reverse(place(record, Timestamp::MIN)))
        .collect();
    let mut ordered = Vec::with_capacity(events.len());
    while let Some(Reverse((time, _, _, _, hash))) = next.pop() {
        for follower in followers.remove(&hash).unwrap_or_default() {
            if let Some((record, _)) = events.get(&follower) {
                next.push(Reverse(place(record, time)));
            }
        }
        ordered.extend(events.remove(&hash));
    }
    ordered
}
