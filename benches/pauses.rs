//! How a pause inside a number is borne: `tests/clips/pauses.txt` said in two parts by ten voices,
//! with 0.1 to 0.9 s of room sound between them, heard as from a microphone. Once as it is when an
//! utterance ends after the plain pause, once as `conduct` does it, which ends sooner what is whole.
//!
//!     tests/clips/pauses.sh && cargo bench --bench pauses
//!
//! `ROOM=babble DECIBELS=15` chooses another bed of `tests/cache/beds` and how far it is below the
//! speech, `PAUSE=1` another plain pause, `LIST=1` lists everything that was taken in part. Nothing is asserted.
#![allow(
    missing_docs,
    unreachable_pub,
    reason = "a program of measurements, used by nobody"
)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a measurement may fail"
)]

use bothhands::audio::{self, EndpointConfig, SAMPLE_RATE, Segmenter, Utterance};
use bothhands::dialogue::enough;
use bothhands::grammar::{Grammar, Intent};
use bothhands::speech::ear::{Ear, same_meaning};
use bothhands::speech::{Decision, DecodeContext, Recogniser, Recognition};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Each sentence is said with this many pauses.
const DRAWS: usize = 3;
/// Quiet that `make.sh` leaves on both sides of what it says.
const QUIET: f64 = 0.4;
/// What the microphone gives at once.
const PIECE: f64 = 0.025;
const THREADS: usize = 2;

#[derive(Clone)]
struct Sentence {
    base: String,
    rule: String,
    words: String,
    said: Intent,
    short: bool,
}

/// What became of a sentence with a pause in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Fate {
    /// Taken as what was said: in one piece, or all but the unit, which changes nothing.
    Right,
    /// The beginning was taken as if it were all.
    Beginning,
    /// The beginning was left alone, and the end taken as if it were all.
    End,
    /// Taken in one piece as something else: the pause is not to blame.
    Misheard,
    Asked,
    Ignored,
}

/// What reaches the microphone.
struct Spoken {
    samples: Vec<f32>,
    begin_ends: u64,
    end_begins: u64,
}

fn cache() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cache")
}

fn sentences(grammar: &Grammar) -> Vec<Sentence> {
    let path = cache().join("pauses/pauses.tsv");
    let text = std::fs::read_to_string(path).expect("run tests/clips/pauses.sh first");
    text.lines()
        .map(|line| {
            let mut fields = line.split('\t');
            let mut field = || fields.next().unwrap().to_owned();
            let (base, rule, marked) = (field(), field(), field());
            let words = marked.replace(" | ", " ");
            let said = grammar.understand(&rule, &words);
            Sentence {
                said: said.unwrap_or_else(|| panic!("rule {rule} does not allow \"{words}\"")),
                short: words == marked,
                base,
                rule,
                words: marked,
            }
        })
        .collect()
}

fn samples(seconds: f64) -> usize {
    (seconds * f64::from(SAMPLE_RATE)) as usize
}

/// A part as it was said, without the quiet around it.
fn part(base: &str, name: &str) -> Vec<f32> {
    let path = cache().join(format!("pauses/{base}-{name}.wav"));
    let all = audio::read(&path).unwrap();
    all[samples(QUIET)..all.len() - samples(QUIET)].to_vec()
}

/// As the program cuts, unless told otherwise.
fn cutting() -> EndpointConfig {
    let usual = EndpointConfig::default();
    EndpointConfig {
        pause: std::env::var("PAUSE").map_or(usual.pause, |p| p.parse().unwrap()),
        ..usual
    }
}

fn level(sound: &[f32]) -> f32 {
    (sound.iter().map(|s| s * s).sum::<f32>() / sound.len() as f32).sqrt()
}

/// A room that is there all the time, so many decibels below the speech.
struct Room {
    bed: Vec<f32>,
    decibels: f32,
}

impl Room {
    fn of(name: &str, decibels: f32) -> Self {
        let bed = audio::read(&cache().join(format!("beds/{name}.wav"))).unwrap();
        Self { bed, decibels }
    }

