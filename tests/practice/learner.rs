//! A learner who does what each step needs, in words, by a table of this file's own; and may have a habit.

use crate::looking_back::rehearsal::tone;
use bothhands::dialogue::grammar_for;
use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::{Circuit, Job, Phases};
use bothhands::log::{self, Log};
use bothhands::marking::{Criteria, Economy, Sheet, mark};
use bothhands::practice::{Bench, Hidden};
use bothhands::quantity::{Conductors, Reading, Relation};
use bothhands::sequence::{
    Ask, Event, Line, Mode, OutEntry, Question, Run, Session, Step, StepKind, Turn, place_of,
};
use bothhands::store::{Options, Store};
use bothhands::terms::{
    Alteration, Change, Consequence, Delivery, HiddenFault, Level, Part, Place, Practice, Shown,
    Stage,
};
use jiff::{SignedDuration, Timestamp};
use std::path::Path;
use std::sync::{Arc, Mutex};

pub const JOB: &str = include_str!("bay.toml");

/// What a learner does wrongly, each time that he can.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Habit {
    DoesNotIsolate,
    DoesNotProveAgain,
    ProvesOnePair,
    LeadsNotNulled,
    RingNotCrossed,
    OneNeutralOfTwoBack,
    ElectronicsLeftIn,
    BondLeftOff,
    DecimalPlaceOff,
    SkipsPolarity,
    DoesNotTryTheIndicator,
    DoesNotJoinTheLeads,
    DoesNotProbePolarity,
}

/// A practice in progress.
pub struct Learner {
    pub session: Session,
    pub bench: Bench,
    pub grammar: Grammar,
    pub now: Timestamp,
    pub events: Vec<(Event, Timestamp)>,
    pub habit: Option<Habit>,
    pub diary: Vec<String>,
    /// What is named at the end.
    pub diagnosis: Vec<String>,
    /// Whether value and limit are said before each reading.
    pub predicts: bool,
    /// The limit that is said each time.
    pub limit: String,
    /// What the instrument showed last.
    shown: Option<Shown>,
    /// Whether a display is waited for until it stands still.
    pub patient: bool,
    moving: bool,
    /// Whether a test has tripped something that was not switched on again.
    tripped: bool,
    done: Vec<String>,
}

impl Learner {
    pub fn begin(job: &str, hidden: Hidden, level: Level, habit: Option<Habit>) -> Self {
        let job = Job::parse(job, "bay.toml").unwrap();
        Self::begin_as(job, hidden, level, false, habit)
    }

    /// A learner of this name, at the usual job.
    pub fn named(learner: &str, hidden: Hidden, level: Level, habit: Option<Habit>) -> Self {
        let job = Job::parse(JOB, "bay.toml").unwrap();
        Self::begin_by(learner, job, hidden, level, false, habit)
    }

    pub fn begin_as(
        job: Job,
        hidden: Hidden,
        level: Level,
        predict: bool,
        habit: Option<Habit>,
    ) -> Self {
        Self::begin_by("A. Learner", job, hidden, level, predict, habit)
    }

    fn begin_by(
        learner: &str,
        job: Job,
        hidden: Hidden,
        level: Level,
        predict: bool,
        habit: Option<Habit>,
    ) -> Self {
        let (grammar, _) = grammar_for(&job, false, true).unwrap();
        let bench = Bench::of(&job, hidden).unwrap();
        let practice = Practice {
            learner: learner.to_owned(),
            level,
            predict,
            simulated: Some(bench.hidden().seal()),
        };
        let now: Timestamp = "2026-11-27T09:00:00Z".parse().unwrap();
        let run = Run {
            by: "a test",
            boot: None,
            delivery: Delivery::default(),
            practice: Some(&practice),
        };
        let (session, turn) = Session::begin(job, run, now).unwrap();
        let events = turn.events.into_iter().map(|event| (event, now)).collect();
        Self {
            session,
            bench,
            grammar,
            now,
            events,
            habit,
            diary: Vec::new(),
            diagnosis: vec!["there is no fault".to_owned()],
            predicts: false,
            limit: "there is no limit".to_owned(),
            shown: None,
            patient: true,
            moving: false,
            tripped: false,
            done: Vec::new(),
        }
    }

