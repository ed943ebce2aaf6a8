//! Ze and Zs.

use super::{arrow, look_unless, test_temperature, typed};
use crate::limits::earth_loop::{self, MaximumZs};
use crate::limits::{CircuitFacts, Earthing, Finding, Outcome, Tables, Verdict};
use crate::quantity::{Celsius, Ohms, Reading, Truth, Volts, measure, tidy};

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
pub fn zs(tables: &Tables, facts: &CircuitFacts, reading: &Reading, beside: Beside<'_>) -> Verdict {
    let clause = &tables.earth_loop.clause;
    let value: Ohms = match typed(tables, reading, None, "Zs", clause) {
        Ok(value) => value,
        Err(verdict) => return *verdict,
    };
    let known = |r: Option<&Reading>| r.and_then(|r| Ohms::from_reading(r, None).ok());
    let ze = known(beside.ze).or(facts.ze);
    let (verdict, corrected) = if facts.earthing == Earthing::Tt && facts.rcd.is_some() {
        (zs_by_rcd(tables, facts, value), None)
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
    let verdict = match (ze, known(beside.r1_r2)) {
        (Some(ze), Some(r1_r2)) => beside_sum(tables, value, ze, r1_r2, verdict),
        _ => verdict,
    };
    match corrected {
        Some(words) => verdict.found(Finding::WithinWhenCorrected, words),
        None => verdict,
    }
}

/// Ze, or the resistance of a TT electrode: against what was declared, or what is usual.
pub fn ze(tables: &Tables, facts: &CircuitFacts, reading: &Reading) -> Verdict {
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
        let most = Ohms::exact(declared.high());
        verdict.arithmetic = format!("{}; declared {most}", verdict.arithmetic);
        if holds != Truth::No && value.is_at_most(most) == Truth::No {
            verdict = verdict.found(
                Finding::HigherThanDeclared,
                format!(
                    "Higher than the {most} that was declared: every sum that rests on the declared \
                     value rests on less than there is. Check the connection, and ask the distributor."
                ),
            );
        }
    }
    if holds == Truth::No && !value.is_unbounded() {
        verdict = verdict.found(
            Finding::HigherThanDeclared,
            "Higher than distributors usually declare for this earthing: check the connection and \
             the arrangement, and ask the distributor.",
        );
    }
    unbounded_remark(value, verdict)
}

/// The largest Zs that the overcurrent device allows for the time that applies.
pub fn zs_limit(tables: &Tables, facts: &CircuitFacts) -> Option<MaximumZs> {
    let (seconds, _) = earth_loop::disconnection_time(tables, facts)?;
    earth_loop::maximum_zs(tables, facts.device.as_ref()?, facts.u0, seconds)
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

fn zs_by_rcd(tables: &Tables, facts: &CircuitFacts, value: Ohms) -> Verdict {
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

/// By the overcurrent device, and what to say where it holds only when corrected for heat.
fn zs_by_overcurrent(
    tables: &Tables,
    facts: &CircuitFacts,
    value: Ohms,
    ze: Option<Ohms>,
) -> (Verdict, Option<String>) {
    let Some(limit) = zs_limit(tables, facts) else {
        let clause = &tables.earth_loop.clause;
        let verdict = nothing_to_compare(tables, clause, format!("{value} read"));
        return (verdict, None);
    };
    let time = earth_loop::disconnection_time(tables, facts)
        .map(|(s, clause)| format!(" in {} s ({clause})", tidy(s)))
        .unwrap_or_default();
    let t = test_temperature(tables, facts);
    let cold = limit.cold(tables);
    let hot = earth_loop::running_zs(tables, value, ze, t);
    let by_rule = value.is_at_most(cold);
    let by_heat = hot.is_at_most(limit.ohms);
    // With a measured Ze the proper correction decides. Without one the rule of thumb may pass a
    // reading, and only what is above the limit whatever Ze is fails for certain.
    let measured = ze.is_some_and(|ze| ze.value().is_some());
    let holds = match (by_rule, value.is_at_most(limit.ohms)) {
        (_, Truth::No) => Truth::No,
        (Truth::Yes, _) if !measured => Truth::Yes,
        _ => by_heat,
    };
    let outcome = match holds {
        Truth::No if limit.stricter => Outcome::CannotSay,
        holds => holds.into(),
    };
    let running = tidy(tables.temperature.running_celsius);
    let mut verdict = Verdict::new(
        tables,
        outcome,
        format!("at most {} Ω{time}", limit.shown),
        &limit.clause,
        format!(
            "{}; cold, {} × {} = {cold}: {value} {}; corrected to {running} °C, {}: {}",
            limit.arithmetic,
            tidy(tables.loop_cold.factor),
            limit.shown,
            word(by_rule),
            corrected(tables, value, ze, t),
            word(by_heat),
        ),
    )
    .marked(limit.mark);
    let only_corrected = ((outcome, by_rule) == (Outcome::Pass, Truth::No)).then(|| {
        format!(
            "By the rule of thumb it may read {cold} cold; corrected to {running} °C it is {hot}, and \
             the limit is {} Ω.",
            limit.shown
        )
    });
    if limit.stricter && holds != Truth::Yes {
        verdict = verdict.remarked(format!(
            "The limit is for {} s, stricter than this circuit needs; take the right one from the \
             standard.",
            tidy(limit.seconds)
        ));
    }
    let verdict = match (outcome, facts.rcd) {
        (Outcome::Pass, _) | (_, None) => verdict,
        (_, Some(rcd)) => {
            let by_rcd = earth_loop::rcd_maximum(tables, rcd.milliamps);
            if value.is_at_most(by_rcd) != Truth::Yes {
                return (verdict, only_corrected);
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
    };
    (verdict, only_corrected)
}

/// The sum that takes a cold reading to running temperature; from and to, where Ze is bounded only.
fn corrected(tables: &Tables, value: Ohms, ze: Option<Ohms>, t: Celsius) -> String {
    let (factor, _) = earth_loop::heating_factor(tables, t);
    let factor = tidy(factor);
    let with = |ze: f64| earth_loop::running_zs(tables, value, Some(Ohms::exact(ze)), t);
    let sum = |ze: f64| {
        let (hot, read, ze) = (with(ze), value.shown(), tidy(ze));
        format!("{ze} + ({read} - {ze}) × {factor} = {hot}")
    };
    let all = || {
        let hot = with(0.0);
        format!("{} × {factor} = {hot}", value.shown())
    };
    match ze {
        Some(ze) if ze.is_unbounded() => {
            format!("external part not known, up to {}", all())
        }
        Some(ze) => match ze.value() {
            Some(measured) => sum(measured),
            None => format!(
                "Ze at most {}, from {}, to {}",
                tidy(ze.high()),
                sum(ze.high()),
                all()
            ),
        },
        None => format!("external part not known, up to {}", all()),
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
        "{}; {} + (R1+R2) {} = {}",
        verdict.arithmetic,
        match ze.value() {
            Some(ze) => format!("Ze {}", tidy(ze)),
            None => format!("Ze at most {}", tidy(ze.high())),
        },
        r1_r2.shown(),
        Ohms::exact(sum.high()),
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
