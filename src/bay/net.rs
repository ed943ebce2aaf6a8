//! The network: what a model is under some conditions, as a plain list of elements between numbered
//! nodes.

use super::conditions::{Conditions, Effect, effect};
use super::law::Law;
use super::model::{End, Feed, Model, PointAt, Wire};
use crate::installation::{CircuitKind, Earthing, Source};
use crate::quantity::Conductors;
use crate::terms::Place;
use std::collections::{BTreeSet, HashMap};

/// The mass of earth, at the distributor's transformer.
pub const GROUND: usize = 0;

/// Every node leaks to the mass of earth through so many ohms: nothing is quite apart.
pub const STRAY_OHMS: f64 = 1e13;

/// Ω of what joins for a moment: a link, a clip.
const LINK: f64 = 0.002;
/// Ω of a terminal at the board, a pole of a main switch, the earthing conductor.
const AT_BOARD: f64 = 0.001;
/// Ω of a lighting switch's contacts, and of the strappers between two of them.
const SWITCH: f64 = 0.01;
/// Insulation of one strapper, Ω.
const STRAPPER: f64 = 20e9;

/// Something between two nodes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Element {
    /// A resistance, with its reactance.
    Impedance {
        /// One node.
        from: usize,
        /// The other.
        to: usize,
        /// Ω.
        ohms: f64,
        /// Inductive, Ω at 50 Hz; nothing to direct current.
        reactance: f64,
    },
    /// A source of alternating current with what is inside it: `to` is above `from` by its voltage.
    Source {
        /// One node.
        from: usize,
        /// The other.
        to: usize,
        /// V, effective.
        volts: f64,
        /// Its phase, °.
        degrees: f64,
        /// Its inner resistance, Ω.
        ohms: f64,
        /// Its inner reactance, Ω.
        reactance: f64,
    },
    /// A part whose current is not proportional to its voltage.
    NonLinear {
        /// One node.
        from: usize,
        /// The other.
        to: usize,
        /// How its current follows the voltage.
        law: Law,
    },
}

/// What a part is taken as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Regime {
    /// Direct current at a few volts.
    Low,
    /// Direct current at hundreds of volts.
    High,
    /// Alternating current.
    Live,
}

/// A node, by what it is. Numbers are indices of the model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Node {
    Origin(Wire),
    MeansOfEarthing,
    MainEarth,
    BondEnd(usize),
    Part(usize),
    OtherPart(usize),
    Incoming(usize, Wire),
    Bar(usize, Wire),
    /// The outgoing terminal of a residual current device of several circuits.
    Behind(usize, usize, Wire),
    /// The circuit's terminal at the board.
    Terminal(usize, usize, Wire),
    /// The outgoing and the returning end of a ring's conductor.
    Out(usize, usize, Wire),
    Back(usize, usize, Wire),
    /// Where the cables meet at a point.
    Junction(PointAt, Wire),
    /// The terminals of the accessory.
    Accessory(PointAt, Wire),
    Strapper(PointAt, bool),
}

impl Node {
    /// The circuit it is on.
    fn circuit(self) -> Option<(usize, usize)> {
        match self {
            Self::Terminal(b, c, _) | Self::Out(b, c, _) | Self::Back(b, c, _) => Some((b, c)),
            Self::Junction((b, c, _), _)
            | Self::Accessory((b, c, _), _)
            | Self::Strapper((b, c, _), _) => Some((b, c)),
            _ => None,
        }
    }
}

/// A part that is not linear, and the point it is in where a test voltage can destroy it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) law: Law,
    pub(super) fragile: Option<PointAt>,
}

/// A network being built, or built.
#[derive(Debug, Clone, Default)]
pub(super) struct Net {
    ids: HashMap<Node, usize>,
    circuits: Vec<Option<(usize, usize)>>,
    pub(super) elements: Vec<Element>,
    pub(super) parts: Vec<Part>,
}

impl Net {
    /// How many nodes there are, the ground among them.
    pub(super) fn nodes(&self) -> usize {
        self.circuits.len() + 1
    }

    /// The number of a node, where it is part of the network.
    pub(super) fn get(&self, node: Node) -> Option<usize> {
        self.ids.get(&node).copied()
    }

    /// The circuit that a numbered node is on.
    pub(super) fn circuit_of(&self, node: usize) -> Option<(usize, usize)> {
        *self.circuits.get(node.checked_sub(1)?)?
    }

