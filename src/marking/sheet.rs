use super::criteria::{Criteria, Criterion, Weights};
use super::economy::Economy;
use super::lapse::{Lapse, StillOut, What, of_refusal, what_is_out};
use super::lost::{Losses, Lost, Why, of};
use super::readings::{Judged, Judgement, as_shown, between_instruments};
use crate::bay::BayError;
use crate::grammar::Intent;
use crate::installation::{CircuitKind, board_said};
use crate::limits::Outcome;
use crate::log::{Entry, Log, LogError};
use crate::practice::{Bench, Hidden};
use crate::quantity::{Conductors, Number, Pair, Reading, Relation, Unit};
use crate::sequence::{
    Agenda, Ask, Edition, Event, EventNo, Mode, ReadingRecord, ReadingStatus, Refusal, ReplayError,
    Step, StepId, StepKind, StepOutcome, probing,
};
use crate::terms::{
    Between, Consequence, FaultKind, HiddenFault, Level, Part, Place, Predicted, Probe, Setting,
    Shown, Stage, Statement,
};
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// The marks of one session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sheet {
    /// Who learned.
    pub learner: String,
    /// The job.
    pub title: String,
    /// How much was told.
    pub level: Level,
    /// Whether the installation was a simulated one.
    pub simulated: bool,
    /// When the log was begun.
    pub begun: Timestamp,
    /// When its last event was kept.
    pub last_event: Timestamp,
    /// Whether the session was ended.
    pub finished: bool,
    /// Where the log ends, by which it is known again.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub head: Option<String>,
    /// Whether it is passed: no pass-or-fail criterion failed, and enough points.
    pub passed: bool,
    /// The share of the points that could be had, from 0 to 1; nothing where none could.
    pub points: Option<f64>,
    /// Each criterion that could be judged.
    pub marks: Vec<Mark>,
    /// Everything that was done otherwise than it should be.
    pub lapses: Vec<Lapse>,
    /// Readings that count.
    pub readings: Vec<Judged>,
    /// Values and limits that were predicted.
    pub predictions: Vec<Prediction>,
    /// What was hidden and what was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diagnosis: Option<Diagnosis>,
    /// How often help was asked for.
    pub help: u32,
    /// What was out, and for how long.
    pub left_out: Vec<LeftBehind>,
    /// How many steps of the plan ask for something.
    pub planned: usize,
    /// How many of those were answered, be it that they are not tested.
    pub answered: usize,
    /// Whether the job has a ring.
    #[serde(skip)]
    has_ring: bool,
    /// Whether the work was ended before its end for a voltage, and whether that was right.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stopped: Option<Stopped>,
    /// What was not done then, where that was right: it counts for nothing.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_done: Vec<NotDone>,
    /// How long each kind of step took.
    pub times: Vec<StepTime>,
}

/// How work was ended that somebody ended because a part was live.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stopped {
    /// What was to be dead showed a voltage, or that was said of a real installation: nothing more is to be
    /// made then.
    Rightly,
    /// Nothing that was probed since it was switched off showed one.
    ForNothing,
}

/// Steps of a stage that were not done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct NotDone {
    /// Their stage.
    pub stage: Stage,
    /// How many.
    pub steps: u32,
}

/// How long steps of a kind took.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StepTime {
    /// Their stage.
    pub stage: Stage,
    /// Their kind, by its name.
    pub kind: &'static str,
    /// How long they took together, s.
    pub seconds: i64,
}

/// The mark of one criterion.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mark {
    /// What is marked.
    pub criterion: Criterion,
    /// How it counts.
    pub counts: Weights,
    /// How much of it was reached, from 0 to 1.
    pub share: f64,
    /// How many lapses count against it.
    pub lapses: usize,
    /// What the rest was lost for: with the share it adds up to 1.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lost: Vec<Lost>,
}

/// Something that was predicted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Prediction {
    /// The event.
    pub event: EventNo,
    /// For which step.
    pub step: StepId,
    /// Value or limit.
    pub of: Predicted,
    /// What was said; nothing for "no limit".
    pub said: Option<Reading>,
    /// What was read then, for a value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub is: Option<Reading>,
    /// Whether it was said after the instrument had shown it: no prediction.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub after: bool,
    /// Whether it is near enough: a value within a quarter, or 0.1 of its unit; a limit where a value 3 %
    /// inside it is judged otherwise than one 3 % outside. The margins are ours.
    pub right: bool,
}

/// What was hidden and what was named.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Diagnosis {
    /// The faults, where it is known by now what they are.
    pub hidden: Option<Vec<HiddenFault>>,
    /// What was named last.
    pub named: Vec<HiddenFault>,
    /// Whether anything was said of it.
    pub said: bool,
    /// How many of the hidden ones were named by kind.
    pub kinds: usize,
    /// How many by kind and place.
    pub places: usize,
    /// Of how many of those the conductor was not said, though the fault is in one: half of the place.
    #[serde(skip_serializing_if = "is_none_of_them")]
    pub no_conductor: usize,
    /// Whether anything that was probed would have shown something else without the fault: without that
    /// it was guessed.
    pub evidence: bool,
    /// How many of those named are not there.
    pub wrong: usize,
    /// Probings that were made.
    pub probings: usize,
    /// The fewest that could have told the one fault from all others possible in this job, found
    /// greedily; nothing where it is not one fault.
    pub fewest: Option<usize>,
}

impl Diagnosis {
    /// What is lost of it; nothing where it is not known what is hidden.
    fn losses(&self) -> Option<Losses> {
        let hidden = self.hidden.as_ref()?;
        let all = hidden.len();
        if hidden.is_empty() {
            let none = self.said && self.named.is_empty();
            return Some(match none {
                true => Losses::default(),
                false if self.said => Losses::of(Why::NothingHidden, 1.0),
                false => Losses::of(Why::NothingNamed, 1.0),
            });
        }
        if !self.said {
            return Some(Losses::of(Why::NothingNamed, 1.0));
        }
        if !self.evidence {
            return Some(Losses::of(Why::Guessed, 1.0));
        }
        let (kinds, places) = (all - self.kinds, all - self.places);
        let mut losses = Losses::of(Why::KindNotNamed(kinds), 0.5 * of(kinds, all));
        losses.take(Why::PlaceNotNamed(places), 0.5 * of(places, all));
        // Half a place is one without its conductor.
        let unsaid = self.no_conductor;
        losses.take(Why::NoConductor(unsaid), 0.25 * of(unsaid, all));
        losses.take(Why::NotThere(self.wrong), 0.25 * self.wrong as f64);
        Some(losses)
    }
}

