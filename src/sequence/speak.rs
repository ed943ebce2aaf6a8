//! What is said to the person. Short, in the trade's words; numbers digit by digit as in ICAO
//! radiotelephony (Annex 10 Vol. II), so that "fifteen" is never taken for "fifty".

use super::event::{Bar, Event, EventNo, Mode, describe_part};
use super::judging;
use super::plan::{Ask, Measure, Step};
use super::state::{OutEntry, Question, State};
use crate::limits::{Finding, Outcome, Verdict};
use crate::quantity::{Number, Reading, Relation, Unit};
use crate::terms::{Parked, Reason, Stage, Statement};
use jiff::SignedDuration;

/// The cautions, spoken when a session is begun and shown with every report.
pub const CAUTIONS: &[&str] = &[
    "Testing can kill. For competent persons, or learners under direct supervision.",
    "Prove dead, every time. When you say dead, that is a record of what you say: this program measures nothing.",
    "No dead test on live conductors. Live work only where dead working is not reasonable: Electricity at Work Regulations 1989, regulation 14.",
    "Insulation testers hold a charge: discharge before touching.",
    "Local rules, the maker's instructions and licensed practice come first. This is an aid for recording and reminding; you decide.",
];

/// How a line is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineKind {
    Prompt,
    ReadBack,
    Question,
    Answer,
    Reminder,
    Warning,
}

/// One thing said to the person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    pub kind: LineKind,
    pub text: String,
}

impl Line {
    fn of(kind: LineKind, text: impl Into<String>) -> Self {
        Self {
            kind,
            text: text.into(),
        }
    }

    /// What to do next.
    pub fn prompt(text: impl Into<String>) -> Self {
        Self::of(LineKind::Prompt, text)
    }

    /// What was heard, said back.
    pub fn read_back(text: impl Into<String>) -> Self {
        Self::of(LineKind::ReadBack, text)
    }

    /// Needs "affirm" or "negative".
    pub fn question(text: impl Into<String>) -> Self {
        Self::of(LineKind::Question, text)
    }

    /// Answers something asked.
    pub fn answer(text: impl Into<String>) -> Self {
        Self::of(LineKind::Answer, text)
    }

    /// Something that must not be forgotten.
    pub fn reminder(text: impl Into<String>) -> Self {
        Self::of(LineKind::Reminder, text)
    }

    /// Danger, or a refusal.
    pub fn warning(text: impl Into<String>) -> Self {
        Self::of(LineKind::Warning, text)
    }
}

/// What is asked for now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prompt {
    pub full: String,
    pub brief: String,
    /// The grammar rule answers are heard with.
    pub rule: &'static str,
    /// Whether the full prompt is due: nothing like it has been done yet.
    pub first: bool,
}

impl Prompt {
    /// As first said: full the first time, brief later.
    pub fn due(&self) -> Line {
        Line::prompt(if self.first { &self.full } else { &self.brief })
    }

    /// The full prompt, for "say again".
    pub fn again(&self) -> Line {
        Line::prompt(&self.full)
    }
}

/// The prompt of a state.
pub fn prompt(state: &State) -> Prompt {
    let fixed = |text: &str, rule| Prompt {
        full: text.to_owned(),
        brief: text.to_owned(),
        rule,
        first: false,
    };
    match state.mode() {
        Mode::Finished => return fixed("The session is finished.", "anything"),
        Mode::Paused => return fixed("Paused. Say resume.", "anything"),
        Mode::StandingBy => return fixed("Standing by. Say carry on.", "anything"),
        Mode::Noting => return fixed("Note. Say end of note.", "anything"),
        Mode::Running => {}
    }
    let Some(step) = state.current() else {
        return fixed("Nothing is left to do. Say finish.", "anything");
    };
    if let Some(asked) = state.question() {
        return Prompt {
            rule: step.rule,
            ..fixed(&question(state, asked), "anything")
        };
    }
    let (full, brief) = step
        .procedure
        .prompt(state, step)
        .unwrap_or_else(|| (step.full.clone(), step.brief.clone()));
    Prompt {
        full,
        brief,
        rule: step.rule,
        first: !state
            .plan()
            .steps
            .iter()
            .any(|other| other.like == step.like && state.progress(&other.id).is_some()),
    }
}

