//! Somebody with hands and ears: does what is asked, or half of it, or something else, and says what
//! is so, or what is not.

use super::table::{Act, Heard, heard};
use super::words;
use super::world::{Altered, Fault, LAMPS, Site, What, Wire, pair, spoken, wires};
use bothhands::sequence::{Line, LineKind};
use regex::Regex;
use std::collections::{BTreeSet, VecDeque};
use std::sync::LazyLock;

type At = (u16, u16);

/// Something done with the hands.
#[derive(Debug, Clone, PartialEq)]
pub enum Deed {
    Out(Altered),
    Back(Altered),
    MainOff(u16),
    OthersOff,
    Lock(u16),
    Unlock(u16),
    MainOn(u16),
    OthersOn,
    OffLock(At),
    Repair(At),
}

/// What comes next of a person.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    Say(String),
    /// Says nothing for so many minutes.
    Away(i64),
    /// Stops the program and takes its log up again after so many minutes.
    Restart(i64),
}

/// How prompts that are only a place or a pair are meant.
#[derive(Debug, Clone, PartialEq)]
enum Family {
    Dead,
    Full(u16),
    Point,
    Ring(Wire),
}

pub struct Person {
    pub site: Site,
    pub rng: fastrand::Rng,
    /// How often, of a hundred, something else is done than what is asked.
    pub wild: u32,
    pub lies: bool,
    pub finished: bool,
    /// What is unsafe, as it happens.
    pub unsafe_: Vec<(&'static str, String)>,
    /// What was done before the words, for the account of a finding.
    pub deeds: Vec<Deed>,
    /// The last words were those that a prompt had ordered, said where it had.
    pub as_ordered: bool,
    board: u16,
    circuit: Option<At>,
    sure: bool,
    stale: bool,
    family: Option<Family>,
    prompt: Option<Heard>,
    question: Option<Heard>,
    waiting: Option<&'static str>,
    queue: VecDeque<String>,
    untold: Vec<(Altered, bool)>,
    telling: bool,
    which_one: bool,
    live_untold: bool,
    tried: u32,
    /// What would be unsafe about the test that was made last, if its reading is taken.
    hazards: Vec<(&'static str, String)>,
    reading: String,
    /// Circuits that the person said stay off.
    stays_off: BTreeSet<At>,
}

static WHERE: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"Board (\d+)(?:, circuit (\d+), .*)?: [a-z ]+\. (?:\d+|One) steps? (?:is|are) open")
        .unwrap()
});
static MOVED: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^(?:Circuit|Board) \d+, [a-z ]+\.(?: Out of order.*)?$").unwrap()
});
static OFF: LazyLock<Regex> = LazyLock::new(|| Regex::new(r"^Circuit (\d+) stays off").unwrap());
static PUT_BACK: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^No\. (?:Still out: )?(.+?)(?:\. Put it back and say so|: that would be read|\. That goes back first)").unwrap()
});

static TAKE_OUT: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^No\. Not at five hundred volts with (.+) in circuit\. Take").unwrap()
});

impl Person {
    pub fn new(site: Site, rng: fastrand::Rng, lies: bool) -> Self {
        let board = site.job.boards.first().map_or(1, |board| board.number);
        Self {
            site,
            rng,
            wild: 0,
            lies,
            finished: false,
            unsafe_: Vec::new(),
            deeds: Vec::new(),
            as_ordered: false,
            board,
            circuit: None,
            sure: false,
            stale: false,
            family: None,
            prompt: None,
            question: None,
            waiting: None,
            queue: VecDeque::new(),
            untold: Vec::new(),
            telling: false,
            which_one: false,
            live_untold: false,
            tried: 0,
            hazards: Vec::new(),
            reading: String::new(),
            stays_off: BTreeSet::new(),
        }
    }

    /// The question or prompt that stands.
    pub fn asked_now(&self) -> String {
        let asked = self.question.as_ref().or(self.prompt.as_ref());
        asked.map(|it| it.text.clone()).unwrap_or_default()
    }

    fn one_in(&mut self, n: u32) -> bool {
        self.rng.u32(0..n) == 0
    }

    fn of_a_hundred(&mut self, n: u32) -> bool {
        self.rng.u32(0..100) < n
    }

    fn pick<T: Clone>(&mut self, from: &[T]) -> Option<T> {
        (!from.is_empty()).then(|| from[self.rng.usize(0..from.len())].clone())
    }

    // ---- hearing

    /// Hears what is said.
    ///
    /// # Errors
    /// A prompt or question that the table does not have.
    pub fn hear(&mut self, lines: &[Line]) -> Result<(), String> {
        self.judge(lines);
        let mut warned = false;
        let mut asked = false;
        for line in lines {
            let text = &line.text;
            match line.kind {
                LineKind::Prompt => {
                    let it = heard(text).ok_or_else(|| format!("not in the table: {text}"))?;
                    asked = true;
                    self.asked(it);
                }
                LineKind::Question if text.starts_with("Say again") => {}
                LineKind::Question => {
                    let it = heard(text).ok_or_else(|| format!("not in the table: {text}"))?;
                    if !it.act.is_question() {
                        return Err(format!("no question in the table: {text}"));
                    }
                    self.question = Some(it);
                }
                LineKind::Warning if text.starts_with("Live? Hands off") => {
                    self.question = heard(text);
                }
                LineKind::Warning => {
                    warned = true;
                    self.warned(text)?;
                }
                LineKind::Answer | LineKind::ReadBack | LineKind::Reminder => self.answered(text),
            }
        }
        if warned && !asked {
            self.sure = false;
            self.family = None;
        }
        Ok(())
    }

