//! Prospective fault current at a board.

use super::{arrow, typed};
use crate::limits::words::{Said, Words, said};
use crate::limits::{Finding, Outcome, Phases, Tables, Verdict};
use crate::quantity::{Amps, Conductors, KiloAmps, Ohms, Pair, Reading, Truth, Volts, measure};

/// A current to earth under so much of what U0 ÷ Ze gives is asked about, and one over so many times
/// that. Two instruments at one terminal agree far better; with earthing and bonds in place, as the
/// current is read and Ze is not, parallel paths let more flow, but never less. Common practice.
const LEAST_OF_ZE: f64 = 0.75;
const MOST_OF_ZE: f64 = 4.0;

/// A verdict on a current to earth, with what Ze as it was measured says of it: U0 ÷ Ze.
pub fn beside_ze(u0: Volts, ze: &Reading, current: &Reading, verdict: Verdict) -> Verdict {
    let (Ok(ze), Ok(read)) = (
        Ohms::from_reading(ze, None),
        KiloAmps::from_reading(current, None),
    ) else {
        return verdict;
    };
    if ze.low() <= 0.0 || ze.is_unbounded() || read.is_unbounded() {
        return verdict;
    }
    let gives: Amps = u0 / ze;
    let gives = KiloAmps::between(gives.low() / 1000.0, gives.high() / 1000.0);
    if read.high() < gives.low() * LEAST_OF_ZE {
        verdict.found(
            Finding::LowerThanZeGives,
            said!(LowerThanZeGives, ze, gives),
        )
    } else if read.low() > gives.high() * MOST_OF_ZE {
        verdict.found(
            Finding::HigherThanZeGives,
            said!(HigherThanZeGives, ze, gives),
        )
    } else {
        verdict
    }
}

/// The largest prospective fault current at a board against the smallest rated breaking capacity
/// of its devices.
///
/// `readings` are line to neutral, line to earth, and between lines where measured. On three
/// phases without a reading between lines the line to neutral value counts twice.
pub fn fault_current(
    tables: &Tables,
    supply_phases: Phases,
    breaking: Option<KiloAmps>,
    readings: &[(Pair, Reading)],
) -> Verdict {
    let clause = &tables.fault_current.clause;
    let text = match breaking {
        Some(capacity) => said!(SmallestCapacity, capacity),
        None => said!(RatedCapacity),
    };
    let mut values = Vec::new();
    for (pair, reading) in readings {
        match typed::<measure::KiloAmp>(tables, reading, None, &text, clause) {
            Ok(value) => values.push((*pair, value)),
            Err(verdict) => return *verdict,
        }
    }
    let between_lines = |p: &Pair| !p.to_earth() && p.to() != Conductors::N;
    let mut shown: Vec<Said> = values.iter().map(|(p, v)| said!(PairReads, p, v)).collect();
    let mut largest: Option<KiloAmps> = None;
    let mut count = |v: KiloAmps| {
        largest = Some(largest.map_or(v, |l| {
            KiloAmps::between(l.low().max(v.low()), l.high().max(v.high()))
        }));
    };
    let all_measured = values.iter().any(|(p, _)| between_lines(p));
    for (pair, value) in &values {
        count(*value);
        let to_neutral = pair.to() == Conductors::N;
        if supply_phases == Phases::Three && !all_measured && to_neutral {
            let factor = tables.fault_current.three_phase_factor;
            let doubled = value.times(factor);
            shown.push(said!(ThreePhase, factor, value.shown(), doubled));
            count(doubled);
        }
    }
    let Some(largest) = largest else {
        return Verdict::new(tables, Outcome::CannotSay, text, clause, said!(NothingRead));
    };
    let Some(capacity) = breaking else {
        return Verdict::new(
            tables,
            Outcome::CannotSay,
            text,
            clause,
            said!(Largest, Said::several(Words::List, shown), largest),
        )
        .remarked(said!(NoCapacity));
    };
    let holds = largest.is_at_most(capacity);
    let verdict = Verdict::new(
        tables,
        holds.into(),
        text,
        clause,
        Said::several(Words::List, shown).and(Words::Sums, arrow(holds, largest, capacity)),
    );
    match holds {
        Truth::No => verdict.remarked(said!(AboveCapacity)),
        Truth::Yes | Truth::CannotSay => verdict,
    }
}
