use super::hex::{Digest256, digest, digest_of};
use crate::audio::{SAMPLE_RATE, Utterance, flac};
use serde::Serialize;
use serde_json::Value;

/// The sound of one utterance as it was heard, with what was made of it.
///
/// Sound is kept as FLAC (RFC 9639): 16 kHz, mono, 16 bit, lossless.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    pub(super) sound_hash: Digest256,
    pub(super) flac: Option<Vec<u8>>,
    pub(super) rate: u32,
    pub(super) samples: u64,
    pub(super) start: u64,
    pub(super) words: String,
    pub(super) heard: String,
}

/// Why an utterance could not be made into evidence.
#[derive(Debug, thiserror::Error)]
pub enum EvidenceError {
    /// There is no sound in it to speak of: a FLAC file has at least 16 samples.
    #[error("an utterance of {0} samples is no evidence")]
    TooShort(usize),
    /// The encoder failed.
    #[error("the sound could not be encoded as FLAC: {0}")]
    Encode(String),
    /// Scores or words could not be written as JSON.
    #[error("what was heard could not be written as JSON: {0}")]
    Heard(#[from] serde_json::Error),
}

impl Evidence {
    /// Evidence from an utterance, the words made of it (empty when none were) and the rest of
    /// what the recogniser says of it: scores, times, runner-up.
    ///
    /// # Errors
    /// When there is no sound, it cannot be encoded, or `heard` cannot be written as JSON.
    pub fn new(
        utterance: &Utterance,
        words: &str,
        heard: &impl Serialize,
    ) -> Result<Self, EvidenceError> {
        let flac = encode(&utterance.samples)?;
        Ok(Self {
            sound_hash: digest_of(&flac),
            flac: Some(flac),
            rate: SAMPLE_RATE,
            samples: utterance.samples.len() as u64,
            start: utterance.start,
            words: words.to_owned(),
            heard: serde_json::to_string(heard)?,
        })
    }

    /// The sound: a FLAC file. None where it was left out of an export or lost.
    pub fn flac(&self) -> Option<&[u8]> {
        self.flac.as_deref()
    }

    /// Samples a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Length in samples.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        self.samples as f64 / f64::from(self.rate.max(1))
    }

    /// Where it began in the stream of sound, in samples.
    pub fn start(&self) -> u64 {
        self.start
    }

    /// The likeliest words; empty when there were none.
    pub fn words(&self) -> &str {
        &self.words
    }

    /// What the recogniser said of it: scores, times, runner-up.
    ///
    /// # Errors
    /// When the text kept is no JSON.
    pub fn heard(&self) -> serde_json::Result<Value> {
        serde_json::from_str(&self.heard)
    }

    /// The same as the very JSON text that is kept and hashed.
    pub fn heard_as_written(&self) -> &str {
        &self.heard
    }

    /// SHA-256 of the FLAC file.
    pub fn sound_hash(&self) -> Digest256 {
        self.sound_hash
    }

    /// Whether the sound is the one that was heard; also when there is none.
    pub(super) fn sound_fits(&self) -> bool {
        self.flac
            .as_deref()
            .is_none_or(|flac| digest_of(flac) == self.sound_hash)
    }

    /// What events name it by: SHA-256 over these fields in this order, each as a netstring, as
    /// the text that is kept:
    ///
    /// `bothhands evidence 1`, hash of the sound, rate, samples, start, words, heard.
    pub fn hash(&self) -> Digest256 {
        digest(&[
            b"bothhands evidence 1",
            self.sound_hash().to_string().as_bytes(),
            self.rate.to_string().as_bytes(),
            self.samples.to_string().as_bytes(),
            self.start.to_string().as_bytes(),
            self.words.as_bytes(),
            self.heard.as_bytes(),
        ])
    }
}

/// The shortest block that FLAC allows (RFC 9639, section 8.2): one millisecond.
const SHORTEST: usize = 16;

