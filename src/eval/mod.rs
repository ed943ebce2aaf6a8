//! How well recordings are heard, against the words that were said in them: for `bothhands score`,
//! the tests, and the comparison with other recognisers in `models/compare`.
//!
//! ```text
//! manifest (which clips, which words) -> measure (hear them) -> summary (counts and times)
//! ```

pub mod hear;
mod manifest;
mod measure;
mod summary;

pub use manifest::{Clip, read_manifest, read_second};
pub use measure::{
    ClipResult, HeardClip, OtherRecording, Repetition, SecondHearing, hear_again, measure, table,
};
pub use summary::{Again, Repeated, Second, Summary};
