use super::cells::{Cell, ReadingRow};
use super::columns::{CellShown, CircuitTable, MARKS, groups, tables};
use super::front::{KEY_HEADS, or_dash, protection, standing};
use super::inspection::{aloud, mark};
use super::letters::Letters;
use super::page::{Heads, Lies, Paper, Style};
use super::photo::drawn;
use super::print::{PdfError, printed};
use super::schedule::{BoardSchedule, CircuitRow, HeadingRow, Schedule};
use super::table::{Table, TableCell};
use super::words::{self, plain};
use crate::limits::Outcome;
use crate::sequence::say::capital;

/// The schedule as PDF, A4 across, with its fonts in it, and tagged so that it can be read aloud.
///
/// # Errors
/// Only when the program itself is not whole.
pub fn pdf(schedule: &Schedule) -> Result<Vec<u8>, PdfError> {
    pdf_of_threads(std::slice::from_ref(schedule))
}

/// The same for the threads of a merged log, each on pages of its own.
///
/// # Errors
/// As [`pdf`].
pub fn pdf_of_threads(schedules: &[Schedule]) -> Result<Vec<u8>, PdfError> {
    let mut paper = Paper::new(Letters::new()?, Lies::Across);
    for (n, schedule) in schedules.iter().enumerate() {
        if n > 0 {
            paper.new_page();
        }
        first_page(&mut paper, schedule)?;
        for board in &schedule.boards {
            board_pages(&mut paper, board, schedule);
        }
        inspection(&mut paper, schedule);
        out_history(&mut paper, schedule);
        about_session(&mut paper, schedule);
    }
    let first = schedules.first();
    let foot = match (first, schedules.len()) {
        (Some(first), 1) => {
            let head = first.head.map(|head| format!(" Head {}.", head.short()));
            format!(
                "{}: {}   {}   Times in {}. {} events.{}",
                first.kind,
                first.title,
                first.record_of,
                first.time_zone,
                first.events,
                head.unwrap_or_default()
            )
        }
        (Some(first), several) => format!(
            "{}: {}   {}   Times in {}. {several} sessions put together.",
            first.kind, first.title, first.record_of, first.time_zone
        ),
        (None, _) => String::new(),
    };
    printed(
        paper.finish(&foot),
        &format!(
            "Schedule of test results: {}",
            first.map_or("", |first| first.title.as_str())
        ),
        first.map_or("", |first| first.program.as_str()),
    )
}

fn first_page(paper: &mut Paper, schedule: &Schedule) -> Result<(), PdfError> {
    paper.letterhead(&schedule.letterhead)?;
    paper.title("Schedule of test results");
    paper.text(
        &format!("{}: {}", schedule.kind, schedule.title),
        Style::plain(10.5),
    );
    if let Some(thread) = &schedule.thread {
        paper.text(
            &format!("{thread}. What is out in one session was not put back by another."),
            Style::bold(9.5),
        );
    }
    paper.text(schedule.record_of, Style::bold(8.5));
    if !schedule.finished {
        paper.text(
            "The session is not finished: what follows is how far it has come.",
            Style::bold(9.5),
        );
    }
    paper.gap(4.0);
    let rows = facts(schedule)
        .chunks(3)
        .map(|some| {
            (0..3)
                .flat_map(|n| {
                    let (name, value) = some.get(n).cloned().unwrap_or_default();
                    [TableCell::head(name, Heads::Row), TableCell::plain(value)]
                })
                .collect()
        })
        .collect();
    paper.table(&Table {
        about: "Site, people and supply".to_owned(),
        rows,
        size: 7.4,
        ..Table::default()
    });
    for board in &schedule.boards {
        key_results(paper, board, schedule);
    }
    summary(paper, schedule);
    photos(paper, schedule);
    signatures(paper, schedule);
    paper.keep(66.0);
    paper.heading("Cautions", 2, 9.0);
    paper.list("!", schedule.cautions, 7.0);
    if let Some(known) = schedule.known_by() {
        paper.text(&known, Style::quiet(7.2));
    }
    Ok(())
}

/// The photographs of what was seen.
fn photos(paper: &mut Paper, schedule: &Schedule) {
    let seen = schedule.observations.iter();
    for (one, photo) in seen.flat_map(|one| one.photos.iter().map(move |photo| (one, photo))) {
        let caption = format!(
            "Observation {}, {}: {} (event {})",
            one.number,
            one.code,
            one.text(),
            photo.event
        );
        match drawn(&photo.picture) {
            Ok(picture) => {
                paper.keep(200.0);
                paper.text(&caption, Style::bold(8.0));
                paper.photo(
                    picture,
                    photo.picture.turned,
                    (260.0, 180.0),
                    one.instead_of_photo(),
                );
            }
            // It was drawn when it was added; whatever else it is now, the rest is printed.
            Err(why) => paper.text(
                &format!(
                    "{caption}: its photo can't be drawn on paper ({why}); the web page shows it."
                ),
                Style::plain(8.0),
            ),
        }
    }
}

