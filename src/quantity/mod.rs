//! Readings as they are said and shown: a number with the digits it was given, how it relates to
//! the true value, its unit, the conductors it was taken between and the test voltage.

mod conductor;
mod number;
mod reading;

pub use conductor::{Conductors, Pair};
pub use number::{Number, NumberError};
pub use reading::{Reading, Relation, TestVoltage, Unit};
