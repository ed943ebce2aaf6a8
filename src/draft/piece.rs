//! One piece of what is said of a circuit: "32 amp B", "eight sockets", "2.5/1.5". What a number is goes by
//! its unit or by what stands beside it; a number alone is asked about.

use super::words::{CircuitWords, FUSED_UNIT, SPUR, circuit_number};
use crate::grammar::number::in_digits;
use crate::installation::{
    Cable, CircuitKind, MOST_POINTS, NotClear, Phases, cpc_of_flat, metres, without_flat,
};

/// What points are called by themselves; others are counted too, where nothing else is meant.
const POINTS: [&str; 5] = ["socket", "light", "smoke alarm", "heat alarm", "switch"];

/// "Lights 2" is a name up to here: boards have no more circuits of one sort.
const MOST_OF_A_SORT: u16 = 20;

/// A piece with its numbers in figures, as it is written.
pub(super) fn as_figures(piece: &str) -> String {
    in_digits(piece).replace("r c d", "rcd")
}

/// What a piece says; nothing when it is none of what is known of circuits. The piece that begins a line may
/// begin with the circuit's number.
///
/// # Errors
/// When it is about circuits, and not understood: what to write.
pub(super) fn understood(piece: &str, begins: bool) -> Result<Option<CircuitWords>, NotClear> {
    let whole = whole(piece);
    if let Ok(Some(said)) = whole {
        return Ok(Some(said));
    }
    if let Some(said) = numbered_name(piece) {
        return Ok(Some(said));
    }
    let parts = parts(piece, begins);
    if let Ok(Some(said)) = parts {
        return Ok(Some(said));
    }
    if let Some((many, what)) = count_of(piece) {
        return counted(many, what).map(Some);
    }
    whole.and(parts)
}

/// What is one thing only.
fn whole(piece: &str) -> Result<Option<CircuitWords>, NotClear> {
    let small = piece.to_lowercase();
    let mut said = CircuitWords::default();
    if let Some(name) = ["called ", "named ", "name "]
        .iter()
        .find_map(|word| small.strip_prefix(word))
    {
        let from = piece.len() - name.len();
        said.name = Some(piece.get(from..).unwrap_or(name).trim().to_owned());
        return Ok(Some(said));
    }
    if is_a_number(&small) {
        return Err(of_what(piece));
    }
    if circuit_number(&small)?.is_some() {
        return Err(NotClear(format!(
            "`{piece}` is a second circuit in one line: write each circuit in a line of its own"
        )));
    }
    match small.as_str() {
        "3 phase" | "3-phase" => said.phases = Some(Phases::Three),
        "single phase" | "single-phase" | "1 phase" => said.phases = Some(Phases::Single),
        "2 way" | "2-way" | "two-way" | "2 way switching" => said.two_way = true,
        "afdd" => said.afdd = true,
        "fcu"
        | "switched fcu"
        | "fused connection unit"
        | "switched fused connection unit"
        | "fused spur"
        | "switched fused spur" => said.unit = Some(FUSED_UNIT),
        "spur" => said.unit = Some(SPUR),
        _ => {
            if let Some(kind) = of_kind(&small) {
                return Ok(Some(kind));
            } else if let Some(length) = metres(&small).filter(|_| small.ends_with(['m', 's', 'e']))
            {
                said.metres = Some(length);
            } else if let Some(mm2) = size_alone(&small) {
                said.cable = Some(paired(mm2)?);
                said.size_alone = Some(mm2);
            } else if is_a_cable(&small) {
                let cable: Cable = small.parse()?;
                said.metres = cable.metres;
                said.cable = Some(cable);
            } else if !said.devices.take(&small) {
                return match count_of(&small) {
                    Some((many, what)) if POINTS.contains(&one_of(what).as_str()) => {
                        counted(many, what).map(Some)
                    }
                    Some(_) => Ok(None),
                    None if begins_with_a_measure(&small) => Err(not_understood(piece)),
                    None => Ok(None),
                };
            }
        }
    }
    Ok(Some(said))
}

/// The sort of a circuit; "cooker" and "smoke alarms" say what it feeds, too.
pub(super) fn of_kind(small: &str) -> Option<CircuitWords> {
    let kind: CircuitKind = small.parse().ok()?;
    let feeds = kind == CircuitKind::SinglePoint
        && !small.starts_with("single")
        && !small.starts_with("fixed")
        || kind == CircuitKind::Radial && !small.starts_with("radial");
    Some(CircuitWords {
        kind: Some(kind),
        feeds: feeds.then(|| small.to_owned()),
        ..CircuitWords::default()
    })
}

/// "Lights 2": what circuits of one sort are told apart by.
fn numbered_name(piece: &str) -> Option<CircuitWords> {
    let (sort, number) = piece.rsplit_once(' ')?;
    let number: u16 = number.parse().ok()?;
    let said = of_kind(&sort.trim().to_lowercase())?;
    (1..=MOST_OF_A_SORT)
        .contains(&number)
        .then(|| CircuitWords {
            name: Some(piece.to_owned()),
            ..said
        })
}

