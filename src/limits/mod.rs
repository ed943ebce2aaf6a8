//! Limits.

mod kinds;
mod verdict;
pub use verdict::{Outcome, Verdict, judge};

pub use kinds::{DeviceKind, Earthing, Phases, RcdDelay, Serves, SystemVoltage};
