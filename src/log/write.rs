use super::{Log, LogError, SharedClock};
use crate::sequence::{EVENT_VERSION, Event};
use crate::store::{Evidence, NewEvent, OpenMode, Options, Store};
use serde::Serialize;
use std::path::Path;

/// Opens a log to add to it, or makes it, and reads what it holds: no entries when that is
/// nothing yet. What is added is stamped by the clock.
///
/// # Errors
/// When it can't be opened for writing, holds what this version does not know, or does not begin
/// as a log does.
pub fn take_up(db: &Path, clock: &SharedClock) -> Result<(Store, Log), LogError> {
    let ticking = clock.clone();
    clock.tick();
    let options = Options::new(OpenMode::AppendOrCreate).clock(move || ticking.now());
    let store = Store::open_with(db, options)?;
    // Opening it to add to it walked the hashes.
    let log = Log::read_checked(&store)?;
    if !log.entries.is_empty() {
        log.agenda()?;
    }
    Ok((store, log))
}

/// Begins a log with the job file's text just as it is and the session's first events, all of them
/// or none. Where an earlier start left the very same text alone, it is not written again.
///
/// # Errors
/// When one of them could not be read back, or they could not be kept: then none was.
pub fn begin(store: &mut Store, job: &str, first: &[Event]) -> Result<(), LogError> {
    let mut new = Vec::new();
    if store.job()?.as_deref() != Some(job) {
        new.push(NewEvent::job(job).map_err(|why| unwritable("job", &why))?);
    }
    let practised = first.first().is_some_and(Event::begins_practice);
    for event in first {
        new.push(written(event, practised)?);
    }
    store.append(&new, None)?;
    Ok(())
}

/// Adds events and the sound they rest on, all of them or none. What was `practised` on a simulated
/// installation says so in each event, so that none can be taken for that of a test.
///
/// # Errors
/// When one of them could not be read back, or they could not be kept: then none was.
pub fn keep(
    store: &mut Store,
    events: &[Event],
    practised: bool,
    evidence: Option<&Evidence>,
) -> Result<(), LogError> {
    let written = |event| written(event, practised);
    let new = events.iter().map(written).collect::<Result<Vec<_>, _>>()?;
    store.append(&new, evidence)?;
    Ok(())
}

/// An event with the stamp of practice.
#[derive(Serialize)]
struct Stamped<'a> {
    #[serde(flatten)]
    event: &'a Event,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    practised: bool,
}

/// The event as it is written, once it is sure that it can be read: a number that is none becomes
/// `null` in JSON without any error, and would make the whole log unreadable.
pub(super) fn written(event: &Event, practised: bool) -> Result<NewEvent, LogError> {
    let stamped = Stamped { event, practised };
    let new = NewEvent::new(event.kind(), EVENT_VERSION.into(), &stamped)
        .map_err(|why| unwritable(event.kind(), &why))?;
    new.payload::<Event>()
        .map_err(|why| unwritable(event.kind(), &why))?;
    Ok(new)
}

fn unwritable(kind: &'static str, why: &serde_json::Error) -> LogError {
    LogError::Unwritable {
        kind,
        why: why.to_string(),
    }
}
