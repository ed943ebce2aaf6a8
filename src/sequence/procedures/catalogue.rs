use super::table::{self, Row};
use super::{
    Procedure, continuity::Continuity, energise::Energise, external_loop::ExternalLoop,
    instruments::Instruments, insulation::Insulation, isolation::Isolation, put_back::PutBack,
};
use crate::installation::Job;
use crate::sequence::facts::{Column, Edition, Plan, ProcedureId, Step};
use std::sync::{Arc, LazyLock};

/// When in the job of a board a procedure comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slot {
    /// Before the circuits of a board are tested.
    BeforeCircuits,
    /// On each circuit, dead, in the order of BS 7671 643.2 to 643.6, and put back before the next.
    DeadOnCircuit,
    /// On all circuits of a board together, dead.
    DeadOnBoard,
    /// From the last dead test to the first live test of a circuit.
    Between,
    /// On each circuit, live.
    LiveOnCircuit,
    /// After the circuits of a board.
    AfterCircuits,
}

impl Slot {
    const ALL: [Self; 6] = [
        Self::BeforeCircuits,
        Self::DeadOnCircuit,
        Self::DeadOnBoard,
        Self::Between,
        Self::LiveOnCircuit,
        Self::AfterCircuits,
    ];

    fn is_by_circuit(self) -> bool {
        matches!(self, Self::DeadOnCircuit | Self::LiveOnCircuit)
    }
}

/// All procedures, in the order in which they come.
#[derive(Debug, Clone)]
pub struct Catalogue(Vec<(Slot, &'static dyn Procedure)>);

static SHIPPED: LazyLock<Arc<Catalogue>> = LazyLock::new(|| {
    let row = |row: &'static Row| row as &'static dyn Procedure;
    Arc::new(Catalogue(vec![
        (Slot::BeforeCircuits, &Isolation),
        (Slot::BeforeCircuits, &Instruments),
        (Slot::BeforeCircuits, row(&table::BONDING)),
        (Slot::DeadOnCircuit, &Continuity),
        (Slot::DeadOnCircuit, row(&table::RING)),
        (Slot::DeadOnCircuit, &Insulation),
        (Slot::DeadOnCircuit, row(&table::POLARITY)),
        (Slot::DeadOnCircuit, &PutBack),
        (Slot::DeadOnBoard, &Insulation),
        (Slot::Between, &PutBack),
        (Slot::Between, &Energise),
        (Slot::Between, row(&table::SUPPLY_POLARITY)),
        (Slot::Between, &ExternalLoop),
        (Slot::Between, row(&table::FAULT_CURRENT)),
        (Slot::LiveOnCircuit, row(&table::LOOP_IMPEDANCE)),
        (Slot::LiveOnCircuit, row(&table::RCD)),
        (Slot::AfterCircuits, row(&table::PHASE_SEQUENCE)),
        (Slot::AfterCircuits, row(&table::FUNCTIONAL)),
        (Slot::AfterCircuits, row(&table::HANDOVER)),
    ]))
});

impl Catalogue {
    /// The procedures that ship.
    pub fn shipped() -> Arc<Self> {
        Arc::clone(&SHIPPED)
    }

    /// The same with one more, after the others of its slot.
    #[must_use]
    pub fn with(&self, slot: Slot, procedure: &'static dyn Procedure) -> Self {
        let mut all = self.0.clone();
        let after = all.partition_point(|(other, _)| *other <= slot);
        all.insert(after, (slot, procedure));
        Self(all)
    }

    /// The procedure with this name. Every step's procedure is in the catalogue that planned it;
    /// for any other name, the first one.
    pub fn get(&self, id: ProcedureId) -> &'static dyn Procedure {
        self.all()
            .find(|procedure| procedure.id() == id)
            .unwrap_or(&Isolation)
    }

    /// Every procedure, each once, in the order in which they first come.
    pub fn all(&self) -> impl Iterator<Item = &'static dyn Procedure> {
        self.0.iter().enumerate().filter_map(|(n, (_, procedure))| {
            let first = self.0.iter().position(|(_, p)| p.id() == procedure.id());
            (first == Some(n)).then_some(*procedure)
        })
    }

    /// The columns of the schedule, in their order.
    pub fn columns(&self) -> Vec<&'static Column> {
        self.all()
            .flat_map(|procedure| procedure.columns().iter().copied())
            .collect()
    }

    /// Plans a job: board by board, isolation to energising; within a board the circuits one by
    /// one through the dead tests in the order of BS 7671 643.2 to 643.6; then the live tests.
    pub fn plan(&self, job: &Job, edition: Edition) -> Plan {
        match edition {
            Edition::First => Plan::ordered(self.steps(job)),
        }
    }

    fn steps(&self, job: &Job) -> Vec<Step> {
        let mut steps = Vec::new();
        for board in &job.boards {
            let mut own: Vec<Step> = Vec::new();
            for slot in Slot::ALL {
                let here = || self.0.iter().filter(|(s, _)| *s == slot).map(|(_, p)| *p);
                if slot.is_by_circuit() {
                    for circuit in &board.circuits {
                        own.extend(here().flat_map(|p| p.plan(job, board, Some(circuit))));
                    }
                } else {
                    own.extend(here().flat_map(|p| p.plan(job, board, None)));
                }
            }
            if let Some(wanted) = &job.tests {
                own.retain(|step| {
                    wanted.contains(&step.stage) || !(step.is_dead_test() || step.is_live_test())
                });
            }
            steps.extend(own);
        }
        steps
    }
}
