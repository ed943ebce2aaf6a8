//! Voltage of the supply at the incoming terminals.

use super::typed;
use crate::limits::tables::TABLE_VOLTS;
use crate::limits::words::said;
use crate::limits::{Outcome, Tables, Verdict};
use crate::quantity::{Bounded, Conductors, Pair, Reading, Truth, Volts, measure};

/// The nominal voltage between two lines, where that of a line to neutral is `declared`.
pub fn between_lines(tables: &Tables, declared: f64) -> f64 {
    declared * tables.supply_voltage.line_volts / TABLE_VOLTS
}

/// The voltage of the supply between a line and neutral or earth, or between two lines, against what
/// a distributor may supply; `declared` is that of a line to neutral. Nothing for neutral to earth, which
/// has no limit, unless it is as dangerous to touch as a line.
pub fn supply_voltage(
    tables: &Tables,
    declared: f64,
    pair: Pair,
    reading: &Reading,
) -> Option<Verdict> {
    if pair.from() == Conductors::N {
        return neutral_to_earth(tables, reading);
    }
    let table = &tables.supply_voltage;
    let nominal = nominal(tables, declared, pair);
    let (low, high) = limits_of(tables, declared, pair);
    let allowed = Volts::between(low, high);
    let text = said!(VoltsBetween, Volts::exact(low), Volts::exact(high));
    let value = match typed::<measure::Volt>(tables, reading, None, &text, &table.clause) {
        Ok(value) => value,
        Err(verdict) => return Some(*verdict),
    };
    let holds = value.is_within(allowed);
    let sum = said!(
        VoltsSum,
        Volts::exact(nominal),
        table.plus_percent,
        table.minus_percent,
        value
    );
    let verdict = Verdict::new(tables, holds.into(), text, &table.clause, sum);
    Some(match holds {
        Truth::No => verdict.remarked(said!(VoltsOutside)),
        Truth::Yes | Truth::CannotSay => verdict,
    })
}

/// So far past what a distributor may supply, as a share of it, a voltage is no variation: line and neutral
/// reversed, a neutral or a phase lost, or another phase. The figure is ours and no standard's.
const FAR: f64 = 0.1;

/// Whether a voltage at the incoming terminals shows that the supply is not what it is said to be: far outside
/// its limits, or a neutral that is as dangerous to touch as a line.
pub fn is_no_supply(tables: &Tables, declared: f64, pair: Pair, reading: &Reading) -> bool {
    if pair.from() == Conductors::N {
        return neutral_to_earth(tables, reading).is_some_and(|v| v.outcome == Outcome::Fail);
    }
    let (low, high) = limits_of(tables, declared, pair);
    let far = Volts::between(low * (1.0 - FAR), high * (1.0 + FAR));
    Bounded::<measure::Volt>::from_reading(reading, None)
        .is_ok_and(|value| value.is_within(far) == Truth::No)
}

/// The least and the most that a distributor may supply between these.
fn limits_of(tables: &Tables, declared: f64, pair: Pair) -> (f64, f64) {
    let table = &tables.supply_voltage;
    let nominal = nominal(tables, declared, pair);
    (
        nominal * (100.0 - table.minus_percent) / 100.0,
        nominal * (100.0 + table.plus_percent) / 100.0,
    )
}

fn nominal(tables: &Tables, declared: f64, pair: Pair) -> f64 {
    let lines = !pair.to_earth() && pair.to() != Conductors::N;
    if lines {
        between_lines(tables, declared)
    } else {
        declared
    }
}

/// Neutral to earth past the touch voltage of BS 7671 411.5.3, 50 V: common practice.
fn neutral_to_earth(tables: &Tables, reading: &Reading) -> Option<Verdict> {
    let most = Volts::exact(tables.tt.touch_volts);
    let text = said!(VoltsToEarth, most);
    let clause = "common practice";
    let value = match typed::<measure::Volt>(tables, reading, None, &text, clause) {
        Ok(value) => value,
        Err(verdict) => return Some(*verdict),
    };
    (value.is_at_most(most) == Truth::No).then(|| {
        let sum = said!(VoltsAtNeutral, value);
        let verdict = Verdict::new(tables, Truth::No.into(), text, clause, sum);
        verdict.remarked(said!(NeutralIsLive))
    })
}
