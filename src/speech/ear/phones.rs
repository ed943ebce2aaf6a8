//! Words to phones, and a graph of words to a graph of phones.

use super::ctc;
use super::network::LogProbs;
use super::search::{HeardWord, Hypothesis};
use super::strangers::Stranger;
use super::{EarError, FRAME_SECONDS};
use crate::grammar::{Lexicon, WordGraph};
use crate::speech::WordTime;
use std::collections::HashMap;

/// Names of the model's labels; the first is the CTC blank.
#[derive(Debug, Clone)]
pub struct Phones(Vec<String>);

impl Phones {
    /// From a JSON list of names.
    ///
    /// # Errors
    /// When it is no list of 2 to 255 names.
    pub fn new(json: &str) -> Result<Self, EarError> {
        let names: Vec<String> =
            serde_json::from_str(json).map_err(|e| EarError::Phones(e.to_string()))?;
        if !(2..=255).contains(&names.len()) {
            return Err(EarError::Phones(format!("{} names", names.len())));
        }
        Ok(Self(names))
    }

    /// How many labels there are, the blank included.
    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// The label called `name`.
    pub fn label(&self, name: &str) -> Option<u8> {
        let found = self.0.iter().position(|n| n == name)?;
        u8::try_from(found).ok().filter(|l| *l != 0)
    }

    /// The labels of a pronunciation.
    pub(super) fn labels(&self, phones: &[String]) -> Result<Vec<u8>, EarError> {
        let label = |p: &String| {
            self.label(p)
                .ok_or_else(|| EarError::NoSuchPhone(p.clone()))
        };
        phones.iter().map(label).collect()
    }

    /// The name of `label`.
    pub fn name(&self, label: u8) -> &str {
        self.0.get(usize::from(label)).map_or("?", String::as_str)
    }
}

/// The labels of `words`, each word said the way that `probs` find likeliest; nothing when a word is
/// not known or the frames are too few.
///
/// # Errors
/// When the lexicon uses a phone that the model lacks.
pub(super) fn likeliest(
    words: &str,
    lexicon: &Lexicon,
    phones: &Phones,
    probs: &LogProbs,
) -> Result<Option<Vec<u8>>, EarError> {
    let mut ways: Vec<Vec<Vec<u8>>> = Vec::new();
    for word in words.split_whitespace() {
        let said = lexicon.pronunciations(word).iter();
        ways.push(
            said.map(|way| phones.labels(way))
                .collect::<Result<_, _>>()?,
        );
    }
    if ways.is_empty() || ways.iter().any(Vec::is_empty) {
        return Ok(None);
    }
    // One word after the other, the others held.
    let mut chosen = vec![0; ways.len()];
    let spelt = |chosen: &[usize]| -> Vec<u8> {
        let each = ways.iter().zip(chosen);
        each.flat_map(|(way, &c)| way[c].iter().copied()).collect()
    };
    for word in 0..ways.len() {
        let loss = |way: usize| {
            let mut chosen = chosen.clone();
            chosen[word] = way;
            ctc::loss(probs, &spelt(&chosen)).map_or(f64::INFINITY, |loss| loss.value)
        };
        if ways[word].len() > 1 {
            let each = (0..ways[word].len()).map(|way| (way, loss(way)));
            let best = each.min_by(|a, b| a.1.total_cmp(&b.1));
            chosen[word] = best.map_or(0, |(way, _)| way);
        }
    }
    Ok(Some(spelt(&chosen)))
}

/// A graph of words spelt out in phones, ready to be searched.
#[derive(Debug)]
pub struct PhoneGraph {
    pub(super) words: Vec<String>,
    /// From this word on they are strangers.
    strangers: u32,
    /// The class of each word, numbered as they come; none for words that add nothing to the
    /// meaning.
    pub(super) classes: Vec<Option<u32>>,
    pub(super) nodes: Vec<Node>,
    pub(super) spellings: Vec<Spelling>,
    pub(super) states: Vec<State>,
}

/// One label that the search can stand in. The nodes of a spelling follow each other: phone,
/// blank, phone, ... phone.
#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    pub label: u8,
    /// The spelling it belongs to, or the state when it is the blank between words.
    pub owner: u32,
    pub kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A phone; `leap` when the blank after it may be left out because the next phone differs.
    Phone { leap: bool },
    /// The last phone of a word.
    LastPhone,
    /// The blank between two phones of a word.
    Blank,
    /// The blank in a state, between words.
    Between,
}

