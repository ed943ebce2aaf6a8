//! Lets a learner's own voice through, puts the room's quiet in the place of a neighbour's, and tells what was
//! kept back.

use super::bands::STEP;
use super::{Neighbours, OwnShare};
use std::collections::VecDeque;

/// A frame is a learner's own from this share on.
const OPENS: f32 = 0.25;
/// Frames around one that it is judged with, on each side.
const AROUND: u64 = 8;
/// Fewer loud cells around a frame are no voice.
const LOUD_CELLS: u32 = 24;
/// Frames that are let through before and after his own: a quiet consonant is his too.
const BEFORE: u64 = 20;
const AFTER: u64 = 30;
/// A neighbour is over when he has not been loud for so many frames.
const PAUSE: u64 = 80;
/// So many loud frames are an utterance.
const UTTERANCE: u64 = 25;
/// A neighbour who goes on is told of after so many frames: 20 s.
const LONGEST: u64 = 2000;

/// What was a neighbour's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeptBack {
    /// The phone at which it was loudest, where that is known.
    pub at: Option<usize>,
    /// How long it was, in frames.
    pub frames: u64,
}

/// What goes on to a session, and what does not.
#[derive(Debug, Default)]
pub struct LetThrough {
    /// The sound, step by step.
    pub steps: Vec<JudgedStep>,
    /// What was a neighbour's.
    pub told: Vec<KeptBack>,
}

/// 10 ms of it.
#[derive(Debug)]
pub struct JudgedStep {
    /// Its samples: the learner's own, or as quiet as the room.
    pub sound: Vec<f32>,
    /// What of it was the learner's own; nothing where it was not let through.
    pub own: OwnShare,
}

/// A phone's sound on its way to its session.
pub struct NeighbourGate {
    phone: usize,
    /// Sound that waits for what is around it, and the number of its first frame.
    waiting: VecDeque<Vec<f32>>,
    first: u64,
    /// What is his own of the frames around the next that is judged, and the number after the last of them.
    known: VecDeque<OwnShare>,
    known_to: u64,
    /// Frames judged so far.
    judged: u64,
    /// Of frames that wait: whether they are let through, and what of them is his own.
    open: VecDeque<(bool, OwnShare)>,
    /// Until which frame it is open.
    until: u64,
    /// The power of the room's quiet.
    quiet: f32,
    noise: u32,
    kept: Option<Kept>,
}

struct Kept {
    from: u64,
    last: u64,
    loud: u64,
    by: Vec<u64>,
}

impl NeighbourGate {
    /// The gate of a phone.
    pub fn new(phone: usize) -> Self {
        Self {
            phone,
            waiting: VecDeque::new(),
            first: 0,
            known: VecDeque::new(),
            known_to: 0,
            judged: 0,
            open: VecDeque::new(),
            until: 0,
            quiet: 1e-8,
            noise: 0x2545_f491,
            kept: None,
        }
    }

    /// Takes sound whose first frame has this number; whole frames of it. Whether what waited was given up, as it
    /// does not join what comes now.
    pub fn push(&mut self, frame: u64, samples: &[f32]) -> bool {
        let joins = frame == self.first + self.waiting.len() as u64;
        if !joins {
            // Some was lost on the way: what waits belongs to nothing that comes.
            self.waiting.clear();
            self.open.clear();
            self.known.clear();
            self.known_to = frame;
            self.first = frame;
            self.judged = frame;
            self.until = 0;
        }
        for step in samples.chunks_exact(STEP) {
            self.waiting.push_back(step.to_vec());
        }
        !joins
    }

