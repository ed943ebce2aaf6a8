use std::fmt;

/// Where in a grammar file something stands; both count from one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct At {
    /// From 1.
    pub line: u32,
    /// From 1, in characters.
    pub column: u32,
}

impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.line, self.column)
    }
}

/// What can be wrong with a grammar.
#[derive(Debug, thiserror::Error)]
pub enum GrammarError {
    /// A grammar file says something that is not JSGF, or not something bothhands understands.
    #[error("{file}:{at}: {message}")]
    File {
        /// Its name.
        file: String,
        /// Where in it.
        at: At,
        /// What is wrong there, and what to write.
        message: String,
    },
    /// A rule was asked for that no grammar has.
    #[error("there is no public grammar rule `{rule}`; the rules are: {known}")]
    NoSuchRule {
        /// The name asked for.
        rule: String,
        /// All there are, in one line.
        known: String,
    },
    /// The rule is too large to search.
    #[error(
        "rule `{rule}` grows past {limit} {what}; use fewer repeats and references inside each other"
    )]
    TooLarge {
        /// Its name.
        rule: String,
        /// What there are too many of.
        what: &'static str,
        /// The most there may be.
        limit: usize,
    },
    /// No sentence at all matches the rule.
    #[error("rule `{0}` matches no sentence at all; give it an alternative other than <VOID>")]
    Empty(String),
    /// An example in a rule's documentation is none of the rule's sentences.
    #[error(
        "the example `{example}` of <{rule}> cannot be said there: mend the rule or the example"
    )]
    Example {
        /// The rule's name.
        rule: String,
        /// The words.
        example: String,
    },
    /// What a documented rule takes is too much to list.
    #[error("<{0}> takes too much to list it all: give it an @example or several")]
    NoExample(String),
    /// The name of a place in the job has a word whose sound is not known.
    #[error(
        "cannot listen for `{name}`: it is not known how `{word}` is said. Use another name in the \
         job file, or add a line `{word}<TAB>PHONES` to models/lexicon.txt"
    )]
    UnknownWord {
        /// The whole name.
        name: String,
        /// The word in it.
        word: String,
    },
    /// A place without a usable name.
    #[error("`{0}` cannot be a place's name: use words of letters, such as `door entry unit`")]
    BadName(String),
    /// "Pump two" could be the place called so, or number two of the pumps.
    #[error(
        "`{0}` ends in a number: in the job file, give the name without it and the number as \
         `number = ...`"
    )]
    NumberedName(String),
    /// A line of the lexicon is wrong.
    #[error("{file}:{line}: {message}")]
    Lexicon {
        /// Its name.
        file: String,
        /// From 1.
        line: usize,
        /// What is wrong with it.
        message: String,
    },
    /// A file or folder could not be read.
    #[error("cannot read {path}: {source}")]
    Read {
        /// As given.
        path: String,
        /// What the system said.
        source: std::io::Error,
    },
}

impl GrammarError {
    pub(super) fn file(file: &str, at: At, message: impl Into<String>) -> Self {
        Self::File {
            file: file.to_owned(),
            at,
            message: message.into(),
        }
    }
}

/// Results of this room.
pub type Result<T, E = GrammarError> = std::result::Result<T, E>;
