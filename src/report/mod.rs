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
mod changed;
mod columns;
mod csv;
mod customer;
mod dialogue;
mod exceptions;
mod expected;
mod form;
mod front;
mod html;
mod inspection;
mod json;
mod labels;
mod lessons;
mod letterhead;
mod letters;
mod marks;
mod page;
mod palette;
mod pdf;
mod photo;
mod print;
mod schedule;
mod standing;
mod table;
pub mod words;

pub use cells::{Cell, Cells, ReadingRow};
pub use changed::{ReadingChange, Since, changes, changes_since, changes_text};
pub use csv::{csv, csv_headings, csv_of_threads};
pub use customer::{customer_html, customer_pdf};
pub use dialogue::{
    Exchange, Only, ProgramLine, WantedExchanges, dialogue, dialogue_jsonl, dialogue_text, follow,
    threads,
};
pub use exceptions::Exception;
pub use expected::{COLUMNS, ExpectedReadings, expected, expected_text};
pub use form::FormCells;
pub use front::{KeyCells, KeyResult};
pub use html::{html, html_of_threads};
pub use inspection::{
    InspectionReport, ItemRow, ObservationRow, OutcomeRow, PhotoRow, SectionRows,
};
pub use json::{json, json_of_threads};
pub use labels::{labels_html, labels_pdf};
pub use lessons::{Lesson, LessonKind, lessons};
pub use letterhead::{Letterhead, Logo, LogoError};
pub(crate) use marks::{
    Leads, MARKS_OF, MarksPage, attempt_named, beside_page, group_page, sheet_page,
};
pub use marks::{SoundsByHash, group_html, group_pdf, marks_csv, sheet_html, sheet_pdf};
pub(crate) use palette::{PALETTE, TABLES};
pub use pdf::{pdf, pdf_of_threads};
pub use photo::can_be_printed;
pub use print::PdfError;
pub(crate) use schedule::zs_maximum;
pub use schedule::{
    BoardSchedule, Check, CircuitRow, Departure, HeadingRow, HeadingValue, InstrumentRow,
    Limitation, NoteRow, OpenItem, OutRow, OverrideRow, PRACTICE_OF, PairRead, RECORD_OF, Schedule,
    SupplyFacts,
};
pub use standing::Standing;
pub use words::Times;
