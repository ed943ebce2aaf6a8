use std::{
    fs::File,
    io::{self, BufReader, Read},
    path::Path,
};

/// Whether a write-ahead log ends in a transaction that was begun and not finished, which the
/// next to open it drops. Frames of older rounds, which SQLite leaves behind when it starts the
/// file over, do not count.
///
/// The layout is that of "The WAL File Format" in SQLite's documentation of its file format.
pub(super) fn unfinished(path: &Path) -> bool {
    // No file, or one that cannot be read: SQLite will say so itself if it matters.
    File::open(path)
        .and_then(|file| look(BufReader::new(file)))
        .unwrap_or(false)
}

fn look(mut file: impl Read) -> io::Result<bool> {
    let mut header = [0; 32];
    if !fill(&mut file, &mut header)? {
        return Ok(false);
    }
    let mut sum = Sum::new(word(&header, 0) & 1 == 1);
    sum.add(&header[..24]);
    let salts = &header[16..24];
    // Pages are 512 to 65,536 bytes, so nothing that the file says can ask for more.
    let mut page = vec![0; (word(&header, 8) as usize).clamp(512, 65_536)];
    let mut begun = false;
    let mut frame = [0; 24];
    while fill(&mut file, &mut frame)? && &frame[8..16] == salts {
        let whole = fill(&mut file, &mut page)?;
        sum.add(&frame[..8]);
        sum.add(&page);
        let commits = word(&frame, 4) != 0;
        if !whole || !sum.is(&frame[16..24]) {
            return Ok(true);
        }
        begun = !commits;
    }
    Ok(begun)
}

/// The running checksum of a write-ahead log.
struct Sum {
    big_endian: bool,
    sums: (u32, u32),
}

impl Sum {
    fn new(big_endian: bool) -> Self {
        Self {
            big_endian,
            sums: (0, 0),
        }
    }

    fn add(&mut self, bytes: &[u8]) {
        let (pairs, _) = bytes.as_chunks::<8>();
        for &[a, b, c, d, e, f, g, h] in pairs {
            let (first, second) = if self.big_endian {
                (
                    u32::from_be_bytes([a, b, c, d]),
                    u32::from_be_bytes([e, f, g, h]),
                )
            } else {
                (
                    u32::from_le_bytes([a, b, c, d]),
                    u32::from_le_bytes([e, f, g, h]),
                )
            };
            let (one, two) = &mut self.sums;
            *one = one.wrapping_add(first).wrapping_add(*two);
            *two = two.wrapping_add(second).wrapping_add(*one);
        }
    }

    fn is(&self, kept: &[u8]) -> bool {
        (word(kept, 0), word(kept, 4)) == self.sums
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

#[cfg(test)]
mod tests {
    use super::*;
    use rusqlite::Connection;

    /// A write-ahead log as SQLite itself writes it, with three commits in it.
    fn three_commits() -> Vec<u8> {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("plain.db");
        let writer = Connection::open(&path).unwrap();
        writer.pragma_update(None, "journal_mode", "wal").unwrap();
        for sql in [
            "CREATE TABLE t (x)",
            "INSERT INTO t VALUES (1)",
            "INSERT INTO t VALUES (2)",
        ] {
            writer.execute(sql, []).unwrap();
        }
        std::fs::read(dir.path().join("plain.db-wal")).unwrap()
    }

    #[test]
    fn whole_commits_are_finished() {
        assert!(!look(&three_commits()[..]).unwrap());
        assert!(!look(&b""[..]).unwrap());
        assert!(!look(&[0; 32][..]).unwrap());
    }

    #[test]
    fn a_commit_cut_anywhere_is_unfinished() {
        let wal = three_commits();
        let last_frame = wal.len() - 24 - 4096;
        for cut in [1, 100, 4096, 4119] {
            assert!(
                look(&wal[..last_frame + 24 + 4096 - cut]).unwrap() || cut > 4096,
                "{cut}"
            );
        }
        assert!(!look(&wal[..last_frame]).unwrap());
    }

    #[test]
    fn a_torn_page_is_unfinished() {
        let mut wal = three_commits();
        let in_last_page = wal.len() - 10;
        wal[in_last_page] ^= 1;
        assert!(look(&wal[..]).unwrap());
    }
}
