//! What is known of whole boards besides the steps of their isolation.

use crate::sequence::facts::EventNo;
use serde::{Serialize, Serializer};
use std::collections::{BTreeMap, BTreeSet};

/// What is known of boards besides the steps of their isolation.
#[derive(Debug, Clone, Default, Serialize)]
pub(super) struct Boards {
    /// Locks off for energising: no dead test any more, and it may be energised.
    #[serde(skip_serializing_if = "BTreeSet::is_empty")]
    pub(super) unlocked: BTreeSet<u16>,
    /// Circuits that stay off, by board and number, with the event that said so.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", serialize_with = "as_list")]
    pub(super) off: BTreeMap<(u16, u16), EventNo>,
}

/// A list of circuits and events: keys of two numbers are none in JSON.
fn as_list<S: Serializer>(
    off: &BTreeMap<(u16, u16), EventNo>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(off)
}
