//! What must never happen, whatever is said. Checked before every event of a running session is
//! applied, by the dialogues in `tests/dialogues/`, and by the random walk in
//! `tests/sequence/model_walk.rs`.
//!
//! Stated apart from the guards, over a fold of its own: it knows the job and the plan, and asks
//! nothing of the state or of a procedure. So a fault in what the guards ask is found as well as
//! one in the guards.

use super::agenda::Agenda;
use super::facts::{
    Ask, Event, EventNo, Mode, Plan, Quantity, Refusal, Step, StepId, StepKind, Withdrawal,
};
use crate::installation::{Accessory, Circuit, CircuitKind, Job, Phases};
use crate::limits::{Finding, Outcome, Verdict};
use crate::quantity::{Conductors, Pair, Reading, TestVoltage};
use crate::terms::{Part, Place, Stage, Statement};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Whoever was away so long may have left: dead has to be proved again.
const AWAY: SignedDuration = SignedDuration::from_mins(15);
/// Nothing of the isolation stands after this long, or on another day.
const LONG_AWAY: SignedDuration = SignedDuration::from_hours(8);

/// What a session has come to, as the laws see it.
#[derive(Debug, Clone)]
pub struct Watch {
    job: Arc<Job>,
    plan: Arc<Plan>,
    next: u64,
    last_at: Timestamp,
    mode: Mode,
    /// Boards that were said to be energised, by the event.
    energised: BTreeMap<u16, EventNo>,
    /// Shared with the watch before, as the state's ledgers are: a turn begins with a copy.
    closed: rpds::HashTrieMapSync<StepId, Closed>,
    readings: rpds::RedBlackTreeMapSync<EventNo, Taken>,
    out: Vec<Out>,
    /// Failed dead tests that were accepted with a reason.
    accepted: BTreeSet<StepId>,
    asked: Option<(EventNo, Asked)>,
    last_taken: Option<EventNo>,
}

/// How a step was closed.
#[derive(Debug, Clone, PartialEq)]
struct Closed {
    by: EventNo,
    how: How,
}

#[derive(Debug, Clone, PartialEq)]
enum How {
    Read,
    Intent(Statement),
    NotTested,
    Later,
}

/// A reading that was taken.
#[derive(Debug, Clone)]
struct Taken {
    step: StepId,
    reading: Reading,
    failed: bool,
    sound: bool,
    counts: Counts,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Counts {
    Asked,
    Yes,
    Dropped,
    Replaced(EventNo),
}

/// Something that was taken out or linked.
#[derive(Debug, Clone)]
struct Out {
    no: EventNo,
    board: u16,
    circuit: Option<u16>,
    part: Part,
    linked: bool,
    place: Option<Place>,
    both: bool,
    back_by: Option<EventNo>,
    never: bool,
    gone_past: bool,
}

impl Out {
    fn is_out(&self) -> bool {
        self.back_by.is_none() && !self.never
    }

    fn may_stay(&self) -> bool {
        !self.linked && self.part != Part::EarthingConductor
    }
}

/// What waits for "affirm".
#[derive(Debug, Clone, PartialEq, Eq)]
enum Asked {
    Reading,
    AllBack(Vec<EventNo>),
    NeverOut(EventNo),
    Finish,
}

fn law(holds: bool, broken: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(broken()) }
}

fn verdict_is_sound(verdict: Option<&Verdict>) -> bool {
    verdict.is_some_and(|v| v.outcome == Outcome::Pass || v.finding == Some(Finding::RangeUnknown))
}

/// The laws.
impl Watch {
    /// Begins after a log's first event.
    pub fn over(agenda: &Agenda) -> Self {
        Self {
            job: Arc::new(agenda.job().clone()),
            plan: Arc::new(agenda.plan().clone()),
            next: 1,
            last_at: agenda.opened(),
            mode: Mode::Running,
            energised: BTreeMap::new(),
            closed: rpds::HashTrieMapSync::new_sync(),
            readings: rpds::RedBlackTreeMapSync::new_sync(),
            out: Vec::new(),
            accepted: BTreeSet::new(),
            asked: None,
            last_taken: None,
        }
    }

