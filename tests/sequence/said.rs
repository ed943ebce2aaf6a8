//! What `log` says was said is what was said, and what it says to say is understood.

use super::prompts::{events, grammar, orders};
use crate::dialogues::typed::{Run, files};
use bothhands::log::Log;
use bothhands::report::dialogue;
use bothhands::sequence::{Edition, Event, Mode, Session};
use std::collections::BTreeSet;

/// Over all dialogues: the lines of every turn, live, are the lines that the report of its log makes
/// of the same events, in the same order.
#[test]
fn the_log_says_what_was_said() {
    let mut wrong = Vec::new();
    let files = files();
    for path in &files {
        let text = std::fs::read_to_string(path).unwrap();
        let mut run = Run::new(&text);
        run.all(false);
        let site = run.site.unwrap();
        let log = Log::of(site.events.clone());
        let told: Vec<String> = dialogue(&log)
            .unwrap()
            .into_iter()
            .flat_map(|exchange| exchange.program)
            .map(|line| line.text)
            .collect();
        let name = path.file_stem().unwrap().to_string_lossy();
        if let Some(n) =
            (0..told.len().max(site.said.len())).find(|n| told.get(*n) != site.said.get(*n))
        {
            wrong.push(format!(
                "{name}, line {n}:\n  live: {:?}\n  log:  {:?}",
                site.said.get(n),
                told.get(n)
            ));
        }
    }
    assert!(files.len() >= 40, "only {} dialogues", files.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What a line tells a person to say without giving the words.
const LEFT_TO_THE_PERSON: [&str; 13] = [
    // What stands before it.
    "so",
    "again",
    "that again",
    "it with",
    "it in full",
    "what",
    "the",
    "where",
    "which",
    "not tested, and the reason",
    "not tested no access",
    "each",
    "its",
];

/// Over all dialogues, of every line and not of prompts alone: what follows "say" is understood, in
/// some rule of the spoken grammar, as far as the words go that are told.
#[test]
fn whatever_a_line_says_to_say_is_understood() {
    let mut wrong = BTreeSet::new();
    let mut looked = 0;
    for path in files() {
        let text = std::fs::read_to_string(&path).unwrap();
        let mut run = Run::new(&text);
        run.all(false);
        let site = run.site.unwrap();
        let grammar = grammar(site.session.state());
        let grammar = grammar.with_practice().unwrap();
        let rules: Vec<String> = grammar.public().map(str::to_owned).collect();
        for line in &site.said {
            for order in orders(line) {
                looked += 1;
                let left = LEFT_TO_THE_PERSON
                    .iter()
                    .any(|what| order.starts_with(what));
                let sentence = order.split(['.', ';', ':', '?']).next().unwrap_or_default();
                let words: Vec<&str> = sentence
                    .split([' ', ','])
                    .filter(|word| !word.is_empty())
                    .collect();
                // The longest beginning that is a sentence: what follows may tell when or why.
                let understood = (1..=words.len()).rev().any(|n| {
                    let words = words[..n].join(" ");
                    rules
                        .iter()
                        .any(|rule| grammar.understand(rule, &words).is_some())
                });
                if !(left || understood) {
                    wrong.insert(format!("{sentence:?} of: {line}"));
                }
            }
        }
    }
    assert!(looked > 1_000, "only {looked} orders");
    let wrong: Vec<String> = wrong.into_iter().collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Who takes up an unfinished log of an older edition is told what that does not ask, and nothing that it
/// does ask, and to begin again for it; nobody else is.
#[test]
fn an_older_edition_is_told_when_it_is_taken_up() {
    let asked_for = "250 volts after equipment is back";
    let first = |text: &str| text.contains("edition 1 of the plan") && text.contains(asked_for);
    let second = |text: &str| {
        text.contains("edition 2 of the plan")
            && text.contains("the voltage of the supply")
            && !text.contains(asked_for)
    };
    let told = taken_up("tests/golden/edition-1", Edition::First, &first);
    assert!(told > 20, "only {told} logs are unfinished");
    let told = taken_up("tests/golden/edition-2", Edition::Second, &second);
    assert!(told > 20, "only {told} logs are unfinished");
    let told = taken_up("tests/golden/edition-3", Edition::Third, &|text| {
        text.contains("of the plan")
    });
    assert_eq!(told, 0);
}

/// How many of the logs in a folder, each taken up, are told so; where there is such a thing to tell, all that
/// are unfinished.
fn taken_up(folder: &str, edition: Edition, is_told: &dyn Fn(&str) -> bool) -> usize {
    let mut told = 0;
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "jsonl"))
        .collect();
    paths.sort();
    let at = "2026-11-25T09:30:00Z".parse().unwrap();
    for path in paths {
        let events: Vec<(Event, _)> = events(&std::fs::read_to_string(&path).unwrap())
            .into_iter()
            .map(|event| (event, at))
            .collect();
        let (session, turn) =
            Session::resume(events.iter().map(|(event, at)| (event, *at)), "test", at).unwrap();
        assert_eq!(session.state().edition(), edition);
        let said = turn
            .lines
            .iter()
            .any(|line| is_told(&line.text) && line.text.contains("begin again with a new log"));
        let unfinished = session.state().mode() != Mode::Finished;
        let wanted = unfinished && edition < Edition::NOW;
        assert_eq!(said, wanted, "{}: {:?}", path.display(), turn.lines);
        told += usize::from(said);
    }
    told
}
