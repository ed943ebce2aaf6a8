//! The installation as it stands there: what the job does not say is drawn by a seed.

use super::instrument::{Instrument, LEADS, WRONG_BY};
use super::law::Law;
use crate::installation::{
    Accessory, Board, Cable, Circuit, CircuitKind, Device, Earthing, InstrumentUse, Job, Phases,
    RcdDelay, Source, SystemVoltage, cpc_of_flat,
};
use crate::limits::{Tables, conductor, earth_loop};
use crate::quantity::{Celsius, Metres, MilliOhms, Ohms, SquareMillimetres, measure};
use crate::terms::{BayEdition, Place};
use fastrand::Rng;

/// A wire: one of three lines, neutral, earth. The line of a single-phase circuit is the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum Wire {
    L1,
    L2,
    L3,
    N,
    E,
}

impl Wire {
    pub(super) const SINGLE: [Self; 3] = [Self::L1, Self::N, Self::E];
    pub(super) const THREE: [Self; 5] = [Self::L1, Self::L2, Self::L3, Self::N, Self::E];
    pub(super) const LINES: [Self; 3] = [Self::L1, Self::L2, Self::L3];

    /// Line, neutral or protective conductor: 0, 1, 2.
    pub(super) fn class(self) -> usize {
        match self {
            Self::L1 | Self::L2 | Self::L3 => 0,
            Self::N => 1,
            Self::E => 2,
        }
    }

    pub(super) fn is_line(self) -> bool {
        self.class() == 0
    }
}

/// Index of a point: board, circuit, point.
pub(super) type PointAt = (usize, usize, usize);

#[derive(Debug, Clone)]
pub(super) struct Model {
    pub(super) supply: SupplyModel,
    pub(super) sources: Vec<SecondSource>,
    pub(super) bonds: Vec<Bond>,
    pub(super) boards: Vec<BoardModel>,
    pub(super) bridges: Vec<Bridge>,
    pub(super) instrument: Instrument,
    /// What the job says that instruments read on a reference: a loop, Ω, and a time, s.
    pub(super) references: [Option<f64>; 2],
}

#[derive(Debug, Clone)]
pub(super) struct SupplyModel {
    /// Nominal and actual volts to earth.
    pub(super) u0: f64,
    pub(super) volts: f64,
    pub(super) lines: &'static [Wire],
    pub(super) earthing: Earthing,
    pub(super) line_ohms: f64,
    /// Of the transformer, Ω.
    pub(super) line_reactance: f64,
    pub(super) neutral_ohms: f64,
    pub(super) earth_ohms: f64,
    /// What the load of the neighbours lets the neutral rise by.
    pub(super) neutral_volts: f64,
    pub(super) neutral_lost: bool,
    pub(super) earth_lost: bool,
}

/// A source besides the mains, on the first board.
#[derive(Debug, Clone)]
pub(super) struct SecondSource {
    pub(super) source: Source,
    pub(super) ohms: f64,
}

#[derive(Debug, Clone)]
pub(super) struct Bond {
    pub(super) name: String,
    pub(super) ohms: f64,
    /// Of the bonded part itself, to the mass of earth.
    pub(super) to_earth: f64,
    /// A main bond begins at the main earthing terminal; a supplementary one joins two parts.
    pub(super) main: bool,
}

#[derive(Debug, Clone)]
pub(super) struct BoardModel {
    pub(super) number: u16,
    pub(super) lines: &'static [Wire],
    pub(super) feed: Feed,
    /// Residual current devices that protect several of its circuits.
    pub(super) groups: Vec<GroupModel>,
    pub(super) circuits: Vec<CircuitModel>,
}

/// A residual current device that protects several circuits.
#[derive(Debug, Clone)]
pub(super) struct GroupModel {
    /// By which it is called.
    pub(super) number: u16,
    pub(super) place: Place,
    pub(super) rcd: RcdModel,
    /// The index of the one that feeds it; none where the bars do.
    pub(super) behind: Option<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Feed {
    /// At the origin.
    Origin,
    /// By a circuit of another board: from its last point.
    Circuit { board: usize, circuit: usize },
    /// By another board, nobody knows which circuit: a cable from its bars, of so many ohms.
    Bars { board: usize, ohms: f64 },
}

/// Where a cable begins or ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum End {
    /// The board, where the outgoing conductors are.
    Out,
    /// The board, where those of a ring come back.
    Back,
    /// A point.
    Point(usize),
}

