//! The page for whoever ordered the work: what was done, what was found and what to do, in plain
//! words. Numbers, limits and sums stand on the schedule.

use super::cells::Cell;
use super::html::{letterhead, whole};
use super::inspection::ObservationRow;
use super::letters::Letters;
use super::page::{Lies, Paper, Style};
use super::print::{PdfError, printed};
use super::schedule::{BoardSchedule, Schedule};
use super::words::day;
use crate::limits::Outcome;
use crate::sequence::say::{capital, plural};
use crate::terms::Stage;
use maud::{Markup, html};
use std::collections::BTreeMap;

const STYLE: &str = concat!(
    include_str!("schedule.css"),
    "@media print { @page { size: A4 portrait; } }"
);
const TITLE: &str = "What was tested, and what was found";

/// What it is, and what it is not.
const PLAINLY: &str = "This page tells in plain words what was measured and said on that day. It is no certificate, and \
    it says nothing of what was not tested or of what has changed since.";

/// What whoever lives with the installation must know.
const CAUTIONS: &[&str] = &[
    "Electricity can kill. Leave covers closed, and leave work on the installation to a competent person.",
    "What is off, locked or labelled so is off for a reason: leave it so until a competent person says otherwise.",
    "A shock, a smell of burning, heat, sparks or a device that keeps going off: switch off at the main switch and call a competent person.",
];

/// A heading with what stands under it.
struct Section {
    title: &'static str,
    paragraphs: Vec<String>,
    items: Vec<String>,
}

/// The page as one HTML file that needs nothing else; a merged log has one part for each session.
pub fn customer_html(schedules: &[Schedule]) -> String {
    let Some(first) = schedules.first() else {
        return String::new();
    };
    let body = html! {
        body.letter {
            @if !first.letterhead.is_empty() { header { (letterhead(&first.letterhead)) } }
            main { @for schedule in schedules { (part(schedule)) } }
            aside.cautions aria-labelledby="cautions" {
                h2 #cautions { "Take care" }
                ul { @for caution in CAUTIONS { li { (caution) } } }
            }
            footer { p { (PLAINLY) } }
        }
    };
    let title = format!("{TITLE}: {}", first.site);
    whole(&first.letterhead, &title, STYLE, body)
}

fn part(schedule: &Schedule) -> Markup {
    html! {
        article {
            h1 { (TITLE) }
            p.job { (place(schedule)) }
            @if let Some(thread) = &schedule.thread { p.unfinished { (thread) "." } }
            @for section in sections(schedule) {
                section {
                    h2 { (section.title) }
                    @for text in &section.paragraphs { p { (text) } }
                    @if !section.items.is_empty() {
                        ul { @for item in &section.items { li { (item) } } }
                    }
                }
            }
        }
    }
}

/// The same on upright paper.
///
/// # Errors
/// Only when the program itself is not whole, or the logo can't be drawn.
pub fn customer_pdf(schedules: &[Schedule]) -> Result<Vec<u8>, PdfError> {
    let mut paper = Paper::new(Letters::new()?, Lies::Upright);
    for (n, schedule) in schedules.iter().enumerate() {
        if n > 0 {
            paper.new_page();
        }
        paper.letterhead(&schedule.letterhead)?;
        paper.title(TITLE);
        paper.text(&place(schedule), Style::plain(11.0));
        if let Some(thread) = &schedule.thread {
            paper.text(&format!("{thread}."), Style::bold(9.5));
        }
        for section in sections(schedule) {
            paper.heading(section.title, 2, 11.5);
            for text in &section.paragraphs {
                paper.text(text, Style::plain(10.0));
            }
            paper.list("•", &section.items, 10.0);
        }
        paper.heading("Take care", 2, 11.5);
        paper.list("!", CAUTIONS, 10.0);
        paper.gap(8.0);
        paper.text(PLAINLY, Style::quiet(9.0));
    }
    let first = schedules.first();
    printed(
        paper.finish(&first.map(place).unwrap_or_default()),
        TITLE,
        first.map_or("", |first| first.program.as_str()),
    )
}

fn place(schedule: &Schedule) -> String {
    let site = match &schedule.address {
        Some(address) => format!("{}, {address}", schedule.site),
        None => schedule.site.clone(),
    };
    schedule.stamped(&site)
}

fn sections(schedule: &Schedule) -> Vec<Section> {
    if schedule.practised {
        return vec![practised(schedule)];
    }
    let sections = [
        done(schedule),
        found(schedule),
        not_tested(schedule),
        to_do(schedule),
    ];
    sections
        .into_iter()
        .filter(|section| !section.paragraphs.is_empty() || !section.items.is_empty())
        .collect()
}

