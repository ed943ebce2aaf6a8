//! Sessions made without sound: what is said goes straight to [`Session::turn`], and the steps
//! are answered by themselves where the test says nothing else.

use bothhands::audio::{SAMPLE_RATE, Utterance};
use bothhands::grammar::Intent;
use bothhands::installation::{Accessory, CircuitKind, Job};
use bothhands::log::Log;
use bothhands::quantity::{Conductors, Reading, Relation, Unit};
use bothhands::sequence::{Ask, Event, Line, Mode, Quantity, Session, Step, StepKind, place_of};
use bothhands::store::{Evidence, NewEvent, Options, Store};
use bothhands::terms::{Alteration, Change, Part, Place, Statement};
use jiff::{SignedDuration, Timestamp};
use std::path::Path;
use std::sync::{Arc, Mutex};

pub struct Rehearsal {
    pub session: Session,
    pub events: Vec<(Event, Timestamp)>,
    pub now: Timestamp,
    pub pace: SignedDuration,
}

impl Rehearsal {
    pub fn of(job: Job) -> Self {
        let now: Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
        let (session, turn) = Session::begin(job, "bothhands 0.1.0", now).unwrap();
        Self {
            session,
            events: turn.events.into_iter().map(|e| (e, now)).collect(),
            now,
            pace: SignedDuration::from_secs(11),
        }
    }

    pub fn boathouse() -> Self {
        Self::of(Job::load(Path::new("tests/jobs/boathouse.toml")).unwrap())
    }

    pub fn say(&mut self, said: Intent) -> Vec<Line> {
        self.now += self.pace;
        let turn = self.session.turn(&said, self.now).unwrap();
        self.events
            .extend(turn.events.into_iter().map(|e| (e, self.now)));
        turn.lines
    }

    pub fn unclear(&mut self, words: &str, other: &str) {
        self.now += self.pace;
        let turn = self.session.unclear(words, Some(other), self.now);
        self.events
            .extend(turn.events.into_iter().map(|e| (e, self.now)));
    }

    /// Keeps the session as a log at `path`, each utterance with a tone for its sound.
    pub fn keep(&self, path: &Path, with_sound: bool) {
        let now = Arc::new(Mutex::new(self.events[0].1));
        let clock = Arc::clone(&now);
        let options = Options::new(bothhands::store::OpenMode::AppendOrCreate)
            .device("laptop")
            .clock(move || *clock.lock().unwrap());
        let mut store = Store::open_with(path, options).unwrap();
        let job = include_str!("../jobs/boathouse.toml");
        store.append(&[NewEvent::job(job).unwrap()], None).unwrap();
        // What one utterance brought is kept together, with one sound.
        for (n, turn) in self.events.chunk_by(|a, b| a.1 == b.1).enumerate() {
            *now.lock().unwrap() = turn[0].1;
            let evidence = (with_sound && n > 0).then(|| tone(n, &turn[0].0));
            let kept: Vec<_> = turn
                .iter()
                .map(|(event, _)| NewEvent::new(event.kind(), 1, event).unwrap())
                .collect();
            store.append(&kept, evidence.as_ref()).unwrap();
        }
    }

    pub fn log(&self) -> Log {
        Log::of(self.events.clone())
    }

    pub fn at(&self) -> Option<String> {
        self.session
            .state()
            .current()
            .map(|step| step.id.to_string())
    }

    /// Answers steps until the one whose name ends so is asked for.
    pub fn until(&mut self, end: &str) {
        for _ in 0..500 {
            if self.at().is_some_and(|id| id.ends_with(end)) {
                return;
            }
            assert!(self.answer(), "never came to {end}");
        }
        let last = self.events.len().saturating_sub(6);
        panic!("never came to {end}: {:?}", &self.events[last..]);
    }

    /// Answers every step that is left, and finishes.
    pub fn finish_it(&mut self) {
        for _ in 0..20_000 {
            if !self.answer() {
                break;
            }
        }
        let lines = self.say(Intent::Finish);
        if self.session.state().question().is_some() {
            self.say(Intent::Affirm);
        }
        assert_eq!(self.session.state().mode(), Mode::Finished, "{lines:?}");
    }

