use super::EarError;
use super::mel::{BANDS, Features};
use rten::{Model, ModelOptions, RunOptions, ThreadPool};
use rten_tensor::Tensor;
use rten_tensor::prelude::*;
use std::path::Path;
use std::sync::Arc;

/// The acoustic model: log-mel features to log-probabilities of phones, 50 times a second.
pub struct Network {
    model: Model,
    options: RunOptions,
}

/// Natural-log probabilities, frame after frame: `values[frame * labels + label]`; label 0 is the
/// CTC blank.
#[derive(Debug, Clone, PartialEq)]
pub struct LogProbs {
    pub frames: usize,
    pub labels: usize,
    pub values: Vec<f32>,
}

impl LogProbs {
    /// The log-probabilities of one frame.
    pub fn frame(&self, t: usize) -> &[f32] {
        &self.values[t * self.labels..(t + 1) * self.labels]
    }

    /// The likeliest label of every frame.
    pub fn best(&self) -> impl Iterator<Item = (u8, f32)> + '_ {
        self.values.chunks_exact(self.labels.max(1)).map(|frame| {
            frame
                .iter()
                .enumerate()
                .fold((0, f32::NEG_INFINITY), |best, (label, &p)| {
                    if p > best.1 { (label as u8, p) } else { best }
                })
        })
    }
}

/// Model frames that the encoder's positions reach: 30 s.
pub(crate) const MOST_FRAMES: usize = 3000;

impl Network {
    /// Loads an ONNX model with input `mel` [1, 80, T] and output `logp` [1, T/2 rounded up,
    /// labels]; runs on `threads` threads.
    ///
    /// # Errors
    /// When the bytes are no such model.
    pub fn new(onnx: &'static [u8], threads: usize) -> Result<Self, EarError> {
        let model = ModelOptions::with_all_ops()
            .load_static_slice(onnx)
            .map_err(|e| EarError::Model(e.to_string()))?;
        Self::with(model, threads)
    }

    /// The same from a file.
    ///
    /// # Errors
    /// When the file cannot be read or holds no such model.
    pub fn open(path: &Path, threads: usize) -> Result<Self, EarError> {
        let wrong = |e: String| EarError::Model(format!("{}: {e}", path.display()));
        let bytes = std::fs::read(path).map_err(|e| wrong(e.to_string()))?;
        let model = ModelOptions::with_all_ops()
            .load(bytes)
            .map_err(|e| wrong(e.to_string()))?;
        Self::with(model, threads)
    }

    fn with(model: Model, threads: usize) -> Result<Self, EarError> {
        if model.input_ids().len() != 1 || model.output_ids().len() != 1 {
            return Err(EarError::Model(
                "it must have one input and one output".into(),
            ));
        }
        let pool = ThreadPool::with_num_threads(threads.max(1));
        Ok(Self {
            model,
            options: RunOptions::default().with_thread_pool(Some(Arc::new(pool))),
        })
    }

    /// Log-probabilities of every phone. Only the first 30 s are used.
    ///
    /// # Errors
    /// When the model gives something else than it should.
    pub fn log_probs(&self, mel: &Features, labels: usize) -> Result<LogProbs, EarError> {
        let frames = mel.frames.min(MOST_FRAMES);
        if frames == 0 {
            return Ok(LogProbs {
                frames: 0,
                labels,
                values: Vec::new(),
            });
        }
        let wrong = |e: &dyn ToString| EarError::Model(e.to_string());
        let values = if frames == mel.frames {
            mel.values.clone()
        } else {
            let bands = mel.values.chunks_exact(mel.frames);
            bands.flat_map(|b| b[..frames].to_vec()).collect()
        };
        let input = Tensor::from_data(&[1, BANDS, frames], values);
        let output = self
            .model
            .run_one(input.into(), Some(self.options.clone()))
            .map_err(|e| wrong(&e))?;
        let output: Tensor<f32> = output.try_into().map_err(|e| wrong(&format!("{e:?}")))?;
        let shape = output.shape().to_vec();
        let values = output.to_vec();
        if shape != [1, frames.div_ceil(2), labels] || values.iter().any(|v| !v.is_finite()) {
            return Err(wrong(&format!(
                "its output has shape {shape:?} or is not finite, where {labels} labels are named"
            )));
        }
        Ok(LogProbs {
            frames: frames.div_ceil(2),
            labels,
            values,
        })
    }
}
