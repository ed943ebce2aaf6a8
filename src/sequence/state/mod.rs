//! What a session knows: its events applied in order, kept in seven ledgers. It knows the plan, and
//! no procedure: what is open, barred or asked next is for those above it.
//!
//! | ledger | holds |
//! | --- | --- |
//! | `steps` | how each step came to be closed, and which failed ones were accepted |
//! | `readings` | every reading ever heard, and whether it counts |
//! | `out_list` | everything ever taken out, linked or switched over |
//! | `pending` | the open question, what would be taken back, what was refused, overrides |
//! | `cursor` | where the person moved to |
//! | `pace` | when things happened |
//! | `observations` | what was seen and stands on the report with its code |
//!
//! `boards` holds no data: whether a board is dead follows from the steps of its isolation.

mod boards;
mod cursor;
mod observations;
mod out_list;
mod pace;
mod pending;
mod readings;
mod steps;

pub use boards::{ABSENCE, LONG_ABSENCE};
pub use observations::Observation;
pub(super) use out_list::goes_on;
pub use out_list::{OutEntry, place_of};
pub use pending::{Override, Question};
pub(super) use readings::Suspicion;
pub use readings::{ReadingRecord, ReadingStatus};
pub use steps::StepOutcome;

pub(in crate::sequence) use boards::is_another_day;

use super::breakage::{self, Break};
use super::facts::{
    Ask, Doubt, Edition, Electronics, Event, EventNo, Mode, Plan, Quantity, Refusal, Step, StepId,
    StepKind,
};
use crate::installation::{Board, Circuit, CircuitKind, GroupRcd, Job, Rcd, board_said};
use crate::limits::{Outcome, Tables, Verdict};
use crate::quantity::{Conductors, Number, Reading, Relation, TestVoltage, Unit};
use crate::terms::{
    BayEdition, Delivery, Level, Part, Place, Practice, Predicted, Reason, Stage, Statement,
};
use boards::Boards;
use cursor::Cursor;
use jiff::{SignedDuration, Timestamp};
use observations::Observations;
use out_list::{OutList, takes_out};
use pace::Pace;
use pending::Pending;
use readings::Readings;
use rpds::HashTrieSetSync;
use serde::{Serialize, Serializer};
use std::sync::Arc;
use steps::StepOutcomes;

/// Everything a session knows: its events, applied in order. Nothing else changes it.
#[derive(Debug, Clone)]
pub struct State {
    plan: Arc<Plan>,
    tables: Arc<Tables>,
    job: Arc<Job>,
    /// The job as a file said last: what was added by voice is not in it.
    written: Arc<Job>,
    edition: Edition,
    delivery: Delivery,
    practice: Option<Arc<Practice>>,
    predicted: HashTrieSetSync<(StepId, Predicted)>,
    diagnosed: bool,
    next: EventNo,
    mode: Mode,
    steps: StepOutcomes,
    readings: Readings,
    out_list: OutList,
    pending: Pending,
    cursor: Cursor,
    pace: Pace,
    observations: Observations,
    boards: Boards,
}

/// The ledgers as one flat object, in the shape that logs of the first edition are compared in.
#[derive(Serialize)]
struct Flat<'a> {
    job: &'a Job,
    opened: Timestamp,
    last_event_at: Timestamp,
    next: EventNo,
    mode: Mode,
    progress: &'a StepOutcomes,
    readings: &'a Readings,
    out: &'a OutList,
    question: &'a Option<Question>,
    last_taken: &'a Option<EventNo>,
    last_bar: &'a Option<Refusal>,
    focus: &'a Option<StepId>,
    again: &'a Option<StepId>,
    overrides: &'a [Override],
    accepted: &'a std::collections::BTreeSet<StepId>,
    answered: u32,
    working: SignedDuration,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    observations: &'a [Observation],
    #[serde(flatten)]
    boards: &'a Boards,
}

impl Serialize for State {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Flat {
            job: &self.job,
            opened: self.pace.opened,
            last_event_at: self.pace.last_event_at,
            next: self.next,
            mode: self.mode,
            progress: &self.steps,
            readings: &self.readings,
            out: &self.out_list,
            question: &self.pending.question,
            last_taken: &self.pending.last_taken,
            last_bar: &self.pending.last_refusal,
            focus: &self.cursor.focus,
            again: &self.cursor.again,
            overrides: &self.pending.overrides,
            accepted: self.steps.accepted(),
            answered: self.pace.answered,
            working: self.pace.working,
            observations: self.observations.all(),
            boards: &self.boards,
        }
        .serialize(serializer)
    }
}

/// The fold.
impl State {
    /// The state after a log's first event, with the plan of its job.
    ///
    /// # Errors
    /// When the first event is not [`Event::Opened`].
    pub fn open(
        event: &Event,
        at: Timestamp,
        plan: impl FnOnce(&Job, Edition) -> Plan,
    ) -> Result<Self, ReplayError> {
        let Event::Opened {
            job,
            edition,
            delivery,
            practice,
            ..
        } = event
        else {
            return Err(ReplayError::NotOpened);
        };
        let plan = Arc::new(plan(job, *edition));
        Ok(Self {
            steps: StepOutcomes::new(&plan),
            plan,
            tables: Arc::new(Tables::shipped().clone()),
            job: Arc::new((**job).clone()),
            written: Arc::new((**job).clone()),
            edition: *edition,
            delivery: *delivery,
            practice: practice.as_deref().cloned().map(Arc::new),
            predicted: HashTrieSetSync::new_sync(),
            diagnosed: false,
            next: EventNo(1),
            mode: Mode::Running,
            readings: Readings::default(),
            out_list: OutList::default(),
            pending: Pending::default(),
            cursor: Cursor::default(),
            pace: Pace::from(at),
            observations: Observations::default(),
            boards: Boards::default(),
        })
    }

    /// The same with another job and its plan: what was done of steps that both have stays.
    #[must_use]
    pub(in crate::sequence) fn under(mut self, job: &Job, plan: Plan) -> Self {
        let plan = Arc::new(plan);
        self.steps = self.steps.under(&plan);
        for at in [&mut self.cursor.focus, &mut self.cursor.again] {
            at.take_if(|id| plan.position(id).is_none());
        }
        self.job = Arc::new(job.clone());
        self.plan = plan;
        self
    }

