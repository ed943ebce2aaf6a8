use super::cells::{Cell, Cells, JOINED_INSTEAD, ReadingRow, reading_row};
use super::exceptions::{Exception, exceptions};
use super::form::{FormCells, heading};
use super::front::{KeyCells, KeyResult, at_origin, open_steps};
use super::inspection::{InspectionReport, ObservationRow, inspected, observations};
use super::letterhead::Letterhead;
use super::words::{self, Times};
use crate::installation::{
    Board, Circuit, Device, GroupRcd, Job, Phases, RcdDelay, SystemVoltage, board_said,
    circuits_by_number,
};
use crate::limits::{Earthing, Finding, Outcome, earth_loop, judge};
use crate::log::{Head, Log, LogError, Thread};
use crate::quantity::{Ohms, TestVoltage};
use crate::sequence::procedures::assess::measured_ze;
use crate::sequence::procedures::{inspection, not_tested_since_back, tested_joined_instead};
use crate::sequence::say::board_and_circuit;
use crate::sequence::{
    Agenda, Ask, CAUTIONS, Column, Event, EventNo, Mode, OutEntry, State, Step, StepKind,
    StepOutcome, say,
};
use crate::terms::{Parked, Stage};
use jiff::{SignedDuration, Timestamp, civil::Date};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// What the document is; stands on every page.
pub const RECORD_OF: &str = "Record of what was said and measured; not a certificate.";

/// The same where it was practised on a simulated installation: the stamp of every page.
pub const PRACTICE_OF: &str = "PRACTICE on a simulated installation: nothing was tested, and this is no schedule of any installation.";

/// A name with the stamp of practice before it, where it was practised.
fn stamped(practised: bool, name: &str) -> String {
    if practised {
        format!("PRACTICE: {name}")
    } else {
        name.to_owned()
    }
}

/// What the document of a session is.
pub(super) fn record_of(state: &State) -> &'static str {
    if state.practises() {
        PRACTICE_OF
    } else {
        RECORD_OF
    }
}

/// The schedule of test results of one session, as pure data: everything the pages show, and
/// nothing that they don't.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Schedule {
    /// What the document is, and is not.
    pub record_of: &'static str,
    /// What must be seen by whoever reads it.
    pub cautions: &'static [&'static str],
    /// Whether it was practised on a simulated installation.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub practised: bool,
    /// Of the job.
    pub title: String,
    /// Initial verification or periodic inspection.
    pub kind: &'static str,
    /// Who tested.
    pub tester: String,
    /// Who supervised, when the tester is a learner.
    pub supervisor: Option<String>,
    /// Where.
    pub site: String,
    /// The site's address.
    pub address: Option<String>,
    /// Temperature of the conductors during the tests, °C.
    pub celsius: Option<f64>,
    /// When the log was begun and when its last event was kept.
    pub begun: Timestamp,
    /// When its last event was kept.
    pub last_event: Timestamp,
    /// How many times it was taken up again.
    pub resumed: usize,
    /// Whether the session was ended.
    pub finished: bool,
    /// How many events the log has.
    pub events: u64,
    /// Where the log ended, by which it is known again; nothing when it is kept nowhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub head: Option<Head>,
    /// Which session of a merged log it is of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub thread: Option<Thread>,
    /// Program and version that began the log.
    pub program: String,
    /// Editions of the limits used.
    pub editions: BTreeSet<String>,
    /// Name of the time zone in which the times are shown.
    pub time_zone: String,
    /// What feeds the installation.
    pub supply: SupplyFacts,
    /// Those of the job.
    pub instruments: Vec<InstrumentRow>,
    /// The tests that the job is limited to; empty when it is not.
    pub limited_to: Vec<&'static str>,
    /// What was not tested, and why.
    pub limitations: Vec<Limitation>,
    /// Where the order of the steps was left.
    pub departures: Vec<Departure>,
    /// Where the work went on although something barred the way.
    pub overrides: Vec<OverrideRow>,
    /// What was noted.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<NoteRow>,
    /// What was seen, with its code.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub observations: Vec<ObservationRow>,
    /// The schedule of inspection, where one belongs to the job.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspection: Option<InspectionReport>,
    /// What is still to be done.
    pub open_items: Vec<OpenItem>,
    /// Results that are outside their limits, or should not have been so.
    pub exceptions: Vec<Exception>,
    /// The stages of which something was read or stated.
    #[serde(skip)]
    pub tested: Vec<Stage>,
    /// Board and circuit of each that stays off.
    #[serde(skip)]
    pub stays_off: Vec<(u16, u16)>,
    /// The day by which the job asks for the next inspection.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_inspection: Option<Date>,
    /// Ze, fault current and bonds, as measured.
    pub origin: Vec<KeyResult>,
    /// In the order of the job.
    pub boards: Vec<BoardSchedule>,
    /// Everything that was ever out.
    pub out_list: Vec<OutRow>,
    /// Columns of the circuit table that hold results.
    #[serde(skip)]
    pub columns: Vec<&'static Column>,
    /// The zone that times are shown in.
    #[serde(skip)]
    pub times: TimesOfSchedule,
    /// Whose paper it is printed on.
    #[serde(skip)]
    pub letterhead: Letterhead,
}

