//! Viterbi over a phone graph with CTC blanks, several hypotheses a node.

use super::network::LogProbs;
use super::phones::{Kind, PhoneGraph};
use rustc_hash::FxHashMap;

/// How widely to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beam {
    /// Hypotheses kept in each node, told apart by the classes of their words.
    pub hypotheses: usize,
    /// Hypotheses this much less likely than the best (natural log) are dropped.
    pub beam: f32,
    /// Nodes followed from one frame to the next, the likeliest; in noise everything is within the
    /// beam.
    pub nodes: usize,
    /// Added for each word while searching, and taken off the scores again: every word costs the
    /// grammar's weight, so that of two hypotheses the shorter comes first when nothing is added.
    pub reward: f32,
}

/// One way of hearing the utterance.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypothesis {
    /// Log-probability of its best path, weights of the grammar included.
    pub score: f32,
    /// The grammar's part of it.
    pub weight: f32,
    /// In their order.
    pub words: Vec<HeardWord>,
}

/// A word of a hypothesis with the frames of its first and last phone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeardWord {
    /// Index into the graph's words.
    pub word: u32,
    /// Frame of its first phone, 50 a second.
    pub first: u16,
    /// Frame of its last phone.
    pub last: u16,
}

/// The likeliest label sequence without any grammar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhoneLoop {
    /// Its log-probability.
    pub score: f32,
    /// Phones in it, blanks and repeats apart.
    pub phones: u32,
}

impl PhoneLoop {
    /// The likeliest phone of each frame.
    pub fn of(probs: &LogProbs) -> Self {
        let mut path = Self {
            score: 0.0,
            phones: 0,
        };
        let mut before = 0;
        for (label, p) in probs.best() {
            path.score += p;
            path.phones += u32::from(label != 0 && label != before);
            before = label;
        }
        path
    }
}

/// A hypothesis under way.
#[derive(Debug, Clone, Copy)]
struct Token {
    score: f32,
    /// The words before this one: an index into [`Traceback`].
    history: u32,
    /// The classes of those words: an index into [`Meanings`].
    meaning: u32,
    /// Frame in which the present word began.
    entered: u16,
}

const NO_TOKEN: Token = Token {
    score: f32::NEG_INFINITY,
    history: NOTHING,
    meaning: NOTHING,
    entered: 0,
};

/// The tokens of the places where there are any: at most so many each, best first, no two of one
/// meaning.
struct TokenSet {
    most: usize,
    /// Where each place stands in `active`, or [`NO_SLOT`].
    slots: Vec<u32>,
    active: Vec<u32>,
    counts: Vec<u8>,
    tokens: Vec<Token>,
}

const NO_SLOT: u32 = u32::MAX;

impl TokenSet {
    fn new(places: usize, most: usize) -> Self {
        Self {
            most,
            slots: vec![NO_SLOT; places],
            active: Vec::new(),
            counts: Vec::new(),
            tokens: Vec::new(),
        }
    }

    fn clear(&mut self) {
        for place in self.active.drain(..) {
            self.slots[place as usize] = NO_SLOT;
        }
        self.counts.clear();
        self.tokens.clear();
    }

    /// The places with tokens, and their tokens.
    fn each(&self) -> impl Iterator<Item = (u32, &[Token])> {
        let chunks = self.tokens.chunks_exact(self.most).zip(&self.counts);
        let tokens = chunks.map(|(chunk, &count)| &chunk[..usize::from(count)]);
        self.active.iter().copied().zip(tokens)
    }

    fn each_token(&mut self) -> impl Iterator<Item = &mut Token> {
        let chunks = self.tokens.chunks_exact_mut(self.most).zip(&self.counts);
        chunks.flat_map(|(chunk, &count)| chunk[..usize::from(count)].iter_mut())
    }

    fn at(&self, place: u32) -> &[Token] {
        match self.slots[place as usize] {
            NO_SLOT => &[],
            slot => {
                let from = slot as usize * self.most;
                &self.tokens[from..from + usize::from(self.counts[slot as usize])]
            }
        }
    }

