//! Reports and the review pages.

pub mod browser;
mod in_a_browser;
pub mod rehearsal;
mod reports;
