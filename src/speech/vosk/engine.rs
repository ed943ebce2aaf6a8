//! The engine itself, by its library.

use super::{Alternative, UNKNOWN, VoskError, judged, phrases};
use crate::audio::{SAMPLE_RATE, has_voice, levelled};
use crate::grammar::{Grammar, WordGraph};
use crate::speech::{DecodeContext, Recogniser, Recognition, WordTime};
use std::collections::HashMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;
use vosk::{CompleteResult, LogLevel, Model, Recognizer};

/// Sentences that are told apart at most.
const ALTERNATIVES: u16 = 10;

/// Sound shorter than this, or longer, is none of our words.
const SHORTEST: usize = 1600;
const LONGEST: usize = 30 * SAMPLE_RATE as usize;

/// A vosk model listening for our grammar.
pub struct Vosk {
    model: Model,
    folder: PathBuf,
    grammar: Arc<Grammar>,
    listening: HashMap<String, Listening>,
    rejects: bool,
    not_heard: Vec<String>,
}

/// A recogniser restricted to one rule.
struct Listening {
    recogniser: Recognizer,
    graph: Arc<WordGraph>,
}

impl Vosk {
    /// The model in `folder`, listening for `grammar`.
    ///
    /// # Errors
    /// When there is no such folder, it holds no model, or one that cannot be restricted to a
    /// grammar, or the model knows no sentence of any step.
    pub fn open(folder: &Path, grammar: Arc<Grammar>) -> Result<Self, VoskError> {
        look_at(folder)?;
        vosk::set_log_level(LogLevel::Error);
        let name = folder
            .to_str()
            .ok_or_else(|| VoskError::Name(folder.to_owned()))?;
        let model = Model::new(name).ok_or_else(|| VoskError::Refused(folder.to_owned()))?;
        let mut vosk = Self {
            model,
            folder: folder.to_owned(),
            grammar,
            listening: HashMap::new(),
            rejects: false,
            not_heard: Vec::new(),
        };
        vosk.rejects = vosk.model.find_word(UNKNOWN).is_some();
        vosk.look_for_words()?;
        Ok(vosk)
    }

    /// Words of the grammar's steps that the model does not know, so that no sentence with one of
    /// them can be heard, in alphabetical order.
    pub fn not_heard(&self) -> &[String] {
        &self.not_heard
    }

    /// Whether the model has a word for what is none of the listed words. Without one more of
    /// other talk is taken for ours.
    pub fn rejects(&self) -> bool {
        self.rejects
    }

    /// What a person who starts this model for this grammar must know.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        if !self.not_heard.is_empty() {
            warnings.push(format!(
                "The model in {} does not know these words of the grammar, and hears no sentence \
                 with one of them: {}. Say it in other words where the grammar has them, use a \
                 model that knows these, or take --engine ear.",
                self.folder.display(),
                super::error::list(&self.not_heard)
            ));
        }
        if !self.rejects {
            warnings.push(format!(
                "The model in {} has no word {UNKNOWN} for what is none of ours: it takes other \
                 talk for our words more easily.",
                self.folder.display()
            ));
        }
        warnings
    }

    fn look_for_words(&mut self) -> Result<(), VoskError> {
        let rules: Vec<String> = self.grammar.rules().map(str::to_owned).collect();
        let mut words = Vec::new();
        let mut known = 0;
        for rule in rules {
            words.extend(self.grammar.graph(&rule)?.words.iter().cloned());
        }
        words.sort_unstable();
        words.dedup();
        for word in words {
            if self.knows(&word) {
                known += 1;
            } else {
                self.not_heard.push(word);
            }
        }
        if known == 0 {
            return Err(VoskError::NoWords {
                folder: self.folder.clone(),
                words: self.not_heard.clone(),
            });
        }
        Ok(())
    }

    fn knows(&mut self, word: &str) -> bool {
        // The list of phrases is handed over as JSON without escapes.
        !word.contains(['"', '\\', '\0']) && self.model.find_word(word).is_some()
    }

    /// Makes the recogniser of `rule` now, so that the first utterance need not wait for it.
    ///
    /// # Errors
    /// When there is no such rule, or the model knows no sentence of it.
    pub fn prepare(&mut self, rule: &str) -> Result<(), VoskError> {
        if self.listening.contains_key(rule) {
            return Ok(());
        }
        let graph = self.grammar.graph(rule)?;
        let known: Vec<bool> = graph.words.iter().map(|w| self.knows(w)).collect();
        let mut phrases = phrases(&graph, &known);
        if phrases.is_empty() {
            return Err(VoskError::NoSentence {
                rule: rule.to_owned(),
                folder: self.folder.clone(),
                words: graph
                    .words
                    .iter()
                    .zip(&known)
                    .filter(|(_, known)| !**known)
                    .map(|(word, _)| word.clone())
                    .collect(),
            });
        }
        if self.rejects {
            phrases.push(UNKNOWN.to_owned());
        }
        let mut recogniser =
            Recognizer::new_with_grammar(&self.model, SAMPLE_RATE as f32, &phrases)
                .ok_or_else(|| VoskError::Refused(self.folder.clone()))?;
        recogniser.set_max_alternatives(ALTERNATIVES);
        recogniser.set_words(true);
        let listening = Listening { recogniser, graph };
        self.listening.insert(rule.to_owned(), listening);
        Ok(())
    }
}

