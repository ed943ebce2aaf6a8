use jiff::{SignedDuration, Timestamp};

/// After this long between two events of one log the place may have been left: a board must be
/// proved dead again. Common practice is to prove dead again after any absence; the program can
/// only see the clock.
pub const ABSENCE: SignedDuration = SignedDuration::from_mins(15);

/// After this long, or on another day, nothing of the isolation is taken to stand.
pub const LONG_ABSENCE: SignedDuration = SignedDuration::from_hours(8);

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

/// Whether these are on different days.
pub(in crate::sequence) fn is_another_day(a: Timestamp, b: Timestamp) -> bool {
    let day = |at: Timestamp| jiff::tz::Offset::UTC.to_datetime(at).date();
    day(a) != day(b)
}
