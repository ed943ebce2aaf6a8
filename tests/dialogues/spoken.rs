//! Dialogues of `tests/dialogues/` spoken by a synthetic voice and heard by the recogniser: the log
//! must hold what the typed run's holds.
//!
//! What is not heard at once is said again in another voice, as a person would; nothing may be
//! heard wrongly. Needs espeak-ng and sox.

use crate::dialogues::plain::Site;
use bothhands::audio;
use bothhands::grammar::Intent;
use bothhands::grammar::typed::normalise;
use bothhands::installation::Job;
use bothhands::sequence::{Event, place_of};
use bothhands::speech::ear::Ear;
use bothhands::speech::{Decision, DecodeContext, Recogniser};
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

const SPOKEN: [&str; 13] = [
    "add-a-circuit-aloud",
    "isolation-single-phase",
    "isolation-voltage-found",
    "isolation-three-phase",
    "radial-continuity",
    "radial-low-at-250",
    "radial-reads-another-pair",
    "ring",
    "ring-both-neutrals",
    "periodic-joined",
    "external-loop",
    "rcd-as-chosen",
    "correct-a-reading",
];
const ATTEMPTS: usize = 4;

#[test]
fn spoken_dialogues_leave_the_log_that_typed_ones_do() {
    crate::need("espeak-ng", "espeak-ng");
    crate::need("sox", "sox");
    let folder = tempfile::tempdir().unwrap();
    let (mut said, mut again) = (0, 0);
    for name in SPOKEN {
        let typed = events(name, &mut |site, words| site.type_in(words).map(drop));
        let mut ear: Option<Ear> = None;
        let mut clip = 0;
        let spoken = events(name, &mut |site, words| {
            let words = normalise(words);
            let ear = ear.get_or_insert_with(|| listening(site));
            for attempt in 0..ATTEMPTS {
                clip += 1;
                said += 1;
                let file = folder.path().join(format!("{name}-{clip}.wav"));
                if let Some(heard) = hear(ear, site.session.rule(), &words, attempt, &file) {
                    return site.say(&heard).map(drop);
                }
                again += 1;
            }
            Err(format!("{name}: \"{words}\" was never heard"))
        });
        assert_eq!(
            serde_json::to_string_pretty(&spoken).unwrap(),
            serde_json::to_string_pretty(&typed).unwrap(),
            "{name}"
        );
    }
    println!(
        "{said} utterances spoken in {} dialogues, {again} said again",
        SPOKEN.len()
    );
}

fn hear(ear: &mut Ear, rule: &str, words: &str, attempt: usize, file: &Path) -> Option<Intent> {
    let made = Command::new("tests/dialogues/speak.sh")
        .arg(file)
        .arg(attempt.to_string())
        .arg(words)
        .status();
    assert!(
        made.is_ok_and(|status| status.success()),
        "speak.sh failed on {words}"
    );
    let samples = audio::read(file).unwrap();
    let expected = DecodeContext {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    };
    let heard = ear.recognise(&samples, &expected).unwrap();
    (heard.outcome == Decision::Accept)
        .then_some(heard.said)
        .flatten()
}

fn listening(site: &Site) -> Ear {
    let mut names: Vec<String> = site
        .state()
        .job()
        .boards
        .iter()
        .flat_map(|board| &board.circuits)
        .flat_map(|circuit| &circuit.points)
        .map(|point| place_of(point).name)
        .collect();
    names.sort();
    names.dedup();
    let grammar = bothhands::grammar::Grammar::built_in().unwrap();
    Ear::new(Arc::new(grammar.with_places(&names).unwrap()), 1).unwrap()
}

/// The events of a dialogue, whose lines are said by `say`; times left out.
fn events(name: &str, say: &mut dyn FnMut(&mut Site, &str) -> Result<(), String>) -> Vec<Event> {
    let text = std::fs::read_to_string(format!("tests/dialogues/{name}.txt")).unwrap();
    let mut site: Option<Site> = None;
    for line in text.lines() {
        let (word, rest) = line.split_once(':').unwrap_or((line, ""));
        let rest = rest.trim();
        match (word, site.as_mut()) {
            ("job", _) => {
                let job = Job::load(Path::new(&format!("tests/dialogues/jobs/{rest}.toml")));
                let now = "2026-11-25T09:30:00Z".parse().unwrap();
                site = Some(Site::typed(job.unwrap(), now).0);
            }
            ("plainly to", Some(site)) => site.plainly_to(rest).unwrap(),
            ("you", Some(site)) => say(site, rest).unwrap(),
            ("later" | "restart" | "unclear", _) => panic!("{name} is not one to be spoken"),
            _ => {}
        }
    }
    site.unwrap()
        .events
        .into_iter()
        .map(|(event, _)| event)
        .collect()
}
