//! The last layer of a model, brought nearer to one voice.
//!
//! The last layer turns what the encoder makes of each frame into a score for each phone: a matrix
//! and a bias. What is learned is added to both, so a correction of nothing changes nothing, and the
//! model itself stays as it ships.

use super::ctc;
use super::network::LogProbs;

/// What the encoder makes of each frame, before the last layer: `values[frame * width + n]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Activations {
    /// How many, 50 a second.
    pub frames: usize,
    /// Numbers a frame.
    pub width: usize,
    /// As said above.
    pub values: Vec<f32>,
}

/// What is added to a model's last layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// Numbers a frame before the last layer.
    pub width: usize,
    /// The model's labels, the blank among them.
    pub labels: usize,
    /// `weights[n * labels + label]`.
    pub weights: Vec<f32>,
    /// One for each label.
    pub bias: Vec<f32>,
}

/// One sound with what was said in it.
#[derive(Debug, Clone)]
pub struct Example {
    /// By the model as it ships.
    pub probs: LogProbs,
    /// The same sound before the last layer.
    pub hidden: Activations,
    /// Labels of the phones said, without blanks.
    pub phones: Vec<u8>,
}

impl Example {
    /// The loss for each of its phones by the model as it ships; nothing when there is none.
    pub fn loss_a_phone(&self) -> Option<f64> {
        let loss = ctc::loss(&self.probs, &self.phones)?;
        Some(loss.value / self.phones.len().max(1) as f64)
    }
}

/// How a correction is learned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learning {
    /// How many times all examples are gone through.
    pub steps: u32,
    /// How far each number moves in a step, at most.
    pub rate: f32,
    /// How strongly the weights are pulled to nothing: this much of the loss for a mean square of 1.
    pub pull: f32,
}

impl Default for Learning {
    fn default() -> Self {
        Self {
            steps: 80,
            rate: 3e-3,
            pull: 300.0,
        }
    }
}

impl Correction {
    /// A correction that changes nothing.
    pub fn none(width: usize, labels: usize) -> Self {
        Self {
            width,
            labels,
            weights: vec![0.0; width * labels],
            bias: vec![0.0; labels],
        }
    }

    /// The model's output with the correction; unchanged where the two are not of one model.
    #[must_use]
    pub fn applied(&self, probs: &LogProbs, hidden: &Activations) -> LogProbs {
        let mut corrected = probs.clone();
        self.apply(&mut corrected, probs, hidden, |_| true);
        corrected
    }

    /// Writes the model's output with the correction to those frames of `corrected` that `wanted`
    /// names.
    fn apply(
        &self,
        corrected: &mut LogProbs,
        probs: &LogProbs,
        hidden: &Activations,
        wanted: impl Fn(usize) -> bool,
    ) {
        let fits = self.width == hidden.width
            && self.labels == probs.labels
            && probs.frames == hidden.frames;
        if !fits || self.width == 0 {
            return;
        }
        let given = probs.values.chunks_exact(self.labels);
        let given = given.zip(hidden.values.chunks_exact(self.width));
        let frames = corrected.values.chunks_exact_mut(self.labels);
        for (n, (scores, (given, hidden))) in frames.zip(given).enumerate() {
            if !wanted(n) {
                continue;
            }
            scores.copy_from_slice(given);
            add(scores, 1.0, &self.bias);
            for (&h, row) in hidden.iter().zip(self.weights.chunks_exact(self.labels)) {
                add(scores, h, row);
            }
            let most = scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
            // Not the C library's, which differ from one processor to another in the last bit.
            let all: f32 = scores.iter().map(|s| libm::expf(s - most)).sum();
            let all = most + libm::logf(all);
            scores.iter_mut().for_each(|s| *s -= all);
        }
    }