/// The zone the times of a schedule are shown in; left out of comparisons.
#[derive(Debug, Clone)]
pub struct TimesOfSchedule(pub Times);

impl PartialEq for TimesOfSchedule {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// The supply's characteristics, as given and as measured.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SupplyFacts {
    /// TN-S, TN-C-S or TT.
    pub earthing: &'static str,
    /// 1 or 3.
    pub phases: u8,
    /// Nominal voltage to earth, U0, V.
    pub volts: f64,
    /// Every source that could feed the installation.
    pub sources: Vec<&'static str>,
    /// Given by the distributor, Ω.
    pub ze_given: Option<String>,
    /// Given by the distributor, kA.
    pub fault_current_given: Option<String>,
    /// What else the job file says of the supply and the origin.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub particulars: Vec<Particular>,
}

/// One thing on record of the supply or the origin.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Particular {
    /// What it is.
    pub what: &'static str,
    /// What is on record.
    pub value: String,
}

/// An instrument that was used.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InstrumentRow {
    /// What it is called.
    pub name: String,
    /// Its serial number.
    pub serial: String,
    /// The tests it may be used for.
    pub used_for: Vec<&'static str>,
    /// The last day on which it is in calibration; nothing for a voltage indicator without.
    pub calibration_due: Option<Date>,
    /// Whether it was due before the session began.
    pub overdue: bool,
}

impl InstrumentRow {
    /// The day, as it is shown.
    pub fn due(&self) -> String {
        self.calibration_due
            .map_or_else(|| "–".to_owned(), words::day)
    }
}

/// Something that was not tested, and why.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limitation {
    /// L1, L2, ...: what cells of the tables refer to.
    pub mark: String,
    /// The board's number.
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// The part of the work that they belong to.
    #[serde(skip)]
    pub stage: Stage,
    /// The tests.
    pub what: Vec<String>,
    /// Why, in words.
    pub reason: String,
    /// When it was said; nothing when it follows from how the circuit was tested.
    pub at: Option<Timestamp>,
}

/// A departure from the order of the steps.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Departure {
    /// The event that departed.
    pub event: EventNo,
    /// When it was kept.
    pub at: Timestamp,
    /// What was done, in words.
    pub what: String,
}

/// Going on although something barred the way.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OverrideRow {
    /// The event that went on.
    pub event: EventNo,
    /// When it was kept.
    pub at: Timestamp,
    /// Why, in words.
    pub reason: &'static str,
    /// What was still out then.
    pub out: Vec<String>,
}

/// A part of a note.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NoteRow {
    /// The event that brought it.
    pub event: EventNo,
    /// When it was kept.
    pub at: Timestamp,
    /// Where the session was.
    pub board: Option<u16>,
    /// The circuit the session was at.
    pub circuit: Option<u16>,
    /// The step that was asked for then, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// What was typed; nothing when it was spoken and is kept as sound.
    pub text: Option<String>,
}

impl NoteRow {
    /// What it says, and where.
    pub fn shown(&self) -> String {
        let text = match &self.text {
            Some(text) => format!("\u{201c}{text}\u{201d}"),
            None => "kept as sound".to_owned(),
        };
        let mut text = text;
        for (what, number) in [("board", self.board), ("circuit", self.circuit)] {
            if let Some(number) = number {
                text.push_str(&format!(", {what} {number}"));
            }
        }
        if let Some(step) = &self.step {
            text.push_str(&format!(", {step}"));
        }
        text
    }
}

/// Something still to be done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OpenItem {
    /// In words.
    pub what: String,
    /// Whether it is on the out-list: it weighs more than a step not done.
    pub still_out: bool,
}

/// One board with its circuits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoardSchedule {
    /// By which it is called.
    pub number: u16,
    /// Its name.
    pub name: String,
    /// Where it is.
    pub location: Option<String>,
    /// The board and circuit it is fed from; nothing at the origin.
    pub fed_from: Option<String>,
    /// 1 or 3.
    pub phases: u8,
    /// What the form heads the board's results with.
    pub heading: Vec<HeadingRow>,
    /// What was said of isolation, polarity of the supply, phase sequence, functional checks.
    pub checks: Vec<Check>,
    /// Readings of the board itself: instrument checks, bonds, Ze, fault current.
    pub readings: Vec<ReadingRow>,
    /// In the order of the job.
    pub circuits: Vec<CircuitRow>,
}

/// One thing that the form heads a board's results with.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeadingRow {
    /// What it is.
    pub what: &'static str,
    /// What stands there.
    #[serde(flatten)]
    pub value: HeadingValue,
}

/// What stands in the heading of a board.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum HeadingValue {
    /// What the job file gives.
    Given(String),
    /// What was read or said.
    Result(Cell),
    /// What was read between each pair of conductors.
    Read(Vec<PairRead>),
}

/// What was read between two conductors.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PairRead {
    /// "L-N".
    pub pair: String,
    /// What was read.
    pub result: Cell,
}

