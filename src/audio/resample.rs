use super::SAMPLE_RATE;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Indexing, Resampler as _, WindowFunction};

/// Brings mono sound of any rate to [`SAMPLE_RATE`], piece by piece, without shifting it in time.
pub struct Resampler {
    /// None when the sound already has the right rate.
    inner: Option<Fft<f32>>,
    ratio: f64,
    waiting: Vec<f32>,
    /// Output samples still to drop: the filter's own delay.
    to_skip: usize,
    taken: u64,
    given: u64,
}

/// Pieces a second that go through the filter: 40 ms each, long enough for a steep filter, short
/// enough for live sound.
const CHUNKS: u32 = 25;

impl Resampler {
    /// A resampler from `rate` hertz.
    ///
    /// # Errors
    /// When the rate is zero or the filter cannot be made.
    pub fn new(rate: u32) -> Result<Self, String> {
        let inner = if rate == SAMPLE_RATE {
            None
        } else {
            let fft = Fft::new_custom(
                rate as usize,
                SAMPLE_RATE as usize,
                (rate / CHUNKS).max(1) as usize,
                1,
                1,
                WindowFunction::BlackmanHarris2,
                FixedSync::Input,
            )
            .map_err(|e| e.to_string())?;
            Some(fft)
        };
        Ok(Self {
            ratio: f64::from(SAMPLE_RATE) / f64::from(rate.max(1)),
            to_skip: inner.as_ref().map_or(0, |fft| fft.output_delay()),
            inner,
            waiting: Vec::new(),
            taken: 0,
            given: 0,
        })
    }

    /// Takes the next samples and gives what is ready at the new rate.
    ///
    /// # Errors
    /// When the filter fails, which would be a fault of this program.
    pub fn push(&mut self, samples: &[f32]) -> Result<Vec<f32>, String> {
        let Some(fft) = &mut self.inner else {
            return Ok(samples.to_vec());
        };
        self.taken += samples.len() as u64;
        self.waiting.extend_from_slice(samples);
        let mut out = Vec::new();
        let mut used = 0;
        loop {
            let need = fft.input_frames_next();
            let Some(chunk) = self.waiting.get(used..used + need) else {
                break;
            };
            out.extend(filter(fft, chunk, need)?);
            used += need;
        }
        self.waiting.drain(..used);
        Ok(self.trimmed(out))
    }

    /// Gives the rest. The resampler must not be used afterwards.
    ///
    /// # Errors
    /// As [`Resampler::push`].
    pub fn finish(&mut self) -> Result<Vec<f32>, String> {
        let Some(fft) = &mut self.inner else {
            return Ok(Vec::new());
        };
        let whole = (self.taken as f64 * self.ratio).ceil() as u64;
        let left = usize::try_from(whole.saturating_sub(self.given)).unwrap_or(0);
        let mut out = Vec::new();
        let mut tail = std::mem::take(&mut self.waiting);
        while out.len() < left + self.to_skip {
            let need = fft.input_frames_next();
            let real = tail.len().min(need);
            tail.resize(need, 0.0);
            out.extend(filter(fft, &tail, real)?);
            tail.clear();
        }
        let mut out = self.trimmed(out);
        out.truncate(left);
        Ok(out)
    }

    fn trimmed(&mut self, mut out: Vec<f32>) -> Vec<f32> {
        let skip = self.to_skip.min(out.len());
        out.drain(..skip);
        self.to_skip -= skip;
        self.given += out.len() as u64;
        out
    }
}

/// Puts `chunk`, of which the first `real` samples are sound, through the filter.
fn filter(fft: &mut Fft<f32>, chunk: &[f32], real: usize) -> Result<Vec<f32>, String> {
    let mut out = vec![0.0; fft.output_frames_next()];
    let frames = out.len();
    let input = InterleavedSlice::new(chunk, 1, chunk.len()).map_err(|e| e.to_string())?;
    let mut output = InterleavedSlice::new_mut(&mut out, 1, frames).map_err(|e| e.to_string())?;
    let indexing = Indexing::new().partial_len(real);
    let indexing = (real < chunk.len()).then_some(&indexing);
    let (_, produced) = fft
        .process_into_buffer(&input, &mut output, indexing)
        .map_err(|e| e.to_string())?;
    out.truncate(produced);
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(rate: u32, hertz: f64, seconds: f64) -> Vec<f32> {
        let step = hertz * std::f64::consts::TAU / f64::from(rate);
        (0..(f64::from(rate) * seconds) as usize)
            .map(|n| (n as f64 * step).sin() as f32 * 0.5)
            .collect()
    }

    fn resampled(rate: u32, input: &[f32], piece: usize) -> Vec<f32> {
        let mut resampler = Resampler::new(rate).unwrap();
        let mut out = Vec::new();
        for piece in input.chunks(piece) {
            out.extend(resampler.push(piece).unwrap());
        }
        out.extend(resampler.finish().unwrap());
        out
    }

    #[test]
    fn a_tone_keeps_its_pitch_level_and_place_at_every_common_rate() {
        for rate in [8000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000] {
            let out = resampled(rate, &tone(rate, 440.0, 1.0), 777);
            let expected = tone(SAMPLE_RATE, 440.0, 1.0);
            assert!(
                out.len().abs_diff(expected.len()) <= 1,
                "{rate}: {}",
                out.len()
            );
            // The ends ring. At odd rates the filter shifts the sound by a part of a sample, in
            // which a tone of 440 Hz moves by 0.086.
            let within = if rate % 8000 == 0 { 1e-3 } else { 0.09 };
            for n in 2000..14_000 {
                assert!((out[n] - expected[n]).abs() < within, "{rate} Hz at {n}");
            }
        }
    }

    #[test]
    fn the_size_of_the_pieces_does_not_matter() {
        let input = tone(44_100, 300.0, 0.3);
        assert_eq!(
            resampled(44_100, &input, 1),
            resampled(44_100, &input, 5000)
        );
    }

    #[test]
    fn a_sound_shorter_than_one_filter_block_still_comes_out() {
        assert_eq!(resampled(48_000, &[0.1; 30], 7).len(), 10);
        assert_eq!(resampled(8000, &[], 1).len(), 0);
    }
}
