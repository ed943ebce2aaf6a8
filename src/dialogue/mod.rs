//! The dialogue with the person: where utterances come from, whose turn it is, and the loop that
//! hears, decides, keeps, and only then speaks.
//!
//! ```text
//! source (typed, recorded) or live (microphone, barge_in)
//!     -> manager: recogniser -> Session::turn -> log -> voice
//!        turn_taking: how long a pause ends what was said
//! ```
//!
//! Nothing here writes to the terminal: what is not spoken goes to an [`Observer`], of which the
//! [`screen`] is one.

pub mod barge_in;
pub mod keys;
mod live;
mod manager;
mod profile;
pub mod rehearsal;
pub mod screen;
mod source;
mod turn_taking;

pub use barge_in::BargeInGate;
pub use live::Live;
pub use manager::{
    DialogueManager, HELD, JobChanged, Observer, RunBy, Tally, grammar_for, job_change,
    nearly_a_warning, open_session,
};
pub use profile::{settings, with_hearing};
pub use source::{Clips, Input, InputSource, ListenTo, Recordings, TypedBeside, TypedLines};
pub use turn_taking::{enough, is_a_sure_question, second_hearing};
