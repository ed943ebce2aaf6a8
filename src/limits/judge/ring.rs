//! A ring final circuit: each end, each point, and the whole.

use super::continuity::{TakenAt, beside_expected};
use super::{continuity, look_unless};
use crate::limits::conductor::{self, Through};
use crate::limits::ring::{self as ring_limits, CrossedPair, Ends, Leg, PointReading};
use crate::limits::words::{Said, Words, said};
use crate::limits::{CableRun, CircuitFacts, Finding, Outcome, Tables, Verdict};
use crate::quantity::{Ohms, Reading, Truth, measure};

/// r1, rn or r2: one conductor of a ring, end to end. `line` is r1, already read, that rn and r2
/// are compared with.
pub fn ring_end(
    tables: &Tables,
    facts: &CircuitFacts,
    leg: Leg,
    reading: &Reading,
    line: Option<&Reading>,
) -> Verdict {
    let clause = &tables.ring.clause;
    let (symbol, through) = match leg {
        Leg::Line => ("r1", Through::Line),
        Leg::Neutral => ("rn", Through::Line),
        Leg::Cpc => ("r2", Through::Cpc),
    };
    let limit = said!(EndToEnd, symbol);
    let value = match continuity(tables, reading, &limit, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    if value.is_unbounded() {
        let verdict = Verdict::new(tables, Outcome::Fail, limit, clause, said!(Read, value));
        let fault = ring_limits::RingFault::OpenLeg { legs: vec![leg] };
        return verdict.found(Finding::Open, fault.said());
    }
    let r1 = line.and_then(|r| Ohms::from_reading(r, None).ok());
    let verdict = match (leg, r1, &facts.cable) {
        (Leg::Neutral, Some(r1), _) => neutral_beside_line(tables, value, r1),
        (Leg::Cpc, Some(r1), Some(run)) => match ring_limits::cpc_beside_line(tables, run, r1) {
            Some(bounds) => cpc_beside_line(tables, run, value, r1, bounds),
            None => Verdict::new(tables, Outcome::Pass, limit, clause, said!(Read, value)),
        },
        _ => Verdict::new(tables, Outcome::Pass, limit, clause, said!(Read, value)),
    };
    let place = TakenAt::Furthest;
    beside_expected(tables, facts, place, through, 1.0, value, verdict)
}

fn neutral_beside_line(tables: &Tables, rn: Ohms, r1: Ohms) -> Verdict {
    let within = Ohms::exact(tables.ring.within_ohms);
    let alike = rn.is_within(r1.widened(within));
    let verdict = Verdict::new(
        tables,
        look_unless(alike),
        said!(RnWithin, within),
        &tables.ring.clause,
        said!(RnBeside, rn, r1),
    );
    if alike != Truth::No {
        return verdict;
    }
    let higher = if rn.low() > r1.high() {
        Leg::Neutral
    } else {
        Leg::Line
    };
    let fault = ring_limits::RingFault::UnequalLegs { higher };
    verdict.found(Finding::RingFault, fault.said())
}

fn cpc_beside_line(
    tables: &Tables,
    run: &CableRun,
    r2: Ohms,
    r1: Ohms,
    (expected, tolerated): (Ohms, Ohms),
) -> Verdict {
    let holds = r2.is_within(tolerated);
    let verdict = Verdict::new(
        tables,
        look_unless(holds),
        said!(R2Near, run.line.shown(), run.cpc.shown()),
        &tables.ring.clause,
        said!(R2Beside, r2, r1, expected, tolerated),
    );
    if holds != Truth::No {
        return verdict;
    }
    let higher = r2.low() > expected.high();
    let fault = ring_limits::RingFault::CpcRatio { higher };
    verdict.found(Finding::RingFault, fault.said())
}

/// End-to-end readings as quantities; nothing when one is in another kind of unit.
pub fn ring_ends(
    tables: &Tables,
    line: &Reading,
    neutral: &Reading,
    cpc: &Reading,
) -> Option<Ends> {
    let value = |r| Ohms::from_reading(r, Some(tables.continuity.range_ohms)).ok();
    Some(Ends {
        line: value(line)?,
        neutral: value(neutral)?,
        cpc: value(cpc)?,
    })
}

/// A cross-connected reading at one point of a ring, as the person goes round. The pattern of all
/// of them is read by [`ring`].
pub fn ring_point(
    tables: &Tables,
    facts: &CircuitFacts,
    stage: CrossedPair,
    ends: &Ends,
    reading: &Reading,
    declared_spur: bool,
) -> Verdict {
    let clause = &tables.ring.clause;
    let around = ring_limits::round_the_ring(ends, stage);
    let tolerance = Ohms::exact(tables.ring.point_within_ohms);
    let limit = said!(PointWithin, around, tolerance);
    let value = match continuity(tables, reading, &limit, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let other = match stage {
        CrossedPair::LineNeutral => ("rn", ends.neutral),
        CrossedPair::LineCpc => ("r2", ends.cpc),
    };
    let arithmetic = said!(
        PointSum,
        ends.line.shown(),
        other.0,
        other.1.shown(),
        (ends.line + other.1).times(0.25),
        value
    );
    let made = |outcome| Verdict::new(tables, outcome, limit.clone(), clause, arithmetic.clone());
    if value.is_unbounded() {
        return made(Outcome::Fail).found(Finding::Open, said!(OpenAtPoint));
    }
    match value.is_within(around.widened(tolerance)) {
        Truth::Yes => made(Outcome::Pass),
        Truth::CannotSay => made(Outcome::CannotSay),
        Truth::No if value.high() < around.low() => {
            made(Outcome::CannotSay).found(Finding::RingFault, said!(LowerThanCrossed))
        }
        Truth::No => {
            let length = facts.cable.as_ref().and_then(|run| {
                let line = conductor::line_per_metre(tables, run)?;
                let second = match stage {
                    CrossedPair::LineNeutral => line,
                    CrossedPair::LineCpc => conductor::cpc_per_metre(tables, run)?,
                };
                let (low, high) = value
                    .less(around)
                    .to::<measure::MilliOhm>()
                    .ratio(line + second);
                Some(low + (high - low) / 2.0)
            });
            let long = ring_limits::about(length);
            if declared_spur {
                made(Outcome::Pass).remarked(said!(AsOnASpur, long))
            } else {
                made(Outcome::CannotSay).found(Finding::Spur, said!(ReadsAsOnASpur, long))
            }
        }
    }
}

/// The whole ring, all readings in: the verdict on its R1+R2, with what the pattern looks like as
/// the remark. Take the details from [`ring_limits::diagnose`].
pub fn ring(
    tables: &Tables,
    facts: &CircuitFacts,
    ends: &Ends,
    points: &[PointReading],
) -> Verdict {
    let said = ring_limits::diagnose(tables, facts.cable.as_ref(), ends, points);
    let clause = &tables.ring.clause;
    let sound = said.looks_sound();
    let outcome = match (sound, said.complete) {
        (true, true) => Outcome::Pass,
        _ if said
            .faults
            .iter()
            .any(|f| matches!(f, ring_limits::RingFault::OpenLeg { .. })) =>
        {
            Outcome::Fail
        }
        _ => Outcome::CannotSay,
    };
    let highest = said.r1_r2.map(|r| said!(HighestIs, r));
    let mut verdict = Verdict::new(
        tables,
        outcome,
        said!(SoundRing),
        clause,
        Said::several(
            Words::Sums,
            said.numbers.into_iter().chain(highest).collect(),
        ),
    );
    for fault in &said.faults {
        let words = fault.said();
        verdict = match fault {
            ring_limits::RingFault::Spur { declared: true, .. } => verdict.remarked(words),
            _ => verdict.found(Finding::RingFault, words),
        };
    }
    if sound && !said.complete {
        verdict = verdict.remarked(said!(NotEveryPoint));
    }
    verdict
}