    fn asked(&mut self, it: Heard) {
        if it.act.is_question() {
            self.question = Some(it);
            return;
        }
        self.question = None;
        self.stale = false;
        self.waiting = match it.act {
            Act::Resume => Some("resume"),
            Act::CarryOn => Some("carry on"),
            Act::EndOfNote => Some("end of note"),
            _ => None,
        };
        if self.waiting.is_some() {
            return;
        }
        let line_of = |it: &Heard| {
            let (_, to) = pair(it.pair.as_deref().unwrap_or(""));
            let crossed = wires(it.conductors.as_deref().unwrap_or(""));
            to.first().or(crossed.last()).copied().unwrap_or(Wire::N)
        };
        self.family = match it.act {
            Act::ProveDead => Some(Family::Dead),
            Act::Full => Some(Family::Full(it.volts.unwrap_or(500))),
            Act::Point => Some(Family::Point),
            Act::RingCrossed | Act::RingPoint => Some(Family::Ring(line_of(&it))),
            Act::BarePair | Act::BarePlace => self.family.take(),
            _ => None,
        };
        if let Some(board) = it.board {
            self.board = board;
            self.circuit = None;
            self.sure = true;
        } else if let Some(circuit) = it.circuit {
            self.circuit = Some((self.board, circuit));
            let several = self.site.job.boards.len() > 1;
            self.sure = !several || self.sure;
        } else {
            let of_the_board = matches!(
                it.act,
                Act::Prove
                    | Act::Isolate
                    | Act::Lock
                    | Act::ProveDead
                    | Act::LeadsOpen
                    | Act::LeadsJoined
                    | Act::Bond
                    | Act::BondBack
                    | Act::SupplementaryBond
                    | Act::Together
                    | Act::Covers
                    | Act::Energise
                    | Act::PutRight
                    | Act::PutRightOrSay
                    | Act::SupplyPolarity
                    | Act::EarthingOff
                    | Act::EarthingBack
                    | Act::ExternalLoop
                    | Act::FaultCurrent
                    | Act::PhaseSequence
                    | Act::Functional
                    | Act::Handover
            );
            if of_the_board {
                self.circuit = None;
            }
            let elsewhere = matches!(
                it.act,
                Act::Unlink
                    | Act::PutBack
                    | Act::Clear
                    | Act::Uncross
                    | Act::RingEndsBack
                    | Act::RingEnds
                    | Act::LiveLoop
            );
            let several = self.site.job.boards.len() > 1;
            if elsewhere || several && of_the_board {
                self.sure = false;
            }
        }
        self.prompt = Some(it);
    }

    fn warned(&mut self, text: &str) -> Result<(), String> {
        if text.starts_with("Paused. Say resume") {
            self.waiting = Some("resume");
        } else if text.starts_with("Standing by. Say carry on") {
            self.waiting = Some("carry on");
        } else if let Some(first) = text.strip_prefix("No. First: ") {
            self.sure = false;
            match heard(first) {
                Some(it) => self.asked(it),
                // Said twice, it is cut short.
                None if text.ends_with('.') && first.starts_with("Circuit") => self.stale = true,
                None => return Err(format!("not in the table: {first}")),
            }
            return Ok(());
        } else if let Some(found) = PUT_BACK.captures(text) {
            self.prompt = Some(Heard::refusing(Act::PutBack, &found[1], text));
            self.sure = false;
            self.stale = false;
            return Ok(());
        } else if let Some(found) = TAKE_OUT.captures(text) {
            self.prompt = Some(Heard::refusing(Act::Clear, &found[1], text));
            self.sure = false;
            self.stale = false;
            return Ok(());
        } else if text.starts_with("Which one") {
            self.which_one = true;
            let listed = text.trim_start_matches("Which one: ").trim_end_matches('?');
            let listed: Vec<String> = listed.split(", or ").map(str::to_lowercase).collect();
            let here = |item: &&String| {
                let mut all = self.site.altered.iter();
                !all.any(|it| it.at == self.circuit && names(item, it))
            };
            let back = listed.iter().filter(here).map(|item| item_back(item));
            let back: Vec<String> = back.collect();
            self.queue.extend(back);
        } else if text.starts_with("Why? Say reason") {
            self.queue.push_back("reason no access".to_owned());
        } else if text.starts_with("Code one") {
            self.queue
                .push_back("person in charge says it stays on".to_owned());
        } else {
            self.queue.clear();
        }
        self.stale = !text.starts_with("No. First: ");
        Ok(())
    }

    fn answered(&mut self, text: &str) {
        if let Some(found) = WHERE.captures(text) {
            self.board = found[1].parse().unwrap();
            let number = found.get(2).and_then(|n| n.as_str().parse().ok());
            self.circuit = number.map(|number| (self.board, number));
            self.sure = true;
        } else if let Some(found) = MOVED.captures(text) {
            self.sure = false;
            self.family = None;
            // What stayed off is worked on again.
            if let Some(number) = found.get(1).and_then(|n| n.as_str().parse::<u16>().ok())
                && (!self.stays_off.remove(&(self.board, number)))
            {
                self.stays_off.retain(|at| at.1 != number);
            }
        } else if text.starts_with("Finished.") {
            self.finished = true;
        } else if text.starts_with("Paused.") {
            self.waiting = Some("resume");
        } else if text.starts_with("Standing by.") {
            self.waiting = Some("carry on");
        } else if text.starts_with("Note. Say") || text.starts_with("Say what you found") {
            self.waiting = Some("end of note");
        }
        if let Some(found) = OFF.captures(text) {
            let number: u16 = found[1].parse().unwrap();
            let here = (self.board, number);
            let other = self
                .site
                .circuits()
                .map(|(at, _)| at)
                .find(|at| at.1 == number);
            let at = if self.site.circuit(here).is_some() {
                Some(here)
            } else {
                other
            };
            self.stays_off.extend(at);
        }
        if text.starts_with("Carrying on") || text.starts_with("Note kept") {
            self.waiting = None;
        }
    }

    // ---- what is unsafe

    /// What was said, against the world as it is.
    fn judge(&mut self, lines: &[Line]) {
        let taken = |line: &Line| {
            line.kind == LineKind::ReadBack && !line.text.contains("On the list until")
        };
        if lines.iter().any(taken) {
            self.unsafe_.append(&mut self.hazards);
        } else if !lines.iter().any(|line| line.kind == LineKind::Question) {
            self.hazards.clear();
        }
        for line in lines {
            if !line.text.contains("Nothing is out") {
                continue;
            }
            let told = self.site.altered.iter();
            let out: Vec<String> = told
                .filter(|it| !self.untold.iter().any(|(u, _)| u == *it))
                .map(named)
                .collect();
            if !out.is_empty() {
                let what = format!("\"{}\": {}", line.text, out.join("; "));
                self.unsafe_
                    .push(("\"nothing is out\" while something is", what));
            }
        }
    }