    /// Applies one event.
    pub fn apply(&mut self, event: &Event, at: Timestamp) {
        let no = self.next;
        let gap = at.duration_since(self.pace.last_event_at);
        self.next = EventNo(no.0 + 1);
        match event {
            Event::Reading { step, .. }
            | Event::Stated { step, .. }
            | Event::NotTested { step, .. }
            | Event::Skipped { step, .. } => self.steps.answered(no, step),
            Event::SectionStated { steps, .. } => {
                for step in steps {
                    self.steps.answered(no, step);
                }
            }
            _ => {}
        }
        match event {
            Event::Noted { text, .. } => {
                self.observations.noted(no, text.as_ref());
                if let Some(noted) = &mut self.pending.observation {
                    *noted = true;
                }
            }
            Event::Opened { .. }
            | Event::NotTaken { .. }
            | Event::NeighbourHeard { .. }
            | Event::SoundForgotten { .. }
            | Event::Probed { .. }
            | Event::SwitchedOn { .. }
            | Event::Came { .. }
            | Event::Revealed { .. }
            | Event::Struck { .. }
            | Event::Unclear { .. }
            | Event::Asked { .. }
            | Event::CalibrationOverdue { .. } => {}
            Event::Photographed { of, .. } => self.observations.photographed(*of, no),
            Event::Diagnosed { .. } => self.diagnosed = true,
            Event::Predicted { step, of, .. } => {
                self.predicted = self.predicted.insert((step.clone(), *of));
            }
            // Its plan is not made here: see `State::under`.
            Event::JobChanged { job, text, .. } => {
                if !text.is_empty() {
                    self.written = Arc::new((**job).clone());
                }
                self.pending.last_refusal = None;
            }
            Event::JudgedAnew { of, verdict, doubt } => {
                self.readings.judge(*of, verdict.clone(), *doubt);
                // What was accepted of it was accepted as it was judged then.
                let step = self.readings.get(*of).map(|record| record.step.clone());
                if let Some(step) = step {
                    self.steps.no_longer_accepted(&step);
                    if doubt.is_some() {
                        self.steps.set(&step, None);
                        self.pending.anew.push(*of);
                    }
                }
            }
            Event::AskedAnew { of } => {
                self.pending.question = Some(Question::Reading(*of));
                self.pending.last_taken = Some(*of);
                // What is right is taken there.
                self.cursor.again = self.readings.get(*of).map(|record| record.step.clone());
            }
            Event::Resumed { anew, delivery, .. } => {
                self.delivery = *delivery;
                if self.edition == Edition::First {
                    self.expire_isolation(gap, at);
                } else if *anew {
                    self.expire_all(true);
                } else {
                    self.expire_isolation(at.duration_since(self.pace.last_sure_at), at);
                }
                // An observation waits for its words.
                if self.mode == Mode::Noting && self.observations.telling().is_none() {
                    self.mode = Mode::Running;
                }
            }
            Event::CameBack { .. } if self.edition == Edition::First => {
                self.expire_isolation(gap.max(ABSENCE), at);
            }
            Event::CameBack { anew, .. } => self.expire_all(*anew),
            Event::Reading {
                step,
                reading,
                place,
                half,
                verdict,
                doubt,
                question,
                replaces,
                calculated,
            } => {
                self.pace.answered_after(gap);
                if let Some(old) = replaces {
                    self.readings.set_status(*old, ReadingStatus::Replaced(no));
                }
                let record = ReadingRecord {
                    no,
                    at,
                    step: step.clone(),
                    reading: *reading,
                    place: place.clone(),
                    half: *half,
                    verdict: verdict.clone(),
                    question: question.clone(),
                    doubt: *doubt,
                    calculated: *calculated,
                    status: ReadingStatus::Questioned,
                };
                let asked = record.was_asked();
                self.keep_reading(record);
                self.pending.taken(no);
                self.answers_order(step);
                if asked {
                    let before = self.steps.set(step, None);
                    if self.edition > Edition::First {
                        self.pending.before = before.map(|before| (no, before));
                    }
                    self.pending.question = Some(Question::Reading(no));
                } else {
                    self.count_reading(no);
                }
            }
            Event::Affirmed { of, .. } => match self.pending.answer(*of) {
                Some(Question::Reading(asked)) => self.count_reading(asked),
                Some(Question::AllBack(_, entries)) => {
                    self.out_list.put_back(no, at, &entries);
                    self.pending.last_taken = Some(no);
                }
                Some(Question::NeverOut(_, entry)) => self.withdraw(entry),
                Some(Question::IfOut(_, entries)) => {
                    self.out_list.some_of_it(&entries);
                }
                Some(
                    Question::IfLive(_)
                    | Question::Statement(..)
                    | Question::Point(..)
                    | Question::Circuit(..),
                ) => {}
                Some(finish @ Question::Finish(..)) => self.pending.question = Some(finish),
                None => {}
            },
            Event::Withdrawn { of, .. } => self.take_back(*of),
            Event::SetAside { of } => {
                self.pending.anew.retain(|no| no != of);
                self.pending.answer(*of);
                self.give_back_before(*of);
                self.pending.last_taken = None;
            }
            Event::Ordered {
                step,
                board,
                circuit,
                part,
                linked,
                place,
                both,
            } => self.out_list.0.push(OutEntry {
                no,
                at,
                board: *board,
                circuit: *circuit,
                part: *part,
                linked: *linked,
                place: place.clone(),
                both: *both,
                parked: None,
                back: None,
                withdrawn: false,
                overridden: false,
                ordered: Some(step.clone()),
                some_of_it: false,
            }),
            Event::AskedIfOut { entries } => {
                self.pending.question = Some(Question::IfOut(no, entries.clone()));
            }
            Event::AskedIfLive { .. } => self.pending.question = Some(Question::IfLive(no)),
            Event::StaysOff { board, circuit } => {
                self.boards.off.insert((*board, *circuit), no);
                self.pending.last_refusal = None;
                self.pending.last_taken = None;
                self.cursor.again = None;
                self.cursor.focus = self
                    .plan
                    .on(*board, Some(*circuit))
                    .find(|step| step.kind == StepKind::OffLock)
                    .map(|step| step.id.clone());
            }
            Event::CorrectedAtDesk {
                of,
                reading,
                verdict,
                ..
            } => self.correct_at_desk(no, at, *of, *reading, verdict.clone()),
            Event::Stated {
                step, statement, ..
            } => {
                self.pace.answered_after(gap);
                if *statement == Statement::Done {
                    self.answers_order(step);
                }
                // A device that breaks both needs nothing out.
                if *statement == Statement::DoublePole {
                    self.out_list
                        .never_out(|entry| entry.ordered.as_ref() == Some(step));
                }
                self.close(step, StepOutcome::Stated(no, *statement));
                if let Some(step) = Arc::clone(&self.plan).step(step) {
                    self.undo_by(step, *statement);
                }
                self.pending.taken(no);
            }
            Event::TakenOut {
                board,
                circuit,
                part,
                linked,
                place,
                both,
                parked,
            } => {
                self.pace.answered_after(gap);
                let place_said = place.as_ref();
                // What was ordered stands on the list as the person names it.
                self.out_list.never_out(|ordered| {
                    (ordered.board, ordered.circuit) == (*board, *circuit)
                        && (ordered.part == Part::Load && !*linked
                            || ordered.part == Part::Accessory
                                && ordered.place.as_ref() == place_said
                            || ordered.part == *part
                                && ordered.linked == *linked
                                && ordered.both == *both
                                && (*linked || ordered.place.as_ref() == place_said)
                            || is_part_of(ordered.part, *part)
                                && !ordered.linked
                                && !*linked
                                && ordered.place.as_ref() == place_said)
                });
                self.out_list.0.push(OutEntry {
                    no,
                    at,
                    board: *board,
                    circuit: *circuit,
                    part: *part,
                    linked: *linked,
                    place: place.clone(),
                    both: *both,
                    parked: *parked,
                    back: None,
                    withdrawn: false,
                    overridden: false,
                    ordered: None,
                    some_of_it: false,
                });
                self.pending.taken(no);
            }
            Event::PutBack { entries } => {
                self.pace.answered_after(gap);
                self.out_list.put_back(no, at, entries);
                self.pending.taken(no);
            }
            Event::ProposedAllBack { entries } => {
                self.pending.question = Some(Question::AllBack(no, entries.clone()));
            }
            Event::ProposedNeverOut { entry } => {
                self.pending.question = Some(Question::NeverOut(no, *entry));
            }
            Event::ProposedStatement {
                step,
                statement,
                place,
            } => {
                let asked = Question::Statement(no, step.clone(), *statement, place.clone());
                self.pending.question = Some(asked);
            }
            Event::ProposedPoint {
                board,
                circuit,
                place,
            } => {
                let asked = Question::Point(no, *board, *circuit, place.clone());
                self.pending.question = Some(asked);
            }
            Event::ProposedCircuit {
                board,
                circuit,
                said,
            } => {
                let asked = Question::Circuit(no, *board, *circuit, said.clone());
                self.pending.question = Some(asked);
            }
            Event::ProposedFinish { left } => {
                self.pending.question = Some(Question::Finish(no, *left));
            }
            Event::NotTested { step, reason } => {
                self.close(step, StepOutcome::NotTested(no, reason.clone()));
                self.pending.taken(no);
            }
            Event::Skipped { step, reason } => {
                self.close(step, StepOutcome::Skipped(no, reason.clone()));
                self.pending.taken(no);
            }
            Event::Overridden { refusal, reason } => {
                let entries = self.left_out_with(refusal);
                self.out_list.go_past(&entries);
                if let Refusal::DeadTestsFailed { board, .. } = refusal {
                    // An observation passes no reversed polarity, and being told of it nothing else.
                    let passes = |step: &&Step| {
                        let reversed = matches!(
                            self.outcome(step),
                            Some(StepOutcome::Stated(_, Statement::PolarityReversed))
                        );
                        match reason {
                            Reason::Observed => !reversed,
                            Reason::DangerToldOf => reversed,
                            _ => true,
                        }
                    };
                    let failed: Vec<StepId> = self
                        .failed_dead(*board)
                        .filter(passes)
                        .map(|step| step.id.clone())
                        .collect();
                    self.steps.accept(failed);
                }
                self.pending.overrides.push(Override {
                    no,
                    at,
                    refusal: refusal.clone(),
                    reason: reason.clone(),
                    entries,
                });
                self.pending.last_refusal = None;
            }
            Event::Moved { to, again, .. } => self.move_to(to, *again),
            Event::VoltageFound { board, .. } => {
                // A reading that only a changed job put in doubt stays, not affirmed: its step is open.
                let anew = std::mem::take(&mut self.pending.anew);
                if let Some(Question::Reading(asked)) = self.pending.question.take()
                    && !anew.contains(&asked)
                {
                    self.withdraw(asked);
                }
                if self.edition > Edition::First {
                    // Nothing else that waits goes on waiting.
                    self.mode = Mode::Running;
                    self.pending.observation = None;
                    self.observations.told();
                }
                // What is worked on in parts is one board: no part of it counts as proved dead any more.
                let job = Arc::clone(&self.job);
                let parts = job.boards.iter().map(|other| other.number);
                let same = parts.filter(|other| {
                    other == board
                        || board_said(*other) == board_said(*board) && !self.energised(*other)
                });
                for part in same.collect::<Vec<u16>>() {
                    self.boards.unlocked.remove(&part);
                    self.clear_isolation(part, |_| true);
                }
                self.pending.last_taken = None;
                self.cursor = Cursor::default();
                // Nothing that is only looked at comes before isolating it.
                let looked_at = |step: &Step| step.stage == Stage::Inspection;
                if self.plan.steps.first().is_some_and(looked_at) {
                    let first = self.plan.isolation(*board).next();
                    self.cursor.focus = first.map(|step| step.id.clone());
                }
            }
            Event::LockRemoved {
                board,
                to_energise: true,
            } => {
                self.boards.unlocked.insert(*board);
                if self.edition > Edition::First {
                    self.pending.last_taken = None;
                }
            }
            Event::LockRemoved { board, .. } => {
                if self.edition > Edition::First {
                    self.cursor.again = None;
                }
                self.boards.unlocked.remove(board);
                self.clear_isolation(*board, |_| true);
                self.pending.last_taken = None;
            }
            Event::Refused { refusal, .. } => self.pending.last_refusal = Some(refusal.clone()),
            Event::Observed {
                board,
                circuit,
                item,
                code,
                place,
            } => {
                self.pace.answered_after(gap);
                self.observations.begin(Observation {
                    no,
                    at,
                    board: *board,
                    circuit: *circuit,
                    item: *item,
                    code: *code,
                    place: place.clone(),
                    noted: Vec::new(),
                    photos: Vec::new(),
                    withdrawn: false,
                });
                self.mode = Mode::Noting;
                self.pending.observation = None;
                self.pending.taken(no);
            }
            Event::SectionStated {
                steps, statement, ..
            } => {
                self.pace.answered_after(gap);
                for step in steps {
                    self.close(step, StepOutcome::Stated(no, *statement));
                }
                self.pending.taken(no);
            }
            Event::NoteBegun { observation } => {
                self.observations.told();
                self.mode = Mode::Noting;
                self.pending.observation = observation.then_some(false);
            }
            Event::StoodBy => self.mode = Mode::StandingBy,
            Event::NoteEnded => {
                self.observations.told();
                self.mode = Mode::Running;
                self.pending.observation = None;
            }
            Event::CarriedOn => self.mode = Mode::Running,
            Event::Paused => self.mode = Mode::Paused,
            Event::Unpaused => {
                self.mode = Mode::Running;
                self.expire_isolation(gap.max(ABSENCE), at);
            }
            Event::Finished { .. } => {
                self.pending.question = None;
                self.mode = Mode::Finished;
            }
        }
        // What is done at a desk, or not understood, does not show that anyone is at the board.
        if !matches!(
            event,
            Event::CorrectedAtDesk { .. }
                | Event::NotTaken { .. }
                | Event::NeighbourHeard { .. }
                | Event::Photographed { .. }
                | Event::SoundForgotten { .. }
                | Event::Struck { .. }
        ) {
            self.pace.last_event_at = self.pace.last_event_at.max(at);
        }
        // A move to putting back is over when something is back.
        let putting_back = |id: &StepId| id.stage == Stage::PutBack;
        if self.edition > Edition::First
            && self.cursor.focus.as_ref().is_some_and(putting_back)
            && matches!(event, Event::PutBack { .. } | Event::Affirmed { .. })
        {
            self.cursor.focus = None;
        }
        // Nothing is left of what was asked about.
        let out_list = &self.out_list;
        self.pending.question.take_if(|question| match question {
            Question::IfOut(_, entries) => !entries
                .iter()
                .filter_map(|no| out_list.get(*no))
                .any(|entry| entry.is_open() && entry.ordered.is_some()),
            _ => false,
        });
        if shows_presence(event) {
            self.pace.last_sure_at = at;
        }
    }

