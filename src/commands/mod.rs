//! One file per subcommand; wiring only.

pub mod log;
pub mod schedule;