/// One pronunciation of one word between two states.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spelling {
    pub to: u32,
    pub word: u32,
    pub weight: f32,
    pub first: u32,
    pub first_label: u8,
    pub last_label: u8,
}

#[derive(Debug, Clone)]
pub(super) struct State {
    /// The spellings that leave it: a range of [`PhoneGraph::spellings`].
    pub leaving: std::ops::Range<u32>,
    pub blank: u32,
    /// Log weight of ending here.
    pub end: Option<f32>,
}

/// A graph as it is being spelt out, state after state.
#[derive(Default)]
struct SpeltOut {
    nodes: Vec<Node>,
    spellings: Vec<Spelling>,
    states: Vec<State>,
    /// The blank and the first spelling of the state under way.
    blank: u32,
    from: u32,
}

impl SpeltOut {
    fn begin(&mut self, state: u32) {
        self.blank = self.nodes.len() as u32;
        self.nodes.push(Node {
            label: 0,
            owner: state,
            kind: Kind::Between,
        });
        self.from = self.spellings.len() as u32;
    }

    fn spell(&mut self, phones: &[u8], to: u32, word: u32, weight: f32) {
        let (Some(&first_label), Some(&last_label)) = (phones.first(), phones.last()) else {
            return;
        };
        let owner = self.spellings.len() as u32;
        self.spellings.push(Spelling {
            to,
            word,
            weight,
            first: self.nodes.len() as u32,
            first_label,
            last_label,
        });
        for (i, &label) in phones.iter().enumerate() {
            let kind = match phones.get(i + 1) {
                Some(&next) => Kind::Phone {
                    leap: next != label,
                },
                None => Kind::LastPhone,
            };
            self.nodes.push(Node { label, owner, kind });
            if kind != Kind::LastPhone {
                self.nodes.push(Node {
                    label: 0,
                    owner,
                    kind: Kind::Blank,
                });
            }
        }
    }

    fn end(&mut self, end: Option<f32>) {
        self.states.push(State {
            leaving: self.from..self.spellings.len() as u32,
            blank: self.blank,
            end,
        });
    }
}

