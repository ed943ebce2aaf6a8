use super::Log;
use crate::sequence::ReadingStatus;
use crate::store::{EventId, Store};
use anyhow::Context;
use std::collections::{BTreeMap, BTreeSet};

/// Readings that count in one log and differ from those that count in another for the same step
/// at the same place, of a log that was put together from several. All of them are kept.
///
/// # Errors
/// When it can't be read or replayed.
pub fn disagreements(store: &Store) -> anyhow::Result<Vec<String>> {
    let mut steps: BTreeMap<String, Vec<Counting>> = BTreeMap::new();
    for (thread, log) in Log::threads(store)?.iter().enumerate() {
        let state = log.agenda()?;
        for kept in state
            .readings()
            .filter(|kept| kept.status == ReadingStatus::Counts)
        {
            let entry = log
                .entry(kept.no)
                .context("a reading names an event that is not there")?;
            let id = entry.id.context("an event of a log has no name")?;
            let place = serde_json::to_string(&(&kept.step, &kept.place, &kept.half))?;
            steps.entry(place).or_default().push(Counting {
                thread,
                id,
                step: kept.step.said(),
                device: entry.device.clone(),
                value: kept.reading.to_string(),
            });
        }
    }
    Ok(steps
        .into_values()
        .filter_map(|counting| disagreement(&counting))
        .collect())
}

/// A reading that counts in one log.
struct Counting {
    thread: usize,
    id: EventId,
    step: String,
    device: String,
    value: String,
}

fn disagreement(counting: &[Counting]) -> Option<String> {
    let mut values: BTreeMap<usize, BTreeSet<&str>> = BTreeMap::new();
    for side in counting {
        values.entry(side.thread).or_default().insert(&side.value);
    }
    let mut values = values.into_values();
    let first = values.next()?;
    values.any(|other| other != first).then(|| {
        let sides: BTreeSet<String> = counting
            .iter()
            .map(|side| format!("{} on {} (event {})", side.value, side.device, side.id))
            .collect();
        let sides: Vec<String> = sides.into_iter().collect();
        let step = counting.first().map_or("", |side| &side.step);
        format!("{step}: {}; all are kept", sides.join(", "))
    })
}
