//! What devices and cables are made: a circuit with what nobody makes is a slip of the tongue or of a key,
//! and would be given a limit all the same.

use crate::installation::{Cable, Circuit, CpcIs, Device, DeviceKind, NotClear, Rcd};
use crate::limits::Tables;

/// Rated currents of circuit-breakers with an instantaneous trip of type B, C or D: the preferred values of
/// IEC 60898-1 (6 to 125 A), and smaller and older ones that are met; all from memory.
const BREAKERS: &[f64] = &[
    1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 15.0, 16.0, 20.0, 25.0, 30.0, 32.0, 40.0, 45.0,
    50.0, 63.0, 80.0, 100.0, 125.0,
];
/// Of those of BS 3871, from memory.
const OLD_BREAKERS: &[f64] = &[
    2.5, 5.0, 6.0, 10.0, 15.0, 16.0, 20.0, 25.0, 30.0, 32.0, 40.0, 45.0, 50.0, 60.0, 63.0, 80.0,
    100.0,
];
/// Of rewireable fuses (BS 3036) and of house-service and consumer-unit fuses (BS 1361), from memory.
const OLD_FUSES: &[f64] = &[5.0, 15.0, 20.0, 30.0, 45.0, 60.0, 80.0, 100.0];
/// Of plug fuses (BS 1362), from memory.
const PLUG_FUSES: &[f64] = &[1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 13.0];
/// Of fuses to BS 88 (BS HD 60269), from memory.
const FUSES: &[f64] = &[
    2.0, 4.0, 5.0, 6.0, 10.0, 16.0, 20.0, 25.0, 32.0, 40.0, 45.0, 50.0, 63.0, 80.0, 100.0, 125.0,
    160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0,
];
/// Rated residual currents (IEC 61008-1, IEC 61009-1, IEC 60947-2 annex B), from memory, mA.
const RESIDUAL: &[f64] = &[10.0, 30.0, 100.0, 300.0, 500.0, 1000.0];
/// Cross-sections of conductors (BS EN 60228), from memory, mm².
const SIZES: &[f64] = &[
    0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0,
    185.0, 240.0, 300.0, 400.0, 500.0, 630.0,
];
/// A breaking capacity is somewhere up to this (moulded-case breakers; from memory), kA.
const MOST_KA: f64 = 200.0;
/// A circuit is no longer than this; our own bound, which catches a figure too many.
const MOST_METRES: f64 = 1000.0;

/// Looks for what nobody makes.
///
/// # Errors
/// With the first such thing, and what there is.
pub(super) fn checked(circuit: &Circuit) -> Result<(), NotClear> {
    circuit.device.as_ref().map_or(Ok(()), device)?;
    circuit.rcd.as_ref().map_or(Ok(()), residual)?;
    circuit.cable.as_ref().map_or(Ok(()), cable)
}

fn device(device: &Device) -> Result<(), NotClear> {
    let rated = match device.kind {
        DeviceKind::Bs3036 | DeviceKind::Bs1361 => OLD_FUSES,
        DeviceKind::Bs1362 => PLUG_FUSES,
        DeviceKind::MouldedCase | DeviceKind::Other => &[],
        kind if kind.is_fuse() => FUSES,
        kind if kind.is_of_bs_3871() => OLD_BREAKERS,
        _ => BREAKERS,
    };
    if !rated.is_empty() && !rated.contains(&device.amps) {
        return Err(not_made(
            &format!("{} of {} A", device.shown(), device.amps),
            rated,
            "A",
        ));
    }
    match device.breaking_ka {
        Some(ka) if !(1.0..=MOST_KA).contains(&ka) => Err(NotClear(format!(
            "a breaking capacity of {ka} kA: it is 1 to {MOST_KA} kA, as in 6 kA"
        ))),
        _ => Ok(()),
    }
}

pub(super) fn residual(rcd: &Rcd) -> Result<(), NotClear> {
    if RESIDUAL.contains(&rcd.milliamps) {
        return Ok(());
    }
    Err(not_made(
        &format!("an RCD of {} mA", rcd.milliamps),
        RESIDUAL,
        "mA",
    ))
}

