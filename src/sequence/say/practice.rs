//! What is said only where somebody learns.

use super::line::Line;
use super::numbers::{capital, value};
use super::refusals;
use crate::grammar::Intent;
use crate::quantity::Reading;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Edition, Event, Refusal};
use crate::terms::{
    BayEdition, Change, Consequence, HiddenFault, Level, Place, Predicted, Shown, Wording,
};

/// What is said of an event that is only of practice.
pub(super) fn told(before: &Agenda, event: &Event) -> Vec<Line> {
    let wording = before.delivery().wording;
    match event {
        Event::Probed {
            shown,
            came,
            refusal,
            ..
        } => probed(before, shown, came, refusal.as_ref()),
        Event::SwitchedOn { rcd: Some(rcd), .. } => {
            vec![Line::read_back(format!("RCD {rcd} is on again."))]
        }
        Event::SwitchedOn { circuit, .. } => vec![Line::read_back(format!(
            "The device of circuit {circuit} is on again."
        ))],
        Event::Came { came } => self::came(before, came),
        Event::Predicted { of, reading, .. } => vec![predicted(*of, reading.as_ref(), wording)],
        Event::Diagnosed { fault } => vec![diagnosed(fault.as_ref())],
        Event::Revealed { faults, .. } => vec![revealed(faults)],
        _ => Vec::new(),
    }
}

/// What an instrument shows, and what came of it. Who is led is warned before it; who is asked or
/// examined hears it after.
fn probed(
    before: &Agenda,
    shown: &Shown,
    came: &[Consequence],
    refusal: Option<&Refusal>,
) -> Vec<Line> {
    let display = Line::shown(display(shown, before.delivery().wording));
    let refused = refusal.map(|refusal| {
        let led = before.level() == Level::Led;
        Line::warning(if led {
            let why = refusals::refusal(before, refusal).without_no();
            format!("On site that would not be taken. {why}")
        } else {
            // Not what comes first.
            let why = refusals::refused_in_short(refusal);
            format!("On site that would not be taken: {why}.")
        })
    });
    let came = self::came(before, came);
    if before.level() == Level::Led {
        refused.into_iter().chain([display]).chain(came).collect()
    } else {
        std::iter::once(display)
            .chain(came)
            .chain(refused)
            .collect()
    }
}

/// The words of a display.
fn display(shown: &Shown, wording: Wording) -> String {
    match shown {
        Shown::Value(reading) => format!("{}.", capital(&value(reading, wording))),
        Shown::Live(volts) => format!("{}. No test.", capital(&value(volts, wording))),
        Shown::Tripped(time) => format!("Tripped, {}.", value(time, wording)),
        Shown::NoTrip => "No trip.".to_owned(),
        Shown::Sequence { right: true } => "One, two, three.".to_owned(),
        Shown::Sequence { right: false } => "One, three, two.".to_owned(),
        Shown::NoSupply => "No supply. No test.".to_owned(),
        Shown::Label(printed) => {
            let letter = printed.letter.map(|letter| format!("Type {letter}, "));
            let residual = printed.milliamps.map(|ma| format!(", {ma} milliamps"));
            format!(
                "{}{} amps{}.",
                letter.unwrap_or_default(),
                printed.amps,
                residual.unwrap_or_default()
            )
        }
    }
}

/// What came of what was done to the installation.
fn came(before: &Agenda, came: &[Consequence]) -> Vec<Line> {
    came.iter()
        .filter_map(|came| Some(Line::warning(consequence(before, came)?)))
        .collect()
}

/// What is said where somebody takes out or joins what nobody has said to be off.
pub(super) const NEVER_OFF: &str =
    "Stop. Nobody has said that it is switched off: nothing is taken out or joined live.";

/// Whether conductors are taken out or joined on what nobody has said to be off. At asked and silent that is
/// told too: it is danger.
pub(super) fn is_never_off(before: &Agenda, event: &Event) -> bool {
    let Event::TakenOut {
        board,
        circuit,
        part,
        ..
    } = event
    else {
        return false;
    };
    is_told_of(before) && part.is_of_danger() && !before.switched_off(*board, *circuit)
}

