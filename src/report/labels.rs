//! What is printed to stay at the board: the chart of its circuits for the door, and notices to cut
//! out. Their words follow common practice in the trade, and what BS 7671:2018+A2:2022 asks for:
//! 514.9.1 (a chart of the circuits), 514.12.1 (dates of the last and the next inspection), 514.12.2
//! (test by the button), 514.15.1 (more than one source). The regulations are named from memory;
//! whoever puts a notice up sees that it is the one that the place needs.

use super::customer::SIX_MONTHS;
use super::front::{or_dash, protection};
use super::html::{letterhead, whole};
use super::letters::Letters;
use super::page::{Heads, Lies, Paper, Style};
use super::print::{PdfError, printed};
use super::schedule::{BoardSchedule, CircuitRow, Schedule};
use super::table::{Table, TableCell};
use super::words::{day, plain};
use crate::sequence::say::capital;
use crate::terms::Stage;
use maud::{Markup, html};

const STYLE: &str = concat!(include_str!("schedule.css"), include_str!("labels.css"));
const TITLE: &str = "Board charts and notices";
const CHART_HEADS: [&str; 6] = [
    "No.",
    "What it feeds",
    "Protection",
    "Conductors mm²",
    "Points",
    "Kind",
];

/// What must be seen by whoever prints them.
const CHECK: &str = "Before any of it is put up: a competent person checks it against the board. A chart that is wrong is \
    worse than none.";

/// A notice to cut out.
struct Notice {
    title: String,
    lines: Vec<String>,
}

/// The charts and notices as one HTML file that needs nothing else.
pub fn labels_html(schedules: &[Schedule]) -> String {
    let Some(first) = schedules.first() else {
        return String::new();
    };
    let body = html! {
        body {
            main {
                h1 { (TITLE) }
                p.record { (CHECK) }
                @for schedule in schedules {
                    @for board in &schedule.boards { (chart(schedule, board)) }
                    section.notices aria-label="Notices" {
                        @for notice in notices(schedule) { (cut_out(&notice)) }
                    }
                }
            }
        }
    };
    let title = format!("{TITLE}: {}", first.title);
    whole(&first.letterhead, &title, STYLE, body)
}

fn chart(schedule: &Schedule, board: &BoardSchedule) -> Markup {
    html! {
        section.chart {
            (letterhead(&schedule.letterhead))
            h2 { (heading(schedule, board)) }
            p.where { (fed_from(schedule, board)) }
            div.wide tabindex="0" role="region" aria-label={ "Circuits of board " (board.number) } {
                table.list {
                    thead { tr { @for head in CHART_HEADS { th scope="col" { (head) } } } }
                    tbody { @for circuit in &board.circuits { tr {
                        @for (head, cell) in CHART_HEADS.iter().zip(row(schedule, board, circuit)) {
                            td data-label=(head) { span { (cell) } }
                        }
                    } } }
                }
            }
            p { (dates(schedule)) }
        }
    }
}

fn cut_out(notice: &Notice) -> Markup {
    html! {
        aside.notice {
            h3 { (notice.title) }
            @for line in &notice.lines { p { (line) } }
        }
    }
}

/// The same on upright paper: a page for the door of each board, then the notices.
///
/// # Errors
/// Only when the program itself is not whole, or the logo can't be drawn.
pub fn labels_pdf(schedules: &[Schedule]) -> Result<Vec<u8>, PdfError> {
    let mut paper = Paper::new(Letters::new()?, Lies::Upright);
    paper.title(TITLE);
    paper.text(CHECK, Style::bold(9.5));
    for schedule in schedules {
        for (n, board) in schedule.boards.iter().enumerate() {
            if n > 0 {
                paper.new_page();
            }
            paper.letterhead(&schedule.letterhead)?;
            paper.heading(&heading(schedule, board), 2, 14.0);
            paper.text(&fed_from(schedule, board), Style::quiet(9.0));
            paper.table(&Table {
                about: format!("Circuits of board {}", board.number),
                head: vec![
                    CHART_HEADS
                        .map(|head| TableCell::head(head, Heads::Column))
                        .to_vec(),
                ],
                rows: board
                    .circuits
                    .iter()
                    .map(|circuit| {
                        let cells = row(schedule, board, circuit);
                        cells.map(TableCell::plain).to_vec()
                    })
                    .collect(),
                size: 9.5,
                least: 17.0,
            });
            paper.gap(4.0);
            paper.text(&dates(schedule), Style::plain(9.5));
        }
        paper.new_page();
        paper.heading("Notices", 2, 14.0);
        for notice in notices(schedule) {
            paper.framed(&notice.title, &notice.lines);
        }
    }
    let first = schedules.first();
    let name = first.map_or("", |first| first.title.as_str());
    printed(
        paper.finish(name),
        &format!("{TITLE}: {name}"),
        first.map_or("", |first| first.program.as_str()),
    )
}

