//! Ze and Zs.

use super::{arrow, look_unless, test_temperature, typed};
use crate::limits::earth_loop::{self, MaximumZs};
use crate::limits::words::{Said, Words, said};
use crate::limits::{CircuitFacts, Earthing, Finding, Outcome, Tables, Verdict};
use crate::quantity::{Celsius, Ohms, Reading, Truth, Volts, measure};

/// What else is known when Zs is judged.
#[derive(Debug, Clone, Copy, Default)]
pub struct LoopContext<'r> {
    /// Ze (or Zdb) as measured; the declared one counts when nothing was measured.
    pub ze: Option<&'r Reading>,
    /// R1+R2 of the circuit as measured.
    pub r1_r2: Option<&'r Reading>,
}

/// Zs at the furthest point: against the device's limit, cold by the 0.8 rule and hot by proper
/// temperature correction side by side, and beside Ze + (R1+R2). On a TT system with an RCD
/// against 50 V ÷ IΔn.
pub fn zs(
    tables: &Tables,
    facts: &CircuitFacts,
    reading: &Reading,
    beside: LoopContext<'_>,
) -> Verdict {
    let clause = &tables.earth_loop.clause;
    let value: Ohms = match typed(tables, reading, None, &said!(Zs), clause) {
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
    let mut verdict = unbounded_remark(reading, value, verdict);
    if let Some(ze) = ze
        && ze.is_at_most(value) == Truth::No
    {
        verdict = verdict.found(Finding::ParallelPath, said!(LowerThanZe, ze));
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
        let value: Ohms = match typed(tables, reading, None, &said!(ElectrodeIs), clause) {
            Ok(value) => value,
            Err(verdict) => return *verdict,
        };
        return unbounded_remark(reading, value, zs_by_rcd(tables, facts, value));
    }
    let usual = earth_loop::usual_ze(tables, facts.earthing);
    let (limit, clause) = (usual, &tables.external.clause);
    let text = said!(UsuallyAtMost, limit, facts.earthing.name());
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
        verdict = verdict.and_sum(said!(Declared, most));
        if holds != Truth::No && value.is_at_most(most) == Truth::No {
            verdict = verdict.found(Finding::HigherThanDeclared, said!(HigherThanDeclared, most));
        }
    }
    if holds == Truth::No {
        verdict = verdict.found(Finding::HigherThanDeclared, said!(HigherThanUsual));
    }
    unbounded_remark(reading, value, verdict)
}

/// Whether an external loop by itself is more than any overcurrent device of these circuits allows for Zs: no
/// TN system has such an earth, whatever RCDs there are. BS 7671 411.4.4. Circuits whose limit is not known, or
/// only from a stricter table, tell nothing; without any other it is not so.
pub fn no_device_operates(tables: &Tables, circuits: &[CircuitFacts], reading: &Reading) -> bool {
    let Ok(value) = Ohms::from_reading(reading, None) else {
        return false;
    };
    let tn = circuits.iter().all(|facts| facts.earthing != Earthing::Tt);
    let limits = circuits.iter().filter_map(|facts| zs_limit(tables, facts));
    let mut known = limits.filter(|limit| !limit.stricter).peekable();
    tn && known.peek().is_some() && known.all(|limit| value.is_at_most(limit.ohms) == Truth::No)
}

/// The largest Zs that the overcurrent device allows for the time that applies.
pub fn zs_limit(tables: &Tables, facts: &CircuitFacts) -> Option<MaximumZs> {
    let (seconds, _) = earth_loop::disconnection_time(tables, facts)?;
    let device = facts.device.as_ref()?;
    let limit = earth_loop::maximum_zs(tables, device, facts.u0, seconds)?;
    Some(match &facts.device_source {
        Some(source) => MaximumZs {
            clause: source.clone(),
            ..limit
        },
        None => limit,
    })
}

/// The largest Zs that may be read on a circuit, in hundredths of an ohm, as an instrument shows it:
/// the largest that [`zs`] finds within its limit, with Ze as measured where it was. Beside it the
/// limit at working temperature is no number to compare a reading with.
pub fn zs_read_at_most(
    tables: &Tables,
    facts: &CircuitFacts,
    measured: Option<&Reading>,
) -> Option<Ohms> {
    if let (Earthing::Tt, Some(rcd)) = (facts.earthing, &facts.rcd) {
        return Some(earth_loop::rcd_maximum(tables, rcd.milliamps));
    }
    let most = zs_limit(tables, facts)?.ohms.value()?;
    let ze = measured
        .and_then(|reading| Ohms::from_reading(reading, None).ok())
        .or(facts.ze);
    let passes = |ohms: &Ohms| {
        let through = ze.filter(|ze| ze.is_at_most(*ohms) != Truth::No);
        zs_by_overcurrent(tables, facts, *ohms, through).0.outcome == Outcome::Pass
    };
    // What heat takes off a limit is never more than half of it, and no limit is that large.
    let hundredths = (most * 100.0 + 1e-6).floor();
    if !(0.0..1e6).contains(&hundredths) {
        return None;
    }
    (0..=(hundredths / 2.0) as u32)
        .map(|less| Ohms::exact((hundredths - f64::from(less)) / 100.0))
        .find(passes)
}

