//! What `log` says was said is what was said, and what it says to say is understood.

use super::prompts::{events, grammar, orders};
use crate::dialogues::typed::{Run, files};
use bothhands::dialogue::{
    DialogueManager, Input, InputSource, Observer, RunBy, grammar_for, open_session,
};
use bothhands::installation::Job;
use bothhands::log::{Log, SharedClock, take_up};
use bothhands::practice::{Bench, Hidden};
use bothhands::report::dialogue;
use bothhands::sequence::{Edition, Event, Mode, Session};
use bothhands::speech::Recognition;
use bothhands::terms::{Delivery, Level, Manner, Practice, ProsodyChange, ProsodyNow, Wording};
use bothhands::voice::{Earcon, Profile, Saying, Voice};
use std::collections::{BTreeSet, VecDeque};
use std::path::Path;
use std::sync::Arc;

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

/// Hears what is spoken, and speaks otherwise when it is asked to.
#[derive(Default)]
struct Listener {
    profile: Profile,
    spoken: Vec<String>,
}

impl Voice for Listener {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        self.spoken.push(line.text.to_owned());
        Ok(())
    }

    fn speaking(&self) -> bool {
        false
    }

    fn mark_for(&mut self, _mark: Earcon, words: &str) {
        self.spoken.push(words.to_owned());
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
        Some(self.profile.adjust(manner))
    }
}

impl Observer for Listener {
    fn heard(&mut self, _words: &str, _heard: Option<&Recognition>) {}

    fn unsaid(&mut self, line: &str) {
        panic!("not said: {line}");
    }
}

struct Lines(VecDeque<String>);

impl InputSource for Lines {
    fn next(&mut self, _voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        Ok(self.0.pop_front().map(Input::Words))
    }
}

/// What is spoken of these lines, by the program itself, and what the log says of it afterwards.
fn spoken_and_kept(
    job: &str,
    (level, delivery, bench): (Level, Delivery, Option<Bench>),
    lines: Vec<String>,
) -> (Vec<String>, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    let clock = SharedClock::default();
    let (mut store, log) = take_up(&folder.path().join("said.db"), &clock).unwrap();
    let practice = Practice {
        learner: "A. Learner".to_owned(),
        level,
        predict: false,
        simulated: bench.as_ref().map(|bench| bench.hidden().seal()),
    };
    let learns = level != Level::Led || bench.is_some();
    let run_by = RunBy {
        delivery,
        practice: learns.then_some(&practice),
        ..RunBy::from("a test")
    };
    let parsed = Job::parse(job, "said.toml").unwrap();
    let (grammar, _) = grammar_for(&parsed, false, learns).unwrap();
    let (session, first) = open_session(&mut store, &log, parsed, job, run_by, &clock).unwrap();
    let mut voice = Listener::default();
    let mut observer = Listener::default();
    let mut manager = DialogueManager {
        session,
        store: &mut store,
        clock,
        grammar: &grammar,
        bench,
        recogniser: None,
        voice: &mut voice,
        observer: &mut observer,
        stop: Arc::default(),
        live: true,
    };
    manager.open(&first);
    manager.run(&mut Lines(lines.into())).unwrap();
    let kept = dialogue(&Log::read(&store).unwrap()).unwrap();
    let kept = kept.into_iter().flat_map(|exchange| exchange.program);
    (voice.spoken, kept.map(|line| line.text).collect())
}

/// Where two that should be the same begin to differ. Two tones that follow each other sound as one.
fn difference(spoken: &[String], kept: &[String]) -> Option<String> {
    let words = |lines: &[String]| -> Vec<String> {
        let all = lines.iter().flat_map(|line| line.split(' '));
        all.map(str::to_owned).collect()
    };
    let (spoken, kept) = (words(spoken), words(kept));
    let most = spoken.len().max(kept.len());
    let at = (0..most).find(|n| spoken.get(*n) != kept.get(*n))?;
    let around = |words: &[String]| {
        let end = words.len().min(at + 20);
        words[at.saturating_sub(10).min(end)..end].join(" ")
    };
    Some(format!(
        "spoken: {}\n  kept: {}",
        around(&spoken),
        around(&kept)
    ))
}

/// The lines that are typed in a dialogue, with its job.
fn typed_in(path: &Path) -> Option<(String, Vec<String>)> {
    let text = std::fs::read_to_string(path).unwrap();
    let job = text.lines().find_map(|line| line.strip_prefix("job:"))?;
    let job = format!("tests/dialogues/jobs/{}.toml", job.trim());
    let job = std::fs::read_to_string(job).ok()?;
    let lines = text.lines().filter_map(|line| line.strip_prefix("you:"));
    Some((job, lines.map(|line| line.trim().to_owned()).collect()))
}

