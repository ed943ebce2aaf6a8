//! Prompts: each is there, each is filled, and whatever one tells a person to say is understood where
//! it is said.
//!
//! They are looked at after every event of every dialogue and of every log of the first edition in
//! `tests/golden/`, and of every step of every plan besides.

use crate::dialogues::plain::Site;
use crate::dialogues::typed::{Run, files};
use crate::hearing::asked_for::{ALWAYS, ASKED_FOR};
use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::{Job, JobKind};
use bothhands::sequence::procedures::Catalogue;
use bothhands::sequence::say::{self, Prompt};
use bothhands::sequence::{Agenda, Event, Mode, StepKind, place_of};
use bothhands::terms::Wording;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

/// What a prompt tells a person to say without giving the words: they depend on what is found.
const LEFT_TO_THE_PERSON: [&str; 14] = [
    "what it reads",
    "what you saw",
    // Of a circuit that is added.
    "the sizes",
    "the length",
    "what is otherwise",
    "the ohms",
    "the reading",
    "the resistance",
    "the milliseconds",
    "the volts",
    "what it shows",
    "what is out and where",
    "each",
    "the circuit",
];

/// Every prompt that comes, with the job's grammar: (log, prompt). Of the edition of now, after every
/// event of every dialogue, and of every step of every job.
fn every_prompt(look: &mut dyn FnMut(&str, &Grammar, &Prompt)) {
    for path in files() {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let text = fs::read_to_string(&path).unwrap();
        let mut run = Run::new(&text);
        run.all(false);
        let events: Vec<Event> = run
            .site
            .unwrap()
            .events
            .into_iter()
            .map(|(e, _)| e)
            .collect();
        walk(&name, events, look);
    }
    let mut files: Vec<_> = fs::read_dir("tests/golden/edition-1")
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "jsonl"))
        .collect();
    files.sort();
    assert!(files.len() >= 60, "only {} logs", files.len());
    for path in files {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let events = events(&fs::read_to_string(&path).unwrap());
        walk(&name, events, look);
    }
}

fn walk(name: &str, events: Vec<Event>, look: &mut dyn FnMut(&str, &Grammar, &Prompt)) {
    walk_in(Wording::Radio, name, events, look);
}

fn walk_in(
    wording: Wording,
    name: &str,
    events: Vec<Event>,
    look: &mut dyn FnMut(&str, &Grammar, &Prompt),
) {
    let mut events = events.into_iter().map(|event| worded(event, wording));
    let first = events.next().unwrap();
    let at = "2026-11-25T09:30:00Z".parse().unwrap();
    let mut agenda = Agenda::open(&first, at).unwrap();
    let grammar = grammar(&agenda);
    for step in &agenda.plan().steps {
        look(name, &grammar, &say::of_step(&agenda, step));
    }
    look(name, &grammar, &say::prompt(&agenda));
    for event in events {
        agenda.apply(&event, at);
        look(name, &grammar, &say::prompt(&agenda));
    }
}

pub(crate) fn events(lines: &str) -> Vec<Event> {
    lines
        .lines()
        .filter_map(|line| {
            let line: serde_json::Value = serde_json::from_str(line).unwrap();
            let event = line.get("event")?;
            (event["kind"] != "job")
                .then(|| serde_json::from_value(event["payload"].clone()).unwrap())
        })
        .collect()
}

pub(super) fn grammar(agenda: &Agenda) -> Grammar {
    let boards = &agenda.job().boards;
    let circuits = boards.iter().flat_map(|board| &board.circuits);
    let names: BTreeSet<String> = circuits
        .flat_map(|circuit| &circuit.points)
        .map(|point| place_of(point).name)
        .collect();
    let names: Vec<String> = names.into_iter().collect();
    Grammar::built_in().unwrap().with_places(&names).unwrap()
}

/// What follows each "say" in a text, to the end of the sentence.
pub(super) fn orders(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let mut orders = Vec::new();
    for (at, _) in lower.match_indices("say ") {
        let before = lower[..at].chars().next_back();
        if before.is_none_or(|c| !c.is_alphabetic()) {
            orders.push(lower[at + 4..].to_owned());
        }
    }
    orders
}

/// The same event of a session whose program words what it says so.
fn worded(mut event: Event, wording: Wording) -> Event {
    if let Event::Opened { delivery, .. } | Event::Resumed { delivery, .. } = &mut event {
        delivery.wording = wording;
    }
    event
}

