//! Viterbi over a phone graph with CTC blanks, several hypotheses a node.

use super::network::LogProbs;
use super::phones::{Kind, PhoneGraph};

/// How widely to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Width {
    /// Hypotheses kept in each node, told apart by the classes of their words.
    pub hypotheses: usize,
    /// Hypotheses this much less likely than the best (natural log) are dropped.
    pub beam: f32,
}

/// One way of hearing the utterance.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypothesis {
    /// Log-probability of its best path, weights of the grammar included.
    pub score: f32,
    pub words: Vec<HeardWord>,
}

/// A word of a hypothesis with the frames of its first and last phone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeardWord {
    /// Index into the graph's words.
    pub word: u32,
    pub first: u16,
    pub last: u16,
}

/// The likeliest label sequence without any grammar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FreePath {
    pub score: f32,
    /// Phones in it, blanks and repeats apart.
    pub phones: u32,
}

impl FreePath {
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
    /// The words before this one: an index into [`Histories`].
    history: u32,
    /// Hash of the classes of those words.
    meaning: u64,
    /// Frame in which the present word began.
    entered: u16,
}

const NO_TOKEN: Token = Token {
    score: f32::NEG_INFINITY,
    history: NO_HISTORY,
    meaning: 0,
    entered: 0,
};
const NO_HISTORY: u32 = u32::MAX;

/// The tokens of many places, at most so many each, best first, no two of one meaning.
struct Layer {
    most: usize,
    tokens: Vec<Token>,
    counts: Vec<u8>,
    active: Vec<u32>,
}

impl Layer {
    fn new(places: usize, most: usize) -> Self {
        Self {
            most,
            tokens: vec![NO_TOKEN; places * most],
            counts: vec![0; places],
            active: Vec::new(),
        }
    }

    fn clear(&mut self) {
        for place in self.active.drain(..) {
            self.counts[place as usize] = 0;
        }
    }

    fn at(&self, place: u32) -> &[Token] {
        let from = place as usize * self.most;
        &self.tokens[from..from + usize::from(self.counts[place as usize])]
    }

    /// Whether a token with this score and meaning would be kept.
    fn wants(&self, place: u32, score: f32, meaning: u64) -> bool {
        let here = self.at(place);
        match here.iter().find(|t| t.meaning == meaning) {
            Some(same) => score > same.score,
            None => here.len() < self.most || here.last().is_some_and(|t| score > t.score),
        }
    }

    fn insert(&mut self, place: u32, token: Token) {
        let count = usize::from(self.counts[place as usize]);
        let from = place as usize * self.most;
        let here = &mut self.tokens[from..from + self.most];
        if count == self.most && token.score <= here[count - 1].score {
            return;
        }
        let mut slot = match here[..count]
            .iter()
            .position(|t| t.meaning == token.meaning)
        {
            Some(same) if here[same].score >= token.score => return,
            Some(same) => same,
            None => {
                if count == 0 {
                    self.active.push(place);
                }
                if count < self.most {
                    self.counts[place as usize] += 1;
                }
                count.min(self.most - 1)
            }
        };
        while slot > 0 && here[slot - 1].score < token.score {
            here[slot] = here[slot - 1];
            slot -= 1;
        }
        here[slot] = token;
    }
}

/// Words already passed, each linked to the one before.
#[derive(Default)]
struct Histories {
    all: Vec<History>,
    /// Length at which those that no token needs are thrown out.
    limit: usize,
}

#[derive(Clone, Copy)]
struct History {
    before: u32,
    spelling: u32,
    first: u16,
    last: u16,
}

impl Histories {
    const LIMIT: usize = 1 << 18;

    fn new() -> Self {
        Self {
            all: Vec::new(),
            limit: Self::LIMIT,
        }
    }

    fn add(&mut self, history: History) -> u32 {
        self.all.push(history);
        self.all.len() as u32 - 1
    }

    fn get(&self, history: u32) -> Option<&History> {
        self.all.get(history as usize)
    }

