//! Our own engine: a small acoustic model gives the likelihood of every phone 50 times a second,
//! and the grammar's words are searched over them.
//!
//! ```text
//! samples -> Mel -> Network -> LogProbs -> search over PhoneGraph -> judged -> Heard
//! ```

mod mel;
mod network;
mod phones;
mod search;

pub use mel::{BANDS, Features, Mel};
pub use network::{LogProbs, Network};
pub use phones::{Lexicon, PhoneGraph, Phones};
pub use search::{FreePath, HeardWord, Hypothesis, Width, search};

/// Why the engine cannot work. None of these depends on what is said; they mean that the files in
/// `models/` and `grammars/` do not fit each other.
#[derive(Debug, thiserror::Error)]
pub enum EarError {
    #[error("models/melfilters_80x201_f32le.bin has {0} bytes where 80 x 201 floats were expected")]
    Filters(usize),
    #[error("the acoustic model cannot be used: {0}")]
    Model(String),
    #[error("models/phones.json is not a list of phone names: {0}")]
    Phones(String),
    #[error("models/lexicon.txt line {0} {1}")]
    Lexicon(usize, String),
    #[error("models/thresholds.toml: {0}")]
    Thresholds(String),
    #[error("no pronunciation in models/lexicon.txt for: {0}; add a line for each")]
    NoPronunciation(String),
    #[error("the grammar's word graph names a state or a word that it lacks")]
    Graph,
}

/// Seconds of sound in one frame of the model's output.
pub const FRAME_SECONDS: f32 = 0.02;

/// The model's files, as they ship in `models/`.
pub struct Acoustics {
    mel: Mel,
    network: Network,
    pub phones: Phones,
}

impl Acoustics {
    /// Loads the model that ships with the program, to run on `threads` threads.
    ///
    /// # Errors
    /// When the files in `models/` do not fit each other.
    pub fn shipped(threads: usize) -> Result<Self, EarError> {
        Ok(Self {
            mel: Mel::new(include_bytes!(
                "../../../models/melfilters_80x201_f32le.bin"
            ))?,
            network: Network::new(include_bytes!("../../../models/ear.int8.onnx"), threads)?,
            phones: Phones::new(include_str!("../../../models/phones.json"))?,
        })
    }

    /// Log-mel features of 16 kHz mono sound.
    pub fn features(&self, samples: &[f32]) -> Features {
        self.mel.features(samples)
    }

    /// Log-probabilities of the phones in 16 kHz mono sound; of its first 30 s when it is longer.
    ///
    /// # Errors
    /// When the model's output does not fit `models/phones.json`.
    pub fn log_probs(&self, samples: &[f32]) -> Result<LogProbs, EarError> {
        self.network
            .log_probs(&self.features(samples), self.phones.count())
    }
}
