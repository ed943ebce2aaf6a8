//! The log that cannot be lost: an append-only, hash-chained list of events in one SQLite file,
//! with the sound that they rest on.
//!
//! What an event means is no business of this room: it keeps JSON payloads with their kind and
//! version, and gives them back as they were.
//!
//! # How it keeps
//!
//! - [`Store::append`] returns only when the events are on the disk (write-ahead log,
//!   `synchronous=FULL`), all of them or none. It then copies them into the database proper, so
//!   that they stand in two places until the next event is on its way.
//! - Triggers refuse to change, replace or delete events and evidence, and to add an event
//!   anywhere but at the end.
//! - Each event carries the SHA-256 of the one before it. What one device wrote in one file
//!   without another in between is a chain; a log taken over by another device holds two, the
//!   second of which begins at the last event of the first; a merged log holds those of all its
//!   sources. A list of the last event of each chain shows when a log has lost its end.
//! - Each append looks whether the file is still in its place and ends where this writer left it.
//! - One program at a time may add to a log: `NAME.lock` beside it says which. It stands beside the
//!   file itself, wherever a link to it lies; a file with several names is refused. A lock file that
//!   outlives its program tells the next start that the session before was cut short.
//! - The sound of people can be deleted ([`Store::forget_sounds`]) with an event that says so: the
//!   hashes are of the sound and stay.
//! - [`Store::verify`] checks all of it and names the first event that does not fit.
//!
//! Keep logs on a disk of the device itself: a write-ahead log does not work over a network share.
//!
//! ```
//! use bothhands::store::{OpenMode, NewEvent, Store};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let folder = tempfile::tempdir()?;
//! # let path = folder.path().join("session.db");
//! let mut store = Store::open(&path, OpenMode::AppendOrCreate)?;
//! let reading = serde_json::json!({ "test": "insulation", "megohms": "299" });
//! store.append(&[NewEvent::job("title = \"Boathouse\"")?], None)?;
//! let kept = store.append(&[NewEvent::new("reading", 1, &reading)?], None)?;
//! assert_eq!(kept[0].seq, 2);
//!
//! let verdict = store.verify()?;
//! assert!(verdict.is_whole());
//! # Ok(())
//! # }
//! ```

mod error;
mod evidence;
mod forget;
mod head;
mod hex;
mod lines;
mod lock;
mod log;
mod merge;
mod open;
mod record;
mod schema;
mod verify;
mod wal;

pub use error::StoreError;
pub use evidence::{Evidence, EvidenceError};
pub use forget::FORGOTTEN_KIND;
pub use head::{Head, KnownHead, NotAHead};
pub use hex::{ChainId, Digest256, EventId, Hex, NotHex};
pub use lines::{ExportError, Exported, ImportError, Imported, Sounds, import};
pub use lock::Holder;
pub use log::{Records, Store};
pub use merge::{MergeError, Merged, merge};
pub use open::{OpenMode, Opening, Options};
pub use record::{JOB_KIND, NewEvent, Record};
pub use verify::{ChainState, Conflict, Damage, DamagedAt, Remark, Verification};
