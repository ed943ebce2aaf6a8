//! Whose voice it is, where the phones of several learners hear one room.
//!
//! Each phone hears its own learner loudest, and the others more faintly. What arrives at several phones at
//! once belongs to the one where it is loudest against that phone's own floor. Nothing here knows a network, a
//! session or a clock: sound comes in with the time at which it arrived.
//!
//! ```text
//! bands   sound -> powers of bands, a hundred a second
//! phone   one phone: its powers, its floor, when its frames were
//! lag     how much later the same sound is in the frames of another: correlation
//! mod     the room: what of a frame is a phone's own, and whose the rest is
//! level   how loud a learner is at his own phone
//! utterance  whose a whole utterance is
//! gate    lets a learner's own voice through, and tells what it kept back
//! ```

mod bands;
mod gate;
mod lag;
mod level;
mod phone;
mod utterance;

pub use bands::STEP;
pub use gate::{JudgedStep, KeptBack, LetThrough, NeighbourGate};
pub use utterance::{Utterances, Whose};

use phone::Phone;

/// Frames a second of all that is compared.
pub const FRAMES: u32 = 100;

/// A sound that is further apart than this at two phones was two sounds: 60 ms.
const TOGETHER: i64 = 6;
/// How far a phone may be behind another on its way here, besides: 250 ms.
const ON_THE_WAY: i64 = 25;
/// How far its frames may be off another's before anything is known of both.
const REACH: i64 = TOGETHER + ON_THE_WAY;
/// A cell stands out of the floor from this power ratio on: 8 dB.
const STANDS_OUT: f32 = 6.3;
/// How much of another's sound comes over at most: 3 dB under. A phone on its own learner hears him louder than
/// any other does.
const MOST_OVER: f32 = 0.5;
/// What is taken for it before it is known: 8.5 dB under.
const USUAL_OVER: f32 = 0.14;
/// A cell is a phone's own from this many times on what comes over from others.
const OWN: f32 = 5.0;

/// Cells in which another is this loud tell how much of him comes over: 20 dB.
const LOUD: f32 = 100.0;
/// As long as the next loudest is this much quieter: 3 dB.
const CLEAR: f32 = 2.0;

/// What comes over from others in a cell, as power ratios.
#[derive(Debug, Clone, Copy)]
struct Coming {
    /// How loud it is here, and how loud at the phone whose it is.
    here: f32,
    there: f32,
    whose: usize,
    /// How loud the next is here.
    next: f32,
}

impl Default for Coming {
    fn default() -> Self {
        Self {
            here: 0.0,
            there: 0.0,
            whose: usize::MAX,
            next: 0.0,
        }
    }
}

/// What there is of a learner's own voice in a stretch of his phone's sound.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct OwnShare {
    /// Cells of time and band that stand out of the floor.
    pub cells: u32,
    /// How loud they are, in all.
    pub loud: f32,
    /// How loud those of them are that no other phone explains.
    pub own: f32,
    /// The phone that explains most of the rest.
    pub loudest: Option<usize>,
    /// How much that explains.
    pub theirs: f32,
}

impl OwnShare {
    /// Adds what stands out and is his own of another stretch.
    fn add(&mut self, other: &Self) {
        self.cells += other.cells;
        self.loud += other.loud;
        self.own += other.own;
    }

    /// The sum of many stretches.
    fn sum<'a>(all: impl IntoIterator<Item = &'a Self>) -> Self {
        let mut sum = Self::default();
        let mut by: Vec<f32> = Vec::new();
        for one in all {
            sum.add(one);
            if let Some(at) = one.loudest {
                if by.len() <= at {
                    by.resize(at + 1, 0.0);
                }
                by[at] += one.theirs;
            }
        }
        sum.explained(&by);
        sum
    }

    /// By which other phone most is explained, of how much each explains.
    fn explained(&mut self, by: &[f32]) {
        let most = by.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((at, theirs)) = most.filter(|most| *most.1 > 0.0) {
            self.loudest = Some(at);
            self.theirs = *theirs;
        }
    }

    /// The share, 0 to 1; 0 where nothing stands out.
    pub fn share(&self) -> f32 {
        self.own / self.loud.max(1.0)
    }
}

/// The phones of a room.
pub struct Neighbours {
    phones: Vec<Phone>,
}

impl Neighbours {
    /// A room with so many phones, none of which was heard yet.
    pub fn new(phones: usize) -> Self {
        Self {
            phones: (0..phones).map(|_| Phone::new(phones)).collect(),
        }
    }

    /// Takes what a phone heard, whole frames of it, which had arrived `arrived` frames (and parts of one) after
    /// the room began. The number of the first frame of it, counted by this phone.
    pub fn push(&mut self, phone: usize, arrived: f64, samples: &[f32]) -> u64 {
        let Some(own) = self.phones.get_mut(phone) else {
            return 0;
        };
        let first = own.steps();
        if own.push(arrived, samples) {
            self.align(phone);
        }
        first
    }