    /// The parts with so much quiet between them, and a second of it around.
    fn say(&self, parts: &[Vec<f32>], pause: f64, at: usize) -> Spoken {
        let speech = level(&parts.concat());
        let around = vec![0.0; samples(1.2)];
        let mut all = around.clone();
        let (mut begin_ends, mut end_begins) = (0, u64::MAX);
        for (n, part) in parts.iter().enumerate() {
            if n > 0 {
                all.extend(vec![0.0; samples(pause)]);
                end_begins = all.len() as u64;
            }
            all.extend(part);
            if n == 0 {
                begin_ends = all.len() as u64;
            }
        }
        all.extend(around);
        let factor = speech / level(&self.bed) / 10f32.powf(self.decibels / 20.0);
        for (sample, noise) in all.iter_mut().zip(self.bed.iter().cycle().skip(at)) {
            *sample += factor * noise;
        }
        Spoken {
            samples: all,
            begin_ends,
            end_begins,
        }
    }
}

/// Cuts as a microphone's sound is cut, and hears each utterance; `sooner` ends what is whole after
/// a shorter pause, as `Live` and `DialogueManager` do between them.
fn hear(ear: &mut Ear, rule: &str, sound: &[f32], sooner: bool) -> Vec<(Utterance, Recognition)> {
    let expected = DecodeContext {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    };
    let mut segmenter = Segmenter::new(cutting());
    let mut found = Vec::new();
    let mut recognise = |utterance: Utterance| {
        let heard = ear.recognise(&utterance.samples, &expected).unwrap();
        (utterance, heard)
    };
    for piece in sound.chunks(samples(PIECE)) {
        found.extend(segmenter.push(piece).into_iter().map(&mut recognise));
        if sooner && let Some(utterance) = segmenter.partial() {
            let (_, heard) = recognise(utterance);
            if let Some(pause) = enough(&heard) {
                segmenter.set_end_pause(pause.as_secs_f64());
            }
        }
    }
    found.extend(segmenter.finish().map(recognise));
    found
}

/// What the person gets: the first thing that is not left alone decides. What comes after a question
/// or a read-back is spoken over it, and asked again.
fn fate(sentence: &Sentence, spoken: &Spoken, found: &[(Utterance, Recognition)]) -> Fate {
    let answered = found
        .iter()
        .position(|(_, heard)| heard.outcome != Decision::Reject);
    let Some(n) = answered else {
        return Fate::Ignored;
    };
    let (utterance, heard) = &found[n];
    let right = heard
        .said
        .as_ref()
        .is_some_and(|said| same_meaning(said, &sentence.said));
    match heard.outcome {
        Decision::Confirm => Fate::Asked,
        _ if right => Fate::Right,
        _ if utterance.start + samples(EndpointConfig::default().margin) as u64
            >= spoken.begin_ends =>
        {
            Fate::End
        }
        _ if utterance.speech_end <= spoken.end_begins => Fate::Beginning,
        _ => Fate::Misheard,
    }
}

struct Tried {
    sentence: Sentence,
    pause: f64,
    plain: Fate,
    live: Fate,
    /// What was taken in the live way.
    words: Vec<String>,
}

fn on_threads<T: Sync, R: Send>(all: &[T], work: impl Fn(&mut Ear, &T) -> R + Sync) -> Vec<R> {
    let share = all.len().div_ceil(THREADS).max(1);
    let work = &work;
    std::thread::scope(|scope| {
        let threads: Vec<_> = all
            .chunks(share)
            .map(|part| {
                scope.spawn(move || {
                    let grammar = Arc::new(Grammar::built_in().unwrap());
                    let mut ear = Ear::new(grammar, 1).unwrap();
                    let hear = |one| work(&mut ear, one);
                    part.iter().map(hear).collect::<Vec<_>>()
                })
            })
            .collect();
        threads
            .into_iter()
            .flat_map(|thread| thread.join().unwrap())
            .collect()
    })
}

fn room() -> Room {
    let name = std::env::var("ROOM").unwrap_or_else(|_| "pink".to_owned());
    let decibels = std::env::var("DECIBELS").map_or(30.0, |d| d.parse().unwrap());
    println!(
        "room: {name}, {decibels} dB below the speech; plain pause {} s\n",
        cutting().pause
    );
    Room::of(&name, decibels)
}

fn main() {
    pauses_inside_what_is_said();
    short_words_alone();
}

