//! How much later the same sound is at another phone, found by correlation, and how much of it comes over.

use super::bands::{COUNT, Powers};
use super::phone::{Path, Phone};
use super::{REACH, TOGETHER};

/// Frames that are compared: 2 s.
const SPAN: i64 = 200;
/// Bands that are put together for it.
const EACH: usize = 3;
const GROUPS: usize = COUNT / EACH;
/// From this correlation on it is the same sound.
const SAME: f32 = 0.5;

/// The logarithms of how far a frame stands out, in groups of bands.
fn shape(powers: &Powers, floor: &Powers) -> [f32; GROUPS] {
    let mut shape = [0.0; GROUPS];
    for (n, group) in shape.iter_mut().enumerate() {
        let of = |all: &Powers| all[n * EACH..(n + 1) * EACH].iter().sum::<f32>();
        *group = (of(powers) / of(floor)).max(1.0).ln();
    }
    shape
}

fn shapes(phone: &Phone, from: i64, count: i64) -> Vec<Option<[f32; GROUPS]>> {
    let floor = phone.floor();
    (from..from + count)
        .map(|frame| {
            let powers = phone.powers(u64::try_from(frame).ok()?)?;
            Some(shape(powers, floor))
        })
        .collect()
}

/// The correlation of two stretches of shapes about their means, -1 to 1.
fn correlation(one: &[Option<[f32; GROUPS]>], other: &[Option<[f32; GROUPS]>]) -> f32 {
    let mut sums = [[0.0_f32; 5]; GROUPS];
    let mut count = 0.0_f32;
    for pair in one.iter().zip(other) {
        let (Some(a), Some(b)) = pair else { continue };
        count += 1.0;
        for ((sums, a), b) in sums.iter_mut().zip(a).zip(b) {
            for (sum, part) in sums.iter_mut().zip([*a, *b, a * a, b * b, a * b]) {
                *sum += part;
            }
        }
    }
    if count < SPAN as f32 / 2.0 {
        return 0.0;
    }
    let (mut both, mut first, mut second) = (0.0, 0.0, 0.0);
    for [a, b, aa, bb, ab] in sums {
        both += ab - a * b / count;
        first += aa - a * a / count;
        second += bb - b * b / count;
    }
    let power = (first * second).sqrt();
    if power > 0.0 { both / power } else { 0.0 }
}

/// How another's sound comes over to a phone, by the last two seconds of both; nothing where they tell nothing
/// new.
pub(super) fn path(own: &Phone, other: &Phone, known: Path) -> Option<Path> {
    let reach = if known.known { TOGETHER } else { REACH };
    let last = own.next() as i64 - reach - 2;
    let from = last - SPAN;
    let there = other.frame_at(own.time_of(u64::try_from(from).ok()?)) + known.lag;
    let here = shapes(own, from, SPAN);
    let mut far = shapes(other, there - reach, SPAN + 2 * reach);
    // What has not arrived yet is not waited for.
    far.resize((SPAN + 2 * reach) as usize, None);
    let mut best = (SAME, None);
    for lag in -reach..=reach {
        let at = (lag + reach) as usize;
        let found = correlation(&here, far.get(at..at + SPAN as usize)?);
        if found > best.0 {
            best = (found, Some(lag));
        }
    }
    let mut path = known;
    if let Some(lag) = best.1 {
        path.lag = known.lag + lag;
        path.slack = 2;
        path.known = true;
    }
    Some(path)
}
