//! What prompts ask people to say, spoken by synthetic voices and heard by the recogniser with the
//! rule that listens there.
//!
//! Nothing may be taken for something else, and nearly every voice has to be heard at once or when
//! it says the words once more, slower.
//!
//! Words that are thought of for a grammar are tried so, here from a changed copy of `grammars/`:
//!
//! ```sh
//! GRAMMARS=../grammars-tried SAY="functional: pass, pause" \
//!     cargo test --test it words_of_your_own -- --ignored --nocapture
//! ```

use bothhands::audio;
use bothhands::grammar::Grammar;
use bothhands::speech::ear::Ear;
use bothhands::speech::{Decision, DecodeContext, Recogniser, Recognition};
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

/// Each rule with the words that prompts ask for where it listens.
pub const ASKED_FOR: [(&str, &[&str]); 14] = [
    (
        "inspection",
        &[
            "satisfactory",
            "unsatisfactory",
            "it is code two",
            "limitation",
            "not applicable",
        ],
    ),
    (
        "off",
        &[
            "locked off",
            "done",
            "double pole",
            "isolated",
            "person in charge says it stays on",
        ],
    ),
    ("which_unit", &["megohms", "volts"]),
    (
        "isolation",
        &[
            "done",
            "proved",
            "indicator failed",
            "isolated",
            "locked off",
            "dead",
            "it is live",
        ],
    ),
    (
        "instrument",
        &["leads nulled", "leads open", "leads shorted", "over range"],
    ),
    (
        "continuity",
        &[
            "line and earth linked at board",
            "linked",
            "link removed",
            "line and earth link removed",
            "bond back on",
        ],
    ),
    (
        "insulation",
        &[
            "line and neutral linked",
            "all lines and neutral linked",
            "linked",
            "link removed",
            "neutral out at socket three",
            "both neutrals out at socket three",
            "both out",
            "surge protector out",
            "lamp out at light two",
            "load out",
            "done",
            "not tested",
            "not tested reason equipment cannot be taken out",
        ],
    ),
    ("ring", &["done", "crossing removed", "ring ends back"]),
    (
        "polarity",
        &["polarity correct", "polarity reversed", "done"],
    ),
    (
        "confirm",
        &[
            "done",
            "energised",
            "neutral back at socket three",
            "both back",
            "link removed",
            "lamp back",
            "all back",
            "override",
            "override reason as instructed",
            "observation",
            "danger code one",
            "circuit one stays off",
            "circuit two stays off",
            "circuit four stays off",
            "go to supply polarity",
            "go to external loop impedance",
        ],
    ),
    (
        "loop",
        &[
            "earthing conductor off",
            "earthing conductor back on",
            "polarity correct",
            "polarity reversed",
        ],
    ),
    ("rcd", &["tripped", "did not trip"]),
    (
        "functional",
        &[
            "works",
            "fail",
            "phase sequence correct",
            "phase sequence reversed",
            "did not trip",
            "surge protection indicator green",
            "surge protection indicator red",
        ],
    ),
    (
        "reason",
        &[
            "reason equipment cannot be taken out",
            "reason no access",
            "reason client request",
            "reason in use",
            "reason damaged",
            "reason not applicable",
            "reason instrument fault",
            "reason not safe",
            "reason out of time",
            "reason as instructed",
            "reason on the recording",
        ],
    ),
];

/// What is asked for in every step, heard with each of the rules above in turn.
pub const ALWAYS: [&str; 17] = [
    "affirm",
    "negative",
    "correction",
    "disregard",
    "say again",
    "stand by",
    "carry on",
    "pause the session",
    "resume the session",
    "where are we",
    "what is out",
    "finish the session",
    "take a note",
    "end of note",
    "go to safe isolation",
    "circuit three",
    "skip this reason no access",
];

/// What the trade says besides, and no prompt.
const BESIDES: [(&str, &[&str]); 5] = [
    (
        "isolation",
        &[
            "tester proved",
            "proved again",
            "all isolated",
            "what can i say",
        ],
    ),
    (
        "polarity",
        &["polarity confirmed", "what is next", "what is left"],
    ),
    (
        "loop",
        &[
            "main earth off",
            "main earth back on",
            "r c d tripped",
            "what did i say",
        ],
    ),
    ("rcd", &["it held"]),
    (
        "insulation",
        &["what is the limit", "what did i say for circuit three"],
    ),
];

