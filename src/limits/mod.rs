//! What a reading is compared with: tables with their published source, formulas, and verdicts.
//!
//! Every number comes from one table, `tables.toml`, which names its edition; an edited copy can
//! take its place ([`Tables::load`]). Formulas take bounds and give bounds, see
//! [`Bounded`](crate::quantity::Bounded); a [`Verdict`] names the limit, its clause and edition, and
//! the sum in one line.
//!
//! - [`conductor`], [`ring`], [`insulation`], [`earth_loop`], [`rcd`]: the formulas, pure functions.
//! - [`judge`]: one function per kind of reading, for a session to call.
//! - [`CircuitFacts`]: what the limits need to know of a circuit; a job makes them (`Job::facts`).
//!
//! # Checks against something outside
//!
//! - `tests/tables/*.tsv`: more than 200 rows of published tables and worked values, each with its
//!   source and how well it is known, computed to the last printed digit; and every sum in a
//!   verdict worked out again from its own line: `cargo test --test it limits::tables`.
//! - `tests/limits/ring.rs`: rings as networks, solved by nodal analysis.
//! - `tests/limits/judge.rs`: what a session is told of each reading; properties of the formulas.
//!
//! Values marked `memory` in the table await a bought copy of the standard, and every verdict that
//! rests on one says so.
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
pub mod words;

pub use facts::{Acts, CableMake, CableRun, CircuitFacts, Overcurrent, Residual};
pub use kinds::{
    CableInsulation, CircuitUse, CpcIs, DeviceKind, Earthing, Metal, Phases, RcdDelay,
    SystemVoltage,
};
pub use tables::{Provenance, Tables, TablesError};
pub use verdict::{Finding, Outcome, Verdict};
pub use words::Said;
