//! What people say who know the trade and have not read the guide: `phrases.tsv`, collected from people
//! who were shown a prompt. Each is typed where it was said.

use super::plain::Site;
use bothhands::installation::Job;
use bothhands::sequence::Event;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::path::Path;

/// The file of them: where each is said, what, what becomes of it typed, and why.
pub const PHRASES: &str = "tests/dialogues/phrases.tsv";

/// Where a phrase of the file is said: a job, and the step.
const WHERE: [(&str, &str, &str); 30] = [
    ("permission", "radial", "/identify"),
    ("prove indicator", "radial", "/prove-before"),
    ("isolate", "radial", "/isolate"),
    ("lock off", "radial", "/lock"),
    ("dead L-N", "radial", "/dead/L-N"),
    ("prove again", "radial", "/prove-after"),
    ("leads apart", "radial", "continuity/open"),
    ("leads joined", "radial", "continuity/joined"),
    ("IR apart", "radial", "insulation/open"),
    ("link", "radial", "continuity/link"),
    ("R1R2", "radial", "continuity/socket 1/L-E"),
    ("unlink", "radial", "continuity/unlink"),
    ("IR L-N 250", "radial", "insulation-resistance/trial"),
    ("polarity", "radial", "polarity/dead"),
    ("covers", "radial", "energise/covers"),
    ("energise", "radial", "energise/on"),
    ("supply polarity", "radial", "supply-polarity/incoming"),
    ("supply voltage", "radial", "supply-polarity/voltage/L-N"),
    ("earth off", "radial", "external-loop/earthing-off"),
    ("Ze", "radial", "external-loop/value"),
    ("earth back", "radial", "external-loop/earthing-back"),
    ("PFC", "radial", "fault-current/L-N"),
    ("Zs", "plain", "loop-impedance/furthest"),
    ("RCD half", "radial", "residual-current-device/half"),
    ("RCD x1", "radial", "rated/positive"),
    ("RCD x1 neg", "radial", "rated/negative"),
    ("button", "radial", "residual-current-device/button"),
    ("functional", "radial", "functional-checks/switchgear"),
    ("handover", "radial", "handover/explained"),
    ("any", "radial", "insulation-resistance/trial"),
];

/// What becomes of a phrase: taken, answered, asked about, refused or unknown, and what is said.
fn comes(site: &Site, phrase: &str) -> (&'static str, Vec<String>) {
    let mut site = site.fork();
    let before = site.events.len();
    let text = |lines: Vec<bothhands::sequence::Line>| -> Vec<String> {
        lines.into_iter().map(|line| line.text).collect()
    };
    match site.type_in(phrase) {
        Err(_) => {
            let turn = site.session.not_taken(phrase, site.now);
            ("unknown", text(turn.lines))
        }
        Ok(lines) => {
            let came = &site.events[before..];
            let is = |test: fn(&Event) -> bool| came.iter().any(|(event, _)| test(event));
            let how = if is(|e| matches!(e, Event::Refused { .. })) {
                "refused"
            } else if is(|e| matches!(e, Event::Asked { .. })) {
                "answered"
            } else if site.state().question().is_some() {
                "asked"
            } else {
                "taken"
            };
            (how, text(lines))
        }
    }
}

/// The places of the file, each with a session that stands there.
pub fn places() -> BTreeMap<&'static str, Site> {
    let at: Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
    let mut sites: BTreeMap<&str, Site> = BTreeMap::new();
    for name in ["plain", "radial"] {
        let job = Job::load(Path::new(&format!("tests/dialogues/jobs/{name}.toml"))).unwrap();
        let (mut site, _) = Site::typed(job, at);
        for _ in 0..400 {
            for (place, job, end) in WHERE {
                if job == name && site.asked().ends_with(end) {
                    sites.entry(place).or_insert_with(|| site.fork());
                }
            }
            if !site.plainly().unwrap() {
                break;
            }
        }
    }
    assert_eq!(sites.len(), WHERE.len(), "{:?}", sites.keys());
    sites
}

#[test]
fn what_people_say_is_taken_or_answered_with_what_to_say() {
    let sites = places();
    let text = std::fs::read_to_string(PHRASES).unwrap();
    let mut wrong = Vec::new();
    let mut now = String::new();
    let (mut lines, mut known) = (0, 0);
    for line in text.lines() {
        if line.starts_with('#') || line.is_empty() {
            now += &format!("{line}\n");
            continue;
        }
        let mut cells = line.split('\t');
        let (place, phrase, wanted) = (
            cells.next().unwrap(),
            cells.next().unwrap(),
            cells.next().unwrap(),
        );
        let why = cells.next().unwrap_or_default();
        let (how, said) = comes(&sites[place], phrase);
        now += &format!("{place}\t{phrase}\t{how}\t{why}\n");
        lines += 1;
        known += usize::from(matches!(how, "taken" | "answered" | "asked"));
        if how != wanted {
            wrong.push(format!(
                "{place}: \"{phrase}\" is {how}, not {wanted}: {said:?}"
            ));
        }
        if matches!(how, "unknown" | "refused") {
            let told = said.iter().any(|line| line.to_lowercase().contains("say "));
            if !told && how == "unknown" {
                wrong.push(format!(
                    "{place}: \"{phrase}\" is {how} without a word of what to say: {said:?}"
                ));
            }
            if why.is_empty() {
                wrong.push(format!("{place}: \"{phrase}\" is {how} without a reason"));
            }
        }
    }
    if std::env::var_os("PHRASES").is_some_and(|v| v == "write") {
        std::fs::write(PHRASES, now).unwrap();
    }
    println!("{known} of {lines} taken, asked about or answered");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
