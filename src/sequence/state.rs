use super::event::{Bar, Event, EventNo, Mode, describe_part};
use super::plan::{Plan, Quantity, Step, StepId, Stretch};
use crate::installation::{Accessory, Board, Circuit, CircuitKind, Job};
use crate::limits::{Finding, Outcome, Tables, Verdict};
use crate::quantity::{Conductors, Number, Reading, Relation, TestVoltage, Unit};
use crate::terms::{HalfCycle, Parked, Part, Place, Reason, Stage, Statement};
use jiff::{SignedDuration, Timestamp};
use serde::ser::SerializeMap;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

/// After this long between two events of one log the place may have been left: a board must be
/// proved dead again. Common practice is to prove dead again after any absence; the program can
/// only see the clock.
pub const ABSENCE: SignedDuration = SignedDuration::from_mins(15);

/// After this long, or on another day, nothing of the isolation is taken to stand.
pub const LONG_ABSENCE: SignedDuration = SignedDuration::from_hours(8);

/// Everything a session knows: its events, applied in order. Nothing else changes it.
#[derive(Debug, Clone, Serialize)]
pub struct State {
    #[serde(skip)]
    plan: Arc<Plan>,
    #[serde(skip)]
    tables: Arc<Tables>,
    #[serde(serialize_with = "job_itself")]
    job: Arc<Job>,
    opened: Timestamp,
    last_event_at: Timestamp,
    next: EventNo,
    mode: Mode,
    progress: Ledger,
    #[serde(serialize_with = "readings_themselves")]
    readings: Readings,
    /// Readings of a circuit's insulation between live conductors at 250 V, by board and circuit.
    #[serde(skip)]
    trials: Arc<BTreeMap<(u16, u16), Vec<EventNo>>>,
    /// By the event that stood in for them, readings that another was taken in the place of.
    #[serde(skip)]
    replaced: rpds::RedBlackTreeMapSync<EventNo, Vec<EventNo>>,
    out: Vec<OutEntry>,
    question: Option<Question>,
    last_taken: Option<EventNo>,
    last_bar: Option<Bar>,
    focus: Option<StepId>,
    /// A step that was done and was asked for again.
    again: Option<StepId>,
    overrides: Vec<Override>,
    /// Dead tests outside their limits that the person went past with a reason.
    accepted: BTreeSet<StepId>,
    answered: u32,
    working: SignedDuration,
    /// The order of the step asked for now; found when first wanted, forgotten with every event.
    #[serde(skip)]
    now_asked: OnceLock<Option<usize>>,
    /// For each stretch of the plan that belongs to a circuit, whether nothing in it is open.
    #[serde(skip)]
    closed: Vec<bool>,
}

/// What an event can have opened or closed steps of.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Touched {
    Nothing,
    /// One circuit, and the steps of its whole board, which are never taken to be closed.
    Circuit(u16, u16),
    Everything,
}

/// How each step of the plan came to be closed.
#[derive(Debug, Clone)]
struct Ledger {
    plan: Arc<Plan>,
    of: rpds::VectorSync<Option<Progress>>,
}

impl Ledger {
    fn new(plan: &Arc<Plan>) -> Self {
        Self {
            plan: Arc::clone(plan),
            of: plan.steps.iter().map(|_| None).collect(),
        }
    }

    fn get(&self, id: &StepId) -> Option<&Progress> {
        self.of.get(self.plan.position(id)?)?.as_ref()
    }

    fn set(&mut self, id: &StepId, progress: Option<Progress>) -> Option<Progress> {
        self.set_at(self.plan.position(id)?, progress)
    }

    fn set_at(&mut self, order: usize, progress: Option<Progress>) -> Option<Progress> {
        let slot = self.of.get_mut(order)?;
        std::mem::replace(slot, progress)
    }
}

impl Serialize for Ledger {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for (step, progress) in self.plan.steps.iter().zip(&self.of) {
            if let Some(progress) = progress {
                map.serialize_entry(&step.id, progress)?;
            }
        }
        map.end()
    }
}

/// Shared between one state and the next, but for what changes: a turn begins with a copy of the
/// state, however much has happened.
type Readings = rpds::RedBlackTreeMapSync<EventNo, Arc<Kept>>;

fn readings_themselves<S: serde::Serializer>(
    readings: &Readings,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_map(readings.iter().map(|(no, kept)| (no, kept.as_ref())))
}

fn job_itself<S: serde::Serializer>(job: &Arc<Job>, serializer: S) -> Result<S::Ok, S::Error> {
    job.as_ref().serialize(serializer)
}

/// How a step came to be closed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Progress {
    Read(EventNo),
    Stated(EventNo, Statement),
    NotTested(EventNo, Reason),
    Skipped(EventNo, Reason),
}

/// A reading and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Kept {
    pub no: EventNo,
    pub at: Timestamp,
    pub step: StepId,
    pub reading: Reading,
    pub place: Option<Place>,
    pub half: Option<HalfCycle>,
    pub verdict: Option<Verdict>,
    pub question: Option<String>,
    pub standing: Standing,
}

/// Whether a reading counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Waits for "affirm".
    Questioned,
    Counts,
    /// Taken back.
    Withdrawn,
    /// Another reading stands in its place.
    Replaced(EventNo),
}

