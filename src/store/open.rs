use super::{
    error::StoreError,
    hex::ChainId,
    lock::{Holder, WriterLock},
    log::{Own, Store, identity},
    record::to_microseconds,
    schema, wal,
};
use jiff::Timestamp;
use rusqlite::{Connection, MAIN_DB, OpenFlags, config::DbConfig};
use std::{
    ffi::OsString,
    fmt, fs,
    path::{Path, PathBuf},
    time::Duration,
};

/// What a log is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpenMode {
    /// To be read. Any number of readers may read beside one writer.
    Read,
    /// To be added to; it must exist.
    Append,
    /// To be added to, and made if there is none.
    AppendOrCreate,
}

/// How a log is opened.
pub struct Options {
    /// What for.
    pub mode: OpenMode,
    /// Name of the device that writes, as it stands in each event.
    pub device: String,
    /// Where the time comes from.
    pub clock: Box<dyn Fn() -> Timestamp + Send>,
    /// How long to wait for another program that has locked the database.
    pub patience: Duration,
}

impl Options {
    /// This device and its clock, two seconds of patience.
    pub fn new(mode: OpenMode) -> Self {
        Self {
            mode,
            device: this_device(),
            clock: Box::new(Timestamp::now),
            patience: Duration::from_secs(2),
        }
    }

    /// Writes as another device.
    #[must_use]
    pub fn device(self, device: &str) -> Self {
        Self {
            device: device.to_owned(),
            ..self
        }
    }

    /// Takes the time from somewhere else.
    #[must_use]
    pub fn clock(self, clock: impl Fn() -> Timestamp + Send + 'static) -> Self {
        Self {
            clock: Box::new(clock),
            ..self
        }
    }

    /// Waits longer or shorter for other programs.
    #[must_use]
    pub fn patience(self, patience: Duration) -> Self {
        Self { patience, ..self }
    }
}

impl fmt::Debug for Options {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Options")
            .field("mode", &self.mode)
            .field("device", &self.device)
            .field("patience", &self.patience)
            .finish_non_exhaustive()
    }
}

/// The name this device has on its network, or "this device".
fn this_device() -> String {
    let named = fs::read_to_string("/etc/hostname")
        .ok()
        .or_else(|| std::env::var("COMPUTERNAME").ok())
        .or_else(|| std::env::var("HOSTNAME").ok())
        .unwrap_or_default();
    match named.trim() {
        "" => "this device".to_owned(),
        name => name.to_owned(),
    }
}

/// What was found when a log was opened. Shown as sentences, one a line, for the person to read
/// or hear; nothing when there is nothing to say.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Opening {
    /// The log is new.
    pub created: bool,
    /// How many events it holds.
    pub events: u64,
    /// When the last of them was written.
    pub last: Option<Timestamp>,
    /// The program that wrote before and did not close the log: it was ended, or the power went.
    pub cut_short: Option<Holder>,
    /// A write that had begun was not finished, and was dropped whole.
    pub unfinished: bool,
    /// The clock now, when it is behind the last event.
    pub clock_behind: Option<Timestamp>,
}

impl fmt::Display for Opening {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(holder) = &self.cut_short {
            writeln!(f, "The session before was cut short ({holder}).")?;
            match (self.events, self.last) {
                (0, _) | (_, None) => writeln!(f, "It had kept nothing yet.")?,
                (events, Some(last)) => writeln!(
                    f,
                    "Everything that was read back is here: {events} events, the last of {last:.0}."
                )?,
            }
        }
        if self.unfinished {
            writeln!(
                f,
                "Something was just being written then and never read back; it was dropped."
            )?;
        }
        if let (Some(now), Some(last)) = (self.clock_behind, self.last) {
            writeln!(
                f,
                "The clock says {now:.0}, which is before the last event ({last:.0}). \
                 Check the clock; events keep the order they were written in."
            )?;
        }
        Ok(())
    }
}

