//! The installation itself: what is out, joined, switched and locked. Only acts change it.

use bothhands::installation::{Board, Circuit, CircuitKind, Job, Phases};
use std::collections::{BTreeMap, BTreeSet};

/// A conductor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wire {
    L,
    L1,
    L2,
    L3,
    N,
    E,
}

impl Wire {
    pub fn spoken(self) -> &'static str {
        match self {
            Self::L => "line",
            Self::L1 => "line one",
            Self::L2 => "line two",
            Self::L3 => "line three",
            Self::N => "neutral",
            Self::E => "earth",
        }
    }

    pub fn is_line(self) -> bool {
        self < Self::N
    }
}

/// "line and neutral", "all lines".
pub fn wires(spoken: &str) -> Vec<Wire> {
    let all = [Wire::L1, Wire::L2, Wire::L3];
    let mut found = Vec::new();
    for word in spoken.split(" and ") {
        match word.trim().trim_end_matches(" joined") {
            "line" => found.push(Wire::L),
            "line one" => found.push(Wire::L1),
            "line two" => found.push(Wire::L2),
            "line three" => found.push(Wire::L3),
            "all lines" => found.extend(all),
            "neutral" => found.push(Wire::N),
            "earth" => found.push(Wire::E),
            _ => {}
        }
    }
    found
}

/// The two ends of a pair: "line to neutral".
pub fn pair(spoken: &str) -> (Vec<Wire>, Vec<Wire>) {
    let (from, to) = spoken.split_once(" to ").unwrap_or((spoken, ""));
    (wires(from), wires(to))
}

/// As the program and a person say several.
pub fn spoken(of: &BTreeSet<Wire>) -> String {
    let lines = [Wire::L1, Wire::L2, Wire::L3];
    let mut words = Vec::new();
    let mut rest: Vec<Wire> = of.iter().copied().collect();
    if lines.iter().all(|line| of.contains(line)) {
        words.push("all lines");
        rest.retain(|wire| !lines.contains(wire));
    }
    words.extend(rest.into_iter().map(Wire::spoken));
    words.join(" and ")
}

/// One thing that is not as it will be used.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// An end of a conductor out of its terminal: at the board, or at an accessory. Which of two.
    End(Wire, u8, String),
    Linked(BTreeSet<Wire>),
    Crossed(BTreeSet<Wire>),
    Accessory(String),
    Lamp(u8),
    Load,
    Switch,
    Earthing,
    Bond(String),
    /// What protects a board against surges.
    Surge(u16),
}

impl What {
    /// Done with the hands at conductors: never where it is live.
    pub fn at_conductors(&self) -> bool {
        matches!(
            self,
            Self::End(..)
                | Self::Linked(_)
                | Self::Crossed(_)
                | Self::Accessory(_)
                | Self::Earthing
                | Self::Bond(_)
                | Self::Surge(_)
        )
    }
}

/// With the circuit it is on; none for the earthing conductor and bonds.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Altered {
    pub at: Option<(u16, u16)>,
    pub what: What,
}

/// What is wrong with a circuit from the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    NeutralToEarth,
    Reversed,
}

#[derive(Debug, Clone, Default)]
pub struct Switches {
    pub on: bool,
    pub locked: bool,
}

pub struct Site {
    pub job: Job,
    pub altered: BTreeSet<Altered>,
    pub boards: BTreeMap<u16, Switches>,
    /// Solar, a battery, a generator.
    pub others_on: bool,
    /// Circuits whose device is off.
    pub off: BTreeSet<(u16, u16)>,
    /// Those of them whose device is locked off, on a board that stays live.
    pub locked_off: BTreeSet<(u16, u16)>,
    /// Pairs that were proved dead on such a circuit since its device was last switched or unlocked.
    pub proved: BTreeSet<((u16, u16), String)>,
    /// Items of the inspection that are not as they should be, with the code that belongs to each.
    pub amiss: BTreeMap<String, &'static str>,
    /// Boards whose surge protection shows red.
    pub surge_red: BTreeSet<u16>,
    pub double_pole: BTreeSet<(u16, u16)>,
    /// Something plugged in that no list names.
    pub loads: BTreeSet<(u16, u16)>,
    pub faults: BTreeMap<(u16, u16), Fault>,
}

