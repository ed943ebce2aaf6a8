use super::lex::{Lexer, Token};
use super::{Doc, Expansion, GrammarText, Import, Rule};
use crate::grammar::error::{At, GrammarError, Result};

/// Groups inside each other that a rule may have.
const DEEPEST: usize = 64;

/// Marks and tags that may follow one another.
const MOST_MARKS: usize = 8;

/// Reads one grammar file; `file` is its name for messages.
///
/// # Errors
/// The first thing that is not JSGF, with file, line, column and what was expected there.
pub fn parse(file: &str, text: &str) -> Result<GrammarText> {
    let mut lexer = Lexer::new(file, text);
    lexer.header()?;
    let (token, at) = lexer.next()?;
    Parser {
        lexer,
        token,
        at,
        doc: None,
        depth: 0,
    }
    .source(file)
}

struct Parser<'a> {
    lexer: Lexer<'a>,
    token: Token,
    at: At,
    /// The documentation comment before the token.
    doc: Option<String>,
    depth: usize,
}

impl Parser<'_> {
    fn source(mut self, file: &str) -> Result<GrammarText> {
        if !self.is_word("grammar") {
            return Err(self.expected("`grammar name;`"));
        }
        self.advance()?;
        let name = match self.advance()? {
            (Token::Word(name), _) => name,
            (found, at) => return Err(self.expected_at(at, "the grammar's name", &found)),
        };
        self.mark(';')?;
        let mut source = GrammarText {
            file: file.to_owned(),
            name,
            imports: Vec::new(),
            rules: Vec::new(),
        };
        while self.is_word("import") {
            let import = self.import()?;
            source.imports.push(import);
        }
        while self.token != Token::End {
            let rule = self.rule()?;
            if source.rules.iter().any(|known| known.name == rule.name) {
                let again = format!("rule <{}> is defined twice in this file", rule.name);
                return Err(self.lexer.wrong(rule.at, again));
            }
            source.rules.push(rule);
        }
        Ok(source)
    }

    fn import(&mut self) -> Result<Import> {
        self.advance()?;
        let (name, at) = self.name("the rule to import, such as <numbers.number>")?;
        self.mark(';')?;
        let Some((grammar, rule)) = name.rsplit_once('.') else {
            let message = format!("expected <grammar.rule> or <grammar.*>, not <{name}>");
            return Err(self.lexer.wrong(at, message));
        };
        Ok(Import {
            grammar: grammar.to_owned(),
            rule: (rule != "*").then(|| rule.to_owned()),
            at,
        })
    }

    fn rule(&mut self) -> Result<Rule> {
        let doc = self.doc.take().map(|comment| doc(&comment));
        let public = self.is_word("public");
        if public {
            self.advance()?;
        }
        let (name, at) = self.name("a rule: `<name> = ...;` or `public <name> = ...;`")?;
        if matches!(name.as_str(), "NULL" | "VOID") || name.contains('.') {
            let message = format!("<{name}> cannot be defined");
            return Err(self.lexer.wrong(at, message));
        }
        self.mark('=')?;
        let body = self.alternatives()?;
        self.mark(';')?;
        Ok(Rule {
            name,
            public,
            body,
            at,
            doc,
        })
    }

    fn alternatives(&mut self) -> Result<Expansion> {
        self.depth += 1;
        if self.depth > DEEPEST {
            let message = format!("more than {DEEPEST} groups inside each other");
            return Err(self.lexer.wrong(self.at, message));
        }
        let start = self.at;
        let mut all = Vec::new();
        loop {
            let weight = match self.token {
                Token::Weight(weight) => {
                    self.advance()?;
                    Some(weight)
                }
                _ => None,
            };
            all.push((weight, self.sequence()?));
            if self.token != Token::Mark('|') {
                break;
            }
            self.advance()?;
        }
        self.depth -= 1;
        let weighted = all.iter().filter(|(weight, _)| weight.is_some()).count();
        if weighted != 0 && weighted != all.len() {
            let message = "either every alternative has a /weight/ or none";
            return Err(self.lexer.wrong(start, message));
        }
        let sum: f64 = all.iter().map(|(weight, _)| weight.unwrap_or(1.0)).sum();
        if !(sum.is_finite() && sum > 0.0) {
            let message = "the weights of these alternatives add up to nothing";
            return Err(self.lexer.wrong(start, message));
        }
        let mut all: Vec<_> = all
            .into_iter()
            .map(|(weight, body)| (weight.unwrap_or(1.0) / sum, body))
            .collect();
        match all.pop() {
            Some((_, only)) if all.is_empty() => Ok(only),
            Some(last) => {
                all.push(last);
                Ok(Expansion::Alternatives(all))
            }
            None => Ok(Expansion::Null),
        }
    }

    fn sequence(&mut self) -> Result<Expansion> {
        let mut all = Vec::new();
        while let Some(part) = self.primary()? {
            all.push(self.postfix(part)?);
        }
        match all.pop() {
            None => Err(self.expected("a word, <rule>, `(` or `[`")),
            Some(only) if all.is_empty() => Ok(only),
            Some(last) => {
                all.push(last);
                Ok(Expansion::Sequence(all))
            }
        }
    }

    fn primary(&mut self) -> Result<Option<Expansion>> {
        let at = self.at;
        Ok(Some(match &self.token {
            Token::Word(_) => {
                let (token, _) = self.advance()?;
                let Token::Word(text) = token else {
                    return Ok(None);
                };
                let mut words: Vec<_> = text
                    .split_whitespace()
                    .map(|word| Expansion::Word(word.to_lowercase()))
                    .collect();
                match words.len() {
                    0 => return Err(self.lexer.wrong(at, "expected words between the quotes")),
                    1 => words.swap_remove(0),
                    _ => Expansion::Sequence(words),
                }
            }
            Token::Name(_) => {
                let (rule, at) = self.name("a rule")?;
                match rule.as_str() {
                    "NULL" => Expansion::Null,
                    "VOID" => Expansion::Void,
                    _ => Expansion::Reference { rule, at },
                }
            }
            Token::Mark('(') => {
                self.advance()?;
                let body = self.alternatives()?;
                self.mark(')')?;
                body
            }
            Token::Mark('[') => {
                self.advance()?;
                let body = self.alternatives()?;
                self.mark(']')?;
                Expansion::Optional(Box::new(body))
            }
            _ => return Ok(None),
        }))
    }

    fn postfix(&mut self, mut body: Expansion) -> Result<Expansion> {
        for _ in 0..MOST_MARKS {
            let at = self.at;
            body = match &self.token {
                Token::Tag(tag) => Expansion::Tagged {
                    tag: tag.clone(),
                    body: Box::new(body),
                    at,
                },
                Token::Mark(mark @ ('*' | '+')) => Expansion::Repeat {
                    at_least_once: *mark == '+',
                    body: Box::new(body),
                },
                _ => return Ok(body),
            };
            self.advance()?;
        }
        let message = format!("more than {MOST_MARKS} marks and tags behind one another");
        Err(self.lexer.wrong(self.at, message))
    }

    fn name(&mut self, expected: &str) -> Result<(String, At)> {
        match self.advance()? {
            (Token::Name(name), at) if !name.is_empty() => Ok((name, at)),
            (found, at) => Err(self.expected_at(at, expected, &found)),
        }
    }

    fn mark(&mut self, mark: char) -> Result<()> {
        if self.token != Token::Mark(mark) {
            return Err(self.expected(&format!("`{mark}`")));
        }
        self.advance()?;
        Ok(())
    }

    fn is_word(&self, word: &str) -> bool {
        matches!(&self.token, Token::Word(found) if found == word)
    }

    /// Steps to the next token and gives back the one left behind.
    fn advance(&mut self) -> Result<(Token, At)> {
        let (token, at) = self.lexer.next()?;
        self.doc = self.lexer.doc();
        Ok((
            std::mem::replace(&mut self.token, token),
            std::mem::replace(&mut self.at, at),
        ))
    }

    fn expected(&self, what: &str) -> GrammarError {
        self.expected_at(self.at, what, &self.token)
    }

    fn expected_at(&self, at: At, what: &str, found: &Token) -> GrammarError {
        let message = format!("expected {what}, found {}", found.shown());
        self.lexer.wrong(at, message)
    }
}

