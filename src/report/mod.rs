//! Paper from a log: the schedule of test results as HTML, PDF, CSV and JSON, and the session as
//! a readable dialogue. Everything is made from the events alone: the same log gives the same
//! pages on any machine.
//!
//! ```text
//! log::Log -> Schedule -> html, csv, json, pdf
//!          -> Exchanges -> dialogue_text, dialogue_jsonl
//! ```

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
pub use csv::csv;
pub use dialogue::{
    Exchange, ProgramLine, Wanted, dialogue, dialogue_jsonl, dialogue_text, follow,
};
pub use exceptions::Exception;
pub use expected::{Expected, expected, expected_text};
pub use html::html;
pub use json::json;
pub use pdf::pdf;
pub use print::PdfError;
pub(crate) use schedule::zs_maximum;
pub use schedule::{
    BoardSchedule, Check, CircuitRow, Departure, InstrumentRow, Limitation, OpenItem, OutRow,
    OverrideRow, RECORD_OF, Schedule, SupplyFacts,
};
pub use words::Times;
