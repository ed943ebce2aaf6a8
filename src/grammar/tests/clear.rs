//! No sentence can be taken two ways: not by its words, not by its sound, not by the classes that
//! the recogniser merges hypotheses on.

use super::*;
use std::collections::{HashMap, HashSet};

/// Sentences that the rule allows and that sound exactly like these words.
struct SoundAlikes<'a> {
    graph: &'a WordGraph,
    leaving: HashMap<u32, Vec<Arc>>,
    lexicon: &'a Lexicon,
}

impl<'a> SoundAlikes<'a> {
    fn new(graph: &'a WordGraph, lexicon: &'a Lexicon) -> Self {
        let mut leaving: HashMap<u32, Vec<Arc>> = HashMap::new();
        for arc in &graph.arcs {
            leaving.entry(arc.from).or_default().push(*arc);
        }
        Self {
            graph,
            leaving,
            lexicon,
        }
    }

    /// Each way of pronouncing the words, up to a few dozen.
    fn sounds(&self, words: &str) -> Vec<Vec<&'a str>> {
        let mut all: Vec<Vec<&str>> = vec![Vec::new()];
        for word in words.split(' ') {
            let variants = self.lexicon.pronunciations(word);
            all = all
                .iter()
                .flat_map(|before| {
                    variants.iter().map(move |variant| {
                        let phones = variant.iter().map(String::as_str);
                        before.iter().copied().chain(phones).collect()
                    })
                })
                .take(32)
                .collect();
        }
        all
    }

    fn of(&self, words: &str) -> HashSet<String> {
        let mut found = HashSet::new();
        for phones in self.sounds(words) {
            let mut open = vec![(0u32, 0usize, Vec::new())];
            while let Some((state, at, words)) = open.pop() {
                if at == phones.len() && self.graph.finals.iter().any(|(s, _)| *s == state) {
                    found.insert(words.join(" "));
                }
                for arc in self.leaving.get(&state).into_iter().flatten() {
                    let word = self.graph.words[arc.word as usize].as_str();
                    for variant in self.lexicon.pronunciations(word) {
                        let fits = phones
                            .get(at..at + variant.len())
                            .is_some_and(|here| here.iter().eq(variant.iter()));
                        if fits {
                            let mut words = words.clone();
                            words.push(word);
                            open.push((arc.to, at + variant.len(), words));
                        }
                    }
                }
            }
        }
        found
    }
}

#[test]
fn no_two_sentences_sound_the_same_and_differ_in_meaning() {
    sound_alikes(7, 300);
}

#[test]
fn sentences_of_the_same_classes_mean_the_same() {
    same_classes(8, 6000);
}

/// `cargo test --lib grammar::tests::clear::many -- --ignored`
#[test]
#[ignore = "the two tests above with many more sentences, for after a change to a grammar: minutes"]
fn many() {
    sound_alikes(77, 20_000);
    same_classes(88, 100_000);
}

fn sound_alikes(seed: u64, count: usize) {
    let lexicon = Lexicon::built_in().unwrap();
    let mut clashes = Vec::new();
    for rule in step_rules() {
        let graph = GRAMMAR.graph(&rule).unwrap();
        let alikes = SoundAlikes::new(&graph, &lexicon);
        for (words, meant) in sampled(&rule, seed, count) {
            for other in alikes.of(&words) {
                if GRAMMAR.understand(&rule, &other) != meant {
                    clashes.push(format!("{rule}: `{words}` and `{other}`"));
                }
            }
        }
    }
    assert!(clashes.is_empty(), "{}", clashes.join("\n"));
}

fn same_classes(seed: u64, count: usize) {
    for rule in step_rules() {
        let mut known: HashMap<Vec<&str>, (&str, &Option<Intent>)> = HashMap::new();
        let sentences = sampled(&rule, seed, count);
        for (words, meant) in &sentences {
            let classes: Vec<&str> = words
                .split(' ')
                .filter_map(|word| GRAMMAR.meaning_class(word))
                .collect();
            let (other, same) = *known.entry(classes).or_insert((words, meant));
            assert_eq!(same, meant, "{rule}: `{words}` and `{other}`");
        }
    }
}

/// Pairs that a noisy ear confuses and that one rule must not hold with different meanings.
#[test]
fn words_that_sound_alike_were_kept_apart() {
    for rule in step_rules() {
        for (one, other) in [
            ("pass", "pause"),
            ("no", "oh"),
            ("correct", "correction"),
            ("confirm", "affirm"),
            ("note", "nought"),
            ("lock off", "locked off"),
            ("line two earth nine", "line to earth nine"),
        ] {
            let both = [one, other].map(|words| {
                GRAMMAR
                    .net(&rule)
                    .unwrap()
                    .path(&words.split(' ').collect::<Vec<_>>())
                    .is_some()
            });
            assert_ne!(both, [true, true], "{rule} has both `{one}` and `{other}`");
        }
    }
}

fn distance(one: &[String], other: &[String]) -> usize {
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (i, a) in one.iter().enumerate() {
        let mut before = row[0];
        row[0] = i + 1;
        for (j, b) in other.iter().enumerate() {
            let here = row[j + 1];
            row[j + 1] = (before + usize::from(a != b)).min(here + 1).min(row[j] + 1);
            before = here;
        }
    }
    row[other.len()]
}

/// `cargo test --lib grammar::tests::clear::near -- --ignored --nocapture`
#[test]
#[ignore = "prints words that begin alike in one place and differ by one sound"]
fn near() {
    let lexicon = Lexicon::built_in().unwrap();
    let mut found: std::collections::BTreeMap<(String, String), HashSet<String>> =
        Default::default();
    for rule in step_rules() {
        let graph = GRAMMAR.graph(&rule).unwrap();
        for one in &graph.arcs {
            for other in graph
                .arcs
                .iter()
                .filter(|o| o.from == one.from && o.word > one.word)
            {
                let [a, b] = [one, other].map(|arc| graph.words[arc.word as usize].as_str());
                if GRAMMAR.meaning_class(a) == GRAMMAR.meaning_class(b) {
                    continue;
                }
                let near = lexicon.pronunciations(a).iter().any(|x| {
                    lexicon
                        .pronunciations(b)
                        .iter()
                        .any(|y| distance(x, y) <= 1)
                });
                if near {
                    found
                        .entry((a.to_owned(), b.to_owned()))
                        .or_default()
                        .insert(rule.clone());
                }
            }
        }
    }
    for ((a, b), rules) in found {
        println!(
            "near: {a} / {b}: {} rules, such as {}",
            rules.len(),
            rules.iter().next().unwrap()
        );
    }
}