impl Store {
    /// Opens a log on this device.
    ///
    /// To add to it, the log's events must form whole chains: see [`Store::verify`] for all that
    /// can be checked. Only one program at a time may add to a log.
    ///
    /// # Errors
    /// When the file is missing, a folder, no log, damaged, from a newer version, not to be
    /// written, in use by another program, or the disk is full, or events are to be added to a
    /// merged log: the message says what to do. The file is left as it was.
    pub fn open(path: impl AsRef<Path>, mode: OpenMode) -> Result<Self, StoreError> {
        Self::open_with(path, Options::new(mode))
    }

    /// Opens a log with another device name or clock.
    ///
    /// # Errors
    /// As for [`Store::open`].
    pub fn open_with(path: impl AsRef<Path>, options: Options) -> Result<Self, StoreError> {
        let path = path.as_ref();
        look_at(path, options.mode)?;
        match options.mode {
            OpenMode::Read => open_to_read(path, options),
            OpenMode::Append | OpenMode::AppendOrCreate => {
                let file = real(path)?;
                open_to_append(path, &file, options)
            }
        }
    }
}

/// The file itself: where a link leads, and with the folder's real name, so that programs which
/// name it differently find the same lock.
fn real(path: &Path) -> Result<PathBuf, StoreError> {
    let failed = |why: std::io::Error| StoreError::from_io(path, &why);
    if path.exists() {
        one_name(path)?;
        return fs::canonicalize(path).map_err(failed);
    }
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    match path.file_name() {
        Some(name) => Ok(fs::canonicalize(folder).map_err(failed)?.join(name)),
        None => Err(StoreError::NoFile(path.to_owned())),
    }
}

/// The lock and the write-ahead log go by name: of a file with two, each writer finds its own.
#[cfg(unix)]
fn one_name(path: &Path) -> Result<(), StoreError> {
    use std::os::unix::fs::MetadataExt;
    match fs::metadata(path) {
        Ok(found) if found.nlink() > 1 => Err(StoreError::SeveralNames(path.to_owned())),
        _ => Ok(()),
    }
}

#[cfg(not(unix))]
fn one_name(_path: &Path) -> Result<(), StoreError> {
    Ok(())
}

fn look_at(path: &Path, mode: OpenMode) -> Result<(), StoreError> {
    // SQLite has meanings of its own for these.
    let name = path.as_os_str().as_encoded_bytes();
    if name.is_empty() || name == b":memory:" || name.starts_with(b"file:") {
        return Err(StoreError::NoFile(path.to_owned()));
    }
    match fs::metadata(path) {
        Ok(found) if found.is_dir() => Err(StoreError::IsFolder(path.to_owned())),
        Ok(found) if !found.is_file() => Err(StoreError::NotAFile(path.to_owned())),
        Ok(_) => Ok(()),
        Err(why) if why.kind() == std::io::ErrorKind::NotFound => {
            if fs::symlink_metadata(path).is_ok() {
                return Err(StoreError::DanglingLink(path.to_owned()));
            }
            let folder = match path.parent() {
                Some(parent) if !parent.as_os_str().is_empty() => parent,
                _ => Path::new("."),
            };
            if mode != OpenMode::AppendOrCreate {
                Err(StoreError::Missing(path.to_owned()))
            } else if folder.is_dir() {
                Ok(())
            } else {
                Err(StoreError::NoFolder {
                    path: path.to_owned(),
                    folder: folder.to_owned(),
                })
            }
        }
        Err(why) => Err(StoreError::from_io(path, &why)),
    }
}