    fn hazards_of(&self, it: &Heard, act: Act, volts: u16) -> Vec<(&'static str, String)> {
        let mut found = Vec::new();
        if !act.is_dead_test() {
            return found;
        }
        let live = self.site.live(self.board);
        if act.is_insulation() {
            if live {
                found.push(("insulation tested live", it.text.clone()));
            }
            let ends = self.ends(it, act);
            let together = matches!(act, Act::Together | Act::TogetherTrial);
            let circuits: Vec<At> = match self.circuit {
                Some(at) if !together => vec![at],
                _ => self
                    .site
                    .circuits()
                    .map(|(at, _)| at)
                    .filter(|at| at.0 == self.board)
                    .collect(),
            };
            for at in circuits {
                if self.site.joined(at, &ends) {
                    let what = format!("{}, circuit {}: {:?} joined", it.text, at.1, ends);
                    found.push(("insulation tested between conductors that are joined", what));
                }
                let lives: Vec<Wire> = self.site.lives(at).into_iter().collect();
                let joined = self.site.joined_with(at, &lives[..1]);
                let all_joined = lives.iter().all(|wire| joined.contains(wire));
                if volts >= 500 && !all_joined && self.site.electronics_in(at) {
                    let what = format!("{}, circuit {}", it.text, at.1);
                    found.push(("500 volts with electronics in", what));
                }
            }
        } else if live {
            found.push(("dead test on a live board", it.text.clone()));
        }
        found
    }

    fn ends(&self, it: &Heard, act: Act) -> (Vec<Wire>, Vec<Wire>) {
        if matches!(act, Act::Joined | Act::Reconnected) {
            let lives = self
                .circuit
                .map(|at| self.site.lives(at))
                .unwrap_or_default();
            return (lives.into_iter().collect(), vec![Wire::E]);
        }
        pair(it.pair.as_deref().unwrap_or("line to neutral"))
    }

    // ---- hands

    pub fn perform(&mut self, deed: Deed, asked: bool) {
        let site = &mut self.site;
        match &deed {
            Deed::Out(it) => drop(site.altered.insert(it.clone())),
            Deed::Back(it) => drop(site.altered.remove(it)),
            Deed::MainOff(board) => site.boards.entry(*board).or_default().on = false,
            Deed::OthersOff => site.others_on = false,
            Deed::Lock(board) => site.boards.entry(*board).or_default().locked = true,
            Deed::Unlock(board) => site.boards.entry(*board).or_default().locked = false,
            Deed::MainOn(board) => {
                let switches = site.boards.entry(*board).or_default();
                switches.on = true;
                switches.locked = false;
                // What stays off, or has its conductors out, keeps its own lock.
                let stays = self.stays_off.clone();
                let out = |at: &At| {
                    let mut all = site.altered.iter();
                    all.any(|it| {
                        it.at == Some(*at)
                            && matches!(&it.what, What::End(_, _, place) if place == "board")
                    })
                };
                let keeps: BTreeSet<At> = site.off.iter().copied().filter(out).collect();
                site.off
                    .retain(|at| at.0 != *board || stays.contains(at) || keeps.contains(at));
            }
            Deed::OthersOn => site.others_on = true,
            Deed::OffLock(at) => drop(site.off.insert(*at)),
            Deed::Repair(at) => drop(site.faults.remove(at)),
        }
        let thrown = matches!(deed, Deed::MainOn(_) | Deed::OthersOn);
        self.deeds.push(deed);
        if thrown && asked {
            let wrong: Vec<String> = self
                .site
                .wrong_while_live()
                .into_iter()
                .map(named)
                .collect();
            if !wrong.is_empty() {
                self.unsafe_
                    .push(("energised with something out", wrong.join("; ")));
            }
        }
    }

