//! One file per subcommand; wiring only.

pub mod check;
