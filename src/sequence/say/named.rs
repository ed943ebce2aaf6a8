//! Steps and values as they are written, in the log and on a schedule.

use crate::installation::board_said;
use crate::quantity::{Reading, Unit};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Quantity, Step, StepKind};

/// What a step is, in the words of a schedule: "insulation resistance L-N at 500 V".
pub fn step_named(agenda: &Agenda, step: &Step) -> String {
    let label = agenda.procedure(step).label(step);
    let Some(measure) = step.measure() else {
        return label.unwrap_or_else(|| step.stage.to_string());
    };
    let mut text = label.unwrap_or_else(|| measure.quantity.shown().to_owned());
    if measure.quantity == Quantity::RingEndToEnd {
        text = format!("ring {}", last(step));
    } else if matches!(
        measure.quantity,
        Quantity::LeadsOpen | Quantity::LeadsShorted
    ) {
        let range = if measure.unit == Unit::MegOhm {
            "insulation range"
        } else {
            "continuity range"
        };
        text = format!("{range}, {text}");
    } else if let Some(pair) = measure.pair {
        text = format!("{text} {pair}");
    }
    if let Some(at) = measure.at {
        text = format!("{text} at {at}");
    }
    if let Some(half) = measure.half {
        text = format!("{text}, {half}");
    }
    // Zs is read where R1+R2 was highest.
    let there = agenda
        .result(step)
        .filter(|_| measure.quantity == Quantity::LoopImpedance)
        .and_then(|record| record.place.as_ref());
    if let Some(place) = there.or(step.place.as_ref()) {
        text = format!("{text}, {place}");
    }
    if step.kind == StepKind::InsulationTwoWay {
        text.push_str(", switches in the other position");
    }
    text
}

/// The last part of a step's name.
fn last(step: &Step) -> &str {
    step.id.tail.rsplit('/').next().unwrap_or_default()
}

/// A value with its unit, as written: ">999 MΩ", "over range", "0.34 Ω".
pub fn written(reading: &Reading) -> String {
    match (reading.number, reading.unit) {
        (Some(_), Some(unit)) => format!("{} {}", reading.shown(), unit.symbol()),
        _ => reading.shown(),
    }
}

/// "board 1, circuit 3, " or "board 1, ".
pub fn board_and_circuit(step: &Step) -> String {
    match step.circuit {
        Some(circuit) => format!("board {}, circuit {circuit}, ", board_said(step.board)),
        None => format!("board {}, ", board_said(step.board)),
    }
}
