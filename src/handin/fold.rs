use crate::log::Log;
use crate::sequence::{Event, EventNo, ReadingStatus, ReplayError, StepOutcome};
use std::collections::BTreeMap;

/// What became of one reading, or of one entry of the out-list: a row of `bothhands.folded`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoldedRow {
    /// "reading" or "out".
    pub item: &'static str,
    /// The event that brought it.
    pub number: u64,
    /// The spoken reading that it stands for: another than itself only for what was put right at
    /// the desk.
    pub origin: u64,
    /// Of a reading: counts, waits for affirm, taken back, replaced; of an entry: out, back, never
    /// out.
    pub stands: &'static str,
    /// The event that replaced it or put it back.
    pub by: Option<u64>,
    /// Of a reading: whether it is the one that its step was closed with.
    pub on_schedule: Option<bool>,
    /// Of an entry: whether the person went on with it out, with a reason.
    pub left_out: Option<bool>,
    /// Of a reading that was judged: the words of its limit, its arithmetic and its remark.
    pub said: [Option<String>; 3],
}

/// A log as the program folds it, so that a server need not follow events by rules of its own.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Folded {
    /// The last event that was folded.
    pub last: u64,
    /// What became of everything.
    pub rows: Vec<FoldedRow>,
}

/// Folds a log.
///
/// # Errors
/// When it is empty or does not begin with the job.
pub fn folded(log: &Log) -> Result<Folded, ReplayError> {
    let agenda = log.agenda()?;
    let mut origin: BTreeMap<EventNo, EventNo> = BTreeMap::new();
    for entry in &log.entries {
        if let Event::CorrectedAtDesk { of, .. } = entry.event {
            let first = origin.get(&of).copied().unwrap_or(of);
            origin.insert(entry.no, first);
        }
    }
    let readings = agenda.readings().map(|record| {
        let (stands, by) = match record.status {
            ReadingStatus::Counts => ("counts", None),
            ReadingStatus::Questioned => ("waits for affirm", None),
            ReadingStatus::Withdrawn => ("taken back", None),
            ReadingStatus::Replaced(by) => ("replaced", Some(by.0)),
        };
        let closed_with = agenda.outcome_of(&record.step);
        FoldedRow {
            item: "reading",
            number: record.no.0,
            origin: origin.get(&record.no).unwrap_or(&record.no).0,
            stands,
            by,
            on_schedule: Some(closed_with == Some(&StepOutcome::Read(record.no))),
            left_out: None,
            said: match &record.verdict {
                Some(verdict) => [
                    Some(verdict.limit.to_string()),
                    Some(verdict.arithmetic.to_string()),
                    verdict.remark.as_ref().map(ToString::to_string),
                ],
                None => Default::default(),
            },
        }
    });
    let out = agenda.out_list().iter().map(|entry| {
        let by = entry.back.map(|(by, _)| by.0);
        FoldedRow {
            item: "out",
            number: entry.no.0,
            origin: entry.no.0,
            stands: match (entry.withdrawn, by) {
                (true, _) => "never out",
                (false, Some(_)) => "back",
                (false, None) => "out",
            },
            by,
            on_schedule: None,
            left_out: Some(entry.overridden),
            said: Default::default(),
        }
    });
    Ok(Folded {
        last: agenda.next_event().0.saturating_sub(1),
        rows: readings.chain(out).collect(),
    })
}
