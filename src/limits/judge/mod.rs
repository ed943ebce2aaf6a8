//! One function per kind of reading: what a session asks when a reading has been said.
//!
//! Each takes the [`Tables`], the [`CircuitFacts`] of the circuit and the reading as it was said, and
//! gives a [`Verdict`]. A unit that was not said is the test's own: Ω for continuity and loop,
//! MΩ for insulation, kA for fault current, ms for RCDs. Readings are compared as shown; the error
//! of the instrument is the person's business.

mod continuity;
mod design;
mod earth_loop;
mod fault_current;
mod insulation;
mod ring;
mod supply_voltage;
mod tester;

use super::facts::CircuitFacts;
use super::tables::Tables;
use super::verdict::{Finding, Outcome, Verdict};
use super::words::{Said, ToSaid as _, said};
use crate::quantity::{Bounded, Celsius, Dimension, Ohms, Reading, Truth};

pub use super::rcd::{Multiple, slower};
pub use continuity::{
    R1R2Limit, SupplementaryLimit, TakenAt, below_leads, bonding, r1_r2, r1_r2_limit, r2,
    supplementary_bond, supplementary_limit,
};
pub use design::{cpc_size, voltage_drop};
pub use earth_loop::{LoopContext, no_device_operates, ze, zs, zs_limit, zs_read_at_most};
pub use fault_current::{beside_ze, fault_current};
pub use insulation::{insulation, insulation_pattern};
pub use ring::{ring, ring_end, ring_ends, ring_point};
pub use supply_voltage::{between_lines, is_no_supply, supply_voltage};
pub use tester::tester;

/// One RCD trip time; see [`super::rcd::verdict`]. Nothing when the circuit has no RCD.
pub fn rcd(
    tables: &Tables,
    facts: &CircuitFacts,
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

/// Temperature of the conductors during the test.
fn test_temperature(tables: &Tables, facts: &CircuitFacts) -> Celsius {
    facts
        .temperature
        .unwrap_or(Celsius::exact(tables.temperature.test_celsius))
}

/// The reading in its unit, or the verdict that it is in another kind of unit.
fn typed<M: Dimension>(
    tables: &Tables,
    reading: &Reading,
    range: Option<f64>,
    limit: &Said,
    clause: &str,
) -> Result<Bounded<M>, Box<Verdict>> {
    Bounded::from_reading(reading, range).map_err(|wrong| {
        let outcome = Outcome::CannotSay;
        let verdict = Verdict::new(tables, outcome, limit.clone(), clause, reading.to_said());
        Box::new(verdict.found(Finding::WrongUnit, wrong.to_said()))
    })
}

fn continuity(
    tables: &Tables,
    reading: &Reading,
    limit: &Said,
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

/// Something of common practice that does not hold is a reason to look again, not to fail.
fn look_unless(holds: Truth) -> Outcome {
    match holds {
        Truth::Yes => Outcome::Pass,
        Truth::No | Truth::CannotSay => Outcome::CannotSay,
    }
}

/// "0.45 Ω is not more than 0.9 Ω".
fn arrow<M: Dimension>(holds: Truth, value: Bounded<M>, limit: Bounded<M>) -> Said {
    match holds {
        Truth::Yes => said!(NotMoreThan, value, limit),
        Truth::No => said!(MoreThan, value, limit),
        Truth::CannotSay => said!(Against, value, limit),
    }
}