/// The few results by which each circuit is known.
fn key_results(paper: &mut Paper, board: &BoardSchedule, schedule: &Schedule) {
    let title = if schedule.boards.len() > 1 {
        format!("Circuits of board {}: {}", board.number, board.name)
    } else {
        "Circuits".to_owned()
    };
    if board.circuits.is_empty() {
        return;
    }
    paper.heading(&title, 2, 9.5);
    let head = KEY_HEADS.into_iter().chain(["Standing"]);
    paper.table(&Table {
        about: format!("Key results of board {}", board.number),
        head: vec![head.map(column).collect()],
        rows: board
            .circuits
            .iter()
            .map(|circuit| key_row(schedule, board, circuit))
            .collect(),
        size: 7.2,
        ..Table::default()
    });
}

fn key_row(schedule: &Schedule, board: &BoardSchedule, circuit: &CircuitRow) -> Vec<TableCell> {
    let key = &circuit.key;
    let standing = standing(schedule, board.number, circuit);
    vec![
        TableCell::plain(format!("{} {}", circuit.number, circuit.description)).heading_row(),
        TableCell::plain(or_dash(protection(circuit))),
        result_as(&key.continuity, &key.continuity.text()),
        result_as(&key.insulation, &key.insulation.text()),
        result_as(&key.polarity, &key.polarity.text()),
        result_as(&key.zs, &key.zs.text()),
        TableCell::plain(or_dash(circuit.zs_read_at_most.clone().unwrap_or_default())),
        result_as(&key.rcd, &key.rcd.text()),
        if standing.contains('✗') {
            TableCell::bold(standing)
        } else {
            TableCell::plain(standing)
        },
    ]
}

/// Where who tested and who checked sign.
fn signatures(paper: &mut Paper, schedule: &Schedule) {
    paper.keep(76.0);
    paper.heading("Signed", 2, 9.5);
    let heads = ["", "Name", "Signature", "Date"];
    // A column is as wide as what stands in it: these are for a pen.
    let room = |count: usize| TableCell::plain("\u{a0}".repeat(count));
    paper.table(&Table {
        about: "Signatures".to_owned(),
        head: vec![heads.map(column).to_vec()],
        rows: schedule
            .signs()
            .into_iter()
            .map(|(what, name)| {
                vec![
                    TableCell::head(what, Heads::Row),
                    TableCell::plain(name),
                    room(60),
                    room(30),
                ]
            })
            .collect(),
        size: 8.0,
        least: 20.0,
    });
}

/// How the session went: what is looked for later, and only where there is something.
fn about_session(paper: &mut Paper, schedule: &Schedule) {
    let times = schedule.times();
    instruments(paper, schedule);
    let departures = schedule.departures.iter().map(|one| {
        format!(
            "{} (event {}, {})",
            capital(&one.what),
            one.event,
            times.clock(one.at)
        )
    });
    listed(
        paper,
        "Departures from the order",
        &departures.collect::<Vec<_>>(),
    );
}

/// A heading with how many there are, and the list; nothing where it is empty.
fn listed(paper: &mut Paper, title: &str, items: &[String]) {
    if !items.is_empty() {
        paper.heading(&format!("{title}  {}", items.len()), 2, 9.5);
        paper.list("•", items, 8.0);
    }
}

