use super::Desk;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::Read;
use zip::ZipArchive;

fn unpacked(desk: &Desk, name: &str) -> BTreeMap<String, Vec<u8>> {
    let mut archive = ZipArchive::new(File::open(desk.path(name)).unwrap()).unwrap();
    (0..archive.len())
        .map(|n| {
            let mut file = archive.by_index(n).unwrap();
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes).unwrap();
            (file.name().unwrap().into_owned(), bytes)
        })
        .collect()
}

/// The commands of a README, as whoever has it would type them.
fn commands(readme: &str) -> Vec<Vec<&str>> {
    readme
        .lines()
        .filter_map(|line| line.strip_prefix("    bothhands "))
        .map(|line| line.split(' ').collect())
        .collect()
}

#[test]
fn the_archive_has_all_of_it_and_its_readme_tells_how_to_check_the_log_in_it() {
    let desk = Desk::with_a_session();
    let said = desk.run(&["pack", "session.db"]).well();
    assert!(said.text().contains("wrote session-results.zip"));
    assert!(said.err.contains("sound of what was said was left out"));
    let files = unpacked(&desk, "session-results.zip");
    let names: Vec<&str> = files.keys().map(String::as_str).collect();
    assert_eq!(
        names,
        [
            "README.txt",
            "circuits.csv",
            "customer.html",
            "customer.pdf",
            "labels.html",
            "labels.pdf",
            "log.jsonl",
            "schedule.html",
            "schedule.json",
            "schedule.pdf",
        ]
    );
    // Each is what its own command writes.
    for (command, option, name) in [
        ("schedule", "--html", "schedule.html"),
        ("schedule", "--pdf", "schedule.pdf"),
        ("schedule", "--csv", "circuits.csv"),
        ("schedule", "--json", "schedule.json"),
        ("schedule", "--customer", "customer.html"),
        ("labels", "--html", "labels.html"),
        ("labels", "--pdf", "labels.pdf"),
    ] {
        let args = [command, "session.db", option, "-"];
        assert_eq!(desk.run(&args).well().out, files[name], "{name}");
    }
    // No voice is in it unless it is asked for.
    assert!(!String::from_utf8_lossy(&files["log.jsonl"]).contains("\"flac\":\""));

    let readme = String::from_utf8(files["README.txt"].clone()).unwrap();
    for (name, bytes) in &files {
        fs::write(desk.path(name), bytes).unwrap();
    }
    let [import, verify, again] = &commands(&readme)[..] else {
        panic!("{readme}");
    };
    desk.run(import).well();
    assert!(desk.run(verify).well().text().contains("It holds the head"));
    // What was changed beside the log is not what the log gives.
    desk.run(again).well();
    assert_eq!(unpacked(&desk, "again.zip"), files);
    for (name, bytes) in files.iter().filter(|(name, _)| *name != "README.txt") {
        let sum = hex::encode(<sha2::Sha256 as sha2::Digest>::digest(bytes));
        assert!(readme.contains(&format!("{sum}  {name}")), "{name}");
    }
    let whole = desk.run(&["verify", "session.db"]).well().text();
    let head = whole
        .lines()
        .find_map(|line| line.strip_prefix("head: "))
        .unwrap();
    assert!(readme.contains(head), "{head} is not in {readme}");
    assert!(readme.contains("Testing can kill."));

    // A log that was changed by a letter is told.
    let log = String::from_utf8(files["log.jsonl"].clone()).unwrap();
    let spoilt = log.replacen("\"number\":\"0.67\"", "\"number\":\"0.07\"", 1);
    assert!(spoilt != log);
    fs::write(desk.path("log.jsonl"), spoilt).unwrap();
    fs::remove_file(desk.path("log.db")).unwrap();
    assert_eq!(desk.run(import).code, Some(2));
}

#[test]
fn the_same_log_gives_the_same_archive() {
    let desk = Desk::with_a_session();
    let pack = |out: &str| {
        desk.run(&["pack", "session.db", "-o", out, "--sounds"])
            .well();
        fs::read(desk.path(out)).unwrap()
    };
    let once = pack("a.zip");
    std::thread::sleep(std::time::Duration::from_millis(2100));
    assert_eq!(once, pack("b.zip"));
    let piped = desk
        .run(&["pack", "session.db", "-o", "-", "--sounds"])
        .well();
    assert_eq!(piped.out, once);
    assert!(String::from_utf8_lossy(&unpacked(&desk, "a.zip")["log.jsonl"]).contains("\"flac\""));
}

#[test]
fn nothing_is_packed_of_a_log_that_is_none_or_damaged() {
    let desk = Desk::with_a_session();
    desk.run(&["pack", "none.db"]).refused("none.db");
    desk.run(&["pack", "session.db", "-o", "session.db"])
        .refused("is not written over");
    let bytes = fs::read(desk.path("session.db")).unwrap();
    let half = &bytes[..bytes.len() / 2];
    fs::write(desk.path("half.db"), half).unwrap();
    desk.run(&["pack", "half.db"]).refused("half.db");
    assert!(!desk.path("half-results.zip").exists());
}