#[derive(Debug, Clone)]
pub(super) struct CircuitModel {
    pub(super) number: u16,
    pub(super) kind: CircuitKind,
    pub(super) wires: &'static [Wire],
    /// The line of the board that a single-phase circuit is on.
    pub(super) line: Wire,
    /// Whether it is fed by the board at all: extra-low voltage is not.
    pub(super) fed: bool,
    pub(super) device_ohms: f64,
    pub(super) device: Option<DeviceModel>,
    /// Ω of a device's electronics to its functional earth, from line and from neutral.
    pub(super) functional_earth: Option<[f64; 2]>,
    pub(super) rcd: Option<RcdModel>,
    /// The index of the device of several circuits that feeds it; none where the bars do.
    pub(super) behind: Option<usize>,
    pub(super) two_way: bool,
    /// In order from the board, a ring's own first, spurs after them.
    pub(super) cables: Vec<CableModel>,
    pub(super) points: Vec<PointModel>,
    /// Its own neutral is not in the bar: the one of another circuit serves it.
    pub(super) borrows: Option<(usize, f64)>,
}

#[derive(Debug, Clone)]
pub(super) struct CableModel {
    pub(super) from: End,
    pub(super) to: End,
    /// With its joints: line, neutral, protective conductor.
    pub(super) ohms: [f64; 3],
    /// The same of its reactance.
    pub(super) reactance: [f64; 3],
    pub(super) metres: f64,
    /// Insulation, Ω: line to neutral, line to earth, neutral to earth.
    pub(super) leaks: [f64; 3],
    pub(super) open: [bool; 3],
}

#[derive(Debug, Clone)]
pub(super) struct PointModel {
    pub(super) place: Place,
    /// Whether the job says that it is on a spur.
    pub(super) spur: bool,
    /// Of the accessory's terminals.
    pub(super) terminal_ohms: f64,
    /// Of the way from the terminals to what is probed, where that is not nothing: a switch drop, a
    /// spur that nobody listed.
    pub(super) beyond: [f64; 3],
    /// Of a joint that is loose.
    pub(super) loose: [f64; 3],
    /// The protective conductor is not in its terminal.
    pub(super) no_earth: bool,
    pub(super) reversed: bool,
    /// Insulation of the accessory, Ω, as of a cable.
    pub(super) leaks: [f64; 3],
    pub(super) switched: bool,
    pub(super) load: Option<Load>,
    pub(super) lamp: Option<Load>,
    /// Electronics: those that the job lists, and those that it does not.
    pub(super) electronics: [Option<ElectronicLoad>; 2],
    /// What touches what in the accessory, and through how many ohms.
    pub(super) touching: Vec<(Wire, Wire, f64)>,
}

/// The device that protects a circuit from overcurrent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DeviceModel {
    /// The letter of a circuit-breaker's type, where it has one.
    pub(super) letter: Option<char>,
    /// Whether it is a circuit-breaker of a fixed type.
    pub(super) breaker: bool,
    /// Whether it is a fuse.
    pub(super) fuse: bool,
    /// Rated current, A.
    pub(super) amps: f64,
    /// The most that it can break, A, where the job says so.
    pub(super) breaks: Option<f64>,
}

impl DeviceModel {
    fn of(device: &Device) -> Self {
        Self {
            letter: device.kind.letter(),
            breaker: device.kind.has_multiple(),
            fuse: device.kind.is_fuse(),
            amps: device.amps,
            breaks: device.breaking_ka.map(|ka| ka * 1e3),
        }
    }

    /// The current from which it operates, A.
    pub(super) fn operates(&self) -> f64 {
        let times = if self.fuse {
            FUSE_OPERATES
        } else {
            BREAKER_OPERATES
        };
        times * self.amps
    }
}

/// A load across line and neutral: its resistance to a test with direct current, and in use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Load {
    pub(super) cold: f64,
    pub(super) hot: f64,
}

/// Electronics across line and neutral.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ElectronicLoad {
    pub(super) law: Law,
    /// In use, Ω.
    pub(super) hot: f64,
    /// What is left of them once they are destroyed, Ω; none for what 500 V does not harm.
    pub(super) destroyed: Option<f64>,
}

#[derive(Debug, Clone)]
pub(super) struct RcdModel {
    pub(super) delay: RcdDelay,
    /// What the job says that it operates at, A.
    pub(super) rated: f64,
    /// What is printed on it, A.
    pub(super) printed: f64,
    /// What it does operate at, A.
    pub(super) operates: f64,
    /// Seconds at the rated current and at five times it.
    pub(super) once: f64,
    pub(super) five: f64,
    /// Longer on the negative half-cycle.
    pub(super) later: f64,
    pub(super) stuck: bool,
}