fn is_none_of_them(n: &usize) -> bool {
    *n == 0
}

/// Something that was out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeftBehind {
    /// By the event that put it on the list.
    pub event: EventNo,
    /// What, in words.
    pub what: String,
    /// How long, s.
    pub seconds: i64,
    /// Whether it was back at the end.
    pub back: bool,
}

/// Why a log can't be marked.
#[derive(Debug, thiserror::Error)]
pub enum MarkError {
    /// The log itself.
    #[error(transparent)]
    Log(#[from] LogError),
    /// It can't be replayed.
    #[error(transparent)]
    Replay(#[from] ReplayError),
    /// What is said to be hidden is not what the log was begun with.
    #[error(
        "what is hidden does not fit the seal of the log: give the --faults or --seed that it was begun with"
    )]
    NotSealed,
    /// The reference is of another job, or one of the two was practised on a simulated installation.
    #[error(
        "the reference is no log of the same bay: its boards and circuits differ, or one of the two is practice"
    )]
    OtherBay,
    /// What is hidden can't be in that job.
    #[error(transparent)]
    Bay(#[from] BayError),
}

/// Marks a session from its log. What was hidden is in the log once it is finished; `hidden` gives it
/// for one that is not. Readings on a real installation are compared with those of `reference`.
///
/// # Errors
/// When the log can't be replayed, or what is hidden does not fit its seal.
pub fn mark(
    log: &Log,
    hidden: Option<&Hidden>,
    reference: Option<&Log>,
    criteria: &Criteria,
    economy: &mut Economy,
) -> Result<Sheet, MarkError> {
    let first = log.entries.first().ok_or(ReplayError::Empty)?;
    let opened = Agenda::open(&first.event, first.at)?;
    let hidden = sealed(log, hidden, &opened)?;
    let edition = opened.bay_edition();
    let (bench, sound) = match &hidden {
        Some(hidden) => (
            Some(Bench::as_of(opened.job(), hidden.clone(), edition)?),
            Some(Bench::sound(opened.job(), hidden, edition)?),
        ),
        None => (None, None),
    };
    let reference = reference.map(Log::agenda).transpose()?;
    if let Some(reference) = &reference
        && (reference.job().boards != opened.job().boards
            || reference.practises() != opened.practises())
    {
        return Err(MarkError::OtherBay);
    }
    let mut marker = Marker {
        bench,
        lapses: Vec::new(),
        shown: Vec::new(),
        readings: BTreeMap::new(),
        sound,
        evidence: false,
        stopped: None,
        not_done: Vec::new(),
        off_at: 0,
        proved_at: 0,
        struck: BTreeMap::new(),
        not_read_back: BTreeSet::new(),
        not_crossed: None,
        at_desk: BTreeSet::new(),
        put_right_at_desk: BTreeSet::new(),
        predicted: Vec::new(),
        named: Vec::new(),
        said: false,
        help: 0,
        times: BTreeMap::new(),
    };
    let mut agenda = opened;
    for entry in log.entries.iter().skip(1) {
        marker.take(&agenda, entry);
        agenda.apply(&entry.event, entry.at);
    }
    marker.at_the_end(&agenda, log);
    let mut sheet = marker.sheet(&agenda, log, hidden.as_ref(), reference.as_ref(), economy);
    sheet.weigh(criteria);
    Ok(sheet)
}

/// What a statement counts against that nothing probed tells; nothing where no probing tells it.
fn rests_on_probing(step: &Step, statement: Statement) -> Option<Criterion> {
    Some(match statement {
        Statement::Proved => Criterion::Indicator,
        Statement::Nulled | Statement::Open | Statement::Shorted => Criterion::Leads,
        Statement::PolarityCorrect | Statement::PolarityReversed => Criterion::Complete,
        Statement::NoTrip | Statement::Tripped if step.measure().is_some() => Criterion::Complete,
        _ => return None,
    })
}

/// Extra-low voltage (to 50 V a.c.: BS 7671 part 2) is no voltage found here: what is induced in a cable shows.
const EXTRA_LOW: f64 = 50.0;

/// Whether what was shown there can tell what a step asks for: of polarity, continuity at any point of
/// a circuit that is dead, and any live test at the place of one that is not.
fn can_tell(step: &Step, probe: &Probe) -> bool {
    let here = step.board == probe.board && step.circuit == probe.circuit;
    let there = |place: &Place| probe.place.as_ref() == Some(place);
    let at_place = step.place.as_ref().is_none_or(there);
    let wires = matches!(probe.between, Between::Pair(_) | Between::LongLead(_));
    match step.stage {
        Stage::Isolation => probe.between == Between::KnownSource,
        Stage::Polarity => here && wires && probe.setting == Setting::Continuity,
        Stage::SupplyPolarity => here && probe.setting == Setting::Voltage,
        _ if step.measure().is_none() => {
            here && at_place && matches!(probe.setting, Setting::Voltage | Setting::Loop)
        }
        _ => probing::reads(step, None, probe),
    }
}

/// What is hidden, checked against the seal.
fn sealed(log: &Log, given: Option<&Hidden>, opened: &Agenda) -> Result<Option<Hidden>, MarkError> {
    let Some(simulated) = opened.practice().and_then(|p| p.simulated.as_ref()) else {
        return Ok(None);
    };
    let revealed = log.entries.iter().find_map(|entry| match &entry.event {
        Event::Revealed { faults, salt } => Some(Hidden::revealed(faults, salt)),
        _ => None,
    });
    match revealed.or_else(|| given.cloned()) {
        Some(hidden) if hidden.seal().seal == simulated.seal => Ok(Some(hidden)),
        Some(_) => Err(MarkError::NotSealed),
        None => Ok(None),
    }
}

/// One display.
#[derive(Clone)]
struct Seen {
    probe: Probe,
    shown: Shown,
    /// Whether it was still moving.
    moving: bool,
}