/// A documentation comment's words and examples; stars that begin its lines are left out.
fn doc(comment: &str) -> Doc {
    let plain: Vec<&str> = comment
        .lines()
        .map(|line| line.trim().trim_start_matches('*'))
        .flat_map(str::split_whitespace)
        .collect();
    let plain = plain.join(" ");
    let mut parts = plain.split('@');
    let text = parts.next().unwrap_or_default().trim().to_owned();
    let examples = parts
        .filter_map(|part| part.strip_prefix("example "))
        .map(|example| example.trim().to_owned())
        .collect();
    Doc { text, examples }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rule(body: &str) -> Result<Expansion> {
        let text = format!("#JSGF V1.0;\ngrammar test;\n<rule> = {body};");
        Ok(parse("test.jsgf", &text)?.rules.remove(0).body)
    }

    fn message(text: &str) -> String {
        parse("test.jsgf", text).unwrap_err().to_string()
    }

    #[test]
    fn a_documentation_comment_belongs_to_the_rule_behind_it() {
        let source = parse(
            "doc.jsgf",
            "#JSGF V1.0;\n/** not this one */\ngrammar doc;\n\
             /**\n * agree\n * @example yes\n * @see two\n * @example yes please\n */\n\
             public <one> = yes [please];\n/* nor this */ <two> = no; /** ask */ <three> = why;",
        )
        .unwrap();
        let docs: Vec<_> = source.rules.iter().map(|rule| rule.doc.clone()).collect();
        let doc = |text: &str, examples: &[&str]| {
            Some(Doc {
                text: text.to_owned(),
                examples: examples.iter().map(|&e| e.to_owned()).collect(),
            })
        };
        assert_eq!(
            docs,
            [doc("agree", &["yes", "yes please"]), None, doc("ask", &[])]
        );
    }

    #[test]
    fn every_construct_of_the_format_is_read() {
        let source = parse(
            "all.jsgf",
            "#JSGF V1.0 UTF-8 en-GB;\n\
             /* a comment\n over two lines */\n\
             grammar boathouse.all;\n\
             import <numbers.number>;\n import <places.*>; // to the end of the line\n\
             public <one> = /3/ lamp {out} | /1/ [the] \"fused spur\"+ {a}{b} | /1/ (<two> | <NULL>)*;\n\
             <two> = <VOID>;",
        )
        .unwrap();
        assert_eq!(source.name, "boathouse.all");
        assert_eq!(source.imports[0].rule.as_deref(), Some("number"));
        assert_eq!(source.imports[1].rule, None);
        assert!(source.rules[0].public && !source.rules[1].public);
        let Expansion::Alternatives(all) = &source.rules[0].body else {
            panic!("{:?}", source.rules[0].body)
        };
        assert_eq!(all[0].0, 0.6);
        assert_eq!(source.rules[1].body, Expansion::Void);
    }

    #[test]
    fn alternatives_without_weights_are_equally_likely() {
        let Ok(Expansion::Alternatives(all)) = rule("a | b | c | d") else {
            panic!()
        };
        assert!(all.iter().all(|(p, _)| *p == 0.25));
    }

    #[test]
    fn a_mark_binds_to_the_one_part_before_it() {
        let Ok(Expansion::Sequence(parts)) = rule("a b*") else {
            panic!()
        };
        assert_eq!(parts[0], Expansion::Word("a".into()));
        assert!(matches!(
            parts[1],
            Expansion::Repeat {
                at_least_once: false,
                ..
            }
        ));
    }

    #[test]
    fn a_weight_is_not_taken_for_a_comment() {
        assert!(rule("/1/ a | /0/ b // ;\n").is_ok());
    }

    #[test]
    fn errors_name_file_line_column_and_what_was_expected() {
        for (text, expected) in [
            (
                "grammar x;",
                "test.jsgf:1:1: expected the header `#JSGF V1.0;`",
            ),
            (
                "#JSGF V1.0;\n<a> = b;",
                "test.jsgf:2:1: expected `grammar name;`",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n<a> = ;",
                "test.jsgf:3:7: expected a word",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n<a> = (b;",
                "test.jsgf:3:9: expected `)`, found `;`",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n<a> = b",
                "test.jsgf:3:8: expected `;`, found the end",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n<a> = b {c",
                "test.jsgf:3:9: expected `}` to close the tag",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n<a> = /x/ b;",
                "test.jsgf:3:7: expected a weight",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n<a> = /1/ b | c;",
                "test.jsgf:3:7: either every alternative",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n<a> = b; <a> = c;",
                "test.jsgf:3:10: rule <a> is defined twice",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\nimport <x>;",
                "test.jsgf:3:8: expected <grammar.rule>",
            ),
            (
                "#JSGF V1.0;\ngrammar g;\n/* x",
                "test.jsgf:3:1: expected `*/`",
            ),
        ] {
            assert!(message(text).starts_with(expected), "{}", message(text));
        }
    }

    #[test]
    fn deep_nesting_is_refused_and_not_followed() {
        for (open, close) in [("(", ")"), ("[", "]")] {
            let deep = format!("{}a{}", open.repeat(100_000), close.repeat(100_000));
            assert!(
                rule(&deep)
                    .unwrap_err()
                    .to_string()
                    .contains("groups inside")
            );
        }
        assert!(rule(&format!("a{}", "*".repeat(100_000))).is_err());
    }

    proptest! {
        #[test]
        fn garbage_is_refused_without_panic(text in ".{0,200}") {
            let _ = parse("garbage", &text);
            let _ = parse("garbage", &format!("#JSGF V1.0;\ngrammar g;\n<a> = {text}"));
        }

        #[test]
        fn shuffled_marks_are_refused_or_read(
            parts in proptest::collection::vec(
                proptest::sample::select(vec![
                    "<a>", "b", "|", "(", ")", "[", "]", "*", "+", "{t}", "/1/", ";", "=", "\"", "public",
                    "import", "<", ">", "{", "}", "//", "/*", "*/", "\\", "\n",
                ]),
                0..40,
            )
        ) {
            let _ = parse("shuffled", &format!("#JSGF V1.0;\ngrammar g;\n<a> = {}", parts.join(" ")));
        }
    }
}
