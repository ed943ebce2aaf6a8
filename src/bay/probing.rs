//! Where the probes are, and what the instrument makes of it.

use super::absorption;
use super::conditions::Conditions;
use super::instrument::{
    CONTINUITY_SOURCE, INSULATION_SHORT, Instrument, Kind, LIVE_FROM, Measured, NO_TRIP_CURRENT,
    PROVING_VOLTS, SUPPLY_FROM, VOLTMETER,
};
use super::law::Law;
use super::model::{CircuitModel, Feed, Model, PointAt, RcdModel, Wire};
use super::net::{
    Builder, Element, GROUND, Net, Node, Regime, STRAY_OHMS, fed_by, is_bond, wires_named,
};
use super::solve::{Admittance, Graph};
use crate::installation::CircuitKind;
use crate::limits::earth_loop;
use crate::quantity::{Conductors, Ohms, Reading, Volts};
use crate::terms::{
    Between, Consequence, HalfCycle, Place, Printed, Probe, RcdTest, Setting, Shown,
};
use nalgebra::Complex;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Why the probes can't be there: what to say instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ProbeError {
    /// No board of this number.
    #[error("there is no board {0} in this job")]
    NoBoard(u16),
    /// No circuit of this number on the board.
    #[error("board {0} has no circuit {1}: say which circuit")]
    NoCircuit(u16, u16),
    /// No point of this name on the circuit.
    #[error("circuit {circuit} has no {place}: its points are {points}")]
    NoPlace {
        /// The circuit.
        circuit: u16,
        /// What was said.
        place: String,
        /// What there is.
        points: String,
    },
    /// No bond of this name.
    #[error("there is no {0} in this job: say which bond")]
    NoBond(String),
    /// Not a conductor of what is probed.
    #[error(
        "there is no {0} there: say line, neutral or earth, and of a three-phase circuit which line"
    )]
    NoConductor(String),
    /// Only a ring has two ends.
    #[error("circuit {0} is no ring: only the conductors of a ring have two ends at the board")]
    NoRing(u16),
    /// The function does not go between that.
    #[error(
        "this function is used between two conductors: say between which, such as line to earth"
    )]
    NotBetween,
    /// An RCD is tested on a circuit that has one.
    #[error("circuit {0} has no residual current device in this job: nothing to test there")]
    NoRcd(u16),
    /// Nothing is printed where no device is known of.
    #[error("the job has no device for circuit {0}: there is no label to read")]
    NoDevice(u16),
    /// The job names nothing that the function could be compared with.
    #[error(
        "the job names no reference for this function: a loop range is compared with a resistance, an RCD range \
         with a time"
    )]
    NoReference,
    /// Which circuit.
    #[error("say which circuit")]
    WhichCircuit,
}

/// What an instrument does between its probes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Method {
    /// Drives a direct current from a source of so many volts and ohms, all others dead, and takes the
    /// resistance from voltage and current.
    Direct {
        /// Open voltage.
        volts: f64,
        /// Inner resistance, Ω.
        ohms: f64,
    },
    /// Shows the voltage across so many ohms.
    Voltage {
        /// Its resistance, Ω.
        ohms: f64,
    },
    /// Takes the loop's impedance from the fall of the voltage under load.
    Loop,
}

/// A network with an instrument on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Netlist {
    /// Its elements. Node 0 is the mass of earth, and every other node leaks to it through
    /// [`STRAY_OHMS`].
    pub elements: Vec<Element>,
    /// How many nodes there are, node 0 among them.
    pub nodes: usize,
    /// The node of the first probe.
    pub from: usize,
    /// The node of the second one.
    pub to: usize,
    /// What the instrument does between them.
    pub method: Method,
}

/// The network of some conditions, reduced to one circuit with its board.
#[derive(Debug, Clone)]
pub(super) struct Prepared<S> {
    conditions: Conditions,
    regime: Regime,
    circuit: Option<(usize, usize)>,
    net: Net,
    graph: Graph<S>,
}

/// The networks that were used last, one of each regime.
#[derive(Debug, Clone, Default)]
pub(super) struct Kept {
    direct: Vec<Arc<Prepared<f64>>>,
    alternating: Vec<Arc<Prepared<Complex<f64>>>>,
}

/// Numbers that a network is solved in.
trait Numbers: Admittance {
    /// The networks of such numbers that were used last.
    fn kept(kept: &mut Kept) -> &mut Vec<Arc<Prepared<Self>>>;
}

