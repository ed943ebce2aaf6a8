//! The grammars that ship, as a whole: what is heard is understood, and never in two ways.

mod canonical;
mod clear;
mod guide;
mod practice;
mod said_aloud;
mod shipped;

use super::*;
use crate::terms::*;
use std::sync::LazyLock;

pub(super) static GRAMMAR: LazyLock<Grammar> = LazyLock::new(|| {
    Grammar::built_in()
        .and_then(|grammar| grammar.with_places(&["door entry unit", "boat store heater"]))
        .unwrap_or_else(|error| panic!("{error}"))
});

pub(super) fn step_rules() -> Vec<String> {
    GRAMMAR.rules().map(str::to_owned).collect()
}

/// Sentences of a rule with the meaning of the path they were made from.
pub(super) fn sampled(rule: &str, seed: u64, count: usize) -> Vec<(String, Option<Intent>)> {
    let mut rng = fastrand::Rng::with_seed(seed);
    let net = GRAMMAR.net(rule).unwrap();
    (0..count)
        .filter_map(|_| {
            let path = net.walk(&mut || rng.f64(), 10_000)?;
            let words: Vec<&str> = path
                .iter()
                .filter_map(|event| match event {
                    net::Event::Word(word) => Some(*word),
                    _ => None,
                })
                .collect();
            Some((words.join(" "), meaning::of(&path)))
        })
        .collect()
}