    /// Answers what is asked now as it should be; nothing when nothing is asked.
    pub fn answer(&mut self) -> bool {
        if self.session.state().question().is_some() {
            self.say(Intent::Affirm);
            return true;
        }
        let Some(step) = self.session.state().current().cloned() else {
            return false;
        };
        let before = self.events.len();
        let said = match &step.ask {
            Ask::Statement(wanted) => Intent::Stated(wanted[0]),
            Ask::Reading(measure) if measure.quantity == Quantity::RcdHalf => {
                Intent::Stated(Statement::NoTrip)
            }
            Ask::Reading(_) => self.usual(&step),
            Ask::Event => self.happens(&step),
        };
        self.say(said.clone());
        let came = &self.events[before..];
        let refused = came
            .iter()
            .any(|(event, _)| matches!(event, Event::Refused { .. }));
        assert!(
            !came.is_empty() && !refused,
            "{} was not answered by {said:?}: {came:?}",
            step.id
        );
        true
    }

    /// A reading such as sound wiring gives.
    fn usual(&self, step: &Step) -> Intent {
        let measure = step.measure().unwrap();
        let circuit = step.circuit.unwrap_or(0);
        let text = match measure.quantity {
            Quantity::LoopCheck => "0.50",
            Quantity::RcdCheck => "25",
            Quantity::LeadsOpen => return reading(Reading::over_range()),
            Quantity::Insulation => {
                return reading(Reading {
                    relation: Relation::Over,
                    ..exact("999")
                });
            }
            Quantity::LeadsShorted => "0.02",
            Quantity::Bond => "0.03",
            Quantity::R1R2 | Quantity::R2 => ["0.31", "0.48", "0.27", "0.78", "0.21", "0.9"]
                .get(usize::from(circuit.saturating_sub(1)))
                .unwrap_or(&"0.35"),
            Quantity::RingEndToEnd => match step.id.tail.rsplit('/').next() {
                Some("r2") => "0.67",
                _ => "0.40",
            },
            Quantity::RingLineNeutral => "0.20",
            Quantity::RingLineEarth => "0.26",
            Quantity::ExternalLoop => "0.21",
            Quantity::FaultCurrent => "1.1",
            Quantity::LoopImpedance => "0.52",
            Quantity::RcdTime => "21",
            Quantity::SupplyVoltage if step.pair == "N-E".parse().ok() => "1",
            Quantity::SupplyVoltage => "231",
            Quantity::RcdHalf | Quantity::RcdFiveTimes | Quantity::Noted => "12",
        };
        reading(exact(text))
    }

    /// What lets a step go on that waits for something to be done.
    fn happens(&self, step: &Step) -> Intent {
        let line_and_earth = Part::Conductors(Conductors::L.with(Conductors::E));
        match step.kind {
            StepKind::ContinuityLink => altered(line_and_earth, Change::Linked, Some(board())),
            StepKind::ContinuityUnlink => altered(line_and_earth, Change::Unlinked, Some(board())),
            StepKind::EarthingOff => altered(Part::EarthingConductor, Change::Out, None),
            StepKind::EarthingBack => altered(Part::EarthingConductor, Change::Back, None),
            StepKind::PutBack => altered(Part::Everything, Change::Back, None),
            StepKind::InsulationClear => {
                let state = self.session.state();
                let circuit = state.circuit(step.board, step.circuit.unwrap()).unwrap();
                let out = |place: &Place| {
                    state
                        .open_entries()
                        .any(|e| e.place.as_ref() == Some(place))
                };
                let place = circuit
                    .points
                    .iter()
                    .filter(|point| point.sensitive.is_some())
                    .map(place_of)
                    .find(|place| !out(place))
                    .unwrap_or_else(|| place_of(&circuit.points[0]));
                let goes_on = circuit.kind == CircuitKind::Ring
                    || circuit
                        .points
                        .iter()
                        .any(|p| p.feeds_on && place_of(p) == place);
                let out = altered(Part::Conductors(Conductors::N), Change::Out, Some(place));
                if goes_on { both(out) } else { out }
            }
            StepKind::BondBack => altered(Part::Bond, Change::Back, step.place.clone()),
            StepKind::RingUncrossNeutral | StepKind::RingUncrossEarth => {
                altered(Part::Link, Change::Uncrossed, None)
            }
            StepKind::RingEndsBack => altered(Part::RingEnds, Change::Back, None),
            StepKind::InsulationUnlink | StepKind::InsulationReconnectedUnlink => {
                let mut open = self.session.state().open_entries();
                let link = open.find(|e| e.linked && e.circuit == step.circuit);
                altered(link.unwrap().part, Change::Unlinked, None)
            }
            other => panic!("nobody knows what to do for {other}"),
        }
    }
}

