//! Practice on a simulated installation, as a learner goes through it in words, and its marks.

mod command;
mod every_job;
mod habits;
pub mod learner;
mod levels;
mod loose;
mod marks;
mod read_back;
mod stamped;
