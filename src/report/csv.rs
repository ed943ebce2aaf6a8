use super::schedule::{CircuitRow, Schedule};
use super::words::plain;
use std::fmt::Write;

const COLUMNS: [&str; 38] = [
    "board",
    "board name",
    "circuit",
    "description",
    "kind",
    "points",
    "live conductors mm2",
    "cpc mm2",
    "device",
    "rating A",
    "breaking capacity kA",
    "RCD mA",
    "RCD type",
    "R1+R2 ohm",
    "R2 ohm",
    "ring r1 ohm",
    "ring rn ohm",
    "ring r2 ohm",
    "insulation test V",
    "insulation L-L Mohm",
    "insulation L-N Mohm",
    "insulation L-E Mohm",
    "insulation N-E Mohm",
    "insulation L+N-E Mohm",
    "polarity",
    "Zs ohm",
    "Zs maximum ohm",
    "RCD half rated",
    "RCD rated ms",
    "RCD five times ms",
    "RCD test button",
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
    line(&mut text, COLUMNS.iter().map(|c| (*c).to_owned()));
    for board in &schedule.boards {
        for circuit in &board.circuits {
            let mut cells = vec![board.number.to_string(), board.name.clone()];
            cells.extend(own(circuit));
            cells.extend([
                schedule.title.clone(),
                schedule.site.clone(),
                schedule.tester.clone(),
                schedule.supervisor.clone().unwrap_or_default(),
                schedule.begun.to_string(),
                schedule.record_of.to_owned(),
            ]);
            line(&mut text, cells.into_iter());
        }
    }
    text
}

fn own(circuit: &CircuitRow) -> Vec<String> {
    let number = |n: Option<f64>| n.map(plain).unwrap_or_default();
    let text = |t: &Option<String>| t.clone().unwrap_or_default();
    vec![
        circuit.number.to_string(),
        circuit.description.clone(),
        circuit.kind.to_owned(),
        circuit.points.to_string(),
        number(circuit.live_mm2),
        number(circuit.cpc_mm2),
        circuit.device.unwrap_or_default().to_owned(),
        number(circuit.rating_amps),
        number(circuit.breaking_ka),
        number(circuit.rcd_ma),
        text(&circuit.rcd_type),
        circuit.r1_r2.text(),
        circuit.r2.text(),
        circuit.ring_r1.text(),
        circuit.ring_rn.text(),
        circuit.ring_r2.text(),
        circuit
            .test_volts
            .map(|v| v.to_string())
            .unwrap_or_default(),
        circuit.insulation_ll.text(),
        circuit.insulation_ln.text(),
        circuit.insulation_le.text(),
        circuit.insulation_ne.text(),
        circuit.insulation_joined.text(),
        circuit.polarity.text(),
        circuit.zs.text(),
        text(&circuit.zs_limit),
        circuit.rcd_half.text(),
        circuit.rcd_rated.text(),
        circuit.rcd_five.text(),
        circuit.rcd_button.text(),
        circuit.remarks.join("; "),
    ]
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
