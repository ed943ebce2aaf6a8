//! What a held finger answers: whether a reading is right, and nothing else.

use crate::looking_back::rehearsal::{Rehearsal, megohms};
use bothhands::grammar::Intent;
use bothhands::sequence::{Event, EventNo, Question, Session};
use bothhands::terms::Statement;

/// A finger held on the screen, that asks about this.
fn touch(r: &mut Rehearsal, about: EventNo) -> Option<Vec<String>> {
    r.now += r.pace;
    let turn = r.session.touched(about, r.now).unwrap()?;
    let lines = turn.lines.iter().map(|line| line.text.clone()).collect();
    r.events
        .extend(turn.events.into_iter().map(|event| (event, r.now)));
    Some(lines)
}

fn asked(r: &Rehearsal) -> EventNo {
    match r.session.state().question() {
        Some(Question::Reading(no)) => *no,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_surprising_reading_is_affirmed_by_touch_and_the_log_tells_so() {
    let mut r = Rehearsal::boathouse();
    r.until("500/L-E");
    r.say(megohms("0.5"));
    let about = asked(&r);
    assert_eq!(Session::takes_touch(r.session.state()), Some(about));
    let lines = touch(&mut r, about).unwrap();
    assert!(lines[0].starts_with("Taken by touch: "), "{lines:?}");
    let affirmed = Event::Affirmed {
        of: about,
        by_touch: true,
    };
    assert!(r.events.iter().any(|(event, _)| *event == affirmed));
    let kept = serde_json::to_value(&affirmed).unwrap();
    assert_eq!(kept["by_touch"], true, "{kept}");
    // By voice nothing is added to what logs always held.
    let spoken = serde_json::to_value(Event::affirmed(about)).unwrap();
    assert_eq!(spoken.get("by_touch"), None, "{spoken}");
    assert_eq!(touch(&mut r, about), None, "once");
}

#[test]
fn a_finger_that_meant_something_else_answers_nothing() {
    let mut r = Rehearsal::boathouse();
    r.until("500/L-E");
    r.say(megohms("0.5"));
    let about = asked(&r);
    assert_eq!(touch(&mut r, EventNo(about.0 + 1)), None);
    assert_eq!(touch(&mut r, EventNo(about.0 - 1)), None);
    assert_eq!(asked(&r), about, "it is still asked");
    r.say(Intent::Pause);
    assert_eq!(touch(&mut r, about), None, "paused");
}

#[test]
fn no_permission_and_nothing_that_is_out_is_given_by_touch() {
    let mut r = Rehearsal::boathouse();
    // Wherever the job is: only a question about a reading takes a finger.
    let mut questions = 0;
    for _ in 0..400 {
        let about = r.session.state().question().map(Question::about);
        let is_of_a_reading = matches!(r.session.state().question(), Some(Question::Reading(_)));
        assert_eq!(
            Session::takes_touch(r.session.state()).is_some(),
            is_of_a_reading
        );
        if !is_of_a_reading {
            let last = EventNo(r.events.len() as u64 - 1);
            questions += usize::from(about.is_some());
            for no in [about.unwrap_or(last), last] {
                assert_eq!(touch(&mut r, no), None);
            }
        }
        if !r.answer() {
            break;
        }
    }
    r.say(Intent::Finish);
    questions += usize::from(r.session.state().question().is_some());
    let about = r.session.state().question().map(Question::about);
    assert_eq!(touch(&mut r, about.unwrap_or(EventNo(0))), None);
    // What sounded like a permission and not surely is asked for in words.
    let now = r.now;
    let unsure = r
        .session
        .unsure_permission("dead", &Intent::Stated(Statement::Dead), now);
    r.events
        .extend(unsure.events.into_iter().map(|event| (event, now)));
    assert_eq!(Session::takes_touch(r.session.state()), None);
    assert!(questions > 0, "other things were asked, too");
}
