//! One phone of a room: the powers of its frames, its floor, and when its frames were.

use super::bands::{Bands, COUNT, Powers, STEP};
use super::{TOGETHER, USUAL_OVER};
use std::collections::VecDeque;

/// Frames that are remembered: 14 s, longer than a session may lag behind.
const KEPT: usize = 1400;
/// How often the paths to others are looked at anew: once in half a second.
pub(super) const LOOKS: u64 = 50;
/// Frames in a block of the floor, and blocks that are remembered: 1 s and 20 s.
const BLOCK: u32 = 100;
const BLOCKS: usize = 20;
/// Frames in a block of arrivals, and blocks: 5 s and 20 s.
const ARRIVALS: u64 = 500;
const SPANS: usize = 4;
/// Who was not heard for so long is not waited for: 0.4 s.
const SILENT: f64 = 40.0;

/// How another phone's sound comes over to this one.
#[derive(Debug, Clone, Copy)]
pub(super) struct Path {
    /// Frames by which it is later there than the times of both say.
    pub lag: i64,
    /// How exactly that is known.
    pub slack: i64,
    /// Whether a correlation has told.
    pub known: bool,
}

impl Default for Path {
    fn default() -> Self {
        Self {
            lag: 0,
            slack: TOGETHER,
            known: false,
        }
    }
}

/// One phone.
pub(super) struct Phone {
    bands: Bands,
    frames: VecDeque<Powers>,
    /// The number of the first of them.
    first: u64,
    /// Steps of sound that came.
    steps: u64,
    floor: Floor,
    /// The earliest that frame 0 can have been, of past spans and this one.
    spans: VecDeque<f64>,
    earliest: f64,
    counted: u64,
    arrived: f64,
    paths: Vec<Path>,
    overs: Vec<Over>,
    looked: u64,
}

/// How much of another's sound comes over, learned from cells in which he is loud: how often it was how much,
/// the old forgotten by and by.
#[derive(Debug, Clone)]
pub(super) struct Over {
    counts: [f32; Self::BINS],
    total: f32,
    /// As a power ratio of both against their floors.
    pub ratio: f32,
}

impl Default for Over {
    fn default() -> Self {
        Self {
            counts: [0.0; Self::BINS],
            total: 0.0,
            ratio: USUAL_OVER,
        }
    }
}

impl Over {
    /// From 30 dB under to nothing under, 1.5 dB each.
    const BINS: usize = 20;
    const STEP: f32 = 1.5;
    /// What is left of what was counted when more is: half after 12 s of looking.
    const LEFT: f32 = 0.97;
    /// So many cells tell.
    const ENOUGH: f32 = 100.0;
    /// It is the ratio that this share of them is under: walls make each cell another.
    const SHARE: f32 = 0.72;

    pub(super) fn forget(&mut self) {
        self.total *= Self::LEFT;
        for count in &mut self.counts {
            *count *= Self::LEFT;
        }
    }

    pub(super) fn count(&mut self, ratio: f32) {
        let bin = (10.0 * ratio.log10() / Self::STEP) as i32 + Self::BINS as i32 - 1;
        let bin = usize::try_from(bin).unwrap_or(0).min(Self::BINS - 1);
        self.counts[bin] += 1.0;
        self.total += 1.0;
    }

    pub(super) fn learn(&mut self) {
        if self.total < Self::ENOUGH {
            return;
        }
        let mut left = Self::SHARE * self.total;
        let bin = self.counts.iter().position(|count| {
            left -= count;
            left <= 0.0
        });
        let under = Self::STEP * (Self::BINS - bin.unwrap_or(0)) as f32 - Self::STEP / 2.0;
        self.ratio = 10f32.powf(-under / 10.0);
    }
}

impl Phone {
    pub(super) fn new(phones: usize) -> Self {
        Self {
            bands: Bands::default(),
            frames: VecDeque::new(),
            first: 0,
            steps: 0,
            floor: Floor::default(),
            spans: VecDeque::new(),
            earliest: f64::INFINITY,
            counted: 0,
            arrived: f64::NEG_INFINITY,
            paths: vec![Path::default(); phones],
            overs: vec![Over::default(); phones],
            looked: 0,
        }
    }

