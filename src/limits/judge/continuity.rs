//! R1+R2, R2 and bonds.

use super::earth_loop::zs_limit;
use super::{arrow, continuity, look_unless, test_temperature};
use crate::limits::conductor::{self, Through};
use crate::limits::tables::Provenance;
use crate::limits::{CircuitFacts, Earthing, Finding, Outcome, Tables, Verdict, earth_loop};
use crate::quantity::{Ohms, Reading, Truth, tidy};

const CONTINUITY: &str = "643.2.1";

const OPEN: &str =
    "No continuity: check leads, links and switches on the way, then look for the break.";

/// Where on a circuit a continuity reading was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// At the furthest point: length and size give the value.
    Furthest,
    /// At a point on the way: any less is right as well.
    OnTheWay,
}

/// R1+R2 at a point of a circuit.
///
/// Outside the limit when with Ze it takes Zs over what the device allows; look again when it is far
/// from what length and size give, or open.
pub fn r1_r2(tables: &Tables, facts: &CircuitFacts, place: Place, reading: &Reading) -> Verdict {
    let value = match continuity(tables, reading, "R1+R2 continuous", CONTINUITY) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let limit = r1_r2_limit(tables, facts);
    let verdict = match &limit {
        Some(limit) => {
            let holds = value.is_at_most(limit.ohms);
            let against = arrow(holds, value, limit.ohms);
            Verdict::new(
                tables,
                holds.into(),
                format!("R1+R2 at most {}", limit.ohms),
                &limit.clause,
                format!("{}; {against}", limit.arithmetic),
            )
            .marked(limit.mark)
        }
        None => continuous(tables, value, "R1+R2 continuous"),
    };
    if value.is_unbounded() {
        return verdict.found(Finding::Open, OPEN);
    }
    let share = if facts.ring { 0.25 } else { 1.0 };
    beside_expected(
        tables,
        facts,
        place,
        Through::LineAndCpc,
        share,
        value,
        verdict,
    )
}

/// R2 alone at a point, by the long lead.
pub fn r2(tables: &Tables, facts: &CircuitFacts, place: Place, reading: &Reading) -> Verdict {
    let value = match continuity(tables, reading, "R2 continuous", CONTINUITY) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let verdict = continuous(tables, value, "R2 continuous");
    if value.is_unbounded() {
        return verdict.found(Finding::Open, OPEN);
    }
    beside_expected(tables, facts, place, Through::Cpc, 1.0, value, verdict)
}

/// A main protective bond, end to end.
pub fn bonding(tables: &Tables, reading: &Reading) -> Verdict {
    let limit = Ohms::exact(tables.bonding.ohms);
    let text = format!("about {limit} or less for a short bond");
    let clause = &tables.bonding.clause;
    let value = match continuity(tables, reading, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let holds = value.is_at_most(limit);
    let outcome = if value.is_unbounded() {
        Outcome::Fail
    } else {
        look_unless(holds)
    };
    let verdict = Verdict::new(tables, outcome, text, clause, arrow(holds, value, limit));
    match holds {
        _ if value.is_unbounded() => verdict.found(Finding::Open, OPEN),
        Truth::No => verdict.found(
            Finding::HigherThanExpected,
            "More than a short bond reads: is it long, are the leads nulled, is the clamp clean and \
             tight? 10 mm² copper reads 0.05 Ω at 27 m.",
        ),
        Truth::Yes | Truth::CannotSay => verdict,
    }
}

/// Continuous as far as the instrument's range tells; there is no number to pass or fail.
fn continuous(tables: &Tables, value: Ohms, limit: &str) -> Verdict {
    let outcome = if value.is_unbounded() {
        Outcome::Fail
    } else {
        Outcome::Pass
    };
    Verdict::new(tables, outcome, limit, CONTINUITY, format!("{value} read"))
}

/// Adds what length and size give, and looks again when the reading is far from it.
pub(super) fn beside_expected(
    tables: &Tables,
    facts: &CircuitFacts,
    place: Place,
    through: Through,
    share: f64,
    value: Ohms,
    mut verdict: Verdict,
) -> Verdict {
    let t = test_temperature(tables, facts);
    let Some(run) = &facts.cable else {
        return verdict;
    };
    let Some(mut expected) = conductor::expected(tables, run, through, t, share) else {
        return verdict;
    };
    if place == Place::OnTheWay {
        expected.tolerated = Ohms::between(0.0, expected.tolerated.high());
    }
    verdict.arithmetic = format!(
        "{}; expected {}, tolerated {}",
        verdict.arithmetic, expected.arithmetic, expected.tolerated
    );
    match conductor::compare(tables, value, &expected) {
        None => verdict,
        Some((finding, words)) => {
            if verdict.outcome == Outcome::Pass {
                verdict.outcome = Outcome::CannotSay;
            }
            verdict.found(finding, words)
        }
    }
}

/// The largest R1+R2 that a circuit may read cold.
#[derive(Debug, Clone, PartialEq)]
pub struct R1R2Limit {
    /// The limit.
    pub ohms: Ohms,
    /// The sum in one line.
    pub arithmetic: String,
    /// Regulation and table.
    pub clause: String,
    /// How well it is founded.
    pub mark: Provenance,
}

/// (Zs limit - Ze) ÷ heating factor; nothing on a TT system, without a device, or without Ze.
pub fn r1_r2_limit(tables: &Tables, facts: &CircuitFacts) -> Option<R1R2Limit> {
    if facts.earthing == Earthing::Tt {
        return None;
    }
    let zs = zs_limit(tables, facts)?;
    if zs.stricter {
        return None;
    }
    let ze = facts.ze?;
    let t = test_temperature(tables, facts);
    let (_, factor) = earth_loop::heating_factor(tables, t);
    let ohms = Ohms::exact((zs.ohms.low() - ze.high()).max(0.0) / factor);
    Some(R1R2Limit {
        ohms,
        arithmetic: format!(
            "Zs {}; ({} - Ze {}) ÷ {} = {ohms}",
            zs.arithmetic,
            zs.ohms.shown(),
            ze.shown(),
            tidy(factor)
        ),
        clause: zs.clause,
        mark: zs.mark,
    })
}
