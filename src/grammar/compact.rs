//! A net made into a small word graph: empty edges removed, made deterministic, weights moved
//! toward the start, and equal states merged.
//!
//! Parallel paths with the same words keep the best weight (the tropical semiring), since the
//! recogniser looks for the best path only. Mohri, "Weighted automata algorithms" (Handbook of
//! Weighted Automata, 2009), sections 4 to 6.

use super::error::{GrammarError, Result};
use super::graph::{Arc, WordGraph};
use super::net::{END, Label, Net, START};
use std::collections::{BTreeMap, HashMap, VecDeque};

/// States a graph may have while it is made deterministic.
const MOST_STATES: usize = 100_000;

/// Costs nearer than this are the same; keeps rounding from making states unequal.
const STEP: f64 = 1e-4;

fn rounded(cost: f64) -> i64 {
    // Costs are logs of probabilities: far inside the range of i64.
    (cost / STEP).round() as i64
}

/// A weighted automaton without empty edges; state 0 is the start.
#[derive(Default)]
struct Automaton {
    /// Word, cost, next state.
    arcs: Vec<Vec<(u32, f64, u32)>>,
    /// Cost of ending, infinite where one cannot.
    ends: Vec<f64>,
}

/// The net's sentences as a small deterministic graph.
///
/// # Errors
/// When nothing can be said or the graph grows too large.
pub(super) fn graph(rule: &str, net: &Net) -> Result<WordGraph> {
    let mut automaton = determinise(rule, net)?;
    let first = push(&mut automaton);
    if !first.is_finite() {
        return Err(GrammarError::Empty(rule.to_owned()));
    }
    let automaton = merge_equal(&automaton);
    Ok(to_graph(net, &automaton, first))
}

/// Words, costs and states that can be reached from a state, and the cost of ending there.
struct Reach {
    arcs: Vec<(u32, f64, u32)>,
    end: f64,
}

fn reach(net: &Net, start: u32) -> Reach {
    let mut costs = BTreeMap::from([(start, 0.0)]);
    let mut open = VecDeque::from([start]);
    while let Some(state) = open.pop_front() {
        let Some(cost) = costs.get(&state).copied() else {
            continue;
        };
        for edge in net.leaving(state) {
            let cost = cost + edge.cost;
            if !matches!(edge.label, Label::Word(_))
                && costs.get(&edge.to).is_none_or(|known| cost < *known)
            {
                costs.insert(edge.to, cost);
                open.push_back(edge.to);
            }
        }
    }
    let mut arcs: BTreeMap<(u32, u32), f64> = BTreeMap::new();
    for (state, cost) in &costs {
        for edge in net.leaving(*state) {
            if let Label::Word(word) = edge.label {
                let best = arcs.entry((word, edge.to)).or_insert(f64::INFINITY);
                *best = best.min(cost + edge.cost);
            }
        }
    }
    Reach {
        arcs: arcs
            .into_iter()
            .map(|((word, to), cost)| (word, cost, to))
            .collect(),
        end: costs.get(&END).copied().unwrap_or(f64::INFINITY),
    }
}

/// States of the net that the same words lead to, each with what its best path costs beyond the
/// best of all of them, in steps.
type Subset = Vec<(u32, i64)>;

fn determinise(rule: &str, net: &Net) -> Result<Automaton> {
    let mut reached: HashMap<u32, Reach> = HashMap::new();
    let mut automaton = Automaton::default();
    let mut index: HashMap<Subset, u32> = HashMap::new();
    let mut subsets: VecDeque<Subset> = VecDeque::new();
    let start = vec![(START, 0)];
    index.insert(start.clone(), 0);
    subsets.push_back(start);
    while let Some(subset) = subsets.pop_front() {
        let mut end = f64::INFINITY;
        let mut by_word: BTreeMap<u32, BTreeMap<u32, f64>> = BTreeMap::new();
        for (state, extra) in &subset {
            let extra = *extra as f64 * STEP;
            let reach = reached.entry(*state).or_insert_with(|| reach(net, *state));
            end = end.min(extra + reach.end);
            for (word, cost, to) in &reach.arcs {
                let best = by_word
                    .entry(*word)
                    .or_default()
                    .entry(*to)
                    .or_insert(f64::INFINITY);
                *best = best.min(extra + cost);
            }
        }
        let mut arcs = Vec::with_capacity(by_word.len());
        for (word, states) in by_word {
            let best = states.values().copied().fold(f64::INFINITY, f64::min);
            let next: Subset = states
                .into_iter()
                .map(|(state, cost)| (state, rounded(cost - best)))
                .collect();
            let count = index.len();
            if count > MOST_STATES {
                return Err(GrammarError::TooLarge {
                    rule: rule.to_owned(),
                    what: "states",
                    limit: MOST_STATES,
                });
            }
            let to = *index.entry(next.clone()).or_insert_with(|| {
                subsets.push_back(next);
                u32::try_from(count).unwrap_or(u32::MAX)
            });
            arcs.push((word, best, to));
        }
        automaton.arcs.push(arcs);
        automaton.ends.push(end);
    }
    Ok(automaton)
}