/// A number digit by digit: "zero decimal three four".
pub fn digits(number: Number) -> String {
    let word = |c| match c {
        '0' => "zero",
        '1' => "one",
        '2' => "two",
        '3' => "three",
        '4' => "four",
        '5' => "five",
        '6' => "six",
        '7' => "seven",
        '8' => "eight",
        '9' => "nine",
        _ => "decimal",
    };
    let words: Vec<_> = number.to_string().chars().map(word).collect();
    words.join(" ")
}

/// A value with its unit, as said: "over nine nine nine megohms".
pub fn value(reading: &Reading) -> String {
    let number = reading.number.map(digits).unwrap_or_default();
    let unit = reading.unit.map(Unit::spoken).unwrap_or_default();
    let text = match reading.relation {
        Relation::Exact => format!("{number} {unit}"),
        Relation::Over => format!("over {number} {unit}"),
        Relation::Under => format!("under {number} {unit}"),
        Relation::OverRange => "over range".to_owned(),
    };
    text.trim().to_owned()
}

/// What a measure wants: "megohms, line to neutral".
pub fn wanted(step: &Step, measure: &Measure) -> String {
    let mut text = measure.unit.spoken().to_owned();
    let subject = step.subject();
    if !subject.is_empty() {
        text = format!("{text}, {subject}");
    }
    text
}

/// A reading said back, with where it landed when that was not where it was asked for, and as a
/// question when it surprises.
pub fn read_back(
    step: &Step,
    reading: &Reading,
    landed_elsewhere: bool,
    question: Option<&str>,
) -> Line {
    let mut what = Vec::new();
    if let Some(place) = &step.place {
        what.push(place.to_string());
    }
    if let Some(pair) = reading.pair {
        what.push(pair.spoken());
    }
    what.push(value(reading));
    let (taken, text) = if landed_elsewhere {
        (format!("Taken for {}: ", step.subject()), value(reading))
    } else {
        (String::new(), capital(&what.join(", ")))
    };
    match question {
        Some(why) => Line::question(format!(
            "{taken}{text}? {}. Affirm, or correct.",
            capital(why)
        )),
        None => Line::read_back(format!("{taken}{text}.")),
    }
}

/// Why a reading is asked about, in few words; the remark is spoken once it is affirmed.
pub fn doubt(verdict: &Verdict) -> String {
    let words = match (verdict.finding, verdict.outcome) {
        (Some(Finding::SlippedDecimal), _) => "about ten times off: has the decimal point slipped",
        (Some(Finding::HigherThanExpected), _) => "higher than length and size give",
        (Some(Finding::LowerThanExpected), _) => "lower than length and size give",
        (Some(Finding::Open), _) => "no continuity",
        (Some(Finding::ShortCircuit), _) => "about nothing",
        (Some(Finding::LowForNewWork), _) => "within the limit, but low for sound wiring",
        (Some(Finding::ParallelPath), _) => "lower than the sum: a parallel path",
        (Some(Finding::HigherThanSum), _) => "higher than the sum",
        (Some(Finding::RestsOnRcd), _) => "outside the limit for the overcurrent device alone",
        (Some(Finding::UnstableElectrode), _) => "high for an electrode, and may not be stable",
        (Some(Finding::OtherTestVoltage), _) => "a higher test voltage than the table asks for",
        (Some(Finding::WrongUnit), _) => "that is another unit",
        (Some(Finding::RangeUnknown), _) => "over range, but past what",
        (Some(Finding::RingFault), _) => "that is not how a sound ring reads",
        (Some(Finding::Spur), _) => "it reads like a spur",
        (_, Outcome::Fail) => "outside the limit",
        (_, Outcome::CannotSay) => "the limit can't be settled by that",
        (_, Outcome::Pass) => "within the limit, but unusual",
    };
    words.to_owned()
}

/// Dead tests of a board outside their limits, in words.
pub fn failed(state: &State, board: u16) -> String {
    let all: Vec<_> = state
        .failed_dead(board)
        .map(|step| {
            let what = if step.place.is_none() && step.pair.is_none() {
                format!(", {}", stage(step.stage))
            } else {
                String::new()
            };
            format!("{}{what}", step.subject())
        })
        .collect();
    let shown = all.iter().take(3).cloned().collect::<Vec<_>>().join("; ");
    match all.len() {
        0..=3 => shown,
        more => format!("{shown}; and {} more", more - 3),
    }
}

