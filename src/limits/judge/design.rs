//! What measured values say of the design: the size of the cpc, voltage drop.

use super::{arrow, look_unless, test_temperature, typed};
use crate::limits::earth_loop::{self, Clearing};
use crate::limits::words::said;
use crate::limits::{CircuitFacts, CircuitUse, Finding, Outcome, Phases, Tables, Verdict};
use crate::quantity::{Amps, Ohms, Reading, Truth};

/// Whether the cpc stands the heat of a fault (543.1.3): S ≥ √(I²t) ÷ k, from Zs as measured.
///
/// t is the longest time in which the tables say that the device clears that current. Under a tenth
/// of a second the maker's let-through energy decides: what the cpc stands, k²S², is given beside it,
/// and nothing passes or fails. Nothing without a cable and a device.
pub fn cpc_size(tables: &Tables, facts: &CircuitFacts, zs: &Reading) -> Option<Verdict> {
    let run = facts.cable.as_ref()?;
    let device = facts.device.as_ref()?;
    let (k, _, clause) = tables.k_of_cpc(run.made);
    let text = said!(CpcNoSmaller, run.cpc);
    let value: Ohms = match typed(tables, zs, None, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return Some(*verdict),
    };
    let current: Amps = facts.u0 / value;
    let i = said!(Current, facts.u0, value, current);
    let seconds = match earth_loop::clearing(tables, device, current) {
        Clearing::Within(seconds) => seconds,
        Clearing::Under(seconds) => {
            let stands = k * k * run.cpc.low() * run.cpc.low();
            let text = said!(ByMakersEnergy, run.cpc);
            let verdict = Verdict::new(
                tables,
                Outcome::CannotSay,
                text,
                clause,
                said!(
                    ClearedUnder,
                    i,
                    seconds,
                    k,
                    run.cpc.shown(),
                    format!("{stands:.0}")
                ),
            );
            return Some(verdict.found(Finding::MakersEnergy, said!(MakersEnergy)));
        }
        Clearing::NotSaid => {
            let verdict = Verdict::new(tables, Outcome::CannotSay, text, clause, i);
            return Some(verdict.remarked(said!(ClearingNotSaid)));
        }
    };
    let least = earth_loop::least_cpc(current, seconds, k);
    let holds = run.cpc.is_at_least(least);
    let verdict = Verdict::new(
        tables,
        look_unless(holds),
        text,
        clause,
        said!(HeatSum, i, current.shown(), seconds, k, least, run.cpc),
    );
    Some(match holds {
        Truth::Yes => verdict,
        Truth::No | Truth::CannotSay => verdict.remarked(said!(LongestTime)),
    })
}

/// Voltage drop at the furthest point from R1+Rn as read, the device's rated current flowing and
/// the conductors hot, against 3 % for lighting and 5 % for the rest.
///
/// `load` is the design current where known; the rated current of the device otherwise. On a
/// ring, pass (r1+rn)/4. Nothing without a device or a load.
pub fn voltage_drop(
    tables: &Tables,
    facts: &CircuitFacts,
    r1_rn: &Reading,
    load: Option<Amps>,
) -> Option<Verdict> {
    let load = load.or(facts.device.map(|d| d.amps))?;
    let clause = &tables.voltage_drop.clause;
    let percent = match facts.serves {
        CircuitUse::Lighting => tables.voltage_drop.lighting_percent,
        _ => tables.voltage_drop.other_percent,
    };
    let limit = facts.u0.times(percent / 100.0);
    let text = said!(PercentIs, percent, limit);
    let value: Ohms = match typed(tables, r1_rn, None, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return Some(*verdict),
    };
    let t = test_temperature(tables, facts);
    let running = facts.running_celsius(tables);
    // A balanced three-phase load returns nothing through the neutral: half of line and neutral.
    let value = match facts.phases {
        Phases::Single => value,
        Phases::Three => value.times(0.5),
    };
    let drop = earth_loop::voltage_drop(tables, load, value, t, running);
    let (factor, _) = earth_loop::heating_factor(tables, t, running);
    let holds = drop.is_at_most(limit);
    let against = arrow(holds, drop, limit);
    Some(
        Verdict::new(
            tables,
            look_unless(holds),
            text,
            clause,
            match facts.phases {
                Phases::Single => said!(DropSum, load, value, factor, against),
                Phases::Three => said!(DropSumBalanced, load, value, factor, against),
            },
        )
        .remarked(said!(AllAtTheEnd)),
    )
}
