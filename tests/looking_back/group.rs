//! The review of who learned by a log, and of a group: marks, attempts side by side, striking.

use crate::looking_back::browser::{Answer, Browser, ask};
use crate::looking_back::in_a_browser::{Served, axe, is_easy_to_use, picture};
use crate::looking_back::rehearsal::Rehearsal;
use crate::practice::learner::{Habit, JOB, Learner};
use bothhands::log::Log;
use bothhands::marking::{Criteria, Economy, Group, Sheet, mark};
use bothhands::practice::Hidden;
use bothhands::sequence::Event;
use bothhands::store::{OpenMode, Store};
use bothhands::terms::{FaultKind, Level};
use serde_json::json;
use std::path::{Path, PathBuf};

const STAMP: &str = "PRACTICE on a simulated installation";

/// Logs of a group: two attempts of one learner, another who does not isolate, and one in the middle.
fn group() -> (tempfile::TempDir, Vec<PathBuf>) {
    let folder = tempfile::tempdir().unwrap();
    let mut paths = Vec::new();
    let mut keep = |name: &str, learner: &Learner| {
        let path = folder.path().join(name);
        learner.keep(&path, true);
        paths.push(path);
    };
    let hidden = || {
        let job = bothhands::installation::Job::parse(JOB, "bay.toml").unwrap();
        Hidden::drawn(&job, 7, 1, &[FaultKind::OpenLeg])
    };
    let through = |hidden, habit, learner: &str| {
        let mut played = Learner::named(learner, hidden, Level::Led, habit);
        played.go_to_the_end();
        played
    };
    keep(
        "first.db",
        &through(hidden(), Some(Habit::DecimalPlaceOff), "Kim"),
    );
    keep("second.db", &through(hidden(), None, "Kim"));
    keep(
        "other.db",
        &through(Hidden::nothing(), Some(Habit::DoesNotIsolate), "Robin"),
    );
    let mut half = Learner::named("Sasha", Hidden::nothing(), Level::Asked, None);
    half.say("what can i say");
    half.go_to("bond/water");
    keep("half.db", &half);
    (folder, paths)
}

fn served() -> (Served, Vec<PathBuf>) {
    let (folder, paths) = group();
    (Served::of(folder, paths.clone()), paths)
}

fn sheet_of(path: &Path) -> Sheet {
    let log = Log::read(&Store::open(path, OpenMode::Read).unwrap()).unwrap();
    let criteria = Criteria::default();
    mark(&log, None, None, &criteria, &mut Economy::default()).unwrap()
}

fn get(served: &Served, page: &str) -> Answer {
    ask("GET", &served.address.replace("group", page), &[], "")
}

fn post_strike(served: &Served, page: &str, of: u64, reason: &str) -> Answer {
    let form = [("content-type", "application/x-www-form-urlencoded")];
    let body = format!("of={of}&reason={reason}&by=B.+Instructor");
    ask("POST", &served.address.replace("group", page), &form, &body)
}

