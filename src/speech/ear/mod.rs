//! Our own engine: a small acoustic model gives the likelihood of every phone 50 times a second,
//! and the grammar's words are searched over them.
//!
//! ```text
//! samples -> Mel -> Network -> LogProbs -> search over PhoneGraph -> judged -> Heard
//! ```
//!
//! A second model may judge beside the first (`pair`): two ears.

mod adapt;
mod ctc;
mod graphs;
mod judge;
mod kept;
mod mel;
mod models;
mod network;
mod pair;
mod phones;
mod search;
mod strangers;

pub use adapt::{Activations, Correction, Example, Learning};
pub use judge::{
    AskAgain, Bounds, NotForUs, Probability, StrangerBounds, Thresholds, refused, same_meaning,
};
pub use kept::Corrections;
pub use mel::{BANDS, Features, Mel};
pub use network::{LogProbs, Network};
pub use phones::{PhoneGraph, Phones};
pub use search::{Beam, HeardWord, Hypothesis, PhoneLoop, search};
pub use strangers::{Stranger, Strangers};

use super::{Decision, DecodeContext, Recogniser, Recognition};
use crate::audio::{has_voice, levelled};
use crate::grammar::{Grammar, Lexicon};
use graphs::Graphs;
use pair::{Candidate, Judged, View};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

/// Why the engine cannot work. None of these depends on what is said; they mean that the files in
/// `models/` and `grammars/` do not fit each other.
#[derive(Debug, thiserror::Error)]
pub enum EarError {
    /// The mel filters are of another size: so many bytes.
    #[error("models/melfilters_80x201_f32le.bin has {0} bytes where 80 x 201 floats were expected")]
    Filters(usize),
    /// The network's file is damaged, or not of the shape that is expected.
    #[error("the acoustic model cannot be used: {0}")]
    Model(String),
    /// The list of phones can't be read, or does not fit the model.
    #[error("models/phones.json is not a list of phone names: {0}")]
    Phones(String),
    /// A pronunciation in the lexicon has a phone that the model lacks.
    #[error("models/lexicon.txt uses the phone {0}, which the acoustic model lacks")]
    NoSuchPhone(String),
    /// A file of bounds, and why it can't be read.
    #[error("{0}: {1}")]
    Thresholds(String, String),
    /// Words of the grammar that the lexicon lacks.
    #[error("no pronunciation in models/lexicon.txt for: {0}; add a line for each")]
    NoPronunciation(String),
    /// The word graph does not hang together.
    #[error("the grammar's word graph names a state or a word that it lacks")]
    Graph,
}

/// Seconds of sound in one frame of the model's output.
pub const FRAME_SECONDS: f32 = 0.02;

/// The model's files, as they ship in `models/`.
#[derive(Clone)]
pub struct Acoustics {
    mel: Mel,
    network: Network,
    /// The names of the model's labels.
    pub phones: Phones,
}

impl Acoustics {
    /// The model that ships with the program, to run on `threads` threads.
    ///
    /// # Errors
    /// When the files in `models/` do not fit each other.
    pub fn shipped(threads: usize) -> Result<Self, EarError> {
        Self::with(Network::new(models::FIRST, threads)?)
    }

    /// Another model with the same input and the same phones.
    ///
    /// # Errors
    /// When the file is no such model.
    pub fn open(model: &Path, threads: usize) -> Result<Self, EarError> {
        Self::with(Network::open(model, threads)?)
    }

    fn with(network: Network) -> Result<Self, EarError> {
        Ok(Self {
            mel: Mel::new(include_bytes!(
                "../../../models/melfilters_80x201_f32le.bin"
            ))?,
            network,
            phones: Phones::new(include_str!("../../../models/phones.json"))?,
        })
    }

    /// Log-mel features of 16 kHz mono sound.
    pub fn features(&self, samples: &[f32]) -> Features {
        self.mel.features(samples)
    }

    /// Log-probabilities of the phones in 16 kHz mono sound; of its first 30 s when it is longer.
    ///
    /// # Errors
    /// When the model's output does not fit `models/phones.json`.
    pub fn log_probs(&self, samples: &[f32]) -> Result<LogProbs, EarError> {
        self.network
            .log_probs(&self.features(samples), self.phones.count())
    }
}

