//! Model checking by random walk: whatever is said, in whatever order, no law is broken.
//!
//! Half of what is said is what the step asks for, so that a walk comes to energising and beyond, and a
//! fifth is drawn from the grammar of the step, both in words that go through the grammar; the rest
//! is readings, statements and alterations put together at random. `bothhands::sequence::invariants` is checked before every event; besides,
//! the two laws that matter most are kept here once more, from the events alone, knowing nothing of
//! the state: no dead test before every pair was said to be dead, none energised with things out.
//!
//! ```sh
//! WALK=1000000 cargo test --release --test it model_walk -- --nocapture
//! ```

use crate::dialogues::plain::{Site, plain_answer};
use crate::dialogues::world::World;
use bothhands::grammar::Intent;
use bothhands::quantity::{Conductors, Number, Pair, Reading, Relation, TestVoltage, Unit};
use bothhands::sequence::{
    ABSENCE, Agenda, Event, EventNo, Mode, Session, StepId, StepKind, Turn, say,
};
use bothhands::terms::{
    Alteration, Change, HalfCycle, Parked, Part, Place, Reason, Stage, Statement,
};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};

const LENGTH: usize = 250;
pub const JOBS: [&str; 6] = [
    "radial",
    "periodic",
    "ring",
    "boards",
    "three-phase",
    "together",
];

#[test]
fn nothing_that_is_said_breaks_a_law() {
    let wanted: usize = std::env::var("WALK")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(20_000);
    let mut said = 0;
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    let worlds: Vec<World> = JOBS.iter().map(|name| World::of(name, 150)).collect();
    for seed in 0.. {
        if said >= wanted {
            break;
        }
        let world = &worlds[seed % worlds.len()];
        let mut walk = Walk::begin(world, seed as u64);
        for _ in 0..LENGTH {
            if let Err(why) = walk.step() {
                walk.fail(&why);
            }
        }
        said += LENGTH;
        for (event, _) in &walk.events {
            *counts.entry(event.kind()).or_default() += 1;
        }
        if seed % 20 == 0 {
            walk.check_replay();
        }
    }
    println!("{said} said; events: {counts:?}");
    for kind in [
        "reading",
        "stated",
        "taken-out",
        "put-back",
        "refused",
        "withdrawn",
    ] {
        assert!(counts.contains_key(kind), "no walk came to {kind}");
    }
}

pub struct Walk<'a> {
    world: &'a World,
    seed: u64,
    rng: fastrand::Rng,
    session: Session,
    now: Timestamp,
    events: Vec<(Event, Timestamp)>,
    memory: Memory,
}

impl<'a> Walk<'a> {
    pub fn begin(world: &'a World, seed: u64) -> Self {
        let now = "2026-11-25T09:30:00Z".parse().unwrap();
        let (session, turn) = Session::begin(world.job.clone(), "walk", now).unwrap();
        let mut walk = Self {
            world,
            seed,
            rng: fastrand::Rng::with_seed(seed),
            session,
            now,
            events: Vec::new(),
            memory: Memory::default(),
        };
        walk.keep(turn).unwrap();
        walk
    }

    /// Says one thing more.
    ///
    /// # Errors
    /// Which law was broken, or which words were not understood.
    pub fn step(&mut self) -> Result<(), String> {
        self.now += match self.rng.u32(0..400) {
            0 => SignedDuration::from_hours(20),
            1 => SignedDuration::from_mins(20),
            _ => SignedDuration::from_secs(6),
        };
        match self.rng.u32(0..300) {
            0 => {
                let events = self.events.iter().map(|(event, at)| (event, *at));
                let (session, turn) = Session::resume(events, "walk", self.now).unwrap();
                self.session = session;
                return self.keep(turn);
            }
            1 => {
                let turn = self.session.unclear("fifteen", Some("fifty"), self.now);
                return self.keep(turn);
            }
            _ => {}
        }
        let said = self.something()?;
        let turn = self
            .session
            .turn(&said, self.now)
            .map_err(|broken| format!("{said:?} would be {broken}"))?;
        self.keep(turn)?;
        self.check_found()
    }

