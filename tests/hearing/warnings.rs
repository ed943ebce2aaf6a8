//! A warning is never met with silence: it is taken, or asked about aloud, and never taken for
//! something else. Ten voices, at the rules of
//! dead steps; `models/README.md`, "Warnings", has the figures.

use bothhands::audio;
use bothhands::dialogue::nearly_a_warning;
use bothhands::eval::read_manifest;
use bothhands::grammar::{Grammar, Intent};
use bothhands::speech::ear::Ear;
use bothhands::speech::{Decision, DecodeContext, Recogniser};
use std::path::Path;
use std::sync::Arc;

/// Rules that listen at dead steps.
const RULES: [&str; 3] = ["isolation", "insulation", "continuity"];

/// Warnings heard in one condition: how many, and how many of them were taken, asked about as a
/// warning ("Live? Hands off."), asked again as something else, or missed: met with silence, or taken
/// for something else. With those that were missed.
fn heard(condition: &str) -> ([usize; 5], Vec<String>) {
    let grammar = Arc::new(Grammar::built_in().unwrap());
    let mut ear = Ear::new(Arc::clone(&grammar), 1).unwrap();
    let list = format!("tests/cache/warnings-{condition}.tsv");
    let list = Path::new(env!("CARGO_MANIFEST_DIR")).join(list);
    assert!(list.exists(), "run tests/clips/make.sh");
    let mut counts = [0; 5];
    let mut missed = Vec::new();
    for rule in RULES {
        let expected = DecodeContext {
            rule: rule.to_owned(),
            ..DecodeContext::default()
        };
        for clip in read_manifest(&list, &grammar, rule).unwrap() {
            let samples = audio::read(&clip.path).unwrap();
            let heard = ear.recognise(&samples, &expected).unwrap();
            let warned = heard.said.as_ref().is_some_and(Intent::is_a_warning);
            let came = match heard.outcome {
                Decision::Accept if warned => 1,
                _ if nearly_a_warning(&heard) => 2,
                Decision::Confirm => 3,
                Decision::Accept | Decision::Reject => 4,
            };
            counts[0] += 1;
            counts[came] += 1;
            if came == 4 {
                let path = clip.path.display();
                missed.push(format!("{rule}: {} ({path}): {heard:?}", clip.words));
            }
        }
    }
    println!("{condition}: [n, taken, asked, asked again, missed] {counts:?}");
    (counts, missed)
}

#[test]
fn a_warning_is_never_met_with_silence() {
    for condition in ["clean", "pink20"] {
        let (counts, missed) = heard(condition);
        assert!(counts[0] >= 200);
        assert!(missed.is_empty(), "{condition}: {}", missed.join("\n"));
        assert!(counts[3] * 50 <= counts[0], "{condition}: {counts:?}");
    }
}

/// Published, and bounded with room: 2 in a hundred are wanted.
#[test]
fn in_noise_hardly_any_warning_is_missed() {
    let (counts, missed) = heard("pink10");
    assert!(counts[4] * 25 <= counts[0], "{}", missed.join("\n"));
}