    /// Checks one event against what happened before it.
    ///
    /// # Errors
    /// Which law would be broken, in words.
    pub fn check(&self, event: &Event, at: Timestamp) -> Result<(), String> {
        match event {
            Event::Reading { step, reading, .. } => {
                let step = self.planned(step)?;
                self.running()?;
                self.dead_or_live(step, at)?;
                self.high_voltage(step, reading)
            }
            Event::Stated { step, statement } => {
                let step = self.planned(step)?;
                self.running()?;
                self.dead_or_live(step, at)?;
                match statement {
                    Statement::Energised => self.energising(step.board, at),
                    Statement::Dead => self.proving_dead(step.board),
                    Statement::Done if step.stage == Stage::Isolation => {
                        law(step.kind == StepKind::Identify, || {
                            format!("\"done\" taken for {}", step.kind)
                        })
                    }
                    _ => Ok(()),
                }
            }
            Event::NotTested { step, .. } | Event::Skipped { step, .. } => {
                let step = self.planned(step)?;
                let needed = matches!(step.stage, Stage::Isolation | Stage::Energise);
                law(!needed, || format!("left out: {}", step.id))
            }
            Event::Withdrawn { of, why } => self.withdrawing(*of, *why),
            Event::PutBack { entries } => law(
                entries
                    .iter()
                    .all(|no| self.out.iter().any(|out| out.no == *no && out.is_out())),
                || "something put back that was not out".to_owned(),
            ),
            Event::Overridden { refusal, .. } => law(
                matches!(
                    refusal,
                    Refusal::StillOut { .. } | Refusal::DeadTestsFailed { .. }
                ),
                || format!("a bar overridden that no reason lifts: {refusal:?}"),
            ),
            Event::Finished { .. } => law(self.nothing_bars(), || {
                "finished with things still out and not overridden".to_owned()
            }),
            _ => Ok(()),
        }
    }

    fn planned(&self, id: &StepId) -> Result<&Step, String> {
        self.plan
            .step(id)
            .ok_or_else(|| format!("a step that is not planned: {id}"))
    }

    /// Nothing counts while the session waits.
    fn running(&self) -> Result<(), String> {
        law(self.mode == Mode::Running, || {
            "taken while the session waits".to_owned()
        })
    }

    /// No dead test before proving dead, no live test before energising, none without an earth.
    fn dead_or_live(&self, step: &Step, at: Timestamp) -> Result<(), String> {
        if step.is_dead_test() {
            law(self.said_dead(step.board, at), || {
                format!("a dead test before proving dead: {}", step.id)
            })?;
        }
        if step.is_live_test() {
            law(self.is_live(step.board), || {
                format!("a live test before energising: {}", step.id)
            })?;
            let without_earth = self.out.iter().any(|out| {
                out.is_out() && out.board == step.board && out.part == Part::EarthingConductor
            });
            law(!without_earth || step.stage == Stage::ExternalLoop, || {
                format!("a live test with the earthing conductor off: {}", step.id)
            })?;
        }
        Ok(())
    }

    fn is_live(&self, board: u16) -> bool {
        let never_isolated = self.plan.isolation(board).next().is_none();
        never_isolated || self.energised.contains_key(&board)
    }

    /// Every pair was said to be dead, between two proofs of the indicator, nobody was away since,
    /// and the board was not energised.
    fn said_dead(&self, board: u16, at: Timestamp) -> bool {
        let away = at.duration_since(self.last_at) > AWAY;
        let mut steps = self.plan.isolation(board);
        !self.is_live(board)
            && !away
            && steps.all(|step| {
                let right = match step.kind {
                    StepKind::Identify => Statement::Done,
                    StepKind::Isolate => Statement::Isolated,
                    StepKind::Lock => Statement::LockedOff,
                    StepKind::ProveBefore | StepKind::ProveAfter => Statement::Proved,
                    _ => Statement::Dead,
                };
                self.how(step) == Some(&How::Intent(right))
            })
    }

    /// "Dead" counts only with the indicator proved and the board isolated and locked off.
    fn proving_dead(&self, board: u16) -> Result<(), String> {
        let missing = self.plan.isolation(board).find(|step| {
            matches!(
                step.kind,
                StepKind::ProveBefore | StepKind::Isolate | StepKind::Lock
            ) && !matches!(self.how(step), Some(How::Intent(_)))
        });
        match missing {
            Some(step) => Err(format!("\"dead\" taken before {}", step.kind)),
            None => Ok(()),
        }
    }