    /// Some of a phone's sound was lost: what comes next is no longer timed by what came before.
    pub fn lost(&mut self, phone: usize) {
        if let Some(own) = self.phones.get_mut(phone) {
            own.lost();
        }
    }

    /// Whether all that was heard at the time of a phone's frame is here, of all phones that are heard from.
    pub fn is_whole(&self, phone: usize, frame: u64) -> bool {
        let Some(own) = self.phones.get(phone) else {
            return true;
        };
        let at = own.time_of(frame);
        self.phones
            .iter()
            .filter(|other| other.is_heard(own))
            .all(|other| other.frame_at(at) + TOGETHER < other.next() as i64)
    }

    /// What there is of a phone's own in a stretch, from one of its frames to before another.
    pub fn own_in(&self, phone: usize, from: u64, to: u64) -> OwnShare {
        let Some(own) = self.phones.get(phone) else {
            return OwnShare::default();
        };
        let mut share = OwnShare::default();
        let mut by = vec![0.0_f32; self.phones.len()];
        for frame in from..to {
            let Some(powers) = own.powers(frame) else {
                continue;
            };
            let floor = own.floor();
            let coming = self.comes_over(phone, frame);
            for ((coming, power), floor) in coming.iter().zip(powers).zip(floor) {
                let ratio = power / floor;
                if ratio < STANDS_OUT {
                    continue;
                }
                let weight = ratio.sqrt();
                share.cells += 1;
                share.loud += weight;
                if ratio > OWN * coming.here {
                    share.own += weight;
                } else if let Some(by) = by.get_mut(coming.whose) {
                    *by += weight;
                }
            }
        }
        share.explained(&by);
        share
    }

    /// What of the others' sound comes over at a frame of a phone, each band by the one of whom most does; all
    /// against their own floors.
    fn comes_over(&self, phone: usize, frame: u64) -> [Coming; bands::COUNT] {
        let mut most = [Coming::default(); bands::COUNT];
        let Some(own) = self.phones.get(phone) else {
            return most;
        };
        let at = own.time_of(frame);
        for (n, other) in self.phones.iter().enumerate().filter(|(n, _)| *n != phone) {
            let path = own.path_to(n);
            let over = own.over(n);
            let middle = other.frame_at(at) + path.lag;
            let mut there = [0.0_f32; bands::COUNT];
            for near in middle - path.slack..=middle + path.slack {
                let Some(powers) = u64::try_from(near).ok().and_then(|f| other.powers(f)) else {
                    continue;
                };
                for (there, power) in there.iter_mut().zip(powers) {
                    *there = there.max(*power);
                }
            }
            for ((most, there), floor) in most.iter_mut().zip(there).zip(other.floor()) {
                let there = there / floor;
                let coming = Coming {
                    here: over * there,
                    there,
                    whose: n,
                    next: most.here,
                };
                if coming.here > most.here {
                    *most = coming;
                } else {
                    most.next = most.next.max(coming.here);
                }
            }
        }
        most
    }

    /// Learns how a phone's frames lie to those of the others, and how much of each comes over.
    fn align(&mut self, phone: usize) {
        for other in 0..self.phones.len() {
            if other == phone {
                continue;
            }
            let (Some(own), Some(far)) = (self.phones.get(phone), self.phones.get(other)) else {
                continue;
            };
            let path = lag::path(own, far, own.path_to(other));
            if let (Some(path), Some(own)) = (path, self.phones.get_mut(phone)) {
                own.set_path_to(other, path);
            }
        }
        self.learn(phone);
    }

    /// Learns how much of each comes over, from the frames since it was learned last.
    fn learn(&mut self, phone: usize) {
        let Some(own) = self.phones.get(phone) else {
            return;
        };
        let late = (REACH + 2).unsigned_abs();
        let to = own.next().saturating_sub(late);
        let floor = *own.floor();
        let mut seen = Vec::new();
        for frame in to.saturating_sub(phone::LOOKS)..to {
            let Some(powers) = own.powers(frame) else {
                continue;
            };
            let coming = self.comes_over(phone, frame);
            for ((coming, power), floor) in coming.iter().zip(powers).zip(&floor) {
                let ratio = (power / floor - 1.0).max(0.1) / coming.there;
                // Where two may be meant it tells of neither, and what is hardly under him is the own voice.
                let clear = coming.there > LOUD && coming.next * CLEAR < coming.here;
                if clear && ratio < MOST_OVER {
                    seen.push((coming.whose, ratio));
                }
            }
        }
        let Some(own) = self.phones.get_mut(phone) else {
            return;
        };
        let overs = own.overs();
        overs.iter_mut().for_each(phone::Over::forget);
        for (whose, ratio) in seen {
            if let Some(over) = overs.get_mut(whose) {
                over.count(ratio);
            }
        }
        overs.iter_mut().for_each(phone::Over::learn);
    }
}

#[cfg(test)]
mod tests;