/// Goes through a log.
struct Marker {
    bench: Option<Bench>,
    lapses: Vec<Lapse>,
    /// Every probing so far.
    shown: Vec<Seen>,
    /// What a reading may have been read from.
    readings: BTreeMap<EventNo, Vec<Seen>>,
    /// The same installation without a fault, as far as it was followed.
    sound: Option<Bench>,
    /// Whether anything that was probed would have shown something else on the sound one.
    evidence: bool,
    /// Whether the work was stopped for a voltage, and nothing was said dead since.
    stopped: Option<Stopped>,
    not_done: Vec<NotDone>,
    /// How much had been probed when something was said to be isolated or locked off last.
    off_at: usize,
    /// How much had been probed when the indicator was said to be proved last.
    proved_at: usize,
    struck: BTreeMap<EventNo, String>,
    /// Readings whose read-back was broken off.
    not_read_back: BTreeSet<EventNo>,
    /// Where a ring was last measured without its crossing.
    not_crossed: Option<(Option<u16>, StepKind)>,
    /// Corrections at the desk, and what they put right.
    at_desk: BTreeSet<EventNo>,
    put_right_at_desk: BTreeSet<EventNo>,
    predicted: Vec<Prediction>,
    named: Vec<HiddenFault>,
    said: bool,
    help: u32,
    times: BTreeMap<(Stage, &'static str), i64>,
}

impl Marker {
    fn take(&mut self, before: &Agenda, entry: &Entry) {
        if let Some(step) = before.current().filter(|_| before.mode() == Mode::Running) {
            let took = entry.at.duration_since(before.last_event_at());
            // What takes longer is a break, or another day: ours.
            if took > SignedDuration::ZERO && took < SignedDuration::from_mins(30) {
                let kind = (step.stage, step.kind.name());
                *self.times.entry(kind).or_default() += took.as_secs();
            }
        }
        match &entry.event {
            Event::Refused { said, refusal } => {
                if let Some(criterion) = of_refusal(before, Some(said), refusal) {
                    let refusal = refusal.clone();
                    self.lapse(before, entry, criterion, What::Refused { refusal });
                }
            }
            Event::Overridden { refusal, .. } => {
                if let Some(criterion) = of_refusal(before, None, refusal) {
                    let refusal = refusal.clone();
                    self.lapse(before, entry, criterion, What::Overridden { refusal });
                }
            }
            Event::Probed {
                probe,
                shown,
                came,
                refusal,
            } => {
                self.shown.push(Seen {
                    probe: probe.clone(),
                    shown: *shown,
                    moving: came.contains(&Consequence::Settling),
                });
                self.evidence |= self.shows_something(before, probe, shown);
                let live = came
                    .iter()
                    .any(|came| matches!(came, Consequence::ProbedLive { .. }));
                let destroyed = came
                    .iter()
                    .any(|came| matches!(came, Consequence::Destroyed { .. }));
                let criterion = if destroyed {
                    Some(Criterion::TestVoltage)
                } else {
                    refusal
                        .as_ref()
                        .and_then(|refusal| of_refusal(before, None, refusal))
                        .or(live.then_some(Criterion::Isolation))
                };
                if let Some(criterion) = criterion {
                    let what = What::Probed {
                        probe: probe.clone(),
                        refusal: refusal.clone(),
                        came: came.clone(),
                    };
                    self.lapse(before, entry, criterion, what);
                } else if self.not_crossed(before, probe) && !self.told_of_ring(before) {
                    self.not_crossed = before.current().map(|step| (step.circuit, step.kind));
                    self.lapse(before, entry, Criterion::Ring, What::NotCrossed);
                }
            }
            Event::Came { came } => {
                let what = What::Came { came: came.clone() };
                self.lapse(before, entry, Criterion::Energising, what);
            }
            Event::Reading { step, reading, .. } => {
                let Some(step) = before.step(step) else {
                    return;
                };
                let of_step = self
                    .shown
                    .iter()
                    .filter(|seen| probing::reads(step, reading.pair, &seen.probe))
                    .cloned()
                    .collect();
                self.readings.insert(entry.no, of_step);
            }
            Event::Stated {
                step,
                statement: Statement::Dead,
                ..
            } if before.practises() => {
                if let Some(step) = before.step(step) {
                    self.said_dead(before, entry, step);
                }
            }
            Event::Stated {
                step, statement, ..
            } if before.practises() => {
                if let Some(step) = before.step(step) {
                    self.said_of(before, entry, step, *statement);
                }
            }
            Event::ReadBackCut { of } => {
                self.not_read_back.insert(*of);
            }
            Event::VoltageFound { board, .. } => {
                self.stopped = Some(self.found_rightly(before, *board));
            }
            Event::TakenOut {
                board,
                circuit,
                part,
                ..
            } if self.is_live(before, *board, *circuit) && part.is_of_danger() => {
                self.lapse(before, entry, Criterion::Isolation, What::AlteredLive);
            }
            Event::CorrectedAtDesk { of, .. } => {
                self.at_desk.insert(entry.no);
                self.put_right_at_desk.insert(*of);
            }
            Event::Moved { passed_over, .. } if *passed_over > 0 => {
                let steps = *passed_over;
                self.lapse(before, entry, Criterion::Order, What::PassedOver { steps });
            }
            // That tells the value after all.
            Event::Asked {
                said: Intent::WhatDidISay(circuit),
                ..
            } => self.told_again(before, *circuit),
            Event::Asked { said, .. } if said.only_asks() && before.level() != Level::Led => {
                self.help += 1;
                // In an examination nothing is told.
                if before.level() == Level::Asked {
                    self.lapse(before, entry, Criterion::Help, What::Helped);
                }
            }
            Event::Predicted { step, of, reading } => {
                // What is said anew before the reading stands in its place.
                self.predicted
                    .retain(|old| old.step != *step || old.of != *of);
                self.predicted.push(Prediction {
                    event: entry.no,
                    step: step.clone(),
                    of: *of,
                    said: *reading,
                    is: None,
                    after: before.step(step).is_some_and(|step| {
                        let of_step = |seen: &Seen| probing::reads(step, None, &seen.probe);
                        self.shown.iter().any(of_step)
                    }),
                    right: *of == Predicted::Limit && is_the_limit(before, step, reading.as_ref()),
                });
            }
            Event::Diagnosed { fault } => {
                self.said = true;
                match fault {
                    // "There is no fault" takes back what was named.
                    None => self.named.clear(),
                    Some(fault) => self.named.push(fault.clone()),
                }
            }
            Event::Struck { of, reason, by } => {
                let by = by.as_ref().map(|by| format!(", by {by}"));
                self.struck
                    .insert(*of, format!("{reason}{}", by.unwrap_or_default()));
            }
            _ => {}
        }
        for bench in [&mut self.bench, &mut self.sound].into_iter().flatten() {
            bench.follow_one(before, &entry.event, entry.at);
        }
    }

