//! Two takes of the same words judged together.

use bothhands::audio;
use bothhands::grammar::Grammar;
use bothhands::speech::ear::{Ear, same_meaning};
use bothhands::speech::{DecodeContext, Recogniser};
use std::path::Path;
use std::sync::Arc;

fn sound(name: &str) -> Vec<f32> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    audio::read(&path).unwrap()
}

fn insulation() -> DecodeContext {
    DecodeContext {
        rule: "insulation".to_owned(),
        excluded: Vec::new(),
    }
}

#[test]
fn two_takes_are_surer_than_one() {
    let mut ear = Ear::new(Arc::new(Grammar::built_in().unwrap()), 1).unwrap();
    let expected = insulation();
    let take = sound("demo/recordings/14-line-earth.flac");
    let other = sound("demo/recordings/21-correction.flac");
    let once = ear.recognise(&take, &expected).unwrap();
    let twice = ear.together(&take, &take, &expected).unwrap().unwrap();
    let same = |a: &Option<_>, b: &Option<_>| match (a, b) {
        (Some(a), Some(b)) => same_meaning(a, b),
        _ => false,
    };
    assert!(same(&once.said, &twice.said));
    assert!(twice.scores.margin > 1.2 * once.scores.margin);
    // Other words do not fit both: whichever is likeliest fits worse than each by itself.
    let mixed = ear.together(&take, &other, &expected).unwrap().unwrap();
    assert!(mixed.scores.llr_per_phone < once.scores.llr_per_phone);
    assert!(mixed.scores.llr_per_phone < twice.scores.llr_per_phone);
}

#[test]
fn nothing_comes_of_a_take_without_a_voice() {
    let mut ear = Ear::new(Arc::new(Grammar::built_in().unwrap()), 1).unwrap();
    let take = sound("demo/recordings/14-line-earth.flac");
    let silence = vec![0.0; 16_000];
    assert!(
        ear.together(&silence, &take, &insulation())
            .unwrap()
            .is_none()
    );
}
