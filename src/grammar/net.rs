//! A rule as a net of words and tags: what the matcher and the word graph are made from.

use super::error::{GrammarError, Result};
use super::jsgf::{Linked, Node};
use super::tag::Tag;
use std::cell::Cell;
use std::collections::{BTreeMap, HashMap, VecDeque};

/// Parts that a rule may have, its references written out, before it is called too large.
const MOST_PARTS: usize = 500_000;

/// Expansions inside each other, counted through references: what the call stack surely holds.
const DEEPEST: usize = 1000;

/// What an edge of the net stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Label {
    Empty,
    /// Index into [`Net::words`].
    Word(u32),
    /// The words of a tag, index into [`Net::tags`], begin.
    Open(u32),
    Close,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub to: u32,
    pub label: Label,
    /// Negative natural log of the probability.
    pub cost: f64,
}

/// A rule with every reference written out. State 0 is the start, state 1 the end.
#[derive(Debug, Default)]
pub(super) struct Net {
    pub edges: Vec<Vec<Edge>>,
    pub words: Vec<String>,
    pub tags: Vec<Tag>,
    word_index: HashMap<String, u32>,
}

pub(super) const START: u32 = 0;
pub(super) const END: u32 = 1;

/// One step along a path through the net.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Event<'a> {
    Word(&'a str),
    Open(&'a Tag),
    Close,
}

impl Net {
    pub(super) fn new(linked: &Linked<Tag>, rule: usize) -> Result<Self> {
        let mut net = Self::default();
        let builder = Builder {
            linked,
            rule,
            parts: Cell::new(0),
            depth: Cell::new(0),
        };
        net.state();
        net.state();
        builder.add(&mut net, &Node::Rule(rule), START, END, 0.0)?;
        Ok(net)
    }

    fn state(&mut self) -> u32 {
        self.edges.push(Vec::new());
        u32::try_from(self.edges.len() - 1).unwrap_or(u32::MAX)
    }

    fn edge(&mut self, from: u32, to: u32, label: Label, cost: f64) {
        if let Some(edges) = self.edges.get_mut(from as usize) {
            edges.push(Edge { to, label, cost });
        }
    }

    fn word(&mut self, word: &str) -> u32 {
        if let Some(index) = self.word_index.get(word) {
            return *index;
        }
        let index = u32::try_from(self.words.len()).unwrap_or(u32::MAX);
        self.words.push(word.to_owned());
        self.word_index.insert(word.to_owned(), index);
        index
    }

    pub(super) fn leaving(&self, state: u32) -> &[Edge] {
        self.edges.get(state as usize).map_or(&[], Vec::as_slice)
    }

    /// The likeliest path whose words are these, or nothing.
    ///
    /// Time grows with words times edges: every state is kept once per word, with its best path.
    pub(super) fn path<'a>(&'a self, words: &[&str]) -> Option<Vec<Event<'a>>> {
        let mut trail = Trail::default();
        let mut best: Front = Front::from([(START, (0.0, None))]);
        for said in words {
            self.follow_empty(&mut best, &mut trail);
            let word = *self.word_index.get(*said)?;
            let mut next = Front::new();
            for (state, (cost, back)) in &best {
                for edge in self.leaving(*state) {
                    if edge.label != Label::Word(word) {
                        continue;
                    }
                    let cost = cost + edge.cost;
                    if next.get(&edge.to).is_none_or(|(known, _)| cost < *known) {
                        next.insert(edge.to, (cost, Some(trail.step(*back, edge.label))));
                    }
                }
            }
            best = next;
        }
        self.follow_empty(&mut best, &mut trail);
        let (_, back) = best.get(&END)?;
        Some(
            trail
                .back_from(*back)
                .into_iter()
                .filter_map(|label| self.event(label))
                .collect(),
        )
    }

    fn follow_empty(&self, best: &mut Front, trail: &mut Trail) {
        let mut open: VecDeque<u32> = best.keys().copied().collect();
        while let Some(state) = open.pop_front() {
            let Some((cost, back)) = best.get(&state).copied() else {
                continue;
            };
            for edge in self.leaving(state) {
                if matches!(edge.label, Label::Word(_)) {
                    continue;
                }
                let cost = cost + edge.cost;
                if best.get(&edge.to).is_none_or(|(known, _)| cost < *known) {
                    let back = match edge.label {
                        Label::Empty => back,
                        label => Some(trail.step(back, label)),
                    };
                    best.insert(edge.to, (cost, back));
                    open.push_back(edge.to);
                }
            }
        }
    }

    fn event(&self, label: Label) -> Option<Event<'_>> {
        match label {
            Label::Empty => None,
            Label::Word(word) => self.words.get(word as usize).map(|w| Event::Word(w)),
            Label::Open(tag) => self.tags.get(tag as usize).map(Event::Open),
            Label::Close => Some(Event::Close),
        }
    }

    /// A path chosen by its probability, with numbers from `random`; nothing when the walk runs
    /// into `<VOID>` or does not end within `longest` steps.
    pub(super) fn walk<'a>(
        &'a self,
        random: &mut dyn FnMut() -> f64,
        longest: usize,
    ) -> Option<Vec<Event<'a>>> {
        let mut state = START;
        let mut events = Vec::new();
        for _ in 0..longest {
            if state == END {
                return Some(events);
            }
            let edges = self.leaving(state);
            let mut left = random() * edges.iter().map(|e| (-e.cost).exp()).sum::<f64>();
            let chosen = edges
                .iter()
                .find(|edge| {
                    left -= (-edge.cost).exp();
                    left <= 0.0
                })
                .or(edges.last())?;
            events.extend(self.event(chosen.label));
            state = chosen.to;
        }
        None
    }
}