    /// An answer to a step that ordered something out: it is.
    fn answers_order(&mut self, step: &StepId) {
        let plan = Arc::clone(&self.plan);
        let Some(step) = plan.step(step) else {
            return;
        };
        self.out_list.surely_out(|entry| {
            entry.ordered.as_ref().is_some_and(|id| {
                plan.step(id)
                    .is_some_and(|by| by.kind == step.kind && by.beside(step))
                    && (step.kind != StepKind::Bond || entry.place == step.place)
            })
        });
    }

    /// What closed a step before a reading that was asked about closes it again.
    fn give_back_before(&mut self, of: EventNo) {
        let Some((_, before)) = self.pending.before.take_if(|(asked, _)| *asked == of) else {
            return;
        };
        let step = self.readings.get(of).map(|record| record.step.clone());
        if let Some(step) = step
            && self.steps.get(&step).is_none()
        {
            if let StepOutcome::Read(old) = &before {
                self.readings.set_status(*old, ReadingStatus::Counts);
            }
            self.steps.set(&step, Some(before));
        }
    }

    /// Something is taken back. "Negative" to a question that is about no reading leaves everything
    /// as it was before it was asked.
    fn take_back(&mut self, of: EventNo) {
        match self.pending.question.take_if(|q| q.about() == of) {
            Some(Question::IfOut(_, entries)) => {
                self.out_list.never_out(|entry| entries.contains(&entry.no));
            }
            Some(
                Question::IfLive(_)
                | Question::Statement(..)
                | Question::Point(..)
                | Question::Circuit(..),
            ) => {}
            Some(Question::AllBack(..) | Question::NeverOut(..) | Question::Finish(..))
                if self.edition > Edition::First => {}
            _ => {
                self.withdraw(of);
                self.give_back_before(of);
            }
        }
    }

