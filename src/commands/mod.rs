//! One file for each subcommand; wiring only.

pub mod export;
pub mod import;
pub mod merge;
pub mod verify;
