use super::EarError;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlannerScalar};
use std::sync::Arc;

/// Frequency bands a frame.
pub const BANDS: usize = 80;
/// Samples a frame: 25 ms.
const WINDOW: usize = 400;
/// Samples from one frame to the next: 10 ms.
const STEP: usize = 160;
const BINS: usize = WINDOW / 2 + 1;

/// Log-mel features as the acoustic model was trained on: 80 bands, 100 frames a second.
///
/// 200 samples of reflection on both sides; periodic Hann window; power spectrum; mel filters;
/// log10 floored at 1e-10, then at 8 below the utterance's greatest; shifted and scaled by
/// `(x + 4) / 4`. The filters stand in `models/`.
///
/// Every processor gives the same bits: the transform is the one without instructions of some
/// processors only, and cosine and logarithm are not the C library's, which has several of each.
#[derive(Clone)]
pub struct Mel {
    fft: Arc<dyn Fft<f32>>,
    window: Vec<f32>,
    filters: Vec<Filter>,
}

/// The part of one band's filter that is not zero.
#[derive(Clone)]
struct Filter {
    from: usize,
    weights: Vec<f32>,
}

/// Features of one utterance, band after band: `values[band * frames + frame]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Features {
    /// How many, 100 a second.
    pub frames: usize,
    /// Base-10 logarithms, shifted and scaled: see [`Mel`].
    pub values: Vec<f32>,
}

impl Mel {
    /// With filters from `bytes`: 80 rows of 201 little-endian floats.
    ///
    /// # Errors
    /// When the table has another size.
    pub fn new(bytes: &[u8]) -> Result<Self, EarError> {
        let values: Vec<f32> = bytes
            .chunks_exact(4)
            .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
            .collect();
        if values.len() != BANDS * BINS || bytes.len() != BANDS * BINS * 4 {
            return Err(EarError::Filters(bytes.len()));
        }
        let filters = values
            .chunks_exact(BINS)
            .map(|row| {
                let from = row.iter().position(|w| *w != 0.0).unwrap_or(0);
                let to = row.iter().rposition(|w| *w != 0.0).map_or(0, |i| i + 1);
                Filter {
                    from,
                    weights: row.get(from..to).unwrap_or_default().to_vec(),
                }
            })
            .collect();
        let turn = std::f64::consts::TAU / WINDOW as f64;
        Ok(Self {
            fft: FftPlannerScalar::new().plan_fft_forward(WINDOW),
            window: (0..WINDOW)
                .map(|n| (0.5 - 0.5 * libm::cos(turn * n as f64)) as f32)
                .collect(),
            filters,
        })
    }

    /// The features of 16 kHz mono sound; without frames when it is shorter than 13 ms.
    pub fn features(&self, samples: &[f32]) -> Features {
        let half = WINDOW / 2;
        let frames = if samples.len() > half {
            samples.len() / STEP
        } else {
            0
        };
        let mut values = vec![0.0f32; BANDS * frames];
        let mut greatest = f32::MIN;
        let mut spectrum = vec![Complex32::default(); WINDOW];
        let mut scratch = vec![Complex32::default(); self.fft.get_inplace_scratch_len()];
        let mut power = vec![0.0f32; BINS];
        for t in 0..frames {
            for (n, (out, window)) in spectrum.iter_mut().zip(&self.window).enumerate() {
                let sample = reflected(samples, (t * STEP + n) as isize - half as isize);
                *out = Complex32::new(sample * window, 0.0);
            }
            self.fft.process_with_scratch(&mut spectrum, &mut scratch);
            for (p, c) in power.iter_mut().zip(&spectrum) {
                *p = c.norm_sqr();
            }
            for (band, filter) in self.filters.iter().enumerate() {
                let energy: f32 = filter
                    .weights
                    .iter()
                    .zip(&power[filter.from..])
                    .map(|(w, p)| w * p)
                    .sum();
                let value = libm::log10f(energy.max(1e-10));
                greatest = greatest.max(value);
                values[band * frames + t] = value;
            }
        }
        for value in &mut values {
            *value = (value.max(greatest - 8.0) + 4.0) / 4.0;
        }
        Features { frames, values }
    }
}

/// The sample at `at`, mirrored at both ends without repeating the end itself.
fn reflected(samples: &[f32], at: isize) -> f32 {
    let last = samples.len() as isize - 1;
    let inside = if at < 0 { -at } else { at };
    let inside = if inside > last {
        2 * last - inside
    } else {
        inside
    };
    samples.get(inside as usize).copied().unwrap_or(0.0)
}
