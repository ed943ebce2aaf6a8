use super::{Maker, Procedure, measure};
use crate::installation::{Board, Circuit, CircuitKind, Job};
use crate::quantity::{Conductors, Pair, Reading, Unit};
use crate::sequence::judging;
use crate::sequence::plan::{Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::speak;
use crate::sequence::state::{State, place_of};
use crate::terms::Stage;

/// Continuity of ring final circuit conductors in three stages, BS 7671 643.2.1 and IET Guidance
/// Note 3: end to end; line and neutral cross-connected, read at every outlet; line and cpc
/// cross-connected, read at every outlet.
#[derive(Debug)]
pub struct Ring;

impl Procedure for Ring {
    fn stage(&self) -> Stage {
        Stage::Ring
    }

    fn circuit_steps(&self, _job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        if circuit.kind != CircuitKind::Ring {
            return Vec::new();
        }
        let make = Maker::circuit(&Ring, board, circuit, "ring");
        let name = format!("Circuit {}, {}", circuit.number, circuit.name);
        let mut steps = Vec::new();
        for (symbol, conductor) in [
            ("r1", Conductors::L),
            ("rn", Conductors::N),
            ("r2", Conductors::E),
        ] {
            let spoken = conductor.spoken();
            steps.push(make.reading(
                &format!("end-to-end/{symbol}"),
                "ring-end-to-end",
                measure(Quantity::RingEndToEnd, None, Unit::Ohm),
                format!(
                    "{name}. Ring, both ends out of their terminals. {} end to end.",
                    speak::capital(&spoken)
                ),
                format!("{} end to end.", speak::capital(&spoken)),
            ));
        }
        for (stage, quantity, pair, what) in [
            (
                "crossed-neutral",
                Quantity::RingLineNeutral,
                Pair::LN,
                "line and neutral",
            ),
            (
                "crossed-earth",
                Quantity::RingLineEarth,
                Pair::LE,
                "line and earth",
            ),
        ] {
            for (n, point) in circuit.points.iter().enumerate() {
                let place = place_of(point);
                let spoken = speak::capital(&place.to_string());
                let start = if n == 0 {
                    format!(
                        "Cross-connect {what} at the board: the outgoing end of one to the returning end of the other. "
                    )
                } else {
                    String::new()
                };
                let step = make.reading(
                    &format!("{stage}/{place}"),
                    if quantity == Quantity::RingLineNeutral {
                        "ring-crossed-neutral"
                    } else {
                        "ring-crossed-earth"
                    },
                    measure(quantity, Some(pair), Unit::Ohm),
                    format!("{start}{spoken}, {}.", pair.spoken()),
                    format!("{start}{spoken}."),
                );
                steps.push(super::at(step, place));
            }
        }
        steps
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::ring(state, step, reading)
    }
}
