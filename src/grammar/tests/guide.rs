//! The guide's table of what can be said, made from the grammar into `README.md`.
//!
//! `GUIDE=write cargo test --lib grammar::tests::guide` writes it anew.

use super::*;
use std::fmt::Write;

const BEGIN: &str = "<!-- said:begin -->";
const END: &str = "<!-- said:end -->";

#[test]
fn the_guide_tells_what_can_be_said() {
    let text = std::fs::read_to_string("README.md").unwrap();
    let (before, rest) = text
        .split_once(BEGIN)
        .expect("README.md has lost its marker");
    let (_, after) = rest.split_once(END).expect("README.md has lost its marker");
    let wanted = format!("{before}{BEGIN}\n{}{END}{after}", table());
    if std::env::var("GUIDE").is_ok_and(|v| v == "write") {
        std::fs::write("README.md", wanted).unwrap();
        return;
    }
    assert!(
        wanted == text,
        "the table is out of date: GUIDE=write cargo test --lib grammar::tests::guide"
    );
}

fn table() -> String {
    let mut table = "| to | say |\n| --- | --- |\n".to_owned();
    for line in Grammar::built_in().unwrap().guide().unwrap() {
        let say: Vec<String> = line
            .say
            .iter()
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
