//! Evidence clips: what was heard, kept without loss at 16 bits.

use super::SAMPLE_RATE;
use flacenc::component::BitRepr;
use flacenc::error::Verify;

/// Mono 16 kHz sound as a FLAC file, 16 bits a sample. Samples outside -1 to 1 are clipped; one
/// that is not a number becomes silence; sound shorter than a millisecond is filled up with silence.
///
/// # Errors
/// When the encoder fails, which would be a fault of this program.
pub fn encode(samples: &[f32]) -> anyhow::Result<Vec<u8>> {
    let mut whole: Vec<i32> = samples.iter().map(|&s| i32::from(to_16_bits(s))).collect();
    // FLAC has no blocks shorter than 16 samples.
    whole.resize(whole.len().max(16), 0);
    let config = flacenc::config::Encoder::default()
        .into_verified()
        .map_err(|(_, e)| anyhow::anyhow!("FLAC settings refused: {e}"))?;
    let source = flacenc::source::MemSource::from_samples(&whole, 1, 16, SAMPLE_RATE as usize);
    let mut stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size)
        .map_err(|e| anyhow::anyhow!("sound could not be kept as FLAC: {e}"))?;
    // The encoder counts the last block, which RFC 9639 (section 8.2) leaves out of the smallest
    // block's size; strict decoders refuse what it then says of a short last block.
    stream
        .stream_info_mut()
        .set_block_sizes(config.block_size, config.block_size)
        .map_err(|e| anyhow::anyhow!("sound could not be kept as FLAC: {e}"))?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream
        .write(&mut sink)
        .map_err(|e| anyhow::anyhow!("sound could not be kept as FLAC: {e}"))?;
    Ok(sink.into_inner())
}

/// One sample as a 16-bit integer.
pub(crate) fn to_16_bits(sample: f32) -> i16 {
    // A cast from float saturates and turns NaN into 0.
    (sample * 32_768.0).round() as i16
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::read_bytes;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn what_is_kept_comes_back_to_the_last_bit(
            samples in prop::collection::vec(any::<i16>(), 16..6000)
        ) {
            let samples: Vec<f32> = samples.iter().map(|&s| f32::from(s) / 32_768.0).collect();
            let back = read_bytes("kept.flac", encode(&samples).unwrap()).unwrap();
            prop_assert_eq!(back, samples);
        }
    }

    /// Once found by chance: less than a block is filled up with silence, and begins as it was.
    #[test]
    fn a_single_sample_comes_back_first() {
        let back = read_bytes("one.flac", encode(&[0.0]).unwrap()).unwrap();
        assert!(back.first() == Some(&0.0) && back.iter().all(|sample| *sample == 0.0));
    }

    #[test]
    fn bad_samples_are_clipped_or_silent() {
        let back = read_bytes("k.flac", encode(&[2.0, -2.0, f32::NAN]).unwrap()).unwrap();
        assert_eq!(back[..4], [32_767.0 / 32_768.0, -1.0, 0.0, 0.0]);
    }
}
