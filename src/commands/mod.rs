//! One file per subcommand; wiring only.

pub mod hear;
pub mod score;