/// That nothing of it is about an installation, where it was practised on a simulated one.
fn practised(schedule: &Schedule) -> Section {
    let stamp = schedule.practised.then(|| schedule.record_of.to_owned());
    Section {
        title: "Practice",
        paragraphs: stamp.into_iter().collect(),
        items: Vec::new(),
    }
}

fn done(schedule: &Schedule) -> Section {
    let times = schedule.times();
    let (first, last) = (times.date(schedule.begun), times.date(schedule.last_event));
    let when = if first == last {
        format!("On {first}")
    } else {
        format!("From {first} to {last}")
    };
    let supervised = schedule
        .supervisor
        .as_ref()
        .map(|who| format!(", supervised by {who},"))
        .unwrap_or_default();
    let how_many = how_many(schedule);
    let did = if any_test(schedule) {
        "tested the electrical installation here"
    } else {
        "was here to test the electrical installation; no test was made"
    };
    let mut paragraphs = vec![format!(
        "{when} {}{supervised} {did}.{how_many}",
        schedule.tester
    )];
    if !schedule.finished {
        paragraphs.push("The work is not finished: this is how far it has come.".to_owned());
    }
    let items: Vec<String> = schedule
        .tested
        .iter()
        .filter_map(|stage| plain(*stage))
        .map(|(_, question)| capital(question))
        .collect();
    if !items.is_empty() {
        paragraphs.push("It was tested:".to_owned());
    }
    Section {
        title: "What was done",
        paragraphs,
        items,
    }
}

/// Whether anything was tested or looked at.
fn any_test(schedule: &Schedule) -> bool {
    schedule.tested.iter().any(|stage| plain(*stage).is_some())
}

/// How far the tests of the circuits have come: made, left out or still to come, never one for the other.
fn how_many(schedule: &Schedule) -> String {
    let (mut whole, mut partly, mut open) = (0, 0, 0);
    for (board, circuit) in circuits(schedule) {
        let at = (board.number, circuit.number);
        let has = |is: fn(&Cell) -> bool| circuit.cells.iter().any(is);
        // An RCD over several circuits has its results at each of them.
        let left_out = schedule.stays_off.contains(&at)
            || schedule
                .limitations
                .iter()
                .any(|one| (one.board, one.circuit) == (at.0, Some(at.1)))
            || has(|cell| matches!(cell, Cell::NotTested { .. }));
        let to_come = has(|cell| matches!(cell, Cell::NotDone | Cell::Skipped { .. }));
        match circuit.begun && circuit.open_steps == 0 && !to_come {
            true if left_out => partly += 1,
            true => whole += 1,
            false => open += 1,
        }
    }
    let all = whole + partly + open;
    if all == 0 {
        return String::new();
    }
    let circuits = plural(all, "circuit", "circuits");
    if whole == all {
        let open = schedule.open_items.iter().any(|item| !item.still_out);
        return match open {
            true => format!(
                " Every test of its {circuits} by themselves was made; other tests are still to come."
            ),
            false => format!(" Every test planned for its {circuits} was made."),
        };
    }
    let parts: Vec<String> = [
        (whole, "had every planned test", "had every planned test"),
        (
            partly,
            "had tests left out, which are named below",
            "had tests left out, which are named below",
        ),
        (open, "still has tests to come", "still have tests to come"),
    ]
    .into_iter()
    .filter(|(many, ..)| *many > 0)
    .map(|(many, one, several)| plural(many, one, several))
    .collect();
    format!(" Of its {circuits}, {}.", parts.join("; "))
}

/// What a test is called by people who don't do it, and what it tells.
fn plain(stage: Stage) -> Option<(&'static str, &'static str)> {
    Some(match stage {
        Stage::Inspection => (
            "what can be seen",
            "whether what can be seen of the installation is as it should be",
        ),
        Stage::Continuity => (
            "the earth wires",
            "whether the earth wires run unbroken to every point",
        ),
        Stage::Ring => (
            "the ring",
            "whether ring circuits run unbroken all the way round",
        ),
        Stage::Insulation => (
            "the insulation",
            "whether the insulation between the wires holds",
        ),
        Stage::Polarity => (
            "the order of the wires",
            "whether every wire is at its own terminal",
        ),
        Stage::SupplyPolarity => (
            "the order of the wires of the supply",
            "whether the wires of the supply are the right way round",
        ),
        Stage::ExternalLoop => (
            "the earth of the supply",
            "whether the earth of the supply is good",
        ),
        Stage::FaultCurrent => (
            "the largest fault current",
            "whether the devices at the board can break the largest current of a fault",
        ),
        Stage::LoopImpedance => (
            "the path of a fault",
            "whether the supply would be cut off soon enough in a fault",
        ),
        Stage::Rcd => (
            "a residual current device",
            "whether the residual current devices, which cut off when current leaks to earth, do so in time",
        ),
        Stage::PhaseSequence => (
            "the order of the phases",
            "whether the phases follow each other as they should",
        ),
        Stage::Functional => (
            "how things work",
            "whether switches, controls and devices work",
        ),
        Stage::Isolation
        | Stage::Instruments
        | Stage::PutBack
        | Stage::MakeSafe
        | Stage::Energise
        | Stage::Handover => return None,
    })
}

