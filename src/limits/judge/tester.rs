//! Loop and RCD testers on their references.

use crate::limits::words::said;
use crate::limits::{Finding, Outcome, Tables, Verdict};
use crate::quantity::{Reading, Relation, tidy};

/// What an instrument reads on its reference, beside what it should.
pub fn tester(tables: &Tables, reference: &Reading, reading: &Reading) -> Verdict {
    let check = &tables.tester_check;
    let percent = check.percent;
    let text = said!(OnReference, reference, percent);
    let same_kind = reading.unit.is_none() || reading.unit == reference.unit;
    if !same_kind {
        let verdict = Verdict::new(
            tables,
            Outcome::CannotSay,
            text,
            &check.clause,
            said!(Read, reading),
        );
        return verdict.found(Finding::WrongUnit, said!(TesterOut));
    }
    let wanted = reference.size();
    let share = percent / 100.0;
    let (low, high) = (wanted * (1.0 - share), wanted * (1.0 + share));
    let exact = reading.relation == Relation::Exact;
    // To what is shown: a half of the last digit does not decide.
    let within = exact && reading.size() >= low - 1e-9 && reading.size() <= high + 1e-9;
    let round = |value: f64| tidy((value * 1000.0).round() / 1000.0);
    let sum = said!(BesideReference, reading, reference, round(low), round(high));
    let outcome = if within { Outcome::Pass } else { Outcome::Fail };
    let verdict = Verdict::new(tables, outcome, text, &check.clause, sum);
    if within {
        verdict
    } else {
        verdict.remarked(said!(TesterOut))
    }
}
