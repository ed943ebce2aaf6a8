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

/// Of two things out, what goes back is read back, and not that another is still out.
#[test]
fn who_is_examined_is_not_reminded_of_what_is_still_out() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Silent, None);
    learner.go_to("bond/water");
    for words in [
        "bond off",
        "neutral out at socket two",
        "neutral back at socket two",
    ] {
        let lines = learner.say(words);
        assert!(
            lines.iter().all(|line| line.kind == LineKind::ReadBack),
            "{words}: {lines:?}"
        );
    }
    let lines = learner.say("what is out");
    assert!(lines[0].text.contains("examination"), "{lines:?}");
}

/// Nor by the screen: neither the step that is asked for, nor what it orders, before it is said.
#[test]
fn the_screen_tells_no_more_than_the_voice() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Silent, None);
    learner.go_to("bond/water");
    let state = learner.session.state();
    assert_eq!(state.ordered_entries().count(), 1);
    let mut view = bothhands::dialogue::screen::ScreenView::default();
    view.follow(state);
    assert_eq!(
        (view.place.as_str(), view.asked.as_str()),
        ("Boathouse: training board", "")
    );
    assert!(view.out.is_empty(), "{:?}", view.out);
    learner.say("bond off");
    view.follow(learner.session.state());
    assert_eq!(view.out.len(), 1);
}

/// What a step ordered and nobody answered is asked about without its name.
#[test]
fn what_was_left_without_an_answer_is_not_named_in_an_examination() {
    for (level, named) in [(Level::Led, true), (Level::Silent, false)] {
        let mut learner = Learner::begin(JOB, Hidden::nothing(), level, None);
        learner.go_to("bond/water");
        let lines = learner.say("go to insulation");
        let asked: Vec<_> = lines
            .iter()
            .filter(|line| line.text.contains("Left without an answer"))
            .collect();
        assert_eq!(asked.len(), 1, "{lines:?}");
        assert_eq!(asked[0].text.contains("bond"), named, "{asked:?}");
        let lines = learner.say("negative");
        let told = lines.iter().any(|line| line.text.contains("bond"));
        assert_eq!(told, named, "{lines:?}");
    }
}
