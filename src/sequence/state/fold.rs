//! The fold: how each event changes what is known.

use super::State;
use super::cursor::Cursor;
use super::observations::Observation;
use super::out_list::OutEntry;
use super::pace::ABSENCE;
use super::pending::{Override, Question};
use super::readings::{ReadingRecord, ReadingStatus};
use super::steps::StepOutcome;
use crate::installation::{Job, board_said};
use crate::limits::Verdict;
use crate::quantity::{Reading, TestVoltage};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Ask, Edition, Event, EventNo, Mode, Refusal, Step, StepId, StepKind};
use crate::terms::{Part, Reason, Stage, Statement};
use jiff::{SignedDuration, Timestamp};
use std::sync::Arc;

/// Which event is applied, when, and how long after the one before.
#[derive(Clone, Copy)]
struct Moment {
    no: EventNo,
    at: Timestamp,
    gap: SignedDuration,
}

impl State {
    /// Applies one event.
    pub fn apply(&mut self, event: &Event, at: Timestamp) {
        let no = self.next;
        let gap = at.duration_since(self.pace.last_event_at);
        self.next = EventNo(no.0 + 1);
        for step in event.answers() {
            self.steps.answered(no, step);
        }
        let now = Moment { no, at, gap };
        match event {
            Event::JobChanged { .. }
            | Event::JudgedAnew { .. }
            | Event::Resumed { .. }
            | Event::CameBack { .. } => self.of_a_run(event, now),
            Event::AskedAnew { .. }
            | Event::AskedIfOut { .. }
            | Event::AskedIfLive { .. }
            | Event::ProposedAllBack { .. }
            | Event::ProposedNeverOut { .. }
            | Event::ProposedStatement { .. }
            | Event::ProposedPoint { .. }
            | Event::ProposedCircuit { .. }
            | Event::ProposedFinish { .. } => self.asked(event, now),
            Event::Affirmed { .. } | Event::Withdrawn { .. } | Event::SetAside { .. } => {
                self.answered(event, now);
            }
            Event::Reading { .. } | Event::CorrectedAtDesk { .. } => self.read(event, now),
            Event::Stated { .. }
            | Event::SectionStated { .. }
            | Event::NotTested { .. }
            | Event::Skipped { .. } => self.stated(event, now),
            Event::Ordered { .. }
            | Event::TakenOut { .. }
            | Event::PutBack { .. }
            | Event::StaysOff { .. } => self.altered(event, now),
            Event::Overridden { .. } => self.went_past(event, now),
            Event::VoltageFound { .. } | Event::LockRemoved { .. } => self.no_longer_dead(event),
            Event::Noted { .. }
            | Event::Photographed { .. }
            | Event::Observed { .. }
            | Event::NoteBegun { .. }
            | Event::NoteEnded => self.seen(event, now),
            Event::StoodBy
            | Event::CarriedOn
            | Event::Paused
            | Event::Unpaused
            | Event::Finished { .. } => self.goes_or_waits(event, now),
            Event::Opened { .. }
            | Event::NotTaken { .. }
            | Event::NeighbourHeard { .. }
            | Event::ReadBackCut { .. }
            | Event::SoundForgotten { .. }
            | Event::Probed { .. }
            | Event::SwitchedOn { .. }
            | Event::Came { .. }
            | Event::Revealed { .. }
            | Event::Struck { .. }
            | Event::Unclear { .. }
            | Event::Asked { .. }
            | Event::CalibrationOverdue { .. } => {}
            Event::Diagnosed { .. } => self.diagnosed = true,
            Event::Predicted { step, of, .. } => {
                self.predicted = self.predicted.insert((step.clone(), *of));
            }
            Event::Moved { to, again, .. } => self.move_to(to, *again),
            Event::Refused { refusal, .. } => self.pending.last_refusal = Some(refusal.clone()),
        }
        // What is done at a desk, or not understood, does not show that anyone is at the board.
        if !matches!(
            event,
            Event::CorrectedAtDesk { .. }
                | Event::NotTaken { .. }
                | Event::NeighbourHeard { .. }
                | Event::ReadBackCut { .. }
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

    /// A run of the program, somebody who came back, a job that is changed.
    fn of_a_run(&mut self, event: &Event, Moment { at, gap, .. }: Moment) {
        match event {
            // Its plan is not made here: see `State::under`.
            Event::JobChanged { job, text, .. } => {
                // A source that nobody knew of was not isolated.
                if self.edition >= Edition::Fifth && has_another_source(&self.written, job) {
                    self.boards.unlocked.clear();
                    self.expire_all(true);
                }
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
            other => no_arm_for(other),
        }
    }

    /// Something waits for an answer.
    fn asked(&mut self, event: &Event, Moment { no, .. }: Moment) {
        match event {
            Event::AskedAnew { of } => {
                self.pending.question = Some(Question::Reading(*of));
                self.pending.last_taken = Some(*of);
                // What is right is taken there.
                self.cursor.again = self.readings.get(*of).map(|record| record.step.clone());
            }
            Event::AskedIfOut { entries } => {
                self.pending.question = Some(Question::IfOut(no, entries.clone()));
            }
            Event::AskedIfLive { .. } => self.pending.question = Some(Question::IfLive(no)),
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
            other => no_arm_for(other),
        }
    }

    /// An answer to what waits for one, or what was said last is taken back.
    fn answered(&mut self, event: &Event, Moment { no, at, .. }: Moment) {
        match event {
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
            other => no_arm_for(other),
        }
    }

    /// A value.
    fn read(&mut self, event: &Event, Moment { no, at, gap }: Moment) {
        match event {
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
            Event::CorrectedAtDesk {
                of,
                reading,
                verdict,
                ..
            } => self.correct_at_desk(no, at, *of, *reading, verdict.clone()),
            other => no_arm_for(other),
        }
    }

    /// A step is closed by words, or left out.
    fn stated(&mut self, event: &Event, Moment { no, gap, .. }: Moment) {
        match event {
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
                self.supply_put_right(step, *statement);
                self.close(step, StepOutcome::Stated(no, *statement));
                if let Some(step) = Arc::clone(&self.plan).step(step) {
                    self.undo_by(step, *statement);
                }
                self.pending.taken(no);
            }
            Event::NotTested { step, reason } => {
                self.close(step, StepOutcome::NotTested(no, reason.clone()));
                self.pending.taken(no);
            }
            Event::Skipped { step, reason } => {
                self.close(step, StepOutcome::Skipped(no, reason.clone()));
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
            other => no_arm_for(other),
        }
    }

    /// Somebody had their hands in a supply that was reversed: its board is isolated and proved dead anew.
    fn supply_put_right(&mut self, step: &StepId, statement: Statement) {
        let reversed = matches!(
            self.steps.get(step),
            Some(StepOutcome::Stated(_, Statement::PolarityReversed))
        );
        let right = statement == Statement::PolarityCorrect && reversed;
        let incoming = self.step(step).is_some_and(|step| step.incoming);
        if right && incoming && self.edition >= Edition::Fifth {
            self.boards.unlocked.remove(&step.board);
            self.clear_isolation(step.board, |_| true);
        }
    }

    /// Something is out, joined or back, or stays off.
    fn altered(&mut self, event: &Event, Moment { no, at, gap }: Moment) {
        match event {
            Event::Ordered {
                step,
                board,
                circuit,
                part,
                linked,
                place,
                both,
            } => self.out_list.0.push(OutEntry {
                linked: *linked,
                place: place.clone(),
                both: *both,
                ordered: Some(step.clone()),
                ..OutEntry::of(no, at, (*board, *circuit), *part)
            }),
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
                    linked: *linked,
                    place: place.clone(),
                    both: *both,
                    parked: *parked,
                    ..OutEntry::of(no, at, (*board, *circuit), *part)
                });
                // With the locks off nobody works there: it is isolated anew first.
                if self.edition >= Edition::Fourth && self.unlocked(*board) {
                    self.boards.unlocked.remove(board);
                    self.clear_isolation(*board, |_| true);
                }
                self.pending.taken(no);
            }
            Event::PutBack { entries } => {
                self.pace.answered_after(gap);
                self.out_list.put_back(no, at, entries);
                self.pending.taken(no);
            }
            other => no_arm_for(other),
        }
    }