    /// Never more than 250 V where electronics are known or suspected; but all live conductors
    /// joined may be tested to earth.
    fn high_voltage(&self, step: &Step, reading: &Reading) -> Result<(), String> {
        let high = reading.at.is_none_or(|at| at > TestVoltage::V250);
        if !step.measures(Quantity::Insulation) || !high {
            return Ok(());
        }
        let board = self.job.boards.iter().find(|b| b.number == step.board);
        let circuits = board.into_iter().flat_map(|board| &board.circuits);
        for circuit in circuits.filter(|c| step.circuit.is_none_or(|number| number == c.number)) {
            let lives = match circuit.phases {
                Phases::Single => Conductors::L.with(Conductors::N),
                Phases::Three => Conductors::L1
                    .with(Conductors::L2)
                    .with(Conductors::L3)
                    .with(Conductors::N),
            };
            let joined = step.circuit.is_some()
                && reading
                    .pair
                    .is_some_and(|pair| pair.to_earth() && pair.from() == lives)
                && self.out.iter().any(|out| {
                    out.is_out()
                        && out.linked
                        && (out.board, out.circuit) == (step.board, Some(circuit.number))
                        && out.part == Part::Conductors(lives)
                });
            law(joined || !self.electronics_in(step.board, circuit), || {
                format!("electronics in circuit at high voltage: {}", step.id)
            })?;
        }
        Ok(())
    }

    /// Whether something that more than 250 V would harm is known or suspected in the circuit.
    fn electronics_in(&self, board: u16, circuit: &Circuit) -> bool {
        let sensitive = |point: &&Accessory| point.sensitive.is_some();
        let mut listed = circuit.points.iter().filter(sensitive);
        let left_in = |point: &Accessory| {
            let gone = |out: &Out| {
                out.is_out()
                    && (out.board, out.circuit) == (board, Some(circuit.number))
                    && Self::is_gone(out, point, circuit)
            };
            !self.out.iter().any(gone)
        };
        listed.any(left_in) || self.is_suspect(board, circuit.number)
    }

    /// Whether an entry takes the electronics of a point out of circuit.
    fn is_gone(out: &Out, point: &Accessory, circuit: &Circuit) -> bool {
        let here = out.place.as_ref().is_some_and(|place| {
            place.name == point.name.to_lowercase() && place.number == point.number
        });
        let fed_from_both_sides =
            point.feeds_on || (circuit.kind == CircuitKind::Ring && !point.spur);
        here && match out.part {
            Part::Accessory => true,
            Part::Conductors(c) => {
                let live = [
                    Conductors::L,
                    Conductors::N,
                    Conductors::L1,
                    Conductors::L2,
                    Conductors::L3,
                ];
                !out.linked
                    && live.into_iter().any(|one| c.contains(one))
                    && (out.both || !fed_from_both_sides)
            }
            _ => false,
        }
    }

    /// Whether the last reading at 250 V between live conductors of the circuit was not sound.
    fn is_suspect(&self, board: u16, circuit: u16) -> bool {
        let of_the_circuit = |taken: &&Taken| {
            taken.reading.at == Some(TestVoltage::V250)
                && taken.reading.pair.is_some_and(|pair| !pair.to_earth())
                && taken.step.stage == Stage::Insulation
                && (taken.step.board, taken.step.circuit) == (board, Some(circuit))
                && matches!(taken.counts, Counts::Yes | Counts::Replaced(_))
        };
        let mut trials = self.readings.values().rev().filter(of_the_circuit);
        trials.next().is_some_and(|latest| !latest.sound)
    }

    /// Energised only with nothing out that was not overridden, no link and the earthing conductor
    /// on, every dead test done or left out with a reason, none outside its limit without one,
    /// covers on, and after it was proved dead.
    fn energising(&self, board: u16, at: Timestamp) -> Result<(), String> {
        law(self.nothing_bars(), || {
            "energised with things still out and not overridden".to_owned()
        })?;
        let tests = || {
            let steps = self.plan.steps.iter();
            steps.filter(|step| step.board == board && step.is_dead_test())
        };
        if let Some(open) = tests().find(|step| !self.is_dealt_with(step)) {
            return Err(format!("energised with a dead test open: {}", open.id));
        }
        if let Some(failed) = tests().find(|step| self.failed(step)) {
            return Err(format!(
                "energised with a dead test outside its limit and no reason: {}",
                failed.id
            ));
        }
        let mut covers = self.plan.energising(board);
        let covers_on = covers.all(|step| {
            step.kind != StepKind::Covers || matches!(self.how(step), Some(How::Intent(_)))
        });
        law(covers_on, || "energised with covers off".to_owned())?;
        law(self.said_dead(board, at), || {
            "energised by a plan that never proved it dead".to_owned()
        })
    }

    fn nothing_bars(&self) -> bool {
        self.out
            .iter()
            .all(|out| !out.is_out() || (out.gone_past && out.may_stay()))
    }

