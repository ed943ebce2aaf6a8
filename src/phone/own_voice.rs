//! A learner's own voice among those of a room: what the phones of the others hear too is kept from his session.

use crate::audio::line::CHUNK;
use crate::audio::{Levels, Utterance};
use crate::dialogue::Input;
use crate::neighbours::{JudgedStep, KeptBack, NeighbourGate, Neighbours, STEP, Utterances, Whose};
use crate::sequence::NeighbourSign;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Who is behind by so much is not waited for.
const LATE: Duration = Duration::from_millis(350);
/// One phone's place among those that hear a room.
#[derive(Clone)]
pub(super) struct InRoom {
    room: Arc<Mutex<Neighbours>>,
    phone: usize,
    begun: Instant,
    /// Whose the phones are.
    names: Arc<[String]>,
}

impl InRoom {
    /// The places of a room, one for each of these learners.
    pub(super) fn of(names: Vec<String>) -> Vec<Self> {
        let room = Arc::new(Mutex::new(Neighbours::new(names.len())));
        let names: Arc<[String]> = names.into();
        let begun = Instant::now();
        (0..names.len())
            .map(|phone| Self {
                room: Arc::clone(&room),
                phone,
                begun,
                names: Arc::clone(&names),
            })
            .collect()
    }

    fn lock(&self) -> MutexGuard<'_, Neighbours> {
        self.room.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes what this phone heard; the number of its first frame.
    pub(super) fn push(&self, chunk: &[f32]) -> u64 {
        let frames = self.begun.elapsed().as_secs_f64() * f64::from(crate::neighbours::FRAMES);
        self.lock().push(self.phone, frames, chunk)
    }

    /// Some of it was lost on its way.
    pub(super) fn lost(&self) {
        self.lock().lost(self.phone);
    }
}

/// What a session hears of its phone.
pub(super) struct OwnVoice {
    room: InRoom,
    gate: NeighbourGate,
    /// Of chunks that wait: since when, and whether the phone spoke.
    waiting: VecDeque<(Instant, bool)>,
    ready: VecDeque<JudgedStep>,
    told: Arc<Mutex<Told>>,
}

/// What the source is told beside the sound.
#[derive(Default)]
pub(super) struct Told {
    kept: VecDeque<KeptBack>,
    utterances: Utterances,
}

impl OwnVoice {
    /// His voice at this place, and what is told beside it.
    pub(super) fn at(room: InRoom) -> (Self, Judge) {
        let told = Arc::<Mutex<Told>>::default();
        let judge = Judge {
            told: Arc::clone(&told),
            names: Arc::clone(&room.names),
        };
        let own = Self {
            gate: NeighbourGate::new(room.phone),
            room,
            waiting: VecDeque::new(),
            ready: VecDeque::new(),
            told,
        };
        (own, judge)
    }

    pub(super) fn push(&mut self, frame: u64, chunk: &[f32], spoke: bool) {
        if self.gate.push(frame, chunk) {
            self.waiting.clear();
            self.ready.clear();
        }
        self.waiting.push_back((Instant::now(), spoke));
    }

    /// The next chunk whose owner is known, and whether the phone spoke in it.
    pub(super) fn next(&mut self) -> Option<(Vec<f32>, bool)> {
        let (since, spoke) = *self.waiting.front()?;
        if self.ready.len() * STEP < CHUNK {
            let passed = self.gate.pass(&self.room.lock(), since.elapsed() >= LATE);
            self.ready.extend(passed.steps);
            let mut told = lock(&self.told);
            told.kept.extend(passed.told);
        }
        if self.ready.len() * STEP < CHUNK {
            return None;
        }
        self.waiting.pop_front();
        let mut sound = Vec::with_capacity(CHUNK);
        let mut told = lock(&self.told);
        for step in self.ready.drain(..CHUNK / STEP) {
            sound.extend(step.sound);
            told.utterances.put(step.own);
        }
        Some((sound, spoke))
    }
}

fn lock(told: &Mutex<Told>) -> MutexGuard<'_, Told> {
    told.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Judges whole utterances.
pub(super) struct Judge {
    told: Arc<Mutex<Told>>,
    names: Arc<[String]>,
}

impl Judge {
    /// What was kept from the session since asked last, one at a time.
    pub(super) fn kept_back(&mut self) -> Option<Input> {
        let kept = lock(&self.told).kept.pop_front()?;
        let length = Duration::from_millis(10 * kept.frames);
        Some(self.neighbour(kept.at, length, NeighbourSign::LouderElsewhere))
    }

    /// The neighbour whose an utterance is that has just ended; nothing where it is the learner's own.
    pub(super) fn neighbours(&mut self, utterance: &Utterance) -> Option<Input> {
        let (samples, level) = measured(utterance);
        let mut told = lock(&self.told);
        let whose = told.utterances.whose(samples, level);
        if whose == Whose::Own {
            told.utterances.learn(samples, level);
        }
        drop(told);
        let (at, sign) = match whose {
            Whose::Own => return None,
            Whose::LouderElsewhere(at) => (at, NeighbourSign::LouderElsewhere),
            Whose::UnderOwnLevel => (None, NeighbourSign::UnderOwnLevel),
        };
        let length = Duration::from_secs_f64(utterance.seconds());
        Some(self.neighbour(at, length, sign))
    }

    /// Whether what was said so far may be his own.
    pub(super) fn may_be_own(&self, utterance: &Utterance) -> bool {
        let (samples, level) = measured(utterance);
        lock(&self.told).utterances.whose(samples, level) == Whose::Own
    }

    fn neighbour(&self, at: Option<usize>, length: Duration, by: NeighbourSign) -> Input {
        Input::Neighbour {
            whose: at.and_then(|at| self.names.get(at)).cloned(),
            length,
            by,
        }
    }
}

fn measured(utterance: &Utterance) -> (usize, f32) {
    let level = Levels::of(&utterance.samples).loud;
    (utterance.samples.len(), level)
}