    /// The value of the last reading, of a circuit where one is named, was told when it was asked for.
    fn told_again(&mut self, before: &Agenda, circuit: Option<u16>) {
        let told = before.readings().filter(|record| {
            let here = circuit.is_none() || record.step.circuit == circuit;
            here && record.status == ReadingStatus::Counts
        });
        let last = told.map(|record| record.no).max();
        self.not_read_back.retain(|no| Some(*no) != last);
    }

    /// Whether a probing would show something else without what is hidden.
    fn shows_something(&mut self, before: &Agenda, probe: &Probe, shown: &Shown) -> bool {
        // Once is enough.
        let Some(sound) = self.sound.as_mut().filter(|_| !self.evidence) else {
            return false;
        };
        sound
            .shows(before, probe)
            .is_ok_and(|other| shown.differs(&other))
    }

    /// A pair is dead by what the indicator showed of it last.
    fn said_dead(&mut self, before: &Agenda, entry: &Entry, step: &Step) {
        let of_pair = |seen: &&Seen| probing::reads(step, step.pair, &seen.probe);
        let last = self.shown.iter().rev().find(of_pair).map(|seen| seen.shown);
        match last.as_ref().and_then(Shown::reading) {
            None => self.lapse(before, entry, Criterion::EveryPair, What::NotProbed),
            Some(shown) if shown.size() >= EXTRA_LOW => {
                self.lapse(before, entry, Criterion::Isolation, What::NotDead { shown });
            }
            Some(_) => self.stopped = None,
        }
    }

    /// Whether a voltage that is said to be found was shown where there should be none: since that was switched
    /// off. Who has switched nothing off has found none. Of a real installation nothing else is known.
    fn found_rightly(&self, before: &Agenda, board: u16) -> Stopped {
        let circuit = before.current().and_then(|step| step.circuit);
        let showed = |seen: &Seen| {
            let there = seen.probe.board == board && seen.probe.setting == Setting::Voltage;
            let wires = matches!(seen.probe.between, Between::Pair(_));
            there
                && wires
                && seen
                    .shown
                    .reading()
                    .is_some_and(|shown| shown.size() >= EXTRA_LOW)
        };
        let since = self.shown.iter().skip(self.off_at);
        if !before.practises() || (!self.is_live(before, board, circuit) && { since }.any(showed)) {
            Stopped::Rightly
        } else {
            Stopped::ForNothing
        }
    }

    /// What is said of an instrument, or of polarity, is known by what was probed before.
    fn said_of(&mut self, before: &Agenda, entry: &Entry, step: &Step, statement: Statement) {
        if matches!(statement, Statement::Isolated | Statement::LockedOff) {
            self.off_at = self.shown.len();
        }
        let since = match statement {
            // The indicator is proved on the source each time anew.
            Statement::Proved => std::mem::replace(&mut self.proved_at, self.shown.len()),
            _ => 0,
        };
        let Some(criterion) = rests_on_probing(step, statement) else {
            return;
        };
        let mut seen = self.shown.iter().skip(since);
        if !seen.any(|seen| can_tell(step, &seen.probe)) {
            self.lapse(before, entry, criterion, What::SaidUnprobed { statement });
        }
    }

    fn lapse(&mut self, before: &Agenda, entry: &Entry, criterion: Criterion, what: What) {
        let circuit = match &what {
            What::Probed { probe, .. } => probe.circuit,
            What::Came { came } => came.iter().find_map(|came| match came {
                Consequence::Shorted { circuit, .. } | Consequence::Burst { circuit, .. } => {
                    Some(*circuit)
                }
                _ => None,
            }),
            _ => before.current().and_then(|step| step.circuit),
        };
        let still_out = if what.is_about_what_is_out() {
            StillOut::now(before, entry.at)
        } else {
            Vec::new()
        };
        self.lapses.push(Lapse {
            circuit,
            sound: sound_of(entry),
            still_out,
            concerns: failed_circuits(before),
            ..Lapse::at(entry, criterion, what)
        });
    }

    /// Whether a board, or a circuit of it, was not switched off by what was said: of a simulated
    /// installation that is known as a whole, by what that makes of it.
    fn is_live(&self, before: &Agenda, board: u16, circuit: Option<u16>) -> bool {
        let Some(bench) = &self.bench else {
            return before.edition() > Edition::First && !before.switched_off(board, circuit);
        };
        let conditions = bench.conditions(before);
        let board = board_said(board);
        let off = circuit.is_some_and(|n| conditions.devices_off.contains(&(board, n)));
        !off && !conditions.main_switches_off.contains(&board)
    }

    /// Whether the same omission was told of already: once for each stage of a ring.
    fn told_of_ring(&self, before: &Agenda) -> bool {
        let here = before.current().map(|step| (step.circuit, step.kind));
        here.is_some() && self.not_crossed == here
    }

    /// Whether a ring is measured at a point, and what has to be crossed for it is not.
    fn not_crossed(&self, before: &Agenda, probe: &Probe) -> bool {
        let Some(bench) = &self.bench else {
            return false;
        };
        let other = match before.current().map(|step| step.kind) {
            Some(StepKind::RingCrossedNeutral) => Conductors::N,
            Some(StepKind::RingCrossedEarth) => Conductors::E,
            _ => return false,
        };
        let between = Pair::new(Conductors::L, other);
        let at_a_point = probe.setting == Setting::Continuity
            && matches!(&probe.between, Between::Pair(pair) if Some(*pair) == between);
        let crossed = bench.conditions(before).altered.iter().any(|altered| {
            altered.circuit == probe.circuit
                && matches!(altered.part, Part::Crossing(of) if of.contains(other))
        });
        at_a_point && !crossed
    }

