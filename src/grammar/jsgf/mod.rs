//! The JSpeech Grammar Format 1.0 (W3C note of 5 June 2000): text to rules.
//!
//! All of the format is read: header, `grammar`, `import`, public and private rules, sequences,
//! alternatives with `/weights/`, `[optional]` parts, groups, `*` and `+`, `{tags}`, quoted tokens,
//! comments, `<NULL>` and `<VOID>`. Recursion is refused: a grammar without it always has a finite
//! graph of words.
//!
//! ```
//! use bothhands::grammar::jsgf;
//! let file = jsgf::parse("lamp.jsgf", "#JSGF V1.0; grammar lamp; public <lamp> = lamp (out | back);")?;
//! assert_eq!(file.name, "lamp");
//! assert_eq!(file.rules[0].name, "lamp");
//! # Ok::<(), bothhands::grammar::GrammarError>(())
//! ```

mod lex;
mod link;
mod parse;

pub use link::{Linked, Node, link};
pub use parse::parse;

use super::error::At;

/// One grammar file as it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct GrammarText {
    /// The file's name, for messages.
    pub file: String,
    /// The grammar's full name, package included.
    pub name: String,
    /// In the order in which they stand.
    pub imports: Vec<Import>,
    /// In the order in which they stand.
    pub rules: Vec<Rule>,
}

/// `import <grammar.rule>;` or `import <grammar.*>;`
#[derive(Debug, Clone, PartialEq)]
pub struct Import {
    /// Full name of the other grammar.
    pub grammar: String,
    /// The rule, or all public rules of that grammar.
    pub rule: Option<String>,
    /// Where it stands.
    pub at: At,
}

/// `[public] <name> = expansion;`
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Without its grammar's name.
    pub name: String,
    /// Whether other grammars may import it.
    pub public: bool,
    /// What may be said.
    pub body: Expansion,
    /// Where it stands.
    pub at: At,
    /// The documentation comment before it, when there is one.
    pub doc: Option<Doc>,
}

/// A documentation comment: `/** what it is for  @example what may be said */`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Doc {
    /// The words before the first `@`.
    pub text: String,
    /// Each `@example`; other tags are left out.
    pub examples: Vec<String>,
}

/// The right side of a rule.
#[derive(Debug, Clone, PartialEq)]
pub enum Expansion {
    /// `<NULL>`: nothing needs to be said.
    Null,
    /// `<VOID>`: nothing that can be said.
    Void,
    /// One word, or several in quotes.
    Word(String),
    /// Another rule.
    Reference {
        /// Its name, full or as imported.
        rule: String,
        /// Where it stands.
        at: At,
    },
    /// One after the other.
    Sequence(Vec<Expansion>),
    /// Alternatives with their probabilities, which add up to one.
    Alternatives(Vec<(f64, Expansion)>),
    /// `[...]`: this or nothing.
    Optional(Box<Expansion>),
    /// `*` (`at_least_once` false) or `+`.
    Repeat {
        /// What is repeated.
        body: Box<Expansion>,
        /// Whether it must be said at all.
        at_least_once: bool,
    },
    /// `... {tag}`
    Tagged {
        /// The words.
        body: Box<Expansion>,
        /// What stands between the braces.
        tag: String,
        /// Where it stands.
        at: At,
    },
}