    /// Closes a step; one that was asked for again has been done again, and what was accepted of
    /// it before no longer stands.
    fn close(&mut self, step: &StepId, outcome: StepOutcome) {
        self.steps.set(step, Some(outcome));
        self.done_again(step);
    }

    fn done_again(&mut self, step: &StepId) {
        self.cursor.done(step);
        self.steps.no_longer_accepted(step);
    }

    fn keep_reading(&mut self, record: ReadingRecord) {
        let trial = record.reading.at == Some(TestVoltage::V250)
            && record.reading.pair.is_some_and(|pair| !pair.to_earth());
        let of = self
            .step(&record.step)
            .filter(|step| trial && step.stage == Stage::Insulation)
            .and_then(|step| Some((step.board, step.circuit?)));
        self.readings.keep(record, of);
    }

    fn count_reading(&mut self, no: EventNo) {
        let Some(step) = self.readings.get(no).map(|record| record.step.clone()) else {
            return;
        };
        self.readings.set_status(no, ReadingStatus::Counts);
        self.done_again(&step);
        if let Some(StepOutcome::Read(old)) = self.steps.set(&step, Some(StepOutcome::Read(no)))
            && old != no
        {
            self.readings.set_status(old, ReadingStatus::Replaced(no));
        }
    }

    fn correct_at_desk(
        &mut self,
        no: EventNo,
        at: Timestamp,
        of: EventNo,
        reading: Reading,
        verdict: Option<Verdict>,
    ) {
        let Some(old) = self.readings.get(of) else {
            return;
        };
        let right = ReadingRecord {
            no,
            at,
            reading,
            verdict,
            question: None,
            doubt: None,
            // What is put right at the desk was measured.
            calculated: None,
            status: ReadingStatus::Counts,
            ..old.clone()
        };
        self.readings.set_status(of, ReadingStatus::Replaced(no));
        self.steps.set(&right.step, Some(StepOutcome::Read(no)));
        self.keep_reading(right);
        if self.pending.question == Some(Question::Reading(of)) {
            self.pending.question = None;
        }
        if self.pending.last_taken == Some(of) {
            self.pending.last_taken = None;
        }
    }

    fn withdraw(&mut self, of: EventNo) {
        self.pending.answer(of);
        let reading = self.readings.get(of).map(|record| record.step.clone());
        if reading.is_some() {
            self.readings.set_status(of, ReadingStatus::Withdrawn);
        }
        let closed = match &reading {
            Some(step) => self
                .plan
                .position(step)
                .filter(|order| self.steps.at(*order).is_some_and(|o| o.no() == of)),
            None => self.steps.closed_by(of),
        };
        if let Some(order) = closed
            && let Some(was) = self.steps.set_at(order, None)
            && was.is_energised()
            && let Some(board) = self.plan.steps.get(order).map(|step| step.board)
        {
            self.no_longer_known_dead(board);
        }
        self.restore_replaced_by(of);
        // A whole section was answered by one event.
        while let Some(order) = self.steps.closed_by(of) {
            self.steps.set_at(order, None);
        }
        // With what was seen, the code of its item is taken back.
        let item = self
            .observations
            .withdraw(of)
            .map(|seen| (seen.item, seen.code));
        if let Some((Some(item), code)) = item
            && let Some(order) = self.plan.item(item).map(|step| step.order)
            && matches!(self.steps.at(order), Some(StepOutcome::Stated(_, said)) if *said == code)
        {
            self.steps.set_at(order, None);
        }
        self.out_list.withdraw(of);
        self.pending.last_taken = None;
    }