/// A session of so many circuits, twelve points on each, in which every third reading is put right.
pub fn large(circuits: u16) -> Rehearsal {
    let text = include_str!("../jobs/boathouse.toml");
    let mut job = bothhands::installation::Job::parse(text, "boathouse.toml").unwrap();
    let few = job.boards[0].circuits.clone();
    job.boards[0].circuits = (0..circuits)
        .map(|n| {
            let mut circuit = few[usize::from(n) % few.len()].clone();
            circuit.number = n + 1;
            let number = |point: &Accessory| point.number.unwrap_or(0);
            let mut last = circuit.points.iter().map(number).max().unwrap_or(0);
            while let Some(point) = circuit.points.last().filter(|_| circuit.points.len() < 12) {
                last += 1;
                let another = Accessory {
                    number: Some(last),
                    sensitive: None,
                    ..point.clone()
                };
                circuit.points.push(another);
            }
            circuit
        })
        .collect();
    let mut r = Rehearsal::of(job);
    let mut readings = 0;
    while r.answer() {
        if let Some((Event::Reading { reading, .. }, _)) = r.events.last()
            && r.session.state().question().is_none()
        {
            readings += 1;
            if readings % 3 == 0 {
                let again = self::reading(*reading);
                r.say(Intent::Correction(Some(Box::new(again))));
            }
        }
    }
    r.finish_it();
    r
}

pub fn exact(number: &str) -> Reading {
    Reading::exact(number.parse().unwrap())
}

pub fn reading(reading: Reading) -> Intent {
    Intent::Reading {
        reading,
        place: None,
        half: None,
    }
}

pub fn megohms(number: &str) -> Intent {
    reading(exact(number).in_unit(Unit::MegOhm))
}

pub fn altered(part: Part, change: Change, place: Option<Place>) -> Intent {
    Intent::Altered(Alteration {
        part,
        change,
        place,
        both: false,
        parked: None,
    })
}

/// Both conductors of the kind, kept joined.
pub fn both(said: Intent) -> Intent {
    match said {
        Intent::Altered(alteration) => Intent::Altered(Alteration {
            both: true,
            ..alteration
        }),
        other => other,
    }
}

pub fn board() -> Place {
    Place {
        name: "board".to_owned(),
        number: None,
    }
}

pub fn socket(number: u16) -> Place {
    Place {
        name: "socket".to_owned(),
        number: Some(number),
    }
}

/// A quarter of a second of a tone, told apart by its pitch and, to the byte, by a hiss of its own.
pub fn tone(n: usize, event: &Event) -> Evidence {
    let pitch = 200.0 + (n % 40) as f32 * 10.0;
    let mut hiss = fastrand::Rng::with_seed(n as u64);
    let samples = (0..SAMPLE_RATE / 4)
        .map(|i| {
            let tone = (i as f32 * pitch * std::f32::consts::TAU / SAMPLE_RATE as f32).sin();
            0.3 * tone + 0.004 * (hiss.f32() - 0.5)
        })
        .collect();
    let utterance = Utterance {
        samples,
        start: n as u64 * u64::from(SAMPLE_RATE),
        speech_end: n as u64 * u64::from(SAMPLE_RATE),
    };
    let heard = serde_json::json!({
        "runner_up": "two nine five",
        "scores": { "fit": -0.21, "margin": 3.4, "phones": 12 },
    });
    let words = match event {
        Event::Reading { reading, .. } => {
            bothhands::sequence::say::value(reading, bothhands::terms::Wording::Radio)
        }
        other => other.kind().replace('-', " "),
    };
    Evidence::new(&utterance, &words, &heard).unwrap()
}