    /// Whether a dead test was made, made in another recognised way, or left out with a reason.
    fn is_dealt_with(&self, step: &Step) -> bool {
        let done = |step: &Step| {
            matches!(
                self.how(step),
                Some(How::Read | How::Intent(_) | How::NotTested)
            )
        };
        let read_beside = |which: &dyn Fn(&Step) -> bool| {
            let mut beside = self.plan.beside(step);
            beside.any(|other| which(other) && self.how(other) == Some(&How::Read))
        };
        if step.ask == Ask::Event || done(step) {
            return true;
        }
        match step.kind {
            // With a long lead instead, or the other way round: IET Guidance Note 3, methods 1, 2.
            StepKind::ContinuityPoint => {
                step.measures(Quantity::R2)
                    || read_beside(&|other| {
                        other.place == step.place && other.measures(Quantity::R2)
                    })
            }
            // What leads to the tests proper, and the other way of making them.
            kind if kind.is_trial() || kind == StepKind::InsulationJoined => true,
            // All circuits together: when they are not all sound, each is tested by itself.
            StepKind::InsulationTogether => true,
            StepKind::InsulationFull | StepKind::InsulationTwoWay | StepKind::InsulationLamps => {
                let to_earth = step.pair.is_some_and(Pair::to_earth);
                let joined =
                    to_earth && read_beside(&|other| other.kind == StepKind::InsulationJoined);
                joined || self.all_together_sound(step.board)
            }
            _ => false,
        }
    }

    /// Whether all circuits of the board were tested together, and none of it failed.
    fn all_together_sound(&self, board: u16) -> bool {
        let mut together = self.plan.on(board, None).filter(|step| {
            matches!(
                step.kind,
                StepKind::InsulationTogether | StepKind::InsulationTogetherTrial
            )
        });
        let sound = |step: &Step| self.how(step) == Some(&How::Read) && !self.read_failed(step);
        let mut any = false;
        together.all(|step| {
            any = true;
            sound(step)
        }) && any
    }

    fn read_failed(&self, step: &Step) -> bool {
        let taken = self
            .closed
            .get(&step.id)
            .and_then(|closed| self.readings.get(&closed.by));
        taken.is_some_and(|taken| taken.failed)
    }

    /// Whether a dead test stands outside its limit with no reason given.
    fn failed(&self, step: &Step) -> bool {
        if step.kind.is_trial() || self.accepted.contains(&step.id) {
            return false;
        }
        match self.how(step) {
            Some(How::Read) => self.read_failed(step),
            Some(How::Intent(statement)) => matches!(
                statement,
                Statement::PolarityReversed | Statement::Fail | Statement::SequenceReversed
            ),
            _ => false,
        }
    }

    /// Only what was said last, or what is asked about, is taken back; and nothing that is out
    /// leaves the list but for what is out instead, or after it was affirmed that it never was.
    fn withdrawing(&self, of: EventNo, why: Withdrawal) -> Result<(), String> {
        if self.out.iter().any(|out| out.no == of && out.is_out()) {
            return law(why.is_replaced(), || {
                "something taken off the out-list unasked".to_owned()
            });
        }
        let asked = self.asked.as_ref().map(|(no, _)| *no);
        law(self.last_taken == Some(of) || asked == Some(of), || {
            format!("event {of} taken back, which was not the last")
        })
    }

    fn how(&self, step: &Step) -> Option<&How> {
        self.closed.get(&step.id).map(|closed| &closed.how)
    }
}

