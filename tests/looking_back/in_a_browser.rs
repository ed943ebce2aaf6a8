//! The review pages: what they let in, what they let out, and that they work in a real browser.

use crate::looking_back::browser::{Answer, Browser, ask};
use crate::looking_back::rehearsal::{Rehearsal, megohms};
use bothhands::grammar::Intent;
use bothhands::log::Log;
use bothhands::report::{Letterhead, Schedule, Times};
use bothhands::review::{Marking, Review, serve};
use bothhands::sequence::Event;
use bothhands::store::{OpenMode, Store};
use bothhands::terms::Statement;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::mpsc;

/// A served log; it is stopped when this is dropped.
pub struct Served {
    pub folder: tempfile::TempDir,
    pub address: String,
    _stop: tokio::sync::oneshot::Sender<()>,
}

impl Served {
    fn new() -> Self {
        let mut r = Rehearsal::boathouse();
        r.until("500/L-E");
        r.say(megohms("299"));
        r.say(Intent::Correction(Some(Box::new(megohms("200")))));
        r.until("b1/c2/polarity/dead");
        let folder = tempfile::tempdir().unwrap();
        let db = folder.path().join("session.db");
        r.keep(&db, true);
        Self::of(folder, vec![db])
    }

    /// Serves these logs, which lie in the folder.
    pub fn of(folder: tempfile::TempDir, dbs: Vec<PathBuf>) -> Self {
        let (told, address) = mpsc::channel();
        let (stop, stopped) = tokio::sync::oneshot::channel();
        std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .unwrap();
            let (times, marking) = (Times::utc(), Marking::default());
            let review = Review::of(dbs, times, Letterhead::default(), marking).unwrap();
            let ready = move |address| told.send(address).unwrap();
            let stop = async {
                let _ = stopped.await;
            };
            runtime.block_on(serve(review, 0, ready, stop)).unwrap();
        });
        Self {
            folder,
            address: address.recv().unwrap(),
            _stop: stop,
        }
    }

    fn db(&self) -> PathBuf {
        self.folder.path().join("session.db")
    }

    fn get(&self, page: &str) -> Answer {
        ask("GET", &self.address.replace("timeline", page), &[], "")
    }

    fn put_right(&self, of: u64, value: &str, reason: &str) -> Answer {
        let body = format!("of={of}&value={value}&reason={reason}");
        let form = [("content-type", "application/x-www-form-urlencoded")];
        ask(
            "POST",
            &self.address.replace("timeline", "put-right"),
            &form,
            &body,
        )
    }

    fn log(&self) -> Log {
        Log::read(&Store::open(self.db(), OpenMode::Read).unwrap()).unwrap()
    }

    /// The 200 MΩ that was said after "correction".
    fn reading(&self) -> u64 {
        let log = self.log();
        let state = log.agenda().unwrap();
        let kept = state.readings().find(|kept| kept.reading.shown() == "200");
        kept.unwrap().no.0
    }
}

#[test]
fn without_the_token_there_is_nothing() {
    let served = Served::new();
    let (place, _) = served.address.rsplit_once('/').unwrap();
    let (root, token) = place.rsplit_once('/').unwrap();
    assert_eq!(token.len(), 32);
    for path in [
        "/",
        "/timeline",
        "/0123456789abcdef0123456789abcdef/timeline",
    ] {
        let answer = ask("GET", &format!("{root}{path}"), &[], "");
        assert_eq!(answer.status, 404, "{path}");
        assert!(!answer.body.contains("Boathouse"));
    }
}

#[test]
fn a_page_elsewhere_whose_name_leads_here_is_refused() {
    let served = Served::new();
    let answer = ask("GET", &served.address, &[("host", "rowing.example")], "");
    assert_eq!(answer.status, 403);
}

#[test]
fn every_page_forbids_what_it_does_not_need() {
    let served = Served::new();
    for page in [
        "timeline",
        "out",
        "graphs",
        "schedule.html",
        "customer.html",
        "review.css",
    ] {
        let answer = served.get(page);
        assert_eq!(answer.status, 200, "{page}");
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'"), "{page}: {policy}");
        assert!(!policy.contains("script-src"), "{page}: {policy}");
        assert_eq!(answer.header("referrer-policy"), Some("no-referrer"));
        assert!(!answer.body.contains("<script"), "{page}");
        assert!(!answer.body.contains("https://"), "{page}");
    }
}

