use super::ABSENCE;
use jiff::{SignedDuration, Timestamp};

/// When things happened, and how fast they are answered.
#[derive(Debug, Clone)]
pub(super) struct Pace {
    pub(super) opened: Timestamp,
    pub(super) last_event_at: Timestamp,
    /// When something was last said that surely came from the person.
    pub(super) last_sure_at: Timestamp,
    pub(super) answered: u32,
    pub(super) working: SignedDuration,
}

impl Pace {
    pub(super) fn from(at: Timestamp) -> Self {
        Self {
            opened: at,
            last_event_at: at,
            last_sure_at: at,
            answered: 0,
            working: SignedDuration::ZERO,
        }
    }

    /// Something was answered this long after what happened before.
    pub(super) fn answered_after(&mut self, gap: SignedDuration) {
        self.answered += 1;
        if gap < ABSENCE {
            self.working += gap.abs();
        }
    }

    /// How long so many steps take at this pace; nothing before ten answers.
    pub(super) fn time_for(&self, steps: usize) -> Option<SignedDuration> {
        let pace = self
            .working
            .checked_div(i32::try_from(self.answered).ok()?)?;
        let steps = i32::try_from(steps).ok()?;
        (self.answered >= 10).then(|| pace.saturating_mul(steps))
    }
}