impl Numbers for f64 {
    fn kept(kept: &mut Kept) -> &mut Vec<Arc<Prepared<Self>>> {
        &mut kept.direct
    }
}

impl Numbers for Complex<f64> {
    fn kept(kept: &mut Kept) -> &mut Vec<Arc<Prepared<Self>>> {
        &mut kept.alternating
    }
}

/// Ω of a lead that touches several conductors at once.
const CLIP: f64 = 0.001;

/// Where the leads are.
enum Leads {
    /// On these nodes each.
    On(Vec<Node>, Vec<Node>),
    /// On one another.
    Joined,
    /// On nothing.
    Apart,
    /// On a proving unit.
    Known,
    /// On a reference.
    Reference,
    /// In the hand: what is printed on a device is read.
    Label(Printed),
}

/// What is measured and what comes of it.
pub(super) fn outcome(
    model: &Model,
    destroyed: &BTreeSet<PointAt>,
    last: &mut Kept,
    conditions: &Conditions,
    probe: &Probe,
) -> Result<(Measured, Vec<Consequence>), ProbeError> {
    let (from, to) = match leads(model, conditions, probe)? {
        Leads::Label(printed) => return Ok((Measured::Printed(printed), Vec::new())),
        Leads::On(from, to) => (from, to),
        Leads::Joined => return Ok((on_nothing(model, probe.setting, 0.0, 0.0), Vec::new())),
        Leads::Apart => {
            return Ok((
                on_nothing(model, probe.setting, f64::INFINITY, 0.0),
                Vec::new(),
            ));
        }
        Leads::Known => {
            return Ok((
                on_nothing(model, probe.setting, 0.0, PROVING_VOLTS),
                Vec::new(),
            ));
        }
        Leads::Reference => return Ok((on_reference(model, probe.setting)?, Vec::new())),
    };
    let at = match probe.circuit {
        Some(circuit) => model.circuit(probe.board, circuit),
        None => None,
    };
    let mut bench = Bench {
        model,
        destroyed,
        last,
        conditions,
        circuit: at,
    };
    let live = bench.volts(&from, &to);
    let supply = live >= SUPPLY_FROM * model.supply.u0;
    let mut consequences = Vec::new();
    let measured = match probe.setting {
        Setting::Voltage => Measured::Volts(live),
        Setting::Continuity | Setting::Insulation { .. } if live >= LIVE_FROM => {
            consequences.push(Consequence::ProbedLive {
                volts: live.round() as u16,
            });
            Measured::Live(live)
        }
        Setting::Continuity => Measured::Ohms(bench.ohms::<f64>(Regime::Low, &from, &to)),
        Setting::Insulation { at } => {
            let (ohms, gone) = bench.insulation(f64::from(at.volts()), &from, &to);
            consequences.extend(gone);
            Measured::Insulation(ohms)
        }
        Setting::PhaseSequence => match bench.sequence(&from) {
            Some(right) => Measured::Sequence(right),
            None => Measured::NoSupply,
        },
        Setting::Loop if supply => {
            let to_earth = matches!(&probe.between, Between::Pair(pair) if pair.to_earth());
            let devices = bench.devices(probe);
            let mut devices = devices.iter().filter(|_| to_earth);
            match devices.find(|device| bench.trips(device, NO_TRIP_CURRENT, &from, &to)) {
                Some(device) => {
                    consequences.push(device.tripped(model));
                    Measured::NoSupply
                }
                None => Measured::Loop(bench.ohms::<Complex<f64>>(Regime::Live, &from, &to)),
            }
        }
        Setting::FaultCurrent if supply => {
            let ohms = bench.ohms::<Complex<f64>>(Regime::Live, &from, &to);
            // By the nominal voltage: between two lines √3 times that to earth, whatever a lost neutral
            // makes of it.
            let between_lines = matches!(
                probe.between,
                Between::Pair(pair) if !pair.to().overlaps(Conductors::N.with(Conductors::E))
            );
            let times = if between_lines { 3f64.sqrt() } else { 1.0 };
            let u = Volts::exact(times * model.supply.u0);
            let current = earth_loop::fault_current(u, Ohms::exact(ohms));
            Measured::FaultCurrent(current.middle() * 1e3)
        }
        Setting::Rcd { current, half } => {
            let devices = bench.devices(probe);
            let without = match probe.circuit {
                Some(circuit) => ProbeError::NoRcd(circuit),
                None => ProbeError::WhichCircuit,
            };
            let rated = set_for(model, probe, &devices).ok_or(without)?;
            // Of several in a row the quickest trips, and the others are without supply then.
            let times = devices.iter().filter_map(|device| {
                let seconds = bench.time(device, rated, current, half, &from, &to)?;
                Some((seconds, device))
            });
            match times.min_by(|(a, _), (b, _)| a.total_cmp(b)) {
                _ if !supply => Measured::NoSupply,
                Some((seconds, device)) => {
                    consequences.push(device.tripped(model));
                    Measured::Tripped(seconds)
                }
                None => Measured::NoTrip,
            }
        }
        Setting::Loop | Setting::FaultCurrent | Setting::Look => Measured::NoSupply,
    };
    Ok((measured, consequences))
}

