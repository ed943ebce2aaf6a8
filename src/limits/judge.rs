//! One function per kind of reading: what a session asks when a reading has been said.
//!
//! Each takes the [`Tables`], the [`Facts`] of the circuit and the reading as it was said, and
//! gives a [`Verdict`]. A unit that was not said is the test's own: Ω for continuity and loop,
//! MΩ for insulation, kA for fault current, ms for RCDs. Readings are compared as shown; the error
//! of the instrument is the person's business.

use super::conductor::{self, Through};
use super::earth_loop::{self, MaximumZs};
use super::facts::Facts;
use super::insulation as insulation_limits;
use super::kinds::{Earthing, Phases, Serves};
use super::ring::{self as ring_limits, Ends, Leg, PointReading, Stage};
use super::tables::{Mark, Tables};
use super::verdict::{Finding, Outcome, Verdict};
use crate::quantity::{
    Amps, Bounded, Celsius, KiloAmps, Measure, MegOhms, Ohms, Pair, Reading, Truth, Volts, measure,
    tidy,
};

pub use super::rcd::{Multiple, slower};

/// Temperature of the conductors during the test.
fn test_temperature(tables: &Tables, facts: &Facts) -> Celsius {
    facts
        .temperature
        .unwrap_or(Celsius::exact(tables.temperature.test_celsius))
}

/// The reading in its unit, or the verdict that it is in another kind of unit.
fn typed<M: Measure>(
    tables: &Tables,
    reading: &Reading,
    range: Option<f64>,
    limit: &str,
    clause: &str,
) -> Result<Bounded<M>, Box<Verdict>> {
    Bounded::from_reading(reading, range).map_err(|wrong| {
        let outcome = Outcome::CannotSay;
        let verdict = Verdict::new(tables, outcome, limit, clause, reading.to_string());
        Box::new(verdict.found(Finding::WrongUnit, wrong.to_string()))
    })
}

fn continuity(
    tables: &Tables,
    reading: &Reading,
    limit: &str,
    clause: &str,
) -> Result<Ohms, Box<Verdict>> {
    // Over range on a continuity range is at least what the standard asks of that range.
    typed(
        tables,
        reading,
        Some(tables.continuity.range_ohms),
        limit,
        clause,
    )
}