/// Several things without commas, "6 immersion 16 amp": all of it, or nothing.
fn parts(piece: &str, begins: bool) -> Result<Option<CircuitWords>, NotClear> {
    let words: Vec<&str> = piece.split_whitespace().collect();
    let mut all = CircuitWords::default();
    let mut at = 0;
    while at < words.len() {
        let mut wrong = None;
        // Not the whole again.
        let longest = if at == 0 {
            words.len() - 1
        } else {
            words.len()
        };
        let found = (at + 1..=longest).rev().find_map(|end| {
            let run = words.get(at..end)?.join(" ");
            if begins && at == 0 && circuit_number(&run).ok().flatten().is_some() {
                let number = circuit_number(&run).ok().flatten();
                let said = CircuitWords {
                    number,
                    ..CircuitWords::default()
                };
                return Some((said, end));
            }
            match whole(&run) {
                Ok(said) => said.map(|said| (said, end)),
                Err(why) => {
                    wrong = Some(why);
                    None
                }
            }
        });
        let Some((said, end)) = found else {
            return wrong.map_or(Ok(None), Err);
        };
        all.beside(said)?;
        at = end;
    }
    Ok(Some(all))
}

/// "8 sockets": how many, and of what. A measure is no count, and neither is what has other numbers in it.
fn count_of(piece: &str) -> Option<(u16, &str)> {
    let (many, what) = piece.split_once(' ')?;
    let many = many.parse().ok()?;
    let what = what.trim();
    let counts = !what.contains(|c: char| c.is_ascii_digit() || c == '/');
    (counts && !begins_with_a_measure(piece)).then_some((many, what))
}

/// Whether it begins with a number and a unit: "32 amps of something" is no 32 points.
fn begins_with_a_measure(piece: &str) -> bool {
    const UNITS: [&str; 12] = [
        "a",
        "amp",
        "amps",
        "ma",
        "milliamp",
        "milliamps",
        "ka",
        "kiloamp",
        "kiloamps",
        "m",
        "mm",
        "mm2",
    ];
    let mut words = piece.split_whitespace();
    let number = words.next().is_some_and(is_a_number);
    number && words.next().is_some_and(|unit| UNITS.contains(&unit))
}

/// What one of them is called.
fn one_of(what: &str) -> String {
    let what = what.to_lowercase();
    let what = ["double ", "twin ", "single "]
        .iter()
        .find_map(|word| what.strip_prefix(word))
        .unwrap_or(&what);
    let one = match what {
        "switches" => "switch",
        _ => what.strip_suffix('s').unwrap_or(what),
    };
    match one {
        "socket outlet" | "socket-outlet" | "outlet" => "socket",
        "lamp" | "luminaire" | "fitting" => "light",
        same => same,
    }
    .to_owned()
}

/// So many points of this name.
///
/// # Errors
/// When no circuit has so many.
pub(super) fn counted(many: u16, what: &str) -> Result<CircuitWords, NotClear> {
    if !(1..=MOST_POINTS).contains(&many) {
        return Err(NotClear(format!(
            "{many} {what}: a circuit has 1 to {MOST_POINTS} points"
        )));
    }
    Ok(CircuitWords {
        points: vec![(one_of(what), Some(many))],
        ..CircuitWords::default()
    })
}

/// The size of the line conductor alone, with its unit: "6mm", "2.5 mm²".
fn size_alone(small: &str) -> Option<f64> {
    let number = ["mm2", "mm²", "mm", "square"]
        .iter()
        .find_map(|unit| small.strip_suffix(unit))?;
    number.trim().parse().ok()
}

/// The flat cable with its own protective conductor that has this line conductor: what is usual where only
/// one size was given.
///
/// # Errors
/// When there is none.
pub(super) fn paired(line_mm2: f64) -> Result<Cable, NotClear> {
    let cpc = cpc_of_flat(line_mm2).ok_or_else(|| {
        NotClear(format!(
            "{line_mm2} mm² alone is no usual twin and earth: write line and protective conductor, as in 2.5/1.5"
        ))
    })?;
    format!("{line_mm2}/{cpc}").parse()
}

/// "2.5/1.5", "six by two point five", "2.5 and 1.5 twin and earth", "4 mm2 singles".
fn is_a_cable(piece: &str) -> bool {
    let (_, flat) = without_flat(piece);
    let made = ["swa", "armoured", "micc", "mims", "singles"];
    let made = piece.split_whitespace().any(|word| made.contains(&word));
    flat || made || piece.contains('/') || piece.contains(" by ")
}

/// A number and nothing else.
pub(super) fn is_a_number(piece: &str) -> bool {
    piece.starts_with(|c: char| c.is_ascii_digit()) && piece.parse::<f64>().is_ok()
}

/// What is asked of a number alone.
fn of_what(number: &str) -> NotClear {
    NotClear(format!(
        "`{number}` alone does not say what it is: write {number} m for the length, {number} A for the rated \
         current, {number} mm² for the size, or {number} sockets (lights, and so on)"
    ))
}

pub(super) fn not_understood(piece: &str) -> NotClear {
    NotClear(format!(
        "`{piece}` is not understood: say the number, what sort it is, the device, the points, the sizes \
         and the length, as in 3, radial, 16 A B, RCBO 30 mA, 4 sockets, 2.5/1.5, 18 m"
    ))
}