    /// Learns from `examples`, which must all be of one model; nothing when none can be learned
    /// from.
    ///
    /// Adam (Kingma and Ba, 2015) on the mean over the examples of the loss a phone.
    pub fn learned(examples: &[&Example], how: Learning) -> Option<Self> {
        let first = examples.first()?;
        let mut correction = Self::none(first.hidden.width, first.probs.labels);
        let (mut weights, mut bias) = (
            Adam::new(correction.weights.len()),
            Adam::new(correction.labels),
        );
        let mut under_way: Vec<UnderWay> = examples.iter().map(|e| UnderWay::of(e)).collect();
        for step in 1..=how.steps {
            if step % LOOK_AGAIN == 1 {
                under_way.iter_mut().for_each(|of| of.open.fill(true));
            }
            let (mut by_weights, mut by_bias) = correction.slope(examples, &mut under_way)?;
            let pull = |pull: f32, slope: &mut [f32], values: &[f32]| {
                let each = 2.0 * pull / values.len().max(1) as f32;
                add(slope, each, values);
            };
            pull(how.pull, &mut by_weights, &correction.weights);
            pull(1.0, &mut by_bias, &correction.bias);
            weights.step(&mut correction.weights, &by_weights, how.rate, step);
            bias.step(&mut correction.bias, &by_bias, how.rate, step);
        }
        let finite = |values: &[f32]| values.iter().all(|v| v.is_finite());
        (finite(&correction.weights) && finite(&correction.bias)).then_some(correction)
    }

    /// The slopes of the mean loss by the weights and by the bias; nothing without an example that
    /// has a loss.
    fn slope(
        &self,
        examples: &[&Example],
        under_way: &mut [UnderWay],
    ) -> Option<(Vec<f32>, Vec<f32>)> {
        let mut weights = vec![0.0; self.weights.len()];
        let mut bias = vec![0.0; self.labels];
        let mut count = 0u16;
        for (example, now) in examples.iter().zip(under_way) {
            let UnderWay { probs, open } = now;
            self.apply(probs, &example.probs, &example.hidden, |n| open[n]);
            let Some(loss) = ctc::loss(probs, &example.phones) else {
                continue;
            };
            count += 1;
            let share = 1.0 / example.phones.len().max(1) as f32;
            let frames = loss.gradient.chunks_exact(self.labels);
            let frames = frames.zip(example.hidden.values.chunks_exact(self.width));
            for ((slope, hidden), open) in frames.zip(open) {
                *open = slope.iter().any(|s| s.abs() >= SETTLED);
                if !*open {
                    continue;
                }
                add(&mut bias, share, slope);
                for (&h, row) in hidden.iter().zip(weights.chunks_exact_mut(self.labels)) {
                    add(row, share * h, slope);
                }
            }
        }
        if count == 0 {
            return None;
        }
        let all = 1.0 / f32::from(count);
        weights.iter_mut().chain(&mut bias).for_each(|s| *s *= all);
        Some((weights, bias))
    }
}

/// A frame whose slopes are all smaller than this is as the phones want it. Most are, and are passed
/// over until they are looked at again, after so many steps.
const SETTLED: f32 = 1e-3;
const LOOK_AGAIN: u32 = 8;

/// An example while it is learned from.
struct UnderWay {
    /// By the model with the correction.
    probs: LogProbs,
    /// The frames that are not settled.
    open: Vec<bool>,
}

impl UnderWay {
    fn of(example: &Example) -> Self {
        Self {
            probs: example.probs.clone(),
            open: vec![true; example.probs.frames],
        }
    }
}

/// Adds `by` times `values` to `sums`.
fn add(sums: &mut [f32], by: f32, values: &[f32]) {
    for (sum, value) in sums.iter_mut().zip(values) {
        *sum += by * value;
    }
}

/// Running means of the slopes and of their squares.
struct Adam {
    means: Vec<f32>,
    squares: Vec<f32>,
}

impl Adam {
    fn new(size: usize) -> Self {
        Self {
            means: vec![0.0; size],
            squares: vec![0.0; size],
        }
    }

