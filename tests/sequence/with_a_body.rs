//! A walk with a body.
//!
//! A person who knows nothing of the program but the lines it says does what each prompt asks by a
//! table of the person's own (`table.rs`), or half of it, or another thing, or nothing, in a world
//! that acts change and words never do (`world.rs`). Then something is said: what is true, half of it,
//! something foreign, a jump to elsewhere, nothing for a while; by one who lies, what is not so.
//!
//! Unsafe is a state of that world while something is said, judged by the world and the words alone:
//!
//! * energised, because the program asked for it, with something out, linked, crossed, or without an
//!   earth or bond on what becomes live (a circuit that is made safe by itself excepted);
//! * an insulation reading taken at any voltage on what is live, or joined in that pair;
//! * 500 V or more taken with electronics in circuit and the lives not joined;
//! * "Nothing is out" while something is;
//! * a dead test taken on a live board; where circuits are isolated on a board that stays live, on a
//!   circuit that is live, not locked off, or not proved dead since its device was last touched;
//! * insulation tested on such a circuit with its neutral still in, which is one with earth there;
//! * 500 V with surge protection in: on all circuits together, or between neutral and earth of one whose neutral
//!   is in its bar;
//! * hands where it is live, or covers off there, because the program asked for it.
//!
//! The person who tells the truth may do and leave out anything, and may leave a step at any moment;
//! but what is said is so, questions are answered by the world, and what was altered without being
//! asked for is told before anything else is said: no program can know of it otherwise. None may be
//! unsafe, and every walk ends: from wherever it has led, a willing person comes to "Finished".
//!
//! ```sh
//! BODY=100000 cargo test --test it with_a_body -- --nocapture
//! ```

mod astray;
mod ears;
mod hands;
mod mouth;
mod person;
mod rows;
mod table;
mod visits;
mod words;
mod world;

use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::Job;
use bothhands::sequence::{
    Event, Line, LineKind, Mode, Session, Turn, place_of, sounds_like_a_warning,
};
use jiff::{SignedDuration, Timestamp};
use person::{Next, Person};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use table::Act;

const JOBS: [&str; 22] = [
    "tests/dialogues/jobs/boards.toml",
    "tests/dialogues/jobs/inspected.toml",
    "tests/dialogues/jobs/lighting.toml",
    "tests/dialogues/jobs/live-retest.toml",
    "tests/dialogues/jobs/low-voltage.toml",
    "tests/dialogues/jobs/minor-works.toml",
    "tests/dialogues/jobs/old-board.toml",
    "tests/dialogues/jobs/overdue.toml",
    "tests/dialogues/jobs/periodic-three-phase.toml",
    "tests/dialogues/jobs/periodic.toml",
    "tests/dialogues/jobs/plain.toml",
    "tests/dialogues/jobs/radial.toml",
    "tests/dialogues/jobs/references.toml",
    "tests/dialogues/jobs/ring.toml",
    "tests/dialogues/jobs/shower.toml",
    "tests/dialogues/jobs/three-phase.toml",
    "tests/dialogues/jobs/together-surge.toml",
    "tests/dialogues/jobs/together.toml",
    "tests/dialogues/jobs/tt.toml",
    "tests/jobs/boathouse.toml",
    "tests/jobs/regatta-office.toml",
    "tests/jobs/sail-loft.toml",
];

/// Lines in which a willing person comes to the end from anywhere.
const TO_THE_END: usize = 900;

/// Lines of willing answers in which nothing new is said.
const STUCK: usize = 40;

struct Place {
    name: &'static str,
    job: Job,
    grammar: Grammar,
}

impl Place {
    fn of(path: &'static str) -> Self {
        let text = std::fs::read_to_string(path).unwrap();
        let job = Job::parse(&text, path).unwrap();
        let points = job.boards.iter().flat_map(|b| &b.circuits);
        let points = points.flat_map(|circuit| &circuit.points);
        let mut names: Vec<String> = points.map(|point| place_of(point).name).collect();
        names.sort();
        names.dedup();
        let grammar = Grammar::built_in().unwrap().with_places(&names).unwrap();
        Self {
            name: path,
            job,
            grammar,
        }
    }
}

struct Walk<'a> {
    place: &'a Place,
    seed: u64,
    session: Session,
    now: Timestamp,
    events: Vec<(Event, Timestamp)>,
    person: Person,
    lines: usize,
    account: Vec<String>,
    findings: Vec<(String, String)>,
    refused: usize,
}