/// A question names "affirm" and "negative", or what stands for them, and each means that where it is
/// asked; a number read back can be said as it was.
#[test]
fn whatever_words_a_question_asks_for_mean_so_where_it_is_asked() {
    let mut wrong = BTreeSet::new();
    let mut asked = BTreeMap::new();
    for path in files() {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let text = fs::read_to_string(&path).unwrap();
        let mut run = Run::new(&text);
        run.all(false);
        let events = run.site.unwrap().events.into_iter().map(|(event, _)| event);
        let events: Vec<Event> = events.collect();
        for wording in Wording::ALL {
            walk_in(
                wording,
                &name,
                events.clone(),
                &mut |log, grammar, prompt| {
                    let text = prompt.full.to_lowercase();
                    let questions = [
                        (Intent::Affirm, wording.agree()),
                        (Intent::Negative, wording.refuse()),
                    ];
                    for (meant, word) in questions {
                        if !prompt.answers.contains(&meant) {
                            continue;
                        }
                        if text.contains(word) {
                            *asked.entry((wording.agree(), word)).or_insert(0) += 1;
                        }
                        if grammar.understand(prompt.rule, word) != Some(meant) {
                            wrong.insert(format!(
                                "{log}: <{}> does not take \"{word}\"",
                                prompt.rule
                            ));
                        }
                    }
                    let other = Wording::ALL
                        .into_iter()
                        .find(|other| *other != wording)
                        .unwrap();
                    let words = text.split(|c: char| !c.is_alphabetic());
                    for word in
                        words.filter(|word| *word == other.agree() || *word == other.digit('0'))
                    {
                        wrong.insert(format!("{log}: {word} in: {text}"));
                    }
                },
            );
        }
    }
    assert!(
        wrong.is_empty(),
        "{}",
        wrong.into_iter().collect::<Vec<_>>().join("\n")
    );
    for wording in Wording::ALL {
        for word in [wording.agree(), wording.refuse()] {
            assert!(
                asked.get(&(wording.agree(), word)) > Some(&20),
                "{word}: {asked:?}"
            );
        }
        for value in ["0.34", "20.5", "999", "1.05"] {
            let words = say::digits(value.parse().unwrap(), wording);
            let number = bothhands::grammar::number::from_words(&words);
            assert_eq!(
                number.map(|n| n.to_string()).as_deref(),
                Some(value),
                "{words}"
            );
        }
    }
}