    /// A reading that another stood in the place of counts again when that one is taken back.
    fn restore_replaced_by(&mut self, of: EventNo) {
        let replaced = self
            .readings
            .replaced_by(of)
            .map(|record| (record.no, record.step.clone()));
        if let Some((old, step)) = replaced
            && self.steps.get(&step).is_none()
        {
            self.readings.set_status(old, ReadingStatus::Counts);
            self.steps.set(&step, Some(StepOutcome::Read(old)));
        }
    }

    fn move_to(&mut self, to: &StepId, again: Option<bool>) {
        self.pending.last_refusal = None;
        self.cursor.again = None;
        let plan = Arc::clone(&self.plan);
        let Some(step) = plan.step(to) else {
            return;
        };
        if let Some(circuit) = step.circuit
            && self.boards.off.remove(&(step.board, circuit)).is_some()
        {
            // Before anyone works on it again it is proved dead anew.
            self.clear_isolation(step.board, |_| true);
            for off in plan.on(step.board, step.circuit) {
                if matches!(off.kind, StepKind::OffLock | StepKind::OffTerminals) {
                    self.steps.set_at(off.order, None);
                }
            }
        }
        if self.boards.unlocked.contains(&step.board) && step.stage != Stage::Energise {
            self.boards.unlocked.remove(&step.board);
            self.clear_isolation(step.board, |_| true);
        }
        if self.edition > Edition::First {
            self.pending.last_taken = None;
        }
        if step.stage == Stage::Isolation {
            self.clear_isolation(step.board, |_| true);
            self.clear_energising(step.board);
        } else if again.unwrap_or_else(|| self.is_done_once(step)) {
            self.cursor.again = Some(to.clone());
        }
        self.cursor.focus = Some(to.clone());
    }

    /// Whether a step that is closed stays so: for the first version, which did not say whether a
    /// move was to a step that had been done.
    fn is_done_once(&self, step: &Step) -> bool {
        !self.waits(step) && step.ask != Ask::Event && step.kind != StepKind::InsulationAgain
    }

    /// What a refusal that is overridden leaves out; links and the earthing conductor are never
    /// left.
    fn left_out_with(&self, refusal: &Refusal) -> Vec<EventNo> {
        if !matches!(refusal, Refusal::StillOut { .. }) {
            return Vec::new();
        }
        self.open_entries()
            .filter(|entry| !entry.must_go_back() || breakage::is(Break::LinkMayStay))
            .map(|entry| entry.no)
            .collect()
    }
}

/// What may be asked of a state.
impl State {
    /// The job.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// How what is said is worded now. No ledger: it decides nothing.
    pub fn delivery(&self) -> Delivery {
        self.delivery
    }

    /// How somebody learns by it, or is examined; nothing where an installation is tested.
    pub fn practice(&self) -> Option<&Practice> {
        self.practice.as_deref()
    }

    /// How much is told.
    pub fn level(&self) -> Level {
        self.practice()
            .map(|practice| practice.level)
            .unwrap_or_default()
    }

    /// Whether the installation is a simulated one: nothing of it is a result.
    pub fn practises(&self) -> bool {
        self.practice()
            .is_some_and(|practice| practice.simulated.is_some())
    }

    /// What the simulated installation of a practice does.
    pub fn bay_edition(&self) -> BayEdition {
        let simulated = self.practice().and_then(|p| p.simulated.as_ref());
        simulated.map(|of| of.edition).unwrap_or_default()
    }

    /// Whether what is hidden is still to be named.
    pub fn to_diagnose(&self) -> bool {
        self.practises() && !self.diagnosed
    }

    /// What must still be predicted before a reading of this step counts.
    pub fn to_predict(&self, step: &StepId) -> Option<Predicted> {
        let wanted = self.practice().is_some_and(|practice| practice.predict);
        [Predicted::Value, Predicted::Limit]
            .into_iter()
            .filter(|_| wanted)
            .find(|of| !self.predicted.contains(&(step.clone(), *of)))
    }

    /// The edition of the plan that the log follows.
    pub fn edition(&self) -> Edition {
        self.edition
    }

    /// The limits that readings are compared with. Verdicts already kept stay as they were.
    pub fn tables(&self) -> &Tables {
        &self.tables
    }

    /// The same with other limits, from an edited copy of the tables.
    #[must_use]
    pub fn with_tables(self, tables: Tables) -> Self {
        Self {
            tables: Arc::new(tables),
            ..self
        }
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Whether it takes readings or waits.
    pub fn mode(&self) -> Mode {
        self.mode
    }

    /// When the log was begun.
    pub fn opened(&self) -> Timestamp {
        self.pace.opened
    }

    /// When the last event happened.
    pub fn last_event_at(&self) -> Timestamp {
        self.pace.last_event_at
    }

    /// The number the next event will have.
    pub fn next_event(&self) -> EventNo {
        self.next
    }

    /// What waits for "affirm" or "negative".
    pub fn question(&self) -> Option<&Question> {
        self.pending.question.as_ref()
    }

    /// The last thing said that "negative", "correction" or "disregard" would take back.
    pub fn last_taken(&self) -> Option<EventNo> {
        self.pending.last_taken
    }

    /// Why the last thing asked for was refused.
    pub fn last_refusal(&self) -> Option<&Refusal> {
        self.pending.last_refusal.as_ref()
    }

    /// Every refusal that was gone past with a reason.
    pub fn overrides(&self) -> &[Override] {
        &self.pending.overrides
    }

    /// The step the person moved to by voice.
    pub fn focus(&self) -> Option<&Step> {
        self.step(self.cursor.focus.as_ref()?)
    }

    /// The step that was done and was asked for again.
    pub fn asked_again(&self) -> Option<&Step> {
        self.step(self.cursor.again.as_ref()?)
    }

    /// Everything that was ever on the out-list.
    pub fn out_list(&self) -> &[OutEntry] {
        &self.out_list.0
    }

    /// An entry of the out-list, by the event that put it there.
    pub fn out_entry(&self, no: EventNo) -> Option<&OutEntry> {
        self.out_list.get(no)
    }

    /// What closed the step before the reading that is asked about.
    pub fn answered_before(&self) -> Option<&StepOutcome> {
        self.pending.before.as_ref().map(|(_, before)| before)
    }

    /// The job as a file said last: what was added by voice is not in it.
    pub fn written_job(&self) -> &Job {
        &self.written
    }

    /// Whether a changed job put a reading in doubt.
    pub(in crate::sequence) fn is_judged_anew(&self, no: EventNo) -> bool {
        self.pending.anew.contains(&no)
    }

    /// The next reading that a changed job put in doubt, and that was not answered yet.
    pub(in crate::sequence) fn to_be_asked_anew(&self) -> Option<EventNo> {
        let questioned = |no: &EventNo| {
            let record = self.reading(*no);
            record.is_some_and(|record| record.status == ReadingStatus::Questioned)
        };
        self.pending.anew.iter().copied().find(questioned)
    }

    /// When something was last said that surely came from the person.
    pub fn last_sure_at(&self) -> Timestamp {
        self.pace.last_sure_at
    }

    /// What was seen and stands on the report with its code, and was not taken back.
    pub fn observations(&self) -> impl Iterator<Item = &Observation> {
        self.observations
            .all()
            .iter()
            .filter(|seen| !seen.withdrawn)
    }

    /// What was seen and is being told.
    pub fn told_now(&self) -> Option<&Observation> {
        self.observations().find(|seen| self.is_telling(seen))
    }

    /// Whether what is noted now belongs to this one.
    pub fn is_telling(&self, seen: &Observation) -> bool {
        self.observations.telling() == Some(seen.no)
    }

    /// Whether a note that stands as a reason is being taken, and whether anything was noted yet.
    pub fn observation(&self) -> Option<bool> {
        self.pending.observation
    }

    /// What is surely out now: said so, and not only ordered.
    pub fn sure_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.open_entries().filter(|entry| entry.is_surely_out())
    }