    /// Says something, and gives what is answered.
    pub fn say(&mut self, words: &str) -> Vec<Line> {
        self.now += SignedDuration::from_secs(7);
        let said = self
            .session
            .understand_typed(&self.grammar, words)
            .unwrap_or_else(|| {
                panic!(
                    "`{words}` is not understood at {:?}\n{}",
                    self.session.state().current().map(|step| &step.id),
                    self.diary.join("\n")
                )
            });
        let before = self.session.clone();
        self.diary.push(format!("> {words}"));
        let turn = if Bench::answers(&said) {
            let answer = self
                .bench
                .answer(self.session.state(), &said, self.now)
                .unwrap_or_else(|why| panic!("{words}: {why}"));
            if let Event::Probed { shown, came, .. } = &answer {
                self.shown = Some(*shown);
                self.moving = came.contains(&Consequence::Settling);
                self.tripped |= came.iter().any(|came| {
                    matches!(
                        came,
                        Consequence::Tripped { .. } | Consequence::TrippedSeveral { .. }
                    )
                });
            }
            self.session.practised(answer, self.now)
        } else {
            self.session.turn(&said, self.now).unwrap()
        };
        let mut lines = self.took(&before, turn);
        if let Some(event) = self.bench.came(self.session.state()) {
            let before = self.session.clone();
            let turn = self.session.practised(event, self.now);
            lines.extend(self.took(&before, turn));
        }
        lines
    }

    fn took(&mut self, before: &Session, turn: Turn) -> Vec<Line> {
        self.bench.follow(before.state(), &turn.events, self.now);
        self.events
            .extend(turn.events.iter().map(|event| (event.clone(), self.now)));
        self.diary
            .extend(turn.lines.iter().map(|line| format!("  {}", line.text)));
        turn.lines
    }

    /// Switches on again what a test has tripped.
    fn reset(&mut self) {
        if std::mem::take(&mut self.tripped) {
            self.say("r c d on again");
        }
    }

    /// What the step that is asked for is called.
    pub fn step_tail(&self) -> String {
        self.step().map(|step| step.id.tail).unwrap_or_default()
    }

    /// Does what is asked for until a step is.
    pub fn go_to(&mut self, step_tail: &str) {
        while self.step_tail() != step_tail {
            self.go_on();
        }
    }

    /// Does what is asked for now.
    pub fn go_on(&mut self) {
        if self.session.state().question().is_some() {
            self.answer_what_is_asked();
        } else if let Some(step) = self.step() {
            self.go(&step);
        }
    }

    /// What the instrument shows, in words.
    pub fn shown_words(&self) -> String {
        let Some(Shown::Value(reading)) = self.shown else {
            panic!("{:?}", self.shown);
        };
        Intent::Reading {
            reading,
            place: None,
            half: None,
        }
        .words()
    }

    fn step(&self) -> Option<Step> {
        self.session.state().current().cloned()
    }

    /// Whether a habit bites here, which it does once for each `what`.
    fn bites(&mut self, habit: Habit, what: &str) -> bool {
        if self.habit != Some(habit) || self.done.iter().any(|done| done == what) {
            return false;
        }
        self.done.push(what.to_owned());
        true
    }

    fn alter(&mut self, entry: &OutEntry, change: Change) {
        let words = Intent::Altered(Alteration {
            part: match entry.part {
                Part::Crossing(conductors) => Part::Conductors(conductors),
                part => part,
            },
            change,
            place: entry.place.clone().filter(|_| {
                !matches!(
                    entry.part,
                    Part::Link | Part::Bond | Part::EarthingConductor
                )
            }),
            both: entry.both,
            parked: None,
        })
        .words();
        self.say(&words);
    }

    /// Does what was ordered, and says so.
    fn do_what_is_ordered(&mut self) {
        let ordered: Vec<OutEntry> = self
            .session
            .state()
            .ordered_entries()
            .map(|(entry, _)| entry.clone())
            .collect();
        let ring_ends = ordered.iter().filter(|entry| entry.is_ring_end()).count() > 1;
        if ring_ends {
            self.say("ring ends out");
            return;
        }
        for entry in ordered {
            if matches!(entry.part, Part::Crossing(_)) && self.habit == Some(Habit::RingNotCrossed)
            {
                continue;
            }
            let change = match (entry.part, entry.linked) {
                (Part::Crossing(_), _) => Change::Crossed,
                (_, true) => Change::Linked,
                _ => Change::Out,
            };
            self.alter(&entry, change);
        }
    }

