//! What is said only where somebody learns.

use super::numbers::{capital, value};
use super::{Line, refusals};
use crate::quantity::Reading;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::Refusal;
use crate::terms::{Consequence, HiddenFault, Level, Place, Predicted, Shown, Wording};

/// What an instrument shows, and what came of it. Who is led is warned before it; who is asked or
/// examined hears it after.
pub(super) fn probed(
    before: &Agenda,
    shown: &Shown,
    came: &[Consequence],
    refusal: Option<&Refusal>,
) -> Vec<Line> {
    let display = Line::shown(display(shown, before.delivery().wording));
    let refused = refusal.map(|refusal| {
        let led = before.level() == Level::Led;
        let why = refusals::refusal(before, refusal);
        let why = why.strip_prefix("No. ").unwrap_or(&why);
        Line::warning(if led {
            format!("On site that would not be taken. {why}")
        } else {
            // Not what comes first.
            let why = refusals::refused_in_short(refusal);
            format!("On site that would not be taken: {why}.")
        })
    });
    let came = came.iter().map(|came| Line::warning(consequence(came)));
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
    }
}

/// What came of a probing, in words.
fn consequence(came: &Consequence) -> String {
    match came {
        Consequence::Destroyed { circuit, place, .. } => {
            format!("The test voltage destroyed the electronics in {place}, circuit {circuit}.")
        }
        Consequence::Tripped { circuit, .. } => {
            format!("The RCD of circuit {circuit} tripped. It is on again for the next test.")
        }
        Consequence::ProbedLive { volts } => format!(
            "Stop. Hands off: {volts} volts under the probes, and the tester was set for a dead test."
        ),
    }
}

/// What is expected, said back.
pub(super) fn predicted(of: Predicted, reading: Option<&Reading>, wording: Wording) -> Line {
    let said = reading.map(|reading| value(reading, wording));
    Line::read_back(match (of, said) {
        (Predicted::Value, said) => format!("You expect {}.", said.unwrap_or_default()),
        (Predicted::Limit, Some(said)) => format!("Your limit is {said}."),
        (Predicted::Limit, None) => "You say there is no limit.".to_owned(),
    })
}

/// The fault that was named, said back.
pub(super) fn diagnosed(fault: Option<&HiddenFault>) -> Line {
    Line::read_back(match fault {
        Some(fault) => format!("{}.", capital(&named(fault))),
        None => "No fault.".to_owned(),
    })
}

/// What was hidden.
pub(super) fn revealed(faults: &[HiddenFault]) -> Line {
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
