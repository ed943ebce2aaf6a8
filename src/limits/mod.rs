//! What a reading is compared with: tables with their published source, formulas, and verdicts.
//!
//! Every number comes from one table, `tables.toml`, which names its edition; an edited copy can
//! take its place ([`Tables::load`]). Formulas take bounds and give bounds, see
//! [`Bounded`](crate::quantity::Bounded); a [`Verdict`] names the limit, its clause and edition, and
//! the sum in one line.
//!
//! Nothing here knows of jobs, sessions or sound. The person decides; local rules and the maker's
//! instructions come first.

pub mod conductor;
pub mod earth_loop;
mod facts;
pub mod insulation;
pub mod judge;
mod kinds;
pub mod rcd;
pub mod ring;
pub mod tables;
mod verdict;

pub use facts::{Facts, Overcurrent, Residual, Run};
pub use kinds::{DeviceKind, Earthing, Phases, RcdDelay, Serves, SystemVoltage};
pub use tables::{Tables, TablesError};
pub use verdict::{Finding, Outcome, Verdict};
