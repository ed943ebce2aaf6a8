//! Voltage of the supply at the incoming terminals.

use super::typed;
use crate::limits::tables::TABLE_VOLTS;
use crate::limits::words::said;
use crate::limits::{Tables, Verdict};
use crate::quantity::{Conductors, Pair, Reading, Truth, Volts, measure};

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
    let between_lines = !pair.to_earth() && pair.to() != Conductors::N;
    let nominal = if between_lines {
        super::between_lines(tables, declared)
    } else {
        declared
    };
    let low = nominal * (100.0 - table.minus_percent) / 100.0;
    let high = nominal * (100.0 + table.plus_percent) / 100.0;
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
