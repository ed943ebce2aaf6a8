use super::error::{GrammarError, Result};
use super::graph::WordGraph;
use super::jsgf::{self, Linked, Node};
use super::lexicon::Lexicon;
use super::net::Net;
use super::said::Intent;
use super::tag::Tag;
use super::{class, compact, meaning, number, places, typed};
use crate::terms::Place;
use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// The grammar that holds one public rule for each step.
const STEPS: &str = "steps";

/// The grammar of what is only typed.
const TYPED: &str = "typed";

/// The grammar of what the trade says in other words than the steps.
const TALK: &str = "talk";

/// The rule that is filled with the job's own places.
const NAMED: &str = "places.named";

/// What is said in practice, and the rule of what may be said at every step, which it joins there; the same
/// of what is typed.
const PRACTICE: (&str, &str) = ("practice.said", "steps.always");
const PRACTICE_TYPED: (&str, &str) = ("practice.typed", "typed.always");

/// How likely it is there.
const PRACTISED: f64 = 0.3;

/// In the order of the guide.
const FILES: [(&str, &str); 12] = [
    ("numbers.jsgf", include_str!("../../grammars/numbers.jsgf")),
    (
        "readings.jsgf",
        include_str!("../../grammars/readings.jsgf"),
    ),
    (
        "circuits.jsgf",
        include_str!("../../grammars/circuits.jsgf"),
    ),
    ("places.jsgf", include_str!("../../grammars/places.jsgf")),
    (
        "statements.jsgf",
        include_str!("../../grammars/statements.jsgf"),
    ),
    (
        "alterations.jsgf",
        include_str!("../../grammars/alterations.jsgf"),
    ),
    ("steps.jsgf", include_str!("../../grammars/steps.jsgf")),
    (
        "commands.jsgf",
        include_str!("../../grammars/commands.jsgf"),
    ),
    (
        "practice.jsgf",
        include_str!("../../grammars/practice.jsgf"),
    ),
    (
        "interview.jsgf",
        include_str!("../../grammars/interview.jsgf"),
    ),
    ("typed.jsgf", include_str!("../../grammars/typed.jsgf")),
    ("talk.jsgf", include_str!("../../grammars/talk.jsgf")),
];

/// The rules of what can be said. The recogniser searches [`Grammar::graph`]; the same rules make
/// words into meaning in [`Grammar::understand`], so what can be heard can be understood.
///
/// A rule is named as in `steps.jsgf` ("insulation"), or in full ("numbers.number").
///
/// ```
/// use bothhands::grammar::{Grammar, Intent};
/// let grammar = Grammar::built_in()?;
/// let said = grammar.understand("insulation", "line to neutral over nine ninety nine").unwrap();
/// assert_eq!(said.words(), "line to neutral over nine nine nine");
/// assert_eq!(grammar.understand("insulation", "L-N >999"), Some(said));
/// assert_eq!(grammar.understand("insulation", "lovely weather"), None);
/// # Ok::<(), bothhands::grammar::GrammarError>(())
/// ```
#[derive(Debug)]
pub struct Grammar {
    pub(super) rules: Linked<Tag>,
    nets: Mutex<HashMap<String, Arc<Net>>>,
    graphs: Mutex<HashMap<String, Arc<WordGraph>>>,
    /// Places as they are said, where the job writes them differently.
    pub(super) called: Vec<(Place, Place)>,
    /// Somebody else's, whose tags are only compared.
    foreign: bool,
}

impl Clone for Grammar {
    fn clone(&self) -> Self {
        Self {
            called: self.called.clone(),
            foreign: self.foreign,
            ..Self::new(self.rules.clone())
        }
    }
}

impl Grammar {
    fn new(rules: Linked<Tag>) -> Self {
        Self {
            rules,
            nets: Mutex::default(),
            graphs: Mutex::default(),
            called: Vec::new(),
            foreign: false,
        }
    }

    /// The rules that ship, from `grammars/`.
    ///
    /// # Errors
    /// When a grammar file is wrong.
    pub fn built_in() -> Result<Self> {
        Self::from_texts(FILES)
    }