/// Something altered for a test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutEntry {
    /// The event that put it on the list.
    pub no: EventNo,
    pub at: Timestamp,
    pub board: u16,
    pub circuit: Option<u16>,
    pub part: Part,
    pub linked: bool,
    pub place: Option<Place>,
    pub both: bool,
    pub parked: Option<Parked>,
    /// When it was put back, and by which event.
    pub back: Option<(EventNo, Timestamp)>,
    /// Said by mistake and taken back.
    pub withdrawn: bool,
    /// The person went on with this still out, and said why.
    pub overridden: bool,
}

impl OutEntry {
    /// Whether it still has to be put back.
    pub fn is_open(&self) -> bool {
        self.back.is_none() && !self.withdrawn
    }

    /// Whether no reason makes it right to leave: a link would be a short circuit, and without the
    /// earthing conductor there is no earth.
    pub fn must_go_back(&self) -> bool {
        self.linked || self.part == Part::EarthingConductor
    }

    /// In words: "neutral at socket 3".
    pub fn what(&self) -> String {
        describe_part(self.part, self.place.as_ref(), self.both, self.linked)
    }
}

/// What waits for "affirm" or "negative".
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Question {
    Reading(EventNo),
    AllBack(EventNo, Vec<EventNo>),
    /// Whether an entry of the out-list, named second, never was out.
    NeverOut(EventNo, EventNo),
    Finish(EventNo, u32),
}

/// A bar the person went past, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Override {
    pub no: EventNo,
    pub at: Timestamp,
    pub bar: Bar,
    pub reason: Reason,
    pub entries: Vec<EventNo>,
}

/// A low reading between line and neutral at 250 V, and whether anything was altered on the
/// circuit since.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Suspicion {
    pub reading: EventNo,
    pub altered_since: bool,
}

impl State {
    /// The state after a log's first event.
    ///
    /// # Errors
    /// When the first event is not [`Event::Opened`].
    pub fn open(event: &Event, at: Timestamp) -> Result<Self, ReplayError> {
        let Event::Opened { job, .. } = event else {
            return Err(ReplayError::NotOpened);
        };
        let plan = Arc::new(Plan::of(job));
        Ok(Self {
            progress: Ledger::new(&plan),
            plan,
            tables: Arc::new(Tables::shipped().clone()),
            job: Arc::new((**job).clone()),
            opened: at,
            last_event_at: at,
            next: EventNo(1),
            mode: Mode::Running,
            readings: Readings::default(),
            trials: Arc::default(),
            replaced: rpds::RedBlackTreeMapSync::default(),
            out: Vec::new(),
            question: None,
            last_taken: None,
            last_bar: None,
            focus: None,
            again: None,
            overrides: Vec::new(),
            accepted: BTreeSet::new(),
            answered: 0,
            working: SignedDuration::ZERO,
            now_asked: OnceLock::new(),
            closed: Vec::new(),
        })
    }

    /// The state after all of a log's events.
    ///
    /// # Errors
    /// When there are none or the first is not [`Event::Opened`].
    pub fn replay<'a>(
        events: impl IntoIterator<Item = (&'a Event, Timestamp)>,
    ) -> Result<Self, ReplayError> {
        let mut events = events.into_iter();
        let (first, at) = events.next().ok_or(ReplayError::Empty)?;
        let mut state = Self::open(first, at)?;
        for (event, at) in events {
            state.apply(event, at);
        }
        Ok(state)
    }

    /// Applies one event.
    pub fn apply(&mut self, event: &Event, at: Timestamp) {
        let touched = self.touched_by(event);
        self.happen(event, at);
        self.look_for_closed(&touched);
    }

