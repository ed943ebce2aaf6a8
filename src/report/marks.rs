//! Sheets of marks: one a learner and one a group, as HTML, PDF and CSV. The same parts make all of
//! them.

use super::html::{whole, whole_with_sounds};
use super::letterhead::Letterhead;
use super::letters::Letters;
use super::page::{Heads, Lies, Paper, Style};
use super::print::{PdfError, printed};
use super::schedule::PRACTICE_OF;
use super::table::{Table, TableCell};
use super::words::Times;
use crate::marking::{
    Attempt, Criterion, Group, Judgement, Lapse, Lost, Mark, Sheet, StepTime, Stopped, Weights,
    What, Why,
};
use crate::quantity::Reading;
use crate::sequence::EventNo;
use crate::sequence::say::{capital, duration, fault, plural, refused_in_short};
use crate::terms::{Consequence, HiddenFault, Level, Predicted};
use jiff::SignedDuration;
use maud::{Markup, html};
use std::collections::{BTreeMap, BTreeSet};

const STYLE: &str = include_str!("schedule.css");

/// What a sheet is, and is not.
pub(crate) const MARKS_OF: &str = "Marks made from a log alone, by the criteria named; a competent instructor judges. No record of any installation.";

/// What the sheet of a group is in which some practised and others tested.
const PARTLY_PRACTICE_OF: &str = "Some of these attempts are PRACTICE on a simulated installation, and say so: nothing was tested in them. Marks made from logs alone, by the criteria named; a competent instructor judges. No record of any installation.";

/// Sounds by their hash, as FLAC.
pub type SoundsByHash = BTreeMap<String, Vec<u8>>;

/// One part of a sheet: lines, or a table.
struct Part {
    title: &'static str,
    lines: Vec<String>,
    head: Vec<Cell>,
    rows: Vec<Vec<Cell>>,
    /// Whether the first cell of each row is what the row is about.
    rows_have_heads: bool,
}

/// What stands in a table.
#[derive(Default)]
struct Cell {
    text: String,
    /// Hash of a sound to be heard with it.
    sound: Option<String>,
    /// What it leads to.
    to: Option<To>,
    /// A reading that can be struck there.
    strike: Option<EventNo>,
}

/// What a cell leads to, where a page has it.
#[derive(Clone, Copy)]
enum To {
    /// An event of the session.
    Event(EventNo),
    /// The session of an attempt, by the place of its sheet.
    Session(usize),
    /// Its sheet.
    Sheet(usize),
}

impl<T: Into<String>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self {
            text: text.into(),
            ..Self::default()
        }
    }
}

impl Cell {
    fn to(text: impl Into<String>, to: To) -> Self {
        Self {
            to: Some(to),
            ..text.into().into()
        }
    }

    fn event(no: EventNo) -> Self {
        Self::to(format!("#{no}"), To::Event(no))
    }
}

impl Part {
    fn lines(title: &'static str, lines: Vec<String>) -> Self {
        Self {
            title,
            lines,
            head: Vec::new(),
            rows: Vec::new(),
            rows_have_heads: false,
        }
    }

    fn table(title: &'static str, head: &[&'static str], rows: Vec<Vec<Cell>>) -> Self {
        Self {
            title,
            lines: Vec::new(),
            head: head.iter().copied().map(Cell::from).collect(),
            rows,
            rows_have_heads: false,
        }
    }

    fn is_empty(&self) -> bool {
        self.lines.is_empty() && self.rows.is_empty()
    }
}

/// What a page of marks leads to: the addresses of what is beside it, and what can be done there.
pub(crate) trait Leads {
    /// A sound, by its hash.
    fn sound(&self, hash: &str) -> Option<String>;
    /// An event of the session.
    fn event(&self, no: EventNo) -> Option<String>;
    /// The session of an attempt, by the place of its sheet.
    fn session(&self, sheet: usize) -> Option<String>;
    /// The sheet of an attempt.
    fn sheet(&self, sheet: usize) -> Option<String>;
    /// How a reading is struck from the marks.
    fn strike(&self, no: EventNo) -> Option<Markup>;
}

/// A page that needs nothing else: sounds stand in it, and files may lie beside it.
struct Alone<'a> {
    sounds: &'a SoundsByHash,
    files: &'a [String],
}

impl Leads for Alone<'_> {
    fn sound(&self, hash: &str) -> Option<String> {
        let flac = in_base64(self.sounds.get(hash)?);
        Some(format!("data:audio/flac;base64,{flac}"))
    }

    fn event(&self, _: EventNo) -> Option<String> {
        None
    }

    fn session(&self, sheet: usize) -> Option<String> {
        self.files.get(sheet).cloned()
    }

    fn sheet(&self, _: usize) -> Option<String> {
        None
    }

    fn strike(&self, _: EventNo) -> Option<Markup> {
        None
    }
}

