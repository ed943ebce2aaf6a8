//! What is done and said that nobody asked for.

use super::person::{At, Deed, Next, Person};
use super::words;
use super::world::{Altered, What, Wire};
use std::collections::BTreeSet;

impl Person {
    /// Something that was not asked for.
    pub(super) fn wander(
        &mut self,
        foreign: &mut dyn FnMut(&mut fastrand::Rng) -> Option<String>,
    ) -> Option<Next> {
        const STAGES: [&str; 13] = [
            "inspection",
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
            75 if self.one_in(2) => say("observation"),
            75 => self.inspects().map(Next::Say),
            76..78 if self.question.is_none() => {
                let unlock = match self.site.by_circuit(self.board) {
                    true => Deed::DevicesUnlock(self.worked_on()),
                    false => Deed::Unlock(self.board),
                };
                self.perform(unlock, false);
                say("lock removed")
            }
            78 => {
                let on = match self.site.by_circuit(self.board) {
                    true => Deed::DevicesOn(self.worked_on()),
                    false => Deed::MainOn(self.board),
                };
                self.perform(on, false);
                self.live_untold = self.live_here();
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

    /// Circuits of this board that are worked on: nobody touches the lock of one that stays off.
    fn worked_on(&self) -> Vec<At> {
        let mut all = self.site.circuits_of(self.board);
        all.retain(|at| !self.stays_off.contains(at));
        all
    }

    /// Another prompt's act.
    pub(super) fn unasked(&mut self) -> Option<Deed> {
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
                let off = |it: &Altered| {
                    let at_board = matches!(&it.what, What::End(_, _, place) if place == "board");
                    at_board && it.at.is_some_and(|at| self.stays_off.contains(&at))
                };
                let mine = |it: &&Altered| (it.at.is_none() || it.at == self.circuit) && !off(it);
                let all: Vec<Altered> = all.iter().filter(mine).cloned().collect();
                return self.pick(&all).map(Deed::Back);
            }
        };
        deed.filter(|deed| matches!(deed, Deed::Out(it) if !self.site.altered.contains(it)))
    }
}
