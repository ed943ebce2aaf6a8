//! A disk that is watched: SQLite's own file layer with every write, truncation, sync and removal
//! noted, able to fail on demand, and a model of what a disk may hold after the power went.
//!
//! The model is the one SQLite's documentation gives in "Atomic Commit In SQLite": what was
//! synced is there; of what was written since, any sectors may have arrived, in any order, and a
//! sector may be spoilt while it is being written; a file's name is on the disk once its folder
//! was synced, which SQLite does with the first sync of a new write-ahead log.
#![allow(unsafe_code, reason = "SQLite's file layer is a table of C functions")]

use rusqlite::ffi;
use std::{
    collections::{BTreeMap, HashMap},
    ffi::{CStr, c_char, c_int, c_void},
    path::{Path, PathBuf},
    sync::{Mutex, MutexGuard, OnceLock},
};

const SECTOR: usize = 512;

/// Something that happened to the disk.
#[derive(Debug, Clone)]
pub enum Op {
    /// A file was opened, made if it was not there.
    Open(PathBuf),
    Write(PathBuf, usize, Vec<u8>),
    Truncate(PathBuf, usize),
    Sync(PathBuf),
    Remove(PathBuf),
    /// The program was told that this many events are kept.
    Acknowledged(usize),
}

/// How the disk fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failure {
    /// No room: half of the write arrives.
    Full,
    /// A write fails.
    Write,
    /// A sync fails, though everything may have arrived.
    Sync,
}

#[derive(Default)]
struct Watch {
    /// Only what happens here is noted and fails: other tests use the same file layer meanwhile.
    folder: PathBuf,
    ops: Option<Vec<Op>>,
    files: BTreeMap<usize, File>,
    /// Fail from this operation on, for so many operations.
    failing: Option<(usize, usize, Failure)>,
    counted: usize,
}

#[derive(Clone)]
struct File {
    name: PathBuf,
    real: &'static ffi::sqlite3_io_methods,
}

static WATCH: Mutex<Option<Watch>> = Mutex::new(None);

fn watch() -> MutexGuard<'static, Option<Watch>> {
    WATCH
        .lock()
        .unwrap_or_else(|poisoned| poisoned.into_inner())
}

fn note(op: Op) {
    let mut watch = watch();
    let Some(watch) = watch.as_mut() else { return };
    let here = match &op {
        Op::Open(name)
        | Op::Write(name, ..)
        | Op::Truncate(name, _)
        | Op::Sync(name)
        | Op::Remove(name) => name.starts_with(&watch.folder),
        Op::Acknowledged(_) => true,
    };
    if let Some(ops) = watch.ops.as_mut().filter(|_| here) {
        ops.push(op);
    }
}

/// Begins to note what happens in a folder.
pub fn begin(folder: &Path) {
    install();
    if let Some(watch) = watch().as_mut() {
        watch.folder = folder.canonicalize().unwrap();
        watch.ops = Some(Vec::new());
    }
}

/// Notes that the program was told that `events` events are kept.
pub fn acknowledged(events: usize) {
    note(Op::Acknowledged(events));
}

/// Ends noting and gives back what happened.
pub fn end() -> Vec<Op> {
    watch()
        .as_mut()
        .and_then(|watch| watch.ops.take())
        .unwrap_or_default()
}

/// Lets operations in a folder fail: `times` of them, after `after` more have gone well. Returns
/// nothing; [`heal`] says how many operations there were.
pub fn fail(folder: &Path, after: usize, times: usize, how: Failure) {
    install();
    if let Some(watch) = watch().as_mut() {
        watch.folder = folder.canonicalize().unwrap();
        watch.failing = Some((after, times, how));
        watch.counted = 0;
    }
}

/// The disk is well again. Returns how many operations were counted since [`fail`].
pub fn heal() -> usize {
    watch().as_mut().map_or(0, |watch| {
        watch.failing = None;
        std::mem::take(&mut watch.counted)
    })
}