/// Our own engine: one acoustic model or two, the grammar and the thresholds.
pub struct Ear {
    acoustics: Acoustics,
    /// What judges beside it.
    second: Option<Network>,
    /// The last take that was heard by itself, and what each model made of it: it may be heard by another rule.
    last: Option<(Vec<f32>, Vec<LogProbs>)>,
    lexicon: Lexicon,
    strangers: Strangers,
    grammar: Arc<Grammar>,
    /// The phone graph of each rule asked for so far, by this one or by another of the same models.
    graphs: Arc<Graphs>,
    thresholds: Thresholds,
    /// How much each model counts where there are two.
    weights: [f32; 2],
    /// How much a take that was in doubt counts beside its repetition.
    earlier_take: f32,
    width: Beam,
}

/// What a model makes of a take, and the readings that the grammar allows by that, best first.
struct Taken {
    view: View,
    found: Vec<Candidate>,
}

/// Does something for each at once, each on a thread of its own; the first on this one.
fn at_once<T: Sync, R: Send>(of: &[T], does: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let Some((first, rest)) = of.split_first() else {
        return Vec::new();
    };
    std::thread::scope(|scope| {
        let does = &does;
        let on_its_own = |one| {
            let thread = std::thread::Builder::new().stack_size(STACK);
            thread.spawn_scoped(scope, move || does(one))
        };
        let rest: Vec<_> = rest.iter().map(|one| (one, on_its_own(one))).collect();
        let first = does(first);
        let joined = rest.into_iter().map(|(one, thread)| match thread {
            // The machine has no more threads: here, then.
            Err(_) => does(one),
            Ok(thread) => thread
                .join()
                .unwrap_or_else(|panic| std::panic::resume_unwind(panic)),
        });
        std::iter::once(first).chain(joined).collect()
    })
}

/// What a thread that hears may need of the stack, bytes.
const STACK: usize = 8 << 20;

/// What the search keeps in each node, and how much wider it looks when that was not enough.
pub const WIDTH: Beam = Beam {
    hypotheses: 6,
    beam: 40.0,
    nodes: 3000,
    reward: 0.0,
};
const WIDER: [usize; 2] = [24, 72];

/// Sound shorter than this, or longer than the model can take in, is none of our words.
const SHORTEST: usize = 1600;
const LONGEST: usize = 30 * crate::audio::SAMPLE_RATE as usize;

impl Ear {
    /// What ships, one model or two, listening for `grammar` on `threads` threads.
    ///
    /// # Errors
    /// When the files in `models/` do not fit each other.
    pub fn new(grammar: Arc<Grammar>, threads: usize) -> anyhow::Result<Self> {
        let ear = Self::with(Acoustics::shipped(threads)?, grammar)?;
        match models::SECOND {
            Some(second) => Ok(ear.and(Network::new(second, threads)?)?),
            None => Ok(ear),
        }
    }

    /// Any acoustic model, listening for `grammar` by itself.
    ///
    /// # Errors
    /// When the lexicon or the thresholds that ship are wrong.
    pub fn with(acoustics: Acoustics, grammar: Arc<Grammar>) -> anyhow::Result<Self> {
        let bounds = Bounds::shipped()?;
        Ok(Self {
            strangers: Strangers::built_in(&acoustics.phones)?,
            acoustics,
            second: None,
            last: None,
            lexicon: Lexicon::built_in()?,
            grammar,
            graphs: Arc::default(),
            thresholds: bounds.one_ear,
            weights: bounds.ear_weights,
            earlier_take: bounds.earlier_take,
            width: WIDTH,
        })
    }

    /// A second model with the same input and the same phones to judge beside the first, by the
    /// bounds for two.
    ///
    /// # Errors
    /// When the thresholds that ship are wrong.
    pub fn and(mut self, second: Network) -> Result<Self, EarError> {
        self.second = Some(second);
        self.last = None;
        self.thresholds = Bounds::shipped()?.two_ears;
        Ok(self)
    }

    /// Another that listens for `grammar` with the same models, which are in memory once; so is what a rule
    /// of one grammar takes, whoever listens for it.
    #[must_use]
    pub fn for_another(&self, grammar: Arc<Grammar>) -> Self {
        Self {
            acoustics: Acoustics {
                network: self.acoustics.network.beside(),
                ..self.acoustics.clone()
            },
            second: self.second.as_ref().map(Network::beside),
            last: None,
            lexicon: self.lexicon.clone(),
            strangers: self.strangers.clone(),
            grammar,
            graphs: Arc::clone(&self.graphs),
            thresholds: self.thresholds,
            weights: self.weights,
            earlier_take: self.earlier_take,
            width: self.width,
        }
    }

    /// How many models judge.
    pub fn ears(&self) -> usize {
        self.networks().count()
    }

