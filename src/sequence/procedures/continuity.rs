use super::{Assessment, Procedure, StepBuilder, assess};
use crate::installation::{Board, Circuit, CircuitKind, Job, Phases, SystemVoltage};
use crate::quantity::{Conductors, Pair, Reading, Unit};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{
    Beside, Column, Edition, Measure, Order, ProcedureId, Quantity, Refusal, ShownWhen, Step,
    StepKind, Worst,
};
use crate::sequence::state::{State, place_of};
use crate::terms::{Part, Place, Stage};

/// Continuity of protective conductors of radial circuits by R1+R2: line and cpc linked at the
/// board, read at every point, which checks polarity there too. BS 7671 643.2, IET Guidance
/// Note 3 method 1.
#[derive(Debug)]
pub(super) struct Continuity;

/// The conductors linked at the board for the test.
const LINE_AND_EARTH: Conductors = Conductors::L.with(Conductors::E);

/// R1+R2, also of a ring with line and cpc crossed.
pub(super) static R1_R2: Column = Column {
    key: "r1_r2",
    csv: "R1+R2 ohm",
    group: "Continuity Ω",
    head: "R₁+R₂",
    worst: Worst::Highest,
    shown: ShownWhen::Always,
    beside: Beside::Nothing,
};
static R2: Column = Column {
    key: "r2",
    csv: "R2 ohm",
    group: "Continuity Ω",
    head: "R₂",
    worst: Worst::Highest,
    shown: ShownWhen::Planned,
    beside: Beside::Nothing,
};

static COLUMNS: [&Column; 2] = [&R1_R2, &R2];

impl Procedure for Continuity {
    fn id(&self) -> ProcedureId {
        ProcedureId("continuity")
    }

    fn stage(&self) -> Stage {
        Stage::Continuity
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        circuit: Option<&Circuit>,
        _edition: Edition,
    ) -> Vec<Step> {
        let Some(circuit) = circuit else {
            return Vec::new();
        };
        let no_cpc = matches!(circuit.system, SystemVoltage::Selv);
        if circuit.kind == CircuitKind::Ring || no_cpc {
            return Vec::new();
        }
        let build = StepBuilder::new(self, board, Some(circuit), "continuity");
        let mut steps = vec![build.event("link", StepKind::ContinuityLink)];
        for place in places(circuit) {
            steps.extend(lines(circuit).iter().map(|pair| {
                let measure = Measure::of(Quantity::R1R2, Unit::Ohm).between(*pair);
                build
                    .reading(
                        format!("{place}/{pair}"),
                        StepKind::ContinuityPoint,
                        measure,
                    )
                    .at(place.clone())
            }));
            let by_long_lead = Measure::of(Quantity::R2, Unit::Ohm);
            steps.push(
                build
                    .reading(
                        format!("{place}/R2"),
                        StepKind::ContinuityPoint,
                        by_long_lead,
                    )
                    .at(place),
            );
        }
        steps.push(build.event("unlink", StepKind::ContinuityUnlink));
        steps
    }

    fn orders(&self, _state: &State, step: &Step) -> Vec<Order> {
        match step.kind {
            StepKind::ContinuityLink => vec![Order::linked(LINE_AND_EARTH)],
            _ => Vec::new(),
        }
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let Some(circuit) = step.circuit else {
            return false;
        };
        let linked = linked(state, step.board, circuit);
        let points_open = || {
            state
                .plan()
                .beside(step)
                .any(|other| other.measures(Quantity::R1R2) && point_is_open(state, other))
        };
        match step.kind {
            StepKind::ContinuityLink => {
                !linked && (state.waits(step) && points_open() || again_with_link(state, step))
            }
            StepKind::ContinuityUnlink => linked && !points_open(),
            // Taken when the person names R2 as what was read; never asked for.
            _ if step.measures(Quantity::R2) => false,
            _ => point_is_open(state, step),
        }
    }

    /// R1+R2 is read with line and earth linked at the board, and said to be.
    fn guard(&self, state: &State, step: &Step) -> Result<(), Refusal> {
        match step.circuit {
            Some(circuit)
                if step.measures(Quantity::R1R2) && !linked(state, step.board, circuit) =>
            {
                let mut link = state.plan().beside(step);
                match link.find(|other| other.kind == StepKind::ContinuityLink) {
                    Some(link) if !breakage::is(Break::ReadUnlinked) => {
                        Err(Refusal::first_comes(&link.id))
                    }
                    _ => Ok(()),
                }
            }
            _ => Ok(()),
        }
    }

    fn assess(&self, state: &State, step: &Step, reading: &Reading) -> Assessment {
        assess::continuity(state, step, reading)
    }

    fn column(&self, step: &Step) -> Option<&'static Column> {
        match step.measure()?.quantity {
            Quantity::R2 => Some(&R2),
            _ => Some(&R1_R2),
        }
    }

    fn columns(&self) -> &'static [&'static Column] {
        &COLUMNS
    }
}

fn point_is_open(state: &State, step: &Step) -> bool {
    state.waits(step) && !read_by_long_lead(state, step)
}

/// Whether the point was read with a long lead instead: IET Guidance Note 3 method 2.
fn read_by_long_lead(state: &State, step: &Step) -> bool {
    state.plan().beside(step).any(|other| {
        other.place == step.place && other.measures(Quantity::R2) && state.result(other).is_some()
    })
}

/// Whether a point of the circuit is to be read again, with the link that is off by now.
fn again_with_link(state: &State, step: &Step) -> bool {
    state
        .asked_again()
        .is_some_and(|again| again.beside(step) && again.measures(Quantity::R1R2))
}

/// Whether a line and earth are linked.
fn linked(state: &State, board: u16, circuit: u16) -> bool {
    let lines = [
        Conductors::L,
        Conductors::L1,
        Conductors::L2,
        Conductors::L3,
    ];
    state.sure_on(board, circuit).any(|entry| {
        entry.linked
            && matches!(entry.part, Part::Conductors(c)
                if c.contains(Conductors::E) && lines.into_iter().any(|line| c.contains(line)))
    }) || state.linked(board, circuit, LINE_AND_EARTH)
}

/// Every point, or the far end when the job lists none.
fn places(circuit: &Circuit) -> Vec<Place> {
    if circuit.points.is_empty() {
        vec![Circuit::far_end()]
    } else {
        circuit.points.iter().map(place_of).collect()
    }
}

fn lines(circuit: &Circuit) -> &'static [Pair] {
    match circuit.phases {
        Phases::Single => &[Pair::LE],
        Phases::Three => &Pair::LINES_TO_EARTH,
    }
}