fn cable(cable: &Cable) -> Result<(), NotClear> {
    let imperial = |mm2: f64| Tables::shipped().cables.imperial_name(mm2).is_some();
    let own = matches!(cable.cpc_is, CpcIs::Core | CpcIs::Separate);
    let sizes = [Some(cable.line_mm2), own.then_some(cable.cpc_mm2)];
    for mm2 in sizes.into_iter().flatten() {
        if !SIZES.contains(&mm2) && !imperial(mm2) {
            return Err(not_made(&format!("a conductor of {mm2} mm²"), SIZES, "mm²"));
        }
    }
    if cable.cpc_is == CpcIs::Core && cable.cpc_mm2 > cable.line_mm2 {
        return Err(NotClear(format!(
            "{}/{} mm²: the protective conductor is larger than the line; write the line first, as in \
             2.5/1.5",
            cable.line_mm2, cable.cpc_mm2
        )));
    }
    match cable.metres {
        Some(metres) if !(metres > 0.0 && metres <= MOST_METRES) => Err(NotClear(format!(
            "a length of {metres} m: a circuit is up to {MOST_METRES} m long, as in 54 m"
        ))),
        _ => Ok(()),
    }
}

fn not_made(what: &str, there: &[f64], unit: &str) -> NotClear {
    let all: Vec<String> = there.iter().map(f64::to_string).collect();
    NotClear(format!(
        "{what} is not usually made: there are {} {unit}. If it is marked so, write the circuit into the \
         job file",
        all.join(", ")
    ))
}

#[cfg(test)]
mod tests {
    use crate::draft::CircuitWords;

    #[test]
    fn what_nobody_makes_is_refused_with_what_there_is() {
        for (line, told) in [
            (
                "3, ring, B33, 8 sockets",
                "of 33 A is not usually made: there are 1, 2, 3,",
            ),
            ("3, ring, B3200, 8 sockets", "of 3200 A is not usually made"),
            (
                "3, ring, B54 RCBO, 8 sockets",
                "of 54 A is not usually made",
            ),
            ("3, radial, BS 3036 32 A", "there are 5, 15, 20, 30, 45, 60"),
            (
                "3, cooker, 14 A plug fuse",
                "there are 1, 2, 3, 5, 7, 10, 13 A",
            ),
            (
                "3, ring, B32 RCBO 3000 mA",
                "an RCD of 3000 mA is not usually made",
            ),
            ("3, ring, B32, 600 kA", "as in 6 kA"),
            (
                "3, ring, B32, 2.5/15",
                "a conductor of 15 mm² is not usually made",
            ),
            (
                "3, ring, B32, 1.5/2.5",
                "write the line first, as in 2.5/1.5",
            ),
            ("3, ring, B32, 2.5/1.5, 5400 m", "up to 1000 m long"),
            ("3, ring, B32, 2.5/1.5, 0 m", "up to 1000 m long"),
        ] {
            let mut words = CircuitWords::default();
            let answer = words.take(line).and_then(|()| words.circuit(3));
            let answer =
                answer.map_or_else(|why| why.to_string(), |circuit| format!("{circuit:?}"));
            assert!(answer.contains(told), "{line}: {answer}");
        }
    }

    #[test]
    fn what_is_made_is_taken() {
        for line in [
            "3, ring, B32 RCBO 30 mA, 6 kA, 2.5/1.5, 54 m",
            "3, cooker, BS 1361 30 A, 7/.029 and 3/.029, 11 m",
            "3, distribution, 100 A MCCB trips at 1000 A, 25 4-core SWA 40 m",
            "3, distribution, BS 88-3 63 A, 16/16 singles, 9 m",
            "3, lighting, BS 3036 5 A, 1.5/1, 31 m",
            "3, radial, BS 3871 type 2 20 A, 1.5 2-core MICC 12 m",
            "3, motor, C16, 2.5/2.5 singles",
        ] {
            let mut words = CircuitWords::default();
            words.take(line).unwrap();
            assert!(words.circuit(3).is_ok(), "{line}: {:?}", words.circuit(3));
        }
    }
}
