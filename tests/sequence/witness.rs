//! What the events alone tell, and laws in the tests' own words: neither asks the state, a procedure, or
//! anything that guards ask of a step. Which step is done how stands in a table of the tests' own
//! ([`steps`]), by the names of steps.

mod steps;

use bothhands::installation::IsolatedBy;
use bothhands::quantity::{Conductors, Pair, Reading, Relation, TestVoltage};
use bothhands::sequence::{ABSENCE, Agenda, Edition, Event, EventNo, StepId};
use bothhands::terms::{Part, Place, Reason, Stage, Statement};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use steps::{Answer, Answers, Done, board, done, feeder, is_of_the_same_kind, proves};

/// Something that was said to be out, off, linked or crossed.
#[derive(Debug, Clone)]
struct Thing {
    board: u16,
    circuit: Option<u16>,
    part: Part,
    linked: bool,
    place: Option<Place>,
}

impl Thing {
    /// Whether no reason lets it stay.
    fn must_go_back(&self) -> bool {
        self.linked || matches!(self.part, Part::EarthingConductor | Part::Bond)
    }

    fn is_on(&self, id: &StepId) -> bool {
        self.board == id.board && self.circuit.is_some() && self.circuit == id.circuit
    }

    /// The conductors that it joins.
    fn joins(&self) -> Option<Conductors> {
        match self.part {
            Part::Crossing(all) => Some(all),
            Part::Conductors(all) if self.linked => Some(all),
            _ => None,
        }
    }
}

/// What of an isolation is forgotten.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Forgotten {
    Proofs,
    LockAndProofs,
    All,
}

/// Who heard everything that was said, and knows nothing else.
#[derive(Default)]
pub struct Witness {
    /// Which of the isolation was said, and by which event.
    said: BTreeMap<String, EventNo>,
    live: BTreeMap<u16, EventNo>,
    /// Boards whose lock came off to be energised.
    unlocked: BTreeSet<u16>,
    out: BTreeMap<EventNo, Thing>,
    /// What a step ordered, and nobody has said yet whether it is out.
    ordered: BTreeMap<EventNo, (StepId, Thing)>,
    /// What was ordered, and done as it was ordered. It may stand among what is out once more, as somebody
    /// named it: so it bars nothing here.
    as_ordered: BTreeMap<EventNo, Thing>,
    /// What each "back" put back, for when it is taken back.
    back: BTreeMap<EventNo, Vec<(EventNo, Thing)>>,
    /// Circuits that stay off, and since when.
    off: BTreeMap<(u16, u16), EventNo>,
    answers: Answers,
    /// What was proposed to be back, to have never been out, or asked whether it is out.
    asked: BTreeMap<EventNo, Vec<EventNo>>,
    never_out: BTreeMap<EventNo, EventNo>,
    if_out: BTreeMap<EventNo, Vec<EventNo>>,
    /// Readings over range, which are asked about.
    over_range: BTreeMap<EventNo, StepId>,
    waits: bool,
    last: Option<Timestamp>,
}

type Law = Result<(), &'static str>;

fn law(holds: bool, broken: &'static str) -> Law {
    if holds { Ok(()) } else { Err(broken) }
}

/// The laws.
impl Witness {
    /// What was answered: a value, or words.
    fn taken(&self, state: &Agenda, id: &StepId, reading: Option<&Reading>) -> Law {
        let job = state.job();
        law(!self.waits, "taken while the session waits")?;
        let exempt = matches!(id.stage, Stage::Isolation | Stage::MakeSafe);
        let off = id.circuit.is_some_and(|c| self.is_off(id.board, c));
        law(!off || exempt, "taken on a circuit that stays off")?;
        match done(job, id) {
            Done::Dead => law(
                self.is_dead(state, id.board),
                "a dead test on what was not said to be dead",
            )?,
            Done::AtTheTerminals => self.at_the_terminals(state, id)?,
            Done::Live => law(
                self.is_live(state, id.board),
                "a live test on what was not said to be energised",
            )?,
            Done::Isolating | Done::Anyhow => {}
        }
        for thing in self.out.values().filter(|_| !exempt) {
            let live = done(job, id) == Done::Live;
            let barred = match thing.part {
                Part::EarthingConductor => id.stage != Stage::ExternalLoop,
                Part::Bond => !id.tail.starts_with("bond/"),
                _ => live && thing.is_on(id),
            };
            law(!barred, "something else done with this out")?;
        }
        match (id.stage, reading) {
            (Stage::Insulation, Some(reading)) => self.insulation(state, id, reading),
            (Stage::Continuity, Some(_)) if is_of_line_and_cpc(id) => {
                let linked = |thing: &Thing| {
                    let joined = thing.joins().filter(|_| thing.linked && thing.is_on(id));
                    joined.is_some_and(|all| all.contains(Conductors::E))
                };
                law(self.is_out(linked), "R1+R2 read without a link")
            }
            (Stage::ExternalLoop, Some(_)) => law(
                self.is_out(|thing| thing.part == Part::EarthingConductor),
                "the loop outside read with the earthing conductor on",
            ),
            _ => Ok(()),
        }
    }