    fn networks(&self) -> impl Iterator<Item = &Network> {
        std::iter::once(&self.acoustics.network).chain(&self.second)
    }

    /// The SHA-256 of each model's file, in the order of [`Ear::correct`].
    pub fn hashes(&self) -> Vec<String> {
        self.networks().map(|n| n.hash().to_owned()).collect()
    }

    /// Hears with these corrections from now on, one a model; a model without one is as it ships.
    pub fn correct(&mut self, corrections: Vec<Option<Correction>>) {
        self.last = None;
        let mut corrections = corrections.into_iter();
        let mut next = || corrections.next().flatten();
        self.acoustics.network.correct(next());
        if let Some(second) = &mut self.second {
            second.correct(next());
        }
    }

    /// What each model makes of a sound in which `words` were said, to learn from; nothing where
    /// there is no voice, or a word is not known.
    ///
    /// # Errors
    /// When a model fails.
    pub fn examples(&self, samples: &[f32], words: &str) -> Result<Option<Vec<Example>>, EarError> {
        let usable =
            (SHORTEST..=LONGEST).contains(&samples.len()) && samples.iter().all(|s| s.is_finite());
        if !usable {
            return Ok(None);
        }
        let features = self.acoustics.features(&levelled(samples));
        let phones = &self.acoustics.phones;
        let mut examples: Vec<Example> = Vec::new();
        for network in self.networks() {
            let (probs, hidden) = network.before_correction(&features, phones.count())?;
            let said = match examples.first() {
                Some(first) => Some(first.phones.clone()),
                None => phones::likeliest(words, &self.lexicon, phones, &probs)?,
            };
            let Some(phones) = said else { return Ok(None) };
            examples.push(Example {
                probs,
                hidden,
                phones,
            });
        }
        Ok(Some(examples))
    }

    /// The bounds that it goes by.
    pub fn thresholds(&self) -> &Thresholds {
        &self.thresholds
    }

    /// Takes, asks again and leaves alone by the bounds of a file: those for as many models as hear.
    pub fn set_bounds(&mut self, bounds: Bounds) {
        self.thresholds = match self.second {
            Some(_) => bounds.two_ears,
            None => bounds.one_ear,
        };
        self.weights = bounds.ear_weights;
        self.earlier_take = bounds.earlier_take;
    }

    /// Takes words as this lexicon says them.
    pub fn set_lexicon(&mut self, lexicon: Lexicon) {
        self.lexicon = lexicon;
        self.graphs = Arc::default();
    }

    /// Searches more or less widely: for measurements.
    pub fn set_width(&mut self, width: Beam) {
        self.width = width;
    }

    /// Counts each of two models as much as this: for measurements.
    pub fn set_weights(&mut self, weights: [f32; 2]) {
        self.weights = weights;
    }

    /// Takes, asks again and leaves alone by other bounds than those that ship.
    pub fn set_thresholds(&mut self, thresholds: Thresholds) {
        self.thresholds = thresholds;
    }

    /// Builds the search graph of `rule` now, so that the first utterance need not wait for it.
    ///
    /// # Errors
    /// When the rule does not exist or a word of it has no pronunciation.
    pub fn prepare(&mut self, rule: &str) -> anyhow::Result<Arc<PhoneGraph>> {
        // Of all bounds, the graph depends on this one.
        let weight = self.thresholds.strangers.weight;
        self.graphs.of(&self.grammar, rule, weight, || {
            let words = self.grammar.graph(rule)?;
            let phones = &self.acoustics.phones;
            let mut strangers =
                self.strangers
                    .near(&self.grammar, rule, &words, &self.lexicon, phones)?;
            for stranger in &mut strangers {
                stranger.weight += weight;
            }
            Ok(PhoneGraph::new(
                &words,
                &self.lexicon,
                phones,
                |word| self.grammar.meaning_class(word),
                &strangers,
            )?)
        })
    }