    /// What goes on to the session now. `late` is whether it does so even where others have not told yet what
    /// they heard.
    pub fn pass(&mut self, room: &Neighbours, late: bool) -> LetThrough {
        let mut told = Vec::new();
        let next = self.first + self.waiting.len() as u64;
        while self.known_to < next && (late || room.is_whole(self.phone, self.known_to)) {
            let share = room.own_in(self.phone, self.known_to, self.known_to + 1);
            self.known.push_back(share);
            self.known_to += 1;
        }
        while self.judged + AROUND < self.known_to || (late && self.judged < self.known_to) {
            told.extend(self.judge());
            self.judged += 1;
        }
        let mut steps = Vec::new();
        while self.first + BEFORE < self.judged || (late && self.first < self.judged) {
            let (Some(step), Some((open, own))) = (self.waiting.pop_front(), self.open.pop_front())
            else {
                break;
            };
            self.first += 1;
            steps.push(if open {
                JudgedStep { sound: step, own }
            } else {
                self.be_quiet(&step);
                JudgedStep {
                    sound: self.silence(step.len()),
                    own: OwnShare::default(),
                }
            });
        }
        LetThrough { steps, told }
    }

    /// Judges the next frame by what is around it.
    fn judge(&mut self) -> Option<KeptBack> {
        let begins = self.known_to - self.known.len() as u64;
        let from = self.judged.saturating_sub(AROUND).max(begins);
        let skip = usize::try_from(from - begins).unwrap_or(usize::MAX);
        self.known.drain(..skip.min(self.known.len()));
        let around = (self.judged + AROUND + 1).saturating_sub(from);
        let around = usize::try_from(around).unwrap_or(0);
        let share = OwnShare::sum(self.known.iter().take(around));
        let at = usize::try_from(self.judged - from).unwrap_or(0);
        let alone = self.known.get(at).copied().unwrap_or_default();
        let loud = share.cells >= LOUD_CELLS;
        let own = loud && share.share() >= OPENS;
        if own {
            self.until = self.judged + AFTER;
            let back = self.open.len().saturating_sub(BEFORE as usize);
            let again = self.open.iter_mut().skip(back);
            again.for_each(|(open, _)| *open = true);
        }
        let open = own || self.judged < self.until;
        self.open.push_back((open, alone));
        self.keep_back(loud && !open, share.loudest)
    }

    fn keep_back(&mut self, foreign: bool, by: Option<usize>) -> Option<KeptBack> {
        let now = self.judged;
        if foreign {
            let kept = self.kept.get_or_insert_with(|| Kept {
                from: now,
                last: now,
                loud: 0,
                by: Vec::new(),
            });
            kept.last = now;
            kept.loud += 1;
            if let Some(by) = by {
                if kept.by.len() <= by {
                    kept.by.resize(by + 1, 0);
                }
                kept.by[by] += 1;
            }
        }
        let over = self
            .kept
            .as_ref()
            .is_some_and(|kept| now > kept.last + PAUSE || now > kept.from + LONGEST);
        let kept = self.kept.take_if(|_| over)?;
        let most = kept.by.iter().enumerate().max_by_key(|(_, loud)| **loud);
        (kept.loud >= UTTERANCE).then_some(KeptBack {
            at: most.filter(|(_, loud)| **loud > 0).map(|(at, _)| at),
            frames: kept.last + 1 - kept.from,
        })
    }

    /// Learns how quiet the room is from what is not let through: it follows it down at once and up slowly.
    fn be_quiet(&mut self, step: &[f32]) {
        let power = step.iter().map(|s| s * s).sum::<f32>() / step.len().max(1) as f32;
        self.quiet = if power < self.quiet {
            power
        } else {
            self.quiet * 1.01
        }
        .max(1e-10);
    }

    /// Noise as quiet as the room (Marsaglia's xorshift), and no exact zeros: those are no microphone's.
    fn silence(&mut self, samples: usize) -> Vec<f32> {
        let level = (3.0 * self.quiet).sqrt();
        let mut next = || {
            self.noise ^= self.noise << 13;
            self.noise ^= self.noise >> 17;
            self.noise ^= self.noise << 5;
            level * (2.0 * (self.noise as f32 / u32::MAX as f32) - 1.0)
        };
        (0..samples).map(|_| next()).collect()
    }
}