impl PhoneGraph {
    /// Spells `graph` out. `class` gives the class of a word: words of one class are the same
    /// said differently, words without one add nothing to the meaning. Each of `strangers` is a
    /// sentence of its own; all of them are of one class.
    ///
    /// # Errors
    /// When a word has no pronunciation, or the graph names a state or word that it lacks.
    pub fn new(
        graph: &WordGraph,
        lexicon: &Lexicon,
        phones: &Phones,
        class: impl for<'w> Fn(&'w str) -> Option<&'w str>,
        strangers: &[Stranger],
    ) -> Result<Self, EarError> {
        let missing: Vec<&str> = graph
            .words
            .iter()
            .map(String::as_str)
            .filter(|w| !lexicon.knows(w))
            .collect();
        if !missing.is_empty() {
            return Err(EarError::NoPronunciation(missing.join(", ")));
        }
        let spelt = |word: &String| {
            let variants = lexicon.pronunciations(word).iter();
            variants.map(|v| phones.labels(v)).collect()
        };
        let spelt: Vec<Vec<Vec<u8>>> = graph.words.iter().map(spelt).collect::<Result<_, _>>()?;
        let mut arcs = graph.arcs.clone();
        arcs.sort_by_key(|arc| arc.from);
        let broken = |arc: &crate::grammar::Arc| {
            arc.from >= graph.states
                || arc.to >= graph.states
                || arc.word as usize >= graph.words.len()
        };
        if arcs.iter().any(broken) || graph.finals.iter().any(|f| f.0 >= graph.states) {
            return Err(EarError::Graph);
        }

        let mut ends: HashMap<u32, f32> = HashMap::new();
        for &(state, weight) in &graph.finals {
            let end = ends.entry(state).or_insert(weight);
            *end = end.max(weight);
        }
        let mut spelt_out = SpeltOut::default();
        let mut arcs = arcs.iter().peekable();
        let ours = graph.words.len() as u32;
        for state in 0..graph.states {
            spelt_out.begin(state);
            while let Some(arc) = arcs.next_if(|arc| arc.from == state) {
                for phones in &spelt[arc.word as usize] {
                    spelt_out.spell(phones, arc.to, arc.word, arc.weight);
                }
            }
            if state == 0 {
                for (stranger, word) in strangers.iter().zip(ours..) {
                    spelt_out.spell(&stranger.labels, graph.states, word, stranger.weight);
                }
            }
            spelt_out.end(ends.get(&state).copied());
        }
        if !strangers.is_empty() {
            spelt_out.begin(graph.states);
            spelt_out.end(Some(0.0));
        }
        let SpeltOut {
            nodes,
            spellings,
            states,
            ..
        } = spelt_out;
        let mut numbers: HashMap<&str, u32> = HashMap::new();
        let mut number = |class| {
            let next = numbers.len() as u32;
            *numbers.entry(class).or_insert(next)
        };
        let mut classes: Vec<Option<u32>> = graph
            .words
            .iter()
            .map(|word| class(word).map(&mut number))
            .collect();
        let foreign = numbers.len() as u32;
        classes.extend(strangers.iter().map(|_| Some(foreign)));
        let texts = strangers.iter().map(|stranger| stranger.text.clone());
        Ok(Self {
            words: graph.words.iter().cloned().chain(texts).collect(),
            strangers: ours,
            classes,
            nodes,
            spellings,
            states,
        })
    }

    /// Whether a hypothesis is a word that is not ours.
    pub fn is_strange(&self, hypothesis: &Hypothesis) -> bool {
        hypothesis.words.iter().any(|w| w.word >= self.strangers)
    }

    /// The word that is not ours, without a weight; nothing when the hypothesis is ours.
    pub(super) fn stranger(&self, hypothesis: &Hypothesis) -> Option<Stranger> {
        let heard = hypothesis.words.iter().find(|w| w.word >= self.strangers)?;
        let spelling = self.leaving(0).iter().find(|s| s.word == heard.word)?;
        let own = self.nodes.get(spelling.first as usize..)?.iter();
        let last = own.clone().position(|n| n.kind == Kind::LastPhone)?;
        let phones = own.take(last + 1).filter(|n| n.kind != Kind::Blank);
        Some(Stranger {
            text: self.word(heard).to_owned(),
            labels: phones.map(|n| n.label).collect(),
            weight: 0.0,
        })
    }

    /// The words of a hypothesis, with a space between.
    pub fn text(&self, hypothesis: &Hypothesis) -> String {
        let words: Vec<&str> = hypothesis.words.iter().map(|w| self.word(w)).collect();
        words.join(" ")
    }

    /// The words of a hypothesis with their times in seconds.
    pub fn times(&self, hypothesis: &Hypothesis) -> Vec<WordTime> {
        let time = |frame: u16| f32::from(frame) * FRAME_SECONDS;
        let timed = |w: &HeardWord| WordTime {
            word: self.word(w).to_owned(),
            from: time(w.first),
            to: time(w.last + 1),
        };
        hypothesis.words.iter().map(timed).collect()
    }

    /// Whether the grammar allows more words after those of a hypothesis.
    pub fn may_go_on(&self, hypothesis: &Hypothesis) -> bool {
        let mut states = vec![0];
        for word in hypothesis.words.iter().map(|heard| heard.word) {
            let leaving = states.iter().flat_map(|&state| self.leaving(state));
            states = leaving
                .filter(|spelling| spelling.word == word)
                .map(|spelling| spelling.to)
                .collect();
            states.sort_unstable();
            states.dedup();
        }
        states.iter().any(|&state| !self.leaving(state).is_empty())
    }

    fn leaving(&self, state: u32) -> &[Spelling] {
        self.states
            .get(state as usize)
            .and_then(|state| {
                self.spellings
                    .get(state.leaving.start as usize..state.leaving.end as usize)
            })
            .unwrap_or_default()
    }

    pub(super) fn word(&self, heard: &HeardWord) -> &str {
        self.words
            .get(heard.word as usize)
            .map_or("", String::as_str)
    }

    /// Nodes that the search may stand in.
    pub fn size(&self) -> usize {
        self.nodes.len()
    }
}