    /// The best score of the place with the `n`th best.
    fn nth_best(&self, n: usize) -> f32 {
        if self.active.len() <= n || n == 0 {
            return f32::NEG_INFINITY;
        }
        let mut scores: Vec<f32> = self
            .tokens
            .chunks_exact(self.most)
            .map(|chunk| chunk[0].score)
            .collect();
        let (_, nth, _) = scores.select_nth_unstable_by(n - 1, |a, b| b.total_cmp(a));
        *nth
    }

    /// Whether a token with this score and meaning would be kept; no meaning is one that no
    /// token has yet.
    fn wants(&self, place: u32, score: f32, meaning: Option<u32>) -> bool {
        let here = self.at(place);
        match here.iter().find(|t| Some(t.meaning) == meaning) {
            Some(same) => score > same.score,
            None => here.len() < self.most || here.last().is_some_and(|t| score > t.score),
        }
    }

    fn insert(&mut self, place: u32, token: Token) {
        let slot = match self.slots[place as usize] {
            NO_SLOT => {
                let slot = self.active.len();
                self.slots[place as usize] = slot as u32;
                self.active.push(place);
                self.counts.push(0);
                self.tokens.resize(self.tokens.len() + self.most, NO_TOKEN);
                slot
            }
            slot => slot as usize,
        };
        let count = usize::from(self.counts[slot]);
        let here = &mut self.tokens[slot * self.most..][..self.most];
        if count == self.most && token.score <= here[count - 1].score {
            return;
        }
        let mut to = match here[..count]
            .iter()
            .position(|t| t.meaning == token.meaning)
        {
            Some(same) if here[same].score >= token.score => return,
            Some(same) => same,
            None => {
                if count < self.most {
                    self.counts[slot] += 1;
                }
                count.min(self.most - 1)
            }
        };
        while to > 0 && here[to - 1].score < token.score {
            here[to] = here[to - 1];
            to -= 1;
        }
        here[to] = token;
    }
}

/// Sequences as chains that share their beginnings: each item is linked to the one before.
struct Chains<T> {
    all: Vec<Link<T>>,
    /// Length at which those that no token needs are thrown out.
    limit: usize,
}

#[derive(Clone, Copy)]
struct Link<T> {
    before: u32,
    item: T,
}

/// The chain without any item.
const NOTHING: u32 = u32::MAX;

impl<T: Copy> Chains<T> {
    const LIMIT: usize = 1 << 18;

    fn new() -> Self {
        Self {
            all: Vec::new(),
            limit: Self::LIMIT,
        }
    }

    fn add(&mut self, before: u32, item: T) -> u32 {
        self.all.push(Link { before, item });
        self.all.len() as u32 - 1
    }

    fn get(&self, chain: u32) -> Option<&Link<T>> {
        self.all.get(chain as usize)
    }

    /// Throws out what no token of `layers` needs, when there is much; `of` is where a token has
    /// its chain. True when it did.
    fn tidy(&mut self, layers: &mut [&mut TokenSet; 2], of: fn(&mut Token) -> &mut u32) -> bool {
        if self.all.len() < self.limit {
            return false;
        }
        let mut needed = vec![false; self.all.len()];
        for token in layers.iter_mut().flat_map(|layer| layer.each_token()) {
            let mut at = *of(token);
            while let Some(seen) = needed.get_mut(at as usize).filter(|seen| !**seen) {
                *seen = true;
                at = self.all[at as usize].before;
            }
        }
        let mut moved = vec![NOTHING; self.all.len()];
        let mut kept: Vec<Link<T>> = Vec::new();
        let new_place =
            |moved: &[u32], old: u32| moved.get(old as usize).copied().unwrap_or(NOTHING);
        for (i, link) in self.all.iter().enumerate() {
            if needed[i] {
                moved[i] = kept.len() as u32;
                kept.push(Link {
                    before: new_place(&moved, link.before),
                    ..*link
                });
            }
        }
        for token in layers.iter_mut().flat_map(|layer| layer.each_token()) {
            let chain = of(token);
            *chain = new_place(&moved, *chain);
        }
        self.limit = Self::LIMIT.max(2 * kept.len());
        self.all = kept;
        true
    }
}

/// Words already passed.
type Traceback = Chains<Passed>;

#[derive(Clone, Copy)]
struct Passed {
    spelling: u32,
    first: u16,
    last: u16,
}

/// Sequences of classes. One sequence has one number, so two are the same only when they are.
struct Meanings {
    chains: Chains<u32>,
    known: FxHashMap<(u32, u32), u32>,
}

