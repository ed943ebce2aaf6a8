//! The table of what can be said, made from the grammar: all of it into `demo/guide/what-to-say.md`, the lines that
//! one begins with into `README.md`.
//!
//! `GUIDE=write cargo test --lib grammar::tests::guide` writes it anew.

use super::*;
use std::fmt::Write;

const BEGIN: &str = "<!-- said:begin -->";
const END: &str = "<!-- said:end -->";

/// What stands in the README: these lines, with no more than so many examples of each.
const TO_BEGIN_WITH: [&str; 8] = [
    "give a reading",
    "answer a step",
    "warn, at any dead step",
    "take something out, put it back",
    "correct",
    "agree",
    "find your way",
    "end",
];
const EXAMPLES: usize = 6;

#[test]
fn the_guide_tells_what_can_be_said() {
    let all = GRAMMAR.guide().unwrap();
    holds("demo/guide/what-to-say.md", &table(&all, usize::MAX));
    let begin: Vec<_> = TO_BEGIN_WITH
        .iter()
        .map(|to| {
            let line = all.iter().find(|line| line.to == *to);
            line.unwrap_or_else(|| panic!("no line of the guide is for \"{to}\""))
                .clone()
        })
        .collect();
    holds("README.md", &table(&begin, EXAMPLES));
}

/// A file holds this table between its markers.
fn holds(file: &str, table: &str) {
    let text = std::fs::read_to_string(file).unwrap();
    let lost = || panic!("{file} has lost its marker");
    let (before, rest) = text.split_once(BEGIN).unwrap_or_else(lost);
    let (_, after) = rest.split_once(END).unwrap_or_else(lost);
    let wanted = format!("{before}{BEGIN}\n{table}{END}{after}");
    if std::env::var("GUIDE").is_ok_and(|v| v == "write") {
        std::fs::write(file, wanted).unwrap();
        return;
    }
    assert!(
        wanted == text,
        "the table of {file} is out of date: GUIDE=write cargo test --lib grammar::tests::guide"
    );
}

fn table(lines: &[Advice], examples: usize) -> String {
    let mut table = "| to | say |\n| --- | --- |\n".to_owned();
    for line in lines {
        let say: Vec<String> = line
            .say
            .iter()
            .take(examples)
            .map(|words| format!("\"{words}\""))
            .collect();
        let _ = writeln!(table, "| {} | {} |", line.to, say.join(", "));
    }
    table
}

#[test]
fn everything_that_has_words_of_its_own_is_in_the_guide() {
    let guide = GRAMMAR.guide().unwrap();
    let told: Vec<Intent> = guide
        .iter()
        .flat_map(|line| &line.say)
        .filter_map(|words| GRAMMAR.understand("anything", words))
        .collect();
    // That stands there as a reason.
    let reason = Intent::Stated(Statement::NotApplicable);
    for said in canonical::without_parts()
        .into_iter()
        .filter(|said| *said != reason)
    {
        assert!(told.contains(&said), "{}", said.words());
    }
}

fn refused(text: &str) -> String {
    Grammar::from_texts([("g.jsgf", format!("#JSGF V1.0; grammar g; {text}"))])
        .unwrap()
        .guide()
        .unwrap_err()
        .to_string()
}

#[test]
fn an_example_that_cannot_be_said_is_named() {
    let message = refused("/** agree @example yes please */ <yes> = yes {said:affirm};");
    assert!(
        message.contains("`yes please`") && message.contains("<g.yes>"),
        "{message}"
    );
}

#[test]
fn a_rule_that_takes_too_much_to_list_needs_examples() {
    let digit = "(one | two | three | four | five | six | seven | eight | nine)";
    let message = refused(&format!(
        "/** go */ <c> = (circuit ({digit} {digit} {digit}) {{number}}) {{circuit}};"
    ));
    assert!(
        message.contains("<g.c>") && message.contains("@example"),
        "{message}"
    );
}
