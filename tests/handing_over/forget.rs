use super::Desk;
use bothhands::log::Log;
use bothhands::store::{OpenMode, Store};
use std::fs;

/// The numbers of the events that rest on sound, and the sound of each.
fn clips(desk: &Desk, name: &str) -> Vec<(u64, Vec<u8>)> {
    let store = Store::open(desk.path(name), OpenMode::Read).unwrap();
    let log = Log::read(&store).unwrap();
    log.entries
        .iter()
        .filter_map(|entry| {
            let evidence = store.evidence(&entry.evidence?).unwrap()?;
            Some((entry.no.0, evidence.flac()?.to_vec()))
        })
        .collect()
}

/// Everything of a log that lies on the disk.
fn on_disk(desk: &Desk, name: &str) -> Vec<u8> {
    let files = desk.files(".").into_iter();
    files
        .filter(|file| file.starts_with(name))
        .flat_map(|file| fs::read(desk.path(&file)).unwrap())
        .collect()
}

fn count(haystack: &[u8], needle: &[u8]) -> usize {
    haystack
        .windows(needle.len())
        .filter(|window| *window == needle)
        .count()
}

/// Parts of a clip that stand on the disk once, and so in no other clip.
fn parts<'c>(clip: &'c [u8], disk: &[u8]) -> Vec<&'c [u8]> {
    let parts: Vec<&[u8]> = clip
        .chunks_exact(48)
        .step_by(9)
        .filter(|part| count(disk, part) == 1)
        .collect();
    assert!(!parts.is_empty(), "{} bytes", clip.len());
    parts
}

fn head(desk: &Desk, name: &str) -> String {
    let said = desk.run(&["verify", name]).well().text();
    let head = said.lines().find_map(|line| line.strip_prefix("head: "));
    let (events, hash) = head.unwrap().split_once(':').unwrap();
    format!("{events}:{}", &hash[..16])
}

#[test]
fn the_sound_of_one_event_is_gone_from_the_file_and_all_else_stands() {
    let desk = Desk::with_a_session();
    let before = clips(&desk, "session.db");
    let (no, clip) = before[20].clone();
    let disk = on_disk(&desk, "session.db");
    let own = parts(&clip, &disk);
    let others = parts(&before[21].1, &disk);
    let known = head(&desk, "session.db");
    let schedule = desk.run(&["schedule", "session.db", "--csv", "-"]).well();

    let said = desk
        .run(&["forget-sound", "session.db", "--event", &no.to_string()])
        .well()
        .text();
    assert!(
        said.contains("The sound of 1 utterance is deleted"),
        "{said}"
    );

    let disk = on_disk(&desk, "session.db");
    for part in own {
        assert_eq!(count(&disk, part), 0, "it is still in the file");
    }
    for part in others {
        assert_eq!(count(&disk, part), 1, "another's sound is gone");
    }
    assert_eq!(clips(&desk, "session.db").len(), before.len() - 1);
    let verified = desk.run(&["verify", "session.db", "--head", &known]).well();
    let verified = verified.text();
    assert!(verified.contains("whole.") && verified.contains("It holds the head"));
    assert!(
        verified.contains("the sound of 1 utterance was deleted"),
        "{verified}"
    );
    assert!(!verified.contains("is not in this log"), "{verified}");
    let log = desk.run(&["log", "session.db"]).well().text();
    assert!(log.contains(&format!("sound deleted: #{no}")), "{log}");
    let after = desk.run(&["schedule", "session.db", "--csv", "-"]).well();
    assert_eq!(after.out, schedule.out);
    // Once more finds nothing to delete.
    let again = desk.run(&["forget-sound", "session.db", "--event", &no.to_string()]);
    assert!(again.well().text().contains("no sound left"));
    desk.run(&["forget-sound", "session.db", "--event", "0"])
        .refused("event 0 rests on no sound");
    desk.run(&["forget-sound", "session.db", "--event", "99999"])
        .refused("there is no event 99999");
}