    /// What is missing at the end.
    fn at_the_end(&mut self, agenda: &Agenda, log: &Log) {
        let Some(last) = log.entries.last() else {
            return;
        };
        let mut left: BTreeMap<(Stage, Option<u16>), (u32, EventNo)> = BTreeMap::new();
        let mut undone: BTreeMap<Stage, u32> = BTreeMap::new();
        for step in &agenda.plan().steps {
            match agenda.outcome(step) {
                Some(StepOutcome::NotTested(no, _) | StepOutcome::Skipped(no, _)) => {
                    let entry = left.entry((step.stage, step.circuit)).or_insert((0, *no));
                    entry.0 += 1;
                }
                _ if agenda.is_open(step) && asks(step) => {
                    *undone.entry(step.stage).or_default() += 1;
                }
                _ => {}
            }
        }
        for ((stage, circuit), (steps, no)) in left {
            let Some(entry) = log.entry(no) else { continue };
            self.lapses.push(Lapse {
                circuit,
                sound: sound_of(entry),
                ..Lapse::at(entry, of_left_out(stage), What::LeftOut { stage, steps })
            });
        }
        // A session that goes on is not judged by what is still to come; nor is who stopped for a voltage.
        if agenda.mode() != Mode::Finished {
            return;
        }
        let undone = undone.into_iter();
        match self.stopped {
            Some(Stopped::Rightly) => {
                self.not_done = undone
                    .map(|(stage, steps)| NotDone { stage, steps })
                    .collect();
            }
            stopped => {
                for (stage, steps) in undone {
                    let what = What::Undone { stage, steps };
                    self.lapses.push(Lapse::at(last, of_left_out(stage), what));
                }
                if stopped.is_some() {
                    let what = What::StoppedForNothing;
                    self.lapses.push(Lapse::at(last, Criterion::Complete, what));
                }
            }
        }
        // What is out on a circuit that stays off is as it should be.
        let open: Vec<_> = agenda.barring_entries().collect();
        if !open.is_empty() {
            let earth = open.iter().any(|entry| entry.is_of_the_earth());
            let entries = u32::try_from(open.len()).unwrap_or(u32::MAX);
            let criterion = if earth {
                Criterion::Earth
            } else {
                Criterion::PutBack
            };
            self.lapses.push(Lapse {
                circuit: open.first().and_then(|entry| entry.circuit),
                still_out: StillOut::now(agenda, last.at),
                ..Lapse::at(last, criterion, What::LeftOpen { entries })
            });
        }
    }

    fn sheet(
        mut self,
        agenda: &Agenda,
        log: &Log,
        hidden: Option<&Hidden>,
        reference: Option<&Agenda>,
        economy: &mut Economy,
    ) -> Sheet {
        let readings = self.judged(agenda, log, reference);
        let invented = invented(&readings);
        if let Some(last) = log.entries.last().filter(|_| invented > 0) {
            let readings = u32::try_from(invented).unwrap_or(u32::MAX);
            let what = What::Invented { readings };
            self.lapses.push(Lapse::at(last, Criterion::Complete, what));
        }
        self.lapses
            .sort_by_key(|lapse| (lapse.event, lapse.criterion));
        under_what_they_came_of(&mut self.lapses);
        let predictions = self.predictions(agenda);
        let diagnosis = agenda
            .practises()
            .then(|| self.diagnosis(agenda, hidden, economy));
        let practice = agenda.practice();
        Sheet {
            learner: practice.map_or_else(|| agenda.job().tester.clone(), |p| p.learner.clone()),
            title: agenda.job().title.clone(),
            level: agenda.level(),
            simulated: agenda.practises(),
            begun: log
                .entries
                .first()
                .map_or(Timestamp::UNIX_EPOCH, |entry| entry.at),
            last_event: agenda.last_event_at(),
            finished: agenda.mode() == Mode::Finished,
            head: log.head.as_ref().map(ToString::to_string),
            passed: false,
            points: None,
            marks: Vec::new(),
            lapses: self.lapses,
            readings,
            predictions,
            diagnosis,
            help: self.help,
            stopped: self.stopped,
            not_done: self.not_done,
            planned: agenda
                .plan()
                .steps
                .iter()
                .filter(|step| asks(step))
                .filter(|step| agenda.is_open(step) || agenda.outcome(step).is_some())
                .count(),
            answered: agenda
                .plan()
                .steps
                .iter()
                .filter(|step| asks(step) && agenda.outcome(step).is_some())
                .count(),
            has_ring: agenda
                .job()
                .boards
                .iter()
                .flat_map(|board| &board.circuits)
                .any(|circuit| circuit.kind == CircuitKind::Ring),
            left_out: left_out(agenda),
            times: self
                .times
                .into_iter()
                .map(|((stage, kind), seconds)| StepTime {
                    stage,
                    kind,
                    seconds,
                })
                .collect(),
        }
    }

    /// The readings that count, each against what was shown for it, or against the reference.
    fn judged(&self, agenda: &Agenda, log: &Log, reference: Option<&Agenda>) -> Vec<Judged> {
        // What was put right at the desk afterwards was given otherwise.
        let given = |record: &ReadingRecord| {
            !self.at_desk.contains(&record.no)
                && (record.status == ReadingStatus::Counts
                    || self.put_right_at_desk.contains(&record.no))
        };
        let counting = agenda.readings().filter(|record| {
            given(record)
                && agenda
                    .step(&record.step)
                    .is_some_and(|step| step.measure().is_some())
        });
        counting
            .map(|record| {
                let entry = log.entry(record.no);
                let (is, judgement) = match (reference, self.readings.get(&record.no)) {
                    (Some(reference), _) => against(reference, &record.step, &record.reading),
                    (None, Some(shown)) if agenda.practises() => {
                        from_display(shown, &record.reading)
                    }
                    _ => (None, Judgement::NotCompared),
                };
                Judged {
                    event: record.no,
                    step: record.step.clone(),
                    place: record.place.clone(),
                    said: record.reading,
                    is,
                    judgement,
                    sound: entry.and_then(sound_of),
                    margin: entry
                        .and_then(|entry| entry.heard.as_ref())
                        .and_then(|heard| heard.margin),
                    not_read_back: self.not_read_back.contains(&record.no),
                    struck: self.struck.get(&record.no).cloned(),
                }
            })
            .collect()
    }

