use super::lock::Holder;
use rusqlite::ErrorCode;
use std::{
    io,
    path::{Path, PathBuf},
};

/// What went wrong with a log, and what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// There is no file of that name.
    #[error("{}: there is no such log; check the name, or start one with `bothhands test`", .0.display())]
    Missing(PathBuf),

    /// The folder the file should go in does not exist.
    #[error("{}: there is no folder {}; make it first, or choose another place", .path.display(), .folder.display())]
    NoFolder {
        /// The log.
        path: PathBuf,
        /// The folder that is missing.
        folder: PathBuf,
    },

    /// The path names a folder.
    #[error("{}: this is a folder; name a file in it, such as {}", .0.display(), .0.join("session.db").display())]
    IsFolder(PathBuf),

    /// The path names something else that is no ordinary file.
    #[error("{}: this is not an ordinary file; a log needs one", .0.display())]
    NotAFile(PathBuf),

    /// The file is not an SQLite database, or its first page is damaged.
    #[error("{}: this is not a log, or its beginning is damaged; nothing in it was changed. Check the name; if it is the right file, keep it and go back to a copy", .0.display())]
    NotADatabase(PathBuf),

    /// A database of another program.
    #[error("{}: this is a database, but not a bothhands log; nothing in it was changed. Choose another name", .0.display())]
    NotALog(PathBuf),

    /// A database in which nothing was ever kept.
    #[error("{}: nothing has been kept in this file yet", .0.display())]
    Empty(PathBuf),

    /// Written by a newer version of the program.
    #[error("{}: this log is of format {found} and this program knows up to {known}; use the newer bothhands that wrote it. Nothing was changed", .path.display())]
    Newer {
        /// The log.
        path: PathBuf,
        /// The format it is of.
        found: i64,
        /// The newest that this program knows.
        known: i64,
    },

    /// Something in the file is not as it was written.
    #[error("{}: the log is damaged: {why}. Nothing was changed. Keep the file as it is, see what `bothhands verify` says of it, take out what is whole with `bothhands export`, and go on in a new log with `--db`", .path.display())]
    Damaged {
        /// The log.
        path: PathBuf,
        /// What does not fit.
        why: String,
    },

    /// The file, its folder or its disk may not be written.
    #[error("{}: this cannot be written: {why}. Change that, or choose another place with `--db`", .path.display())]
    ReadOnly {
        /// The log.
        path: PathBuf,
        /// What may not be written.
        why: String,
    },

    /// Another bothhands is writing it.
    #[error("{}: another program is writing this log: {holder}. Finish there first, or choose another file with `--db`", .path.display())]
    InUse {
        /// The log.
        path: PathBuf,
        /// Who holds it.
        holder: Holder,
    },

    /// Another program has locked the database.
    #[error("{}: another program has locked this log ({holder}). Close it there and try again", .path.display())]
    Locked {
        /// The log.
        path: PathBuf,
        /// Who holds it, as far as it is known.
        holder: String,
    },

    /// There is no room.
    #[error("{}: the disk is full. Make room and try again", .0.display())]
    DiskFull(PathBuf),

    /// The disk or the system refused.
    #[error("{}: {why}", .path.display())]
    Io {
        /// The log.
        path: PathBuf,
        /// What the system said.
        why: String,
    },

    /// Anything else the database said.
    #[error("{}: the database refused: {source}", .path.display())]
    Database {
        /// The log.
        path: PathBuf,
        /// What it said.
        source: rusqlite::Error,
    },

    /// Nothing of what was to be kept was kept.
    #[error("nothing was kept: {0}")]
    NotKept(Box<StoreError>),

    /// The disk failed while it confirmed what was written.
    #[error(
        "the disk failed and it cannot be told whether this was kept: {0}. Close the log, look after the disk, and see at the next start whether it is there"
    )]
    Uncertain(Box<StoreError>),

    /// The name is one that the database takes for something else than a file.
    #[error("{}: a log needs a file that stays; name one, such as session.db", .0.display())]
    NoFile(PathBuf),

    /// A link whose target is missing.
    #[error("{}: this is a link to a file that is not there; name the file itself", .0.display())]
    DanglingLink(PathBuf),

    /// The file has several names: programs that open it by different ones do not see each other.
    #[error("{}: this file has another name too (a hard link), by which another program could write it unseen. Remove the other name, or make a copy and go on in that", .0.display())]
    SeveralNames(PathBuf),

    /// The lock file is a link.
    #[error("{}: this should be a lock file of bothhands, but it is a link to another file. Remove it, if nobody you trust has put it there", .0.display())]
    LockIsALink(PathBuf),

    /// The file was removed, moved or replaced while it was open.
    #[error("{}: the log is no longer there, or another file is in its place: it was removed, moved or replaced while it was open. End this session, put the file back, and check it with `bothhands verify`", .0.display())]
    Vanished(PathBuf),

    /// Somebody else added events while the log was open.
    #[error("{}: another program added to this log while it was open. End this session, and take the log up again", .0.display())]
    AnotherWrote(PathBuf),

    /// A log that was put together from several is not gone on in: what would be said next could
    /// answer to either.
    #[error("{}: this log was put together from those of several devices, and is only for reading; go on in the log of one device", .0.display())]
    Merged(PathBuf),

    /// The log was opened for reading.
    #[error("{}: this log was opened for reading only", .0.display())]
    OpenedForReading(PathBuf),
}

impl StoreError {
    /// Gives a database error its meaning.
    pub(super) fn from_sqlite(path: &Path, source: rusqlite::Error) -> Self {
        let path = path.to_owned();
        let Some(code) = source.sqlite_error_code() else {
            return match source {
                rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::IntegralValueOutOfRange(..)
                | rusqlite::Error::InvalidColumnType(..)
                | rusqlite::Error::Utf8Error(..) => Self::Damaged {
                    path,
                    why: source.to_string(),
                },
                source => Self::Database { path, source },
            };
        };
        let why = source.to_string();
        match code {
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => {
                let holder = super::lock::who_locks(&path);
                Self::Locked { path, holder }
            }
            ErrorCode::ReadOnly => Self::ReadOnly { path, why },
            ErrorCode::CannotOpen
            | ErrorCode::PermissionDenied
            | ErrorCode::AuthorizationForStatementDenied => Self::Io { path, why },
            ErrorCode::DiskFull => Self::DiskFull(path),
            ErrorCode::SystemIoFailure => Self::Io {
                path,
                why: format!("reading or writing failed ({why}); check the disk"),
            },
            ErrorCode::DatabaseCorrupt => Self::Damaged { path, why },
            ErrorCode::NotADatabase => Self::NotADatabase(path),
            _ => Self::Database { path, source },
        }
    }

    /// Gives a system error its meaning.
    pub(super) fn from_io(path: &Path, source: &io::Error) -> Self {
        let path = path.to_owned();
        let why = source.to_string();
        match source.kind() {
            io::ErrorKind::NotFound => Self::Missing(path),
            io::ErrorKind::IsADirectory => Self::IsFolder(path),
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                Self::ReadOnly { path, why }
            }
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::DiskFull(path),
            _ => Self::Io { path, why },
        }
    }
}