impl<'a> Walk<'a> {
    fn begin(place: &'a Place, seed: u64, lies: bool) -> Self {
        let mut rng = fastrand::Rng::with_seed(seed);
        let now: Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
        let (session, turn) = Session::begin(place.job.clone(), "body", now).unwrap();
        let site = world::Site::new(place.job.clone(), &mut rng);
        let mut walk = Self {
            place,
            seed,
            session,
            now,
            events: Vec::new(),
            person: Person::new(site, rng, lies),
            lines: 0,
            account: Vec::new(),
            findings: Vec::new(),
            refused: 0,
        };
        let lines = walk.keep(turn);
        walk.hear("(begins)", &lines);
        walk
    }

    fn keep(&mut self, turn: Turn) -> Vec<Line> {
        let now = self.now;
        self.events
            .extend(turn.events.into_iter().map(|e| (e, now)));
        turn.lines
    }

    fn found(&mut self, kind: &str, what: &str) {
        let many = if kind == "stuck" { STUCK + 20 } else { 20 };
        let last = self.account.iter().rev().take(many).rev();
        let mut seen = BTreeSet::new();
        let last = last.filter(|exchange| kind != "stuck" || seen.insert(*exchange));
        let mut text = format!(
            "{}, seed {}, line {}: {kind}: {what}\n",
            self.place.name, self.seed, self.lines
        );
        for exchange in last {
            let _ = writeln!(text, "{exchange}");
        }
        let kind = match kind {
            "stuck" => format!("stuck at: {what:.70}"),
            _ => kind.to_owned(),
        };
        self.findings.push((kind, text));
    }

    fn hear(&mut self, said: &str, lines: &[Line]) {
        let mut account = format!("> {said}");
        if !self.person.deeds.is_empty() {
            let _ = write!(account, "      {{does {:?}}}", self.person.deeds);
        }
        for line in lines {
            let _ = write!(account, "\n    {:?}: {}", line.kind, line.text);
        }
        self.account.push(account);
        let heard = self.person.hear(lines);
        for (kind, what) in std::mem::take(&mut self.person.unsafe_) {
            self.found(kind, &what);
        }
        if let Err(why) = heard {
            self.found("a prompt that is not in the table", &why);
        }
    }

    fn step(&mut self, phrases: &[&str]) {
        let place = self.place;
        let session = &self.session;
        let lies = self.person.lies;
        let mut foreign = |rng: &mut fastrand::Rng| {
            let phrase = phrases[rng.usize(0..phrases.len())];
            // Who tells the truth says nothing that means something here.
            let means = session.understand(&place.grammar, phrase).is_some();
            (lies || !means).then(|| phrase.to_owned())
        };
        let next = self.person.next(&mut foreign);
        self.lines += 1;
        self.now += SignedDuration::from_secs(7);
        match next {
            Next::Away(minutes) => {
                self.now += SignedDuration::from_mins(minutes);
                self.account.push(format!("> (away for {minutes} minutes)"));
            }
            Next::Restart(minutes) => {
                self.now += SignedDuration::from_mins(minutes);
                let events = self.events.iter().map(|(event, at)| (event, *at));
                let (session, turn) = Session::resume(events, "body", self.now).unwrap();
                self.session = session;
                let lines = self.keep(turn);
                self.hear("(the program is stopped and started)", &lines);
            }
            Next::Say(words) => self.say(&words),
        }
    }

    fn say(&mut self, words: &str) {
        let understood = self.session.understand(&self.place.grammar, words);
        let noting = self.session.state().mode() == Mode::Noting;
        let turn = match understood {
            Some(intent) => self.session.typed(&intent, words, self.now),
            None if noting => self.session.typed(&Intent::Note, words, self.now),
            None if sounds_like_a_warning(words) => Ok(self
                .session
                .maybe_live(words, self.now)
                .unwrap_or_else(|| self.session.not_taken(words, self.now))),
            None => Ok(self.session.not_taken(words, self.now)),
        };
        let turn = match turn {
            Ok(turn) => turn,
            Err(broken) => {
                self.account.push(format!("> {words}"));
                self.found("a law would be broken", &broken);
                return;
            }
        };
        let lines = self.keep(turn);
        let came_back = lines.iter().any(|l| l.text.contains("without a word"));
        let ordered = self.person.as_ordered && !came_back && !self.person.lies;
        let refused = |line: &Line| {
            line.kind == LineKind::Warning
                && (line.text.starts_with("No") || line.text.starts_with("There is nothing"))
        };
        let told = self.person.was_telling() && !came_back && !self.person.lies;
        self.hear(words, &lines);
        // What was put back and is on no list is nothing to worry about.
        let told = told
            && !lines
                .iter()
                .any(|l| l.text.starts_with("Nothing like that"));
        if (ordered || told)
            && (lines.iter().any(refused) || !(noting || self.known(words, &lines)))
        {
            self.refused += 1;
            let kind = if ordered {
                "words that a prompt ordered are refused"
            } else {
                "something told of is refused"
            };
            let why = lines.iter().find(|line| line.kind == LineKind::Warning);
            let why = why.map_or("unknown", |line| line.text.as_str());
            let kind = format!("{kind}: {words}: {why:.60}");
            self.found(&kind, words);
        }
    }

