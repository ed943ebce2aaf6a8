//! How much the program talks: a board of 12 circuits, from the first word to the last, every answer
//! as it should be.

use crate::dialogues::plain::Site;
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::sequence::{Line, LineKind, Mode};
use bothhands::terms::{Delivery, Manner, Wording};
use bothhands::voice::speakable;
use std::path::Path;

/// Words a minute of somebody who speaks plainly.
const WORDS_A_MINUTE: f64 = 160.0;
/// What a tone takes, in seconds: more than any of ours.
const TONE: f64 = 0.3;

/// What was said in a session.
#[derive(Debug, Default)]
struct Talk {
    answers: usize,
    words: usize,
    tones: usize,
}

impl Talk {
    /// The tone that tells to speak follows every turn, unless one has told it.
    fn hear(&mut self, lines: &[Line]) {
        for line in lines {
            println!("{:?} {}", line.kind, line.text);
            if line.kind == LineKind::Tone {
                self.tones += 1;
            } else {
                let said = speakable(&line.text, Wording::Radio);
                self.words += said.split_whitespace().count();
            }
        }
        let told = lines.last().is_some_and(|line| line.kind == LineKind::Tone);
        self.tones += usize::from(!told);
    }

    fn minutes(&self) -> f64 {
        self.words as f64 / WORDS_A_MINUTE + self.tones as f64 * TONE / 60.0
    }
}

fn talk(manner: Manner) -> Talk {
    let job = Job::load(Path::new("tests/jobs/clubhouse.toml")).unwrap();
    let delivery = Delivery {
        manner,
        ..Delivery::default()
    };
    let (mut site, lines) = Site::begin_in(job, "2026-11-25T08:00:00Z".parse().unwrap(), delivery);
    let mut talk = Talk::default();
    talk.hear(&lines);
    while let Some(lines) = site.plain_turn().unwrap() {
        talk.answers += 1;
        talk.hear(&lines);
    }
    talk.hear(&site.say(&Intent::Finish).unwrap());
    assert_eq!(site.state().mode(), Mode::Finished);
    talk
}

#[test]
fn twelve_circuits_take_little_talk() {
    let full = talk(Manner::Full);
    let brief = talk(Manner::Brief);
    println!("{full:?} {:.1}", full.minutes());
    println!("{brief:?} {:.1}", brief.minutes());
}