    fn insulation(&self, state: &Agenda, id: &StepId, reading: &Reading) -> Law {
        let job = state.job();
        let through = |thing: &Thing| {
            let near = thing.circuit.is_none() || thing.is_on(id);
            let joined = thing.joins().filter(|_| near);
            joined
                .zip(reading.pair)
                .is_some_and(|(all, pair)| all.contains(pair.from()) && all.contains(pair.to()))
        };
        law(
            !self.out.values().any(through),
            "insulation read between what is joined",
        )?;
        let here = board(job, id.board);
        // Neutral to earth goes across it whichever circuit of a dead board is tested, unless that neutral is
        // out of its bar.
        let across = |pair: Pair| pair.from().contains(Conductors::N) && pair.to() == Conductors::E;
        let one_circuit = id.circuit.is_some()
            && state.edition() >= Edition::Fourth
            && reading.at.is_none_or(|at| at > TestVoltage::V250)
            && reading.pair.is_some_and(across)
            && here.is_some_and(|board| board.isolate != IsolatedBy::Circuits)
            && !self.is_out(|thing| {
                let at_board = thing.place.as_ref().is_some_and(|p| p.name == "board");
                let neutral =
                    matches!(thing.part, Part::Conductors(all) if all.contains(Conductors::N));
                thing.is_on(id) && at_board && neutral && !thing.linked
            });
        if (id.tail.starts_with("together/") || one_circuit)
            && here.is_some_and(|board| board.surge.is_some())
        {
            let out = self.is_out(|thing| {
                let place = thing.place.as_ref();
                let surge = ["surge protector", "surge protection", "s p d"];
                thing.board == id.board && place.is_some_and(|p| surge.contains(&p.name.as_str()))
            });
            // BS 7671 643.3.3: with what can't reasonably be disconnected, 250 volts.
            let left = self.answer_at(id, Stage::Insulation, "surge/out") == Some(Answer::LeftOut);
            let low =
                id.tail.starts_with("together/trial") || reading.at == Some(TestVoltage::V250);
            law(
                out || left && low,
                "insulation tested at more than 250 V across surge protection",
            )?;
        }
        let circuits = here.is_some_and(|board| board.isolate == IsolatedBy::Circuits);
        if circuits && id.circuit.is_some() {
            let out = self.is_out(|thing| {
                let at_board = thing.place.as_ref().is_some_and(|p| p.name == "board");
                let neutral =
                    matches!(thing.part, Part::Conductors(all) if all.contains(Conductors::N));
                thing.is_on(id) && at_board && neutral && !thing.linked
            });
            let answer = self.answer_at(id, Stage::Insulation, "neutral-out");
            let double_pole = Some(Answer::Said(Statement::DoublePole));
            law(
                out || answer == double_pole,
                "insulation read at a live board with the neutral in its terminal",
            )?;
        }
        Ok(())
    }

    /// With the main switch still locked off, and everything behind it done and back.
    fn at_the_terminals(&self, state: &Agenda, id: &StepId) -> Law {
        law(
            self.is_dead(state, id.board),
            "work at the terminals of what was not said to be dead",
        )?;
        self.dead_tests_done(state, id.board)?;
        self.off_is_locked(state, id.board)?;
        let out = self.out.values().any(|thing| {
            thing.part != Part::EarthingConductor && (thing.must_go_back() || !self.is_alone(thing))
        });
        law(!out, "work at the terminals with something out")?;
        let supply = self.answer_at(id, Stage::SupplyPolarity, "incoming");
        let reversed = supply == Some(Answer::Said(Statement::PolarityReversed));
        law(
            !reversed || id.stage == Stage::SupplyPolarity,
            "more done at the terminals of a supply that is reversed",
        )
    }