impl Meanings {
    fn new() -> Self {
        Self {
            chains: Chains::new(),
            known: FxHashMap::default(),
        }
    }

    /// A meaning and one class more, if that was met before.
    fn find(&self, before: u32, class: u32) -> Option<u32> {
        self.known.get(&(before, class)).copied()
    }

    /// A meaning and one class more.
    fn and(&mut self, before: u32, class: u32) -> u32 {
        let chains = &mut self.chains;
        let new = || chains.add(before, class);
        *self.known.entry((before, class)).or_insert_with(new)
    }

    fn tidy(&mut self, layers: &mut [&mut TokenSet; 2]) {
        if self.chains.tidy(layers, |token| &mut token.meaning) {
            let links = self.chains.all.iter().zip(0..);
            self.known = links
                .map(|(link, n)| ((link.before, link.item), n))
                .collect();
        }
    }
}

/// The likeliest ways of hearing `probs` that the grammar allows, best first, no two of one
/// class sequence; none when no path reaches an end.
pub fn search(graph: &PhoneGraph, probs: &LogProbs, width: Beam) -> Vec<Hypothesis> {
    if graph.states.is_empty() || probs.frames == 0 {
        return Vec::new();
    }
    let most = width.hypotheses.clamp(1, 255);
    let mut histories = Traceback::new();
    let mut meanings = Meanings::new();
    let mut nodes = TokenSet::new(graph.nodes.len(), most);
    let mut next = TokenSet::new(graph.nodes.len(), most);
    let mut states = TokenSet::new(graph.states.len(), most);
    states.insert(
        0,
        Token {
            score: 0.0,
            ..NO_TOKEN
        },
    );
    let mut best_before = 0.0f32;

    for t in 0..probs.frames {
        let emission = probs.frame(t);
        let least_before = (best_before - width.beam).max(nodes.nth_best(width.nodes));
        let mut best = f32::NEG_INFINITY;
        let mut step =
            |from: &[Token], to: u32, cost: f32, entered: Option<u16>, not: Option<u8>| {
                let Some(first) = from.first() else { return };
                if first.score + cost < best - width.beam {
                    return;
                }
                for token in from {
                    if token.score < least_before {
                        break;
                    }
                    // Without a blank between them, a phone said twice would be heard once.
                    if not.is_some() && not == last_label(graph, &histories, token.history) {
                        continue;
                    }
                    let score = token.score + cost;
                    best = best.max(score);
                    next.insert(
                        to,
                        Token {
                            score,
                            entered: entered.unwrap_or(token.entered),
                            ..*token
                        },
                    );
                }
            };

        // Within words first: their scores then bound the entries into new words.
        for (n, from) in nodes.each() {
            let node = graph.nodes[n as usize];
            step(from, n, emission[usize::from(node.label)], None, None);
            let onward = |to: u32| emission[usize::from(graph.nodes[to as usize].label)];
            match node.kind {
                Kind::Phone { leap } => {
                    step(from, n + 1, onward(n + 1), None, None);
                    if leap {
                        step(from, n + 2, onward(n + 2), None, None);
                    }
                }
                Kind::Blank => step(from, n + 1, onward(n + 1), None, None),
                Kind::LastPhone | Kind::Between => {}
            }
        }
        let mut enter = |from: &[Token], state: u32, after_blank: bool| {
            let leaving = graph.states[state as usize].leaving.clone();
            for spelling in &graph.spellings[leaving.start as usize..leaving.end as usize] {
                let label = spelling.first_label;
                let cost = spelling.weight + width.reward + emission[usize::from(label)];
                let not = (!after_blank).then_some(label);
                step(from, spelling.first, cost, Some(t as u16), not);
            }
            if !after_blank {
                let blank = graph.states[state as usize].blank;
                step(from, blank, emission[0], None, None);
            }
        };
        for (n, from) in nodes.each() {
            let node = graph.nodes[n as usize];
            if node.kind == Kind::Between {
                enter(from, node.owner, true);
            }
        }
        for (s, from) in states.each() {
            enter(from, s, false);
        }

        states.clear();
        for (n, from) in next.each() {
            let node = graph.nodes[n as usize];
            if node.kind != Kind::LastPhone {
                continue;
            }
            let spelling = graph.spellings[node.owner as usize];
            let class = graph.classes[spelling.word as usize];
            for token in from {
                if token.score < best - width.beam {
                    break;
                }
                let known = match class {
                    Some(class) => meanings.find(token.meaning, class),
                    None => Some(token.meaning),
                };
                if states.wants(spelling.to, token.score, known) {
                    let passed = Passed {
                        spelling: node.owner,
                        first: token.entered,
                        last: t as u16,
                    };
                    let token = Token {
                        history: histories.add(token.history, passed),
                        meaning: match class {
                            Some(class) => meanings.and(token.meaning, class),
                            None => token.meaning,
                        },
                        ..*token
                    };
                    states.insert(spelling.to, token);
                }
            }
        }
        nodes.clear();
        std::mem::swap(&mut nodes, &mut next);
        let mut layers = [&mut nodes, &mut states];
        histories.tidy(&mut layers, |token| &mut token.history);
        meanings.tidy(&mut layers);
        best_before = best;
    }

    let mut ends = TokenSet::new(1, most);
    for (s, state) in graph.states.iter().enumerate() {
        let Some(weight) = state.end else { continue };
        for token in states.at(s as u32).iter().chain(nodes.at(state.blank)) {
            if token.history != NOTHING {
                let score = token.score + weight;
                ends.insert(0, Token { score, ..*token });
            }
        }
    }
    let spelt = |token: &Token| {
        let mut found = spell(graph, &histories, *token);
        found.score -= width.reward * found.words.len() as f32;
        found
    };
    ends.at(0).iter().map(spelt).collect()
}

