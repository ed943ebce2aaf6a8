use super::cells::Cell;
use super::schedule::{BoardSchedule, CircuitRow, Schedule};
use super::words::plain;
use crate::sequence::{Beside, Column};

/// One column of the circuit table: its heading, and what stands in it.
#[derive(Clone, Copy)]
pub(super) struct TableColumn {
    pub group: &'static str,
    pub head: &'static str,
    /// Its name in CSV; empty for what stands on pages only.
    pub csv: &'static str,
    what: What,
}

/// Where a column's cells come from.
#[derive(Clone, Copy)]
enum What {
    /// The job file, or the limits.
    Given(fn(&CircuitRow) -> Option<String>),
    /// A procedure's results.
    Result(&'static Column),
    /// What the standard's form has in one column, under the form's own marks.
    Form(fn(&CircuitRow) -> &Cell),
}

/// What stands in a cell.
pub(crate) enum CellShown<'a> {
    /// Nothing belongs here.
    Nothing,
    Text(String),
    Result(&'a Cell),
    /// A result under the form's own marks.
    Marked(&'a Cell),
}

impl TableColumn {
    /// Its name when it stands alone: "Ring Ω: r₁".
    pub(crate) fn label(&self) -> String {
        match (self.group, self.head) {
            ("Circuit", head) => head.to_owned(),
            (group, "") => group.to_owned(),
            (group, head) => format!("{group}: {head}"),
        }
    }

    /// Whether it holds results, and nothing that the job file gives.
    pub(super) fn is_result(&self) -> bool {
        matches!(self.what, What::Result(_))
    }

    /// What stands in it for a circuit.
    pub(super) fn cell<'a>(&self, circuit: &'a CircuitRow) -> CellShown<'a> {
        match self.what {
            What::Given(cell) => cell(circuit).map_or(CellShown::Nothing, CellShown::Text),
            What::Result(column) => CellShown::Result(circuit.cells.get(column)),
            What::Form(cell) => CellShown::Marked(cell(circuit)),
        }
    }

    /// What was read for a circuit, where the leads were taken off its cell.
    pub(super) fn beside<'a>(&self, circuit: &'a CircuitRow) -> Option<&'a str> {
        match self.what {
            What::Given(_) => None,
            What::Result(column) => circuit.cells.get(column).beside(),
            What::Form(cell) => cell(circuit).beside(),
        }
    }

    /// The same as plain text; empty where nothing belongs.
    pub(super) fn text(&self, circuit: &CircuitRow) -> String {
        match self.cell(circuit) {
            CellShown::Nothing => String::new(),
            CellShown::Text(text) => text,
            CellShown::Result(cell) => cell.text(),
            CellShown::Marked(cell) => cell.marked(),
        }
    }
}

const fn given(
    group: &'static str,
    head: &'static str,
    csv: &'static str,
    cell: fn(&CircuitRow) -> Option<String>,
) -> TableColumn {
    TableColumn {
        group,
        head,
        csv,
        what: What::Given(cell),
    }
}

/// What the job file gives, before the results.
#[rustfmt::skip]
pub(super) const GIVEN: &[TableColumn] = &[
    given("Conductors mm²", "live", "live conductors mm2", |c| c.live_mm2.map(plain)),
    given("Conductors mm²", "cpc", "cpc mm2", |c| c.cpc_mm2.map(plain)),
    given("Overcurrent device", "kind", "device", |c| c.device.clone()),
    given("Overcurrent device", "Iₙ A", "rating A", |c| c.rating_amps.map(plain)),
    given("Overcurrent device", "kA", "breaking capacity kA", |c| c.breaking_ka.map(plain)),
    given("RCD", "IΔₙ mA", "RCD mA", |c| c.rcd_ma.map(plain)),
    given("RCD", "type", "RCD type", |c| c.rcd_type.clone()),
];

