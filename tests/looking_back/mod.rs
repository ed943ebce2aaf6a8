//! Reports and the review pages.

mod browser;
mod in_a_browser;
mod rehearsal;
mod reports;
