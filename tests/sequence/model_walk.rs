//! Model checking by random walk: whatever is said, in whatever order, no law is broken.
//!
//! Half of what is said is what the step asks for, so that a walk comes to energising and beyond, and a
//! fifth is drawn from the grammar of the step, both in words that go through the grammar; the rest
//! is readings, statements and alterations put together at random. `bothhands::sequence::invariants` is checked before every event; besides,
//! the laws are kept once more in the tests' own words, from the events alone ([`super::witness`]).
//!
//! ```sh
//! WALK=1000000 cargo test --release --test it model_walk -- --nocapture
//! ```

use crate::dialogues::plain::{Site, plain_answer};
use crate::dialogues::world::World;
use crate::sequence::begun::{Begins, Begun};
use crate::sequence::tries;
use crate::sequence::witness::Witness;
use bothhands::grammar::Intent;
use bothhands::quantity::{Conductors, Number, Pair, Reading, Relation, TestVoltage, Unit};
use bothhands::sequence::{Agenda, Event, EventNo, Mode, Session, StepKind, Turn, say};
use bothhands::terms::{
    Alteration, Change, HalfCycle, Parked, Part, Place, Reason, Stage, Statement,
};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, VecDeque};

const LENGTH: usize = 250;
/// How far a walk goes on that begins where somebody had come to.
pub const GOING_ON: usize = 25;
pub const JOBS: [&str; 10] = [
    "radial",
    "periodic",
    "ring",
    "boards",
    "three-phase",
    "together",
    "together-surge",
    "inspected",
    "minor-works",
    "live-retest",
];

/// Why a walk can't go on.
#[derive(Debug)]
pub enum Why {
    /// A law was broken, by the invariants or by the witness.
    Law(String),
    /// Words were not understood, or open steps not found.
    Other(#[expect(dead_code, reason = "shown where a walk fails")] String),
}

impl From<String> for Why {
    fn from(why: String) -> Self {
        Self::Other(why)
    }
}

#[test]
fn nothing_that_is_said_breaks_a_law() {
    let wanted: usize = std::env::var("WALK")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(20_000);
    let mut said = 0;
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    let worlds: Vec<World> = JOBS.iter().map(|name| World::of(name, 150)).collect();
    let begun = Begun::all(30);
    let begins = Begins::of(&begun, &[], |_| true);
    for seed in 0.. {
        if said >= wanted {
            break;
        }
        // Every other walk is led; each job is walked both ways, and half goes on with what was begun.
        let (mut walk, length) = if said % (4 * LENGTH) < 2 * LENGTH {
            let world = &worlds[(seed / 2) % worlds.len()];
            (Walk::begin(world, seed as u64), LENGTH)
        } else {
            (Walk::anywhere(&begins, seed as u64), GOING_ON)
        };
        walk.keeps_the_laws(length);
        said += length;
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

/// What the walk is led to say, or whether it is led to the end of what it found.
enum Led {
    To(Intent),
    ToTheEnd(bool),
}

pub struct Walk<'a> {
    world: &'a World,
    seed: u64,
    rng: fastrand::Rng,
    session: Session,
    now: Timestamp,
    events: Vec<(Event, Timestamp)>,
    witness: Witness,
    /// What is said next to get something done, whatever is asked for.
    bent_on: VecDeque<Intent>,
    /// Whether much happens in few words.
    hurried: bool,
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
            witness: Witness::default(),
            bent_on: VecDeque::new(),
            hurried: false,
        };
        walk.keep(turn).unwrap();
        walk
    }

    /// Goes on with any of these sessions, from anywhere in it.
    pub fn anywhere(begins: &Begins<'a>, seed: u64) -> Self {
        let (begun, turn) = begins.any(&mut fastrand::Rng::with_seed(seed));
        Self::go_on(begun, turn, seed)
    }

    /// Goes on with a session from where it stood after this turn.
    pub fn go_on(begun: &'a Begun, turn: usize, seed: u64) -> Self {
        let (stood, events, witness) = begun.stood(turn);
        Self {
            world: &begun.world,
            seed,
            rng: fastrand::Rng::with_seed(seed),
            session: stood.session.clone(),
            now: stood.at,
            events,
            witness,
            bent_on: VecDeque::new(),
            hurried: true,
        }
    }

