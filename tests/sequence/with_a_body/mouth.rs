//! What is true to say, in the words a person uses; and what the words for a thing mean.

use super::person::{At, Deed, Family, Person};
use super::table::{Act, Heard};
use super::words;
use super::world::{Altered, Fault, LAMPS, Site, What, Wire, spoken, wires};
use bothhands::installation::CircuitKind;
use std::collections::BTreeSet;

impl Person {
    /// "Neutral out at socket two."
    pub(super) fn out_words(&self, it: &Altered) -> String {
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
            What::Surge(_) => "surge protector out".to_owned(),
        }
    }

    pub(super) fn back_words(&self, it: &Altered) -> String {
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
            What::Surge(_) => "surge protector back".to_owned(),
        }
    }

    pub(super) fn has_two_ends(&self, it: &Altered) -> bool {
        let (What::End(_, _, place), Some(at)) = (&it.what, it.at) else {
            return false;
        };
        let mut points = self.site.points(at).into_iter();
        match place.as_str() {
            "board" => self.site.is_ring(at),
            _ => points.any(|(name, ends, _)| name == *place && ends == 2),
        }
    }

    /// What is true to say now, in the words of the prompt where those are true.
    pub(super) fn words_for(
        &mut self,
        it: &Heard,
        act: Act,
        done: &[Deed],
        lie: bool,
    ) -> Option<Vec<String>> {
        let one = |words: &str| Some(vec![words.to_owned()]);
        let over = || "over range".to_owned();
        let live = self.live_here();
        let at = self.circuit;
        let left = {
            let undone = self.deeds_of(it, act);
            undone.is_empty() || lie
        };
        if let Some(words) = self.words_of_visit(it, act, left, lie) {
            return words;
        }
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
            // Nothing is there any more, and so it is told.
            Act::Clear
                if done.is_empty()
                    && it.list.iter().any(|item| item.contains("something"))
                    && at.is_some_and(|at| {
                        !site.loads.contains(&at) || site.has(Some(at), &What::Load)
                    }) =>
            {
                one("load out")
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
            Act::SupplyVolts => {
                let pair = it.pair.as_deref()?;
                let volts = match (pair.matches("line").count(), pair) {
                    (2, _) => "401",
                    (_, "neutral to earth") => "1",
                    _ => "231",
                };
                Some(vec![words::digits(volts)])
            }
            Act::SupplyPolarity => one("polarity correct"),
            Act::PutBack => {
                let back: Vec<String> = it
                    .list
                    .iter()
                    .filter(|item| lie || self.is_back(item))
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

    pub(super) fn put_right(&mut self, it: &Heard, act: Act) -> Option<Vec<String>> {
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
}

impl Site {
    pub fn lamps(&self, at: At) -> Vec<What> {
        let lighting = self
            .circuit(at)
            .is_some_and(|c| c.kind == CircuitKind::Lighting);
        if lighting {
            (0..LAMPS).map(What::Lamp).collect()
        } else {
            Vec::new()
        }
    }
}

/// "Line and neutral", also of three lines and earth, which are named together.
pub fn joined_words(set: &BTreeSet<Wire>) -> String {
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

pub fn as_line(wire: Wire) -> Wire {
    if wire.is_line() { Wire::L } else { wire }
}

/// Whether the program's words for an entry name this.
pub fn names(item: &str, it: &Altered) -> bool {
    let mut item = item.trim();
    for end in [" out", " off", " changed"] {
        item = item.strip_suffix(end).unwrap_or(item);
    }
    if let Some((rest, number)) = item.split_once(", circuit ") {
        item = rest;
        if it.at.is_some_and(|at| number.parse() != Ok(at.1)) {
            return false;
        }
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
        What::Surge(_) => item == "surge protector",
        What::Bond(name) => item == "main bond" || item == format!("{name} bond"),
        What::Load => item == "load",
        // Lamps that were taken for a load.
        What::Lamp(_) if item == "load" => true,
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
pub fn item_back(item: &str) -> String {
    let item = item.trim();
    let item = item.split_once(", circuit ").map_or(item, |(item, _)| item);
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
    if let Some(at) = item.strip_prefix("switch position") {
        let at = at
            .strip_prefix(" at ")
            .map(|at| format!(" at {}", words::place(at)));
        return format!("switching back{}", at.unwrap_or_default());
    }
    match item.rsplit_once(" at ") {
        Some((what, at)) => format!("{what} back at {}", words::place(at)),
        None => format!("{} back", words::place(item)),
    }
}