/// Whether an operation of this kind on this file is to fail now.
fn fails(name: &Path, sync: bool) -> Option<Failure> {
    let mut watch = watch();
    let watch = watch.as_mut()?;
    if !name.starts_with(&watch.folder) {
        return None;
    }
    let (after, times, how) = watch.failing?;
    if sync != (how == Failure::Sync) {
        return None;
    }
    let number = watch.counted;
    watch.counted += 1;
    (number >= after && number - after < times).then_some(how)
}

/// Puts the watch in front of SQLite's file layer for the whole process, once.
fn install() {
    static DONE: OnceLock<()> = OnceLock::new();
    DONE.get_or_init(|| {
        // SAFETY: SQLite keeps its default file layer for as long as the process lives, and so
        // does the copy made here, whose functions have the types the table asks for.
        unsafe {
            ffi::sqlite3_initialize();
            let real = ffi::sqlite3_vfs_find(std::ptr::null());
            let _ = REAL.set(Real(*real));
            let mut copy = *real;
            copy.zName = c"watched".as_ptr();
            copy.pNext = std::ptr::null_mut();
            copy.xOpen = Some(open);
            copy.xDelete = Some(remove);
            assert_eq!(
                ffi::sqlite3_vfs_register(Box::leak(Box::new(copy)), 1),
                ffi::SQLITE_OK
            );
        }
        *watch() = Some(Watch::default());
    });
}

struct Real(ffi::sqlite3_vfs);
// SAFETY: only its function pointers are used, which any thread may call.
unsafe impl Send for Real {}
// SAFETY: as above.
unsafe impl Sync for Real {}
static REAL: OnceLock<Real> = OnceLock::new();

unsafe fn path_of(name: *const c_char) -> PathBuf {
    // SAFETY: SQLite hands over a string that ends in zero.
    PathBuf::from(
        unsafe { CStr::from_ptr(name) }
            .to_string_lossy()
            .into_owned(),
    )
}

unsafe extern "C" fn open(
    vfs: *mut ffi::sqlite3_vfs,
    name: ffi::sqlite3_filename,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    out: *mut c_int,
) -> c_int {
    let Some(open) = REAL.get().and_then(|real| real.0.xOpen) else {
        return ffi::SQLITE_CANTOPEN;
    };
    // SAFETY: the arguments are those SQLite gave; the file it opened has a table of functions,
    // which is replaced by a copy that lives for ever.
    unsafe {
        let rc = open(vfs, name, file, flags, out);
        if rc == ffi::SQLITE_OK && !name.is_null() && !(*file).pMethods.is_null() {
            let name = path_of(name);
            let real: &'static ffi::sqlite3_io_methods = &*(*file).pMethods;
            note(Op::Open(name.clone()));
            if let Some(watch) = watch().as_mut() {
                watch.files.insert(file as usize, File { name, real });
            }
            (*file).pMethods = watched(real);
        }
        rc
    }
}