    /// The rules of every `.jsgf` file in a folder.
    ///
    /// # Errors
    /// When the folder or a file cannot be read, or a file is wrong.
    pub fn from_dir(dir: &Path) -> Result<Self> {
        Self::from_texts(Self::files(dir)?)
    }

    /// The rules of every `.jsgf` file in a folder that was written for something else, to measure how
    /// well its sentences are heard. A meaning is the tags of a sentence in their order, whatever they
    /// are, or its words where it has none.
    ///
    /// # Errors
    /// When the folder or a file cannot be read, or a file is wrong.
    pub fn foreign(dir: &Path) -> Result<Self> {
        let sources = Self::files(dir)?
            .iter()
            .map(|(name, text)| jsgf::parse(name, text))
            .collect::<Result<Vec<_>>>()?;
        let any = |text: &str| Ok(Tag::Foreign(text.to_owned()));
        Ok(Self {
            foreign: true,
            ..Self::new(jsgf::link(&sources, any)?)
        })
    }

    /// Names and texts of the grammar files of a folder.
    fn files(dir: &Path) -> Result<Vec<(String, String)>> {
        let unreadable = |path: &Path, source| GrammarError::Read {
            path: path.display().to_string(),
            source,
        };
        let mut files = Vec::new();
        for entry in std::fs::read_dir(dir).map_err(|e| unreadable(dir, e))? {
            let path = entry.map_err(|e| unreadable(dir, e))?.path();
            if path.extension().is_some_and(|ext| ext == "jsgf") {
                let text = std::fs::read_to_string(&path).map_err(|e| unreadable(&path, e))?;
                files.push((path.display().to_string(), text));
            }
        }
        files.sort();
        Ok(files)
    }

    /// The rules of grammar files given as names (for messages) and texts.
    ///
    /// # Errors
    /// When a file is wrong, with its name, line and column.
    pub fn from_texts<N: AsRef<str>, T: AsRef<str>>(
        files: impl IntoIterator<Item = (N, T)>,
    ) -> Result<Self> {
        let sources = files
            .into_iter()
            .map(|(name, text)| jsgf::parse(name.as_ref(), text.as_ref()))
            .collect::<Result<Vec<_>>>()?;
        Ok(Self::new(jsgf::link(&sources, Tag::read)?))
    }

    /// The same rules with these names of places besides the common kinds, as the job file has
    /// them: "door entry unit". Capitals and hyphens do not matter; figures become words.
    ///
    /// # Errors
    /// When it is not known how a word of a name is said, or a name ends in a number.
    pub fn with_places<S: AsRef<str>>(&self, names: &[S]) -> Result<Self> {
        let lexicon = Lexicon::built_in()?;
        let mut all: Vec<Vec<String>> = Vec::new();
        for name in names {
            let name = name.as_ref();
            let spoken = typed::place_name(name);
            let words: Vec<String> = spoken.split_whitespace().map(str::to_owned).collect();
            match words.last() {
                None => return Err(GrammarError::BadName(name.to_owned())),
                Some(last) if number::from_words(last).is_some() => {
                    return Err(GrammarError::NumberedName(name.to_owned()));
                }
                Some(_) => {}
            }
            if let Some(word) = words.iter().find(|word| !lexicon.knows(word)) {
                return Err(GrammarError::UnknownWord {
                    name: name.to_owned(),
                    word: word.clone(),
                });
            }
            if !all.contains(&words) {
                all.push(words);
            }
        }
        self.with_named(all)
    }

    /// The same rules, in which the probes of a practice can be placed, readings predicted and faults
    /// named, at every step.
    ///
    /// # Errors
    /// When the grammar has no such rules.
    pub fn with_practice(&self) -> Result<Self> {
        let mut rules = self.rules.clone();
        for (said, always) in [PRACTICE, PRACTICE_TYPED] {
            let said = rules.find(said).ok_or_else(|| self.no_such(said))?;
            let always = rules.find(always).ok_or_else(|| self.no_such(always))?;
            if let Some(body) = rules.bodies.get_mut(always) {
                let before = std::mem::replace(body, Node::Void);
                *body = Node::Alternatives(vec![
                    (1.0 - PRACTISED, before),
                    (PRACTISED, Node::Rule(said)),
                ]);
            }
        }
        Ok(Self {
            called: self.called.clone(),
            ..Self::new(rules)
        })
    }