    /// The same on one circuit.
    pub fn sure_on(&self, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
        self.open_on(board, circuit)
            .filter(|entry| entry.is_surely_out())
    }

    /// Ends of a ring that are out of their terminals.
    pub fn ring_ends_out(&self, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
        self.sure_on(board, circuit)
            .filter(|entry| entry.is_ring_end())
    }

    /// What a step ordered out, and nobody has said whether it is.
    pub fn ordered_entries(&self) -> impl Iterator<Item = (&OutEntry, &StepId)> {
        self.open_entries()
            .filter_map(|entry| Some((entry, entry.ordered.as_ref()?)))
    }

    /// What is out now, ordered out included.
    pub fn open_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.out_list.open()
    }

    /// What is out now and bars energising: all but what was overridden, and what is on a circuit
    /// that stays off; but a link at the board, the earthing conductor and a bond bar all.
    pub fn barring_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.open_entries().filter(|entry| {
            let alone = entry
                .circuit
                .is_some_and(|circuit| self.stays_off(entry.board, circuit));
            let must = entry.must_go_back() && !breakage::is(Break::LinkMayStay);
            !entry.overridden && (!alone || must)
        })
    }

    /// What is out on one circuit.
    pub fn open_on(&self, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
        self.open_entries()
            .filter(move |entry| entry.board == board && entry.circuit == Some(circuit))
    }

    /// Whether the out-list lets the work go on to what must not be done with things out.
    ///
    /// # Errors
    /// The refusal, with the number of entries.
    pub fn nothing_out(&self) -> Result<(), Refusal> {
        self.nothing_out_of(|_| true)
    }

    /// The same of some of the entries.
    ///
    /// # Errors
    /// The refusal, with the number of entries.
    pub fn nothing_out_of(&self, which: fn(&OutEntry) -> bool) -> Result<(), Refusal> {
        let open = self.open_entries().filter(|entry| which(entry));
        let must = open.filter(|e| e.must_go_back()).count();
        if must > 0 && !breakage::is(Break::LinkMayStay) {
            return Err(Refusal::MustGoBack {
                entries: count(must),
            });
        }
        match self.barring_entries().filter(|entry| which(entry)).count() {
            0 => Ok(()),
            _ if breakage::is(Break::OutUnseen) => Ok(()),
            entries => Err(Refusal::StillOut {
                entries: count(entries),
            }),
        }
    }

    /// Electronics that are in the circuit now: accessories listed as sensitive that are neither
    /// out nor have a conductor out, and whatever a low reading made likely.
    pub fn electronics_in(&self, board: u16, circuit: u16) -> Vec<Electronics> {
        if breakage::is(Break::ElectronicsUnseen) {
            return Vec::new();
        }
        let found = self.circuit(board, circuit);
        let listed = found
            .map(|c| c.points.as_slice())
            .unwrap_or_default()
            .iter()
            .filter(|point| point.sensitive.is_some())
            .filter(|point| {
                !self
                    .sure_on(board, circuit)
                    .any(|entry| takes_out(entry, point, found.map(|c| c.kind)))
            })
            .map(|point| Electronics::Listed(place_of(point)));
        let suspected = self
            .suspicion(board, circuit)
            .map(|_| Electronics::Suspected);
        listed.chain(suspected).collect()
    }

    /// The sound trial at 250 V without what was out, and the event that put that back in circuit
    /// since.
    fn back_since_found(&self, board: u16, circuit: u16) -> Option<(EventNo, EventNo)> {
        if self.edition == Edition::First {
            return None;
        }
        let sound = self.readings.sound_trial(board, circuit)?;
        // Another thing that is out is not this one: whether that is enough, a trial tells.
        let out_again = |was: &OutEntry| {
            self.sure_on(board, circuit)
                .any(|entry| entry.no > was.no && entry.takes_out_too(was))
        };
        let back = self.out_list.0.iter().filter_map(|entry| {
            let load = matches!(
                entry.part,
                Part::Load | Part::Accessory | Part::Conductors(_) | Part::Fuse
            );
            let was_out = (entry.board, entry.circuit) == (board, Some(circuit))
                && load
                && !entry.linked
                && !entry.withdrawn
                && !entry.is_at_board()
                && entry.no < sound;
            let (by, _) = entry.back?;
            (was_out && by > sound && !out_again(entry)).then_some(by)
        });
        back.max().map(|by| (sound, by))
    }

    /// Whether these conductors of the circuit are linked together, and no others with them.
    pub fn linked(&self, board: u16, circuit: u16, conductors: Conductors) -> bool {
        breakage::is(Break::LinkedUnasked)
            || self
                .sure_on(board, circuit)
                .any(|entry| entry.linked && entry.part == Part::Conductors(conductors))
    }

    /// The latest reading between line and neutral of the circuit at 250 V, when it was not sound, or
    /// when what was out for it is back: something may be connected there.
    pub fn suspicion(&self, board: u16, circuit: u16) -> Option<Suspicion> {
        if breakage::is(Break::SuspicionUnseen) {
            return None;
        }
        let asked = self.pending.question.as_ref().map(Question::about);
        let set_aside = |no: EventNo| {
            self.edition > Edition::First
                && asked != Some(no)
                && self
                    .reading(no)
                    .is_some_and(|record| record.status == ReadingStatus::Questioned)
        };
        let unsound = self.readings.unsound_trial(board, circuit, set_aside);
        let (reading, since) = match unsound {
            Some(latest) => (latest.no, latest.no),
            None => self.back_since_found(board, circuit)?,
        };
        Some(Suspicion {
            reading,
            put_back: unsound.is_none(),
            altered_since: unsound.is_none()
                || self.out_list.0.iter().any(|entry| {
                    entry.no > since
                        && !entry.withdrawn
                        && entry.ordered.is_none()
                        && (entry.board, entry.circuit) == (board, Some(circuit))
                }),
        })
    }

    /// Every reading ever heard, by event number.
    pub fn readings(&self) -> impl Iterator<Item = &ReadingRecord> {
        self.readings.all()
    }

    /// The reading that an event brought.
    pub fn reading(&self, no: EventNo) -> Option<&ReadingRecord> {
        self.readings.get(no)
    }

    /// The earliest reading that this one stands in the place of.
    pub fn replaced_by(&self, of: EventNo) -> Option<&ReadingRecord> {
        self.readings.replaced_by(of)
    }

    /// How the step with this name came to be closed, or left for later.
    pub fn outcome_of(&self, id: &StepId) -> Option<&StepOutcome> {
        self.steps.get(id)
    }

    /// How a step came to be closed, or left for later.
    pub fn outcome(&self, step: &Step) -> Option<&StepOutcome> {
        self.steps.at(step.order)
    }

    /// The reading that counts for the step with this name.
    pub fn result_of(&self, id: &StepId) -> Option<&ReadingRecord> {
        self.result(self.step(id)?)
    }

    /// The reading that counts for a step.
    pub fn result(&self, step: &Step) -> Option<&ReadingRecord> {
        match self.outcome(step)? {
            StepOutcome::Read(no) => self.reading(*no),
            _ => None,
        }
    }

    /// Whether nothing has closed a step yet; what is left for later waits too.
    pub fn waits(&self, step: &Step) -> bool {
        matches!(self.outcome(step), None | Some(StepOutcome::Skipped(..)))
    }

    /// Whether what closed the step is outside its limit.
    pub fn has_failed(&self, step: &Step) -> bool {
        if breakage::is(Break::FailedUnseen) {
            return false;
        }
        match self.outcome(step) {
            Some(StepOutcome::Read(no)) => {
                self.reading(*no).and_then(ReadingRecord::outcome) == Some(Outcome::Fail)
            }
            Some(StepOutcome::Stated(_, statement)) => step.is_wrong(*statement),
            _ => false,
        }
    }

    /// The answers, with the events that brought them, to steps that the plan did not have: another build
    /// of the program asked for them.
    pub fn unplanned(&self) -> impl Iterator<Item = (EventNo, &StepId)> {
        self.steps.unplanned().map(|(no, step)| (*no, step))
    }

    /// The step with this name.
    pub fn step(&self, id: &StepId) -> Option<&Step> {
        self.plan.step(id)
    }

    /// The board with this number.
    pub fn board(&self, number: u16) -> Option<&Board> {
        self.job.boards.iter().find(|b| b.number == number)
    }

    /// The circuit with this number on a board.
    pub fn circuit(&self, board: u16, number: u16) -> Option<&Circuit> {
        self.board(board)?
            .circuits
            .iter()
            .find(|c| c.number == number)
    }

    /// The number of the first board of the job.
    pub fn first_board(&self) -> u16 {
        let first = self.job().boards.first();
        first.map_or(1, |board| board.number)
    }

    /// The circuit a step is on.
    pub fn circuit_of(&self, step: &Step) -> Option<&Circuit> {
        self.circuit(step.board, step.circuit?)
    }

    /// The residual current device of several circuits that a step tests.
    pub fn group_of(&self, step: &Step) -> Option<&GroupRcd> {
        let number = step.place.as_ref()?.number?;
        if step.stage != Stage::Rcd || step.circuit.is_some() {
            return None;
        }
        let mut groups = self.board(step.board)?.rcds.iter();
        groups.find(|group| group.number == number)
    }

    /// The residual current device that a step tests: of several circuits, or its circuit's own.
    pub fn rcd_of(&self, step: &Step) -> Option<Rcd> {
        let own = || self.circuit_of(step)?.rcd.clone();
        self.group_of(step).map(GroupRcd::rcd).or_else(own)
    }

    /// The steps of a board that belong to the row of one of its circuits: of the residual current device
    /// that protects it with others, where it has none of its own, and of its arc fault detection.
    pub fn shown_with(&self, board: u16, circuit: &Circuit) -> Vec<&Step> {
        let group = self
            .board(board)
            .filter(|_| circuit.rcd.is_none())
            .and_then(|board| board.group_of(circuit))
            .map(|group| group.number);
        // What is of a whole board is done with what of it stays live, where it is worked on in parts.
        let whole = Some(board_said(board)).filter(|whole| *whole != board);
        let of_whole = whole
            .into_iter()
            .flat_map(|whole| self.plan().on(whole, None));
        let steps = self.plan().on(board, None).chain(of_whole);
        steps
            .filter(|step| {
                let of_group = self.group_of(step).map(|of| of.number);
                (of_group.is_some() && of_group == group)
                    || step.arc_fault_of() == Some(circuit.number)
            })
            .collect()
    }

    /// Whether a step is on a ring final circuit.
    pub fn is_on_a_ring(&self, step: &Step) -> bool {
        self.circuit_of(step)
            .is_some_and(|circuit| circuit.kind == CircuitKind::Ring)
    }

    /// A reading taken now with the resistance of the test leads taken off, when it was noted and
    /// not nulled. Nothing is left where the leads alone read more.
    pub fn without_leads(&self, reading: &Reading) -> Reading {
        off(reading, self.leads(None).as_ref())
    }

    /// The same of a reading that was taken earlier, with the leads as they were then.
    pub fn record_without_leads(&self, record: &ReadingRecord) -> Reading {
        off(&record.reading, self.leads(Some(record.no)).as_ref())
    }

    /// What the test leads read by themselves when they were last joined, on the continuity range;
    /// before this event, or now. Nothing when they were nulled since.
    pub fn leads(&self, before: Option<EventNo>) -> Option<Reading> {
        let early = |no: EventNo| before.is_none_or(|before| no < before);
        let step = self
            .plan
            .measuring(Quantity::LeadsShorted)
            .find(|step| step.measure().is_some_and(|m| m.unit == Unit::Ohm))?;
        // Measured again by the person; a slip put right afterwards was never so.
        let measured_again = |by: EventNo| {
            let doubt = self.reading(by).and_then(|record| record.doubt);
            matches!(doubt, Some(Doubt::ReadBefore { .. }))
        };
        let joined = match self.outcome(step) {
            Some(StepOutcome::Read(no)) if early(*no) => self.reading(*no),
            Some(StepOutcome::Stated(no, _)) if early(*no) => None,
            // Put right at the desk: so it was from the first.
            Some(StepOutcome::Read(no))
                if !measured_again(*no)
                    && self.replaced_by(*no).is_some_and(|old| early(old.no)) =>
            {
                self.reading(*no)
            }
            // What closed the step came later: what counted before it.
            _ => self
                .readings()
                .filter(|record| record.step == step.id && early(record.no))
                .filter(|record| match record.status {
                    ReadingStatus::Counts => true,
                    ReadingStatus::Replaced(by) => measured_again(by),
                    ReadingStatus::Questioned | ReadingStatus::Withdrawn => false,
                })
                .last(),
        };
        let leads = joined?.reading;
        (leads.relation == Relation::Exact).then_some(leads)
    }

    /// The external earth fault loop impedance measured at the origin.
    pub fn external_loop(&self) -> Option<Reading> {
        self.counting(Quantity::ExternalLoop)
            .last()
            .map(|record| record.reading)
    }

    /// The highest R1+R2 read on a circuit, without the test leads; on a ring, with line and cpc
    /// cross-connected.
    pub fn highest_r1_r2(&self, board: u16, circuit: u16) -> Option<Reading> {
        self.counting_on(board, circuit, Quantity::R1R2)
            .chain(self.counting_on(board, circuit, Quantity::RingLineEarth))
            .map(|record| self.record_without_leads(record))
            .max_by(|a, b| a.size().total_cmp(&b.size()))
    }

    /// Where Zs of a circuit is asked for: where R1+R2 was highest, since the loop is longest there; at the
    /// last point where nothing tells.
    pub fn zs_place(&self, step: &Step) -> Option<Place> {
        let is_zs = step.kind == StepKind::LOOP_IMPEDANCE;
        if !is_zs || self.edition == Edition::First || self.practises() {
            return step.place.clone();
        }
        let highest = step.circuit.and_then(|circuit| {
            self.counting_on(step.board, circuit, Quantity::R1R2)
                .chain(self.counting_on(step.board, circuit, Quantity::RingLineEarth))
                .max_by(|a, b| a.reading.size().total_cmp(&b.reading.size()))
        });
        let listed = |place: &Place| {
            let circuit = self.circuit_of(step);
            circuit.is_some_and(|circuit| circuit.points.iter().any(|p| place_of(p) == *place))
        };
        let place = highest.and_then(|record| {
            let at = record.place.clone();
            at.or_else(|| self.step(&record.step)?.place.clone())
        });
        place.filter(listed).or_else(|| step.place.clone())
    }

    /// Readings of one quantity that count, in the order of the plan.
    pub fn counting(&self, quantity: Quantity) -> impl Iterator<Item = &ReadingRecord> {
        self.plan
            .measuring(quantity)
            .filter_map(|step| self.result(step))
    }

    /// The same, of one circuit.
    pub fn counting_on(
        &self,
        board: u16,
        circuit: u16,
        quantity: Quantity,
    ) -> impl Iterator<Item = &ReadingRecord> {
        self.plan
            .on(board, Some(circuit))
            .filter(move |step| step.measures(quantity))
            .filter_map(|step| self.result(step))
    }

    /// How long so many steps take at the pace so far; nothing before ten answers.
    pub fn time_for(&self, steps: usize) -> Option<SignedDuration> {
        self.pace.time_for(steps)
    }
}

