//! What the state knows of whole boards: isolated, proved dead, energised, without its earth.

use super::super::breakage::{self, Break};
use super::super::facts::{Step, StepKind};
use super::State;
use super::steps::StepOutcome;
use crate::terms::{Part, Statement};
use jiff::{SignedDuration, Timestamp};

/// After this long between two events of one log the place may have been left: a board must be
/// proved dead again. Common practice is to prove dead again after any absence; the program can
/// only see the clock.
pub const ABSENCE: SignedDuration = SignedDuration::from_mins(15);

/// After this long, or on another day, nothing of the isolation is taken to stand.
pub const LONG_ABSENCE: SignedDuration = SignedDuration::from_hours(8);

impl State {
    /// Whether the board has been isolated and proved dead, and not energised since.
    pub fn proved_dead(&self, board: u16) -> bool {
        if breakage::is(Break::DeadUnproved) {
            return true;
        }
        !self.energised(board)
            && self
                .plan()
                .isolation(board)
                .all(|step| matches!(self.outcome(step), Some(StepOutcome::Stated(..))))
    }

    /// Whether any of the isolation of a board has been said, and it is not energised.
    pub fn isolation_begun(&self, board: u16) -> bool {
        !self.energised(board)
            && self
                .plan()
                .isolation(board)
                .any(|step| self.outcome(step).is_some())
    }

    /// Whether the person has said that the board is energised, or the plan never isolates it.
    pub fn energised(&self, board: u16) -> bool {
        if breakage::is(Break::EnergisedUnknown) {
            return false;
        }
        let said = |step: &Step| self.outcome(step).is_some_and(StepOutcome::is_energised);
        self.plan().energising(board).any(said) || self.plan().isolation(board).next().is_none()
    }

    /// Whether the earthing conductor is off the means of earthing.
    pub fn earthing_off(&self, board: u16) -> bool {
        self.open_entries()
            .any(|entry| entry.board == board && entry.part == Part::EarthingConductor)
    }

    /// Dead tests of a board that are outside their limits and were not accepted with a reason.
    pub fn failed_dead(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.plan().steps.iter().filter(move |step| {
            step.board == board
                && step.is_dead_test()
                && !step.kind.is_trial()
                && !self.steps.is_accepted(&step.id)
                && self.has_failed(step)
        })
    }

    /// After an absence a dead board must be proved dead again; after a long one, or on another
    /// day, the whole isolation is asked again.
    pub(super) fn expire_isolation(&mut self, gap: SignedDuration, now: Timestamp) {
        if gap < ABSENCE {
            return;
        }
        let day = |at: Timestamp| jiff::tz::Offset::UTC.to_datetime(at).date();
        let all = gap > LONG_ABSENCE || day(now) != day(self.pace.last_event_at);
        let boards: Vec<_> = self.job().boards.iter().map(|b| b.number).collect();
        for board in boards {
            if !self.energised(board) {
                self.clear_isolation(board, |kind| all || locks_or_proves(kind));
            }
        }
    }

    /// Steps of a board's isolation, those of the kinds given, have to be done again.
    pub(super) fn clear_isolation(&mut self, board: u16, which: impl Fn(StepKind) -> bool) {
        let plan = std::sync::Arc::clone(&self.plan);
        for step in plan.isolation(board).filter(|step| which(step.kind)) {
            self.steps.set_at(step.order, None);
        }
    }

    /// The board no longer counts as energised.
    pub(super) fn clear_energising(&mut self, board: u16) {
        let plan = std::sync::Arc::clone(&self.plan);
        for step in plan.energising(board) {
            self.steps.set_at(step.order, None);
        }
    }

    /// A statement that closes a step can undo what was said of its board.
    pub(super) fn undo_by(&mut self, step: &Step, statement: Statement) {
        if statement == Statement::NotProved {
            self.clear_isolation(step.board, StepKind::proves);
        }
    }

    /// Whether it is live is not known now: it has to be proved dead before any dead test.
    pub(super) fn no_longer_known_dead(&mut self, board: u16) {
        self.clear_isolation(board, locks_or_proves);
    }
}

fn locks_or_proves(kind: StepKind) -> bool {
    kind == StepKind::Lock || kind.proves()
}
