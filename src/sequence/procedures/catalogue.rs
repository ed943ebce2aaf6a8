use super::table::{self, Row};
use super::{
    Procedure, continuity::Continuity, energise::Energise, external_loop::ExternalLoop, inspection,
    instruments::Instruments, insulation::Insulation, isolation::Isolation, make_safe,
    put_back::PutBack, reconnected::RECONNECTED, reopened::REOPENED, visit,
};
use crate::installation::{Board, Job};
use crate::sequence::facts::{Column, Edition, Plan, ProcedureId, Step};
use std::sync::{Arc, LazyLock};

/// When in the job of a board a procedure comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slot {
    /// Before anything is isolated.
    AsFound,
    /// Before the circuits of a board are tested.
    BeforeCircuits,
    /// On each circuit, dead, in the order of BS 7671 643.2 to 643.6, and put back before the next.
    DeadOnCircuit,
    /// On all circuits of a board together, dead.
    DeadOnBoard,
    /// At the incoming terminals, with the main switch still locked off, once every dead test of
    /// every board is done.
    Supply,
    /// From the last dead test to the first live test of a circuit.
    Between,
    /// On each circuit, as soon as it is live.
    AtOnceOnCircuit,
    /// On each circuit, live.
    LiveOnCircuit,
    /// After the circuits of a board.
    AfterCircuits,
}

impl Slot {
    fn is_by_circuit(self) -> bool {
        matches!(
            self,
            Self::DeadOnCircuit | Self::AtOnceOnCircuit | Self::LiveOnCircuit
        )
    }
}

/// Slots that each board goes through before the next one begins.
type Round = &'static [Slot];

/// The rounds of the first edition: board by board, from isolation to the last live test.
const FIRST: &[Round] = &[&[
    Slot::BeforeCircuits,
    Slot::DeadOnCircuit,
    Slot::DeadOnBoard,
    Slot::Between,
    Slot::Supply,
    Slot::LiveOnCircuit,
    Slot::AfterCircuits,
]];

/// The rounds of later ones: the dead tests of every board, the supply, then what is live. A board
/// that feeds another makes that live too.
const SECOND: &[Round] = &[
    &[Slot::AsFound],
    &[Slot::BeforeCircuits, Slot::DeadOnCircuit, Slot::DeadOnBoard],
    &[Slot::Supply],
    &[
        Slot::Between,
        Slot::AtOnceOnCircuit,
        Slot::LiveOnCircuit,
        Slot::AfterCircuits,
    ],
];