/// The results, with what stands beside them.
pub(super) fn results(shown: &[&'static Column]) -> Vec<TableColumn> {
    let mut columns = Vec::new();
    for column in shown {
        let result = TableColumn {
            group: column.group,
            head: column.head,
            csv: column.csv,
            what: What::Result(column),
        };
        match column.beside {
            Beside::Nothing => columns.push(result),
            Beside::TestVoltage => {
                let volts = |c: &CircuitRow| c.test_volts.map(|v| v.to_string());
                columns.push(given(column.group, "test V", "insulation test V", volts));
                columns.push(result);
            }
            Beside::LargestZs => {
                let limit = |c: &CircuitRow| c.zs_limit.clone();
                columns.push(result);
                columns.push(given(column.group, "maximum", "Zs maximum ohm", limit));
            }
        }
    }
    columns
}

const fn form(
    group: &'static str,
    head: &'static str,
    csv: &'static str,
    cell: fn(&CircuitRow) -> &Cell,
) -> TableColumn {
    TableColumn {
        group,
        head,
        csv,
        what: What::Form(cell),
    }
}

/// What stands where a circuit has no such thing.
const NOT_APPLICABLE: &str = "N/A";

fn of_rcd(circuit: &CircuitRow, text: Option<String>) -> Option<String> {
    match circuit.rcd_ma {
        Some(_) => text,
        None => Some(NOT_APPLICABLE.to_owned()),
    }
}

/// The type as marked: with an S where the device is time-delayed.
fn rcd_type(circuit: &CircuitRow) -> Option<String> {
    let delayed = circuit.rcd_time_delayed.then(|| "S".to_owned());
    let marked: Vec<String> = circuit
        .rcd_type
        .clone()
        .into_iter()
        .chain(delayed)
        .collect();
    (!marked.is_empty()).then(|| marked.join(" "))
}

fn of_device(circuit: &CircuitRow, text: Option<String>) -> Option<String> {
    match circuit.device {
        // A device whose standard has no types.
        Some(_) => text.or(Some(NOT_APPLICABLE.to_owned())),
        None => None,
    }
}

/// The columns of the model form's schedule of circuit details, in its order: BS 7671:2018+A2:2022,
/// Appendix 6, from memory until it is compared with a bought copy; the disconnection time with them,
/// which forms of other amendments have.
#[rustfmt::skip]
const DETAILS: &[TableColumn] = &[
    given("Circuit", "No.", "", |c| Some(c.number.to_string())),
    given("Circuit", "Description", "", |c| Some(format!("{}, {}", c.description, c.kind))),
    given("Wiring", "type", "type of wiring", |c| c.wiring.clone()),
    given("Wiring", "reference method", "reference method", |c| c.reference_method.clone()),
    given("Points served", "", "", |c| (c.points > 0).then(|| c.points.to_string())),
    given("Conductors mm²", "live", "", |c| c.live_mm2.map(plain)),
    given("Conductors mm²", "cpc", "", |c| c.cpc_mm2.map(plain)),
    given("Overcurrent device", "longest s", "longest disconnection s", |c| c.disconnection_seconds.map(plain)),
    given("Overcurrent device", "BS (EN)", "device BS (EN)", |c| c.device_standard.clone()),
    given("Overcurrent device", "type", "device type", |c| of_device(c, c.device_type.clone())),
    given("Overcurrent device", "Iₙ A", "", |c| c.rating_amps.map(plain)),
    given("Overcurrent device", "kA", "", |c| c.breaking_ka.map(plain)),
    given("Overcurrent device", "largest Zₛ Ω", "", |c| c.zs_limit.clone()),
    given("RCD", "BS (EN)", "RCD BS (EN)", |c| of_rcd(c, c.rcd_standard.clone())),
    given("RCD", "type", "", |c| of_rcd(c, rcd_type(c))),
    given("RCD", "IΔₙ mA", "", |c| of_rcd(c, c.rcd_ma.map(plain))),
    given("RCD", "Iₙ A", "RCD rating A", |c| of_rcd(c, c.rcd_amps.map(plain))),
];

/// Those of its schedule of test results, in its order; beside the loop as it was measured what it is
/// compared with, cold against cold.
#[rustfmt::skip]
const TEST_RESULTS: &[TableColumn] = &[
    given("Circuit", "No.", "", |c| Some(c.number.to_string())),
    form("Ring Ω", "r₁", "", |c| c.cells.called("ring_r1")),
    form("Ring Ω", "rₙ", "", |c| c.cells.called("ring_rn")),
    form("Ring Ω", "r₂", "", |c| c.cells.called("ring_r2")),
    form("Continuity Ω", "R₁+R₂", "", |c| c.cells.called("r1_r2")),
    form("Continuity Ω", "R₂", "", |c| c.cells.called("r2")),
    given("Insulation MΩ", "test V", "", |c| c.test_volts.map(|v| v.to_string())),
    form("Insulation MΩ", "live–live", "insulation live-live Mohm", |c| &c.form.live_live),
    form("Insulation MΩ", "live–earth", "insulation live-earth Mohm", |c| &c.form.live_earth),
    form("Polarity", "", "", |c| c.cells.called("polarity")),
    form("Zₛ Ω", "measured", "", |c| c.cells.called("zs")),
    given("Zₛ Ω", "read at most", "Zs read at most ohm", |c| c.zs_read_at_most.clone()),
    form("RCD", "time ms", "", |c| c.cells.called("rcd_rated")),
    form("RCD", "button", "", |c| c.cells.called("rcd_button")),
    form("AFDD", "button", "AFDD button", |c| c.cells.called("arc_fault_button")),
    given("Remarks", "", "", |c| (!c.remarks.is_empty()).then(|| c.remarks.join("; "))),
];

/// Names of the results that the form has, and of those that it merges into one column.
const ON_THE_FORM: [&str; 14] = [
    "ring_r1",
    "ring_rn",
    "ring_r2",
    "r1_r2",
    "r2",
    "insulation_ll",
    "insulation_ln",
    "insulation_le",
    "insulation_ne",
    "polarity",
    "zs",
    "rcd_rated",
    "rcd_button",
    "arc_fault_button",
];

/// What marks mean in the columns of the form.
pub(super) const MARKS: &str = "LIM: not tested, for the reason under Limitations. N/A: not applicable. N/V: not verified: not done \
     yet, or left out. –: not on record.";

/// What neither a page nor the form has and a job needs.
const FOR_A_JOB: [TableColumn; 3] = [
    given("Circuit", "phases", "circuit phases", |c| {
        Some(c.phases.to_string())
    }),
    given("Circuit", "m", "cable m", |c| c.metres.map(plain)),
    given("RCD", "of several", "protected by RCD", |c| {
        (!c.protected_by.is_empty()).then(|| c.protected_by.join("; "))
    }),
];

/// The columns of the form that no other column of CSV tells, and those from which a job can be made
/// again.
pub(super) fn of_the_form() -> impl Iterator<Item = TableColumn> {
    let all = DETAILS
        .iter()
        .chain(TEST_RESULTS)
        .chain(&FOR_A_JOB)
        .copied();
    all.filter(|column| !column.csv.is_empty())
}

/// A table of a board's circuits on a page.
pub(super) struct CircuitTable {
    pub title: &'static str,
    pub columns: Vec<TableColumn>,
    /// Which circuits have a row.
    pub shown: fn(&CircuitTable, &CircuitRow) -> bool,
}

/// The tables of a board's circuits: the two of the form, then the results that the form merges or has
/// no column for, where there are any.
pub(super) fn tables(schedule: &Schedule, board: &BoardSchedule) -> Vec<CircuitTable> {
    let every = |_: &CircuitTable, _: &CircuitRow| true;
    let mut tables = vec![
        CircuitTable {
            title: "Circuit details",
            columns: DETAILS.to_vec(),
            shown: every,
        },
        CircuitTable {
            title: "Test results",
            columns: TEST_RESULTS.to_vec(),
            shown: every,
        },
    ];
    let has = |column: &&'static Column, circuit: &CircuitRow| {
        !matches!(circuit.cells.get(column), Cell::NotPlanned | Cell::NotDone)
    };
    let merged = |column: &&'static Column| column.key.starts_with("insulation");
    let others = schedule
        .columns
        .iter()
        .copied()
        .filter(|column| !ON_THE_FORM.contains(&column.key) || merged(column));
    let others: Vec<TableColumn> = others
        .filter(|column| board.circuits.iter().any(|circuit| has(column, circuit)))
        .map(|column| TableColumn {
            group: column.group,
            head: column.head,
            csv: column.csv,
            what: What::Result(column),
        })
        .collect();
    if !others.is_empty() {
        let columns = TEST_RESULTS.first().copied().into_iter().chain(others);
        tables.push(CircuitTable {
            title: "Other results, and each pair",
            columns: columns.collect(),
            shown: |table, circuit| {
                let mut results = table.columns.iter().skip(1);
                results.any(|column| {
                    matches!(column.cell(circuit), CellShown::Result(cell)
                    if !matches!(cell, Cell::NotPlanned | Cell::NotDone))
                })
            },
        });
    }
    tables
}

/// The groups of columns that stand beside each other, with how many columns each has.
pub(super) fn groups(columns: &[TableColumn]) -> Vec<(&'static str, usize)> {
    let mut groups: Vec<(&str, usize)> = Vec::new();
    for column in columns {
        match groups.last_mut() {
            Some((group, count)) if *group == column.group => *count += 1,
            _ => groups.push((column.group, 1)),
        }
    }
    groups
}