    /// Says the value that the instrument shows.
    fn read_out(&mut self, step: &Step) {
        if step.kind == StepKind::RcdHalf && matches!(self.shown, Some(Shown::Tripped(_))) {
            self.say("tripped");
            self.answer_what_is_asked();
            return;
        }
        let reading = match self.shown.unwrap() {
            Shown::Value(reading) | Shown::Live(reading) | Shown::Tripped(reading) => reading,
            Shown::NoTrip => {
                self.say("no trip");
                self.answer_what_is_asked();
                return;
            }
            // Nothing comes round the loop.
            Shown::NoSupply => Reading::over_range(),
            other => panic!("{:?} at {:?}\n{}", other, step.id, self.diary.join("\n")),
        };
        let mut reading = Reading {
            pair: None,
            at: None,
            ..reading
        };
        if reading.relation == Relation::Exact
            && reading.number.is_some_and(|n| n.value() > 0.0)
            && step.stage == Stage::Continuity
            && self.bites(Habit::DecimalPlaceOff, "decimal")
        {
            // Ten times what is shown.
            let ten = reading.number.unwrap().value() * 10.0;
            reading.number = Some(format!("{ten:.1}").parse().unwrap());
        }
        let words = Intent::Reading {
            reading,
            place: None,
            half: None,
        }
        .words();
        self.say(&words);
        self.answer_what_is_asked();
    }

    /// A reading that surprises is what it is.
    fn answer_what_is_asked(&mut self) {
        for _ in 0..4 {
            let words = match self.session.state().question() {
                None => return,
                Some(Question::IfOut(..)) => "affirm",
                Some(Question::Reading(no)) => {
                    let state = self.session.state();
                    let load = state.reading(*no).and_then(|record| record.doubt)
                        == Some(bothhands::sequence::Doubt::LoadOrShort);
                    if load { "load out" } else { "affirm" }
                }
                Some(_) => "affirm",
            };
            self.say(words);
        }
    }

    fn measure(&mut self, step: &Step) {
        let place = step
            .place
            .as_ref()
            .filter(|place| **place != Place::board() && **place != Circuit::far_end());
        let at = place.map(|place| {
            Intent::StatedAt {
                state: bothhands::terms::Statement::Done,
                pair: None,
                place: Some(place.clone()),
            }
            .words()
            .trim_start_matches("done ")
            .to_owned()
        });
        let at = at.unwrap_or_default();
        let pair = step
            .measure()
            .and_then(|measure| measure.pair)
            .or(step.pair)
            .map(|pair| pair.spoken());
        let probing = match step.kind {
            StepKind::LeadsOpen => "probe leads apart".to_owned(),
            StepKind::LeadsJoined => "probe leads together".to_owned(),
            StepKind::Bond => "probe bond".to_owned(),
            StepKind::TesterCheck => "probe reference".to_owned(),
            StepKind::RingEndToEnd => {
                let conductor = step.conductor.unwrap();
                let word = if conductor == Conductors::E {
                    "c p c".to_owned()
                } else {
                    conductor.spoken()
                };
                format!("probe {word} end to end")
            }
            StepKind::RingCrossedNeutral => format!("probe line to neutral {at}"),
            StepKind::RingCrossedEarth => format!("probe line to earth {at}"),
            _ => match &pair {
                Some(pair) => format!("probe {pair} {at}"),
                None => format!("probe line to earth {at}"),
            },
        };
        if self.predicts && self.session.state().to_predict(&step.id).is_some() {
            self.say("i expect one point five");
            let limit = self.limit.clone();
            self.say(&limit);
        }
        self.say(probing.trim());
        while self.patient && self.moving {
            self.say("what does it show");
        }
        self.read_out(step);
        self.reset();
    }

    /// Goes on until the session is finished; what the last prompts were is in the diary.
    pub fn go_to_the_end(&mut self) {
        let mut been: Vec<bothhands::sequence::StepId> = Vec::new();
        for _ in 0..600 {
            if self.session.state().mode() == Mode::Finished {
                self.reveal();
                return;
            }
            if self.session.state().question().is_some() {
                self.answer_what_is_asked();
                continue;
            }
            match self.step() {
                // What is wrong can't be put right here: he names it, and stops.
                Some(step) if been.iter().filter(|id| **id == step.id).count() > 4 => {
                    self.finish();
                    been.clear();
                }
                Some(step) => {
                    been.push(step.id.clone());
                    self.go(&step);
                }
                None => self.finish(),
            }
        }
        panic!("no end:\n{}", self.diary.join("\n"));
    }

