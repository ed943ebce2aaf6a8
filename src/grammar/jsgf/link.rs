use super::{Doc, Expansion, GrammarText};
use crate::grammar::error::{At, GrammarError, Result};
use std::collections::HashMap;

/// Rules that may refer through one another in a row.
const LONGEST_CHAIN: usize = 64;

/// The rules of several files with every name resolved; `T` is a tag as the program reads it.
#[derive(Debug, Clone)]
pub struct Linked<T> {
    /// Full names (`grammar.rule`) in the order of the files.
    pub names: Vec<String>,
    /// Of each rule, whether it may be listened for by itself.
    pub public: Vec<bool>,
    /// Of each rule, its documentation comment.
    pub docs: Vec<Option<Doc>>,
    /// Of each rule, what may be said.
    pub bodies: Vec<Node<T>>,
}

/// An expansion with its references resolved to rules by index.
#[derive(Debug, Clone, PartialEq)]
pub enum Node<T> {
    /// Nothing needs to be said.
    Null,
    /// Nothing that can be said.
    Void,
    /// One word.
    Word(String),
    /// What that rule allows, by its index.
    Rule(usize),
    /// One after the other.
    Sequence(Vec<Node<T>>),
    /// One of these, with their probabilities, which add up to one.
    Alternatives(Vec<(f64, Node<T>)>),
    /// This or nothing.
    Optional(Box<Node<T>>),
    /// This over and over.
    Repeat {
        /// What is repeated.
        body: Box<Node<T>>,
        /// Whether it must be said at all.
        at_least_once: bool,
    },
    /// This, and what it means.
    Tagged {
        /// The words.
        body: Box<Node<T>>,
        /// Their meaning.
        tag: T,
    },
}

impl<T> Linked<T> {
    /// The rule with this full name.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|known| known == name)
    }
}

/// Resolves every reference, and every tag through `read_tag`.
///
/// # Errors
/// A name that is unknown, private or ambiguous, a tag that `read_tag` refuses, or a rule that
/// refers to itself; each with its place in its file.
pub fn link<T>(
    sources: &[GrammarText],
    read_tag: impl Fn(&str) -> Result<T, String>,
) -> Result<Linked<T>> {
    let linker = Linker::new(sources)?;
    let mut linked = Linked {
        names: Vec::new(),
        public: Vec::new(),
        docs: Vec::new(),
        bodies: Vec::new(),
    };
    for source in sources {
        linker.check_imports(source)?;
        for rule in &source.rules {
            linked.names.push(format!("{}.{}", source.name, rule.name));
            linked.public.push(rule.public);
            linked.docs.push(rule.doc.clone());
            linked
                .bodies
                .push(linker.resolve(source, &rule.body, &read_tag)?);
        }
    }
    refuse_recursion(sources, &linked)?;
    Ok(linked)
}

struct Linker<'a> {
    /// Full name to index, and whether it is public.
    rules: HashMap<String, (usize, bool)>,
    sources: &'a [GrammarText],
}

impl<'a> Linker<'a> {
    fn new(sources: &'a [GrammarText]) -> Result<Self> {
        let mut rules = HashMap::new();
        for source in sources {
            for rule in &source.rules {
                let name = format!("{}.{}", source.name, rule.name);
                let index = rules.len();
                if rules.insert(name.clone(), (index, rule.public)).is_some() {
                    let message = format!("rule <{name}> is defined in another file too");
                    return Err(GrammarError::file(&source.file, rule.at, message));
                }
            }
        }
        Ok(Self { rules, sources })
    }

    fn check_imports(&self, source: &GrammarText) -> Result<()> {
        for import in &source.imports {
            let wrong = |message| Err(GrammarError::file(&source.file, import.at, message));
            if !self.sources.iter().any(|s| s.name == import.grammar) {
                return wrong(format!("there is no grammar `{}`", import.grammar));
            }
            if let Some(rule) = &import.rule {
                match self.rules.get(&format!("{}.{rule}", import.grammar)) {
                    None => {
                        return wrong(format!("grammar `{}` has no rule <{rule}>", import.grammar));
                    }
                    Some((_, false)) => {
                        return wrong(format!(
                            "rule <{rule}> of `{}` is not public",
                            import.grammar
                        ));
                    }
                    Some((_, true)) => {}
                }
            }
        }
        Ok(())
    }