/// Whether a conductor is one of several that are named together.
fn is_part_of(one: Part, all: Part) -> bool {
    match (one, all) {
        (Part::Conductors(one), Part::Conductors(all)) => all.contains(one),
        _ => false,
    }
}

/// Whether an event shows that the person is there: what surely came from them. Noises, questions
/// about the session and what was refused may have come from anywhere.
fn shows_presence(event: &Event) -> bool {
    matches!(
        event,
        Event::Opened { .. }
            | Event::Resumed { .. }
            | Event::CameBack { .. }
            | Event::Reading { .. }
            | Event::Affirmed { .. }
            | Event::Withdrawn { .. }
            | Event::Stated { .. }
            | Event::TakenOut { .. }
            | Event::PutBack { .. }
            | Event::NotTested { .. }
            | Event::Skipped { .. }
            | Event::Overridden { .. }
            | Event::Moved { .. }
            | Event::StaysOff { .. }
            | Event::VoltageFound { .. }
            | Event::LockRemoved { .. }
            | Event::Probed { .. }
            | Event::SwitchedOn { .. }
            | Event::Predicted { .. }
            | Event::Diagnosed { .. }
            | Event::StoodBy
            | Event::CarriedOn
            | Event::Paused
            | Event::Unpaused
    )
}

/// A number of entries or steps as events keep it.
pub(super) fn count(entries: usize) -> u32 {
    u32::try_from(entries).unwrap_or(u32::MAX)
}

