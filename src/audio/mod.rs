//! Sound in: recordings and the microphone, brought to 16 kHz mono, with utterances cut out by
//! voice activity.

pub mod flac;
mod levels;
pub mod line;
#[cfg(feature = "microphone")]
pub mod microphone;
#[cfg(all(feature = "microphone", target_os = "linux"))]
mod paced;
mod read;
mod resample;
mod segment;

pub use levels::{Levels, bar};
pub use read::{SoundBlocks, SoundError, SoundProblem, read, read_bytes, seconds};
pub use resample::Resampler;
pub use segment::{EndpointConfig, Segmenter, has_voice, levelled, utterances};

/// Samples a second of all sound inside the program.
pub const SAMPLE_RATE: u32 = 16_000;

/// A stretch of sound in which somebody spoke, with some room sound on both sides.
#[derive(Debug, Clone, PartialEq)]
pub struct Utterance {
    /// Mono samples at [`SAMPLE_RATE`], -1 to 1.
    pub samples: Vec<f32>,
    /// Where it begins in the stream, in samples.
    pub start: u64,
    /// Sample at which speech was last heard, counted like `start`.
    pub speech_end: u64,
}

impl Utterance {
    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(SAMPLE_RATE)
    }
}
