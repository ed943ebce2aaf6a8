//! Reports and the review pages.

pub mod browser;
mod form;
mod forty;
mod group;
pub mod in_a_browser;
mod inspected;
mod old_board;
pub mod rehearsal;
pub mod reports;
