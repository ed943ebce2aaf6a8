//! Words to meaning: JSGF rules from `grammars/`, numbers said aloud, and [`Intent`].
//!
//! ```text
//! grammars/*.jsgf -> jsgf (rules, linked) -> net (one rule written out, with tags)
//!     -> compact -> WordGraph      what the recogniser searches
//!     -> path    -> meaning::Intent what the words mean
//! ```

mod class;
mod compact;
mod error;
mod graph;
mod guide;
pub mod jsgf;
mod lexicon;
mod meaning;
mod net;
pub mod number;
mod places;
mod rules;
mod said;
mod speak;
mod tag;
pub mod typed;

#[cfg(test)]
mod tests;

pub use error::{At, GrammarError, Result};
pub use graph::{Arc, WordGraph};
pub use guide::Advice;
pub use lexicon::{Lexicon, PHONES};
pub use places::{SaidInstead, distinct};
pub use rules::Grammar;
pub use said::Intent;
pub use tag::Tag;
