//! Sessions in which half of what is said is the plain answer and the rest is drawn at random, kept
//! as logs. The same seed gives the same session.

use crate::dialogues::plain::plain_answer;
use crate::dialogues::world::World;
use bothhands::grammar::Intent;
use bothhands::quantity::{Conductors, Reading, Relation};
use bothhands::sequence::{Event, EventNo, Mode, ReadingStatus, Session, correct_at_desk};
use bothhands::store::{self, Evidence, NewEvent, Options, Store};
use bothhands::terms::{Alteration, Change, Part, Reason, Statement};
use jiff::{SignedDuration, Timestamp};
use std::path::Path;
use std::sync::{Arc, Mutex};

/// Sentences drawn from each rule of the grammar.
pub const SENTENCES: usize = 60;
pub const JOBS: [&str; 5] = ["radial", "periodic", "ring", "boards", "three-phase"];

impl World {
    /// The first `length` events of a session, with their times.
    pub fn session(&self, seed: u64, length: usize) -> Vec<(Event, Timestamp)> {
        let mut rng = fastrand::Rng::with_seed(seed);
        let mut now: Timestamp = "2026-11-25T08:00:00Z".parse().unwrap();
        now += SignedDuration::from_hours(i64::try_from(seed % 5000).unwrap());
        let (mut session, turn) = Session::begin(self.job.clone(), "bothhands walk", now).unwrap();
        let mut events: Vec<_> = turn.events.into_iter().map(|event| (event, now)).collect();
        while events.len() < length {
            now += match rng.u32(0..300) {
                0 => SignedDuration::from_mins(20),
                _ => SignedDuration::from_millis(rng.i64(3_000..12_000)),
            };
            // Now and then somebody goes to the desk, puts a reading right, and comes back.
            if rng.u32(0..40) == 0
                && let Some(event) = self.at_desk(&session, &mut rng)
            {
                events.push((event, now));
                let so_far = events.iter().map(|(event, at)| (event, *at));
                let (resumed, turn) = Session::resume(so_far, "bothhands walk", now).unwrap();
                session = resumed;
                events.extend(turn.events.into_iter().map(|event| (event, now)));
                continue;
            }
            let said = self.something(&session, &mut rng);
            let turn = session.turn(&said, now).unwrap_or_else(|why| {
                panic!(
                    "seed {seed}, after {} events, {said:?}: {why}",
                    events.len()
                )
            });
            events.extend(turn.events.into_iter().map(|event| (event, now)));
        }
        events.truncate(length);
        events
    }

    fn at_desk(&self, session: &Session, rng: &mut fastrand::Rng) -> Option<Event> {
        let state = session.state();
        let standing: Vec<EventNo> = state
            .readings()
            .filter(|kept| {
                matches!(
                    kept.status,
                    ReadingStatus::Counts | ReadingStatus::Questioned
                )
            })
            .map(|kept| kept.no)
            .collect();
        let of = *rng.choice(&standing)?;
        let right = Reading {
            relation: Relation::Exact,
            number: Some(rng.choice(["0.21", "0.5", "12", "299"])?.parse().unwrap()),
            ..state.reading(of)?.reading
        };
        correct_at_desk(state, of, &right, "misread in the notebook").ok()
    }

    fn something(&self, session: &Session, rng: &mut fastrand::Rng) -> Intent {
        let state = session.state();
        if matches!(state.mode(), Mode::Paused | Mode::StandingBy | Mode::Noting) {
            let awake = [Intent::Resume, Intent::CarryOn, Intent::EndOfNote];
            return rng.choice(&awake).unwrap().clone();
        }
        match rng.u8(0..32) {
            0..20 => plain_answer(state).unwrap_or(Intent::WhereAreWe),
            20..23 => rng
                .choice(&self.heard[session.rule()])
                .map_or(Intent::WhatIsOut, |(_, said)| said.clone()),
            23 => {
                let right = Intent::Reading {
                    reading: Self::reading(rng),
                    place: None,
                    half: None,
                };
                match rng.u8(0..3) {
                    0 => Intent::Correction(Some(Box::new(right))),
                    _ => right,
                }
            }
            24..26 => self.alteration(rng),
            26 => Intent::Affirm,
            27 => {
                let back = [
                    Intent::Negative,
                    Intent::Disregard,
                    Intent::Correction(None),
                ];
                rng.choice(&back).unwrap().clone()
            }
            28 => Intent::Override(Some(Reason::Instructed)),
            29 => Intent::Stated(
                *rng.choice(&[Statement::Live, Statement::Energised])
                    .unwrap(),
            ),
            30 => Intent::NotTested(Some(Reason::NoAccess)),
            _ => Intent::Altered(Alteration {
                part: Part::Everything,
                change: Change::Back,
                place: None,
                both: false,
                parked: None,
            }),
        }
    }

    fn reading(rng: &mut fastrand::Rng) -> Reading {
        let numbers = [
            "0.00", "0.05", "0.45", "0.5", "5", "20", "230", "299", "999",
        ];
        let number = rng.choice(numbers).unwrap().parse().unwrap();
        let relations = [Relation::Exact, Relation::Over, Relation::Under];
        match rng.u8(0..8) {
            0 => Reading::over_range(),
            _ => Reading::exact(number).with_relation(*rng.choice(&relations).unwrap()),
        }
    }

    fn alteration(&self, rng: &mut fastrand::Rng) -> Intent {
        let parts = [
            Part::Conductors(Conductors::N),
            Part::Conductors(Conductors::L.with(Conductors::N)),
            Part::Accessory,
            Part::Lamp,
            Part::Switch,
            Part::EarthingConductor,
        ];
        let changes = [Change::Out, Change::Out, Change::Back, Change::Linked];
        Intent::Altered(Alteration {
            part: *rng.choice(&parts).unwrap(),
            change: *rng.choice(&changes).unwrap(),
            place: rng.choice(&self.places).cloned(),
            both: rng.bool(),
            parked: None,
        })
    }

    /// Keeps a session as a log; every `nth` turn with a sound, none when it is 0.
    pub fn keep(&self, events: &[(Event, Timestamp)], path: &Path, nth: usize) {
        let now = Arc::new(Mutex::new(events[0].1));
        let clock = Arc::clone(&now);
        let options = Options::new(store::OpenMode::AppendOrCreate)
            .device("van laptop")
            .clock(move || *clock.lock().unwrap());
        let mut log = Store::open_with(path, options).unwrap();
        log.append(&[NewEvent::job(&self.text).unwrap()], None)
            .unwrap();
        for (n, turn) in events.chunk_by(|a, b| a.1 == b.1).enumerate() {
            *now.lock().unwrap() = turn[0].1;
            let kept: Vec<_> = turn
                .iter()
                .map(|(event, _)| NewEvent::new(event.kind(), 1, event).unwrap())
                .collect();
            let sound = (nth > 0 && n % nth == 0).then(|| self.sound(path, n));
            log.append(&kept, sound.as_ref()).unwrap();
        }
    }

    fn sound(&self, path: &Path, n: usize) -> Evidence {
        let seed = path.to_string_lossy().bytes().map(u64::from).sum::<u64>();
        crate::keeping::clip("socket three nought point four one", seed * 1000 + n as u64)
    }
}
