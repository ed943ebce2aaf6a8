//! The grammar as vosk takes it: a list of phrases.
//!
//! From the phrases vosk learns which word may follow which, and may begin or end. So whole
//! sentences are listed until every such pair that the grammar has is in one of them.

use crate::grammar::{Arc, WordGraph};
use std::collections::{HashSet, VecDeque};

/// Sentences of the graph, without the words that are not `known` (by their index), that together
/// hold every pair of neighbours in it.
pub fn phrases(graph: &WordGraph, known: &[bool]) -> Vec<String> {
    let ways = Ways::new(graph, known);
    let mut covered: HashSet<(Option<u32>, Option<u32>)> = HashSet::new();
    let mut phrases = Vec::new();
    let mut add = |sentence: Vec<u32>| {
        let ends = std::iter::once(None);
        let padded: Vec<Option<u32>> = ends
            .clone()
            .chain(sentence.iter().copied().map(Some))
            .chain(ends)
            .collect();
        let new = padded.windows(2).fold(false, |new, pair| match pair {
            [a, b] => covered.insert((*a, *b)) || new,
            _ => new,
        });
        if new {
            let words = sentence
                .iter()
                .filter_map(|word| graph.words.get(*word as usize).map(String::as_str));
            phrases.push(words.collect::<Vec<_>>().join(" "));
        }
    };
    for first in ways.leaving(0) {
        add([vec![first.word], ways.on(first.to)].concat());
    }
    let mut done: HashSet<(u32, u32)> = HashSet::new();
    for arc in ways.arcs() {
        let before = || [ways.to(arc.from), vec![arc.word]].concat();
        if ways.ends(arc.to) {
            add(before());
        }
        for next in ways.leaving(arc.to) {
            if done.insert((arc.word, next.word)) {
                add([before(), vec![next.word], ways.on(next.to)].concat());
            }
        }
    }
    phrases
}

/// The shortest way from the start to each state, and from each state to an end.
struct Ways<'a> {
    leaving: Vec<Vec<&'a Arc>>,
    /// The arc by which each state is first reached; nothing for the start.
    by: Vec<Option<&'a Arc>>,
    /// The arc that leads on to an end; nothing for a state where a sentence ends.
    next: Vec<Option<&'a Arc>>,
    ends: Vec<bool>,
}

impl<'a> Ways<'a> {
    fn new(graph: &'a WordGraph, known: &[bool]) -> Self {
        let count = graph.states as usize;
        let usable = |arc: &&Arc| known.get(arc.word as usize) == Some(&true);
        let mut leaving: Vec<Vec<&Arc>> = vec![Vec::new(); count];
        let mut entering: Vec<Vec<&Arc>> = vec![Vec::new(); count];
        for arc in graph.arcs.iter().filter(usable) {
            leaving[arc.from as usize].push(arc);
            entering[arc.to as usize].push(arc);
        }
        let mut ends = vec![false; count];
        for (state, _) in &graph.finals {
            ends[*state as usize] = true;
        }
        let mut by = vec![None; count];
        let mut reached = vec![false; count];
        let mut open = VecDeque::from([0usize]);
        if let Some(start) = reached.first_mut() {
            *start = true;
        }
        while let Some(state) = open.pop_front() {
            for arc in &leaving[state] {
                let to = arc.to as usize;
                if !reached[to] {
                    reached[to] = true;
                    by[to] = Some(*arc);
                    open.push_back(to);
                }
            }
        }
        let mut next = vec![None; count];
        let mut leads_on = ends.clone();
        let mut open: VecDeque<usize> = (0..count).filter(|state| ends[*state]).collect();
        while let Some(state) = open.pop_front() {
            for arc in &entering[state] {
                let from = arc.from as usize;
                if !leads_on[from] {
                    leads_on[from] = true;
                    next[from] = Some(*arc);
                    open.push_back(from);
                }
            }
        }
        for (state, arcs) in leaving.iter_mut().enumerate() {
            let reached = reached[state];
            arcs.retain(|arc| reached && leads_on[arc.to as usize]);
        }
        Self {
            leaving,
            by,
            next,
            ends,
        }
    }

    fn arcs(&self) -> impl Iterator<Item = &'a Arc> {
        self.leaving.iter().flatten().copied()
    }

    fn leaving(&self, state: u32) -> &[&'a Arc] {
        self.leaving.get(state as usize).map_or(&[], Vec::as_slice)
    }

    fn ends(&self, state: u32) -> bool {
        self.ends.get(state as usize) == Some(&true)
    }

    /// Words from the start to a state.
    fn to(&self, mut state: u32) -> Vec<u32> {
        let mut words = Vec::new();
        while let Some(arc) = self.by.get(state as usize).copied().flatten() {
            words.push(arc.word);
            state = arc.from;
        }
        words.reverse();
        words
    }

    /// Words from a state to an end.
    fn on(&self, mut state: u32) -> Vec<u32> {
        let mut words = Vec::new();
        while let Some(arc) = self.next.get(state as usize).copied().flatten() {
            words.push(arc.word);
            state = arc.to;
        }
        words
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Grammar;

    fn graph(body: &str) -> std::sync::Arc<WordGraph> {
        let text = format!("#JSGF V1.0;\ngrammar steps;\npublic <x> = {body};");
        let grammar = Grammar::from_texts([("x.jsgf", text)]).unwrap();
        grammar.graph("x").unwrap()
    }

    fn listed(body: &str, unknown: &[&str]) -> Vec<String> {
        let graph = graph(body);
        let known: Vec<bool> = graph
            .words
            .iter()
            .map(|w| !unknown.contains(&w.as_str()))
            .collect();
        let mut all = phrases(&graph, &known);
        all.sort();
        all
    }

    #[test]
    fn every_pair_of_neighbours_is_in_a_whole_sentence() {
        let all = listed("(lamp | cover) (out | back) [please]", &[]).join("|");
        for pair in [
            "lamp out",
            "lamp back",
            "cover out",
            "cover back",
            "out please",
            "back please",
        ] {
            assert!(all.contains(pair), "{pair} in {all}");
        }
    }

    #[test]
    fn a_sentence_with_an_unknown_word_is_left_out() {
        assert_eq!(
            listed("lamp out | fuse out | lamp back", &["fuse"]),
            ["lamp back", "lamp out"]
        );
        assert_eq!(
            listed("lamp out | lamp back", &["lamp"]),
            Vec::<String>::new()
        );
    }

    #[test]
    fn the_shipped_grammar_gives_a_list_that_it_understands() {
        let grammar = Grammar::built_in().unwrap();
        let graph = grammar.graph("confirm").unwrap();
        let all = phrases(&graph, &vec![true; graph.words.len()]);
        assert!(all.len() > 100 && all.len() < 20_000, "{}", all.len());
        // A place named twice, and differently, is in the grammar and means nothing.
        let understood = all
            .iter()
            .filter(|p| grammar.understand("confirm", p).is_some());
        assert!(understood.count() * 10 > all.len() * 9);
    }
}