    fn fail(&self, why: &str) -> ! {
        let last: Vec<_> = self.events.iter().rev().take(12).map(|(e, _)| e).collect();
        let about_out = |event: &&Event| {
            matches!(
                event,
                Event::TakenOut { .. }
                    | Event::PutBack { .. }
                    | Event::ProposedAllBack { .. }
                    | Event::ProposedNeverOut { .. }
                    | Event::Affirmed { .. }
                    | Event::Withdrawn { .. }
                    | Event::Overridden { .. }
            )
        };
        let all = self.events.iter().map(|(event, _)| event).enumerate();
        let out: Vec<_> = all.filter(|(_, event)| about_out(event)).collect();
        panic!(
            "{}, seed {}, {} events: {why}\nbefore it, last first: {last:#?}\nof the out-list: {out:#?}",
            self.world.name,
            self.seed,
            self.events.len()
        );
    }

    /// What was kept of earlier events to find the open steps quickly hides none of them.
    fn check_found(&self) -> Result<(), String> {
        let state = self.session.state();
        let anew = state.found_anew();
        let open = |state: &Agenda| -> Vec<usize> { state.open_steps().map(|s| s.order).collect() };
        let all = |state: &Agenda| -> Vec<usize> {
            let steps = state.plan().steps.iter();
            steps
                .filter(|s| state.is_open(s))
                .map(|s| s.order)
                .collect()
        };
        let asked = |state: &Agenda| state.current().map(|step| step.order);
        if open(state) != all(state) || asked(state) != asked(&anew) {
            return Err(format!(
                "open {:?}, found {:?}; asks {:?}, would ask {:?}",
                all(state),
                open(state),
                asked(state),
                asked(&anew)
            ));
        }
        Ok(())
    }

    fn keep(&mut self, turn: Turn) -> Result<(), String> {
        for event in turn.events {
            let no = EventNo(self.events.len() as u64);
            let state = self.session.state();
            self.memory
                .remember(state, no, &event, self.now)
                .map_err(|why| format!("{why}: {event:?}"))?;
            self.events.push((event, self.now));
        }
        Ok(())
    }

    /// What the grammar makes of words where the session stands.
    fn understood(&self, words: &str) -> Result<Intent, String> {
        self.session
            .understand(&self.world.grammar, words)
            .ok_or_else(|| format!("\"{words}\" is not in the rule <{}>", self.session.rule()))
    }

    /// The plain answer, in the words that a person has for it where those mean just that.
    fn plainly(&mut self) -> Result<Intent, String> {
        let Some(said) = plain_answer(self.session.state()) else {
            return self.understood("where are we");
        };
        match self.world.grammar.says(self.session.rule(), &said) {
            Some(words) => self.understood(&words),
            None => Ok(said),
        }
    }

    /// One of the answers that the prompt itself names.
    fn as_told(&mut self) -> Result<Intent, String> {
        let prompt = say::prompt(self.session.state());
        if prompt.answers.is_empty() {
            return self.plainly();
        }
        let said = prompt.answers[self.rng.usize(0..prompt.answers.len())].clone();
        match self.world.grammar.says(self.session.rule(), &said) {
            Some(words) => self.understood(&words),
            None => Ok(said),
        }
    }

    fn check_replay(&self) {
        let replayed = Agenda::replay(self.events.iter().map(|(e, at)| (e, *at))).unwrap();
        assert_eq!(
            serde_json::to_string(&replayed).unwrap(),
            serde_json::to_string(self.session.state()).unwrap(),
            "{}, seed {}",
            self.world.name,
            self.seed
        );
    }