    fn happen(&mut self, event: &Event, at: Timestamp) {
        let no = self.next;
        let gap = at.duration_since(self.last_event_at);
        self.next = EventNo(no.0 + 1);
        self.now_asked = OnceLock::new();
        match event {
            Event::Opened { .. }
            | Event::Noted
            | Event::Unclear { .. }
            | Event::Asked { .. }
            | Event::CalibrationOverdue { .. } => {}
            Event::Resumed { .. } => {
                self.doubt_isolation(gap, at);
                if self.mode == Mode::Noting {
                    self.mode = Mode::Running;
                }
            }
            Event::CameBack { .. } => self.doubt_isolation(gap.max(ABSENCE), at),
            Event::Reading {
                step,
                reading,
                place,
                half,
                verdict,
                question,
                replaces,
            } => {
                self.close_interval(gap);
                if let Some(old) = replaces {
                    self.stand(*old, Standing::Replaced(no));
                }
                self.keep_reading(Kept {
                    no,
                    at,
                    step: step.clone(),
                    reading: *reading,
                    place: place.clone(),
                    half: *half,
                    verdict: verdict.clone(),
                    question: question.clone(),
                    standing: Standing::Questioned,
                });
                self.taken(no);
                if question.is_some() {
                    self.progress.set(step, None);
                    self.question = Some(Question::Reading(no));
                } else {
                    self.count_reading(no);
                }
            }
            Event::Affirmed { of } => match self.question.take() {
                Some(Question::Reading(asked)) if asked == *of => self.count_reading(asked),
                Some(Question::AllBack(asked, entries)) if asked == *of => {
                    self.put_back(no, at, &entries);
                    self.last_taken = Some(no);
                }
                Some(Question::NeverOut(asked, entry)) if asked == *of => self.withdraw(entry),
                other => self.question = other,
            },
            Event::Withdrawn { of, .. } => self.withdraw(*of),
            Event::CorrectedAtDesk {
                of,
                reading,
                verdict,
                ..
            } => self.correct_at_desk(no, at, *of, *reading, verdict.clone()),
            Event::Stated { step, statement } => {
                self.close_interval(gap);
                self.progress
                    .set(step, Some(Progress::Stated(no, *statement)));
                self.done_again(step);
                if *statement == Statement::NotProved
                    && let Some(board) = self.step(step).map(|step| step.board)
                {
                    self.forget_isolation(board, proves);
                }
                self.taken(no);
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
                self.close_interval(gap);
                self.out.push(OutEntry {
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
                });
                self.taken(no);
            }
            Event::PutBack { entries } => {
                self.close_interval(gap);
                self.put_back(no, at, entries);
                self.taken(no);
            }
            Event::ProposedAllBack { entries } => {
                self.question = Some(Question::AllBack(no, entries.clone()));
            }
            Event::ProposedNeverOut { entry } => {
                self.question = Some(Question::NeverOut(no, *entry));
            }
            Event::ProposedFinish { left } => {
                self.question = Some(Question::Finish(no, *left));
            }
            Event::NotTested { step, reason } => {
                self.progress
                    .set(step, Some(Progress::NotTested(no, reason.clone())));
                self.done_again(step);
                self.taken(no);
            }
            Event::Skipped { step, reason } => {
                self.progress
                    .set(step, Some(Progress::Skipped(no, reason.clone())));
                self.done_again(step);
                self.taken(no);
            }
            Event::Overridden { bar, reason } => {
                let entries = self.overridden_by(bar);
                for entry in &mut self.out {
                    entry.overridden |= entries.contains(&entry.no);
                }
                if let Bar::DeadTestsFailed { board, .. } = bar {
                    let failed: Vec<StepId> = self
                        .failed_dead(*board)
                        .map(|step| step.id.clone())
                        .collect();
                    self.accepted.extend(failed);
                }
                self.overrides.push(Override {
                    no,
                    at,
                    bar: bar.clone(),
                    reason: reason.clone(),
                    entries,
                });
                self.last_bar = None;
            }
            Event::Moved { to, .. } => self.move_to(to),
            Event::VoltageFound { board, .. } => {
                if let Some(Question::Reading(asked)) = self.question.take() {
                    self.withdraw(asked);
                }
                self.forget_isolation(*board, |_| true);
                self.last_taken = None;
                self.focus = None;
                self.again = None;
            }
            Event::LockRemoved { board } => {
                self.forget_isolation(*board, |_| true);
                self.last_taken = None;
            }
            Event::Refused { bar, .. } => self.last_bar = Some(bar.clone()),
            Event::NoteBegun => self.mode = Mode::Noting,
            Event::StoodBy => self.mode = Mode::StandingBy,
            Event::NoteEnded | Event::CarriedOn => self.mode = Mode::Running,
            Event::Paused => self.mode = Mode::Paused,
            Event::Unpaused => {
                self.mode = Mode::Running;
                self.doubt_isolation(gap.max(ABSENCE), at);
            }
            Event::Finished { .. } => {
                self.question = None;
                self.mode = Mode::Finished;
            }
        }
        // What is done at a desk does not show that anyone is at the board.
        if !matches!(event, Event::CorrectedAtDesk { .. }) {
            self.last_event_at = self.last_event_at.max(at);
        }
    }

    /// Whether a step of a circuit is open depends on that circuit and its board alone.
    fn touched_by(&self, event: &Event) -> Touched {
        match event {
            Event::Noted
            | Event::Unclear { .. }
            | Event::Asked { .. }
            | Event::CalibrationOverdue { .. }
            | Event::ProposedAllBack { .. }
            | Event::ProposedNeverOut { .. }
            | Event::ProposedFinish { .. }
            | Event::Refused { .. }
            | Event::NoteBegun
            | Event::NoteEnded
            | Event::StoodBy
            | Event::CarriedOn
            | Event::Paused => Touched::Nothing,
            Event::Reading { step, .. }
            | Event::Stated { step, .. }
            | Event::NotTested { step, .. }
            | Event::Skipped { step, .. } => self.circuit_of(step),
            Event::TakenOut {
                board,
                circuit: Some(circuit),
                ..
            } => Touched::Circuit(*board, *circuit),
            Event::PutBack { entries } => self.touched_with_all(entries),
            Event::Affirmed { of } => match &self.question {
                Some(Question::AllBack(asked, entries)) if asked == of => {
                    self.touched_with_all(entries)
                }
                Some(Question::NeverOut(asked, entry)) if asked == of => self.touched_with(*entry),
                _ => self.touched_with(*of),
            },
            Event::Withdrawn { of, .. } => self.touched_with(*of),
            _ => Touched::Everything,
        }
    }

    /// Where an event that is taken back, affirmed or put back took place.
    fn touched_with(&self, of: EventNo) -> Touched {
        let entry = || self.out.iter().find(|entry| entry.no == of);
        if let Some(kept) = self.readings.get(&of) {
            let here = self.circuit_of(&kept.step);
            match self.replaced_by(of) {
                Some(old) if self.circuit_of(&old.step) != here => Touched::Everything,
                _ => here,
            }
        } else if let Some((board, Some(circuit))) = entry().map(|e| (e.board, e.circuit)) {
            Touched::Circuit(board, circuit)
        } else {
            Touched::Everything
        }
    }