impl Site {
    pub fn new(job: Job, rng: &mut fastrand::Rng) -> Self {
        let mut site = Self {
            altered: BTreeSet::new(),
            boards: BTreeMap::new(),
            others_on: job.supply.sources.len() > 1,
            off: BTreeSet::new(),
            locked_off: BTreeSet::new(),
            proved: BTreeSet::new(),
            amiss: BTreeMap::new(),
            surge_red: BTreeSet::new(),
            double_pole: BTreeSet::new(),
            loads: BTreeSet::new(),
            faults: BTreeMap::new(),
            job,
        };
        for board in site.job.boards.clone() {
            let on = Switches {
                on: true,
                locked: false,
            };
            site.boards.insert(board.number, on);
            if board.surge.is_some() && rng.u8(0..6) == 0 {
                site.surge_red.insert(board.number);
            }
            for circuit in &board.circuits {
                let at = (board.number, circuit.number);
                if circuit.equipment_possible
                    && circuit.kind != CircuitKind::Lighting
                    && rng.u8(0..4) == 0
                {
                    site.loads.insert(at);
                }
                if rng.u8(0..3) == 0 {
                    site.double_pole.insert(at);
                }
                match rng.u8(0..24) {
                    0 => drop(site.faults.insert(at, Fault::NeutralToEarth)),
                    1 => drop(site.faults.insert(at, Fault::Reversed)),
                    _ => {}
                }
            }
        }
        let inspection = site.job.inspection.clone();
        for item in inspection.iter().flat_map(|inspection| inspection.all()) {
            const CODES: [&str; 7] = [
                "code one",
                "code two",
                "code three",
                "further investigation",
                "limitation",
                "not verified",
                "not applicable",
            ];
            if rng.u8(0..5) == 0 {
                let code = CODES[rng.usize(0..CODES.len())];
                site.amiss.insert(item.number.to_string(), code);
            }
        }
        site
    }

    /// Whether the board stays live while circuits of it are worked on.
    pub fn by_circuit(&self, board: u16) -> bool {
        self.board(board)
            .is_some_and(|board| board.isolates_circuits())
    }

    pub fn circuits_of(&self, board: u16) -> Vec<(u16, u16)> {
        let all = self.circuits().map(|(at, _)| at);
        all.filter(|at| at.0 == board).collect()
    }

    /// Whether a circuit is live where it is worked on.
    pub fn live_at(&self, at: (u16, u16)) -> bool {
        self.live(at.0) && !self.off.contains(&at)
    }

    /// Whether every pair of a circuit was proved dead since its device was last touched.
    pub fn is_proved(&self, at: (u16, u16)) -> bool {
        let lives: Vec<Wire> = self.lives(at).into_iter().collect();
        let all = lives.iter().chain([&Wire::E]);
        let all: Vec<Wire> = all.copied().collect();
        let mut pairs = all
            .iter()
            .enumerate()
            .flat_map(|(n, a)| all[n + 1..].iter().map(move |b| (*a, *b)));
        pairs.all(|(a, b)| {
            let pair = format!("{} to {}", a.spoken(), b.spoken());
            self.proved.contains(&(at, pair))
        })
    }

    /// Whether the neutral of a circuit is still one with that of its board.
    pub fn neutral_in(&self, at: (u16, u16)) -> bool {
        let end = |n| self.has(Some(at), &What::End(Wire::N, n, "board".into()));
        let out = end(0) && (!self.is_ring(at) || end(1));
        !(out || self.double_pole.contains(&at) && self.off.contains(&at))
    }

    /// A circuit whose neutral is one with the earth of what is live.
    pub fn neutral_is_earth(&self, at: (u16, u16)) -> bool {
        self.by_circuit(at.0) && self.live(at.0) && self.neutral_in(at)
    }

    pub fn board(&self, number: u16) -> Option<&Board> {
        self.job.boards.iter().find(|board| board.number == number)
    }

    pub fn circuit(&self, at: (u16, u16)) -> Option<&Circuit> {
        let mut circuits = self.board(at.0)?.circuits.iter();
        circuits.find(|circuit| circuit.number == at.1)
    }

    pub fn circuits(&self) -> impl Iterator<Item = ((u16, u16), &Circuit)> {
        let boards = self.job.boards.iter();
        boards.flat_map(|b| b.circuits.iter().map(|c| ((b.number, c.number), c)))
    }

    pub fn is_ring(&self, at: (u16, u16)) -> bool {
        self.circuit(at)
            .is_some_and(|c| c.kind == CircuitKind::Ring)
    }

    pub fn lives(&self, at: (u16, u16)) -> BTreeSet<Wire> {
        match self.circuit(at).map(|c| c.phases) {
            Some(Phases::Three) => [Wire::L1, Wire::L2, Wire::L3, Wire::N].into(),
            _ => [Wire::L, Wire::N].into(),
        }
    }

    /// Places of a circuit, as the program says them, with how many of a conductor end there.
    pub fn points(&self, at: (u16, u16)) -> Vec<(String, u8, bool)> {
        let Some(circuit) = self.circuit(at) else {
            return Vec::new();
        };
        let ring = circuit.kind == CircuitKind::Ring;
        let points = circuit.points.iter().map(|point| {
            let name = point.name.to_lowercase();
            let name = point.number.map_or(name.clone(), |n| format!("{name} {n}"));
            let two = point.feeds_on || ring && !point.spur;
            (name, if two { 2 } else { 1 }, point.sensitive.is_some())
        });
        points.collect()
    }