    /// What a prompt asks the hands for, as far as it is not so already.
    fn deeds_of(&mut self, it: &Heard, act: Act) -> Vec<Deed> {
        let board = self.board;
        let at = self.circuit;
        let mut out = Vec::new();
        let mut back = Vec::new();
        let mut deeds = Vec::new();
        let on = |what: What| Altered { at, what };
        let set = |all: &[Wire]| -> BTreeSet<Wire> { all.iter().copied().collect() };
        let earth_too = |at: At, site: &Site| -> BTreeSet<Wire> {
            let lines = site.lives(at).into_iter().filter(|w| w.is_line());
            lines.chain([Wire::E]).collect()
        };
        match act {
            Act::Isolate => {
                if self.site.boards[&board].on {
                    deeds.push(Deed::MainOff(board));
                }
                if self.site.others_on {
                    deeds.push(Deed::OthersOff);
                }
            }
            Act::Lock if !self.site.boards[&board].locked => {
                if self.site.boards[&board].on {
                    deeds.push(Deed::MainOff(board));
                }
                deeds.push(Deed::Lock(board));
            }
            Act::Bond => {
                let name = it.conductors.clone().unwrap_or_default();
                out.push(Altered {
                    at: None,
                    what: What::Bond(name),
                });
            }
            Act::BondBack => {
                let name = it.conductors.clone().unwrap_or_default();
                back.push(Altered {
                    at: None,
                    what: What::Bond(name),
                });
            }
            Act::Link => {
                if let Some(at) = at {
                    out.push(on(What::Linked(earth_too(at, &self.site))));
                }
            }
            Act::Unlink => {
                let linked = |it: &&Altered| it.at == at && matches!(it.what, What::Linked(_));
                back.extend(self.site.altered.iter().filter(linked).cloned());
            }
            Act::RingEnds | Act::RingCrossed | Act::RingPoint => {
                for wire in [Wire::L, Wire::N, Wire::E] {
                    out.extend((0..2).map(|n| on(What::End(wire, n, "board".into()))));
                }
                if act != Act::RingEnds {
                    let with = match &self.family {
                        Some(Family::Ring(with)) => *with,
                        _ => Wire::N,
                    };
                    out.push(on(What::Crossed(set(&[Wire::L, with]))));
                }
            }
            Act::Uncross => {
                let crossed = wires(it.conductors.as_deref().unwrap_or(""));
                back.push(on(What::Crossed(set(&crossed))));
            }
            Act::RingEndsBack => {
                let end = |it: &&Altered| {
                    it.at == at && matches!(&it.what, What::End(_, _, place) if place == "board")
                };
                back.extend(self.site.altered.iter().filter(end).cloned());
            }
            Act::Clear => {
                let inside = it.list.join("; ");
                let of_board = self
                    .site
                    .circuits()
                    .map(|(at, _)| at)
                    .filter(|at| at.0 == board);
                let all: Vec<At> = at.map_or_else(|| of_board.collect(), |at| vec![at]);
                let mut inside_now = Vec::new();
                for here in all {
                    let on = |what: What| Altered {
                        at: Some(here),
                        what,
                    };
                    for (place, _, _) in self.site.points(here) {
                        if inside.contains(&place) && !self.is_out(here, &place) {
                            inside_now.push(on(What::Accessory(place)));
                        }
                    }
                    if inside.contains("something") && self.site.loads.contains(&here) {
                        inside_now.push(on(What::Load));
                    }
                }
                match at {
                    Some(here) if inside_now.is_empty() || self.one_in(3) => {
                        out.push(on(What::Linked(self.site.lives(here))));
                    }
                    _ => out.extend(inside_now),
                }
            }
            Act::Lamps => out.extend((0..LAMPS).map(|n| on(What::Lamp(n)))),
            Act::TwoWay => out.push(on(What::Switch)),
            Act::Reconnected | Act::Joined => {
                if let Some(at) = at {
                    out.push(on(What::Linked(self.site.lives(at))));
                }
            }
            Act::PutBack => {
                back.extend(it.list.iter().flat_map(|item| self.meant_back(item)));
                back.dedup();
            }
            Act::Energise => {
                if self.site.boards[&board].locked {
                    deeds.push(Deed::Unlock(board));
                }
                if !self.site.boards[&board].on {
                    deeds.push(Deed::MainOn(board));
                }
                let first = self.site.feeder(board).is_none();
                if first && !self.site.others_on && self.site.job.supply.sources.len() > 1 {
                    deeds.push(Deed::OthersOn);
                }
            }
            Act::OffLock | Act::MakeSafe => {
                if let Some(at) = at.filter(|at| !self.site.off.contains(at)) {
                    deeds.push(Deed::OffLock(at));
                }
            }
            Act::OffTerminals => {
                if let Some(at) = at.filter(|at| !self.site.double_pole.contains(at)) {
                    let ends = if self.site.is_ring(at) { 2 } else { 1 };
                    for wire in self.site.lives(at) {
                        out.extend((0..ends).map(|n| on(What::End(wire, n, "board".into()))));
                    }
                }
            }
            Act::EarthingOff => out.push(Altered {
                at: None,
                what: What::Earthing,
            }),
            Act::EarthingBack => back.push(Altered {
                at: None,
                what: What::Earthing,
            }),
            _ => {}
        }
        let new = |it: &Altered| !self.site.altered.contains(it);
        deeds.extend(out.into_iter().filter(new).map(Deed::Out));
        let there = |it: &Altered| self.site.altered.contains(it);
        deeds.extend(back.into_iter().filter(there).map(Deed::Back));
        deeds
    }

    fn is_out(&self, at: At, place: &str) -> bool {
        let ends = self
            .site
            .points(at)
            .into_iter()
            .find(|(name, _, _)| name == place);
        let both = ends.map_or(1, |(_, ends, _)| ends);
        let accessory = What::Accessory(place.to_owned());
        self.site.has(Some(at), &accessory)
            || self.site.lives(at).into_iter().any(|wire| {
                (0..both).all(|n| {
                    self.site
                        .has(Some(at), &What::End(wire, n, place.to_owned()))
                })
            })
    }

    /// Whether this keeps a circuit off that stays off: nobody puts it back.
    fn keeps_off(&self, it: &Altered) -> bool {
        let at_board = matches!(&it.what, What::End(_, _, place) if place == "board");
        let off = it
            .at
            .is_some_and(|at| self.stays_off.contains(&at) && self.circuit != Some(at));
        at_board && off
    }

    fn is_so(&self, item: &str) -> bool {
        self.site.altered.iter().any(|it| names(item, it))
    }

    /// What is meant by an entry that is to be put back: where nothing else is, what kept a circuit
    /// off that is worked on again.
    fn meant_back(&self, item: &str) -> Vec<Altered> {
        let all = || self.site.altered.iter().filter(|it| names(item, it));
        let plain: Vec<Altered> = all().filter(|it| !self.keeps_off(it)).cloned().collect();
        if plain.is_empty() && !self.circuit.is_some_and(|at| self.stays_off.contains(&at)) {
            return all().cloned().collect();
        }
        plain
    }

    // ---- what comes next

    pub fn next(&mut self, foreign: &mut dyn FnMut(&mut fastrand::Rng) -> Option<String>) -> Next {
        self.deeds.clear();
        self.as_ordered = false;
        self.telling = false;
        let next = self.next_words(foreign);
        if let Next::Say(words) = &next
            && (words.starts_with("go to")
                || words.starts_with("circuit")
                || words.starts_with("board"))
        {
            self.sure = false;
        }
        next
    }

