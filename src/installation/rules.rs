//! What a job file may not say although it can be read: values that no installation has.

use super::file::{Node, Reader};
use super::{Accessory, Board, Circuit, Instrument, InstrumentUse, Job, JobKind, Phases};
use std::collections::BTreeMap;

/// A breaker to BS EN 60898 or BS EN 61009 is rated up to 125 A (scope of both standards).
const LARGEST_BREAKER: f64 = 125.0;
/// The largest fuse-link of BS 88-2 for use by authorised persons.
const LARGEST_FUSE: f64 = 1250.0;

pub(super) fn job(reader: &mut Reader, job: &Job, node: &Node) {
    for (key, text) in [("title", &job.title), ("tester", &job.tester)] {
        if text.trim().is_empty() {
            reader.report(node.at(key), format!("{key} is empty: write it out"));
        }
    }
    let at_kind = node.at("kind");
    match job.kind {
        JobKind::MinorWorks if job.boards.iter().map(|b| b.circuits.len()).sum::<usize>() > 1 => {
            reader.report(
                at_kind,
                "minor works are of one circuit: list that circuit alone, or write initial-verification",
            );
        }
        JobKind::LiveRetest if job.boards.iter().any(Board::isolates_circuits) => {
            reader.report(
                at_kind,
                "at a live re-test nothing is isolated: leave `isolate` out, or write periodic-inspection",
            );
        }
        _ => {}
    }
    if job.site.name.trim().is_empty() {
        let at = node.at_inner("site", "name");
        reader.report(at, "the site's name is empty: write it out");
    }
    let supply = &job.supply;
    let at = |key| node.at_inner("supply", key);
    if !(supply.volts > 0.0 && supply.volts <= 1000.0) {
        let text = format!(
            "{} V to earth is not low voltage: write U0 as in 230",
            supply.volts
        );
        reader.report(at("volts"), text);
    }
    if supply.sources.is_empty() {
        let text = "no source: list every one that could feed the installation, as in [\"mains\"]";
        reader.report(at("sources"), text);
    }
    let given = [
        ("ze_ohms", supply.ze_ohms),
        ("fault_current_ka", supply.fault_current_ka),
    ];
    for (key, number) in given {
        if number.is_some_and(|n| n.value() <= 0.0) {
            let text =
                format!("{key} cannot be nothing: write what was given, or leave the line out");
            reader.report(at(key), text);
        }
    }
    let mut seen = Vec::new();
    for bond in &supply.bonds {
        if bond.trim().is_empty() || seen.contains(&bond) {
            let text = format!("bonds: `{bond}` is empty or stands twice: name each bond once");
            reader.report(at("bonds"), text);
        }
        seen.push(bond);
    }
    if let Some(celsius) = job.site.ambient_celsius
        && !(-30.0..=60.0).contains(&celsius)
    {
        let text =
            format!("{celsius} °C is no temperature to test at: write the conductors' temperature");
        reader.report(node.at_inner("site", "ambient_celsius"), text);
    }
}

pub(super) fn instrument(reader: &mut Reader, instrument: &Instrument, node: &Node) {
    for (key, text) in [("name", &instrument.name), ("serial", &instrument.serial)] {
        if text.trim().is_empty() {
            let text = format!("an instrument's {key} is empty: write what stands on it");
            reader.report(node.at(key), text);
        }
    }
    if instrument.used_for.is_empty() {
        let text = "used_for is empty: say which tests the instrument is for";
        reader.report(node.at("used_for"), text);
    }
    let indicates_only = |used: &InstrumentUse| *used == InstrumentUse::VoltageIndication;
    if instrument.calibration_due.is_none() && !instrument.used_for.iter().all(indicates_only) {
        let text = "an instrument needs `calibration_due`: add calibration_due = \"2027-03-31\"; only a \
                    voltage indicator goes without";
        reader.report(node.at("calibration_due"), text);
    }
    let range = instrument.insulation_range_megohms;
    if range.is_some_and(|n| n.value() <= 0.0) {
        let text = "insulation_range_megohms is the largest value shown, such as \"999\"";
        reader.report(node.at("insulation_range_megohms"), text);
    }
}

pub(super) fn boards(reader: &mut Reader, boards: &[(Option<Board>, Node)]) {
    if boards.is_empty() {
        let text = "there is no board: add [[board]] with its circuits as [[board.circuit]]";
        reader.report(0, text);
    }
    unique(reader, "board", boards, |b| b.number);
}

pub(super) fn board_phases(reader: &mut Reader, job: &Job, boards: &[(Option<Board>, Node)]) {
    for (board, node) in boards {
        let three = board.as_ref().is_some_and(|b| b.phases == Phases::Three);
        if three && job.supply.phases == Phases::Single {
            let text = "a three-phase board on a single-phase supply: change one of the two";
            reader.report(node.at("phases"), text);
        }
    }
}

/// What feeds a board stands in the file, and no feed comes round to where it began.
pub(super) fn feeds(reader: &mut Reader, job: &Job, nodes: &[Node]) {
    for (board, node) in job.boards.iter().zip(nodes) {
        let Some((Some(by), circuit)) = board.feeder() else {
            continue;
        };
        let feeding = job.boards.iter().find(|board| board.number == by);
        let missing = |n: &u16| feeding.is_some_and(|b| b.circuits.iter().all(|c| c.number != *n));
        let text = match circuit.filter(missing) {
            _ if feeding.is_none() => format!(
                "fed_from: there is no board {by} in this file: add it, or say without the word \
                 board where the supply comes from"
            ),
            Some(circuit) => format!(
                "fed_from: board {by} has no circuit {circuit}: add it there, or correct the number"
            ),
            None if job.feeder_of(board.number).is_none() => format!(
                "fed_from: the feed of board {} comes round to where it began: leave the line out of \
                 the board at the origin",
                board.number
            ),
            None => continue,
        };
        reader.report(node.at("fed_from"), text);
    }
}

