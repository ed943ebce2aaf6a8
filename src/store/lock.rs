use super::error::StoreError;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::{
    ffi::OsString,
    fmt,
    fs::{self, File, OpenOptions, TryLockError},
    io::{self, Read, Write},
    path::{Path, PathBuf},
};

/// Who writes a log, as it says of itself in the file beside the log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Holder {
    /// Number of the process.
    pub pid: u32,
    /// The device it runs on.
    pub device: String,
    /// When it opened the log.
    pub since: Timestamp,
}

impl fmt::Display for Holder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.pid == 0 {
            return write!(f, "it has not said which");
        }
        write!(
            f,
            "process {} on {}, since {:.0}",
            self.pid, self.device, self.since
        )
    }
}

impl Holder {
    fn unknown() -> Self {
        Self {
            pid: 0,
            device: String::new(),
            since: Timestamp::UNIX_EPOCH,
        }
    }
}

/// The right to write one log: an advisory lock on a file beside it, `NAME.lock`, that the
/// system takes back when the process ends in whatever way. The file goes when the log is closed
/// in order; one that is found unlocked tells of an end that was cut short.
#[derive(Debug)]
pub(super) struct WriterLock {
    path: PathBuf,
    /// Keeps the lock while it lives.
    _file: File,
}

/// What was found beside the log when the lock was taken.
#[derive(Debug)]
pub(super) struct Taken {
    pub lock: WriterLock,
    /// The writer before this one, when it did not close the log.
    pub cut_short: Option<Holder>,
}

impl WriterLock {
    /// Takes the lock of the log at `log`, or says who has it.
    pub(crate) fn take(log: &Path, device: &str, now: Timestamp) -> Result<Taken, StoreError> {
        let path = lock_path(log);
        // A holder that closes removes the file: then the lock just taken is on a file that
        // nobody else will find, and it has to be taken anew.
        for _ in 0..100 {
            if let Some(taken) = Self::try_take(log, &path, device, now)? {
                return Ok(taken);
            }
        }
        Err(StoreError::InUse {
            path: log.to_owned(),
            holder: Holder::unknown(),
        })
    }

    fn try_take(
        log: &Path,
        path: &Path,
        device: &str,
        now: Timestamp,
    ) -> Result<Option<Taken>, StoreError> {
        let refused = |source: io::Error| StoreError::from_io(path, &source);
        let existed = match fs::symlink_metadata(path) {
            Ok(found) if found.file_type().is_symlink() => {
                return Err(StoreError::LockIsALink(path.to_owned()));
            }
            found => found.is_ok(),
        };
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path)
            .map_err(refused)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(StoreError::InUse {
                    path: log.to_owned(),
                    holder: read_holder(&mut file).unwrap_or_else(Holder::unknown),
                });
            }
            Err(TryLockError::Error(source)) => return Err(refused(source)),
        }
        if !is_still_at(&file, path) {
            return Ok(None);
        }
        let cut_short = existed.then(|| read_holder(&mut file).unwrap_or_else(Holder::unknown));
        let holder = Holder {
            pid: std::process::id(),
            device: device.to_owned(),
            since: now,
        };
        write_holder(&mut file, &holder).map_err(refused)?;
        let lock = Self {
            path: path.to_owned(),
            _file: file,
        };
        Ok(Some(Taken { lock, cut_short }))
    }
}

impl Drop for WriterLock {
    fn drop(&mut self) {
        // Left behind, it would only make the next start look for damage that is not there.
        let _ = fs::remove_file(&self.path);
    }
}

/// `NAME.lock` beside the log.
pub(super) fn lock_path(log: &Path) -> PathBuf {
    let mut name = OsString::from(log);
    name.push(".lock");
    name.into()
}

fn write_holder(file: &mut File, holder: &Holder) -> io::Result<()> {
    file.set_len(0)?;
    io::Seek::rewind(file)?;
    file.write_all(serde_json::to_string(holder)?.as_bytes())?;
    file.sync_all()
}