    fn finish(&mut self) {
        for words in self.diagnosis.clone() {
            self.say(&words);
        }
        self.say("finish the session");
        self.answer_what_is_asked();
    }

    pub fn reveal(&mut self) {
        let hidden = self.bench.hidden().clone();
        let turn = self.session.revealed(hidden.faults, hidden.salt, self.now);
        self.events
            .extend(turn.events.into_iter().map(|event| (event, self.now)));
    }

    fn go(&mut self, step: &Step) {
        let kind = step.kind;
        if kind == StepKind::Isolate && self.bites(Habit::DoesNotIsolate, "isolate") {
            self.say("go to insulation");
            self.say("probe insulation at five hundred volts line to neutral at board");
        }
        if kind == StepKind::ProveAfter && self.bites(Habit::DoesNotProveAgain, "prove") {
            self.say("go to continuity");
        }
        if kind == StepKind::ProveDead && self.bites(Habit::ProvesOnePair, "pair") {
            self.say("go to continuity");
        }
        if kind == StepKind::LeadsJoined && self.habit == Some(Habit::LeadsNotNulled) {
            self.say("not tested reason no time");
            return;
        }
        if kind == StepKind::BondBack && self.bites(Habit::BondLeftOff, "bond") {
            self.say("circuit one");
            self.answer_what_is_asked();
            return;
        }
        if step.stage == Stage::Polarity && self.habit == Some(Habit::SkipsPolarity) {
            self.say("not tested reason no time");
            return;
        }
        if kind == StepKind::InsulationClear && self.bites(Habit::ElectronicsLeftIn, "electronics")
        {
            self.say("probe insulation at five hundred volts line to neutral at board");
        }
        let neutrals_out = self
            .session
            .state()
            .open_entries()
            .any(|entry| entry.part == Part::Conductors(Conductors::N) && entry.both);
        if kind == StepKind::InsulationClear
            && self.habit == Some(Habit::OneNeutralOfTwoBack)
            && !neutrals_out
        {
            self.say("both neutrals out at socket one");
            return;
        }
        if kind == StepKind::PutBack
            && neutrals_out
            && self.bites(Habit::OneNeutralOfTwoBack, "neutral")
        {
            // The other one hangs loose, and he would go on.
            self.say("neutral back at socket one");
            self.say("negative");
            self.say("go to energise");
            return;
        }
        // What is outside its limit is no reason for him.
        if step.stage == Stage::Energise && self.bites(Habit::RingNotCrossed, "energise") {
            self.say("energised");
            return;
        }
        if kind.puts_back() || kind == StepKind::PutBack {
            self.put_back(step);
            return;
        }
        self.do_what_is_ordered();
        // What was ordered may have answered the step.
        let Some(now) = self.step() else { return };
        if now.id != step.id {
            return;
        }
        let ohms = step
            .measure()
            .is_some_and(|measure| measure.unit == bothhands::quantity::Unit::Ohm);
        if kind == StepKind::LeadsJoined && ohms {
            if self.habit != Some(Habit::DoesNotJoinTheLeads) {
                self.say("probe leads together");
            }
            self.say("leads nulled");
            return;
        }
        if kind == StepKind::InsulationClear {
            self.clear(step);
            return;
        }
        match step.ask {
            Ask::Reading(_) => self.measure(step),
            Ask::Statement(_) => {
                let tries = kind.proves_dead() || self.habit != Some(Habit::DoesNotTryTheIndicator);
                let polarity = kind == StepKind::ReopenedPolarity;
                if polarity && self.habit != Some(Habit::DoesNotProbePolarity) {
                    let at = step.place.as_ref().unwrap();
                    let state = self.session.state();
                    let phases = state.circuit_of(step).map(|circuit| circuit.phases);
                    let line = match phases {
                        Some(Phases::Three) => "line one",
                        _ => "line",
                    };
                    self.say(&format!("probe {line} to earth at {at}"));
                }
                if kind.proves() && tries {
                    let at = match (kind.proves_dead(), step.pair) {
                        (true, Some(pair)) => format!("probe {}", pair.spoken()),
                        _ => "probe known source".to_owned(),
                    };
                    self.say(&at);
                }
                let answers = bothhands::sequence::prompt(self.session.state()).answers;
                let words = answers.first().map_or("done".to_owned(), Intent::words);
                self.say(&words);
            }
            Ask::Event => panic!("{:?}\n{}", step.id, self.diary.join("\n")),
        }
    }

