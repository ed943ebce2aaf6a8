use super::{Desk, Ran, ran};
use crate::looking_back::rehearsal::{Rehearsal, megohms};
use bothhands::grammar::Intent;
use bothhands::store::{OpenMode, Store};
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::process::Stdio;
use std::time::{Duration, Instant};

/// A session in which one utterance was asked again, one reading was put right, and a note was made.
fn misheard() -> Desk {
    let mut r = Rehearsal::boathouse();
    r.until("500/L-E");
    r.unclear("fifteen", "fifty");
    r.say(megohms("299"));
    r.say(Intent::Correction(Some(Box::new(megohms("200")))));
    r.say(Intent::Note);
    r.say(Intent::Note);
    r.say(Intent::EndOfNote);
    Desk::with(&r)
}

/// The program, with these lines typed into it.
fn typed(desk: &Desk, args: &[&str], lines: &str) -> Ran {
    fs::write(desk.path("typed"), lines).unwrap();
    let mut command = desk.command(args);
    command.stdin(Stdio::from(fs::File::open(desk.path("typed")).unwrap()));
    ran(&mut command)
}

#[test]
fn what_was_agreed_is_written_with_its_sound_and_words_and_nothing_else() {
    let desk = misheard();
    let lines = "fifteen megohms\nover two  Hundred\nagree\n";
    let said = typed(&desk, &["lessons", "session.db"], lines).well();
    let text = said.text();
    assert!(text.contains("2 things to go through"), "{text}");
    assert!(
        text.contains("asked again") && text.contains("or \"fifty\""),
        "{text}"
    );
    assert!(text.contains("taken back or put right"), "{text}");
    assert_eq!(
        desk.files("lessons"),
        ["0001.flac", "0002.flac", "AGREED.txt", "lessons.tsv"]
    );
    let list = fs::read_to_string(desk.path("lessons/lessons.tsv")).unwrap();
    assert!(list.contains("\n0001.flac\tfifteen megohms\n"), "{list}");
    assert!(list.contains("\n0002.flac\tover two hundred\n"), "{list}");
    assert!(
        list.contains("# rule insulation, asked again, heard: "),
        "{list}"
    );
    let agreed = fs::read_to_string(desk.path("lessons/AGREED.txt")).unwrap();
    assert!(agreed.contains("agrees that they are used"), "{agreed}");
    // The sound is the very sound that was heard.
    let store = Store::open(desk.path("session.db"), OpenMode::Read).unwrap();
    let kept: Vec<Vec<u8>> = store
        .with_sound()
        .unwrap()
        .iter()
        .map(|hash| {
            store
                .evidence(hash)
                .unwrap()
                .unwrap()
                .flac()
                .unwrap()
                .to_vec()
        })
        .collect();
    let given = fs::read(desk.path("lessons/0001.flac")).unwrap();
    assert!(kept.contains(&given));
    // Neither names nor places.
    for file in ["lessons.tsv", "AGREED.txt"] {
        let text = fs::read_to_string(desk.path("lessons").join(file)).unwrap();
        for name in [
            "Learner",
            "instructor",
            "boathouse",
            "Boathouse",
            "session",
            "circuit",
        ] {
            assert!(!text.contains(name), "{name} in {text}");
        }
    }
    typed(&desk, &["lessons", "session.db"], lines).refused("something in this folder already");
}

/// However it ends, nothing is there without "agree".
#[test]
fn nothing_is_written_without_agreement() {
    let desk = misheard();
    for lines in [
        "",
        "k\n",
        "k\nk\n",
        "k\nk\nyes\n",
        "k\nk\n\n",
        "s\ns\nagree\n",
        "q\nagree\n",
        "k\nq\nno\n",
    ] {
        typed(&desk, &["lessons", "session.db"], lines).well();
        assert!(!desk.path("lessons").exists(), "{lines:?}");
    }
    let some = typed(
        &desk,
        &["lessons", "session.db", "--out", "some"],
        "s\nk\nagree\n",
    )
    .well();
    assert!(some.text().contains("struck"));
    assert_eq!(
        desk.files("some"),
        ["0001.flac", "AGREED.txt", "lessons.tsv"]
    );
}

#[test]
fn what_is_no_word_is_asked_for_again() {
    let desk = misheard();
    let lines = "\nh\tx\u{1b}[2J\nfifteen\ns\nagree\n";
    let said = typed(&desk, &["lessons", "session.db"], lines).well();
    assert!(said.text().contains("Type the words, or s to strike it."));
    assert!(said.text().contains("Write it in words"));
    assert!(!said.text().contains('\u{1b}'));
    let list = fs::read_to_string(desk.path("lessons/lessons.tsv")).unwrap();
    assert!(list.ends_with("0001.flac\tfifteen\n"), "{list}");
}

#[test]
fn typed_lines_that_were_not_understood_are_given_as_words() {
    let desk = Desk::typed("done\nthe kettle is on\nproved\n");
    let said = typed(&desk, &["lessons", "session.db"], "h\nk\nagree\n").well();
    assert!(said.text().contains("There is no sound: it was typed."));
    assert_eq!(desk.files("lessons"), ["AGREED.txt", "typed.tsv"]);
    let list = fs::read_to_string(desk.path("lessons/typed.tsv")).unwrap();
    assert!(list.ends_with("\tthe kettle is on\n"), "{list}");
    let nothing = Desk::typed("done\n");
    let said = typed(&nothing, &["lessons", "session.db"], "").well();
    assert!(said.text().contains("there is nothing to give"));
}

#[test]
fn sound_that_was_deleted_is_no_lesson() {
    let desk = misheard();
    let json = |desk: &Desk| {
        let said = desk.run(&["lessons", "session.db", "--json"]).well();
        said.text().lines().count()
    };
    assert_eq!(json(&desk), 2);
    desk.run(&["forget-sound", "session.db", "--all"]).well();
    assert_eq!(json(&desk), 0);
}

/// What plays sound on this machine is stood in for by a program that keeps a copy.
#[test]
fn the_sound_is_heard_with_what_the_machine_plays_sound_with() {
    let desk = misheard();
    let tools = desk.path("tools");
    fs::create_dir(&tools).unwrap();
    let player = tools.join("xdg-open");
    fs::write(
        &player,
        "#!/bin/sh\ncp \"$1\" \"$NOTED.part\" && mv \"$NOTED.part\" \"$NOTED\"\n",
    )
    .unwrap();
    fs::set_permissions(&player, fs::Permissions::from_mode(0o755)).unwrap();
    let noted = desk.path("noted.flac");
    let mut command = desk.command(&["lessons", "session.db"]);
    let mut child = command
        .env("PATH", format!("{}:/usr/bin:/bin", tools.display()))
        .env("NOTED", &noted)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let mut keys = child.stdin.take().unwrap();
    std::io::Write::write_all(&mut keys, b"h\n").unwrap();
    let until = Instant::now() + Duration::from_secs(20);
    while !noted.exists() && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(20));
    }
    drop(keys);
    assert!(child.wait().unwrap().success());
    assert!(fs::read(&noted).unwrap().starts_with(b"fLaC"));
    assert!(!desk.path("lessons").exists());
}
