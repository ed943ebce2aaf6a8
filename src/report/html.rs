use super::cells::{Cell, ReadingRow};
use super::columns::{CellShown, CircuitTable, MARKS, groups, tables};
use super::front::{KEY_HEADS, KeyResult, or_dash, protection, standing};
use super::inspection::{aloud, mark};
use super::letterhead::Letterhead;
use super::palette::{PALETTE, TABLES};
use super::schedule::{BoardSchedule, CircuitRow, HeadingValue, OutRow, Schedule};
use super::words::{self, plain};
use crate::limits::Verdict;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("schedule.css");

/// A page that needs nothing else, around its body: `style` is laid over the colours of every page.
pub(super) fn whole(letterhead: &Letterhead, title: &str, style: &str, body: Markup) -> String {
    page_of(policy(letterhead), title, style, body)
}

/// The same of a page that sounds stand in.
pub(super) fn whole_with_sounds(title: &str, style: &str, body: Markup) -> String {
    let policy = html! {
        meta http-equiv="Content-Security-Policy"
            content="default-src 'none'; style-src 'unsafe-inline'; media-src data:";
    };
    page_of(policy, title, style, body)
}

fn page_of(policy: Markup, title: &str, style: &str, body: Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                (policy)
                title { (title) }
                style { (PreEscaped(PALETTE)) (PreEscaped(style)) (PreEscaped(TABLES)) }
            }
            (body)
        }
    };
    page.into_string()
}

/// The schedule as one HTML file that needs nothing else: for the screen, a phone and paper.
pub fn html(schedule: &Schedule) -> String {
    html_of_threads(std::slice::from_ref(schedule))
}

/// The same for the threads of a merged log, one after the other, each a session of its own.
pub fn html_of_threads(schedules: &[Schedule]) -> String {
    let title = schedules.first().map_or("", |first| first.title.as_str());
    let letterhead = schedules
        .first()
        .map(|first| first.letterhead.clone())
        .unwrap_or_default();
    let body = html! {
        body {
            @if let [only] = schedules {
                (first_page(only))
                main { (results(only)) }
                (foot(only))
            } @else {
                main {
                    p.unfinished {
                        "This log was put together from " (schedules.len()) " sessions. Each has \
                         its own schedule below, made from its own events: what is out in one \
                         was not put back by another."
                    }
                    @for schedule in schedules {
                        article aria-label=[schedule.thread.as_ref().map(ToString::to_string)] {
                            (first_page(schedule))
                            (results(schedule))
                            (foot(schedule))
                        }
                    }
                }
            }
        }
    };
    let mut seen = schedules.iter().flat_map(|schedule| &schedule.observations);
    let pictures = letterhead.logo.is_some() || seen.any(|one| !one.photos.is_empty());
    page_of(
        policy_with(pictures),
        &format!("Schedule of test results: {title}"),
        STYLE,
        body,
    )
}

fn results(schedule: &Schedule) -> Markup {
    html! {
        @for board in &schedule.boards { (board_page(board, schedule)) }
        (inspection(schedule))
        (out_history(schedule))
        (about_session(schedule))
    }
}

fn foot(schedule: &Schedule) -> Markup {
    html! {
        footer {
            p { (schedule.record_of) }
            p {
                "Made from " (schedule.events) " events by " (schedule.program)
                ". Times in " (schedule.time_zone) "."
            }
            @if let Some(known) = schedule.known_by() { p.head { (known) } }
        }
    }
}

/// The name of a part of the page; several threads on one page each have their own.
fn id(name: &str, schedule: &Schedule) -> String {
    match &schedule.thread {
        Some(thread) => format!("{name}-of-{}", thread.number),
        None => name.to_owned(),
    }
}

/// What a page may load: nothing, but a logo that stands in it.
pub(super) fn policy(letterhead: &Letterhead) -> Markup {
    policy_with(letterhead.logo.is_some())
}

/// The same, with whether any picture stands in it.
fn policy_with(pictures: bool) -> Markup {
    let pictures = if pictures { "; img-src data:" } else { "" };
    html! {
        meta http-equiv="Content-Security-Policy"
            content=(format!("default-src 'none'; style-src 'unsafe-inline'{pictures}"));
    }
}

