//! How loud a learner is at his own phone, learned from what was surely his own.

use std::collections::VecDeque;

/// What is so many decibels under it is a neighbour's.
const UNDER: f32 = 9.0;
/// So many utterances tell it, and so many are remembered.
const ENOUGH: usize = 5;
const KEPT: usize = 21;

/// The level of a learner's own voice, in dB of full scale.
#[derive(Debug, Clone, Default)]
pub(super) struct OwnLevel {
    seen: VecDeque<f32>,
}

impl OwnLevel {
    /// Learns from an utterance that was surely his own.
    pub(super) fn learn(&mut self, level: f32) {
        self.seen.push_back(level);
        if self.seen.len() > KEPT {
            self.seen.pop_front();
        }
    }

    /// His level, once it is known.
    pub(super) fn known(&self) -> Option<f32> {
        let mut seen: Vec<f32> = self.seen.iter().copied().collect();
        seen.sort_by(f32::total_cmp);
        let middle = seen.get(seen.len() / 2).copied();
        middle.filter(|_| seen.len() >= ENOUGH)
    }

    /// Whether an utterance is too quiet to be his.
    pub(super) fn is_under(&self, level: f32) -> bool {
        self.known().is_some_and(|own| level <= own - UNDER)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_nine_decibels_under_is_a_neighbours_once_the_level_is_known() {
        let mut own = OwnLevel::default();
        for level in [-24.0, -22.0, -26.0, -23.0] {
            own.learn(level);
        }
        assert!(!own.is_under(-60.0));
        own.learn(-12.0);
        assert_eq!(own.known(), Some(-23.0));
        assert!(own.is_under(-32.0));
        assert!(!own.is_under(-31.9));
        for _ in 0..30 {
            own.learn(-40.0);
        }
        assert!(!own.is_under(-48.9));
    }
}
