//! What people say who know the trade and have not read the guide, spoken: each phrase of
//! `tests/dialogues/phrases.tsv` where it was said, by synthetic voices. `models/README.md`, "Phrases of the
//! trade, spoken", has the figures.

use super::asked_for::speak;
use super::left_alone::{session, shown};
use super::lone_digit::spoken;
use crate::dialogues::plain::Site;
use crate::dialogues::trade_english::{PHRASES, places};
use bothhands::audio;
use bothhands::dialogue::{is_a_sure_question, nearly_a_warning, second_hearing};
use bothhands::grammar::typed::normalise;
use bothhands::grammar::{Grammar, Intent};
use bothhands::speech::ear::Ear;
use bothhands::speech::{Decision, DecodeContext, Recogniser, Recognition};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// Voices of `tests/dialogues/speak.sh`.
const VOICES: usize = 7;

/// As a person reads the phrase: short forms and figures in words; "it's" stays as it is.
fn aloud(phrase: &str) -> String {
    let short = [
        "zs", "ze", "zed", "rcd", "cpc", "pfc", "psc", "dno", "c2", "c3",
    ];
    let lower = phrase.to_lowercase();
    let plain = lower
        .chars()
        .all(|c| c.is_alphabetic() || " '-".contains(c))
        && !lower.split(' ').any(|word| short.contains(&word));
    if plain { lower } else { normalise(phrase) }
}

/// What becomes of a recording at a step, as a session decides it; and what was heard.
fn comes(
    ear: &mut Ear,
    grammar: &Grammar,
    rule: &str,
    samples: &[f32],
    meant: Option<&Intent>,
) -> (&'static str, Recognition) {
    let expected = DecodeContext {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    };
    let heard = ear.recognise(samples, &expected).unwrap();
    let is_meant = |heard: &Recognition| heard.said.as_ref() == meant;
    let came = match heard.outcome {
        Decision::Accept if is_meant(&heard) => "understood",
        Decision::Accept => "as another",
        _ if nearly_a_warning(&heard) => "asked whether it is live",
        Decision::Confirm => "asked again",
        Decision::Reject => match second_hearing(ear, grammar, samples, rule).unwrap() {
            None => "silence",
            Some(talk) => {
                let came = match is_a_sure_question(&talk) {
                    true if is_meant(&talk) => "understood",
                    true => "answered as another question",
                    false => "told what to say",
                };
                return (came, talk);
            }
        },
    };
    (came, heard)
}

/// The places that a session's grammar names.
fn places_of(site: &Site) -> Vec<String> {
    let boards = &site.state().job().boards;
    let circuits = boards.iter().flat_map(|board| &board.circuits);
    let points = circuits.flat_map(|circuit| &circuit.points);
    points
        .map(|point| bothhands::sequence::place_of(point).name)
        .collect()
}

/// A phrase by a voice, made once.
fn recorded(folder: &Path, voice: usize, words: &str) -> Vec<f32> {
    let file = folder.join(format!("{voice}-{}.wav", words.replace([' ', '\''], "-")));
    if !file.exists() {
        speak(&file, voice, words);
    }
    audio::read(&file).unwrap()
}

/// Prints what becomes of each phrase by three voices, one after another in turn, or by all where `VOICES=all`,
/// into the file `ROWS` where that is named: place, phrase, what becomes of it typed, voice, what becomes of it
/// spoken, and the words that were nearest.
#[test]
#[ignore = "measures; minutes"]
fn phrases_spoken() {
    let all = std::env::var("VOICES").is_ok_and(|which| which == "all");
    let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join("phrases");
    std::fs::create_dir_all(&kept).unwrap();
    let sites = places();
    let mut ears: BTreeMap<Vec<String>, Ear> = BTreeMap::new();
    let mut rows = String::new();
    let mut counts: BTreeMap<(String, &str), usize> = BTreeMap::new();
    let text = std::fs::read_to_string(PHRASES).unwrap();
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    for (nth, line) in lines.enumerate() {
        let cells: Vec<&str> = line.split('\t').collect();
        let (place, phrase, typed) = (cells[0], cells[1], cells[2]);
        let site = &sites[place];
        let grammar = site.grammar.as_ref().unwrap();
        let ear = ears
            .entry(places_of(site))
            .or_insert_with(|| Ear::new(Arc::clone(grammar), 1).unwrap());
        let meant = site.session.understand_typed(grammar, phrase);
        let voices: Vec<usize> = match all {
            true => (0..VOICES).collect(),
            false => (0..3).map(|one| (3 * nth + one) % VOICES).collect(),
        };
        for voice in voices {
            let samples = recorded(&kept, voice, &aloud(phrase));
            let rule = site.session.rule();
            let (came, heard) = comes(ear, grammar, rule, &samples, meant.as_ref());
            *counts.entry((typed.to_owned(), came)).or_default() += 1;
            rows += &format!(
                "{place}\t{phrase}\t{typed}\t{voice}\t{came}\t{} ({:.2}, {:.1})\n",
                heard.words, heard.scores.llr_per_phone, heard.scores.margin
            );
        }
    }
    for ((typed, came), n) in counts {
        println!("typed {typed}: {came} {n}");
    }
    match std::env::var_os("ROWS") {
        Some(file) => std::fs::write(file, rows).unwrap(),
        None => print!("{rows}"),
    }
}

/// Questions that change nothing, as people say them, and what they mean.
const QUESTIONS: [(&str, Intent); 6] = [
    ("what's the limit", Intent::WhatIsTheLimit),
    ("what should it be", Intent::WhatIsTheLimit),
    (
        "what did i say for circuit three",
        Intent::WhatDidISay(Some(3)),
    ),
    ("what's left", Intent::WhatIsLeft),
    ("help", Intent::Help),
    ("what can i say", Intent::Help),
];

