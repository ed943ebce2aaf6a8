//! How learners say where the probes are and what is wrong: collected as people talk, typed, through the grammar.

use super::learner::JOB;
use bothhands::dialogue::grammar_for;
use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::Job;

/// What was said, and the plain words that it means.
const SAID: [(&str, &str); 62] = [
    (
        "put the probes on line and neutral at socket three",
        "probe line to neutral at socket three",
    ),
    (
        "probes on line and earth at socket two",
        "probe line to earth at socket two",
    ),
    (
        "test between line and neutral at socket three",
        "probe line to neutral at socket three",
    ),
    (
        "testing line to earth at socket two",
        "probe line to earth at socket two",
    ),
    (
        "meter on live and neutral at socket one",
        "probe line to neutral at socket one",
    ),
    (
        "measuring neutral to earth at socket one",
        "probe neutral to earth at socket one",
    ),
    (
        "check line to neutral at socket 2",
        "probe line to neutral at socket two",
    ),
    (
        "I put the leads across line and neutral at socket 3",
        "probe line to neutral at socket three",
    ),
    (
        "l to n at socket 3",
        "probe line to neutral at socket three",
    ),
    ("L-N at socket 3", "probe line to neutral at socket three"),
    (
        "live to earth, socket two",
        "probe line to earth at socket two",
    ),
    (
        "line to neutral socket three",
        "probe line to neutral at socket three",
    ),
    (
        "at socket three line to earth",
        "probe line to earth at socket three",
    ),
    ("socket 3 L-E", "probe line to earth at socket three"),
    ("end to end on the neutral", "probe neutral end to end"),
    ("ends of the line", "probe line end to end"),
    ("neutral end to end", "probe neutral end to end"),
    ("testing the c p c end to end", "probe earth end to end"),
    (
        "wander lead to earth at socket two",
        "probe long lead to earth at socket two",
    ),
    (
        "check the bond to the water pipe",
        "probe bond at water pipe",
    ),
    ("water pipe bond", "probe bond at water pipe"),
    ("short the leads together", "probe leads together"),
    ("touch the leads", "probe leads together"),
    ("tester on the known source", "probe known source"),
    ("check the tester on the proving unit", "probe known source"),
    (
        "insulation test line to earth",
        "probe insulation at five hundred volts line to earth",
    ),
    (
        "insulation 250 volts line to neutral",
        "probe insulation at two five zero volts line to neutral",
    ),
    (
        "loop test at socket three",
        "probe loop line to earth at socket three",
    ),
    ("Zs at socket 3", "probe loop line to earth at socket three"),
    (
        "r c d test at socket one",
        "probe r c d at rated current positive half cycle line to earth at socket one",
    ),
    (
        "trip time test at socket one",
        "probe r c d at rated current positive half cycle line to earth at socket one",
    ),
    (
        "phase sequence",
        "probe phase sequence line one to line two",
    ),
    (
        "check phase rotation",
        "probe phase sequence line one to line two",
    ),
    (
        "pfc at the origin",
        "probe fault current line to neutral at origin",
    ),
    (
        "voltage at socket three",
        "probe voltage line to neutral at socket three",
    ),
    (
        "what size is the breaker on circuit two",
        "probe label on circuit two",
    ),
    (
        "read the label of circuit three",
        "probe label on circuit three",
    ),
    ("let it settle", "what does it show"),
    ("what does it read now", "what does it show"),
    ("reset the r c d", "breaker on again"),
    (
        "I think it is an open leg on the neutral at socket two on circuit one",
        "the fault is open leg of the neutral at socket two on circuit one",
    ),
    (
        "broken neutral at socket two",
        "the fault is open leg of the neutral at socket two",
    ),
    (
        "the neutral is broken at socket two",
        "the fault is open leg of the neutral at socket two",
    ),
    (
        "open neutral, socket 2, circuit 1",
        "the fault is open leg of the neutral at socket two on circuit one",
    ),
    (
        "loose neutral at socket two",
        "the fault is loose joint of the neutral at socket two",
    ),
    (
        "it's a loose connection at socket two",
        "the fault is loose joint at socket two",
    ),
    (
        "line and neutral swapped at socket three",
        "the fault is reversed polarity at socket three",
    ),
    (
        "no earth at socket two",
        "the fault is missing earth at socket two",
    ),
    (
        "the earth is missing at socket two",
        "the fault is missing earth at socket two",
    ),
    (
        "neutral earth short at socket one",
        "the fault is neutral earth fault at socket one",
    ),
    (
        "it is damp at socket one",
        "the fault is line earth fault at socket one",
    ),
    (
        "shared neutral on circuit one with circuit two",
        "the fault is borrowed neutral on circuit one with circuit two",
    ),
    (
        "the r c d on circuit one does not trip",
        "the fault is stuck r c d on circuit one",
    ),
    ("the r c d does not trip", "the fault is stuck r c d"),
    (
        "r c d is too slow on circuit two",
        "the fault is slow r c d on circuit two",
    ),
    (
        "the breaker is the wrong size on circuit two",
        "the fault is wrong breaker on circuit two",
    ),
    (
        "wrong rating of breaker on circuit two",
        "the fault is wrong breaker on circuit two",
    ),
    ("something is feeding back", "the fault is second source"),
    ("the leads were not nulled", "the fault is leads not nulled"),
    ("no fault found", "there is no fault"),
    ("nothing wrong", "there is no fault"),
    ("I found nothing wrong", "there is no fault"),
];

fn typed(grammar: &Grammar, words: &str) -> Option<Intent> {
    grammar
        .understand("continuity", words)
        .or_else(|| grammar.understand_typed("continuity", None, words))
}

/// Nine in ten at the least, none of them as something else.
#[test]
fn what_learners_say_of_probes_and_faults_is_understood() {
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let (grammar, _) = grammar_for(&job, false, true).unwrap();
    let mut lost = Vec::new();
    let mut otherwise = Vec::new();
    for (words, plain) in SAID {
        match typed(&grammar, words).map(|said| said.words()) {
            None => lost.push(words),
            Some(meant) if meant != plain => otherwise.push((words, meant)),
            Some(_) => {}
        }
    }
    assert!(otherwise.is_empty(), "{otherwise:#?}\n{lost:#?}");
    assert!(lost.len() * 10 <= SAID.len(), "{lost:#?}");
}

/// None of it means anything on a real installation.
#[test]
fn nothing_of_it_is_taken_on_a_real_installation() {
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let (grammar, _) = grammar_for(&job, false, false).unwrap();
    for (words, _) in SAID {
        let said = typed(&grammar, words);
        let of_practice = said.as_ref().is_some_and(|said| {
            matches!(
                said,
                Intent::Probe { .. }
                    | Intent::Diagnose(_)
                    | Intent::SwitchedOn(_)
                    | Intent::WhatDoesItShow
            )
        });
        assert!(!of_practice, "{words}: {said:?}");
    }
}