/// Over all dialogues, at every level and in every manner: what the program speaks is what the log shows
/// afterwards, word for word. It is asked to speak otherwise, is told what it does not know, and says what
/// is on the list by itself besides.
#[test]
fn whatever_is_spoken_stands_in_the_log() {
    let british = Delivery {
        manner: Manner::Brief,
        wording: Wording::British,
    };
    let ways = [
        (Level::Led, Delivery::default()),
        (Level::Led, british),
        (Level::Asked, Delivery::default()),
        (Level::Silent, british),
    ];
    let besides = [
        "quieter",
        "louder",
        "louder",
        "faster",
        "what is out",
        "hm hm",
    ];
    let mut wrong = Vec::new();
    let (mut spoken, mut louder) = (0, 0);
    for (n, path) in files().iter().enumerate() {
        let Some((job, mut lines)) = typed_in(path) else {
            continue;
        };
        for (n, line) in besides.iter().enumerate() {
            lines.insert((n * 3).min(lines.len()), (*line).to_owned());
        }
        let (level, delivery) = ways[n % ways.len()];
        let (said, kept) = spoken_and_kept(&job, (level, delivery, None), lines);
        spoken += said.len();
        if let Some(why) = difference(&said, &kept) {
            wrong.push(format!("{}, {level:?}: {why}", path.display()));
        }
        let voice = [
            "Volume 85.",
            "Volume 100.",
            "As loud as it goes.",
            "Faster.",
        ];
        let told = voice.iter().all(|line| kept.iter().any(|k| k == line));
        louder += usize::from(told);
        assert!(
            told || lines_are_notes(&kept),
            "{}: {kept:?}",
            path.display()
        );
    }
    assert!(spoken > 1_000, "only {spoken} lines");
    assert!(louder > 50, "the voice changed in {louder} sessions");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Whether the session was in a note while the voice was asked to speak otherwise: that is kept as a note.
fn lines_are_notes(kept: &[String]) -> bool {
    kept.iter().any(|line| line.contains("end of note"))
}

/// The same of a practice, with what the instrument shows, what is named and what was hidden. What the
/// installation could not answer is no event, and all that the log does not have.
#[test]
fn whatever_is_spoken_in_a_practice_stands_in_the_log_but_for_what_was_no_probing() {
    let job = include_str!("../practice/bay.toml");
    let parsed = Job::parse(job, "bay.toml").unwrap();
    let lines = [
        "what does it show",
        "done",
        "probe known source",
        "proved",
        "isolated",
        "locked off",
        "probe line to neutral at board",
        "what does it show",
        "quieter",
        "i expect zero decimal three",
        "breaker on again on circuit one",
        "the fault is high resistance of the line at socket two on circuit one",
        "there is no fault",
        "finish",
        "affirm",
    ];
    for level in [Level::Led, Level::Asked, Level::Silent] {
        let bench = Bench::of(&parsed, Hidden::drawn(&parsed, 3, 1, &[])).unwrap();
        let lines = lines.map(str::to_owned).to_vec();
        let (said, kept) = spoken_and_kept(job, (level, Delivery::default(), Some(bench)), lines);
        let no_probing = "The probes are on nothing. Say where they are first.";
        let nothing_tripped = "Nothing has tripped there: it is as it was left.";
        let asides = |line: &&String| [no_probing, nothing_tripped].contains(&line.as_str());
        assert_eq!(
            said.iter().filter(asides).count(),
            2,
            "{level:?}: {said:#?}"
        );
        let said: Vec<String> = said.iter().filter(|line| !asides(line)).cloned().collect();
        assert_eq!(difference(&said, &kept), None, "{level:?}");
        assert!(kept.iter().any(|line| line == "Volume 85."), "{kept:#?}");
    }
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
    let third = |text: &str| {
        text.contains("edition 3 of the plan")
            && text.contains("surge protection out")
            && !text.contains("voltage of the supply")
    };
    let told = taken_up("tests/golden/edition-3", Edition::Third, &third);
    assert!(told > 20, "only {told} logs are unfinished");
    let fourth = |text: &str| {
        text.contains("edition 4 of the plan")
            && text.contains("where all together read low")
            && !text.contains("surge protection out")
    };
    let told = taken_up("tests/golden/edition-4", Edition::Fourth, &fourth);
    assert!(told > 20, "only {told} logs are unfinished");
    let told = taken_up("tests/golden/edition-5", Edition::Fifth, &|text| {
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