/// Moves every weight as far toward the start as it goes, drops what leads nowhere, and gives back
/// the cost of the best sentence, which no arc carries any more.
fn push(automaton: &mut Automaton) -> f64 {
    let mut before: Vec<Vec<(u32, f64)>> = vec![Vec::new(); automaton.arcs.len()];
    for (from, arcs) in (0u32..).zip(&automaton.arcs) {
        for (_, cost, to) in arcs {
            if let Some(list) = before.get_mut(*to as usize) {
                list.push((from, *cost));
            }
        }
    }
    let mut left = automaton.ends.clone();
    let mut open: VecDeque<u32> = (0u32..)
        .zip(&left)
        .filter(|(_, cost)| cost.is_finite())
        .map(|(state, _)| state)
        .collect();
    while let Some(state) = open.pop_front() {
        let here = left[state as usize];
        for (from, cost) in &before[state as usize] {
            if cost + here < left[*from as usize] - STEP / 1e3 {
                left[*from as usize] = cost + here;
                open.push_back(*from);
            }
        }
    }
    for (state, arcs) in automaton.arcs.iter_mut().enumerate() {
        let here = left[state];
        arcs.retain(|(_, _, to)| here.is_finite() && left[*to as usize].is_finite());
        for (_, cost, to) in arcs {
            *cost += left[*to as usize] - here;
        }
        if here.is_finite() {
            automaton.ends[state] -= here;
        }
    }
    left.first().copied().unwrap_or(f64::INFINITY)
}

/// Merges states from which the same words lead on at the same costs (Moore's refinement).
fn merge_equal(automaton: &Automaton) -> Automaton {
    let count = automaton.arcs.len();
    let mut class = vec![0u32; count];
    let mut classes = 1;
    /// Cost of ending, and word, cost and class of each arc.
    type Ahead = (Option<i64>, Vec<(u32, i64, u32)>);
    loop {
        let mut index: HashMap<Ahead, u32> = HashMap::new();
        let mut next = Vec::with_capacity(count);
        for (arcs, end) in automaton.arcs.iter().zip(&automaton.ends) {
            let end = end.is_finite().then(|| rounded(*end));
            let arcs = arcs
                .iter()
                .map(|(word, cost, to)| (*word, rounded(*cost), class[*to as usize]))
                .collect();
            let fresh = u32::try_from(index.len()).unwrap_or(u32::MAX);
            next.push(*index.entry((end, arcs)).or_insert(fresh));
        }
        class = next;
        if index.len() == classes {
            break;
        }
        classes = index.len();
    }
    // Number the classes as they are met from the start; what is never met is left out.
    let mut number: HashMap<u32, u32> = HashMap::new();
    let mut merged = Automaton::default();
    let mut open = VecDeque::new();
    if let Some(start) = class.first() {
        number.insert(*start, 0);
        open.push_back(0usize);
    }
    while let Some(state) = open.pop_front() {
        let arcs = automaton.arcs[state]
            .iter()
            .map(|(word, cost, to)| {
                let fresh = u32::try_from(number.len()).unwrap_or(u32::MAX);
                let to_number = *number.entry(class[*to as usize]).or_insert_with(|| {
                    open.push_back(*to as usize);
                    fresh
                });
                (*word, *cost, to_number)
            })
            .collect();
        merged.arcs.push(arcs);
        merged.ends.push(automaton.ends[state]);
    }
    merged
}

/// The graph, with the cost of the best sentence put back on the arcs that leave the start.
fn to_graph(net: &Net, automaton: &Automaton, first: f64) -> WordGraph {
    let reentered = automaton
        .arcs
        .iter()
        .any(|arcs| arcs.iter().any(|(_, _, to)| *to == 0));
    let count = u32::try_from(automaton.arcs.len()).unwrap_or(u32::MAX);
    // A start that is come back to must not charge that cost again: its copy is the state to
    // come back to.
    let copy = reentered.then_some(count);
    let mut arcs = Vec::new();
    let mut finals = Vec::new();
    let all = (0u32..).zip(automaton.arcs.iter().zip(&automaton.ends));
    let again = copy.zip(automaton.arcs.first().zip(automaton.ends.first()));
    for (from, (leaving, end)) in all.chain(again) {
        let extra = if from == 0 { first } else { 0.0 };
        arcs.extend(leaving.iter().map(|(word, cost, to)| Arc {
            from,
            to: match (*to, copy) {
                (0, Some(copy)) => copy,
                (to, _) => to,
            },
            word: *word,
            weight: -(cost + extra) as f32,
        }));
        if end.is_finite() {
            finals.push((from, -(end + extra) as f32));
        }
    }
    let mut used: Vec<u32> = arcs.iter().map(|arc| arc.word).collect();
    used.sort_unstable();
    used.dedup();
    for arc in &mut arcs {
        let place = used.binary_search(&arc.word).unwrap_or_default();
        arc.word = u32::try_from(place).unwrap_or(u32::MAX);
    }
    WordGraph {
        words: used
            .iter()
            .filter_map(|word| net.words.get(*word as usize).cloned())
            .collect(),
        arcs,
        states: count + u32::from(reentered),
        finals,
    }
}
