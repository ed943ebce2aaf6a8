//! One file per subcommand: its arguments, and which rooms it joins. What they have in common
//! stands in `engine`, `source`, `stop`, `terminal` and `voice`.

pub mod check;
pub mod demo;
pub mod devices;
pub mod doctor;
mod engine;
pub mod export;
#[cfg(feature = "hand-in")]
pub mod hand_in;
pub mod hear;
pub mod import;
pub mod log;
pub mod merge;
pub mod rehearse;
pub mod review;
pub mod schedule;
pub mod score;
mod source;
mod stop;
mod terminal;
pub mod test;
pub mod verify;
mod voice;

use bothhands::log::LogError;
use std::path::Path;

/// This program and its version, for the log.
fn by() -> String {
    format!("bothhands {}", env!("CARGO_PKG_VERSION"))
}

/// Why a log can't be used, with its path where the reason does not name it already.
fn about_log(db: &Path, why: LogError) -> anyhow::Error {
    match why {
        LogError::Store(why) => why.into(),
        why => {
            anyhow::Error::from(why).context(format!("{}: this log can't be used", db.display()))
        }
    }
}