/// What is said in practice.
const PRACTISED: [(&str, &[&str]); 8] = [
    (
        "isolation",
        &[
            "probe line to neutral",
            "line to earth",
            "probe known source",
            "dead",
            "proved",
            "locked off",
        ],
    ),
    (
        "instrument",
        &["probe leads together", "probe leads apart", "leads nulled"],
    ),
    (
        "continuity",
        &[
            "line to earth at socket three",
            "probe long lead to earth at socket two",
            "probe bond",
            "linked",
            "bond off",
            "zero point four five",
        ],
    ),
    (
        "ring",
        &[
            "ring ends out",
            "probe line end to end",
            "probe neutral end to end",
            "probe c p c end to end",
            "line to neutral at socket three",
            "line and neutral crossed",
            "zero point three one",
        ],
    ),
    (
        "insulation",
        &[
            "line to neutral",
            "neutral to earth",
            "probe insulation at two fifty volts line to earth",
            "probe at five hundred volts line to neutral",
            "neutral out at socket three",
            "line to neutral over nine nine nine",
            "there is no limit",
        ],
    ),
    (
        "loop",
        &[
            "line to earth at socket one",
            "i expect zero point eight five",
            "the limit is one point three seven",
        ],
    ),
    (
        "rcd",
        &[
            "probe line to earth",
            "probe r c d at half positive half cycle line to earth at socket one",
            "tripped",
            "two four milliseconds",
        ],
    ),
    (
        "confirm",
        &[
            "the fault is open leg of the neutral at socket two on circuit one",
            "the fault is loose joint at socket four on circuit three",
            "the fault is stuck r c d on circuit two",
            "there is no fault",
            "finish the session",
            "energised",
            "done",
        ],
    ),
];

/// Voices of `tests/dialogues/speak.sh`.
const VOICES: usize = 7;

/// How many of them say each of the words: all where `VOICES=all`, as `make test-long` has it; else three, one
/// after another, so that each voice says its share.
fn who_says(nth: usize) -> Vec<usize> {
    if std::env::var("VOICES").is_ok_and(|which| which == "all") {
        return (0..VOICES).collect();
    }
    (0..3).map(|one| (3 * nth + one) % VOICES).collect()
}

/// Voices that may not be heard with some words, even when they say them again.
const DEAF_TO: usize = 1;

/// Words that a voice has taken for others, with why that is borne until the model hears them.
const BORNE: [(&str, usize); 1] = [
    // A voice that the model never heard in training: "lamp back at light two". No lamp is out then,
    // so that it is refused, and the person says it again.
    ("lamp out at light two", 4),
];

/// What became of words said by one voice, and once more when that was needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Came {
    AtOnce,
    SaidAgain,
    Never,
    Wrong,
}

#[test]
fn what_prompts_ask_for_is_heard() {
    let besides = BESIDES
        .into_iter()
        .flat_map(|(rule, words)| words.iter().map(move |words| (rule, *words)));
    every_voice_is_heard(Grammar::built_in().unwrap(), pairs().chain(besides));
}

/// Where the probes are, what is expected and what was found, in practice; and beside it what is said
/// there as on a real installation.
#[test]
fn what_is_said_in_practice_is_heard() {
    let practised = PRACTISED
        .into_iter()
        .flat_map(|(rule, words)| words.iter().map(move |words| (rule, *words)));
    every_voice_is_heard(
        Grammar::built_in().unwrap().with_practice().unwrap(),
        practised,
    );
}