    /// The readings that the grammar allows and that were not refused, best first, looking wider
    /// until there are two with different meanings, unless it was not for us anyhow.
    fn readings(
        &self,
        graph: &PhoneGraph,
        view: &View,
        expected: &DecodeContext,
    ) -> Vec<Candidate> {
        let mut found = Vec::new();
        for hypotheses in std::iter::once(self.width.hypotheses).chain(WIDER) {
            let width = Beam {
                hypotheses,
                ..self.width
            };
            let all = search(graph, &view.probs, width);
            let exhausted = all.len() < hypotheses;
            let hopeless = all.first().is_none_or(|best| {
                judge::fit(best, view.free) < self.thresholds.not_for_us.fit_below
            });
            found = self.distinct(graph, all, expected);
            if exhausted || hopeless || found.len() > 1 {
                break;
            }
        }
        if let Some(best) = found.first()
            && self.thresholds.longer.reward > 0.0
            && judge::fit(&best.hypothesis, view.free) >= self.thresholds.not_for_us.fit_below
        {
            let rewarded = Beam {
                reward: self.thresholds.longer.reward,
                ..self.width
            };
            let all = search(graph, &view.probs, rewarded);
            for longer in self.distinct(graph, all, expected) {
                if !found.iter().any(|c| c.means(longer.said.as_ref())) {
                    found.push(longer);
                }
            }
        }
        found
    }

    /// What each model makes of each take: all at once, as none needs another.
    fn taken(
        &self,
        graph: &PhoneGraph,
        takes: &[&[f32]],
        expected: &DecodeContext,
    ) -> Result<Vec<Taken>, EarError> {
        if let ([take], Some((last, probs))) = (takes, &self.last)
            && take == last
        {
            return Ok(at_once(probs, |probs| {
                self.read(graph, probs.clone(), expected)
            }));
        }
        let features: Vec<Features> = takes.iter().map(|t| self.acoustics.features(t)).collect();
        let labels = self.acoustics.phones.count();
        let each: Vec<_> = features
            .iter()
            .flat_map(|features| self.networks().map(move |network| (network, features)))
            .collect();
        at_once(&each, |(network, features)| {
            let probs = network.log_probs(features, labels)?;
            Ok(self.read(graph, probs, expected))
        })
        .into_iter()
        .collect()
    }

    fn read(&self, graph: &PhoneGraph, probs: LogProbs, expected: &DecodeContext) -> Taken {
        let view = View::of(probs);
        let found = self.readings(graph, &view, expected);
        Taken { view, found }
    }

    /// The readings by what every model makes of every take, each as often as its weight says.
    fn judged(
        &self,
        graph: &PhoneGraph,
        taken: Vec<Taken>,
        weights: &[f32],
    ) -> Result<Judged, EarError> {
        let (views, mut found): (Vec<View>, Vec<Vec<Candidate>>) =
            taken.into_iter().map(|one| (one.view, one.found)).unzip();
        if let [view] = views.as_slice() {
            return Ok(Judged {
                candidates: found.pop().unwrap_or_default(),
                free: view.free,
                agree: true,
            });
        }
        let views: Vec<&View> = views.iter().collect();
        let phones = &self.acoustics.phones;
        pair::judge(graph, &self.lexicon, phones, &views, weights, found)
    }

    /// How much each model's view of a take counts that counts so much itself.
    fn counted(&self, take: f32) -> Vec<f32> {
        let weights = match self.ears() {
            1 => [1.0].as_slice(),
            _ => self.weights.as_slice(),
        };
        weights.iter().map(|weight| take * weight).collect()
    }

    /// The sound as the models take it in; nothing where there is no voice.
    fn usable(samples: &[f32]) -> Option<Vec<f32>> {
        let usable =
            (SHORTEST..=LONGEST).contains(&samples.len()) && samples.iter().all(|s| s.is_finite());
        usable
            .then(|| levelled(samples))
            .filter(|samples| has_voice(samples))
    }

    /// What is made of one take or of several of the same words.
    fn weighed(
        &self,
        graph: &PhoneGraph,
        taken: Vec<Taken>,
        weights: &[f32],
    ) -> Result<Recognition, EarError> {
        let mut heard = Recognition::nothing();
        let judged = self.judged(graph, taken, weights)?;
        let free = judged.free;
        let all: f32 = weights.iter().sum();
        heard.scores.phones = (free.phones as f32 / all).round() as u32;
        heard.ears_differ = !judged.agree;
        let mut candidates = judged.candidates;
        // A stranger is a rival of commands alone.
        let likeliest = candidates.iter().find_map(|c| c.said.as_ref());
        if !likeliest.is_none_or(strangers::competes) {
            candidates.retain(|c| c.said.is_some());
        }
        let width = self.width.beam * all;
        heard.scores.margin = self.thresholds.ranked(&mut candidates, all, width);
        let mut candidates = candidates.into_iter();
        if let (Some(best), true) = (candidates.next(), free.phones > 0) {
            let second = candidates.next();
            heard.scores.llr_per_phone = judge::fit(&best.hypothesis, free);
            heard.outcome = match &best.said {
                Some(said) => self.thresholds.of_ours(heard.scores, said, &best.words),
                None => self
                    .thresholds
                    .of_a_stranger(heard.scores, second.as_ref().and_then(|s| s.said.as_ref())),
            };
            let doubted = self.thresholds.ask_again.when_ears_differ && heard.ears_differ;
            if heard.outcome == Decision::Accept && doubted {
                heard.outcome = Decision::Confirm;
            }
            heard.only_fits_ill = !doubted
                && best.said.as_ref().is_some_and(|said| {
                    self.thresholds
                        .only_fits_ill(heard.scores, said, &best.words)
                });
            heard.times = graph.times(&best.hypothesis);
            heard.may_go_on = graph.may_go_on(&best.hypothesis);
            heard.words = best.words;
            heard.said = best.said;
            if let Some(second) = second {
                heard.runner_up = Some(second.words);
                heard.runner_up_said = second.said;
            }
        }
        Ok(heard)
    }

