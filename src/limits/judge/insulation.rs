//! Insulation resistance: one reading, and all of a circuit.

use crate::limits::insulation as insulation_limits;
use crate::limits::words::{Said, Words, said};
use crate::limits::{CircuitFacts, Outcome, Tables, Verdict};
use crate::quantity::{MegOhms, Pair, Reading, Truth};

/// One insulation reading against Table 64.
pub fn insulation(tables: &Tables, facts: &CircuitFacts, reading: &Reading) -> Verdict {
    insulation_limits::verdict(tables, reading, facts.system, facts.insulation_range)
}

/// All insulation readings of a circuit: the lowest decides, the pattern explains.
pub fn insulation_pattern(
    tables: &Tables,
    facts: &CircuitFacts,
    readings: &[(Pair, Reading)],
) -> (Verdict, insulation_limits::Pattern) {
    let values: Vec<_> = readings
        .iter()
        .filter_map(|(pair, r)| {
            let value = MegOhms::from_reading(r, facts.insulation_range).ok()?;
            Some((*pair, value))
        })
        .collect();
    let pattern = insulation_limits::pattern(tables, &values, facts.system);
    let limit = MegOhms::exact(tables.insulation_limit(facts.system).megohms);
    let holds: Vec<_> = values.iter().map(|(_, v)| v.is_at_least(limit)).collect();
    let outcome = if holds.contains(&Truth::No) {
        Outcome::Fail
    } else if holds.contains(&Truth::CannotSay)
        || values.len() < readings.len()
        || pattern == insulation_limits::Pattern::Incomplete
    {
        Outcome::CannotSay
    } else {
        Outcome::Pass
    };
    let shown = values.iter().map(|(p, v)| said!(PairReads, p, v)).collect();
    let verdict = Verdict::new(
        tables,
        outcome,
        said!(EveryPair, limit),
        &tables.insulation.clause,
        Said::several(Words::List, shown),
    );
    let verdict = match pattern.finding() {
        Some(finding) => verdict.found(finding, pattern.said()),
        None if outcome == Outcome::Pass => verdict,
        None => verdict.remarked(pattern.said()),
    };
    (verdict, pattern)
}