    /// Throws out what no token of `layers` needs, when there is much.
    fn tidy(&mut self, layers: [&mut Layer; 2]) {
        if self.all.len() < self.limit {
            return;
        }
        let mut needed = vec![false; self.all.len()];
        for layer in &layers {
            for &place in &layer.active {
                for token in layer.at(place) {
                    let mut at = token.history;
                    while let Some(seen) = needed.get_mut(at as usize).filter(|seen| !**seen) {
                        *seen = true;
                        at = self.all[at as usize].before;
                    }
                }
            }
        }
        let mut moved = vec![NO_HISTORY; self.all.len()];
        let mut kept: Vec<History> = Vec::new();
        let new_place =
            |moved: &[u32], old: u32| moved.get(old as usize).copied().unwrap_or(NO_HISTORY);
        for (i, history) in self.all.iter().enumerate() {
            if needed[i] {
                moved[i] = kept.len() as u32;
                kept.push(History {
                    before: new_place(&moved, history.before),
                    ..*history
                });
            }
        }
        for layer in layers {
            for &place in &layer.active {
                let from = place as usize * layer.most;
                let count = usize::from(layer.counts[place as usize]);
                for token in &mut layer.tokens[from..from + count] {
                    token.history = new_place(&moved, token.history);
                }
            }
        }
        self.limit = Self::LIMIT.max(2 * kept.len());
        self.all = kept;
    }
}

/// The likeliest ways of hearing `probs` that the grammar allows, best first, no two of one
/// class sequence; none when no path reaches an end.
pub fn search(graph: &PhoneGraph, probs: &LogProbs, width: Width) -> Vec<Hypothesis> {
    if graph.states.is_empty() || probs.frames == 0 {
        return Vec::new();
    }
    let most = width.hypotheses.clamp(1, 255);
    let mut histories = Histories::new();
    let mut nodes = Layer::new(graph.nodes.len(), most);
    let mut next = Layer::new(graph.nodes.len(), most);
    let mut states = Layer::new(graph.states.len(), most);
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
        let least_before = best_before - width.beam;
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
        for &n in &nodes.active {
            let from = nodes.at(n);
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
                let cost = spelling.weight + emission[usize::from(label)];
                let not = (!after_blank).then_some(label);
                step(from, spelling.first, cost, Some(t as u16), not);
            }
            if !after_blank {
                let blank = graph.states[state as usize].blank;
                step(from, blank, emission[0], None, None);
            }
        };
        for &n in &nodes.active {
            let node = graph.nodes[n as usize];
            if node.kind == Kind::Between {
                enter(nodes.at(n), node.owner, true);
            }
        }
        for &s in &states.active {
            enter(states.at(s), s, false);
        }

        states.clear();
        for &n in &next.active {
            let node = graph.nodes[n as usize];
            if node.kind != Kind::LastPhone {
                continue;
            }
            let spelling = graph.spellings[node.owner as usize];
            let class = graph.classes[spelling.word as usize];
            for token in next.at(n) {
                if token.score < best - width.beam {
                    break;
                }
                let meaning = class.map_or(token.meaning, |c| mix(token.meaning, c));
                if states.wants(spelling.to, token.score, meaning) {
                    let history = histories.add(History {
                        before: token.history,
                        spelling: node.owner,
                        first: token.entered,
                        last: t as u16,
                    });
                    let token = Token {
                        history,
                        meaning,
                        ..*token
                    };
                    states.insert(spelling.to, token);
                }
            }
        }
        nodes.clear();
        std::mem::swap(&mut nodes, &mut next);
        histories.tidy([&mut nodes, &mut states]);
        best_before = best;
    }

    let mut ends = Layer::new(1, most);
    for (s, state) in graph.states.iter().enumerate() {
        let Some(weight) = state.end else { continue };
        for token in states.at(s as u32).iter().chain(nodes.at(state.blank)) {
            if token.history != NO_HISTORY {
                let score = token.score + weight;
                ends.insert(0, Token { score, ..*token });
            }
        }
    }
    let spelt = |token: &Token| Hypothesis {
        score: token.score,
        words: words(graph, &histories, token.history),
    };
    ends.at(0).iter().map(spelt).collect()
}

fn words(graph: &PhoneGraph, histories: &Histories, last: u32) -> Vec<HeardWord> {
    let mut words = Vec::new();
    let mut at = last;
    while let Some(history) = histories.get(at) {
        words.push(HeardWord {
            word: graph.spellings[history.spelling as usize].word,
            first: history.first,
            last: history.last,
        });
        at = history.before;
    }
    words.reverse();
    words
}

fn last_label(graph: &PhoneGraph, histories: &Histories, history: u32) -> Option<u8> {
    let history = histories.get(history)?;
    Some(graph.spellings[history.spelling as usize].last_label)
}

/// The hash of a class sequence and one class more.
fn mix(meaning: u64, class: u64) -> u64 {
    let mixed = (meaning.rotate_left(23) ^ class).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    mixed ^ (mixed >> 29)
}
