//! The only maker of words: what is said of each event, live and in the report. Short, in the
//! trade's words. Nothing here decides anything.
//!
//! No file here uses one that uses it: `lines` stands over one file for each group of events, those over
//! `prompt`, `refusals` and `questions`, and those over words for parts of a session (`about`,
//! `numbers`). Nothing looks at its own wording: what was said is known by what it was said of.

mod about;
mod alterations;
mod amended;
mod aside;
mod asked;
mod brief;
mod level;
mod line;
mod lines;
mod meant;
mod named;
mod narrator;
mod numbers;
mod practice;
mod prompt;
mod questions;
mod readings;
mod refusals;
mod statements;

pub use about::{entries, moved, recap, subject, what as entry, what_is_out, where_are_we};
pub use amended::{changes, not_changed};
pub use aside::{Aside, CUT_BY_A_NOISE, aside};
pub use asked::{what_is_taken, words_instead};
pub use line::{Line, LineKind};
pub use lines::{CAUTIONS, lines};
pub use meant::{meant, voltage_found};
pub use named::{board_and_circuit, step_named, written};
pub use narrator::{Narrator, is_of_the_same_turn};
pub use numbers::{bare_value, capital, digits, duration, plural, three_as_one, value};
pub use practice::named as fault;
pub use prompt::{Prompt, Prompts, in_full as prompt_in_full, of_step, prompt, without_prompt};
pub use questions::question;
pub use refusals::{refused_in_short, refused_to};