    fn next_words(
        &mut self,
        foreign: &mut dyn FnMut(&mut fastrand::Rng) -> Option<String>,
    ) -> Next {
        let say = |words: &str| Next::Say(words.to_owned());
        if let Some(word) = self.waiting {
            if word == "end of note" && self.one_in(2) {
                return say("damp in the gland at the far end");
            }
            if self.of_a_hundred(self.wild / 2)
                && let Some(words) = foreign(&mut self.rng)
            {
                return Next::Say(words);
            }
            self.waiting = None;
            return say(word);
        }
        if self.question.is_none()
            && let Some(words) = self.queue.pop_front()
        {
            return Next::Say(words);
        }
        if let Some(words) = self.tell() {
            return words;
        }
        if self.of_a_hundred(self.wild)
            && let Some(next) = self.wander(foreign)
        {
            return next;
        }
        if self.question.is_some() {
            return Next::Say(self.answer_question());
        }
        let Some(it) = self.prompt.clone().filter(|_| !self.stale) else {
            self.stale = false;
            self.tried += 1;
            return say("say again");
        };
        if !self.sure && it.board.is_none() {
            self.tried += 1;
            if self.tried < 3 {
                return say("where are we");
            }
        }
        let act = match (it.act, &self.family) {
            (Act::BarePair, Some(Family::Dead)) => Act::ProveDead,
            (Act::BarePair, Some(Family::Full(_))) => Act::Full,
            (Act::BarePlace, Some(Family::Point)) => Act::Point,
            (Act::BarePlace, Some(Family::Ring(_))) => Act::RingPoint,
            (Act::BarePair | Act::BarePlace, _) => return say("say again"),
            (act, _) => act,
        };
        self.tried = 0;
        self.do_and_say(&it, act, foreign)
    }

    fn tell_live(&mut self) -> Option<Next> {
        let told = std::mem::take(&mut self.live_untold) && (!self.lies || self.one_in(2));
        told.then(|| {
            let words = self.pick(&["it is live", "voltage present", "stop"]);
            Next::Say(words.unwrap_or("stop").to_owned())
        })
    }

    fn tell(&mut self) -> Option<Next> {
        while let Some((it, out)) = self.untold.first().cloned() {
            if self.site.altered.contains(&it) != out {
                self.untold.remove(0);
                continue;
            }
            if self.lies && self.one_in(2) {
                self.untold.remove(0);
                continue;
            }
            self.untold.remove(0);
            self.telling = true;
            let words = if out {
                self.out_words(&it)
            } else {
                self.back_words(&it)
            };
            return Some(Next::Say(words));
        }
        None
    }

    /// "Neutral out at socket two."
    fn out_words(&self, it: &Altered) -> String {
        match &it.what {
            What::End(wire, n, place) => {
                let other = What::End(*wire, 1 - n.min(&1), place.clone());
                let both = self.site.has(it.at, &other);
                let (place, wire) = (words::place(place), wire.spoken());
                if both && matches!(wire, "line" | "neutral" | "earth") {
                    format!("both {wire}s out at {place}")
                } else {
                    format!("{wire} out at {place}")
                }
            }
            What::Linked(set) => format!("{} linked at board", joined_words(set)),
            What::Crossed(set) => format!("{} crossed", joined_words(set)),
            What::Accessory(place) => format!("{} out", words::place(place)),
            What::Lamp(_) => "lamp out".to_owned(),
            What::Load => "load out".to_owned(),
            What::Switch => "switching changed".to_owned(),
            What::Earthing => "earthing conductor off".to_owned(),
            What::Bond(_) => "main bond off".to_owned(),
        }
    }

    fn back_words(&self, it: &Altered) -> String {
        match &it.what {
            What::End(wire, n, place) => {
                let other = What::End(*wire, 1 - n.min(&1), place.clone());
                let (place, wire) = (words::place(place), wire.spoken());
                let two = self.site.has(it.at, &other);
                if !two && self.has_two_ends(it) && matches!(wire, "line" | "neutral" | "earth") {
                    format!("both {wire}s back at {place}")
                } else {
                    format!("{wire} back at {place}")
                }
            }
            What::Linked(set) => format!("{} link removed", joined_words(set)),
            What::Crossed(set) => format!("{} crossing removed", joined_words(set)),
            What::Accessory(place) => format!("{} back", words::place(place)),
            What::Lamp(_) => "lamp back".to_owned(),
            What::Load => "load back".to_owned(),
            What::Switch => "switching back".to_owned(),
            What::Earthing => "earthing conductor back on".to_owned(),
            What::Bond(_) => "bond back on".to_owned(),
        }
    }

    fn has_two_ends(&self, it: &Altered) -> bool {
        let (What::End(_, _, place), Some(at)) = (&it.what, it.at) else {
            return false;
        };
        let mut points = self.site.points(at).into_iter();
        match place.as_str() {
            "board" => self.site.is_ring(at),
            _ => points.any(|(name, ends, _)| name == *place && ends == 2),
        }
    }

    /// Something that was not asked for.
    fn wander(
        &mut self,
        foreign: &mut dyn FnMut(&mut fastrand::Rng) -> Option<String>,
    ) -> Option<Next> {
        const STAGES: [&str; 12] = [
            "isolation",
            "continuity",
            "ring continuity",
            "insulation",
            "polarity",
            "put back",
            "energise",
            "external loop",
            "loop impedance",
            "fault current",
            "supply polarity",
            "functional checks",
        ];
        const ASKED: [&str; 5] = [
            "what is out",
            "where are we",
            "how long is left",
            "say again",
            "what is still out",
        ];
        let say = |words: &str| Some(Next::Say(words.to_owned()));
        match self.rng.u32(0..100) {
            0..18 => foreign(&mut self.rng).map(Next::Say),
            18..30 => {
                let stage = self.pick(&STAGES)?;
                Some(Next::Say(format!("go to {stage}")))
            }
            30..37 => {
                let all: Vec<u16> = self.site.circuits().map(|(at, _)| at.1).collect();
                let number = self.pick(&all)?;
                Some(Next::Say(format!("circuit {}", words::count(number))))
            }
            37..39 => {
                let all: Vec<u16> = self.site.boards.keys().copied().collect();
                Some(Next::Say(format!(
                    "board {}",
                    words::count(self.pick(&all)?)
                )))
            }
            39..43 => say("skip reason in use"),
            43..47 => say("not tested reason no access"),
            47..49 => say("pause"),
            49..52 => say("stand by"),
            52..54 => Some(Next::Away([5, 20, 60, 600][self.rng.usize(0..4)])),
            54..57 => Some(Next::Restart([0, 3, 30, 700][self.rng.usize(0..4)])),
            57..66 => self.pick(&ASKED).and_then(say),
            66..68 => say("take a note"),
            68 => say("finish"),
            69..71 => {
                let all: Vec<At> = self.site.circuits().map(|(at, _)| at).collect();
                let at = self.pick(&all)?;
                Some(Next::Say(format!(
                    "circuit {} stays off",
                    words::count(at.1)
                )))
            }
            71..73 => say("disregard"),
            73..75 => say("go to five hundred volts"),
            75 => say("observation"),
            76..78 if self.question.is_none() => {
                self.perform(Deed::Unlock(self.board), false);
                say("lock removed")
            }
            78 => {
                self.perform(Deed::MainOn(self.board), false);
                self.live_untold = self.site.live(self.board);
                self.tell_live()
            }
            _ if !self.sure || self.question.is_some() => None,
            _ => {
                let deed = self.unasked()?;
                let (Deed::Out(it) | Deed::Back(it)) = deed.clone() else {
                    return None;
                };
                let out = matches!(deed, Deed::Out(_));
                self.perform(deed, false);
                self.untold.push((it, out));
                self.tell()
            }
        }
    }

