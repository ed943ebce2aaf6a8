use super::edition::Edition;
use super::id::StepId;
use super::picture::Picture;
use super::refusal::{Doubt, Refusal};
use crate::grammar::Intent;
use crate::installation::Job;
use crate::limits::Verdict;
use crate::quantity::Reading;
use crate::terms::{
    Consequence, Delivery, HalfCycle, HiddenFault, ItemNumber, Parked, Part, Place, Practice,
    Predicted, Probe, ProsodyNow, Reason, Shown, Statement,
};
use serde::{Deserialize, Serialize};
use std::fmt;

/// The number of an event in its log, from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct EventNo(pub u64);

impl fmt::Display for EventNo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// The version of [`Event`] that this program writes. A log may hold older ones.
///
/// Version 2 has doubts and refusals without sentences: a program of version 1 would count a reading
/// that is still asked about. Version 3 has what is ordered out, circuits that stay off, and what is
/// asked about both: an older program would call nothing out where something is.
/// Its verdicts have no sentences either. Version 4 has jobs that were changed on the way: an older
/// program would go on with the job as it was. Version 5 has practice: an older program would take it
/// for a test. Version 6 has practices in which devices trip and stay off: an older program would take what
/// is behind them for live. It has readings that were calculated, which an older program would take
/// for measured ones, and inspections. Version 7 has photographs, what was affirmed by touch, and the third
/// edition of the plan: an older program knows neither the events nor the steps, and would show what was touched as
/// said. Version 8 has what was a neighbour's. Version 9 has read-backs that were broken off, and practices on boards with
/// residual current devices of several circuits, with testers on references and on parts of live boards: an older program
/// knows neither the events nor what tripped. An older program says so with the number and names the program to use.
pub const EVENT_VERSION: u16 = 9;

/// What a loop impedance was worked out from: the loop outside, and R1+R2 of its circuit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Calculated {
    /// Which loop outside.
    pub by: External,
    /// Its value.
    pub external: Reading,
    /// The highest R1+R2 that was read, without the test leads.
    pub r1_r2: Reading,
}

/// The part of a loop that is outside a board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum External {
    /// Ze, as measured.
    Ze,
    /// Ze, as it was given.
    GivenZe,
    /// At a further board: Zs of the circuit that feeds it, as measured.
    Zdb,
}

impl External {
    /// As on a schedule.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Ze => "Ze",
            Self::GivenZe => "Ze as given",
            Self::Zdb => "Zdb",
        }
    }
}

impl Calculated {
    /// The sum, to the places of the one that has more, two or three: 0.21 + 0.302 = 0.512.
    pub fn sum(&self) -> Option<Reading> {
        let ohms = |reading: &Reading| {
            let value = crate::quantity::Ohms::from_reading(reading, None).ok()?;
            value.value()
        };
        let sum = ohms(&self.external)? + ohms(&self.r1_r2)?;
        let places = [&self.external, &self.r1_r2].map(|reading| {
            let shown = reading.shown();
            shown.split_once('.').map_or(0, |(_, after)| after.len())
        });
        let places = places.into_iter().max().unwrap_or(2).clamp(2, 3);
        let number = format!("{sum:.places$}").parse().ok()?;
        Some(Reading::exact(number).in_unit(crate::quantity::Unit::Ohm))
    }

    /// "Ze 0.21 + (R1+R2) 0.30".
    pub fn shown(&self) -> String {
        format!(
            "{} {} + (R1+R2) {}",
            self.by.shown(),
            self.external.shown(),
            self.r1_r2.shown()
        )
    }
}