    fn something(&mut self) -> Result<Intent, String> {
        let waiting = matches!(
            self.session.state().mode(),
            Mode::Paused | Mode::StandingBy | Mode::Noting
        );
        if waiting && self.rng.u8(0..3) == 0 {
            let words = ["resume", "end of note"][self.rng.usize(0..2)];
            return self.understood(words);
        }
        // In every other walk there are faults, and they are led to the end: by chance alone hardly one
        // would come to energising.
        let state = self.session.state();
        let failed = |board: u16| state.failed_dead(board).next().is_some();
        let found = state.job().boards.iter().any(|board| failed(board.number));
        let to_the_end = found && self.seed.is_multiple_of(2);
        let (at_the_end, at_earth) = state.current().map_or((false, false), |step| {
            let earth =
                step.kind == StepKind::InsulationFull && step.pair.is_some_and(Pair::to_earth);
            (step.stage == Stage::Energise, earth)
        });
        // Nor with something out.
        let put_back = state
            .current()
            .is_some_and(|step| step.kind == StepKind::PutBack);
        if self.seed.is_multiple_of(2) && put_back && self.rng.u8(0..4) == 0 {
            return Ok(Intent::Stated(Statement::Energised));
        }
        if self.seed.is_multiple_of(2) && at_the_end && self.rng.u8(0..6) == 0 {
            return Ok(self.alteration());
        }
        if to_the_end && at_the_end && self.rng.bool() {
            return Ok(Intent::Observe);
        }
        if self.seed.is_multiple_of(2) && at_earth && self.rng.u8(0..8) == 0 {
            return Ok(Intent::Reading {
                reading: Reading::exact("0.00".parse().unwrap()),
                place: None,
                half: None,
            });
        }
        Ok(match self.rng.u8(0..if to_the_end { 12 } else { 20 }) {
            0..8 => self.plainly()?,
            8..10 => self.as_told()?,
            10..14 => {
                let heard = &self.world.heard[self.session.rule()];
                let (words, _) = heard[self.rng.usize(0..heard.len())].clone();
                self.understood(&words)?
            }
            14..16 => self.reading(),
            16..18 => self.alteration(),
            18 => self.statement(),
            _ => self.command(),
        })
    }

    fn place(&mut self) -> Option<Place> {
        let places = &self.world.places;
        match self.rng.usize(0..places.len() + 2) {
            n if n < places.len() => Some(places[n].clone()),
            n if n == places.len() => Some(Place {
                name: "board".to_owned(),
                number: None,
            }),
            _ => None,
        }
    }

    fn reading(&mut self) -> Intent {
        let pairs: Vec<Pair> = Pair::THREE_PHASE
            .into_iter()
            .chain(Pair::SINGLE_PHASE)
            .chain([Pair::LN_E])
            .collect();
        let numbers = [
            "0.00", "0.05", "0.45", "0.5", "5", "20", "40", "230", "299", "999",
        ];
        let number: Number = numbers[self.rng.usize(0..numbers.len())].parse().unwrap();
        let relation = [Relation::Exact, Relation::Over, Relation::Under][self.rng.usize(0..3)];
        let mut one_of = |some: usize, of: usize| self.rng.usize(0..of) < some;
        let pair = one_of(1, 2);
        let unit = one_of(1, 4);
        let at = one_of(1, 4);
        let half = one_of(1, 6);
        let voltages = [TestVoltage::V250, TestVoltage::V500, TestVoltage::V1000];
        let units = [Unit::Ohm, Unit::MegOhm, Unit::Volt, Unit::MilliSecond];
        let reading = Reading {
            pair: pair.then(|| pairs[self.rng.usize(0..pairs.len())]),
            relation,
            number: Some(number),
            unit: unit.then(|| units[self.rng.usize(0..units.len())]),
            at: at.then(|| voltages[self.rng.usize(0..voltages.len())]),
        };
        let place = if self.rng.bool() { self.place() } else { None };
        let said = Intent::Reading {
            reading,
            place,
            half: half.then_some(HalfCycle::Negative),
        };
        if self.rng.u8(0..5) == 0 {
            Intent::Correction(Some(Box::new(said)))
        } else {
            said
        }
    }

    fn alteration(&mut self) -> Intent {
        let lines = Conductors::L1.with(Conductors::L2).with(Conductors::L3);
        let parts = [
            Part::Conductors(Conductors::N),
            Part::Conductors(Conductors::L),
            Part::Conductors(Conductors::L.with(Conductors::N)),
            Part::Conductors(Conductors::L.with(Conductors::E)),
            Part::Conductors(lines.with(Conductors::N)),
            Part::EarthingConductor,
            Part::Bond,
            Part::RingEnds,
            Part::Load,
            Part::Accessory,
            Part::Lamp,
            Part::Cover,
            Part::Lock,
            Part::Everything,
        ];
        let changes = [
            Change::Out,
            Change::Back,
            Change::Linked,
            Change::Unlinked,
            Change::Crossed,
            Change::Uncrossed,
        ];
        let part = parts[self.rng.usize(0..parts.len())];
        let change = match part {
            Part::Everything => Change::Back,
            Part::Conductors(_) => changes[self.rng.usize(0..changes.len())],
            _ => changes[self.rng.usize(0..4)],
        };
        let altered = Intent::Altered(Alteration {
            part,
            change,
            place: self.place(),
            both: self.rng.u8(0..3) == 0,
            parked: self.rng.bool().then_some(Parked::Connector),
        });
        if self.rng.u8(0..6) == 0 {
            Intent::Correction(Some(Box::new(altered)))
        } else {
            altered
        }
    }

