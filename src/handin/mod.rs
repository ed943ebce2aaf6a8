//! Logs handed in to a PostgreSQL server, for a college or a firm that has outgrown one machine.
//!
//! A log on the server is named by the id of its first event. What a merged log was put together
//! from is handed in as the logs it came from, so it does not matter whether they come one by one
//! or merged. Events go in batches, each in one transaction with the evidence it rests on: after
//! an interruption the next run goes on from what the server has. The server keeps the very text
//! that every hash is made of, checks the hashes itself, and refuses to change or delete anything.
//!
//! `schema.sql` has the tables, and the views to read them by.

mod address;
mod connect;
mod error;
mod file;
mod fold;
mod migrate;
mod send;

pub use address::{Address, AddressError, Encryption, password_in};
pub use connect::{connect, trusted_roots};
pub use error::{Diverged, HandInError};
pub use file::{Failure, hand_in_file};
pub use fold::{Folded, FoldedRow, Marks, RefusalRow, folded};
pub use migrate::{SCHEMA_VERSION, prepare};
pub use send::{HandedIn, hand_in};