/// The fold.
impl Watch {
    /// Takes one more event.
    pub fn apply(&mut self, event: &Event, at: Timestamp) {
        let no = EventNo(self.next);
        self.next += 1;
        let gap = at.duration_since(self.last_at);
        match event {
            Event::Resumed { .. } => {
                self.away(gap, at);
                if self.mode == Mode::Noting {
                    self.mode = Mode::Running;
                }
            }
            Event::CameBack { .. } => self.away(gap.max(AWAY), at),
            Event::Unpaused => {
                self.mode = Mode::Running;
                self.away(gap.max(AWAY), at);
            }
            Event::Reading {
                step,
                reading,
                verdict,
                doubt,
                question,
                replaces,
                ..
            } => {
                if let Some(old) = replaces {
                    self.stands(*old, Counts::Replaced(no));
                }
                let verdict = verdict.as_ref();
                self.readings.insert_mut(
                    no,
                    Taken {
                        step: step.clone(),
                        reading: *reading,
                        failed: verdict.is_some_and(|v| v.outcome == Outcome::Fail),
                        sound: verdict_is_sound(verdict),
                        counts: Counts::Asked,
                    },
                );
                self.last_taken = Some(no);
                if doubt.is_some() || question.is_some() {
                    self.closed.remove_mut(step);
                    self.asked = Some((no, Asked::Reading));
                } else {
                    self.counts(no);
                }
            }
            Event::CorrectedAtDesk {
                of,
                reading,
                verdict,
                ..
            } => self.corrected_at_desk(no, *of, *reading, verdict.as_ref()),
            Event::Affirmed { of } => self.affirmed(no, *of),
            Event::Withdrawn { of, .. } => self.withdrawn(*of),
            Event::Stated { step, statement } => {
                self.close(step, no, How::Intent(*statement));
                if *statement == Statement::Energised {
                    self.energised.insert(step.board, no);
                }
                if *statement == Statement::NotProved {
                    self.reopen(step.board, StepKind::proves);
                }
                self.last_taken = Some(no);
            }
            Event::NotTested { step, .. } => {
                self.close(step, no, How::NotTested);
                self.last_taken = Some(no);
            }
            Event::Skipped { step, .. } => {
                self.close(step, no, How::Later);
                self.last_taken = Some(no);
            }
            Event::TakenOut {
                board,
                circuit,
                part,
                linked,
                place,
                both,
                ..
            } => {
                self.out.push(Out {
                    no,
                    board: *board,
                    circuit: *circuit,
                    part: *part,
                    linked: *linked,
                    place: place.clone(),
                    both: *both,
                    back_by: None,
                    never: false,
                    gone_past: false,
                });
                self.last_taken = Some(no);
            }
            Event::PutBack { entries } => {
                self.back(entries, no);
                self.last_taken = Some(no);
            }
            Event::ProposedAllBack { entries } => {
                self.asked = Some((no, Asked::AllBack(entries.clone())));
            }
            Event::ProposedNeverOut { entry } => {
                self.asked = Some((no, Asked::NeverOut(*entry)));
            }
            Event::ProposedFinish { .. } => self.asked = Some((no, Asked::Finish)),
            Event::Overridden { refusal, .. } => self.gone_past(refusal),
            Event::Moved { to, .. } if to.stage == Stage::Isolation => {
                self.reopen(to.board, |_| true);
                self.energised.remove(&to.board);
                self.reopen_energising(to.board);
            }
            Event::VoltageFound { board, .. } => {
                if let Some((asked, Asked::Reading)) = self.asked.take() {
                    self.withdrawn(asked);
                }
                self.reopen(*board, |_| true);
                self.last_taken = None;
            }
            Event::LockRemoved { board } => {
                self.reopen(*board, |_| true);
                self.last_taken = None;
            }
            Event::NoteBegun => self.mode = Mode::Noting,
            Event::StoodBy => self.mode = Mode::StandingBy,
            Event::NoteEnded | Event::CarriedOn => self.mode = Mode::Running,
            Event::Paused => self.mode = Mode::Paused,
            Event::Finished { .. } => {
                self.asked = None;
                self.mode = Mode::Finished;
            }
            _ => {}
        }
        if !matches!(
            event,
            Event::CorrectedAtDesk { .. } | Event::NotTaken { .. }
        ) {
            self.last_at = self.last_at.max(at);
        }
    }

    /// Nobody was there for so long: boards that are dead are not known to be so any more.
    fn away(&mut self, gap: SignedDuration, at: Timestamp) {
        if gap < AWAY {
            return;
        }
        let day = |at: Timestamp| jiff::tz::Offset::UTC.to_datetime(at).date();
        let long = gap > LONG_AWAY || day(at) != day(self.last_at);
        let boards: Vec<u16> = self.job.boards.iter().map(|board| board.number).collect();
        for board in boards {
            if self.is_live(board) {
                continue;
            }
            self.reopen(board, |kind| {
                long || kind == StepKind::Lock || kind.proves()
            });
        }
    }

    /// Steps of a board's isolation have to be done again.
    fn reopen(&mut self, board: u16, which: impl Fn(StepKind) -> bool) {
        let plan = Arc::clone(&self.plan);
        for step in plan.isolation(board).filter(|step| which(step.kind)) {
            self.closed.remove_mut(&step.id);
        }
    }

    fn reopen_energising(&mut self, board: u16) {
        let plan = Arc::clone(&self.plan);
        for step in plan.energising(board) {
            self.closed.remove_mut(&step.id);
        }
    }

