use super::columns::{GIVEN, TableColumn, of_the_form, results};
use super::form::heading;
use super::schedule::{BoardSchedule, Schedule};
use crate::sequence::procedures::Catalogue;

const BEFORE: [&str; 6] = [
    "board",
    "board name",
    "circuit",
    "description",
    "kind",
    "points",
];

const AFTER: [&str; 7] = [
    "remarks",
    "title",
    "site",
    "tester",
    "supervisor",
    "begun",
    "record",
];

/// The loop at a board and the fault current there.
pub(super) const LOOP_AND_CURRENT: [&str; 2] = ["Ze or Zdb ohm", "Ipf kA"];

/// Which session of a merged log, before all others.
const THREAD: &str = "thread";

/// What stands of a supply and its origin besides, where there is anything.
const PARTICULARS: &str = "supply and origin";

/// Of the supply, which a job needs.
const OF_SUPPLY: [&str; 2] = ["earthing", "supply phases"];

/// Of the supply at the board, where it is the origin: after all others.
const AT_ORIGIN: [&str; 2] = ["nominal voltage", "supply voltage"];

/// Of the board that the circuit is on.
const OF_BOARD: [&str; 7] = [
    "board supplied from",
    LOOP_AND_CURRENT[0],
    LOOP_AND_CURRENT[1],
    "surge protection",
    "surge indicator",
    "supply polarity",
    "phase sequence",
];

/// Every heading that a schedule as comma-separated values can have, and whether each schedule has it: those of the
/// circuit and its devices, in any version.
pub fn csv_headings() -> Vec<(&'static str, bool)> {
    let given = GIVEN.iter().map(|column| column.csv);
    let always = BEFORE.into_iter().chain(given);
    let results = results(&Catalogue::shipped().columns()).into_iter();
    let form = of_the_form();
    let sometimes = [THREAD, PARTICULARS]
        .into_iter()
        .chain(AFTER)
        .chain(results.chain(form).map(|column| column.csv))
        .chain(OF_SUPPLY)
        .chain(OF_BOARD)
        .chain(AT_ORIGIN);
    let every = always.map(|head| (head, true));
    let all = every.chain(sometimes.map(|head| (head, false)));
    all.filter(|(head, _)| !head.is_empty()).collect()
}

/// The circuits of all boards as comma-separated values (RFC 4180), one line a circuit, with a
/// byte order mark so that spreadsheets read it as UTF-8. Bounds stay bounds: `>999`. A continuity
/// reading is without its test leads; what was read stands in the remarks.
pub fn csv(schedule: &Schedule) -> String {
    csv_of_threads(std::slice::from_ref(schedule))
}

