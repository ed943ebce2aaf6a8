//! How badly a model's output fits a sequence of phones, and which way to change it.

use super::network::LogProbs;

/// The loss of connectionist temporal classification and its gradient.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Loss {
    /// Minus the natural logarithm of the probability of the phones: the sum over every way of
    /// spreading them, with blanks, over the frames.
    pub value: f64,
    /// The derivative of `value` by the model's scores before they are made probabilities, laid out
    /// as [`LogProbs::values`].
    pub gradient: Vec<f32>,
}

/// The loss of `phones` (labels, without blanks) under `probs`; nothing when the frames are too
/// few for them, or a label is none of the model's.
///
/// Graves et al., "Connectionist temporal classification" (2006), equations 6 to 16, with the sums
/// of each frame brought to 1 in place of logarithms.
pub(super) fn loss(probs: &LogProbs, phones: &[u8]) -> Option<Loss> {
    let labels: Vec<usize> = std::iter::once(0)
        .chain(phones.iter().flat_map(|&p| [usize::from(p), 0]))
        .collect();
    if probs.frames == 0 || labels.iter().any(|&l| l >= probs.labels) {
        return None;
    }
    let places = labels.len();
    // A blank may be left out between two phones that differ.
    let leaps = |s: usize| s >= 2 && labels[s] != 0 && labels[s] != labels[s - 2];
    let chance = |t: usize, s: usize| f64::from(probs.frame(t)[labels[s]]).exp();
    let mut value = 0.0;
    let mut scaled = |row: &mut [f64], counts: bool| {
        let sum: f64 = row.iter().sum();
        if !(sum > 0.0 && sum.is_finite()) {
            return false;
        }
        row.iter_mut().for_each(|v| *v /= sum);
        value -= if counts { sum.ln() } else { 0.0 };
        true
    };

    // The probability of having come to each place by each frame.
    let mut forward = vec![0.0; probs.frames * places];
    for t in 0..probs.frames {
        let (before, here) = forward.split_at_mut(t * places);
        let before = before.rchunks(places).next();
        let here = &mut here[..places];
        for s in 0..places {
            let come = match before {
                None => f64::from(u8::from(s < 2)),
                Some(before) => {
                    before[s]
                        + if s >= 1 { before[s - 1] } else { 0.0 }
                        + if leaps(s) { before[s - 2] } else { 0.0 }
                }
            };
            here[s] = come * chance(t, s);
        }
        if t + 1 == probs.frames {
            // Only the last phone and the blank after it are an end.
            here[..places.saturating_sub(2)].fill(0.0);
        }
        if !scaled(here, true) {
            return None;
        }
    }

    // The probability of an end from each place, and with both that of each label in each frame.
    let mut gradient: Vec<f32> = probs.values.iter().map(|p| p.exp()).collect();
    let mut after = vec![0.0; places];
    after[places.saturating_sub(2)..].fill(1.0);
    let mut shares = vec![0.0; probs.labels];
    for t in (0..probs.frames).rev() {
        let here = &forward[t * places..][..places];
        let mut both: Vec<f64> = here.iter().zip(&after).map(|(a, b)| a * b).collect();
        if !scaled(&mut both, false) {
            return None;
        }
        shares.fill(0.0);
        for (share, &label) in both.iter().zip(&labels) {
            shares[label] += share;
        }
        for (g, share) in gradient[t * probs.labels..].iter_mut().zip(&shares) {
            *g -= *share as f32;
        }
        let next: Vec<f64> = (0..places).map(|s| after[s] * chance(t, s)).collect();
        for s in 0..places {
            after[s] = next[s]
                + next.get(s + 1).copied().unwrap_or(0.0)
                + if s + 2 < places && leaps(s + 2) {
                    next[s + 2]
                } else {
                    0.0
                };
        }
        if !scaled(&mut after, false) {
            return None;
        }
    }
    Some(Loss { value, gradient })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Probabilities of `labels` labels from scores.
    fn probs(labels: usize, scores: &[f32]) -> LogProbs {
        let values = scores.chunks_exact(labels).flat_map(|frame| {
            let all: f32 = frame.iter().map(|s| s.exp()).sum::<f32>().ln();
            frame.iter().map(move |s| s - all)
        });
        LogProbs {
            frames: scores.len() / labels,
            labels,
            values: values.collect(),
        }
    }

    fn scores(frames: usize, labels: usize, seed: u64) -> Vec<f32> {
        let mut random = fastrand::Rng::with_seed(seed);
        (0..frames * labels)
            .map(|_| 4.0 * random.f32() - 2.0)
            .collect()
    }

    /// Every sequence of one label a frame that means `phones`, added up.
    fn by_enumeration(probs: &LogProbs, phones: &[u8]) -> f64 {
        let ways = probs.labels.pow(probs.frames as u32);
        let mut sum = 0.0;
        for way in 0..ways {
            let mut rest = way;
            let (mut said, mut before, mut chance) = (Vec::new(), 0, 1.0);
            for t in 0..probs.frames {
                let label = rest % probs.labels;
                rest /= probs.labels;
                if label != 0 && label != before {
                    said.push(label as u8);
                }
                before = label;
                chance *= f64::from(probs.frame(t)[label]).exp();
            }
            if said == phones {
                sum += chance;
            }
        }
        -sum.ln()
    }

    #[test]
    fn the_loss_is_that_of_every_way_added_up() {
        for (seed, phones) in [
            vec![1],
            vec![1, 2],
            vec![2, 2],
            vec![1, 2, 1],
            vec![3, 3, 1],
            vec![],
        ]
        .iter()
        .enumerate()
        {
            let probs = probs(4, &scores(6, 4, seed as u64));
            let loss = loss(&probs, phones).unwrap();
            let all = by_enumeration(&probs, phones);
            assert!(
                (loss.value - all).abs() < 1e-5,
                "{phones:?}: {} {all}",
                loss.value
            );
        }
    }

    #[test]
    fn the_gradient_is_the_slope_of_the_loss() {
        for (seed, phones) in [vec![1u8, 2, 3], vec![2, 2, 4], vec![1]].iter().enumerate() {
            let scores = scores(9, 5, 40 + seed as u64);
            let gradient = loss(&probs(5, &scores), phones).unwrap().gradient;
            for n in 0..scores.len() {
                let at = |step: f32| {
                    let mut moved = scores.clone();
                    moved[n] += step;
                    loss(&probs(5, &moved), phones).unwrap().value
                };
                let slope = (at(0.01) - at(-0.01)) / 0.02;
                assert!(
                    (slope - f64::from(gradient[n])).abs() < 2e-3,
                    "score {n}: slope {slope}, gradient {}",
                    gradient[n]
                );
            }
        }
    }

    #[test]
    fn too_few_frames_and_unknown_labels_have_no_loss() {
        let two = probs(4, &scores(2, 4, 1));
        assert!(loss(&two, &[1, 2]).is_some());
        // Between two of the same there must be a blank.
        assert!(loss(&two, &[1, 1]).is_none());
        assert!(loss(&two, &[1, 2, 3]).is_none());
        assert!(loss(&two, &[4]).is_none());
        let none = LogProbs {
            frames: 0,
            labels: 4,
            values: Vec::new(),
        };
        assert!(loss(&none, &[1]).is_none());
    }

    /// A sound of a minute must not run out of numbers.
    #[test]
    fn a_long_sound_has_a_loss_too() {
        let long = probs(40, &scores(1500, 40, 5));
        let loss = loss(&long, &[1, 2, 3, 4]).unwrap();
        assert!(
            loss.value.is_finite() && loss.value > 1000.0,
            "{}",
            loss.value
        );
        assert!(loss.gradient.iter().all(|g| g.is_finite()));
    }
}