#[test]
fn the_timeline_shows_what_was_heard_with_its_scores_and_its_chain_of_corrections() {
    let served = Served::new();
    let page = served.get("timeline?only=corrections").body;
    assert!(page.contains("two nine five"), "runner-up");
    assert!(page.contains("margin 3.40"), "score");
    assert!(
        page.contains("299 MΩ</a> → <strong>200 MΩ"),
        "chain: {page}"
    );
    assert!(page.contains("audio controls"));
}

/// One definition of what is an exception: the timeline's filter finds each that the schedule names, a
/// statement ("polarity reversed") as well as a reading.
#[test]
fn the_exceptions_of_the_schedule_are_those_of_the_timeline() {
    let mut r = Rehearsal::boathouse();
    r.until("b1/c1/polarity/dead");
    r.say(Intent::Stated(Statement::PolarityReversed));
    r.say(Intent::Affirm);
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("session.db");
    r.keep(&db, true);
    let log = Log::read(&Store::open(&db, OpenMode::Read).unwrap()).unwrap();
    let schedule = Schedule::of(&log, &Times::utc()).unwrap();
    let stated: Vec<_> = schedule
        .exceptions
        .iter()
        .filter(|one| one.what.contains("reversed"))
        .collect();
    assert_eq!(stated.len(), 1, "{:?}", schedule.exceptions);
    let served = Served::of(folder, vec![db]);
    let page = served.get("timeline?only=outside").body;
    for one in &schedule.exceptions {
        let anchor = format!("<li id=\"event-{}\"", one.event.0);
        assert!(page.contains(&anchor), "{one:?} is not in\n{page}");
    }
}

#[test]
fn a_filter_shows_only_what_was_asked_for() {
    let served = Served::new();
    let all = served
        .get("timeline")
        .body
        .matches("<li id=\"event-")
        .count();
    let two = served.get("timeline?circuit=2").body;
    let few = two.matches("<li id=\"event-").count();
    assert!(few > 0 && few < all, "{few} of {all}");
    assert!(!two.contains(">circuit 1<"));
}

#[test]
fn sound_comes_as_it_is_kept_whole_or_in_part() {
    let served = Served::new();
    let hash = served.log().entries[5].evidence.unwrap();
    let page = format!("sound/{hash}.flac");
    let whole = served.get(&page);
    assert_eq!(whole.header("content-type"), Some("audio/flac"));
    assert!(whole.bytes.starts_with(b"fLaC"));
    let address = served.address.replace("timeline", &page);
    let part = ask("GET", &address, &[("range", "bytes=4-11")], "");
    assert_eq!(part.status, 206);
    assert_eq!(part.bytes, whole.bytes[4..12]);
    assert_eq!(served.get("sound/nothing.flac").status, 404);
}

#[test]
fn a_correction_becomes_an_event_with_its_reason() {
    let served = Served::new();
    let of = served.reading();
    let answer = served.put_right(of, "%3E200", "misheard");
    assert_eq!(answer.status, 303, "{}", answer.body);
    let log = served.log();
    let last = log.entries.last().unwrap();
    assert!(
        matches!(&last.event, Event::CorrectedAtDesk { of: old, reading, reason, .. }
            if old.0 == of && reading.shown() == ">200" && reason == "misheard"),
        "{:?}",
        last.event
    );
    assert!(
        Store::open(served.db(), OpenMode::Read)
            .unwrap()
            .verify()
            .unwrap()
            .is_whole()
    );
}

#[test]
fn a_correction_that_says_nothing_is_refused_and_nothing_is_kept() {
    let served = Served::new();
    let before = served.log().entries.len();
    let of = served.reading();
    for (value, reason, why) in [
        ("200", "misheard", "says that already"),
        ("lots", "misheard", "is no value"),
        ("300", "", "write why"),
    ] {
        let answer = served.put_right(of, value, reason);
        assert_eq!(answer.status, 422);
        assert!(answer.body.contains(why), "{}", answer.body);
    }
    assert_eq!(served.log().entries.len(), before);
}

#[test]
fn a_correction_while_the_session_goes_on_elsewhere_is_refused_in_words() {
    let served = Served::new();
    let _session = Store::open(served.db(), OpenMode::Append).unwrap();
    let answer = served.put_right(served.reading(), "300", "misheard");
    assert_eq!(answer.status, 422);
    assert_eq!(served.get("timeline").status, 200);
}