/// A cable between two points that should not be there.
#[derive(Debug, Clone)]
pub(super) struct Bridge {
    pub(super) from: PointAt,
    pub(super) to: PointAt,
    pub(super) ohms: [f64; 3],
}

// What is drawn, and between what: all common practice, but where a standard is named.
/// Ω of a screwed joint, and of an accessory's terminals.
const JOINT: (f64, f64) = (0.0005, 0.002);
const TERMINAL: (f64, f64) = (0.001, 0.006);
/// Insulation of cables, Ω·m, and of an accessory, Ω: new, and in use.
const CABLE_INSULATION: [(f64, f64); 2] = [(20e9, 500e9), (5e9, 60e9)];
const ACCESSORY_INSULATION: [(f64, f64); 2] = [(5e9, 80e9), (2e9, 20e9)];
/// Metres between points where the job has no length.
const APART: (f64, f64) = (3.0, 9.0);
/// Metres of a spur, of a switch drop.
const SPUR: (f64, f64) = (1.0, 4.0);
const DROP: (f64, f64) = (2.0, 3.5);
/// Metres of a main bond, and its size, mm².
const BOND: (f64, f64) = (2.0, 9.0);
const BOND_MM2: f64 = 10.0;
const SUPPLEMENTARY: (f64, f64) = (0.5, 3.0);
const SUPPLEMENTARY_MM2: f64 = 4.0;
/// Ω of an extraneous part to the mass of earth.
const EXTRANEOUS: (f64, f64) = (20.0, 400.0);
/// Of the declared Ze.
const OF_DECLARED: (f64, f64) = (0.6, 0.95);
/// Ω of a consumer's earth electrode.
const ELECTRODE: (f64, f64) = (15.0, 90.0);
/// Ω of the inside of a second source.
const SECOND: f64 = 40.0;
/// Reactance of a transformer of 250 to 800 kVA, one line at 400 V, Ω: uk 4 to 5 % of U² ÷ S, common practice. At most
/// so much of the line's resistance, since a long main is more resistance: invented.
const TRANSFORMER: (f64, f64) = (0.009, 0.028);
const OF_LINE: f64 = 0.6;
/// A breaker operates at so many times its rated current, within the hour at the least (the conventional
/// tripping current of BS EN 60898-1), and a gG fuse at this many (BS 88-2): both from memory.
const BREAKER_OPERATES: f64 = 1.45;
const FUSE_OPERATES: f64 = 1.6;
/// Ω of a device's electronics to its functional earth, from line and from neutral: invented, of the order
/// that lets some tenths of a milliamp through.
const FUNCTIONAL_EARTH: [(f64, f64); 2] = [(400e3, 900e3), (150e3, 400e3)];

/// Numbers from a seed, between bounds.
pub(super) struct Draw(pub(super) Rng);

impl Draw {
    pub(super) fn with(seed: u64) -> Self {
        Self(Rng::with_seed(seed))
    }

    pub(super) fn between(&mut self, (low, high): (f64, f64)) -> f64 {
        low + (high - low) * self.0.f64()
    }

    /// As likely in each decade.
    pub(super) fn decades(&mut self, (low, high): (f64, f64)) -> f64 {
        self.between((low.ln(), high.ln())).exp()
    }

    fn three(&mut self, bounds: (f64, f64)) -> [f64; 3] {
        [0; 3].map(|_| self.decades(bounds))
    }
}

/// Electronics that a seed draws: what they are depends on the words of the job.
pub(super) fn electronics(what: &str, draw: &mut Draw) -> ElectronicLoad {
    let what = what.to_lowercase();
    if what.contains("neon") || what.contains("indicator") {
        return ElectronicLoad {
            law: Law::Neon {
                ohms: draw.between((150e3, 300e3)),
                volts: 90.0,
            },
            hot: 220e3,
            destroyed: None,
        };
    }
    if what.contains("surge") {
        return ElectronicLoad {
            law: Law::Surge {
                ohms: draw.between((50e6, 200e6)),
                volts: draw.between((390.0, 430.0)),
                amps: 1e-3,
            },
            hot: 20e6,
            destroyed: None,
        };
    }
    ElectronicLoad {
        law: Law::Electronics {
            ohms: draw.between((150e3, 500e3)),
            volts: draw.between((300.0, 500.0)),
        },
        hot: draw.between((4e3, 12e3)),
        destroyed: Some(draw.between((500.0, 3000.0))),
    }
}

