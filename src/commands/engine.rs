//! Which engine hears: ours, or another that this build has.

use anyhow::bail;
use bothhands::grammar::{Grammar, Lexicon};
use bothhands::speech::Recogniser;
use bothhands::speech::ear::{Acoustics, Ear, Network};
use std::path::PathBuf;
use std::sync::Arc;

/// The options that choose an engine.
#[derive(Debug, Clone, Default, clap::Args)]
pub(super) struct EngineArgs {
    /// What hears: `ear`, which ships with the program, or `vosk` with a model of yours, where the
    /// program was built with it.
    #[arg(long, value_enum, default_value_t)]
    engine: Engine,
    /// The folder of a vosk model, the one that holds am/ and graph/.
    #[arg(long, value_name = "DIR")]
    vosk_model: Option<PathBuf>,
    #[command(flatten)]
    models: ModelArgs,
}

/// The options that choose the acoustic models of our own engine.
#[derive(Debug, Clone, Default, clap::Args)]
pub(super) struct ModelArgs {
    /// Another acoustic model in place of those that ship, to hear by itself (see
    /// `models/README.md`).
    #[arg(long, value_name = "FILE.onnx")]
    model: Option<PathBuf>,
    /// A second acoustic model: two ears, that judge by the sum of what both make of the sound.
    #[arg(long, value_name = "FILE.onnx")]
    second_model: Option<PathBuf>,
}

impl ModelArgs {
    /// Our own engine with the models asked for, or with those that ship, on one thread.
    ///
    /// # Errors
    /// When a model can't be loaded.
    pub(super) fn ear(&self, grammar: &Arc<Grammar>) -> anyhow::Result<Ear> {
        let grammar = Arc::clone(grammar);
        let ear = match (&self.model, &self.second_model) {
            (None, None) => return Ear::new(grammar, 1),
            (Some(model), _) => Ear::with(Acoustics::open(model, 1)?, grammar)?,
            (None, Some(_)) => Ear::with(Acoustics::shipped(1)?, grammar)?,
        };
        match &self.second_model {
            Some(second) => Ok(ear.and(Network::open(second, 1)?)?),
            None => Ok(ear),
        }
    }

    fn any(&self) -> bool {
        self.model.is_some() || self.second_model.is_some()
    }
}

/// `--model` beside another engine.
const MODEL_IS_OURS: &str = "--model and --second-model are for our own engine: leave them out \
                             with --engine vosk, or leave that out";

/// The engines.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Engine {
    #[default]
    Ear,
    Vosk,
}

impl EngineArgs {
    /// Our own engine, as [`ModelArgs::ear`] gives it.
    ///
    /// # Errors
    /// When a model can't be loaded.
    pub(super) fn ear(&self, grammar: &Arc<Grammar>) -> anyhow::Result<Ear> {
        self.models.ear(grammar)
    }

    /// The engine asked for, listening for `grammar`; nothing when it is our own.
    ///
    /// # Errors
    /// When this build has no such engine, or its model is missing or cannot be used.
    pub(super) fn other(
        &self,
        grammar: &Arc<Grammar>,
    ) -> anyhow::Result<Option<Box<dyn Recogniser>>> {
        match (self.engine, &self.vosk_model) {
            (Engine::Ear, None) => Ok(None),
            (Engine::Ear, Some(_)) => {
                bail!("--vosk-model is for --engine vosk: add that, or leave the model out")
            }
            (Engine::Vosk, None) => bail!(
                "--engine vosk needs --vosk-model DIR, the folder of a vosk model (the one that \
                 holds am/ and graph/)"
            ),
            (Engine::Vosk, Some(_)) if self.models.any() => bail!("{MODEL_IS_OURS}"),
            (Engine::Vosk, Some(folder)) => open_vosk(folder, grammar).map(Some),
        }
    }
}

#[cfg(feature = "vosk")]
fn open_vosk(
    folder: &std::path::Path,
    grammar: &Arc<Grammar>,
) -> anyhow::Result<Box<dyn Recogniser>> {
    let vosk = bothhands::speech::vosk::Vosk::open(folder, Arc::clone(grammar))?;
    for warning in vosk.warnings() {
        super::shown::note(format!("bothhands: {warning}"));
    }
    Ok(Box::new(vosk))
}

#[cfg(not(feature = "vosk"))]
fn open_vosk(
    _folder: &std::path::Path,
    _grammar: &Arc<Grammar>,
) -> anyhow::Result<Box<dyn Recogniser>> {
    bail!(
        "this build has no vosk engine. Leave --engine out for our own, or build with \
         `cargo build --release --features vosk` (models/README.md, \"Another engine\")"
    )
}

/// The option that names the rules to hear by.
#[derive(Debug, Clone, Default, clap::Args)]
pub(super) struct GrammarArgs {
    /// Rules of your own in place of ours: a folder of JSGF files, and a file `lexicon.txt` for words
    /// that `models/lexicon.txt` lacks. A meaning is the tags of a sentence in their order, or its
    /// words where it has none. Name a public rule in full with --rule, as in "menu.order".
    #[arg(long, value_name = "DIR")]
    grammars: Option<PathBuf>,
}

impl GrammarArgs {
    /// The grammar asked for, and the rule: of somebody else's with one public rule, that one.
    ///
    /// # Errors
    /// When a file cannot be read or is wrong.
    pub(super) fn open(&self, rule: &str) -> anyhow::Result<(Arc<Grammar>, String)> {
        let Some(dir) = &self.grammars else {
            return Ok((Arc::new(Grammar::built_in()?), rule.to_owned()));
        };
        let grammar = Grammar::foreign(dir)?;
        let public: Vec<String> = grammar.public().map(str::to_owned).collect();
        let rule = match public.as_slice() {
            [only] if rule == super::hear::DEFAULT_RULE => only.clone(),
            _ => rule.to_owned(),
        };
        Ok((Arc::new(grammar), rule))
    }

    /// Lets our engine say the words of such a grammar.
    ///
    /// # Errors
    /// When the file `lexicon.txt` cannot be read or is wrong.
    pub(super) fn teach(&self, ear: &mut Ear) -> anyhow::Result<()> {
        let file = self.grammars.as_ref().map(|dir| dir.join("lexicon.txt"));
        if let Some(file) = file.filter(|file| file.exists()) {
            ear.set_lexicon(Lexicon::with_file(&file)?);
        }
        Ok(())
    }
}
