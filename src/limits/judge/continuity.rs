//! R1+R2, R2 and bonds.

use super::earth_loop::zs_limit;
use super::{arrow, continuity, look_unless, test_temperature};
use crate::limits::conductor::{self, Through};
use crate::limits::tables::Provenance;
use crate::limits::words::{Said, Words, said};
use crate::limits::{CircuitFacts, Earthing, Finding, Outcome, Tables, Verdict, earth_loop};
use crate::quantity::{Ohms, Reading, Truth, measure};

const CONTINUITY: &str = "643.2.1";

/// Where on a circuit a continuity reading was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakenAt {
    /// At the furthest point: length and size give the value.
    Furthest,
    /// At a point on the way: any less is right as well.
    OnTheWay,
}

/// R1+R2 at a point of a circuit.
///
/// Outside the limit when with Ze it takes Zs over what the device allows; look again when it is far
/// from what length and size give, or open.
pub fn r1_r2(tables: &Tables, facts: &CircuitFacts, place: TakenAt, reading: &Reading) -> Verdict {
    let value = match continuity(tables, reading, &said!(R1R2Continuous), CONTINUITY) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let limit = r1_r2_limit(tables, facts);
    let verdict = match &limit {
        Some(limit) => {
            let holds = value.is_at_most(limit.ohms);
            let against = arrow_to_bound(holds, value, limit.ohms);
            Verdict::new(
                tables,
                holds.into(),
                said!(R1R2AtMost, Ohms::exact(limit.ohms.low())),
                &limit.clause,
                limit.arithmetic.clone().and(Words::Sums, against),
            )
            .marked(limit.mark)
        }
        None => continuous(tables, value, &said!(R1R2Continuous)),
    };
    if value.is_unbounded() {
        let mut verdict = verdict;
        // An open conductor has no resistance that a limit could lie above.
        if reading.number.is_none() {
            verdict.outcome = Outcome::Fail;
        }
        return verdict.found(Finding::Open, said!(NoContinuity));
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

/// Beside a limit that is itself bounded only: the end of it that settles the matter, or both.
fn arrow_to_bound(holds: Truth, value: Ohms, limit: Ohms) -> Said {
    let end = match holds {
        Truth::Yes => Ohms::exact(limit.low()),
        Truth::No => Ohms::exact(limit.high()),
        Truth::CannotSay => limit,
    };
    arrow(holds, value, end)
}

/// R2 alone at a point, by the long lead.
pub fn r2(tables: &Tables, facts: &CircuitFacts, place: TakenAt, reading: &Reading) -> Verdict {
    let value = match continuity(tables, reading, &said!(R2Continuous), CONTINUITY) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let verdict = continuous(tables, value, &said!(R2Continuous));
    if value.is_unbounded() {
        return verdict.found(Finding::Open, said!(NoContinuity));
    }
    beside_expected(tables, facts, place, Through::Cpc, 1.0, value, verdict)
}

/// A main protective bond, end to end.
pub fn bonding(tables: &Tables, reading: &Reading) -> Verdict {
    let limit = Ohms::exact(tables.bonding.ohms);
    let text = said!(ShortBond, limit);
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
        _ if value.is_unbounded() => verdict.found(Finding::Open, said!(NoContinuity)),
        Truth::No => verdict.found(Finding::LongForABond, said!(LongBond)),
        Truth::Yes | Truth::CannotSay => verdict,
    }
}

/// A supplementary bond between two parts: R ≤ 50 V ÷ Ia (415.2.2).
///
/// Ia is the rated residual current of the RCD over a circuit, or else the current that operates its
/// overcurrent device within 5 s. `circuits` are all that may serve the place, since a job does not
/// say which do: within the limit of each passes, over the limit of each fails.
pub fn supplementary_bond(
    tables: &Tables,
    circuits: &[CircuitFacts],
    reading: &Reading,
) -> Verdict {
    let clause = &tables.supplementary.clause;
    let limit = supplementary_limit(tables, circuits);
    let text = match &limit {
        Some(limit) => said!(AtMost, Ohms::exact(limit.ohms.low())),
        None => said!(TouchVoltsOverIa, tables.supplementary.touch_volts),
    };
    let value = match continuity(tables, reading, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    if value.is_unbounded() {
        let verdict = Verdict::new(tables, Outcome::Fail, text, clause, said!(Read, value));
        return verdict.found(Finding::Open, said!(NoContinuity));
    }
    let Some(limit) = limit else {
        let outcome = Outcome::CannotSay;
        let verdict = Verdict::new(tables, outcome, text, clause, said!(Read, value));
        return verdict.remarked(said!(NotEveryDevice));
    };
    let holds = value.is_at_most(limit.ohms);
    let against = arrow_to_bound(holds, value, limit.ohms);
    let arithmetic = limit.arithmetic.and(Words::Sums, against);
    let verdict = Verdict::new(tables, holds.into(), text, clause, arithmetic).marked(limit.mark);
    match holds {
        Truth::CannotSay => verdict.remarked(said!(WhichServes)),
        Truth::Yes if value.low() > tables.continuity.range_ohms => {
            verdict.found(Finding::LongForABond, said!(NoConductor))
        }
        Truth::Yes | Truth::No => verdict,
    }
}

/// The largest resistance of a supplementary bond.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplementaryLimit {
    /// From the strictest circuit's to the laxest's.
    pub ohms: Ohms,
    /// The sums in one line.
    pub arithmetic: Said,
    /// How well it is founded.
    pub mark: Provenance,
}

/// 50 V ÷ Ia of each of the circuits; nothing where one does not say what protects it.
pub fn supplementary_limit(
    tables: &Tables,
    circuits: &[CircuitFacts],
) -> Option<SupplementaryLimit> {
    let bonds = &tables.supplementary;
    let volts = bonds.touch_volts;
    let mut found: Vec<(f64, Said, Provenance)> = Vec::new();
    for facts in circuits {
        let (ohms, sum, mark) = match (facts.rcd, facts.device) {
            (Some(rcd), _) => {
                let ia = rcd.milliamps.to::<measure::Amp>();
                let ohms = volts / ia.high();
                let sum = said!(ByResidual, volts, ia, Ohms::exact(ohms), rcd.milliamps);
                (ohms, sum, bonds.mark)
            }
            (None, Some(device)) => {
                let (ia, mark) = earth_loop::operating(tables, &device, bonds.seconds)?;
                let ohms = volts / ia.high();
                let value = Ohms::exact(ohms);
                let (kind, amps, seconds) = (device.kind, device.amps, bonds.seconds);
                let sum = said!(ByOvercurrent, volts, ia, value, kind, amps, seconds);
                (ohms, sum, mark)
            }
            (None, None) => return None,
        };
        if !found.iter().any(|(_, other, _)| *other == sum) {
            found.push((ohms, sum, mark));
        }
    }
    found.sort_by(|(a, ..), (b, ..)| a.total_cmp(b));
    let (strictest, laxest) = (found.first()?, found.last()?);
    let arithmetic = if strictest == laxest {
        strictest.1.clone()
    } else {
        strictest.1.clone().and(Words::Sums, laxest.1.clone())
    };
    Some(SupplementaryLimit {
        ohms: Ohms::between(strictest.0, laxest.0),
        arithmetic,
        mark: strictest.2,
    })
}

/// A reading that is less than the test leads alone read, `leads`: whatever limit it is within, it
/// can't be so.
pub fn below_leads(reading: &Reading, leads: &Reading, verdict: Verdict) -> Verdict {
    let mut verdict = verdict;
    if verdict.outcome == Outcome::Pass {
        verdict.outcome = Outcome::CannotSay;
    }
    verdict.arithmetic = said!(WithLeads, reading, leads);
    verdict.finding = Some(Finding::BelowLeads);
    verdict.remarked(said!(BelowLeads))
}

/// Continuous as far as the instrument's range tells; there is no number to pass or fail.
fn continuous(tables: &Tables, value: Ohms, limit: &Said) -> Verdict {
    let outcome = if value.is_unbounded() {
        Outcome::Fail
    } else {
        Outcome::Pass
    };
    Verdict::new(
        tables,
        outcome,
        limit.clone(),
        CONTINUITY,
        said!(Read, value),
    )
}

/// Adds what length and size give, and looks again when the reading is far from it.
pub(super) fn beside_expected(
    tables: &Tables,
    facts: &CircuitFacts,
    place: TakenAt,
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
    if place == TakenAt::OnTheWay {
        expected.tolerated = Ohms::between(0.0, expected.tolerated.high());
    }
    verdict = verdict.and_sum(said!(Expected, expected.arithmetic, expected.tolerated));
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
    /// The limit: where Ze is only declared, from what holds whatever Ze is to what would hold if
    /// there were none.
    pub ohms: Ohms,
    /// The sum in one line.
    pub arithmetic: Said,
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
    let running = facts.running_celsius(tables);
    let (_, factor) = earth_loop::heating_factor(tables, t, running);
    let less = |ze: f64| (zs.ohms.low() - ze).max(0.0) / factor;
    let ohms = Ohms::between(less(ze.high()), less(ze.low()));
    Some(R1R2Limit {
        ohms,
        arithmetic: said!(
            R1R2Sum,
            zs.arithmetic,
            zs.shown,
            ze.high(),
            factor,
            Ohms::exact(ohms.low())
        ),
        clause: zs.clause,
        mark: zs.mark,
    })
}