impl Listening {
    /// What the sound may have been, likeliest first.
    fn alternatives(&mut self, samples: &[f32]) -> Result<Vec<Alternative>, VoskError> {
        let sound: Vec<i16> = samples
            .iter()
            .map(|s| (s.clamp(-1.0, 1.0) * f32::from(i16::MAX)) as i16)
            .collect();
        let recogniser = &mut self.recogniser;
        // The wrapper panics over an answer that it cannot read (a score that is no number).
        catch_unwind(AssertUnwindSafe(|| {
            recogniser.reset();
            recogniser
                .accept_waveform(&sound)
                .map_err(|e| VoskError::Sound(e.to_string()))?;
            let CompleteResult::Multiple(result) = recogniser.final_result() else {
                return Ok(Vec::new());
            };
            Ok(result
                .alternatives
                .into_iter()
                .map(|alternative| Alternative {
                    words: alternative.text.to_owned(),
                    score: alternative.confidence,
                    times: alternative
                        .result
                        .into_iter()
                        .map(|word| WordTime {
                            word: word.word.to_owned(),
                            from: word.start,
                            to: word.end,
                        })
                        .collect(),
                })
                .collect())
        }))
        .unwrap_or(Err(VoskError::Answer))
    }

    /// Whether the grammar allows more words after these.
    fn may_go_on(&self, words: &str) -> bool {
        let mut state = 0;
        for word in words.split_whitespace() {
            let next = self.graph.arcs.iter().find(|arc| {
                arc.from == state
                    && self
                        .graph
                        .words
                        .get(arc.word as usize)
                        .is_some_and(|w| w == word)
            });
            let Some(arc) = next else {
                return false;
            };
            state = arc.to;
        }
        self.graph.arcs.iter().any(|arc| arc.from == state)
    }
}

impl Recogniser for Vosk {
    fn recognise(
        &mut self,
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Recognition> {
        let started = Instant::now();
        self.prepare(&expected.rule)?;
        let usable = (SHORTEST..=LONGEST).contains(&samples.len())
            && samples.iter().all(|s| s.is_finite())
            && has_voice(&levelled(samples));
        let listening = self.listening.get_mut(&expected.rule);
        let mut heard = match listening {
            Some(listening) if usable => {
                let alternatives = listening.alternatives(samples)?;
                let mut heard = judged(alternatives, &self.grammar, expected);
                heard.may_go_on = listening.may_go_on(&heard.words);
                heard
            }
            _ => judged(Vec::new(), &self.grammar, expected),
        };
        heard.took = started.elapsed();
        Ok(heard)
    }

    fn describe(&self) -> String {
        let name = self.folder.file_name().unwrap_or(self.folder.as_os_str());
        format!("vosk ({})", name.to_string_lossy())
    }
}

/// Whether the folder looks like a model that can be restricted; the library only says that it
/// could not load one.
fn look_at(folder: &Path) -> Result<(), VoskError> {
    if !folder.is_dir() {
        return Err(VoskError::NoFolder(folder.to_owned()));
    }
    let there = |names: &[&str]| names.iter().any(|name| folder.join(name).is_file());
    if !there(&["am/final.mdl", "final.mdl"]) {
        return Err(VoskError::NoModel(folder.to_owned()));
    }
    if !there(&["graph/HCLr.fst", "HCLr.fst"]) || !there(&["graph/Gr.fst", "Gr.fst"]) {
        return Err(VoskError::Fixed(folder.to_owned()));
    }
    Ok(())
}
