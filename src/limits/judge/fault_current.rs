//! Prospective fault current at a board.

use super::{arrow, typed};
use crate::limits::words::{Said, Words, said};
use crate::limits::{Outcome, Phases, Tables, Verdict};
use crate::quantity::{Conductors, KiloAmps, Pair, Reading, Truth, measure};

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
