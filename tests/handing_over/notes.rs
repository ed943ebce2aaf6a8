use super::Desk;
use crate::looking_back::rehearsal::Rehearsal;
use bothhands::grammar::Intent;
use std::fs;

#[test]
fn a_note_keeps_its_text_its_place_and_its_step_wherever_it_is_shown() {
    let desk = Desk::typed(
        "done\nproved\nisolated\ntake a note\nthe lid of the board is cracked\nend of note\n\
         what about the kettle\nlocked off\n",
    );
    let note = "the lid of the board is cracked";
    let export = desk.run(&["export", "session.db"]).well().text();
    assert!(
        export.contains(
            r#""event":"noted","text":"the lid of the board is cracked","step":"b1/isolation/lock""#
        ),
        "{export}"
    );
    let log = desk.run(&["log", "session.db", "--only", "notes"]).well();
    let log = log.text();
    assert!(
        log.contains("(note at board 1, isolation) the lid of the board is cracked"),
        "{log}"
    );
    assert!(
        !log.contains("kettle") && !log.contains("isolated"),
        "{log}"
    );
    let page = desk.run(&["schedule", "session.db", "--html", "-"]).well();
    let page = page.text();
    assert!(page.contains("Notes") && page.contains(note));
    assert!(page.contains("board 1, isolation"), "{page}");

    for args in [&["--not-understood"][..], &["--only", "not-understood"]] {
        let args = [&["log", "session.db"], args].concat();
        let log = desk.run(&args).well().text();
        assert!(log.contains("what about the kettle (not taken)"), "{log}");
        assert!(!log.contains(note), "{log}");
    }
    let json = desk
        .run(&["log", "session.db", "--not-understood", "--json"])
        .well()
        .text();
    assert_eq!(json.lines().count(), 1);
    assert!(json.contains("what about the kettle"));
}

/// What the recogniser makes of a note is the nearest of its own words, and not what was said.
#[test]
fn a_spoken_note_is_kept_as_sound_and_never_shown_as_words_that_were_not_said() {
    let mut r = Rehearsal::boathouse();
    r.until("500/L-E");
    r.say(Intent::Note);
    r.say(Intent::Note);
    r.say(Intent::EndOfNote);
    let desk = Desk::with(&r);
    let log = desk.run(&["log", "session.db", "--only", "notes"]).well();
    let log = log.text();
    let at = "at board 1, circuit 1, insulation resistance L-E at 500 V";
    assert!(
        log.contains(&format!("(note {at}, kept as sound)")),
        "{log}"
    );
    assert!(!log.contains('\u{201c}'), "{log}");
    let page = desk.run(&["schedule", "session.db", "--html", "-"]).well();
    let shown = "kept as sound, board 1, circuit 1, insulation resistance L-E at 500 V";
    assert!(page.text().contains(shown));
}

/// A log that does not say at which step a note was made shows where the session was.
#[test]
fn a_note_of_an_older_log_has_the_place_where_the_session_was() {
    let desk = Desk::empty();
    let golden = "tests/golden/edition-1/notes-and-stand-by.jsonl";
    fs::copy(golden, desk.path("old.jsonl")).unwrap();
    desk.run(&["import", "old.jsonl", "--db", "old.db"]).well();
    let log = desk.run(&["log", "old.db", "--only", "notes"]).well();
    let log = log.text();
    assert!(
        log.contains("(note at board 1, circuit 1, insulation resistance L-E at 500 V"),
        "{log}"
    );
}