    /// A board is live by its own supply or by the circuit it is fed from.
    pub fn live(&self, board: u16) -> bool {
        let on = self.boards.get(&board).is_some_and(|s| s.on);
        match self.feeder(board) {
            Some(from) => on && self.live(from.0) && !self.off.contains(&from),
            None => on || self.others_on,
        }
    }

    /// Where a board is fed from, as the job says it: "board 1, circuit 1".
    pub fn feeder(&self, board: u16) -> Option<(u16, u16)> {
        let from = self.board(board)?.fed_from.clone()?;
        let mut numbers = from
            .split(|c: char| !c.is_ascii_digit())
            .filter_map(|n| n.parse().ok());
        Some((numbers.next()?, numbers.next()?))
    }

    pub fn has(&self, at: Option<(u16, u16)>, what: &What) -> bool {
        let it = Altered {
            at,
            what: what.clone(),
        };
        self.altered.contains(&it)
    }

    /// Off and locked, and either line and neutral out at the board, or broken by the device.
    pub fn made_safe(&self, at: (u16, u16)) -> bool {
        let out = |wire| {
            let end = |n| self.has(Some(at), &What::End(wire, n, "board".into()));
            end(0) && (!self.is_ring(at) || end(1))
        };
        let lives = self.lives(at);
        self.off.contains(&at) && (self.double_pole.contains(&at) || lives.into_iter().all(out))
    }

    /// What makes it wrong that it is live now, after something was switched on at a board. A circuit
    /// that is off by its own device may be worked on while others are switched on elsewhere.
    pub fn wrong_while_live(&self, on: u16) -> Vec<&Altered> {
        let off = |at: (u16, u16)| match at.0 != on && self.by_circuit(at.0) {
            true => self.off.contains(&at),
            false => self.made_safe(at),
        };
        self.altered
            .iter()
            .filter(|it| match (it.at, &it.what) {
                (Some(at), _) => self.live(at.0) && !off(at),
                (None, What::Surge(board)) => self.live(*board),
                (None, _) => self.boards.keys().any(|board| self.live(*board)),
            })
            .collect()
    }

    /// Whether something is live where it is done at.
    pub fn is_live_there(&self, it: &Altered) -> bool {
        match (it.at, &it.what) {
            (Some(at), _) => self.live_at(at),
            (None, What::Surge(board)) => self.live(*board),
            (None, _) => self.job.boards.first().is_some_and(|b| self.live(b.number)),
        }
    }

    /// Whether surge protection would be part of a test of all circuits together.
    pub fn surge_in(&self, board: u16) -> bool {
        let fitted = self.board(board).is_some_and(|b| b.surge.is_some());
        fitted && !self.has(None, &What::Surge(board))
    }

    /// Electronics, or something plugged in, that a test between the lives or to earth would reach.
    pub fn electronics_in(&self, at: (u16, u16)) -> bool {
        let listed = self.points(at).into_iter().any(|(place, ends, sensitive)| {
            let gone = self.has(Some(at), &What::Accessory(place.clone()))
                || self.lives(at).into_iter().any(|wire| {
                    (0..ends).all(|n| self.has(Some(at), &What::End(wire, n, place.clone())))
                });
            sensitive && !gone
        });
        listed || self.load_in(at)
    }

    fn load_in(&self, at: (u16, u16)) -> bool {
        self.loads.contains(&at) && !self.has(Some(at), &What::Load)
    }

    fn lamps_in(&self, at: (u16, u16)) -> bool {
        let lighting = self
            .circuit(at)
            .is_some_and(|c| c.kind == CircuitKind::Lighting);
        lighting && (0..LAMPS).any(|n| !self.has(Some(at), &What::Lamp(n)))
    }

    /// Conductors that are joined with these on a circuit, by links and crossings.
    pub fn joined_with(&self, at: (u16, u16), from: &[Wire]) -> BTreeSet<Wire> {
        let mut all: BTreeSet<Wire> = from.iter().copied().collect();
        loop {
            let before = all.len();
            for it in self.altered.iter().filter(|it| it.at == Some(at)) {
                if let What::Linked(set) | What::Crossed(set) = &it.what
                    && !set.is_disjoint(&all)
                {
                    all.extend(set);
                }
            }
            if all.len() == before {
                return all;
            }
        }
    }

    pub fn joined(&self, at: (u16, u16), (from, to): &(Vec<Wire>, Vec<Wire>)) -> bool {
        let all = self.joined_with(at, from);
        to.iter().any(|wire| all.contains(wire))
    }

