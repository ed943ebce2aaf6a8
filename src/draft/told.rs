//! A circuit in words: written in one line, and said aloud.

use crate::installation::{Accessory, Circuit, CircuitKind, Phases};

/// A circuit in one line, as it was understood.
pub fn read_back(circuit: &Circuit) -> String {
    let mut told = vec![format!("Circuit {}, {}", circuit.number, circuit.name)];
    told.push(sort(circuit.kind).to_owned());
    if circuit.phases == Phases::Three {
        told.push("three phases".to_owned());
    }
    told.push(circuit.device.as_ref().map_or_else(
        || "no device given".to_owned(),
        |device| {
            let breaking = device.breaking_ka.map(|ka| format!(", breaks {ka} kA"));
            let breaking = breaking.unwrap_or_default();
            format!("{} {} A{breaking}", device.shown(), device.amps)
        },
    ));
    told.extend(circuit.rcd.as_ref().map(|rcd| {
        let waveform = rcd.waveform.as_ref().map(|w| format!(" type {w}"));
        format!("RCD {} mA{}", rcd.milliamps, waveform.unwrap_or_default())
    }));
    told.extend(circuit.cable.as_ref().map(|cable| {
        let length = cable.metres.map(|m| format!(", {m} m"));
        format!("{}{}", cable.shown(), length.unwrap_or_default())
    }));
    if circuit.two_way {
        told.push("two-way switching".to_owned());
    }
    if circuit.afdd {
        told.push("AFDD".to_owned());
    }
    told.push(points_told(&circuit.points).unwrap_or_else(|| "no points given".to_owned()));
    told.join("; ") + "."
}

/// The same as it is said aloud.
pub fn spoken(circuit: &Circuit) -> String {
    let mut told = vec![format!(
        "circuit {}, {}: {}",
        circuit.number,
        circuit.name,
        sort(circuit.kind)
    )];
    if circuit.phases == Phases::Three {
        told.push("three phases".to_owned());
    }
    told.extend(circuit.device.as_ref().map(|device| {
        let breaking = device
            .breaking_ka
            .map(|ka| format!(", breaks {ka} kiloamps"));
        let kind = device.kind.to_string();
        let kind = match kind.rsplit_once(' ') {
            Some((_, letter)) if device.kind.is_rcbo() => format!("type {letter} RCBO"),
            Some((_, letter @ ("B" | "C" | "D"))) => format!("type {letter}"),
            _ => kind,
        };
        format!("{} amp {kind}{}", device.amps, breaking.unwrap_or_default())
    }));
    told.extend(circuit.rcd.as_ref().map(|rcd| {
        let waveform = rcd.waveform.as_ref().map(|w| format!(", type {w}"));
        format!(
            "{} milliamp RCD{}",
            rcd.milliamps,
            waveform.unwrap_or_default()
        )
    }));
    told.extend(circuit.cable.as_ref().map(|cable| {
        let length = cable.metres.map(|m| format!(", {m} metres"));
        format!("{}{}", aloud(&cable.shown()), length.unwrap_or_default())
    }));
    told.extend(circuit.two_way.then(|| "two-way switching".to_owned()));
    told.extend(circuit.afdd.then(|| "arc fault detection".to_owned()));
    told.extend(points_told(&circuit.points));
    told.join(", ")
}

/// What a cable is, as it is said: "2.5/1.5 mm²" is "2.5 by 1.5".
fn aloud(cable: &str) -> String {
    cable
        .replace(" mm²", "")
        .replace('/', " by ")
        .replace("°C", "degrees")
}

fn sort(kind: CircuitKind) -> &'static str {
    match kind {
        CircuitKind::Radial => "radial",
        CircuitKind::Ring => "ring",
        CircuitKind::Lighting => "lighting",
        CircuitKind::SinglePoint => "one fixed load",
        CircuitKind::Motor => "motor",
        CircuitKind::Distribution => "distribution",
    }
}

/// "8 sockets, 1 spur"; nothing where there are no points.
fn points_told(points: &[Accessory]) -> Option<String> {
    let all = counted(points);
    let each = all.iter().map(|(name, many)| match many {
        Some(1) => format!("1 {name}"),
        Some(many) if name.ends_with("ch") => format!("{many} {name}es"),
        Some(many) => format!("{many} {name}s"),
        None => name.clone(),
    });
    (!all.is_empty()).then(|| each.collect::<Vec<_>>().join(", "))
}

/// Points of one name that are numbered from 1 on, counted; others by themselves.
pub(super) fn counted(points: &[Accessory]) -> Vec<(String, Option<u16>)> {
    let mut all: Vec<(String, Option<u16>)> = Vec::new();
    for point in points {
        match (point.number, all.last_mut()) {
            (Some(number), Some((name, Some(many))))
                if *name == point.name && *many + 1 == number =>
            {
                *many = number;
            }
            (Some(1), _) => all.push((point.name.clone(), Some(1))),
            (Some(number), _) => all.push((format!("{} {number}", point.name), None)),
            (None, _) => all.push((point.name.clone(), None)),
        }
    }
    all
}