    /// One candidate a meaning, the refused ones left out.
    fn distinct(
        &self,
        graph: &PhoneGraph,
        all: Vec<Hypothesis>,
        expected: &DecodeContext,
    ) -> Vec<Candidate> {
        let mut found: Vec<Candidate> = Vec::new();
        for hypothesis in all {
            let words = graph.text(&hypothesis);
            let said = if graph.is_strange(&hypothesis) {
                None
            } else {
                let Some(said) = self.grammar.understand(&expected.rule, &words) else {
                    continue;
                };
                Some(said)
            };
            let refused = |said: &_| judge::refused(said, &expected.excluded);
            let known = found.iter().any(|c| c.means(said.as_ref()));
            if !known && !said.as_ref().is_some_and(refused) {
                found.push(Candidate {
                    hypothesis,
                    words,
                    said,
                });
            }
        }
        found
    }
}

impl Recogniser for Ear {
    fn recognise(
        &mut self,
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Recognition> {
        let started = Instant::now();
        let graph = self.prepare(&expected.rule)?;
        let mut heard = match Self::usable(samples) {
            Some(samples) => {
                let taken = self.taken(&graph, &[&samples], expected)?;
                let probs = taken.iter().map(|one| one.view.probs.clone());
                self.last = Some((samples, probs.collect()));
                let weights = self.counted(1.0);
                self.weighed(&graph, taken, &weights)?
            }
            None => Recognition::nothing(),
        };
        heard.took = started.elapsed();
        Ok(heard)
    }

    fn together(
        &mut self,
        before: &[f32],
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Option<Recognition>> {
        let started = Instant::now();
        let graph = self.prepare(&expected.rule)?;
        let (Some(before), Some(samples)) = (Self::usable(before), Self::usable(samples)) else {
            return Ok(None);
        };
        // The later first: its words are timed where both found them.
        let taken = self.taken(&graph, &[&samples, &before], expected)?;
        let earlier = self.counted(self.earlier_take);
        let weights = [self.counted(1.0), earlier].concat();
        let mut heard = self.weighed(&graph, taken, &weights)?;
        heard.took = started.elapsed();
        Ok(Some(heard))
    }

    fn describe(&self) -> String {
        let first = self.acoustics.network.name();
        let ears = match &self.second {
            // One folder is named once.
            Some(second) => format!(
                "two ears ({first} and {}",
                second.name().trim_start_matches("models/")
            ),
            None => format!("ear ({first}"),
        };
        format!("{ears}, {} phones)", self.acoustics.phones.count() - 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_engine_names_the_models_that_it_hears_with() -> anyhow::Result<()> {
        let grammar = Arc::new(Grammar::built_in()?);
        let shipped = Ear::new(Arc::clone(&grammar), 1)?;
        assert_eq!(
            shipped.describe(),
            "two ears (models/ear.int8.onnx and ear.base.int8.onnx, 39 phones)"
        );
        let folder = tempfile::tempdir()?;
        let mine = folder.path().join("mine.onnx");
        std::fs::write(&mine, models::FIRST)?;
        let two = Ear::with(Acoustics::shipped(1)?, Arc::clone(&grammar))?;
        let two = two.and(Network::open(&mine, 1)?)?;
        assert_eq!(
            two.describe(),
            "two ears (models/ear.int8.onnx and mine.onnx, 39 phones)"
        );
        let one = Ear::with(Acoustics::open(&mine, 1)?, grammar)?;
        assert_eq!(one.describe(), "ear (mine.onnx, 39 phones)");
        Ok(())
    }
}
