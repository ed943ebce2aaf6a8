//! The recogniser against numbers that general-purpose libraries made from the same sound: numpy
//! (features), onnxruntime (phones) and a plain Viterbi in Python (the search). How they were made:
//! `tests/reference/make.py`.

use bothhands::audio;
use bothhands::grammar::{Arc, Lexicon, WordGraph};
use bothhands::speech::ear::{Acoustics, BANDS, Beam, Hypothesis, PhoneGraph, PhoneLoop, search};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

#[derive(Deserialize)]
struct Reference {
    frames: usize,
    features: Vec<Vec<f32>>,
    labels: Vec<u8>,
    free: f32,
    words: String,
    score: f32,
}

fn folder() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference"))
}

fn each(mut test: impl FnMut(&str, &[f32], &Reference)) {
    let text = std::fs::read_to_string(folder().join("reference.json")).unwrap();
    let all: BTreeMap<String, Reference> = serde_json::from_str(&text).unwrap();
    assert_eq!(all.len(), 2);
    for (name, reference) in &all {
        let samples = audio::read(&folder().join(format!("{name}.flac"))).unwrap();
        test(name, &samples, reference);
    }
}

/// The grammar of the reference, in the format of the classic grammar decoders: one transition a
/// line, those without a word lead to the end.
fn graph() -> WordGraph {
    let text = std::fs::read_to_string(folder().join("grammar.fsg")).unwrap();
    let mut graph = WordGraph {
        words: Vec::new(),
        arcs: Vec::new(),
        states: 0,
        finals: Vec::new(),
    };
    for line in text.lines() {
        let fields: Vec<&str> = line.split_whitespace().collect();
        match fields[..] {
            ["NUM_STATES", n] => graph.states = n.parse().unwrap(),
            ["FINAL_STATE", n] => graph.finals.push((n.parse().unwrap(), 0.0)),
            ["TRANSITION", from, _, _] => graph.finals.push((from.parse().unwrap(), 0.0)),
            ["TRANSITION", from, to, weight, word] => {
                let known = graph.words.iter().position(|w| w == word);
                let word = known.unwrap_or_else(|| {
                    graph.words.push(word.to_owned());
                    graph.words.len() - 1
                });
                graph.arcs.push(Arc {
                    from: from.parse().unwrap(),
                    to: to.parse().unwrap(),
                    word: word as u32,
                    weight: weight.parse::<f32>().unwrap().ln(),
                });
            }
            _ => {}
        }
    }
    graph
}

const WIDTH: Beam = Beam {
    reward: 0.0,
    hypotheses: 6,
    beam: 60.0,
    nodes: usize::MAX,
};

fn words(graph: &WordGraph, hypothesis: &Hypothesis) -> String {
    let words: Vec<&str> = hypothesis
        .words
        .iter()
        .map(|w| graph.words[w.word as usize].as_str())
        .collect();
    words.join(" ")
}

#[test]
fn features_are_numpys_to_a_thousandth() {
    let ear = Acoustics::shipped(1).unwrap();
    each(|name, samples, reference| {
        let features = ear.features(samples);
        assert_eq!(features.frames, reference.frames, "{name}");
        for (i, column) in reference.features.iter().enumerate() {
            assert_eq!(column.len(), BANDS);
            for (band, expected) in column.iter().enumerate() {
                let got = features.values[band * features.frames + 16 * i];
                assert!(
                    (got - expected).abs() < 1e-3,
                    "{name}, frame {}, band {band}: {got} for {expected}",
                    16 * i
                );
            }
        }
    });
}

#[test]
fn the_likeliest_phone_is_onnxruntimes_in_99_of_100_frames() {
    let ear = Acoustics::shipped(1).unwrap();
    let (mut same, mut all) = (0, 0);
    each(|name, samples, reference| {
        let probs = ear.log_probs(samples).unwrap();
        let labels: Vec<u8> = probs.best().map(|(label, _)| label).collect();
        assert_eq!(labels.len(), reference.labels.len(), "{name}");
        let agree = |(a, b): (&u8, &u8)| usize::from(a == b);
        same += labels
            .iter()
            .zip(&reference.labels)
            .map(agree)
            .sum::<usize>();
        all += labels.len();
        let free = PhoneLoop::of(&probs).score;
        assert!((free - reference.free).abs() < 1.0, "{name}: {free}");
    });
    assert!(same * 100 >= all * 99, "{same} of {all}");
}

#[test]
fn the_best_path_is_the_plain_viterbis() {
    let ear = Acoustics::shipped(1).unwrap();
    let lexicon = std::fs::read_to_string(folder().join("lexicon.txt")).unwrap();
    let lexicon = Lexicon::parse("lexicon.txt", &lexicon).unwrap();
    let grammar = graph();
    let phones = PhoneGraph::new(&grammar, &lexicon, &ear.phones, |word| Some(word), &[]).unwrap();
    each(|name, samples, reference| {
        let probs = ear.log_probs(samples).unwrap();
        let heard = search(&phones, &probs, WIDTH);
        assert_eq!(words(&grammar, &heard[0]), reference.words, "{name}");
        let score = heard[0].score;
        // The phones' probabilities differ a little between runtimes, so the sum does too.
        assert!((score - reference.score).abs() < 1.0, "{name}: {score}");
        assert!(heard.windows(2).all(|pair| pair[0].score >= pair[1].score));
    });
}

/// For comparison with other decoders of the same grammar on any list of recordings:
/// `CLIPS=list.tsv MODEL=ear.onnx cargo test --release --test it a_list_of_recordings -- --ignored --nocapture`
/// prints path, expected words, heard words, score of the best path, score of the free path.
#[test]
#[ignore = "needs a list of recordings"]
fn a_list_of_recordings() {
    let list = std::env::var("CLIPS").unwrap();
    let ear = match std::env::var("MODEL") {
        Ok(model) => Acoustics::open(Path::new(&model), 1).unwrap(),
        Err(_) => Acoustics::shipped(1).unwrap(),
    };
    let lexicon = std::fs::read_to_string(folder().join("lexicon.txt")).unwrap();
    let lexicon = Lexicon::parse("lexicon.txt", &lexicon).unwrap();
    let grammar = graph();
    let phones = PhoneGraph::new(&grammar, &lexicon, &ear.phones, |word| Some(word), &[]).unwrap();
    let base = Path::new(&list).parent().unwrap();
    for line in std::fs::read_to_string(&list).unwrap().lines() {
        let (path, expected) = line.split_once('\t').unwrap();
        let samples = audio::read(&base.join(path)).unwrap();
        let probs = ear.log_probs(&samples).unwrap();
        let heard = search(&phones, &probs, WIDTH);
        let (text, score) = heard
            .first()
            .map_or((String::new(), f32::NEG_INFINITY), |best| {
                (words(&grammar, best), best.score)
            });
        let free = PhoneLoop::of(&probs).score;
        println!("ROW\t{path}\t{expected}\t{text}\t{score:.3}\t{free:.3}");
    }
}
