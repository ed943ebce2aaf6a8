//! What is open, what is asked now, what is barred and what lifts the bar: a state with its plan's
//! procedures. Two things are remembered from one event to the next, so that a session grows with
//! its events: the step asked for now, and the circuits in which nothing is open.

use super::breakage::{self, Break};
use super::facts::{
    Ask, Edition, Event, EventNo, Mode, Order, Quantity, Refusal, Step, StepId, StepKind, Stretch,
};
use super::procedures::{
    Catalogue, Fault, Procedure, SUPPLY_VOLTAGE, fault_of, is_supply_fault, to_put_back,
};
use super::state::{OutEntry, Question, ReplayError, State, StepOutcome, count};
use crate::installation::Board;
use crate::limits::Tables;
use crate::quantity::{Conductors, Pair};
use crate::terms::{Part, Stage};
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
        if let Event::JobChanged { job, .. } = event {
            let plan = self.catalogue.plan(job, self.edition());
            self.state = self.state.clone().under(job, plan);
            self.closed = Vec::new();
        }
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

    /// The same, for whoever makes the plan of another job.
    pub(super) fn shared_catalogue(&self) -> Arc<Catalogue> {
        Arc::clone(&self.catalogue)
    }

    /// The procedure that a step belongs to.
    pub fn procedure(&self, step: &Step) -> &'static dyn Procedure {
        self.catalogue.get(step.procedure)
    }

    /// Whether a step still waits to be done. On a circuit that stays off nothing does, but making
    /// it so.
    pub fn is_open(&self, step: &Step) -> bool {
        let off = step
            .circuit
            .is_some_and(|circuit| self.stays_off(step.board, circuit))
            || self.is_of_a_part_that_stays_off(step);
        let makes_it_so = matches!(step.kind, StepKind::OffLock | StepKind::OffTerminals);
        let needs_supply = step.is_live_test() || step.stage == Stage::Energise;
        let supplied = !needs_supply || self.has_its_supply(step.board);
        // No dead step waits on a board that is live: it would have to be isolated first.
        let dead = step.is_dead_test() || step.is_behind_covers();
        let live = dead && self.energised(step.board);
        (!off || makes_it_so)
            && supplied
            && !live
            && self.procedure(step).is_open(&self.state, step)
    }

    /// Whether a step tries a device of a circuit that was isolated by itself, and stays off.
    fn is_of_a_part_that_stays_off(&self, step: &Step) -> bool {
        let part = self.board(step.board).is_some_and(Board::is_part);
        step.arc_fault_of()
            .is_some_and(|circuit| part && self.stays_off(step.board, circuit))
    }

    /// What a step orders out and is not on the list yet.
    pub fn unlisted(&self, step: &Step) -> Vec<Order> {
        if breakage::is(Break::OrderUnlisted) {
            return Vec::new();
        }
        let mut orders = self.procedure(step).orders(&self.state, step);
        orders.retain(|order| {
            !self.open_entries().any(|entry| {
                (entry.board, entry.circuit) == (step.board, step.circuit)
                    && entry.is_what_was_ordered(order)
            })
        });
        orders
    }

    /// What was ordered out by a step that is no longer asked for, unanswered.
    pub fn left_unanswered(&self) -> Vec<EventNo> {
        let here = self.current().filter(|_| self.mode() == Mode::Running);
        let asked_now = |by: &StepId, entry: &OutEntry| {
            let by = self.step(by);
            here.zip(by).is_some_and(|(here, by)| {
                here.kind == by.kind
                    && here.beside(by)
                    && (here.kind != StepKind::Bond || entry.place == here.place)
            })
        };
        self.ordered_entries()
            .filter(|(entry, by)| !asked_now(by, entry))
            .map(|(entry, _)| entry.no)
            .collect()
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
            .filter(|step| step.board == board)
            .filter(|step| step.is_dead_test() || step.is_behind_covers())
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
            .urgent()
            .or_else(|| self.to_lock())
            .or_else(|| self.asked_again())
            .or_else(|| {
                self.first_open(|step| self.outcome(step).is_none() && !self.is_for_later(step))
            })
            .or_else(|| self.first_open(|_| true))?;
        // What was taken out for a test that was left for later is put back after it.
        let candidate = self.prepared_for(candidate).unwrap_or(candidate);
        // What lifts a bar may be barred itself.
        let mut step = candidate;
        for _ in 0..6 {
            match self.guard_of_a_move(step) {
                Ok(()) => return Some(step),
                Err(refusal) => match self.lifting(step, &refusal) {
                    // What is out for a test that is open goes back after that.
                    Some(next) if next.order != step.order => {
                        let still_out = matches!(refusal, Refusal::StillOut { .. });
                        let test = self.prepared_for(next).filter(|_| still_out);
                        step = test.unwrap_or(next);
                    }
                    // Its prompt says that it stays untested, or what is to come out.
                    None if matches!(refusal, Refusal::ElectronicsInCircuit { .. }) => {
                        return Some(step);
                    }
                    _ => break,
                },
            }
        }
        // Nothing that is barred is asked for while something else can be done.
        let mut open = self.open_steps();
        open.find(|step| {
            self.outcome(step).is_none()
                && !self.is_for_later(step)
                && self.guard_of_a_move(step).is_ok()
        })
        .or(Some(step))
    }

    /// The test that something is out for, as long as it can be done: what is out goes back after it.
    /// One that was left for later is due once something was taken out since.
    fn prepared_for(&self, back: &Step) -> Option<&Step> {
        let asked_for = |step: &Step| step.stage == Stage::PutBack;
        if back.kind != StepKind::PutBack || self.focus().is_some_and(asked_for) {
            return None;
        }
        let out = |step: &Step, which: &dyn Fn(&OutEntry) -> bool| {
            self.sure_entries().any(|entry| {
                entry.board == step.board
                    && (entry.circuit.is_none() || entry.circuit == step.circuit)
                    && which(entry)
            })
        };
        let mut open = self.open_steps();
        open.find(|step| {
            let due = match self.outcome(step) {
                Some(StepOutcome::Skipped(skipped, _)) => out(step, &|entry| entry.no > *skipped),
                // Open, it waits or is to be made again.
                _ => out(step, &|entry| {
                    is_out_for(entry, step) || self.is_neutral_out_for(entry, step)
                }),
            };
            due && step.board == back.board
                && (back.circuit.is_none() || step.circuit == back.circuit)
                && self.guard_of_a_move(step).is_ok()
        })
    }

    /// Whether this is the neutral that comes out at a live board before insulation is tested there.
    fn is_neutral_out_for(&self, entry: &OutEntry, step: &Step) -> bool {
        let mut beside = self.plan().beside(step);
        step.measures(Quantity::Insulation)
            && beside.any(|other| other.kind == StepKind::NeutralOut)
            && entry.is_at_board()
            && matches!(entry.part, Part::Conductors(c) if c.contains(Conductors::N))
    }

    /// Whether a step only prepares one that is left for later.
    fn is_for_later(&self, step: &Step) -> bool {
        let later = |other: &Step| matches!(self.outcome(other), Some(StepOutcome::Skipped(..)));
        let tests = |which: fn(&Step) -> bool| {
            let beside = self.plan().beside(step);
            let mut open = beside
                .filter(|other| which(other) && self.is_open(other))
                .peekable();
            open.peek().is_some() && open.all(later)
        };
        match step.kind {
            StepKind::EarthingOff => tests(|other| other.kind == StepKind::ExternalLoop),
            StepKind::ContinuityLink => tests(|other| other.measures(Quantity::R1R2)),
            StepKind::NeutralOut => tests(|other| other.measures(Quantity::Insulation)),
            StepKind::InsulationClear => tests(|other| {
                matches!(
                    other.kind,
                    StepKind::InsulationFull | StepKind::InsulationTwoWay
                )
            }),
            _ => false,
        }
    }

    /// What comes before everything else.
    fn urgent(&self) -> Option<&Step> {
        let mut urgent = self.plan().urgent();
        urgent.find(|step| self.is_open(step) && self.guard(step).is_ok())
    }

    /// What locks off a circuit of a live board that was just isolated: before anything is tested live.
    fn to_lock(&self) -> Option<&Step> {
        let off = self
            .circuits_off()
            .filter(|(board, _)| self.energised(*board));
        let mut steps = off.flat_map(|(board, circuit)| self.plan().on(board, Some(circuit)));
        steps.find(|step| {
            matches!(step.kind, StepKind::OffLock | StepKind::OffTerminals)
                && self.is_open(step)
                && self.guard(step).is_ok()
        })
    }

    /// Whether a step's circuit stays off, and is made so: the work goes on where it was.
    fn is_left_off(&self, step: &Step) -> bool {
        step.circuit.is_some_and(|circuit| {
            let mut beside = self.plan().on(step.board, Some(circuit));
            self.stays_off(step.board, circuit) && !beside.any(|other| self.is_open(other))
        })
    }

    /// The first open step of a kind, counted from where the person moved to.
    fn first_open(&self, which: impl Fn(&Step) -> bool) -> Option<&Step> {
        let wanted = |step: &&Step| which(step) && self.is_open(step);
        let Some(home) = self.focus().filter(|home| !self.is_left_off(home)) else {
            return self.not_closed(0).find(wanted);
        };
        let here = |step: &&Step| step.is_live_test() == home.is_live_test() && wanted(step);
        // From a whole board it goes on in the order of the job: its circuits come before its end.
        let on_circuit = || {
            let beside = self.plan().beside(home);
            beside.filter(|_| home.circuit.is_some() || self.edition() == Edition::First)
        };
        // Handing over comes after everything, and putting back a whole board and energising it after its dead
        // tests: they are no next step while anything is open before.
        let ahead = |step: &&Step| {
            let ends = match step.stage {
                stage if stage == home.stage => false,
                Stage::Handover => true,
                Stage::PutBack | Stage::Energise => {
                    step.circuit.is_none()
                        && self.edition() > Edition::First
                        && self.open_dead_tests(step.board) > 0
                }
                _ => false,
            };
            !ends && wanted(step)
        };
        on_circuit()
            .filter(|step| step.order >= home.order)
            .find(here)
            .or_else(|| on_circuit().find(here))
            .or_else(|| self.not_closed(home.order).find(ahead))
            .or_else(|| self.not_closed(0).find(wanted))
    }

    /// The open step that lifts a bar.
    fn lifting(&self, barred: &Step, refusal: &Refusal) -> Option<&Step> {
        let on_board = |step: &&Step| step.board == barred.board;
        let mut open = self.open_steps().filter(on_board);
        match refusal {
            Refusal::NotProvedDead { .. } => open.find(|step| step.stage == Stage::Isolation),
            Refusal::FirstComes { step, .. } => step
                .as_ref()
                .and_then(|id| self.step(id))
                .filter(|first| self.is_open(first))
                .or_else(|| open.find(|step| step.stage == barred.stage && step.beside(barred))),
            Refusal::DeadTestsOpen { .. } => {
                let boards = self.energised_with(barred.board);
                self.open_steps()
                    .filter(|step| boards.contains(&step.board))
                    .find(|step| step.is_dead_test() || step.is_behind_covers())
            }
            Refusal::StillOut { .. } | Refusal::MustGoBack { .. } => {
                self.open_steps().find(|step| step.kind.puts_back())
            }
            // A supply that is wrong is tested again before anything more.
            Refusal::MustBePutRight { board, .. } if barred.incoming => {
                self.supply_faults(*board).next()
            }
            Refusal::Joined { entries } => {
                let may = |step: &&Step| step.kind.puts_back() && self.guard(step).is_ok();
                let here = entries
                    .iter()
                    .filter_map(|no| self.out_entry(*no))
                    .any(|entry| {
                        entry.circuit.is_some()
                            && (entry.board, entry.circuit) == (barred.board, barred.circuit)
                    });
                let on_circuit = |step: &&Step| here && step.circuit == barred.circuit && may(step);
                // What was told of where no circuit was tested is on none: with the whole board.
                let joined = |step: &&Step| {
                    let mut back = to_put_back(&self.state, step);
                    step.kind == StepKind::PutBack && back.any(|entry| entries.contains(&entry.no))
                };
                open.find(on_circuit)
                    .or_else(|| self.open_steps().find(|step| joined(step) && may(step)))
            }
            Refusal::ElectronicsInCircuit { circuit, .. } => open.find(|step| {
                step.circuit == Some(*circuit)
                    && step.stage == Stage::Insulation
                    && step.order < barred.order
                    && self.guard(step).is_ok()
            }),
            Refusal::NotEnergised { board } => {
                let mut there = self.open_steps().filter(|step| step.board == *board);
                let first = there.find(|step| !step.is_live_test())?;
                if first.order == barred.order {
                    return None;
                }
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
        self.guard_where(step, |_| true)
    }

    /// The same for whoever goes there now: what the step that is left ordered out is asked about
    /// then, and does not bar the way.
    ///
    /// # Errors
    /// The refusal.
    pub fn guard_of_a_move(&self, step: &Step) -> Result<(), Refusal> {
        self.guard_where(step, OutEntry::is_surely_out)
    }

    fn guard_where(&self, step: &Step, counts: fn(&OutEntry) -> bool) -> Result<(), Refusal> {
        let board = step.board;
        if let Some(circuit) = step.circuit
            && self.stays_off(board, circuit)
            && step.stage != Stage::MakeSafe
        {
            return Err(Refusal::CircuitOff { circuit });
        }
        self.barred_by_what_is_out(step, counts)?;
        if step.is_dead_test() || step.is_behind_covers() || step.incoming {
            if self.energised(board) {
                return Err(Refusal::Energised { board });
            }
            if !self.proved_dead(board) && !breakage::is(Break::DeadTestsUnguarded) {
                return Err(Refusal::NotProvedDead { board });
            }
        }
        if step.is_live_test() && !self.energised(board) && !breakage::is(Break::LiveTestsUnguarded)
        {
            return Err(Refusal::NotEnergised { board });
        }
        if step.incoming {
            self.before_the_supply(step)?;
        }
        if step.stage == Stage::Handover {
            if !breakage::is(Break::HandedOverWithThingsOut) {
                self.nothing_out_of(counts)?;
            }
            let mut before = self.plan().steps.iter();
            let energise = before.find(|other| {
                other.stage == Stage::Energise && other.order < step.order && self.is_open(other)
            });
            if let Some(first) = energise.filter(|_| self.edition() > Edition::First)
                && !breakage::is(Break::HandedOverNotEnergised)
            {
                return Err(Refusal::first_comes(&first.id));
            }
        }
        if step.stage == Stage::Energise {
            self.before_energising(step, counts)?;
        }
        self.procedure(step).guard(&self.state, step)
    }

    /// What bars a step while something is out, besides energising and handing over: the law of
    /// each kind of entry.
    fn barred_by_what_is_out(
        &self,
        step: &Step,
        counts: fn(&OutEntry) -> bool,
    ) -> Result<(), Refusal> {
        if breakage::is(Break::OutBarsNothing) {
            return Ok(());
        }
        let mut joined = Vec::new();
        for entry in self.open_entries().filter(|entry| counts(entry)) {
            match what_it_bars(entry, step) {
                Barred::UntilBack if !breakage::is(Break::EarthOffBarsNothing) => {
                    return Err(Refusal::MustGoBack { entries: 1 });
                }
                Barred::StillOut if !breakage::is(Break::OutOnCircuitBarsNothing) => {
                    return Err(Refusal::StillOut { entries: 1 });
                }
                Barred::Joined => joined.push(entry.no),
                Barred::Nothing | Barred::UntilBack | Barred::StillOut => {}
            }
        }
        joined.extend(self.joins_the_pair(step, counts));
        if joined.is_empty() || breakage::is(Break::JoinedBarsNothing) {
            Ok(())
        } else {
            Err(Refusal::Joined { entries: joined })
        }
    }

    /// The links and crossings by which the pair of an insulation reading is joined: by one, or by
    /// several together, line with earth by one and line with neutral by another. All circuits of a
    /// board together are joined by a link on any of them; and one that was told of where no circuit
    /// was tested may be on any.
    fn joins_the_pair(&self, step: &Step, counts: fn(&OutEntry) -> bool) -> Vec<EventNo> {
        let Some(pair) = step.pair.filter(|_| step.measures(Quantity::Insulation)) else {
            return Vec::new();
        };
        let concerns = |entry: &&OutEntry| {
            entry.circuit.is_none()
                || entry.board == step.board
                    && (entry.circuit == step.circuit || step.circuit.is_none())
        };
        let links: Vec<(EventNo, Conductors)> = self
            .open_entries()
            .filter(|entry| counts(entry))
            .filter(concerns)
            .filter_map(|entry| Some((entry.no, entry.joins()?.with_every_line())))
            .collect();
        for (_, first) in &links {
            let mut all = *first;
            // As many rounds as there are links reach whatever hangs together.
            for _ in &links {
                for (_, link) in &links {
                    if link.overlaps(all) {
                        all = all.with(*link);
                    }
                }
            }
            if pair.from().with_every_line().overlaps(all)
                && pair.to().with_every_line().overlaps(all)
            {
                let within = links.iter().filter(|(_, link)| link.overlaps(all));
                return within.map(|(no, _)| *no).collect();
            }
        }
        Vec::new()
    }

    /// Live work at the incoming terminals: every dead test of what will be live is done, and one
    /// thing after the other.
    fn before_the_supply(&self, step: &Step) -> Result<(), Refusal> {
        let open: usize = self
            .energised_with(step.board)
            .into_iter()
            .map(|board| self.open_dead_tests(board))
            .sum();
        if open > 0 {
            return Err(Refusal::DeadTestsOpen { steps: count(open) });
        }
        self.what_stays_off_is_off(step.board)?;
        // Everything is back but the earthing conductor, which has its own step there.
        let out = || {
            self.barring_entries()
                .filter(|entry| entry.is_surely_out() && entry.part != Part::EarthingConductor)
        };
        let guarded = !breakage::is(Break::SupplyWithThingsOut);
        let must = out().filter(|entry| entry.must_go_back()).count();
        if must > 0 && guarded {
            return Err(Refusal::MustGoBack {
                entries: count(must),
            });
        }
        let still_out = out().count();
        if still_out > 0 && !step.kind.puts_back() && guarded {
            return Err(Refusal::StillOut {
                entries: count(still_out),
            });
        }
        // Nothing more is measured of a supply that is reversed.
        let mut reversed = self.supply_faults(step.board);
        let reversed = reversed.any(|fault| fault.stage == Stage::SupplyPolarity)
            && !breakage::is(Break::ReversedGoneOnWith);
        if reversed && step.stage != Stage::SupplyPolarity && !step.kind.puts_back() {
            return Err(Refusal::MustBePutRight {
                board: step.board,
                steps: 1,
            });
        }
        Ok(())
    }

    /// Circuits that stay off are locked off, and made safe, before anything else becomes live.
    fn what_stays_off_is_off(&self, board: u16) -> Result<(), Refusal> {
        let boards = self.energised_with(board);
        let mut open = self.open_steps();
        let left = open.find(|step| {
            boards.contains(&step.board)
                && matches!(step.kind, StepKind::OffLock | StepKind::OffTerminals)
        });
        match left {
            Some(step) if !breakage::is(Break::OffNotLocked) => Err(Refusal::first_comes(&step.id)),
            _ => Ok(()),
        }
    }

    /// A board and all that become live with it.
    pub fn energised_with(&self, board: u16) -> Vec<u16> {
        let mut all = vec![board];
        if self.edition() > Edition::First {
            all.extend(self.fed_by(board));
        }
        all
    }

    /// Only with the out-list empty, every dead test done or its reason recorded, none outside its
    /// limit without a reason, and after proving dead.
    fn before_energising(&self, step: &Step, counts: fn(&OutEntry) -> bool) -> Result<(), Refusal> {
        let board = step.board;
        if !breakage::is(Break::EnergisedWithThingsOut) {
            self.nothing_out_of(counts)?;
        }
        let boards = self.energised_with(board);
        let open: usize = boards.iter().map(|b| self.open_dead_tests(*b)).sum();
        if open > 0 {
            return Err(Refusal::DeadTestsOpen { steps: count(open) });
        }
        // What feeds it is live first.
        if let Some((by, _)) = self.feeder_of(board)
            && !self.energised(by)
            && !breakage::is(Break::FeederUnasked)
            && self.edition() > Edition::First
        {
            return Err(Refusal::NotEnergised { board: by });
        }
        self.what_stays_off_is_off(board)?;
        let ready = self.unlocked(board) && self.isolation_done(board);
        if !self.proved_dead(board) && !ready && !breakage::is(Break::EnergisedUnproved) {
            return Err(Refusal::NotProvedDead { board });
        }
        for board in boards {
            self.nothing_failed(board)?;
        }
        match self.supply_steps(board).find(|step| self.waits(step)) {
            Some(first) if !breakage::is(Break::SupplyUnasked) => {
                Err(Refusal::first_comes(&first.id))
            }
            _ => Ok(()),
        }
    }

    /// No dead test outside its limit that was not accepted; some are accepted by no reason.
    fn nothing_failed(&self, board: u16) -> Result<(), Refusal> {
        let supply = self.supply_faults(board).count();
        let fatal = if self.edition() > Edition::First {
            let failed = self.failed_dead(board);
            failed.filter(|step| self.no_reason_passes(step)).count() + supply
        } else {
            0
        };
        if fatal > 0 {
            return Err(Refusal::MustBePutRight {
                board,
                steps: count(fatal),
            });
        }
        match self.failed_dead(board).count() {
            0 => Ok(()),
            failed => Err(Refusal::DeadTestsFailed {
                board,
                steps: count(failed),
            }),
        }
    }

    /// Steps at the incoming terminals that show a supply nothing is energised by: reversed, or
    /// without an earth.
    pub fn supply_faults(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.supply_steps(board)
            .filter(|step| is_supply_fault(&self.state, step))
    }

    /// Whether no reason makes it right to energise with this result: a short, a line to earth;
    /// reversed polarity too, but what is found in use and told of as a danger.
    pub fn no_reason_passes(&self, step: &Step) -> bool {
        if breakage::is(Break::AnyReasonPasses) {
            return false;
        }
        match fault_of(&self.state, step) {
            Some(Fault::Short | Fault::ToEarth) => true,
            Some(Fault::Reversed) => !self.job().kind.is_in_use(),
            None => false,
        }
    }

    /// The steps at the incoming terminals of a board, but for a voltage that never waits.
    fn supply_steps(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.plan()
            .on(board, None)
            .filter(|step| step.incoming && step.ask != Ask::Event)
            .filter(|step| !step.measures(Quantity::SupplyVoltage) || step.kind == SUPPLY_VOLTAGE)
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
            | Event::NeighbourHeard { .. }
            | Event::ReadBackCut { .. }
            | Event::Photographed { .. }
            | Event::SoundForgotten { .. }
            | Event::Probed { .. }
            | Event::SwitchedOn { .. }
            | Event::Came { .. }
            | Event::Predicted { .. }
            | Event::Diagnosed { .. }
            | Event::Revealed { .. }
            | Event::Struck { .. }
            | Event::AskedIfOut { .. }
            | Event::AskedIfLive { .. }
            | Event::Unclear { .. }
            | Event::Asked { .. }
            | Event::CalibrationOverdue { .. }
            | Event::ProposedAllBack { .. }
            | Event::ProposedNeverOut { .. }
            | Event::ProposedStatement { .. }
            | Event::ProposedPoint { .. }
            | Event::ProposedCircuit { .. }
            | Event::ProposedFinish { .. }
            | Event::Refused { .. }
            | Event::NoteBegun { .. }
            | Event::NoteEnded
            | Event::StoodBy
            | Event::CarriedOn
            | Event::Paused => Touched::Nothing,
            Event::Reading { step, .. }
            | Event::Stated { step, .. }
            | Event::NotTested { step, .. }
            | Event::Skipped { step, .. } => self.touched_at(step),
            Event::StaysOff { board, circuit }
            | Event::Ordered {
                board,
                circuit: Some(circuit),
                ..
            }
            | Event::TakenOut {
                board,
                circuit: Some(circuit),
                ..
            } => Touched::Circuit(*board, *circuit),
            Event::PutBack { entries } => self.touched_with_all(entries),
            Event::SetAside { of } => self.touched_with(*of),
            Event::Affirmed { of, .. } => match self.question() {
                Some(Question::AllBack(asked, entries) | Question::IfOut(asked, entries))
                    if asked == of =>
                {
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

/// What an entry of the out-list bars of a step.
enum Barred {
    Nothing,
    /// Until it is back: nothing else is done meanwhile.
    UntilBack,
    /// Its conductors would be read and not the circuit.
    Joined,
    /// The circuit is not as it will be used.
    StillOut,
}

/// The law of each kind of entry, besides energising and handing over, which everything bars:
///
/// | entry | bars |
/// | --- | --- |
/// | earthing conductor off | everything but the external loop and putting it back |
/// | a main bond off | everything but its own reading and putting it back |
/// | a link or crossing | a ring's readings it would falsify; insulation, with all others: [`Agenda::joins_the_pair`] |
/// | anything out on a circuit | the live tests of that circuit |
/// | conductors parked, ring ends | no dead test |
fn what_it_bars(entry: &OutEntry, step: &Step) -> Barred {
    if step.stage == Stage::Isolation || step.stage == Stage::MakeSafe || step.kind.puts_back() {
        return Barred::Nothing;
    }
    match entry.part {
        Part::EarthingConductor => {
            return match step.stage {
                Stage::ExternalLoop => Barred::Nothing,
                _ => Barred::UntilBack,
            };
        }
        Part::Bond => {
            let its_own = step.kind == StepKind::Bond && step.place == entry.place;
            return if its_own {
                Barred::Nothing
            } else {
                Barred::UntilBack
            };
        }
        _ => {}
    }
    let on_circuit =
        entry.board == step.board && entry.circuit.is_some() && entry.circuit == step.circuit;
    if (on_circuit || entry.circuit.is_none()) && falsifies_the_ring(entry, step) {
        return Barred::Joined;
    }
    if on_circuit && step.is_live_test() {
        return Barred::StillOut;
    }
    Barred::Nothing
}

/// Whether a test is what this was taken out or linked for.
fn is_out_for(entry: &OutEntry, step: &Step) -> bool {
    if entry.is_ring_end() || matches!(entry.part, Part::Crossing(_)) {
        return step.stage == Stage::Ring && step.measure().is_some();
    }
    if let Some(joined) = entry.joins() {
        return if joined.contains(Conductors::E) {
            step.measures(Quantity::R1R2)
        } else {
            step.kind == StepKind::InsulationJoined
        };
    }
    match entry.part {
        Part::EarthingConductor => step.kind == StepKind::ExternalLoop,
        Part::Switch => step.kind == StepKind::InsulationTwoWay,
        Part::Lamp | Part::Fuse => step.measures(Quantity::Insulation),
        _ => entry.is_equipment() && step.measures(Quantity::Insulation),
    }
}

/// Whether a reading of a ring would be of this link or crossing.
fn falsifies_the_ring(entry: &OutEntry, step: &Step) -> bool {
    let Some(joined) = entry.joins().map(Conductors::with_every_line) else {
        return false;
    };
    let in_pair = |pair: Pair| {
        pair.from().with_every_line().overlaps(joined)
            && pair.to().with_every_line().overlaps(joined)
    };
    match step.kind {
        StepKind::RingEndToEnd => step.conductor.is_some_and(|one| joined.contains(one)),
        // Its own crossing is what it is read with.
        StepKind::RingCrossedNeutral | StepKind::RingCrossedEarth => {
            !matches!(entry.part, Part::Crossing(_)) || !step.pair.is_some_and(in_pair)
        }
        _ => false,
    }
}
