//! What a job file may not say although it can be read: values that no installation has.

use super::file::{Node, Reader};
use super::parts::LARGEST_IN_PARTS;
use super::{
    Accessory, Board, Circuit, Device, DeviceKind, GroupRcd, Instrument, InstrumentUse, Job,
    JobKind, Phases,
};
use std::collections::BTreeMap;

/// A breaker to BS EN 60898 or BS EN 61009 is rated up to 125 A (scope of both standards).
const LARGEST_BREAKER: f64 = 125.0;
/// Air circuit-breakers go this far: common practice, from memory.
const LARGEST_OF_ALL: f64 = 6300.0;
/// The largest fuse-link of BS 88-2 for use by authorised persons: from memory.
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
        JobKind::LiveRetest
            if job
                .boards
                .iter()
                .any(|board| board.isolates_circuits() || board.stays_live()) =>
        {
            reader.report(
                at_kind,
                "at a live re-test nothing is isolated: leave `isolate` and `one_after_another` out, or write \
                 periodic-inspection",
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
    let positive = [
        ("hertz", supply.hertz, 1000.0),
        ("max_demand_amps", supply.max_demand_amps, LARGEST_OF_ALL),
        (
            "earthing_conductor_mm2",
            supply.earthing_conductor_mm2,
            1000.0,
        ),
        ("bonding_mm2", supply.bonding_mm2, 1000.0),
    ];
    for (key, value, most) in positive {
        if value.is_some_and(|v| !(v > 0.0 && v <= most)) {
            let text = format!("{key} must be more than 0 and at most {most}");
            reader.report(at(key), text);
        }
    }
    for (key, by, given) in [
        ("ze_by", supply.ze_by, supply.ze_ohms),
        (
            "fault_current_by",
            supply.fault_current_by,
            supply.fault_current_ka,
        ),
    ] {
        if by.is_some() && given.is_none() {
            let text = format!(
                "{key} says how a value is known that is not there: add the value, or leave it out"
            );
            reader.report(at(key), text);
        }
    }
    if let Some(fuse) = &supply.fuse {
        rated(reader, fuse, &|_| at("fuse"));
    }
    if let Some(switch) = &supply.main_switch {
        let known = switch.amps > 0.0 && switch.amps <= LARGEST_OF_ALL;
        let poles = switch.poles.is_none_or(|poles| (1..=4).contains(&poles));
        if !known || !poles || switch.standard.trim().is_empty() {
            let text = "main_switch is written as in { standard = \"BS EN 60947-3\", amps = 100, poles = 2 }";
            reader.report(at("main_switch"), text);
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
    if instrument.calibration_due.is_none() && !instrument.proves_dead_only() {
        let text = "an instrument needs `calibration_due`: add calibration_due = \"2027-03-31\"; only a \
                    voltage indicator goes without";
        reader.report(node.at("calibration_due"), text);
    }
    for (key, value, used) in [
        (
            "loop_reference_ohms",
            instrument.loop_reference_ohms,
            InstrumentUse::Loop,
        ),
        (
            "rcd_reference_ms",
            instrument.rcd_reference_ms,
            InstrumentUse::Rcd,
        ),
    ] {
        if value.is_some_and(|n| n.value() <= 0.0) {
            reader.report(node.at(key), format!("{key} must be more than nothing"));
        }
        if value.is_some() && !instrument.used_for.contains(&used) {
            let text = format!(
                "{key}: used_for does not say that this instrument is for that: add \"{}\", or leave the line out",
                used.written()
            );
            reader.report(node.at(key), text);
        }
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

/// Whether the feed of a board speaks of a board or a circuit.
fn names_a_number(board: &Board) -> bool {
    let text = board.fed_from.as_deref().unwrap_or_default().to_lowercase();
    let mut words = text.split(|c: char| !c.is_alphanumeric());
    words.any(|word| matches!(word, "board" | "circuit"))
}

/// What feeds a board stands in the file, and no feed comes round to where it began.
pub(super) fn feeds(reader: &mut Reader, job: &Job, nodes: &[Node]) {
    for (board, node) in job.boards.iter().zip(nodes) {
        let (by, circuit) = match board.feeder() {
            Some((Some(by), circuit)) => (by, circuit),
            Some((None, _)) if names_a_number(board) => {
                let text = "fed_from: say the board and the circuit by their numbers, as in board 1, circuit 7; or \
                            leave both words out, where the feed is not in this file";
                reader.report(node.at("fed_from"), text);
                continue;
            }
            _ => continue,
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

/// Circuits that are isolated one after another are there, once each, and feed no board of the job.
pub(super) fn parts(reader: &mut Reader, job: &Job, nodes: &[Node]) {
    for (board, node) in job.boards.iter().zip(nodes) {
        if board.is_part() {
            let text = format!(
                "board {}: boards are numbered up to 9999, by which they are called: give the board a smaller number",
                board.number
            );
            reader.report(node.at("number"), text);
        }
        let at = node.at("one_after_another");
        if board.one_after_another.is_empty() {
            if node.has("one_after_another") {
                let text = "one_after_another names no circuit: write those that are isolated by themselves, as \
                            in `one_after_another = [1, 3]`, or leave the line out";
                reader.report(at, text);
            }
            continue;
        }
        let mut wrong = |text: String| reader.report(at, text);
        if board.isolates_circuits() || board.insulation_together {
            wrong(
                "one_after_another isolates each circuit by itself: leave `isolate` and `insulation_together` out"
                    .to_owned(),
            );
        }
        if board.number > LARGEST_IN_PARTS {
            wrong(format!(
                "one_after_another is for boards numbered up to {LARGEST_IN_PARTS}: give the board a smaller number"
            ));
        }
        for (n, number) in board.one_after_another.iter().enumerate() {
            if board
                .circuits
                .iter()
                .all(|circuit| circuit.number != *number)
            {
                wrong(format!(
                    "this board has no circuit {number}: add it, or correct the number"
                ));
            } else if *number > LARGEST_IN_PARTS {
                wrong(format!(
                    "circuit {number}: one_after_another is for circuits numbered up to {LARGEST_IN_PARTS}: give \
                     the circuit a smaller number"
                ));
            }
            if board
                .one_after_another
                .iter()
                .skip(n + 1)
                .any(|other| other == number)
            {
                wrong(format!("circuit {number} stands there twice: name it once"));
            }
            let fed = job
                .boards
                .iter()
                .find(|other| job.feeder_of(other.number) == Some((board.number, Some(*number))));
            if let Some(fed) = fed {
                wrong(format!(
                    "circuit {number} feeds board {}, which would be off with it: isolate board {0} as a whole, at \
                     a visit of its own",
                    fed.number
                ));
            }
        }
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

/// What a device is rated for, and what makes it act.
fn rated(reader: &mut Reader, device: &Device, at: &dyn Fn(&str) -> usize) {
    let (kind, amps) = (device.kind, device.amps);
    // The largest of the standards' ratings: from memory.
    let largest = match kind {
        DeviceKind::Bs1362 => 13.0,
        DeviceKind::Bs1361 | DeviceKind::Bs3036 => 100.0,
        DeviceKind::Bs88Part6 => 63.0,
        DeviceKind::MouldedCase | DeviceKind::Other => LARGEST_OF_ALL,
        _ if kind.is_fuse() => LARGEST_FUSE,
        _ => LARGEST_BREAKER,
    };
    if !(amps > 0.0 && amps <= largest) {
        let text = format!(
            "a {amps} A device to {kind} does not exist: write its rated current, up to {largest} A"
        );
        reader.report(at("amps"), text);
    }
    if device
        .breaking_ka
        .is_some_and(|ka| !(ka > 0.0 && ka <= 1000.0))
    {
        let text = "breaking_ka is the rated breaking capacity in kA, such as 6";
        reader.report(at("breaking_ka"), text);
    }
    acts(reader, device, at);
}

/// What makes a device act, where no table has it.
fn acts(reader: &mut Reader, device: &Device, at: &dyn Fn(&str) -> usize) {
    let kind = device.kind;
    let positive = [
        ("instantaneous_amps", device.instantaneous_amps),
        ("short_time_amps", device.short_time_amps),
        ("short_time_seconds", device.short_time_seconds),
        ("zs_ohms", device.zs_ohms.map(|n| n.value())),
        ("ia_amps", device.ia_amps),
    ];
    for (key, value) in positive {
        if value.is_some_and(|v| !(v > 0.0 && v <= 1e6)) {
            reader.report(at(key), format!("{key} must be more than nothing"));
        }
    }
    let set = [
        device.instantaneous_amps,
        device.short_time_amps,
        device.short_time_seconds,
    ];
    if kind != DeviceKind::MouldedCase && set.iter().any(Option::is_some) {
        let text = format!(
            "only a device to BS EN 60947-2 is judged by its setting: leave it out of the {kind}, or \
             change its kind"
        );
        reader.report(at("instantaneous_amps"), text);
    }
    if device.short_time_amps.is_some() != device.short_time_seconds.is_some()
        || (device.short_time_amps.is_some() && device.instantaneous_amps.is_none())
    {
        let text = "a setting with a delay needs short_time_amps, short_time_seconds and \
                    instantaneous_amps: write all three, or the last alone";
        reader.report(at("short_time_amps"), text);
    }
    let own = [device.zs_ohms.is_some(), device.ia_amps.is_some()];
    if kind == DeviceKind::Other {
        if own != [true, false] && own != [false, true] {
            let text = "another device needs what makes it act: add zs_ohms = \"1.15\", or ia_amps = 190, one of \
                        the two";
            reader.report(at("kind"), text);
        }
        if device.source.as_ref().is_none_or(|s| s.trim().is_empty()) {
            let text =
                "another device needs where its value is from: add source = \"maker's data sheet\"";
            reader.report(at("kind"), text);
        }
        if device.called.as_ref().is_none_or(|s| s.trim().is_empty()) {
            let text = "another device needs a name: add called = \"what is marked on it\"";
            reader.report(at("kind"), text);
        }
    } else if own.contains(&true) || device.source.is_some() || device.called.is_some() {
        let text = format!(
            "the tables know the {kind}: write kind = \"other\" to give zs_ohms or ia_amps, called and \
             source of your own"
        );
        reader.report(at("kind"), text);
    }
}

pub(super) fn circuit(reader: &mut Reader, circuit: &Circuit, node: &Node) {
    if circuit.name.trim().is_empty() {
        let text = "a circuit's name is empty: write what it is called";
        reader.report(node.at("name"), text);
    }
    if let Some(device) = &circuit.device {
        rated(reader, device, &|key| node.at_inner("device", key));
        let kind = device.kind;
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
        if rcd
            .amps
            .is_some_and(|amps| !(amps > 0.0 && amps <= LARGEST_OF_ALL))
        {
            let text = "amps is its rated current, such as 63";
            reader.report(node.at_inner("rcd", "amps"), text);
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

/// The largest number by which a residual current device of several circuits is called aloud.
pub(crate) const LARGEST_RCD: u16 = 19;

/// Residual current devices of several circuits.
pub(super) fn groups(reader: &mut Reader, rcds: &[(Option<GroupRcd>, Node)], circuits: &[u16]) {
    unique(reader, "rcd", rcds, |rcd| rcd.number);
    for (rcd, node) in rcds {
        let Some(rcd) = rcd else { continue };
        if rcd.number > LARGEST_RCD {
            let text = format!("number is how the RCD is called aloud: from 1 to {LARGEST_RCD}");
            reader.report(node.at("number"), text);
        }
        if !(rcd.milliamps > 0.0 && rcd.milliamps <= 30_000.0) {
            let text = format!(
                "{} mA is no rated residual current: write it in mA, such as 30",
                rcd.milliamps
            );
            reader.report(node.at("milliamps"), text);
        }
        if rcd
            .amps
            .is_some_and(|amps| !(amps > 0.0 && amps <= LARGEST_OF_ALL))
        {
            reader.report(node.at("amps"), "amps is its rated current, such as 63");
        }
        let waveform = rcd.waveform.as_deref();
        if waveform.is_some_and(|w| !["AC", "A", "F", "B"].contains(&w)) {
            let text = "waveform is the type marked on the device: AC, A, F or B";
            reader.report(node.at("waveform"), text);
        }
        for circuit in rcd.circuits.iter().filter(|n| !circuits.contains(n)) {
            let text = format!(
                "RCD {}: this board has no circuit {circuit}: add it, or correct the number",
                rcd.number
            );
            reader.report(node.at("circuits"), text);
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