    fn predictions(&self, agenda: &Agenda) -> Vec<Prediction> {
        let predicted = self.predicted.iter().cloned();
        predicted
            .map(|prediction| {
                if prediction.of == Predicted::Limit {
                    return prediction;
                }
                if prediction.after {
                    return Prediction {
                        right: false,
                        ..prediction
                    };
                }
                let read = agenda.readings().find(|record| {
                    record.step == prediction.step && record.status == ReadingStatus::Counts
                });
                let is = read.map(|record| record.reading);
                let right = near(
                    prediction.said.as_ref(),
                    is.as_ref(),
                    agenda,
                    &prediction.step,
                );
                Prediction {
                    is,
                    right,
                    ..prediction
                }
            })
            .collect()
    }

    fn diagnosis(
        &self,
        agenda: &Agenda,
        hidden: Option<&Hidden>,
        economy: &mut Economy,
    ) -> Diagnosis {
        let there = self.bench.as_ref().map(|bench| bench.faults().to_vec());
        let mut named = self.named.clone();
        let mut known = Vec::new();
        named.retain(|fault| {
            let new = !known.contains(fault);
            known.push(fault.clone());
            new
        });
        let mut kinds = 0;
        let mut places = 0;
        let mut no_conductor = 0;
        let mut used = vec![false; named.len()];
        for fault in there.iter().flatten() {
            let by_place = (0..named.len()).find(|n| {
                !used.get(*n).copied().unwrap_or(true)
                    && named
                        .get(*n)
                        .is_some_and(|named| is_that(agenda, named, fault))
            });
            let unsaid = |n: usize| {
                named
                    .get(n)
                    .is_some_and(|named| lacks_conductor(named, fault))
            };
            let by_kind = || {
                (0..named.len()).find(|n| {
                    !used.get(*n).copied().unwrap_or(true)
                        && named.get(*n).is_some_and(|named| is_kind(named, fault))
                })
            };
            if by_place.is_some() {
                places += 1;
                no_conductor += usize::from(by_place.is_some_and(unsaid));
            }
            if let Some(n) = by_place.or_else(by_kind) {
                kinds += 1;
                if let Some(used) = used.get_mut(n) {
                    *used = true;
                }
            }
        }
        let one = match there.as_deref() {
            Some([fault]) => Some(fault.clone()),
            _ => None,
        };
        let fewest = match (one, hidden) {
            (Some(fault), Some(hidden)) => economy.fewest(agenda.job(), &fault, hidden.seed()),
            _ => None,
        };
        Diagnosis {
            wrong: used.iter().filter(|used| !**used).count(),
            hidden: there,
            named,
            said: self.said,
            kinds,
            places,
            no_conductor,
            evidence: self.evidence,
            // Who waits for a display puts no probe anywhere.
            probings: self
                .shown
                .iter()
                .filter(|seen| seen.probe.held == 0)
                .count(),
            fewest,
        }
    }
}

/// Whether a diagnosis names the kind of a fault. "Wrong device" is either part of it.
fn is_kind(named: &HiddenFault, fault: &HiddenFault) -> bool {
    named.kind == fault.kind
        || (named.kind, fault.kind) == (FaultKind::WrongDevice, FaultKind::WrongBreaker)
}

/// Whether a fault is in one conductor, and the diagnosis does not say in which.
fn lacks_conductor(named: &HiddenFault, fault: &HiddenFault) -> bool {
    fault.conductor.is_some() && named.conductor.is_none()
}

/// Whether a diagnosis names a fault with its place: what the fault has and the diagnosis says of it
/// must agree, and circuit and place must be said where it has them.
fn is_that(agenda: &Agenda, named: &HiddenFault, fault: &HiddenFault) -> bool {
    let agrees = |said: Option<&u16>, is: Option<&u16>| is.is_none() || said == is;
    let said = |board: Option<u16>| board.map(board_said);
    let same_board =
        fault.board.is_none() || named.board.is_none() || said(named.board) == said(fault.board);
    is_kind(named, fault)
        && same_board
        && agrees(named.circuit.as_ref(), fault.circuit.as_ref())
        && (fault.place.is_none()
            || named.place == fault.place
            || by_its_circuit(agenda, named, fault))
        && (named.conductor.is_none() || named.conductor == fault.conductor)
        && (named.with_circuit.is_none() || named.with_circuit == fault.with_circuit)
}

/// Whether a fault in a residual current device of several circuits is named by one of them.
fn by_its_circuit(agenda: &Agenda, named: &HiddenFault, fault: &HiddenFault) -> bool {
    let (Some(board), Some(place)) = (fault.board, &fault.place) else {
        return false;
    };
    let protected = agenda.job().boards_said(board).any(|board| {
        let mut circuits = board.circuits.iter();
        let circuit = circuits.find(|circuit| Some(circuit.number) == named.circuit);
        let circuit = circuit.filter(|circuit| circuit.rcd.is_none());
        circuit
            .and_then(|circuit| board.group_of(circuit))
            .is_some_and(|group| group.place() == *place)
    });
    fault.circuit.is_none() && named.place.is_none() && protected
}

/// The circuits of which something that counts is outside its limit.
fn failed_circuits(agenda: &Agenda) -> Vec<u16> {
    let mut failed: Vec<u16> = agenda
        .readings()
        .filter(|record| record.status == ReadingStatus::Counts)
        .filter(|record| record.outcome() == Some(Outcome::Fail))
        // A trial at 250 V is no result.
        .filter(|record| {
            let step = agenda.step(&record.step);
            step.is_some_and(|step| !step.kind.is_trial())
        })
        .filter_map(|record| record.step.circuit)
        .collect();
    failed.sort_unstable();
    failed.dedup();
    failed
}

/// The sound that an entry rests on.
fn sound_of(entry: &Entry) -> Option<String> {
    entry.evidence.as_ref().map(ToString::to_string)
}

/// Whether a step is done by what is said.
fn asks(step: &Step) -> bool {
    step.ask != Ask::Event
}

/// How many readings were given without anything being probed for them.
fn invented(readings: &[Judged]) -> usize {
    let given = readings.iter();
    given
        .filter(|judged| judged.judgement == Judgement::NotProbed)
        .count()
}

/// What a step that was left out counts against.
fn of_left_out(stage: Stage) -> Criterion {
    match stage {
        Stage::Isolation => Criterion::Isolation,
        Stage::Instruments => Criterion::Leads,
        Stage::PutBack => Criterion::PutBack,
        _ => Criterion::Complete,
    }
}

/// A lapse that follows from an earlier one counts under that one: what was measured
/// on a ring that was not crossed is outside its limit, and bars energising.
fn under_what_they_came_of(lapses: &mut [Lapse]) {
    let earlier: Vec<(EventNo, Option<u16>)> = lapses
        .iter()
        .filter(|lapse| matches!(lapse.criterion, Criterion::TestVoltage | Criterion::Ring))
        .map(|lapse| (lapse.event, lapse.circuit))
        .collect();
    for lapse in lapses {
        // Results outside their limits, and nothing else.
        let follows = matches!(
            &lapse.what,
            What::Refused { refusal } | What::Overridden { refusal }
                if matches!(refusal, Refusal::DeadTestsFailed { .. } | Refusal::MustBePutRight { .. })
        );
        if !follows {
            continue;
        }
        // All that is outside its limit then is of circuits on which that went before.
        let cause = |circuit: &u16| {
            earlier
                .iter()
                .find(|(event, on)| *event < lapse.event && *on == Some(*circuit))
        };
        let causes: Vec<_> = lapse.concerns.iter().map(cause).collect();
        lapse.under = match causes.first() {
            Some(Some((event, _))) if causes.iter().all(Option::is_some) => Some(*event),
            _ => None,
        };
    }
}

/// A reading against what was shown of its step: any of it that it equals, or the last.
fn from_display(seen: &[Seen], said: &Reading) -> (Option<Reading>, Judgement) {
    // Nothing comes round the loop, or nothing trips: over range is what one reads.
    let silent = seen
        .iter()
        .any(|seen| matches!(seen.shown, Shown::NoSupply | Shown::NoTrip));
    if silent && said.number.is_none() {
        return (None, Judgement::AsShown);
    }
    let displays: Vec<(Reading, bool)> = seen
        .iter()
        .filter_map(|seen| Some((seen.shown.reading()?, seen.moving)))
        .collect();
    let Some((last, _)) = displays.last() else {
        return (None, Judgement::NotProbed);
    };
    // A display that stood still before one that moved.
    let exact = displays
        .iter()
        .rev()
        .filter(|(is, _)| as_shown(said, is) == Judgement::AsShown)
        .min_by_key(|(_, moving)| *moving);
    match exact {
        Some((is, false)) => (Some(*is), Judgement::AsShown),
        Some((is, true)) => (Some(*is), Judgement::TooEarly),
        None => (Some(*last), as_shown(said, last)),
    }
}

/// A reading against that of the instructor's own log for the same step.
fn against(reference: &Agenda, step: &StepId, said: &Reading) -> (Option<Reading>, Judgement) {
    let theirs = reference
        .readings()
        .find(|record| record.step == *step && record.status == ReadingStatus::Counts);
    match theirs {
        Some(record) => (
            Some(record.reading),
            between_instruments(said, &record.reading),
        ),
        None => (None, Judgement::NotCompared),
    }
}

/// Whether a predicted limit is the one that readings of the step are judged by: a value just inside
/// it is judged otherwise than one just outside. No limit is right where even a great and a small
/// value are judged alike.
fn is_the_limit(agenda: &Agenda, step: &StepId, said: Option<&Reading>) -> bool {
    let Some(step) = agenda.step(step) else {
        return false;
    };
    let Some(measure) = step.measure() else {
        return false;
    };
    let judged = |value: f64| {
        // A decimal number can always be read back.
        let number: Option<Number> = format!("{value:.4}").parse().ok();
        let reading = Reading {
            pair: measure.pair,
            unit: said.and_then(|said| said.unit).or(Some(measure.unit)),
            at: measure.at,
            ..Reading::exact(number?)
        };
        let assessed = agenda
            .procedure(step)
            .assess(agenda.state(), step, &reading);
        assessed.verdict.map(|verdict| verdict.outcome)
    };
    match said.map(|said| said.number) {
        Some(Some(number)) => judged(number.value() * 0.97) != judged(number.value() * 1.03),
        Some(None) => false,
        None => judged(0.01) == judged(9999.0),
    }
}

/// Whether a predicted value is near what was read: within a quarter of it, or 0.1 of the unit.
fn near(said: Option<&Reading>, is: Option<&Reading>, agenda: &Agenda, step: &StepId) -> bool {
    let (Some(said), Some(is)) = (said, is) else {
        return false;
    };
    if said.number.is_none() || is.number.is_none() {
        return said.number.is_none() && is.number.is_none();
    }
    let (a, b) = (in_base(said, agenda, step), is.size());
    let unit = is.unit.map_or(1.0, Unit::scale);
    // A bound is met by anything past it.
    let bounded = |reading: &Reading, other: f64| {
        reading.relation == Relation::Over && other >= reading.size()
    };
    (a - b).abs() <= (0.25 * b).max(0.1 * unit) || bounded(is, a) || bounded(said, b)
}

/// A predicted number in base units; in those of the step where none was said.
fn in_base(said: &Reading, agenda: &Agenda, step: &StepId) -> f64 {
    let measure = agenda.step(step).and_then(|step| step.measure());
    let unit = said.unit.or(measure.map(|measure| measure.unit));
    said.number.map_or(f64::INFINITY, |number| {
        number.value() * unit.map_or(1.0, Unit::scale)
    })
}

/// What was ever out, and for how long.
fn left_out(agenda: &Agenda) -> Vec<LeftBehind> {
    let all = agenda.out_list().iter();
    all.filter(|entry| !entry.withdrawn)
        .map(|entry| {
            let until = entry.back.map_or(agenda.last_event_at(), |(_, at)| at);
            LeftBehind {
                event: entry.no,
                what: what_is_out(entry),
                seconds: until.duration_since(entry.at).as_secs(),
                back: entry.back.is_some(),
            }
        })
        .collect()
}

impl Sheet {
    /// Whether something is hidden, and it is not known what: such a sheet says nothing of the fault.
    pub fn without_what_is_hidden(&self) -> bool {
        self.diagnosis
            .as_ref()
            .is_some_and(|diagnosis| diagnosis.hidden.is_none())
    }