#[test]
fn all_sound_is_gone_and_the_log_is_taken_up_exported_imported_and_merged_as_before() {
    let desk = Desk::with_a_session();
    fs::copy(desk.path("session.db"), desk.path("copy.db")).unwrap();
    let before = clips(&desk, "session.db");
    let size = fs::metadata(desk.path("session.db")).unwrap().len();
    desk.run(&["forget-sound", "session.db", "--all"]).well();
    assert!(clips(&desk, "session.db").is_empty());
    assert!(fs::metadata(desk.path("session.db")).unwrap().len() < size / 2);
    let disk = on_disk(&desk, "session.db");
    assert_eq!(count(&disk, b"fLaC"), 0, "no FLAC file begins anywhere");

    desk.run(&["export", "session.db", "-o", "lines"]).well();
    desk.run(&["import", "lines", "--db", "imported.db"]).well();
    assert_eq!(head(&desk, "imported.db"), head(&desk, "session.db"));
    let verified = desk.run(&["verify", "imported.db"]).well().text();
    assert!(verified.contains("utterances was deleted"), "{verified}");

    // A copy that still has the sound does not bring it back.
    for sources in [["session.db", "copy.db"], ["copy.db", "session.db"]] {
        let to = format!("both-{}", sources[0]);
        desk.run(&["merge", sources[0], sources[1], "-o", &to])
            .well();
        assert!(clips(&desk, &to).is_empty(), "{to}");
        let verified = desk.run(&["verify", &to]).well().text();
        assert!(!verified.contains("it is here"), "{verified}");
        assert_eq!(count(&on_disk(&desk, &to), b"fLaC"), 0);
    }
    assert_eq!(clips(&desk, "copy.db").len(), before.len());
    // Once more finds nothing, and harms nothing.
    let again = desk.run(&["forget-sound", "session.db", "--all"]).well();
    assert!(again.text().contains("no sound left"));
    assert_eq!(head(&desk, "imported.db"), head(&desk, "session.db"));
    desk.run(&["pack", "session.db", "--sounds"]).well();
}

#[test]
fn a_session_goes_on_after_its_sound_was_deleted() {
    let mut r = crate::looking_back::rehearsal::Rehearsal::boathouse();
    r.until("500/L-E");
    let desk = Desk::with(&r);
    fs::write(
        desk.path("job.toml"),
        include_str!("../jobs/boathouse.toml"),
    )
    .unwrap();
    desk.run(&["forget-sound", "session.db", "--all"]).well();
    fs::write(desk.path("words.txt"), "what is out\n").unwrap();
    let args = "test job.toml --db session.db --words words.txt";
    desk.run(&args.split(' ').collect::<Vec<_>>()).well();
    let log = desk.run(&["log", "session.db"]).well().text();
    assert!(log.contains("sound deleted:") && log.contains("what is out"));
    desk.run(&["verify", "session.db"]).well();
}

#[test]
fn what_can_not_be_done_is_said_and_nothing_is_deleted() {
    let desk = Desk::with_a_session();
    desk.run(&["forget-sound", "session.db"]).refused("--all");
    desk.run(&["forget-sound", "none.db", "--all"])
        .refused("there is no such log");
    assert!(!desk.path("none.db").exists());
    fs::write(desk.path("text.db"), "no log").unwrap();
    desk.run(&["forget-sound", "text.db", "--all"])
        .refused("text.db");
    // While a program reads the log, what was deleted can't be taken out of the file.
    let (no, clip) = clips(&desk, "session.db")[3].clone();
    let reader = rusqlite::Connection::open(desk.path("session.db")).unwrap();
    reader
        .execute_batch("BEGIN; SELECT count(*) FROM event")
        .unwrap();
    let held = desk.run(&["forget-sound", "session.db", "--event", &no.to_string()]);
    let held = held.refused("still in the file: another program reads it");
    assert!(held.err.contains("is deleted"), "{}", held.err);
    drop(reader);
    desk.run(&["forget-sound", "session.db", "--all"]).well();
    let disk = on_disk(&desk, "session.db");
    for part in clip.chunks_exact(48).skip(2) {
        assert_eq!(count(&disk, part), 0);
    }
    desk.run(&["verify", "session.db"]).well();
}