    fn touched_with_all(&self, entries: &[EventNo]) -> Touched {
        let mut touched = entries.iter().map(|entry| self.touched_with(*entry));
        let first = touched.next().unwrap_or(Touched::Nothing);
        if touched.all(|other| other == first) {
            first
        } else {
            Touched::Everything
        }
    }

    fn circuit_of(&self, step: &StepId) -> Touched {
        match self.step(step).map(|step| (step.board, step.circuit)) {
            Some((board, Some(circuit))) => Touched::Circuit(board, circuit),
            _ => Touched::Everything,
        }
    }

    fn look_for_closed(&mut self, touched: &Touched) {
        if self.closed.len() < self.plan.stretches().len() {
            self.closed = self.plan.stretches().iter().map(|_| false).collect();
        }
        let plan = Arc::clone(&self.plan);
        for (n, stretch) in plan.stretches().iter().enumerate() {
            let looked_at = match touched {
                Touched::Nothing => false,
                Touched::Circuit(board, circuit) => {
                    (stretch.board, stretch.circuit) == (*board, Some(*circuit))
                }
                Touched::Everything => true,
            };
            if looked_at {
                let closed = self.is_closed(stretch);
                if let Some(known) = self.closed.get_mut(n) {
                    *known = closed;
                }
            }
        }
    }

    fn is_closed(&self, stretch: &Stretch) -> bool {
        let mut steps = self
            .plan
            .steps
            .get(stretch.steps.clone())
            .into_iter()
            .flatten();
        stretch.circuit.is_some() && !steps.any(|step| self.is_open(step))
    }

    /// Something was taken that "negative", "correction" or "disregard" would take back.
    fn taken(&mut self, no: EventNo) {
        self.last_taken = Some(no);
        self.last_bar = None;
    }

    fn close_interval(&mut self, gap: SignedDuration) {
        self.answered += 1;
        if gap < ABSENCE {
            self.working += gap.abs();
        }
    }

    fn stand(&mut self, no: EventNo, standing: Standing) {
        if let Some(kept) = self.readings.get_mut(&no) {
            Arc::make_mut(kept).standing = standing;
            if let Standing::Replaced(by) = standing {
                let mut all = self.replaced.get(&by).cloned().unwrap_or_default();
                all.push(no);
                self.replaced.insert_mut(by, all);
            }
        }
    }

