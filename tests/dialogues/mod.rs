//! Dialogues: what a person says and what the program answers.

mod golden;
pub mod plain;
mod spoken;
pub mod typed;
pub mod world;