    fn energised(&self, state: &Agenda, id: &StepId) -> Law {
        let job = state.job();
        law(self.nothing_bars(), "energised with something out")?;
        law(
            self.isolation_said(state, id.board),
            "energised, and never said to be dead",
        )?;
        self.dead_tests_done(state, id.board)?;
        self.off_is_locked(state, id.board)?;
        if let Some((by, _)) = feeder(job, id.board) {
            law(
                self.is_live(state, by),
                "energised before what feeds it is live",
            )?;
        }
        law(
            self.has_its_supply(state, id.board),
            "energised although what feeds it stays off",
        )?;
        law(
            matches!(
                self.answer_at(id, Stage::Energise, "covers"),
                Some(Answer::Said(_))
            ),
            "energised with covers off",
        )?;
        for other in ids(state) {
            let terminals = done(job, other) == Done::AtTheTerminals && other.board == id.board;
            let asked_for = matches!(other.tail.as_str(), "incoming" | "value")
                || other.stage == Stage::FaultCurrent;
            if !terminals || !asked_for {
                continue;
            }
            let wrong = match self.answer(other) {
                None | Some(Answer::Later | Answer::Said(Statement::PolarityReversed)) => true,
                Some(Answer::NoEarth) => other.stage == Stage::ExternalLoop,
                Some(_) => false,
            };
            law(!wrong, "energised by a supply that was not found right")?;
        }
        Ok(())
    }

    /// Dead comes after the indicator is proved and the board locked off; the indicator is proved
    /// again after every pair.
    fn isolating(&self, state: &Agenda, id: &StepId, statement: Statement) -> Law {
        let said = |tail: &str| {
            let tails = |other: &&StepId| same_board(other, id, Stage::Isolation);
            let mut all = ids(state).filter(tails);
            all.all(|other| !other.tail.starts_with(tail) || self.was_said(other))
        };
        match statement {
            Statement::Dead => law(
                said("prove-before") && said("isolate") && said("lock"),
                "dead before the indicator was proved and the board locked off",
            ),
            Statement::Proved if id.tail == "prove-after" => {
                law(said("dead/"), "proved again before every pair was dead")
            }
            _ => Ok(()),
        }
    }

    fn handed_over(&self, state: &Agenda) -> Law {
        law(self.nothing_bars(), "handed over with something out")?;
        let mut on = ids(state).filter(|id| id.stage == Stage::Energise);
        let dark =
            on.any(|id| self.has_its_supply(state, id.board) && !self.is_live(state, id.board));
        law(!dark, "handed over with a board that is not energised")
    }

    fn finished(&self, state: &Agenda) -> Law {
        law(self.nothing_bars(), "finished with something out")?;
        let mut found = ids(state).filter_map(|id| {
            let outlet = id.stage == Stage::LoopImpedance && id.circuit.is_some();
            let (no, answer) = self.answers.get(&id.to_string())?.last()?;
            let danger = match answer {
                Answer::Said(Statement::PolarityReversed) => id.tail.ends_with("/polarity"),
                Answer::NoEarth => true,
                _ => false,
            };
            (outlet && danger && self.is_live(state, id.board)).then_some((id, *no))
        });
        let left = found.any(|(id, found)| {
            let name = format!("b{}/c{}/make-safe/make-safe", id.board, id.circuit.unwrap());
            let made_safe = self.answers.get(&name).and_then(|all| all.last());
            made_safe.is_none_or(|(no, _)| *no < found)
        });
        law(!left, "finished with a circuit that is dangerous")
    }

    /// What is asked for now: nothing is put back before its board is proved dead.
    ///
    /// # Errors
    /// Which law it breaks.
    pub fn is_asked(&self, state: &Agenda) -> Law {
        let Some(id) = state.current().map(|step| &step.id) else {
            return Ok(());
        };
        let back = id.stage == Stage::PutBack && !self.is_live(state, id.board);
        law(
            !back || self.isolation_said(state, id.board),
            "asked to be put back, where nothing is proved dead",
        )
    }

    /// Polarity is asked of every circuit, and comes last of its dead tests; what is behind covers
    /// is looked at before they are on.
    fn dead_tests_done(&self, state: &Agenda, board: u16) -> Law {
        let with = self.made_live_with(state, board);
        let mut left = ids(state).filter(|id| {
            let inside = steps::is_behind_covers(state.job(), id);
            let here = with.contains(&id.board) && (id.stage == Stage::Polarity || inside);
            let off = id.circuit.is_some_and(|c| self.is_off(id.board, c));
            here && !off && matches!(self.answer(id), None | Some(Answer::Later))
        });
        law(
            left.next().is_none(),
            "made live with its dead tests not done",
        )
    }

