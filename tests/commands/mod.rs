//! The program as it is started: its options and what it says to bad ones.

mod bad_input;
pub mod begin;
mod conventions;
mod engine;
mod last_visit;
mod log_taken_up;
pub mod screen;
