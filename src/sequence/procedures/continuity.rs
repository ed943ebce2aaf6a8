use super::{Maker, Procedure, measure};
use crate::installation::{Board, Circuit, CircuitKind, Job, Phases, SystemVoltage};
use crate::quantity::{Conductors, Pair, Reading, Unit};
use crate::sequence::event::Bar;
use crate::sequence::judging;
use crate::sequence::plan::{Ask, Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::speak;
use crate::sequence::state::{State, place_of};
use crate::terms::{Part, Place, Stage};

/// Continuity of protective conductors of radial circuits by R1+R2: line and cpc linked at the
/// board, read at every point, which checks polarity there too. BS 7671 643.2, IET Guidance
/// Note 3 method 1.
#[derive(Debug)]
pub struct Continuity;

const LINK: &str = "link";
const UNLINK: &str = "unlink";
const LONG_LEAD: &str = "R2";

/// The conductors linked at the board for the test.
const LINE_AND_EARTH: Conductors = Conductors::L.with(Conductors::E);

impl Procedure for Continuity {
    fn stage(&self) -> Stage {
        Stage::Continuity
    }

    fn circuit_steps(&self, _job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        let no_cpc = matches!(circuit.system, SystemVoltage::Selv);
        if circuit.kind == CircuitKind::Ring || no_cpc {
            return Vec::new();
        }
        let make = Maker::circuit(&Continuity, board, circuit, "continuity");
        let name = format!("Circuit {}, {}", circuit.number, circuit.name);
        let mut steps = vec![make.step(
            LINK,
            "continuity-link",
            Ask::Event,
            format!(
                "{name}. Link line and earth at the board, and say linked with what and where."
            ),
            format!("{name}. Line and earth linked at the board?"),
        )];
        for place in places(circuit) {
            for (pair, line) in lines(circuit) {
                let step = make.reading(
                    &format!("{place}/{pair}"),
                    "continuity-point",
                    measure(Quantity::R1R2, Some(*pair), Unit::Ohm),
                    format!(
                        "{}{line}. R one plus R two, line to earth there. Say the reading.",
                        speak::capital(&place.to_string())
                    ),
                    format!("{}{line}.", speak::capital(&place.to_string())),
                );
                steps.push(super::at(step, place.clone()));
            }
            let by_long_lead = make.reading(
                &format!("{place}/{LONG_LEAD}"),
                "continuity-point",
                measure(Quantity::R2, None, Unit::Ohm),
                "",
                "",
            );
            steps.push(super::at(by_long_lead, place.clone()));
        }
        steps.push(make.step(
            UNLINK,
            "continuity-unlink",
            Ask::Event,
            "Take the link off at the board, and say unlinked.".to_owned(),
            "Link off, and say unlinked.".to_owned(),
        ));
        steps
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        let Some(circuit) = step.circuit else {
            return false;
        };
        let linked = linked(state, step.board, circuit);
        let waiting = |step: &Step| state.waits(step);
        let points_open = || {
            state.plan().on(step.board, step.circuit).any(|other| {
                other.stage == Stage::Continuity
                    && other.ask != Ask::Event
                    && name(other) != LONG_LEAD
                    && waiting(other)
                    && !read_by_long_lead(state, other)
            })
        };
        match name(step) {
            LINK => !linked && (waiting(step) && points_open() || again_with_link(state, step)),
            UNLINK => linked && !points_open(),
            // Taken when the person names R2 as what was read; never asked for.
            LONG_LEAD => false,
            _ => waiting(step) && !read_by_long_lead(state, step),
        }
    }

    /// R1+R2 is read with line and earth linked at the board, and said to be.
    fn guard(&self, state: &State, step: &Step) -> Result<(), Bar> {
        let through_the_link = step.measure().is_some_and(|m| m.quantity == Quantity::R1R2);
        match step.circuit {
            Some(circuit) if through_the_link && !linked(state, step.board, circuit) => {
                Err(Bar::FirstComes {
                    what: "line and earth linked at the board.".to_owned(),
                })
            }
            _ => Ok(()),
        }
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::continuity(state, step, reading)
    }
}

/// Whether the point was read with a long lead instead: IET Guidance Note 3 method 2.
fn read_by_long_lead(state: &State, step: &Step) -> bool {
    state.plan().on(step.board, step.circuit).any(|other| {
        other.place == step.place
            && other.measure().is_some_and(|m| m.quantity == Quantity::R2)
            && state.result(&other.id).is_some()
    })
}

/// Whether a point of the circuit is to be read again, with the link that is off by now.
fn again_with_link(state: &State, step: &Step) -> bool {
    state.asked_again().is_some_and(|again| {
        (again.board, again.circuit, again.stage) == (step.board, step.circuit, step.stage)
            && again
                .measure()
                .is_some_and(|m| m.quantity == Quantity::R1R2)
    })
}

fn name(step: &Step) -> &str {
    step.id.0.rsplit('/').next().unwrap_or_default()
}

fn linked(state: &State, board: u16, circuit: u16) -> bool {
    state.open_on(board, circuit).any(|entry| {
        entry.linked
            && matches!(entry.part, Part::Conductors(c) if c.contains(Conductors::E) && c.count() > 1)
    }) || state.linked(board, circuit, LINE_AND_EARTH)
}

/// Every point, or the far end when the job lists none.
fn places(circuit: &Circuit) -> Vec<Place> {
    if circuit.points.is_empty() {
        vec![Place {
            name: "far end".to_owned(),
            number: None,
        }]
    } else {
        circuit.points.iter().map(place_of).collect()
    }
}

fn lines(circuit: &Circuit) -> &'static [(Pair, &'static str)] {
    const SINGLE: &[(Pair, &str)] = &[(Pair::LE, "")];
    const THREE: &[(Pair, &str)] = &[
        (Pair::THREE_PHASE[6], ", line one"),
        (Pair::THREE_PHASE[7], ", line two"),
        (Pair::THREE_PHASE[8], ", line three"),
    ];
    match circuit.phases {
        Phases::Single => SINGLE,
        Phases::Three => THREE,
    }
}
