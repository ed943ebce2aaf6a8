//! The log of a session: the one place that reads its events back and the one that adds to it.
//!
//! `store` keeps records and knows nothing of what they mean; `sequence` knows what events mean
//! and nothing of files. Here they meet, so that whoever takes up, reports on or merges a log
//! refuses the same logs for the same reasons.

mod clock;
mod disagreements;
mod forget;
mod read;
mod write;

#[cfg(test)]
mod tests;

pub use crate::store::Head;
pub use clock::{SharedClock, boot};
pub use disagreements::disagreements;
pub use forget::{ForgetError, Forgotten, forget_sounds};
pub use read::{Entry, Heard, Log, Thread};
pub use write::{begin, keep, take_up};

use crate::sequence::{EVENT_VERSION, ReplayError};
use crate::store::StoreError;

/// Why a log can't be read, or an event not be added to it.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// The file itself.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An event of a version that this program does not know.
    #[error(
        "event {seq} ({kind}) was written by a newer version of bothhands (events of version {version}; this one reads up to {EVENT_VERSION}): use that version for this log"
    )]
    Newer {
        /// Its number in the log.
        seq: u64,
        /// What kind it is.
        kind: String,
        /// The version it was written in.
        version: u32,
    },
    /// An event of a version that is known, and not as that writes it.
    #[error(
        "event {seq} ({kind}) is not as this version writes it: {why}. Run `bothhands verify` on the log"
    )]
    Unreadable {
        /// Its number in the log.
        seq: u64,
        /// What kind it is.
        kind: String,
        /// What does not fit.
        why: String,
    },
    /// One replay can't stand for several sessions.
    #[error(
        "this log was put together from {0}: each has to be replayed by itself, as `schedule`, `log` and `review` do. Use the log of one device for this"
    )]
    Threads(usize),
    /// Its events make no session.
    #[error("there is nothing in it to go by yet: {0}")]
    Replay(#[from] ReplayError),
    /// It could not be read back, so it is not kept at all.
    #[error("an event ({kind}) can't be written down so that it can be read again: {why}.")]
    Unwritable {
        /// What kind it is.
        kind: &'static str,
        /// What was lost on the way.
        why: String,
    },
}