    /// Another prompt's act.
    fn unasked(&mut self) -> Option<Deed> {
        let all: Vec<At> = self.site.circuits().map(|(at, _)| at).collect();
        let at = match self.circuit {
            Some(at) => at,
            None => self.pick(&all)?,
        };
        let on = |what: What| Some(Deed::Out(Altered { at: Some(at), what }));
        let points = self.site.points(at);
        let lives = self.site.lives(at);
        let lines: BTreeSet<Wire> = lives.iter().copied().filter(|w| w.is_line()).collect();
        let deed = match self.rng.u32(0..14) {
            0..3 => {
                let (place, ends, _) = self.pick(&points)?;
                let wires: Vec<Wire> = lives.iter().copied().chain([Wire::E]).collect();
                let wire = self.pick(&wires)?;
                on(What::End(wire, self.rng.u8(0..ends), place))
            }
            3..5 => on(What::Accessory(self.pick(&points)?.0)),
            5 => on(What::Linked(lives)),
            6 => on(What::Linked(lines.into_iter().chain([Wire::E]).collect())),
            7 if self.site.is_ring(at) => on(What::Crossed([Wire::L, Wire::E].into())),
            8 if self.site.loads.contains(&at) => on(What::Load),
            9 => on(What::Switch),
            10 => Some(Deed::Out(Altered {
                at: None,
                what: What::Earthing,
            })),
            11 => {
                let bonds = self.site.job.supply.bonds.clone();
                let bond = self.pick(&bonds)?;
                Some(Deed::Out(Altered {
                    at: None,
                    what: What::Bond(bond),
                }))
            }
            _ => {
                let all: Vec<Altered> = self.site.altered.iter().cloned().collect();
                let mine = |it: &&Altered| it.at.is_none() || it.at == self.circuit;
                let all: Vec<Altered> = all.iter().filter(mine).cloned().collect();
                return self.pick(&all).map(Deed::Back);
            }
        };
        deed.filter(|deed| matches!(deed, Deed::Out(it) if !self.site.altered.contains(it)))
    }

    fn answer_question(&mut self) -> String {
        let Some(it) = self.question.take() else {
            return "say again".to_owned();
        };
        let yes = |so: bool| if so { "affirm" } else { "negative" }.to_owned();
        let slip = self.lies && self.one_in(6);
        let is_so = |item: &String| self.is_so(item);
        match it.act {
            Act::AllBack => yes(it.list.iter().any(is_so) == slip),
            Act::IfOut => yes(it.list.iter().any(is_so) != slip),
            Act::NeverOut => yes(it.list.iter().any(is_so) == slip),
            Act::IfLive => yes(self.site.live(self.board) != slip),
            Act::IfFinish => yes(self.wild == 0),
            Act::WhichUnit if self.reading.contains("volts") != slip => "volts".to_owned(),
            Act::WhichUnit => {
                let unit = it.text.split(": ").nth(1).and_then(|t| t.split(',').next());
                unit.unwrap_or("megohms").to_owned()
            }
            Act::LoadOrShort => {
                let Some(at) = self.circuit else {
                    return "affirm".to_owned();
                };
                let mut inside = Vec::new();
                if self.site.loads.contains(&at) {
                    inside.push(What::Load);
                }
                inside.extend(self.site.lamps(at));
                inside.retain(|what| !self.site.has(Some(at), what));
                if inside.is_empty() {
                    return "affirm".to_owned();
                }
                for what in inside {
                    self.perform(Deed::Out(Altered { at: Some(at), what }), true);
                }
                "load out".to_owned()
            }
            _ => "affirm".to_owned(),
        }
    }

    /// Does what a prompt asks, as far as it pleases, and says so.
    fn do_and_say(
        &mut self,
        it: &Heard,
        act: Act,
        foreign: &mut dyn FnMut(&mut fastrand::Rng) -> Option<String>,
    ) -> Next {
        let deeds = self.deeds_of(it, act);
        let all = deeds.len();
        let mut done = Vec::new();
        let how = if self.wild == 0 {
            100
        } else {
            self.rng.u32(0..100)
        };
        for deed in deeds {
            let does = match how {
                // Nothing, or half of it.
                0..6 => false,
                6..20 => all < 2 || self.one_in(2),
                _ => true,
            };
            if does {
                self.perform(deed.clone(), true);
                done.push(deed);
            }
        }
        let false_words = self.lies && self.of_a_hundred(12);
        let words = self.words_for(it, act, &done, false_words);
        let volts = match (act, &self.family) {
            (Act::Full, Some(Family::Full(volts))) => *volts,
            _ => it
                .volts
                .unwrap_or(if act == Act::TwoWay { 500 } else { 250 }),
        };
        let volts = if act == Act::Together {
            it.volts.unwrap_or(500)
        } else {
            volts
        };
        let Some(mut words) = words else {
            let other = if self.wild == 0 {
                None
            } else {
                foreign(&mut self.rng)
            };
            self.sure = false;
            return Next::Say(other.unwrap_or_else(|| "say again".to_owned()));
        };
        self.hazards = self.hazards_of(it, act, volts);
        self.as_ordered = !false_words && it.say.contains(&words[0]);
        let first = words.remove(0);
        self.queue = words.into();
        self.reading.clone_from(&first);
        Next::Say(first)
    }