/// The same of what is refused for another reason: what was said may be done already.
pub(super) fn refused_and_never_off(before: &Agenda, said: &Intent) -> bool {
    let Intent::Altered(alteration) = said else {
        return false;
    };
    let takes_out = matches!(
        alteration.change,
        Change::Out | Change::Linked | Change::Crossed
    );
    takes_out
        && is_told_of(before)
        && alteration.part.is_of_danger()
        && before
            .current()
            .is_some_and(|here| !before.switched_off(here.board, here.circuit))
}

/// Older logs say what was said then.
fn is_told_of(before: &Agenda) -> bool {
    match before.practises() {
        true => before.bay_edition() > BayEdition::First,
        false => before.edition() > Edition::First,
    }
}

/// What came of a probing, in words. Who is led is told how to go on.
fn consequence(before: &Agenda, came: &Consequence) -> Option<String> {
    let led = before.level() == Level::Led;
    let again = |circuit: Option<u16>| {
        let said = Intent::SwitchedOn(circuit).words();
        if led {
            format!(" It stays off until you switch it on: say \"{said}\".")
        } else {
            String::new()
        }
    };
    Some(match came {
        Consequence::Destroyed { circuit, place, .. } => {
            format!("The test voltage destroyed the electronics in {place}, circuit {circuit}.")
        }
        Consequence::Tripped { circuit, .. } if before.bay_edition() == BayEdition::First => {
            format!("The RCD of circuit {circuit} tripped. It is on again for the next test.")
        }
        Consequence::Tripped { circuit, .. } => {
            let again = again(Some(*circuit));
            format!("The RCD of circuit {circuit} tripped.{again}")
        }
        Consequence::TrippedSeveral { rcd, .. } => {
            format!(
                "RCD {rcd} tripped, and all its circuits are off.{}",
                again(None)
            )
        }
        Consequence::ProbedLive { volts } => format!(
            "Stop. Hands off: {volts} volts under the probes, and the tester was set for a dead test."
        ),
        Consequence::Settling if led => {
            "It is still moving: hold the test on, and ask \"what does it show\".".to_owned()
        }
        Consequence::Settling => return None,
        Consequence::Shorted { circuit, amps, .. } => format!(
            "A short circuit was energised: {amps} amps, and the device of circuit {circuit} opened.{}",
            again(Some(*circuit))
        ),
        Consequence::Burst {
            circuit,
            amps,
            breaks,
            ..
        } => format!(
            "A short circuit was energised: {amps} amps, and the device of circuit {circuit} can break {breaks}. It burst, and whoever stood there is hurt. It stays off."
        ),
    })
}

/// What is expected, said back.
fn predicted(of: Predicted, reading: Option<&Reading>, wording: Wording) -> Line {
    let said = reading.map(|reading| value(reading, wording));
    Line::read_back(match (of, said) {
        (Predicted::Value, said) => format!("You expect {}.", said.unwrap_or_default()),
        (Predicted::Limit, Some(said)) => format!("Your limit is {said}."),
        (Predicted::Limit, None) => "You say there is no limit.".to_owned(),
    })
}

/// The fault that was named, said back.
fn diagnosed(fault: Option<&HiddenFault>) -> Line {
    Line::read_back(match fault {
        Some(fault) => format!("{}.", capital(&named(fault))),
        None => "No fault.".to_owned(),
    })
}

/// What was hidden.
fn revealed(faults: &[HiddenFault]) -> Line {
    let named: Vec<String> = faults.iter().map(named).collect();
    Line::answer(if named.is_empty() {
        "Nothing was hidden.".to_owned()
    } else {
        format!("Hidden was: {}.", named.join("; "))
    })
}

/// A fault in words: "open leg of the line at socket 3, circuit 1".
pub fn named(fault: &HiddenFault) -> String {
    let of = |text: String| (!text.is_empty()).then_some(text);
    let conductor = fault.conductor.map(|c| format!(" of the {}", c.spoken()));
    let place = fault
        .place
        .as_ref()
        .map(|place: &Place| format!(" at {place}"));
    let circuit = fault.circuit.map(|n| format!(", circuit {n}"));
    let with = fault.with_circuit.map(|n| format!(" and circuit {n}"));
    let parts = [conductor, place, circuit, with];
    let rest: String = parts.into_iter().flatten().filter_map(of).collect();
    format!("{}{rest}", fault.kind)
}