    /// Whether something stands between two nodes.
    pub(super) fn are_joined(&self, a: usize, b: usize) -> bool {
        self.elements.iter().any(|element| match *element {
            Element::Impedance { from, to, .. }
            | Element::Source { from, to, .. }
            | Element::NonLinear { from, to, .. } => [from, to] == [a, b],
        })
    }

    fn id(&mut self, node: Node) -> usize {
        let next = self.nodes();
        let circuits = &mut self.circuits;
        *self.ids.entry(node).or_insert_with(|| {
            circuits.push(node.circuit());
            next
        })
    }

    fn join(&mut self, from: Node, to: Node, ohms: f64) {
        self.run(from, to, ohms, 0.0);
    }

    /// A conductor with its reactance.
    fn run(&mut self, from: Node, to: Node, ohms: f64, reactance: f64) {
        let (from, to) = (self.id(from), self.id(to));
        self.elements.push(Element::Impedance {
            from,
            to,
            ohms,
            reactance,
        });
    }

    fn earthed(&mut self, from: Node, ohms: f64) {
        let from = self.id(from);
        self.elements.push(Element::Impedance {
            from,
            to: GROUND,
            ohms,
            reactance: 0.0,
        });
    }

    fn part(&mut self, from: Node, to: Node, law: Law, fragile: Option<PointAt>) {
        let (from, to) = (self.id(from), self.id(to));
        self.elements.push(Element::NonLinear { from, to, law });
        self.parts.push(Part {
            from,
            to,
            law,
            fragile,
        });
    }
}

/// What feeds a circuit, or a device of several: the bars, or the device of several that it is behind.
pub(super) fn fed_by(b: usize, behind: Option<usize>, wire: Wire) -> Node {
    match behind {
        Some(group) if wire != Wire::E => Node::Behind(b, group, wire),
        _ => Node::Bar(b, wire),
    }
}

/// The wires that are named by conductors, on something with these lines.
pub(super) fn wires_named(conductors: Conductors, wires: &[Wire]) -> Vec<Wire> {
    let single = wires.iter().filter(|wire| wire.is_line()).count() == 1;
    let named = |wire: &Wire| match wire {
        Wire::L1 if single => conductors.contains(Conductors::L),
        Wire::L1 => conductors.with_every_line().contains(Conductors::L1),
        Wire::L2 => conductors.with_every_line().contains(Conductors::L2),
        Wire::L3 => conductors.with_every_line().contains(Conductors::L3),
        Wire::N => conductors.contains(Conductors::N),
        Wire::E => conductors.contains(Conductors::E),
    };
    wires.iter().copied().filter(named).collect()
}

/// What is altered on one circuit, or on a board as a whole.
#[derive(Debug, Default)]
struct Alterations(Vec<Effect>);

impl Alterations {
    fn of(conditions: &Conditions, board: u16, circuit: Option<u16>) -> Self {
        let here = conditions
            .altered
            .iter()
            .filter(|altered| altered.board == board && altered.circuit == circuit);
        Self(here.map(effect).collect())
    }

    fn any(&self, is: impl Fn(&Effect) -> bool) -> bool {
        self.0.iter().any(is)
    }

    fn of_wire(
        &self,
        wire: Wire,
        wires: &[Wire],
        conductors: impl Fn(&Effect) -> Option<Conductors>,
    ) -> bool {
        self.0
            .iter()
            .filter_map(conductors)
            .any(|c| wires_named(c, wires).contains(&wire))
    }

    fn ends_out(&self, wire: Wire, wires: &[Wire]) -> bool {
        self.of_wire(wire, wires, |effect| match effect {
            Effect::EndsOut(c) => Some(*c),
            _ => None,
        })
    }

    fn out_at_board(&self, wire: Wire, wires: &[Wire]) -> bool {
        self.of_wire(wire, wires, |effect| match effect {
            Effect::OutAtBoard(c) => Some(*c),
            _ => None,
        })
    }

    fn one_out(&self, wire: Wire, wires: &[Wire], place: &Place) -> bool {
        self.of_wire(wire, wires, |effect| match effect {
            Effect::OneOut(c, at) if at == place => Some(*c),
            _ => None,
        })
    }

