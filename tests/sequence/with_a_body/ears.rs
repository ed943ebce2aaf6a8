//! What a person hears, what comes to mind of it, and whether it was unsafe.

use super::mouth::{item_back, named};
use super::person::{At, Family, Person};
use super::table::{Act, Heard, heard, items};
use super::words;
use super::world::{Wire, pair, wires};
use bothhands::sequence::{Line, LineKind};
use regex::Regex;
use std::sync::LazyLock;

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

static DEAD_FIRST: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(
        r"^No\. (?:Still out: )?(.+?)[.:] .*Nothing is put back (before it|live: have|live: say)",
    )
    .unwrap()
});
static TAKE_OUT: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^No\. Not at five hundred volts with (.+) in circuit\. Take").unwrap()
});

impl Person {
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
                LineKind::Shown => return Err(format!("an instrument, and no practice: {text}")),
                LineKind::Tone => return Err(format!("a tone in the full manner: {text}")),
                LineKind::Question if text.starts_with("Say again") => {}
                LineKind::Question => {
                    let it = heard(text).ok_or_else(|| format!("not in the table: {text}"))?;
                    if !it.act.is_question() {
                        return Err(format!("no question in the table: {text}"));
                    }
                    self.acts.insert(it.act);
                    self.question = Some(it);
                }
                LineKind::Warning if text.starts_with("Live? Hands off") => {
                    self.question = heard(text);
                    self.acts.insert(Act::IfLive);
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

    pub(super) fn asked(&mut self, it: Heard) {
        self.acts.insert(it.act);
        if it.act.is_question() {
            self.question = Some(it);
            return;
        }
        self.question = None;
        self.stale = false;
        self.waiting = match it.act {
            Act::Resume => Some("resume"),
            Act::CarryOn => Some("carry on"),
            Act::EndOfNote | Act::Observing => Some("end of note"),
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
        match (it.act, it.circuit) {
            (Act::RcdHalf | Act::RcdTime, None) => self.rcd = it.rcd.or(self.rcd),
            (Act::BarePair | Act::BarePlace, _) => {}
            _ => self.rcd = it.rcd,
        }
        // Pairs of one circuit come one after the other.
        let same_circuit = it.act == Act::ProveDead && self.site.by_circuit(self.board);
        if let Some(board) = it.board {
            self.board = board;
            self.circuit = it.circuit.map(|circuit| (board, circuit));
            self.sure = true;
        } else if let Some(circuit) = it.circuit {
            if self.site.circuit((self.board, circuit)).is_none() {
                let mut all = self.site.circuits().map(|(at, _)| at);
                self.board = all.find(|at| at.1 == circuit).map_or(self.board, |at| at.0);
            }
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
                    | Act::SupplyVolts
                    | Act::SupplyPolarity
                    | Act::EarthingOff
                    | Act::EarthingBack
                    | Act::ExternalLoop
                    | Act::FaultCurrent
                    | Act::PhaseSequence
                    | Act::Functional
                    | Act::Handover
                    | Act::FoundLive
                    | Act::IsolateCircuits
                    | Act::LockCircuits
                    | Act::EnergiseCircuits
                    | Act::Item
                    | Act::Outcome
                    | Act::Adequacy
                    | Act::SurgeOut
                    | Act::SurgeShows
                    | Act::TesterCheck
            ) || it.rcd.is_some();
            if of_the_board && !same_circuit {
                self.circuit = None;
            }
            let elsewhere = matches!(
                it.act,
                Act::Unlink
                    | Act::PutBack
                    | Act::BackWhenDead
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

    pub(super) fn warned(&mut self, text: &str) -> Result<(), String> {
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
        } else if let Some(found) = DEAD_FIRST.captures(text) {
            let act = match &found[2] {
                "live: have" => Act::BackWhenDead,
                _ => Act::IsolateFirst,
            };
            self.sure = false;
            // While it is being isolated, that goes on.
            self.stale = &found[2] == "before it";
            if !self.stale {
                self.acts.insert(act);
                let it = Heard::refusing(act, &found[1], text);
                self.prompt = Some(Heard {
                    say: vec!["go to safe isolation".to_owned()],
                    ..it
                });
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
            let number = |item: &String| item.split_once(", circuit ")?.1.parse::<u16>().ok();
            let back: Vec<String> = listed
                .iter()
                .filter(|item| !self.is_so(item))
                .cloned()
                .collect();
            self.queue.clear();
            match back.iter().find_map(number) {
                // Where it can be told apart, the person goes there.
                Some(circuit) if self.rng.bool() => {
                    self.queue
                        .push_back(format!("circuit {}", words::count(circuit)));
                }
                _ => {}
            }
            let back: Vec<String> = back.iter().map(|item| item_back(item)).collect();
            self.queue.extend(back);
        } else if text.starts_with("Why? Say reason") {
            self.queue.push_back("reason no access".to_owned());
        } else if text.starts_with("Not satisfactory: say its code") {
            let code = self.code_of.take().unwrap_or("code three");
            self.queue.push_back(code.to_owned());
        } else if text.starts_with("Code one") {
            self.queue
                .push_back("person in charge says it stays on".to_owned());
        } else {
            self.queue.clear();
        }
        self.stale = !text.starts_with("No. First: ");
        Ok(())
    }

    pub(super) fn answered(&mut self, text: &str) {
        if let Some(found) = WHERE.captures(text) {
            self.board = found[1].parse().unwrap();
            let number = found.get(2).and_then(|n| n.as_str().parse().ok());
            self.circuit = number.map(|number| (self.board, number));
            self.sure = true;
        } else if let Some(found) = MOVED.captures(text) {
            self.sure = false;
            self.family = None;
            self.rcd = None;
            // What stayed off is worked on again.
            if let Some(number) = found.get(1).and_then(|n| n.as_str().parse::<u16>().ok())
                && (!self.stays_off.remove(&(self.board, number)))
            {
                self.stays_off.retain(|at| at.1 != number);
            }
        } else if text.starts_with("I don't know") {
            self.stale = true;
        } else if let Some(out) = text.strip_prefix("Not back, then. Still out: ") {
            // Whoever dropped what was said of it says it again.
            let out: Vec<String> = items(out.trim_end_matches('.'));
            let back = out.iter().filter(|item| !self.is_so(item));
            let back: Vec<String> = back.map(|item| item_back(item)).collect();
            if !self.lies {
                self.queue.extend(back);
            }
        } else if text.starts_with("Finished.") {
            self.finished = true;
        } else if text.starts_with("Paused.") {
            self.waiting = Some("resume");
        } else if text.starts_with("Standing by.") {
            self.waiting = Some("carry on");
        } else if text.starts_with("Note. Say") || text.starts_with("Say what you") {
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

    /// What was said, against the world as it is.
    pub(super) fn judge(&mut self, lines: &[Line]) {
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

    pub(super) fn hazards_of(
        &self,
        it: &Heard,
        act: Act,
        volts: u16,
    ) -> Vec<(&'static str, String)> {
        let mut found = Vec::new();
        if !act.is_dead_test() {
            return found;
        }
        let live = self.live_here();
        found.extend(self.hazards_of_circuit(it, act));
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
            let one_of_them = self.circuit.filter(|_| !together);
            let neutral_to_earth = ends.0.contains(&Wire::N) && ends.1.contains(&Wire::E);
            let across = together
                || one_of_them.is_some_and(|at| neutral_to_earth && self.site.neutral_in(at));
            if across && volts >= 500 && self.site.surge_in(self.board) {
                found.push(("500 volts with surge protection in", it.text.clone()));
            }
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

    pub(super) fn ends(&self, it: &Heard, act: Act) -> (Vec<Wire>, Vec<Wire>) {
        if matches!(act, Act::Joined | Act::Reconnected) {
            let lives = self
                .circuit
                .map(|at| self.site.lives(at))
                .unwrap_or_default();
            return (lives.into_iter().collect(), vec![Wire::E]);
        }
        pair(it.pair.as_deref().unwrap_or("line to neutral"))
    }
}
