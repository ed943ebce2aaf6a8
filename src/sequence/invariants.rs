//! What must never happen, whatever is said. Checked before every event of a running session is
//! applied, by the dialogues in `tests/dialogues/`, and by the random walk in
//! `tests/sequence/model_walk.rs`.
//!
//! Stated apart from the guards, over a fold of its own: it knows the job and the plan, and asks
//! nothing of the state or of a procedure. So a fault in what the guards ask is found as well as
//! one in the guards.

mod kinds;

use self::kinds::{is_dead_test, is_live_test, is_trial, proves, reads};
use super::agenda::Agenda;
use super::facts::{
    Ask, Edition, Event, EventNo, Mode, Plan, Quantity, Refusal, Step, StepId, StepKind, Withdrawal,
};
use super::procedures::Catalogue;
use crate::installation::{
    Accessory, Board, Circuit, CircuitKind, Earthing, IsolatedBy, Job, Phases,
};
use crate::limits::{Finding, Outcome, Verdict};
use crate::quantity::{Conductors, Pair, Reading, Relation, TestVoltage, Unit};
use crate::terms::{ItemNumber, Part, Place, Reason, Stage, Statement};
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
    /// What makes the plan of another job.
    catalogue: Arc<Catalogue>,
    next: u64,
    last_at: Timestamp,
    /// When something last came that a person surely said.
    last_sure: Timestamp,
    edition: Edition,
    mode: Mode,
    /// Locks off for energising.
    unlocked: BTreeSet<u16>,
    /// Circuits that stay off.
    off: BTreeSet<(u16, u16)>,
    /// What closed the step of the reading that is asked about.
    before: Option<(EventNo, StepId, Closed)>,
    /// Boards that were said to be energised, by the event.
    energised: BTreeMap<u16, EventNo>,
    /// Shared with the watch before, as the state's ledgers are: a turn begins with a copy.
    closed: rpds::HashTrieMapSync<StepId, Closed>,
    readings: rpds::RedBlackTreeMapSync<EventNo, Taken>,
    out: Vec<Out>,
    /// Failed dead tests that were accepted with a reason.
    accepted: BTreeSet<StepId>,
    asked: Option<(EventNo, Asked)>,
    /// Readings that a changed job put in doubt.
    anew: BTreeSet<EventNo>,
    last_taken: Option<EventNo>,
    /// What was observed, by its event, with the step of its item; and which is being told.
    observed: BTreeMap<EventNo, Option<StepId>>,
    telling: Option<EventNo>,
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
    /// The step that ordered it, as long as nobody said whether it is out.
    ordered: Option<StepId>,
}

impl Out {
    fn is_out(&self) -> bool {
        self.back_by.is_none() && !self.never
    }

    fn may_stay(&self) -> bool {
        !self.linked && !matches!(self.part, Part::EarthingConductor | Part::Bond)
    }

    fn is_surely_out(&self) -> bool {
        self.is_out() && self.ordered.is_none()
    }

    /// The conductors that it joins.
    fn joins(&self) -> Option<Conductors> {
        match self.part {
            Part::Crossing(conductors) => Some(conductors),
            Part::Conductors(conductors) if self.linked => Some(conductors),
            _ => None,
        }
    }
}