    fn both_out(&self, wire: Wire, wires: &[Wire], place: &Place) -> bool {
        self.of_wire(wire, wires, |effect| match effect {
            Effect::BothOut(c, at) if at == place => Some(*c),
            _ => None,
        })
    }

    fn accessory_out(&self, place: &Place) -> bool {
        self.any(|effect| matches!(effect, Effect::AccessoryOut(at) if at == place))
    }

    fn loads_out(&self, place: &Place) -> bool {
        self.any(|effect| {
            matches!(effect, Effect::LoadsOut(at) if at.as_ref().is_none_or(|at| at == place))
        })
    }

    fn lamps_out(&self, place: &Place) -> bool {
        self.any(|effect| {
            matches!(effect, Effect::LampsOut(at) if at.as_ref().is_none_or(|at| at == place))
        })
    }
}

/// Builds the network of a model under some conditions.
pub(super) struct Builder<'a> {
    model: &'a Model,
    conditions: &'a Conditions,
    destroyed: &'a BTreeSet<PointAt>,
    regime: Regime,
    net: Net,
}

impl<'a> Builder<'a> {
    pub(super) fn build(
        model: &'a Model,
        conditions: &'a Conditions,
        destroyed: &'a BTreeSet<PointAt>,
        regime: Regime,
    ) -> Net {
        let mut builder = Self {
            model,
            conditions,
            destroyed,
            regime,
            net: Net::default(),
        };
        builder.supply();
        builder.earthing();
        for b in 0..model.boards.len() {
            builder.board(b);
        }
        for bridge in &model.bridges {
            for wire in [Wire::L1, Wire::N, Wire::E] {
                let (from, to) = (
                    Node::Junction(bridge.from, wire),
                    Node::Junction(bridge.to, wire),
                );
                builder.net.join(from, to, bridge.ohms[wire.class()]);
            }
        }
        builder.net
    }

    fn supply(&mut self) {
        let supply = &self.model.supply;
        let on = !self.conditions.sources_off.contains(&Source::Mains);
        for (n, line) in supply.lines.iter().enumerate() {
            let to = self.net.id(Node::Origin(*line));
            if on {
                self.net.elements.push(Element::Source {
                    from: GROUND,
                    to,
                    volts: supply.volts,
                    degrees: -120.0 * n as f64,
                    ohms: supply.line_ohms,
                    reactance: supply.line_reactance,
                });
            }
        }
        let to = self.net.id(Node::Origin(Wire::N));
        if !supply.neutral_lost {
            self.net.elements.push(Element::Source {
                from: GROUND,
                to,
                volts: if on { supply.neutral_volts } else { 0.0 },
                degrees: 0.0,
                ohms: supply.neutral_ohms,
                reactance: 0.0,
            });
        }
        self.net.id(Node::MeansOfEarthing);
        if !supply.earth_lost {
            match supply.earthing {
                Earthing::TnCS => {
                    let neutral = Node::Origin(Wire::N);
                    self.net.join(Node::MeansOfEarthing, neutral, AT_BOARD);
                }
                Earthing::TnS | Earthing::Tt => {
                    self.net.earthed(Node::MeansOfEarthing, supply.earth_ohms);
                }
            }
        }
        let first = self.model.boards.first();
        for second in &self.model.sources {
            if self.conditions.sources_off.contains(&second.source) || first.is_none() {
                continue;
            }
            let from = self.net.id(Node::Bar(0, Wire::N));
            let to = self.net.id(Node::Bar(0, Wire::L1));
            self.net.elements.push(Element::Source {
                from,
                to,
                volts: supply.volts,
                degrees: 0.0,
                ohms: second.ohms,
                reactance: 0.0,
            });
        }
    }

    fn earthing(&mut self) {
        let altered = self.conditions.altered.iter().map(effect);
        let altered: Vec<Effect> = altered.collect();
        if !altered.contains(&Effect::EarthingOff) {
            self.net
                .join(Node::MeansOfEarthing, Node::MainEarth, AT_BOARD);
        }
        self.net.id(Node::MainEarth);
        for (n, bond) in self.model.bonds.iter().enumerate() {
            let is_off = |effect: &Effect| matches!(effect, Effect::BondOff(place) if is_bond(&bond.name, place));
            if bond.main {
                if !altered.iter().any(is_off) {
                    self.net.join(Node::MainEarth, Node::BondEnd(n), AT_BOARD);
                }
                self.net.join(Node::BondEnd(n), Node::Part(n), bond.ohms);
            } else {
                self.net.join(Node::OtherPart(n), Node::Part(n), bond.ohms);
            }
            self.net.earthed(Node::Part(n), bond.to_earth);
        }
    }