/// Pink noise so many dB below a recording.
fn in_noise(samples: &[f32], below: f32) -> Vec<f32> {
    let bed = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cache/beds/pink.wav");
    assert!(bed.exists(), "run tests/clips/make.sh");
    let bed = audio::read(&bed).unwrap();
    let square = |part: &[f32]| part.iter().map(|s| s * s).sum::<f32>() / part.len() as f32;
    // The quiet at both ends is no speech.
    let speech = square(&samples[6400..samples.len() - 6400]);
    let factor = (speech / square(&bed)).sqrt() * 10_f32.powf(-below / 20.0);
    let noise = bed.iter().map(|n| n * factor);
    samples
        .iter()
        .zip(noise)
        .map(|(s, n)| 0.7 * (s + n))
        .collect()
}

#[test]
fn questions_that_change_nothing_are_heard_at_any_step() {
    const RULES: [&str; 5] = ["isolation", "insulation", "confirm", "rcd", "polarity"];
    let folder = tempfile::tempdir().unwrap();
    let grammar = Arc::new(Grammar::built_in().unwrap());
    let mut ear = Ear::new(Arc::clone(&grammar), 2).unwrap();
    let mut missed = Vec::new();
    let (mut nth, mut at_once) = (0, 0);
    for (words, meant) in &QUESTIONS {
        for turn in 0..3 {
            let voice = nth % VOICES;
            let rule = RULES[(nth + turn) % RULES.len()];
            for below in [None, Some(20.0)] {
                let mut say = |again: usize| {
                    let clean = recorded(folder.path(), voice + again * VOICES, words);
                    let samples =
                        below.map_or_else(|| clean.clone(), |below| in_noise(&clean, below));
                    let (came, heard) = comes(&mut ear, &grammar, rule, &samples, Some(meant));
                    let told = format!(
                        "{rule}: \"{words}\" of voice {voice}, {below:?} dB: {came}, \"{}\" ({:.2}, {:.1})",
                        heard.words, heard.scores.llr_per_phone, heard.scores.margin
                    );
                    assert!(
                        !["as another", "answered as another question"].contains(&came),
                        "{told}"
                    );
                    // Who asks for help is helped by what the step takes as well.
                    let helped = *meant == Intent::Help && came == "told what to say";
                    (came == "understood" || helped, told)
                };
                let (heard, told) = say(0);
                if heard {
                    at_once += 1;
                } else if !say(1).0 {
                    missed.push(told);
                }
            }
            nth += 1;
        }
    }
    println!(
        "of {} heard at once {at_once}, not when said again {missed:#?}",
        2 * nth
    );
    assert!(missed.len() <= 2, "{missed:#?}");
}

/// Spoken, they are answered and logged as asked, and nothing else comes of them.
#[test]
fn help_that_is_spoken_is_logged_and_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("log.db");
    let said: Vec<_> = ["help", "what's left", "what can i say"]
        .iter()
        .map(|words| spoken(folder.path(), words))
        .collect();
    let said: Vec<&Path> = said.iter().map(AsRef::as_ref).collect();
    let told = session(&db, &said);
    assert_eq!(told.matches("At any time: ").count(), 2, "{told}");
    assert!(told.contains("Left: "), "{told}");
    let log = shown(&["log", "--json"], &db);
    let asked = log
        .lines()
        .filter(|line| line.contains("\"asked\""))
        .count();
    assert_eq!(asked, 3, "{log}");
    assert_eq!(log.lines().count(), 4, "opened, and asked: {log}");
}

/// What the trade says in other words is answered with what to say, twice at most; and nothing is taken.
#[test]
fn other_words_are_answered_with_what_to_say_and_not_for_ever() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("log.db");
    let talk: Vec<_> = [
        "all switched off",
        "locked and tagged",
        "voltage tester working",
    ]
    .iter()
    .map(|words| spoken(folder.path(), words))
    .collect();
    let talk: Vec<&Path> = talk.iter().map(AsRef::as_ref).collect();
    let told = session(&db, &talk);
    assert_eq!(told.matches("question: Say ").count(), 2, "{told}");
    let log = shown(&["log", "--only", "not-understood"], &db);
    assert!(log.contains("nearest to \"all switched off\""), "{log}");
    assert!(!log.contains("stated"), "{log}");
}

/// After two utterances that are none of its words, the program tells once what the step takes; a noise is no
/// utterance.
#[test]
fn after_two_failures_the_phrases_are_told_once() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("log.db");
    let aside = spoken(folder.path(), "polarity is fine");
    let other = spoken(folder.path(), "shall we have some tea");
    let noise = folder.path().join("noise.wav");
    let made = std::process::Command::new("sox")
        .args(["-D", "-R", "-n", "-r", "16000", "-b", "16"])
        .arg(&noise)
        .args([
            "synth",
            "1.5",
            "pinknoise",
            "gain",
            "-n",
            "-20",
            "pad",
            "0.5",
            "0.9",
        ])
        .status();
    assert!(made.is_ok_and(|status| status.success()), "install sox");
    let told = |sound: &[&Path]| session(&db, sound).matches("question: Say ").count();
    assert_eq!(told(&[&aside]), 0);
    assert_eq!(told(&[&aside, &noise, &noise]), 0);
    assert_eq!(told(&[&aside, &noise, &other, &aside, &other, &aside]), 1);
}