fn facts(schedule: &Schedule) -> Vec<(String, String)> {
    let times = schedule.times();
    let supply = &schedule.supply;
    let mut facts = vec![
        (
            "Site",
            match &schedule.address {
                Some(address) => format!("{}, {address}", schedule.site),
                None => schedule.site.clone(),
            },
        ),
        ("Tested by", schedule.tester.clone()),
        ("Begun", times.minute(schedule.begun)),
        (
            if schedule.finished {
                "Finished"
            } else {
                "Last entry"
            },
            times.minute(schedule.last_event),
        ),
        (
            "Supply",
            format!(
                "{}, {}, U₀ {} V a.c., {}",
                supply.earthing,
                if supply.phases == 3 {
                    "three-phase and neutral"
                } else {
                    "single-phase"
                },
                plain(supply.volts),
                supply.sources.join(", ")
            ),
        ),
    ];
    if let Some(ze) = &supply.ze_given {
        facts.push(("Ze given", format!("{ze} Ω")));
    }
    if let Some(current) = &supply.fault_current_given {
        facts.push(("Fault current given", format!("{current} kA")));
    }
    let particulars = supply.particulars.iter();
    facts.extend(particulars.map(|one| (one.what, one.value.clone())));
    if let Some(celsius) = schedule.celsius {
        facts.push(("Conductors at", format!("{} °C", plain(celsius))));
    }
    if !schedule.editions.is_empty() {
        let editions: Vec<&str> = schedule.editions.iter().map(String::as_str).collect();
        facts.push(("Limits from", editions.join("; ")));
    }
    if let Some(supervisor) = &schedule.supervisor {
        facts.insert(2, ("Supervised by", supervisor.clone()));
    }
    let mut facts: Vec<(String, String)> = facts
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value))
        .collect();
    for one in &schedule.origin {
        let sign = one
            .result
            .outcome()
            .map(|outcome| words::outcome(outcome).0);
        let value = one.result.with_unit();
        facts.push((
            capital(&one.named(schedule)),
            sign.map_or(value.clone(), |sign| format!("{value} {sign}")),
        ));
    }
    facts
}

fn instruments(paper: &mut Paper, schedule: &Schedule) {
    paper.heading("Instruments", 2, 10.5);
    if schedule.instruments.is_empty() {
        paper.text("None are listed in the job.", Style::quiet(8.5));
        return;
    }
    let heads = ["Instrument", "Serial number", "Used for", "Calibration due"];
    paper.table(&Table {
        about: "Instruments".to_owned(),
        head: vec![heads.map(column).to_vec()],
        rows: schedule
            .instruments
            .iter()
            .map(|one| {
                let due = if one.overdue {
                    TableCell::bold(format!("{} ✗ overdue when the session began", one.due()))
                } else {
                    TableCell::plain(one.due())
                };
                vec![
                    TableCell::plain(&one.name),
                    TableCell::plain(&one.serial),
                    TableCell::plain(one.used_for.join(", ")),
                    due,
                ]
            })
            .collect(),
        size: 8.5,
        ..Table::default()
    });
}

fn summary(paper: &mut Paper, schedule: &Schedule) {
    let times = schedule.times();
    let open: Vec<String> = schedule
        .open_items
        .iter()
        .map(|one| capital(&one.what))
        .collect();
    let exceptions: Vec<String> = schedule
        .exceptions
        .iter()
        .map(|one| {
            let later = one
                .later
                .as_ref()
                .map(|later| format!("; ✓ {later}"))
                .unwrap_or_default();
            format!(
                "{} ({}, event {}, {}{later})",
                capital(&one.what),
                one.outcome,
                one.event,
                times.clock(one.at)
            )
        })
        .collect();
    let limitations: Vec<String> = schedule
        .limited_job()
        .into_iter()
        .chain(schedule.limitations.iter().map(|one| {
            let circuit = one
                .circuit
                .map(|circuit| format!(", circuit {circuit}"))
                .unwrap_or_default();
            format!(
                "{}: board {}{circuit}, not tested: {}. Reason: {}",
                one.mark,
                one.board,
                one.what.join("; "),
                one.reason
            )
        }))
        .collect();
    let overrides: Vec<String> = schedule
        .overrides
        .iter()
        .map(|one| {
            format!(
                "Went on with {} still out. Reason: {} (event {}, {})",
                one.out.join("; "),
                one.reason,
                one.event,
                times.clock(one.at)
            )
        })
        .collect();
    let notes: Vec<String> = schedule
        .notes
        .iter()
        .map(|one| {
            format!(
                "{} (event {}, {})",
                one.shown(),
                one.event,
                times.clock(one.at)
            )
        })
        .collect();
    let observations: Vec<String> = schedule
        .observations
        .iter()
        .map(|one| {
            format!(
                "{} {}: {} ({}, event {}, {})",
                one.code,
                one.means,
                one.text(),
                one.place(),
                one.event,
                times.clock(one.at)
            )
        })
        .collect();
    for (title, items) in [
        ("Observations", observations),
        ("Exceptions", exceptions),
        ("Open items", open),
        ("Limitations", limitations),
        ("Overrides", overrides),
        ("Notes", notes),
    ] {
        listed(paper, title, &items);
    }
    let nothing = schedule.nothing_to_say();
    if !nothing.is_empty() {
        paper.gap(4.0);
        paper.text(&nothing, Style::plain(8.0));
    }
}

