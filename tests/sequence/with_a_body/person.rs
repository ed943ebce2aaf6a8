//! Somebody with hands and ears: does what is asked, or half of it, or something else, and says what
//! is so, or what is not.

use super::table::{Act, Heard};
use super::world::{Altered, Site, What, Wire};
use std::collections::{BTreeSet, VecDeque};

pub type At = (u16, u16);

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
    /// The device of one circuit on a board that stays live: off, its lock, locks off, on.
    DeviceOff(At),
    DeviceLock(At),
    DevicesUnlock(Vec<At>),
    DevicesOn(Vec<At>),
    /// A pair proved dead where such a circuit is worked on.
    Prove(At, String),
    /// The board off, locked and proved dead, this back, and the board on again.
    BackDead(Altered),
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
pub enum Family {
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
    /// Everything that was asked for so far.
    pub acts: BTreeSet<Act>,
    /// What is unsafe, as it happens.
    pub unsafe_: Vec<(&'static str, String)>,
    /// What was done before the words, for the account of a finding.
    pub deeds: Vec<Deed>,
    /// The last words were those that a prompt had ordered, said where it had.
    pub as_ordered: bool,
    pub(super) board: u16,
    pub(super) circuit: Option<At>,
    pub(super) sure: bool,
    pub(super) stale: bool,
    pub(super) family: Option<Family>,
    pub(super) prompt: Option<Heard>,
    pub(super) question: Option<Heard>,
    pub(super) waiting: Option<&'static str>,
    pub(super) queue: VecDeque<String>,
    pub(super) untold: Vec<(Altered, bool)>,
    pub(super) telling: bool,
    pub(super) which_one: bool,
    pub(super) live_untold: bool,
    pub(super) tried: u32,
    /// What would be unsafe about the test that was made last, if its reading is taken.
    pub(super) hazards: Vec<(&'static str, String)>,
    pub(super) reading: String,
    /// Circuits that the person said stay off.
    pub(super) stays_off: BTreeSet<At>,
    /// The RCD of several circuits that is tested.
    pub(super) rcd: Option<u16>,
    /// The code of an item that was said not to be satisfactory.
    pub(super) code_of: Option<&'static str>,
    /// Codes of what was seen besides the items.
    pub(super) seen: Vec<&'static str>,
}

impl Person {
    pub fn new(site: Site, rng: fastrand::Rng, lies: bool) -> Self {
        let board = site.job.boards.first().map_or(1, |board| board.number);
        Self {
            site,
            rng,
            wild: 0,
            lies,
            finished: false,
            acts: BTreeSet::new(),
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
            rcd: None,
            code_of: None,
            seen: Vec::new(),
        }
    }

    /// The question or prompt that stands.
    pub fn asked_now(&self) -> String {
        let asked = self.question.as_ref().or(self.prompt.as_ref());
        asked.map(|it| it.text.clone()).unwrap_or_default()
    }

    pub(super) fn one_in(&mut self, n: u32) -> bool {
        self.rng.u32(0..n) == 0
    }

    pub(super) fn of_a_hundred(&mut self, n: u32) -> bool {
        self.rng.u32(0..100) < n
    }

    pub(super) fn pick<T: Clone>(&mut self, from: &[T]) -> Option<T> {
        (!from.is_empty()).then(|| from[self.rng.usize(0..from.len())].clone())
    }

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

    pub(super) fn next_words(
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
        // Each time it is said in full it says where.
        if self.lost(act) || self.which_rcd(&it, act) {
            self.tried += 1;
            return say("say again");
        }
        self.tried = 0;
        self.do_and_say(&it, act, foreign)
    }

    pub(super) fn tell_live(&mut self) -> Option<Next> {
        let told = std::mem::take(&mut self.live_untold) && (!self.lies || self.one_in(2));
        told.then(|| {
            let words = self.pick(&["it is live", "voltage present", "stop"]);
            Next::Say(words.unwrap_or("stop").to_owned())
        })
    }

    pub(super) fn tell(&mut self) -> Option<Next> {
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

    pub(super) fn answer_question(&mut self) -> String {
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
            Act::IfLive => yes(self.live_here() != slip),
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
    pub(super) fn do_and_say(
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
        let asks_for_code = words[0] == "unsatisfactory" && act == Act::Item;
        let ordered = it.say.contains(&words[0]) || act.of_inspection() && !asks_for_code;
        self.as_ordered = !false_words && ordered;
        let first = words.remove(0);
        self.queue = words.into();
        self.reading.clone_from(&first);
        Next::Say(first)
    }

    /// After the program's answer to something that was told of: whether it was taken.
    pub fn was_telling(&self) -> bool {
        self.telling
    }
}