    /// What an insulation tester shows on one circuit, MΩ; nothing when past its range.
    pub fn megohms(
        &self,
        at: (u16, u16),
        (from, to): &(Vec<Wire>, Vec<Wire>),
    ) -> Option<&'static str> {
        let all = self.joined_with(at, from);
        if to.iter().any(|wire| all.contains(wire)) {
            return Some("0.00");
        }
        let neutral = |wires: &[Wire]| wires.contains(&Wire::N);
        let ends = |wire: Wire| all.contains(&wire) || to.contains(&wire);
        if self.neutral_is_earth(at) && ends(Wire::N) && ends(Wire::E) {
            return Some("0.00");
        }
        let earth = to.contains(&Wire::E);
        if earth && self.faults.get(&at) == Some(&Fault::NeutralToEarth) && all.contains(&Wire::N) {
            return Some("0.00");
        }
        let across = neutral(to) && from.iter().any(|wire| wire.is_line());
        if across && (self.lamps_in(at) || self.load_in(at)) {
            return Some("0.00");
        }
        (across && self.electronics_in(at)).then_some("0.42")
    }

    /// Resistance of a conductor of the circuit, Ω, by IEC 60228:2004, class 1 and 2, at 20 °C.
    fn ohms(&self, at: (u16, u16), wire: Wire) -> f64 {
        const PER_KILOMETRE: [(f64, f64); 8] = [
            (0.5, 36.0),
            (1.0, 18.1),
            (1.5, 12.1),
            (2.5, 7.41),
            (4.0, 4.61),
            (6.0, 3.08),
            (10.0, 1.83),
            (16.0, 1.15),
        ];
        let cable = self.circuit(at).and_then(|c| c.cable.clone());
        let Some(cable) = cable else { return 0.2 };
        let size = match wire {
            Wire::E => cable.cpc_mm2,
            _ => cable.line_mm2,
        };
        let each = PER_KILOMETRE.iter().find(|(mm2, _)| *mm2 >= size);
        each.map_or(1.0, |(_, ohms)| *ohms) * cable.metres.unwrap_or(20.0) / 1_000.0
    }

    fn share(&self, at: (u16, u16), place: &str) -> f64 {
        let points = self.points(at);
        let n = points.iter().position(|(name, _, _)| name == place);
        n.map_or(1.0, |n| (n + 1) as f64 / points.len() as f64)
    }

    /// R1 + R2 at a place, where line and earth are linked at the board.
    pub fn r1_r2(&self, at: (u16, u16), place: &str, line: Wire) -> Option<String> {
        let linked = self.joined(at, &(vec![line], vec![Wire::E])) || line != Wire::L;
        let linked = linked && self.joined_with(at, &[Wire::E]).len() > 1;
        let both = self.ohms(at, Wire::L) + self.ohms(at, Wire::E);
        linked.then(|| format!("{:.2}", both * self.share(at, place)))
    }

    pub fn end_to_end(&self, at: (u16, u16), wire: Wire) -> String {
        let out = (0..2).any(|n| self.has(Some(at), &What::End(wire, n, "board".into())));
        let ohms = if out { self.ohms(at, wire) } else { 0.0 };
        format!("{ohms:.2}")
    }

    /// At a point of a ring with two conductors crossed.
    pub fn crossed(&self, at: (u16, u16), pair: &(Vec<Wire>, Vec<Wire>)) -> Option<String> {
        let with = *pair.1.first()?;
        let quarter = (self.ohms(at, Wire::L) + self.ohms(at, with)) / 4.0;
        let crossed = self.has(Some(at), &What::Crossed([Wire::L, with].into()));
        crossed.then(|| format!("{quarter:.2}"))
    }

    pub fn external(&self) -> f64 {
        let declared = self.job.supply.ze_ohms.as_ref().map(|n| n.value());
        declared.unwrap_or(62.0)
    }

    /// Loop impedance on a live circuit; nothing where it is open.
    pub fn loop_ohms(&self, at: (u16, u16), place: &str) -> Option<String> {
        let open = self.altered.iter().any(|it| match &it.what {
            What::Earthing => true,
            What::End(_, _, _) => it.at == Some(at),
            What::Accessory(here) => it.at == Some(at) && here == place,
            _ => false,
        });
        let both = self.ohms(at, Wire::L) + self.ohms(at, Wire::E);
        let share = if self.is_ring(at) {
            0.25
        } else {
            self.share(at, place)
        };
        let live = match self.by_circuit(at.0) {
            true => self.live_at(at),
            false => self.live(at.0),
        };
        (!open && live).then(|| format!("{:.2}", self.external() + both * share))
    }
}

/// How many lamps a lighting circuit has.
pub const LAMPS: u8 = 3;
