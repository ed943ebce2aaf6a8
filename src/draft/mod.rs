//! New job files: from a template, from a table of circuits, or from answers to questions.

mod groups;
mod interview;
mod made;
mod piece;
mod table;
mod template;
mod told;
mod words;

pub use interview::Interview;
pub use table::{boards_of_table, draft_of_schedule};
pub use template::{BoardDraft, Draft};
pub use told::{read_back, spoken};
pub use words::{CircuitWords, added, pieces};
