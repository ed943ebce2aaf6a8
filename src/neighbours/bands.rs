//! Sound as powers of bands, a hundred times a second: what is compared between phones.

use crate::audio::SAMPLE_RATE;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::sync::Arc;

/// Samples from one frame to the next: 10 ms.
pub const STEP: usize = SAMPLE_RATE as usize / 100;
/// How many bands there are.
pub(super) const COUNT: usize = 18;
const WINDOW: usize = 2 * STEP;
const SIZE: usize = 512;
const LOWEST: f32 = 200.0;
const HIGHEST: f32 = 6000.0;
/// Less power than this is none: exact zeros have a logarithm too.
const NOTHING: f32 = 1e-12;

/// The powers of one frame.
pub(super) type Powers = [f32; COUNT];

/// Cuts a stream into frames.
#[derive(Clone)]
pub(super) struct Bands {
    fft: Arc<dyn Fft<f32>>,
    window: Vec<f32>,
    /// The first bin of each band, and the end of the last.
    edges: [usize; COUNT + 1],
    kept: Vec<f32>,
}

impl Default for Bands {
    fn default() -> Self {
        let edge = |n: usize| {
            let share = n as f32 / COUNT as f32;
            let hertz = LOWEST * (HIGHEST / LOWEST).powf(share);
            (hertz * SIZE as f32 / SAMPLE_RATE as f32).round() as usize
        };
        let mut edges = [0; COUNT + 1];
        for (n, at) in edges.iter_mut().enumerate() {
            *at = edge(n);
        }
        // The lowest are narrower than a bin.
        for n in 1..edges.len() {
            edges[n] = edges[n].max(edges[n - 1] + 1);
        }
        let turn = std::f32::consts::TAU / WINDOW as f32;
        Self {
            fft: FftPlanner::new().plan_fft_forward(SIZE),
            window: (0..WINDOW)
                .map(|n| 0.5 - 0.5 * (turn * n as f32).cos())
                .collect(),
            edges,
            kept: Vec::new(),
        }
    }
}

impl Bands {
    /// Takes the next samples; the frames that are whole now.
    pub(super) fn push(&mut self, samples: &[f32]) -> Vec<Powers> {
        self.kept.extend(samples);
        let mut frames = Vec::new();
        let mut at = 0;
        while let Some(sound) = self.kept.get(at..at + WINDOW) {
            frames.push(self.powers(sound));
            at += STEP;
        }
        self.kept.drain(..at);
        frames
    }

    fn powers(&self, sound: &[f32]) -> Powers {
        let mut bins = [Complex::new(0.0, 0.0); SIZE];
        for ((bin, sample), weight) in bins.iter_mut().zip(sound).zip(&self.window) {
            bin.re = sample * weight;
        }
        self.fft.process(&mut bins);
        let mut powers = [NOTHING; COUNT];
        for (power, edge) in powers.iter_mut().zip(self.edges.windows(2)) {
            let bins = bins.get(edge[0]..edge[1]).unwrap_or_default();
            let sum: f32 = bins.iter().map(Complex::norm_sqr).sum();
            *power += sum / (bins.len().max(1) * WINDOW) as f32;
        }
        powers
    }
}