/// A page of marks without what stands around it.
pub(crate) struct MarksPage {
    /// What it is of.
    pub title: String,
    /// What it is, and is not.
    pub stamp: &'static str,
    /// What stands on it.
    pub body: Markup,
}

impl MarksPage {
    fn of(title: String, stamp: &'static str, parts: &[Part], leads: &dyn Leads) -> Self {
        Self {
            title,
            stamp,
            body: html! { @for part in parts { (section(part, leads)) } },
        }
    }

    fn whole(self) -> Markup {
        html! {
            body {
                main {
                    h1 { (self.title) }
                    p.record { (self.stamp) }
                    (self.body)
                }
                footer { p { (self.stamp) } p { (MARKS_OF) } }
            }
        }
    }
}

/// The sheet of one learner.
pub(crate) fn sheet_page(sheet: &Sheet, leads: &dyn Leads, times: &Times) -> MarksPage {
    MarksPage::of(name_of(sheet), stamp(sheet), &parts(sheet, times), leads)
}

/// The sheet of a group.
pub(crate) fn group_page(sheets: &[Sheet], leads: &dyn Leads, times: &Times) -> MarksPage {
    let parts = group_parts(&Group::of(sheets), sheets, times);
    MarksPage::of(group_name(sheets), group_stamp(sheets), &parts, leads)
}

/// Some attempts of a group side by side, each a column.
pub(crate) fn beside_page(
    sheets: &[Sheet],
    chosen: &[usize],
    leads: &dyn Leads,
    times: &Times,
) -> MarksPage {
    let parts = beside(sheets, chosen, times);
    let (title, some) = (job_of(sheets), plural(chosen.len(), "attempt", "attempts"));
    let title = group_stamped(sheets, format!("{some} side by side: {title}"));
    MarksPage::of(title, group_stamp(sheets), &parts, leads)
}

/// What an attempt is called among the others: its learner, and which it is where there are several.
pub(crate) fn attempt_named(group: &Group, attempt: &Attempt) -> String {
    let of = |other: &&Attempt| other.learner == attempt.learner;
    if group.attempts.iter().filter(of).count() > 1 {
        format!("{}, attempt {}", attempt.learner, attempt.number)
    } else {
        attempt.learner.clone()
    }
}

/// The sheet of one learner as an HTML file that needs nothing else, with the sounds that there are.
pub fn sheet_html(sheet: &Sheet, sounds: &SoundsByHash, times: &Times) -> String {
    let alone = Alone { sounds, files: &[] };
    let title = name_of(sheet);
    whole_with_sounds(&title, STYLE, sheet_page(sheet, &alone, times).whole())
}

/// The same on paper.
///
/// # Errors
/// Only when the program itself is not whole.
pub fn sheet_pdf(sheet: &Sheet, times: &Times) -> Result<Vec<u8>, PdfError> {
    paper(&name_of(sheet), stamp(sheet), &parts(sheet, times))
}

/// The sheet of a group; `files` are the pages of the learners, in the order of the sheets.
pub fn group_html(sheets: &[Sheet], files: &[String], times: &Times) -> String {
    let sounds = &SoundsByHash::new();
    let alone = Alone { sounds, files };
    let title = group_name(sheets);
    let body = group_page(sheets, &alone, times).whole();
    whole(&Letterhead::default(), &title, STYLE, body)
}

/// The same on paper.
///
/// # Errors
/// Only when the program itself is not whole.
pub fn group_pdf(sheets: &[Sheet], times: &Times) -> Result<Vec<u8>, PdfError> {
    let parts = group_parts(&Group::of(sheets), sheets, times);
    paper(&group_name(sheets), group_stamp(sheets), &parts)
}

