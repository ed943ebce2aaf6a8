//! How long the parts that matter take, and how much memory they ask for: `make bench`, or
//! `cargo bench --bench parts -- schedule` for one of them. Nothing is asserted.
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

#[path = "../tests/looking_back/rehearsal.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod rehearsal;

use bothhands::audio;
use bothhands::grammar::{Grammar, Lexicon};
use bothhands::log::Log;
use bothhands::report::{self, Schedule, Times};
use bothhands::sequence::Agenda;
use bothhands::speech::ear::{Acoustics, PhoneGraph, Strangers, WIDTH, search};
use divan::{AllocProfiler, Bencher};
use std::path::Path;
use std::sync::LazyLock;

#[global_allocator]
static MEMORY: AllocProfiler = AllocProfiler::system();

/// Circuits of a board; 200 make 5,000 events.
const CIRCUITS: [u16; 4] = [25, 50, 100, 200];

static EAR: LazyLock<Acoustics> = LazyLock::new(|| Acoustics::shipped(1).unwrap());
static SOUND: LazyLock<Vec<f32>> =
    LazyLock::new(|| audio::read(Path::new("tests/reference/reading.flac")).unwrap());

fn main() {
    divan::main();
}

/// Sound to log-mel features.
#[divan::bench]
fn mel(bencher: Bencher) {
    bencher.bench(|| EAR.features(&SOUND));
}

/// Sound to probabilities of phones: features and the network.
#[divan::bench]
fn network(bencher: Bencher) {
    bencher.bench(|| EAR.log_probs(&SOUND).unwrap());
}

/// The phone graph of a rule.
#[divan::bench(sample_count = 10)]
fn graph(bencher: Bencher) {
    bencher.bench(rule);
}

fn rule() -> PhoneGraph {
    let grammar = Grammar::built_in().unwrap();
    let lexicon = Lexicon::built_in().unwrap();
    let words = grammar.graph("anything").unwrap();
    let strangers = Strangers::built_in(&EAR.phones).unwrap();
    let near = strangers.near(&grammar, "anything", &words, &lexicon, &EAR.phones);
    PhoneGraph::new(
        &words,
        &lexicon,
        &EAR.phones,
        |word| grammar.meaning_class(word),
        &near.unwrap(),
    )
    .unwrap()
}

/// The words of the widest rule, looked for in one reading.
#[divan::bench]
fn words(bencher: Bencher) {
    let graph = rule();
    let probs = EAR.log_probs(&SOUND).unwrap();
    bencher.bench(|| search(&graph, &probs, WIDTH));
}

/// A session of so many circuits, answered from the first word to the last.
#[divan::bench(args = CIRCUITS, sample_count = 10)]
fn session(circuits: u16) -> usize {
    rehearsal::large(circuits).events.len()
}

/// The state, made again of the events.
#[divan::bench(args = CIRCUITS, sample_count = 10)]
fn replay(bencher: Bencher, circuits: u16) {
    let events = rehearsal::large(circuits).events;
    bencher.bench(|| Agenda::replay(events.iter().map(|(event, at)| (event, *at))).unwrap());
}

fn log(circuits: u16) -> Log {
    rehearsal::large(circuits).log()
}

fn schedule_of(log: &Log) -> Schedule {
    Schedule::of(log, &Times::utc()).unwrap()
}

#[divan::bench(args = CIRCUITS, sample_count = 10)]
fn schedule(bencher: Bencher, circuits: u16) {
    let log = log(circuits);
    bencher.bench(|| schedule_of(&log));
}

#[divan::bench(args = CIRCUITS, sample_count = 10)]
fn html(bencher: Bencher, circuits: u16) {
    let schedule = schedule_of(&log(circuits));
    bencher.bench(|| report::html(&schedule));
}

#[divan::bench(args = CIRCUITS, sample_count = 10)]
fn pdf(bencher: Bencher, circuits: u16) {
    let schedule = schedule_of(&log(circuits));
    bencher.bench(|| report::pdf(&schedule).unwrap());
}

#[divan::bench(args = CIRCUITS, sample_count = 10)]
fn dialogue(bencher: Bencher, circuits: u16) {
    let log = log(circuits);
    bencher.bench(|| report::dialogue_text(&report::dialogue(&log).unwrap(), &Times::utc()));
}

/// Keeping a reading, and a log of a thousand of them checked.
mod keeping {
    use super::{SOUND, audio};
    use bothhands::store::{Evidence, NewEvent, OpenMode, Store};
    use divan::Bencher;

    fn reading(n: u64) -> NewEvent {
        NewEvent::new("note", 1, &serde_json::json!({ "n": n })).unwrap()
    }

    #[divan::bench]
    fn append_with_sound(bencher: Bencher) {
        let folder = tempfile::tempdir().unwrap();
        let mut store =
            Store::open(folder.path().join("log.db"), OpenMode::AppendOrCreate).unwrap();
        let utterance = audio::Utterance {
            samples: SOUND.clone(),
            start: 0,
            speech_end: 0,
        };
        let heard = serde_json::json!({ "fit": -0.25 });
        let sound = Evidence::new(&utterance, "two nine nine", &heard).unwrap();
        let mut n = 0;
        bencher.bench_local(|| {
            n += 1;
            store.append(&[reading(n)], Some(&sound)).unwrap()
        });
    }

    #[divan::bench(sample_count = 10)]
    fn verify_a_thousand(bencher: Bencher) {
        let folder = tempfile::tempdir().unwrap();
        let mut store =
            Store::open(folder.path().join("log.db"), OpenMode::AppendOrCreate).unwrap();
        let thousand: Vec<NewEvent> = (0..1000).map(reading).collect();
        store.append(&thousand, None).unwrap();
        bencher.bench_local(|| store.verify().unwrap());
    }
}