/// Resistance of a copper conductor, Ω. Of a size that the table does not have, by that of the
/// nearest smaller size and the areas.
pub(super) fn copper(mm2: f64, class: u8, metres: f64, celsius: f64) -> f64 {
    let tables = Tables::shipped();
    let of = |mm2: f64| -> Option<Ohms> {
        let size = SquareMillimetres::exact(mm2);
        let (metres, t) = (Metres::exact(metres), Celsius::exact(celsius));
        conductor::resistance(tables, size, class, metres, t)
    };
    let rows = tables.conductors.class_1.iter();
    let known = rows.map(|(size, _)| *size).filter(|size| *size <= mm2);
    let nearest = known.fold(1.0, f64::max);
    of(mm2)
        .map(Ohms::middle)
        .or_else(|| Some(of(nearest)?.middle() * nearest / mm2))
        .unwrap_or(0.0185 * metres / mm2)
}

impl Model {
    /// What the seed makes of a job, without a fault.
    pub(super) fn drawn(job: &Job, seed: u64, edition: BayEdition) -> Self {
        let mut draw = Draw::with(seed);
        let celsius = celsius(job);
        let supply = SupplyModel::drawn(job, &mut draw);
        let bond = |name: &String, main: bool, draw: &mut Draw| {
            let (metres, mm2) = if main {
                (draw.between(BOND), BOND_MM2)
            } else {
                (draw.between(SUPPLEMENTARY), SUPPLEMENTARY_MM2)
            };
            Bond {
                name: name.to_lowercase(),
                ohms: copper(mm2, 2, metres, celsius) + draw.between(JOINT),
                to_earth: draw.decades(EXTRANEOUS),
                main,
            }
        };
        let main = job.supply.bonds.iter().map(|name| (name, true));
        let others = job.supply.supplementary_bonds.iter();
        let others = others.map(|name| (name, false));
        let bonds = main
            .chain(others)
            .map(|(name, main)| bond(name, main, &mut draw))
            .collect();
        let boards = job
            .boards
            .iter()
            .map(|board| BoardModel::drawn(job, board, &mut draw))
            .collect();
        let second = job.supply.sources.iter().copied();
        let sources = second
            .filter(|source| *source != Source::Mains)
            .map(SecondSource::of)
            .collect();
        let gain = |draw: &mut Draw| 1.0 + draw.between((-WRONG_BY, WRONG_BY));
        let tester =
            |i: &&crate::installation::Instrument| i.used_for.contains(&InstrumentUse::Insulation);
        let instrument = Instrument {
            leads: draw.between(LEADS),
            gain: [0; 5].map(|_| gain(&mut draw)),
            range: job
                .instruments
                .iter()
                .find(tester)
                .and_then(|i| i.insulation_range_megohms),
            never_nulled: false,
            wrong_range: false,
        };
        let mut model = Self {
            supply,
            sources,
            bonds,
            boards,
            bridges: Vec::new(),
            instrument,
            references: [
                (job.instruments.iter()).find_map(|i| Some(i.loop_reference_ohms?.value())),
                (job.instruments.iter()).find_map(|i| Some(i.rcd_reference_ms?.value() / 1e3)),
            ],
        };
        match edition {
            BayEdition::First => model.as_it_was(),
            BayEdition::Second => model.with_reactance(job, seed),
        }
        model.with_groups(job, seed);
        model
    }

    /// Residual current devices of several circuits. Their numbers are a row of their own, so that all else
    /// stays; a job that has none is as it was.
    fn with_groups(&mut self, job: &Job, seed: u64) {
        let mut draw = Draw::with(seed ^ 0x6e0a_b5d1);
        for (board, drawn) in job.boards.iter().zip(&mut self.boards) {
            let order = Nested::of(board);
            for (n, group) in board.rcds.iter().enumerate() {
                drawn.groups.push(GroupModel {
                    number: group.number,
                    place: group.place(),
                    rcd: RcdModel::drawn(group.milliamps / 1e3, group.delay, &mut draw),
                    behind: order.around(n),
                });
            }
            for (circuit, drawn) in board.circuits.iter().zip(&mut drawn.circuits) {
                drawn.behind = order.nearest(circuit.number);
            }
        }
    }

    /// The first edition knows nothing of devices, reactance and capacitance.
    fn as_it_was(&mut self) {
        let circuits = self.boards.iter_mut().flat_map(|board| &mut board.circuits);
        for circuit in circuits {
            circuit.device = None;
            for cable in &mut circuit.cables {
                (cable.reactance, cable.metres) = ([0.0; 3], 0.0);
            }
        }
    }

