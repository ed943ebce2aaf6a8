//! How much the program talks: a board of 12 circuits, from the first word to the last, every answer
//! as it should be.

use crate::dialogues::plain::Site;
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::log::Log;
use bothhands::report::dialogue;
use bothhands::sequence::{Event, Line, LineKind, Mode, say};
use bothhands::terms::{Alteration, Change, Delivery, Manner, Part, Reason, Statement, Wording};
use std::path::Path;

/// Words a minute of somebody who speaks plainly.
const WORDS_A_MINUTE: f64 = 160.0;
/// What a tone takes, in seconds (`src/voice/tones.rs`).
const TONE: f64 = 0.12;

/// What was said in a session.
#[derive(Debug, Default)]
struct Talk {
    answers: usize,
    words: usize,
    tones: usize,
    /// Line by line, to be looked at.
    said: Vec<String>,
}

impl Talk {
    fn hear(&mut self, lines: &[Line]) {
        let mut before = None;
        for line in lines {
            self.said.push(format!("{:?}\t{}", line.kind, line.text));
            if line.kind == LineKind::Tone {
                // One tone stands for both where two follow each other.
                self.tones += usize::from(before != Some(LineKind::Tone));
            } else {
                self.words += line.text.split_whitespace().count();
            }
            before = Some(line.kind);
        }
    }

    fn minutes(&self) -> f64 {
        self.words as f64 / WORDS_A_MINUTE + self.tones as f64 * TONE / 60.0
    }
}

fn clubhouse(delivery: Delivery) -> (Site, Vec<Line>) {
    let job = Job::load(Path::new("tests/jobs/clubhouse.toml")).unwrap();
    Site::begin_in(job, "2026-11-25T08:00:00Z".parse().unwrap(), delivery)
}

const BRIEF: Delivery = Delivery {
    manner: Manner::Brief,
    wording: Wording::Radio,
};

fn talk(delivery: Delivery) -> Talk {
    let (mut site, lines) = clubhouse(delivery);
    let mut talk = Talk::default();
    talk.hear(&lines);
    while let Some(lines) = site.plain_turn().unwrap() {
        talk.answers += 1;
        talk.hear(&lines);
    }
    talk.hear(&site.say(&Intent::Finish).unwrap());
    assert_eq!(site.state().mode(), Mode::Finished);
    let told: Vec<String> = dialogue(&Log::of(site.events.clone()))
        .unwrap()
        .into_iter()
        .flat_map(|exchange| exchange.program)
        .map(|line| line.text)
        .collect();
    assert_eq!(told, site.said, "the log says what was said");
    site.check_replay();
    talk
}

/// Counted as a newcomer did it: the words as they are written, without the tone that tells to speak.
#[test]
fn twelve_circuits_take_little_talk_in_the_brief_manner() {
    let full = talk(Delivery::default());
    let brief = talk(BRIEF);
    println!("{}", brief.said.join("\n"));
    for (name, talk) in [("full", &full), ("brief", &brief)] {
        let (words, tones) = (talk.words, talk.tones);
        println!(
            "{name}: {words} words, {tones} tones, {:.2} minutes",
            talk.minutes()
        );
    }
    assert_eq!(full.answers, brief.answers);
    let words = full.words;
    assert!(words > 3_600, "the job became another one: {words} words");
    assert_eq!(full.tones, 0);
    assert!(brief.minutes() < 8.0, "{:.2} minutes", brief.minutes());
    let british = Delivery {
        wording: Wording::British,
        ..BRIEF
    };
    assert_eq!(talk(british).words, brief.words, "word for word");
}

/// What is out and not asked for by the step that comes next is told in the brief manner too, though its
/// circuit will ask for it some time: nothing is left out.
#[test]
fn the_brief_manner_tells_what_is_still_out_unless_that_is_asked_for_now() {
    let (mut site, _) = clubhouse(BRIEF);
    site.plainly_to("continuity/unlink").unwrap();
    let lamp = Alteration {
        part: Part::Lamp,
        change: Change::Out,
        place: None,
        both: false,
        parked: None,
    };
    site.say(&Intent::Altered(lamp.clone())).unwrap();
    let unlinked = Alteration {
        part: Part::Link,
        change: Change::Unlinked,
        ..lamp
    };
    let told = site.say(&Intent::Altered(unlinked)).unwrap();
    let told: Vec<&str> = told.iter().map(|line| line.text.as_str()).collect();
    assert!(told.contains(&"Still out: lamp, circuit 4."), "{told:?}");
}

/// Turn by turn: what the brief manner leaves out is neither value nor permission, warning, question nor
/// refusal; it asks, warns and refuses in the same words.
#[test]
fn the_brief_manner_shortens_no_value_permission_warning_or_question() {
    let (mut full, _) = clubhouse(Delivery::default());
    let (mut brief, _) = clubhouse(BRIEF);
    let of = |lines: &[Line], kinds: &[LineKind]| -> Vec<String> {
        let lines = lines.iter().filter(|line| kinds.contains(&line.kind));
        lines.map(|line| line.text.clone()).collect()
    };
    let never = [LineKind::Warning, LineKind::Question];
    let mut permissions = 0;
    let mut values = 0;
    let mut turns = 0;
    loop {
        // Now and then what is refused, unclear or not asked for.
        for said in [Intent::Affirm, Intent::Stated(Statement::Energised)] {
            if turns % 9 == 0 {
                let mut other = (full.fork(), brief.fork());
                let (one, two) = (other.0.say(&said), other.1.say(&said));
                if let (Ok(one), Ok(two)) = (one, two) {
                    assert_eq!(of(&one, &never), of(&two, &never));
                }
            }
        }
        let before = brief.events.len();
        let (Some(one), Some(two)) = (full.plain_turn().unwrap(), brief.plain_turn().unwrap())
        else {
            break;
        };
        turns += 1;
        assert_eq!(of(&one, &never), of(&two, &never));
        let said = of(&two, &[LineKind::ReadBack]).join(" ").to_lowercase();
        for (event, _) in &brief.events[before..] {
            match event {
                Event::Reading {
                    reading,
                    doubt: None,
                    ..
                } => {
                    values += 1;
                    let value = say::three_as_one(&say::bare_value(reading, Wording::Radio));
                    assert!(said.contains(&value), "{value} in: {two:?}");
                }
                Event::Stated { statement, .. } if Intent::Stated(*statement).is_a_permission() => {
                    permissions += 1;
                    assert!(said.contains(statement.said_back()), "{two:?}");
                }
                Event::PutBack { .. } => {
                    permissions += 1;
                    assert!(said.contains("back") || said.contains("off"), "{two:?}");
                }
                _ => {}
            }
        }
    }
    assert!(values > 150 && permissions > 25, "{values}, {permissions}");
}

/// Where the next step is not the expected one it is named.
#[test]
fn a_step_that_was_passed_over_is_not_left_to_a_tone() {
    let (mut site, _) = clubhouse(BRIEF);
    site.plainly_to("crossed-neutral/socket 2").unwrap();
    let known = site.plain_turn().unwrap().unwrap();
    assert_eq!(known.last().unwrap().kind, LineKind::Tone, "{known:?}");
    let passed = site
        .say(&Intent::NotTested(Some(Reason::NoAccess)))
        .unwrap();
    let prompt = passed.last().unwrap();
    assert_eq!(prompt.kind, LineKind::Prompt, "{passed:?}");
    assert!(prompt.text.contains("ocket 4"), "{prompt:?}");
}