/// One's own heading and logo.
pub(super) fn letterhead(letterhead: &Letterhead) -> Markup {
    html! {
        @if !letterhead.is_empty() {
            div.letterhead {
                @if let Some(heading) = &letterhead.heading { p.heading { (heading) } }
                @if let Some(logo) = &letterhead.logo {
                    img src=(logo.data_uri()) alt=(letterhead.instead_of_logo());
                }
            }
        }
    }
}

fn first_page(schedule: &Schedule) -> Markup {
    html! {
        header {
            (letterhead(&schedule.letterhead))
            p.kind { (schedule.kind) }
            h1 { "Schedule of test results" }
            p.job { (schedule.title) }
            @if let Some(thread) = &schedule.thread { p.unfinished { (thread) "." } }
            p.record { (schedule.record_of) }
            @if !schedule.finished {
                p.unfinished { "The session is not finished: what follows is how far it has come." }
            }
        }
        section.first {
            div.facts role="region" aria-label="Site, people and supply" { (who(schedule)) (supply(schedule)) }
            @if !schedule.origin.is_empty() {
                section aria-label="Ze, fault current and bonds" {
                    dl.origin { @for one in &schedule.origin { (at_origin(one, schedule)) } }
                }
            }
            (key_results(schedule))
            (summary(schedule))
            (signatures(schedule))
            aside.cautions aria-labelledby=(id("cautions", schedule)) {
                h2 id=(id("cautions", schedule)) { "Cautions" }
                ul { @for caution in schedule.cautions { li { (caution) } } }
            }
        }
    }
}

/// The few results by which each circuit is known.
fn key_results(schedule: &Schedule) -> Markup {
    let id = id("key", schedule);
    html! {
        section.key aria-labelledby=(id) {
            h2 id=(id) { "Circuits" }
            @for board in &schedule.boards {
                @if schedule.boards.len() > 1 { h3 { "Board " (board.number) ": " (board.name) } }
                @if board.circuits.is_empty() { p.none { "No circuits are listed." } }
                @else {
                    div.wide tabindex="0" role="region" aria-label={ "Key results of board " (board.number) } {
                        table.list {
                            thead { tr {
                                @for head in KEY_HEADS { th scope="col" { (head) } }
                                th scope="col" { "Standing" }
                            } }
                            tbody { @for circuit in &board.circuits { (key_row(schedule, board, circuit)) } }
                        }
                    }
                }
            }
        }
    }
}

fn key_row(schedule: &Schedule, board: &BoardSchedule, circuit: &CircuitRow) -> Markup {
    let key = &circuit.key;
    let at_most = circuit.zs_read_at_most.clone().unwrap_or_default();
    let [first, second, third, fourth, fifth, sixth, seventh, eighth] = KEY_HEADS;
    html! {
        tr {
            th scope="row" data-label=(first) { span { (circuit.number) " " (circuit.description) } }
            td data-label=(second) { span { (or_dash(protection(circuit))) } }
            td data-label=(third) { (result_as(&key.continuity, &key.continuity.text())) }
            td data-label=(fourth) { (result_as(&key.insulation, &key.insulation.text())) }
            td data-label=(fifth) { (result_as(&key.polarity, &key.polarity.text())) }
            td data-label=(sixth) { (result_as(&key.zs, &key.zs.text())) }
            td data-label=(seventh) { span { (or_dash(at_most)) } }
            td data-label=(eighth) { (result_as(&key.rcd, &key.rcd.text())) }
            td data-label="Standing" { span { (standing(schedule, board.number, circuit)) } }
        }
    }
}

/// Where who tested and who checked sign.
fn signatures(schedule: &Schedule) -> Markup {
    let id = id("signatures", schedule);
    html! {
        section.signatures aria-labelledby=(id) {
            h2 id=(id) { "Signed" }
            table.list {
                thead { tr {
                    td {} th scope="col" { "Name" } th scope="col" { "Signature" } th scope="col" { "Date" }
                } }
                tbody { @for (what, name) in schedule.signs() { tr {
                    th scope="row" { (what) }
                    td data-label="Name" { span { (name) } }
                    td.line data-label="Signature" { span {} }
                    td.line data-label="Date" { span {} }
                } } }
            }
        }
    }
}