    /// What is true to say now, in the words of the prompt where those are true.
    fn words_for(&mut self, it: &Heard, act: Act, done: &[Deed], lie: bool) -> Option<Vec<String>> {
        let one = |words: &str| Some(vec![words.to_owned()]);
        let over = || "over range".to_owned();
        let site = &self.site;
        let live = site.live(self.board);
        let at = self.circuit;
        let left = {
            let undone = self.deeds_of(it, act);
            undone.is_empty() || lie
        };
        let site = &self.site;
        let ordered = |n: usize| it.say.get(n).cloned();
        let number =
            |ohms: Option<String>| Some(vec![ohms.map_or_else(over, |n| words::digits(&n))]);
        let half = |me: &Self| {
            let told: Vec<String> = done
                .iter()
                .filter_map(|deed| match deed {
                    Deed::Out(it) => Some(me.out_words(it)),
                    Deed::Back(it) => Some(me.back_words(it)),
                    _ => None,
                })
                .collect();
            (!told.is_empty()).then_some(told)
        };
        if lie && act.is_insulation() && self.rng.bool() {
            return one("nine nine nine");
        }
        match act {
            Act::Identify | Act::Covers | Act::Handover => one("done"),
            Act::Prove => one("proved"),
            Act::Isolate if !site.boards[&self.board].on && !site.others_on || lie => {
                one("isolated")
            }
            Act::Isolate => None,
            Act::Lock if site.boards[&self.board].locked && !site.boards[&self.board].on || lie => {
                one("locked off")
            }
            Act::Lock => None,
            Act::ProveDead if live && !lie => {
                let words = [
                    "it is live",
                    "two hundred and thirty volts",
                    "voltage present",
                ];
                self.pick(&words).map(|words| vec![words.to_owned()])
            }
            Act::ProveDead => one("dead"),
            Act::LeadsOpen => one("over range"),
            Act::LeadsJoined => match ordered(0).filter(|w| w == "leads nulled") {
                Some(words) if self.rng.bool() => Some(vec![words]),
                _ => one("nought point nought nought"),
            },
            Act::Bond | Act::SupplementaryBond => one("nought point nought three"),
            Act::BondBack if left => one("bond back on"),
            Act::Link if left => match self.rng.bool() {
                true => one("linked"),
                false => one("line and earth linked at board"),
            },
            Act::Unlink if left => Some(vec![
                ordered(0).unwrap_or_else(|| "link removed".to_owned()),
            ]),
            Act::Uncross if left => Some(vec![
                ordered(0).unwrap_or_else(|| "crossing removed".to_owned()),
            ]),
            Act::RingEndsBack if left => one("ring ends back"),
            Act::Point => {
                let at = at?;
                let place = it.place.clone().unwrap_or_default();
                number(site.r1_r2(at, &place, *site.lives(at).first()?))
            }
            Act::RingEnds => {
                let wire = wires(it.conductors.as_deref()?).first().copied()?;
                number(Some(site.end_to_end(at?, wire)))
            }
            Act::RingCrossed | Act::RingPoint => {
                let with = match &self.family {
                    Some(Family::Ring(with)) => *with,
                    _ => return None,
                };
                number(site.crossed(at?, &(vec![Wire::L], vec![with])))
            }
            // Joined means joined.
            Act::Reconnected | Act::Joined if !left => None,
            _ if act.is_insulation() && live => one("two hundred and thirty volts"),
            _ if act.is_insulation() => {
                let ends = self.ends(it, act);
                let together = matches!(act, Act::Together | Act::TogetherTrial);
                let of_board = site
                    .circuits()
                    .map(|(at, _)| at)
                    .filter(|at| at.0 == self.board);
                let all: Vec<At> = if together {
                    of_board.collect()
                } else {
                    vec![at?]
                };
                let shown = all
                    .into_iter()
                    .filter_map(|at| site.megohms(at, &ends))
                    .min();
                Some(vec![shown.map_or_else(
                    || "over nine nine nine".to_owned(),
                    words::digits,
                )])
            }
            Act::Clear | Act::Lamps if left && act == Act::Lamps => one("done"),
            Act::Clear
                if done.is_empty()
                    && at.is_some_and(|at| {
                        let lives: Vec<Wire> = site.lives(at).into_iter().collect();
                        let joined = site.joined_with(at, &lives[..1]);
                        lives.iter().all(|wire| joined.contains(wire))
                    }) =>
            {
                one("linked")
            }
            Act::Clear => {
                let told = half(self)?;
                let linked = done.iter().any(|d| {
                    matches!(
                        d,
                        Deed::Out(Altered {
                            what: What::Linked(_),
                            ..
                        })
                    )
                });
                if linked && self.rng.bool() {
                    one("linked")
                } else {
                    Some(told)
                }
            }
            Act::NotTested => one("not tested reason equipment cannot be taken out"),
            Act::Polarity | Act::LivePolarity => {
                let reversed = site.faults.get(&at?) == Some(&Fault::Reversed);
                one(if reversed {
                    "polarity reversed"
                } else {
                    "polarity correct"
                })
            }
            Act::SupplyPolarity => one("polarity correct"),
            Act::PutBack => {
                let back: Vec<String> = it
                    .list
                    .iter()
                    .filter(|item| lie || self.meant_back(item).is_empty())
                    .map(|item| item_back(item))
                    .collect();
                let listed_back = back.len() == it.list.len();
                let nothing_out = self.site.altered.is_empty();
                let which_one = std::mem::take(&mut self.which_one);
                if listed_back && (which_one || nothing_out && self.rng.u8(0..5) == 0) {
                    one("all back")
                } else {
                    (!back.is_empty()).then_some(back)
                }
            }
            Act::SupplyReversed => one("go to supply polarity"),
            Act::PutRight | Act::PutRightOrSay => self.put_right(it, act),
            // A board further on is switched on while what feeds it may still be off.
            Act::Energise if live || lie || left && site.feeder(self.board).is_some() => {
                one("energised")
            }
            Act::Energise if done.contains(&Deed::Unlock(self.board)) => one("lock removed"),
            Act::OffLock if left => one("locked off"),
            Act::OffTerminals => {
                if at.is_some_and(|at| site.double_pole.contains(&at)) {
                    one("double pole")
                } else if left {
                    one("done")
                } else {
                    half(self)
                }
            }
            Act::MakeSafe if left => one("isolated"),
            Act::EarthingOff if left => one("earthing conductor off"),
            Act::EarthingBack if left => one("earthing conductor back on"),
            Act::ExternalLoop => Some(vec![words::digits(&format!("{:.2}", site.external()))]),
            Act::FaultCurrent => Some(vec![words::digits(&format!(
                "{:.2}",
                0.23 / site.external().min(0.4)
            ))]),
            Act::LiveLoop => number(site.loop_ohms(at?, it.place.as_deref().unwrap_or(""))),
            Act::RcdHalf => one("did not trip"),
            Act::RcdTime => one("two one"),
            Act::RcdButton => one("tripped"),
            Act::PhaseSequence => one("phase sequence correct"),
            Act::Functional => one("works"),
            Act::NothingLeft => one("finish"),
            _ => half(self),
        }
    }

