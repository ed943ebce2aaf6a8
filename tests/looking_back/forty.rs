//! A stranger's job: forty circuits with long names on three boards, made from a table, typed to its end,
//! and on paper.

use crate::commands::begin::bothhands as program;
use crate::dialogues::plain::{Site, plain_answer};
use bothhands::installation::Job;
use bothhands::sequence::Event;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const PLACES: [&str; 10] = [
    "members' changing rooms and showers",
    "long boat store behind the slipway",
    "committee room on the upper floor",
    "workshop, varnishing bay and drying loft",
    "kitchen behind the bar",
    "entrance hall and trophy cabinet",
    "coaches' office beside the ergometers",
    "pontoon and landing stage",
    "boatman's quarters over the workshop",
    "weighing room and first-aid cupboard",
];

/// The name of a circuit.
fn name(n: usize, kind: &str) -> String {
    format!("{kind} {n} for the {}", PLACES[n % PLACES.len()])
}

/// Forty circuits: two sub-mains and twelve others on the first board, thirteen on each of the two others. The
/// third is a split board behind a main RCD.
fn table() -> (String, Vec<String>) {
    let mut text = "Board,Board name,Fed from,Number,Name,Kind,Device,kA,RCD,Sizes,Metres,Points,Type of wiring,Reference method,Protected by RCD\n".to_owned();
    let mut names = Vec::new();
    let boards = [
        (1, "main switchboard in the boatman's office", "", 14),
        (
            2,
            "distribution board of the upper floor and loft",
            "\"board 1, circuit 1\"",
            13,
        ),
        (
            3,
            "distribution board of the long boat store",
            "\"board 1, circuit 2\"",
            13,
        ),
    ];
    let mut n = 0;
    for (board, called, from, circuits) in boards {
        for number in 1..=circuits {
            n += 1;
            let rest = match (board, number) {
                (1, 1 | 2) => ("sub-main", "distribution,BS 88-3 63 A,16,,16/16,22,,F,D"),
                (_, number) if number % 4 == 0 => {
                    ("ring", "ring,B32,6,30,2.5/1.5,48,6 sockets,A,100")
                }
                (_, number) if number % 4 == 1 => {
                    ("lights", "lighting,B6,6,,1.5/1,26,5 lights,A,B")
                }
                (_, number) if number % 4 == 2 => {
                    ("heater", "single-point,B16,6,30,2.5/1.5,14,,A,C")
                }
                _ => ("sockets", "radial,B20 RCBO,6,30,2.5/1.5,17,3 sockets,A,100"),
            };
            let name = name(n, rest.0);
            // Its figures stand where it is first named.
            let under = match (board, number) {
                (3, 1) => {
                    "\"RCD 1: 30 mA, type A, 63 A, BS EN 61008; RCD 3: 300 mA, type A, type S, 100 A\""
                }
                (3, 8) => "\"RCD 2: 30mA type AC 40A; 3\"",
                (3, 2..=7) => "RCD 1; RCD 3",
                (3, _) => "2; 3",
                _ => "",
            };
            let of_its_own = rest.1.contains("RCBO") || board != 3;
            let what = match of_its_own {
                true => rest.1.to_owned(),
                false => rest.1.replace(",6,30,", ",6,,"),
            };
            text += &format!("{board},\"{called}\",{from},{number},\"{name}\",{what},{under}\n");
            names.push(name);
        }
    }
    (text, names)
}

/// The job file that is made of the table, with what a table can't tell filled in.
fn job(folder: &TempDir) -> String {
    program(folder, &["new", "job.toml", "--from", "circuits.csv"])
        .assert()
        .success();
    let text = fs::read_to_string(folder.path().join("job.toml")).unwrap();
    let mark = bothhands::installation::TO_FILL_IN;
    let text = text
        .replace(&format!("\"{mark}: TN-S, TN-C-S or TT\""), "\"TN-C-S\"")
        .replace(&format!("\"{mark}: 1 or 3\""), "1")
        .replace(&format!("{mark}: the last day, as in 31 March 2027"), "31/03/2027")
        .replace(
            &format!("\"{mark}: initial-verification for new work, periodic-inspection for what is in use\""),
            "\"new work\"",
        )
        .replace("bonds = [\"water\", \"gas\"]", "bonds = [\"water\"]")
        .replace(&format!("{mark}: who tests"), "A. Learner")
        .replace(mark, "Boathouse");
    fs::write(folder.path().join("job.toml"), &text).unwrap();
    program(folder, &["check", "job.toml"]).assert().success();
    text
}

/// What is typed from the first prompt to the last.
fn script(job: &str) -> String {
    let job = Job::parse(job, "job.toml").unwrap();
    let (mut site, _) = Site::typed(job, "2026-11-25T09:30:00Z".parse().unwrap());
    let mut script = String::new();
    while let Some(answer) = plain_answer(site.state()) {
        let words = answer.words();
        let before = site.events.len();
        let lines = site
            .type_in(&words)
            .unwrap_or_else(|why| panic!("{}: {why}", site.asked()));
        let refused = site.events[before..]
            .iter()
            .any(|(event, _)| matches!(event, Event::Refused { .. }));
        assert!(!refused, "{}: {words}: {lines:?}", site.asked());
        script += &words;
        script.push('\n');
    }
    script + "finish\n"
}

