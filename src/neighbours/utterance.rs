//! Whose a whole utterance is, by all of it that was let through.

use super::OwnShare;
use super::bands::STEP;
use super::level::OwnLevel;
use std::collections::VecDeque;

/// An utterance in which less is his own than this is none of his.
const OWN: f32 = 0.12;
/// Nor is one of which another's phone explains more than so many times as much.
const OTHERS: f32 = 1.5;
/// From this share on it was surely his own, and tells how loud he is.
const SURELY: f32 = 0.5;
/// Steps that are remembered: longer than an utterance with its pause.
const KEPT: usize = 2400;
/// Steps of quiet after which an utterance is given, at most.
const PAUSE: usize = 150;

/// Whose an utterance is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// The learner's own.
    Own,
    /// Louder at another phone; at which, where that is known.
    LouderElsewhere(Option<usize>),
    /// Far under the learner's own level.
    UnderOwnLevel,
}

/// A learner's utterances.
#[derive(Debug, Default)]
pub struct Utterances {
    own: VecDeque<OwnShare>,
    level: OwnLevel,
}

impl Utterances {
    /// Takes how much of the next step was his own.
    pub fn put(&mut self, own: OwnShare) {
        self.own.push_back(own);
        if self.own.len() > KEPT {
            self.own.pop_front();
        }
    }

    /// Whose an utterance of so many samples is that has just ended, or pauses; `level` is that of its louder
    /// moments in dB of full scale.
    pub fn whose(&self, samples: usize, level: f32) -> Whose {
        let share = self.share(samples);
        if share.share() < OWN || share.theirs > OTHERS * share.own {
            Whose::LouderElsewhere(share.loudest)
        } else if self.level.is_under(level) {
            Whose::UnderOwnLevel
        } else {
            Whose::Own
        }
    }

    /// Learns how loud he is from an utterance that has just ended.
    pub fn learn(&mut self, samples: usize, level: f32) {
        if self.share(samples).share() >= SURELY {
            self.level.learn(level);
        }
    }

    /// How much of an utterance was his own. What was not let through counts nothing, nor does the pause.
    pub fn share(&self, samples: usize) -> OwnShare {
        OwnShare::sum(self.own.iter().rev().take(samples / STEP + PAUSE))
    }
}
