//! What is open, what is asked now, what is barred and what lifts the bar: a state with its plan's
//! procedures. Two things are remembered from one event to the next, so that a session grows with
//! its events: the step asked for now, and the circuits in which nothing is open.

use super::breakage::{self, Break};
use super::facts::{Event, EventNo, Refusal, Step, StepId, Stretch};
use super::procedures::{Catalogue, Procedure};
use super::state::{Question, ReplayError, State, count};
use crate::limits::Tables;
use crate::terms::Stage;
use jiff::{SignedDuration, Timestamp};
use serde::{Serialize, Serializer};
use std::ops::Deref;
use std::sync::{Arc, OnceLock};

/// A state, and what follows from it for the steps of its plan.
#[derive(Debug, Clone)]
pub struct Agenda {
    state: State,
    catalogue: Arc<Catalogue>,
    /// The order of the step asked for now; found when first wanted, forgotten with every event.
    now_asked: OnceLock<Option<usize>>,
    /// For each stretch of the plan that belongs to a circuit, whether nothing in it is open.
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

/// The state may be asked anything; it changes by [`Agenda::apply`] alone.
impl Deref for Agenda {
    type Target = State;

    fn deref(&self) -> &State {
        &self.state
    }
}

impl Serialize for Agenda {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.state.serialize(serializer)
    }
}

impl Agenda {
    /// The agenda after a log's first event.
    ///
    /// # Errors
    /// When the first event is not [`Event::Opened`].
    pub fn open(event: &Event, at: Timestamp) -> Result<Self, ReplayError> {
        Self::open_with(Catalogue::shipped(), event, at)
    }

    /// The same with other procedures.
    ///
    /// # Errors
    /// When the first event is not [`Event::Opened`].
    pub fn open_with(
        catalogue: Arc<Catalogue>,
        event: &Event,
        at: Timestamp,
    ) -> Result<Self, ReplayError> {
        let state = State::open(event, at, |job, edition| catalogue.plan(job, edition))?;
        Ok(Self {
            state,
            catalogue,
            now_asked: OnceLock::new(),
            closed: Vec::new(),
        })
    }

    /// The agenda after all of a log's events.
    ///
    /// # Errors
    /// When there are none or the first is not [`Event::Opened`].
    pub fn replay<'a>(
        events: impl IntoIterator<Item = (&'a Event, Timestamp)>,
    ) -> Result<Self, ReplayError> {
        let mut events = events.into_iter();
        let (first, at) = events.next().ok_or(ReplayError::Empty)?;
        let mut agenda = Self::open(first, at)?;
        for (event, at) in events {
            agenda.apply(event, at);
        }
        Ok(agenda)
    }

    /// Applies one event.
    pub fn apply(&mut self, event: &Event, at: Timestamp) {
        let touched = self.touched_by(event);
        self.state.apply(event, at);
        self.now_asked = OnceLock::new();
        self.look_for_closed(&touched);
    }

    /// The state itself.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The same with other limits, from an edited copy of the tables.
    #[must_use]
    pub fn with_tables(self, tables: Tables) -> Self {
        Self {
            state: self.state.with_tables(tables),
            ..self
        }
    }

    /// The procedures that the plan was made by.
    pub fn catalogue(&self) -> &Catalogue {
        &self.catalogue
    }

