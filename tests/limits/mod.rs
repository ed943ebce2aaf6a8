//! Job files, tables of limits, and what is said of each reading.

mod check;
mod job;
mod judge;
mod ring;
mod schema;
mod tables;