fn heading(schedule: &Schedule, board: &BoardSchedule) -> String {
    schedule.stamped(&format!(
        "{}, {}: board {}",
        schedule.site,
        capital(&board.name),
        board.number
    ))
}

fn fed_from(schedule: &Schedule, board: &BoardSchedule) -> String {
    let from = match &board.fed_from {
        Some(from) => format!("Fed from {from}."),
        None => format!("At the origin: {}.", schedule.supply.sources.join(", ")),
    };
    let phases = if board.phases == 3 {
        "three-phase"
    } else {
        "single-phase"
    };
    format!(
        "{from} {}, {phases}, {} V to earth.",
        schedule.supply.earthing,
        plain(schedule.supply.volts)
    )
}

fn row(schedule: &Schedule, board: &BoardSchedule, circuit: &CircuitRow) -> [String; 6] {
    let off = schedule.stays_off.contains(&(board.number, circuit.number));
    let what = if off {
        format!("{} (LEFT OFF)", circuit.description)
    } else {
        circuit.description.clone()
    };
    let size = |mm2: Option<f64>| mm2.map_or("–".to_owned(), plain);
    [
        circuit.number.to_string(),
        what,
        or_dash(protection(circuit)),
        format!("{}/{}", size(circuit.live_mm2), size(circuit.cpc_mm2)),
        match circuit.points {
            // None are listed in the job.
            0 => "–".to_owned(),
            points => points.to_string(),
        },
        circuit.kind.to_owned(),
    ]
}

/// When it was tested, and when next, if the job says so.
fn dates(schedule: &Schedule) -> String {
    let tested = schedule.times().date(schedule.last_event);
    let tested = if schedule.finished {
        format!("Tested {tested}.")
    } else {
        format!("Tests begun, not finished, {tested}.")
    };
    match schedule.next_inspection {
        Some(next) => format!("{tested} Next inspection and test by {}.", day(next)),
        None => tested,
    }
}

fn notices(schedule: &Schedule) -> Vec<Notice> {
    let mut notices = Vec::new();
    if schedule.practised {
        // Nothing of it is ever put up.
        return vec![Notice {
            title: schedule.stamped("no notice"),
            lines: vec![schedule.record_of.to_owned()],
        }];
    }
    for board in &schedule.boards {
        notices.push(Notice {
            title: format!("Isolate here: {}", board.name),
            lines: vec![
                match &board.fed_from {
                    Some(from) => format!("This board is fed from {from}."),
                    None => format!("The main switch of {} is here.", schedule.site),
                },
                "Before work: switch off, lock off, keep the key, prove dead.".to_owned(),
            ],
        });
    }
    if schedule.supply.sources.len() > 1 {
        notices.push(Notice {
            title: "More than one supply".to_owned(),
            lines: vec![
                format!(
                    "This installation can be fed from: {}.",
                    schedule.supply.sources.join(", ")
                ),
                "Before work isolate every one of them, and prove dead.".to_owned(),
            ],
        });
    }
    let with_rcd = |circuit: &CircuitRow| circuit.rcd_ma.is_some();
    if schedule
        .boards
        .iter()
        .any(|board| board.circuits.iter().any(with_rcd))
    {
        notices.push(Notice {
            title: "Test every six months".to_owned(),
            lines: vec![SIX_MONTHS.to_owned()],
        });
    }
    let mut inspected = vec![dates(schedule)];
    if let Some(heading) = &schedule.letterhead.heading {
        inspected.push(heading.clone());
    }
    notices.push(Notice {
        title: "Inspection and test".to_owned(),
        lines: inspected,
    });
    for one in &schedule.exceptions {
        if one.stage == Some(Stage::MakeSafe)
            && let Some(circuit) = one.circuit
        {
            notices.push(Notice {
                title: "Found dangerous".to_owned(),
                lines: vec![format!(
                    "Circuit {circuit} of board {} was found dangerous on {} and left on, as the person in charge decided. Do not use it until a competent person has put it right and tested it.",
                    one.board,
                    schedule.times().date(one.at)
                )],
            });
        }
    }
    for (board, circuit) in &schedule.stays_off {
        notices.push(Notice {
            title: "Do not switch on".to_owned(),
            lines: vec![format!(
                "Circuit {circuit} of board {board} was left off on {}. Leave it off until a competent person has put it right and tested it.",
                schedule.times().date(schedule.last_event)
            )],
        });
    }
    notices
}
