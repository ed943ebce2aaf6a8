//! One file per subcommand; wiring only.

pub mod conduct;
pub mod devices;
pub mod doctor;
#[cfg(feature = "microphone")]
pub mod live;
pub mod sources;
pub mod test;