/// One line for each attempt: who, when, passed, points, and the lapses of each criterion.
pub fn marks_csv(sheets: &[Sheet]) -> String {
    let mut lines = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::from("\u{feff}"));
    let before = [
        "learner", "job", "level", "practice", "begun", "finished", "passed", "points %",
    ];
    let after = [
        "readings",
        "readings wrong",
        "struck",
        "help",
        "fault named",
        "place named",
        "probings",
        "fewest",
        "seconds",
        "head",
        "stopped",
    ];
    let criteria = Criterion::ALL.map(Criterion::written);
    let head = before
        .iter()
        .map(ToString::to_string)
        .chain(criteria)
        .chain(after.iter().map(ToString::to_string));
    // Memory takes whatever is written to it.
    let _ = lines.write_record(head);
    for sheet in sheets {
        let diagnosis = sheet.diagnosis.as_ref();
        let counted = |n: Option<usize>| n.map(|n| n.to_string()).unwrap_or_default();
        let first = [
            sheet.learner.clone(),
            sheet.title.clone(),
            sheet.level.shown().to_owned(),
            if sheet.simulated { "practice" } else { "" }.to_owned(),
            sheet.begun.to_string(),
            sheet.finished.to_string(),
            sheet.passed.to_string(),
            sheet.points.map(per_cent).unwrap_or_default(),
        ];
        let lapses = Criterion::ALL.map(|criterion| sheet.against(criterion).count().to_string());
        let last = [
            sheet.readings.len().to_string(),
            sheet.wrong_readings().to_string(),
            sheet
                .readings
                .iter()
                .filter(|j| j.struck.is_some())
                .count()
                .to_string(),
            sheet.help.to_string(),
            counted(diagnosis.map(|d| d.kinds)),
            counted(diagnosis.map(|d| d.places)),
            counted(diagnosis.map(|d| d.probings)),
            counted(diagnosis.and_then(|d| d.fewest)),
            sheet.seconds().to_string(),
            sheet.head.clone().unwrap_or_default(),
            match sheet.stopped {
                None => String::new(),
                Some(Stopped::Rightly) => "rightly".to_owned(),
                Some(Stopped::ForNothing) => "for nothing".to_owned(),
            },
        ];
        let cells = first.into_iter().chain(lapses).chain(last);
        let _ = lines.write_record(cells.map(super::csv::guarded));
    }
    String::from_utf8(lines.into_inner().unwrap_or_default()).unwrap_or_default()
}

fn name_of(sheet: &Sheet) -> String {
    stamped(
        sheet.simulated,
        format!("{}: {}", sheet.learner, sheet.title),
    )
}

fn group_name(sheets: &[Sheet]) -> String {
    let title = job_of(sheets);
    let attempts = plural(sheets.len(), "attempt", "attempts");
    group_stamped(sheets, format!("Group of {attempts}: {title}"))
}

fn job_of(sheets: &[Sheet]) -> &str {
    sheets.first().map_or("", |sheet| sheet.title.as_str())
}

fn practised(sheets: &[Sheet]) -> bool {
    sheets.iter().any(|sheet| sheet.simulated)
}

/// Whether some of a group were practised and others not: then each says which it is.
fn mixed(sheets: &[Sheet]) -> bool {
    practised(sheets) && sheets.iter().any(|sheet| !sheet.simulated)
}

fn group_stamped(sheets: &[Sheet], name: String) -> String {
    if mixed(sheets) {
        format!("PARTLY PRACTICE: {name}")
    } else {
        stamped(practised(sheets), name)
    }
}

/// What an attempt was made on.
fn made_on(sheet: &Sheet) -> &'static str {
    if sheet.simulated {
        "PRACTICE"
    } else {
        "real installation"
    }
}

/// A name that stands on every page of paper.
fn stamped(simulated: bool, name: String) -> String {
    if simulated {
        format!("PRACTICE: {name}")
    } else {
        name
    }
}

fn stamp(sheet: &Sheet) -> &'static str {
    if sheet.simulated {
        PRACTICE_OF
    } else {
        MARKS_OF
    }
}

fn group_stamp(sheets: &[Sheet]) -> &'static str {
    if mixed(sheets) {
        PARTLY_PRACTICE_OF
    } else if practised(sheets) {
        PRACTICE_OF
    } else {
        MARKS_OF
    }
}

fn per_cent(share: f64) -> String {
    format!("{:.0}", share * 100.0)
}

fn lasted(seconds: i64) -> String {
    if seconds < 60 {
        format!("{seconds} s")
    } else {
        duration(SignedDuration::from_secs(seconds))
    }
}

fn shown(reading: &Reading) -> String {
    reading.to_string()
}

fn parts(sheet: &Sheet, times: &Times) -> Vec<Part> {
    let all = vec![
        Part::lines("Result", result(sheet, times)),
        marks(sheet),
        lapses(sheet, times),
        readings(sheet),
        predictions(sheet),
        Part::lines("The fault", diagnosis(sheet)),
        left_out(sheet),
        steps(sheet),
    ];
    all.into_iter().filter(|part| !part.is_empty()).collect()
}