/// `file` is what `path` names; messages say `path`.
fn open_to_append(path: &Path, file: &Path, options: Options) -> Result<Store, StoreError> {
    let failed = |why| StoreError::from_sqlite(path, why);
    let now = to_microseconds((options.clock)());
    let taken = WriterLock::take(file, &options.device, now)?;
    let existed = file.exists();
    let unfinished = wal::unfinished(&beside(file, "-wal"));

    let create = match options.mode {
        OpenMode::AppendOrCreate => OpenFlags::SQLITE_OPEN_CREATE,
        _ => OpenFlags::empty(),
    };
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | create;
    let mut connection = Connection::open_with_flags(file, flags).map_err(failed)?;
    if connection.is_readonly(MAIN_DB).map_err(failed)? {
        return Err(StoreError::ReadOnly {
            path: path.to_owned(),
            why: "the file may only be read".to_owned(),
        });
    }
    connection.busy_timeout(options.patience).map_err(failed)?;
    harden(&connection).map_err(failed)?;
    let blank = check_kind(path, &connection)?;
    if blank && existed && options.mode == OpenMode::Append {
        return Err(StoreError::Empty(path.to_owned()));
    }
    make_durable(&connection).map_err(failed)?;
    if blank {
        connection
            .pragma_update(None, "application_id", schema::APPLICATION_ID)
            .map_err(failed)?;
    }
    schema::migrate(path, &mut connection)?;

    let mut store = Store {
        path: path.to_owned(),
        own: None,
        connection,
        device: options.device,
        clock: options.clock,
        opening: Opening {
            created: blank,
            cut_short: taken.cut_short,
            unfinished,
            ..Opening::default()
        },
        doubtful: false,
        writer: Some(taken.lock),
        copy: None,
    };
    store.check_chains()?;
    if store.is_merged()? {
        return Err(StoreError::Merged(path.to_owned()));
    }
    store.take_stock(Some(now))?;
    store.own = Some(Own {
        file: file.to_owned(),
        identity: identity(file),
        last: store.opening.events,
    });
    Ok(store)
}

/// Reads beside a writer where the system allows it. A file that cannot be written and was closed
/// in order is read as it stands, leaving nothing beside it; one that was cut short, in a folder
/// that cannot be written, is copied first, since its last events are still in the file beside it.
fn open_to_read(path: &Path, options: Options) -> Result<Store, StoreError> {
    let writable = fs::OpenOptions::new().append(true).open(path).is_ok();
    let settled = !beside(path, "-wal").exists();
    let plain = if settled && !writable && cfg!(unix) {
        connect_to_read(
            path,
            &as_it_stands(path),
            OpenFlags::SQLITE_OPEN_URI,
            options.patience,
        )
    } else {
        connect_to_read(path, path, OpenFlags::empty(), options.patience)
    };
    let (connection, copy) = match plain {
        Ok(connection) => (connection, None),
        Err(StoreError::Io { .. } | StoreError::ReadOnly { .. }) => {
            let copy = ReadCopy::of(path)?;
            let connection =
                connect_to_read(path, &copy.file, OpenFlags::empty(), options.patience)?;
            (connection, Some(copy))
        }
        Err(why) => return Err(why),
    };
    let mut store = Store {
        path: path.to_owned(),
        own: None,
        connection,
        device: options.device,
        clock: options.clock,
        opening: Opening::default(),
        doubtful: false,
        writer: None,
        copy,
    };
    store.take_stock(None)?;
    Ok(store)
}

fn connect_to_read(
    path: &Path,
    file: &Path,
    kind: OpenFlags,
    patience: Duration,
) -> Result<Connection, StoreError> {
    let failed = |why| StoreError::from_sqlite(path, why);
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | kind;
    let connection = Connection::open_with_flags(file, flags).map_err(failed)?;
    connection.busy_timeout(patience).map_err(failed)?;
    harden(&connection).map_err(failed)?;
    connection
        .pragma_update(None, "query_only", true)
        .map_err(failed)?;
    if check_kind(path, &connection)? {
        return Err(StoreError::Empty(path.to_owned()));
    }
    Ok(connection)
}