    fn off_is_locked(&self, state: &Agenda, board: u16) -> Law {
        let with = self.made_live_with(state, board);
        let locked = self.off.iter().all(|((board, circuit), since)| {
            let name = format!("b{board}/c{circuit}/make-safe/off/locked");
            let last = self.answers.get(&name).and_then(|all| all.last());
            let said = last.is_some_and(|(no, _)| *no > since.0);
            !with.contains(board) || said
        });
        law(locked, "made live with what stays off not locked off")
    }

    fn nothing_bars(&self) -> bool {
        let mut out = self.out.values();
        out.all(|thing| !thing.must_go_back() && self.is_alone(thing))
    }

    /// Whether something like this is out: said to be, or done as it was ordered.
    fn is_out(&self, which: impl Fn(&Thing) -> bool) -> bool {
        let mut all = self.out.values().chain(self.as_ordered.values());
        all.any(which)
    }

    /// What is on a circuit that stays off stays there, but for a link.
    fn is_alone(&self, thing: &Thing) -> bool {
        thing.circuit.is_some_and(|c| self.is_off(thing.board, c))
    }

    fn is_off(&self, board: u16, circuit: u16) -> bool {
        self.off.contains_key(&(board, circuit))
    }

    fn is_dead(&self, state: &Agenda, board: u16) -> bool {
        self.isolation_said(state, board)
            && !self.live.contains_key(&board)
            && !self.unlocked.contains(&board)
    }

    /// Every step of its isolation was said, and there is one.
    fn isolation_said(&self, state: &Agenda, board: u16) -> bool {
        let mut all = isolation(state, board).peekable();
        all.peek().is_some() && all.all(|id| self.was_said(id))
    }

    fn was_said(&self, id: &StepId) -> bool {
        self.said.contains_key(&id.to_string())
    }

    /// Energised, or found live and left so.
    fn is_live(&self, state: &Agenda, board: u16) -> bool {
        self.live.contains_key(&board) || isolation(state, board).next().is_none()
    }

    /// A board and those that it feeds.
    fn made_live_with(&self, state: &Agenda, board: u16) -> Vec<u16> {
        let mut all = vec![board];
        for _ in &state.job().boards {
            for other in &state.job().boards {
                let by = feeder(state.job(), other.number);
                let fed = by.is_some_and(|(by, circuit)| {
                    all.contains(&by) && !circuit.is_some_and(|c| self.is_off(by, c))
                });
                if fed && !all.contains(&other.number) {
                    all.push(other.number);
                }
            }
        }
        all
    }

    fn has_its_supply(&self, state: &Agenda, board: u16) -> bool {
        let mut at = board;
        for _ in &state.job().boards {
            match feeder(state.job(), at) {
                Some((by, Some(circuit))) if self.is_off(by, circuit) => return false,
                Some((by, _)) => at = by,
                None => return true,
            }
        }
        true
    }

    fn answer(&self, id: &StepId) -> Option<Answer> {
        let last = self.answers.get(&id.to_string())?.last()?;
        Some(last.1)
    }

    /// What was answered of this stage on the same circuit, or the same whole board.
    fn answer_at(&self, id: &StepId, stage: Stage, tail: &str) -> Option<Answer> {
        self.answer(&StepId {
            stage,
            tail: tail.to_owned(),
            ..id.clone()
        })
    }
}

fn ids(state: &Agenda) -> impl Iterator<Item = &StepId> {
    state.plan().steps.iter().map(|step| &step.id)
}

fn isolation(state: &Agenda, board: u16) -> impl Iterator<Item = &StepId> {
    ids(state).filter(move |id| id.board == board && id.stage == Stage::Isolation)
}

fn same_board(one: &StepId, other: &StepId, stage: Stage) -> bool {
    one.board == other.board && one.stage == stage
}

/// "socket 1/L-E", and not "socket 1/R2" or a bond.
fn is_of_line_and_cpc(id: &StepId) -> bool {
    id.circuit.is_some() && id.tail.contains('/') && !id.tail.ends_with("/R2")
}