fn encode(samples: &[f32]) -> Result<Vec<u8>, EvidenceError> {
    if samples.len() < SHORTEST {
        return Err(EvidenceError::TooShort(samples.len()));
    }
    flac::encode(samples).map_err(|why| EvidenceError::Encode(why.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn decoded(flac: &[u8]) -> Vec<i32> {
        let mut reader = claxon::FlacReader::new(flac).unwrap();
        assert_eq!(reader.streaminfo().sample_rate, SAMPLE_RATE);
        assert_eq!(reader.streaminfo().channels, 1);
        reader.samples().collect::<Result<_, _>>().unwrap()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        /// Another decoder gets back every sample.
        #[test]
        fn sound_is_kept_without_loss(
            samples in prop::collection::vec(-1.0f32..=1.0, SHORTEST..10_000)
        ) {
            let flac = encode(&samples).unwrap();
            let kept: Vec<i32> = samples.iter().map(|&sample| i32::from(flac::to_16_bits(sample))).collect();
            prop_assert_eq!(decoded(&flac), kept);
        }
    }

    #[test]
    fn a_block_and_one_sample_is_kept_too() {
        for length in [SHORTEST, 4095, 4096, 4097, 8192, 8193] {
            let flac = encode(&vec![0.25; length]).unwrap();
            assert_eq!(decoded(&flac), vec![8192; length]);
        }
    }

    #[test]
    fn samples_out_of_range_are_clipped_and_nonsense_is_silence() {
        let mut samples = [0.5; SHORTEST];
        samples[..4].copy_from_slice(&[2.0, -2.0, f32::NAN, f32::INFINITY]);
        let kept = decoded(&encode(&samples).unwrap());
        assert_eq!(kept[..5], [32_767, -32_768, 0, 32_767, 16_384]);
    }

    #[test]
    fn no_sound_is_no_evidence() {
        let nothing = Utterance {
            samples: vec![],
            start: 0,
            speech_end: 0,
        };
        assert!(matches!(
            Evidence::new(&nothing, "", &Value::Null),
            Err(EvidenceError::TooShort(0))
        ));
    }

    #[test]
    fn everything_in_it_counts_for_its_hash() {
        let utterance = Utterance {
            samples: vec![0.25; 400],
            start: 16_000,
            speech_end: 16_300,
        };
        let evidence =
            Evidence::new(&utterance, "affirm", &serde_json::json!({"fit": -0.1})).unwrap();
        let mut hashes = vec![evidence.hash()];
        hashes.push(
            Evidence {
                words: "negative".into(),
                ..evidence.clone()
            }
            .hash(),
        );
        hashes.push(
            Evidence {
                heard: "{}".into(),
                ..evidence.clone()
            }
            .hash(),
        );
        hashes.push(
            Evidence {
                start: 16_001,
                ..evidence.clone()
            }
            .hash(),
        );
        hashes.push(
            Evidence {
                samples: 401,
                ..evidence.clone()
            }
            .hash(),
        );
        hashes.push(
            Evidence {
                rate: 8_000,
                ..evidence.clone()
            }
            .hash(),
        );
        hashes.push(
            Evidence {
                sound_hash: digest_of(b"another"),
                ..evidence.clone()
            }
            .hash(),
        );
        hashes.sort();
        hashes.dedup();
        assert_eq!(hashes.len(), 7);
        assert_eq!(evidence.seconds(), 0.025);
    }

    #[test]
    fn changed_sound_is_told_and_missing_sound_is_not_changed_sound() {
        let utterance = Utterance {
            samples: vec![0.25; 400],
            start: 0,
            speech_end: 300,
        };
        let mut evidence = Evidence::new(&utterance, "affirm", &Value::Null).unwrap();
        assert!(evidence.sound_fits());
        *evidence.flac.as_mut().unwrap().last_mut().unwrap() ^= 1;
        assert!(!evidence.sound_fits());
        evidence.flac = None;
        assert!(evidence.sound_fits());
    }
}
