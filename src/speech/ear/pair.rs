//! Several models' judgement of one utterance: every candidate of any of them is scored by all, and
//! the sums decide.
//!
//! Frames are not mixed: the peaks of models trained apart do not fall on the same frames, so that
//! the mean of their probabilities is worse than either. Whole hypotheses can be compared.

use super::network::LogProbs;
use super::phones::{PhoneGraph, Phones};
use super::search::{Beam, HeardWord, Hypothesis, PhoneLoop, search};
use super::strangers::Stranger;
use super::{EarError, same_meaning};
use crate::grammar::{Arc, Intent, Lexicon, WordGraph};

/// What one model makes of an utterance.
#[derive(Debug)]
pub(super) struct View {
    pub probs: LogProbs,
    pub free: PhoneLoop,
}

impl View {
    pub(super) fn of(probs: LogProbs) -> Self {
        let free = PhoneLoop::of(&probs);
        Self { probs, free }
    }
}

/// One way of hearing the utterance that the grammar allows, with its meaning.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    pub hypothesis: Hypothesis,
    pub words: String,
    /// Nothing for a word that is not ours.
    pub said: Option<Intent>,
}

impl Candidate {
    /// Whether two mean the same to the person; all that is not ours does.
    pub(super) fn means(&self, said: Option<&Intent>) -> bool {
        match (&self.said, said) {
            (Some(mine), Some(said)) => same_meaning(mine, said),
            (mine, said) => mine.is_none() && said.is_none(),
        }
    }
}

/// What several models make of an utterance together.
#[derive(Debug)]
pub(super) struct Judged {
    /// One a meaning, the greatest sum first. Scores and weights are sums over the models.
    pub candidates: Vec<Candidate>,
    /// The sums of their free paths.
    pub free: PhoneLoop,
    /// Whether all have the same likeliest meaning.
    pub agree: bool,
}

/// Candidates of each model that the others score. More change little: the right one is among the
/// first few or nowhere.
const MOST: usize = 6;

/// Whether two are the same words. One word that is not ours may be said in several ways, each of
/// which is a stranger by itself.
fn alike(a: &Candidate, b: &Candidate) -> bool {
    let first = |c: &Candidate| c.hypothesis.words.first().map(|w| w.word);
    a.words == b.words && (a.said.is_some() || first(a) == first(b))
}

/// Sums the scores over `views`, each as often as its weight says; `found` holds the candidates of
/// each view, best first.
///
/// # Errors
/// When a word of a candidate has no pronunciation.
pub(super) fn judge(
    graph: &PhoneGraph,
    lexicon: &Lexicon,
    phones: &Phones,
    views: &[&View],
    weights: &[f32],
    found: Vec<Vec<Candidate>>,
) -> Result<Judged, EarError> {
    let mut firsts = found.iter().map(|of_one| of_one.first());
    let agree = match firsts.next() {
        Some(Some(first)) => {
            firsts.all(|other| other.is_some_and(|other| other.means(first.said.as_ref())))
        }
        _ => false,
    };
    // Each is scored anew by all: the search may have dropped the best path of one that is behind.
    let mut pool: Vec<Candidate> = Vec::new();
    for candidate in found.into_iter().flat_map(|of| of.into_iter().take(MOST)) {
        if !pool.iter().any(|known| alike(known, &candidate)) {
            pool.push(candidate);
        }
    }
    let mut summed = Vec::with_capacity(pool.len());
    for mut candidate in pool {
        let hypothesis = &mut candidate.hypothesis;
        let line = match graph.stranger(hypothesis) {
            Some(stranger) => alone(stranger, lexicon, phones)?,
            None => line(graph, &hypothesis.words, lexicon, phones)?,
        };
        let each = views.iter().zip(weights).map(|(view, weight)| {
            let score = sound(&line, &view.probs)? + hypothesis.weight;
            Some(weight * score)
        });
        // A model whose frames are too few for the words rules them out.
        let Some(sum) = each.sum() else { continue };
        hypothesis.score = sum;
        hypothesis.weight *= weights.iter().sum::<f32>();
        summed.push(candidate);
    }
    summed.sort_by(|a, b| b.hypothesis.score.total_cmp(&a.hypothesis.score));
    let mut candidates: Vec<Candidate> = Vec::new();
    for candidate in summed {
        if !candidates.iter().any(|c| c.means(candidate.said.as_ref())) {
            candidates.push(candidate);
        }
    }
    let each = || views.iter().map(|view| view.free).zip(weights);
    let phones: f32 = each()
        .map(|(free, weight)| weight * free.phones as f32)
        .sum();
    let free = PhoneLoop {
        score: each().map(|(free, weight)| weight * free.score).sum(),
        phones: phones.round() as u32,
    };
    Ok(Judged {
        candidates,
        free,
        agree,
    })
}

