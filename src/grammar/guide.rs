//! What can be said, for people: from the documentation comments of the rules.
//!
//! A rule that begins with `/** what for */` gives words to the guide: its `@example`s, or, without
//! any, the plain words of everything it takes, what is optional left out. Rules of one purpose share
//! a line.

use super::error::{GrammarError, Result};
use super::jsgf::{Linked, Node};
use super::meaning;
use super::net::{Event, Net};
use super::rules::Grammar;
use super::said::Intent;
use super::tag::Tag;

/// Sentences that a rule without examples may have.
const MOST: usize = 200;

/// What may be said for one purpose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// What for: "agree".
    pub to: String,
    /// What to say: "affirm".
    pub say: Vec<String>,
}

impl Grammar {
    /// What can be said, in the order of the grammar's files.
    ///
    /// # Errors
    /// When an example of a rule cannot be said there, or a rule without any takes too much to list.
    pub fn guide(&self) -> Result<Vec<Advice>> {
        let mut guide: Vec<Advice> = Vec::new();
        let rules = self.rules.names.iter().zip(&self.rules.docs).enumerate();
        for (rule, (name, doc)) in rules {
            let Some(doc) = doc else { continue };
            let net = Net::new(&self.rules, rule)?;
            let say = if doc.examples.is_empty() {
                plain(&self.rules, rule).ok_or_else(|| GrammarError::NoExample(name.clone()))?
            } else {
                doc.examples.clone()
            };
            for words in &say {
                said(&net, words).ok_or_else(|| GrammarError::Example {
                    rule: name.clone(),
                    example: words.clone(),
                })?;
            }
            for words in say {
                add(&mut guide, &doc.text, words);
            }
        }
        Ok(guide)
    }
}

fn add(guide: &mut Vec<Advice>, to: &str, words: String) {
    match guide.iter_mut().find(|line| line.to == to) {
        Some(line) if line.say.contains(&words) => {}
        Some(line) => line.say.push(words),
        None => guide.push(Advice {
            to: to.to_owned(),
            say: vec![words],
        }),
    }
}

fn said(net: &Net, words: &str) -> Option<Intent> {
    // The guide writes "I" as one does.
    let words = words.to_lowercase();
    let words: Vec<&str> = words.split_whitespace().collect();
    meaning::of(&net.path(&words)?)
}

/// The plain words of each meaning of a rule; nothing when they are too many, or mean nothing.
fn plain(linked: &Linked<Tag>, rule: usize) -> Option<Vec<String>> {
    let mut all: Vec<String> = Vec::new();
    for path in paths(linked, &Node::Rule(rule))? {
        let words = meaning::of(&path)?.words();
        if !all.contains(&words) {
            all.push(words);
        }
    }
    Some(all)
}

/// Every way through a node that leaves out what is optional; nothing when there are too many.
fn paths<'a>(linked: &'a Linked<Tag>, node: &'a Node<Tag>) -> Option<Vec<Vec<Event<'a>>>> {
    let all = match node {
        Node::Null | Node::Optional(_) => vec![Vec::new()],
        Node::Repeat {
            at_least_once: false,
            ..
        } => vec![Vec::new()],
        Node::Void => Vec::new(),
        Node::Word(word) => vec![vec![Event::Word(word)]],
        Node::Rule(rule) => paths(linked, linked.bodies.get(*rule)?)?,
        Node::Repeat { body, .. } => paths(linked, body)?,
        Node::Tagged { body, tag } => {
            let wrapped = |inside: Vec<Event<'a>>| {
                let mut path = vec![Event::Open(tag)];
                path.extend(inside);
                path.push(Event::Close);
                path
            };
            paths(linked, body)?.into_iter().map(wrapped).collect()
        }
        Node::Alternatives(bodies) => {
            let mut all = Vec::new();
            for (_, body) in bodies {
                all.extend(paths(linked, body)?);
            }
            all
        }
        Node::Sequence(parts) => {
            let mut all: Vec<Vec<Event<'a>>> = vec![Vec::new()];
            for part in parts {
                let ends = paths(linked, part)?;
                if all.len() * ends.len() > MOST {
                    return None;
                }
                all = all
                    .iter()
                    .flat_map(|start| {
                        ends.iter()
                            .map(move |end| start.iter().chain(end).copied().collect())
                    })
                    .collect();
            }
            all
        }
    };
    (all.len() <= MOST).then_some(all)
}