    /// How long all of it took, s.
    pub fn seconds(&self) -> i64 {
        self.times.iter().map(|time| time.seconds).sum()
    }

    /// How many readings count against the learner.
    pub fn wrong_readings(&self) -> usize {
        let wrong = self.readings.iter().filter(|judged| judged.is_wrong());
        wrong.count()
    }

    /// How much of each criterion was reached, and the whole.
    fn weigh(&mut self, criteria: &Criteria) {
        self.marks = Criterion::ALL
            .into_iter()
            .filter(|criterion| criteria.of(*criterion) != Weights::NotCounted)
            .filter_map(|criterion| {
                let lapses = match criterion {
                    Criterion::Readings => self.wrong_readings(),
                    Criterion::Predictions => self.predictions.iter().filter(|p| !p.right).count(),
                    _ => self.against(criterion).count(),
                };
                let losses = match (criteria.of(criterion), lapses) {
                    // One lapse fails it, whatever a lapse takes off points.
                    (Weights::PassOrFail, 1..) => Losses::of(Why::Lapses(lapses), 1.0),
                    _ => self.losses(criterion, lapses, criteria)?,
                };
                Some(Mark {
                    criterion,
                    counts: criteria.of(criterion),
                    share: losses.left,
                    lapses,
                    lost: losses.lost,
                })
            })
            .collect();
        let (mut had, mut could) = (0.0, 0.0);
        let mut failed = false;
        for mark in &self.marks {
            match mark.counts {
                Weights::Points(points) => {
                    had += points * mark.share;
                    could += points;
                }
                Weights::PassOrFail => failed |= mark.share < 1.0,
                Weights::NotCounted => {}
            }
        }
        self.points = (could > 0.0).then(|| had / could);
        self.passed = self.finished
            && self.stopped != Some(Stopped::ForNothing)
            && !failed
            && self.points.is_none_or(|share| share >= criteria.pass_from);
    }

