use super::id::StepId;
use super::step::{Quantity, Step};
use crate::terms::{ItemNumber, Stage};
use std::collections::HashMap;
use std::ops::Range;

/// The ordered steps of a job.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// The steps in order.
    pub steps: Vec<Step>,
    by_id: HashMap<StepId, usize>,
    by_circuit: HashMap<(u16, Option<u16>), Vec<usize>>,
    isolation: HashMap<u16, Vec<usize>>,
    energise: HashMap<u16, Vec<usize>>,
    by_quantity: HashMap<Quantity, Vec<usize>>,
    urgent: Vec<usize>,
    stretches: Vec<Stretch>,
}

/// Steps that follow each other and belong to the same circuit, or to the same whole board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    /// The board's number.
    pub board: u16,
    /// The circuit; none for the whole board.
    pub circuit: Option<u16>,
    /// Orders of its steps.
    pub steps: Range<usize>,
}

impl Plan {
    /// The plan of these steps, in this order.
    pub fn ordered(mut steps: Vec<Step>) -> Self {
        let mut plan = Self::default();
        for (order, step) in steps.iter_mut().enumerate() {
            step.order = order;
            plan.by_id.insert(step.id.clone(), order);
            let place = (step.board, step.circuit);
            plan.by_circuit.entry(place).or_default().push(order);
            match plan.stretches.last_mut() {
                Some(last) if (last.board, last.circuit) == place => last.steps.end = order + 1,
                _ => plan.stretches.push(Stretch {
                    board: step.board,
                    circuit: step.circuit,
                    steps: order..order + 1,
                }),
            }
            if step.kind.is_urgent() {
                plan.urgent.push(order);
            }
            if let Some(measure) = step.measure() {
                let of = plan.by_quantity.entry(measure.quantity).or_default();
                of.push(order);
            }
            match step.stage {
                Stage::Isolation => plan.isolation.entry(step.board).or_default().push(order),
                Stage::Energise => plan.energise.entry(step.board).or_default().push(order),
                _ => {}
            }
        }
        Self { steps, ..plan }
    }

    /// The step with this name.
    pub fn step(&self, id: &StepId) -> Option<&Step> {
        self.steps.get(self.position(id)?)
    }

    /// Where the step stands in the order.
    pub fn position(&self, id: &StepId) -> Option<usize> {
        self.by_id.get(id).copied()
    }

    /// The steps of one circuit, or those of the whole board when none is given.
    pub fn on(&self, board: u16, circuit: Option<u16>) -> impl Iterator<Item = &Step> {
        self.listed(self.by_circuit.get(&(board, circuit)))
    }

    /// The steps on the same circuit or whole board as this one, itself among them.
    pub fn beside(&self, step: &Step) -> impl Iterator<Item = &Step> {
        self.on(step.board, step.circuit)
    }

    /// The steps that ask for one quantity.
    pub fn measuring(&self, quantity: Quantity) -> impl Iterator<Item = &Step> {
        self.listed(self.by_quantity.get(&quantity))
    }

    /// The steps that come before all others while they are open.
    pub fn urgent(&self) -> impl Iterator<Item = &Step> {
        self.listed(Some(&self.urgent))
    }

    /// The steps that isolate a board and prove it dead.
    pub fn isolation(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.listed(self.isolation.get(&board))
    }

    /// The steps that energise a board.
    pub fn energising(&self, board: u16) -> impl Iterator<Item = &Step> {
        self.listed(self.energise.get(&board))
    }

    /// The whole plan in stretches of one circuit or board each.
    pub fn stretches(&self) -> &[Stretch] {
        &self.stretches
    }

    /// The step that is an item of the inspection.
    pub fn item(&self, number: ItemNumber) -> Option<&Step> {
        self.steps.iter().find(|step| step.item() == Some(number))
    }

    /// The steps of a stretch.
    pub fn within(&self, stretch: &Stretch) -> impl Iterator<Item = &Step> {
        self.steps.get(stretch.steps.clone()).into_iter().flatten()
    }

    fn listed<'a>(&'a self, orders: Option<&'a Vec<usize>>) -> impl Iterator<Item = &'a Step> {
        orders
            .into_iter()
            .flatten()
            .filter_map(|order| self.steps.get(*order))
    }
}
