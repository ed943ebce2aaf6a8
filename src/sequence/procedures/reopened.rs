use super::table::{ZS, is_extra_low};
use super::{Answers, Assessment, Procedure, StepBuilder, assess};
use crate::installation::{Board, Circuit, Job};
use crate::quantity::{Pair, Reading, Unit};
use crate::sequence::facts::{
    Column, Edition, EventNo, Measure, ProcedureId, Quantity, Step, StepKind,
};
use crate::sequence::state::{OutEntry, State, place_of};
use crate::terms::{Part, Place, Stage, Statement};

/// Live, before any other test of the circuits: polarity and loop at every outlet that was opened.
/// A conductor that was left out shows there. Common practice; BS 7671 643.6 and 643.7.3 for the
/// tests themselves.
#[derive(Debug)]
pub(super) struct Reopened;

impl Procedure for Reopened {
    fn id(&self) -> ProcedureId {
        ProcedureId("reopened")
    }

    fn stage(&self) -> Stage {
        Stage::LoopImpedance
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        edition: Edition,
    ) -> Vec<Step> {
        let wanted = |c: &&Circuit| edition > Edition::First && !is_extra_low(c);
        let Some(circuit) = circuit.filter(wanted) else {
            return Vec::new();
        };
        let build = StepBuilder::new(self, board, Some(circuit), "loop");
        let either = [Statement::PolarityCorrect, Statement::PolarityReversed];
        circuit
            .points
            .iter()
            .map(place_of)
            .flat_map(|place| {
                let polarity = format!("reopened/{place}/polarity");
                let measure = Measure::of(Quantity::LoopImpedance, Unit::Ohm).between(Pair::LE);
                [
                    build
                        .statement(polarity, StepKind::ReopenedPolarity, &either)
                        .at(place.clone()),
                    build
                        .reading(format!("reopened/{place}"), StepKind::ReopenedLoop, measure)
                        .at(place),
                ]
            })
            .collect()
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let opened = || {
            step.circuit.is_some_and(|circuit| {
                reopened(state, step.board, circuit)
                    .iter()
                    .any(|place| Some(place) == step.place.as_ref())
            })
        };
        state.waits(step) && opened()
    }

    fn assess(&self, state: &State, step: &Step, reading: &Reading) -> Assessment {
        assess::loop_impedance(state, step, reading)
    }

    fn answers(&self, _step: &Step) -> Answers {
        Answers {
            may_be_left_out: true,
            ..Answers::default()
        }
    }

    fn column(&self, step: &Step) -> Option<&'static Column> {
        (step.kind == StepKind::ReopenedLoop).then_some(&ZS)
    }

    fn label(&self, step: &Step) -> Option<String> {
        (step.kind == StepKind::ReopenedPolarity)
            .then(|| "polarity at an outlet that was opened".to_owned())
    }
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
    let at_board = Place::board();
    state.out_list().iter().filter(move |entry| {
        (entry.board, entry.circuit) == (board, Some(circuit))
            && entry.back.is_some()
            && !entry.withdrawn
            && !entry.linked
            && entry.place.as_ref() != Some(&at_board)
            && matches!(
                entry.part,
                Part::Accessory | Part::Conductors(_) | Part::Load | Part::FunctionalEarth
            )
    })
}
