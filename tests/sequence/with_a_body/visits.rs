//! What only some kinds of visit ask: an inspection, minor works, live tests alone, circuits that are
//! isolated on a board which stays live, surge protection, instruments on their references.

use super::person::{At, Deed, Person};
use super::table::{Act, Heard};
use super::words;
use super::world::{Altered, What, Wire};
use bothhands::installation::RcdDelay;

/// What of an inspection is seen only with covers off, as the person knows it.
const BEHIND_COVERS: [&str; 8] = [
    "connections",
    "terminations",
    "conductors identified",
    "insulation of live parts",
    "circuit protective conductors",
    "protective devices and bases",
    "single-pole",
    "where cables enter",
];

/// Codes with which the whole is not satisfactory.
const AGAINST: [&str; 3] = ["code one", "code two", "further investigation"];

impl Person {
    /// The circuits that a prompt is about, where it is about several: those it names, or all of the
    /// board that were named before.
    fn named_circuits(&self, it: &Heard) -> Vec<At> {
        let mut all = self.site.circuits_of(self.board);
        if !it.circuits.is_empty() {
            all.retain(|at| it.circuits.contains(&at.1));
        }
        all
    }

    /// Whether it is live where the person works.
    pub(super) fn live_here(&self) -> bool {
        if !self.site.by_circuit(self.board) {
            return self.site.live(self.board);
        }
        match self.circuit {
            Some(at) => self.site.live_at(at),
            None => {
                let mut all = self.site.circuits_of(self.board).into_iter();
                all.any(|at| self.site.live_at(at))
            }
        }
    }

    /// Whether a prompt of one circuit is heard and the person does not know of which.
    pub(super) fn lost(&self, act: Act) -> bool {
        let of_one = act.is_dead_test() || matches!(act, Act::ProveDead | Act::NeutralOut);
        of_one && self.circuit.is_none() && self.site.by_circuit(self.board)
    }

    /// Whether it is not known which of several RCDs is tested.
    pub(super) fn which_rcd(&self, it: &Heard, act: Act) -> bool {
        let timed = matches!(act, Act::RcdTime | Act::RcdHalf) && !it.text.contains("RCD");
        let board = self.site.board(self.board);
        let several = board.is_some_and(|board| !board.rcds.is_empty());
        timed && several && self.rcd.is_none() && self.circuit.is_none()
    }

    /// What a prompt asks the hands for.
    pub(super) fn deeds_of_visit(&self, it: &Heard, act: Act) -> Vec<Deed> {
        let site = &self.site;
        let board = self.board;
        match act {
            Act::IsolateCircuits | Act::LockCircuits => {
                let all = self.named_circuits(it).into_iter();
                all.flat_map(|at| {
                    let on = !site.off.contains(&at);
                    let unlocked = act == Act::LockCircuits && !site.locked_off.contains(&at);
                    let off = on.then_some(Deed::DeviceOff(at));
                    off.into_iter()
                        .chain(unlocked.then_some(Deed::DeviceLock(at)))
                })
                .collect()
            }
            Act::ProveDead => {
                let pair = it.pair.clone().unwrap_or_default();
                let at = self
                    .circuit
                    .filter(|at| site.by_circuit(at.0) && !site.live_at(*at));
                let proved = at.map(|at| (at, pair));
                let new = proved.filter(|proved| !site.proved.contains(proved));
                new.map(|(at, pair)| Deed::Prove(at, pair))
                    .into_iter()
                    .collect()
            }
            Act::NeutralOut => {
                let at = self.circuit.filter(|at| !site.double_pole.contains(at));
                let ends = at.map_or(0, |at| if site.is_ring(at) { 2 } else { 1 });
                let end = |n| Altered {
                    at,
                    what: What::End(Wire::N, n, "board".into()),
                };
                let out = (0..ends).map(end).filter(|it| !site.altered.contains(it));
                out.map(Deed::Out).collect()
            }
            Act::BackWhenDead => {
                let mut back: Vec<Altered> = it
                    .list
                    .iter()
                    .flat_map(|item| self.meant_back(item))
                    .collect();
                back.dedup();
                back.into_iter().map(Deed::BackDead).collect()
            }
            Act::EnergiseCircuits => {
                let all = self.named_circuits(it);
                let locked = all.iter().any(|at| site.locked_off.contains(at));
                let off = all.iter().any(|at| site.off.contains(at));
                let unlock = locked.then(|| Deed::DevicesUnlock(all.clone()));
                let on = off.then_some(Deed::DevicesOn(all));
                unlock.into_iter().chain(on).collect()
            }
            Act::SurgeOut => {
                let it = Altered {
                    at: None,
                    what: What::Surge(board),
                };
                let new = !site.altered.contains(&it);
                new.then_some(Deed::Out(it)).into_iter().collect()
            }
            _ => Vec::new(),
        }
    }