/// The fold.
impl Witness {
    /// Hears one event more.
    ///
    /// # Errors
    /// Which law it breaks.
    pub fn hear(&mut self, state: &Agenda, no: EventNo, event: &Event, now: Timestamp) -> Law {
        let away = self
            .last
            .map_or(SignedDuration::ZERO, |last| now.duration_since(last));
        self.last = Some(now);
        match event {
            Event::Reading { step, reading, .. } => {
                self.taken(state, step, Some(reading))?;
                self.order_answered(step);
                self.answered(step, no, Answer::Read);
                if reading.relation == Relation::OverRange {
                    self.over_range.insert(no, step.clone());
                }
            }
            Event::Stated {
                step, statement, ..
            } => {
                self.taken(state, step, None)?;
                self.stated(state, no, step, *statement)?;
            }
            Event::SectionStated {
                steps, statement, ..
            } => {
                for step in steps {
                    self.answered(step, no, Answer::Said(*statement));
                }
            }
            Event::NotTested { step, .. } => {
                law(!steps::is_never_left_out(step), "left out")?;
                self.answered(step, no, Answer::LeftOut);
            }
            Event::Skipped { step, .. } => {
                law(!steps::is_never_left_out(step), "left for later")?;
                self.answered(step, no, Answer::Later);
            }
            Event::Overridden { reason, .. } => law(
                matches!(reason, Reason::Observed | Reason::DangerToldOf),
                "gone past for a bare reason",
            )?,
            Event::Finished { .. } => {
                self.finished(state)?;
                self.waits = true;
            }
            Event::Paused | Event::StoodBy => self.waits = true,
            Event::CarriedOn => self.waits = false,
            Event::Ordered {
                step,
                board,
                circuit,
                part,
                linked,
                place,
                ..
            } => {
                let thing = Thing {
                    board: *board,
                    circuit: *circuit,
                    part: *part,
                    linked: *linked,
                    place: place.clone(),
                };
                self.ordered.insert(no, (step.clone(), thing));
            }
            Event::TakenOut {
                linked,
                part,
                board,
                circuit,
                place,
                ..
            } => {
                let thing = Thing {
                    board: *board,
                    circuit: *circuit,
                    part: *part,
                    linked: *linked,
                    place: place.clone(),
                };
                self.out.insert(no, thing);
                // Nobody works there with the locks off.
                if state.edition() >= Edition::Fourth && self.unlocked.remove(board) {
                    self.forget(*board, Forgotten::All);
                }
            }
            Event::PutBack { entries } => self.put_back(no, entries),
            Event::ProposedAllBack { entries } => {
                self.asked.insert(no, entries.clone());
            }
            Event::ProposedNeverOut { entry } => {
                self.never_out.insert(no, *entry);
            }
            Event::AskedIfOut { entries } => {
                self.if_out.insert(no, entries.clone());
            }
            Event::Affirmed { of, .. } => {
                if let Some(step) = self.over_range.remove(of) {
                    self.answered(&step, *of, Answer::NoEarth);
                }
                let entries = self.asked.remove(of).unwrap_or_default();
                self.put_back(no, &entries);
                if let Some(entry) = self.never_out.remove(of) {
                    self.out.remove(&entry);
                }
                for entry in self.if_out.remove(of).into_iter().flatten() {
                    self.surely_out(entry);
                }
            }
            Event::Withdrawn { of, .. } => self.taken_back(state, *of),
            Event::VoltageFound { board, .. } => {
                self.asked.clear();
                self.never_out.clear();
                self.unlocked.remove(board);
                self.waits = false;
                self.forget(*board, Forgotten::All);
            }
            Event::LockRemoved { board, to_energise } => {
                if *to_energise {
                    self.unlocked.insert(*board);
                } else {
                    self.unlocked.remove(board);
                    self.forget(*board, Forgotten::All);
                }
            }
            Event::StaysOff { board, circuit } => {
                self.off.insert((*board, *circuit), no);
            }
            Event::Moved { to, .. } => self.moved(to),
            Event::Resumed { .. } if away <= ABSENCE => {}
            Event::Resumed { .. } | Event::CameBack { .. } => self.was_away(state),
            Event::Unpaused => {
                self.waits = false;
                self.was_away(state);
            }
            _ => {}
        }
        Ok(())
    }