    fn board(&mut self, b: usize) {
        let model = self.model;
        let board = &model.boards[b];
        let incoming = |wire| Node::Incoming(b, wire);
        let wires = || board.lines.iter().copied().chain([Wire::N]);
        let earth = Node::Bar(b, Wire::E);
        match board.feed {
            Feed::Origin => {
                for wire in wires() {
                    let from = match wire {
                        line if line.is_line() && !model.supply.lines.contains(&line) => Wire::L1,
                        wire => wire,
                    };
                    self.net.join(Node::Origin(from), incoming(wire), AT_BOARD);
                }
                self.net.join(Node::MainEarth, earth, AT_BOARD);
            }
            Feed::Circuit {
                board: by,
                circuit: c,
            } => {
                let feeder = &model.boards[by].circuits[c];
                let last = (by, c, feeder.points.len().saturating_sub(1));
                for wire in wires() {
                    let from = if feeder.wires.contains(&wire) {
                        wire
                    } else {
                        Wire::L1
                    };
                    self.net
                        .join(Node::Accessory(last, from), incoming(wire), AT_BOARD);
                }
                self.net
                    .join(Node::Accessory(last, Wire::E), earth, AT_BOARD);
            }
            Feed::Bars { board: by, ohms } => {
                for wire in wires() {
                    self.net.join(Node::Bar(by, wire), incoming(wire), ohms);
                }
                self.net.join(Node::Bar(by, Wire::E), earth, ohms);
            }
        }
        let on = !self.conditions.main_switches_off.contains(&board.number);
        for wire in wires() {
            let bar = Node::Bar(b, wire);
            self.net.id(bar);
            if on {
                self.net.join(incoming(wire), bar, AT_BOARD);
            }
        }
        let altered = Alterations::of(self.conditions, board.number, None);
        let all: Vec<Wire> = wires().chain([Wire::E]).collect();
        for effect in &altered.0 {
            if let Effect::Joined(c, _) = effect {
                for pair in wires_named(*c, &all).windows(2) {
                    self.net
                        .join(Node::Bar(b, pair[0]), Node::Bar(b, pair[1]), LINK);
                }
            }
        }
        for (g, group) in board.groups.iter().enumerate() {
            let tripped = (board.number, group.number);
            let on = !self.conditions.rcds_off.contains(&tripped);
            for wire in wires() {
                let behind = Node::Behind(b, g, wire);
                self.net.id(behind);
                if on {
                    self.net
                        .join(fed_by(b, group.behind, wire), behind, AT_BOARD);
                }
            }
        }
        for c in 0..board.circuits.len() {
            self.circuit(b, c);
        }
    }