#[test]
fn in_a_browser_the_page_opens_filters_plays_and_takes_a_correction_from_the_keyboard() {
    let rules = axe();
    let browser = Browser::start();
    let served = Served::new();
    browser.open(&served.address);
    assert_eq!(
        browser.run("return document.querySelector('h1').textContent", json!([])),
        "Boathouse, new wiring"
    );

    // From the keyboard: a search, sent with Enter.
    browser.sends("input[name=find]", "correction");
    let found = browser.run(
        "return document.querySelector('.found').textContent",
        json!([]),
    );
    assert!(found.as_str().unwrap().contains(" of "), "{found}");
    let shown = browser.run(
        "return document.querySelectorAll('.timeline > li').length",
        json!([]),
    );
    assert!(shown.as_u64().unwrap() < 20, "{shown}");

    browser.open(&format!("{}?only=corrections", served.address));
    let played = browser.run(
        "const a = document.querySelector('audio'); a.muted = true;
         return a.play().then(() => new Promise(done => a.onended = () => done(a.duration)));",
        json!([]),
    );
    assert!((played.as_f64().unwrap() - 0.25).abs() < 0.05, "{played}");

    let of = served.reading();
    browser.open(&served.address);
    browser.keys(
        &format!("#event-{of} summary, li:has(input[value='{of}'][name=of]) summary"),
        "\u{E007}",
    );
    let value = format!("li:has(input[value='{of}'][name=of]) input[name=value]");
    browser.run(
        "document.querySelector(arguments[0]).value = ''",
        json!([value]),
    );
    browser.keys(&value, "150");
    let reason = format!("li:has(input[value='{of}'][name=of]) input[name=reason]");
    browser.sends(&reason, "read the display again");
    let kept = browser.run(
        "return document.querySelector('.kept')?.textContent",
        json!([]),
    );
    assert!(
        kept.as_str().is_some_and(|t| t.contains("is kept")),
        "{kept}"
    );
    assert!(matches!(
        served.log().entries.last().unwrap().event,
        Event::CorrectedAtDesk { .. }
    ));

    for page in [
        "timeline",
        "out",
        "graphs",
        "schedule.html",
        "customer.html",
    ] {
        is_easy_to_use(&browser, &rules, &served.address.replace("timeline", page));
    }
    if let Ok(folder) = std::env::var("OUT") {
        pictures(&browser, &served, Path::new(&folder));
    }
}

/// Opens a page by day and by night: it asks nothing of any other place, and axe finds nothing that is
/// hard to use for some.
pub fn is_easy_to_use(browser: &Browser, rules: &str, page: &str) {
    for dark in [false, true] {
        browser.dark(dark);
        browser.open(page);
        let paper = "return getComputedStyle(document.body).backgroundColor";
        let paper = browser.run(paper, json!([]));
        assert_eq!(paper == "rgb(26, 31, 29)", dark, "{page}: {paper}");
        let asked = browser.run(
            "return performance.getEntries().map(e => e.name).filter(n => n.startsWith('http'))",
            json!([]),
        );
        for name in asked.as_array().unwrap() {
            let name = name.as_str().unwrap();
            assert!(name.starts_with("http://127.0.0.1:"), "{page} asked {name}");
        }
        browser.run(rules, json!([]));
        let broken = browser.run(
            "return axe.run().then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.target).join(' ')))",
            json!([]),
        );
        assert_eq!(
            broken,
            json!([]),
            "{page} is hard to use for some (dark: {dark})"
        );
    }
}

/// axe-core's rules, fetched first where they are not there.
pub fn axe() -> String {
    crate::need("npm", "npm");
    let fetched = Command::new("tests/looking_back/axe.sh").status();
    assert!(fetched.unwrap().success(), "npm could not fetch axe-core");
    std::fs::read_to_string("tests/cache/axe-core/axe.min.js").unwrap()
}

fn pictures(browser: &Browser, served: &Served, folder: &Path) {
    for page in [
        "timeline",
        "timeline?only=corrections",
        "out",
        "graphs",
        "schedule.html",
        "customer.html",
    ] {
        let name = page.replace(['?', '=', '.'], "-");
        let address = served.address.replace("timeline", page);
        picture(browser, &address, folder, &name);
    }
}

/// A page on a wide screen and on a phone, by day and by night.
pub fn picture(browser: &Browser, address: &str, folder: &Path, name: &str) {
    std::fs::create_dir_all(folder).unwrap();
    for (size, width, height) in [("wide", 1280, 1600), ("phone", 390, 1500)] {
        browser.size(width, height);
        for (dark, lit) in [(false, "light"), (true, "dark")] {
            browser.dark(dark);
            browser.open(address);
            let picture = folder.join(format!("{name}-{size}-{lit}.png"));
            std::fs::write(picture, browser.picture()).unwrap();
        }
    }
}