pub(super) fn board(
    reader: &mut Reader,
    board: &Board,
    node: &Node,
    circuits: &[(Option<Circuit>, Node)],
) {
    if board.name.trim().is_empty() {
        let text = "a board's name is empty: write what it is called";
        reader.report(node.at("name"), text);
    }
    if circuits.is_empty() {
        let text = format!(
            "board {} has no circuits: add [[board.circuit]]",
            board.number
        );
        reader.report(node.at("number"), text);
    }
    if board.isolates_circuits() && board.insulation_together {
        let text = "insulation_together asks for every circuit to be dead: leave it out where isolate = \"circuits\"";
        reader.report(node.at("insulation_together"), text);
    }
    unique(reader, "circuit", circuits, |c| c.number);
    for (circuit, node) in circuits {
        let three = circuit.as_ref().is_some_and(|c| c.phases == Phases::Three);
        if three && board.phases == Phases::Single {
            let text = "a three-phase circuit on a single-phase board: change one of the two";
            reader.report(node.at("phases"), text);
        }
    }
}

fn unique<T>(
    reader: &mut Reader,
    what: &str,
    all: &[(Option<T>, Node)],
    number: impl Fn(&T) -> u16,
) {
    let mut seen = BTreeMap::new();
    for (one, node) in all {
        let Some(n) = one.as_ref().map(&number) else {
            continue;
        };
        let at = node.at("number");
        if n == 0 {
            reader.report(at, format!("{what} numbers start at 1"));
        }
        if seen.insert(n, at).is_some() {
            reader.report(
                at,
                format!("{what} {n} stands twice: give each its own number"),
            );
        }
    }
}

pub(super) fn circuit(reader: &mut Reader, circuit: &Circuit, node: &Node) {
    if circuit.name.trim().is_empty() {
        let text = "a circuit's name is empty: write what it is called";
        reader.report(node.at("name"), text);
    }
    if let Some(device) = &circuit.device {
        let at = node.at_inner("device", "amps");
        let (kind, amps) = (device.kind, device.amps);
        let largest = match kind.name() {
            "BS 1362" => 13.0,
            _ if kind.is_fuse() => LARGEST_FUSE,
            _ => LARGEST_BREAKER,
        };
        if !(amps > 0.0 && amps <= largest) {
            let text = format!(
                "a {amps} A device to {kind} does not exist: write its rated current, up to {largest} A"
            );
            reader.report(at, text);
        }
        if device
            .breaking_ka
            .is_some_and(|ka| !(ka > 0.0 && ka <= 1000.0))
        {
            let text = "breaking_ka is the rated breaking capacity in kA, such as 6";
            reader.report(node.at_inner("device", "breaking_ka"), text);
        }
        if kind.is_rcbo() && circuit.rcd.is_none() {
            let text = format!(
                "a device to {kind} has a residual current part: add rcd = {{ milliamps = 30 }}, \
                 or its RCD tests would be left out"
            );
            reader.report(node.at("device"), text);
        }
    }
    if let Some(rcd) = &circuit.rcd {
        if !(rcd.milliamps > 0.0 && rcd.milliamps <= 30_000.0) {
            let text = format!(
                "{} mA is no rated residual current: write it in mA, such as 30",
                rcd.milliamps
            );
            reader.report(node.at_inner("rcd", "milliamps"), text);
        }
        let waveform = rcd.waveform.as_deref();
        if waveform.is_some_and(|w| !["AC", "A", "F", "B"].contains(&w)) {
            let text = "waveform is the type marked on the device: AC, A, F or B";
            reader.report(node.at_inner("rcd", "waveform"), text);
        }
    }
    if let Some(cable) = &circuit.cable {
        for (key, mm2) in [("line_mm2", cable.line_mm2), ("cpc_mm2", cable.cpc_mm2)] {
            if !(mm2 > 0.0 && mm2 <= 1000.0) {
                let text = format!("{mm2} mm² is no conductor: write {key} as in 2.5");
                reader.report(node.at_inner("cable", key), text);
            }
        }
        if cable.metres.is_some_and(|m| !(m > 0.0 && m <= 10_000.0)) {
            let text = "metres must be more than 0: estimate the length, or leave the line out";
            reader.report(node.at_inner("cable", "metres"), text);
        }
        if ![1, 2, 5].contains(&cable.class) {
            let text = format!(
                "class {} is not a class of IEC 60228 that is known here: write 1 (solid), \
                 2 (stranded) or 5 (flexible)",
                cable.class
            );
            reader.report(node.at_inner("cable", "class"), text);
        }
    }
}

pub(super) fn points(reader: &mut Reader, points: &[(Option<Accessory>, Node)]) {
    let mut seen = Vec::new();
    for (point, node) in points {
        let Some(point) = point else { continue };
        if point.name.trim().is_empty() {
            let text = "a point's name is empty: write what it is called aloud, as in \"socket\"";
            reader.report(node.at("name"), text);
        }
        let called = (point.name.clone(), point.number);
        if seen.contains(&called) {
            let number = point.number.map(|n| format!(" {n}")).unwrap_or_default();
            let text = format!(
                "{}{number} stands twice on this circuit: number them, so that one can be named",
                point.name
            );
            reader.report(node.at("name"), text);
        }
        seen.push(called);
    }
}
