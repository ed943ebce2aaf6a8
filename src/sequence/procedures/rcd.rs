use super::{Maker, Procedure};
use crate::installation::{Board, Circuit, Job, RcdTest};
use crate::quantity::{Reading, Unit};
use crate::sequence::judging;
use crate::sequence::plan::{Measure, Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::speak::Line;
use crate::sequence::state::State;
use crate::terms::{HalfCycle, Stage, Statement};

/// RCDs: no trip at half the rated current, the time at the rated current on both half-cycles
/// with an alternating current, whatever the type, and at five times it, as the job file asks;
/// then the test button. BS 7671:2018+A2:2022 643.7.1 and
/// 643.8.
#[derive(Debug)]
pub struct RcdTimes;

impl Procedure for RcdTimes {
    fn stage(&self) -> Stage {
        Stage::Rcd
    }

    fn circuit_steps(&self, _job: &Job, board: &Board, circuit: &Circuit) -> Vec<Step> {
        let Some(rcd) = &circuit.rcd else {
            return Vec::new();
        };
        let make = Maker::circuit(&RcdTimes, board, circuit, "rcd");
        let name = format!("Circuit {}, {} milliamp RCD", circuit.number, rcd.milliamps);
        let timed = |quantity, half| Measure {
            quantity,
            pair: None,
            at: None,
            half,
            unit: Unit::MilliSecond,
        };
        let mut steps = Vec::new();
        if rcd.tests.contains(&RcdTest::Half) {
            steps.push(make.reading(
                "half",
                "rcd-half",
                timed(Quantity::RcdHalf, None),
                format!("{name}. Half the rated current. Say no trip, or tripped."),
                format!("{name}, half. No trip?"),
            ));
        }
        let halves = [
            (HalfCycle::Positive, "positive"),
            (HalfCycle::Negative, "negative"),
        ];
        if rcd.tests.contains(&RcdTest::Once) {
            steps.extend(halves.map(|(half, word)| {
                make.reading(
                    &format!("rated/{word}"),
                    "rcd-rated",
                    timed(Quantity::RcdTime, Some(half)),
                    format!("{name}. Rated current, {word} half-cycle. Say the milliseconds."),
                    format!("Rated, {word} half."),
                )
            }));
        }
        if rcd.tests.contains(&RcdTest::Five) {
            steps.extend(halves.map(|(half, word)| {
                make.reading(
                    &format!("five/{word}"),
                    "rcd-five",
                    timed(Quantity::RcdFiveTimes, Some(half)),
                    format!(
                        "Five times the rated current, {word} half-cycle. Say the milliseconds."
                    ),
                    format!("Five times, {word} half."),
                )
            }));
        }
        steps.push(make.statement(
            "button",
            "rcd-button",
            &[Statement::Tripped, Statement::NoTrip],
            format!(
                "Circuit {}. Press the test button. Say tripped, or no trip.",
                circuit.number
            ),
            format!("Circuit {}, test button.", circuit.number),
        ));
        steps
    }

    fn judge(&self, state: &State, step: &Step, reading: &Reading) -> Judged {
        judging::rcd(state, step, reading)
    }

    fn instead_of_reading(&self, step: &Step) -> &'static [Statement] {
        match step.measure().map(|m| m.quantity) {
            Some(Quantity::RcdHalf) => &[Statement::NoTrip, Statement::Tripped],
            _ => &[Statement::NoTrip],
        }
    }

    fn after_statement(&self, _state: &State, step: &Step, statement: Statement) -> Vec<Line> {
        let half = step.like == "rcd-half";
        let wrong = match statement {
            Statement::Tripped => half,
            Statement::NoTrip => !half,
            _ => false,
        };
        if wrong {
            vec![Line::warning(
                "It should not do that. It stands as an exception.",
            )]
        } else {
            Vec::new()
        }
    }

    fn done_will_do(&self) -> bool {
        false
    }
}
