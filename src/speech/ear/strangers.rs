//! Words that are not ours and sound nearly like one that is: they compete with it, so that "bed" is
//! not taken for "dead".

use super::EarError;
use super::phones::Phones;
use crate::grammar::{Grammar, Intent, Lexicon, WordGraph};
use std::collections::{BTreeMap, HashMap, HashSet};

/// The dictionary's words that are one sound away from a word of our commands.
#[derive(Debug, Clone)]
pub struct Strangers {
    commands: Vec<Word>,
    /// Those one sound away from what the trade says in other words, which compete there alone.
    talk: Vec<Word>,
}

/// A word and the labels of its phones.
type Word = (String, Vec<u8>);

/// A stranger as a rule meets it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stranger {
    /// As it is written: "bed".
    pub text: String,
    /// The model's labels of its phones.
    pub labels: Vec<u8>,
    /// Natural log of its weight: that of the command it is near to.
    pub weight: f32,
}

impl Strangers {
    /// Those of `models/strangers.txt` and `models/strangers-talk.txt`.
    ///
    /// # Errors
    /// When a line of them is wrong, or names a phone that the model lacks.
    pub fn built_in(phones: &Phones) -> anyhow::Result<Self> {
        let commands = include_str!("../../../models/strangers.txt");
        let talk = include_str!("../../../models/strangers-talk.txt");
        Ok(Self {
            commands: read("models/strangers.txt", commands, phones)?,
            talk: read("models/strangers-talk.txt", talk, phones)?,
        })
    }

    /// What competes with the commands of one or two words that a rule allows: every word of the
    /// dictionary that is one sound away from one and is no sentence of the rule. Nothing competes with numbers, which are read back or asked
    /// about, nor with warnings, of which a near one must be asked about.
    ///
    /// # Errors
    /// When a word of the graph has no pronunciation.
    pub fn near(
        &self,
        grammar: &Grammar,
        rule: &str,
        graph: &WordGraph,
        lexicon: &Lexicon,
        phones: &Phones,
    ) -> Result<Vec<Stranger>, EarError> {
        let mut found: BTreeMap<&[u8], Stranger> = BTreeMap::new();
        // A word of ours said in another way is no stranger.
        let mut ours: HashSet<Vec<u8>> = HashSet::new();
        let mut texts: HashSet<String> = HashSet::new();
        let talk = Grammar::is_talk(rule).then_some(&self.talk);
        let known = || self.commands.iter().chain(talk.into_iter().flatten());
        let spelt = |word: &&str| -> Result<Vec<Vec<u8>>, EarError> {
            let all = lexicon.pronunciations(word).iter();
            all.map(|spelt| phones.labels(spelt)).collect()
        };
        for (words, weight) in short_sentences(graph) {
            let each: Vec<Vec<Vec<u8>>> = words.iter().map(spelt).collect::<Result<_, _>>()?;
            let text = words.join(" ");
            let said = grammar.understand(rule, &text);
            texts.insert(text);
            let rivals = said.is_some_and(|said| competes(&said));
            for whole in joined(&each) {
                let near = known().filter(|(_, labels)| one_apart(&whole, labels));
                for (word, labels) in near.filter(|_| rivals) {
                    let one = found.entry(labels).or_insert_with(|| Stranger {
                        text: word.clone(),
                        labels: labels.clone(),
                        weight,
                    });
                    one.weight = one.weight.max(weight);
                }
                ours.insert(whole);
            }
        }
        found.retain(|labels, s| !ours.contains(*labels) && !texts.contains(&s.text));
        Ok(found.into_values().collect())
    }
}

/// The words of a file.
fn read(file: &str, text: &str, phones: &Phones) -> anyhow::Result<Vec<Word>> {
    let lexicon = Lexicon::parse(file, text)?;
    let mut all = Vec::new();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let word = line.split('\t').next().unwrap_or_default();
        for spelt in lexicon.pronunciations(word) {
            all.push((word.to_owned(), phones.labels(spelt)?));
        }
    }
    all.sort();
    all.dedup();
    Ok(all)
}

