use super::Procedure;
use crate::installation::{Board, Circuit};
use crate::quantity::{Pair, Unit};
use crate::sequence::facts::{Ask, Measure, Quantity, Step, StepId, StepKind};
use crate::terms::{Place, Statement};

/// Makes the steps of one procedure on one board or circuit.
#[derive(Debug, Clone, Copy)]
pub struct StepBuilder<'a> {
    procedure: &'a dyn Procedure,
    board: u16,
    circuit: Option<u16>,
    rule: &'static str,
}

impl<'a> StepBuilder<'a> {
    /// For a circuit, or the whole board, whose answers are heard with `rule`.
    pub fn new(
        procedure: &'a dyn Procedure,
        board: &Board,
        circuit: Option<&Circuit>,
        rule: &'static str,
    ) -> Self {
        Self {
            procedure,
            board: board.number,
            circuit: circuit.map(|circuit| circuit.number),
            rule,
        }
    }

    /// A step, whatever answers it.
    pub fn step(&self, tail: impl Into<String>, kind: StepKind, ask: Ask) -> Step {
        let stage = self.procedure.stage();
        Step {
            id: StepId {
                board: self.board,
                circuit: self.circuit,
                stage,
                tail: tail.into(),
            },
            order: 0,
            procedure: self.procedure.id(),
            kind,
            stage,
            board: self.board,
            circuit: self.circuit,
            place: None,
            pair: match ask {
                Ask::Reading(measure) => measure.pair,
                _ => None,
            },
            conductor: None,
            ask,
            rule: self.rule,
            incoming: false,
        }
    }

    /// A step answered by one statement.
    pub fn statement(&self, tail: impl Into<String>, kind: StepKind, wanted: &[Statement]) -> Step {
        self.step(tail, kind, Ask::Statement(wanted.to_vec()))
    }

    /// A step answered by a reading.
    pub fn reading(&self, tail: impl Into<String>, kind: StepKind, measure: Measure) -> Step {
        self.step(tail, kind, Ask::Reading(measure))
    }

    /// A step that is closed by what happens elsewhere.
    pub fn event(&self, tail: impl Into<String>, kind: StepKind) -> Step {
        self.step(tail, kind, Ask::Event)
    }
}

impl Measure {
    /// A reading in `unit`.
    pub fn of(quantity: Quantity, unit: Unit) -> Self {
        Self {
            quantity,
            pair: None,
            at: None,
            half: None,
            unit,
        }
    }

    /// The same between two conductors.
    #[must_use]
    pub fn between(self, pair: Pair) -> Self {
        Self {
            pair: Some(pair),
            ..self
        }
    }
}

impl Step {
    /// The same at a place.
    #[must_use]
    pub fn at(self, place: impl Into<Option<Place>>) -> Self {
        Self {
            place: place.into(),
            ..self
        }
    }
}