    fn count_reading(&mut self, no: EventNo) {
        let Some(step) = self.readings.get(&no).map(|kept| kept.step.clone()) else {
            return;
        };
        self.stand(no, Standing::Counts);
        self.done_again(&step);
        if let Some(Progress::Read(old)) = self.progress.set(&step, Some(Progress::Read(no)))
            && old != no
        {
            self.stand(old, Standing::Replaced(no));
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
        let Some(old) = self.readings.get(&of) else {
            return;
        };
        let right = Kept {
            no,
            at,
            reading,
            verdict,
            question: None,
            standing: Standing::Counts,
            ..old.as_ref().clone()
        };
        self.stand(of, Standing::Replaced(no));
        self.progress.set(&right.step, Some(Progress::Read(no)));
        self.keep_reading(right);
        if self.question == Some(Question::Reading(of)) {
            self.question = None;
        }
        if self.last_taken == Some(of) {
            self.last_taken = None;
        }
    }

    /// A step that was asked for again has been done again: what was accepted of it before no
    /// longer stands.
    fn done_again(&mut self, step: &StepId) {
        if self.again.as_ref() == Some(step) {
            self.again = None;
        }
        self.accepted.remove(step);
    }

    fn put_back(&mut self, no: EventNo, at: Timestamp, entries: &[EventNo]) {
        for entry in &mut self.out {
            if entries.contains(&entry.no) && entry.is_open() {
                entry.back = Some((no, at));
            }
        }
    }

    fn withdraw(&mut self, of: EventNo) {
        if self.question.as_ref().is_some_and(|q| q.about() == of) {
            self.question = None;
        }
        if self.readings.contains_key(&of) {
            self.stand(of, Standing::Withdrawn);
        }
        let closed_by = |progress: Option<&Progress>| progress.is_some_and(|p| p.no() == of);
        let withdrawn = match self.readings.get(&of) {
            Some(kept) => self
                .plan
                .position(&kept.step)
                .filter(|_| closed_by(self.progress.get(&kept.step))),
            None => self.progress.of.iter().position(|p| closed_by(p.as_ref())),
        };
        if let Some(order) = withdrawn
            && let Some(was) = self.progress.set_at(order, None)
            && was.is_energised()
            && let Some(board) = self.plan.steps.get(order).map(|step| step.board)
        {
            // Whether it is live is not known now: it has to be proved dead before any dead test.
            self.forget_isolation(board, locks_or_proves);
        }
        self.restore_replaced_by(of);
        for entry in &mut self.out {
            if entry.no == of {
                entry.withdrawn = true;
            }
            if entry.back.is_some_and(|(by, _)| by == of) {
                entry.back = None;
            }
        }
        self.last_taken = None;
    }

    /// The earliest reading that this one stands in the place of.
    pub fn replaced_by(&self, of: EventNo) -> Option<&Kept> {
        let all = self.replaced.get(&of).into_iter().flatten();
        all.filter_map(|no| self.reading(*no))
            .filter(|kept| kept.standing == Standing::Replaced(of))
            .min_by_key(|kept| kept.no)
    }

    /// A reading that another stood in the place of counts again when that one is taken back.
    fn restore_replaced_by(&mut self, of: EventNo) {
        let replaced = self
            .replaced_by(of)
            .map(|kept| (kept.no, kept.step.clone()));
        if let Some((old, step)) = replaced
            && self.progress.get(&step).is_none()
        {
            self.stand(old, Standing::Counts);
            self.progress.set(&step, Some(Progress::Read(old)));
        }
    }

    fn move_to(&mut self, to: &StepId) {
        self.last_bar = None;
        self.again = None;
        let plan = Arc::clone(&self.plan);
        let Some(step) = plan.step(to) else {
            return;
        };
        if step.stage == Stage::Isolation {
            self.forget_isolation(step.board, |_| true);
            self.forget_energising(step.board);
        } else if !self.waits(step) && !self.is_open(step) {
            self.again = Some(to.clone());
        }
        self.focus = Some(to.clone());
    }

    /// After an absence a dead board must be proved dead again; after a long one, or on another
    /// day, the whole isolation is asked again.
    fn doubt_isolation(&mut self, gap: SignedDuration, now: Timestamp) {
        if gap < ABSENCE {
            return;
        }
        let day = |at: Timestamp| jiff::tz::Offset::UTC.to_datetime(at).date();
        let all = gap > LONG_ABSENCE || day(now) != day(self.last_event_at);
        let boards: Vec<_> = self.job.boards.iter().map(|b| b.number).collect();
        for board in boards {
            if !self.energised(board) {
                self.forget_isolation(board, |step| all || locks_or_proves(step));
            }
        }
    }

    fn forget_isolation(&mut self, board: u16, which: impl Fn(&Step) -> bool) {
        let plan = Arc::clone(&self.plan);
        for step in plan.isolation(board).filter(|step| which(step)) {
            self.progress.set(&step.id, None);
        }
        self.now_asked = OnceLock::new();
    }

    fn forget_energising(&mut self, board: u16) {
        let plan = Arc::clone(&self.plan);
        for step in plan.energising(board) {
            self.progress.set(&step.id, None);
        }
        self.now_asked = OnceLock::new();
    }
}

/// Proving the indicator, and dead with it.
fn proves(step: &Step) -> bool {
    step.like.starts_with("prove")
}

fn locks_or_proves(step: &Step) -> bool {
    step.like == "lock" || proves(step)
}

/// What may be asked of a state.
impl State {
    pub fn job(&self) -> &Job {
        &self.job
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

    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    pub fn mode(&self) -> Mode {
        self.mode
    }

    /// When the log was begun.
    pub fn opened(&self) -> Timestamp {
        self.opened
    }

    /// When the last event happened.
    pub fn last_event_at(&self) -> Timestamp {
        self.last_event_at
    }

    /// The number the next event will have.
    pub fn next_event(&self) -> EventNo {
        self.next
    }

    pub fn question(&self) -> Option<&Question> {
        self.question.as_ref()
    }

    /// The last thing said that "negative", "correction" or "disregard" would take back.
    pub fn last_taken(&self) -> Option<EventNo> {
        self.last_taken
    }

    /// Why the last thing asked for was refused.
    pub fn last_bar(&self) -> Option<&Bar> {
        self.last_bar.as_ref()
    }

    pub fn overrides(&self) -> &[Override] {
        &self.overrides
    }

    /// Everything that was ever on the out-list.
    pub fn out_list(&self) -> &[OutEntry] {
        &self.out
    }

    /// What is out now.
    pub fn open_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.out.iter().filter(|entry| entry.is_open())
    }

    /// What is out now and was not overridden.
    pub fn barring_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.open_entries().filter(|entry| !entry.overridden)
    }

    /// What is out on one circuit.
    pub fn open_on(&self, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
        self.open_entries()
            .filter(move |entry| entry.board == board && entry.circuit == Some(circuit))
    }

    /// Every reading ever heard, by event number.
    pub fn readings(&self) -> impl Iterator<Item = &Kept> {
        self.readings.values().map(Arc::as_ref)
    }

    pub fn reading(&self, no: EventNo) -> Option<&Kept> {
        self.readings.get(&no).map(Arc::as_ref)
    }

    pub fn progress(&self, id: &StepId) -> Option<&Progress> {
        self.progress.get(id)
    }

    /// The reading that counts for a step.
    pub fn result(&self, id: &StepId) -> Option<&Kept> {
        self.result_of(self.step(id)?)
    }

    fn result_of(&self, step: &Step) -> Option<&Kept> {
        match self.done(step)? {
            Progress::Read(no) => self.reading(*no),
            _ => None,
        }
    }

    /// How a step came to be closed, or left for later.
    pub fn done(&self, step: &Step) -> Option<&Progress> {
        self.progress.of.get(step.order)?.as_ref()
    }

    /// Whether nothing has closed a step yet; what is left for later waits too.
    pub fn waits(&self, step: &Step) -> bool {
        matches!(self.done(step), None | Some(Progress::Skipped(..)))
    }

    pub fn step(&self, id: &StepId) -> Option<&Step> {
        self.plan.step(id)
    }

