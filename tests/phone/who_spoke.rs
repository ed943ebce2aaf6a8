//! In made rooms: nothing is taken from a neighbour, and a learner's own words are not lost. What is measured is
//! told in `src/neighbours/README.md`.

use crate::phone::made_room::{MadeRoom, trimmed};
use bothhands::audio::{self, Levels, Segmenter};
use bothhands::eval::read_manifest;
use bothhands::grammar::{Grammar, Intent};
use bothhands::neighbours::{NeighbourGate, Neighbours, Utterances, Whose};
use bothhands::speech::ear::{Ear, same_meaning};
use bothhands::speech::{Decision, DecodeContext, Recogniser, Recognition};
use std::path::Path;
use std::sync::Arc;

const RULE: &str = "anything";
const RATE: usize = 16_000;

struct Clip {
    sound: Vec<f32>,
    said: Intent,
}

/// The clean clips of the test set, each said once more by any speaker.
fn clips(grammar: &Grammar) -> Vec<Clip> {
    let all = read_manifest(Path::new("tests/cache/small.tsv"), grammar, RULE).unwrap();
    all.into_iter()
        .filter(|clip| clip.path.to_string_lossy().contains("clips/clean/"))
        .filter_map(|clip| {
            let sound = trimmed(&audio::read(&clip.path).unwrap());
            clip.said.map(|said| Clip { sound, said })
        })
        .collect()
}

/// What came of a room.
#[derive(Debug, Default)]
struct Came {
    /// Things said by a neighbour, at each phone.
    neighbours: u32,
    /// Utterances with nothing of the learner in them that went on to the recogniser, and what was taken of them.
    let_through: u32,
    taken_from_neighbours: u32,
    /// Things that a learner said; of them kept back, in whole or for the greater part.
    own: u32,
    lost: u32,
    /// Of those that went on, where it was compared: taken as they were said, asked again, and taken as something else.
    right: u32,
    asked: u32,
    wrong: u32,
    /// How many are taken as they were said from the clip by itself, and in the room without a gate.
    right_alone: u32,
    right_without: u32,
    /// Of the first room of each size without a gate: utterances of neighbours, and what was taken of them.
    open: Option<(u32, u32)>,
}

struct Heard {
    from: usize,
    to: usize,
    samples: Vec<f32>,
}

fn overlap(heard: &Heard, from: usize, to: usize) -> usize {
    heard.to.min(to).saturating_sub(heard.from.max(from))
}

/// What each phone's session hears: with the gate, and as it comes.
fn through_the_gate(made: &MadeRoom, seed: u64) -> (Vec<Vec<Heard>>, Vec<Vec<Heard>>) {
    let people = made.phones.len();
    let mut room = Neighbours::new(people);
    let mut gates: Vec<NeighbourGate> = (0..people).map(NeighbourGate::new).collect();
    let mut accounts: Vec<Utterances> = (0..people).map(|_| Utterances::default()).collect();
    let mut segmenters: Vec<[Segmenter; 2]> = (0..people)
        .map(|_| [Segmenter::default(), Segmenter::default()])
        .collect();
    let mut own: Vec<Vec<Heard>> = (0..people).map(|_| Vec::new()).collect();
    let mut open: Vec<Vec<Heard>> = (0..people).map(|_| Vec::new()).collect();
    let heard = |begins: usize, utterance: audio::Utterance| {
        let from = usize::try_from(utterance.start).unwrap() + begins;
        Heard {
            from,
            to: from + utterance.samples.len(),
            samples: utterance.samples,
        }
    };
    for (phone, from, at) in made.posts(seed) {
        let sound = &made.phones[phone].sound;
        let begins = made.phones[phone].begins;
        let part = &sound[from..(from + RATE / 10).min(sound.len())];
        let part = &part[..part.len() / 320 * 320];
        let frame = room.push(phone, at * 100.0, part);
        gates[phone].push(frame, part);
        for utterance in segmenters[phone][1].push(part) {
            open[phone].push(heard(begins, utterance));
        }
        let passed = gates[phone].pass(&room, false);
        for step in passed.steps {
            accounts[phone].put(step.own);
            for utterance in segmenters[phone][0].push(&step.sound) {
                let samples = utterance.samples.len();
                let level = Levels::of(&utterance.samples).loud;
                if accounts[phone].whose(samples, level) == Whose::Own {
                    accounts[phone].learn(samples, level);
                    own[phone].push(heard(begins, utterance));
                }
            }
        }
    }
    (own, open)
}

fn recognised(ear: &mut Ear, samples: &[f32]) -> Recognition {
    let expected = DecodeContext {
        rule: RULE.to_owned(),
        excluded: Vec::new(),
    };
    ear.recognise(samples, &expected).unwrap()
}