    /// The lapses that count against a criterion by themselves.
    pub fn against(&self, criterion: Criterion) -> impl Iterator<Item = &Lapse> {
        self.lapses
            .iter()
            .filter(move |lapse| lapse.criterion == criterion && lapse.under.is_none())
    }

    /// What is lost of a criterion; nothing where it can't be judged. Nothing is in order, nor without help, that
    /// was not done: such a criterion is reached as far as the job is.
    fn losses(&self, criterion: Criterion, lapses: usize, criteria: &Criteria) -> Option<Losses> {
        let mut losses = self.losses_in_what_was_done(criterion, lapses, criteria)?;
        let of_the_way = matches!(
            criterion,
            Criterion::Order
                | Criterion::Leads
                | Criterion::Ring
                | Criterion::Economy
                | Criterion::Help
        );
        if of_the_way && self.finished && self.stopped != Some(Stopped::Rightly) {
            let (done, planned) = (self.answered, self.planned);
            let undone = 1.0 - of(done, planned.max(1));
            losses.take(Why::NotDone { done, planned }, losses.left * undone);
        }
        Some(losses)
    }

    fn losses_in_what_was_done(
        &self,
        criterion: Criterion,
        lapses: usize,
        criteria: &Criteria,
    ) -> Option<Losses> {
        // Each wrong reading counts as any lapse does: one of two hundred is no trifle.
        let for_lapses = criteria.each_lapse * lapses as f64;
        let by_lapses = || Losses::of(Why::Lapses(lapses), for_lapses);
        let stopped_rightly = self.stopped == Some(Stopped::Rightly);
        match criterion {
            Criterion::Readings => {
                let compared = self
                    .readings
                    .iter()
                    .filter(|judged| judged.judgement != Judgement::NotCompared)
                    .filter(|judged| judged.struck.is_none());
                (compared.count() > 0).then(by_lapses)
            }
            Criterion::Predictions => {
                let all = self.predictions.len();
                (all > 0).then(|| Losses::of(Why::Lapses(lapses), of(lapses, all)))
            }
            Criterion::Diagnosis => self.diagnosis.as_ref()?.losses(),
            Criterion::Economy => {
                let diagnosis = self.diagnosis.as_ref()?;
                let fewest = diagnosis.fewest?;
                // The whole job is tested besides: twice its readings is no waste.
                let enough = (2 * self.readings.len()).max(fewest);
                Some(match diagnosis.probings {
                    0 => Losses::of(Why::NothingProbed, 1.0),
                    probings => Losses::of(
                        Why::MoreProbings { probings, enough },
                        1.0 - of(enough, probings),
                    ),
                })
            }
            Criterion::Complete if stopped_rightly => None,
            Criterion::Complete if self.finished => {
                let done = self.answered.saturating_sub(invented(&self.readings));
                let planned = self.planned;
                let mut losses = by_lapses();
                // A lapse may be about the same steps.
                let more = 1.0 - of(done, planned.max(1)) - (1.0 - losses.left);
                losses.take(Why::NotDone { done, planned }, more);
                Some(losses)
            }
            Criterion::Ring if !self.has_ring => None,
            Criterion::Help if self.level != Level::Asked => None,
            // What is still to come is not judged.
            _ if !self.finished && lapses == 0 => None,
            _ => Some(by_lapses()),
        }
    }

    /// The place of a step in words, for a sheet.
    pub fn where_is(step: &StepId, place: Option<&Place>) -> String {
        let circuit = step.circuit.map(|n| format!("circuit {n}, "));
        let place = place.map(|place| format!(", {place}"));
        format!(
            "{}{}{}",
            circuit.unwrap_or_default(),
            step.stage,
            place.unwrap_or_default()
        )
    }
}