    /// What the second edition draws besides. Its numbers are a row of their own, so that all else stays.
    fn with_reactance(&mut self, job: &Job, seed: u64) {
        let mut draw = Draw::with(seed ^ 0x0e4a_c7a2);
        let supply = &mut self.supply;
        let x = draw.between(TRANSFORMER).min(OF_LINE * supply.line_ohms);
        let other = match supply.earthing {
            Earthing::TnCS => supply.neutral_ohms,
            Earthing::TnS | Earthing::Tt => supply.earth_ohms,
        };
        // The loop keeps the impedance that was drawn for it.
        let whole = supply.line_ohms + other;
        supply.line_ohms = (whole * whole - x * x).sqrt() - other;
        supply.line_reactance = x;
        for (board, drawn) in job.boards.iter().zip(&mut self.boards) {
            for (circuit, drawn) in board.circuits.iter().zip(&mut drawn.circuits) {
                let device = circuit.device.as_ref();
                let own_earth = device.is_some_and(|device| device.kind.is_rcbo()) && drawn.fed;
                drawn.functional_earth =
                    own_earth.then(|| FUNCTIONAL_EARTH.map(|bounds| draw.between(bounds)));
            }
        }
    }

    /// The index of a board by its number.
    pub(super) fn board(&self, number: u16) -> Option<usize> {
        self.boards.iter().position(|board| board.number == number)
    }

    /// The indices of a board and a residual current device of several of its circuits, by its place.
    pub(super) fn group(&self, board: u16, place: &Place) -> Option<(usize, usize)> {
        let b = self.board(board)?;
        let groups = &self.boards.get(b)?.groups;
        let g = groups.iter().position(|group| group.place == *place)?;
        Some((b, g))
    }

    /// The indices of the devices of several circuits between one of them, or a circuit, and the bars: the
    /// nearest first.
    pub(super) fn groups_from(&self, b: usize, nearest: Option<usize>) -> Vec<usize> {
        let mut all = Vec::new();
        let mut next = nearest;
        while let Some(group) = next.filter(|g| !all.contains(g)) {
            all.push(group);
            next = self.boards[b].groups[group].behind;
        }
        all
    }

    /// The indices of a board and a circuit by their numbers.
    pub(super) fn circuit(&self, board: u16, circuit: u16) -> Option<(usize, usize)> {
        let b = self.board(board)?;
        let circuits = &self.boards.get(b)?.circuits;
        let c = circuits.iter().position(|c| c.number == circuit)?;
        Some((b, c))
    }

    pub(super) fn at(&self, (b, c): (usize, usize)) -> &CircuitModel {
        &self.boards[b].circuits[c]
    }

    pub(super) fn at_mut(&mut self, (b, c): (usize, usize)) -> &mut CircuitModel {
        &mut self.boards[b].circuits[c]
    }
}

fn celsius(job: &Job) -> f64 {
    let test = Tables::shipped().temperature.test_celsius;
    job.site.ambient_celsius.unwrap_or(test)
}

impl SecondSource {
    pub(super) fn of(source: Source) -> Self {
        Self {
            source,
            ohms: SECOND,
        }
    }
}

impl SupplyModel {
    fn drawn(job: &Job, draw: &mut Draw) -> Self {
        let supply = &job.supply;
        let tables = Tables::shipped();
        let declared = supply.ze_ohms.map_or_else(
            || earth_loop::usual_ze(tables, supply.earthing).middle(),
            |ze| ze.value(),
        );
        let whole = declared * draw.between(OF_DECLARED);
        let electrode = draw.between(ELECTRODE);
        let standing = draw.between((0.4, 2.5));
        let (line_ohms, neutral_ohms, earth_ohms, neutral_volts) = match supply.earthing {
            Earthing::TnS => (0.45 * whole, 0.4 * whole, 0.55 * whole, standing),
            Earthing::TnCS => (0.5 * whole, 0.5 * whole, 0.0, 0.0),
            // Of a declared value most is the electrode; otherwise it is drawn.
            Earthing::Tt => match supply.ze_ohms {
                Some(_) => (0.15, 0.15, whole, standing),
                None => (0.15, 0.15, electrode, standing),
            },
        };
        Self {
            u0: supply.volts,
            volts: supply.volts * draw.between((0.985, 1.045)),
            lines: lines(supply.phases),
            earthing: supply.earthing,
            line_ohms,
            line_reactance: 0.0,
            neutral_ohms,
            earth_ohms,
            neutral_volts,
            neutral_lost: false,
            earth_lost: false,
        }
    }
}