fn circuits(
    schedule: &Schedule,
) -> impl Iterator<Item = (&BoardSchedule, &super::schedule::CircuitRow)> {
    schedule
        .boards
        .iter()
        .flat_map(|board| board.circuits.iter().map(move |circuit| (board, circuit)))
}

/// "Circuit 3, boat-store sockets", with its board where there are several; "the board" for what
/// is no circuit's.
fn where_is(schedule: &Schedule, board: u16, circuit: Option<u16>) -> String {
    let at = schedule.boards.iter().find(|one| one.number == board);
    let of_board = match at {
        Some(one) if schedule.boards.len() > 1 => format!(" of {}", one.name),
        _ => String::new(),
    };
    let Some(number) = circuit else {
        return match at {
            Some(one) => one.name.clone(),
            None => format!("board {board}"),
        };
    };
    let name = at
        .and_then(|one| one.circuits.iter().find(|circuit| circuit.number == number))
        .map(|circuit| format!(", {}", circuit.description))
        .unwrap_or_default();
    format!("circuit {number}{of_board}{name}")
}

/// What an exception is, the worst last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Found {
    Odd,
    Unsettled,
    Wrong,
}

/// A test of a circuit, or of a board itself.
type Tested = (u16, Option<u16>, Option<Stage>);

fn found(schedule: &Schedule) -> Section {
    // By place and kind of test: how many, and the worst that is said of them.
    let mut found: BTreeMap<Tested, (usize, Found)> = BTreeMap::new();
    let mut again = 0;
    for one in &schedule.exceptions {
        if one.later.is_some() {
            again += 1;
            continue;
        }
        let is = match one.judged {
            Some(Outcome::Pass) => Found::Odd,
            Some(Outcome::CannotSay) => Found::Unsettled,
            _ => Found::Wrong,
        };
        let entry = found
            .entry((one.board, one.circuit, one.stage))
            .or_insert((0, is));
        entry.0 += 1;
        entry.1 = entry.1.max(is);
    }
    let items = found
        .into_iter()
        .map(|((board, circuit, stage), (count, is))| {
            let about = match stage {
                None => "stays off",
                // Nothing else of that stage is an exception.
                Some(Stage::MakeSafe) => {
                    "was found dangerous, and was left on as the person in charge decided. Have it \
                     made right at once"
                }
                Some(stage) => plain(stage).map_or("something at it", |(name, _)| name),
            };
            let times = if count > 1 {
                format!(" ({count} results)")
            } else {
                String::new()
            };
            let said = match (stage, is) {
                (None | Some(Stage::MakeSafe), _) => String::new(),
                (Some(_), Found::Wrong) => " is not as it should be".to_owned(),
                (Some(_), Found::Odd) => {
                    " is within its limit and not what it should read, and should be looked at"
                        .to_owned()
                }
                (Some(_), Found::Unsettled) => {
                    " can't be judged by what was read, and should be looked at".to_owned()
                }
            };
            format!(
                "{}: {about}{said}{times}.",
                capital(&where_is(schedule, board, circuit))
            )
        })
        .collect::<Vec<_>>();
    let mut paragraphs = Vec::new();
    if let Some(outcome) = schedule
        .inspection
        .as_ref()
        .and_then(|i| i.outcome.as_ref())
    {
        let rule = outcome.rule().map(|rule| format!(" {rule}"));
        paragraphs.push(format!(
            "What could be seen was looked at. The outcome, as the person who inspected says: {}.{}",
            outcome.said,
            rule.unwrap_or_default()
        ));
    }
    let items: Vec<String> = seen(schedule).into_iter().chain(items).collect();
    match (
        items.is_empty() && !schedule.found_unsatisfactory(),
        schedule.finished,
    ) {
        (true, _) if !any_test(schedule) => {
            paragraphs.push("Nothing was tested, so nothing can be said of it.".to_owned());
        }
        (true, true) => paragraphs.push("No result was outside its limit.".to_owned()),
        (true, false) => paragraphs.push("No result was outside its limit so far.".to_owned()),
        (false, _) => {}
    }
    if again > 0 {
        paragraphs.push(format!(
            "{} outside the limit at first, and within it when tested again; the schedule has the particulars.",
            plural(again, "result was", "results were")
        ));
    }
    Section {
        title: "What was found",
        paragraphs,
        items,
    }
}