#[test]
fn forty_circuits_on_three_boards_from_a_table_to_the_last_page() {
    crate::need("pdftotext", "poppler-utils");
    let folder = tempfile::tempdir().unwrap();
    let (text, names) = table();
    assert_eq!(names.len(), 40);
    fs::write(folder.path().join("circuits.csv"), text).unwrap();
    let job = job(&folder);
    fs::write(folder.path().join("script.txt"), script(&job)).unwrap();
    program(
        &folder,
        &[
            "test",
            "job.toml",
            "--db",
            "log.db",
            "--words",
            "script.txt",
            "--voice",
            "none",
        ],
    )
    .assert()
    .success();
    program(&folder, &["schedule", "log.db", "--out", "out"])
        .assert()
        .success();
    let out = folder.path().join("out");
    let file = |ending: &str| {
        let mut files = fs::read_dir(&out)
            .unwrap()
            .map(|entry| entry.unwrap().path());
        files
            .find(|path| path.to_string_lossy().ends_with(ending))
            .unwrap()
    };
    let pdf = file("schedule.pdf");
    if let Ok(keep) = std::env::var("OUT") {
        for ending in [
            "schedule.pdf",
            "schedule.html",
            "schedule.csv",
            "customer.pdf",
        ] {
            fs::copy(
                file(ending),
                Path::new(&keep).join(format!("forty.{ending}")),
            )
            .unwrap();
        }
        fs::copy(
            folder.path().join("log.db"),
            Path::new(&keep).join("forty.db"),
        )
        .unwrap();
    }
    let poppler = |program: &str, options: &[&str], more: &[&str]| {
        let output = std::process::Command::new(program)
            .args(options)
            .arg(&pdf)
            .args(more)
            .output()
            .unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    // In the order in which it is read, so that a name in several lines is one.
    let read = poppler("pdfinfo", &["-struct-text"], &[]);
    let read: String = read
        .lines()
        .map(|line| line.trim().trim_matches('"'))
        .collect::<Vec<_>>()
        .join(" ");
    let read = read.split_whitespace().collect::<String>();
    for name in &names {
        let name: String = name.split_whitespace().collect();
        // Key results, details, and the group of its readings.
        assert!(
            read.matches(&name).count() >= 3,
            "{name} stands {} times",
            read.matches(&name).count()
        );
    }
    let info = poppler("pdfinfo", &[], &[]);
    let said = |key: &str| {
        let line = info.lines().find(|line| line.starts_with(key)).unwrap();
        line.split_once(':').unwrap().1.trim().to_owned()
    };
    assert_eq!(said("Tagged"), "yes");
    assert!(said("Page size").starts_with("841.89 x 595.28"), "{info}");
    let pages: usize = said("Pages").parse().unwrap();
    assert!((10..=60).contains(&pages), "{pages} pages");
    // Nothing lies outside its page, or over something else: boxes of all words of each page.
    let boxes = poppler("pdftotext", &["-bbox"], &["-"]);
    let mut overlapping = Vec::new();
    let mut words: Vec<(f64, f64, f64, f64, String)> = Vec::new();
    for line in boxes.lines().map(str::trim) {
        if line.starts_with("<page") {
            words.clear();
        }
        let Some(word) = line.strip_prefix("<word ") else {
            continue;
        };
        let number = |key: &str| -> f64 {
            let (_, rest) = word.split_once(&format!("{key}=\"")).unwrap();
            rest.split_once('"').unwrap().0.parse().unwrap()
        };
        let (x0, y0, x1, y1) = (
            number("xMin"),
            number("yMin"),
            number("xMax"),
            number("yMax"),
        );
        let text = word
            .split_once('>')
            .unwrap()
            .1
            .trim_end_matches("</word>")
            .to_owned();
        assert!(
            x0 >= 0.0 && x1 <= 841.9 && y0 >= 0.0 && y1 <= 595.3,
            "{text} lies outside: {word}"
        );
        // Boxes are as high as the face; letters of two lines never reach that far.
        for (a0, b0, a1, b1, other) in &words {
            let across = x1.min(*a1) - x0.max(*a0);
            let down = y1.min(*b1) - y0.max(*b0);
            if across > 0.6 && down > (y1 - y0) * 0.4 {
                overlapping.push(format!("{text} over {other}"));
            }
        }
        words.push((x0, y0, x1, y1, text));
    }
    assert!(overlapping.is_empty(), "{overlapping:?}");

    // The last visit's schedule becomes the job of the next one, and its readings stand beside this one's.
    fs::copy(file("schedule.csv"), folder.path().join("last.csv")).unwrap();
    program(&folder, &["new", "next.toml", "--last", "last.csv"])
        .assert()
        .success();
    let next = fs::read_to_string(folder.path().join("next.toml")).unwrap();
    let next = next
        .replace("FILL IN: the number on it", "IT-1")
        .replace("FILL IN: the last day, as in 31 March 2027", "31/03/2027");
    // Each of them is tested once, however many circuits are under it.
    let log = fs::read_to_string(folder.path().join("script.txt")).unwrap();
    assert_eq!(log.lines().filter(|line| *line == "tripped").count(), 24);
    let (last, next) = (
        Job::parse(&job, "job.toml").unwrap(),
        Job::parse(&next, "next.toml").unwrap(),
    );
    assert_eq!(next.supply.earthing, last.supply.earthing);
    for (last, next) in last.boards.iter().zip(&next.boards) {
        assert_eq!(
            (last.number, &last.name, &last.fed_from),
            (next.number, &next.name, &next.fed_from)
        );
        assert_eq!(last.rcds, next.rcds, "board {}", last.number);
        for (last, next) in last.circuits.iter().zip(&next.circuits) {
            assert_eq!(last.points.len(), next.points.len(), "{}", last.name);
            let next = bothhands::installation::Circuit {
                points: last.points.clone(),
                ..next.clone()
            };
            assert_eq!(*last, next);
        }
    }
    program(&folder, &["changed", "last.csv", "log.db"])
        .assert()
        .success()
        .stdout(predicates::str::contains("; 0 not explained"));
}