    /// Takes sound; whether it is time to look at the paths anew.
    pub(super) fn push(&mut self, arrived: f64, samples: &[f32]) -> bool {
        self.steps += (samples.len() / STEP) as u64;
        for powers in self.bands.push(samples) {
            self.floor.push(&powers);
            self.frames.push_back(powers);
            if self.frames.len() > KEPT {
                self.frames.pop_front();
                self.first += 1;
            }
        }
        self.arrived = arrived;
        self.earliest = self.earliest.min(arrived - self.next() as f64);
        self.counted += (samples.len() / STEP) as u64;
        if self.counted >= ARRIVALS {
            self.counted = 0;
            self.spans.push_back(self.earliest);
            if self.spans.len() > SPANS {
                self.spans.pop_front();
            }
            self.earliest = arrived - self.next() as f64;
        }
        let due = self.next() >= self.looked + LOOKS;
        if due {
            self.looked = self.next();
        }
        due
    }

    pub(super) fn lost(&mut self) {
        self.first = self.steps;
        self.frames.clear();
        self.bands = Bands::default();
        self.spans.clear();
        self.earliest = f64::INFINITY;
        for path in &mut self.paths {
            path.known = false;
            path.lag = 0;
            path.slack = TOGETHER;
        }
    }

    /// The number of the first frame of what comes next.
    pub(super) fn steps(&self) -> u64 {
        self.steps
    }

    /// The number of the next frame whose powers are known.
    pub(super) fn next(&self) -> u64 {
        self.first + self.frames.len() as u64
    }

    pub(super) fn powers(&self, frame: u64) -> Option<&Powers> {
        let at = usize::try_from(frame.checked_sub(self.first)?).ok()?;
        self.frames.get(at)
    }

    pub(super) fn floor(&self) -> &Powers {
        &self.floor.level
    }

    fn begins(&self) -> f64 {
        self.spans.iter().copied().fold(self.earliest, f64::min)
    }

    /// When a frame was, in frames since the room began.
    pub(super) fn time_of(&self, frame: u64) -> f64 {
        self.begins() + frame as f64
    }

    /// The frame of that time.
    pub(super) fn frame_at(&self, time: f64) -> i64 {
        let frame = time - self.begins();
        if frame.is_finite() {
            frame.round() as i64
        } else {
            i64::MIN / 2
        }
    }

    /// Whether it is another that is heard from at the time that this other one was heard from last.
    pub(super) fn is_heard(&self, by: &Self) -> bool {
        self.next() > 0 && self.arrived > by.arrived - SILENT
    }

    pub(super) fn path_to(&self, other: usize) -> Path {
        self.paths.get(other).copied().unwrap_or_default()
    }

    pub(super) fn over(&self, other: usize) -> f32 {
        self.overs.get(other).map_or(USUAL_OVER, |over| over.ratio)
    }

    pub(super) fn overs(&mut self) -> &mut [Over] {
        &mut self.overs
    }

    pub(super) fn set_path_to(&mut self, other: usize, path: Path) {
        if let Some(own) = self.paths.get_mut(other) {
            *own = path;
        }
    }
}

/// The room's sound at a phone, band by band: the least power, smoothed, of the last seconds.
struct Floor {
    smooth: Powers,
    least: Powers,
    past: VecDeque<Powers>,
    frames: u32,
    /// Frames that went into what is smoothed, at the beginning.
    begun: u32,
    /// What it is now.
    level: Powers,
}

impl Default for Floor {
    fn default() -> Self {
        Self {
            smooth: [0.0; COUNT],
            least: [f32::INFINITY; COUNT],
            past: VecDeque::new(),
            frames: 0,
            begun: 0,
            level: [1e-9; COUNT],
        }
    }
}

impl Floor {
    /// How much of a new frame goes into what is smoothed.
    const NEW: f32 = 0.15;
    /// The least of what is smoothed lies under the mean of steady noise: by so much.
    const UNDER: f32 = 2.0;
    /// So many frames tell how quiet it is at first: one alone may be far quieter than the noise it is of.
    const FIRST: u32 = 20;

    fn push(&mut self, powers: &Powers) {
        self.begun = (self.begun + 1).min(Self::FIRST);
        let new = Self::NEW.max(1.0 / self.begun as f32);
        for (smooth, power) in self.smooth.iter_mut().zip(powers) {
            *smooth += new * (power - *smooth);
        }
        if self.begun < Self::FIRST {
            self.level = self.smooth.map(|smooth| Self::UNDER * smooth);
            return;
        }
        for (least, smooth) in self.least.iter_mut().zip(&self.smooth) {
            *least = least.min(*smooth);
        }
        self.frames += 1;
        if self.frames == BLOCK {
            self.frames = 0;
            self.past.push_back(self.least);
            if self.past.len() > BLOCKS {
                self.past.pop_front();
            }
            self.least = self.smooth;
        }
        let mut least = self.least;
        for past in &self.past {
            for (least, past) in least.iter_mut().zip(past) {
                *least = least.min(*past);
            }
        }
        self.level = least.map(|least| Self::UNDER * least);
    }
}