/// The schedule of inspection, where one belongs to the job.
fn inspection(paper: &mut Paper, schedule: &Schedule) {
    let Some(inspection) = &schedule.inspection else {
        return;
    };
    paper.keep(120.0);
    paper.heading("Schedule of inspection", 2, 14.0);
    for (name, text) in inspection.agreed() {
        paper.text(&format!("{name}: {text}"), Style::plain(8.5));
    }
    paper.text(&inspection.outcome_shown(), Style::bold(8.5));
    paper.gap(4.0);
    for section in &inspection.sections {
        let about = format!("{}. {}", section.number, capital(&section.name));
        paper.keep(60.0);
        paper.heading(&about, 3, 9.0);
        let head = ["Item", "What is looked at", "Regulation", "Outcome"];
        let rows = section.items.iter().map(|item| {
            vec![
                TableCell::plain(item.number.clone()).heading_row(),
                TableCell::plain(capital(&item.text)),
                TableCell::plain(item.regulation.clone().unwrap_or_default()),
                TableCell::plain(mark(item)).aloud(aloud(item)),
            ]
        });
        paper.table(&Table {
            about,
            head: vec![head.map(column).into()],
            rows: rows.collect(),
            size: 7.2,
            ..Table::default()
        });
    }
    paper.text(&inspection.key(), Style::quiet(7.2));
}

fn board_pages(paper: &mut Paper, board: &BoardSchedule, schedule: &Schedule) {
    // Beside what is left of the first page's things there is room for a board.
    paper.keep(300.0);
    paper.heading(&format!("Board {}: {}", board.number, board.name), 2, 14.0);
    let location = board
        .location
        .as_deref()
        .map(|location| format!("{}. ", capital(location)))
        .unwrap_or_default();
    let from = board
        .fed_from
        .as_ref()
        .map_or("at the origin".to_owned(), |from| {
            format!("fed from {from}")
        });
    paper.text(&format!("{location}{}.", capital(&from)), Style::quiet(8.5));
    let checks: Vec<String> = board
        .checks
        .iter()
        .map(|check| format!("{}: {}", capital(&check.what), check.said))
        .collect();
    paper.list("•", &checks, 8.5);
    paper.gap(4.0);
    circuits(paper, board, schedule);
    readings(paper, board, schedule);
}

fn circuits(paper: &mut Paper, board: &BoardSchedule, schedule: &Schedule) {
    let rows = board
        .heading
        .chunks(4)
        .map(|some| {
            (0..4)
                .flat_map(|n| {
                    let row = some.get(n);
                    let name = row.map(|row| row.what).unwrap_or_default();
                    let text = row.map(HeadingRow::text).unwrap_or_default();
                    let value = match row.and_then(HeadingRow::cell) {
                        Some(cell) => result_as(cell, &text),
                        None => TableCell::plain(text),
                    };
                    [TableCell::head(name, Heads::Row), value]
                })
                .collect()
        })
        .collect();
    paper.table(&Table {
        about: format!("Heading of board {}", board.number),
        rows,
        size: 7.4,
        ..Table::default()
    });
    for table in tables(schedule, board) {
        circuits_in(paper, &table, board);
    }
    paper.text(MARKS, Style::quiet(7.2));
}

fn circuits_in(paper: &mut Paper, table: &CircuitTable, board: &BoardSchedule) {
    paper.keep(60.0);
    paper.heading(table.title, 3, 9.5);
    let columns = &table.columns;
    let head = groups(columns)
        .into_iter()
        .map(|(group, count)| column(group).over(count))
        .collect();
    let heads = columns.iter().map(|each| column(each.head)).collect();
    let shown = board
        .circuits
        .iter()
        .filter(|circuit| (table.shown)(table, circuit));
    let rows = shown
        .map(|circuit| {
            columns
                .iter()
                .enumerate()
                .map(|(n, column)| match column.cell(circuit) {
                    CellShown::Nothing => TableCell::plain("–"),
                    CellShown::Text(text) if n == 0 => TableCell::plain(text).heading_row(),
                    CellShown::Text(text) => TableCell::plain(text),
                    CellShown::Result(cell) => result(cell),
                    CellShown::Marked(cell) => marked(cell),
                })
                .collect()
        })
        .collect();
    paper.table(&Table {
        about: format!("{}, board {}", table.title, board.number),
        head: vec![head, heads],
        rows,
        size: 6.6,
        ..Table::default()
    });
}