/// A check answered by a statement.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// What was checked.
    pub what: String,
    /// What was stated of it.
    pub said: String,
}

/// One line of the schedule.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CircuitRow {
    /// By which it is called.
    pub number: u16,
    /// What it feeds.
    pub description: String,
    /// What sort it is: "ring".
    pub kind: &'static str,
    /// 1 or 3.
    pub phases: u8,
    /// Points on the circuit, as listed in the job.
    pub points: usize,
    /// Length of the cable, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metres: Option<f64>,
    /// mm²
    pub live_mm2: Option<f64>,
    /// mm²
    pub cpc_mm2: Option<f64>,
    /// Type of wiring, as the job file has it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wiring: Option<String>,
    /// Reference method of its installation, as the job file has it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_method: Option<String>,
    /// The longest time in which a fault may be disconnected, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disconnection_seconds: Option<f64>,
    /// The overcurrent device's standard.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device_standard: Option<String>,
    /// The overcurrent device's type, where its standard has types.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device_type: Option<String>,
    /// The overcurrent device's standard and type.
    pub device: Option<String>,
    /// In, A
    pub rating_amps: Option<f64>,
    /// kA
    pub breaking_ka: Option<f64>,
    /// IΔn, mA
    pub rcd_ma: Option<f64>,
    /// The RCD's waveform type.
    pub rcd_type: Option<String>,
    /// Whether it is time-delayed, type S.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub rcd_time_delayed: bool,
    /// The RCD's standard.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rcd_standard: Option<String>,
    /// The RCD's rated current, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rcd_amps: Option<f64>,
    /// The RCDs of several circuits that it is under, with their figures.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub protected_by: Vec<String>,
    /// What the form merges from several results.
    pub form: FormCells,
    /// Results, by the columns of the schedule.
    #[serde(flatten)]
    pub cells: Cells,
    /// Insulation test voltage, V d.c.
    pub test_volts: Option<u16>,
    /// The largest Zs that the device allows, at the conductors' working temperature, Ω; the
    /// verdict says how a cold reading stands against it.
    pub zs_limit: Option<String>,
    /// The largest that it may read cold by the rule of thumb, 0.8 of that; a reading past it may be
    /// within when it is corrected for heat, as its verdict says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub zs_cold: Option<String>,
    /// The largest that may be read: what a reading is compared with, Ω.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub zs_read_at_most: Option<String>,
    /// The results by which it is known.
    #[serde(skip)]
    pub key: KeyCells,
    /// How many of its steps are open.
    pub open_steps: usize,
    /// Whether any of them was answered.
    #[serde(skip)]
    pub begun: bool,
    /// What else must be read with it.
    pub remarks: Vec<String>,
    /// Every reading that counts, with its verdict.
    pub readings: Vec<ReadingRow>,
}

/// One entry of the out-list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutRow {
    /// The event that put it on the list.
    pub event: EventNo,
    /// In words: "neutral at socket 3".
    pub what: String,
    /// The board's number.
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// How it was kept from touching anything.
    pub parked: Option<&'static str>,
    /// When it was taken out.
    pub out_at: Timestamp,
    /// When it was put back; nothing when it is out.
    pub back_at: Option<Timestamp>,
    /// How long it was out; to the last event when it is not back.
    pub seconds: i64,
    /// Said by mistake and taken back.
    pub withdrawn: bool,
    /// The person went on with this still out, and said why.
    pub overridden: bool,
}

impl OutRow {
    /// Whether it has still to be put back.
    pub fn is_open(&self) -> bool {
        self.back_at.is_none() && !self.withdrawn
    }

    /// How long it was out.
    pub fn length(&self) -> String {
        words::length(SignedDuration::from_secs(self.seconds))
    }
}

impl Schedule {
    /// A name with the stamp of practice before it, where it was practised.
    pub(super) fn stamped(&self, name: &str) -> String {
        stamped(self.practised, name)
    }

