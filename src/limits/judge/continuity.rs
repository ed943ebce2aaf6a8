//! R1+R2, R2 and bonds.

use super::earth_loop::zs_limit;
use super::{arrow, continuity, look_unless, test_temperature};
use crate::limits::conductor::{self, Through};
use crate::limits::tables::Provenance;
use crate::limits::{CircuitFacts, Earthing, Finding, Outcome, Tables, Verdict, earth_loop};
use crate::quantity::{Ohms, Reading, Truth, measure, tidy};

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
            let against = arrow_to_bound(holds, value, limit.ohms);
            Verdict::new(
                tables,
                holds.into(),
                format!("R1+R2 at most {}", Ohms::exact(limit.ohms.low())),
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

/// Beside a limit that is itself bounded only: the end of it that settles the matter, or both.
fn arrow_to_bound(holds: Truth, value: Ohms, limit: Ohms) -> String {
    let end = match holds {
        Truth::Yes => Ohms::exact(limit.low()),
        Truth::No => Ohms::exact(limit.high()),
        Truth::CannotSay => limit,
    };
    arrow(holds, value, end)
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
            Finding::LongForABond,
            "More than a short bond reads: is it long, are the leads nulled, is the clamp clean and \
             tight? 10 mm² copper reads 0.05 Ω at 27 m.",
        ),
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
        Some(limit) => format!("at most {}", Ohms::exact(limit.ohms.low())),
        None => format!("at most {} V ÷ Ia", tidy(tables.supplementary.touch_volts)),
    };
    let value = match continuity(tables, reading, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    if value.is_unbounded() {
        let verdict = Verdict::new(tables, Outcome::Fail, text, clause, format!("{value} read"));
        return verdict.found(Finding::Open, OPEN);
    }
    let Some(limit) = limit else {
        let outcome = Outcome::CannotSay;
        let verdict = Verdict::new(tables, outcome, text, clause, format!("{value} read"));
        return verdict.remarked(
            "The job file does not say of every circuit which device protects it: take Ia from the one \
             that serves the place.",
        );
    };
    let holds = value.is_at_most(limit.ohms);
    let against = arrow_to_bound(holds, value, limit.ohms);
    let arithmetic = format!("{}; {against}", limit.arithmetic);
    let verdict = Verdict::new(tables, holds.into(), text, clause, arithmetic).marked(limit.mark);
    match holds {
        Truth::CannotSay => verdict.remarked(
            "Within the limit of some circuits and over that of others: which of them serve the place?",
        ),
        Truth::Yes if value.low() > tables.continuity.range_ohms => verdict.found(
            Finding::LongForABond,
            "Far more than a bonding conductor reads, although 50 V ÷ Ia allows it: is it a conductor, \
             and are its clamps tight?",
        ),
        Truth::Yes | Truth::No => verdict,
    }
}

/// The largest resistance of a supplementary bond.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplementaryLimit {
    /// From the strictest circuit's to the laxest's.
    pub ohms: Ohms,
    /// The sums in one line.
    pub arithmetic: String,
    /// How well it is founded.
    pub mark: Provenance,
}

/// 50 V ÷ Ia of each of the circuits; nothing where one does not say what protects it.
pub fn supplementary_limit(
    tables: &Tables,
    circuits: &[CircuitFacts],
) -> Option<SupplementaryLimit> {
    let bonds = &tables.supplementary;
    let volts = tidy(bonds.touch_volts);
    let mut found: Vec<(f64, String, Provenance)> = Vec::new();
    for facts in circuits {
        let (ia, of, mark) = match (facts.rcd, facts.device) {
            (Some(rcd), _) => {
                let of = format!("IΔn of a {} RCD", rcd.milliamps);
                (rcd.milliamps.to::<measure::Amp>(), of, bonds.mark)
            }
            (None, Some(device)) => {
                let (ia, mark) = earth_loop::operating(tables, &device, bonds.seconds)?;
                let (kind, amps) = (device.kind, device.amps);
                let of = format!("which operates {kind} {amps} in {} s", tidy(bonds.seconds));
                (ia, of, mark)
            }
            (None, None) => return None,
        };
        let ohms = bonds.touch_volts / ia.high();
        let sum = format!("{volts} V ÷ {ia} = {}, {of}", Ohms::exact(ohms));
        if !found.iter().any(|(_, other, _)| *other == sum) {
            found.push((ohms, sum, mark));
        }
    }
    found.sort_by(|(a, ..), (b, ..)| a.total_cmp(b));
    let (strictest, laxest) = (found.first()?, found.last()?);
    let arithmetic = if strictest == laxest {
        strictest.1.clone()
    } else {
        format!("{}; {}", strictest.1, laxest.1)
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
    verdict.arithmetic = format!("{reading} read, with leads of {leads}");
    verdict.finding = Some(Finding::BelowLeads);
    verdict.remarked(
        "Less than the leads alone read: were they nulled since, or is it another range? Join the leads \
         again and say what they read, or that they are nulled.",
    )
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
    /// The limit: where Ze is only declared, from what holds whatever Ze is to what would hold if
    /// there were none.
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
    let less = |ze: f64| (zs.ohms.low() - ze).max(0.0) / factor;
    let ohms = Ohms::between(less(ze.high()), less(ze.low()));
    Some(R1R2Limit {
        ohms,
        arithmetic: format!(
            "Zs {}; ({} - Ze {}) ÷ {} = {}",
            zs.arithmetic,
            zs.shown,
            tidy(ze.high()),
            tidy(factor),
            Ohms::exact(ohms.low())
        ),
        clause: zs.clause,
        mark: zs.mark,
    })
}
