use super::super::facts::{Calculated, Doubt, EventNo, StepId};
use crate::limits::{Finding, Outcome, Verdict};
use crate::quantity::Reading;
use crate::terms::{HalfCycle, Place};
use jiff::Timestamp;
use serde::{Deserialize, Serialize, Serializer};
use std::collections::BTreeMap;
use std::sync::Arc;

/// A reading and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingRecord {
    /// The event that brought it.
    pub no: EventNo,
    /// When.
    pub at: Timestamp,
    /// The step it was taken for.
    pub step: StepId,
    /// The value.
    pub reading: Reading,
    /// Where it was taken.
    pub place: Option<Place>,
    /// On which half-cycle.
    pub half: Option<HalfCycle>,
    /// What the limits say of it.
    pub verdict: Option<Verdict>,
    /// Why it was asked about, in words, by the first version.
    pub question: Option<String>,
    /// Why it was asked about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub doubt: Option<Doubt>,
    /// What it was worked out from, where it was not measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calculated: Option<Calculated>,
    /// Whether it counts.
    #[serde(rename = "standing")]
    pub status: ReadingStatus,
}

impl ReadingRecord {
    /// Whether it needed "affirm".
    pub fn was_asked(&self) -> bool {
        self.question.is_some() || self.doubt.is_some()
    }

    /// What is odd about it, as it was judged.
    pub fn finding(&self) -> Option<Finding> {
        self.verdict.as_ref().and_then(|verdict| verdict.finding)
    }

    /// How it stands against its limit.
    pub fn outcome(&self) -> Option<Outcome> {
        self.verdict.as_ref().map(|verdict| verdict.outcome)
    }
}

/// Whether a reading counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingStatus {
    /// Waits for "affirm".
    Questioned,
    /// Counts.
    Counts,
    /// Taken back.
    Withdrawn,
    /// Another reading stands in its place.
    Replaced(EventNo),
}

/// Why something may be connected between the lives of a circuit, and whether anything was altered
/// on it since.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Suspicion {
    /// The latest reading between them at 250 V.
    pub reading: EventNo,
    /// Whether that was sound, and what was out for it is back in circuit.
    pub put_back: bool,
    /// Whether something was taken out, linked or put back since, so that it is tried again.
    pub altered_since: bool,
}

/// Every reading ever heard. Shared between one state and the next, but for what changes: a turn
/// begins with a copy of the state, however much has happened.
#[derive(Debug, Clone, Default)]
pub(super) struct Readings {
    all: rpds::RedBlackTreeMapSync<EventNo, Arc<ReadingRecord>>,
    /// Readings of a circuit's insulation between live conductors at 250 V, by board and circuit.
    trials: Arc<BTreeMap<(u16, u16), Vec<EventNo>>>,
    /// By the event that stood in for them, readings that another was taken in the place of.
    replaced: rpds::RedBlackTreeMapSync<EventNo, Vec<EventNo>>,
}

impl Readings {
    pub(super) fn all(&self) -> impl Iterator<Item = &ReadingRecord> {
        self.all.values().map(Arc::as_ref)
    }

    pub(super) fn get(&self, no: EventNo) -> Option<&ReadingRecord> {
        self.all.get(&no).map(Arc::as_ref)
    }

    /// Keeps a reading; `trial_of` is the circuit whose insulation it tries at 250 V.
    pub(super) fn keep(&mut self, record: ReadingRecord, trial_of: Option<(u16, u16)>) {
        if let Some(circuit) = trial_of {
            let trials = Arc::make_mut(&mut self.trials);
            trials.entry(circuit).or_default().push(record.no);
        }
        self.all.insert_mut(record.no, Arc::new(record));
    }

    /// A reading is judged otherwise; with a doubt it is questioned anew.
    pub(super) fn judge(&mut self, no: EventNo, verdict: Option<Verdict>, doubt: Option<Doubt>) {
        if let Some(record) = self.all.get_mut(&no) {
            let record = Arc::make_mut(record);
            record.verdict = verdict;
            if doubt.is_some() {
                record.doubt = doubt;
                record.status = ReadingStatus::Questioned;
            }
        }
    }

    pub(super) fn set_status(&mut self, no: EventNo, status: ReadingStatus) {
        if let Some(record) = self.all.get_mut(&no) {
            Arc::make_mut(record).status = status;
            if let ReadingStatus::Replaced(by) = status {
                let mut all = self.replaced.get(&by).cloned().unwrap_or_default();
                all.push(no);
                self.replaced.insert_mut(by, all);
            }
        }
    }

    /// The earliest reading that this one stands in the place of.
    pub(super) fn replaced_by(&self, of: EventNo) -> Option<&ReadingRecord> {
        let all = self.replaced.get(&of).into_iter().flatten();
        all.filter_map(|no| self.get(*no))
            .filter(|record| record.status == ReadingStatus::Replaced(of))
            .min_by_key(|record| record.no)
    }

    /// The latest reading between live conductors of the circuit at 250 V, when it was not sound; by pair, the
    /// latest of those that are not. One that was set aside while it was asked about may be right: a low one is
    /// gone by, one that would clear the circuit is not.
    pub(super) fn unsound_trial(
        &self,
        circuit: (u16, u16),
        by_pair: bool,
        set_aside: impl Fn(EventNo) -> bool,
    ) -> Option<&ReadingRecord> {
        let may_be_low = |record: &ReadingRecord| set_aside(record.no) && !is_sound(record);
        let latest = self.latest_trials(circuit, by_pair, may_be_low);
        latest.into_iter().find(|record| !is_sound(record))
    }

    /// The latest trials of the circuit at 250 V that were sound: one, or one by pair.
    pub(super) fn sound_trials(&self, circuit: (u16, u16), by_pair: bool) -> Vec<&ReadingRecord> {
        let mut latest = self.latest_trials(circuit, by_pair, |_| false);
        latest.retain(|record| is_sound(record));
        latest
    }

    /// The trial of each pair that counts, or that of all of them; the latest first.
    fn latest_trials(
        &self,
        circuit: (u16, u16),
        by_pair: bool,
        counts_too: impl Fn(&ReadingRecord) -> bool,
    ) -> Vec<&ReadingRecord> {
        let mut latest: Vec<&ReadingRecord> = Vec::new();
        let trials = self.trials.get(&circuit).into_iter().flatten().rev();
        for record in trials.filter_map(|no| self.get(*no)) {
            let counts = matches!(
                record.status,
                ReadingStatus::Counts | ReadingStatus::Replaced(_)
            );
            let pair = record.reading.pair;
            let later = |other: &&ReadingRecord| !by_pair || other.reading.pair == pair;
            if (counts || counts_too(record)) && !latest.iter().any(later) {
                latest.push(record);
            }
        }
        latest
    }
}

/// Whether nothing was found to be connected by it.
fn is_sound(record: &ReadingRecord) -> bool {
    record.verdict.as_ref().is_some_and(|verdict| {
        verdict.outcome == Outcome::Pass || verdict.finding == Some(Finding::RangeUnknown)
    })
}

impl Serialize for Readings {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.all.iter().map(|(no, record)| (no, record.as_ref())))
    }
}