    /// What stands under the limitations when there are none. Only of a session that came to its
    /// end can it be said that everything was tested.
    pub fn no_limitations(&self) -> &'static str {
        let items = self.inspection.iter().flat_map(|report| &report.sections);
        let mut items = items.flat_map(|section| &section.items);
        if self.finished && self.open_items.is_empty() {
            match items.any(|item| matches!(item.mark, Some("LIM" | "N/V"))) {
                true => {
                    "Everything planned was tested. What is marked LIM or N/V in the inspection was not inspected."
                }
                false => "Everything planned was tested.",
            }
        } else {
            "No planned test is left out so far; see the open items."
        }
    }

    /// The same with one's own heading and logo.
    #[must_use]
    pub fn on_paper_of(self, letterhead: &Letterhead) -> Self {
        Self {
            letterhead: letterhead.clone(),
            ..self
        }
    }

    /// How this very log is known again; nothing when it is kept nowhere.
    pub fn known_by(&self) -> Option<String> {
        self.head.map(|head| {
            format!(
                "Head of the log: {head}. `bothhands verify LOG --head {}` tells whether a log still holds what this was made from.",
                head.short()
            )
        })
    }

    /// What a job that is limited to some tests begins its limitations with.
    pub fn limited_job(&self) -> Option<String> {
        (!self.limited_to.is_empty()).then(|| {
            format!(
                "The job was limited to {}: no other test was planned.",
                self.limited_to.join(", ")
            )
        })
    }

    /// The schedule of a log, with times shown in the zone given.
    ///
    /// # Errors
    /// When the log is empty or does not begin with the job.
    pub fn of(log: &Log, times: &Times) -> Result<Self, LogError> {
        Ok(Self::made(log, &log.agenda()?, times))
    }

    /// The same, of an agenda that has taken all of the log.
    pub fn made(log: &Log, agenda: &Agenda, times: &Times) -> Self {
        let job = agenda.job();
        let steps = by_circuit(agenda);
        let limitations = limitations(log, agenda);
        let parts = job.boards.iter();
        let boards: Vec<BoardSchedule> =
            joined(parts.map(|board| board_schedule(agenda, board, &steps, &limitations)));
        let readings = boards.iter().flat_map(|b| {
            b.readings
                .iter()
                .chain(b.circuits.iter().flat_map(|c| &c.readings))
        });
        let editions = readings
            .filter_map(|row| row.verdict.as_ref())
            .map(|verdict| verdict.edition.clone())
            .filter(|edition| !edition.is_empty())
            .collect();
        let mut schedule = Self {
            record_of: record_of(agenda),
            cautions: CAUTIONS,
            practised: agenda.practises(),
            title: stamped(agenda.practises(), &job.title),
            kind: words::job_kind(job.kind),
            tester: job.tester.clone(),
            supervisor: job.supervisor.clone(),
            site: job.site.name.clone(),
            address: job.site.address.clone(),
            celsius: job.site.ambient_celsius,
            begun: agenda.opened(),
            last_event: agenda.last_event_at(),
            resumed: resumed(log),
            finished: agenda.mode() == Mode::Finished,
            events: agenda.next_event().0,
            head: log.head,
            thread: log.thread.clone(),
            program: program(log),
            editions,
            time_zone: times.zone_name(),
            supply: supply(job),
            instruments: instruments(agenda, times),
            departures: departures(log, agenda),
            overrides: overrides(agenda),
            notes: notes(log, agenda),
            observations: observations(log, agenda),
            inspection: inspected(agenda),
            open_items: open_items(agenda),
            exceptions: exceptions(log, agenda),
            limited_to: limited_to(agenda.job()),
            tested: tested(agenda),
            stays_off: agenda.circuits_off().collect(),
            next_inspection: job.next_inspection,
            origin: job
                .boards
                .iter()
                .filter_map(|board| steps.get(&(board.number, None)))
                .flat_map(|own| at_origin(agenda, own, &limitations))
                .collect(),
            limitations,
            boards,
            out_list: agenda
                .out_list()
                .iter()
                // What was only asked for, and then named by the person or not out, has no row.
                .filter(|entry| !(entry.withdrawn && entry.ordered.is_some()))
                .map(|entry| out_row(entry, agenda.last_event_at()))
                .collect(),
            columns: agenda.catalogue().columns(),
            times: TimesOfSchedule(times.clone()),
            letterhead: Letterhead::default(),
        };
        schedule.call_boards_by_their_numbers();
        schedule
    }

    /// Parts of a board have numbers of their own, which nobody knows.
    fn call_boards_by_their_numbers(&mut self) {
        let limitations = self.limitations.iter_mut().map(|one| &mut one.board);
        let notes = self.notes.iter_mut().filter_map(|one| one.board.as_mut());
        let observations = self.observations.iter_mut().map(|one| &mut one.board);
        let exceptions = self.exceptions.iter_mut().map(|one| &mut one.board);
        let off = self.stays_off.iter_mut().map(|(board, _)| board);
        let origin = self.origin.iter_mut().map(|one| &mut one.board);
        let out = self.out_list.iter_mut().map(|one| &mut one.board);
        for board in limitations
            .chain(notes)
            .chain(observations)
            .chain(exceptions)
            .chain(off)
            .chain(origin)
            .chain(out)
        {
            *board = board_said(*board);
        }
    }

    /// How the times are shown.
    pub fn times(&self) -> &Times {
        &self.times.0
    }
}

/// The steps of each board and circuit.
pub(super) type Steps<'a> = BTreeMap<(u16, Option<u16>), Vec<&'a Step>>;

fn by_circuit(agenda: &Agenda) -> Steps<'_> {
    let mut steps = Steps::new();
    for step in &agenda.plan().steps {
        steps
            .entry((step.board, step.circuit))
            .or_default()
            .push(step);
    }
    steps
}

