//! Limits.

mod kinds;

pub use kinds::{DeviceKind, Earthing, Phases, RcdDelay, Serves, SystemVoltage};