/// A question asked again.
pub fn question(state: &State, question: &Question) -> String {
    match question {
        Question::Reading(no) => match state.reading(*no) {
            Some(kept) => format!(
                "Was that {}? {}. Affirm, or correct.",
                value(&kept.reading),
                capital(kept.question.as_deref().unwrap_or("I was not sure"))
            ),
            None => "Affirm, or correct.".to_owned(),
        },
        Question::AllBack(_, entries) => {
            let what: Vec<_> = state
                .out_list()
                .iter()
                .filter(|entry| entries.contains(&entry.no))
                .map(OutEntry::what)
                .collect();
            format!("All back: {}? Affirm, or negative.", what.join("; "))
        }
        Question::NeverOut(_, entry) => never_out(state, *entry),
        Question::Finish(_, left) => finish_early(*left),
    }
}

/// Whether something just put on the out-list never was out.
pub fn never_out(state: &State, entry: EventNo) -> String {
    format!(
        "Was {} never {}? Affirm to take it off the list; negative keeps it.",
        entry_words(state, entry),
        if is_linked(state, entry) {
            "joined"
        } else {
            "out"
        }
    )
}

/// After "negative" to a question.
pub fn not_so(state: &State, asked: &Question) -> String {
    match asked {
        Question::Reading(no) => taken_back(state, *no),
        Question::NeverOut(_, entry) => {
            format!(
                "{} stays on the list.",
                capital(&entry_words(state, *entry))
            )
        }
        Question::AllBack(..) => format!("Not all back. {}", what_is_out(state)),
        Question::Finish(..) => "Not finished.".to_owned(),
    }
}

fn entry_words(state: &State, no: EventNo) -> String {
    state
        .out_list()
        .iter()
        .find(|entry| entry.no == no)
        .map(OutEntry::what)
        .unwrap_or_default()
}

fn is_linked(state: &State, no: EventNo) -> bool {
    state
        .out_list()
        .iter()
        .any(|entry| entry.no == no && entry.linked)
}

/// After "affirm".
pub fn affirmed(state: &State, question: &Question) -> Vec<Line> {
    match question {
        Question::Reading(no) => {
            let Some(kept) = state.reading(*no) else {
                return Vec::new();
            };
            let mut lines = vec![Line::read_back(format!("Taken: {}.", value(&kept.reading)))];
            let pattern = state
                .step(&kept.step)
                .and_then(|step| judging::pattern_now(state, step, &kept.reading));
            if let Some(pattern) = pattern {
                lines.push(Line::answer(pattern.spoken()));
                return lines;
            }
            lines.extend(
                kept.verdict
                    .as_ref()
                    .filter(|verdict| verdict.finding.is_some())
                    .and_then(|verdict| verdict.remark.as_deref())
                    .map(Line::answer),
            );
            lines
        }
        Question::AllBack(_, entries) => {
            let rest: Vec<_> = state
                .open_entries()
                .filter(|entry| !entries.contains(&entry.no))
                .map(OutEntry::what)
                .collect();
            if rest.is_empty() {
                vec![Line::read_back("All back. Nothing is out.")]
            } else {
                vec![
                    Line::read_back("Back."),
                    Line::reminder(format!("Still out: {}.", rest.join("; "))),
                ]
            }
        }
        Question::NeverOut(_, entry) => vec![Line::read_back(format!(
            "{} is off the list.",
            capital(&entry_words(state, *entry))
        ))],
        Question::Finish(..) => Vec::new(),
    }
}

