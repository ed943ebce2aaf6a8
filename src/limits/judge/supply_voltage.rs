//! Voltage of the supply at the incoming terminals.

use super::typed;
use crate::limits::tables::TABLE_VOLTS;
use crate::limits::words::said;
use crate::limits::{Tables, Verdict};
use crate::quantity::{Conductors, Pair, Reading, Truth, Volts, measure};

/// The voltage of the supply between a line and neutral or earth, or between two lines, against what
/// a distributor may supply; `declared` is that of a line to neutral. Nothing for neutral to earth,
/// which has no limit.
pub fn supply_voltage(
    tables: &Tables,
    declared: f64,
    pair: Pair,
    reading: &Reading,
) -> Option<Verdict> {
    if pair.from() == Conductors::N {
        return None;
    }
    let table = &tables.supply_voltage;
    let between_lines = !pair.to_earth() && pair.to() != Conductors::N;
    let nominal = if between_lines {
        declared * table.line_volts / TABLE_VOLTS
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