    fn circuit(&mut self, b: usize, c: usize) {
        let model = self.model;
        let (board, circuit) = (&model.boards[b], &model.boards[b].circuits[c]);
        let altered = Alterations::of(self.conditions, board.number, Some(circuit.number));
        let ring = circuit.kind == CircuitKind::Ring;
        let by_number = (board.number, circuit.number);
        let off = self.conditions.devices_off.contains(&by_number)
            || altered.any(|effect| *effect == Effect::FuseOut);
        let out = self.conditions.out_of_terminals.contains(&by_number);
        let front = |wire: Wire| {
            if ring && altered.ends_out(wire, circuit.wires) {
                Node::Out(b, c, wire)
            } else {
                Node::Terminal(b, c, wire)
            }
        };
        for wire in circuit.wires.iter().copied() {
            let terminal = Node::Terminal(b, c, wire);
            self.net.id(terminal);
            let bar = match wire {
                line if line.is_line() && circuit.wires.len() == Wire::SINGLE.len() => circuit.line,
                wire => wire,
            };
            let apart = !ring
                && (altered.out_at_board(wire, circuit.wires)
                    || altered.ends_out(wire, circuit.wires));
            let open = match wire {
                Wire::E => apart,
                Wire::N => apart || out || !circuit.fed || circuit.borrows.is_some(),
                _ => apart || out || off || !circuit.fed,
            };
            if !open {
                let ohms = if wire.is_line() {
                    circuit.device_ohms
                } else {
                    AT_BOARD
                };
                self.net
                    .join(fed_by(b, circuit.behind, bar), terminal, ohms);
            }
            if ring {
                let (going, coming) = (Node::Out(b, c, wire), Node::Back(b, c, wire));
                self.net.id(going);
                self.net.id(coming);
                if !altered.ends_out(wire, circuit.wires) {
                    if !altered.out_at_board(wire, circuit.wires) {
                        self.net.join(terminal, going, AT_BOARD);
                    }
                    self.net.join(terminal, coming, AT_BOARD);
                }
            }
        }
        if let Some((other, ohms)) = circuit.borrows {
            self.net.join(
                Node::Junction((b, c, 0), Wire::N),
                Node::Junction((b, other, 0), Wire::N),
                ohms,
            );
        }
        for effect in &altered.0 {
            match effect {
                Effect::Joined(conductors, place) => {
                    let point = place.as_ref().and_then(|place| circuit.point(place));
                    let node = |wire| match point {
                        Some(p) => Node::Accessory((b, c, p), wire),
                        None => front(wire),
                    };
                    for pair in wires_named(*conductors, circuit.wires).windows(2) {
                        self.net.join(node(pair[0]), node(pair[1]), LINK);
                    }
                }
                Effect::Crossed(conductors) => {
                    for pair in wires_named(*conductors, circuit.wires).windows(2) {
                        let free = |wire| ring && altered.ends_out(wire, circuit.wires);
                        if free(pair[0]) && free(pair[1]) {
                            for (one, other) in [(pair[0], pair[1]), (pair[1], pair[0])] {
                                let (going, coming) =
                                    (Node::Out(b, c, one), Node::Back(b, c, other));
                                self.net.join(going, coming, LINK);
                            }
                        } else {
                            self.net.join(front(pair[0]), front(pair[1]), LINK);
                        }
                    }
                }
                _ => {}
            }
        }
        self.functional_earth(b, c, &altered);
        self.cables(b, c, &altered);
        for p in 0..circuit.points.len() {
            self.point((b, c, p), &altered);
        }
    }

    /// A device whose electronics stand on the bars and have an earth of their own: it is in parallel with
    /// the insulation of the board.
    fn functional_earth(&mut self, b: usize, c: usize, altered: &Alterations) {
        let circuit = &self.model.boards[b].circuits[c];
        let Some([line, neutral]) = circuit.functional_earth else {
            return;
        };
        let board = self.model.boards[b].number;
        let whole = Alterations::of(self.conditions, board, None);
        let out = |effect: &Effect| *effect == Effect::FunctionalEarthOut;
        if altered.any(out) || whole.any(out) {
            return;
        }
        let earth = Node::Bar(b, Wire::E);
        let from = |wire| fed_by(b, circuit.behind, wire);
        self.net.join(from(circuit.line), earth, line);
        self.net.join(from(Wire::N), earth, neutral);
    }

    fn cables(&mut self, b: usize, c: usize, altered: &Alterations) {
        let circuit = &self.model.boards[b].circuits[c];
        let ring = circuit.kind == CircuitKind::Ring;
        let end = |end: End, wire: Wire| match end {
            End::Out if ring => Node::Out(b, c, wire),
            End::Out => Node::Terminal(b, c, wire),
            End::Back => Node::Back(b, c, wire),
            End::Point(p) => Node::Junction((b, c, p), wire),
        };
        for cable in &circuit.cables {
            for wire in circuit.wires.iter().copied() {
                let detached = match cable.to {
                    End::Point(p) => {
                        let place = &circuit.points[p].place;
                        circuit.goes_on(p) && altered.one_out(wire, circuit.wires, place)
                    }
                    _ => false,
                };
                self.net.id(end(cable.to, wire));
                if !detached && !cable.open[wire.class()] {
                    let (ohms, x) = (cable.ohms[wire.class()], cable.reactance[wire.class()]);
                    self.net
                        .run(end(cable.from, wire), end(cable.to, wire), ohms, x);
                }
            }
            self.leaks(circuit.wires, cable.leaks, |wire| end(cable.to, wire));
        }
    }

    fn leaks(&mut self, wires: &[Wire], ohms: [f64; 3], node: impl Fn(Wire) -> Node) {
        for (n, one) in wires.iter().enumerate() {
            for other in &wires[n + 1..] {
                let ohms = match (one.class(), other.class()) {
                    (0, 2) => ohms[1],
                    (1, 2) => ohms[2],
                    _ => ohms[0],
                };
                self.net.join(node(*one), node(*other), ohms);
            }
        }
    }

