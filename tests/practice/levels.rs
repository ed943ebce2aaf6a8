//! Led, asked, silent: what is told.

use super::learner::{JOB, Learner};
use bothhands::practice::Hidden;
use bothhands::sequence::LineKind;
use bothhands::terms::Level;

#[test]
fn who_is_examined_is_told_nothing() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Silent, None);
    for words in ["done", "proved", "isolated", "locked off"] {
        let lines = learner.say(words);
        assert!(
            lines.iter().all(|line| line.kind == LineKind::ReadBack),
            "{words}: {lines:?}"
        );
    }
    for words in [
        "what is the limit",
        "what can i say",
        "what is next",
        "where are we",
        "say again",
    ] {
        let lines = learner.say(words);
        assert_eq!(lines.len(), 1, "{words}: {lines:?}");
        assert!(lines[0].text.contains("examination"), "{words}: {lines:?}");
    }
}

#[test]
fn who_is_asked_hears_no_prompt_until_he_asks() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Asked, None);
    let lines = learner.say("done");
    assert_eq!(lines.last().unwrap().text, "What comes next?");
    let told = learner.say("say again");
    assert!(told[0].text.contains("Prove"), "{told:?}");
    assert_eq!(learner.sheet().help, 1);
}