    fn find(&self, source: &GrammarText, name: &str, at: At) -> Result<usize> {
        if let Some((index, _)) = self.rules.get(&format!("{}.{name}", source.name)) {
            return Ok(*index);
        }
        let mut found: Vec<usize> = source
            .imports
            .iter()
            .filter_map(|import| {
                // A reference may carry its grammar's name or leave it out.
                let full = match name.rsplit_once('.') {
                    Some((grammar, _)) if grammar == import.grammar => name.to_owned(),
                    Some(_) => return None,
                    None => format!("{}.{name}", import.grammar),
                };
                let (_, short) = full.rsplit_once('.')?;
                if import.rule.as_deref().is_some_and(|only| only != short) {
                    return None;
                }
                let (index, public) = self.rules.get(&full)?;
                public.then_some(*index)
            })
            .collect();
        found.sort_unstable();
        found.dedup();
        match found[..] {
            [index] => Ok(index),
            [] => Err(GrammarError::file(
                &source.file,
                at,
                format!("there is no rule <{name}> in this file, nor a public one in its imports"),
            )),
            _ => Err(GrammarError::file(
                &source.file,
                at,
                format!("<{name}> is in several imports: write <grammar.{name}>"),
            )),
        }
    }

    fn resolve<T>(
        &self,
        source: &GrammarText,
        body: &Expansion,
        read_tag: &impl Fn(&str) -> Result<T, String>,
    ) -> Result<Node<T>> {
        let inner = |body: &Expansion| self.resolve(source, body, read_tag);
        Ok(match body {
            Expansion::Null => Node::Null,
            Expansion::Void => Node::Void,
            Expansion::Word(word) => Node::Word(word.clone()),
            Expansion::Reference { rule, at } => Node::Rule(self.find(source, rule, *at)?),
            Expansion::Sequence(all) => {
                Node::Sequence(all.iter().map(inner).collect::<Result<_>>()?)
            }
            Expansion::Alternatives(all) => Node::Alternatives(
                all.iter()
                    .map(|(p, body)| Ok((*p, inner(body)?)))
                    .collect::<Result<_>>()?,
            ),
            Expansion::Optional(body) => Node::Optional(Box::new(inner(body)?)),
            Expansion::Repeat {
                body,
                at_least_once,
            } => Node::Repeat {
                body: Box::new(inner(body)?),
                at_least_once: *at_least_once,
            },
            Expansion::Tagged { body, tag, at } => Node::Tagged {
                body: Box::new(inner(body)?),
                tag: read_tag(tag).map_err(|message| {
                    GrammarError::file(&source.file, *at, format!("tag {{{tag}}}: {message}"))
                })?,
            },
        })
    }
}

fn refuse_recursion<T>(sources: &[GrammarText], linked: &Linked<T>) -> Result<()> {
    let rules: Vec<_> = sources
        .iter()
        .flat_map(|source| source.rules.iter().map(move |rule| (source, rule)))
        .collect();
    let wrong = |index: usize, message: String| match rules.get(index) {
        Some((source, rule)) => Err(GrammarError::file(&source.file, rule.at, message)),
        None => Ok(()),
    };
    /// How far the search has come with a rule.
    #[derive(Clone, Copy)]
    enum Seen {
        Not,
        Open,
        /// With the longest chain of rules below it.
        Done(usize),
    }
    let mut seen = vec![Seen::Not; linked.names.len()];
    for start in 0..linked.names.len() {
        let mut chain = vec![(start, references(linked.bodies.get(start)), 1)];
        while let Some((rule, rest, depth)) = chain.last_mut() {
            let rule = *rule;
            let Some(next) = rest.pop() else {
                let depth = *depth;
                seen[rule] = Seen::Done(depth);
                chain.pop();
                if depth > LONGEST_CHAIN {
                    let message =
                        format!("more than {LONGEST_CHAIN} rules refer through one another here");
                    return wrong(rule, message);
                }
                if let Some((_, _, above)) = chain.last_mut() {
                    *above = (*above).max(depth + 1);
                }
                continue;
            };
            seen[rule] = Seen::Open;
            match seen[next] {
                Seen::Not => chain.push((next, references(linked.bodies.get(next)), 1)),
                Seen::Done(below) => *depth = (*depth).max(below + 1),
                Seen::Open => {
                    let name = &linked.names[next];
                    return wrong(
                        next,
                        format!("rule <{name}> refers to itself; write repetition with `*` or `+`"),
                    );
                }
            }
        }
    }
    Ok(())
}