/// A graph of these words and no others, each in all its pronunciations, without weights.
fn line(
    graph: &PhoneGraph,
    heard: &[HeardWord],
    lexicon: &Lexicon,
    phones: &Phones,
) -> Result<PhoneGraph, EarError> {
    let words: Vec<String> = heard.iter().map(|w| graph.word(w).to_owned()).collect();
    let arcs = (0..words.len() as u32)
        .map(|n| Arc {
            from: n,
            to: n + 1,
            word: n,
            weight: 0.0,
        })
        .collect();
    let states = words.len() as u32 + 1;
    let graph = WordGraph {
        words,
        arcs,
        states,
        finals: vec![(states - 1, 0.0)],
    };
    PhoneGraph::new(&graph, lexicon, phones, |_| None, &[])
}

/// A graph of one word that is not ours.
fn alone(stranger: Stranger, lexicon: &Lexicon, phones: &Phones) -> Result<PhoneGraph, EarError> {
    let nothing = WordGraph {
        words: Vec::new(),
        arcs: Vec::new(),
        states: 1,
        finals: Vec::new(),
    };
    PhoneGraph::new(&nothing, lexicon, phones, |_| None, &[stranger])
}

/// The score of the best path through a graph of one sequence of words; nothing when there are too
/// few frames for it.
fn sound(line: &PhoneGraph, probs: &LogProbs) -> Option<f32> {
    let all = Beam {
        hypotheses: 1,
        beam: f32::INFINITY,
        nodes: usize::MAX,
        reward: 0.0,
    };
    search(line, probs, all).first().map(|best| best.score)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Grammar;
    use crate::speech::ear::{Strangers, WIDTH};
    use std::sync::Arc as Shared;

    fn phones() -> Phones {
        Phones::new(include_str!("../../../models/phones.json")).unwrap()
    }

    /// Log-probabilities as a model might give them where it is unsure, the same at every call.
    fn unsure(frames: usize, labels: usize, seed: u64) -> LogProbs {
        let mut random = fastrand::Rng::with_seed(seed);
        let mut values = Vec::new();
        for _ in 0..frames {
            let scores: Vec<f32> = (0..labels).map(|_| 6.0 * random.f32()).collect();
            let all = scores.iter().map(|s| s.exp()).sum::<f32>().ln();
            values.extend(scores.iter().map(|s| s - all));
        }
        LogProbs {
            frames,
            labels,
            values,
        }
    }

    fn graph_of(rule: &str) -> anyhow::Result<PhoneGraph> {
        let grammar = Shared::new(Grammar::built_in().unwrap());
        let words = grammar.graph(rule).unwrap();
        let (lexicon, phones) = (Lexicon::built_in()?, phones());
        let near = Strangers::built_in(&phones)?;
        let near = near.near(&grammar, rule, &words, &lexicon, &phones)?;
        Ok(PhoneGraph::new(
            &words,
            &lexicon,
            &phones,
            |w| grammar.meaning_class(w),
            &near,
        )?)
    }

    fn candidates(graph: &PhoneGraph, probs: &LogProbs) -> Vec<Candidate> {
        let grammar = Grammar::built_in().unwrap();
        let mut found: Vec<Candidate> = Vec::new();
        for hypothesis in search(graph, probs, WIDTH) {
            let words = graph.text(&hypothesis);
            let said = grammar.understand("insulation", &words);
            // A sentence that the grammar allows may still mean nothing.
            if said.is_none() && !graph.is_strange(&hypothesis) {
                continue;
            }
            if !found.iter().any(|c| c.means(said.as_ref())) {
                found.push(Candidate {
                    hypothesis,
                    words,
                    said,
                });
            }
        }
        found
    }

    /// The search finds the best path of each hypothesis, so the score of its words by themselves is
    /// that of the search, less the grammar's weights.
    #[test]
    fn words_by_themselves_score_as_in_the_search() {
        let (lexicon, phones) = (Lexicon::built_in().unwrap(), phones());
        let graph = graph_of("insulation").unwrap();
        for seed in 0..8 {
            let probs = unsure(60, phones.count(), seed);
            let found = search(&graph, &probs, WIDTH);
            let best = found.first().unwrap();
            let line = line(&graph, &best.words, &lexicon, &phones).unwrap();
            let alone = sound(&line, &probs).unwrap();
            assert!(
                (alone - (best.score - best.weight)).abs() < 0.01,
                "{}: {alone} alone, {} in the search",
                graph.text(best),
                best.score - best.weight
            );
        }
    }

    #[test]
    fn the_sums_decide_whoever_found_it() {
        let (lexicon, phones) = (Lexicon::built_in().unwrap(), phones());
        let graph = graph_of("insulation").unwrap();
        let mut elsewhere = 0;
        for seed in 0..8 {
            let views = [seed, seed + 100].map(|s| View::of(unsure(60, phones.count(), s)));
            let found: Vec<_> = views.iter().map(|v| candidates(&graph, &v.probs)).collect();
            let firsts: Vec<Option<Intent>> = found.iter().map(|f| f[0].said.clone()).collect();
            let weights = [0.5, 1.0];
            let judged = judge(
                &graph,
                &lexicon,
                &phones,
                &[&views[0], &views[1]],
                &weights,
                found,
            )
            .unwrap();
            let sum = |c: &Candidate| {
                let line = match graph.stranger(&c.hypothesis) {
                    Some(stranger) => alone(stranger, &lexicon, &phones).unwrap(),
                    None => line(&graph, &c.hypothesis.words, &lexicon, &phones).unwrap(),
                };
                let sounds = views.iter().map(|v| sound(&line, &v.probs).unwrap());
                let sounds = sounds.zip(weights).map(|(sound, weight)| weight * sound);
                sounds.sum::<f32>() + c.hypothesis.weight
            };
            for pair in judged.candidates.windows(2) {
                assert!(pair[0].hypothesis.score >= pair[1].hypothesis.score);
                assert!(!pair[0].means(pair[1].said.as_ref()));
            }
            for candidate in &judged.candidates {
                assert!((sum(candidate) - candidate.hypothesis.score).abs() < 0.02);
            }
            assert_eq!(judged.agree, firsts[0] == firsts[1]);
            elsewhere += usize::from(!judged.candidates[0].means(firsts[0].as_ref()));
        }
        assert!(elsewhere > 0, "the second model never mattered");
    }

    #[test]
    fn the_same_model_twice_hears_as_it_does_once() {
        let (lexicon, phones) = (Lexicon::built_in().unwrap(), phones());
        let graph = graph_of("insulation").unwrap();
        let views = [3, 3].map(|s| View::of(unsure(60, phones.count(), s)));
        let once = candidates(&graph, &views[0].probs);
        let found = vec![once.clone(), once.clone()];
        let judged = judge(
            &graph,
            &lexicon,
            &phones,
            &[&views[0], &views[1]],
            &[1.0, 1.0],
            found,
        )
        .unwrap();
        assert!(judged.agree);
        for (one, both) in once.iter().zip(&judged.candidates) {
            assert_eq!(one.words, both.words);
            assert!(both.hypothesis.score > 2.0 * one.hypothesis.score - 0.02);
        }
        let fit = |c: &Candidate, free| crate::speech::ear::judge::fit(&c.hypothesis, free);
        let (one, both) = (
            fit(&once[0], views[0].free),
            fit(&judged.candidates[0], judged.free),
        );
        assert!((one - both).abs() < 1e-4, "{one} once, {both} twice");
    }
}
