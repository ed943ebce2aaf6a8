//! Whole boards: isolated, proved dead, energised, without their earth; and what undoes that.

use super::State;
use super::pace::{ABSENCE, LONG_ABSENCE, is_another_day};
use super::steps::StepOutcome;
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Edition, EventNo, Step, StepKind};
use crate::terms::{Part, Statement};
use jiff::{SignedDuration, Timestamp};

impl State {
    /// Whether the lock came off for energising, which was not said yet.
    pub fn unlocked(&self, board: u16) -> bool {
        self.boards.unlocked.contains(&board) && !breakage::is(Break::LockForgotten)
    }

    /// Whether a circuit stays off.
    pub fn stays_off(&self, board: u16, circuit: u16) -> bool {
        self.boards.off.contains_key(&(board, circuit)) && !breakage::is(Break::OffForgotten)
    }

    /// The event that said that a circuit stays off.
    pub fn off_since(&self, board: u16, circuit: u16) -> Option<EventNo> {
        self.boards.off.get(&(board, circuit)).copied()
    }

    /// The circuits that stay off, by board and number.
    pub fn circuits_off(&self) -> impl Iterator<Item = (u16, u16)> + '_ {
        self.boards.off.keys().copied()
    }

    /// Boards that are fed from this one, and so on, by circuits that do not stay off.
    pub fn fed_by(&self, board: u16) -> Vec<u16> {
        let mut fed = Vec::new();
        if breakage::is(Break::FedUnseen) {
            return fed;
        }
        let mut from = vec![board];
        while let Some(board) = from.pop() {
            for other in &self.job().boards {
                let feeder = other
                    .feeder()
                    .filter(|_| !breakage::is(Break::FeederUnread));
                // A board whose feeder is not known could be fed by any.
                let by_this = feeder.is_some_and(|(by, circuit)| {
                    by.is_none_or(|by| by == board)
                        && !circuit.is_some_and(|circuit| self.stays_off(board, circuit))
                });
                if by_this && !fed.contains(&other.number) && other.number != board {
                    fed.push(other.number);
                    from.push(other.number);
                }
            }
        }
        fed
    }

    /// The board that feeds another one, and the circuit there, as far as the job tells.
    pub(in crate::sequence) fn feeder_of(&self, board: u16) -> Option<(u16, Option<u16>)> {
        let known = !breakage::is(Break::FeederUnknown) && !breakage::is(Break::FeederUnread);
        self.job().feeder_of(board).filter(|_| known)
    }

    /// Whether every circuit that is isolated by itself on a live board stays off, so that nothing is switched on.
    pub fn all_stay_off(&self, board: u16) -> bool {
        self.board(board).is_some_and(|found| {
            let mut circuits = found.circuits.iter();
            found.isolates_circuits()
                && circuits.all(|circuit| self.stays_off(board, circuit.number))
        })
    }

    /// Whether a board gets its supply: not when the circuit that feeds it stays off.
    pub fn has_its_supply(&self, board: u16) -> bool {
        if breakage::is(Break::CutOffUnseen) {
            return true;
        }
        match self.feeder_of(board) {
            Some((by, Some(circuit))) => !self.stays_off(by, circuit) && self.has_its_supply(by),
            _ => true,
        }
    }

    /// Whether the board has been isolated and proved dead, and not energised since.
    pub fn proved_dead(&self, board: u16) -> bool {
        if breakage::is(Break::DeadUnproved) {
            return true;
        }
        !self.energised(board) && !self.unlocked(board) && self.isolation_done(board)
    }

    /// Whether every step of the board's isolation was answered, whatever came after.
    pub(in crate::sequence) fn isolation_done(&self, board: u16) -> bool {
        self.plan()
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

    /// Whether somebody has said that a board is switched off or locked, or that circuit of it.
    pub fn switched_off(&self, board: u16, circuit: Option<u16>) -> bool {
        let of_board = |step: &Step| {
            step.board == board && matches!(step.kind, StepKind::Isolate | StepKind::Lock)
        };
        let of_circuit = |step: &Step| {
            step.board == board
                && step.circuit.is_some()
                && step.circuit == circuit
                && matches!(step.kind, StepKind::MakeSafe | StepKind::OffLock)
        };
        let mut steps = self.plan().steps.iter();
        circuit.is_some_and(|circuit| self.stays_off(board, circuit))
            || steps.any(|s| {
                let said = matches!(
                    self.outcome(s),
                    Some(StepOutcome::Stated(
                        _,
                        Statement::Isolated | Statement::LockedOff
                    ))
                );
                said && (of_board(s) || of_circuit(s))
            })
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
        self.sure_entries()
            .any(|entry| entry.board == board && entry.part == Part::EarthingConductor)
    }

    /// Dead tests of a board that are outside their limits and were not accepted with a reason.
    pub fn failed_dead(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.plan().steps.iter().filter(move |step| {
            step.board == board
                && step.is_dead_test()
                && !is_only_tried(step)
                && !step
                    .circuit
                    .is_some_and(|circuit| self.stays_off(board, circuit))
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
        let all = gap > LONG_ABSENCE || is_another_day(now, self.pace.last_event_at);
        self.expire_all(all);
    }

    /// Dead boards must be proved dead again, or isolated again from the start.
    pub(super) fn expire_all(&mut self, all: bool) {
        if breakage::is(Break::AbsenceUnseen) {
            return;
        }
        if self.edition() > Edition::First {
            // What was to be done again is asked for anew.
            self.cursor.again = None;
        }
        let boards: Vec<_> = self.job().boards.iter().map(|b| b.number).collect();
        for board in boards {
            if !self.energised(board) {
                self.clear_isolation(board, |kind| all || locks_or_proves(kind));
            }
        }
    }

    /// Steps of a board's isolation, those of the kinds given, have to be done again.
    pub(super) fn clear_isolation(&mut self, board: u16, which: impl Fn(StepKind) -> bool) {
        if breakage::is(Break::IsolationStands) {
            return;
        }
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

/// Whether nothing is judged by a step: see [`StepKind::is_trial`].
fn is_only_tried(step: &Step) -> bool {
    step.kind.is_trial() || breakage::is(Break::EverythingTried)
}

fn locks_or_proves(kind: StepKind) -> bool {
    kind == StepKind::Lock || kind.proves()
}
