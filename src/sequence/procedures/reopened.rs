use super::table::{Row, ZS, is_extra_low};
use super::{Answers, assess};
use crate::installation::Phases;
use crate::quantity::{Pair, Unit};
use crate::sequence::facts::{EventNo, Measure, Quantity, Step, StepKind};
use crate::sequence::state::{OutEntry, State, place_of};
use crate::terms::{Place, Stage, Statement};

/// Live, before any other test of the circuits: polarity and loop at every outlet that was opened.
/// A conductor that was left out shows there. Common practice; BS 7671 643.6 and 643.7.3 for the
/// tests themselves.
pub(super) static REOPENED: Row = Row {
    name: "reopened",
    stage: Stage::LoopImpedance,
    rule: "loop",
    plan: |build, scope| {
        let Some(circuit) = scope.circuit.filter(|circuit| !is_extra_low(circuit)) else {
            return Vec::new();
        };
        let either = [Statement::PolarityCorrect, Statement::PolarityReversed];
        let polarity = |place: &Place| {
            let tail = format!("reopened/{place}/polarity");
            build
                .statement(tail, StepKind::ReopenedPolarity, &either)
                .at(place.clone())
        };
        let of_a_line = |place: &Place, tail: String, pair: Pair| {
            let measure = Measure::of(Quantity::LoopImpedance, Unit::Ohm).between(pair);
            build
                .reading(tail, StepKind::ReopenedLoop, measure)
                .at(place.clone())
        };
        let loops = |place: &Place| match circuit.phases {
            Phases::Single => vec![of_a_line(place, format!("reopened/{place}"), Pair::LE)],
            Phases::Three => Pair::LINES_TO_EARTH
                .iter()
                .map(|pair| of_a_line(place, format!("reopened/{place}/{}", pair.from()), *pair))
                .collect(),
        };
        let at_a_point = |place: Place| {
            std::iter::once(polarity(&place))
                .chain(loops(&place))
                .collect::<Vec<_>>()
        };
        let places = circuit.points.iter().map(place_of);
        places.flat_map(at_a_point).collect()
    },
    is_open: |state, step| state.waits(step) && was_opened(state, step),
    answers: |_| Answers {
        may_be_left_out: true,
        ..Answers::default()
    },
    assess: assess::loop_impedance,
    column: |step| (step.kind == StepKind::ReopenedLoop).then_some(&ZS),
    label: |step| {
        (step.kind == StepKind::ReopenedPolarity)
            .then(|| "polarity at an outlet that was opened".to_owned())
    },
    ..Row::PLAIN
};

fn was_opened(state: &State, step: &Step) -> bool {
    step.circuit.is_some_and(|circuit| {
        opened(state, step.board, circuit).any(|entry| entry.place == step.place)
    })
}

/// The places of a circuit where something was taken out and put back, once each.
pub fn reopened(state: &State, board: u16, circuit: u16) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for place in opened(state, board, circuit).filter_map(|entry| entry.place.as_ref()) {
        if !places.contains(place) {
            places.push(place.clone());
        }
    }
    places
}

/// The event that put the last of them back.
pub(super) fn last_reopened(state: &State, board: u16, circuit: u16) -> Option<EventNo> {
    let back = opened(state, board, circuit).filter_map(|entry| entry.back);
    back.map(|(by, _)| by).max()
}

fn opened(state: &State, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
    state.out_list().iter().filter(move |entry| {
        (entry.board, entry.circuit) == (board, Some(circuit))
            && entry.back.is_some()
            && entry.is_equipment()
    })
}