/// The notes, each where the session was when it was made; what was noted of an observation stands there.
fn notes(log: &Log, whole: &Agenda) -> Vec<NoteRow> {
    let observed: BTreeSet<EventNo> = whole
        .observations()
        .flat_map(|seen| seen.noted.iter().map(|(no, _)| *no))
        .collect();
    let is_note = |event: &Event| matches!(event, Event::Noted { .. });
    if !log.entries.iter().any(|entry| is_note(&entry.event)) {
        return Vec::new();
    }
    let mut entries = log.entries.iter();
    let Some(mut agenda) = entries
        .next()
        .and_then(|first| Agenda::open(&first.event, first.at).ok())
    else {
        return Vec::new();
    };
    let mut notes = Vec::new();
    for entry in entries {
        if let Event::Noted { text, step } = &entry.event
            && !observed.contains(&entry.no)
        {
            let here = match step {
                Some(step) => agenda.step(step),
                None => agenda.current(),
            };
            notes.push(NoteRow {
                event: entry.no,
                at: entry.at,
                board: here.map(|step| step.board),
                circuit: here.and_then(|step| step.circuit),
                step: here.map(|step| words::step(&agenda, step)),
                text: text.clone(),
            });
        }
        agenda.apply(&entry.event, entry.at);
    }
    notes
}

fn resumed(log: &Log) -> usize {
    let resumed = |event: &Event| matches!(event, Event::Resumed { .. });
    log.entries.iter().filter(|e| resumed(&e.event)).count()
}

fn program(log: &Log) -> String {
    match log.entries.first().map(|entry| &entry.event) {
        Some(Event::Opened { by, .. }) => by.clone(),
        _ => String::new(),
    }
}

fn supply(job: &Job) -> SupplyFacts {
    let supply = &job.supply;
    SupplyFacts {
        earthing: supply.earthing.name(),
        phases: supply.phases.into(),
        volts: supply.volts,
        sources: supply.sources.iter().map(|s| s.shown()).collect(),
        ze_given: supply.ze_ohms.map(|n| n.to_string()),
        fault_current_given: supply.fault_current_ka.map(|n| n.to_string()),
        particulars: job
            .particulars()
            .into_iter()
            .map(|(what, value)| Particular { what, value })
            .collect(),
    }
}

fn instruments(agenda: &Agenda, times: &Times) -> Vec<InstrumentRow> {
    let begun = agenda
        .opened()
        .to_zoned_datetime(times.zone().clone())
        .date();
    agenda
        .job()
        .instruments
        .iter()
        .map(|i| InstrumentRow {
            name: i.name.clone(),
            serial: i.serial.clone(),
            used_for: i
                .used_for
                .iter()
                .map(|u| words::instrument_use(*u))
                .collect(),
            calibration_due: i.calibration_due,
            overdue: i.overdue_on(begun),
        })
        .collect()
}

fn tested(agenda: &Agenda) -> Vec<Stage> {
    // What is asked before minor works is no inspection of what can be seen.
    let seen = |step: &Step| step.item().is_some() || step.kind == inspection::OUTCOME;
    let told = |step: &&Step| step.stage != Stage::Inspection || seen(step);
    let done = agenda.plan().steps.iter().filter(told).filter(|step| {
        matches!(
            agenda.outcome(step),
            Some(StepOutcome::Read(_) | StepOutcome::Stated(..))
        )
    });
    let stages: BTreeSet<Stage> = done.map(|step| step.stage).collect();
    stages.into_iter().collect()
}

fn limited_to(job: &Job) -> Vec<&'static str> {
    let tests = job.tests.iter().flatten();
    tests.map(|stage| stage.shown()).collect()
}

/// What was not tested, steps of one circuit, stage and reason together.
fn limitations(log: &Log, agenda: &Agenda) -> Vec<Limitation> {
    let mut found: Vec<Limitation> = Vec::new();
    let mut add = |(board, circuit), stage, what: &str, reason: &str, at| {
        let same = found.iter_mut().rev().find(|one| {
            (one.board, one.circuit, one.stage) == (board, circuit, stage) && one.reason == reason
        });
        match same {
            Some(one) if one.what.iter().any(|already| already == what) => {}
            Some(one) => one.what.push(what.to_owned()),
            None => found.push(Limitation {
                mark: format!("L{}", found.len() + 1),
                board,
                circuit,
                stage,
                what: vec![what.to_owned()],
                reason: reason.to_owned(),
                at,
            }),
        }
    };
    for step in &agenda.plan().steps {
        let (reason, at) = match agenda.outcome(step) {
            Some(StepOutcome::NotTested(no, reason)) => (reason.shown(), Some(*no)),
            None if tested_joined_instead(agenda.state(), step) => (JOINED_INSTEAD, None),
            _ => continue,
        };
        let at = at.and_then(|no| log.entry(no)).map(|entry| entry.at);
        let what = words::step(agenda, step);
        add((step.board, step.circuit), step.stage, &what, reason, at);
    }
    for (board, circuit) in agenda.circuits_off() {
        let said = log.entries.iter().rev().find(|entry| {
            matches!(entry.event, Event::StaysOff { board: b, circuit: c }
                if (b, c) == (board, circuit))
        });
        add(
            (board, Some(circuit)),
            Stage::MakeSafe,
            "what was not tested when it was left off",
            "the circuit stays off",
            said.map(|entry| entry.at),
        );
    }
    for step in &agenda.plan().steps {
        if step.circuit.is_some() && not_tested_since_back(agenda.state(), step) {
            add(
                (step.board, step.circuit),
                Stage::Insulation,
                "insulation at 250 V after equipment was put back",
                "a circuit of a live board is not tested again with its equipment back",
                None,
            );
        }
    }
    let boards = agenda.job().boards.iter().map(|board| board.number);
    for board in boards.filter(|board| !agenda.has_its_supply(*board)) {
        add(
            (board, None),
            Stage::MakeSafe,
            "what is tested live",
            "the circuit that feeds it stays off",
            None,
        );
    }
    found
}