/// How the session went: what is looked for later, and only where there is something.
fn about_session(schedule: &Schedule) -> Markup {
    let times = schedule.times();
    let departures = schedule.departures.iter().map(|one| {
        html! { (speak_capital(&one.what)) " " span.aside { "event " (one.event) ", " (times.clock(one.at)) } }
    });
    html! {
        (instruments(schedule))
        (list(schedule, "departures", "Departures from the order", departures.collect()))
    }
}

fn list(schedule: &Schedule, name: &str, title: &str, items: Vec<Markup>) -> Markup {
    let id = id(name, schedule);
    html! {
        @if !items.is_empty() {
            section aria-labelledby=(id) {
                h2 id=(id) { (title) " " span.count { (items.len()) } }
                ul { @for item in items { li { (item) } } }
            }
        }
    }
}

fn who(schedule: &Schedule) -> Markup {
    let times = schedule.times();
    let fact = |name: &str, value: Markup| html! { div { dt { (name) } dd { (value) } } };
    html! {
        dl {
            (fact("Site", html! {
                (schedule.site)
                @if let Some(address) = &schedule.address { br; (address) }
            }))
            (fact("Tested by", html! { (schedule.tester) }))
            @if let Some(supervisor) = &schedule.supervisor {
                (fact("Supervised by", html! { (supervisor) }))
            }
            (fact("Begun", html! { (times.minute(schedule.begun)) }))
            (fact(if schedule.finished { "Finished" } else { "Last entry" }, html! {
                (times.minute(schedule.last_event))
                @if schedule.resumed > 0 {
                    ", taken up again " (schedule.resumed) (if schedule.resumed == 1 { " time" } else { " times" })
                }
            }))
            @if let Some(celsius) = schedule.celsius {
                (fact("Conductors at", html! { (plain(celsius)) " °C" }))
            }
            @if !schedule.editions.is_empty() {
                (fact("Limits from", html! {
                    @for (n, edition) in schedule.editions.iter().enumerate() {
                        @if n > 0 { "; " } (edition)
                    }
                }))
            }
        }
    }
}

fn supply(schedule: &Schedule) -> Markup {
    let supply = &schedule.supply;
    let fact = |name: &str, value: String| html! { div { dt { (name) } dd { (value) } } };
    let phases = if supply.phases == 3 {
        "three-phase and neutral"
    } else {
        "single-phase"
    };
    html! {
        dl {
            (fact("Earthing", supply.earthing.to_owned()))
            (fact("Supply", format!("{phases}, U₀ {} V a.c.", plain(supply.volts))))
            (fact("Sources", supply.sources.join(", ")))
            @if let Some(ze) = &supply.ze_given {
                (fact("Zₑ given", format!("{ze} Ω")))
            }
            @if let Some(current) = &supply.fault_current_given {
                (fact("Fault current given", format!("{current} kA")))
            }
            @for one in &supply.particulars {
                (fact(one.what, one.value.clone()))
            }
        }
    }
}

fn at_origin(one: &KeyResult, schedule: &Schedule) -> Markup {
    html! {
        div.measured {
            dt { (speak_capital(&one.named(schedule))) }
            dd { (result_as(&one.result, &one.result.with_unit())) }
        }
    }
}

fn instruments(schedule: &Schedule) -> Markup {
    html! {
        section aria-labelledby=(id("instruments", schedule)) {
            h2 id=(id("instruments", schedule)) { "Instruments" }
            @if schedule.instruments.is_empty() {
                p.none { "None are listed in the job." }
            } @else {
                table.list {
                    thead { tr {
                        th scope="col" { "Instrument" } th scope="col" { "Serial number" }
                        th scope="col" { "Used for" } th scope="col" { "Calibration due" }
                    } }
                    tbody { @for one in &schedule.instruments { tr {
                        td data-label="Instrument" { (one.name) }
                        td data-label="Serial number" { (one.serial) }
                        td data-label="Used for" { (one.used_for.join(", ")) }
                        td data-label="Calibration due" {
                            (one.due())
                            @if one.overdue { " " strong.overdue { "✗ overdue when the session began" } }
                        }
                    } } }
                }
            }
        }
    }
}

