//! What is understood of sound: recordings, the recogniser, the fixed set of clips.

pub mod asked_for;
mod clips;
mod left_alone;
mod lone_digit;
mod phrases;
mod program;
mod recordings;
mod reference;
mod rehearsing;
mod repeating;
mod same_sums;
mod warnings;