/// The watched copy of a table of functions, one for each.
fn watched(real: &'static ffi::sqlite3_io_methods) -> &'static ffi::sqlite3_io_methods {
    static COPIES: Mutex<Option<HashMap<usize, &'static ffi::sqlite3_io_methods>>> =
        Mutex::new(None);
    let mut copies = COPIES
        .lock()
        .unwrap_or_else(|poisoned| poisoned.into_inner());
    copies
        .get_or_insert_with(HashMap::new)
        .entry(std::ptr::from_ref(real) as usize)
        .or_insert_with(|| {
            let mut copy = *real;
            copy.xWrite = Some(write);
            copy.xTruncate = Some(truncate);
            copy.xSync = Some(sync);
            copy.xClose = Some(close);
            Box::leak(Box::new(copy))
        })
}

fn opened(file: *mut ffi::sqlite3_file) -> Option<File> {
    watch().as_ref()?.files.get(&(file as usize)).cloned()
}

unsafe extern "C" fn write(
    file: *mut ffi::sqlite3_file,
    data: *const c_void,
    amount: c_int,
    at: ffi::sqlite3_int64,
) -> c_int {
    let Some((known, write)) =
        opened(file).and_then(|known| Some((known.clone(), known.real.xWrite?)))
    else {
        return ffi::SQLITE_IOERR;
    };
    let failure = fails(&known.name, false);
    let arrives = match failure {
        None => amount,
        Some(Failure::Full) => amount / 2,
        Some(_) => 0,
    };
    // SAFETY: `arrives` is no more than SQLite's `amount`.
    unsafe {
        let rc = if arrives > 0 {
            write(file, data, arrives, at)
        } else {
            ffi::SQLITE_OK
        };
        if rc == ffi::SQLITE_OK && arrives > 0 {
            let data = std::slice::from_raw_parts(data.cast::<u8>(), arrives as usize).to_vec();
            note(Op::Write(known.name, at as usize, data));
        }
        match failure {
            None => rc,
            Some(Failure::Full) => ffi::SQLITE_FULL,
            Some(_) => ffi::SQLITE_IOERR_WRITE,
        }
    }
}

unsafe extern "C" fn truncate(file: *mut ffi::sqlite3_file, size: ffi::sqlite3_int64) -> c_int {
    let Some((known, truncate)) =
        opened(file).and_then(|known| Some((known.clone(), known.real.xTruncate?)))
    else {
        return ffi::SQLITE_IOERR;
    };
    if fails(&known.name, false) == Some(Failure::Write) {
        return ffi::SQLITE_IOERR_TRUNCATE;
    }
    // SAFETY: the arguments are SQLite's.
    let rc = unsafe { truncate(file, size) };
    if rc == ffi::SQLITE_OK {
        note(Op::Truncate(known.name, size as usize));
    }
    rc
}

unsafe extern "C" fn sync(file: *mut ffi::sqlite3_file, flags: c_int) -> c_int {
    let Some((known, sync)) =
        opened(file).and_then(|known| Some((known.clone(), known.real.xSync?)))
    else {
        return ffi::SQLITE_IOERR;
    };
    if fails(&known.name, true).is_some() {
        return ffi::SQLITE_IOERR_FSYNC;
    }
    // SAFETY: the arguments are SQLite's.
    let rc = unsafe { sync(file, flags) };
    if rc == ffi::SQLITE_OK {
        note(Op::Sync(known.name));
    }
    rc
}

unsafe extern "C" fn close(file: *mut ffi::sqlite3_file) -> c_int {
    let known = watch()
        .as_mut()
        .and_then(|watch| watch.files.remove(&(file as usize)));
    match known.and_then(|known| known.real.xClose) {
        // SAFETY: the argument is SQLite's.
        Some(close) => unsafe { close(file) },
        None => ffi::SQLITE_IOERR,
    }
}

unsafe extern "C" fn remove(
    vfs: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    sync_folder: c_int,
) -> c_int {
    let Some(remove) = REAL.get().and_then(|real| real.0.xDelete) else {
        return ffi::SQLITE_IOERR;
    };
    // SAFETY: the arguments are SQLite's.
    unsafe {
        let rc = remove(vfs, name, sync_folder);
        if rc == ffi::SQLITE_OK {
            note(Op::Remove(path_of(name)));
        }
        rc
    }
}

/// What becomes of what was written and not synced when the power goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unsynced {
    /// None of it arrived.
    Lost,
    /// All of it arrived.
    Arrived,
    /// Some sectors arrived and some did not.
    Scattered,
    /// As before, and one sector holds garbage.
    Spoilt,
}

/// A small generator of numbers, the same for the same seed (xorshift64*).
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 16
    }

    /// A number below `end`.
    pub fn below(&mut self, end: usize) -> usize {
        (self.next() % (end.max(1) as u64)) as usize
    }
}

