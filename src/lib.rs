//! bothhands: a voice companion for inspecting and testing an electrical installation with a
//! probe in each hand.
//!
//! The rooms, from sound to paper (see `DEVELOPERS.md` for the map):
//!
//! ```text
//! audio -> speech -> grammar -> sequence -> log -> voice     (led by dialogue)
//! afterwards: store -> log -> sequence (replay) -> report, review
//! ```

#![forbid(unsafe_code)]

pub mod audio;
pub mod bay;
pub mod config;
pub mod dialogue;
pub mod doctor;
pub mod draft;
pub mod eval;
pub mod grammar;
#[cfg(feature = "hand-in")]
pub mod handin;
pub mod installation;
pub mod limits;
pub mod log;
pub mod marking;
pub mod neighbours;
#[cfg(feature = "phone")]
pub mod phone;
pub mod practice;
pub mod quantity;
pub mod report;
pub mod review;
pub mod sequence;
pub mod speech;
pub mod store;
pub mod terms;
pub mod voice;
