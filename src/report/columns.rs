use super::cells::Cell;
use super::schedule::{BoardSchedule, CircuitRow};
use super::words::plain;

/// One column of the circuit table: its heading, and what stands in it.
pub(crate) struct Column {
    pub group: &'static str,
    pub head: &'static str,
    pub cell: for<'a> fn(&'a CircuitRow) -> Shown<'a>,
    /// Whether a circuit has something for it; a column that no circuit needs is left out.
    used: fn(&CircuitRow) -> bool,
}

/// What stands in a cell.
pub(crate) enum Shown<'a> {
    /// Nothing belongs here.
    Nothing,
    Text(String),
    Result(&'a Cell),
}

impl Column {
    /// Its name when it stands alone: "Ring Ω: r₁".
    pub(crate) fn label(&self) -> String {
        match (self.group, self.head) {
            ("Circuit", head) => head.to_owned(),
            (group, "") => group.to_owned(),
            (group, head) => format!("{group}: {head}"),
        }
    }
}

fn always(_: &CircuitRow) -> bool {
    true
}

fn planned(cell: &Cell) -> bool {
    *cell != Cell::NotPlanned
}

fn number(value: Option<f64>) -> Shown<'static> {
    value.map_or(Shown::Nothing, |value| Shown::Text(plain(value)))
}

fn text(value: Option<&str>) -> Shown<'static> {
    value.map_or(Shown::Nothing, |text| Shown::Text(text.to_owned()))
}

#[rustfmt::skip]
const COLUMNS: &[Column] = &[
    Column { group: "Circuit", head: "No.", used: always, cell: |c| Shown::Text(c.number.to_string()) },
    Column { group: "Circuit", head: "Description", used: always, cell: |c| Shown::Text(format!("{}, {}", c.description, c.kind)) },
    Column { group: "Conductors mm²", head: "live", used: always, cell: |c| number(c.live_mm2) },
    Column { group: "Conductors mm²", head: "cpc", used: always, cell: |c| number(c.cpc_mm2) },
    Column { group: "Overcurrent device", head: "kind", used: always, cell: |c| text(c.device) },
    Column { group: "Overcurrent device", head: "Iₙ A", used: always, cell: |c| number(c.rating_amps) },
    Column { group: "Overcurrent device", head: "kA", used: |c| c.breaking_ka.is_some(), cell: |c| number(c.breaking_ka) },
    Column { group: "RCD", head: "IΔₙ mA", used: |c| c.rcd_ma.is_some(), cell: |c| number(c.rcd_ma) },
    Column { group: "RCD", head: "type", used: |c| c.rcd_type.is_some(), cell: |c| text(c.rcd_type.as_deref()) },
    Column { group: "Continuity Ω", head: "R₁+R₂", used: always, cell: |c| Shown::Result(&c.r1_r2) },
    Column { group: "Continuity Ω", head: "R₂", used: |c| planned(&c.r2), cell: |c| Shown::Result(&c.r2) },
    Column { group: "Ring Ω", head: "r₁", used: |c| planned(&c.ring_r1), cell: |c| Shown::Result(&c.ring_r1) },
    Column { group: "Ring Ω", head: "rₙ", used: |c| planned(&c.ring_rn), cell: |c| Shown::Result(&c.ring_rn) },
    Column { group: "Ring Ω", head: "r₂", used: |c| planned(&c.ring_r2), cell: |c| Shown::Result(&c.ring_r2) },
    Column { group: "Insulation MΩ", head: "test V", used: always, cell: |c| c.test_volts.map_or(Shown::Nothing, |v| Shown::Text(v.to_string())) },
    Column { group: "Insulation MΩ", head: "L–L", used: |c| planned(&c.insulation_ll), cell: |c| Shown::Result(&c.insulation_ll) },
    Column { group: "Insulation MΩ", head: "L–N", used: always, cell: |c| Shown::Result(&c.insulation_ln) },
    Column { group: "Insulation MΩ", head: "L–E", used: always, cell: |c| Shown::Result(&c.insulation_le) },
    Column { group: "Insulation MΩ", head: "N–E", used: always, cell: |c| Shown::Result(&c.insulation_ne) },
    Column { group: "Insulation MΩ", head: "L+N–E", used: |c| planned(&c.insulation_joined), cell: |c| Shown::Result(&c.insulation_joined) },
    Column { group: "Polarity", head: "", used: always, cell: |c| Shown::Result(&c.polarity) },
    Column { group: "Zₛ Ω", head: "measured", used: always, cell: |c| Shown::Result(&c.zs) },
    Column { group: "Zₛ Ω", head: "maximum", used: |c| c.zs_limit.is_some(), cell: |c| text(c.zs_limit.as_deref()) },
    Column { group: "RCD test", head: "½ IΔₙ", used: |c| planned(&c.rcd_half), cell: |c| Shown::Result(&c.rcd_half) },
    Column { group: "RCD test", head: "IΔₙ ms", used: |c| planned(&c.rcd_rated), cell: |c| Shown::Result(&c.rcd_rated) },
    Column { group: "RCD test", head: "5 IΔₙ ms", used: |c| planned(&c.rcd_five), cell: |c| Shown::Result(&c.rcd_five) },
    Column { group: "RCD test", head: "button", used: |c| planned(&c.rcd_button), cell: |c| Shown::Result(&c.rcd_button) },
    Column { group: "Remarks", head: "", used: |c| !c.remarks.is_empty(), cell: |c| Shown::Text(c.remarks.join("; ")) },
];

/// The columns that a board's circuits need.
pub(crate) fn columns(board: &BoardSchedule) -> Vec<&'static Column> {
    COLUMNS
        .iter()
        .filter(|column| board.circuits.iter().any(|c| (column.used)(c)))
        .collect()
}

/// The groups of columns that stand beside each other, with how many columns each has.
pub(crate) fn groups(columns: &[&Column]) -> Vec<(&'static str, usize)> {
    let mut groups: Vec<(&str, usize)> = Vec::new();
    for column in columns {
        match groups.last_mut() {
            Some((group, count)) if *group == column.group => *count += 1,
            _ => groups.push((column.group, 1)),
        }
    }
    groups
}