fn every_voice_is_heard(
    grammar: Grammar,
    pairs: impl Iterator<Item = (&'static str, &'static str)>,
) {
    needs_voices();
    let grammar = Arc::new(grammar);
    let folder = tempfile::tempdir().unwrap();
    let mut ear = Ear::new(Arc::clone(&grammar), 2).unwrap();
    let mut totals = [0; 4];
    let mut bad = Vec::new();
    for (nth, (rule, words)) in pairs.enumerate() {
        let meant = grammar.understand(rule, words);
        let meant = meant.unwrap_or_else(|| panic!("{rule}: `{words}` is not understood"));
        let voices = who_says(nth);
        let came: Vec<Came> = voices
            .iter()
            .map(|&voice| {
                let mut say = |times: usize| {
                    let file = folder.path().join("said.wav");
                    speak(&file, voice + times * VOICES, words);
                    let heard = hear(&mut ear, rule, &file);
                    match heard.outcome {
                        Decision::Accept if heard.said.as_ref() == Some(&meant) => Came::AtOnce,
                        Decision::Accept => Came::Wrong,
                        Decision::Confirm | Decision::Reject => Came::Never,
                    }
                };
                match say(0) {
                    Came::Never if say(1) == Came::AtOnce => Came::SaidAgain,
                    once => once,
                }
            })
            .collect();
        for one in &came {
            totals[*one as usize] += 1;
        }
        let never = came.iter().filter(|one| **one == Came::Never).count();
        let wrong = voices
            .iter()
            .zip(&came)
            .any(|(&voice, one)| *one == Came::Wrong && !BORNE.contains(&(words, voice)));
        if wrong || never > DEAF_TO {
            bad.push(format!("{rule}: `{words}`: {came:?} by {voices:?}"));
        }
        if came.iter().any(|one| *one != Came::AtOnce) {
            println!("{rule}: `{words}`: {came:?} by {voices:?}");
        }
    }
    let [at_once, again, never, wrong] = totals;
    println!("{at_once} heard at once, {again} said again, {never} never heard, {wrong} wrong");
    assert!(bad.is_empty(), "\n{}", bad.join("\n"));
}

/// Every rule with its own words; those that may be said at any time are shared out among the rules.
fn pairs() -> impl Iterator<Item = (&'static str, &'static str)> {
    let own = ASKED_FOR
        .into_iter()
        .flat_map(|(rule, words)| words.iter().map(move |words| (rule, *words)));
    let rules = ASKED_FOR.iter().map(|(rule, _)| *rule).cycle();
    own.chain(rules.zip(ALWAYS))
}

#[test]
fn what_prompts_ask_for_is_what_the_grammar_says_itself() {
    let grammar = Grammar::built_in().unwrap();
    for (rule, words) in pairs() {
        let said = grammar.understand(rule, words);
        let said = said.unwrap_or_else(|| panic!("{rule}: `{words}` is not understood"));
        assert_eq!(grammar.says(rule, &said).as_deref(), Some(words), "{rule}");
    }
}

pub fn speak(file: &Path, voice: usize, words: &str) {
    let made = Command::new("tests/dialogues/speak.sh")
        .arg(file)
        .arg(voice.to_string())
        .arg(words)
        .status();
    assert!(
        made.is_ok_and(|status| status.success()),
        "speak.sh failed on {words}"
    );
}

fn hear(ear: &mut Ear, rule: &str, file: &Path) -> Recognition {
    let samples = audio::read(file).unwrap();
    let expected = DecodeContext {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    };
    ear.recognise(&samples, &expected).unwrap()
}

fn needs_voices() {
    for tool in ["espeak-ng", "flite", "sox"] {
        crate::need(tool, tool);
    }
}

#[test]
#[ignore = "for words that are not in the grammar yet: see above"]
fn words_of_your_own() {
    needs_voices();
    let say = std::env::var("SAY").unwrap_or_default();
    let (rule, all) = say
        .split_once(':')
        .expect("SAY=\"rule: words, more words\"");
    let grammar = match std::env::var("GRAMMARS") {
        Ok(folder) => Grammar::from_dir(Path::new(&folder)),
        Err(_) => Grammar::built_in(),
    };
    let mut ear = Ear::new(Arc::new(grammar.unwrap()), 2).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("said.wav");
    for words in all.split(',').map(str::trim) {
        println!("{words}");
        for voice in 0..VOICES {
            speak(&file, voice, words);
            let heard = hear(&mut ear, rule, &file);
            println!(
                "  {:?} `{}`, or `{}`: fit {:.2}, margin {:.1}",
                heard.outcome,
                heard.words,
                heard.runner_up.unwrap_or_default(),
                heard.scores.llr_per_phone,
                heard.scores.margin,
            );
        }
    }
}