/// A number of ohms, milliohms or kilohms in another of these units, exactly.
fn off(reading: &Reading, leads: Option<&Reading>) -> Reading {
    let leads = leads.and_then(|leads| in_unit(leads.number?, leads.unit?, reading.unit?));
    let number = match (reading.number, leads) {
        (Some(number), Some(leads)) => Some(number.minus(leads).unwrap_or(Number::whole(0))),
        (number, _) => number,
    };
    Reading { number, ..*reading }
}

/// A number of one unit in another, without noughts that say nothing: 50 mΩ is 0.05 Ω.
fn in_unit(number: Number, from: Unit, to: Unit) -> Option<Number> {
    let thousandths = |unit| match unit {
        Unit::MilliOhm => Some(0i8),
        Unit::Ohm => Some(3),
        Unit::KiloOhm => Some(6),
        _ => None,
    };
    let places = i8::try_from(number.places()).ok()? + thousandths(to)? - thousandths(from)?;
    let digits: u64 = number.to_string().replace('.', "").parse().ok()?;
    match u8::try_from(places) {
        Ok(mut places) => {
            let mut digits = digits;
            while from != to && places > 0 && digits.is_multiple_of(10) {
                (digits, places) = (digits / 10, places - 1);
            }
            Number::new(digits, places)
        }
        Err(_) => Number::new(
            digits.checked_mul(10u64.checked_pow(u32::from(places.unsigned_abs()))?)?,
            0,
        ),
    }
}

/// Why a log can't be replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReplayError {
    /// There is no event.
    #[error("the log holds no events")]
    Empty,
    /// The first event is another.
    #[error("the log does not begin with the job it is for")]
    NotOpened,
}