    /// The same rules with these words as names of places.
    pub(super) fn with_named(&self, all: Vec<Vec<String>>) -> Result<Self> {
        let mut rules = self.rules.clone();
        let each = 1.0 / all.len().max(1) as f64;
        let named = all
            .into_iter()
            .map(|words| {
                (
                    each,
                    Node::Sequence(words.into_iter().map(Node::Word).collect()),
                )
            })
            .collect();
        match rules
            .find(NAMED)
            .and_then(|index| rules.bodies.get_mut(index))
        {
            Some(body) => *body = Node::Alternatives(named),
            None => return Err(self.no_such(NAMED)),
        }
        Ok(Self::new(rules))
    }

    /// The names of the steps' rules.
    pub fn rules(&self) -> impl Iterator<Item = &str> {
        self.public()
            .filter_map(|name| name.strip_prefix(STEPS)?.strip_prefix('.'))
    }

    /// The full names of all public rules, of the steps and of the files they are made from.
    pub fn public(&self) -> impl Iterator<Item = &str> {
        self.rules
            .names
            .iter()
            .zip(&self.rules.public)
            .filter_map(|(name, public)| public.then_some(name.as_str()))
    }

    /// The words that the rule allows, as a small graph; made once and kept.
    ///
    /// # Errors
    /// When there is no such public rule, or it is too large or empty.
    pub fn graph(&self, rule: &str) -> Result<Arc<WordGraph>> {
        cached(&self.graphs, rule, || {
            compact::graph(rule, &*self.net(rule)?)
        })
    }

    /// What these words mean under the rule; nothing when the rule does not allow them, or when they
    /// contradict themselves ("socket three nought point two at socket four"). The words may be
    /// typed: see [`super::typed::normalise`].
    pub fn understand(&self, rule: &str, words: &str) -> Option<Intent> {
        self.heard(rule, &typed::normalise(words))
    }

    /// What a typed line means that the rule itself does not take: loose words of the trade, which are
    /// never listened for. `question` is the rule of what is asked about, if anything is.
    pub fn understand_typed(
        &self,
        rule: &str,
        question: Option<&str>,
        words: &str,
    ) -> Option<Intent> {
        let words = typed::normalise(words);
        let of = |rule: &str| self.heard(&format!("{TYPED}.{rule}"), &words);
        question
            .and_then(of)
            .or_else(|| of(rule))
            .or_else(|| of("always"))
    }

    /// The rule by which is heard once more what the rule of a step left alone: what the trade says there in
    /// other words. Nothing where there is no such rule.
    pub fn talk_rule(&self, rule: &str) -> Option<String> {
        let there = |name: &String| {
            let index = self.rules.find(name);
            index.is_some_and(|index| self.rules.public.get(index) == Some(&true))
        };
        let own = format!("{TALK}.{rule}");
        let always = format!("{TALK}.always");
        [own, always].into_iter().find(there)
    }

    /// Whether a rule is of what the trade says in other words than the steps.
    pub fn is_talk(rule: &str) -> bool {
        rule.strip_prefix(TALK)
            .is_some_and(|rest| rest.starts_with('.'))
    }

    /// What a typed line means at a step before what the rule itself makes of it: loose words that mean
    /// one thing there, and another elsewhere.
    pub fn understand_typed_first(&self, rule: &str, words: &str) -> Option<Intent> {
        self.heard(&format!("{TYPED}.{rule}_first"), &typed::normalise(words))
    }

    /// What words mean that are written as they are said.
    fn heard(&self, rule: &str, words: &str) -> Option<Intent> {
        let words: Vec<&str> = words.split_whitespace().collect();
        let net = self.net(rule).ok()?;
        let path = net.path(&words)?;
        if self.foreign {
            return Some(meaning::foreign(&path));
        }
        let said = meaning::of(&path)?;
        Some(places::as_written(said, &self.called))
    }