    pub fn board(&self, number: u16) -> Option<&Board> {
        self.job.boards.iter().find(|b| b.number == number)
    }

    pub fn circuit(&self, board: u16, number: u16) -> Option<&Circuit> {
        self.board(board)?
            .circuits
            .iter()
            .find(|c| c.number == number)
    }

    fn keep_reading(&mut self, kept: Kept) {
        let trial = kept.reading.at == Some(TestVoltage::V250)
            && kept.reading.pair.is_some_and(|pair| !pair.to_earth());
        let of = self
            .step(&kept.step)
            .filter(|step| trial && step.stage == Stage::Insulation)
            .and_then(|step| Some((step.board, step.circuit?)));
        if let Some(of) = of {
            Arc::make_mut(&mut self.trials)
                .entry(of)
                .or_default()
                .push(kept.no);
        }
        self.readings.insert_mut(kept.no, Arc::new(kept));
    }

    /// The latest reading between line and neutral of the circuit at 250 V, when it was not sound:
    /// something may be connected there.
    pub fn suspicion(&self, board: u16, circuit: u16) -> Option<Suspicion> {
        let trials = self.trials.get(&(board, circuit))?;
        let latest = trials
            .iter()
            .rev()
            .filter_map(|no| self.readings.get(no))
            .find(|kept| matches!(kept.standing, Standing::Counts | Standing::Replaced(_)))?;
        let sound = latest.verdict.as_ref().is_some_and(|v| {
            v.outcome == Outcome::Pass || v.finding == Some(Finding::RangeUnknown)
        });
        (!sound).then(|| Suspicion {
            reading: latest.no,
            altered_since: self.out.iter().any(|entry| {
                entry.no > latest.no
                    && !entry.withdrawn
                    && (entry.board, entry.circuit) == (board, Some(circuit))
            }),
        })
    }

    /// Whether a step still waits to be done.
    pub fn is_open(&self, step: &Step) -> bool {
        step.procedure.is_open(self, step)
    }

    /// The steps still to be done, in order.
    pub fn open_steps(&self) -> impl Iterator<Item = &Step> {
        self.not_closed(0).filter(|step| self.is_open(step))
    }

    /// The steps from the one in this place of the plan on, but for circuits where none is open.
    fn not_closed(&self, from: usize) -> impl Iterator<Item = &Step> {
        let stretches = self.plan.stretches().iter().enumerate();
        stretches
            .filter(move |(n, stretch)| {
                stretch.steps.end > from && !self.closed.get(*n).is_some_and(|closed| *closed)
            })
            .filter_map(|(_, stretch)| self.plan.steps.get(stretch.steps.clone()))
            .flatten()
            .filter(move |step| step.order >= from)
    }

    /// The same state, with everything that was found from it found anew: what a test compares
    /// with.
    #[must_use]
    pub fn found_anew(&self) -> Self {
        Self {
            now_asked: OnceLock::new(),
            closed: Vec::new(),
            ..self.clone()
        }
    }

    /// Whether the board has been isolated and proved dead, and not energised since.
    pub fn proved_dead(&self, board: u16) -> bool {
        !self.energised(board)
            && self
                .plan
                .isolation(board)
                .all(|step| matches!(self.done(step), Some(Progress::Stated(..))))
    }

    /// Whether any of the isolation of a board has been said, and it is not energised.
    pub fn isolation_begun(&self, board: u16) -> bool {
        !self.energised(board)
            && self
                .plan
                .isolation(board)
                .any(|step| self.done(step).is_some())
    }

    /// Whether the person has said that the board is energised, or the plan never isolates it.
    pub fn energised(&self, board: u16) -> bool {
        let said = |step: &Step| self.done(step).is_some_and(Progress::is_energised);
        self.plan.energising(board).any(said) || self.plan.isolation(board).next().is_none()
    }

    /// Dead tests of a board that are outside their limits and were not accepted with a reason.
    pub fn failed_dead(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.plan.steps.iter().filter(move |step| {
            step.board == board
                && step.is_dead_test()
                && !self.accepted.contains(&step.id)
                && step.procedure.settles(step)
                && self.has_failed(step)
        })
    }

    /// Whether what closed the step is outside its limit.
    pub fn has_failed(&self, step: &Step) -> bool {
        match self.done(step) {
            Some(Progress::Read(no)) => self
                .reading(*no)
                .and_then(|kept| kept.verdict.as_ref())
                .is_some_and(|verdict| verdict.outcome == Outcome::Fail),
            Some(Progress::Stated(_, statement)) => matches!(
                statement,
                Statement::PolarityReversed | Statement::Fail | Statement::SequenceReversed
            ),
            _ => false,
        }
    }

    /// What a bar that was overridden leaves out; links and the earthing conductor are never left.
    fn overridden_by(&self, bar: &Bar) -> Vec<EventNo> {
        if !matches!(bar, Bar::StillOut { .. }) {
            return Vec::new();
        }
        self.open_entries()
            .filter(|entry| !entry.must_go_back())
            .map(|entry| entry.no)
            .collect()
    }