fn departures(log: &Log, agenda: &Agenda) -> Vec<Departure> {
    let withdrawn: BTreeSet<EventNo> = log
        .entries
        .iter()
        .filter_map(|entry| match entry.event {
            Event::Withdrawn { of, .. } => Some(of),
            _ => None,
        })
        .collect();
    log.entries
        .iter()
        .filter(|entry| !withdrawn.contains(&entry.no))
        .filter_map(|entry| {
            let what = match &entry.event {
                Event::JobChanged { .. } => {
                    "the job was changed, and all of it is judged by the job as it is now; the log \
                     tells what differs"
                        .to_owned()
                }
                Event::Skipped { step, reason } => {
                    let step = agenda.step(step)?;
                    format!(
                        "left out: {}{}, {}",
                        board_and_circuit(step),
                        words::step(agenda, step),
                        reason.shown()
                    )
                }
                Event::Moved {
                    to, passed_over, ..
                } if *passed_over > 0 => {
                    let step = agenda.step(to)?;
                    let steps = if *passed_over == 1 { "step" } else { "steps" };
                    format!(
                        "moved to {}{} with {passed_over} earlier {steps} open",
                        board_and_circuit(step),
                        step.stage.shown()
                    )
                }
                _ => return None,
            };
            Some(Departure {
                event: entry.no,
                at: entry.at,
                what,
            })
        })
        .collect()
}

fn overrides(agenda: &Agenda) -> Vec<OverrideRow> {
    agenda
        .overrides()
        .iter()
        .map(|one| OverrideRow {
            event: one.no,
            at: one.at,
            reason: one.reason.shown(),
            out: agenda
                .out_list()
                .iter()
                .filter(|entry| one.entries.contains(&entry.no))
                .map(OutEntry::what)
                .collect(),
        })
        .collect()
}

/// How many steps of each stage are open.
type StagesOpen = Vec<(Stage, u32)>;

fn open_items(agenda: &Agenda) -> Vec<OpenItem> {
    let mut items: Vec<OpenItem> = agenda
        .open_entries()
        .map(|entry| OpenItem {
            what: format!("still out: {}", say::entry(agenda.state(), entry)),
            still_out: true,
        })
        .collect();
    if let Some(question) = agenda.question() {
        items.push(OpenItem {
            what: format!("not answered: {}", say::question(agenda, question)),
            still_out: false,
        });
    }
    // In the order in which they come.
    let mut open: Vec<(u16, Option<u16>, StagesOpen)> = Vec::new();
    for step in agenda.open_steps().filter(|step| step.ask != Ask::Event) {
        let known = open
            .iter_mut()
            .find(|(board, circuit, _)| (*board, *circuit) == (step.board, step.circuit));
        let Some((_, _, stages)) = known else {
            open.push((step.board, step.circuit, vec![(step.stage, 1)]));
            continue;
        };
        match stages.iter_mut().find(|(stage, _)| *stage == step.stage) {
            Some((_, count)) => *count += 1,
            None => stages.push((step.stage, 1)),
        }
    }
    items.extend(open.into_iter().map(|(board, circuit, stages)| {
        let stages: Vec<String> = stages
            .into_iter()
            .map(|(stage, count)| match count {
                1 => stage.shown().to_owned(),
                several => format!("{} ({several} steps)", stage.shown()),
            })
            .collect();
        let board = board_said(board);
        let place = match circuit {
            Some(circuit) => format!("board {board}, circuit {circuit}"),
            None => format!("board {board} itself"),
        };
        OpenItem {
            what: format!("not done: {place}: {}", stages.join(", ")),
            still_out: false,
        }
    }));
    if agenda.mode() != Mode::Finished {
        items.push(OpenItem {
            what: "the session is not finished".to_owned(),
            still_out: false,
        });
    }
    items
}

fn out_row(entry: &OutEntry, last: Timestamp) -> OutRow {
    let back_at = entry.back.map(|(_, at)| at);
    OutRow {
        event: entry.no,
        what: entry.what(),
        board: entry.board,
        circuit: entry.circuit,
        parked: entry.parked.map(Parked::shown),
        out_at: entry.at,
        back_at,
        seconds: back_at.unwrap_or(last).duration_since(entry.at).as_secs(),
        withdrawn: entry.withdrawn,
        overridden: entry.overridden,
    }
}