    /// A guard is passed with a reason.
    fn went_past(&mut self, event: &Event, Moment { no, at, .. }: Moment) {
        let Event::Overridden { refusal, reason } = event else {
            return;
        };
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

    /// A board counts as isolated no more, or is to be energised.
    fn no_longer_dead(&mut self, event: &Event) {
        match event {
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
            other => no_arm_for(other),
        }
    }

    /// What was seen, and notes.
    fn seen(&mut self, event: &Event, Moment { no, at, gap }: Moment) {
        match event {
            Event::Noted { text, .. } => {
                self.observations.noted(no, text.as_ref());
                if let Some(noted) = &mut self.pending.observation {
                    *noted = true;
                }
            }
            Event::Photographed { of, .. } => self.observations.photographed(*of, no),
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
            Event::NoteBegun { observation } => {
                self.observations.told();
                self.mode = Mode::Noting;
                self.pending.observation = observation.then_some(false);
            }
            Event::NoteEnded => {
                self.observations.told();
                self.mode = Mode::Running;
                self.pending.observation = None;
            }
            other => no_arm_for(other),
        }
    }

    /// The session waits, goes on, or is finished.
    fn goes_or_waits(&mut self, event: &Event, Moment { at, gap, .. }: Moment) {
        match event {
            Event::StoodBy => self.mode = Mode::StandingBy,
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
            other => no_arm_for(other),
        }
    }

    /// An answer to a step that ordered something out: it is.
    fn answers_order(&mut self, step: &StepId) {
        let plan = Arc::clone(&self.plan);
        let Some(step) = plan.step(step) else {
            return;
        };
        if step.kind == StepKind::NeutralOut {
            self.out_list.wholly_out(|entry| {
                (entry.board, entry.circuit) == (step.board, step.circuit) && entry.is_at_board()
            });
        }
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
            Some(Question::AllBack(_, entries)) if self.edition > Edition::First => {
                self.out_list.not_all_back(&entries);
            }
            Some(Question::NeverOut(..) | Question::Finish(..))
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

/// Whether a job has a source that it had not before.
fn has_another_source(before: &Job, after: &Job) -> bool {
    let known = &before.supply.sources;
    after
        .supply
        .sources
        .iter()
        .any(|source| !known.contains(source))
}

/// Reached by no event: each is given by [`State::apply`] to the part that has an arm for it. A build of tests
/// says so.
fn no_arm_for(event: &Event) {
    debug_assert!(false, "nothing folds {}", event.kind());
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
