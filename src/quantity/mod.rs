//! Readings as they are said and shown: a number with the digits it was given, how it relates to
//! the true value, its unit, the conductors it was taken between and the test voltage.
//!
//! For arithmetic a [`Reading`] becomes a typed quantity, [`Ohms`], [`MegOhms`] and so on: an
//! interval that holds the true value, in a unit that the compiler checks.

mod conductor;
mod number;
mod reading;
mod typed;
mod written;

pub use conductor::{Conductors, Pair};
pub use number::{Number, NumberError};
pub use reading::{Reading, Relation, TestVoltage, Unit};
pub use typed::{
    Amps, Bounded, Celsius, Dimension, KiloAmps, MegOhms, Metres, MilliAmps, MilliOhms,
    MilliSeconds, Ohms, SquareMillimetres, Truth, Volts, WrongUnit, kind, measure, tidy,
};
pub use written::{NotAValue, parse_value};