    fn statement(&mut self) -> Intent {
        let all = [
            Statement::Done,
            Statement::Proved,
            Statement::NotProved,
            Statement::Isolated,
            Statement::LockedOff,
            Statement::Dead,
            Statement::Dead,
            Statement::Live,
            Statement::Energised,
            Statement::Energised,
            Statement::Nulled,
            Statement::PolarityReversed,
            Statement::Tripped,
            Statement::Fail,
        ];
        let state = all[self.rng.usize(0..all.len())];
        match self.rng.u8(0..4) {
            0 => Intent::StatedAt {
                state,
                pair: Some(Pair::SINGLE_PHASE[self.rng.usize(0..3)]),
                place: None,
            },
            1 => Intent::Correction(Some(Box::new(Intent::Stated(state)))),
            _ => Intent::Stated(state),
        }
    }

    fn command(&mut self) -> Intent {
        let stages = [
            Stage::Isolation,
            Stage::Continuity,
            Stage::Insulation,
            Stage::Polarity,
            Stage::PutBack,
            Stage::Energise,
            Stage::ExternalLoop,
            Stage::LoopImpedance,
            Stage::Rcd,
        ];
        match self.rng.u8(0..16) {
            0..2 => Intent::Affirm,
            2..4 => Intent::Negative,
            4 => Intent::Disregard,
            5 => Intent::Correction(None),
            6..8 => Intent::Override(Some(Reason::Instructed)),
            8 if self.rng.bool() => Intent::StaysOff(self.rng.u16(1..5)),
            8 => Intent::Skip(Some(Reason::InUse)),
            9 if self.rng.bool() => Intent::Observe,
            9 => Intent::NotTested(Some(Reason::NoAccess)),
            10 => Intent::Circuit(self.rng.u16(1..5)),
            11 => Intent::Board(self.rng.u16(1..3)),
            12 => Intent::TestAt(TestVoltage::V500),
            13 => Intent::Pause,
            // Rarely, or every walk would end here.
            14 if self.rng.u8(0..20) == 0 => Intent::Finish,
            _ => Intent::GoTo(stages[self.rng.usize(0..stages.len())]),
        }
    }
}

/// What the events alone tell: which of the isolation was said, what is live, what is out.
#[derive(Default)]
struct Memory {
    said: BTreeMap<StepId, EventNo>,
    live: BTreeMap<u16, EventNo>,
    out: BTreeMap<EventNo, bool>,
    /// Whether each thing that ever was out is one that no reason lets stay.
    link: BTreeMap<EventNo, bool>,
    /// What each "back" put back, for when it is taken back.
    back: BTreeMap<EventNo, Vec<EventNo>>,
    /// The circuits that things are on, and those that stay off.
    on: BTreeMap<EventNo, (u16, u16)>,
    off: BTreeSet<(u16, u16)>,
    /// What was proposed to be back, and to have never been out, and not taken back since.
    asked: BTreeMap<EventNo, Vec<EventNo>>,
    never_out: BTreeMap<EventNo, EventNo>,
    last: Option<Timestamp>,
}