/// Whether other words should compete with a command that means this.
pub(super) fn competes(said: &Intent) -> bool {
    !said.is_a_warning()
        && !matches!(
            said,
            Intent::Foreign(_) | Intent::Reading { .. } | Intent::Circuit(_) | Intent::Board(_)
        )
}

/// The sentences of one or two words that the graph allows, with the logs of their weights.
fn short_sentences(graph: &WordGraph) -> Vec<(Vec<&str>, f32)> {
    let mut ends: HashMap<u32, f32> = HashMap::new();
    for &(state, weight) in &graph.finals {
        let end = ends.entry(state).or_insert(weight);
        *end = end.max(weight);
    }
    let mut leaving: HashMap<u32, Vec<&crate::grammar::Arc>> = HashMap::new();
    for arc in &graph.arcs {
        leaving.entry(arc.from).or_default().push(arc);
    }
    let word = |arc: &crate::grammar::Arc| graph.words.get(arc.word as usize).map(String::as_str);
    let mut all = Vec::new();
    for first in leaving.get(&0).into_iter().flatten() {
        let Some(one) = word(first) else { continue };
        if let Some(end) = ends.get(&first.to) {
            all.push((vec![one], first.weight + end));
        }
        for second in leaving.get(&first.to).into_iter().flatten() {
            if let (Some(two), Some(end)) = (word(second), ends.get(&second.to)) {
                all.push((vec![one, two], first.weight + second.weight + end));
            }
        }
    }
    all
}

/// Every way to say a sequence of words of which each is said in some ways.
fn joined(each: &[Vec<Vec<u8>>]) -> Vec<Vec<u8>> {
    each.iter().fold(vec![Vec::new()], |before, ways| {
        before
            .iter()
            .flat_map(|start| ways.iter().map(move |way| [start.as_slice(), way].concat()))
            .collect()
    })
}

/// Whether two words differ by one sound: one more, one less, or one other.
fn one_apart(a: &[u8], b: &[u8]) -> bool {
    let (short, long) = if a.len() <= b.len() { (a, b) } else { (b, a) };
    if long.len() - short.len() > 1 || a == b {
        return false;
    }
    let same = short.iter().zip(long).take_while(|(x, y)| x == y).count();
    let rest = same + usize::from(short.len() == long.len());
    short.get(rest..) == long.get(same + 1..)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speech::ear::Acoustics;

    fn near(rule: &str) -> Vec<Stranger> {
        let grammar = Grammar::built_in().unwrap();
        let phones = Acoustics::shipped(1).unwrap().phones;
        let graph = grammar.graph(rule).unwrap();
        let lexicon = Lexicon::built_in().unwrap();
        let strangers = Strangers::built_in(&phones).unwrap();
        strangers
            .near(&grammar, rule, &graph, &lexicon, &phones)
            .unwrap()
    }

    #[test]
    fn one_sound_more_less_or_other() {
        for (a, b, apart) in [
            (&b"ded"[..], &b"bed"[..], true),
            (b"ded", b"de", true),
            (b"ded", b"edd", false),
            (b"ded", b"deds", true),
            (b"ded", b"ded", false),
            (b"ded", b"des", true),
            (b"d", b"", true),
            (b"ded", b"bet", false),
        ] {
            assert_eq!(one_apart(a, b), apart, "{a:?} {b:?}");
            assert_eq!(one_apart(b, a), apart, "{b:?} {a:?}");
        }
    }

    #[test]
    fn bed_is_near_dead_and_a_warning_has_no_rival() {
        let texts: Vec<String> = near("isolation").into_iter().map(|s| s.text).collect();
        for word in ["bed", "red", "head", "did"] {
            assert!(texts.iter().any(|t| t == word), "{word} in {texts:?}");
        }
        for text in &texts {
            let grammar = Grammar::built_in().unwrap();
            assert_eq!(grammar.understand("isolation", text), None, "{text}");
        }
        // "Stop" and "still live" are heard at once, or asked about.
        for word in ["stock", "top", "step"] {
            assert!(!texts.iter().any(|t| t == word), "{word}");
        }
    }
}