/// After something was taken back.
pub fn taken_back(state: &State, of: EventNo) -> String {
    if let Some(kept) = state.reading(of) {
        let before = state
            .replaced_by(of)
            .map(|old| format!(" {} stands.", capital(&value(&old.reading))));
        return format!(
            "Not {}. Dropped.{}",
            value(&kept.reading),
            before.unwrap_or_default()
        );
    }
    let put_back: Vec<_> = state
        .out_list()
        .iter()
        .filter(|entry| entry.back.is_some_and(|(by, _)| by == of))
        .map(OutEntry::what)
        .collect();
    if !put_back.is_empty() {
        return format!("Not back, then. Still out: {}.", put_back.join("; "));
    }
    let energised = state.plan().steps.iter().any(|step| {
        state
            .done(step)
            .is_some_and(|progress| progress.no() == of && progress.is_energised())
    });
    if energised {
        return "Dropped. It may be live all the same: prove it dead again.".to_owned();
    }
    "Dropped.".to_owned()
}

/// Before what is right is taken instead of what was said.
pub fn corrected(state: &State, of: EventNo) -> String {
    match state.out_list().iter().find(|entry| entry.no == of) {
        Some(entry) => format!("Correction: not {}.", entry.what()),
        None => "Correction.".to_owned(),
    }
}

/// When a lock comes off too early.
pub fn lock_removed() -> String {
    "The lock is off: the board no longer counts as isolated. Begin isolation again.".to_owned()
}

/// When an instrument is past its calibration date.
pub fn calibration_overdue(instrument: &str, serial: &str, due: jiff::civil::Date) -> String {
    format!(
        "{}, serial {serial}: calibration was due {due}. It is recorded.",
        capital(instrument)
    )
}

/// After a long silence.
pub fn came_back(away: SignedDuration) -> String {
    format!(
        "{} without a word. Whoever leaves proves dead again.",
        capital(&duration(away))
    )
}

/// A statement said back.
pub fn statement(step: &Step, statement: Statement) -> String {
    let said = statement_words(statement);
    match step.pair {
        Some(pair) => format!("{}, {said}.", capital(&pair.spoken())),
        None => {
            let subject = step.subject();
            if subject.is_empty() {
                format!("{}.", capital(said))
            } else {
                format!("{}, {said}.", capital(&subject))
            }
        }
    }
}

/// The words of a statement.
pub fn statement_words(statement: Statement) -> &'static str {
    match statement {
        Statement::Done => "done",
        Statement::Proved => "proved",
        Statement::NotProved => "not proved",
        Statement::Isolated => "isolated",
        Statement::LockedOff => "locked off",
        Statement::Dead => "you say dead",
        Statement::Live => "live",
        Statement::Energised => "energised",
        Statement::Open => "open",
        Statement::Shorted => "shorted",
        Statement::Nulled => "nulled",
        Statement::Discharged => "discharged",
        Statement::NothingConnected => "nothing connected",
        Statement::PolarityCorrect => "polarity correct",
        Statement::PolarityReversed => "polarity reversed",
        Statement::Tripped => "tripped",
        Statement::NoTrip => "no trip",
        Statement::Pass => "pass",
        Statement::Fail => "fail",
        Statement::SequenceCorrect => "sequence correct",
        Statement::SequenceReversed => "sequence reversed",
    }
}

/// The name of a stage, as said in "go to ...".
pub fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Isolation => "isolation",
        Stage::Instruments => "instrument check",
        Stage::Continuity => "continuity",
        Stage::Ring => "ring continuity",
        Stage::Insulation => "insulation resistance",
        Stage::Polarity => "polarity",
        Stage::PutBack => "put back",
        Stage::Energise => "energise",
        Stage::SupplyPolarity => "supply polarity",
        Stage::ExternalLoop => "external loop",
        Stage::FaultCurrent => "fault current",
        Stage::LoopImpedance => "loop impedance",
        Stage::Rcd => "residual current device",
        Stage::PhaseSequence => "phase sequence",
        Stage::Functional => "functional checks",
        Stage::Handover => "handover",
    }
}

/// A reason in words.
pub fn reason(reason: &Reason) -> &'static str {
    match reason {
        Reason::EquipmentCannotBeTakenOut => "equipment cannot be taken out",
        Reason::NoAccess => "no access",
        Reason::ClientRequest => "client's request",
        Reason::InUse => "in use",
        Reason::Damaged => "damaged",
        Reason::NotApplicable => "not applicable",
        Reason::InstrumentFault => "instrument fault",
        Reason::Unsafe => "not safe to do",
        Reason::OutOfTime => "out of time",
        Reason::Instructed => "as instructed",
        Reason::OnTheRecording => "reason on the recording",
    }
}