fn summary(schedule: &Schedule) -> Markup {
    let times = schedule.times();
    let exceptions = schedule.exceptions.iter().map(|one| {
        html! {
            (speak_capital(&one.what)) " "
            span.aside { (one.outcome) ", event " (one.event) ", " (times.clock(one.at)) }
            @if let Some(later) = &one.later { " " span.later { "✓ " (later) } }
        }
    });
    let limited = schedule.limited_job().map(|sentence| html! { (sentence) });
    let limitations = schedule.limitations.iter().map(|one| {
        html! {
            span.mark { (one.mark) } " board " (one.board)
            @if let Some(circuit) = one.circuit { ", circuit " (circuit) }
            ", not tested: " (one.what.join("; ")) ". "
            span.aside { "Reason: " (one.reason) }
        }
    });
    let overrides = schedule.overrides.iter().map(|one| {
        html! {
            "Went on with " strong { (one.out.join("; ")) } " still out. "
            span.aside { "Reason: " (one.reason) ", event " (one.event) ", " (times.clock(one.at)) }
        }
    });
    let open = schedule.open_items.iter().map(|one| {
        html! { @if one.still_out { strong { (speak_capital(&one.what)) } } @else { (speak_capital(&one.what)) } }
    });
    let notes = schedule.notes.iter().map(|one| {
        html! { (one.shown()) " " span.aside { "event " (one.event) ", " (times.clock(one.at)) } }
    });
    let observations = schedule.observations.iter().map(|one| {
        html! {
            strong { (one.code) } " " (one.means) ": " (one.text()) " "
            span.aside { (one.place()) ", event " (one.event) ", " (times.clock(one.at)) }
            @for photo in &one.photos {
                img.photo src=(photo.picture.data_uri()) alt=(one.instead_of_photo());
            }
        }
    });
    let list = |name, title, items| list(schedule, name, title, items);
    let nothing = schedule.nothing_to_say();
    html! {
        (list("observations", "Observations", observations.collect()))
        (list("exceptions", "Exceptions", exceptions.collect()))
        (list("open", "Open items", open.collect()))
        (list("limitations", "Limitations", limited.into_iter().chain(limitations).collect()))
        (list("overrides", "Overrides", overrides.collect()))
        (list("notes", "Notes", notes.collect()))
        @if !nothing.is_empty() {
            section aria-label="What else there is to say" { p.nothing { (nothing) } }
        }
    }
}

/// The schedule of inspection, where one belongs to the job.
fn inspection(schedule: &Schedule) -> Markup {
    let id = id("inspection", schedule);
    html! {
        @if let Some(inspection) = &schedule.inspection {
            section.inspection aria-labelledby=(id) {
                h2 id=(id) { "Schedule of inspection" }
                @for (name, text) in inspection.agreed() { p { strong { (name) } ": " (text) } }
                p { strong { (inspection.outcome_shown()) } }
                @for section in &inspection.sections {
                    table.items {
                        caption { (section.number) ". " (speak_capital(&section.name)) }
                        thead { tr {
                            th scope="col" { "Item" } th scope="col" { "What is looked at" }
                            th scope="col" { "Regulation" } th scope="col" { "Outcome" }
                        } }
                        tbody { @for item in &section.items { tr {
                            th scope="row" { (item.number) }
                            td { (speak_capital(&item.text)) }
                            td { @if let Some(regulation) = &item.regulation { (regulation) } }
                            td title=(aloud(item)) { (mark(item)) }
                        } } }
                    }
                }
                p.aside { (inspection.key()) }
            }
        }
    }
}

fn speak_capital(text: &str) -> String {
    crate::sequence::say::capital(text)
}

fn board_page(board: &BoardSchedule, schedule: &Schedule) -> Markup {
    let id = id(&format!("board-{}", board.number), schedule);
    html! {
        section.board aria-labelledby=(id) {
            h2 id=(id) { "Board " (board.number) ": " (board.name) }
            p.where {
                @if let Some(location) = &board.location { (speak_capital(location)) ". " }
                @match &board.fed_from { Some(from) => { "Fed from " (from) ". " } None => { "At the origin. " } }
                @if board.phases == 3 { "Three-phase." } @else { "Single-phase." }
            }
            @if !board.checks.is_empty() {
                ul.checks { @for check in &board.checks {
                    li { (speak_capital(&check.what)) ": " strong { (check.said) } }
                } }
            }
            @if board.circuits.is_empty() { p.none { "No circuits are listed." } }
            @else { (circuits(board, schedule)) }
            (readings_of(board, schedule))
        }
    }
}