fn references<T>(body: Option<&Node<T>>) -> Vec<usize> {
    let mut found = Vec::new();
    let mut open: Vec<_> = body.into_iter().collect();
    while let Some(node) = open.pop() {
        match node {
            Node::Rule(index) => found.push(*index),
            Node::Sequence(all) => open.extend(all),
            Node::Alternatives(all) => open.extend(all.iter().map(|(_, body)| body)),
            Node::Optional(body) | Node::Repeat { body, .. } | Node::Tagged { body, .. } => {
                open.push(body);
            }
            Node::Null | Node::Void | Node::Word(_) => {}
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::parse;
    use super::*;

    fn linked(files: &[&str]) -> Result<Linked<String>> {
        let sources: Vec<_> = files
            .iter()
            .enumerate()
            .map(|(n, text)| parse(&format!("{n}.jsgf"), &format!("#JSGF V1.0;\n{text}")).unwrap())
            .collect();
        link(&sources, |tag| match tag {
            "bad" => Err("unknown".to_owned()),
            tag => Ok(tag.to_owned()),
        })
    }

    fn message(files: &[&str]) -> String {
        linked(files).unwrap_err().to_string()
    }

    #[test]
    fn rules_are_found_in_their_file_then_in_the_imports() {
        let one =
            "grammar one; import <two.b>; import <three.*>; <a> = <b> <c> <three.b>; <c> = x;";
        let two = "grammar two; public <b> = y;";
        let three = "grammar three; public <b> = z; public <c> = z;";
        // <b> is in two imports; <c> of the file itself wins over the imported one.
        assert!(message(&[one, two, three]).contains("several imports"));
        let one = one.replace("<a> = <b> ", "<a> = <two.b> ");
        let linked = linked(&[&one, two, three]).unwrap();
        let Node::Sequence(parts) = &linked.bodies[0] else {
            panic!()
        };
        let names: Vec<_> = parts
            .iter()
            .map(|part| match part {
                Node::Rule(index) => linked.names[*index].as_str(),
                _ => "",
            })
            .collect();
        assert_eq!(names, ["two.b", "one.c", "three.b"]);
    }

    #[test]
    fn what_cannot_be_resolved_is_named_with_its_place() {
        for (files, expected) in [
            (
                vec!["grammar a; <x> = <y>;"],
                "0.jsgf:2:18: there is no rule <y>",
            ),
            (
                vec!["grammar a; import <b.*>; <x> = y;"],
                "there is no grammar `b`",
            ),
            (
                vec!["grammar a; import <b.y>; <x> = <y>;", "grammar b; <y> = z;"],
                "rule <y> of `b` is not public",
            ),
            (
                vec!["grammar a; import <b.*>; <x> = <y>;", "grammar b; <y> = z;"],
                "there is no rule <y>",
            ),
            (vec!["grammar a; <x> = y {bad};"], "tag {bad}: unknown"),
            (
                vec!["grammar a; <x> = y;", "grammar a; <x> = z;"],
                "in another file too",
            ),
        ] {
            assert!(message(&files).contains(expected), "{}", message(&files));
        }
    }

    #[test]
    fn recursion_is_refused_with_the_way_out() {
        for file in [
            "grammar a; <x> = y <x>;",
            "grammar a; <x> = [<y>]; <y> = (<z>)*; <z> = <x> {t};",
        ] {
            assert!(message(&[file]).contains("refers to itself; write repetition with"));
        }
    }

    #[test]
    fn a_long_chain_of_rules_is_refused() {
        let rules: Vec<_> = (1..1000)
            .map(|n| format!("<r{n}> = <r{}>;", n - 1))
            .collect();
        let forward = format!("grammar a; <r0> = x; {}", rules.concat());
        let backward: String = rules.iter().rev().map(String::as_str).collect();
        let backward = format!("grammar a; {backward} <r0> = x;");
        for text in [forward, backward] {
            assert!(message(&[&text]).contains("refer through one another"));
        }
    }
}