    fn known(&self, words: &str, lines: &[Line]) -> bool {
        let unknown = format!("I don't know \"{words}\" here");
        !lines.iter().any(|line| line.text.starts_with(&unknown))
    }

    /// Something wild first, then willing to the end.
    fn walk(&mut self, phrases: &[&str]) {
        let mut rng = fastrand::Rng::with_seed(self.seed ^ 0x5eed);
        // One in eight does all that is asked from the first.
        let wild = if rng.u8(0..8) == 0 {
            0
        } else {
            rng.usize(20..250)
        };
        self.person.wild = rng.u32(5..45);
        for _ in 0..wild {
            if self.person.finished || !self.person.lies && !self.findings.is_empty() {
                break;
            }
            self.step(phrases);
        }
        self.person.wild = 0;
        if self.person.lies {
            return;
        }
        let wild = self.lines;
        let mut seen = BTreeSet::new();
        let mut new = self.lines;
        while !self.person.finished && self.findings.is_empty() {
            if self.lines > wild + TO_THE_END || self.lines > new + STUCK {
                let asked = self.person.asked_now();
                self.found("stuck", &asked);
            } else {
                self.step(phrases);
                if self
                    .account
                    .last()
                    .is_some_and(|last| seen.insert(last.clone()))
                {
                    new = self.lines;
                }
            }
        }
    }
}

fn phrases() -> Vec<&'static str> {
    let all = include_str!("with_a_body/phrases.txt").lines();
    all.filter(|line| !line.is_empty()).collect()
}

struct Counted {
    lines: usize,
    walks: usize,
    finished: usize,
    /// Words that a prompt orders, or that were told of, and that were refused or not known.
    refused: usize,
    acts: BTreeSet<Act>,
    /// By kind: how often, and the shortest account.
    found: BTreeMap<String, (usize, String)>,
}

fn walked(wanted: usize, lies: bool) -> Counted {
    let phrases = phrases();
    let places: Vec<Place> = JOBS.into_iter().map(Place::of).collect();
    let mut counted = Counted {
        lines: 0,
        walks: 0,
        finished: 0,
        refused: 0,
        acts: BTreeSet::new(),
        found: BTreeMap::new(),
    };
    let mut shortest: BTreeMap<String, usize> = BTreeMap::new();
    for seed in 0.. {
        if counted.lines >= wanted {
            break;
        }
        let place = &places[usize::try_from(seed).unwrap() % places.len()];
        let only = std::env::var("SEED").ok().and_then(|n| n.parse().ok());
        if only.is_some_and(|only: u64| only != seed) {
            if seed > 30_000 {
                break;
            }
            continue;
        }
        let mut walk = Walk::begin(place, seed, lies);
        walk.walk(&phrases);
        if only.is_some() {
            println!("{}", walk.account.join("\n"));
            break;
        }
        counted.lines += walk.lines;
        counted.walks += 1;
        counted.refused += walk.refused;
        counted.acts.append(&mut walk.person.acts);
        counted.finished += usize::from(walk.person.finished);
        for (kind, account) in walk.findings {
            if std::env::var("KINDS").is_ok() {
                println!("{}", account.lines().next().unwrap_or_default());
            }
            let of_kind = counted.found.entry(kind.clone()).or_default();
            of_kind.0 += 1;
            let length = shortest.entry(kind).or_insert(usize::MAX);
            if walk.lines < *length {
                *length = walk.lines;
                of_kind.1 = account;
            }
        }
    }
    counted
}

fn wanted(otherwise: usize) -> usize {
    let body = std::env::var("BODY").ok().and_then(|n| n.parse().ok());
    body.unwrap_or(otherwise)
}

#[test]
fn a_person_who_tells_the_truth_is_never_unsafe_and_always_comes_to_the_end() {
    let counted = walked(wanted(5_000), false);
    println!(
        "told the truth: {} lines, {} walks, {} finished, {} times ordered words refused",
        counted.lines, counted.walks, counted.finished, counted.refused
    );
    let mut all = String::new();
    for (kind, (count, account)) in &counted.found {
        let _ = writeln!(all, "==== {count} times: {kind}\n{account}");
    }
    let never: Vec<Act> = Act::ALL
        .into_iter()
        .filter(|act| !counted.acts.contains(act))
        .collect();
    println!("never asked for: {never:?}");
    assert!(counted.found.is_empty(), "{all}");
    assert_eq!(counted.refused, 0);
    if counted.lines >= 100_000 {
        assert_eq!(
            never, NEVER,
            "a walk of this length comes to everything else"
        );
    }
}

