use crate::store::{EventId, StoreError};
use std::{error::Error, fmt, path::PathBuf};

/// Why logs could not be handed in. What a batch had brought to the server before stays there, and
/// the log itself is never touched.
#[derive(Debug, thiserror::Error)]
pub enum HandInError {
    /// The log could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The certificates to trust could not be read.
    #[error("{}: no certificate could be read from it: {why}", .path.display())]
    Certificate {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// This machine has no certificates to trust.
    #[error(
        "this machine has no list of trusted certificates ({0}). Install the package \
         ca-certificates, or name the certificate of the server's authority with --root-certificate"
    )]
    NoCertificates(String),
    /// There is no connection to the server.
    #[error("{server}: {why}")]
    NoConnection {
        /// Its address, as it may be shown.
        server: String,
        /// What went wrong, and what to do.
        why: String,
    },
    /// The server, or the way to it, failed in the middle.
    #[error("{0}. What was handed in before is kept; run the same command again to go on")]
    Interrupted(String),
    /// The server refused something.
    #[error("the server refused it: {0}")]
    Refused(String),
    /// The tables were made by a newer version of this program.
    #[error(
        "the tables on the server are of version {0}, made by a newer bothhands; this one knows \
         up to {ours}. Hand in with that version",
        ours = super::SCHEMA_VERSION
    )]
    Newer(i32),
    /// The database keeps text in another encoding.
    #[error(
        "the database keeps its text as {0}; it has to be UTF8. Make one with \
         `createdb --encoding=UTF8 --template=template0 NAME`"
    )]
    NotUtf8(String),
    /// The server has other events for this log.
    #[error(transparent)]
    Diverged(#[from] Box<Diverged>),
    /// A number is too large for the server.
    #[error("event {0} has a number that is too large to be handed in")]
    TooLarge(u64),
}

/// A log whose events are not those that the server has for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diverged {
    /// The log's name on the server: the id of its first event.
    pub log: EventId,
    /// The first event that differs, from 1.
    pub seq: u64,
    /// That event here: id, kind, time and device.
    pub here: String,
    /// That event on the server.
    pub there: String,
}

impl fmt::Display for Diverged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the server has log {} with other events from event {} on:\n  here: {}\n  there: {}\n\
             Two copies of this log went on separately. Nothing on the server was changed, and \
             nothing more of this log was handed in; keep this file",
            self.log, self.seq, self.here, self.there
        )
    }
}

impl Error for Diverged {}

impl From<postgres::Error> for HandInError {
    fn from(why: postgres::Error) -> Self {
        let Some(refused) = why.as_db_error() else {
            return Self::Interrupted(format!(
                "the connection to the server failed: {}",
                causes(&why)
            ));
        };
        let said = refused.message().to_owned();
        match refused.code().code() {
            "42501" => Self::Refused(format!(
                "{said}. The user needs the right to add to the tables in the schema bothhands, \
                 and the first time the right to make it (GRANT CREATE ON DATABASE)"
            )),
            "55P03" => Self::Interrupted(
                "somebody else has been handing in the same log for a minute".to_owned(),
            ),
            // The server is ending, starting, or out of space, memory or connections.
            code if code.starts_with("57P") || code.starts_with("53") => {
                Self::Interrupted(format!("the server gave up: {said}"))
            }
            _ => Self::Refused(said),
        }
    }
}

/// An error with everything that led to it, each thing once.
pub(super) fn causes(why: &dyn Error) -> String {
    let mut told = vec![why.to_string()];
    let mut cause = why.source();
    while let Some(one) = cause {
        let text = one.to_string();
        if told.last().is_none_or(|last| !last.contains(&text)) {
            told.push(text);
        }
        cause = one.source();
    }
    told.join(": ")
}