fn read_holder(file: &mut File) -> Option<Holder> {
    let mut text = String::new();
    file.take(4096).read_to_string(&mut text).ok()?;
    serde_json::from_str(&text).ok()
}

#[cfg(unix)]
fn is_still_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    // Not past a link: what is written must go into no other file.
    match (file.metadata(), fs::symlink_metadata(path)) {
        (Ok(ours), Ok(there)) => (ours.dev(), ours.ino()) == (there.dev(), there.ino()),
        _ => false,
    }
}

/// Where an open file cannot be removed, it is still there.
#[cfg(not(unix))]
fn is_still_at(_file: &File, _path: &Path) -> bool {
    true
}

/// Names the programs that hold a lock on a database file or its shared memory, where the system
/// tells: `/proc/locks` of Linux.
pub(super) fn who_locks(log: &Path) -> String {
    let found = holders_of(log).unwrap_or_default();
    if found.is_empty() {
        "which one cannot be told; look for open database tools or a backup that runs".to_owned()
    } else {
        found.join(", ")
    }
}

#[cfg(target_os = "linux")]
fn holders_of(log: &Path) -> Option<Vec<String>> {
    use std::os::unix::fs::MetadataExt;
    let mut shared = OsString::from(log);
    shared.push("-shm");
    let inodes: Vec<String> = [log, Path::new(&shared)]
        .into_iter()
        .filter_map(|path| fs::metadata(path).ok())
        .map(|data| format!(":{}", data.ino()))
        .collect();
    let ours = std::process::id();
    let mut pids: Vec<u32> = fs::read_to_string("/proc/locks")
        .ok()?
        .lines()
        .filter_map(|line| {
            let fields: Vec<&str> = line.split_whitespace().collect();
            let &[_, _, _, _, pid, inode, ..] = fields.as_slice() else {
                return None;
            };
            inodes
                .iter()
                .any(|end| inode.ends_with(end))
                .then(|| pid.parse().ok())
                .flatten()
        })
        .filter(|&pid| pid != ours)
        .collect();
    pids.sort_unstable();
    pids.dedup();
    let name = |pid: u32| {
        let name = fs::read_to_string(format!("/proc/{pid}/comm")).unwrap_or_default();
        format!("{} (process {pid})", name.trim())
    };
    Some(pids.into_iter().map(name).collect())
}

#[cfg(not(target_os = "linux"))]
fn holders_of(_log: &Path) -> Option<Vec<String>> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_writer_at_a_time() {
        let dir = tempfile::tempdir().unwrap();
        let log = dir.path().join("session.db");
        let now = Timestamp::now();
        let first = WriterLock::take(&log, "laptop", now).unwrap();
        assert_eq!(first.cut_short, None);
        let Err(StoreError::InUse { holder, .. }) = WriterLock::take(&log, "board", now) else {
            panic!("two writers");
        };
        assert_eq!(holder.pid, std::process::id());
        assert_eq!(holder.device, "laptop");
        drop(first);
        assert!(!lock_path(&log).exists());
        assert_eq!(
            WriterLock::take(&log, "board", now).unwrap().cut_short,
            None
        );
    }

    #[test]
    fn a_lock_file_left_behind_tells_of_an_end_cut_short() {
        let dir = tempfile::tempdir().unwrap();
        let log = dir.path().join("session.db");
        let before = Holder {
            pid: 4242,
            device: "laptop".into(),
            since: Timestamp::UNIX_EPOCH,
        };
        fs::write(lock_path(&log), serde_json::to_string(&before).unwrap()).unwrap();
        let taken = WriterLock::take(&log, "laptop", Timestamp::now()).unwrap();
        assert_eq!(taken.cut_short, Some(before));
    }

    #[test]
    fn a_lock_file_of_garbage_is_still_a_sign() {
        let dir = tempfile::tempdir().unwrap();
        let log = dir.path().join("session.db");
        fs::write(lock_path(&log), [0xff, 0, 0xfe]).unwrap();
        let taken = WriterLock::take(&log, "laptop", Timestamp::now()).unwrap();
        assert_eq!(taken.cut_short, Some(Holder::unknown()));
    }
}