/// Each state reached with its cost and the last step of the trail that led there. Ordered, so that
/// equal costs are decided alike in every run.
type Front = BTreeMap<u32, (f64, Option<u32>)>;

/// Labels passed, each with the one before it.
#[derive(Default)]
struct Trail(Vec<(Option<u32>, Label)>);

impl Trail {
    fn step(&mut self, back: Option<u32>, label: Label) -> u32 {
        self.0.push((back, label));
        u32::try_from(self.0.len() - 1).unwrap_or(u32::MAX)
    }

    fn back_from(&self, mut at: Option<u32>) -> Vec<Label> {
        let mut labels = Vec::new();
        while let Some((back, label)) = at.and_then(|at| self.0.get(at as usize)) {
            labels.push(*label);
            at = *back;
        }
        labels.reverse();
        labels
    }
}

struct Builder<'a> {
    linked: &'a Linked<Tag>,
    rule: usize,
    parts: Cell<usize>,
    depth: Cell<usize>,
}

impl Builder<'_> {
    /// Writes `node` between two states. No edge of it enters `from` or leaves `to`.
    fn add(&self, net: &mut Net, node: &Node<Tag>, from: u32, to: u32, cost: f64) -> Result<()> {
        self.parts.set(self.parts.get() + 1);
        self.depth.set(self.depth.get() + 1);
        self.refuse_past(self.parts.get(), "parts", MOST_PARTS)?;
        self.refuse_past(self.depth.get(), "levels", DEEPEST)?;
        let half = std::f64::consts::LN_2;
        match node {
            Node::Null => net.edge(from, to, Label::Empty, cost),
            Node::Void => {}
            Node::Word(word) => {
                let word = net.word(word);
                net.edge(from, to, Label::Word(word), cost);
            }
            Node::Rule(rule) => {
                if let Some(body) = self.linked.bodies.get(*rule) {
                    self.add(net, body, from, to, cost)?;
                }
            }
            Node::Sequence(all) => {
                let mut at = from;
                let mut cost = cost;
                for (n, part) in all.iter().enumerate() {
                    let next = if n + 1 == all.len() { to } else { net.state() };
                    self.add(net, part, at, next, cost)?;
                    (at, cost) = (next, 0.0);
                }
            }
            Node::Alternatives(all) => {
                for (p, body) in all.iter().filter(|(p, _)| *p > 0.0) {
                    self.add(net, body, from, to, cost - libm::log(*p))?;
                }
            }
            Node::Optional(body) => {
                net.edge(from, to, Label::Empty, cost + half);
                self.add(net, body, from, to, cost + half)?;
            }
            Node::Repeat {
                body,
                at_least_once,
            } => {
                let (begin, end) = (net.state(), net.state());
                net.edge(
                    from,
                    begin,
                    Label::Empty,
                    cost + if *at_least_once { 0.0 } else { half },
                );
                self.add(net, body, begin, end, 0.0)?;
                net.edge(end, begin, Label::Empty, half);
                net.edge(end, to, Label::Empty, half);
                if !at_least_once {
                    net.edge(from, to, Label::Empty, cost + half);
                }
            }
            Node::Tagged { body, tag } => {
                let (begin, end) = (net.state(), net.state());
                let index = u32::try_from(net.tags.len()).unwrap_or(u32::MAX);
                net.tags.push(tag.clone());
                net.edge(from, begin, Label::Open(index), cost);
                self.add(net, body, begin, end, 0.0)?;
                net.edge(end, to, Label::Close, 0.0);
            }
        }
        self.depth.set(self.depth.get() - 1);
        Ok(())
    }

    fn refuse_past(&self, count: usize, what: &'static str, limit: usize) -> Result<()> {
        if count <= limit {
            return Ok(());
        }
        let rule = self
            .linked
            .names
            .get(self.rule)
            .cloned()
            .unwrap_or_default();
        Err(GrammarError::TooLarge { rule, what, limit })
    }
}
