use super::schedule::{CircuitRow, Schedule};
use super::words::plain;

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
    let mut lines = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::from("\u{feff}"));
    // Memory takes whatever is written to it, and every line has as many cells as there are columns.
    let _ = lines.write_record(COLUMNS);
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
            let _ = lines.write_record(cells.into_iter().map(guarded));
        }
    }
    let written = lines.into_inner().unwrap_or_default();
    String::from_utf8(written).unwrap_or_default()
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

/// Words that a spreadsheet would take for a formula get an apostrophe before them.
fn guarded(cell: String) -> String {
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
    }
}