fn board_schedule(
    agenda: &Agenda,
    board: &Board,
    steps: &Steps<'_>,
    limitations: &[Limitation],
) -> BoardSchedule {
    let own: &[&Step] = steps
        .get(&(board.number, None))
        .map(Vec::as_slice)
        .unwrap_or_default();
    BoardSchedule {
        number: board.number,
        name: board.name.clone(),
        location: board.location.clone(),
        fed_from: board.fed_from.clone(),
        phases: board.phases.into(),
        checks: checks(agenda, own),
        readings: readings(agenda, own),
        heading: heading(agenda, board, steps, limitations),
        circuits: board
            .circuits
            .iter()
            .map(|circuit| {
                let own: &[&Step] = steps
                    .get(&(board.number, Some(circuit.number)))
                    .map(Vec::as_slice)
                    .unwrap_or_default();
                circuit_row(agenda, board, circuit, own, limitations)
            })
            .collect(),
    }
}

/// Boards with the parts in which they were worked on put together, circuits by their numbers; what a part has
/// of its own (instruments, isolation) stands with the board.
fn joined(all: impl Iterator<Item = BoardSchedule>) -> Vec<BoardSchedule> {
    let mut boards: Vec<BoardSchedule> = Vec::new();
    for one in all {
        let number = board_said(one.number);
        let parts = boards.iter_mut().find(|board| board.number == number);
        let Some(board) = parts else {
            boards.push(BoardSchedule { number, ..one });
            continue;
        };
        board.checks.extend(one.checks);
        board.readings.extend(one.readings);
        board.circuits.extend(one.circuits);
        board.circuits.sort_by_key(|circuit| circuit.number);
        // What stays live comes last, and holds what was read of the whole board.
        board.heading = one.heading;
    }
    boards
}

/// Checks of a board that are answered by a statement. Isolation comes as one line.
fn checks(agenda: &Agenda, steps: &[&Step]) -> Vec<Check> {
    let mut checks = Vec::new();
    let isolation: Vec<&&Step> = steps
        .iter()
        .filter(|step| step.stage == Stage::Isolation)
        .collect();
    if let Some(first) = isolation.first() {
        let open = isolation.iter().filter(|step| agenda.is_open(step)).count();
        let energised = agenda.energised(first.board);
        let off = agenda.all_stay_off(first.board);
        let said = match (open, energised) {
            (_, true) if off => {
                "the person said: isolated and proved dead; every one stays off".to_owned()
            }
            (_, true) => "the person said: isolated and proved dead, later energised".to_owned(),
            (0, false) => "the person said: isolated and proved dead".to_owned(),
            (open, false) => format!("{open} steps of isolation open"),
        };
        // On a board that stays live it is that of some of its circuits.
        let circuits = agenda
            .board(first.board)
            .filter(|board| board.isolates_circuits())
            .map(|board| {
                let numbers: Vec<u16> = board.circuits.iter().map(|c| c.number).collect();
                format!("isolation of {}", circuits_by_number(&numbers))
            });
        checks.push(Check {
            what: circuits.unwrap_or_else(|| "isolation".to_owned()),
            said,
        });
    }
    let others = steps.iter().filter(|step| {
        // Items of the inspection have a schedule of their own.
        let item = step.item().is_some() || step.kind == inspection::OUTCOME;
        let by_itself = matches!(step.stage, Stage::Isolation | Stage::Energise) || item;
        !by_itself && matches!(step.ask, Ask::Statement(_))
    });
    for step in others {
        let said = match agenda.outcome(step) {
            Some(StepOutcome::Stated(_, statement)) => statement.shown().to_owned(),
            Some(StepOutcome::NotTested(_, reason)) => {
                format!("not tested: {}", reason.shown())
            }
            Some(StepOutcome::Skipped(_, reason)) => format!("left out: {}", reason.shown()),
            Some(StepOutcome::Read(_)) | None => "not done".to_owned(),
        };
        checks.push(Check {
            what: words::step(agenda, step),
            said,
        });
    }
    checks
}

fn readings(agenda: &Agenda, steps: &[&Step]) -> Vec<ReadingRow> {
    steps
        .iter()
        .filter_map(|step| Some(reading_row(agenda, step, agenda.result(step)?)))
        .collect()
}