/// An open loop shows over range. "Over" a number that the limit lies above says nothing of continuity, and
/// nothing of the limit.
fn unbounded_remark(reading: &Reading, value: Ohms, verdict: Verdict) -> Verdict {
    let outside = verdict.outcome == Outcome::Fail;
    if value.is_unbounded() && (reading.number.is_none() || outside) {
        verdict.found(Finding::Open, said!(NoLoopMeasured))
    } else {
        verdict
    }
}

fn zs_by_rcd(tables: &Tables, facts: &CircuitFacts, value: Ohms) -> Verdict {
    let clause = &tables.tt.clause;
    let Some(rcd) = facts.rcd else {
        return nothing_to_compare(tables, clause, said!(Read, value));
    };
    let limit = earth_loop::rcd_maximum(tables, rcd.milliamps);
    let holds = value.is_at_most(limit);
    let volts = Volts::exact(tables.tt.touch_volts);
    let amps = rcd.milliamps.to::<measure::Amp>();
    let sum = said!(TouchVoltsOver, volts, amps, limit);
    let verdict = Verdict::new(
        tables,
        holds.into(),
        said!(AtMostWithRcd, limit, rcd.milliamps),
        clause,
        sum.and(Words::Sums, arrow(holds, value, limit)),
    );
    let stable = Ohms::exact(tables.tt.stable_ohms);
    if holds == Truth::Yes && value.is_at_most(stable) == Truth::No {
        return verdict.found(Finding::UnstableElectrode, said!(UnstableElectrode, stable));
    }
    verdict
}

fn nothing_to_compare(tables: &Tables, clause: &str, arithmetic: Said) -> Verdict {
    Verdict::new(
        tables,
        Outcome::CannotSay,
        said!(NoLimit),
        clause,
        arithmetic,
    )
    .remarked(said!(TakeTheLimit))
}

/// By the overcurrent device, and what to say where it holds only when corrected for heat.
fn zs_by_overcurrent(
    tables: &Tables,
    facts: &CircuitFacts,
    value: Ohms,
    ze: Option<Ohms>,
) -> (Verdict, Option<Said>) {
    let Some(limit) = zs_limit(tables, facts) else {
        let clause = &tables.earth_loop.clause;
        let verdict = nothing_to_compare(tables, clause, said!(Read, value));
        return (verdict, None);
    };
    let text = match earth_loop::disconnection_time(tables, facts) {
        Some((seconds, clause)) => said!(AtMostIn, limit.shown, seconds, clause),
        None => said!(AtMostOhms, limit.shown),
    };
    let t = test_temperature(tables, facts);
    let cold = limit.cold(tables);
    let running = facts.running_celsius(tables);
    let hot = earth_loop::running_zs(tables, value, ze, t, running);
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
    let mut verdict = Verdict::new(
        tables,
        outcome,
        text,
        &limit.clause,
        said!(
            ColdAndHot,
            limit.arithmetic,
            tables.loop_cold.factor,
            limit.shown,
            cold,
            value,
            word(by_rule),
            running,
            corrected(tables, value, ze, t, running),
            word(by_heat),
        ),
    )
    .marked(limit.mark);
    let only_corrected = ((outcome, by_rule) == (Outcome::Pass, Truth::No))
        .then(|| said!(OnlyCorrected, cold, running, hot, limit.shown));
    if limit.stricter && holds != Truth::Yes {
        verdict = verdict.remarked(said!(StricterTable, limit.seconds));
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
                said!(
                    RestsOnRcd,
                    rcd.milliamps,
                    tables.tt.touch_volts,
                    rcd.milliamps.to::<measure::Amp>(),
                    by_rcd
                ),
            )
        }
    };
    (verdict, only_corrected)
}

/// The sum that takes a cold reading to running temperature; from and to, where Ze is bounded only.
fn corrected(tables: &Tables, value: Ohms, ze: Option<Ohms>, t: Celsius, running: f64) -> Said {
    let (factor, _) = earth_loop::heating_factor(tables, t, running);
    let with = |ze: f64| earth_loop::running_zs(tables, value, Some(Ohms::exact(ze)), t, running);
    let sum = |ze: f64| said!(CorrectedSum, ze, value.shown(), ze, factor, with(ze));
    let all = || said!(CorrectedAll, value.shown(), factor, with(0.0));
    match ze.filter(|ze| !ze.is_unbounded()) {
        Some(ze) => match ze.value() {
            Some(measured) => sum(measured),
            None => said!(BetweenCorrected, ze.high(), sum(ze.high()), all()),
        },
        None => said!(NotKnownUpTo, all()),
    }
}

fn word(holds: Truth) -> Said {
    match holds {
        Truth::Yes => said!(Within),
        Truth::No => said!(Outside),
        Truth::CannotSay => said!(CannotSay),
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
    let most = Ohms::exact(sum.high());
    verdict = verdict.and_sum(match ze.value() {
        Some(ze) => said!(ZeSum, ze, r1_r2.shown(), most),
        None => said!(ZeBoundSum, ze.high(), r1_r2.shown(), most),
    });
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
        verdict.found(Finding::SlippedDecimal, said!(TenTimesSum, sum))
    } else if value.high() < sum.low() {
        verdict.found(Finding::ParallelPath, said!(LowerThanSum, sum))
    } else {
        verdict.found(Finding::HigherThanSum, said!(HigherThanSum, sum))
    }
}