    /// The plain words for a meaning, if the rule takes them for just that: what a prompt may ask a
    /// person to say where the rule listens.
    ///
    /// ```
    /// use bothhands::grammar::{Grammar, Intent};
    /// use bothhands::terms::Statement;
    /// let grammar = Grammar::built_in()?;
    /// let works = Intent::Stated(Statement::Pass);
    /// assert_eq!(grammar.says("functional", &works).as_deref(), Some("works"));
    /// assert_eq!(grammar.says("insulation", &works), None);
    /// # Ok::<(), bothhands::grammar::GrammarError>(())
    /// ```
    pub fn says(&self, rule: &str, meaning: &Intent) -> Option<String> {
        let words = meaning.words();
        (self.heard(rule, &words).as_ref() == Some(meaning)).then_some(words)
    }

    /// The class of a word: words of one meaning share one, words that carry none ("to", "and",
    /// "than") have none. Sentences of a rule with the same classes mean the same.
    pub fn meaning_class<'a>(&self, word: &'a str) -> Option<&'a str> {
        if self.foreign {
            return Some(word);
        }
        class::class(word)
    }

    /// A sentence of the rule chosen by the rules' weights; `random` gives numbers from 0 to 1.
    ///
    /// # Errors
    /// When there is no such rule, or no sentence is found in a thousand tries.
    pub fn sample(&self, rule: &str, random: &mut dyn FnMut() -> f64) -> Result<String> {
        let net = self.net(rule)?;
        let words = |path: Vec<super::net::Event<'_>>| {
            let words: Vec<&str> = path
                .into_iter()
                .filter_map(|event| match event {
                    super::net::Event::Word(word) => Some(word),
                    _ => None,
                })
                .collect();
            words.join(" ")
        };
        (0..TRIES)
            .find_map(|_| net.walk(random, LONGEST_WALK))
            .map(words)
            .ok_or_else(|| GrammarError::Empty(rule.to_owned()))
    }

    /// A sentence of the rule, chosen as in [`Grammar::sample`], with what it means.
    ///
    /// # Errors
    /// When there is no such rule, or a thousand tries give no sentence with a meaning.
    ///
    /// ```
    /// let grammar = bothhands::grammar::Grammar::built_in()?;
    /// let mut rng = fastrand::Rng::with_seed(1);
    /// let (words, said) = grammar.random_sentence("rcd", &mut || rng.f64())?;
    /// assert_eq!(grammar.understand("rcd", &words), Some(said));
    /// # Ok::<(), bothhands::grammar::GrammarError>(())
    /// ```
    pub fn random_sentence(
        &self,
        rule: &str,
        random: &mut dyn FnMut() -> f64,
    ) -> Result<(String, Intent)> {
        for _ in 0..TRIES {
            let words = self.sample(rule, random)?;
            if let Some(said) = self.heard(rule, &words) {
                return Ok((words, said));
            }
        }
        Err(GrammarError::Empty(rule.to_owned()))
    }

    pub(super) fn net(&self, rule: &str) -> Result<Arc<Net>> {
        cached(&self.nets, rule, || {
            let index = self
                .rules
                .find(&format!("{STEPS}.{rule}"))
                .or_else(|| self.rules.find(rule))
                .filter(|index| self.rules.public.get(*index) == Some(&true))
                .ok_or_else(|| self.no_such(rule))?;
            Net::new(&self.rules, index)
        })
    }

    fn no_such(&self, rule: &str) -> GrammarError {
        GrammarError::NoSuchRule {
            rule: rule.to_owned(),
            known: if self.foreign {
                self.public().collect::<Vec<_>>().join(", ")
            } else {
                self.rules().collect::<Vec<_>>().join(", ")
            },
        }
    }
}

const TRIES: usize = 1000;
const LONGEST_WALK: usize = 10_000;

fn cached<T>(
    kept: &Mutex<HashMap<String, Arc<T>>>,
    rule: &str,
    make: impl FnOnce() -> Result<T>,
) -> Result<Arc<T>> {
    // A panic elsewhere leaves the map whole: entries are inserted in one step.
    let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(found) = kept.get(rule) {
        return Ok(Arc::clone(found));
    }
    let made = Arc::new(make()?);
    kept.insert(rule.to_owned(), Arc::clone(&made));
    Ok(made)
}