/// All procedures, in the order in which they come, by edition.
#[derive(Debug, Clone)]
pub struct Catalogue {
    first: Vec<(Slot, &'static dyn Procedure)>,
    second: Vec<(Slot, &'static dyn Procedure)>,
}

static SHIPPED: LazyLock<Arc<Catalogue>> = LazyLock::new(|| {
    let row = |row: &'static Row| row as &'static dyn Procedure;
    let begun: [(Slot, &'static dyn Procedure); 3] = [
        (Slot::BeforeCircuits, &Isolation),
        (Slot::BeforeCircuits, &Instruments),
        (Slot::BeforeCircuits, row(&table::BONDING)),
    ];
    let supply = [
        (Slot::Supply, row(&table::SUPPLY_POLARITY)),
        (Slot::Supply, &ExternalLoop as &'static dyn Procedure),
        (Slot::Supply, row(&table::FAULT_CURRENT)),
    ];
    let live = [
        (Slot::LiveOnCircuit, row(&table::LOOP_IMPEDANCE)),
        (Slot::LiveOnCircuit, row(&table::RCD)),
        (Slot::AfterCircuits, row(&table::RCD_OF_SEVERAL)),
        (Slot::AfterCircuits, row(&table::PHASE_SEQUENCE)),
        (Slot::AfterCircuits, row(&table::FUNCTIONAL)),
        (Slot::AfterCircuits, row(&inspection::INSPECTION_OUTCOME)),
        (Slot::AfterCircuits, row(&table::HANDOVER)),
    ];
    let first: [(Slot, &'static dyn Procedure); 8] = [
        (Slot::DeadOnCircuit, &Continuity),
        (Slot::DeadOnCircuit, row(&table::RING)),
        (Slot::DeadOnCircuit, &Insulation),
        (Slot::DeadOnCircuit, row(&table::POLARITY)),
        (Slot::DeadOnCircuit, &PutBack),
        (Slot::DeadOnBoard, &Insulation),
        (Slot::Between, &PutBack),
        (Slot::Between, &Energise),
    ];
    let second: [(Slot, &'static dyn Procedure); 20] = [
        (Slot::AsFound, row(&inspection::INSPECTION)),
        (Slot::AsFound, row(&visit::ADEQUACY)),
        (Slot::BeforeCircuits, row(&visit::FOUND_LIVE)),
        (Slot::BeforeCircuits, row(&inspection::INSPECTION_INSIDE)),
        (Slot::BeforeCircuits, row(&table::SURGE_OUT_FIRST)),
        (Slot::DeadOnCircuit, row(&make_safe::STAYS_OFF)),
        (Slot::DeadOnCircuit, &Continuity),
        (Slot::DeadOnCircuit, row(&table::RING)),
        (Slot::DeadOnCircuit, row(&visit::NEUTRAL_OUT)),
        (Slot::DeadOnCircuit, &Insulation),
        (Slot::DeadOnCircuit, row(&RECONNECTED)),
        (Slot::DeadOnCircuit, &PutBack),
        (Slot::DeadOnCircuit, row(&table::POLARITY)),
        (Slot::DeadOnBoard, row(&table::SURGE_OUT)),
        (Slot::DeadOnBoard, &Insulation),
        (Slot::Between, &PutBack),
        (Slot::Between, &Energise),
        (Slot::Between, row(&table::FAULT_CURRENT_FURTHER)),
        (Slot::AtOnceOnCircuit, row(&make_safe::MAKE_SAFE)),
        (Slot::AtOnceOnCircuit, row(&REOPENED)),
    ];
    let chain = |middle: &[(Slot, &'static dyn Procedure)]| {
        let all = begun.iter().chain(middle).chain(&supply).chain(&live);
        all.copied().collect()
    };
    Arc::new(Catalogue {
        first: chain(&first),
        second: chain(&second),
    })
});

/// Each round with the boards that go through it together. Circuits of a live board that are isolated by
/// their own devices are done one after another, where the job has a board, or a part of one, for each: one is
/// put back and tested live before the next is isolated, so that no more is off than is worked on. What is looked at as
/// it is found comes before all of that.
fn in_turn<'j>(
    rounds: &'static [Round],
    boards: &'j [Board],
    edition: Edition,
) -> Vec<(&'static Round, &'j [Board])> {
    let (found, rest) = match rounds.split_first() {
        Some((found, rest)) if edition > Edition::First => (Some(found), rest),
        _ => (None, rounds),
    };
    let alone = |board: &Board| board.isolates_circuits() || board.stays_live();
    let together = boards.chunk_by(|one, next| !alone(one) && !alone(next));
    let each = together.flat_map(|boards| rest.iter().map(move |round| (round, boards)));
    found
        .map(|round| (round, boards))
        .into_iter()
        .chain(each)
        .collect()
}

impl Catalogue {
    /// The procedures that ship.
    pub fn shipped() -> Arc<Self> {
        Arc::clone(&SHIPPED)
    }

    /// The same with one more, after the others of its slot.
    #[must_use]
    pub fn with(&self, slot: Slot, procedure: &'static dyn Procedure) -> Self {
        let with = |all: &[(Slot, &'static dyn Procedure)]| {
            let mut all = all.to_vec();
            let after = all.iter().rposition(|(other, _)| *other == slot);
            all.insert(after.map_or(all.len(), |n| n + 1), (slot, procedure));
            all
        };
        Self {
            first: with(&self.first),
            second: with(&self.second),
        }
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
        let every = || self.second.iter().chain(&self.first).map(|(_, p)| *p);
        every().enumerate().filter_map(move |(n, procedure)| {
            let first = every().position(|p| p.id() == procedure.id());
            (first == Some(n)).then_some(procedure)
        })
    }

    /// The columns of the schedule, in their order.
    pub fn columns(&self) -> Vec<&'static Column> {
        self.all()
            .flat_map(|procedure| procedure.columns().iter().copied())
            .collect()
    }

    /// The steps of a job that is begun now.
    pub fn plan_of(job: &Job) -> Plan {
        Self::shipped().plan(job, Edition::NOW)
    }

    /// Plans a job: within a board the circuits one by one through the dead tests in the order of
    /// BS 7671 643.2 to 643.6; then, by the edition, what is live.
    pub fn plan(&self, job: &Job, edition: Edition) -> Plan {
        let (procedures, rounds) = match edition {
            Edition::First => (&self.first, FIRST),
            _ => (&self.second, SECOND),
        };
        let mut steps: Vec<Step> = Vec::new();
        for (round, boards) in in_turn(rounds, &job.boards, edition) {
            for board in boards {
                for slot in *round {
                    let here = || {
                        procedures
                            .iter()
                            .filter(|(s, _)| s == slot)
                            .map(|(_, p)| *p)
                    };
                    let on =
                        |circuit| here().flat_map(move |p| p.plan(job, board, circuit, edition));
                    if slot.is_by_circuit() {
                        steps.extend(board.circuits.iter().flat_map(|c| on(Some(c))));
                    } else {
                        steps.extend(on(None));
                    }
                }
            }
        }
        steps.retain(|step| visit::belongs_to(job, step));
        if let Some(wanted) = &job.tests {
            steps.retain(|step| {
                wanted.contains(&step.stage) || !(step.is_dead_test() || step.is_live_work())
            });
        }
        Plan::ordered(steps)
    }
}
