//! The state machine drawn from the code into `DEVELOPERS.md`, between two markers.
//!
//! A plain run over the jobs of the dialogues gives the way through the stages; at each stage the
//! same few things are said to a copy of the session, and what comes of them is drawn and tabled.
//! `DRAW=write cargo test --test it drawn` writes it anew.

use crate::dialogues::plain::Site;
use bothhands::installation::Job;
use bothhands::sequence::{Agenda, Event, Mode, Refusal};
use bothhands::terms::Stage;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::Path;

const BEGIN: &str = "<!-- sequence:begin -->";
const END: &str = "<!-- sequence:end -->";
const JOBS: [&str; 6] = [
    "boards",
    "ring",
    "three-phase",
    "lighting",
    "shower",
    "periodic",
];

#[test]
fn developers_see_the_machine_as_it_is() {
    let path = Path::new("DEVELOPERS.md");
    let text = std::fs::read_to_string(path).unwrap();
    let (before, rest) = text
        .split_once(BEGIN)
        .expect("DEVELOPERS.md has lost its marker");
    let (_, after) = rest
        .split_once(END)
        .expect("DEVELOPERS.md has lost its marker");
    let wanted = format!("{before}{BEGIN}\n{}{END}{after}", drawing());
    if std::env::var("DRAW").is_ok_and(|v| v == "write") {
        std::fs::write(path, wanted).unwrap();
        return;
    }
    assert!(
        wanted == text,
        "the drawing is out of date: DRAW=write cargo test --test it drawn"
    );
}

/// What is tried at every stage, in words that go through the grammar.
const TRIED: [&str; 9] = [
    "it is live",
    "energised",
    "go to isolation",
    "go to insulation",
    "go to loop impedance",
    "not tested no access",
    "override as instructed",
    "pause",
    "finish",
];

#[derive(Default)]
struct Seen {
    /// Stage to stage, with what took it there.
    ways: BTreeMap<(Stage, Stage), BTreeSet<&'static str>>,
    /// What came of something tried at a stage, the first time it was come to.
    came: BTreeMap<(Stage, &'static str), String>,
}

fn drawing() -> String {
    let mut seen = Seen::default();
    for name in JOBS {
        let job = Job::load(Path::new(&format!("tests/dialogues/jobs/{name}.toml"))).unwrap();
        let (mut site, _) = Site::typed(job, "2026-11-25T09:30:00Z".parse().unwrap());
        while let Some(stage) = stage(site.state()) {
            if site.state().question().is_none() {
                seen.at(stage, &site);
            }
            if !site.plainly().unwrap() {
                break;
            }
            if let Some(next) = self::stage(site.state()).filter(|next| *next != stage) {
                seen.ways.entry((stage, next)).or_default().insert("done");
            }
        }
    }
    let mut text = "```mermaid\nstateDiagram-v2\n".to_owned();
    let _ = writeln!(text, "    [*] --> {}", state_name(Stage::Isolation));
    for ((from, to), by) in &seen.ways {
        let by: Vec<_> = by.iter().copied().collect();
        let _ = writeln!(
            text,
            "    {} --> {}: {}",
            state_name(*from),
            state_name(*to),
            by.join(" / ")
        );
    }
    let _ = writeln!(text, "    {} --> [*]: finish", state_name(Stage::Handover));
    text.push_str("```\n\n");
    text.push_str(
        "What comes of something said where it is first come to, the steps before done:\n\n",
    );
    let said = TRIED;
    let _ = writeln!(text, "| at | {} |", said.join(" | "));
    let _ = writeln!(text, "| --- |{}", " --- |".repeat(said.len()));
    let stages: BTreeSet<Stage> = seen.came.keys().map(|(stage, _)| *stage).collect();
    for stage in stages {
        let cells: Vec<_> = said
            .iter()
            .map(|said| seen.came.get(&(stage, *said)).map_or("", String::as_str))
            .collect();
        let _ = writeln!(text, "| {} | {} |", stage.shown(), cells.join(" | "));
    }
    text
}

impl Seen {
    fn at(&mut self, here: Stage, site: &Site) {
        for name in TRIED {
            if self.came.contains_key(&(here, name)) {
                continue;
            }
            let mut session = site.session.clone();
            let grammar = site.grammar.as_ref().unwrap();
            let Some(said) = session.understand(grammar, name) else {
                self.came.insert((here, name), "not known here".to_owned());
                continue;
            };
            let turn = session.turn(&said, site.now).unwrap();
            let after = session.state();
            let refused = turn.events.iter().find_map(|event| match event {
                Event::Refused { refusal, .. } => Some(bar_name(refusal)),
                _ => None,
            });
            let came = match (refused, after.mode(), stage(after)) {
                (Some(bar), ..) => format!("no: {bar}"),
                (None, Mode::Paused, _) => "paused".to_owned(),
                (None, Mode::Finished, _) => "finished".to_owned(),
                (None, _, Some(next)) => {
                    if next != here {
                        self.ways.entry((here, next)).or_default().insert(name);
                    }
                    match after.question() {
                        Some(_) if next == here => "asks first".to_owned(),
                        Some(_) => format!("{}, and asks", next.shown()),
                        None => next.shown().to_owned(),
                    }
                }
                (None, _, None) => "nothing left".to_owned(),
            };
            self.came.insert((here, name), came);
        }
    }
}

fn stage(state: &Agenda) -> Option<Stage> {
    state.current().map(|step| step.stage)
}

fn state_name(stage: Stage) -> String {
    stage.shown().replace(' ', "_")
}

fn bar_name(bar: &Refusal) -> String {
    let value = serde_json::to_value(bar).unwrap();
    value["bar"].as_str().unwrap().replace('-', " ")
}