impl Memory {
    fn remember(
        &mut self,
        state: &Agenda,
        no: EventNo,
        event: &Event,
        now: Timestamp,
    ) -> Result<(), &'static str> {
        let away = self
            .last
            .map_or(SignedDuration::ZERO, |last| now.duration_since(last));
        self.last = Some(now);
        let plan = state.plan();
        match event {
            Event::Reading { step, .. } => {
                let step = plan.step(step).unwrap();
                let every = plan
                    .isolation(step.board)
                    .all(|s| self.said.contains_key(&s.id));
                if step.is_dead_test() && (!every || self.live.contains_key(&step.board)) {
                    return Err("a dead test on what was not said to be dead");
                }
                if step.is_live_test() && !self.live.contains_key(&step.board) {
                    return Err("a live test on what was not said to be energised");
                }
            }
            Event::Stated {
                step, statement, ..
            } => {
                let step = plan.step(step).unwrap();
                match statement {
                    Statement::NotProved => self.forget(state, step.board, false),
                    Statement::Energised => {
                        // What is on a circuit that stays off stays there, but for a link.
                        let alone =
                            |no: &EventNo| self.on.get(no).is_some_and(|on| self.off.contains(on));
                        let left = |(no, link): (&EventNo, &bool)| *link || !alone(no);
                        if self.out.iter().any(left) {
                            return Err("energised with something out");
                        }
                        self.live.insert(step.board, no);
                    }
                    _ if step.stage == Stage::Isolation => {
                        self.said.insert(step.id.clone(), no);
                    }
                    _ => {}
                }
            }
            Event::TakenOut {
                linked,
                part,
                board,
                circuit,
                ..
            } => {
                let link = *linked || matches!(part, Part::EarthingConductor | Part::Bond);
                if let Some(circuit) = circuit {
                    self.on.insert(no, (*board, *circuit));
                }
                self.out.insert(no, link);
                self.link.insert(no, link);
            }
            Event::PutBack { entries } => self.put_back(no, entries),
            Event::ProposedAllBack { entries } => {
                self.asked.insert(no, entries.clone());
            }
            Event::ProposedNeverOut { entry } => {
                self.never_out.insert(no, *entry);
            }
            Event::Affirmed { of, .. } => {
                let entries = self.asked.remove(of).unwrap_or_default();
                self.put_back(no, &entries);
                if let Some(entry) = self.never_out.remove(of) {
                    self.out.remove(&entry);
                }
            }
            Event::Withdrawn { of, .. } => {
                self.asked.remove(of);
                self.never_out.remove(of);
                self.out.remove(of);
                for entry in self.back.remove(of).into_iter().flatten() {
                    self.out.insert(entry, self.link[&entry]);
                }
                self.said.retain(|_, said| said != of);
                let was_live = self.live.iter().find(|(_, said)| *said == of);
                if let Some(board) = was_live.map(|(board, _)| *board) {
                    self.live.remove(&board);
                    self.forget(state, board, false);
                }
            }
            Event::VoltageFound { board, .. } => {
                self.asked.clear();
                self.never_out.clear();
                self.forget(state, *board, true);
            }
            Event::LockRemoved {
                board,
                to_energise: false,
            } => self.forget(state, *board, true),
            Event::StaysOff { board, circuit } => {
                self.off.insert((*board, *circuit));
            }
            Event::Moved { to, .. } => {
                let to = plan.step(to).unwrap();
                if let Some(circuit) = to.circuit {
                    self.off.remove(&(to.board, circuit));
                }
                if to.stage == Stage::Isolation {
                    self.live.remove(&to.board);
                    self.forget(state, to.board, true);
                }
            }
            Event::Resumed { .. } if away <= ABSENCE => {}
            Event::Resumed { .. } | Event::CameBack { .. } | Event::Unpaused => {
                for board in state.job().boards.iter().map(|b| b.number) {
                    if !self.live.contains_key(&board) {
                        self.forget(state, board, false);
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn put_back(&mut self, no: EventNo, entries: &[EventNo]) {
        // What somebody else put back meanwhile is not this one's to take back.
        let mut back = entries.to_vec();
        back.retain(|entry| self.out.remove(entry).is_some());
        self.back.insert(no, back);
    }

    /// Forgets that a board was proved dead, or all of its isolation.
    fn forget(&mut self, state: &Agenda, board: u16, all: bool) {
        for step in state.plan().isolation(board) {
            if all || step.kind.proves() {
                self.said.remove(&step.id);
            }
        }
    }
}

/// A small job goes from the first word to the last in the plain way, on every one of the jobs.
#[test]
fn every_job_can_be_done() {
    for name in JOBS {
        let world = World::of(name, 150);
        let (mut site, _) = Site::begin(world.job, "2026-11-25T09:30:00Z".parse().unwrap());
        site.plainly_to_the_end().unwrap();
        site.say(&Intent::Finish).unwrap();
        assert_eq!(site.state().mode(), Mode::Finished, "{name}");
        site.check_replay();
    }
}