fn lines(phases: Phases) -> &'static [Wire] {
    match phases {
        Phases::Single => &Wire::LINES[..1],
        Phases::Three => &Wire::LINES,
    }
}

impl BoardModel {
    fn drawn(job: &Job, board: &Board, draw: &mut Draw) -> Self {
        let index = |number: u16| job.boards.iter().position(|b| b.number == number);
        let ohms = copper(16.0, 2, draw.between((8.0, 25.0)), celsius(job));
        let feed = match job.feeder_of(board.number) {
            None => Feed::Origin,
            Some((by, circuit)) => {
                let from = index(by).unwrap_or(0);
                let circuits = job.boards.get(from).map(|b| b.circuits.as_slice());
                let found = circuits
                    .and_then(|circuits| circuits.iter().position(|c| Some(c.number) == circuit));
                match found {
                    Some(circuit) => Feed::Circuit {
                        board: from,
                        circuit,
                    },
                    None => Feed::Bars { board: from, ohms },
                }
            }
        };
        Self {
            number: board.number,
            lines: lines(board.phases),
            feed,
            groups: Vec::new(),
            circuits: board
                .circuits
                .iter()
                .enumerate()
                .map(|(n, circuit)| CircuitModel::drawn(job, board, n, circuit, draw))
                .collect(),
        }
    }
}

/// Which residual current devices of a board are behind which: what protects all that another does, and
/// more, feeds it. Of two that protect the same, the less sensitive one feeds the other.
struct Nested<'a> {
    board: &'a Board,
}

impl<'a> Nested<'a> {
    fn of(board: &'a Board) -> Self {
        Self { board }
    }

    /// The circuits that the device with this index protects.
    fn protects(&self, n: usize) -> Vec<u16> {
        let circuits = self.board.circuits.iter().map(|circuit| circuit.number);
        let group = self.board.rcds.get(n);
        circuits
            .filter(|number| group.is_some_and(|group| group.protects(*number)))
            .collect()
    }

    /// From the circuits towards the bars.
    fn in_order(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.board.rcds.len()).collect();
        let sensitive = |n: usize| self.board.rcds.get(n).map_or(0.0, |rcd| rcd.milliamps);
        order.sort_by(|a, b| {
            let many = |n: usize| self.protects(n).len();
            (many(*a).cmp(&many(*b))).then(sensitive(*a).total_cmp(&sensitive(*b)))
        });
        order
    }

    /// The device that feeds that of this index.
    fn around(&self, n: usize) -> Option<usize> {
        let own = self.protects(n);
        let mut further = self.in_order().into_iter().skip_while(|other| *other != n);
        further.next();
        further.find(|other| {
            let theirs = self.protects(*other);
            own.iter().all(|circuit| theirs.contains(circuit))
        })
    }

    /// The device that feeds a circuit.
    fn nearest(&self, circuit: u16) -> Option<usize> {
        let mut order = self.in_order().into_iter();
        order.find(|n| self.protects(*n).contains(&circuit))
    }
}

/// The cable of a circuit whose job has none: the least that carries the device's current. Its protective
/// conductor is that of flat cable; half the line above the sizes of that (ours).
fn usual_cable(circuit: &Circuit) -> Cable {
    let rating = &Tables::shipped().cable_rating;
    let amps = circuit.device.as_ref().map_or(16.0, |device| device.amps);
    let enough = rating.amps.iter().find(|(_, most)| *most >= amps);
    let line_mm2 = match circuit.kind {
        CircuitKind::Ring => rating.ring_mm2,
        _ => enough.or(rating.amps.last()).map_or(2.5, |(mm2, _)| *mm2),
    };
    Cable::copper(
        line_mm2,
        cpc_of_flat(line_mm2).unwrap_or(line_mm2 / 2.0),
        None,
    )
}