#[derive(Default, Clone)]
struct OnDisk {
    /// Whether the name is in the folder for good.
    named: bool,
    /// Whether its removal is still only in memory.
    removing: bool,
    synced: Vec<u8>,
    pending: Vec<Pending>,
}

#[derive(Clone)]
enum Pending {
    Write(usize, Vec<u8>),
    Truncate(usize),
}

/// What the disk holds when the power goes after `ops`. Shared memory is not on it.
pub fn after_power_cut(ops: &[Op], unsynced: Unsynced, seed: u64) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files: BTreeMap<PathBuf, OnDisk> = BTreeMap::new();
    for op in ops {
        match op {
            Op::Open(name) => {
                let file = files.entry(name.clone()).or_default();
                if file.removing {
                    *file = OnDisk {
                        named: file.named,
                        ..OnDisk::default()
                    };
                }
            }
            Op::Write(name, at, data) => {
                let file = files.entry(name.clone()).or_default();
                file.pending.push(Pending::Write(*at, data.clone()));
            }
            Op::Truncate(name, size) => {
                let file = files.entry(name.clone()).or_default();
                file.pending.push(Pending::Truncate(*size));
            }
            Op::Sync(name) => {
                if let Some(file) = files.get_mut(name) {
                    for pending in std::mem::take(&mut file.pending) {
                        apply_whole(&mut file.synced, &pending);
                    }
                }
                if is_log(name) {
                    files.retain(|_, file| !file.removing);
                    files.values_mut().for_each(|file| file.named = true);
                }
            }
            Op::Remove(name) => {
                if let Some(file) = files.get_mut(name) {
                    file.removing = true;
                }
            }
            Op::Acknowledged(_) => {}
        }
    }
    let mut chance = Chance::new(seed);
    files
        .into_iter()
        .filter_map(|(name, file)| Some((name, survives(file, unsynced, &mut chance)?)))
        .collect()
}

fn is_log(name: &Path) -> bool {
    let name = name.to_string_lossy();
    name.ends_with("-wal") || name.ends_with("-journal")
}

fn survives(file: OnDisk, unsynced: Unsynced, chance: &mut Chance) -> Option<Vec<u8>> {
    let coin = |chance: &mut Chance| match unsynced {
        Unsynced::Lost => false,
        Unsynced::Arrived => true,
        Unsynced::Scattered | Unsynced::Spoilt => chance.below(2) == 0,
    };
    if file.removing && coin(chance) {
        return None;
    }
    if !file.named && !coin(chance) {
        return None;
    }
    let mut data = file.synced;
    let spoilt = (unsynced == Unsynced::Spoilt && !file.pending.is_empty())
        .then(|| chance.below(file.pending.len()));
    for (index, pending) in file.pending.iter().enumerate() {
        match pending {
            Pending::Truncate(_) => {
                if coin(chance) {
                    apply_whole(&mut data, pending);
                }
            }
            Pending::Write(at, bytes) => {
                let mut from = 0;
                while from < bytes.len() {
                    let to = bytes.len().min(from + SECTOR - (at + from) % SECTOR);
                    if coin(chance) {
                        apply_whole(
                            &mut data,
                            &Pending::Write(at + from, bytes[from..to].to_vec()),
                        );
                    }
                    from = to;
                }
                if spoilt == Some(index) {
                    let garbage = (0..SECTOR).map(|_| chance.next() as u8).collect();
                    let sector = (at + chance.below(bytes.len())) / SECTOR * SECTOR;
                    apply_whole(&mut data, &Pending::Write(sector, garbage));
                }
            }
        }
    }
    Some(data)
}

fn apply_whole(data: &mut Vec<u8>, pending: &Pending) {
    match pending {
        Pending::Write(at, bytes) => {
            if data.len() < at + bytes.len() {
                data.resize(at + bytes.len(), 0);
            }
            data[*at..at + bytes.len()].copy_from_slice(bytes);
        }
        Pending::Truncate(size) => data.truncate(*size),
    }
}