    /// Says one thing more.
    ///
    /// # Errors
    /// Which law was broken, or which words were not understood.
    pub fn step(&mut self) -> Result<(), Why> {
        let seldom = if self.hurried { 150 } else { 400 };
        self.now += match self.rng.u32(0..seldom) {
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
            .map_err(|broken| Why::Law(format!("{said:?} would be {broken}")))?;
        self.keep(turn)?;
        let asked = self.witness.is_asked(self.session.state());
        asked.map_err(|why| Why::Law(why.to_owned()))
    }

    /// Says so many things, and breaks no law.
    pub fn keeps_the_laws(&mut self, things: usize) {
        for _ in 0..things {
            if let Err(why) = self.step().and_then(|()| Ok(self.check_found()?)) {
                self.fail(&format!("{why:?}"));
            }
        }
    }

    pub fn state(&self) -> &Agenda {
        self.session.state()
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

    fn keep(&mut self, turn: Turn) -> Result<(), Why> {
        for event in turn.events {
            let no = EventNo(self.events.len() as u64);
            let state = self.session.state();
            self.witness
                .hear(state, no, &event, self.now)
                .map_err(|why| Why::Law(format!("{why}: {event:?}")))?;
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
        if let Some(said) = self.bent_on.pop_front() {
            return Ok(said);
        }
        if self.hurried && self.rng.u8(0..6) == 0 {
            self.bent_on = tries::something(self.session.state(), &mut self.rng);
            if self.rng.u8(0..4) == 0 {
                let altered = self.alteration();
                self.bent_on.push_front(altered);
            }
            if let Some(said) = self.bent_on.pop_front() {
                return Ok(said);
            }
        }
        let waiting = matches!(
            self.session.state().mode(),
            Mode::Paused | Mode::StandingBy | Mode::Noting
        );
        if waiting && self.rng.u8(0..3) == 0 {
            let words = ["resume", "end of note"][self.rng.usize(0..2)];
            return self.understood(words);
        }
        let to_the_end = match self.led() {
            Led::To(said) => return Ok(said),
            Led::ToTheEnd(so) => so,
        };
        if self.hurried && self.rng.bool() {
            return self.plainly();
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

    /// In every other walk there are faults, and they are led to the end: by chance alone hardly one
    /// would come to energising, and none to what is rarely said where it matters.
    fn led(&mut self) -> Led {
        let state = self.session.state();
        let failed = |board: u16| state.failed_dead(board).next().is_some();
        let found = state.job().boards.iter().any(|board| failed(board.number));
        let Some(step) = state
            .current()
            .filter(|_| self.hurried || self.seed.is_multiple_of(2))
        else {
            return Led::ToTheEnd(false);
        };
        let (stage, kind, board) = (step.stage, step.kind, step.board);
        let behind_covers = state.job().inspection.as_ref().and_then(|inspection| {
            let mut items = inspection.all();
            items.find(|item| item.dead).map(|item| item.number)
        });
        let at_earth = kind == StepKind::InsulationFull && step.pair.is_some_and(Pair::to_earth);
        let out = state.open_entries().next().is_some();
        let chance = self.rng.u8(0..24);
        let said = match (stage, kind) {
            // Nor with something out.
            (_, StepKind::PutBack) => match chance {
                0..6 => Intent::Stated(Statement::Energised),
                6..8 => Intent::GoTo(Stage::Handover),
                8..10 => Intent::GoTo(Stage::LoopImpedance),
                _ => return Led::ToTheEnd(found),
            },
            (Stage::Energise | Stage::SupplyPolarity | Stage::Handover, _) if chance < 4 => {
                self.alteration()
            }
            (Stage::Energise | Stage::SupplyPolarity, _) if chance < 6 => {
                Intent::StaysOff(self.rng.u16(1..3))
            }
            (Stage::SupplyPolarity, _) if chance < 9 => Intent::Stated(Statement::PolarityReversed),
            (Stage::SupplyPolarity | Stage::ExternalLoop, _) if chance < 11 => self.further_on(),
            (Stage::Energise, _) if chance == 6 => Intent::GoTo(Stage::Handover),
            (Stage::Energise, _) if chance == 7 => Intent::Board(2),
            (Stage::Energise, StepKind::Energise) if chance == 8 => Intent::Stated(Statement::Live),
            (Stage::Energise, StepKind::Covers) if chance < 10 => {
                Intent::Stated(Statement::Energised)
            }
            (Stage::Energise, _) if found && chance < 12 => {
                Intent::Override(Some(Reason::Instructed))
            }
            (Stage::Energise, _) if found && chance < 21 => Intent::Observe,
            (Stage::Inspection, _) if self.hurried && chance < 2 => self.further_on(),
            (Stage::Isolation, _) if chance == 0 => Intent::Stated(Statement::Energised),
            (Stage::Isolation, _) if chance == 1 && board > 1 => {
                Intent::GoTo(Stage::SupplyPolarity)
            }
            (Stage::Isolation, _) if chance == 1 => match behind_covers {
                Some(number) => Intent::Inspected {
                    item: number,
                    state: Statement::Satisfactory,
                },
                None => return Led::ToTheEnd(found),
            },
            (Stage::LoopImpedance, StepKind::ReopenedPolarity) if chance < 6 => {
                Intent::Stated(Statement::PolarityReversed)
            }
            (Stage::MakeSafe, StepKind::MakeSafe) if chance < 6 => Intent::Finish,
            (Stage::MakeSafe, _) if chance < 6 => self.further_on(),
            (Stage::LoopImpedance | Stage::Functional, _) if chance == 0 => {
                Intent::GoTo(Stage::Handover)
            }
            _ if at_earth && chance < 3 => Intent::Reading {
                reading: Reading::exact("0.00".parse().unwrap()),
                place: None,
                half: None,
            },
            _ if out && self.rng.u8(0..60) == 0 => Intent::Finish,
            _ if self.hurried && chance == 23 => Intent::NotTested(Some(Reason::NoAccess)),
            (Stage::Insulation, _) if self.hurried && chance > 18 => {
                match tries::out_of_turn(self.session.state(), &mut self.rng) {
                    Some(said) => said,
                    None => return Led::ToTheEnd(found),
                }
            }
            _ => return Led::ToTheEnd(found),
        };
        Led::To(said)
    }

    /// To what comes later.
    fn further_on(&mut self) -> Intent {
        let stages = [
            Stage::SupplyPolarity,
            Stage::ExternalLoop,
            Stage::FaultCurrent,
            Stage::Energise,
            Stage::Handover,
        ];
        Intent::GoTo(stages[self.rng.usize(0..stages.len())])
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
            Stage::SupplyPolarity,
            Stage::FaultCurrent,
            Stage::Handover,
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
