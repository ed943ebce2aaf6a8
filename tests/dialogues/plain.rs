//! A session that is typed or answered in the plain way: sound wiring, everything put back.
//!
//! Nothing here knows of wording. Values come from the job file by the same formulas that a person
//! would use beforehand: IEC 60228 for conductors, the sum of Ze and R1+R2 for loops.

use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::{Circuit, Job};
use bothhands::limits::conductor::{Through, expected};
use bothhands::limits::{Earthing, RcdDelay, Tables};
use bothhands::quantity::{Celsius, Conductors, Reading, Relation, Unit};
use bothhands::sequence::invariants::Watch;
use bothhands::sequence::{
    Agenda, Ask, Event, Line, Quantity, Run, Session, Step, StepKind, Turn, place_of,
};
use bothhands::terms::{Alteration, Change, Delivery, Part, Place, Reason, Stage, Statement};
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

/// The grammar with the places of a job; made once for jobs that have the same.
pub fn grammar_of(job: &Job) -> Arc<Grammar> {
    static MADE: Mutex<BTreeMap<Vec<String>, Arc<Grammar>>> = Mutex::new(BTreeMap::new());
    let circuits = job.boards.iter().flat_map(|board| &board.circuits);
    let points = circuits.flat_map(|circuit| &circuit.points);
    let mut names: Vec<String> = points.map(|point| place_of(point).name).collect();
    names.sort();
    names.dedup();
    let made = MADE.lock().unwrap().get(&names).cloned();
    made.unwrap_or_else(|| {
        let new = Grammar::built_in().unwrap().with_places(&names).unwrap();
        let new = Arc::new(new);
        MADE.lock().unwrap().insert(names, Arc::clone(&new));
        new
    })
}

/// Between one utterance and the next.
const PACE: SignedDuration = SignedDuration::from_secs(8);

#[derive(Clone)]
pub struct Site {
    pub session: Session,
    /// Which run of the machine it is, when it is told.
    pub boot: Option<&'static str>,
    pub events: Vec<(Event, Timestamp)>,
    /// Everything that was said to the person of those events.
    pub said: Vec<String>,
    pub now: Timestamp,
    pub grammar: Option<Arc<Grammar>>,
    /// The session after each turn, where it is remembered.
    pub turns: Option<Vec<Stood>>,
}

/// A session as it stood after a turn.
#[derive(Clone)]
pub struct Stood {
    pub session: Session,
    /// How many events there were.
    pub events: usize,
    pub at: Timestamp,
}

impl Site {
    /// Begins the job; the lines are those of the first turn.
    pub fn begin(job: Job, now: Timestamp) -> (Self, Vec<Line>) {
        Self::begin_in(job, now, Delivery::default())
    }

    /// The same, with what is said worded so.
    pub fn begin_in(job: Job, now: Timestamp, delivery: Delivery) -> (Self, Vec<Line>) {
        let run = Run {
            delivery,
            ..Run::from("bothhands")
        };
        let (session, turn) = Session::begin(job, run, now).unwrap();
        let mut site = Self {
            session,
            boot: None,
            events: Vec::new(),
            said: Vec::new(),
            now,
            grammar: None,
            turns: None,
        };
        let lines = site.keep(turn);
        (site, lines)
    }

    /// Remembers the session as it stands, and after each turn to come.
    pub fn remember(&mut self) {
        self.turns = Some(vec![self.stands()]);
    }

    fn stands(&self) -> Stood {
        Stood {
            session: self.session.clone(),
            events: self.events.len(),
            at: self.now,
        }
    }

    /// The same, understanding typed words.
    pub fn typed(job: Job, now: Timestamp) -> (Self, Vec<Line>) {
        let grammar = grammar_of(&job);
        let (mut site, lines) = Self::begin(job, now);
        site.grammar = Some(grammar);
        (site, lines)
    }