/// What a person who tells the truth of a sound supply is never asked, and what is said only where
/// nobody is asked anything.
const NEVER: [Act; 7] = [
    Act::SupplyReversed,
    Act::Resume,
    Act::CarryOn,
    Act::EndOfNote,
    Act::Finished,
    Act::Observing,
    Act::WhichUnit,
];

/// With one who also lies there is no 0 to reach: what comes is counted, and each kind explained in
/// `with_a_body.md`. No kind may come that is not.
#[test]
fn what_comes_of_a_person_who_lies_is_known_by_kind() {
    let counted = walked(wanted(2_000), true);
    println!("lied: {} lines, {} walks", counted.lines, counted.walks);
    let explained = include_str!("with_a_body.md");
    let mut unknown = String::new();
    for (kind, (count, account)) in &counted.found {
        println!("{count:6} {kind}");
        if !explained.contains(&format!("| {kind} |")) {
            let _ = writeln!(unknown, "==== {count} times: {kind}\n{account}");
        }
    }
    assert!(unknown.is_empty(), "{unknown}");
    assert!(!counted.found.is_empty(), "nobody lied");
}

/// The table is closed: whatever stands in the file of prompts, it knows.
#[test]
fn the_table_knows_every_prompt() {
    let file: toml::Value =
        toml::from_str(include_str!("../../src/sequence/say/prompts.toml")).unwrap();
    let filled = [
        ("{Circuit}", "Circuit 3, sockets, club room"),
        ("{Rcd}", "Circuit 3, 30 milliamp RCD"),
        ("{Place}", "Socket 2"),
        ("{place}", "socket 2"),
        ("{Pair}", "Line to neutral"),
        ("{pair}", "line to neutral"),
        ("{Joined}", "Line and neutral joined, to earth"),
        ("{joined}", "line and neutral joined, to earth"),
        ("{Conductor}", "Neutral"),
        ("{Failed}", "Circuit 3, line to earth"),
        ("{failed}", "circuit 3, line to earth"),
        ("{line}", "line two"),
        ("{lives}", "line and neutral"),
        ("{inside}", "socket 2 and something across line and neutral"),
        ("{finding}", ""),
        ("{instrument}", "Installation tester, serial IT-1. "),
        ("{to put back}", "neutral at socket 2; load"),
        ("{reopened}", "socket 2"),
        ("{voltage}", "500 V"),
        ("{volts}", "500"),
        ("{half}", "positive"),
        ("{sources}", "mains"),
        ("{board name}", "boathouse board"),
        ("{bond}", "water"),
        ("{say:stays-off}", "circuit three stays off"),
        ("{say:end-of-note}", "end of note"),
        ("{say:go-to-isolation}", "go to safe isolation"),
        ("{Whose button}", "Circuit 3"),
        ("{board}", "1"),
        ("{number}", "3"),
        ("{last}", "3"),
        (
            "{circuits}",
            "circuit 3, sockets, club room; and circuit 4, lights",
        ),
        ("{item}", "4.3"),
        ("{item text}", "enclosure, degree of protection"),
        ("{codes}", "code one, code two 2 times"),
        (
            "{Tester on its reference}",
            "Installation tester, loop range, on its reference: zero decimal five zero ohms",
        ),
    ];
    let mut known = 0;
    let mut unknown = Vec::new();
    for prompt in file["prompt"].as_array().unwrap() {
        for key in ["full", "brief", "first"] {
            let Some(text) = prompt.get(key).and_then(toml::Value::as_str) else {
                continue;
            };
            let text = filled.iter().fold(text.to_owned(), |text, (slot, with)| {
                text.replace(slot, with)
            });
            // Words to be said stand for themselves.
            let text = text.replace("{say:", "").replace(['}', '[', ']'], "");
            // Where circuits are isolated, the place of proving dead is one of them.
            let text = text.replace("Where socket 2", "Where circuit 2");
            match table::heard(&text) {
                Some(heard) if heard.act.is_question() => {
                    unknown.push(format!("a question: {text}"));
                }
                Some(_) => known += 1,
                None => unknown.push(text.clone()),
            }
            // The same where an RCD is that of several circuits.
            let of_several = "RCD 2, 100 milliamps, of circuits 1, 2";
            let text = text.replace("Circuit 3, 30 milliamp RCD", of_several);
            if table::heard(&text).is_none() {
                unknown.push(text);
            }
        }
    }
    assert!(unknown.is_empty(), "not in the table: {unknown:#?}");
    assert!(known > 100, "only {known} prompts");
}