impl CircuitModel {
    fn drawn(job: &Job, board: &Board, n: usize, circuit: &Circuit, draw: &mut Draw) -> Self {
        let in_use = usize::from(job.kind.is_in_use());
        let per_metre = draw.three(CABLE_INSULATION[in_use]);
        let far_end = [Accessory {
            name: Circuit::far_end().name,
            number: None,
            sensitive: None,
            feeds_on: false,
            spur: false,
        }];
        let points = match circuit.points.as_slice() {
            [] => &far_end,
            points => points,
        };
        let cable = circuit
            .cable
            .clone()
            .unwrap_or_else(|| usual_cable(circuit));
        let run = Run {
            cable: &cable,
            celsius: celsius(job),
            per_metre,
        };
        let mut ways = ways(circuit.kind, points);
        for way in &mut ways {
            way.metres = draw.between(if way.spur { SPUR } else { APART });
        }
        if let Some(metres) = cable.metres {
            to_length(&mut ways, circuit.kind, metres);
        }
        let cables = ways.iter().map(|way| run.of(way, draw)).collect();
        let extra_low = matches!(circuit.system, SystemVoltage::Selv | SystemVoltage::Pelv);
        let equipped = in_use == 1 && circuit.equipment_possible && !extra_low;
        let points = points
            .iter()
            .map(|point| PointModel::drawn(circuit, point, equipped, &run, draw))
            .collect();
        let three = circuit.phases == Phases::Three;
        let line = match board.phases {
            Phases::Three => Wire::LINES[n % 3],
            Phases::Single => Wire::L1,
        };
        Self {
            number: circuit.number,
            kind: circuit.kind,
            wires: if three { &Wire::THREE } else { &Wire::SINGLE },
            line,
            fed: !extra_low,
            device_ohms: draw.between((0.002, 0.006)),
            device: circuit.device.as_ref().map(DeviceModel::of),
            functional_earth: None,
            rcd: circuit
                .rcd
                .as_ref()
                .map(|rcd| RcdModel::drawn(rcd.milliamps / 1e3, rcd.delay, draw)),
            behind: None,
            two_way: circuit.two_way,
            cables,
            points,
            borrows: None,
        }
    }

    /// Whether the circuit goes on from a point.
    pub(super) fn goes_on(&self, point: usize) -> bool {
        self.cables
            .iter()
            .any(|cable| cable.from == End::Point(point))
    }

    /// The cable that comes to a point from the board.
    pub(super) fn incoming(&self, point: usize) -> Option<usize> {
        self.cables
            .iter()
            .position(|cable| cable.to == End::Point(point))
    }

    /// The index of a point by its place.
    pub(super) fn point(&self, place: &Place) -> Option<usize> {
        self.points.iter().position(|point| point.place == *place)
    }
}

/// The way of a cable.
struct Way {
    from: End,
    to: End,
    spur: bool,
    metres: f64,
}

/// Which cables a circuit has. A point hangs on the last one before it that the circuit goes on from;
/// where no point says so, they are in a row.
fn ways(kind: CircuitKind, points: &[Accessory]) -> Vec<Way> {
    let way = |from, to, spur| Way {
        from,
        to,
        spur,
        metres: 0.0,
    };
    let ring = kind == CircuitKind::Ring;
    let row = !points.iter().any(|point| point.feeds_on);
    let mut ways = Vec::new();
    if ring {
        let own = (0..points.len()).filter(|n| !points[*n].spur);
        let ends: Vec<End> = std::iter::once(End::Out)
            .chain(own.map(End::Point))
            .chain([End::Back])
            .collect();
        ways.extend(ends.windows(2).map(|pair| way(pair[0], pair[1], false)));
    }
    for n in (0..points.len()).filter(|n| !ring || points[*n].spur) {
        let feeds = |before: &usize| {
            let point = &points[*before];
            if ring {
                !point.spur
            } else {
                row || point.feeds_on
            }
        };
        let before = (0..n).rfind(feeds);
        ways.push(way(
            before.map_or(End::Out, End::Point),
            End::Point(n),
            ring,
        ));
    }
    ways
}

/// Makes drawn lengths come to that of the job: round a ring, or to the furthest point. Spurs stay as
/// they are.
fn to_length(ways: &mut [Way], kind: CircuitKind, metres: f64) {
    let whole = if kind == CircuitKind::Ring {
        let own = ways.iter().filter(|way| !way.spur);
        own.map(|way| way.metres).sum()
    } else {
        let far = |mut here: End| {
            let mut far = 0.0;
            while let Some(way) = ways.iter().find(|way| way.to == here) {
                far += way.metres;
                here = way.from;
            }
            far
        };
        ways.iter().map(|way| far(way.to)).fold(0.0, f64::max)
    };
    for way in ways.iter_mut().filter(|way| !way.spur) {
        way.metres *= metres / whole;
    }
}

/// What a metre of a circuit's cable is.
struct Run<'a> {
    cable: &'a Cable,
    celsius: f64,
    per_metre: [f64; 3],
}