fn measured(
    clips: &[Clip],
    ear: &mut Ear,
    people: usize,
    seconds: usize,
    seed: u64,
    compared: bool,
) -> Came {
    let sounds: Vec<Vec<f32>> = clips.iter().map(|clip| clip.sound.clone()).collect();
    let made = MadeRoom::new(&sounds, people, seconds, seed);
    let (own, open) = through_the_gate(&made, seed);
    // What has no time to end at the end is not counted.
    let counts = |to: usize| to + 3 * RATE < seconds * RATE;
    let mut came = Came::default();
    for (phone, (own, open)) in own.iter().zip(&open).enumerate() {
        let said: Vec<_> = made.said.iter().filter(|said| counts(said.to)).collect();
        came.neighbours += said.iter().filter(|said| said.speaker != phone).count() as u32;
        for said in said.iter().filter(|said| said.speaker == phone) {
            came.own += 1;
            let found = own
                .iter()
                .max_by_key(|heard| overlap(heard, said.from, said.to));
            let found =
                found.filter(|heard| 2 * overlap(heard, said.from, said.to) > said.to - said.from);
            let wanted = &clips[said.clip].said;
            let is_right = |heard: &Recognition| {
                heard.outcome == Decision::Accept
                    && heard
                        .said
                        .as_ref()
                        .is_some_and(|of| same_meaning(of, wanted))
            };
            if compared {
                let quiet = vec![1e-4; RATE / 4];
                let alone = [&quiet[..], &clips[said.clip].sound, &quiet].concat();
                came.right_alone += u32::from(is_right(&recognised(ear, &alone)));
                let whole = open
                    .iter()
                    .max_by_key(|heard| overlap(heard, said.from, said.to));
                let whole = whole.map(|heard| recognised(ear, &heard.samples));
                came.right_without += u32::from(whole.is_some_and(|heard| is_right(&heard)));
            }
            let Some(found) = found else {
                came.lost += 1;
                continue;
            };
            if !compared {
                continue;
            }
            let heard = recognised(ear, &found.samples);
            match heard.outcome {
                Decision::Accept if is_right(&heard) => came.right += 1,
                Decision::Accept => {
                    came.wrong += 1;
                    println!("wrong: {:?} for {:?}", heard.words, clips[said.clip].said);
                }
                _ => came.asked += 1,
            }
        }
        let mine = |heard: &&Heard| {
            made.said
                .iter()
                .filter(|said| said.speaker == phone)
                .all(|said| overlap(heard, said.from, said.to) < RATE / 10)
        };
        for heard in own.iter().filter(|heard| counts(heard.to)).filter(mine) {
            came.let_through += 1;
            let heard = recognised(ear, &heard.samples);
            if heard.outcome == Decision::Accept {
                println!("taken from a neighbour: {:?}", heard.words);
                came.taken_from_neighbours += 1;
            }
        }
        if compared {
            let (mut utterances, mut taken) = came.open.unwrap_or_default();
            for heard in open.iter().filter(|heard| counts(heard.to)).filter(mine) {
                utterances += 1;
                taken += u32::from(recognised(ear, &heard.samples).outcome == Decision::Accept);
            }
            came.open = Some((utterances, taken));
        }
    }
    came
}

/// Wilson's interval for a share, 95 %.
fn interval(of: u32, all: u32) -> String {
    let (n, p, z) = (
        f64::from(all.max(1)),
        f64::from(of) / f64::from(all.max(1)),
        1.96_f64,
    );
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    format!(
        "{of} of {all} ({:.2} to {:.2} %)",
        100.0 * (middle - half).max(0.0),
        100.0 * (middle + half)
    )
}

fn ear_and_clips() -> (Ear, Vec<Clip>) {
    let grammar = Arc::new(Grammar::built_in().unwrap());
    let clips = clips(&grammar);
    assert!(clips.len() > 100);
    (Ear::new(grammar, 2).unwrap(), clips)
}

#[test]
fn in_a_small_room_nothing_is_taken_from_a_neighbour_and_nothing_own_is_lost() {
    let (mut ear, clips) = ear_and_clips();
    let came = measured(&clips, &mut ear, 4, 30, 5, false);
    println!("{came:?}");
    assert!(came.own >= 8 && came.neighbours == 3 * came.own, "{came:?}");
    assert_eq!(came.taken_from_neighbours, 0, "{came:?}");
    assert_eq!(came.lost, 0, "{came:?}");
}

/// By hand: 4, 12 and 24 people, at least five hundred things said by neighbours in each.
#[test]
#[ignore = "takes minutes"]
fn in_rooms_of_4_12_and_24_nothing_is_taken_from_a_neighbour() {
    let (mut ear, clips) = ear_and_clips();
    let mut wrong = Vec::new();
    for (people, seconds, rooms) in [(4, 90, 5), (12, 60, 1), (24, 40, 1)] {
        let mut all = Came::default();
        for seed in 0..rooms {
            let came = measured(
                &clips,
                &mut ear,
                people,
                seconds,
                100 + seed,
                people == 4 && seed == 0,
            );
            all.neighbours += came.neighbours;
            all.let_through += came.let_through;
            all.taken_from_neighbours += came.taken_from_neighbours;
            all.own += came.own;
            all.lost += came.lost;
            all.right += came.right;
            all.asked += came.asked;
            all.wrong += came.wrong;
            all.right_alone += came.right_alone;
            all.right_without += came.right_without;
            let (utterances, taken) = all.open.unwrap_or_default();
            let (more, taken_too) = came.open.unwrap_or_default();
            all.open = Some((utterances + more, taken + taken_too));
        }
        println!(
            "{people} people: taken from a neighbour {}; let through {}; own lost {}",
            interval(all.taken_from_neighbours, all.neighbours),
            all.let_through,
            interval(all.lost, all.own),
        );
        println!("{all:?}");
        assert!(all.neighbours >= 500, "{all:?}");
        if all.taken_from_neighbours > 0 || all.lost * 50 > all.own {
            wrong.push(format!("{people}: {all:?}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