/// Something put on the out-list, said back.
pub fn taken_out(event: &Event) -> String {
    let Event::TakenOut {
        part,
        linked,
        place,
        both,
        parked,
        ..
    } = event
    else {
        return String::new();
    };
    let what = capital(&describe_part(*part, place.as_ref(), *both, *linked));
    let parked = match parked {
        Some(Parked::Connector) => ", in a connector",
        Some(Parked::Taped) => ", taped",
        None => "",
    };
    let out = if *linked { "" } else { " out" };
    format!("{what}{out}{parked}. On the list until it is back.")
}

/// Something that is back, said back.
pub fn back(entry: &OutEntry) -> String {
    if entry.linked {
        let what = describe_part(entry.part, entry.place.as_ref(), entry.both, false);
        format!("Link off: {what}.")
    } else {
        format!("{} back.", capital(&entry.what()))
    }
}

/// Why something is refused, and what to do instead.
pub fn bar(state: &State, bar: &Bar) -> String {
    match bar {
        Bar::NotProvedDead { .. } => {
            "No. The board is not proved dead. Isolation comes first.".to_owned()
        }
        Bar::ElectronicsInCircuit { what, .. } => format!(
            "No. Not at five hundred volts with {what} in circuit. Take it out, or link line and neutral and test to earth."
        ),
        Bar::StillOut { .. } => {
            let what: Vec<_> = state.barring_entries().map(OutEntry::what).collect();
            format!(
                "No. Still out: {}. Put it back and say so, or say override and a reason.",
                what.join("; ")
            )
        }
        Bar::MustGoBack { .. } => {
            let what: Vec<_> = state
                .open_entries()
                .filter(|entry| entry.must_go_back())
                .map(|entry| {
                    if entry.linked {
                        entry.what()
                    } else {
                        format!("{} off", entry.what())
                    }
                })
                .collect();
            format!(
                "No. {}. That goes back first, and no reason goes past it.",
                capital(&what.join("; "))
            )
        }
        Bar::DeadTestsFailed { board, .. } => format!(
            "No. Outside the limit: {}. Put it right and test again, or say override and a reason.",
            failed(state, *board)
        ),
        Bar::FirstComes { what } => format!("No. First: {what}"),
        Bar::DeadTestsOpen { steps } => format!(
            "No. {} first, or say not tested and a reason.",
            plural(*steps, "dead test is open", "dead tests are open")
        ),
        Bar::NotEnergised { .. } => {
            "No. Live tests come after energising, and energising after the dead tests.".to_owned()
        }
        Bar::Energised { .. } => {
            "No. You said it is energised. Go to isolation before any dead test.".to_owned()
        }
        Bar::QuestionOpen => "Affirm, negative or correction first.".to_owned(),
        Bar::Waiting { mode: Mode::Paused } => "Paused. Say resume first.".to_owned(),
        Bar::Waiting { .. } => "Standing by. Say carry on first.".to_owned(),
        Bar::Finished => "The session is finished. Nothing more is taken.".to_owned(),
        Bar::NoSuchPlace { what } => format!("There is nothing left to do at {what}."),
        Bar::WrongQuantity { wanted } => format!("I asked for {wanted}."),
        Bar::NotAskedNow { wanted } => format!("Not that now. {wanted}"),
        Bar::NotOut => "Nothing like that is on the list of things out.".to_owned(),
        Bar::WhichOne { entries } => {
            let what: Vec<_> = state
                .out_list()
                .iter()
                .filter(|entry| entries.contains(&entry.no))
                .map(OutEntry::what)
                .collect();
            format!("Which one: {}?", what.join(", or "))
        }
        Bar::WhereIsIt => {
            "Where? Say it with its place, such as neutral out at socket three.".to_owned()
        }
        Bar::NothingToAnswer => "There is nothing to answer.".to_owned(),
        Bar::CannotBeSkipped => "No. That can't be left out.".to_owned(),
    }
}

/// When voltage is found where there should be none.
pub fn voltage_found() -> String {
    "Stop. Voltage is present. Hands off. Find out what feeds it, and begin isolation again."
        .to_owned()
}