    fn point(&mut self, at: PointAt, altered: &Alterations) {
        let (b, c, p) = at;
        let circuit = &self.model.boards[b].circuits[c];
        let point = &circuit.points[p];
        let place = &point.place;
        let (junction, accessory) = (
            |wire| Node::Junction(at, wire),
            |wire| Node::Accessory(at, wire),
        );
        let line = circuit.wires[0];
        let changed = altered.any(|effect| *effect == Effect::Switched);
        for wire in circuit.wires.iter().copied() {
            self.net.id(accessory(wire));
            let out = altered.both_out(wire, circuit.wires, place)
                || altered.accessory_out(place)
                || altered.one_out(wire, circuit.wires, place) && !circuit.goes_on(p);
            if out || (wire == Wire::E && point.no_earth) {
                continue;
            }
            let to = match wire {
                _ if !point.reversed => wire,
                Wire::N => line,
                wire if wire == line => Wire::N,
                wire => wire,
            };
            let class = wire.class();
            let ohms = point.terminal_ohms + point.beyond[class] + point.loose[class];
            if wire.is_line() && point.switched {
                let straps = [false, true].map(|other| Node::Strapper(at, other));
                if circuit.two_way {
                    for strap in straps {
                        self.net.join(strap, accessory(Wire::E), STRAPPER);
                    }
                }
                self.net
                    .join(junction(to), straps[usize::from(changed)], ohms + SWITCH);
                self.net.join(straps[0], accessory(wire), SWITCH);
            } else {
                self.net.join(junction(to), accessory(wire), ohms);
            }
        }
        self.leaks(circuit.wires, point.leaks, accessory);
        for (one, other, ohms) in &point.touching {
            self.net.join(accessory(*one), accessory(*other), *ohms);
        }
        let (l, n) = (accessory(line), accessory(Wire::N));
        let in_use = self.regime == Regime::Live;
        let load = point.load.filter(|_| !altered.loads_out(place));
        let lamp = point.lamp.filter(|_| !altered.lamps_out(place));
        for load in load.into_iter().chain(lamp) {
            self.net
                .join(l, n, if in_use { load.hot } else { load.cold });
        }
        if altered.loads_out(place) {
            return;
        }
        for electronics in point.electronics.iter().flatten() {
            let wreck = electronics
                .destroyed
                .filter(|_| self.destroyed.contains(&at));
            match (wreck, self.regime) {
                (Some(ohms), _) => self.net.join(l, n, ohms),
                (None, Regime::Live) => self.net.join(l, n, electronics.hot),
                // At a few volts it is as good as a resistor.
                (None, Regime::Low) => {
                    let ohms = 1.0 / electronics.law.siemens(1.0);
                    self.net.join(l, n, ohms);
                }
                (None, Regime::High) => {
                    let fragile = electronics.destroyed.map(|_| at);
                    self.net.part(l, n, electronics.law, fragile);
                }
            }
        }
    }
}

/// Whether a place is that of a bond: "water bond", or "water".
pub(super) fn is_bond(name: &str, place: &Place) -> bool {
    let place = place.to_string().to_lowercase();
    place == name || place.strip_suffix(" bond") == Some(name)
}

/// What a probing must know of the alterations of a circuit: where its conductors are.
pub(super) struct Touched(Alterations);

/// The alterations of a circuit, for a probing.
pub(super) fn altered_on(conditions: &Conditions, board: u16, circuit: u16) -> Touched {
    Touched(Alterations::of(conditions, board, Some(circuit)))
}

impl Touched {
    /// The wires of a ring whose ends are free at the board.
    pub(super) fn free_ends(&self, circuit: &super::model::CircuitModel) -> Vec<Wire> {
        let ring = circuit.kind == CircuitKind::Ring;
        let wires = circuit.wires.iter().copied().filter(|_| ring);
        wires
            .filter(|wire| self.0.ends_out(*wire, circuit.wires))
            .collect()
    }

    /// Whether the whole accessory is out, so that only its conductors can be probed.
    pub(super) fn accessory_is_out(&self, place: &Place) -> bool {
        self.0.accessory_out(place)
    }
}