fn circuits(board: &BoardSchedule, schedule: &Schedule) -> Markup {
    html! {
        div role="region" aria-label={ "Heading of board " (board.number) } {
            dl.heading {
                @for row in &board.heading { div {
                    dt { (row.what) }
                    dd { @match (&row.value, row.cell()) {
                        (HeadingValue::Read(pairs), _) => @for (n, one) in pairs.iter().enumerate() {
                            @if n > 0 { ", " }
                            (one.pair) " " (result_as(&one.result, &one.text()))
                        },
                        (_, Some(cell)) => (result_as(cell, &row.text())),
                        (_, None) => (row.text()),
                    } }
                } }
            }
        }
        @for table in tables(schedule, board) { (circuits_in(&table, board)) }
        p.aside { (MARKS) }
    }
}

fn circuits_in(table: &CircuitTable, board: &BoardSchedule) -> Markup {
    let columns = &table.columns;
    html! {
        div.wide tabindex="0" role="region" aria-label={ (table.title) ", board " (board.number) } {
            table.circuits {
                caption { (table.title) }
                thead {
                    tr { @for (group, count) in groups(columns) {
                        th scope="colgroup" colspan=(count) { (group) }
                    } }
                    tr.heads { @for column in columns {
                        @if column.head.is_empty() { td {} } @else { th scope="col" { (column.head) } }
                    } }
                }
                tbody { @for circuit in board.circuits.iter().filter(|one| (table.shown)(table, one)) { tr {
                    @for column in columns {
                        td data-label=(column.label()) { (in_cell(&column.cell(circuit))) }
                    }
                } } }
            }
        }
    }
}

fn in_cell(shown: &CellShown<'_>) -> Markup {
    match shown {
        CellShown::Nothing => html! { span.no { "–" } },
        CellShown::Text(text) => html! { span { (text) } },
        CellShown::Result(cell) => result(cell),
        CellShown::Marked(cell) => marked(cell),
    }
}

/// A result under the form's own marks, which are told in words to whoever can't see them.
fn marked(cell: &Cell) -> Markup {
    match cell {
        Cell::Reading { .. } => result(cell),
        Cell::Intent { wrong: true, .. } => result_as(cell, &cell.marked()),
        Cell::NotPlanned => html! { span.no title=(cell.marked_aloud()) { (cell.marked()) } },
        Cell::Intent { .. } => html! {
            span.value role="img" aria-label=(cell.marked_aloud()) { (cell.marked()) }
        },
        _ => html! { span.gap title=(cell.marked_aloud()) { (cell.marked()) } },
    }
}

/// A cell with its sign, so that colour is never the only one.
fn result(cell: &Cell) -> Markup {
    result_as(cell, &cell.on_page())
}

fn result_as(cell: &Cell, text: &str) -> Markup {
    let outcome = cell.outcome().map(words::outcome);
    let title = cell.verdict().map(ToTitle::title).unwrap_or_default();
    match cell {
        Cell::NotPlanned => html! { span.no { "–" } },
        Cell::NotDone | Cell::NotTested { .. } | Cell::Skipped { .. } => {
            html! { span.gap { (cell.text()) } }
        }
        Cell::Reading { .. } | Cell::Intent { .. } => html! {
            // One thing, so that a sign stays with its value where cells are lines of their own.
            span {
                span.value title=[(!title.is_empty()).then_some(title)] { (text) }
                @if let Some((sign, words)) = outcome {
                    " " span class={ "sign " (class(sign)) } role="img" aria-label=(words) { (sign) }
                }
            }
        },
    }
}

fn class(sign: &str) -> &'static str {
    match sign {
        "✓" => "within",
        "✗" => "outside",
        _ => "unsettled",
    }
}

trait ToTitle {
    fn title(&self) -> String;
}

impl ToTitle for Verdict {
    fn title(&self) -> String {
        [&*self.limit, &self.clause, &self.arithmetic]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join("; ")
    }
}