fn result(sheet: &Sheet, times: &Times) -> Vec<String> {
    let points = sheet
        .points
        .map(|points| format!(", {} per cent of the points", per_cent(points)));
    let rightly = sheet.finished && sheet.stopped == Some(Stopped::Rightly);
    let passed = match (sheet.finished, sheet.passed) {
        (true, true) if rightly => "Passed by these criteria, of what could be done",
        (true, false) if rightly => "Not passed by these criteria, of what could be done",
        (false, _) if sheet.without_what_is_hidden() => {
            "Not finished: marked without what is hidden, of how far it came"
        }
        (false, _) => "Not finished: the marks are of how far it came",
        (true, true) => "Passed by these criteria",
        (true, false) => "Not passed by these criteria",
    };
    let level = match sheet.level {
        Level::Led => "Led: every step was told.",
        Level::Asked => "Asked: nothing was told unless it was asked for.",
        Level::Silent => "Silent: an examination.",
    };
    let helped = (sheet.level != Level::Led).then(|| {
        format!(
            "Help was asked for {}.",
            plural(sheet.help, "time", "times")
        )
    });
    let known = sheet
        .head
        .as_ref()
        .map(|head| format!("Head of the log: {head}."));
    [
        Some(format!("{passed}{}.", points.unwrap_or_default())),
        sheet
            .stopped
            .filter(|_| sheet.finished)
            .map(|stopped| ended(sheet, stopped)),
        Some(format!(
            "{} Begun {} {}, by {}.",
            level,
            times.date(sheet.begun),
            times.clock(sheet.begun),
            sheet.learner
        )),
        helped,
        known,
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// How work was ended that somebody ended for a voltage, and what was not done.
fn ended(sheet: &Sheet, stopped: Stopped) -> String {
    let what = if sheet.level == Level::Silent {
        "The examination"
    } else {
        "The work"
    };
    let how = match stopped {
        Stopped::ForNothing => {
            return format!(
                "{what} was ended for a voltage that nothing probed had shown where there should be none: it can't be passed."
            );
        }
        Stopped::Rightly if sheet.simulated => "a voltage was shown where there should be none",
        Stopped::Rightly => "a voltage was found, as was said",
    };
    let not_done: Vec<String> = sheet
        .not_done
        .iter()
        .map(|left| format!("{}, {}", left.stage, plural(left.steps, "step", "steps")))
        .collect();
    let not_done = match not_done.is_empty() {
        true => "nothing".to_owned(),
        false => not_done.join("; "),
    };
    format!("{what} was ended rightly, as {how}. It is not complete. Not done: {not_done}.")
}

fn marks(sheet: &Sheet) -> Part {
    let rows = sheet.marks.iter().map(|mark| {
        let counts = match mark.counts {
            Weights::PassOrFail => "pass or fail".to_owned(),
            Weights::Points(points) => format!("{points:.0} points"),
            Weights::NotCounted => String::new(),
        };
        vec![
            capital(mark.criterion.shown()).into(),
            counts.into(),
            reached(mark).into(),
            mark.lapses.to_string().into(),
            lost(mark).into(),
        ]
    });
    Part::table(
        "Criteria",
        &["Criterion", "Counts", "Reached", "Lapses", "Lost for"],
        rows.collect(),
    )
}

/// What the points that were not reached were lost for.
fn lost(mark: &Mark) -> String {
    let each = mark.lost.iter().map(|lost| match mark.counts {
        Weights::Points(points) => {
            format!("{:.1}: {}", points * lost.share, why(mark.criterion, lost))
        }
        _ => why(mark.criterion, lost),
    });
    each.collect::<Vec<_>>().join("; ")
}

fn why(criterion: Criterion, lost: &Lost) -> String {
    let faults = |n| plural(n, "fault", "faults");
    match lost.why {
        Why::Lapses(n) => match criterion {
            Criterion::Readings => plural(n, "reading not as shown", "readings not as shown"),
            Criterion::Predictions => plural(n, "wrong prediction", "wrong predictions"),
            _ => plural(n, "lapse", "lapses"),
        },
        Why::NotDone { done, planned } => {
            format!("{done} of {} done", plural(planned, "step", "steps"))
        }
        Why::MoreProbings { probings, enough } => format!(
            "{} made where {enough} are enough",
            plural(probings, "probing was", "probings were")
        ),
        Why::NothingProbed => "nothing was probed".to_owned(),
        Why::NothingNamed => "no fault was named, nor that there is none".to_owned(),
        Why::NothingHidden => "a fault was named where none is hidden".to_owned(),
        Why::Guessed => "guessed: nothing that was probed shows it".to_owned(),
        Why::KindNotNamed(n) => format!("{} not named", faults(n)),
        Why::PlaceNotNamed(n) => format!("place of {} not named", faults(n)),
        Why::NoConductor(n) => format!("conductor of {} not said", faults(n)),
        Why::NotThere(n) => format!("{} named that {} not there", faults(n), is_or_are(n)),
    }
}

fn is_or_are(n: usize) -> &'static str {
    if n == 1 { "is" } else { "are" }
}

/// How much of a criterion was reached.
fn reached(mark: &Mark) -> String {
    match mark.counts {
        Weights::PassOrFail if mark.share < 1.0 => "✗ failed".to_owned(),
        Weights::PassOrFail => "✓ passed".to_owned(),
        Weights::Points(points) => format!("{:.1} points", points * mark.share),
        Weights::NotCounted => String::new(),
    }
}

/// Whether an attempt is passed.
fn result_of(attempt: &Attempt) -> Cell {
    let result = if attempt.passed {
        "✓ passed"
    } else {
        "✗ not passed"
    };
    Cell::to(result, To::Sheet(attempt.sheet))
}

fn lapses(sheet: &Sheet, times: &Times) -> Part {
    let rows = sheet.lapses.iter().map(|lapse| {
        let under = lapse
            .under
            .map(|under| format!(" (came of #{under}: not counted)"));
        vec![
            Cell::event(lapse.event),
            times.clock(lapse.at).into(),
            lapse
                .circuit
                .map(|n| n.to_string())
                .unwrap_or_default()
                .into(),
            capital(lapse.criterion.shown()).into(),
            Cell {
                text: [told(lapse), was_out(lapse), under.unwrap_or_default()].concat(),
                sound: lapse.sound.clone(),
                ..Cell::default()
            },
        ]
    });
    Part::table(
        "What was done otherwise than it should be",
        &["Event", "Time", "Circuit", "Counts against", "What"],
        rows.collect(),
    )
}

/// What was still out, where, and for how long by then.
fn was_out(lapse: &Lapse) -> String {
    let each = lapse.still_out.iter().map(|out| {
        let what = capital(&out.what);
        format!(" {what}: for {} by then.", lasted(out.seconds))
    });
    each.collect()
}

/// A lapse in words.
fn told(lapse: &Lapse) -> String {
    match &lapse.what {
        What::Refused { refusal } => format!("Refused: {}.", refused_in_short(refusal)),
        What::Overridden { refusal } => format!("Gone past: {}.", refused_in_short(refusal)),
        What::Probed { refusal, came, .. } => {
            let refused = refusal.as_ref().map(|refusal| {
                format!(
                    "Probed what would be refused on site: {}.",
                    refused_in_short(refusal)
                )
            });
            let came = came.iter().map(came_of);
            refused
                .into_iter()
                .chain(came)
                .collect::<Vec<_>>()
                .join(" ")
        }
        What::NotProbed => "Said dead, and did not probe that pair.".to_owned(),
        What::SaidUnprobed { statement } => {
            format!(
                "Said {}, and probed nothing that could tell it.",
                statement.spoken()
            )
        }
        What::NotDead { shown } => {
            format!("Said dead of a pair that showed {shown}.")
        }
        What::Invented { readings } => format!(
            "{} given that nothing was probed for.",
            capital(&plural(*readings, "reading was", "readings were"))
        ),
        What::AlteredLive => "Taken out, linked or crossed with the circuit live.".to_owned(),
        What::NotCrossed => "Measured round the ring without crossing its ends.".to_owned(),
        What::LeftOut { stage, steps } => {
            format!("Left out: {stage}, {}.", plural(*steps, "step", "steps"))
        }
        What::Undone { stage, steps } => {
            format!("Not done: {stage}, {}.", plural(*steps, "step", "steps"))
        }
        What::PassedOver { steps } => {
            format!("Passed over {}.", plural(*steps, "step", "steps"))
        }
        What::LeftOpen { entries } => {
            format!(
                "Left out at the end: {}.",
                plural(*entries, "thing", "things")
            )
        }
        What::StoppedForNothing => {
            "Ended for a voltage, and nothing that was probed since it was switched off showed one."
                .to_owned()
        }
        What::Helped => "Asked for help.".to_owned(),
        What::Came { came } => came.iter().map(came_of).collect::<Vec<_>>().join(" "),
    }
}

fn came_of(came: &Consequence) -> String {
    match came {
        Consequence::Destroyed { place, .. } => {
            format!("The test voltage destroyed the electronics in {place}.")
        }
        Consequence::Tripped { .. } => "An RCD tripped.".to_owned(),
        Consequence::TrippedSeveral { rcd, .. } => format!("RCD {rcd} tripped."),
        Consequence::ProbedLive { volts, .. } => {
            format!("{volts} V under the probes on a range for dead tests.")
        }
        Consequence::Settling => "The display was still moving.".to_owned(),
        Consequence::Shorted { circuit, amps, .. } => format!(
            "A short circuit was energised: {amps} A, and the device of circuit {circuit} opened."
        ),
        Consequence::Burst {
            circuit,
            amps,
            breaks,
            ..
        } => format!(
            "A short circuit was energised: {amps} A through the device of circuit {circuit}, which can break {breaks} A: it burst."
        ),
    }
}

fn readings(sheet: &Sheet) -> Part {
    let wanted =
        |judgement: Judgement| judgement != Judgement::AsShown && judgement != Judgement::Agrees;
    let rows = sheet
        .readings
        .iter()
        .filter(|judged| wanted(judged.judgement) && judged.judgement != Judgement::NotCompared)
        .map(|judged| {
            let margin = judged
                .margin
                .map(|margin| format!("{margin:.1}"))
                .unwrap_or_default();
            let judgement = match &judged.struck {
                Some(why) => format!("struck: {why}"),
                None if judged.is_excused() => {
                    format!(
                        "read-back not given, not counted: {}",
                        judged.judgement.shown()
                    )
                }
                None => judged.judgement.shown().to_owned(),
            };
            vec![
                Cell::event(judged.event),
                Sheet::where_is(&judged.step, judged.place.as_ref()).into(),
                Cell {
                    text: shown(&judged.said),
                    sound: judged.sound.clone(),
                    ..Cell::default()
                },
                judged.is.as_ref().map(shown).unwrap_or_default().into(),
                margin.into(),
                Cell {
                    text: judgement,
                    strike: judged.is_wrong().then_some(judged.event),
                    ..Cell::default()
                },
            ]
        })
        .collect();
    Part::table(
        "Readings that are not as shown",
        &["Event", "Where", "Said", "Shown", "Ear's margin", "Judged"],
        rows,
    )
}

fn predictions(sheet: &Sheet) -> Part {
    let rows = sheet.predictions.iter().map(|prediction| {
        let of = match prediction.of {
            Predicted::Value => "value",
            Predicted::Limit => "limit",
        };
        let said = prediction.said.as_ref().map_or("none".to_owned(), shown);
        vec![
            Sheet::where_is(&prediction.step, None).into(),
            of.into(),
            said.into(),
            prediction.is.as_ref().map(shown).unwrap_or_default().into(),
            match (prediction.after, prediction.right) {
                (true, _) => "✗ said after it was shown",
                (false, true) => "✓ right",
                (false, false) => "✗ wrong",
            }
            .into(),
        ]
    });
    Part::table(
        "Predictions",
        &["Where", "Of", "Said", "Read", "Judged"],
        rows.collect(),
    )
}

fn diagnosis(sheet: &Sheet) -> Vec<String> {
    let Some(diagnosis) = &sheet.diagnosis else {
        return Vec::new();
    };
    let hidden = match &diagnosis.hidden {
        Some(hidden) => format!("Hidden: {}.", listed(hidden, "nothing")),
        None => {
            "What is hidden is not known before the end, or without --faults or --seed.".to_owned()
        }
    };
    let guessed = if diagnosis.evidence || diagnosis.hidden.as_ref().is_none_or(Vec::is_empty) {
        ""
    } else {
        " Nothing that was probed shows it: it was guessed, and counts for nothing."
    };
    let conductor = match diagnosis.no_conductor {
        0 => "",
        _ => " The conductor was not said: half of the place.",
    };
    let named = if diagnosis.said {
        format!(
            "Named: {}.{conductor}{guessed}",
            listed(&diagnosis.named, "no fault")
        )
    } else {
        "Nothing was named.".to_owned()
    };
    let fewest = diagnosis.fewest.map(|fewest| {
        format!(
            " {} could have told it from the other faults of this job, each chosen for how many it rules out: found greedily, so no proof that fewer would not do.",
            plural(fewest, "test", "tests")
        )
    });
    vec![
        hidden,
        named,
        format!(
            "{} made.{}",
            capital(&plural(diagnosis.probings, "probing was", "probings were")),
            fewest.unwrap_or_default()
        ),
    ]
}

fn listed(faults: &[HiddenFault], none: &str) -> String {
    let named: Vec<String> = faults.iter().map(fault).collect();
    if named.is_empty() {
        none.to_owned()
    } else {
        named.join("; ")
    }
}

fn left_out(sheet: &Sheet) -> Part {
    let rows = sheet.left_out.iter().map(|left| {
        vec![
            Cell::event(left.event),
            capital(&left.what).into(),
            lasted(left.seconds).into(),
            if left.back { "back" } else { "✗ not back" }.into(),
        ]
    });
    Part::table(
        "What was out, and how long",
        &["Event", "What", "For", "At the end"],
        rows.collect(),
    )
}

fn steps(sheet: &Sheet) -> Part {
    let rows = sheet.times.iter().map(|time| {
        vec![
            capital(time.stage.shown()).into(),
            in_words(time.kind).into(),
            lasted(time.seconds).into(),
        ]
    });
    Part::table("Time a step", &["Stage", "Step", "Time"], rows.collect())
}

/// The name of a kind of step, as words.
fn in_words(kind: &str) -> String {
    capital(&words_of(kind))
}

fn words_of(kind: &str) -> String {
    kind.replace('-', " ")
}

fn group_parts(group: &Group, sheets: &[Sheet], times: &Times) -> Vec<Part> {
    let attempts = group.attempts.iter().map(|attempt| {
        let sheet = sheets.get(attempt.sheet);
        let critical = sheet.map(|sheet| {
            let failed = sheet
                .marks
                .iter()
                .filter(|mark| mark.counts == Weights::PassOrFail && mark.share < 1.0);
            failed
                .map(|mark| mark.criterion.shown())
                .collect::<Vec<_>>()
                .join("; ")
        });
        let gained = attempt
            .gained
            .map(|gained| format!("{:+.0}", gained * 100.0))
            .unwrap_or_default();
        let learner = match sheet.filter(|_| mixed(sheets)) {
            Some(sheet) => format!("{} ({})", attempt.learner, made_on(sheet)),
            None => attempt.learner.clone(),
        };
        vec![
            Cell::to(learner, To::Session(attempt.sheet)),
            attempt.number.to_string().into(),
            times.date(attempt.begun).into(),
            result_of(attempt),
            attempt.points.map(per_cent).unwrap_or_default().into(),
            gained.into(),
            critical.unwrap_or_default().into(),
            sheet
                .map(|sheet| sheet.wrong_readings().to_string())
                .unwrap_or_default()
                .into(),
            lasted(attempt.seconds).into(),
        ]
    });
    let missed = group.missed.iter().map(|missed| {
        vec![
            capital(missed.kind.shown()).into(),
            missed.hidden.to_string().into(),
            missed.named.to_string().into(),
            missed
                .hidden
                .saturating_sub(missed.named)
                .to_string()
                .into(),
        ]
    });
    let criteria = group.criteria.iter().map(|(criterion, lapses, learners)| {
        vec![
            capital(criterion.shown()).into(),
            lapses.to_string().into(),
            learners.to_string().into(),
        ]
    });
    let steps = group.steps.iter().map(|time| {
        vec![
            capital(time.stage.shown()).into(),
            in_words(time.kind).into(),
            lasted(time.middle).into(),
            lasted(time.longest).into(),
        ]
    });
    let all = vec![
        Part::table(
            "Attempts",
            &[
                "Learner",
                "Attempt",
                "Date",
                "Result",
                "Points %",
                "Gained",
                "Failed",
                "Readings wrong",
                "Time",
            ],
            attempts.collect(),
        ),
        Part::table(
            "Faults, the most missed first",
            &["Fault", "Hidden", "Named", "Missed"],
            missed.collect(),
        ),
        Part::table(
            "Where the group lapsed",
            &["Criterion", "Lapses", "Attempts"],
            criteria.collect(),
        ),
        Part::table(
            "Steps, the longest first",
            &["Stage", "Step", "Middle", "Longest"],
            steps.collect(),
        ),
    ];
    all.into_iter().filter(|part| !part.is_empty()).collect()
}

/// Chosen attempts, each a column: how they came out, each criterion, each step.
fn beside(sheets: &[Sheet], chosen: &[usize], times: &Times) -> Vec<Part> {
    let group = Group::of(sheets);
    let shown: Vec<(&Attempt, &Sheet)> = group
        .attempts
        .iter()
        .filter(|attempt| chosen.contains(&attempt.sheet))
        .filter_map(|attempt| Some((attempt, sheets.get(attempt.sheet)?)))
        .collect();
    let row = |name: Cell, cell: &dyn Fn(&Attempt, &Sheet) -> Cell| -> Vec<Cell> {
        let cells = shown.iter().map(|(attempt, sheet)| cell(attempt, sheet));
        std::iter::once(name).chain(cells).collect()
    };
    let table = |title: &'static str, of: &'static str, rows: Vec<Vec<Cell>>| Part {
        title,
        lines: Vec::new(),
        head: row(of.into(), &|attempt, sheet| {
            let name = attempt_named(&group, attempt);
            let name = match mixed(sheets) {
                true => format!("{name} ({})", made_on(sheet)),
                false => name,
            };
            Cell::to(name, To::Session(attempt.sheet))
        }),
        rows,
        rows_have_heads: true,
    };
    let results = vec![
        row("Date".into(), &|attempt, _| {
            times.date(attempt.begun).into()
        }),
        row("Level".into(), &|_, sheet| {
            capital(sheet.level.shown()).into()
        }),
        row("Result".into(), &|attempt, _| result_of(attempt)),
        row("Points %".into(), &|attempt, _| {
            attempt.points.map(per_cent).unwrap_or_default().into()
        }),
        row("Readings wrong".into(), &|_, sheet| {
            sheet.wrong_readings().to_string().into()
        }),
        row("Help".into(), &|_, sheet| sheet.help.to_string().into()),
        row("Hidden".into(), &|_, sheet| {
            let hidden = sheet.diagnosis.as_ref().and_then(|d| d.hidden.as_ref());
            hidden
                .map_or(String::new(), |f| listed(f, "nothing"))
                .into()
        }),
        row("Named".into(), &|_, sheet| {
            let said = sheet.diagnosis.as_ref().filter(|d| d.said);
            said.map_or(String::new(), |d| listed(&d.named, "no fault"))
                .into()
        }),
        row("Probings".into(), &|_, sheet| {
            let diagnosis = sheet.diagnosis.as_ref();
            diagnosis
                .map_or(String::new(), |d| d.probings.to_string())
                .into()
        }),
        row("Time".into(), &|attempt, _| lasted(attempt.seconds).into()),
    ];
    let of = |sheet: &Sheet, criterion: Criterion| {
        let mut marks = sheet.marks.iter();
        let mark = marks.find(|mark| mark.criterion == criterion)?;
        let lapses = plural(mark.lapses, "lapse", "lapses");
        let lapses = (mark.lapses > 0).then(|| format!(", {lapses}"));
        Some(format!("{}{}", reached(mark), lapses.unwrap_or_default()))
    };
    let criteria = Criterion::ALL
        .into_iter()
        .filter(|criterion| shown.iter().any(|(_, s)| of(s, *criterion).is_some()))
        .map(|criterion| {
            row(capital(criterion.shown()).into(), &|_, sheet| {
                of(sheet, criterion).unwrap_or_default().into()
            })
        });
    let all_times = || shown.iter().flat_map(|(_, sheet)| &sheet.times);
    let kinds: BTreeSet<_> = all_times().map(|time| (time.stage, time.kind)).collect();
    let stages: BTreeSet<_> = all_times().map(|time| time.stage).collect();
    let took = |sheet: &Sheet, is: &dyn Fn(&StepTime) -> bool| -> Cell {
        let found = sheet.times.iter().filter(|time| is(time));
        let seconds = found.map(|time| time.seconds).reduce(|a, b| a + b);
        seconds.map(lasted).unwrap_or_default().into()
    };
    let mut steps = Vec::new();
    for stage in stages {
        let whole = format!("{}, all of it", capital(stage.shown()));
        steps.push(row(whole.into(), &|_, sheet| {
            took(sheet, &|time| time.stage == stage)
        }));
        for (_, kind) in kinds.iter().filter(|(of, _)| *of == stage) {
            let name = format!("{}: {}", capital(stage.shown()), words_of(kind));
            steps.push(row(name.into(), &|_, sheet| {
                took(sheet, &|time| (time.stage, time.kind) == (stage, *kind))
            }));
        }
    }
    vec![
        table("Result", "What", results),
        table("Criteria", "Criterion", criteria.collect()),
        table("Time a step", "Step", steps),
    ]
}

fn section(part: &Part, leads: &dyn Leads) -> Markup {
    html! {
        section {
            h2 { (part.title) }
            @for line in &part.lines { p { (line) } }
            @if !part.rows.is_empty() {
                div.wide tabindex="0" role="region" aria-label=(part.title) {
                    table.list.beside[part.rows_have_heads] {
                        thead { tr { @for head in &part.head { th scope="col" { (text(head, leads)) } } } }
                        tbody { @for row in &part.rows { tr {
                            @for (n, (head, cell)) in part.head.iter().zip(row).enumerate() {
                                @if n == 0 && part.rows_have_heads {
                                    th scope="row" { (filled(cell, leads)) }
                                } @else {
                                    td data-label=(head.text) { (filled(cell, leads)) }
                                }
                            }
                        } } }
                    }
                }
            }
        }
    }
}

fn filled(cell: &Cell, leads: &dyn Leads) -> Markup {
    html! {
        (text(cell, leads))
        @if let Some(sound) = cell.sound.as_ref().and_then(|hash| leads.sound(hash)) {
            audio controls preload="none" aria-label={ "what was said: " (cell.text) } src=(sound) {}
        }
        @if let Some(strike) = cell.strike.and_then(|no| leads.strike(no)) { (strike) }
    }
}

fn text(cell: &Cell, leads: &dyn Leads) -> Markup {
    let page = match cell.to {
        Some(To::Event(no)) => leads.event(no),
        Some(To::Session(sheet)) => leads.session(sheet),
        Some(To::Sheet(sheet)) => leads.sheet(sheet),
        None => None,
    };
    html! {
        @match page {
            Some(page) => { a href=(page) { (cell.text) } }
            None => { span { (cell.text) } }
        }
    }
}

fn in_base64(bytes: &[u8]) -> String {
    use base64::Engine as _;
    base64::engine::general_purpose::STANDARD.encode(bytes)
}

fn paper(title: &str, stamp: &str, parts: &[Part]) -> Result<Vec<u8>, PdfError> {
    let mut paper = Paper::new(Letters::new()?, Lies::Across);
    paper.title(title);
    paper.text(stamp, Style::bold(9.5));
    for part in parts {
        paper.heading(part.title, 2, 11.5);
        for line in &part.lines {
            paper.text(line, Style::plain(10.0));
        }
        if !part.rows.is_empty() {
            paper.table(&Table {
                about: part.title.to_owned(),
                head: vec![
                    part.head
                        .iter()
                        .map(|head| TableCell::head(head.text.clone(), Heads::Column))
                        .collect(),
                ],
                rows: part
                    .rows
                    .iter()
                    .map(|row| {
                        row.iter()
                            .map(|cell| TableCell::plain(cell.text.clone()))
                            .collect()
                    })
                    .collect(),
                size: 8.5,
                least: 14.0,
            });
        }
    }
    printed(paper.finish(title), "Marks", stamp)
}
