use super::columns::{GIVEN, TableColumn, results};
use super::schedule::Schedule;
use std::fmt::Write;

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

/// The circuits of all boards as comma-separated values (RFC 4180), one line a circuit, with a
/// byte order mark so that spreadsheets read it as UTF-8. Bounds stay bounds: `>999`.
pub fn csv(schedule: &Schedule) -> String {
    let mut text = String::from("\u{feff}");
    let columns: Vec<TableColumn> = GIVEN.iter().copied().chain(results(schedule)).collect();
    let heads = BEFORE
        .into_iter()
        .chain(columns.iter().map(|column| column.csv))
        .chain(AFTER);
    line(&mut text, heads.map(str::to_owned));
    for board in &schedule.boards {
        for circuit in &board.circuits {
            let before = [
                board.number.to_string(),
                board.name.clone(),
                circuit.number.to_string(),
                circuit.description.clone(),
                circuit.kind.to_owned(),
                circuit.points.to_string(),
            ];
            let results = columns.iter().map(|column| column.text(circuit));
            let after = [
                circuit.remarks.join("; "),
                schedule.title.clone(),
                schedule.site.clone(),
                schedule.tester.clone(),
                schedule.supervisor.clone().unwrap_or_default(),
                schedule.begun.to_string(),
                schedule.record_of.to_owned(),
            ];
            line(&mut text, before.into_iter().chain(results).chain(after));
        }
    }
    text
}

fn line(text: &mut String, cells: impl Iterator<Item = String>) {
    for (n, cell) in cells.enumerate() {
        if n > 0 {
            text.push(',');
        }
        let _ = write!(text, "{}", field(&cell));
    }
    text.push_str("\r\n");
}

/// A field, quoted where RFC 4180 asks for it. Words that a spreadsheet would take for a formula
/// get an apostrophe before them.
fn field(cell: &str) -> String {
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let cell = if formula {
        format!("'{cell}")
    } else {
        cell.to_owned()
    };
    if cell.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell
    }
}

#[cfg(test)]
mod tests {
    use super::field;

    #[test]
    fn fields_are_quoted_as_rfc_4180_asks() {
        assert_eq!(field("Sockets, club room"), "\"Sockets, club room\"");
        assert_eq!(field("the \"long\" one"), "\"the \"\"long\"\" one\"");
        assert_eq!(field(">999"), ">999");
    }

    #[test]
    fn a_name_is_never_taken_for_a_formula() {
        assert_eq!(field("=1+1"), "'=1+1");
    }
}
