//! Practice on a simulated installation, as a learner goes through it in words, and its marks.

mod command;
mod habits;
mod learner;
mod levels;
mod marks;
mod stamped;
