//! Dialogues: what a person says and what the program answers.

mod audits;
mod golden;
pub mod plain;
mod spoken;
pub mod trade_english;
pub mod typed;
pub mod world;
