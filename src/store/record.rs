use super::hex::{ChainId, Digest256, EventId, digest};
use jiff::Timestamp;
use serde::{Serialize, de::DeserializeOwned};

/// An event about to be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewEvent {
    pub(super) kind: String,
    pub(super) version: u32,
    pub(super) payload: String,
}

impl NewEvent {
    /// An event of some kind, with its payload as version `version` of the program's events
    /// writes it. A log keeps payloads as they were written: whoever changes a payload's shape
    /// raises the version and goes on reading the old one.
    ///
    /// # Errors
    /// When the payload cannot be written as JSON.
    pub fn new(kind: &str, version: u32, payload: &impl Serialize) -> serde_json::Result<Self> {
        Ok(Self {
            kind: kind.to_owned(),
            version,
            payload: serde_json::to_string(payload)?,
        })
    }

    /// The event that opens a log: the job file's text just as it was.
    ///
    /// # Errors
    /// Never in practice: text can always be written as JSON.
    pub fn job(text: &str) -> serde_json::Result<Self> {
        Self::new(JOB_KIND, 1, &serde_json::json!({ "job": text }))
    }

    /// What kind of event it is.
    pub fn kind(&self) -> &str {
        &self.kind
    }

    /// The payload as it will be read back.
    ///
    /// # Errors
    /// When what was written can't be read.
    pub fn payload<T: DeserializeOwned>(&self) -> serde_json::Result<T> {
        serde_json::from_str(&self.payload)
    }
}

/// The kind of the event that opens a log; its payload has the job file's text under `job`.
pub const JOB_KIND: &str = "job";

/// An event as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Place in this database, from 1.
    pub seq: u64,
    /// Name of the event on every device: the first half of `hash`.
    pub id: EventId,
    /// The chain it belongs to.
    pub chain: ChainId,
    /// Place in its chain, from 1.
    pub position: u64,
    /// The device that wrote it.
    pub device: String,
    /// When it was written by that device's clock, UTC, whole microseconds.
    pub at: Timestamp,
    /// Version of the payload's shape.
    pub version: u32,
    /// What kind of event it is.
    pub kind: String,
    /// The payload: one JSON text.
    pub payload: String,
    /// Hash of the [`Evidence`](super::Evidence) it rests on.
    pub evidence: Option<Digest256>,
    /// Hash of the event before it in its chain. For the first of a chain: of the event it
    /// follows in an older chain, or zero.
    pub prev_hash: Digest256,
    /// SHA-256 over all of the above except `seq` and `id`: see [`Record::computed_hash`].
    pub hash: Digest256,
}

impl Record {
    /// The payload as a value.
    ///
    /// # Errors
    /// When the payload has another shape: it was written by another version.
    pub fn payload<T: DeserializeOwned>(&self) -> serde_json::Result<T> {
        serde_json::from_str(&self.payload)
    }

    /// The time as it is kept and hashed: RFC 3339, UTC, always six decimals.
    pub fn written_at(&self) -> String {
        written_time(self.at)
    }

    /// What the hash must be: SHA-256 over these fields in this order, each as a netstring
    /// (length in bytes in decimal, colon, bytes, comma), all as the text that is kept:
    ///
    /// `bothhands event 1`, chain, position, device, at, version, kind, payload, evidence (empty
    /// when there is none), prev_hash.
    pub fn computed_hash(&self) -> Digest256 {
        let evidence = self.evidence.map(|hash| hash.to_string());
        digest(&[
            b"bothhands event 1",
            self.chain.to_string().as_bytes(),
            self.position.to_string().as_bytes(),
            self.device.as_bytes(),
            written_time(self.at).as_bytes(),
            self.version.to_string().as_bytes(),
            self.kind.as_bytes(),
            self.payload.as_bytes(),
            evidence.unwrap_or_default().as_bytes(),
            self.prev_hash.to_string().as_bytes(),
        ])
    }

    /// Sets `hash` and `id` from the rest.
    pub(super) fn sealed(mut self) -> Self {
        self.hash = self.computed_hash();
        self.id = id_of(self.hash);
        self
    }
}

/// The first half of a hash.
pub(super) fn id_of(hash: Digest256) -> EventId {
    let mut id = [0; 16];
    id.copy_from_slice(&hash.bytes()[..16]);
    id.into()
}

/// A time as the log writes it: RFC 3339, UTC, always six decimals.
pub(super) fn written_time(at: Timestamp) -> String {
    format!("{at:.6}")
}

/// A time cut to the whole microseconds that the log keeps.
pub(super) fn to_microseconds(at: Timestamp) -> Timestamp {
    Timestamp::from_microsecond(at.as_microsecond()).unwrap_or(at)
}

/// Reads a time only in the spelling that [`written_time`] gives.
pub(super) fn read_time(text: &str) -> Option<Timestamp> {
    text.parse()
        .ok()
        .filter(|&at: &Timestamp| written_time(at) == text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::hex::digest_of;

    fn record() -> Record {
        Record {
            seq: 7,
            id: EventId::ZERO,
            chain: ChainId::ZERO,
            position: 2,
            device: "laptop".into(),
            at: "2026-11-25T09:30:00.25Z".parse().unwrap(),
            version: 1,
            kind: "reading".into(),
            payload: r#"{"v":1}"#.into(),
            evidence: None,
            prev_hash: Digest256::ZERO,
            hash: Digest256::ZERO,
        }
    }

    #[test]
    fn the_hash_covers_the_documented_encoding() {
        let zeros = "0".repeat(64);
        let chain = "0".repeat(32);
        let text = format!(
            "17:bothhands event 1,32:{chain},1:2,6:laptop,27:2026-11-25T09:30:00.250000Z,1:1,\
             7:reading,7:{{\"v\":1}},0:,64:{zeros},"
        );
        assert_eq!(record().computed_hash(), digest_of(text.as_bytes()));
    }

    #[test]
    fn place_in_the_database_is_not_part_of_it() {
        let moved = Record { seq: 8, ..record() };
        assert_eq!(moved.computed_hash(), record().computed_hash());
    }

    #[test]
    fn times_have_one_spelling() {
        assert!(read_time("2026-11-25T09:30:00.250000Z").is_some());
        for other in [
            "2026-11-25T09:30:00.25Z",
            "2026-11-25t09:30:00.250000Z",
            "2026-11-25T09:30:00.250000+00:00",
            "yesterday",
        ] {
            assert_eq!(read_time(other), None, "{other}");
        }
    }
}
