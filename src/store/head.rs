//! Where a log ends: what tells later whether it still holds what it held.

use super::{error::StoreError, hex::Digest256, log::Store};
use serde::{Serialize, Serializer};
use std::{fmt, str::FromStr};

/// How many digits of a hash are enough to know it by, where it is written down by hand.
const SHORT: usize = 16;
/// How many were written down by versions before.
const SHORT_BEFORE: usize = 8;

/// The end of a log, or of one thread of a merged one: how many events there are, and the hash of
/// the last, which covers all of them. Written `26:` and the hash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// Events from the first to the last, the job file's text among them.
    pub events: u64,
    /// The hash of the last.
    pub hash: Digest256,
}

impl Head {
    /// The number and the first sixteen digits: enough for a line that is copied by hand.
    pub fn short(&self) -> String {
        let hash = self.hash.to_string();
        format!("{}:{}", self.events, hash.get(..SHORT).unwrap_or(&hash))
    }
}

impl fmt::Display for Head {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.events, self.hash)
    }
}

impl Serialize for Head {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// A head as somebody wrote it down: the number of events, and eight digits of the hash or more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KnownHead {
    events: u64,
    digits: String,
}

/// Why something is no head.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "a head is a number of events, a colon and at least eight digits of a hash, as a schedule or the last line of a session has it: 26:0123abcd"
)]
pub struct NotAHead;

impl FromStr for KnownHead {
    type Err = NotAHead;

    fn from_str(text: &str) -> Result<Self, NotAHead> {
        let (events, digits) = text.trim().split_once(':').ok_or(NotAHead)?;
        let digits = digits.to_ascii_lowercase();
        let fits = (SHORT_BEFORE..=64).contains(&digits.len())
            && digits.bytes().all(|digit| digit.is_ascii_hexdigit());
        let events = events.parse().map_err(|_| NotAHead)?;
        if !fits || events == 0 {
            return Err(NotAHead);
        }
        Ok(Self { events, digits })
    }
}

impl fmt::Display for KnownHead {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.events, self.digits)
    }
}

impl Store {
    /// Where each of the [threads](Store::threads) ends; one for a log that was not merged.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn heads(&self) -> Result<Vec<Head>, StoreError> {
        Ok(self
            .threads()?
            .iter()
            .filter_map(|thread| {
                Some(Head {
                    events: thread.len() as u64,
                    hash: thread.last()?.hash,
                })
            })
            .collect())
    }

    /// Whether the log went through this head: it ends there, or went on from there. Says nothing
    /// of a log whose hashes do not fit.
    ///
    /// # Errors
    /// When the log cannot be read.
    pub fn holds(&self, known: &KnownHead) -> Result<bool, StoreError> {
        let at = usize::try_from(known.events - 1).unwrap_or(usize::MAX);
        Ok(self.threads()?.iter().any(|thread| {
            thread
                .get(at)
                .is_some_and(|record| record.hash.to_string().starts_with(&known.digits))
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_head_is_read_as_it_is_written_and_nothing_shorter_is() {
        let head = Head {
            events: 26,
            hash: Digest256::ZERO,
        };
        for text in [head.to_string(), head.short()] {
            let known: KnownHead = text.parse().unwrap();
            assert_eq!(known.to_string(), text);
        }
        for wrong in [
            "",
            "26",
            "26:",
            "26:0123",
            "0:01234567",
            "x:01234567",
            "26:0123456g",
        ] {
            assert_eq!(wrong.parse::<KnownHead>(), Err(NotAHead), "{wrong}");
        }
    }
}
