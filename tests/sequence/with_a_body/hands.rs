//! What a prompt asks the hands for, and what they do.

use super::mouth::{named, names};
use super::person::{At, Deed, Family, Person};
use super::table::{Act, Heard};
use super::world::{Altered, LAMPS, Site, What, Wire, wires};
use std::collections::BTreeSet;

impl Person {
    pub fn perform(&mut self, deed: Deed, asked: bool) {
        let (Deed::Out(it) | Deed::Back(it)) = &deed else {
            return self.perform_switching(deed, asked);
        };
        if asked && it.what.at_conductors() && self.site.is_live_there(it) {
            self.unsafe_
                .push(("hands where it is live, as asked", named(it)));
        }
        match &deed {
            Deed::Out(it) => drop(self.site.altered.insert(it.clone())),
            _ => drop(self.site.altered.remove(it)),
        }
        self.deeds.push(deed);
    }

    fn perform_switching(&mut self, deed: Deed, asked: bool) {
        let site = &mut self.site;
        match &deed {
            Deed::Out(_) | Deed::Back(_) => {}
            Deed::BackDead(it) => drop(site.altered.remove(it)),
            Deed::DeviceOff(at) => {
                site.off.insert(*at);
                site.proved.retain(|(there, _)| there != at);
            }
            Deed::DeviceLock(at) => drop(site.locked_off.insert(*at)),
            Deed::DevicesUnlock(all) => {
                site.locked_off.retain(|at| !all.contains(at));
                site.proved.retain(|(at, _)| !all.contains(at));
            }
            Deed::DevicesOn(all) => {
                let off = |at: &At| !all.contains(at);
                site.off.retain(off);
                site.locked_off.retain(off);
                site.proved.retain(|(at, _)| off(at));
            }
            Deed::Prove(at, pair) => drop(site.proved.insert((*at, pair.clone()))),
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
            Deed::OffLock(at) => {
                site.off.insert(*at);
                site.locked_off.insert(*at);
            }
            Deed::Repair(at) => drop(site.faults.remove(at)),
        }
        let thrown = match &deed {
            Deed::MainOn(board) => Some(*board),
            Deed::OthersOn | Deed::DevicesOn(_) => Some(self.board),
            _ => None,
        };
        self.deeds.push(deed);
        if let Some(on) = thrown.filter(|_| asked) {
            let wrong: Vec<String> = self
                .site
                .wrong_while_live(on)
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
    pub(super) fn deeds_of(&mut self, it: &Heard, act: Act) -> Vec<Deed> {
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
                match at.filter(|_| it.conductors.is_some()) {
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
                let site = &self.site;
                let locked = |at: &At| !site.by_circuit(at.0) || site.locked_off.contains(at);
                let off = |at: &At| site.off.contains(at) && locked(at);
                if let Some(at) = at.filter(|at| !off(at)) {
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
            _ => deeds = self.deeds_of_visit(it, act),
        }
        let new = |it: &Altered| !self.site.altered.contains(it);
        deeds.extend(out.into_iter().filter(new).map(Deed::Out));
        let there = |it: &Altered| self.site.altered.contains(it);
        deeds.extend(back.into_iter().filter(there).map(Deed::Back));
        deeds
    }

    pub(super) fn is_out(&self, at: At, place: &str) -> bool {
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
    pub(super) fn keeps_off(&self, it: &Altered) -> bool {
        let at_board = matches!(&it.what, What::End(_, _, place) if place == "board");
        let off = it
            .at
            .is_some_and(|at| self.stays_off.contains(&at) && self.circuit != Some(at));
        at_board && off
    }

    pub(super) fn is_so(&self, item: &str) -> bool {
        self.site.altered.iter().any(|it| names(item, it))
    }

    /// Whether what is meant by an entry is back: what keeps a circuit off was not put back.
    pub(super) fn is_back(&self, item: &str) -> bool {
        let kept = item.contains(", circuit ") && self.is_so(item);
        !kept && self.meant_back(item).is_empty()
    }

    /// What is meant by an entry that is to be put back: where nothing else is, what kept a circuit
    /// off that is worked on again.
    pub(super) fn meant_back(&self, item: &str) -> Vec<Altered> {
        let all = || self.site.altered.iter().filter(|it| names(item, it));
        let mut plain: Vec<Altered> = all().filter(|it| !self.keeps_off(it)).cloned().collect();
        // What is named without its circuit is on this one, where there is such a thing here.
        let here = |it: &Altered| self.circuit.is_some() && it.at == self.circuit;
        // So a prompt for one circuit means it; a refusal names what is anywhere.
        let prompt = self.prompt.as_ref();
        let of_this = self.circuit.is_some() && prompt.is_some_and(|it| !it.text.starts_with("No"));
        if !item.contains(", circuit ") && of_this {
            plain.retain(|it| it.at.is_none() || here(it));
            return plain;
        }
        if !item.contains(", circuit ") && plain.iter().any(here) {
            plain.retain(here);
        }
        if plain.is_empty() && !self.circuit.is_some_and(|at| self.stays_off.contains(&at)) {
            return all().cloned().collect();
        }
        plain
    }
}