/// The words that led to a token in an end.
fn spell(graph: &PhoneGraph, histories: &Traceback, token: Token) -> Hypothesis {
    let mut words = Vec::new();
    let mut weight = 0.0;
    let mut at = token.history;
    while let Some(&Link { before, item }) = histories.get(at) {
        let spelling = graph.spellings[item.spelling as usize];
        if words.is_empty() {
            weight += graph.states[spelling.to as usize].end.unwrap_or(0.0);
        }
        weight += spelling.weight;
        words.push(HeardWord {
            word: spelling.word,
            first: item.first,
            last: item.last,
        });
        at = before;
    }
    words.reverse();
    Hypothesis {
        score: token.score,
        weight,
        words,
    }
}

fn last_label(graph: &PhoneGraph, histories: &Traceback, history: u32) -> Option<u8> {
    let passed = histories.get(history)?.item;
    Some(graph.spellings[passed.spelling as usize].last_label)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sequences of up to five of three classes, with those that no token holds thrown out halfway.
    #[test]
    fn two_meanings_are_one_only_when_their_classes_are_the_same() {
        let mut meanings = Meanings::new();
        let mut layer = TokenSet::new(400, 1);
        let mut none = TokenSet::new(0, 1);
        let mut numbered: Vec<(Vec<u32>, u32)> = vec![(Vec::new(), NOTHING)];
        let mut at = 0;
        while numbered[at].0.len() < 5 {
            let (before, number) = numbered[at].clone();
            for class in 0..3 {
                let after = [before.as_slice(), &[class]].concat();
                let new = meanings.and(number, class);
                let token = Token {
                    meaning: new,
                    ..NO_TOKEN
                };
                layer.insert(numbered.len() as u32, token);
                numbered.push((after, new));
            }
            at += 1;
            // Nobody holds this one.
            meanings.chains.add(NOTHING, 7);
        }
        assert_eq!(numbered.len(), 364);
        meanings.chains.limit = 0;
        meanings.tidy(&mut [&mut layer, &mut none]);
        assert_eq!(meanings.chains.all.len(), 363);
        for (place, tokens) in layer.each() {
            numbered[place as usize].1 = tokens[0].meaning;
        }
        for (classes, number) in &numbered {
            let again = classes
                .iter()
                .try_fold(NOTHING, |m, &c| meanings.find(m, c));
            assert_eq!(again, Some(*number), "{classes:?}");
        }
        let mut numbers: Vec<u32> = numbered.iter().map(|(_, number)| *number).collect();
        numbers.sort_unstable();
        numbers.dedup();
        assert_eq!(numbers.len(), 364);
    }
}