fn circuit_row(
    agenda: &Agenda,
    board: &Board,
    circuit: &Circuit,
    steps: &[&Step],
    limitations: &[Limitation],
) -> CircuitRow {
    let zs_limit = zs_maximum(agenda.state(), board, circuit);
    // Its own device at its row, that of several where it has none.
    let rcd = circuit
        .rcd
        .clone()
        .or_else(|| board.group_of(circuit).map(GroupRcd::rcd));
    let facts = agenda.job().facts(board, circuit);
    // Separated extra-low voltage is not disconnected to protect anybody.
    let low = facts.system == SystemVoltage::Low;
    let seconds = earth_loop::disconnection_time(agenda.tables(), &facts)
        .filter(|_| low)
        .map(|(seconds, _)| seconds);
    let device = circuit.device.as_ref();
    let marked = device.map(Device::standard_and_type);
    // One device that is both has one standard and one rated current.
    let both = device.filter(|d| circuit.rcd.is_some() && d.kind.is_rcbo());
    let both_marked = both.map(|d| d.standard_and_type().0);
    let mut shown = steps.to_vec();
    shown.extend(agenda.state().shown_with(board.number, circuit));
    let (open_steps, begun) = open_steps(agenda, steps);
    let full = steps
        .iter()
        .filter(|step| step.kind == StepKind::InsulationFull)
        .filter_map(|step| step.measure()?.at)
        .max();
    CircuitRow {
        number: circuit.number,
        description: circuit.name.clone(),
        kind: words::circuit_kind(circuit.kind),
        phases: circuit.phases.into(),
        points: circuit.points_served(),
        wiring: circuit.wiring.clone(),
        reference_method: circuit.reference_method.clone(),
        disconnection_seconds: seconds,
        device_standard: marked.as_ref().map(|(standard, _)| standard.clone()),
        device_type: marked.and_then(|(_, kind)| kind),
        rcd_standard: rcd
            .as_ref()
            .and_then(|r| r.standard.clone())
            .or(both_marked),
        rcd_amps: rcd.as_ref().and_then(|r| r.amps).or(both.map(|d| d.amps)),
        protected_by: board
            .rcds
            .iter()
            .filter(|group| group.protects(circuit.number))
            .map(GroupRcd::written)
            .collect(),
        form: FormCells::of(agenda, &shown, limitations),
        metres: circuit.cable.as_ref().and_then(|c| c.metres),
        live_mm2: circuit.cable.as_ref().map(|c| c.line_mm2),
        cpc_mm2: circuit.cable.as_ref().map(|c| c.cpc_mm2),
        device: circuit.device.as_ref().map(|d| d.shown().to_owned()),
        rating_amps: circuit.device.as_ref().map(|d| d.amps),
        breaking_ka: circuit.device.as_ref().and_then(|d| d.breaking_ka),
        rcd_ma: rcd.as_ref().map(|r| r.milliamps),
        rcd_time_delayed: rcd.as_ref().is_some_and(|r| r.delay == RcdDelay::S),
        rcd_type: rcd.and_then(|r| r.waveform),
        cells: Cells::of(agenda, &shown, limitations),
        test_volts: full.map(TestVoltage::volts),
        zs_limit: zs_limit.as_ref().map(|limit| limit.shown.clone()),
        zs_read_at_most: zs_limit
            .as_ref()
            .and_then(|limit| limit.read_at_most)
            .map(Ohms::shown),
        zs_cold: zs_limit.and_then(|limit| limit.cold),
        key: KeyCells::of(agenda, &shown, limitations),
        open_steps,
        begun,
        remarks: remarks(agenda, board, circuit, steps, limitations),
        readings: readings(agenda, steps),
    }
}

/// The largest Zs of a circuit.
pub(crate) struct ZsMaximum {
    shown: String,
    cold: Option<String>,
    /// What a reading is compared with.
    pub(crate) read_at_most: Option<Ohms>,
}

/// The largest Zs of a circuit: by its overcurrent device, or by its RCD on a TT system.
pub(crate) fn zs_maximum(state: &State, board: &Board, circuit: &Circuit) -> Option<ZsMaximum> {
    let tables = state.tables();
    let facts = state.job().facts(board, circuit);
    let ze = measured_ze(state, board.number);
    let read_at_most = judge::zs_read_at_most(tables, &facts, ze.as_ref());
    match (facts.earthing, facts.rcd) {
        (Earthing::Tt, Some(rcd)) => Some(ZsMaximum {
            shown: earth_loop::rcd_maximum(tables, rcd.milliamps).shown(),
            cold: None,
            read_at_most,
        }),
        _ => judge::zs_limit(tables, &facts).map(|limit| ZsMaximum {
            cold: Some(limit.cold(tables).shown()),
            shown: limit.shown,
            read_at_most,
        }),
    }
}

fn remarks(
    agenda: &Agenda,
    board: &Board,
    circuit: &Circuit,
    steps: &[&Step],
    limitations: &[Limitation],
) -> Vec<String> {
    let mut remarks: Vec<String> = Vec::new();
    for entry in agenda.open_on(board.number, circuit.number) {
        remarks.push(format!("still out: {}", entry.what()));
    }
    let marks: Vec<&str> = limitations
        .iter()
        .filter(|one| (one.board, one.circuit) == (board.number, Some(circuit.number)))
        .map(|one| one.mark.as_str())
        .collect();
    if !marks.is_empty() {
        remarks.push(format!("see {}", marks.join(", ")));
    }
    for step in steps {
        let Some(kept) = agenda.result(step) else {
            continue;
        };
        let remark = kept
            .verdict
            .as_ref()
            .filter(|verdict| {
                let corrected = verdict.finding == Some(Finding::WithinWhenCorrected);
                verdict.outcome != Outcome::Pass || corrected
            })
            .and_then(|verdict| verdict.remark.as_deref());
        if let Some(remark) = remark {
            remarks.push(format!("{}: {remark}", words::step(agenda, step)));
        }
    }
    for group in board.rcds.iter().filter(|rcd| rcd.protects(circuit.number)) {
        remarks.push(format!("protected by RCD {}", group.number));
    }
    if circuit.phases == Phases::Three {
        remarks.push("three-phase: the lowest of each group of pairs is shown".to_owned());
    }
    remarks
}
