use std::{
    fs::File,
    io::{self, BufReader, Read},
    path::Path,
};

/// Whether a write-ahead log ends in a transaction that was begun and never committed. Frames of
/// older rounds, which SQLite leaves behind when it starts the file over, do not count.
///
/// The layout is that of "The WAL File Format" in SQLite's documentation of its file format.
pub(super) fn unfinished(path: &Path) -> bool {
    // No file, or one too short to say anything: nothing was begun.
    look(path).unwrap_or(false)
}

fn look(path: &Path) -> io::Result<bool> {
    let mut file = BufReader::new(File::open(path)?);
    let mut header = [0; 32];
    file.read_exact(&mut header)?;
    let (page_size, salts) = (u64::from(word(&header, 8)), &header[16..24]);
    let mut open_transaction = false;
    let mut frame = [0; 24];
    loop {
        if !fill(&mut file, &mut frame)? || &frame[8..16] != salts {
            return Ok(open_transaction);
        }
        let whole = io::copy(&mut file.by_ref().take(page_size), &mut io::sink())? == page_size;
        let commits = word(&frame, 4) != 0;
        open_transaction = !(commits && whole);
        if !whole {
            return Ok(true);
        }
    }
}

fn word(bytes: &[u8], at: usize) -> u32 {
    bytes[at..at + 4]
        .iter()
        .fold(0, |word, &byte| word << 8 | u32::from(byte))
}

/// Whether the buffer could be filled.
fn fill(file: &mut impl Read, buffer: &mut [u8]) -> io::Result<bool> {
    match file.read_exact(buffer) {
        Ok(()) => Ok(true),
        Err(why) if why.kind() == io::ErrorKind::UnexpectedEof => Ok(false),
        Err(why) => Err(why),
    }
}
