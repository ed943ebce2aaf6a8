use super::EarError;
use super::adapt::{Activations, Correction};
use super::mel::{BANDS, Features};
use super::models;
use rten::{Model, ModelOptions, NodeId, RunOptions, ThreadPool};
use rten_tensor::Tensor;
use rten_tensor::prelude::*;
use sha2::{Digest, Sha256};
use std::path::Path;
use std::sync::{Arc, OnceLock};

/// The acoustic model: log-mel features to log-probabilities of phones, 50 times a second.
#[derive(Clone)]
pub struct Network {
    model: Arc<Model>,
    /// What its file is called.
    name: String,
    options: RunOptions,
    threads: usize,
    /// The file that is built in, where it is that.
    built_in: &'static [u8],
    hash: OnceLock<String>,
    /// What is added to its last layer.
    correction: Option<Correction>,
}

/// Natural-log probabilities, frame after frame: `values[frame * labels + label]`; label 0 is the
/// CTC blank.
#[derive(Debug, Clone, PartialEq)]
pub struct LogProbs {
    /// How many, 50 a second.
    pub frames: usize,
    /// How many there are of each frame.
    pub labels: usize,
    /// As said above.
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
        let name = models::name_of(onnx).to_owned();
        Self::with(model, name, threads, onnx, OnceLock::new())
    }

    /// The same from a file.
    ///
    /// # Errors
    /// When the file cannot be read or holds no such model.
    pub fn open(path: &Path, threads: usize) -> Result<Self, EarError> {
        let wrong = |e: String| EarError::Model(format!("{}: {e}", path.display()));
        let bytes = std::fs::read(path).map_err(|e| wrong(e.to_string()))?;
        let hash = OnceLock::from(hash_of(&bytes));
        let model = ModelOptions::with_all_ops()
            .load(bytes)
            .map_err(|e| wrong(e.to_string()))?;
        let name = path.file_name().unwrap_or(path.as_os_str());
        let name = name.to_string_lossy().into_owned();
        Self::with(model, name, threads, &[], hash)
    }

    fn with(
        model: Model,
        name: String,
        threads: usize,
        built_in: &'static [u8],
        hash: OnceLock<String>,
    ) -> Result<Self, EarError> {
        if model.input_ids().len() != 1 || model.output_ids().len() != 1 {
            return Err(EarError::Model(
                "it must have one input and one output".into(),
            ));
        }
        Ok(Self {
            model: Arc::new(model),
            name,
            options: on_threads(threads),
            threads,
            built_in,
            hash,
            correction: None,
        })
    }

    /// The same model, in memory once, on threads of its own: neither waits for the other.
    #[must_use]
    pub(super) fn beside(&self) -> Self {
        Self {
            options: on_threads(self.threads),
            ..self.clone()
        }
    }

    /// What the model's file is called, without the folder where it was opened from one.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// SHA-256 of the model's file, in hexadecimal digits.
    pub fn hash(&self) -> &str {
        self.hash.get_or_init(|| hash_of(self.built_in))
    }

    /// Adds a correction to the last layer from now on, in place of an earlier one; with nothing the
    /// model is as its file.
    pub fn correct(&mut self, correction: Option<Correction>) {
        self.correction = correction;
    }

    /// Log-probabilities of every phone. Only the first 30 s are used.
    ///
    /// # Errors
    /// When the model gives something else than it should.
    pub fn log_probs(&self, mel: &Features, labels: usize) -> Result<LogProbs, EarError> {
        match &self.correction {
            None => Ok(self.run(mel, labels, None)?.0),
            Some(correction) => {
                let (probs, hidden) = self.before_correction(mel, labels)?;
                Ok(correction.applied(&probs, &hidden))
            }
        }
    }

    /// Log-probabilities by the model as its file is, and what stands before its last layer. Only the
    /// first 30 s are used.
    ///
    /// # Errors
    /// When the model gives something else than it should.
    pub fn before_correction(
        &self,
        mel: &Features,
        labels: usize,
    ) -> Result<(LogProbs, Activations), EarError> {
        let (probs, hidden) = self.run(mel, labels, Some(self.last_norm()?))?;
        let hidden = hidden.unwrap_or(Activations {
            frames: 0,
            width: 0,
            values: Vec::new(),
        });
        Ok((probs, hidden))
    }

    /// The value that the last layer takes in. `models/train/export.py` numbers the operations in
    /// their order, and the last norm stands before the last layer.
    fn last_norm(&self) -> Result<NodeId, EarError> {
        const MOST: usize = 1000;
        (0..MOST)
            .rev()
            .find_map(|n| self.model.find_node(&format!("LayerNormalization_{n}")))
            .ok_or_else(|| EarError::Model("it has no norm before its last layer".into()))
    }

    /// The model's output, and with it the value of another node.
    fn run(
        &self,
        mel: &Features,
        labels: usize,
        beside: Option<NodeId>,
    ) -> Result<(LogProbs, Option<Activations>), EarError> {
        let frames = mel.frames.min(MOST_FRAMES);
        if frames == 0 {
            let probs = LogProbs {
                frames: 0,
                labels,
                values: Vec::new(),
            };
            return Ok((probs, None));
        }
        let wrong = |e: &dyn ToString| EarError::Model(e.to_string());
        let values = if frames == mel.frames {
            mel.values.clone()
        } else {
            let bands = mel.values.chunks_exact(mel.frames);
            bands.flat_map(|b| b[..frames].to_vec()).collect()
        };
        let input = Tensor::from_data(&[1, BANDS, frames], values);
        let inputs = self
            .model
            .input_ids()
            .iter()
            .map(|id| (*id, (&input).into()));
        let wanted: Vec<NodeId> = self
            .model
            .output_ids()
            .iter()
            .copied()
            .chain(beside)
            .collect();
        let given = self
            .model
            .run(inputs.collect(), &wanted, Some(self.options.clone()))
            .map_err(|e| wrong(&e))?;
        let frames = frames.div_ceil(2);
        let mut tensors = given.into_iter().map(|value| {
            let tensor: Result<Tensor<f32>, _> = value.try_into();
            let tensor = tensor.map_err(|e| wrong(&format!("{e:?}")))?;
            let (shape, values) = (tensor.shape().to_vec(), tensor.to_vec());
            match shape[..] {
                [1, f, width] if f == frames && values.iter().all(|v| v.is_finite()) => {
                    Ok((width, values))
                }
                _ => Err(wrong(&format!(
                    "what it gives has shape {shape:?} or is not finite, where {labels} labels \
                     are named"
                ))),
            }
        });
        let (width, values) = tensors
            .next()
            .unwrap_or_else(|| Err(wrong(&"it gives nothing")))?;
        if width != labels {
            return Err(wrong(&format!(
                "it gives {width} labels where {labels} are named"
            )));
        }
        let hidden = tensors.next().transpose()?;
        Ok((
            LogProbs {
                frames,
                labels,
                values,
            },
            hidden.map(|(width, values)| Activations {
                frames,
                width,
                values,
            }),
        ))
    }
}

fn on_threads(threads: usize) -> RunOptions {
    let pool = ThreadPool::with_num_threads(threads.max(1));
    RunOptions::default().with_thread_pool(Some(Arc::new(pool)))
}

fn hash_of(bytes: &[u8]) -> String {
    format!("{:x}", Sha256::digest(bytes))
}
