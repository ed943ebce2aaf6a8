//! How files go wrong: bytes lost, doubled and changed, lines in another order, numbers that nobody
//! expects, a piece of another file in the middle.

use fastrand::Rng;

/// Numbers and words that programs trip over.
const ODD: [&str; 24] = [
    "0",
    "-1",
    "1",
    "255",
    "256",
    "65535",
    "65536",
    "4294967295",
    "4294967296",
    "9223372036854775807",
    "18446744073709551616",
    "1e308",
    "1e-320",
    "-0.0",
    "nan",
    "inf",
    "0x7f",
    "\"\"",
    "true",
    "[]",
    "{}",
    "\u{0}",
    "\u{feff}",
    "é",
];

/// `seed` with one to eight changes; pieces of `others` may come into it.
pub fn spoil(rng: &mut Rng, seed: &[u8], others: &[Vec<u8>]) -> Vec<u8> {
    let mut bytes = seed.to_vec();
    for _ in 0..1 << rng.u32(0..4) {
        change(rng, &mut bytes, others);
    }
    bytes
}

/// As [`spoil`], for a text: what is no longer UTF-8 is replaced.
pub fn spoil_text(rng: &mut Rng, seeds: &[Vec<u8>]) -> String {
    let seed = rng.usize(..seeds.len());
    let bytes = spoil(rng, &seeds[seed], seeds);
    String::from_utf8_lossy(&bytes).into_owned()
}

fn change(rng: &mut Rng, bytes: &mut Vec<u8>, others: &[Vec<u8>]) {
    let range = |rng: &mut Rng, length: usize| {
        let from = rng.usize(..=length);
        let most = 1 << rng.u32(0..10);
        (from, (from + rng.usize(..=most)).min(length))
    };
    match rng.u32(0..10) {
        0 if !bytes.is_empty() => {
            let at = rng.usize(..bytes.len());
            bytes[at] ^= 1 << rng.u32(0..8);
        }
        1 if !bytes.is_empty() => {
            let at = rng.usize(..bytes.len());
            bytes[at] = rng.u8(..);
        }
        2 => {
            let (from, to) = range(rng, bytes.len());
            bytes.drain(from..to);
        }
        3 => {
            let (from, to) = range(rng, bytes.len());
            let piece = bytes[from..to].to_vec();
            let at = rng.usize(..=bytes.len());
            bytes.splice(at..at, piece);
        }
        4 => bytes.truncate(rng.usize(..=bytes.len())),
        5 if !others.is_empty() => {
            let other = &others[rng.usize(..others.len())];
            let (from, to) = range(rng, other.len());
            let at = rng.usize(..=bytes.len());
            bytes.splice(at..at, other[from..to].iter().copied());
        }
        6 => lines(rng, bytes),
        7 | 8 => number(rng, bytes),
        _ => {
            let at = rng.usize(..=bytes.len());
            bytes.splice(at..at, ODD[rng.usize(..ODD.len())].bytes());
        }
    }
}

/// A line lost, said twice, or in another's place.
fn lines(rng: &mut Rng, bytes: &mut Vec<u8>) {
    let mut all: Vec<Vec<u8>> = bytes.split(|&b| b == b'\n').map(<[u8]>::to_vec).collect();
    let (one, other) = (rng.usize(..all.len()), rng.usize(..all.len()));
    match rng.u32(0..3) {
        0 => drop(all.remove(one)),
        1 => all.insert(other, all[one].clone()),
        _ => all.swap(one, other),
    }
    *bytes = all.join(&b'\n');
}

/// A number in the text becomes an odd one.
fn number(rng: &mut Rng, bytes: &mut Vec<u8>) {
    let starts: Vec<usize> = (0..bytes.len())
        .filter(|&i| bytes[i].is_ascii_digit() && (i == 0 || !bytes[i - 1].is_ascii_digit()))
        .collect();
    if starts.is_empty() {
        return;
    }
    let from = starts[rng.usize(..starts.len())];
    let length = bytes[from..]
        .iter()
        .take_while(|b| b.is_ascii_digit())
        .count();
    bytes.splice(from..from + length, ODD[rng.usize(..ODD.len())].bytes());
}