/// A residual current device that a test current may go through.
struct Residual {
    /// The board, by its index.
    board: usize,
    which: Which,
    rcd: RcdModel,
}

/// Whose residual current device it is, by indices.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Which {
    /// Of one circuit.
    Circuit(usize),
    /// Of several.
    Group(usize),
}

impl Residual {
    fn tripped(&self, model: &Model) -> Consequence {
        let board = &model.boards[self.board];
        match self.which {
            Which::Circuit(c) => Consequence::Tripped {
                board: board.number,
                circuit: board.circuits[c].number,
            },
            Which::Group(g) => Consequence::TrippedSeveral {
                board: board.number,
                rcd: board.groups[g].number,
            },
        }
    }

    /// The two ends of each of its poles.
    fn poles(&self, model: &Model) -> Vec<[Node; 2]> {
        let b = self.board;
        let board = &model.boards[b];
        match self.which {
            Which::Circuit(c) => {
                let circuit = &board.circuits[c];
                let single = circuit.wires.len() == Wire::SINGLE.len();
                let live = circuit.wires.iter().copied().filter(|w| *w != Wire::E);
                live.map(|wire| {
                    let bar = if single && wire.is_line() {
                        circuit.line
                    } else {
                        wire
                    };
                    [fed_by(b, circuit.behind, bar), Node::Terminal(b, c, wire)]
                })
                .collect()
            }
            Which::Group(g) => {
                let behind = board.groups[g].behind;
                let live = board.lines.iter().copied().chain([Wire::N]);
                live.map(|wire| [fed_by(b, behind, wire), Node::Behind(b, g, wire)])
                    .collect()
            }
        }
    }
}

/// The rated current that the instrument is set for, A: of the device that is meant, or else of the most
/// sensitive one.
fn set_for(model: &Model, probe: &Probe, devices: &[Residual]) -> Option<f64> {
    let groups = model.board(probe.board).map(|b| &model.boards[b].groups);
    let meant = probe.rcd.and_then(|number| {
        let mut groups = groups?.iter();
        Some(groups.find(|group| group.number == number)?.rcd.rated)
    });
    let own = devices
        .iter()
        .find(|device| matches!(device.which, Which::Circuit(_)));
    let own = own.map(|device| device.rcd.rated);
    let least = devices.iter().map(|device| device.rcd.rated);
    meant.or(own).or(least.min_by(f64::total_cmp))
}

/// On a reference that the job names, as the instrument without an error reads it.
fn on_reference(model: &Model, setting: Setting) -> Result<Measured, ProbeError> {
    let [ohms, seconds] = model.references;
    match setting {
        Setting::Loop => ohms.map(Measured::Loop),
        Setting::Rcd { .. } => seconds.map(Measured::Tripped),
        _ => None,
    }
    .ok_or(ProbeError::NoReference)
}

/// With the leads joined, apart, or on a known source.
fn on_nothing(model: &Model, setting: Setting, ohms: f64, volts: f64) -> Measured {
    match setting {
        Setting::Voltage => Measured::Volts(volts),
        Setting::Continuity | Setting::Insulation { .. } if volts >= LIVE_FROM => {
            Measured::Live(volts)
        }
        Setting::Continuity => Measured::Ohms(ohms),
        Setting::Insulation { .. } if ohms == 0.0 => Measured::Insulation(model.instrument.leads),
        Setting::Insulation { .. } => Measured::Insulation(ohms),
        Setting::Loop
        | Setting::FaultCurrent
        | Setting::Rcd { .. }
        | Setting::PhaseSequence
        | Setting::Look => Measured::NoSupply,
    }
}