fn readings_of(board: &BoardSchedule, schedule: &Schedule) -> Markup {
    let own = (!board.readings.is_empty()).then_some(("The board".to_owned(), &board.readings));
    let circuits = board
        .circuits
        .iter()
        .filter(|c| !c.readings.is_empty())
        .map(|c| {
            (
                format!("Circuit {}, {}", c.number, c.description),
                &c.readings,
            )
        });
    let groups: Vec<(String, &Vec<ReadingRow>)> = own.into_iter().chain(circuits).collect();
    let times = schedule.times();
    html! {
        @if !groups.is_empty() {
            h3 { "Every reading of board " (board.number) ", with its limit and arithmetic" }
            div.wide tabindex="0" role="region" aria-label={ "Readings of board " (board.number) } {
            table.list.readings {
                thead { tr {
                    th scope="col" { "Time" } th scope="col" { "Event" } th scope="col" { "What" }
                    th scope="col" { "Value" } th scope="col" { "Against its limit" }
                    th scope="col" { "Limit, clause and arithmetic" }
                } }
                @for (title, rows) in groups {
                    tbody {
                        tr.group { th scope="rowgroup" colspan="6" { (title) } }
                        @for row in rows { tr {
                            td data-label="Time" { (times.clock(row.at)) }
                            td data-label="Event" { (row.event) }
                            td data-label="What" { (row.what) }
                            td.number data-label="Value" { (row.value()) @if row.affirmed { " " span.aside { "affirmed" } } }
                            td data-label="Against its limit" { (against(row)) }
                            td data-label="Limit and arithmetic" { (arithmetic(row)) }
                        } }
                    }
                }
            }
            }
        }
    }
}

fn against(row: &ReadingRow) -> Markup {
    match &row.verdict {
        Some(verdict) => {
            let (sign, words) = words::outcome(verdict.outcome);
            html! { span class={ "sign " (class(sign)) } aria-hidden="true" { (sign) } " " (words) }
        }
        None => html! { span.no { "no limit" } },
    }
}

fn arithmetic(row: &ReadingRow) -> Markup {
    let Some(verdict) = &row.verdict else {
        return html! {};
    };
    let source: Vec<&str> = [&verdict.clause, &verdict.edition]
        .into_iter()
        .map(String::as_str)
        .filter(|text| !text.is_empty())
        .collect();
    html! {
        (verdict.limit)
        @if !source.is_empty() { " " span.aside { "(" (source.join(", ")) ")" } }
        @if !verdict.arithmetic.is_empty() { br; span.sum { (verdict.arithmetic) } }
        @if let Some(remark) = &verdict.remark { br; em { (speak_capital(remark)) } }
    }
}

fn out_history(schedule: &Schedule) -> Markup {
    let times = schedule.times();
    let back = |row: &OutRow| match row.back_at {
        Some(at) => html! { (times.clock(at)) },
        None if row.withdrawn => html! { "said by mistake, taken back" },
        None => html! { strong { "✗ still out" } },
    };
    html! {
        section.out aria-labelledby=(id("out", schedule)) {
            h2 id=(id("out", schedule)) { "What was taken out, and put back" }
            @if schedule.out_list.is_empty() { p.none { "Nothing was taken out, linked or switched over." } }
            @else {
                table.list {
                    thead { tr {
                        th scope="col" { "What and where" } th scope="col" { "Circuit" }
                        th scope="col" { "Out at" } th scope="col" { "Back at" }
                        th scope="col" { "Out for" }
                    } }
                    tbody { @for row in &schedule.out_list { tr {
                        td data-label="What and where" {
                            (speak_capital(&row.what))
                            @if let Some(parked) = row.parked { ", " (parked) }
                            @if row.overridden { " " span.aside { "went on with it out" } }
                        }
                        td data-label="Circuit" {
                            "board " (row.board)
                            @if let Some(circuit) = row.circuit { ", circuit " (circuit) }
                        }
                        td data-label="Out at" { (times.clock(row.out_at)) }
                        td data-label="Back at" { (back(row)) }
                        td data-label="Out for" { @if row.withdrawn { "–" } @else { (row.length()) } }
                    } } }
                }
            }
        }
    }
}