    /// Types a line; `Err` when the grammar does not know it where the session is.
    pub fn type_in(&mut self, words: &str) -> Result<Vec<Line>, String> {
        let rule = self.session.rule();
        let grammar = self.grammar.as_ref().unwrap();
        let said = match self.session.understand_typed(grammar, words) {
            Some(said) => said,
            None if self.session.state().mode() == bothhands::sequence::Mode::Noting => {
                Intent::Note
            }
            None => return Err(format!("\"{words}\" is not in the rule <{rule}>")),
        };
        self.say(&said)
    }

    /// Says something; every event is checked against the invariants and applied.
    pub fn say(&mut self, said: &Intent) -> Result<Vec<Line>, String> {
        self.now += PACE;
        let turn = self
            .session
            .turn(said, self.now)
            .map_err(|broken| format!("{said:?} would be {broken}"))?;
        Ok(self.keep(turn))
    }

    pub fn unclear(&mut self, words: &str, other: Option<&str>) -> Vec<Line> {
        self.now += PACE;
        let turn = self.session.unclear(words, other, self.now);
        self.keep(turn)
    }

    /// The same, to try something else from here.
    pub fn fork(&self) -> Self {
        self.clone()
    }

    /// The program is stopped and the log taken up again.
    pub fn restart(&mut self) -> Vec<Line> {
        let events = self.events.iter().map(|(event, at)| (event, *at));
        let run = Run {
            by: "bothhands",
            boot: self.boot,
            delivery: self.state().delivery(),
            practice: None,
        };
        let (session, turn) = Session::resume(events, run, self.now).unwrap();
        self.session = session;
        self.keep(turn)
    }

    fn keep(&mut self, turn: Turn) -> Vec<Line> {
        let now = self.now;
        self.events
            .extend(turn.events.into_iter().map(|e| (e, now)));
        self.said
            .extend(turn.lines.iter().map(|line| line.text.clone()));
        if self.turns.is_some() {
            let stood = self.stands();
            self.turns.get_or_insert_default().push(stood);
        }
        turn.lines
    }

    pub fn state(&self) -> &Agenda {
        self.session.state()
    }

    /// Replays the events and compares with the live state, to the byte; checks the invariants
    /// again on the way.
    pub fn check_replay(&self) {
        let mut events = self.events.iter();
        let (first, at) = events.next().unwrap();
        let mut state = Agenda::open(first, *at).unwrap();
        let mut watch = Watch::over(&state);
        for (event, at) in events {
            watch.check(event, *at).unwrap();
            watch.apply(event, *at);
            state.apply(event, *at);
        }
        assert_eq!(
            serde_json::to_string(&state).unwrap(),
            serde_json::to_string(self.state()).unwrap(),
            "replaying the log gives another state"
        );
    }

    /// The step asked for now.
    pub fn asked(&self) -> String {
        self.state()
            .current()
            .map(|step| step.id.to_string())
            .unwrap_or_default()
    }

    /// Answers in the plain way until the step whose name ends so is asked for.
    pub fn plainly_to(&mut self, end: &str) -> Result<(), String> {
        for _ in 0..3_000 {
            if self.asked().ends_with(end) && self.state().question().is_none() {
                return Ok(());
            }
            if !self.plainly()? {
                break;
            }
        }
        Err(format!("never came to {end}; stands at {}", self.asked()))
    }

    /// Answers everything that is left.
    pub fn plainly_to_the_end(&mut self) -> Result<(), String> {
        for _ in 0..3_000 {
            if !self.plainly()? {
                return Ok(());
            }
        }
        Err(format!("never came to the end; stands at {}", self.asked()))
    }

    /// Answers what is asked now; false when nothing is.
    pub fn plainly(&mut self) -> Result<bool, String> {
        Ok(self.plain_turn()?.is_some())
    }