/// After an override.
pub fn overridden(state: &State, why: &Reason) -> String {
    let what: Vec<_> = state.open_entries().map(OutEntry::what).collect();
    let out = if what.is_empty() {
        String::new()
    } else {
        format!(" Still out: {}.", what.join("; "))
    };
    format!("Overridden: {}.{out} It stands in the report.", reason(why))
}

/// After a step was left out.
pub fn left_out(step: &Step, event: &Event) -> String {
    let (how, why) = match event {
        Event::NotTested { reason, .. } => ("Not tested", reason),
        Event::Skipped { reason, .. } => ("For later", reason),
        _ => return String::new(),
    };
    let subject = step.subject();
    let what = if subject.is_empty() {
        stage(step.stage).to_owned()
    } else {
        subject
    };
    format!("{how}: {what}, {}.", reason(why))
}

/// After a move by voice.
pub fn moved(step: &Step, passed_over: u32) -> String {
    let place = match step.circuit {
        Some(circuit) => format!("Circuit {circuit}, {}.", stage(step.stage)),
        None => format!("Board {}, {}.", step.board, stage(step.stage)),
    };
    if passed_over == 0 {
        place
    } else {
        format!(
            "{place} Out of order: {} left open, and recorded.",
            plural(passed_over, "step is", "steps are")
        )
    }
}

/// When "finish" is said with steps open.
pub fn finish_early(left: u32) -> String {
    format!(
        "{} not done. Affirm to finish all the same, or negative.",
        plural(left, "step is", "steps are")
    )
}

/// At the end.
pub fn finished() -> String {
    "Finished. The log holds what was said and measured; it is not a certificate. A competent person decides and signs.".to_owned()
}

/// After "pause".
pub fn paused(state: &State) -> String {
    let out = what_is_out(state);
    format!("Paused. {out} When you resume, prove dead again.")
}

/// When a log is opened again, or after "resume".
pub fn recap(state: &State) -> String {
    format!("{} {}", where_are_we(state), what_is_out(state))
}

/// Where the session is.
pub fn where_are_we(state: &State) -> String {
    let open = state.open_steps().count();
    let Some(step) = state.current() else {
        return "Nothing is left to do.".to_owned();
    };
    let circuit = step
        .circuit
        .and_then(|number| state.circuit(step.board, number))
        .map(|c| format!(", circuit {}, {}", c.number, c.name))
        .unwrap_or_default();
    let open = u32::try_from(open).unwrap_or(u32::MAX);
    format!(
        "Board {}{circuit}: {}. {} open.",
        step.board,
        stage(step.stage),
        plural(open, "step is", "steps are")
    )
}

/// What is out.
pub fn what_is_out(state: &State) -> String {
    let what: Vec<_> = state.open_entries().map(OutEntry::what).collect();
    if what.is_empty() {
        "Nothing is out.".to_owned()
    } else {
        format!("Out: {}.", what.join("; "))
    }
}

/// How long is left at the pace so far.
pub fn how_long_is_left(state: &State) -> String {
    let open = u32::try_from(state.open_steps().count()).unwrap_or(u32::MAX);
    let steps = plural(open, "step is open", "steps are open");
    match state.time_left() {
        Some(left) => format!(
            "{}. About {} at your pace.",
            capital(&steps),
            duration(left)
        ),
        None => format!("{}. Too soon to tell how long.", capital(&steps)),
    }
}

/// A length of time in words, to the minute.
pub fn duration(time: SignedDuration) -> String {
    let minutes = u32::try_from((time.as_secs() + 30) / 60).unwrap_or(0);
    match minutes {
        0 => "less than a minute".to_owned(),
        1..60 => plural(minutes, "minute", "minutes"),
        _ => format!(
            "{} {}",
            plural(minutes / 60, "hour", "hours"),
            plural(minutes % 60, "minute", "minutes")
        ),
    }
}

fn plural(n: u32, one: &str, many: &str) -> String {
    if n == 1 {
        format!("1 {one}")
    } else {
        format!("{n} {many}")
    }
}

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}

/// Whether a step waits for something said to it.
pub fn is_asked(step: &Step) -> bool {
    step.ask != Ask::Event
}