/// What was seen, what is dangerous first, and what is to be done about it.
fn seen(schedule: &Schedule) -> Vec<String> {
    let mut all: Vec<&ObservationRow> = schedule.observations.iter().collect();
    all.sort_by_key(|one| one.rank());
    let item = |one: &ObservationRow| {
        let place = capital(&where_is(schedule, one.board, one.circuit));
        let at = one
            .place
            .as_ref()
            .map(|at| format!(", {at}"))
            .unwrap_or_default();
        let what = match one.words.as_slice() {
            [] => String::new(),
            words => format!(" {}.", capital(words.join("; ").trim_end_matches('.'))),
        };
        format!(
            "{place}{at}: {} ({}).{what} {}",
            one.means,
            one.code,
            one.advice()
        )
    };
    all.into_iter().map(item).collect()
}

fn not_tested(schedule: &Schedule) -> Section {
    let mut paragraphs = Vec::new();
    if schedule.limited_job().is_some() {
        paragraphs.push("Only some of the tests were ordered; the schedule says which.".to_owned());
    }
    let mut items: Vec<String> = Vec::new();
    for one in &schedule.limitations {
        let place = capital(&where_is(schedule, one.board, one.circuit));
        let tests = match plain(one.stage) {
            Some((name, _)) => format!("the tests of {name}"),
            None => "its tests".to_owned(),
        };
        let item = format!("{place}: {tests} are not complete ({}).", one.reason);
        if !items.contains(&item) {
            items.push(item);
        }
    }
    let unfinished = circuits(schedule).filter(|(_, circuit)| circuit.open_steps > 0);
    items.extend(unfinished.map(|(board, circuit)| {
        format!(
            "{}: {}.",
            capital(&where_is(schedule, board.number, Some(circuit.number))),
            if circuit.begun {
                "its tests are not finished"
            } else {
                "its tests are not begun"
            }
        )
    }));
    Section {
        title: "What was not tested",
        paragraphs,
        items,
    }
}

fn to_do(schedule: &Schedule) -> Section {
    let mut items = Vec::new();
    let out: Vec<String> = schedule
        .out_list
        .iter()
        .filter(|row| row.is_open())
        .map(|row| row.what.clone())
        .collect();
    if !out.is_empty() {
        items.push(format!(
            "Something is still taken apart or joined for the tests ({}): nothing there may be switched on before {} has put it back.",
            out.join("; "),
            schedule.tester
        ));
    }
    let off: Vec<String> = schedule
        .stays_off
        .iter()
        .map(|(board, circuit)| where_is(schedule, *board, Some(*circuit)))
        .collect();
    if !off.is_empty() {
        items.push(format!(
            "Leave off what was left off: {}. A competent person has to put it right first.",
            off.join("; ")
        ));
    }
    if schedule.exceptions.iter().any(|one| one.later.is_none()) {
        items.push(
            "Have what was found looked at and put right by a competent person, and tested again."
                .to_owned(),
        );
    }
    if !schedule.open_items.is_empty() {
        items.push("Have the tests made that are still to come.".to_owned());
    } else if !schedule.finished {
        items.push("Have the work finished: its last steps are still to come.".to_owned());
    }
    if circuits(schedule).any(|(_, circuit)| circuit.rcd_ma.is_some()) {
        items.push(SIX_MONTHS.to_owned());
    }
    if let Some(next) = schedule.next_inspection {
        items.push(format!(
            "Have the installation inspected and tested again by {}, or sooner when it is changed, damaged or used otherwise.",
            day(next)
        ));
    }
    items.push(
        "Keep this page with the schedule of test results: whoever tests next will want both."
            .to_owned(),
    );
    Section {
        title: "What to do",
        paragraphs: Vec::new(),
        items,
    }
}

/// BS 7671:2018+A2:2022, 514.12.2, asks for a notice that residual current devices be tested every
/// six months by their button; the words are ours (the regulation from memory).
pub(super) const SIX_MONTHS: &str = "Press the button marked T or Test on each residual current device every six months. \
    The supply has to go off; switch it on again after. If it does not go off, call a competent person.";