const CONTINUITY: &str = "643.2.1";

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
pub fn r1_r2(tables: &Tables, facts: &Facts, place: Place, reading: &Reading) -> Verdict {
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
pub fn r2(tables: &Tables, facts: &Facts, place: Place, reading: &Reading) -> Verdict {
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

const OPEN: &str =
    "No continuity: check leads, links and switches on the way, then look for the break.";

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
fn beside_expected(
    tables: &Tables,
    facts: &Facts,
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

/// "0.45 Ω is not more than 0.9 Ω".
fn arrow<M: Measure>(holds: Truth, value: Bounded<M>, limit: Bounded<M>) -> String {
    match holds {
        Truth::Yes => format!("{value} is not more than {limit}"),
        Truth::No => format!("{value} is more than {limit}"),
        Truth::CannotSay => format!("{value} against {limit}"),
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
    pub mark: Mark,
}

/// (Zs limit - Ze) ÷ heating factor; nothing on a TT system, without a device, or without Ze.
pub fn r1_r2_limit(tables: &Tables, facts: &Facts) -> Option<R1R2Limit> {
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

/// The largest Zs that the overcurrent device allows for the time that applies.
pub fn zs_limit(tables: &Tables, facts: &Facts) -> Option<MaximumZs> {
    let (seconds, _) = earth_loop::disconnection_time(tables, facts)?;
    earth_loop::maximum_zs(tables, facts.device.as_ref()?, facts.u0, seconds)
}

/// r1, rn or r2: one conductor of a ring, end to end. `line` is r1, already read, that rn is
/// compared with.
pub fn ring_end(
    tables: &Tables,
    facts: &Facts,
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
    let limit = format!("{symbol} continuous end to end");
    let value = match continuity(tables, reading, &limit, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    if value.is_unbounded() {
        let verdict = Verdict::new(
            tables,
            Outcome::Fail,
            limit,
            clause,
            format!("{value} read"),
        );
        let fault = ring_limits::Fault::OpenLeg { legs: vec![leg] };
        return verdict.found(Finding::Open, fault.spoken());
    }
    let r1 = line.and_then(|r| Ohms::from_reading(r, None).ok());
    let verdict = match (leg, r1) {
        (Leg::Neutral, Some(r1)) => {
            let within = Ohms::exact(tables.ring.within_ohms);
            let alike = value.is_within(r1.widened(within));
            let verdict = Verdict::new(
                tables,
                look_unless(alike),
                format!("rn within {within} of r1"),
                clause,
                format!("rn {value} beside r1 {r1}"),
            );
            match alike {
                Truth::No => {
                    let higher = if value.low() > r1.high() {
                        Leg::Neutral
                    } else {
                        Leg::Line
                    };
                    let fault = ring_limits::Fault::UnequalLegs { higher };
                    verdict.found(Finding::RingFault, fault.spoken())
                }
                Truth::Yes | Truth::CannotSay => verdict,
            }
        }
        _ => Verdict::new(
            tables,
            Outcome::Pass,
            limit,
            clause,
            format!("{value} read"),
        ),
    };
    let place = Place::Furthest;
    beside_expected(tables, facts, place, through, 1.0, value, verdict)
}

/// Something of common practice that does not hold is a reason to look again, not to fail.
fn look_unless(holds: Truth) -> Outcome {
    match holds {
        Truth::Yes => Outcome::Pass,
        Truth::No | Truth::CannotSay => Outcome::CannotSay,
    }
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
    facts: &Facts,
    stage: Stage,
    ends: &Ends,
    reading: &Reading,
    declared_spur: bool,
) -> Verdict {
    let clause = &tables.ring.clause;
    let around = ring_limits::round_the_ring(ends, stage);
    let tolerance = Ohms::exact(tables.ring.point_within_ohms);
    let limit = format!("{around} within {tolerance}");
    let value = match continuity(tables, reading, &limit, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let other = match stage {
        Stage::LineNeutral => ("rn", ends.neutral),
        Stage::LineCpc => ("r2", ends.cpc),
    };
    let arithmetic = format!(
        "(r1 {} + {} {}) ÷ 4 = {}; {value} read",
        ends.line.shown(),
        other.0,
        other.1.shown(),
        (ends.line + other.1).times(0.25)
    );
    let made = |outcome| Verdict::new(tables, outcome, limit.clone(), clause, arithmetic.clone());
    if value.is_unbounded() {
        return made(Outcome::Fail).found(
            Finding::Open,
            "Open at this point: polarity reversed there, a conductor not connected, or the ends not \
             joined at the board.",
        );
    }
    match value.is_within(around.widened(tolerance)) {
        Truth::Yes => made(Outcome::Pass),
        Truth::CannotSay => made(Outcome::CannotSay),
        Truth::No if value.high() < around.low() => made(Outcome::CannotSay).found(
            Finding::RingFault,
            "Lower than this ring can read with its ends crossed: are they joined leg to leg?",
        ),
        Truth::No => {
            let length = facts.cable.as_ref().and_then(|run| {
                let line = conductor::per_metre(tables, run.line, run.class)?;
                let second = match stage {
                    Stage::LineNeutral => line,
                    Stage::LineCpc => conductor::per_metre(tables, run.cpc, run.class)?,
                };
                let (low, high) = value
                    .less(around)
                    .to::<measure::MilliOhm>()
                    .ratio(line + second);
                Some(low + (high - low) / 2.0)
            });
            let long = length
                .map(|m| format!(", of about {} metres", m.round().max(1.0)))
                .unwrap_or_default();
            if declared_spur {
                made(Outcome::Pass).remarked(format!("As on a spur{long}, as the job file says."))
            } else {
                made(Outcome::CannotSay).found(
                    Finding::Spur,
                    format!(
                        "Reads as on a spur{long}, or a loose joint; the job file says neither."
                    ),
                )
            }
        }
    }
}

/// The whole ring, all readings in: the verdict on its R1+R2, with what the pattern looks like as
/// the remark. Take the details from [`ring_limits::diagnose`].
pub fn ring(tables: &Tables, facts: &Facts, ends: &Ends, points: &[PointReading]) -> Verdict {
    let said = ring_limits::diagnose(tables, facts.cable.as_ref(), ends, points);
    let clause = &tables.ring.clause;
    let sound = said.looks_sound();
    let outcome = match (sound, said.complete) {
        (true, true) => Outcome::Pass,
        _ if said
            .faults
            .iter()
            .any(|f| matches!(f, ring_limits::Fault::OpenLeg { .. })) =>
        {
            Outcome::Fail
        }
        _ => Outcome::CannotSay,
    };
    let highest = said
        .r1_r2
        .map(|r| format!("; highest line to cpc {r} = R1+R2"))
        .unwrap_or_default();
    let mut verdict = Verdict::new(
        tables,
        outcome,
        "a ring without breaks, bridges or reversed points",
        clause,
        format!("{}{highest}", said.numbers.join("; ")),
    );
    for fault in &said.faults {
        let words = fault.spoken();
        verdict = match fault {
            ring_limits::Fault::Spur { declared: true, .. } => verdict.remarked(words),
            _ => verdict.found(Finding::RingFault, words),
        };
    }
    if sound && !said.complete {
        verdict = verdict.remarked("Not every point has been read in both stages yet.");
    }
    verdict
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

/// One insulation reading against Table 64.
pub fn insulation(tables: &Tables, facts: &Facts, reading: &Reading) -> Verdict {
    insulation_limits::verdict(tables, reading, facts.system, facts.insulation_range)
}

/// All insulation readings of a circuit: the lowest decides, the pattern explains.
pub fn insulation_pattern(
    tables: &Tables,
    facts: &Facts,
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
    let shown: Vec<_> = values.iter().map(|(p, v)| format!("{p} {v}")).collect();
    let verdict = Verdict::new(
        tables,
        outcome,
        format!("every pair at least {limit}"),
        &tables.insulation.clause,
        shown.join(", "),
    );
    let verdict = match pattern.finding() {
        Some(finding) => verdict.found(finding, pattern.spoken()),
        None if outcome == Outcome::Pass => verdict,
        None => verdict.remarked(pattern.spoken()),
    };
    (verdict, pattern)
}

/// What else is known when Zs is judged.
#[derive(Debug, Clone, Copy, Default)]
pub struct Beside<'r> {
    /// Ze (or Zdb) as measured; the declared one counts when nothing was measured.
    pub ze: Option<&'r Reading>,
    /// R1+R2 of the circuit as measured.
    pub r1_r2: Option<&'r Reading>,
}

/// Zs at the furthest point: against the device's limit, cold by the 0.8 rule and hot by proper
/// temperature correction side by side, and beside Ze + (R1+R2). On a TT system with an RCD
/// against 50 V ÷ IΔn.
pub fn zs(tables: &Tables, facts: &Facts, reading: &Reading, beside: Beside<'_>) -> Verdict {
    let clause = &tables.earth_loop.clause;
    let value: Ohms = match typed(tables, reading, None, "Zs", clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let known = |r: Option<&Reading>| r.and_then(|r| Ohms::from_reading(r, None).ok());
    let ze = known(beside.ze).or(facts.ze);
    let verdict = if facts.earthing == Earthing::Tt && facts.rcd.is_some() {
        zs_by_rcd(tables, facts, value)
    } else {
        // A loop below Ze runs beside it, not through it: no part of Zs is known to be external.
        let through = ze.filter(|ze| ze.is_at_most(value) != Truth::No);
        zs_by_overcurrent(tables, facts, value, through)
    };
    let mut verdict = unbounded_remark(value, verdict);
    if let Some(ze) = ze
        && ze.is_at_most(value) == Truth::No
    {
        verdict = verdict.found(
            Finding::ParallelPath,
            format!(
                "Lower than Ze, {ze}: only parallel paths could do that. Is it the same supply, and \
                 the decimal point right?"
            ),
        );
    }
    match (ze, known(beside.r1_r2)) {
        (Some(ze), Some(r1_r2)) => beside_sum(tables, value, ze, r1_r2, verdict),
        _ => verdict,
    }
}

fn unbounded_remark(value: Ohms, verdict: Verdict) -> Verdict {
    if value.is_unbounded() {
        verdict.found(
            Finding::Open,
            "Over range: no earth fault loop was measured. Check the protective conductor and its \
             connections before anything else.",
        )
    } else {
        verdict
    }
}

fn zs_by_rcd(tables: &Tables, facts: &Facts, value: Ohms) -> Verdict {
    let clause = &tables.tt.clause;
    let Some(rcd) = facts.rcd else {
        return nothing_to_compare(tables, clause, format!("{value} read"));
    };
    let limit = earth_loop::rcd_maximum(tables, rcd.milliamps);
    let holds = value.is_at_most(limit);
    let volts = Volts::exact(tables.tt.touch_volts);
    let verdict = Verdict::new(
        tables,
        holds.into(),
        format!("at most {limit} with {}", rcd.milliamps),
        clause,
        format!(
            "{volts} ÷ {} = {limit}; {}",
            rcd.milliamps.to::<measure::Amp>(),
            arrow(holds, value, limit)
        ),
    );
    let stable = Ohms::exact(tables.tt.stable_ohms);
    if holds == Truth::Yes && value.is_at_most(stable) == Truth::No {
        return verdict.found(
            Finding::UnstableElectrode,
            format!("Above {stable} an earth electrode may not be stable: it can dry out."),
        );
    }
    verdict
}

fn nothing_to_compare(tables: &Tables, clause: &str, arithmetic: String) -> Verdict {
    Verdict::new(
        tables,
        Outcome::CannotSay,
        "no limit in the tables for this device",
        clause,
        arithmetic,
    )
    .remarked(
        "Take the limit from the maker or from the standard, and write the device into the job file \
         or its value into a copy of the tables.",
    )
}

fn zs_by_overcurrent(tables: &Tables, facts: &Facts, value: Ohms, ze: Option<Ohms>) -> Verdict {
    let Some(limit) = zs_limit(tables, facts) else {
        return nothing_to_compare(tables, &tables.earth_loop.clause, format!("{value} read"));
    };
    let time = earth_loop::disconnection_time(tables, facts)
        .map(|(s, clause)| format!(" in {} s ({clause})", tidy(s)))
        .unwrap_or_default();
    let t = test_temperature(tables, facts);
    let cold = limit.ohms.times(tables.loop_cold.factor);
    let hot = earth_loop::running_zs(tables, value, ze, t);
    let (factor, _) = earth_loop::heating_factor(tables, t);
    let by_rule = value.is_at_most(cold);
    let by_heat = hot.is_at_most(limit.ohms);
    // With Ze the proper correction decides. Without it the rule of thumb may pass a reading, and
    // only a reading above the limit itself fails for certain.
    let holds = match (ze, by_rule, value.is_at_most(limit.ohms)) {
        (_, _, Truth::No) => Truth::No,
        (Some(_), _, _) => by_heat,
        (None, Truth::Yes, _) => Truth::Yes,
        (None, _, _) => by_heat,
    };
    let outcome = match holds {
        Truth::No if limit.stricter => Outcome::CannotSay,
        holds => holds.into(),
    };
    let corrected = match ze {
        Some(ze) => format!(
            "hot {} + ({} - {}) × {} = {hot}",
            ze.shown(),
            value.shown(),
            ze.shown(),
            tidy(factor)
        ),
        None => format!(
            "hot, external part not known, {} to {} × {}",
            value.shown(),
            value.shown(),
            tidy(factor)
        ),
    };
    let mut verdict = Verdict::new(
        tables,
        outcome,
        format!("at most {}{time}", limit.ohms),
        &limit.clause,
        format!(
            "{}; cold {} × {} = {cold}: {value} {}; {corrected}: {}",
            limit.arithmetic,
            tidy(tables.loop_cold.factor),
            limit.ohms.shown(),
            word(by_rule),
            word(by_heat),
        ),
    )
    .marked(limit.mark);
    if limit.stricter && holds != Truth::Yes {
        verdict = verdict.remarked(format!(
            "The limit is for {} s, stricter than this circuit needs; take the right one from the \
             standard.",
            tidy(limit.seconds)
        ));
    }
    match (outcome, facts.rcd) {
        (Outcome::Pass, _) | (_, None) => verdict,
        (_, Some(rcd)) => {
            let by_rcd = earth_loop::rcd_maximum(tables, rcd.milliamps);
            if value.is_at_most(by_rcd) != Truth::Yes {
                return verdict;
            }
            verdict.outcome = Outcome::CannotSay;
            verdict.found(
                Finding::RestsOnRcd,
                format!(
                    "The overcurrent device alone does not disconnect in time; the {} RCD would \
                     ({} V ÷ {} = {by_rcd}, 411.4.5 and Table 41.5). Whether fault protection may rest \
                     on it is for the designer.",
                    rcd.milliamps,
                    tidy(tables.tt.touch_volts),
                    rcd.milliamps.to::<measure::Amp>(),
                ),
            )
        }
    }
}

fn word(holds: Truth) -> &'static str {
    match holds {
        Truth::Yes => "within",
        Truth::No => "over",
        Truth::CannotSay => "cannot say",
    }
}

/// A remark when measured Zs and Ze + (R1+R2) disagree; lower is usual, higher asks a question.
fn beside_sum(
    tables: &Tables,
    value: Ohms,
    ze: Ohms,
    r1_r2: Ohms,
    mut verdict: Verdict,
) -> Verdict {
    let sum = ze + r1_r2;
    verdict.arithmetic = format!(
        "{}; Ze {} + (R1+R2) {} = {sum}",
        verdict.arithmetic,
        ze.shown(),
        r1_r2.shown()
    );
    let slack = tables
        .loop_compared
        .within_ohms
        .max(sum.middle() * tables.loop_compared.within_factor);
    let apart = value.is_within(sum.widened(Ohms::exact(slack))) == Truth::No;
    if value.is_unbounded() || !apart || ze.is_at_most(value) == Truth::No {
        return verdict;
    }
    let ratio = value.middle() / sum.middle();
    let slip = |r: f64| r >= tables.expected.slip_from && r <= tables.expected.slip_to;
    if slip(ratio) || slip(1.0 / ratio) {
        verdict.found(
            Finding::SlippedDecimal,
            format!(
                "About ten times out beside Ze plus R1 plus R2, {sum}: has a decimal point slipped?"
            ),
        )
    } else if value.high() < sum.low() {
        verdict.found(
            Finding::ParallelPath,
            format!(
                "Lower than Ze plus R1 plus R2, {sum}: parallel paths through bonding or metalwork \
                 are usual once everything is connected. Is it the same circuit?"
            ),
        )
    } else {
        verdict.found(
            Finding::HigherThanSum,
            format!(
                "Higher than Ze plus R1 plus R2, {sum}: a loose joint, another circuit, or an RCD in \
                 the loop of a low-current test?"
            ),
        )
    }
}

/// Ze, or the resistance of a TT electrode: against what was declared, or what is usual.
pub fn ze(tables: &Tables, facts: &Facts, reading: &Reading) -> Verdict {
    if facts.earthing == Earthing::Tt {
        let clause = &tables.tt.clause;
        let value: Ohms = match typed(tables, reading, None, "RA", clause) {
            Ok(value) => value,
            Err(verdict) => return *verdict,
        };
        return unbounded_remark(value, zs_by_rcd(tables, facts, value));
    }
    let usual = earth_loop::usual_ze(tables, facts.earthing);
    let (limit, clause) = (usual, &tables.external.clause);
    let text = format!("usually at most {limit} on {}", facts.earthing.name());
    let value: Ohms = match typed(tables, reading, None, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let holds = value.is_at_most(limit);
    let mut verdict = Verdict::new(
        tables,
        look_unless(holds),
        text,
        clause,
        arrow(holds, value, limit),
    );
    if let Some(declared) = facts.ze {
        verdict.arithmetic = format!("{}; declared {declared}", verdict.arithmetic);
    }
    if holds == Truth::No && !value.is_unbounded() {
        verdict = verdict.found(
            Finding::HigherThanExpected,
            "Higher than distributors usually declare for this earthing: check the connection and \
             the arrangement, and ask the distributor.",
        );
    }
    unbounded_remark(value, verdict)
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
        Some(capacity) => format!("at most {capacity}, the smallest breaking capacity here"),
        None => "at most the rated breaking capacity".to_owned(),
    };
    let mut values = Vec::new();
    for (pair, reading) in readings {
        match typed::<measure::KiloAmp>(tables, reading, None, &text, clause) {
            Ok(value) => values.push((*pair, value)),
            Err(verdict) => return *verdict,
        }
    }
    let between_lines = |p: &Pair| !p.to_earth() && p.to() != crate::quantity::Conductors::N;
    let mut shown: Vec<_> = values.iter().map(|(p, v)| format!("{p} {v}")).collect();
    let mut largest: Option<KiloAmps> = None;
    let mut count = |v: KiloAmps| {
        largest = Some(largest.map_or(v, |l| {
            KiloAmps::between(l.low().max(v.low()), l.high().max(v.high()))
        }));
    };
    let all_measured = values.iter().any(|(p, _)| between_lines(p));
    for (pair, value) in &values {
        count(*value);
        let to_neutral = pair.to() == crate::quantity::Conductors::N;
        if supply_phases == Phases::Three && !all_measured && to_neutral {
            let factor = tables.fault_current.three_phase_factor;
            let doubled = value.times(factor);
            shown.push(format!(
                "three-phase {} × {} = {doubled}",
                tidy(factor),
                value.shown()
            ));
            count(doubled);
        }
    }
    let Some(largest) = largest else {
        return Verdict::new(tables, Outcome::CannotSay, text, clause, "nothing read");
    };
    let Some(capacity) = breaking else {
        return Verdict::new(
            tables,
            Outcome::CannotSay,
            text,
            clause,
            format!("{}; largest {largest}", shown.join(", ")),
        )
        .remarked(
            "No device here has a breaking capacity in the job file: read it off the devices and \
             write breaking_ka.",
        );
    };
    let holds = largest.is_at_most(capacity);
    let verdict = Verdict::new(
        tables,
        holds.into(),
        text,
        clause,
        format!("{}; {}", shown.join(", "), arrow(holds, largest, capacity)),
    );
    match holds {
        Truth::No => verdict.remarked(
            "Above the devices' own breaking capacity: only a device upstream that limits the energy, \
             by its maker's tables, could change that (434.5.1, 536).",
        ),
        Truth::Yes | Truth::CannotSay => verdict,
    }
}

/// One RCD trip time; see [`super::rcd::verdict`]. Nothing when the circuit has no RCD.
pub fn rcd(
    tables: &Tables,
    facts: &Facts,
    multiple: Multiple,
    reading: &Reading,
) -> Option<Verdict> {
    Some(super::rcd::verdict(
        tables,
        facts.rcd.as_ref()?,
        multiple,
        reading,
    ))
}

/// Whether the cpc stands the heat of a fault (543.1.3): S ≥ √(I²t) ÷ k, from Zs as measured.
///
/// t is the time that applies to the circuit for a fuse; for a circuit-breaker in its
/// instantaneous region 0.1 s. Below 0.1 s, and where this does not hold, the maker's let-through
/// energy decides. Nothing without a cable and a device.
pub fn cpc_size(tables: &Tables, facts: &Facts, zs: &Reading) -> Option<Verdict> {
    let run = facts.cable.as_ref()?;
    let device = facts.device.as_ref()?;
    let clause = &tables.adiabatic.clause;
    let text = format!("cpc of {} no smaller than the heat asks", run.cpc);
    let value: Ohms = match typed(tables, zs, None, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return Some(*verdict),
    };
    let current: Amps = facts.u0 / value;
    let (allowed, _) = earth_loop::disconnection_time(tables, facts)?;
    let instantaneous =
        earth_loop::instantaneous(tables, device).map(|ia| current.is_at_least(ia) == Truth::Yes);
    let seconds = match instantaneous {
        Some(true) => tables.adiabatic.breaker_seconds,
        _ => allowed,
    };
    let k = tables.adiabatic.k_core;
    let least = earth_loop::least_cpc(current, seconds, k);
    let holds = run.cpc.is_at_least(least);
    let verdict = Verdict::new(
        tables,
        look_unless(holds),
        text,
        clause,
        format!(
            "I = {} ÷ {value} = {current}; √({}² × {} s) ÷ {} = {least} beside {}",
            facts.u0,
            current.shown(),
            tidy(seconds),
            tidy(k),
            run.cpc
        ),
    );
    Some(match holds {
        Truth::Yes => verdict,
        Truth::No | Truth::CannotSay => verdict.remarked(
            "By the longest time that could apply; the device may be far quicker. Compare k²S² with \
             the maker's let-through energy.",
        ),
    })
}

/// Voltage drop at the furthest point from R1+Rn as read, the device's rated current flowing and
/// the conductors hot, against 3 % for lighting and 5 % for the rest.
///
/// `load` is the design current where known; the rated current of the device otherwise. On a
/// ring, pass (r1+rn)/4. Nothing without a device or a load.
pub fn voltage_drop(
    tables: &Tables,
    facts: &Facts,
    r1_rn: &Reading,
    load: Option<Amps>,
) -> Option<Verdict> {
    let load = load.or(facts.device.map(|d| d.amps))?;
    let clause = &tables.voltage_drop.clause;
    let percent = match facts.serves {
        Serves::Lighting => tables.voltage_drop.lighting_percent,
        _ => tables.voltage_drop.other_percent,
    };
    let limit = facts.u0.times(percent / 100.0);
    let text = format!("at most {} % = {limit}", tidy(percent));
    let value: Ohms = match typed(tables, r1_rn, None, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return Some(*verdict),
    };
    let t = test_temperature(tables, facts);
    // A balanced three-phase load returns nothing through the neutral: half of line and neutral.
    let (value, half) = match facts.phases {
        Phases::Single => (value, ""),
        Phases::Three => (value.times(0.5), " (line only, balanced)"),
    };
    let drop = earth_loop::voltage_drop(tables, load, value, t);
    let (factor, _) = earth_loop::heating_factor(tables, t);
    let holds = drop.is_at_most(limit);
    Some(
        Verdict::new(
            tables,
            look_unless(holds),
            text,
            clause,
            format!(
                "{load} × {value}{half} × {} = {}",
                tidy(factor),
                arrow(holds, drop, limit)
            ),
        )
        .remarked(
            "With all of the load at the far end, from the origin of this circuit; drop upstream adds \
             to it.",
        ),
    )
}