    /// The same; the lines said, nothing when nothing is asked.
    pub fn plain_turn(&mut self) -> Result<Option<Vec<Line>>, String> {
        let Some(said) = plain_answer(self.state()) else {
            return Ok(None);
        };
        let before = self.events.len();
        let step = self.asked();
        let lines = self.say(&said)?;
        let came = &self.events[before..];
        let refused = came
            .iter()
            .find(|(e, _)| matches!(e, Event::Refused { .. }));
        match refused {
            _ if came.is_empty() => Err(format!("{step}: {said:?} came to nothing")),
            Some((refused, _)) => Err(format!("{step}: {said:?} was refused: {refused:?}")),
            None => Ok(Some(lines)),
        }
    }
}

/// What a person says who does what is asked, on sound wiring.
pub fn plain_answer(state: &Agenda) -> Option<Intent> {
    if state.question().is_some() {
        return Some(Intent::Affirm);
    }
    let step = state.current()?;
    Some(match &step.ask {
        Ask::Statement(wanted) => Intent::Stated(*wanted.first()?),
        Ask::Reading(measure) if measure.quantity == Quantity::RcdHalf => {
            Intent::Stated(Statement::NoTrip)
        }
        // Equipment stays in: what was tested with the live conductors joined is all there is.
        Ask::Reading(measure)
            if measure.quantity == Quantity::Insulation && state.guard(step).is_err() =>
        {
            Intent::NotTested(Some(Reason::EquipmentCannotBeTakenOut))
        }
        Ask::Reading(_) => reading(state, step),
        Ask::Event => done(state, step),
    })
}

fn done(state: &Agenda, step: &Step) -> Intent {
    let line_and_earth = Part::Conductors(Conductors::L.with(Conductors::E));
    let board = Place {
        name: "board".to_owned(),
        number: None,
    };
    let (part, change, place) = match step.kind {
        StepKind::ContinuityLink => (line_and_earth, Change::Linked, Some(board)),
        StepKind::ContinuityUnlink => (line_and_earth, Change::Unlinked, None),
        StepKind::EarthingOff => (Part::EarthingConductor, Change::Out, None),
        StepKind::EarthingBack => (Part::EarthingConductor, Change::Back, None),
        StepKind::BondBack => (Part::Bond, Change::Back, step.place.clone()),
        StepKind::RingUncrossNeutral | StepKind::RingUncrossEarth => {
            (Part::Link, Change::Uncrossed, None)
        }
        StepKind::RingEndsBack => (Part::RingEnds, Change::Back, None),
        StepKind::InsulationUnlink | StepKind::InsulationReconnectedUnlink => {
            let link = state
                .open_entries()
                .find(|e| e.linked && e.circuit == step.circuit);
            (link.unwrap().part, Change::Unlinked, None)
        }
        StepKind::SurgeOut => {
            let place = Place {
                name: "surge protector".to_owned(),
                number: None,
            };
            (Part::Accessory, Change::Out, Some(place))
        }
        StepKind::PutBack => (Part::Everything, Change::Back, None),
        StepKind::InsulationClear => {
            let circuit = step
                .circuit
                .and_then(|number| state.circuit(step.board, number))
                .into_iter()
                .chain(
                    state
                        .board(step.board)
                        .into_iter()
                        .flat_map(|b| &b.circuits),
                );
            let place = circuit
                .flat_map(|circuit| &circuit.points)
                .filter(|point| point.sensitive.is_some())
                .map(place_of)
                .find(|place| {
                    !state
                        .sure_entries()
                        .any(|e| e.place.as_ref() == Some(place))
                });
            (Part::Accessory, Change::Out, place)
        }
        other => panic!("nobody knows what to do for {other}"),
    };
    Intent::Altered(Alteration {
        part,
        change,
        place,
        both: false,
        parked: None,
    })
}

