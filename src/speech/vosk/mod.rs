//! vosk as another engine (feature `vosk`): a model of any language, listening for our grammar.
//!
//! ```text
//! WordGraph -> phrases -> vosk's restricted search -> alternatives -> Grammar::understand -> Heard
//! ```
//!
//! vosk can be told which words may follow one another, no more: a sentence that it hears may lie
//! outside our grammar. What counts is what our grammar makes of the words, so nothing outside it is
//! ever taken.
//!
//! What needs no library is tested with everything else, without the feature.

#[cfg(feature = "vosk")]
mod engine;
#[cfg(feature = "vosk")]
mod error;
mod phrases;
mod verdict;

#[cfg(feature = "vosk")]
pub use engine::Vosk;
#[cfg(feature = "vosk")]
pub use error::VoskError;
pub use phrases::phrases;
pub use verdict::{ASK_AGAIN_BELOW, Alternative, NOT_FOR_US_BELOW, judged};

/// What stands for any word outside the list, in models that have it.
pub const UNKNOWN: &str = "[unk]";