/// The network with the probes on it.
pub(super) fn netlist(
    model: &Model,
    destroyed: &BTreeSet<PointAt>,
    conditions: &Conditions,
    probe: &Probe,
) -> Result<Netlist, ProbeError> {
    let Leads::On(from, to) = leads(model, conditions, probe)? else {
        return Err(ProbeError::NotBetween);
    };
    let (regime, method) = match probe.setting {
        Setting::Voltage => (Regime::Live, Method::Voltage { ohms: VOLTMETER }),
        Setting::Continuity => {
            let (volts, amps) = CONTINUITY_SOURCE;
            let ohms = volts / amps;
            (Regime::Low, Method::Direct { volts, ohms })
        }
        Setting::Insulation { at } => {
            let volts = f64::from(at.volts());
            let ohms = volts / INSULATION_SHORT;
            (Regime::High, Method::Direct { volts, ohms })
        }
        _ => (Regime::Live, Method::Loop),
    };
    let net = Builder::build(model, conditions, destroyed, regime);
    let mut elements = net.elements.clone();
    let mut nodes = net.nodes();
    let mut lead = |on: &[Node]| {
        let on: Vec<usize> = on.iter().filter_map(|node| net.get(*node)).collect();
        if let [one] = on[..] {
            return one;
        }
        nodes += 1;
        let from = nodes - 1;
        elements.extend(on.into_iter().map(|to| Element::Impedance {
            from,
            to,
            ohms: CLIP,
            reactance: 0.0,
        }));
        from
    };
    let (from, to) = (lead(&from), lead(&to));
    let taken_up = absorption::ohms(model, conditions, probe);
    if taken_up.is_finite() {
        elements.push(Element::Impedance {
            from,
            to,
            ohms: taken_up,
            reactance: 0.0,
        });
    }
    Ok(Netlist {
        elements,
        nodes,
        from,
        to,
        method,
    })
}

/// What an instrument shows of what is measured.
pub(super) fn shown(
    instrument: &Instrument,
    measured: Measured,
    probe: &Probe,
    nulled: bool,
) -> Shown {
    let label = |reading: Reading| {
        let reading = match &probe.between {
            Between::Pair(pair) => reading.between(*pair),
            _ => reading,
        };
        match probe.setting {
            Setting::Insulation { at } => reading.at(at),
            _ => reading,
        }
    };
    match (instrument.shows(measured, nulled), measured) {
        (Some((reading, Kind::Value)), _) => Shown::Value(label(reading)),
        (Some((reading, Kind::Live)), _) => Shown::Live(reading),
        (Some((reading, Kind::Tripped)), _) => Shown::Tripped(reading),
        (None, Measured::Sequence(right)) => Shown::Sequence { right },
        (None, Measured::NoTrip) => Shown::NoTrip,
        (None, Measured::Printed(printed)) => Shown::Label(printed),
        (None, _) => Shown::NoSupply,
    }
}

/// Whether a display is still on its way to another one: by more than two in a hundred and two digits.
pub(super) fn moves(now: &Shown, settled: &Shown) -> bool {
    let (Shown::Value(now), Shown::Value(settled)) = (now, settled) else {
        return false;
    };
    match (now.number, settled.number) {
        (Some(a), Some(b)) if now.relation == settled.relation => {
            let digit = 10f64.powi(-i32::from(a.places().min(b.places())));
            (a.value() - b.value()).abs() > 0.02 * a.value().max(b.value()) + 2.01 * digit
        }
        _ => now.shown() != settled.shown(),
    }
}

/// How many conductors of a circuit are named by some.
pub(super) fn conductors_named(conductors: Conductors, circuit: &CircuitModel) -> usize {
    wires_named(conductors, circuit.wires).len()
}

/// What is printed on the device of a circuit.
fn label(model: &Model, probe: &Probe) -> Result<Leads, ProbeError> {
    let number = probe.circuit.ok_or(ProbeError::WhichCircuit)?;
    let at = model
        .circuit(probe.board, number)
        .ok_or(ProbeError::NoCircuit(probe.board, number))?;
    let circuit = model.at(at);
    let device = circuit.device.ok_or(ProbeError::NoDevice(number))?;
    Ok(Leads::Label(Printed {
        letter: device.letter,
        amps: device.amps.round() as u16,
        milliamps: circuit
            .rcd
            .as_ref()
            .map(|rcd| (rcd.printed * 1e3).round() as u16),
    }))
}

