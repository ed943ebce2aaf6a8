//! Paper from a log: the schedule of test results as HTML, PDF, CSV and JSON, and the session as
//! a readable dialogue. Everything is made from the events alone: the same log gives the same
//! pages on any machine.
//!
//! ```text
//! log::Log -> Schedule -> html, csv, json, pdf
//!          -> Exchanges -> dialogue_text, dialogue_jsonl
//! ```
//!
//! A merged log is several sessions: each has a schedule and a dialogue of its own, which say
//! whose they are (`..._of_threads`).

mod cells;
mod columns;
mod csv;
mod dialogue;
mod exceptions;
mod expected;
mod html;
mod json;
mod letters;
mod page;
mod pdf;
mod print;
mod schedule;
mod table;
pub mod words;

pub use cells::{Cell, Cells, ReadingRow};
pub use csv::{csv, csv_of_threads};
pub use dialogue::{
    Exchange, ProgramLine, Wanted, dialogue, dialogue_jsonl, dialogue_text, follow, threads,
};
pub use exceptions::Exception;
pub use expected::{COLUMNS, Expected, expected, expected_text};
pub use html::{html, html_of_threads};
pub use json::{json, json_of_threads};
pub use pdf::{pdf, pdf_of_threads};
pub use print::PdfError;
pub(crate) use schedule::zs_maximum;
pub use schedule::{
    BoardSchedule, Check, CircuitRow, Departure, InstrumentRow, Limitation, NoteRow, OpenItem,
    OutRow, OverrideRow, RECORD_OF, Schedule, SupplyFacts,
};
pub use words::Times;