#[test]
fn every_prompt_can_be_answered_as_told() {
    let mut wrong = BTreeSet::new();
    let mut looked = 0;
    every_prompt(&mut |log, grammar, prompt| {
        looked += 1;
        let texts: Vec<&String> = [&prompt.full, &prompt.brief]
            .into_iter()
            .chain(prompt.short.as_ref().filter(|short| !short.is_empty()))
            .collect();
        let mut words = Vec::new();
        for answer in &prompt.answers {
            match grammar.says(prompt.rule, answer) {
                Some(said) => words.push(said),
                None => {
                    wrong.insert(format!("{log}: <{}> does not take {answer:?}", prompt.rule));
                }
            }
        }
        for order in texts.iter().flat_map(|text| orders(text)) {
            let told = words.iter().any(|words| order.starts_with(words.as_str()));
            let left = LEFT_TO_THE_PERSON
                .iter()
                .any(|what| order.starts_with(what));
            if !(told || left) {
                wrong.insert(format!("{log}: \"say {order}\" is in no grammar"));
            }
        }
        for text in texts {
            if text.contains(['{', '}']) || text.trim().is_empty() {
                wrong.insert(format!("{log}: not filled: \"{text}\""));
            }
        }
    });
    assert!(looked > 5_000, "only {looked} prompts");
    let wrong: Vec<String> = wrong.into_iter().collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_kind_of_step_is_without_a_prompt() {
    let catalogue = Catalogue::shipped();
    assert_eq!(say::without_prompt(&catalogue), Vec::<&str>::new());
    say::Prompts::parse(include_str!("../../src/sequence/say/prompts.toml")).unwrap();
}

/// What the test voices say in `hearing::asked_for` is all that any prompt orders.
#[test]
fn whatever_a_prompt_orders_is_tried_by_the_test_voices() {
    let mut ordered: BTreeMap<&'static str, BTreeSet<String>> = BTreeMap::new();
    every_prompt(&mut |_, grammar, prompt| {
        let words = prompt.answers.iter();
        let words = words.filter_map(|answer| grammar.says(prompt.rule, answer));
        ordered.entry(prompt.rule).or_default().extend(words);
    });
    let tried: BTreeMap<&str, &[&str]> = ASKED_FOR.into_iter().collect();
    let mut missing = Vec::new();
    for (rule, words) in &ordered {
        for words in words {
            let by_voices = |rule: &str| {
                tried
                    .get(rule)
                    .is_some_and(|all| all.contains(&words.as_str()))
            };
            if !by_voices(rule) && !ALWAYS.contains(&words.as_str()) {
                missing.push(format!("{rule}: {words}"));
            }
        }
    }
    assert!(missing.is_empty(), "not tried: {}", missing.join(", "));
}

/// Words with which a prompt orders something out, off, linked, crossed, opened or disconnected.
const ORDERS: [&str; 13] = [
    "out of their terminals",
    "disconnected",
    "cross-connect",
    "link line",
    "link all",
    "link {lives}",
    "lamps out",
    "take it out",
    "conductor off",
    "change over",
    "take the earthing",
    "line and neutral out",
    "parked",
];

/// Prompts that have such words and order nothing: they put back, or say how something stands.
const NO_ORDER: [&str; 2] = ["insulation-full", "insulation-two-way"];

/// Every prompt of every step of every job, in both kinds of job, that orders something out: its
/// step puts it on the list as soon as it is asked for, and once it is answered some step puts it
/// back. Judged by the words of the prompt.
#[test]
fn whatever_a_prompt_orders_out_is_listed_and_put_back() {
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    let mut wrong = BTreeSet::new();
    for (name, job) in jobs() {
        let at = "2026-11-25T09:30:00Z".parse().unwrap();
        let (mut site, _) = Site::typed(job, at);
        for _ in 0..3_000 {
            let state = site.state();
            let Some(step) = state.current().filter(|_| state.question().is_none()) else {
                if !site.plainly().unwrap() {
                    break;
                }
                continue;
            };
            let (kind, id, order) = (step.kind, step.id.clone(), step.order);
            let prompt = say::of_step(state, step);
            let text = format!("{} {}", prompt.full, prompt.brief).to_lowercase();
            let orders = ORDERS.iter().any(|words| text.contains(words));
            let exempt = NO_ORDER.contains(&kind.name()) || kind.puts_back();
            let listed: Vec<_> = state
                .open_entries()
                .filter(|entry| entry.board == id.board && entry.circuit == id.circuit)
                .map(|entry| entry.no)
                .collect();
            if orders && !exempt {
                *kinds.entry(kind.name().to_owned()).or_default() += 1;
                if listed.is_empty() {
                    wrong.insert(format!("{name}: {id} lists nothing of: {text}"));
                }
                let what = say::what_is_out(state);
                if what.contains("Nothing is out") {
                    wrong.insert(format!("{name}: {id}: {what}"));
                }
            }
            // Nothing that a plan orders out may be left when the board is energised.
            if kind == StepKind::Energise {
                assert!(state.open_entries().next().is_none(), "{name}: {id}");
            }
            if !site.plainly().unwrap() {
                break;
            }
            let now = site.state();
            if orders && !exempt {
                let back = now.plan().steps.iter().filter(|s| s.order != order);
                let open = now
                    .open_entries()
                    .any(|entry| listed.contains(&entry.no) || entry.circuit == id.circuit);
                let someone = back.filter(|s| s.kind.puts_back()).any(|s| {
                    s.board == id.board && (s.circuit == id.circuit || s.circuit.is_none())
                });
                if open && !someone {
                    wrong.insert(format!("{name}: nothing puts back what {id} orders"));
                }
            }
        }
        site.say(&Intent::Finish).unwrap();
        assert_eq!(
            site.state().mode(),
            Mode::Finished,
            "{name} ends with something out"
        );
    }
    for kind in [
        "bond",
        "ring-end-to-end",
        "ring-crossed-neutral",
        "ring-crossed-earth",
        "continuity-link",
        "insulation-clear",
        "insulation-lamps",
        "insulation-two-way",
        "insulation-reconnected",
        "earthing-off",
    ] {
        let exempt = NO_ORDER.contains(&kind);
        assert!(
            exempt || kinds.contains_key(kind),
            "no job came to {kind}: {kinds:?}"
        );
    }
    let wrong: Vec<String> = wrong.into_iter().collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Every job of the dialogues, as it is and as the other kind, and with bonds.
fn jobs() -> Vec<(String, Job)> {
    let mut all = Vec::new();
    let folder = fs::read_dir("tests/dialogues/jobs").unwrap();
    let mut files: Vec<_> = folder.map(|entry| entry.unwrap().path()).collect();
    files.push("tests/jobs/boathouse.toml".into());
    files.sort();
    for path in files {
        let mut job = Job::load(&path).unwrap();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        if job.supply.bonds.is_empty() {
            job.supply.bonds = vec!["water".to_owned(), "gas".to_owned()];
        }
        for kind in [JobKind::InitialVerification, JobKind::PeriodicInspection] {
            let job = Job {
                kind,
                ..job.clone()
            };
            all.push((format!("{name}, {kind:?}"), job));
        }
    }
    all
}