    fn step(&mut self, values: &mut [f32], slope: &[f32], rate: f32, step: u32) {
        const KEPT: (f32, f32) = (0.9, 0.999);
        let step = i32::try_from(step).unwrap_or(i32::MAX);
        let warm = (1.0 - KEPT.0.powi(step), 1.0 - KEPT.1.powi(step));
        let running = self.means.iter_mut().zip(&mut self.squares);
        for ((value, slope), (mean, square)) in values.iter_mut().zip(slope).zip(running) {
            *mean = KEPT.0 * *mean + (1.0 - KEPT.0) * slope;
            *square = KEPT.1 * *square + (1.0 - KEPT.1) * slope * slope;
            *value -= rate * (*mean / warm.0) / ((*square / warm.1).sqrt() + 1e-8);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WIDTH: usize = 12;
    const LABELS: usize = 5;

    /// A voice whose frames point clearly at what was said, heard by a model that finds two of its
    /// phones in each other's place.
    fn example(phones: &[u8], seed: u64) -> Example {
        let mut random = fastrand::Rng::with_seed(seed);
        let mut hidden = Vec::new();
        let mut values = Vec::new();
        let said = phones.iter().flat_map(|&p| [0, p, p, 0]);
        for label in said.clone() {
            hidden.extend((0..WIDTH).map(|n| {
                let here = n % LABELS == usize::from(label);
                f32::from(u8::from(here)) + 0.3 * (random.f32() - 0.5)
            }));
            let heard = match label {
                1 => 2,
                2 => 1,
                other => other,
            };
            values.extend((0..LABELS).map(|l| if l == usize::from(heard) { -0.8 } else { -1.8 }));
        }
        let frames = said.count();
        Example {
            probs: LogProbs {
                frames,
                labels: LABELS,
                values,
            },
            hidden: Activations {
                frames,
                width: WIDTH,
                values: hidden,
            },
            phones: phones.to_vec(),
        }
    }

    #[test]
    fn nothing_added_changes_nothing() {
        let example = example(&[1, 3, 2], 1);
        let none = Correction::none(WIDTH, LABELS);
        let same = none.applied(&example.probs, &example.hidden);
        for (frame, n) in same.values.chunks_exact(LABELS).zip(0..) {
            let sum: f32 = frame.iter().map(|p| p.exp()).sum();
            assert!((sum - 1.0).abs() < 1e-5, "frame {n}: {sum}");
        }
        let differences = same.values.iter().zip(&example.probs.values);
        let all: Vec<f32> = differences.map(|(a, b)| a - b).collect();
        // The model's own need not add up to one; they must only all be moved by as much.
        for frame in all.chunks_exact(LABELS) {
            assert!(
                frame.iter().all(|d| (d - frame[0]).abs() < 1e-5),
                "{frame:?}"
            );
        }
    }

    #[test]
    fn a_correction_of_another_model_is_not_added() {
        let example = example(&[1, 3], 2);
        let other = Correction {
            bias: vec![5.0; LABELS],
            ..Correction::none(WIDTH + 1, LABELS)
        };
        assert_eq!(
            other.applied(&example.probs, &example.hidden),
            example.probs
        );
    }

    #[test]
    fn what_a_voice_says_otherwise_is_learned_and_holds_for_what_was_not_learned_from() {
        let phrases: [&[u8]; 6] = [
            &[1, 3],
            &[2, 4, 1],
            &[3, 1, 2],
            &[4, 2],
            &[1, 2, 3],
            &[2, 3],
        ];
        let examples: Vec<Example> = phrases
            .iter()
            .zip(10..)
            .map(|(p, s)| example(p, s))
            .collect();
        // As much pull for each number as a layer of 15,360 has, not of 60.
        let how = Learning {
            pull: 1.2,
            ..Learning::default()
        };
        let learned = Correction::learned(&examples.iter().collect::<Vec<_>>(), how);
        let learned = learned.unwrap();
        let new = example(&[4, 1, 2, 1], 99);
        let corrected = Example {
            probs: learned.applied(&new.probs, &new.hidden),
            ..new.clone()
        };
        let (before, after) = (
            new.loss_a_phone().unwrap(),
            corrected.loss_a_phone().unwrap(),
        );
        assert!(after < 0.6 * before, "{before} before, {after} after");
    }

    #[test]
    fn a_stronger_pull_moves_less() {
        let examples = [example(&[1, 2], 5), example(&[2, 3, 1], 6)];
        let size = |pull: f32| {
            let how = Learning {
                pull,
                ..Learning::default()
            };
            let of = Correction::learned(&examples.iter().collect::<Vec<_>>(), how).unwrap();
            of.weights.iter().map(|w| w * w).sum::<f32>()
        };
        assert!(size(30_000.0) < size(300.0) && size(300.0) < size(0.0));
    }

    #[test]
    fn nothing_is_learned_from_nothing() {
        assert!(Correction::learned(&[], Learning::default()).is_none());
        let mut short = example(&[1], 3);
        short.phones = vec![1; 20];
        assert!(Correction::learned(&[&short], Learning::default()).is_none());
    }
}