    fn stated(&mut self, state: &Agenda, no: EventNo, id: &StepId, statement: Statement) -> Law {
        let looked_at = steps::was_looked_at(statement);
        if steps::is_behind_covers(state.job(), id) && looked_at {
            law(
                self.is_dead(state, id.board),
                "looked at behind covers of what was not said to be dead",
            )?;
        }
        if statement == Statement::Done {
            self.order_answered(id);
        }
        let before = self.answers.get(&id.to_string()).and_then(|all| all.last());
        let reversed = matches!(before, Some((_, Answer::Said(Statement::PolarityReversed))));
        let put_right = reversed && statement == Statement::PolarityCorrect;
        if put_right && id.stage == Stage::SupplyPolarity && state.edition() >= Edition::Fifth {
            self.unlocked.remove(&id.board);
            self.forget(id.board, Forgotten::All);
        }
        self.answered(id, no, Answer::Said(statement));
        match id.stage {
            Stage::Isolation => {
                self.isolating(state, id, statement)?;
                if statement == Statement::NotProved {
                    self.forget(id.board, Forgotten::Proofs);
                } else {
                    self.said.insert(id.to_string(), no);
                }
            }
            Stage::Energise if statement == Statement::Energised => {
                self.energised(state, id)?;
                self.unlocked.remove(&id.board);
                self.live.insert(id.board, no);
            }
            Stage::Handover => self.handed_over(state)?,
            _ => {}
        }
        Ok(())
    }

    fn answered(&mut self, id: &StepId, no: EventNo, answer: Answer) {
        let all = self.answers.entry(id.to_string()).or_default();
        all.push((no.0, answer));
    }

    fn moved(&mut self, to: &StepId) {
        let again = to
            .circuit
            .is_some_and(|circuit| self.off.remove(&(to.board, circuit)).is_some());
        let relocked = to.stage != Stage::Energise && self.unlocked.remove(&to.board);
        if to.stage == Stage::Isolation {
            self.live.remove(&to.board);
            let energise = format!("b{}/energise/", to.board);
            self.answers.retain(|name, _| !name.starts_with(&energise));
        }
        if again || relocked || to.stage == Stage::Isolation {
            self.forget(to.board, Forgotten::All);
        }
    }

    fn was_away(&mut self, state: &Agenda) {
        for board in state.job().boards.iter().map(|b| b.number) {
            if !self.live.contains_key(&board) {
                self.forget(board, Forgotten::LockAndProofs);
            }
        }
    }

    fn taken_back(&mut self, state: &Agenda, of: EventNo) {
        self.asked.remove(&of);
        self.never_out.remove(&of);
        self.if_out.remove(&of);
        self.out.remove(&of);
        self.as_ordered.remove(&of);
        for (entry, thing) in self.back.remove(&of).into_iter().flatten() {
            self.out.insert(entry, thing);
        }
        self.said.retain(|_, said| *said != of);
        for all in self.answers.values_mut() {
            all.retain(|(no, _)| *no != of.0);
        }
        let was_live = self.live.iter().find(|(_, said)| **said == of);
        if let Some(board) = was_live.map(|(board, _)| *board) {
            self.live.remove(&board);
            if isolation(state, board).next().is_some() {
                self.forget(board, Forgotten::LockAndProofs);
            }
        }
    }

    fn order_answered(&mut self, id: &StepId) {
        let by_it = |(no, (by, _)): (&EventNo, &(StepId, Thing))| {
            is_of_the_same_kind(by, id).then_some(*no)
        };
        let all: Vec<EventNo> = self.ordered.iter().filter_map(by_it).collect();
        for no in all {
            self.surely_out(no);
        }
    }

    fn surely_out(&mut self, no: EventNo) {
        if let Some((_, thing)) = self.ordered.remove(&no) {
            self.as_ordered.insert(no, thing);
        }
    }

    fn put_back(&mut self, no: EventNo, entries: &[EventNo]) {
        // What somebody else put back meanwhile is not this one's to take back.
        let mut back = Vec::new();
        for entry in entries {
            self.ordered.remove(entry);
            let thing = self.out.remove(entry);
            let thing = thing.or_else(|| self.as_ordered.remove(entry));
            back.extend(thing.map(|thing| (*entry, thing)));
        }
        self.back.insert(no, back);
    }

    fn forget(&mut self, board: u16, which: Forgotten) {
        self.said.retain(|name, _| {
            let id: StepId = name.parse().unwrap();
            let lock = which == Forgotten::LockAndProofs && id.tail == "lock";
            let gone = which == Forgotten::All || lock || proves(&id);
            id.board != board || !gone
        });
    }
}
