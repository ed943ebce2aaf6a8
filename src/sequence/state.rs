use super::event::{Bar, Event, EventNo, Mode, describe_part};
use super::plan::{Plan, Quantity, Step, StepId};
use crate::grammar::{HalfCycle, Parked, Part, Place, Reason, Stage, Statement};
use crate::installation::{Accessory, Board, Circuit, Job};
use crate::limits::{Finding, Outcome, Tables, Verdict};
use crate::quantity::{Conductors, Number, Pair, Reading, TestVoltage, Unit};
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;

/// After this long between two events of one log the place may have been left: a board must be
/// proved dead again. Common practice is to prove dead again after any absence; the program can
/// only see the clock.
pub const ABSENCE: SignedDuration = SignedDuration::from_mins(15);

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
    progress: BTreeMap<StepId, Progress>,
    readings: BTreeMap<EventNo, Kept>,
    out: Vec<OutEntry>,
    question: Option<Question>,
    last_taken: Option<EventNo>,
    last_bar: Option<Bar>,
    focus: Option<StepId>,
    overrides: Vec<Override>,
    answered: u32,
    working: SignedDuration,
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
        Ok(Self {
            plan: Arc::new(Plan::of(job)),
            tables: Arc::new(Tables::shipped().clone()),
            job: Arc::new((**job).clone()),
            opened: at,
            last_event_at: at,
            next: EventNo(1),
            mode: Mode::Running,
            progress: BTreeMap::new(),
            readings: BTreeMap::new(),
            out: Vec::new(),
            question: None,
            last_taken: None,
            last_bar: None,
            focus: None,
            overrides: Vec::new(),
            answered: 0,
            working: SignedDuration::ZERO,
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
        let no = self.next;
        let gap = at.duration_since(self.last_event_at);
        self.next = EventNo(no.0 + 1);
        // What is done at a desk does not show that anyone is at the board.
        if !matches!(event, Event::CorrectedAtDesk { .. }) {
            self.last_event_at = self.last_event_at.max(at);
        }
        match event {
            Event::Opened { .. } | Event::Noted | Event::Unclear { .. } | Event::Asked { .. } => {}
            Event::Resumed { .. } => {
                if gap > ABSENCE {
                    self.doubt_isolation();
                }
                if self.mode == Mode::Noting {
                    self.mode = Mode::Running;
                }
            }
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
                if let Some(old) = replaces.and_then(|old| self.readings.get_mut(&old)) {
                    old.standing = Standing::Replaced(no);
                }
                self.readings.insert(
                    no,
                    Kept {
                        no,
                        at,
                        step: step.clone(),
                        reading: *reading,
                        place: place.clone(),
                        half: *half,
                        verdict: verdict.clone(),
                        question: question.clone(),
                        standing: Standing::Questioned,
                    },
                );
                self.last_taken = Some(no);
                self.last_bar = None;
                if question.is_some() {
                    self.progress.remove(step);
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
                    .insert(step.clone(), Progress::Stated(no, *statement));
                if *statement == Statement::NotProved
                    && let Some(board) = self.step(step).map(|step| step.board)
                {
                    self.forget_isolation(board, |step| step.like.starts_with("prove"));
                }
                self.last_taken = Some(no);
                self.last_bar = None;
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
                self.last_taken = Some(no);
                self.last_bar = None;
            }
            Event::PutBack { entries } => {
                self.close_interval(gap);
                self.put_back(no, at, entries);
                self.last_taken = Some(no);
                self.last_bar = None;
            }
            Event::ProposedAllBack { entries } => {
                self.question = Some(Question::AllBack(no, entries.clone()));
            }
            Event::ProposedFinish { left } => {
                self.question = Some(Question::Finish(no, *left));
            }
            Event::NotTested { step, reason } => {
                self.progress
                    .insert(step.clone(), Progress::NotTested(no, reason.clone()));
                self.last_taken = Some(no);
                self.last_bar = None;
            }
            Event::Skipped { step, reason } => {
                self.progress
                    .insert(step.clone(), Progress::Skipped(no, reason.clone()));
                self.last_taken = Some(no);
                self.last_bar = None;
            }
            Event::Overridden { bar, reason } => {
                let entries: Vec<_> = self.open_entries().map(|entry| entry.no).collect();
                for entry in &mut self.out {
                    entry.overridden |= entry.is_open();
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
            Event::Moved { to, .. } => {
                if let Some((Stage::Isolation, board)) =
                    self.step(to).map(|step| (step.stage, step.board))
                {
                    self.forget_isolation(board, |_| true);
                    self.forget_energising(board);
                }
                self.focus = Some(to.clone());
                self.last_bar = None;
            }
            Event::VoltageFound { board, .. } => {
                self.forget_isolation(*board, |_| true);
                self.question = None;
                self.last_taken = None;
                self.focus = None;
            }
            Event::Refused { bar, .. } => self.last_bar = Some(bar.clone()),
            Event::NoteBegun => self.mode = Mode::Noting,
            Event::StoodBy => self.mode = Mode::StandingBy,
            Event::NoteEnded | Event::CarriedOn => self.mode = Mode::Running,
            Event::Paused => self.mode = Mode::Paused,
            Event::Unpaused => {
                self.mode = Mode::Running;
                self.doubt_isolation();
            }
            Event::Finished { .. } => {
                self.question = None;
                self.mode = Mode::Finished;
            }
        }
    }

    fn close_interval(&mut self, gap: SignedDuration) {
        self.answered += 1;
        if gap < ABSENCE {
            self.working += gap.abs();
        }
    }

    fn count_reading(&mut self, no: EventNo) {
        let Some(kept) = self.readings.get_mut(&no) else {
            return;
        };
        kept.standing = Standing::Counts;
        let step = kept.step.clone();
        if let Some(Progress::Read(old)) = self.progress.insert(step, Progress::Read(no))
            && old != no
            && let Some(earlier) = self.readings.get_mut(&old)
        {
            earlier.standing = Standing::Replaced(no);
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
        let Some(old) = self.readings.get_mut(&of) else {
            return;
        };
        old.standing = Standing::Replaced(no);
        let right = Kept {
            no,
            at,
            reading,
            verdict,
            question: None,
            standing: Standing::Counts,
            ..old.clone()
        };
        self.progress.insert(right.step.clone(), Progress::Read(no));
        self.readings.insert(no, right);
        if self.question == Some(Question::Reading(of)) {
            self.question = None;
        }
        if self.last_taken == Some(of) {
            self.last_taken = None;
        }
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
        if let Some(kept) = self.readings.get_mut(&of) {
            kept.standing = Standing::Withdrawn;
        }
        self.progress.retain(|_, progress| progress.no() != of);
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

    /// After an absence a dead board must be proved dead again.
    fn doubt_isolation(&mut self) {
        let boards: Vec<_> = self.job.boards.iter().map(|b| b.number).collect();
        for board in boards {
            if !self.energised(board) {
                self.forget_isolation(board, |step| step.like.starts_with("prove"));
            }
        }
    }

    fn forget_isolation(&mut self, board: u16, which: impl Fn(&Step) -> bool) {
        let plan = Arc::clone(&self.plan);
        for step in &plan.steps {
            if step.stage == Stage::Isolation && step.board == board && which(step) {
                self.progress.remove(&step.id);
            }
        }
    }

    fn forget_energising(&mut self, board: u16) {
        let plan = Arc::clone(&self.plan);
        for step in &plan.steps {
            if step.stage == Stage::Energise && step.board == board {
                self.progress.remove(&step.id);
            }
        }
    }
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
        self.readings.values()
    }

    pub fn reading(&self, no: EventNo) -> Option<&Kept> {
        self.readings.get(&no)
    }

    pub fn progress(&self, id: &StepId) -> Option<&Progress> {
        self.progress.get(id)
    }

    /// The reading that counts for a step.
    pub fn result(&self, id: &StepId) -> Option<&Kept> {
        match self.progress.get(id)? {
            Progress::Read(no) => self.readings.get(no),
            _ => None,
        }
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

    /// The latest reading between line and neutral of the circuit at 250 V, when it was not sound:
    /// something may be connected there.
    pub fn suspicion(&self, board: u16, circuit: u16) -> Option<Suspicion> {
        let latest = self.readings.values().rev().find(|kept| {
            kept.reading.at == Some(TestVoltage::V250)
                && kept.reading.pair == Some(Pair::LN)
                && matches!(kept.standing, Standing::Counts | Standing::Replaced(_))
                && self.step(&kept.step).is_some_and(|step| {
                    step.stage == Stage::Insulation
                        && (step.board, step.circuit) == (board, Some(circuit))
                })
        })?;
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
        self.plan.steps.iter().filter(|step| self.is_open(step))
    }

    /// Whether the board has been isolated and proved dead, and not energised since.
    pub fn proved_dead(&self, board: u16) -> bool {
        !self.energised(board)
            && self
                .plan
                .steps
                .iter()
                .filter(|step| step.stage == Stage::Isolation && step.board == board)
                .all(|step| matches!(self.progress(&step.id), Some(Progress::Stated(..))))
    }

    /// Whether the person has said that the board is energised, or the plan never isolates it.
    pub fn energised(&self, board: u16) -> bool {
        let mut isolates = false;
        for step in self.plan.steps.iter().filter(|step| step.board == board) {
            isolates |= step.stage == Stage::Isolation;
            if step.stage == Stage::Energise
                && let Some(Progress::Stated(_, Statement::Energised)) = self.progress(&step.id)
            {
                return true;
            }
        }
        !isolates
    }

    /// Electronics that are in the circuit now: accessories listed as sensitive that are neither
    /// out nor have a conductor out, and whatever a low reading made likely.
    pub fn electronics_in(&self, board: u16, circuit: u16) -> Vec<String> {
        let listed = self
            .circuit(board, circuit)
            .map(|c| c.points.as_slice())
            .unwrap_or_default()
            .iter()
            .filter(|point| point.sensitive.is_some())
            .filter(|point| {
                !self
                    .open_on(board, circuit)
                    .any(|entry| takes_out(entry, point))
            })
            .map(|point| place_of(point).to_string());
        let suspected = self
            .suspicion(board, circuit)
            .map(|_| "something across line and neutral".to_owned());
        listed.chain(suspected).collect()
    }

    /// Whether line and neutral of the circuit are linked together.
    pub fn linked(&self, board: u16, circuit: u16, conductors: Conductors) -> bool {
        self.open_on(board, circuit)
            .any(|entry| entry.linked && entry.part == Part::Conductors(conductors))
    }

    /// The step asked for now; nothing when all is done.
    ///
    /// After a move by voice, the steps of the circuit or stage moved to come first; a step that
    /// is barred gives way to the one that lifts the bar.
    pub fn current(&self) -> Option<&Step> {
        let start = self
            .focus
            .as_ref()
            .and_then(|id| self.plan.position(id))
            .unwrap_or(0);
        let group = |step: &Step| (step.board, step.circuit, step.is_live_test());
        let home = self.plan.steps.get(start).map(group);
        let from = |n: usize| {
            self.plan.steps[n..]
                .iter()
                .filter(|step| self.is_open(step))
        };
        let candidate = if self.focus.is_some() {
            from(start)
                .find(|step| Some(group(step)) == home)
                .or_else(|| from(0).find(|step| Some(group(step)) == home))
                .or_else(|| from(start).next())
                .or_else(|| from(0).next())
        } else {
            from(0).next()
        }?;
        match self.guard(candidate) {
            Ok(()) => Some(candidate),
            Err(bar) => self.lifting(candidate, &bar).or(Some(candidate)),
        }
    }

    /// The open step that lifts a bar.
    fn lifting(&self, barred: &Step, bar: &Bar) -> Option<&Step> {
        let on_board = |step: &&Step| step.board == barred.board;
        let mut open = self.open_steps().filter(on_board);
        match bar {
            Bar::NotProvedDead { .. } => open.find(|step| step.stage == Stage::Isolation),
            Bar::DeadTestsOpen { .. } => open.find(|step| step.is_dead_test()),
            Bar::StillOut { .. } => open.find(|step| step.stage == Stage::PutBack),
            Bar::ElectronicsInCircuit { circuit, .. } => {
                open.find(|step| step.circuit == Some(*circuit) && self.guard(step).is_ok())
            }
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
        if step.is_live_test() && !self.energised(board) {
            return Err(Bar::NotEnergised { board });
        }
        step.procedure.guard(self, step)
    }

    /// A reading with the resistance of the test leads taken off, when it was noted and not
    /// nulled.
    pub fn without_leads(&self, reading: &Reading) -> Reading {
        let leads = self
            .plan
            .steps
            .iter()
            .find(|step| {
                step.measure()
                    .is_some_and(|m| m.quantity == Quantity::LeadsShorted && m.unit == Unit::Ohm)
            })
            .and_then(|step| self.result(&step.id))
            .map(|kept| kept.reading)
            .filter(|leads| leads.unit == reading.unit);
        let number = match (reading.number, leads.and_then(|leads| leads.number)) {
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
        self.counting(Quantity::R1R2)
            .chain(self.counting(Quantity::RingLineEarth))
            .filter(|kept| {
                self.step(&kept.step)
                    .is_some_and(|s| (s.board, s.circuit) == (board, Some(circuit)))
            })
            .map(|kept| kept.reading)
            .max_by(|a, b| value_of(a).total_cmp(&value_of(b)))
    }

    /// Readings of one quantity that count, in the order of the plan.
    pub fn counting(&self, quantity: Quantity) -> impl Iterator<Item = &Kept> {
        self.plan
            .steps
            .iter()
            .filter(move |step| step.measure().is_some_and(|m| m.quantity == quantity))
            .filter_map(|step| self.result(&step.id))
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

impl Progress {
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
            Self::Reading(no) | Self::AllBack(no, _) | Self::Finish(no, _) => *no,
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
/// live conductor of it.
fn takes_out(entry: &OutEntry, point: &Accessory) -> bool {
    let here = entry.place.as_ref() == Some(&place_of(point));
    let parts = match entry.part {
        Part::Accessory => true,
        Part::Conductors(c) => {
            !entry.linked
                && [
                    Conductors::L,
                    Conductors::N,
                    Conductors::L1,
                    Conductors::L2,
                    Conductors::L3,
                ]
                .iter()
                .any(|live| c.contains(*live))
        }
        _ => false,
    };
    here && parts
}

/// Why a log can't be replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ReplayError {
    #[error("the log holds no events")]
    Empty,
    #[error("the log does not begin with the job it is for")]
    NotOpened,
}
