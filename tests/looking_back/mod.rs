//! Reports and the review pages.

pub mod browser;
mod group;
mod in_a_browser;
pub mod rehearsal;
mod reports;