/// What waits for "affirm".
#[derive(Debug, Clone, PartialEq, Eq)]
enum Asked {
    Reading,
    AllBack(Vec<EventNo>),
    NeverOut(EventNo),
    Finish,
    Statement,
    IfOut(Vec<EventNo>),
    IfLive,
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
            catalogue: agenda.shared_catalogue(),
            edition: agenda.edition(),
            next: 1,
            last_at: agenda.opened(),
            last_sure: agenda.opened(),
            unlocked: BTreeSet::new(),
            off: BTreeSet::new(),
            before: None,
            mode: Mode::Running,
            energised: BTreeMap::new(),
            closed: rpds::HashTrieMapSync::new_sync(),
            readings: rpds::RedBlackTreeMapSync::new_sync(),
            out: Vec::new(),
            accepted: BTreeSet::new(),
            asked: None,
            anew: BTreeSet::new(),
            observed: BTreeMap::new(),
            telling: None,
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
                self.as_ordered(step)?;
                self.while_out(step, reading.pair)?;
                self.neutral_out(step)?;
                self.high_voltage(step, reading)
            }
            Event::Stated {
                step, statement, ..
            } => {
                let step = self.planned(step)?;
                self.running()?;
                self.dead_or_live(step, at)?;
                self.while_out(step, None)?;
                self.behind_covers(step, *statement, at)?;
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
            Event::JobChanged { job, .. } => self.changing(job),
            Event::PutBack { entries } => law(
                entries
                    .iter()
                    .all(|no| self.out.iter().any(|out| out.no == *no && out.is_out())),
                || "something put back that was not out".to_owned(),
            ),
            Event::Overridden { refusal, reason } => {
                let seen = matches!(reason, Reason::Observed | Reason::DangerToldOf);
                let tests = matches!(refusal, Refusal::DeadTestsFailed { .. });
                law(seen && tests, || {
                    format!("a bar overridden that no reason lifts: {refusal:?}, {reason}")
                })
            }
            Event::Finished { .. } => law(self.nothing_bars(), || {
                "finished with things still out and not overridden".to_owned()
            }),
            _ => Ok(()),
        }
    }

    /// Nothing that was answered is lost with a changed job, no dead test comes to what is live, what is
    /// off stays in it, and what is finished is not changed.
    fn changing(&self, job: &Job) -> Result<(), String> {
        law(self.mode != Mode::Finished, || {
            "the job of a finished session changed".to_owned()
        })?;
        let has = |at: &(u16, u16)| {
            let mut boards = job.boards.iter().filter(|board| board.number == at.0);
            boards.any(|board| board.circuits.iter().any(|c| c.number == at.1))
        };
        let gone = self.off.iter().find(|at| !has(at));
        law(gone.is_none(), || {
            format!("a circuit that stays off taken out of the job: {gone:?}")
        })?;
        let plan = self.catalogue.plan(job, self.edition);
        let kept = self
            .closed
            .iter()
            .filter(|(_, closed)| closed.how != How::Later);
        let of_readings = self.readings.values().map(|taken| &taken.step);
        let mut answered = kept.map(|(id, _)| id).chain(of_readings);
        let lost = answered.find(|id| plan.step(id).is_none());
        law(lost.is_none(), || {
            format!("lost with a changed job: {lost:?}")
        })?;
        let live = plan.steps.iter().find(|step| {
            let new = self.plan.step(&step.id).is_none();
            new && is_dead_test(step) && self.energised.contains_key(&step.board)
        });
        law(live.is_none(), || {
            format!(
                "a dead test added to what is live: {:?}",
                live.map(|step| &step.id)
            )
        })
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

    /// What a step orders out is on the list when it is answered: the law's own table.
    fn as_ordered(&self, step: &Step) -> Result<(), String> {
        let listed = |wanted: &dyn Fn(&Out) -> bool| {
            self.out.iter().any(|out| {
                out.is_out()
                    && (out.board, out.circuit) == (step.board, step.circuit)
                    && wanted(out)
            })
        };
        let joined = |conductors: Conductors| {
            listed(&|out| out.joins().is_some_and(|joins| joins.contains(conductors)))
        };
        let ends = || {
            [Conductors::L, Conductors::N, Conductors::E]
                .into_iter()
                .all(|end| listed(&|out| out.both && out.part == Part::Conductors(end)))
        };
        let crossing = |with: Conductors| {
            let crossed = Conductors::L.with(with);
            ends() && listed(&|out| out.part == Part::Crossing(crossed))
        };
        let listed_so = match step.kind {
            StepKind::Bond => listed(&|out| out.part == Part::Bond && out.place == step.place),
            StepKind::RingEndToEnd => ends(),
            StepKind::RingCrossedNeutral => crossing(Conductors::N),
            StepKind::RingCrossedEarth => crossing(Conductors::E),
            StepKind::ContinuityPoint if reads(step, Quantity::R1R2) => {
                step.pair.is_some_and(|pair| {
                    joined(Conductors::L.with(Conductors::E))
                        || joined(pair.from().with(Conductors::E))
                        || listed(&|out| out.joins().is_some_and(|all| all.contains(Conductors::E)))
                })
            }
            StepKind::InsulationReconnected => step.pair.is_some_and(|pair| joined(pair.from())),
            StepKind::InsulationTwoWay => listed(&|out| out.part == Part::Switch),
            StepKind::ExternalLoop => listed(&|out| out.part == Part::EarthingConductor),
            _ => true,
        };
        law(listed_so, || {
            format!(
                "answered with nothing listed of what it orders: {}",
                step.id
            )
        })
    }

    /// At a live board no insulation is read with the neutral of the circuit in its terminal.
    fn neutral_out(&self, step: &Step) -> Result<(), String> {
        let mut boards = self.job.boards.iter();
        let board = boards.find(|board| board.number == step.board);
        let live_board = board.is_some_and(|board| board.isolate == IsolatedBy::Circuits);
        if !live_board || step.circuit.is_none() || !reads(step, Quantity::Insulation) {
            return Ok(());
        }
        let out = self.out.iter().any(|out| {
            let neutral = matches!(out.part, Part::Conductors(c) if c.contains(Conductors::N));
            out.is_surely_out()
                && !out.linked
                && neutral
                && (out.board, out.circuit) == (step.board, step.circuit)
                && out.place.as_ref() == Some(&Place::board())
        });
        let double_pole = Some(&How::Intent(Statement::DoublePole));
        let mut beside = self.plan.beside(step);
        let broken = beside
            .any(|other| other.kind == StepKind::NeutralOut && self.how(other) == double_pole);
        law(out || broken, || {
            format!("read with the neutral one with earth: {}", step.id)
        })
    }

    /// What is behind covers is looked at on what was proved dead.
    fn behind_covers(
        &self,
        step: &Step,
        statement: Statement,
        at: Timestamp,
    ) -> Result<(), String> {
        let unseen = [
            Statement::NotApplicable,
            Statement::Limitation,
            Statement::NotVerified,
        ];
        if !self.is_behind_covers(step) || unseen.contains(&statement) {
            return Ok(());
        }
        law(self.said_dead(step.board, at), || {
            format!("looked at behind covers before proving dead: {}", step.id)
        })
    }

    /// Whether the job's own list has it behind covers.
    fn is_behind_covers(&self, step: &Step) -> bool {
        let inspection = self.job.inspection.as_ref();
        inspection
            .zip(step.item())
            .is_some_and(|(list, number)| list.item(&number).is_some_and(|item| item.dead))
    }

    /// What must not be done while something is out: the law's own table.
    fn while_out(&self, step: &Step, pair: Option<Pair>) -> Result<(), String> {
        let exempt = matches!(
            step.stage,
            Stage::Isolation | Stage::PutBack | Stage::MakeSafe
        );
        let circuit_off = step
            .circuit
            .is_some_and(|circuit| self.off.contains(&(step.board, circuit)));
        law(!circuit_off || exempt, || {
            format!("taken on a circuit that stays off: {}", step.id)
        })?;
        if exempt {
            return Ok(());
        }
        if let Some(pair) = pair.or(step.pair)
            && reads(step, Quantity::Insulation)
        {
            law(!self.hang_together(step, pair), || {
                format!("read through what joins its conductors: {}", step.id)
            })?;
        }
        for out in self.out.iter().filter(|out| out.is_out()) {
            let broken = match out.part {
                Part::EarthingConductor => step.stage != Stage::ExternalLoop,
                Part::Bond => step.kind != StepKind::Bond || step.place != out.place,
                _ => {
                    let on_board = out.board == step.board;
                    let here = on_board && out.circuit.is_some() && out.circuit == step.circuit;
                    // A link of no known circuit may be on any.
                    let together = out.circuit.is_none() || on_board && step.circuit.is_none();
                    let insulation = reads(step, Quantity::Insulation);
                    let through = out.joins().is_some_and(|joined| {
                        let between =
                            |pair: Pair| pair.from().overlaps(joined) && pair.to().overlaps(joined);
                        match step.kind {
                            StepKind::RingEndToEnd => {
                                step.conductor.is_some_and(|one| joined.contains(one))
                            }
                            _ => insulation && pair.or(step.pair).is_some_and(between),
                        }
                    });
                    (here || together) && through || here && is_live_test(step)
                }
            };
            law(!broken, || {
                format!("{} taken with this out: {:?}", step.id, out.part)
            })?;
        }
        Ok(())
    }

    /// Whether the two ends of a pair hang together by whatever is linked or crossed there: from the
    /// conductors of one end, everything that can be reached.
    fn hang_together(&self, step: &Step, pair: Pair) -> bool {
        let widened = |some: Conductors| {
            if some.contains(Conductors::L) {
                some.with(Conductors::LINES)
            } else {
                some
            }
        };
        let here = |out: &&Out| {
            out.is_out()
                && (out.circuit.is_none()
                    || out.board == step.board
                        && (out.circuit == step.circuit || step.circuit.is_none()))
        };
        let joins: Vec<Conductors> = self
            .out
            .iter()
            .filter(here)
            .filter_map(Out::joins)
            .map(widened)
            .collect();
        let from = widened(pair.from());
        let mut reached = from;
        loop {
            let before = reached;
            for join in &joins {
                if join.overlaps(reached) {
                    reached = reached.with(*join);
                }
            }
            if reached == before {
                break;
            }
        }
        // Nothing is reached of the other end unless a link leads there.
        reached != from && widened(pair.to()).overlaps(reached)
    }

    /// No dead test before proving dead, no live test before energising, none without an earth.
    fn dead_or_live(&self, step: &Step, at: Timestamp) -> Result<(), String> {
        if step.incoming {
            law(self.said_dead(step.board, at), || {
                format!(
                    "work at the incoming terminals before proving dead: {}",
                    step.id
                )
            })?;
            let with = self.made_live_with(step.board);
            let open = with.iter().find_map(|board| self.open_dead_test(*board));
            return law(open.is_none(), || {
                format!("at the incoming terminals with a dead test open: {open:?}")
            });
        }
        if is_dead_test(step) {
            law(self.said_dead(step.board, at), || {
                format!("a dead test before proving dead: {}", step.id)
            })?;
        }
        if is_live_test(step) {
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
        let gap = at.duration_since(self.last_sure);
        let away = gap > AWAY || gap.is_negative();
        let mut steps = self.plan.isolation(board);
        !self.is_live(board)
            && !away
            && !self.unlocked.contains(&board)
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
        if !reads(step, Quantity::Insulation) || !high {
            return Ok(());
        }
        let joined_test = step.kind == StepKind::InsulationJoined;
        let untried = self.plan.beside(step).find(|trial| {
            matches!(
                trial.kind,
                StepKind::InsulationTrial | StepKind::InsulationTogetherTrial
            ) && self.how(trial) != Some(&How::Read)
        });
        law(
            self.edition.is_first() || joined_test || untried.is_none(),
            || format!("high voltage where nothing was tried before: {}", step.id),
        )?;
        let board = self.job.boards.iter().find(|b| b.number == step.board);
        law(!self.goes_across_surge_protection(step, board), || {
            format!("high voltage across surge protection: {}", step.id)
        })?;
        let circuits = board.into_iter().flat_map(|board| &board.circuits);
        for circuit in circuits.filter(|c| step.circuit.is_none_or(|number| number == c.number)) {
            let lives = match circuit.phases {
                Phases::Single => Conductors::L.with(Conductors::N),
                Phases::Three => Conductors::LINES.with(Conductors::N),
            };
            let joined = step.circuit.is_some()
                && reading
                    .pair
                    .is_some_and(|pair| pair.to_earth() && pair.from() == lives)
                && self.out.iter().any(|out| {
                    out.is_surely_out()
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

    /// Whether neutral and earth of a circuit are those of its board, with the surge protection between them.
    fn goes_across_surge_protection(&self, step: &Step, board: Option<&Board>) -> bool {
        let neutral_to_earth = step
            .pair
            .is_some_and(|pair| pair.from().contains(Conductors::N) && pair.to_earth());
        let fitted = board.is_some_and(|b| b.surge.is_some() && b.isolate == IsolatedBy::Board);
        let mut circuits = board.into_iter().flat_map(|board| &board.circuits);
        let ring = circuits
            .find(|circuit| Some(circuit.number) == step.circuit)
            .is_some_and(|circuit| circuit.kind == CircuitKind::Ring);
        let apart = |out: &Out| {
            let surge = out.place == Some(Place::surge_protection());
            let neutral = matches!(out.part, Part::Conductors(c) if c.contains(Conductors::N))
                && !out.linked
                && (out.both || !ring)
                && out.place == Some(Place::board())
                && out.circuit == step.circuit;
            out.is_surely_out() && out.board == step.board && (surge || neutral)
        };
        let asked = self.edition >= Edition::Fourth && step.circuit.is_some();
        asked && fitted && neutral_to_earth && !self.out.iter().any(apart)
    }

    /// Whether something that more than 250 V would harm is known or suspected in the circuit.
    fn electronics_in(&self, board: u16, circuit: &Circuit) -> bool {
        let sensitive = |point: &&Accessory| point.sensitive.is_some();
        let mut listed = circuit.points.iter().filter(sensitive);
        let left_in = |point: &Accessory| {
            let gone = |out: &Out| {
                out.is_surely_out()
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
        for board in self.made_live_with(board) {
            if let Some(open) = self.open_dead_test(board) {
                return Err(format!("energised with a dead test open: {open}"));
            }
            let failed = self.dead_tests(board).find(|step| self.failed(step));
            if let Some(failed) = failed {
                return Err(format!(
                    "energised with a dead test outside its limit and no reason: {}",
                    failed.id
                ));
            }
            let fatal = self.dead_tests(board).find(|step| self.is_fatal(step));
            if let Some(fatal) = fatal.filter(|_| !self.edition.is_first()) {
                return Err(format!("energised with a fault: {}", fatal.id));
            }
        }
        for off in &self.off {
            let mut steps = self.plan.on(off.0, Some(off.1));
            let lock = steps.find(|step| step.kind == StepKind::OffLock);
            let locked = lock.is_none_or(|lock| matches!(self.how(lock), Some(How::Intent(_))));
            law(
                locked || !self.made_live_with(board).contains(&off.0),
                || format!("energised with a circuit that stays off not locked off: {off:?}"),
            )?;
        }
        let supply = self.plan.on(board, None).find(|step| {
            let reversed = Some(&How::Intent(Statement::PolarityReversed));
            let open = step.ask != Ask::Event
                && !matches!(
                    self.how(step),
                    Some(How::Read | How::Intent(_) | How::NotTested)
                );
            let no_earth = step.kind == StepKind::ExternalLoop
                && self.how(step) == Some(&How::Read)
                && self.closed.get(&step.id).is_some_and(|closed| {
                    self.readings.get(&closed.by).is_some_and(|taken| {
                        taken.reading.relation == Relation::OverRange
                            || self.blows_nothing(&taken.reading)
                    })
                });
            // Up to the second edition a voltage is taken when it is said, and nothing waits for it.
            let said = reads(step, Quantity::SupplyVoltage)
                && step.kind != StepKind::Row("supply-voltage");
            step.incoming
                && (open && !said || no_earth || self.no_supply(step) || self.how(step) == reversed)
        });
        if let Some(supply) = supply {
            return Err(format!("energised by a supply not checked: {}", supply.id));
        }
        let mut covers = self.plan.energising(board);
        let covers_on = covers.all(|step| {
            step.kind != StepKind::Covers || matches!(self.how(step), Some(How::Intent(_)))
        });
        law(covers_on, || "energised with covers off".to_owned())?;
        let unlocked = self.unlocked.contains(&board);
        law(unlocked || self.said_dead(board, at), || {
            "energised by a plan that never proved it dead".to_owned()
        })
    }

    /// Whether a fault would not even draw what the least device is rated for, by an external loop of a system
    /// with an earth of its own from the supply: U0 ÷ Ze.
    fn blows_nothing(&self, external: &Reading) -> bool {
        let boards = self.job.boards.iter();
        let circuits = boards.flat_map(|board| &board.circuits);
        let rated = circuits.filter_map(|circuit| Some(circuit.device.as_ref()?.amps));
        let least = rated.min_by(f64::total_cmp);
        self.job.supply.earthing != Earthing::Tt
            && external.unit == Some(Unit::Ohm)
            && matches!(external.relation, Relation::Exact | Relation::Over)
            && least.is_some_and(|amps| external.size() * amps > self.job.supply.volts)
    }

    /// Whether a voltage was read there that is not that of the supply: a line past 0.9 of the least and 1.1 of
    /// the most that may be supplied, -6 and +10 %, or a neutral past 50 V.
    fn no_supply(&self, step: &Step) -> bool {
        if step.kind != StepKind::Row("supply-voltage") || self.how(step) != Some(&How::Read) {
            return false;
        }
        let closed = self.closed.get(&step.id);
        let Some(read) = closed.and_then(|closed| self.readings.get(&closed.by)) else {
            return false;
        };
        let (Some(pair), Some(number)) = (step.pair, read.reading.number) else {
            return false;
        };
        let volts = number.value();
        let declared = self.job.supply.volts;
        let nominal = match (pair.from() == Conductors::N, pair.to()) {
            // "Under 299" may be nothing.
            (true, _) => {
                return match read.reading.relation {
                    Relation::Exact => volts > 50.0,
                    Relation::Over => volts >= 50.0,
                    Relation::Under | Relation::OverRange => false,
                };
            }
            (false, Conductors::N | Conductors::E) => declared,
            (false, _) => declared * 400.0 / 230.0,
        };
        read.reading.relation == Relation::Exact
            && (volts < nominal * 0.94 * 0.9 - 0.5 || volts > nominal * 1.1 * 1.1 + 0.5)
    }

    /// The dead tests of a board, but on circuits that stay off.
    fn dead_tests(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.plan.steps.iter().filter(move |step| {
            let off = step
                .circuit
                .is_some_and(|circuit| self.off.contains(&(board, circuit)));
            let dead = is_dead_test(step) || self.is_behind_covers(step);
            step.board == board && dead && !off
        })
    }

    fn open_dead_test(&self, board: u16) -> Option<&StepId> {
        self.dead_tests(board)
            .find(|step| !self.is_dealt_with(step))
            .map(|step| &step.id)
    }

    /// A board and those that it feeds, by what the job file says.
    fn made_live_with(&self, board: u16) -> Vec<u16> {
        let mut all = vec![board];
        if self.edition.is_first() {
            return all;
        }
        let mut n = 0;
        while let Some(from) = all.get(n).copied() {
            n += 1;
            for other in &self.job.boards {
                let Some(text) = &other.fed_from else {
                    continue;
                };
                let (by, circuit) = (said_of("board", text), said_of("circuit", text));
                let off = circuit.is_some_and(|circuit| self.off.contains(&(from, circuit)));
                if by.is_none_or(|by| by == from) && !off && !all.contains(&other.number) {
                    all.push(other.number);
                }
            }
        }
        all
    }

    /// Whether a dead test shows a fault that no reason passes: lives or a line to earth at or below
    /// 0.02 MΩ, or polarity reversed where the installation is new.
    fn is_fatal(&self, step: &Step) -> bool {
        match self.how(step) {
            Some(How::Intent(Statement::PolarityReversed)) => !self.job.kind.is_in_use(),
            Some(How::Read) if reads(step, Quantity::Insulation) && !is_trial(step.kind) => {
                let closed = self.closed.get(&step.id);
                let taken = closed.and_then(|closed| self.readings.get(&closed.by));
                taken.is_some_and(|taken| {
                    let neutral = taken.reading.pair == Some(Pair::NE);
                    // 0.02 MΩ and 2 Ω are of common practice: 13 kW at 230 V are 4 Ω.
                    let zero = taken.reading.size() <= 0.02e6;
                    taken.failed && zero && !neutral
                })
            }
            _ => false,
        }
    }

    /// Nothing is out, or ordered out; but what is on a circuit that stays off, and may stay.
    fn nothing_bars(&self) -> bool {
        self.out.iter().all(|out| {
            let alone = out
                .circuit
                .is_some_and(|circuit| self.off.contains(&(out.board, circuit)));
            !out.is_out() || ((out.gone_past || alone) && out.may_stay())
        })
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
                reads(step, Quantity::R2)
                    || read_beside(&|other| other.place == step.place && reads(other, Quantity::R2))
            }
            // What leads to the tests proper, and the other way of making them.
            kind if is_trial(kind) || kind == StepKind::InsulationJoined => true,
            // What leads to them at a live board: without it none is read.
            StepKind::NeutralOut => true,
            // Asked for only where something was put back.
            StepKind::InsulationReconnected => !self.reconnected_since_tested(step),
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

    /// Whether equipment of the circuit was put back after its insulation was last read.
    fn reconnected_since_tested(&self, step: &Step) -> bool {
        let last = self.plan.beside(step).filter_map(|other| {
            let closed = self.closed.get(&other.id)?;
            (reads(other, Quantity::Insulation) && closed.how == How::Read).then_some(closed.by)
        });
        let Some(last) = last.max() else {
            return false;
        };
        self.out.iter().any(|out| {
            let equipment = matches!(
                out.part,
                Part::Accessory | Part::Conductors(_) | Part::Load | Part::FunctionalEarth
            );
            let at_board = out.place.as_ref() == Some(&Place::board());
            (out.board, out.circuit) == (step.board, step.circuit)
                && equipment
                && !out.linked
                && !at_board
                && !out.never
                && out.back_by.is_some_and(|by| by > last)
        })
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
        if is_trial(step.kind) || self.accepted.contains(&step.id) {
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
        // What was seen of an item does not stand beside another answer.
        if why.is_replaced() && self.observed.contains_key(&of) {
            return Ok(());
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
            Event::Resumed { anew, .. } => {
                if *anew {
                    self.away_for(true);
                } else if self.edition.is_first() {
                    self.away(gap, at);
                } else {
                    self.away(at.duration_since(self.last_sure), at);
                }
                // An observation waits for its words.
                if self.mode == Mode::Noting && self.telling.is_none() {
                    self.mode = Mode::Running;
                }
            }
            Event::CameBack { anew, .. } if !self.edition.is_first() => self.away_for(*anew),
            Event::CameBack { .. } => self.away(gap.max(AWAY), at),
            Event::Unpaused => {
                self.mode = Mode::Running;
                self.away(gap.max(AWAY), at);
            }
            Event::Reading { .. } => self.read(event, no),
            Event::JobChanged { job, .. } => {
                let known = &self.job.supply.sources;
                let another = job
                    .supply
                    .sources
                    .iter()
                    .any(|source| !known.contains(source));
                if another && self.edition >= Edition::Fifth {
                    self.unlocked.clear();
                    self.away_for(true);
                }
                self.plan = Arc::new(self.catalogue.plan(job, self.edition));
                self.job = Arc::new((**job).clone());
            }
            Event::JudgedAnew { of, verdict, doubt } => {
                if let Some(taken) = self.readings.get_mut(of) {
                    taken.failed = verdict.as_ref().is_some_and(|v| v.outcome == Outcome::Fail);
                    taken.sound = verdict_is_sound(verdict.as_ref());
                    self.accepted.remove(&taken.step);
                    if doubt.is_some() {
                        taken.counts = Counts::Asked;
                        self.anew.insert(*of);
                        self.closed.remove_mut(&taken.step);
                    }
                }
            }
            Event::AskedAnew { of } => {
                self.asked = Some((*of, Asked::Reading));
                self.last_taken = Some(*of);
            }
            Event::CorrectedAtDesk {
                of,
                reading,
                verdict,
                ..
            } => self.corrected_at_desk(no, *of, *reading, verdict.as_ref()),
            Event::Affirmed { of, .. } => self.affirmed(no, *of),
            Event::Withdrawn { of, .. } => self.taken_back(*of),
            Event::SetAside { of } => {
                self.asked.take_if(|(asked, _)| asked == of);
                self.give_back(*of);
                self.last_taken = None;
            }
            Event::Ordered {
                step,
                board,
                circuit,
                part,
                linked,
                place,
                both,
            } => self.out.push(Out {
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
                ordered: Some(step.clone()),
            }),
            Event::AskedIfOut { entries } => self.asked = Some((no, Asked::IfOut(entries.clone()))),
            Event::AskedIfLive { .. } => self.asked = Some((no, Asked::IfLive)),
            Event::StaysOff { board, circuit } => {
                self.off.insert((*board, *circuit));
                self.last_taken = None;
            }
            Event::Stated {
                step, statement, ..
            } => self.stated(step, *statement, no),
            Event::NotTested { step, .. } => {
                self.close(step, no, How::NotTested);
                self.last_taken = Some(no);
            }
            Event::Skipped { step, .. } => {
                self.close(step, no, How::Later);
                self.last_taken = Some(no);
            }
            Event::TakenOut { .. } => self.took_out(event, no),
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
            Event::ProposedStatement { .. }
            | Event::ProposedPoint { .. }
            | Event::ProposedCircuit { .. } => {
                self.asked = Some((no, Asked::Statement));
            }
            Event::ProposedFinish { .. } => self.asked = Some((no, Asked::Finish)),
            Event::Overridden { refusal, reason } => self.gone_past(refusal, reason),
            Event::Moved { to, .. } => self.moved(to),
            Event::VoltageFound { board, .. } => self.voltage_found(*board),
            Event::LockRemoved {
                board,
                to_energise: true,
            } => {
                self.unlocked.insert(*board);
            }
            Event::LockRemoved { board, .. } => {
                self.unlocked.remove(board);
                self.reopen(*board, |_| true);
                self.last_taken = None;
            }
            Event::NoteBegun { .. } => {
                self.telling = None;
                self.mode = Mode::Noting;
            }
            Event::Observed { item, .. } => self.observed(*item, no),
            Event::SectionStated {
                steps, statement, ..
            } => {
                for step in steps {
                    self.close(step, no, How::Intent(*statement));
                }
                self.last_taken = Some(no);
            }
            Event::StoodBy => self.mode = Mode::StandingBy,
            Event::NoteEnded => {
                self.telling = None;
                self.mode = Mode::Running;
            }
            Event::CarriedOn => self.mode = Mode::Running,
            Event::Paused => self.mode = Mode::Paused,
            Event::Finished { .. } => {
                self.asked = None;
                self.mode = Mode::Finished;
            }
            _ => {}
        }
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
            self.last_at = self.last_at.max(at);
        }
        if let Some((_, Asked::IfOut(entries))) = &self.asked
            && !self
                .out
                .iter()
                .any(|out| entries.contains(&out.no) && out.is_out() && out.ordered.is_some())
        {
            self.asked = None;
        }
        let anyones = matches!(
            event,
            Event::Unclear { .. }
                | Event::NotTaken { .. }
                | Event::NeighbourHeard { .. }
                | Event::ReadBackCut { .. }
                | Event::Asked { .. }
                | Event::AskedIfLive { .. }
                | Event::AskedIfOut { .. }
                | Event::Ordered { .. }
                | Event::SetAside { .. }
                | Event::Refused { .. }
                | Event::Noted { .. }
                | Event::NoteBegun { .. }
                | Event::NoteEnded
                | Event::CalibrationOverdue { .. }
                | Event::CorrectedAtDesk { .. }
                | Event::Photographed { .. }
                | Event::SoundForgotten { .. }
                | Event::Struck { .. }
                | Event::Came { .. }
                | Event::Revealed { .. }
                | Event::JobChanged { .. }
                | Event::JudgedAnew { .. }
                | Event::AskedAnew { .. }
                | Event::ProposedAllBack { .. }
                | Event::ProposedNeverOut { .. }
                | Event::ProposedStatement { .. }
                | Event::ProposedPoint { .. }
                | Event::ProposedCircuit { .. }
                | Event::ProposedFinish { .. }
        );
        if !anyones {
            self.last_sure = at;
        }
    }

    /// A value.
    fn read(&mut self, event: &Event, no: EventNo) {
        let Event::Reading {
            step,
            reading,
            verdict,
            doubt,
            question,
            replaces,
            ..
        } = event
        else {
            return;
        };
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
        self.order_answered(step);
        if doubt.is_some() || question.is_some() {
            if let Some(before) = self.closed.get(step).filter(|_| !self.edition.is_first()) {
                self.before = Some((no, step.clone(), before.clone()));
            }
            self.closed.remove_mut(step);
            self.asked = Some((no, Asked::Reading));
        } else {
            self.counts(no);
        }
    }

    /// A step is closed by words.
    fn stated(&mut self, step: &StepId, statement: Statement, no: EventNo) {
        if statement == Statement::Done {
            self.order_answered(step);
        }
        if statement == Statement::DoublePole {
            for out in &mut self.out {
                out.never |= out.ordered.as_ref() == Some(step);
            }
        }
        if statement == Statement::Energised {
            self.unlocked.remove(&step.board);
        }
        let reversed = self.closed.get(step).map(|closed| &closed.how)
            == Some(&How::Intent(Statement::PolarityReversed));
        let incoming = self.plan.step(step).is_some_and(|step| step.incoming);
        if reversed
            && incoming
            && statement == Statement::PolarityCorrect
            && self.edition >= Edition::Fifth
        {
            self.unlocked.remove(&step.board);
            self.reopen(step.board, |_| true);
        }
        self.close(step, no, How::Intent(statement));
        if statement == Statement::Energised {
            self.energised.insert(step.board, no);
        }
        if statement == Statement::NotProved {
            self.reopen(step.board, proves);
        }
        self.last_taken = Some(no);
    }

    /// Something is out, or joined.
    fn took_out(&mut self, event: &Event, no: EventNo) {
        let Event::TakenOut {
            board,
            circuit,
            part,
            linked,
            place,
            both,
            ..
        } = event
        else {
            return;
        };
        for ordered in &mut self.out {
            let same = ordered.part == *part
                && ordered.linked == *linked
                && ordered.both == *both
                && (*linked || ordered.place == *place);
            let of_several = match (ordered.part, part) {
                (Part::Conductors(one), Part::Conductors(all)) => {
                    all.contains(one) && !*linked && !ordered.linked && ordered.place == *place
                }
                _ => false,
            };
            let same = same || of_several;
            let named = ordered.part == Part::Load && !*linked
                || ordered.part == Part::Accessory && ordered.place == *place;
            let here = (ordered.board, ordered.circuit) == (*board, *circuit);
            if here && ordered.ordered.is_some() && ordered.is_out() && (same || named) {
                ordered.never = true;
            }
        }
        // Nobody works there with the locks off.
        if self.edition >= Edition::Fourth && self.unlocked.remove(board) {
            self.reopen(*board, |_| true);
        }
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
            ordered: None,
        });
        self.last_taken = Some(no);
    }

    /// The work goes on elsewhere; to isolation, it begins anew there.
    fn moved(&mut self, to: &StepId) {
        if to.stage == Stage::Isolation {
            self.unlocked.remove(&to.board);
            if !self.edition.is_first() {
                self.last_taken = None;
            }
            self.reopen(to.board, |_| true);
            self.energised.remove(&to.board);
            self.reopen_energising(to.board);
            return;
        }
        let on = to.circuit.map(|circuit| (to.board, circuit));
        let works_on = on.is_some_and(|on| self.off.remove(&on));
        let relocked = to.stage != Stage::Energise && self.unlocked.remove(&to.board);
        if works_on || relocked {
            self.reopen(to.board, |_| true);
        }
        if works_on {
            let plan = Arc::clone(&self.plan);
            for step in plan.on(to.board, to.circuit) {
                if matches!(step.kind, StepKind::OffLock | StepKind::OffTerminals) {
                    self.closed.remove_mut(&step.id);
                }
            }
        }
        if !self.edition.is_first() {
            self.last_taken = None;
        }
    }

    /// Nothing of the board counts as dead any more.
    fn voltage_found(&mut self, board: u16) {
        let anew = std::mem::take(&mut self.anew);
        if let Some((asked, Asked::Reading)) = self.asked.take()
            && !anew.contains(&asked)
        {
            self.withdrawn(asked);
        }
        self.unlocked.remove(&board);
        if !self.edition.is_first() {
            self.mode = Mode::Running;
        }
        self.reopen(board, |_| true);
        self.last_taken = None;
    }

    /// Something was seen; its words are waited for.
    fn observed(&mut self, item: Option<ItemNumber>, no: EventNo) {
        let tail = item.map(|item| item.to_string());
        let plan = Arc::clone(&self.plan);
        let is_it =
            |step: &&Step| step.stage == Stage::Inspection && Some(&step.id.tail) == tail.as_ref();
        let step = plan.steps.iter().find(is_it).map(|step| step.id.clone());
        self.observed.insert(no, step);
        self.telling = Some(no);
        self.mode = Mode::Noting;
        self.last_taken = Some(no);
    }

    /// What the same kind of step ordered out on the circuit is out.
    fn order_answered(&mut self, step: &StepId) {
        let plan = Arc::clone(&self.plan);
        let Some(step) = plan.step(step) else {
            return;
        };
        for out in &mut self.out {
            let by_it = out.ordered.as_ref().and_then(|id| plan.step(id));
            let same = by_it.is_some_and(|by| by.kind == step.kind && by.beside(step));
            let place = step.kind != StepKind::Bond || out.place == step.place;
            if same && place && out.is_out() {
                out.ordered = None;
            }
        }
    }

    /// What closed a step before a reading that was asked about.
    fn give_back(&mut self, of: EventNo) {
        let Some((_, step, before)) = self.before.take_if(|(asked, ..)| *asked == of) else {
            return;
        };
        if !self.closed.contains_key(&step) {
            if before.how == How::Read {
                self.stands(before.by, Counts::Yes);
            }
            self.closed.insert_mut(step, before);
        }
    }

    /// Something is taken back: what was asked about, or what was said last.
    fn taken_back(&mut self, of: EventNo) {
        match self.asked.take_if(|(asked, _)| *asked == of) {
            Some((_, Asked::IfOut(entries))) => {
                for out in &mut self.out {
                    out.never |= entries.contains(&out.no) && out.ordered.is_some();
                }
            }
            Some((_, Asked::IfLive | Asked::Statement)) => {}
            Some((_, Asked::AllBack(_) | Asked::NeverOut(_) | Asked::Finish))
                if !self.edition.is_first() => {}
            _ => {
                self.withdrawn(of);
                self.give_back(of);
            }
        }
    }

    /// Nobody was there for so long: boards that are dead are not known to be so any more.
    fn away(&mut self, gap: SignedDuration, at: Timestamp) {
        if gap < AWAY {
            return;
        }
        let day = |at: Timestamp| jiff::tz::Offset::UTC.to_datetime(at).date();
        self.away_for(gap > LONG_AWAY || day(at) != day(self.last_at));
    }

    fn away_for(&mut self, long: bool) {
        let boards: Vec<u16> = self.job.boards.iter().map(|board| board.number).collect();
        for board in boards {
            if self.is_live(board) {
                continue;
            }
            self.reopen(board, |kind| long || kind == StepKind::Lock || proves(kind));
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
            Some((_, Asked::IfOut(entries))) => {
                for out in &mut self.out {
                    if entries.contains(&out.no) {
                        out.ordered = None;
                    }
                }
            }
            Some((_, Asked::IfLive | Asked::Statement)) => {}
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
        // A whole section is closed by one event; what was seen of an item goes with its code.
        let closed_by = self.closed.iter().filter(|(_, closed)| closed.by == of);
        let mut closed: Vec<StepId> = closed_by.map(|(step, _)| step.clone()).collect();
        closed.extend(self.observed.remove(&of).flatten());
        for step in closed {
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
            self.reopen(board, |kind| kind == StepKind::Lock || proves(kind));
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

    fn gone_past(&mut self, refusal: &Refusal, reason: &Reason) {
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
                    .filter(|step| step.board == *board && is_dead_test(step))
                    .filter(|step| self.failed(step))
                    .filter(|step| {
                        let reversed =
                            self.how(step) == Some(&How::Intent(Statement::PolarityReversed));
                        match reason {
                            Reason::Observed => !reversed,
                            Reason::DangerToldOf => reversed,
                            _ => true,
                        }
                    })
                    .map(|step| step.id.clone())
                    .collect();
                self.accepted.extend(failed);
            }
            _ => {}
        }
    }
}

/// The number that stands right behind a word of where a board is fed from.
fn said_of(word: &str, text: &str) -> Option<u16> {
    let text = text.to_lowercase().replace(',', " ");
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut pairs = words.windows(2);
    pairs.find_map(|pair| match pair {
        [first, number] if *first == word => number.parse().ok(),
        _ => None,
    })
}