/// What sound wiring reads there.
pub fn reading(state: &Agenda, step: &Step) -> Intent {
    let job = state.job();
    let measure = step.measure().unwrap();
    let circuit = step.circuit.and_then(|n| state.circuit(step.board, n));
    let of = |through, share| circuit.and_then(|c| ohms(job, state, step, c, through, share));
    let external = match job.supply.earthing {
        Earthing::Tt => 62.0,
        Earthing::TnS | Earthing::TnCS => job.supply.ze_ohms.map_or(0.2, |n| n.value()),
    };
    let leg = step.id.tail.rsplit('/').next();
    let ohms = |value: f64| format!("{value:.2}");
    let reading = match measure.quantity {
        Quantity::LeadsOpen => Reading::over_range(),
        Quantity::Insulation => exact("999").with_relation(Relation::Over),
        Quantity::LeadsShorted => exact("0.00"),
        Quantity::Bond => exact("0.03"),
        Quantity::R1R2 => exact(&ohms(
            of(Through::LineAndCpc, share(step, circuit)).unwrap_or(0.3),
        )),
        Quantity::R2 => exact(&ohms(of(Through::Cpc, share(step, circuit)).unwrap_or(0.2))),
        Quantity::RingEndToEnd if leg == Some("r2") => {
            exact(&ohms(of(Through::Cpc, 1.0).unwrap_or(0.67)))
        }
        Quantity::RingEndToEnd => exact(&ohms(of(Through::Line, 1.0).unwrap_or(0.4))),
        Quantity::RingLineNeutral => exact(&ohms(of(Through::LineAndNeutral, 0.25).unwrap_or(0.2))),
        Quantity::RingLineEarth => exact(&ohms(of(Through::LineAndCpc, 0.25).unwrap_or(0.27))),
        Quantity::ExternalLoop => exact(&ohms(external)),
        Quantity::LoopCheck => exact("0.50"),
        Quantity::RcdCheck => exact("25"),
        Quantity::FaultCurrent => exact(&ohms(0.23 / external.min(0.4))),
        Quantity::LoopImpedance => {
            let ring = circuit.is_some_and(|c| step.stage == Stage::LoopImpedance && is_ring(c));
            let share = match step.kind {
                _ if ring => 0.25,
                StepKind::ReopenedLoop => share(step, circuit),
                _ => 1.0,
            };
            exact(&ohms(
                external + of(Through::LineAndCpc, share).unwrap_or(0.3),
            ))
        }
        // Time-delayed, of several circuits.
        Quantity::RcdTime
            if state
                .group_of(step)
                .is_some_and(|rcd| rcd.delay == RcdDelay::S) =>
        {
            exact("210")
        }
        Quantity::RcdTime => exact("21"),
        Quantity::RcdFiveTimes | Quantity::Noted => exact("12"),
        Quantity::SupplyVoltage => exact(match measure.pair {
            Some(pair) if pair.from() == Conductors::N => "1",
            Some(pair) if !pair.to_earth() && pair.to() != Conductors::N => "400",
            _ => "231",
        }),
        Quantity::RcdHalf => exact("300").with_relation(Relation::Over),
    };
    Intent::Reading {
        reading: Reading {
            unit: None::<Unit>,
            ..reading
        },
        place: None,
        half: None,
    }
}

fn is_ring(circuit: &Circuit) -> bool {
    circuit.kind == bothhands::installation::CircuitKind::Ring
}

/// Points lie evenly along the cable.
fn share(step: &Step, circuit: Option<&Circuit>) -> f64 {
    let points: Vec<Place> = circuit
        .map(|c| c.points.iter().map(place_of).collect())
        .unwrap_or_default();
    match points.iter().position(|p| Some(p) == step.place.as_ref()) {
        Some(n) => (n + 1) as f64 / points.len() as f64,
        None => 1.0,
    }
}

fn ohms(
    job: &Job,
    state: &Agenda,
    step: &Step,
    circuit: &Circuit,
    through: Through,
    share: f64,
) -> Option<f64> {
    let board = state.board(step.board)?;
    let run = job.facts(board, circuit).cable?;
    let warm = Celsius::exact(job.site.ambient_celsius.unwrap_or(20.0));
    let value = expected(Tables::shipped(), &run, through, warm, share)?;
    Some(value.value.middle())
}

fn exact(number: &str) -> Reading {
    Reading::exact(number.parse().unwrap())
}