    /// What is true to say; nothing where the prompt is none of these. `left` says whether all is done
    /// that it asks for.
    pub(super) fn words_of_visit(
        &mut self,
        it: &Heard,
        act: Act,
        left: bool,
        lie: bool,
    ) -> Option<Option<Vec<String>>> {
        let one = |words: &str| Some(vec![words.to_owned()]);
        let when_left = |words: &str| left.then(|| vec![words.to_owned()]);
        let of_circuit = self.site.by_circuit(self.board);
        Some(match act {
            Act::FoundLive => one("done"),
            Act::NothingOn => one("done"),
            Act::IsolateFirst => one("go to safe isolation"),
            Act::IsolateCircuits => when_left("isolated"),
            Act::LockCircuits => when_left("locked off"),
            // It is live, or was proved with the hands.
            Act::ProveDead if of_circuit => {
                if self.live_here() && !lie {
                    one("it is live")
                } else {
                    when_left("dead")
                }
            }
            Act::NeutralOut => {
                let at = self.circuit;
                if at.is_some_and(|at| self.site.double_pole.contains(&at)) {
                    one("double pole")
                } else if left {
                    one("done")
                } else {
                    return None;
                }
            }
            Act::BackWhenDead => {
                let back = it.list.iter().filter(|item| lie || self.is_back(item));
                let back: Vec<String> = back.map(|item| super::mouth::item_back(item)).collect();
                (!back.is_empty()).then_some(back)
            }
            Act::EnergiseCircuits if left => one("energised"),
            Act::EnergiseCircuits => {
                let all = self.named_circuits(it);
                let mut locked = all.iter().filter(|at| self.site.locked_off.contains(at));
                let unlocked = locked.next().is_none();
                unlocked.then(|| vec!["lock removed".to_owned()])
            }
            Act::Item => self.of_the_item(it),
            Act::Outcome => {
                let mut codes = self.site.amiss.values().chain(&self.seen);
                let against = codes.any(|code| AGAINST.contains(code));
                one(if against != lie {
                    "unsatisfactory"
                } else {
                    "satisfactory"
                })
            }
            Act::Adequacy => one(if self.one_in(6) { "fail" } else { "works" }),
            Act::SurgeOut => when_left("surge protector out"),
            Act::SurgeShows => {
                let red = self.site.surge_red.contains(&self.board) != lie;
                one(if red {
                    "surge protection indicator red"
                } else {
                    "surge protection indicator green"
                })
            }
            Act::TesterCheck => {
                let reads = it.conductors.clone().unwrap_or_default();
                let reads = words::figures(&reads);
                let reads = if self.one_in(8) {
                    "9.99".to_owned()
                } else {
                    reads
                };
                Some(vec![words::digits(&reads)])
            }
            // Of several circuits, with a delay.
            Act::RcdTime if self.is_delayed() => one("two nought nought"),
            _ => return None,
        })
    }

    /// What an item is, looked at; what is behind covers only where nothing is live.
    fn of_the_item(&mut self, it: &Heard) -> Option<Vec<String>> {
        let text = it.conductors.clone().unwrap_or_default();
        if BEHIND_COVERS.iter().any(|words| text.contains(words)) && self.site.live(self.board) {
            self.unsafe_
                .push(("covers off on a live board, as asked", it.text.clone()));
        }
        let number = it.item.clone()?;
        let amiss = self.site.amiss.get(&number).copied();
        let code = amiss.is_some_and(|code| code.starts_with("code") || AGAINST.contains(&code));
        if code && self.one_in(3) {
            self.code_of = amiss;
            return Some(vec!["unsatisfactory".to_owned()]);
        }
        Some(vec![amiss.unwrap_or("satisfactory").to_owned()])
    }

    /// Whether the RCD that is tested, of several circuits, has a delay.
    fn is_delayed(&self) -> bool {
        let board = self.site.board(self.board);
        let rcds = board.into_iter().flat_map(|board| &board.rcds);
        let mut this = rcds.filter(|rcd| Some(rcd.number) == self.rcd);
        this.any(|rcd| rcd.delay == RcdDelay::S)
    }

    /// What is unsafe about a dead test on a circuit of a board that stays live.
    pub(super) fn hazards_of_circuit(&self, it: &Heard, act: Act) -> Vec<(&'static str, String)> {
        let Some(at) = self.circuit.filter(|at| self.site.by_circuit(at.0)) else {
            return Vec::new();
        };
        let site = &self.site;
        let all = [
            (site.live_at(at), "dead test on a circuit that is live"),
            (
                !site.locked_off.contains(&at),
                "dead test on a circuit that is not locked off",
            ),
            (
                !site.is_proved(at),
                "dead test on a circuit that was not proved dead",
            ),
            (
                act.is_insulation() && site.neutral_is_earth(at),
                "insulation tested with the neutral in on a live board",
            ),
        ];
        let so = all.into_iter().filter(|(so, _)| *so);
        so.map(|(_, kind)| (kind, it.text.clone())).collect()
    }

    /// Something of an inspection that is said unasked: an item by its number, a section, an
    /// observation.
    pub(super) fn inspects(&mut self) -> Option<String> {
        let inspection = self.site.job.inspection.clone();
        let items: Vec<(String, bool)> = inspection
            .iter()
            .flat_map(|inspection| inspection.all())
            .map(|item| (item.number.to_string(), item.dead))
            .collect();
        if items.is_empty() || self.one_in(4) {
            let code = self.pick(&["code one", "code two", "code three"])?;
            let all: Vec<At> = self.site.circuits().map(|(at, _)| at).collect();
            let circuit = words::count(self.pick(&all)?.1);
            self.seen.push(code);
            return Some(format!("observation {code} on circuit {circuit}"));
        }
        let (number, behind_covers) = self.pick(&items)?;
        if self.one_in(6) {
            let section = number.split('.').next()?.parse().ok()?;
            return Some(format!("section {} not applicable", words::count(section)));
        }
        // Nobody looks there while it is live.
        if behind_covers && self.site.live(self.board) {
            return None;
        }
        let what = self
            .site
            .amiss
            .get(&number)
            .copied()
            .unwrap_or("satisfactory");
        Some(format!("item {} {what}", words::item(&number)))
    }
}