    fn put_right(&mut self, it: &Heard, act: Act) -> Option<Vec<String>> {
        let words = |words: &str| words.to_owned();
        if act == Act::PutRightOrSay {
            if it.text.contains("danger code one") && self.one_in(2) {
                return Some(vec![words("danger code one")]);
            }
            if it.text.contains("observation") && self.one_in(2) {
                return Some(vec![words("observation")]);
            }
        }
        let number = it.off?;
        let named = words::count(number);
        if self.one_in(2) {
            let at = (self.board, number);
            self.perform(Deed::Repair(at), true);
            return Some(vec![format!("circuit {named}")]);
        }
        Some(vec![format!("circuit {named} stays off")])
    }

    /// After the program's answer to something that was told of: whether it was taken.
    pub fn was_telling(&self) -> bool {
        self.telling
    }
}

impl Site {
    fn lamps(&self, at: At) -> Vec<What> {
        let lighting = self
            .circuit(at)
            .is_some_and(|c| c.kind == bothhands::installation::CircuitKind::Lighting);
        if lighting {
            (0..LAMPS).map(What::Lamp).collect()
        } else {
            Vec::new()
        }
    }
}

/// "Line and neutral", also of three lines and earth, which are named together.
fn joined_words(set: &BTreeSet<Wire>) -> String {
    let lines = set.contains(&Wire::L1) && set.contains(&Wire::E);
    if lines {
        "line and earth".to_owned()
    } else {
        spoken(set)
    }
}

/// In few words, for an account.
pub fn named(it: &Altered) -> String {
    let at = it
        .at
        .map(|(board, circuit)| format!(" ({board}/{circuit})"));
    format!("{:?}{}", it.what, at.unwrap_or_default())
}

fn as_line(wire: Wire) -> Wire {
    if wire.is_line() { Wire::L } else { wire }
}

/// Whether the program's words for an entry name this.
fn names(item: &str, it: &Altered) -> bool {
    let mut item = item.trim();
    for end in [" out", " off", " changed"] {
        item = item.strip_suffix(end).unwrap_or(item);
    }
    let set = |words: &str| -> BTreeSet<Wire> { wires(words).into_iter().map(as_line).collect() };
    let same = |all: &BTreeSet<Wire>, words: &str| -> bool {
        all.iter().copied().map(as_line).collect::<BTreeSet<_>>() == set(words)
    };
    if let Some((what, _)) = item.split_once(" crossed") {
        return matches!(&it.what, What::Crossed(all) if same(all, what));
    }
    if let Some((what, _)) = item.split_once(" linked") {
        return matches!(&it.what, What::Linked(all) if same(all, what));
    }
    match &it.what {
        What::Earthing => item == "earthing conductor",
        What::Bond(name) => item == "main bond" || item == format!("{name} bond"),
        What::Load => item == "load",
        What::Lamp(_) => item.starts_with("lamp") || item.starts_with("all lamps"),
        What::Switch => item.starts_with("switch position"),
        What::Accessory(place) => item == place,
        What::End(wire, _, place) => {
            let Some((what, at)) = item.rsplit_once(" at ") else {
                return false;
            };
            let what = what
                .strip_prefix("both ")
                .map_or(what, |w| w.trim_end_matches('s'));
            at == place
                && wires(what)
                    .into_iter()
                    .any(|w| w == *wire || w == as_line(*wire))
        }
        What::Linked(_) | What::Crossed(_) => false,
    }
}

/// The words for an entry that is back.
fn item_back(item: &str) -> String {
    let item = item.trim();
    if let Some((what, _)) = item.split_once(" crossed") {
        return format!("{what} crossing removed");
    }
    if let Some((what, _)) = item.split_once(" linked") {
        return format!("{what} link removed");
    }
    match item {
        "earthing conductor" => return "earthing conductor back on".to_owned(),
        _ if item.ends_with(" bond") || item.ends_with(" bond off") => {
            return "bond back on".to_owned();
        }
        _ => {}
    }
    let item = item.strip_suffix(" off").unwrap_or(item);
    if item.starts_with("switch position") {
        return "switching back".to_owned();
    }
    match item.rsplit_once(" at ") {
        Some((what, at)) => format!("{what} back at {}", words::place(at)),
        None => format!("{} back", words::place(item)),
    }
}