/// The same of a merged log: the circuits of each thread, which a column before all others names.
pub fn csv_of_threads(schedules: &[Schedule]) -> String {
    let Some(first) = schedules.first() else {
        return String::new();
    };
    let merged = schedules.len() > 1;
    let mut lines = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::from("\u{feff}"));
    let columns: Vec<TableColumn> = GIVEN
        .iter()
        .copied()
        .chain(results(&first.columns))
        .filter(|column| !column.csv.is_empty())
        .collect();
    // After all others, so that tables of earlier versions keep their columns where they were.
    let form: Vec<TableColumn> = of_the_form().collect();
    // One column more where a job has something for it: tables of other jobs stay as they are.
    let any = schedules
        .iter()
        .any(|schedule| !schedule.supply.particulars.is_empty());
    let heads = merged
        .then_some(THREAD)
        .into_iter()
        .chain(BEFORE)
        .chain(columns.iter().map(|column| column.csv))
        .chain(AFTER)
        .chain(any.then_some(PARTICULARS))
        .chain(OF_SUPPLY)
        .chain(OF_BOARD)
        .chain(form.iter().map(|column| column.csv))
        .chain(AT_ORIGIN);
    // Memory takes whatever is written to it, and every line has as many cells as there are columns.
    let _ = lines.write_record(heads);
    for (schedule, board) in schedules
        .iter()
        .flat_map(|schedule| schedule.boards.iter().map(move |board| (schedule, board)))
    {
        for circuit in &board.circuits {
            let thread = schedule.thread.as_ref().filter(|_| merged);
            let before = [
                board.number.to_string(),
                board.name.clone(),
                circuit.number.to_string(),
                circuit.description.clone(),
                circuit.kind.to_owned(),
                circuit.points.to_string(),
            ];
            let results = columns.iter().map(|column| column.text(circuit));
            let read = columns.iter().filter_map(|column| {
                let beside = column.beside(circuit)?;
                Some(format!("{} {beside}", column.csv))
            });
            let remarks: Vec<String> = circuit.remarks.iter().cloned().chain(read).collect();
            let after = [
                remarks.join("; "),
                schedule.title.clone(),
                schedule.site.clone(),
                schedule.tester.clone(),
                schedule.supervisor.clone().unwrap_or_default(),
                schedule.begun.to_string(),
                schedule.record_of.to_owned(),
            ];
            let cells = thread
                .map(|thread| thread.number.to_string())
                .into_iter()
                .chain(before)
                .chain(results)
                .chain(after)
                .chain(any.then(|| particulars(schedule)))
                .chain([
                    schedule.supply.earthing.to_owned(),
                    schedule.supply.phases.to_string(),
                ])
                .chain(of_board(board))
                .chain(form.iter().map(|column| column.text(circuit)))
                .chain(
                    [heading::NOMINAL_VOLTAGE, heading::VOLTAGE_READ]
                        .map(|what| headed(board, &[what])),
                );
            let _ = lines.write_record(cells.map(guarded));
        }
    }
    let written = lines.into_inner().unwrap_or_default();
    String::from_utf8(written).unwrap_or_default()
}

/// What the form heads the results of a board with, in the order of [`OF_BOARD`].
pub(super) fn of_board(board: &BoardSchedule) -> [String; OF_BOARD.len()] {
    let heading = |names: &[&str]| headed(board, names);
    [
        heading(&[heading::SUPPLIED_FROM]),
        heading(&[heading::EXTERNAL, heading::AT_THE_BOARD]),
        heading(&[heading::FAULT_CURRENT]),
        heading(&[heading::SURGE_PROTECTION]),
        heading(&[heading::ITS_INDICATOR]),
        heading(&[heading::SUPPLY_POLARITY]),
        heading(&[heading::PHASE_SEQUENCE]),
    ]
}

/// What the row of that name has in the heading of a board.
fn headed(board: &BoardSchedule, names: &[&str]) -> String {
    let mut rows = board.heading.iter();
    let row = rows.find(|row| names.contains(&row.what));
    row.map_or("N/A".to_owned(), |row| match row.cell() {
        Some(cell) => cell.marked(),
        None => row.text(),
    })
}

/// "Maximum demand 60 A; Supply fuse BS 88-3 80 A".
fn particulars(schedule: &Schedule) -> String {
    let all = schedule.supply.particulars.iter();
    let all: Vec<String> = all
        .map(|one| format!("{} {}", one.what, one.value))
        .collect();
    all.join("; ")
}

/// Words that a spreadsheet would take for a formula get an apostrophe before them.
///
/// Characters that control a terminal or turn the order of the words round are left out.
pub(super) fn guarded(cell: String) -> String {
    let turns = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let cell: String = cell
        .chars()
        .filter(|c| !(turns(*c) || c.is_control() && !matches!(c, '\t' | '\r' | '\n')))
        .collect();
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{cell}")
    } else {
        cell
    }
}

#[cfg(test)]
mod tests {
    use super::guarded;

    #[test]
    fn a_name_is_never_taken_for_a_formula() {
        assert_eq!(guarded("=1+1".to_owned()), "'=1+1");
        assert_eq!(guarded(">999".to_owned()), ">999");
        assert_eq!(guarded("a\u{1b}[2J\u{202e}b".to_owned()), "a[2Jb");
    }
}