    /// Whether the out-list lets the work go on to what must not be done with things out.
    ///
    /// # Errors
    /// The bar, with the number of entries.
    pub fn nothing_out(&self) -> Result<(), Bar> {
        let count = |entries: usize| u32::try_from(entries).unwrap_or(u32::MAX);
        let must = self.open_entries().filter(|e| e.must_go_back()).count();
        if must > 0 {
            return Err(Bar::MustGoBack {
                entries: count(must),
            });
        }
        match self.barring_entries().count() {
            0 => Ok(()),
            entries => Err(Bar::StillOut {
                entries: count(entries),
            }),
        }
    }

    /// Electronics that are in the circuit now: accessories listed as sensitive that are neither
    /// out nor have a conductor out, and whatever a low reading made likely.
    pub fn electronics_in(&self, board: u16, circuit: u16) -> Vec<String> {
        let found = self.circuit(board, circuit);
        let listed = found
            .map(|c| c.points.as_slice())
            .unwrap_or_default()
            .iter()
            .filter(|point| point.sensitive.is_some())
            .filter(|point| {
                !self
                    .open_on(board, circuit)
                    .any(|entry| takes_out(entry, point, found.map(|c| c.kind)))
            })
            .map(|point| place_of(point).to_string());
        let suspected = self
            .suspicion(board, circuit)
            .map(|_| "something across line and neutral".to_owned());
        listed.chain(suspected).collect()
    }

    /// Whether these conductors of the circuit are linked together, and no others with them.
    pub fn linked(&self, board: u16, circuit: u16, conductors: Conductors) -> bool {
        self.open_on(board, circuit)
            .any(|entry| entry.linked && entry.part == Part::Conductors(conductors))
    }

    /// The step asked for now; nothing when all is done.
    ///
    /// After a move by voice, the steps of the circuit or stage moved to come first; a step left
    /// for later comes after the others; a step that is barred gives way to the one that lifts the
    /// bar.
    pub fn current(&self) -> Option<&Step> {
        let order = self
            .now_asked
            .get_or_init(|| self.find_current().map(|step| step.order));
        self.plan.steps.get((*order)?)
    }

    fn find_current(&self) -> Option<&Step> {
        let again = self.again.as_ref().and_then(|id| self.step(id));
        let candidate = again
            .or_else(|| self.first_open(|step| self.done(step).is_none()))
            .or_else(|| self.first_open(|_| true))?;
        match self.guard(candidate) {
            Ok(()) => Some(candidate),
            Err(bar) => self.lifting(candidate, &bar).or(Some(candidate)),
        }
    }

    /// The first open step of a kind, counted from where the person moved to.
    fn first_open(&self, which: impl Fn(&Step) -> bool) -> Option<&Step> {
        let wanted = |step: &&Step| which(step) && self.is_open(step);
        let home = self.focus.as_ref().and_then(|id| self.step(id));
        let Some(home) = home else {
            return self.not_closed(0).find(wanted);
        };
        let here = |step: &&Step| step.is_live_test() == home.is_live_test() && wanted(step);
        let on_circuit = || self.plan.on(home.board, home.circuit);
        on_circuit()
            .filter(|step| step.order >= home.order)
            .find(here)
            .or_else(|| on_circuit().find(here))
            .or_else(|| self.not_closed(home.order).find(wanted))
            .or_else(|| self.not_closed(0).find(wanted))
    }

    /// The step that was done and was asked for again.
    pub fn asked_again(&self) -> Option<&Step> {
        self.step(self.again.as_ref()?)
    }

    /// The open step that lifts a bar.
    fn lifting(&self, barred: &Step, bar: &Bar) -> Option<&Step> {
        let on_board = |step: &&Step| step.board == barred.board;
        let mut open = self.open_steps().filter(on_board);
        match bar {
            Bar::NotProvedDead { .. } => open.find(|step| step.stage == Stage::Isolation),
            Bar::FirstComes { .. } => {
                open.find(|step| (step.stage, step.circuit) == (barred.stage, barred.circuit))
            }
            Bar::DeadTestsOpen { .. } => open.find(|step| step.is_dead_test()),
            Bar::StillOut { .. } | Bar::MustGoBack { .. } => {
                open.find(|step| step.stage == Stage::PutBack || step.like == "earthing-back")
            }
            Bar::ElectronicsInCircuit { circuit, .. } => open.find(|step| {
                step.circuit == Some(*circuit)
                    && step.stage == Stage::Insulation
                    && step.order < barred.order
                    && self.guard(step).is_ok()
            }),
            Bar::NotEnergised { .. } => {
                let first = open.find(|step| !step.is_live_test())?;
                self.guard(first)
                    .map_or_else(|bar| self.lifting(first, &bar), |()| Some(first))
            }
            _ => None,
        }
    }

    /// Whether a step may be done now.
    ///
    /// # Errors
    /// The bar in its way.
    pub fn guard(&self, step: &Step) -> Result<(), Bar> {
        let board = step.board;
        if step.is_dead_test() {
            if self.energised(board) {
                return Err(Bar::Energised { board });
            }
            if !self.proved_dead(board) {
                return Err(Bar::NotProvedDead { board });
            }
        }
        if step.is_live_test() {
            if !self.energised(board) {
                return Err(Bar::NotEnergised { board });
            }
            // Nothing else is tested live while the installation has no earth.
            if step.stage != Stage::ExternalLoop && self.earthing_off(board) {
                return Err(Bar::MustGoBack { entries: 1 });
            }
        }
        step.procedure.guard(self, step)
    }