fn pauses_inside_what_is_said() {
    let all = sentences(&Grammar::built_in().unwrap());
    let room = room();
    let mut random = fastrand::Rng::with_seed(299);
    let mut drawn = Vec::new();
    for sentence in all.iter().filter(|s| !s.short) {
        for _ in 0..DRAWS {
            let pause = 0.1 + 0.8 * random.f64();
            drawn.push((sentence.clone(), pause, random.usize(0..room.bed.len())));
        }
    }
    let tried = on_threads(&drawn, |ear, (sentence, pause, at)| {
        let parts = [part(&sentence.base, "begin"), part(&sentence.base, "end")];
        let said = room.say(&parts, *pause, *at);
        let plain = hear(ear, &sentence.rule, &said.samples, false);
        let live = hear(ear, &sentence.rule, &said.samples, true);
        Tried {
            sentence: sentence.clone(),
            pause: *pause,
            plain: fate(sentence, &said, &plain),
            live: fate(sentence, &said, &live),
            words: live.into_iter().map(|(_, heard)| heard.words).collect(),
        }
    });
    for (name, pick) in [
        (
            "ending after the plain pause",
            (|t| t.plain) as fn(&Tried) -> Fate,
        ),
        ("ending sooner what is whole", |t| t.live),
    ] {
        println!(
            "| {name}: pause | n | right | beginning taken alone | end taken alone | asked again \
             | misheard in one piece | ignored |\n| --- | --- | --- | --- | --- | --- | --- | --- |"
        );
        for tenth in 1..9 {
            let bin: Vec<Fate> = tried
                .iter()
                .filter(|t| (t.pause * 10.0) as usize == tenth)
                .map(pick)
                .collect();
            let count = |fate| bin.iter().filter(|f| **f == fate).count();
            println!(
                "| 0.{tenth} to 0.{} s | {} | {} | {} | {} | {} | {} | {} |",
                tenth + 1,
                bin.len(),
                count(Fate::Right),
                count(Fate::Beginning),
                count(Fate::End),
                count(Fate::Asked),
                count(Fate::Misheard),
                count(Fate::Ignored)
            );
        }
        println!();
    }
    let sooner: Vec<&Tried> = tried
        .iter()
        .filter(|t| t.live == Fate::Beginning && t.plain != Fate::Beginning)
        .collect();
    println!(
        "beginning taken alone only because it ended sooner: {} of {}",
        sooner.len(),
        tried.len()
    );
    let mut by_sentence: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    for t in &tried {
        let counts = by_sentence.entry(&t.sentence.words).or_default();
        counts.0 += usize::from(sooner.iter().any(|s| std::ptr::eq(*s, t)));
        counts.1 += 1;
    }
    for (words, (cut, of)) in by_sentence.iter().filter(|(_, (cut, _))| *cut > 0) {
        println!("  {cut:>3} of {of}  {words}");
    }
    if std::env::var_os("LIST").is_some() {
        for t in &tried {
            if matches!(t.live, Fate::Beginning | Fate::End) || matches!(t.plain, Fate::Beginning) {
                println!(
                    "{}\t{}\t{:.2} s\tplain {:?}\tlive {:?}\t{:?}",
                    t.sentence.base, t.sentence.words, t.pause, t.plain, t.live, t.words
                );
            }
        }
    }
}

fn short_words_alone() {
    let all = sentences(&Grammar::built_in().unwrap());
    let short: Vec<Sentence> = all.into_iter().filter(|s| s.short).collect();
    let room = room();
    let tried = on_threads(&short, |ear, sentence| {
        let whole = [part(&sentence.base, "whole")];
        let at = sentence.base.len() * 7919 % room.bed.len();
        let said = room.say(&whole, 0.0, at);
        let found = hear(ear, &sentence.rule, &said.samples, true);
        (found.len(), fate(sentence, &said, &found))
    });
    println!("| word | n | not cut out | ignored | right | asked again | another taken |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let mut rows: BTreeMap<&str, [usize; 6]> = BTreeMap::new();
    for (sentence, (pieces, fate)) in short.iter().zip(&tried) {
        let row = rows.entry(&sentence.words).or_default();
        row[0] += 1;
        row[match (pieces, fate) {
            (0, _) => 1,
            (_, Fate::Ignored) => 2,
            (_, Fate::Right) => 3,
            (_, Fate::Asked) => 4,
            _ => 5,
        }] += 1;
    }
    for (word, [n, lost, ignored, right, asked, other]) in rows {
        println!("| {word} | {n} | {lost} | {ignored} | {right} | {asked} | {other} |");
    }
}