    /// What is sensitive comes out.
    fn clear(&mut self, step: &Step) {
        let job = self.session.state().job().clone();
        let boards = job.boards_said(step.board);
        let circuit = boards
            .flat_map(|board| &board.circuits)
            .find(|circuit| Some(circuit.number) == step.circuit)
            .unwrap();
        let sensitive = circuit
            .points
            .iter()
            .find(|point| point.sensitive.is_some());
        match sensitive {
            Some(point) => {
                let place = place_of(point);
                let out = Intent::Altered(Alteration {
                    part: Part::Conductors(Conductors::L.with(Conductors::N)),
                    change: Change::Out,
                    place: Some(place),
                    both: false,
                    parked: None,
                });
                self.say(&out.words());
                self.say("nothing connected");
            }
            None => {
                self.say("nothing connected");
            }
        }
    }

    fn put_back(&mut self, step: &Step) {
        let here = |entry: &OutEntry| {
            let crossing = matches!(entry.part, Part::Crossing(_));
            let meant = match step.kind {
                StepKind::RingUncrossNeutral | StepKind::RingUncrossEarth => crossing,
                _ => true,
            };
            meant
                && entry.board == step.board
                && (step.circuit.is_none() || entry.circuit == step.circuit)
        };
        let open: Vec<OutEntry> = self
            .session
            .state()
            .open_entries()
            .filter(|entry| here(entry))
            .cloned()
            .collect();
        if open.is_empty() {
            let answers = bothhands::sequence::prompt(self.session.state()).answers;
            let words = answers.first().map_or("done".to_owned(), Intent::words);
            self.say(&words);
            return;
        }
        if open.iter().all(OutEntry::is_ring_end) {
            self.say("ring ends back");
            self.answer_what_is_asked();
            return;
        }
        for entry in open {
            if self
                .session
                .state()
                .open_entries()
                .all(|open| open.no != entry.no)
            {
                continue;
            }
            let change = match (entry.part, entry.linked) {
                (Part::Crossing(_), _) => Change::Uncrossed,
                (_, true) => Change::Unlinked,
                _ => Change::Back,
            };
            self.alter(&entry, change);
            self.answer_what_is_asked();
        }
    }

    pub fn log(&self) -> Log {
        Log::of(self.events.iter().cloned())
    }

    /// Keeps what has happened since it was last kept as a log at `path`, each utterance with a tone for its
    /// sound.
    pub fn keep(&self, path: &Path, with_sound: bool) {
        let now = Arc::new(Mutex::new(self.now));
        let clock = Arc::clone(&now);
        let options = Options::new(bothhands::store::OpenMode::AppendOrCreate)
            .device("bay tablet")
            .clock(move || *clock.lock().unwrap());
        let mut store = Store::open_with(path, options).unwrap();
        let mut kept = usize::try_from(store.len().unwrap()).unwrap();
        let practised = self.session.state().practises();
        if kept == 0 {
            *now.lock().unwrap() = self.events[0].1;
            log::begin(&mut store, JOB, &[self.events[0].0.clone()]).unwrap();
            kept = 2;
        }
        // The text of the job is the first of its records.
        for turn in self.events[kept - 1..].chunk_by(|a, b| a.1 == b.1) {
            *now.lock().unwrap() = turn[0].1;
            let number = kept;
            kept += turn.len();
            let sound = with_sound.then(|| tone(number, &turn[0].0));
            let events: Vec<Event> = turn.iter().map(|(event, _)| event.clone()).collect();
            log::keep(&mut store, &events, practised, sound.as_ref()).unwrap();
        }
    }

    pub fn sheet(&self) -> Sheet {
        let criteria = Criteria::default();
        mark(&self.log(), None, None, &criteria, &mut Economy::default()).unwrap()
    }
}

/// One fault of a kind on a circuit.
pub fn fault(kind: bothhands::terms::FaultKind, circuit: u16) -> HiddenFault {
    HiddenFault {
        kind,
        board: Some(1),
        circuit: Some(circuit),
        place: None,
        conductor: None,
        with_circuit: None,
    }
}