/// A result under the form's own marks, which are read aloud in words.
fn marked(cell: &Cell) -> TableCell {
    match cell {
        Cell::Reading { .. } => result(cell),
        Cell::Intent { wrong: true, .. } => result_as(cell, &cell.marked()),
        _ => TableCell::plain(cell.marked()).aloud(cell.marked_aloud()),
    }
}

/// A cell with its sign, which is read aloud in words.
fn result(cell: &Cell) -> TableCell {
    result_as(cell, &cell.on_page())
}

fn result_as(cell: &Cell, text: &str) -> TableCell {
    match cell.outcome() {
        Some(outcome) => {
            let (sign, words) = words::outcome(outcome);
            let signed = format!("{text} {sign}");
            let shown = match outcome {
                Outcome::Pass => TableCell::plain(signed),
                Outcome::Fail | Outcome::CannotSay => TableCell::bold(signed),
            };
            shown.aloud(format!("{text}, {words}"))
        }
        None => TableCell::plain(text),
    }
}

fn column(head: impl Into<String>) -> TableCell {
    TableCell::head(head, Heads::Column)
}

fn readings(paper: &mut Paper, board: &BoardSchedule, schedule: &Schedule) {
    let mut rows = Vec::new();
    let mut group = |title: String, readings: &[ReadingRow]| {
        if readings.is_empty() {
            return;
        }
        rows.push(vec![column(title).over(6)]);
        rows.extend(readings.iter().map(|row| reading(row, schedule)));
    };
    group("The board".to_owned(), &board.readings);
    for circuit in &board.circuits {
        group(
            format!("Circuit {}, {}", circuit.number, circuit.description),
            &circuit.readings,
        );
    }
    if rows.is_empty() {
        return;
    }
    paper.heading("Every reading, with its limit and arithmetic", 3, 10.5);
    let heads = [
        "Time",
        "Event",
        "What",
        "Value",
        "Against its limit",
        "Limit, clause and arithmetic",
    ];
    paper.table(&Table {
        about: format!("Readings of board {}", board.number),
        head: vec![heads.map(column).to_vec()],
        rows,
        size: 7.2,
        ..Table::default()
    });
}

fn reading(row: &ReadingRow, schedule: &Schedule) -> Vec<TableCell> {
    let against = match &row.verdict {
        Some(verdict) => {
            let (sign, words) = words::outcome(verdict.outcome);
            format!("{sign} {words}")
        }
        None => "no limit".to_owned(),
    };
    let arithmetic = row
        .verdict
        .as_ref()
        .map(|verdict| {
            let remark = verdict.remark.as_deref().unwrap_or_default();
            format!(
                "{} ({}, {}). {}. {remark}",
                verdict.limit, verdict.clause, verdict.edition, verdict.arithmetic
            )
        })
        .unwrap_or_default();
    let affirmed = if row.affirmed { " (affirmed)" } else { "" };
    vec![
        TableCell::plain(schedule.times().clock(row.at)),
        TableCell::plain(row.event.to_string()),
        TableCell::plain(&row.what),
        TableCell::bold(format!("{}{affirmed}", row.value())),
        TableCell::plain(against),
        TableCell::plain(arithmetic),
    ]
}

fn out_history(paper: &mut Paper, schedule: &Schedule) {
    let times = schedule.times();
    paper.heading("What was taken out, and put back", 2, 10.5);
    if schedule.out_list.is_empty() {
        paper.text(
            "Nothing was taken out, linked or switched over.",
            Style::quiet(8.5),
        );
        return;
    }
    let heads = [
        "What and where",
        "Board",
        "Circuit",
        "Out at",
        "Back at",
        "Out for",
    ];
    let rows = schedule.out_list.iter().map(|row| {
        let parked = row.parked.map(|p| format!(", {p}")).unwrap_or_default();
        let back = match row.back_at {
            Some(at) => TableCell::plain(times.clock(at)),
            None if row.withdrawn => TableCell::plain("said by mistake, taken back"),
            None => TableCell::bold("✗ still out"),
        };
        vec![
            TableCell::plain(format!("{}{parked}", capital(&row.what))),
            TableCell::plain(row.board.to_string()),
            TableCell::plain(row.circuit.map_or("–".to_owned(), |c| c.to_string())),
            TableCell::plain(times.clock(row.out_at)),
            back,
            TableCell::plain(if row.withdrawn {
                "–".to_owned()
            } else {
                row.length()
            }),
        ]
    });
    paper.table(&Table {
        about: "What was taken out, and put back".to_owned(),
        head: vec![heads.map(column).to_vec()],
        rows: rows.collect(),
        size: 8.5,
        ..Table::default()
    });
}