fn leads(model: &Model, conditions: &Conditions, probe: &Probe) -> Result<Leads, ProbeError> {
    if probe.setting == Setting::Look || probe.between == Between::Label {
        return label(model, probe);
    }
    match probe.between {
        Between::LeadsJoined => return Ok(Leads::Joined),
        Between::LeadsApart => return Ok(Leads::Apart),
        Between::KnownSource => return Ok(Leads::Known),
        Between::Reference => return Ok(Leads::Reference),
        Between::Bond => return bond(model, probe),
        Between::Pair(_) | Between::Ends(_) | Between::LongLead(_) | Between::Label => {}
    }
    let b = model
        .board(probe.board)
        .ok_or(ProbeError::NoBoard(probe.board))?;
    let spot = Spot::of(model, conditions, probe, b)?;
    let needs_pair = !matches!(
        probe.setting,
        Setting::Voltage | Setting::Continuity | Setting::Insulation { .. }
    );
    match &probe.between {
        Between::Pair(pair) => Ok(Leads::On(spot.nodes(pair.from())?, spot.nodes(pair.to())?)),
        _ if needs_pair => Err(ProbeError::NotBetween),
        Between::LongLead(conductors) => Ok(Leads::On(
            vec![Node::Bar(b, Wire::E)],
            spot.nodes(*conductors)?,
        )),
        Between::Ends(conductors) => {
            let circuit = probe.circuit.ok_or(ProbeError::WhichCircuit)?;
            let (_, c) = model
                .circuit(probe.board, circuit)
                .ok_or(ProbeError::NoCircuit(probe.board, circuit))?;
            let ring = model.at((b, c));
            if ring.kind != CircuitKind::Ring {
                return Err(ProbeError::NoRing(circuit));
            }
            let wires = wires_named(*conductors, ring.wires);
            let wires = some(wires, *conductors)?;
            Ok(Leads::On(
                wires.iter().map(|wire| Node::Out(b, c, *wire)).collect(),
                wires.iter().map(|wire| Node::Back(b, c, *wire)).collect(),
            ))
        }
        _ => Err(ProbeError::NotBetween),
    }
}

fn some(wires: Vec<Wire>, conductors: Conductors) -> Result<Vec<Wire>, ProbeError> {
    // Each conductor that was said must be there; "line" may stand for several.
    let named = conductors.count() as usize;
    if wires.is_empty() || wires.len() < named {
        return Err(ProbeError::NoConductor(conductors.spoken()));
    }
    Ok(wires)
}

fn bond(model: &Model, probe: &Probe) -> Result<Leads, ProbeError> {
    let place = probe
        .place
        .as_ref()
        .ok_or_else(|| ProbeError::NoBond("bond".to_owned()))?;
    let (n, bond) = model
        .bonds
        .iter()
        .enumerate()
        .find(|(_, bond)| is_bond(&bond.name, place))
        .ok_or_else(|| ProbeError::NoBond(place.to_string()))?;
    let end = if bond.main {
        Node::BondEnd(n)
    } else {
        Node::OtherPart(n)
    };
    Ok(Leads::On(vec![end], vec![Node::Part(n)]))
}

