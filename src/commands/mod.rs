//! One file per subcommand; wiring only.

pub mod check;
pub mod conduct;
pub mod demo;
pub mod devices;
pub mod doctor;
pub mod engine;
pub mod export;
#[cfg(feature = "hand-in")]
pub mod hand_in;
pub mod hear;
pub mod import;
#[cfg(feature = "microphone")]
pub mod live;
pub mod log;
pub mod merge;
pub mod rehearse;
pub mod review;
pub mod schedule;
pub mod score;
pub mod screen;
pub mod sources;
pub mod test;
pub mod verify;
