//! How words sound: `models/lexicon.txt`.

use super::error::{GrammarError, Result};
use std::collections::HashMap;
use std::path::Path;

/// The phones that the acoustic model tells apart: the 39 of the CMU pronouncing dictionary,
/// without stress.
pub const PHONES: [&str; 39] = [
    "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH",
    "IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH",
    "UW", "V", "W", "Y", "Z", "ZH",
];

const BUILT_IN: &str = include_str!("../../models/lexicon.txt");

/// Words and their pronunciations.
#[derive(Debug, Clone, Default)]
pub struct Lexicon {
    words: HashMap<String, Vec<Vec<String>>>,
}

impl Lexicon {
    /// The lexicon that ships.
    ///
    /// # Errors
    /// When a line of it is wrong.
    pub fn built_in() -> Result<Self> {
        Self::parse("models/lexicon.txt", BUILT_IN)
    }

    /// The lexicon that ships, and the words of another file of the same form beside it.
    ///
    /// # Errors
    /// When the file cannot be read, or a line of it is wrong.
    pub fn with_file(file: &Path) -> Result<Self> {
        let name = file.display().to_string();
        let text = std::fs::read_to_string(file).map_err(|source| GrammarError::Read {
            path: name.clone(),
            source,
        })?;
        let mut lexicon = Self::built_in()?;
        for (word, variants) in Self::parse(&name, &text)?.words {
            lexicon.words.insert(word, variants);
        }
        Ok(lexicon)
    }

    /// Reads lines `word<TAB>PHONE PHONE ...`; several lines for a word are variants. Empty lines
    /// and lines that begin with `#` are skipped. `file` is the name for messages.
    ///
    /// # Errors
    /// The first line that is not so.
    pub fn parse(file: &str, text: &str) -> Result<Self> {
        let mut lexicon = Self::default();
        for (line, content) in (1..).zip(text.lines()) {
            if content.trim().is_empty() || content.starts_with('#') {
                continue;
            }
            let wrong = |message: String| GrammarError::Lexicon {
                file: file.to_owned(),
                line,
                message,
            };
            let (word, phones) = content
                .split_once('\t')
                .ok_or_else(|| wrong("expected a word, a tab and its phones".to_owned()))?;
            let phones: Vec<String> = phones.split_whitespace().map(str::to_owned).collect();
            if let Some(unknown) = phones.iter().find(|p| !PHONES.contains(&p.as_str())) {
                let message = format!("`{unknown}` is not a phone; they are {}", PHONES.join(" "));
                return Err(wrong(message));
            }
            if word.trim().is_empty() || phones.is_empty() {
                return Err(wrong("expected a word, a tab and its phones".to_owned()));
            }
            let variants = lexicon.words.entry(word.trim().to_owned()).or_default();
            if !variants.contains(&phones) {
                variants.push(phones);
            }
        }
        Ok(lexicon)
    }

    /// Each way the word is said, as phones; empty for an unknown word.
    pub fn pronunciations(&self, word: &str) -> &[Vec<String>] {
        self.words.get(word).map_or(&[], Vec::as_slice)
    }

    /// Whether it is known how the word is said.
    pub fn knows(&self, word: &str) -> bool {
        self.words.contains_key(word)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn variants_of_a_word_are_kept() {
        let lexicon = Lexicon::parse("l", "# comment\n\nto\tT UW\nto\tT AH\nto\tT UW\n").unwrap();
        assert_eq!(lexicon.pronunciations("to").len(), 2);
        assert!(!lexicon.knows("two"));
    }

    #[test]
    fn a_wrong_line_is_named() {
        for (text, message) in [
            ("to\tT UW\ntwo T UW", "l:2: expected a word, a tab"),
            ("two\tT UU", "l:1: `UU` is not a phone"),
            ("two\t", "l:1: expected"),
        ] {
            let error = Lexicon::parse("l", text).unwrap_err().to_string();
            assert!(error.starts_with(message), "{error}");
        }
    }

    #[test]
    fn the_built_in_lexicon_is_sound() {
        assert!(Lexicon::built_in().unwrap().knows("niner"));
    }
}