/// Something that happened in a session. A session's state is nothing but its events applied in
/// order; events are never changed, a later one names the one it replaces.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Event {
    /// The log was begun for this job.
    Opened {
        /// The job, as its file said.
        job: Box<Job>,
        /// Program name and version that began it.
        by: String,
        /// The edition of the plan that it follows.
        #[serde(default, skip_serializing_if = "Edition::is_first")]
        edition: Edition,
        /// Which run of the machine it was, so that another is known to be one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        boot: Option<String>,
        /// How what is said is worded from here on.
        #[serde(default, skip_serializing_if = "Delivery::is_usual")]
        delivery: Delivery,
        /// How somebody learns by it, or is examined; nothing where the installation is tested.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        practice: Option<Box<Practice>>,
    },
    /// The log was opened again.
    Resumed {
        /// Program name and version.
        by: String,
        /// Which run of the machine it is.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        boot: Option<String>,
        /// Whether how long nobody was there can't be told, by a clock that was put back or a machine
        /// that was started anew: nothing of an isolation stands.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        anew: bool,
        /// How what is said is worded from here on.
        #[serde(default, skip_serializing_if = "Delivery::is_usual")]
        delivery: Delivery,
    },
    /// The job was changed on the way. What was done before stands as it was; the plan from here on is
    /// that of the job as it is now.
    JobChanged {
        /// The job, as its file says now.
        job: Box<Job>,
        /// The file's text, as it is; empty where the change was said and stands in no file.
        text: String,
        /// Program name and version that took it; empty where the change was said.
        by: String,
    },
    /// A reading is judged otherwise by what the job says now.
    JudgedAnew {
        /// The event that brought it.
        of: EventNo,
        /// What the limits say of it now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        verdict: Option<Verdict>,
        /// Why it would be asked about if it were said now: it counts no more until that was asked and
        /// affirmed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        doubt: Option<Doubt>,
    },
    /// A reading that is in doubt since it was judged anew is asked about.
    AskedAnew {
        /// The event that brought it.
        of: EventNo,
    },
    /// Nothing was said for so long that the place may have been left.
    CameBack {
        /// How long nothing was said.
        after_minutes: u32,
        /// Whether nothing of an isolation stands: after a long time, on another day, or when the
        /// clock does not tell.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        anew: bool,
    },
    /// An instrument of the job is past its calibration date.
    CalibrationOverdue {
        /// What it is called.
        instrument: String,
        /// Its serial number.
        serial: String,
        /// The last day on which it was in calibration.
        due: jiff::civil::Date,
    },
    /// A value was heard for a step.
    Reading {
        /// The step it is for.
        step: StepId,
        /// With pair, unit and test voltage filled in from the step where they were not said.
        reading: Reading,
        /// Where it was taken.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// The half-cycle of an RCD test.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        half: Option<HalfCycle>,
        /// What the limits say of it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        verdict: Option<Verdict>,
        /// Why it needs "affirm" before it counts; nothing when it counts at once.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        doubt: Option<Doubt>,
        /// The same in words, by the first version.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        question: Option<String>,
        /// The reading it replaces.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        replaces: Option<EventNo>,
        /// What it was worked out from, where it was not measured.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        calculated: Option<Calculated>,
    },
    /// A questioned reading or proposal was affirmed.
    Affirmed {
        /// The event that was asked about.
        of: EventNo,
        /// Whether by a finger held on a screen, and not by voice or keyboard.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        by_touch: bool,
    },
    /// Something said earlier was taken back: a reading, a statement or an alteration.
    Withdrawn {
        /// The event that is taken back.
        of: EventNo,
        /// What was said for it.
        why: Withdrawal,
    },
    /// A reading was put right at the desk afterwards, by keyboard. It takes the place of the old
    /// one whether or not the session is finished, and says nothing of where the person is.
    CorrectedAtDesk {
        /// The reading it replaces.
        of: EventNo,
        /// What is right.
        reading: Reading,
        /// What the limits say of that.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        verdict: Option<Verdict>,
        /// Why, as typed.
        reason: String,
    },
    /// A step was answered with a statement.
    Stated {
        /// The step it answers.
        step: StepId,
        /// What was said.
        statement: Statement,
        /// The place that was said, where the step has another or none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// The open items of a section of the inspection were answered together.
    SectionStated {
        /// The section.
        section: u16,
        /// The items.
        steps: Vec<StepId>,
        /// What was said of each.
        statement: Statement,
    },
    /// Something was seen that stands on the report with its code. What is noted until "end of note" is
    /// its words.
    Observed {
        /// The board's number.
        board: u16,
        /// The circuit, when one was named.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        circuit: Option<u16>,
        /// The item of the inspection that it belongs to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        item: Option<ItemNumber>,
        /// C1, C2, C3 or FI.
        code: Statement,
        /// Where, when that was said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// A photograph was added at the desk to what was observed.
    Photographed {
        /// The event that began the observation.
        of: EventNo,
        /// The picture itself.
        picture: Picture,
    },
    /// A step that is asked for now orders something out, off, linked or crossed: it counts as out
    /// until the person says whether it is.
    Ordered {
        /// The step that orders it.
        step: StepId,
        /// The board's number.
        board: u16,
        /// The circuit; none for what concerns the whole board.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        circuit: Option<u16>,
        /// What.
        part: Part,
        /// Joined with something, and not out.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        linked: bool,
        /// Where.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// Both conductors of the kind, or all things of it.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        both: bool,
    },
    /// The step that ordered these was left without an answer: whether any of it is out must be said.
    AskedIfOut {
        /// By the events that ordered them.
        entries: Vec<EventNo>,
    },
    /// Something that sounds like a warning was heard: whether it is live must be said.
    AskedIfLive {
        /// What was heard or typed.
        words: String,
    },
    /// A question was left for something else: the reading stays as it is, not affirmed.
    SetAside {
        /// The event that was asked about.
        of: EventNo,
    },
    /// A circuit stays off while the rest of the board goes on.
    StaysOff {
        /// The board's number.
        board: u16,
        /// The circuit's number.
        circuit: u16,
    },
    /// Something was taken out, linked, or put into another position.
    TakenOut {
        /// The board's number.
        board: u16,
        /// The circuit; none for what concerns the whole board.
        circuit: Option<u16>,
        /// What.
        part: Part,
        /// Joined with something, and not out.
        linked: bool,
        /// Where.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
        /// Both conductors of the kind, or all things of it.
        both: bool,
        /// How it is kept from touching anything.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        parked: Option<Parked>,
    },
    /// Entries of the out-list are back as they were.
    PutBack {
        /// By the events that put them on the list.
        entries: Vec<EventNo>,
    },
    /// "All back" was said and must be affirmed.
    ProposedAllBack {
        /// What was on the list then.
        entries: Vec<EventNo>,
    },
    /// "Negative" or "disregard" was said to something just put on the out-list. It stays on the list
    /// until it is affirmed that it never was out.
    ProposedNeverOut {
        /// By the event that put it on the list.
        entry: EventNo,
    },
    /// A statement that surprises was said, and counts only once it is affirmed.
    ProposedStatement {
        /// The step it would answer.
        step: StepId,
        /// What was said.
        statement: Statement,
        /// The place that was said, where the step has another or none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<Place>,
    },
    /// A point that the job lacks was named, and must be affirmed; the job is changed then.
    ProposedPoint {
        /// The board's number.
        board: u16,
        /// The circuit's number.
        circuit: u16,
        /// The point.
        place: Place,
    },
    /// A circuit that the job lacks was named, or more was said of it, and must be affirmed; the job is
    /// changed then.
    ProposedCircuit {
        /// The board's number.
        board: u16,
        /// The circuit's number.
        circuit: u16,
        /// All that was said of it so far, a piece each.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        said: Vec<String>,
    },
    /// "Finish" was said with steps left undone, and must be affirmed.
    ProposedFinish {
        /// How many steps.
        left: u32,
    },
    /// A step will not be done.
    NotTested {
        /// The step.
        step: StepId,
        /// Why.
        reason: Reason,
    },
    /// A step is left for later, for a reason, and the work goes on: a departure from the order.
    Skipped {
        /// The step.
        step: StepId,
        /// Why.
        reason: Reason,
    },
    /// A bar was overridden by the person.
    Overridden {
        /// What barred the way.
        #[serde(rename = "bar")]
        refusal: Refusal,
        /// Why it was gone past.
        reason: Reason,
    },
    /// The person moved to another circuit or stage.
    Moved {
        /// The step moved to.
        to: StepId,
        /// Steps passed over that are still open: a departure from the order when not zero.
        passed_over: u32,
        /// Whether the step was done and is to be done again; the first version did not say.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        again: Option<bool>,
    },
    /// Voltage was found where there should be none; isolation of the board starts again.
    VoltageFound {
        /// The board's number.
        board: u16,
        /// The voltage, when it was said as a reading.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reading: Option<Reading>,
        /// What was said, in words, by the first version.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        heard: Option<String>,
    },
    /// A lock was taken off before the board was due to be energised: isolation starts again.
    LockRemoved {
        /// The board's number.
        board: u16,
        /// Whether the board was due to be energised: it may be, and no dead test is made on it.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        to_energise: bool,
    },
    /// Something asked for was refused.
    Refused {
        /// What was asked for.
        said: Intent,
        /// Why not.
        #[serde(rename = "bar")]
        refusal: Refusal,
    },
    /// An utterance could have been two things; it was asked again.
    Unclear {
        /// The likeliest words.
        words: String,
        /// The likeliest with another meaning.
        runner_up: Option<String>,
        /// The permission that it may have been; nothing when it was none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        permission: Option<Intent>,
    },
    /// Something was asked about the session itself.
    Asked {
        /// What was asked, or said once more.
        said: Intent,
        /// How the voice is since, where it was asked to speak otherwise and can.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        voice: Option<ProsodyNow>,
    },
    /// Words that mean nothing where the session is. Nothing is decided by it, and it is no
    /// sign that anyone is at the board.
    NotTaken {
        /// As typed; of what was spoken, what the recogniser's words are nearest to it.
        words: String,
        /// Spoken, and left alone: it may have been for somebody else. Nothing is said to it.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        spoken: bool,
        /// The step that was asked for; nothing when there was none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step: Option<StepId>,
    },
    /// Something that was heard was a neighbour's, in a room full of learners: nothing of it was taken, and its
    /// sound is not kept. It is no sign that anyone is at the board.
    NeighbourHeard {
        /// At whose phone it was loudest, where that is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        whose: Option<String>,
        /// How long it was.
        ms: u32,
        /// By what it was known.
        by: NeighbourSign,
    },
    /// Somebody spoke, or something was loud, before the read-back of a reading had been said whole, and it
    /// was broken off. It is no sign that anyone is at the board, and changes nothing else.
    ReadBackCut {
        /// The reading.
        of: EventNo,
    },
    /// What is said from here on is a note.
    NoteBegun {
        /// Whether what is noted stands as the reason for going past what bars the way.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        observation: bool,
    },
    /// "End of note".
    NoteEnded,
    /// A part of a note: sound, kept for typing later, or what was typed.
    Noted {
        /// What was typed; nothing when it was spoken.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        text: Option<String>,
        /// The step that was asked for; older logs do not say.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step: Option<StepId>,
    },
    /// The sound of what was said was deleted, afterwards and by keyboard. It says nothing of where the
    /// person is, and changes nothing else.
    SoundForgotten {
        /// The events that rested on it.
        of: Vec<EventNo>,
        /// The evidence that had it, by hash.
        evidence: Vec<String>,
    },
    /// Probes were put on a simulated installation, and this was shown. Nothing is recorded by it, and
    /// it is never refused.
    Probed {
        /// Where, and how the instrument was set.
        probe: Probe,
        /// What it showed.
        shown: Shown,
        /// What else came of it.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        came: Vec<Consequence>,
        /// What would have refused the reading of it on site.
        #[serde(default, rename = "bar", skip_serializing_if = "Option::is_none")]
        refusal: Option<Refusal>,
    },
    /// In a practice, what had tripped was switched on again.
    SwitchedOn {
        /// The board's number.
        board: u16,
        /// The circuit; of a residual current device of several, the first of them.
        circuit: u16,
        /// The residual current device of several circuits that it was, by its number.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        rcd: Option<u16>,
    },
    /// In a practice, something came of what had been done to the installation: a short circuit was
    /// energised.
    Came {
        /// What.
        came: Vec<Consequence>,
    },
    /// What a reading will be was said before it was taken.
    Predicted {
        /// The step that it is for.
        step: StepId,
        /// The value or its limit.
        of: Predicted,
        /// What was said; nothing where it was said that there is no limit.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reading: Option<Reading>,
    },
    /// The hidden fault was named: what, and where.
    Diagnosed {
        /// The fault; none where it was said that there is none.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fault: Option<HiddenFault>,
    },
    /// What was hidden, after the end. With the salt it gives the seal of the first event.
    Revealed {
        /// The faults.
        faults: Vec<HiddenFault>,
        /// What the installation was drawn by.
        salt: String,
    },
    /// An instructor struck a reading from the marks afterwards: it was misheard.
    Struck {
        /// The reading.
        of: EventNo,
        /// Why, as typed.
        reason: String,
        /// Who struck it, as typed.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// "Stand by": nothing is taken until "carry on".
    StoodBy,
    /// "Carry on".
    CarriedOn,
    /// "Pause": nothing is taken until "resume", and dead is proved again then.
    Paused,
    /// "Resume".
    Unpaused,
    /// The session was ended.
    Finished {
        /// Entries of the out-list that were open.
        left_open: u32,
        /// Steps that were not done.
        left_undone: u32,
    },
}

impl Event {
    /// The steps that it answers, with a value, with words, or with why they are not done.
    pub fn answers(&self) -> &[StepId] {
        match self {
            Self::Reading { step, .. }
            | Self::Stated { step, .. }
            | Self::NotTested { step, .. }
            | Self::Skipped { step, .. } => std::slice::from_ref(step),
            Self::SectionStated { steps, .. } => steps,
            _ => &[],
        }
    }

    /// This was affirmed, by voice or by keyboard.
    pub fn affirmed(of: EventNo) -> Self {
        Self::Affirmed {
            of,
            by_touch: false,
        }
    }

    /// Whether it begins a log of practice on a simulated installation.
    pub fn begins_practice(&self) -> bool {
        matches!(
            self,
            Self::Opened { practice: Some(practice), .. } if practice.simulated.is_some()
        )
    }

    /// The name of its kind, as stored.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Opened { .. } => "opened",
            Self::Resumed { .. } => "resumed",
            Self::JobChanged { .. } => "job-changed",
            Self::JudgedAnew { .. } => "judged-anew",
            Self::AskedAnew { .. } => "asked-anew",
            Self::CameBack { .. } => "came-back",
            Self::CalibrationOverdue { .. } => "calibration-overdue",
            Self::Reading { .. } => "reading",
            Self::Affirmed { .. } => "affirmed",
            Self::Withdrawn { .. } => "withdrawn",
            Self::CorrectedAtDesk { .. } => "corrected-at-desk",
            Self::Stated { .. } => "stated",
            Self::SectionStated { .. } => "section-stated",
            Self::Observed { .. } => "observed",
            Self::Photographed { .. } => "photographed",
            Self::Ordered { .. } => "ordered",
            Self::AskedIfOut { .. } => "asked-if-out",
            Self::AskedIfLive { .. } => "asked-if-live",
            Self::SetAside { .. } => "set-aside",
            Self::StaysOff { .. } => "stays-off",
            Self::TakenOut { .. } => "taken-out",
            Self::PutBack { .. } => "put-back",
            Self::ProposedAllBack { .. } => "proposed-all-back",
            Self::ProposedNeverOut { .. } => "proposed-never-out",
            Self::ProposedStatement { .. } => "proposed-statement",
            Self::ProposedPoint { .. } => "proposed-point",
            Self::ProposedCircuit { .. } => "proposed-circuit",
            Self::ProposedFinish { .. } => "proposed-finish",
            Self::NotTested { .. } => "not-tested",
            Self::Skipped { .. } => "skipped",
            Self::Overridden { .. } => "overridden",
            Self::Moved { .. } => "moved",
            Self::VoltageFound { .. } => "voltage-found",
            Self::LockRemoved { .. } => "lock-removed",
            Self::Refused { .. } => "refused",
            Self::Unclear { .. } => "unclear",
            Self::Asked { .. } => "asked",
            Self::NotTaken { .. } => "not-taken",
            Self::NeighbourHeard { .. } => "neighbour-heard",
            Self::ReadBackCut { .. } => "read-back-cut",
            Self::NoteBegun { .. } => "note-begun",
            Self::NoteEnded => "note-ended",
            Self::Noted { .. } => "noted",
            Self::SoundForgotten { .. } => "sound-forgotten",
            Self::Probed { .. } => "probed",
            Self::SwitchedOn { .. } => "switched-on",
            Self::Came { .. } => "came",
            Self::Predicted { .. } => "predicted",
            Self::Diagnosed { .. } => "diagnosed",
            Self::Revealed { .. } => "revealed",
            Self::Struck { .. } => "struck",
            Self::StoodBy => "stood-by",
            Self::CarriedOn => "carried-on",
            Self::Paused => "paused",
            Self::Unpaused => "unpaused",
            Self::Finished { .. } => "finished",
        }
    }
}

/// By what it was known that a neighbour spoke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NeighbourSign {
    /// It was louder at another phone, each against its own floor.
    LouderElsewhere,
    /// It was far under the learner's own level.
    UnderOwnLevel,
}

/// How something said came to be taken back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Withdrawal {
    /// "Negative".
    Negative,
    /// "Correction"; in logs of the first version also where what is right followed.
    Correction,
    /// "Disregard".
    Disregard,
    /// "Correction", and what is right followed: the next event of the same time.
    Replaced,
    /// One of two conductors was listed, and now both are, or single lamps, and now all of them: a later
    /// event of the same time says so.
    Widened,
    /// Another value for the same was said while the first was asked about: the next event.
    Restated,
}

impl Withdrawal {
    /// Whether the next event stands in the place of what is taken back.
    pub fn is_replaced(self) -> bool {
        matches!(
            self,
            Self::Correction | Self::Replaced | Self::Widened | Self::Restated
        )
    }
}

/// Whether the session is taking readings or waiting.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mode {
    /// Takes readings.
    #[default]
    Running,
    /// Waits for "carry on".
    StandingBy,
    /// Waits for "resume".
    Paused,
    /// Keeps what is said as a note, until "end of note".
    Noting,
    /// The session was ended.
    Finished,
}
