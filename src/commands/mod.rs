//! One file per subcommand: its arguments, and which rooms it joins. What they have in common
//! stands in `configured`, `engine`, `exit`, `help`, `led`, `log_of`, `progress`, `shown`, `source`, `stop`, `terminal`, `voice`
//! and `written`.

#[cfg(feature = "phone")]
pub(crate) mod bay;
pub(crate) mod changed;
pub(crate) mod check;
pub(crate) mod completions;
pub(crate) mod config;
mod configured;
pub(crate) mod demo;
pub(crate) mod devices;
pub(crate) mod doctor;
mod engine;
pub(crate) mod exit;
pub(crate) mod export;
pub(crate) mod forget_sound;
#[cfg(feature = "hand-in")]
pub(crate) mod hand_in;
pub(crate) mod hear;
pub(crate) mod help;
pub(crate) mod import;
pub(crate) mod labels;
mod learning;
mod led;
pub(crate) mod lessons;
mod letterhead;
pub(crate) mod log;
mod log_of;
pub(crate) mod man;
pub(crate) mod mark;
pub(crate) mod merge;
pub(crate) mod new;
pub(crate) mod overview;
pub(crate) mod pack;
mod paper;
mod phone;
pub(crate) mod photo;
pub(crate) mod practise;
mod progress;
pub(crate) mod rehearse;
pub(crate) mod review;
pub(crate) mod schedule;
pub(crate) mod schema;
pub(crate) mod score;
pub(crate) mod shown;
mod source;
mod stop;
mod terminal;
pub(crate) mod test;
pub(crate) mod verify;
mod voice;
mod written;

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