    fn close(&mut self, step: &StepId, by: EventNo, how: How) {
        self.accepted.remove(step);
        if self.plan.step(step).is_some() {
            self.closed.insert_mut(step.clone(), Closed { by, how });
        }
    }

    fn stands(&mut self, no: EventNo, counts: Counts) {
        if let Some(taken) = self.readings.get_mut(&no) {
            taken.counts = counts;
        }
    }

    fn counts(&mut self, no: EventNo) {
        let Some(step) = self.readings.get(&no).map(|taken| taken.step.clone()) else {
            return;
        };
        self.stands(no, Counts::Yes);
        let before = self.closed.get(&step).cloned();
        self.close(&step, no, How::Read);
        if let Some(Closed { by, how: How::Read }) = before
            && by != no
        {
            self.stands(by, Counts::Replaced(no));
        }
    }

    fn corrected_at_desk(
        &mut self,
        no: EventNo,
        of: EventNo,
        reading: Reading,
        verdict: Option<&Verdict>,
    ) {
        let Some(old) = self.readings.get(&of).cloned() else {
            return;
        };
        self.stands(of, Counts::Replaced(no));
        if self.plan.step(&old.step).is_some() {
            let closed = Closed {
                by: no,
                how: How::Read,
            };
            self.closed.insert_mut(old.step.clone(), closed);
        }
        self.readings.insert_mut(
            no,
            Taken {
                reading,
                failed: verdict.is_some_and(|v| v.outcome == Outcome::Fail),
                sound: verdict_is_sound(verdict),
                counts: Counts::Yes,
                ..old
            },
        );
        if self.asked == Some((of, Asked::Reading)) {
            self.asked = None;
        }
        if self.last_taken == Some(of) {
            self.last_taken = None;
        }
    }

    fn affirmed(&mut self, no: EventNo, of: EventNo) {
        match self.asked.take_if(|(asked, _)| *asked == of) {
            Some((_, Asked::Reading)) => self.counts(of),
            Some((_, Asked::AllBack(entries))) => {
                self.back(&entries, no);
                self.last_taken = Some(no);
            }
            Some((_, Asked::NeverOut(entry))) => self.withdrawn(entry),
            finish @ Some((_, Asked::Finish)) => self.asked = finish,
            None => {}
        }
    }

    fn back(&mut self, entries: &[EventNo], by: EventNo) {
        for out in &mut self.out {
            if entries.contains(&out.no) && out.is_out() {
                out.back_by = Some(by);
            }
        }
    }

    fn withdrawn(&mut self, of: EventNo) {
        self.asked.take_if(|(asked, _)| *asked == of);
        self.stands(of, Counts::Dropped);
        let closed_by = self.closed.iter().find(|(_, closed)| closed.by == of);
        if let Some(step) = closed_by.map(|(step, _)| step.clone()) {
            self.closed.remove_mut(&step);
        }
        let boards: Vec<u16> = self
            .energised
            .iter()
            .filter(|(_, by)| **by == of)
            .map(|(board, _)| *board)
            .collect();
        for board in boards {
            self.energised.remove(&board);
            // Whether it is live is not known now.
            self.reopen(board, |kind| kind == StepKind::Lock || kind.proves());
        }
        let replaced = self
            .readings
            .iter()
            .find(|(_, taken)| taken.counts == Counts::Replaced(of))
            .map(|(no, taken)| (*no, taken.step.clone()));
        if let Some((old, step)) = replaced
            && !self.closed.contains_key(&step)
        {
            self.stands(old, Counts::Yes);
            self.closed.insert_mut(
                step,
                Closed {
                    by: old,
                    how: How::Read,
                },
            );
        }
        for out in &mut self.out {
            if out.no == of {
                out.never = true;
            }
            if out.back_by == Some(of) {
                out.back_by = None;
            }
        }
        self.last_taken = None;
    }

    fn gone_past(&mut self, refusal: &Refusal) {
        match refusal {
            Refusal::StillOut { .. } => {
                for out in self.out.iter_mut().filter(|out| out.is_out()) {
                    out.gone_past |= out.may_stay();
                }
            }
            Refusal::DeadTestsFailed { board, .. } => {
                let failed: Vec<StepId> = self
                    .plan
                    .steps
                    .iter()
                    .filter(|step| step.board == *board && step.is_dead_test())
                    .filter(|step| self.failed(step))
                    .map(|step| step.id.clone())
                    .collect();
                self.accepted.extend(failed);
            }
            _ => {}
        }
    }
}