/// The address by which SQLite reads a file without locks and without files beside it.
fn as_it_stands(path: &Path) -> PathBuf {
    let root = if path.is_absolute() { "//" } else { "" };
    let name: String = path
        .as_os_str()
        .as_encoded_bytes()
        .iter()
        .map(|&byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'_' | b'.' => {
                char::from(byte).to_string()
            }
            other => format!("%{other:02X}"),
        })
        .collect();
    PathBuf::from(format!("file:{root}{name}?immutable=1"))
}

/// Trusts nothing in the file, and lets nobody rewrite its schema.
fn harden(connection: &Connection) -> rusqlite::Result<()> {
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)?;
    connection.pragma_update(None, "cell_size_check", true)?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "recursive_triggers", true)
}

/// Every commit is on the disk before it is acknowledged; `fullfsync` asks the same of the
/// drive's own cache where the system tells the two apart.
fn make_durable(connection: &Connection) -> rusqlite::Result<()> {
    connection.pragma_update(None, "journal_mode", "wal")?;
    connection.pragma_update(None, "synchronous", "full")?;
    connection.pragma_update(None, "fullfsync", true)?;
    connection.pragma_update(None, "checkpoint_fullfsync", true)
}

/// Whether the database is blank; refuses what is no log of a version known here.
fn check_kind(path: &Path, connection: &Connection) -> Result<bool, StoreError> {
    let failed = |why| StoreError::from_sqlite(path, why);
    let number = |name: &str| {
        connection
            .pragma_query_value(None, name, |row| row.get::<_, i64>(0))
            .map_err(failed)
    };
    let tables: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(failed)?;
    let (application, version) = (number("application_id")?, number("user_version")?);
    match (application, version, tables) {
        (0 | schema::APPLICATION_ID, 0, 0) => Ok(true),
        (schema::APPLICATION_ID, found, _) if found > schema::VERSION => Err(StoreError::Newer {
            path: path.to_owned(),
            found,
            known: schema::VERSION,
        }),
        (schema::APPLICATION_ID, found, _) if found < 1 => Err(StoreError::Damaged {
            path: path.to_owned(),
            why: format!("it says that it is of format {found}"),
        }),
        (schema::APPLICATION_ID, _, _) => Ok(false),
        _ => Err(StoreError::NotALog(path.to_owned())),
    }
}

/// The path with something added to its last part.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    name.into()
}

/// A copy of a log in the system's folder for passing files, gone when it is closed.
#[derive(Debug)]
pub(super) struct ReadCopy {
    file: PathBuf,
    _folder: tempfile::TempDir,
}

impl ReadCopy {
    fn of(path: &Path) -> Result<Self, StoreError> {
        let refused = |at: &Path, why: &std::io::Error| StoreError::from_io(at, why);
        let folder = tempfile::Builder::new()
            .prefix("bothhands-")
            .tempdir()
            .map_err(|why| refused(&std::env::temp_dir(), &why))?;
        let copy = Self {
            file: folder.path().join("log.db"),
            _folder: folder,
        };
        fs::copy(path, &copy.file).map_err(|why| refused(path, &why))?;
        let (from, to) = (beside(path, "-wal"), beside(&copy.file, "-wal"));
        if from.exists() {
            fs::copy(&from, &to).map_err(|why| refused(&from, &why))?;
        }
        for file in [&copy.file, &to] {
            make_writable(file);
        }
        Ok(copy)
    }
}

/// A copy takes over that its original cannot be written.
fn make_writable(file: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let _ = fs::set_permissions(file, fs::Permissions::from_mode(0o600));
    }
    #[cfg(not(unix))]
    if let Ok(found) = fs::metadata(file) {
        let mut allowed = found.permissions();
        allowed.set_readonly(false);
        let _ = fs::set_permissions(file, allowed);
    }
}

/// A name for a new chain, from the random source of the database.
pub(super) fn new_chain(connection: &Connection) -> rusqlite::Result<ChainId> {
    connection
        .query_row("SELECT randomblob(16)", [], |row| row.get::<_, [u8; 16]>(0))
        .map(ChainId::from)
}