    /// The procedure that a step belongs to.
    pub fn procedure(&self, step: &Step) -> &'static dyn Procedure {
        self.catalogue.get(step.procedure)
    }

    /// Whether a step still waits to be done.
    pub fn is_open(&self, step: &Step) -> bool {
        self.procedure(step).is_open(&self.state, step)
    }

    /// The steps still to be done, in order.
    pub fn open_steps(&self) -> impl Iterator<Item = &Step> {
        self.not_closed(0).filter(|step| self.is_open(step))
    }

    /// How many dead tests of a board are open.
    pub fn open_dead_tests(&self, board: u16) -> usize {
        if breakage::is(Break::OpenDeadTestsUncounted) {
            return 0;
        }
        self.open_steps()
            .filter(|step| step.board == board && step.is_dead_test())
            .count()
    }

    /// The steps from the one in this place of the plan on, but for circuits where none is open.
    fn not_closed(&self, from: usize) -> impl Iterator<Item = &Step> {
        let stretches = self.plan().stretches().iter().enumerate();
        stretches
            .filter(move |(n, stretch)| {
                stretch.steps.end > from && !self.closed.get(*n).is_some_and(|closed| *closed)
            })
            .flat_map(|(_, stretch)| self.plan().within(stretch))
            .filter(move |step| step.order >= from)
    }

    /// The same, with everything that was remembered found anew: what a test compares with.
    #[must_use]
    pub fn found_anew(&self) -> Self {
        Self {
            now_asked: OnceLock::new(),
            closed: Vec::new(),
            ..self.clone()
        }
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
        self.plan().steps.get((*order)?)
    }

    fn find_current(&self) -> Option<&Step> {
        let candidate = self
            .asked_again()
            .or_else(|| self.first_open(|step| self.outcome(step).is_none()))
            .or_else(|| self.first_open(|_| true))?;
        match self.guard(candidate) {
            Ok(()) => Some(candidate),
            Err(refusal) => self.lifting(candidate, &refusal).or(Some(candidate)),
        }
    }

    /// The first open step of a kind, counted from where the person moved to.
    fn first_open(&self, which: impl Fn(&Step) -> bool) -> Option<&Step> {
        let wanted = |step: &&Step| which(step) && self.is_open(step);
        let Some(home) = self.focus() else {
            return self.not_closed(0).find(wanted);
        };
        let here = |step: &&Step| step.is_live_test() == home.is_live_test() && wanted(step);
        let on_circuit = || self.plan().beside(home);
        on_circuit()
            .filter(|step| step.order >= home.order)
            .find(here)
            .or_else(|| on_circuit().find(here))
            .or_else(|| self.not_closed(home.order).find(wanted))
            .or_else(|| self.not_closed(0).find(wanted))
    }

    /// The open step that lifts a bar.
    fn lifting(&self, barred: &Step, refusal: &Refusal) -> Option<&Step> {
        let on_board = |step: &&Step| step.board == barred.board;
        let mut open = self.open_steps().filter(on_board);
        match refusal {
            Refusal::NotProvedDead { .. } => open.find(|step| step.stage == Stage::Isolation),
            Refusal::FirstComes { .. } => {
                open.find(|step| step.stage == barred.stage && step.beside(barred))
            }
            Refusal::DeadTestsOpen { .. } => open.find(|step| step.is_dead_test()),
            Refusal::StillOut { .. } | Refusal::MustGoBack { .. } => {
                open.find(|step| step.kind.puts_back())
            }
            Refusal::ElectronicsInCircuit { circuit, .. } => open.find(|step| {
                step.circuit == Some(*circuit)
                    && step.stage == Stage::Insulation
                    && step.order < barred.order
                    && self.guard(step).is_ok()
            }),
            Refusal::NotEnergised { .. } => {
                let first = open.find(|step| !step.is_live_test())?;
                self.guard(first)
                    .map_or_else(|refusal| self.lifting(first, &refusal), |()| Some(first))
            }
            _ => None,
        }
    }

    /// Whether a step may be done now: first what holds for all of its kind, then what its
    /// procedure adds.
    ///
    /// # Errors
    /// The refusal.
    pub fn guard(&self, step: &Step) -> Result<(), Refusal> {
        let board = step.board;
        if step.is_dead_test() {
            if self.energised(board) {
                return Err(Refusal::Energised { board });
            }
            if !self.proved_dead(board) && !breakage::is(Break::DeadTestsUnguarded) {
                return Err(Refusal::NotProvedDead { board });
            }
        }
        if step.is_live_test() && !breakage::is(Break::LiveTestsUnguarded) {
            if !self.energised(board) {
                return Err(Refusal::NotEnergised { board });
            }
            // Nothing else is tested live while the installation has no earth.
            if step.stage != Stage::ExternalLoop && self.earthing_off(board) {
                return Err(Refusal::MustGoBack { entries: 1 });
            }
        }
        if step.stage == Stage::Handover {
            self.nothing_out()?;
        }
        if step.stage == Stage::Energise {
            self.before_energising(step)?;
        }
        self.procedure(step).guard(&self.state, step)
    }

    /// Only with the out-list empty, every dead test done or its reason recorded, none outside its
    /// limit without a reason, and after proving dead.
    fn before_energising(&self, step: &Step) -> Result<(), Refusal> {
        let board = step.board;
        if !breakage::is(Break::EnergisedWithThingsOut) {
            self.nothing_out()?;
        }
        let open = self.open_dead_tests(board);
        if open > 0 {
            return Err(Refusal::DeadTestsOpen { steps: count(open) });
        }
        if !self.proved_dead(board) {
            return Err(Refusal::NotProvedDead { board });
        }
        let failed = self.failed_dead(board).count();
        if failed > 0 {
            return Err(Refusal::DeadTestsFailed {
                board,
                steps: count(failed),
            });
        }
        Ok(())
    }

    /// How long the open steps will take at the pace so far; nothing before ten answers.
    pub fn time_left(&self) -> Option<SignedDuration> {
        self.time_for(self.open_steps().count())
    }
}

/// Which circuits an event can have opened or closed steps of.
impl Agenda {
    /// Whether a step of a circuit is open depends on that circuit and its board alone.
    fn touched_by(&self, event: &Event) -> Touched {
        match event {
            Event::Noted { .. }
            | Event::NotTaken { .. }
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
            | Event::Skipped { step, .. } => self.touched_at(step),
            Event::TakenOut {
                board,
                circuit: Some(circuit),
                ..
            } => Touched::Circuit(*board, *circuit),
            Event::PutBack { entries } => self.touched_with_all(entries),
            Event::Affirmed { of } => match self.question() {
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
        if let Some(record) = self.reading(of) {
            let here = self.touched_at(&record.step);
            return match self.replaced_by(of) {
                Some(old) if self.touched_at(&old.step) != here => Touched::Everything,
                _ => here,
            };
        }
        match self.out_entry(of).map(|entry| (entry.board, entry.circuit)) {
            Some((board, Some(circuit))) => Touched::Circuit(board, circuit),
            _ => Touched::Everything,
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

    fn touched_at(&self, step: &StepId) -> Touched {
        match self.step(step).map(|step| (step.board, step.circuit)) {
            Some((board, Some(circuit))) => Touched::Circuit(board, circuit),
            _ => Touched::Everything,
        }
    }

    fn look_for_closed(&mut self, touched: &Touched) {
        let mut closed = std::mem::take(&mut self.closed);
        closed.resize(self.plan().stretches().len(), false);
        for (stretch, known) in self.plan().stretches().iter().zip(&mut closed) {
            let looked_at = match touched {
                Touched::Nothing => false,
                Touched::Circuit(board, circuit) => {
                    (stretch.board, stretch.circuit) == (*board, Some(*circuit))
                }
                Touched::Everything => true,
            };
            if looked_at {
                *known = self.is_closed(stretch);
            }
        }
        self.closed = closed;
    }

    fn is_closed(&self, stretch: &Stretch) -> bool {
        stretch.circuit.is_some() && !self.plan().within(stretch).any(|step| self.is_open(step))
    }
}