    /// Whether the earthing conductor is off the means of earthing.
    pub fn earthing_off(&self, board: u16) -> bool {
        self.open_entries()
            .any(|entry| entry.board == board && entry.part == Part::EarthingConductor)
    }

    /// A reading with the resistance of the test leads taken off, when it was noted and not
    /// nulled.
    pub fn without_leads(&self, reading: &Reading) -> Reading {
        let leads = self
            .plan
            .measuring(Quantity::LeadsShorted)
            .find(|step| step.measure().is_some_and(|m| m.unit == Unit::Ohm))
            .and_then(|step| self.result_of(step))
            .map(|kept| kept.reading)
            .filter(|leads| leads.relation == Relation::Exact)
            .and_then(|leads| in_unit(leads.number?, leads.unit?, reading.unit?));
        let number = match (reading.number, leads) {
            (Some(number), Some(leads)) => Some(number.minus(leads).unwrap_or(Number::whole(0))),
            (number, _) => number,
        };
        Reading { number, ..*reading }
    }

    /// The external earth fault loop impedance measured at the origin.
    pub fn external_loop(&self) -> Option<Reading> {
        self.counting(Quantity::ExternalLoop)
            .last()
            .map(|kept| kept.reading)
    }

    /// The highest R1+R2 read on a circuit; on a ring, with line and cpc cross-connected.
    pub fn highest_r1_r2(&self, board: u16, circuit: u16) -> Option<Reading> {
        self.counting_on(board, circuit, Quantity::R1R2)
            .chain(self.counting_on(board, circuit, Quantity::RingLineEarth))
            .map(|kept| kept.reading)
            .max_by(|a, b| value_of(a).total_cmp(&value_of(b)))
    }

    /// Readings of one quantity that count, in the order of the plan.
    pub fn counting(&self, quantity: Quantity) -> impl Iterator<Item = &Kept> {
        self.plan
            .measuring(quantity)
            .filter_map(|step| self.result_of(step))
    }

    /// The same, of one circuit.
    pub fn counting_on(
        &self,
        board: u16,
        circuit: u16,
        quantity: Quantity,
    ) -> impl Iterator<Item = &Kept> {
        self.plan
            .on(board, Some(circuit))
            .filter(move |step| step.measure().is_some_and(|m| m.quantity == quantity))
            .filter_map(|step| self.result_of(step))
    }

    /// How long the open steps will take at the pace so far; nothing before ten answers.
    pub fn time_left(&self) -> Option<SignedDuration> {
        let pace = self
            .working
            .checked_div(i32::try_from(self.answered).ok()?)?;
        let open = i32::try_from(self.open_steps().count()).ok()?;
        (self.answered >= 10).then(|| pace.saturating_mul(open))
    }
}

/// A number of ohms, milliohms or kilohms in another of these units, exactly.
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
        Ok(places) => Number::new(digits, places),
        Err(_) => Number::new(
            digits.checked_mul(10u64.checked_pow(u32::from(places.unsigned_abs()))?)?,
            0,
        ),
    }
}

impl Progress {
    /// Whether it is the statement that the board is energised.
    pub fn is_energised(&self) -> bool {
        matches!(self, Self::Stated(_, Statement::Energised))
    }

    /// The event that closed the step.
    pub fn no(&self) -> EventNo {
        match self {
            Self::Read(no)
            | Self::Stated(no, _)
            | Self::NotTested(no, _)
            | Self::Skipped(no, _) => *no,
        }
    }
}

impl Question {
    /// The event it is about.
    pub fn about(&self) -> EventNo {
        match self {
            Self::Reading(no)
            | Self::AllBack(no, _)
            | Self::NeverOut(no, _)
            | Self::Finish(no, _) => *no,
        }
    }
}

/// A reading's number in base units; infinite when it is over range.
fn value_of(reading: &Reading) -> f64 {
    let scale = reading.unit.map_or(1.0, Unit::scale);
    reading
        .number
        .map_or(f64::INFINITY, |number| number.value() * scale)
}

/// The place of a point, as it is said.
pub fn place_of(point: &Accessory) -> Place {
    Place {
        name: point.name.to_lowercase(),
        number: point.number,
    }
}

/// Whether an entry takes the electronics of a point out of circuit: the accessory itself, or a
/// live conductor of it; both conductors of the kind where the circuit goes on from there, since
/// one of two leaves the accessory fed by the other.
fn takes_out(entry: &OutEntry, point: &Accessory, kind: Option<CircuitKind>) -> bool {
    let here = entry.place.as_ref() == Some(&place_of(point));
    let live = [
        Conductors::L,
        Conductors::N,
        Conductors::L1,
        Conductors::L2,
        Conductors::L3,
    ];
    here && match entry.part {
        Part::Accessory => true,
        Part::Conductors(c) => {
            !entry.linked
                && live.iter().any(|live| c.contains(*live))
                && (entry.both || !goes_on(kind, point))
        }
        _ => false,
    }
}

/// Whether the circuit goes on from a point, so that conductors taken out must stay joined.
pub fn goes_on(kind: Option<CircuitKind>, point: &Accessory) -> bool {
    point.feeds_on || (kind == Some(CircuitKind::Ring) && !point.spur)
}

/// Why a log can't be replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReplayError {
    #[error("the log holds no events")]
    Empty,
    #[error("the log does not begin with the job it is for")]
    NotOpened,
}
