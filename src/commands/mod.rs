//! One file per subcommand; wiring only.

pub mod check;
pub mod conduct;
pub mod hear;
pub mod score;
pub mod sources;
pub mod test;
