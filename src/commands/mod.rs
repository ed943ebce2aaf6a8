//! One file per subcommand; wiring only.

pub mod check;
pub mod conduct;
pub mod hear;
pub mod score;
pub mod sources;
pub mod test;
//! One file for each subcommand; wiring only.

pub mod export;
pub mod import;
pub mod merge;
pub mod verify;
