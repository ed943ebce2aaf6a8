//! One file per subcommand; wiring only.

pub mod conduct;
pub mod export;
pub mod import;
pub mod merge;
pub mod sources;
pub mod test;
pub mod verify;