/// Where on a board or a circuit the probes are.
enum Spot<'a> {
    Incoming(&'a Model, usize),
    Bars(&'a Model, usize),
    /// At the outgoing terminals of a residual current device of several circuits.
    Behind(&'a Model, usize, usize),
    /// At the board end of a circuit; of a ring whose ends are free, on the outgoing ones.
    Circuit(&'a CircuitModel, usize, usize, Vec<Wire>),
    Point(&'a CircuitModel, PointAt, bool),
}

impl<'a> Spot<'a> {
    fn of(
        model: &'a Model,
        conditions: &Conditions,
        probe: &Probe,
        b: usize,
    ) -> Result<Self, ProbeError> {
        let place = probe.place.as_ref();
        let at_board = place.is_none_or(|place| *place == Place::board());
        let Some(number) = probe.circuit else {
            let group = place.and_then(|place| model.group(probe.board, place));
            if let Some((_, g)) = group {
                return Ok(Self::Behind(model, b, g));
            }
            return match place {
                None => Ok(Self::Incoming(model, b)),
                Some(_) if at_board => Ok(Self::Bars(model, b)),
                Some(_) => Err(ProbeError::WhichCircuit),
            };
        };
        let (_, c) = model
            .circuit(probe.board, number)
            .ok_or(ProbeError::NoCircuit(probe.board, number))?;
        let circuit = model.at((b, c));
        let altered = super::net::altered_on(conditions, probe.board, number);
        let Some(place) = place.filter(|_| !at_board) else {
            let free = altered.free_ends(circuit);
            return Ok(Self::Circuit(circuit, b, c, free));
        };
        let far_end = crate::installation::Circuit::far_end();
        let last = circuit.points.len().checked_sub(1);
        let point = circuit
            .point(place)
            .or_else(|| last.filter(|_| *place == far_end))
            .ok_or_else(|| ProbeError::NoPlace {
                circuit: number,
                place: place.to_string(),
                points: circuit
                    .points
                    .iter()
                    .map(|point| point.place.to_string())
                    .collect::<Vec<_>>()
                    .join(", "),
            })?;
        let out = altered.accessory_is_out(&circuit.points[point].place);
        Ok(Self::Point(circuit, (b, c, point), out))
    }

    fn nodes(&self, conductors: Conductors) -> Result<Vec<Node>, ProbeError> {
        let wires = match self {
            Self::Incoming(model, b) | Self::Bars(model, b) | Self::Behind(model, b, _) => {
                let lines = model.boards[*b].lines.iter().copied();
                let all: Vec<Wire> = lines.chain([Wire::N, Wire::E]).collect();
                wires_named(conductors, &all)
            }
            Self::Circuit(circuit, ..) | Self::Point(circuit, ..) => {
                wires_named(conductors, circuit.wires)
            }
        };
        let node = |wire: Wire| match self {
            Self::Incoming(model, b) => match (wire, model.boards[*b].feed) {
                (Wire::E, Feed::Origin) => Node::MeansOfEarthing,
                (Wire::E, _) => Node::Bar(*b, Wire::E),
                (wire, _) => Node::Incoming(*b, wire),
            },
            Self::Bars(_, b) => Node::Bar(*b, wire),
            Self::Behind(_, b, g) => fed_by(*b, Some(*g), wire),
            Self::Circuit(_, b, c, free) if free.contains(&wire) => Node::Out(*b, *c, wire),
            Self::Circuit(_, b, c, _) => Node::Terminal(*b, *c, wire),
            Self::Point(_, at, true) => Node::Junction(*at, wire),
            Self::Point(_, at, false) => Node::Accessory(*at, wire),
        };
        let wires = some(wires, conductors)?;
        Ok(wires.into_iter().map(node).collect())
    }
}

/// One probing.
struct Bench<'a> {
    model: &'a Model,
    destroyed: &'a BTreeSet<PointAt>,
    last: &'a mut Kept,
    conditions: &'a Conditions,
    circuit: Option<(usize, usize)>,
}

impl Bench<'_> {
    fn prepared<S: Numbers>(&mut self, regime: Regime) -> (Arc<Prepared<S>>, Graph<S>) {
        let fits = |last: &&Arc<Prepared<S>>| {
            last.regime == regime
                && last.circuit == self.circuit
                && last.conditions == *self.conditions
        };
        if let Some(last) = S::kept(self.last).iter().find(fits) {
            return (Arc::clone(last), last.graph.clone());
        }
        let net = Builder::build(self.model, self.conditions, self.destroyed, regime);
        let mut graph = Graph::of(net.nodes(), &net.elements, STRAY_OHMS);
        let mut ends = BTreeSet::new();
        for element in &net.elements {
            match element {
                Element::Source { from, to, .. } | Element::NonLinear { from, to, .. } => {
                    ends.extend([*from, *to]);
                }
                Element::Impedance { .. } => {}
            }
        }
        // Other circuits are never probed under this key.
        let circuit = self.circuit;
        let elsewhere = |node: usize| {
            net.circuit_of(node)
                .is_some_and(|other| Some(other) != circuit)
        };
        graph.reduce(|node| ends.contains(&node) || !elsewhere(node));
        let prepared = Arc::new(Prepared {
            conditions: self.conditions.clone(),
            regime,
            circuit: self.circuit,
            net,
            graph,
        });
        let kept = S::kept(self.last);
        kept.retain(|other| other.regime != regime);
        kept.push(Arc::clone(&prepared));
        let graph = prepared.graph.clone();
        (prepared, graph)
    }

    /// The node of a lead, on one or several nodes.
    fn lead<S: Numbers>(net: &Net, graph: &mut Graph<S>, on: &[Node]) -> usize {
        let on: Vec<usize> = on.iter().filter_map(|node| net.get(*node)).collect();
        if let [one] = on[..] {
            return one;
        }
        let lead = graph.node(STRAY_OHMS);
        for node in on {
            graph.join(lead, node, CLIP);
        }
        lead
    }

    fn volts(&mut self, from: &[Node], to: &[Node]) -> f64 {
        let (prepared, mut graph) = self.prepared::<Complex<f64>>(Regime::Live);
        let (a, b) = (
            Self::lead(&prepared.net, &mut graph, from),
            Self::lead(&prepared.net, &mut graph, to),
        );
        graph.join(a, b, VOLTMETER);
        let volts = graph.voltages(&driven(&prepared.net.elements), &[a, b]);
        (volts[0] - volts[1]).norm()
    }

    fn ohms<S: Numbers>(&mut self, regime: Regime, from: &[Node], to: &[Node]) -> f64 {
        let (prepared, mut graph) = self.prepared::<S>(regime);
        let (a, b) = (
            Self::lead(&prepared.net, &mut graph, from),
            Self::lead(&prepared.net, &mut graph, to),
        );
        graph.ohms(a, b)
    }

    /// Insulation resistance at a voltage, and what is destroyed by it.
    fn insulation(&mut self, volts: f64, from: &[Node], to: &[Node]) -> (f64, Vec<Consequence>) {
        let (prepared, mut graph) = self.prepared::<f64>(Regime::High);
        let ends = (
            Self::lead(&prepared.net, &mut graph, from),
            Self::lead(&prepared.net, &mut graph, to),
        );
        let parts: Vec<(usize, usize, Law)> = prepared
            .net
            .parts
            .iter()
            .map(|part| (part.from, part.to, part.law))
            .collect();
        if parts.is_empty() {
            return (graph.ohms(ends.0, ends.1), Vec::new());
        }
        let across = graph.across(&parts, ends, volts, volts / INSULATION_SHORT);
        let mut gone = Vec::new();
        for (part, v) in prepared.net.parts.iter().zip(&across) {
            graph.join(part.from, part.to, 1.0 / part.law.siemens(*v));
            let Some((b, c, p)) = part.fragile else {
                continue;
            };
            if volts >= HARMFUL && v.abs() >= HARMFUL_SHARE * volts {
                let board = &self.model.boards[b];
                gone.push(Consequence::Destroyed {
                    board: board.number,
                    circuit: board.circuits[c].number,
                    place: board.circuits[c].points[p].place.clone(),
                });
            }
        }
        gone.dedup();
        (graph.ohms(ends.0, ends.1), gone)
    }

    /// Whether line one comes before line two before line three; none without a supply of three.
    fn sequence(&mut self, from: &[Node]) -> Option<bool> {
        let (prepared, graph) = self.prepared::<Complex<f64>>(Regime::Live);
        let at = |wire| match from.first()? {
            Node::Incoming(b, _) => prepared.net.get(Node::Incoming(*b, wire)),
            Node::Bar(b, _) => prepared.net.get(Node::Bar(*b, wire)),
            Node::Behind(b, g, _) => prepared.net.get(Node::Behind(*b, *g, wire)),
            Node::Terminal(b, c, _) => prepared.net.get(Node::Terminal(*b, *c, wire)),
            Node::Accessory(at, _) => prepared.net.get(Node::Accessory(*at, wire)),
            _ => None,
        };
        let nodes = Wire::LINES
            .into_iter()
            .map(at)
            .collect::<Option<Vec<_>>>()?;
        let volts = graph.voltages(&driven(&prepared.net.elements), &nodes);
        let least = SUPPLY_FROM * self.model.supply.u0;
        if volts.iter().any(|v| v.norm() < least) {
            return None;
        }
        let turn = (volts[0] / volts[1]).arg();
        Some(turn > 0.0)
    }

    /// The residual current devices between the probes and the bars, the nearest first.
    fn devices(&self, probe: &Probe) -> Vec<Residual> {
        let Some(board) = self.model.board(probe.board) else {
            return Vec::new();
        };
        let (own, nearest) = match (self.circuit, &probe.place) {
            (Some(at), _) => {
                let circuit = self.model.at(at);
                let own = circuit.rcd.clone().map(|rcd| Residual {
                    board,
                    which: Which::Circuit(at.1),
                    rcd,
                });
                (own, circuit.behind)
            }
            (None, Some(place)) => {
                let group = self.model.group(probe.board, place);
                (None, group.map(|(_, g)| g))
            }
            (None, None) => (None, None),
        };
        let groups = self.model.groups_from(board, nearest).into_iter();
        let groups = groups.map(|g| Residual {
            board,
            which: Which::Group(g),
            rcd: self.model.boards[board].groups[g].rcd.clone(),
        });
        own.into_iter().chain(groups).collect()
    }

    /// Share of a test current from the first probe to the second that a device sees as residual: less
    /// where neutral and earth touch behind it.
    fn residual_share(&mut self, device: &Residual, from: &[Node], to: &[Node]) -> f64 {
        let (prepared, mut graph) = self.prepared::<Complex<f64>>(Regime::Live);
        let (hot, cold) = (
            Self::lead(&prepared.net, &mut graph, from),
            Self::lead(&prepared.net, &mut graph, to),
        );
        let mut ways = Vec::new();
        for ends in device.poles(self.model) {
            let ends = ends.map(|node| prepared.net.get(node).unwrap_or(GROUND));
            let ohms = prepared
                .net
                .elements
                .iter()
                .find_map(|element| match element {
                    Element::Impedance { from, to, ohms, .. } if [*from, *to] == ends => {
                        Some(*ohms)
                    }
                    _ => None,
                });
            if let Some(ohms) = ohms {
                ways.push((ends, ohms));
            }
        }
        let one = Complex::new(1.0, 0.0);
        let wanted: Vec<usize> = ways.iter().flat_map(|(ends, _)| *ends).collect();
        // Out of the line and into the earth at the point.
        let volts = graph.voltages(&[(hot, -one), (cold, one)], &wanted);
        let through = |pair: &[Complex<f64>], ohms: f64| (pair[0] - pair[1]).re / ohms;
        let sum: f64 = volts
            .chunks(2)
            .zip(&ways)
            .map(|(pair, (_, ohms))| through(pair, *ohms))
            .sum();
        sum.abs()
    }

    fn trips(&mut self, device: &Residual, amps: f64, from: &[Node], to: &[Node]) -> bool {
        let rcd = &device.rcd;
        !rcd.stuck && amps * self.residual_share(device, from, to) >= rcd.operates
    }

    /// Seconds after which a device trips, the instrument set for one of `rated` A; none where it does not.
    fn time(
        &mut self,
        device: &Residual,
        rated: f64,
        test: RcdTest,
        half: HalfCycle,
        from: &[Node],
        to: &[Node],
    ) -> Option<f64> {
        let multiple = match test {
            RcdTest::Half => 0.5,
            RcdTest::Once => 1.0,
            RcdTest::Five => 5.0,
        };
        let amps = multiple * rated;
        if !self.trips(device, amps, from, to) {
            return None;
        }
        let rcd = &device.rcd;
        let residual = amps * self.residual_share(device, from, to);
        let base = if residual >= QUICK * rcd.operates {
            rcd.five
        } else {
            rcd.once
        };
        let later = match half {
            HalfCycle::Positive => 0.0,
            HalfCycle::Negative => rcd.later,
        };
        Some((base + later).max(0.001))
    }
}

/// A test at this voltage or more harms electronics, V, when so much of it is across them.
const HARMFUL: f64 = 500.0;
const HARMFUL_SHARE: f64 = 0.3;
/// An RCD is as quick as at five times its rated current from so many times what it operates at.
const QUICK: f64 = 4.0;

/// Currents that the sources drive into nodes, for what is inside them as an admittance.
pub(super) fn driven(elements: &[Element]) -> Vec<(usize, Complex<f64>)> {
    let mut currents = Vec::new();
    for element in elements {
        if let Element::Source {
            from,
            to,
            volts,
            degrees,
            ohms,
            reactance,
        } = *element
        {
            let volts = Complex::from_polar(volts, degrees.to_radians());
            let current = volts / Complex::new(ohms, reactance);
            currents.push((to, current));
            currents.push((from, -current));
        }
    }
    currents
}
