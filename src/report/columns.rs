use super::cells::Cell;
use super::schedule::{BoardSchedule, CircuitRow, Schedule};
use super::words::plain;
use crate::sequence::{Beside, Column, ShownWhen};

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
    /// The job file, or the limits; shown when any circuit has something for it, or always.
    Given {
        cell: fn(&CircuitRow) -> Option<String>,
        always: bool,
    },
    /// A procedure's results.
    Result(&'static Column),
}

/// What stands in a cell.
pub(crate) enum Shown<'a> {
    /// Nothing belongs here.
    Nothing,
    Text(String),
    Result(&'a Cell),
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

    /// What stands in it for a circuit.
    pub(super) fn cell<'a>(&self, circuit: &'a CircuitRow) -> Shown<'a> {
        match self.what {
            What::Given { cell, .. } => cell(circuit).map_or(Shown::Nothing, Shown::Text),
            What::Result(column) => Shown::Result(circuit.cells.get(column)),
        }
    }

    /// What was read for a circuit, where the leads were taken off its cell.
    pub(super) fn beside<'a>(&self, circuit: &'a CircuitRow) -> Option<&'a str> {
        match self.what {
            What::Given { .. } => None,
            What::Result(column) => circuit.cells.get(column).beside(),
        }
    }

    /// The same as plain text; empty where nothing belongs.
    pub(super) fn text(&self, circuit: &CircuitRow) -> String {
        match self.cell(circuit) {
            Shown::Nothing => String::new(),
            Shown::Text(text) => text,
            Shown::Result(cell) => cell.text(),
        }
    }

    /// Whether a circuit has something for it; a column that no circuit needs is left out of a
    /// page.
    fn used(&self, circuit: &CircuitRow) -> bool {
        match self.what {
            What::Given { cell, always } => always || cell(circuit).is_some(),
            What::Result(column) => {
                column.shown == ShownWhen::Always || *circuit.cells.get(column) != Cell::NotPlanned
            }
        }
    }
}

const fn given(
    group: &'static str,
    head: &'static str,
    csv: &'static str,
    always: bool,
    cell: fn(&CircuitRow) -> Option<String>,
) -> TableColumn {
    TableColumn {
        group,
        head,
        csv,
        what: What::Given { cell, always },
    }
}

/// What the job file gives, before the results.
#[rustfmt::skip]
pub(super) const GIVEN: &[TableColumn] = &[
    given("Conductors mm²", "live", "live conductors mm2", true, |c| c.live_mm2.map(plain)),
    given("Conductors mm²", "cpc", "cpc mm2", true, |c| c.cpc_mm2.map(plain)),
    given("Overcurrent device", "kind", "device", true, |c| c.device.clone()),
    given("Overcurrent device", "Iₙ A", "rating A", true, |c| c.rating_amps.map(plain)),
    given("Overcurrent device", "kA", "breaking capacity kA", false, |c| c.breaking_ka.map(plain)),
    given("RCD", "IΔₙ mA", "RCD mA", false, |c| c.rcd_ma.map(plain)),
    given("RCD", "type", "RCD type", false, |c| c.rcd_type.clone()),
];

/// The results, with what stands beside them.
pub(super) fn results(schedule: &Schedule) -> Vec<TableColumn> {
    let mut columns = Vec::new();
    for column in &schedule.columns {
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
                columns.push(given(
                    column.group,
                    "test V",
                    "insulation test V",
                    true,
                    volts,
                ));
                columns.push(result);
            }
            Beside::LargestZs => {
                let limit = |c: &CircuitRow| c.zs_limit.clone();
                columns.push(result);
                columns.push(given(
                    column.group,
                    "maximum",
                    "Zs maximum ohm",
                    false,
                    limit,
                ));
                let read = |c: &CircuitRow| c.zs_read_at_most.clone();
                columns.push(given(column.group, "read at most", "", false, read));
            }
        }
    }
    columns
}

/// The columns that a board's circuits need on a page.
pub(super) fn columns(schedule: &Schedule, board: &BoardSchedule) -> Vec<TableColumn> {
    let number = given("Circuit", "No.", "circuit", true, |c| {
        Some(c.number.to_string())
    });
    let what = given("Circuit", "Description", "description", true, |c| {
        Some(format!("{}, {}", c.description, c.kind))
    });
    let remarks = given("Remarks", "", "remarks", false, |c| {
        (!c.remarks.is_empty()).then(|| c.remarks.join("; "))
    });
    [number, what]
        .into_iter()
        .chain(GIVEN.iter().copied())
        .chain(results(schedule))
        .chain([remarks])
        .filter(|column| board.circuits.iter().any(|c| column.used(c)))
        .collect()
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
