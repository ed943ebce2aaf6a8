//! One file per subcommand; wiring only.

pub mod conduct;
pub mod sources;
pub mod test;
