use crate::grammar::GrammarError;
use std::path::PathBuf;

/// Why the engine cannot work; none of these depends on what is said.
#[derive(Debug, thiserror::Error)]
pub enum VoskError {
    /// The model's folder is not there.
    #[error(
        "{}: there is no such folder; give --vosk-model the folder of a vosk model, the one that \
         holds am/ and graph/", .0.display()
    )]
    NoFolder(PathBuf),
    /// The folder holds no model.
    #[error(
        "{}: no vosk model is in this folder (no am/final.mdl); give --vosk-model the folder that \
         holds am/ and graph/, unpacked", .0.display()
    )]
    NoModel(PathBuf),
    /// A model whose graph is fixed: it can't be restricted to a grammar.
    #[error(
        "{}: this model cannot be restricted to a grammar (no graph/HCLr.fst and graph/Gr.fst); \
         use one with a dynamic graph: the small models have it", .0.display()
    )]
    Fixed(PathBuf),
    /// The path is not UTF-8, which the library wants.
    #[error("{}: a model's folder must have a name in UTF-8; rename it", .0.display())]
    Name(PathBuf),
    /// The library could not load it.
    #[error(
        "{}: the vosk library could not use this model; what it wrote above says why. Unpack the \
         model anew, or use a model for this version of the library", .0.display()
    )]
    Refused(PathBuf),
    /// The model's vocabulary and the grammar share nothing.
    #[error(
        "the model in {} knows no word of the grammar: is it a model of another language? The \
         grammar's words: {}", .folder.display(), list(.words)
    )]
    NoWords {
        /// The model's folder.
        folder: PathBuf,
        /// The grammar's words.
        words: Vec<String>,
    },
    /// A rule whose every sentence has a word that the model lacks.
    #[error(
        "the model in {} knows no whole sentence of rule `{rule}`. It lacks: {}. Use a model that \
         knows these words, other words in the grammar, or --engine ear", .folder.display(), list(.words)
    )]
    NoSentence {
        /// Its name.
        rule: String,
        /// The model's folder.
        folder: PathBuf,
        /// Those that the model lacks.
        words: Vec<String>,
    },
    /// The library refused the samples.
    #[error("the sound could not be handed to vosk: {0}")]
    Sound(String),
    /// The library's answer is not the JSON that is expected.
    #[error("vosk gave an answer that cannot be read; say it again, or take --engine ear")]
    Answer,
    /// The grammar itself.
    #[error(transparent)]
    Grammar(#[from] GrammarError),
}

/// Words in one line; of very many only how many more.
pub(super) fn list(words: &[String]) -> String {
    const MOST: usize = 60;
    let shown = words.get(..MOST).unwrap_or(words).join(", ");
    match words.len().saturating_sub(MOST) {
        0 => shown,
        more => format!("{shown}, and {more} more"),
    }
}