/// The addresses that a page leads to.
fn links(page: &str) -> Vec<&str> {
    page.split("href=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

#[test]
fn the_first_page_of_several_logs_is_the_group_and_leads_to_each() {
    let (served, paths) = served();
    let page = ask("GET", &served.address, &[], "");
    assert_eq!(page.status, 200);
    // The same parts as the file that `mark` writes.
    let sheets: Vec<Sheet> = paths.iter().map(|path| sheet_of(path)).collect();
    let file = bothhands::report::group_html(&sheets, &[], &bothhands::report::Times::utc());
    let sections = |page: &str| -> Vec<String> {
        let texts = page.split("<section>").skip(1);
        texts
            .map(|text| text.split("</section>").next().unwrap())
            .map(words_of)
            .collect()
    };
    assert_eq!(sections(&page.body), sections(&file));
    assert_eq!(sections(&file).len(), 4);
    let root = served.address.rsplit_once('/').unwrap().0;
    let root = &root[root.rfind('/').unwrap()..];
    let host = served.address.rsplit_once(root).unwrap().0;
    let links = links(&page.body);
    for n in 1..=4 {
        for what in ["timeline", "marks"] {
            let wanted = format!("{root}/log/{n}/{what}");
            assert!(links.contains(&wanted.as_str()), "{wanted}: {links:?}");
            let there = ask("GET", &format!("{host}{wanted}"), &[], "");
            assert_eq!(there.status, 200, "{wanted}");
            assert!(there.body.contains(&sheets[n - 1].learner), "{wanted}");
            assert!(there.body.contains("The group"), "{wanted}");
        }
    }
}

/// What a reader sees of a page.
fn words_of(html: &str) -> String {
    let mut words = String::new();
    for part in html.split('<') {
        let text = part.split_once('>').map_or(part, |(_, text)| text);
        words.push_str(text);
        words.push(' ');
    }
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_page_of_a_practice_is_stamped_and_forbids_what_it_does_not_need() {
    let (served, _) = served();
    for page in [
        "group",
        "beside?with=1&with=3",
        "log/1/timeline",
        "log/1/out",
        "log/1/graphs",
        "log/1/marks",
        "log/1/schedule.html",
        "log/1/customer.html",
    ] {
        let answer = get(&served, page);
        assert_eq!(answer.status, 200, "{page}");
        assert!(answer.body.contains(STAMP), "{page}");
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'"), "{page}: {policy}");
        assert!(!policy.contains("script-src"), "{page}: {policy}");
        assert!(!answer.body.contains("<script"), "{page}");
        assert!(!answer.body.contains("https://"), "{page}");
    }
    let elsewhere = ask("GET", &served.address, &[("host", "rowing.example")], "");
    assert_eq!(elsewhere.status, 403);
}

#[test]
fn attempts_side_by_side_have_a_column_each() {
    let (served, paths) = served();
    let page = get(&served, "beside?with=3&with=1&with=1&with=99&other=2").body;
    let heads: Vec<&str> = page
        .split("scope=\"col\">")
        .skip(1)
        .map(|rest| rest.split("</th>").next().unwrap())
        .collect();
    assert_eq!(heads.len(), 9, "{heads:?}");
    for of in heads.chunks(3) {
        assert!(of[1].contains("Kim, attempt 1"), "{of:?}");
        assert!(of[2].contains("Robin"), "{of:?}");
    }
    // Each criterion, and the time of each step, as the sheets have them.
    let rows: Vec<Vec<String>> = page
        .split("<tr>")
        .map(|row| row.split("</t").map(words_of).collect())
        .collect();
    let row = |name: &str| {
        let found = rows.iter().find(|row| row[0] == name);
        found.unwrap_or_else(|| panic!("no row {name}")).clone()
    };
    let isolation = row("Isolated before testing dead");
    assert_eq!(isolation[1], "✓ passed");
    assert!(isolation[2].starts_with("✗ failed, "), "{isolation:?}");
    let sheets = [sheet_of(&paths[0]), sheet_of(&paths[2])];
    let group = Group::of(&sheets);
    let date = row("Date");
    assert_eq!(date[1], "27 November 2026");
    let stages: std::collections::BTreeSet<_> = sheets
        .iter()
        .flat_map(|sheet| &sheet.times)
        .map(|time| (time.stage, time.kind))
        .collect();
    for (stage, kind) in &stages {
        let stage = bothhands::sequence::say::capital(stage.shown());
        row(&format!("{stage}: {}", kind.replace('-', " ")));
        row(&format!("{stage}, all of it"));
    }
    assert!(group.attempts.len() == 2 && stages.len() > 10);
    let few = get(&served, "beside?with=1");
    assert_eq!(few.status, 422);
    assert!(few.body.contains("Choose two attempts or more"));
}

#[test]
fn a_reading_is_struck_from_the_page_of_marks() {
    let (served, paths) = served();
    let before = sheet_of(&paths[0]);
    let wrong: Vec<_> = before.readings.iter().filter(|j| j.is_wrong()).collect();
    let [wrong] = wrong.as_slice() else {
        panic!("{wrong:?}")
    };
    let page = get(&served, "log/1/marks").body;
    assert!(page.contains(&format!("name=\"of\" value=\"{}\"", wrong.event)));
    assert!(page.contains(&format!("sound/{}.flac", wrong.sound.as_ref().unwrap())));
    // Only what is wrong can be struck there.
    assert_eq!(page.matches("action=\"strike\"").count(), 1);
    let of = wrong.event.0;
    for (of, reason, why) in [
        (of, "", "write why"),
        (0, "misheard", "no reading"),
        (of, &"x".repeat(201), "more than 200"),
    ] {
        let refused = post_strike(&served, "log/1/strike", of, reason);
        assert_eq!(refused.status, 422, "{}", refused.body);
        assert!(refused.body.contains(why), "{}", refused.body);
        assert!(refused.body.contains("href=\"marks\""));
    }
    assert_eq!(sheet_of(&paths[0]), before);
    let answer = post_strike(&served, "log/1/strike", of, "a+lorry+passed");
    assert_eq!(answer.status, 303, "{}", answer.body);
    let to = answer.header("location").unwrap().to_owned();
    let after = get(&served, &format!("log/1/{to}")).body;
    assert!(after.contains("struck: a lorry passed"), "{after}");
    assert!(after.contains("is kept as event"));
    assert_eq!(after.matches("action=\"strike\"").count(), 0);
    let store = Store::open(&paths[0], OpenMode::Read).unwrap();
    assert!(store.verify().unwrap().is_whole());
    let log = Log::read(&store).unwrap();
    assert!(matches!(
        &log.entries.last().unwrap().event,
        Event::Struck { of: struck, reason, .. } if struck.0 == of && reason == "a lorry passed"
    ));
    // The event says that it was practised.
    let record = store.records().last().unwrap().unwrap();
    let payload: serde_json::Value = record.payload().unwrap();
    assert_eq!(payload["practised"], true);
    // The group has it too.
    let group = get(&served, "group").body;
    let row = group.split("<tr>").find(|row| row.contains("/log/1/marks"));
    let wrong = row.unwrap().split("data-label=\"Readings wrong\"").nth(1);
    assert!(words_of(&format!("<{}", wrong.unwrap())).starts_with('0'));
}

/// One log of practice has its marks beside its timeline; one of a plain test has none.
#[test]
fn one_log_of_practice_has_a_tab_of_marks() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bay.db");
    let mut learner = Learner::named("Kim", Hidden::nothing(), Level::Led, None);
    learner.go_to_the_end();
    learner.keep(&path, true);
    let served = Served::of(folder, vec![path]);
    let page = ask("GET", &served.address, &[], "").body;
    assert!(page.contains("href=\"marks\"") && !page.contains("The group"));
    let marks = ask("GET", &served.address.replace("timeline", "marks"), &[], "");
    assert!(marks.body.contains("Passed by these criteria") && marks.body.contains(STAMP));
    let group = served.address.replace("timeline", "group");
    assert_eq!(ask("GET", &group, &[], "").status, 404);

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("session.db");
    let mut tested = Rehearsal::boathouse();
    tested.until("500/L-E");
    tested.keep(&path, false);
    let served = Served::of(folder, vec![path]);
    let page = ask("GET", &served.address, &[], "").body;
    assert!(!page.contains("href=\"marks\""));
}

/// How long the first page of two hundred logs takes. It is printed, not asserted.
#[test]
#[ignore = "a load; run it with --release and --nocapture"]
fn two_hundred() {
    let (folder, paths) = group();
    let copies: Vec<PathBuf> = (0..200)
        .map(|n| {
            let copy = folder.path().join(format!("copy-{n}.db"));
            std::fs::copy(&paths[n % paths.len()], &copy).unwrap();
            copy
        })
        .collect();
    let since = std::time::Instant::now();
    let served = Served::of(folder, copies);
    println!("ready after {:.1} s", since.elapsed().as_secs_f64());
    let since = std::time::Instant::now();
    let page = ask("GET", &served.address, &[], "");
    println!("its page after {:.1} s", since.elapsed().as_secs_f64());
    assert!(page.body.contains("Group of 200 attempts"));
}

#[test]
fn in_a_browser_attempts_are_chosen_and_a_reading_is_struck_from_the_keyboard() {
    let rules = axe();
    let browser = Browser::start();
    let (served, paths) = served();
    browser.open(&served.address);
    for n in [1, 3] {
        browser.keys(&format!("input[name=with][value='{n}']"), " ");
    }
    browser.sends(".choose button", "");
    let title = browser.run("return document.querySelector('h1').textContent", json!([]));
    assert!(
        title.as_str().unwrap().contains("2 attempts side by side"),
        "{title}"
    );
    let beside = browser.run("return location.href", json!([]));
    let beside = beside.as_str().unwrap().to_owned();

    let marks = served.address.replace("group", "log/1/marks");
    browser.open(&marks);
    let played = browser.run(
        "const a = document.querySelector('audio'); a.muted = true;
         return a.play().then(() => new Promise(done => a.onended = () => done(a.duration)));",
        json!([]),
    );
    assert!((played.as_f64().unwrap() - 0.25).abs() < 0.05, "{played}");
    browser.keys("td summary", "\u{E007}");
    if let Ok(folder) = std::env::var("OUT") {
        std::fs::write(Path::new(&folder).join("strike.png"), browser.picture()).unwrap();
    }
    browser.keys("td input[name=reason]", "a lorry passed");
    browser.sends("td input[name=by]", "B. Instructor");
    let kept = browser.run(
        "return document.querySelector('.kept')?.textContent",
        json!([]),
    );
    assert!(
        kept.as_str().is_some_and(|text| text.contains("is kept")),
        "{kept}"
    );
    assert!(sheet_of(&paths[0]).readings.iter().all(|j| !j.is_wrong()));

    let third = served.address.replace("group", "log/3/marks");
    let pages = [
        ("group", served.address.as_str()),
        ("beside", &beside),
        ("marks", &marks),
        ("marks-of-another", &third),
    ];
    for (_, page) in pages {
        is_easy_to_use(&browser, &rules, page);
    }
    if let Ok(folder) = std::env::var("OUT") {
        for (name, page) in pages {
            picture(&browser, page, Path::new(&folder), name);
        }
    }
}