impl Run<'_> {
    /// Line, neutral and protective conductor of so many metres.
    fn ohms(&self, metres: f64) -> [f64; 3] {
        let tables = Tables::shipped();
        let run = self.cable.facts();
        let of = |each: Option<MilliOhms>, mm2: f64| match each {
            Some(each) => {
                let (metres, t) = (Metres::exact(metres), Celsius::exact(self.celsius));
                conductor::of_length(tables, each, metres, t).middle()
            }
            None => copper(mm2, run.class, metres, self.celsius),
        };
        let line = of(conductor::line_per_metre(tables, &run), self.cable.line_mm2);
        let cpc = of(conductor::cpc_per_metre(tables, &run), self.cable.cpc_mm2);
        [line, line, cpc]
    }

    /// Reactance of each, Ω at 50 Hz.
    fn reactance(&self, metres: f64) -> [f64; 3] {
        let Cable {
            line_mm2, cpc_mm2, ..
        } = *self.cable;
        [line_mm2, line_mm2, cpc_mm2].map(|mm2| {
            let size = SquareMillimetres::exact(mm2);
            let each = conductor::reactance_per_metre(Tables::shipped(), size);
            each.to::<measure::Ohm>().times(metres).middle()
        })
    }

    fn of(&self, way: &Way, draw: &mut Draw) -> CableModel {
        let metres = way.metres;
        CableModel {
            from: way.from,
            to: way.to,
            ohms: self
                .ohms(metres)
                .map(|ohms| ohms + draw.between(JOINT) + draw.between(JOINT)),
            reactance: self.reactance(metres),
            metres,
            leaks: self.per_metre.map(|each| each / metres.max(0.1)),
            open: [false; 3],
        }
    }
}

impl PointModel {
    fn drawn(
        circuit: &Circuit,
        point: &Accessory,
        equipped: bool,
        run: &Run<'_>,
        draw: &mut Draw,
    ) -> Self {
        let lighting = circuit.kind == CircuitKind::Lighting;
        // To the switch and back, in the line.
        let drop = run.ohms(2.0 * draw.between(DROP))[0];
        let cold = draw.between((45.0, 90.0));
        let element = draw.between((12.0, 60.0));
        let loaded =
            equipped && matches!(circuit.kind, CircuitKind::SinglePoint | CircuitKind::Motor);
        let electronics = (point.sensitive.as_ref()).map(|what| electronics(what, draw));
        Self {
            place: point.place(),
            spur: point.spur,
            terminal_ohms: draw.between(TERMINAL),
            beyond: if lighting { [drop, 0.0, 0.0] } else { [0.0; 3] },
            loose: [0.0; 3],
            no_earth: false,
            reversed: false,
            leaks: draw.three(ACCESSORY_INSULATION[usize::from(equipped)]),
            switched: lighting,
            load: loaded.then_some(Load {
                cold: element,
                hot: element,
            }),
            lamp: lighting.then_some(Load {
                cold,
                hot: 12.0 * cold,
            }),
            electronics: [electronics, None],
            touching: Vec::new(),
        }
    }
}

impl RcdModel {
    /// A sound one: quicker than BS EN 61008-1 and 61009-1 allow, and, of type S, slower than they
    /// ask for.
    fn drawn(rated: f64, delay: RcdDelay, draw: &mut Draw) -> Self {
        let times = Tables::shipped().break_times(delay);
        let (once, five) = match delay {
            // Milliseconds that are usual.
            RcdDelay::General => (
                draw.between((18.0, 35.0)).min(times.once),
                draw.between((9.0, 22.0)).min(times.five),
            ),
            RcdDelay::S => {
                let inside = |least: f64, most: f64, draw: &mut Draw| {
                    draw.between((least + 0.2 * (most - least), most - 0.3 * (most - least)))
                };
                (
                    inside(times.once_least, times.once, draw),
                    inside(times.five_least, times.five, draw),
                )
            }
        };
        Self {
            delay,
            rated,
            printed: rated,
            operates: rated * draw.between((0.65, 0.9)),
            once: once / 1e3,
            five: five / 1e3,
            later: draw.between((-0.004, 0.006)),
            stuck: false,
        }
    }

    /// Makes it take so many times what its standard allows.
    pub(super) fn too_slow(&mut self, times: f64) {
        let allowed = Tables::shipped().break_times(self.delay);
        self.once = times * allowed.once / 1e3;
        self.five = times * allowed.five / 1e3;
    }
}
