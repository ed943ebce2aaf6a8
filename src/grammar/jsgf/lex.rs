use crate::grammar::error::{At, GrammarError, Result};
use std::iter::Peekable;
use std::str::Chars;

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Token {
    Word(String),
    /// `<name>`, without the brackets.
    Name(String),
    /// `{tag}`, without the braces.
    Tag(String),
    /// `/2.5/`
    Weight(f64),
    /// One of `; = | * + ( ) [ ]`
    Mark(char),
    End,
}

impl Token {
    pub(super) fn shown(&self) -> String {
        match self {
            Self::Word(word) => format!("`{word}`"),
            Self::Name(name) => format!("`<{name}>`"),
            Self::Tag(tag) => format!("`{{{tag}}}`"),
            Self::Weight(weight) => format!("`/{weight}/`"),
            Self::Mark(mark) => format!("`{mark}`"),
            Self::End => "the end of the file".to_owned(),
        }
    }
}

/// Splits a grammar file into tokens, comments left out.
pub(super) struct Lexer<'a> {
    file: &'a str,
    chars: Peekable<Chars<'a>>,
    at: At,
    /// The documentation comment before the token last read, without its marks.
    doc: Option<String>,
}

impl<'a> Lexer<'a> {
    pub(super) fn new(file: &'a str, text: &'a str) -> Self {
        Self {
            file,
            chars: text
                .strip_prefix('\u{feff}')
                .unwrap_or(text)
                .chars()
                .peekable(),
            at: At { line: 1, column: 1 },
            doc: None,
        }
    }

    /// The documentation comment, `/** ... */`, before the token last read.
    pub(super) fn doc(&mut self) -> Option<String> {
        self.doc.take()
    }

    /// The rest of the present line up to and without its `;`, for the `#JSGF` header.
    pub(super) fn header(&mut self) -> Result<String> {
        let at = self.at;
        let mut text = String::new();
        while let Some(c) = self.chars.peek().copied() {
            if c == ';' || c == '\n' {
                break;
            }
            self.bump();
            text.push(c);
        }
        if self.chars.peek() == Some(&';') {
            self.bump();
        }
        if text.starts_with("#JSGF V1.0") {
            return Ok(text);
        }
        Err(self.wrong(
            at,
            "expected the header `#JSGF V1.0;` at the start of the file",
        ))
    }

    pub(super) fn wrong(&self, at: At, message: impl Into<String>) -> GrammarError {
        GrammarError::file(self.file, at, message)
    }

    pub(super) fn next(&mut self) -> Result<(Token, At)> {
        self.doc = None;
        self.skip_space_and_comments()?;
        let at = self.at;
        let Some(c) = self.bump() else {
            return Ok((Token::End, at));
        };
        let token = match c {
            ';' | '=' | '|' | '*' | '+' | '(' | ')' | '[' | ']' => Token::Mark(c),
            '<' => Token::Name(self.until(at, '>', "`>` to close the rule's name")?),
            '{' => Token::Tag(self.until(at, '}', "`}` to close the tag")?),
            '"' => Token::Word(self.until(at, '"', "`\"` to close the quoted words")?),
            '/' => self.weight(at)?,
            '>' | '}' => return Err(self.wrong(at, format!("`{c}` closes nothing"))),
            c => self.word(c),
        };
        Ok((token, at))
    }

    fn bump(&mut self) -> Option<char> {
        let c = self.chars.next()?;
        if c == '\n' {
            self.at.line += 1;
            self.at.column = 1;
        } else {
            self.at.column += 1;
        }
        Some(c)
    }

    fn skip_space_and_comments(&mut self) -> Result<()> {
        loop {
            while self
                .chars
                .next_if(|c| c.is_whitespace() && *c != '\n')
                .is_some()
            {
                self.at.column += 1;
            }
            match self.chars.peek() {
                Some('\n') => {
                    self.bump();
                }
                Some('/') => {
                    let mut ahead = self.chars.clone();
                    ahead.next();
                    match ahead.next() {
                        Some('/') => self.skip_line(),
                        Some('*') => self.skip_block()?,
                        _ => return Ok(()),
                    }
                }
                _ => return Ok(()),
            }
        }
    }

    fn skip_line(&mut self) {
        while self.bump().is_some_and(|c| c != '\n') {}
    }

    fn skip_block(&mut self) -> Result<()> {
        let at = self.at;
        self.bump();
        self.bump();
        let mut text = String::new();
        while let Some(c) = self.bump() {
            if c == '*' && self.chars.peek() == Some(&'/') {
                self.bump();
                if let Some(doc) = text.strip_prefix('*') {
                    self.doc = Some(doc.to_owned());
                }
                return Ok(());
            }
            text.push(c);
        }
        Err(self.wrong(at, "expected `*/` to close the comment that starts here"))
    }

    fn until(&mut self, start: At, close: char, expected: &str) -> Result<String> {
        let mut text = String::new();
        while let Some(c) = self.bump() {
            match c {
                c if c == close => return Ok(text.trim().to_owned()),
                '\\' if close != '>' => text.extend(self.bump()),
                c => text.push(c),
            }
        }
        Err(self.wrong(start, format!("expected {expected} that starts here")))
    }

    fn weight(&mut self, at: At) -> Result<Token> {
        let text = self.until(at, '/', "`/` to close the weight")?;
        match text.parse::<f64>() {
            Ok(weight) if weight.is_finite() && weight >= 0.0 => Ok(Token::Weight(weight)),
            _ => Err(self.wrong(at, format!("expected a weight such as /2.5/, not /{text}/"))),
        }
    }

    fn word(&mut self, first: char) -> Token {
        let mut word = String::from(first);
        while let Some(c) = self
            .chars
            .next_if(|c| !c.is_whitespace() && !";=|*+<>()[]{}/\"".contains(*c))
        {
            self.at.column += 1;
            word.push(c);
        }
        Token::Word(word)
    }
}
