//! Every reading that a job's tests take, each under the conditions that it is taken under.

use super::conditions::{Altered, Conditions};
use crate::installation::{
    Accessory, Board, Circuit, CircuitKind, Instrument, Job, Phases, Source, SystemVoltage,
};
use crate::quantity::{Conductors, Pair, TestVoltage};
use crate::terms::{Between, HalfCycle, Part, Place, Probe, RcdTest, Setting};

/// What a reading of a tour is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Reads {
    /// The leads, joined.
    LeadsJoined,
    /// The insulation range with the leads apart: where it ends.
    LeadsApart,
    /// The loop range on its reference.
    LoopReference,
    /// The RCD range on its reference.
    RcdReference,
    /// A bonding conductor.
    Bond,
    /// Voltage at a board whose main switch is off, with the sources of the job isolated.
    Dead,
    /// A ring's conductor from end to end.
    RingEnds,
    /// A point of a ring, line and neutral crossed.
    RingLineNeutral,
    /// A point of a ring, line and protective conductor crossed.
    RingLineEarth,
    /// R1+R2 at a point of a radial circuit, line and protective conductor linked at the board.
    R1R2,
    /// The same of the neutral and the protective conductor.
    RnR2,
    /// Insulation, line to neutral, at 250 V.
    InsulationTrial,
    /// Insulation, live conductors to each other, at the full voltage.
    InsulationLives,
    /// Insulation, lines to earth.
    InsulationLineEarth,
    /// Insulation, neutral to earth.
    InsulationNeutralEarth,
    /// Voltage and polarity at the incoming terminals.
    SupplyVoltage,
    /// External loop impedance, the earthing conductor off.
    ExternalLoop,
    /// Prospective fault current at the origin.
    FaultCurrent,
    /// Voltage at a point, line to neutral.
    VoltageLineNeutral,
    /// Voltage at a point, line to earth.
    VoltageLineEarth,
    /// Voltage at a point, neutral to earth.
    VoltageNeutralEarth,
    /// Voltage at a point with its own circuit's device off.
    Backfeed,
    /// Voltage at a point with the neutral of another circuit out of its terminal.
    OtherNeutralOut,
    /// Loop impedance at a point, line to earth.
    Loop,
    /// A residual current device at half its rated current.
    RcdHalf,
    /// At its rated current.
    RcdOnce,
    /// At five times it.
    RcdFive,
    /// The order of the phases.
    PhaseSequence,
    /// What is printed on a circuit's device.
    Label,
}

/// One reading: of what, and how it is taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    /// What it is of.
    pub reads: Reads,
    /// How the installation has to be.
    pub conditions: Conditions,
    /// Where the probes are.
    pub probe: Probe,
}

/// The readings of a whole job. Loads, lamps and electronics that the job names are out where they
/// would be in the way.
pub fn tour(job: &Job) -> Vec<Stop> {
    let job = &job.as_written();
    let mut stops = Vec::new();
    let nulled = Conditions {
        leads_nulled: true,
        ..Conditions::default()
    };
    let first = job.boards.first().map_or(1, |board| board.number);
    let mut add = |reads, conditions: &Conditions, probe| {
        stops.push(Stop {
            reads,
            conditions: conditions.clone(),
            probe,
        });
    };
    let on_leads = |setting, between| Probe {
        setting,
        between,
        board: first,
        circuit: None,
        place: None,
        rcd: None,
        held: 0,
    };
    let joined = on_leads(Setting::Continuity, Between::LeadsJoined);
    add(Reads::LeadsJoined, &nulled, joined);
    let insulation = Setting::Insulation {
        at: TestVoltage::V500,
    };
    add(
        Reads::LeadsApart,
        &nulled,
        on_leads(insulation, Between::LeadsApart),
    );
    for (reads, setting) in references(job) {
        add(reads, &nulled, on_leads(setting, Between::Reference));
    }
    let isolated = isolated(job, &nulled);
    for name in &job.supply.bonds {
        let place = Place {
            name: format!("{} bond", name.to_lowercase()),
            number: None,
        };
        let off = isolated.with(Altered {
            board: first,
            circuit: None,
            part: Part::Bond,
            place: Some(place.clone()),
            both: false,
            linked: false,
        });
        let probe = Probe {
            place: Some(place),
            ..on_leads(Setting::Continuity, Between::Bond)
        };
        add(Reads::Bond, &off, probe);
    }
    for board in &job.boards {
        let at_board = |setting, pair, place| Probe {
            setting,
            between: Between::Pair(pair),
            board: board.number,
            circuit: None,
            place,
            rcd: None,
            held: 0,
        };
        let pairs: &[Pair] = match board.phases {
            Phases::Single => &Pair::SINGLE_PHASE,
            Phases::Three => &Pair::THREE_PHASE,
        };
        for pair in pairs {
            let dead = at_board(Setting::Voltage, *pair, Some(Place::board()));
            add(Reads::Dead, &isolated, dead);
            let incoming = at_board(Setting::Voltage, *pair, None);
            add(Reads::SupplyVoltage, &nulled, incoming);
        }
        if board.phases == Phases::Three {
            let probe = at_board(Setting::PhaseSequence, pairs[0], None);
            add(Reads::PhaseSequence, &nulled, probe);
        }
        if board.fed_from.is_none() {
            at_the_origin(board, &nulled, &mut add);
        }
        groups(board, &nulled, &mut add);
        for circuit in &board.circuits {
            let test = OfCircuit {
                job,
                board,
                circuit,
                nulled: &nulled,
                isolated: &isolated,
            };
            test.dead(&mut add);
            test.live(&mut add);
            test.label(&mut add);
        }
    }
    stops
}

type Add<'a> = dyn FnMut(Reads, &Conditions, Probe) + 'a;

/// The ranges whose reference the job names.
fn references(job: &Job) -> impl Iterator<Item = (Reads, Setting)> {
    let has = |is: fn(&Instrument) -> bool| job.instruments.iter().any(is);
    let of_loop = has(|instrument| instrument.loop_reference_ohms.is_some());
    let of_rcd = has(|instrument| instrument.rcd_reference_ms.is_some());
    let rcd = Setting::Rcd {
        current: RcdTest::Once,
        half: HalfCycle::Positive,
    };
    [
        (of_loop, Reads::LoopReference, Setting::Loop),
        (of_rcd, Reads::RcdReference, rcd),
    ]
    .into_iter()
    .filter_map(|(has, reads, setting)| has.then_some((reads, setting)))
}

/// With every main switch off, and the other sources that the job knows of.
fn isolated(job: &Job, nulled: &Conditions) -> Conditions {
    let other = job.supply.sources.iter().copied();
    Conditions {
        main_switches_off: job.boards.iter().map(|board| board.number).collect(),
        sources_off: other.filter(|source| *source != Source::Mains).collect(),
        ..nulled.clone()
    }
}

/// Residual current devices of several circuits, each at its own terminals.
fn groups(board: &Board, nulled: &Conditions, add: &mut Add<'_>) {
    let pair = match board.phases {
        Phases::Single => Pair::LE,
        Phases::Three => Pair::LINES_TO_EARTH[0],
    };
    for group in &board.rcds {
        for (reads, current, half) in RCD_TESTS {
            let probe = Probe {
                setting: Setting::Rcd { current, half },
                between: Between::Pair(pair),
                board: board.number,
                circuit: None,
                place: Some(group.place()),
                rcd: Some(group.number),
                held: 0,
            };
            add(reads, nulled, probe);
        }
    }
}

/// What residual current devices are tested at.
const RCD_TESTS: [(Reads, RcdTest, HalfCycle); 6] = [
    (Reads::RcdHalf, RcdTest::Half, HalfCycle::Positive),
    (Reads::RcdHalf, RcdTest::Half, HalfCycle::Negative),
    (Reads::RcdOnce, RcdTest::Once, HalfCycle::Positive),
    (Reads::RcdOnce, RcdTest::Once, HalfCycle::Negative),
    (Reads::RcdFive, RcdTest::Five, HalfCycle::Positive),
    (Reads::RcdFive, RcdTest::Five, HalfCycle::Negative),
];

fn at_the_origin(board: &Board, nulled: &Conditions, add: &mut Add<'_>) {
    let probe = |setting, pair| Probe {
        setting,
        between: Between::Pair(pair),
        board: board.number,
        circuit: None,
        place: None,
        rcd: None,
        held: 0,
    };
    let (line_earth, line_neutral) = match board.phases {
        Phases::Single => (Pair::LE, Pair::LN),
        Phases::Three => (Pair::LINES_TO_EARTH[0], Pair::LINES_TO_NEUTRAL[0]),
    };
    let mut off = nulled.with(Altered {
        board: board.number,
        circuit: None,
        part: Part::EarthingConductor,
        place: None,
        both: false,
        linked: false,
    });
    off.main_switches_off.insert(board.number);
    add(Reads::ExternalLoop, &off, probe(Setting::Loop, line_earth));
    for pair in [line_neutral, line_earth] {
        add(
            Reads::FaultCurrent,
            nulled,
            probe(Setting::FaultCurrent, pair),
        );
    }
}

struct OfCircuit<'a> {
    job: &'a Job,
    board: &'a Board,
    circuit: &'a Circuit,
    nulled: &'a Conditions,
    isolated: &'a Conditions,
}

const RING: [Conductors; 3] = [Conductors::L, Conductors::N, Conductors::E];

impl OfCircuit<'_> {
    fn probe(&self, setting: Setting, between: Between, place: Option<&Place>) -> Probe {
        Probe {
            setting,
            between,
            board: self.board.number,
            circuit: Some(self.circuit.number),
            place: place.cloned(),
            rcd: None,
            held: 0,
        }
    }

    fn places(&self) -> Vec<Place> {
        match self.circuit.points.as_slice() {
            [] => vec![Circuit::far_end()],
            points => points.iter().map(Accessory::place).collect(),
        }
    }

    fn lines_to(&self, other: Conductors) -> Vec<Pair> {
        let lines = match self.circuit.phases {
            Phases::Single => vec![Conductors::L],
            Phases::Three => vec![Conductors::L1, Conductors::L2, Conductors::L3],
        };
        let pairs = lines.into_iter().map(|line| Pair::new(line, other));
        pairs.flatten().collect()
    }

    /// What is to be out for a test of insulation: lamps, loads and electronics that the job names.
    fn cleared(&self, conditions: &Conditions) -> Conditions {
        let (board, circuit) = (self.board.number, self.circuit.number);
        let out = |part, place| Altered::out(board, circuit, part, place);
        let mut cleared = conditions.clone();
        if self.circuit.kind == CircuitKind::Lighting {
            cleared.altered.push(out(Part::Lamp, None).both());
        }
        let fixed = matches!(
            self.circuit.kind,
            CircuitKind::SinglePoint | CircuitKind::Motor
        );
        let loaded = fixed && self.circuit.equipment_possible && self.job.kind.is_in_use();
        if loaded {
            cleared.altered.push(out(Part::Load, None));
        }
        for point in self.circuit.points.iter().filter(|p| p.sensitive.is_some()) {
            cleared.altered.push(out(Part::Load, Some(point.place())));
        }
        cleared
    }

    fn dead(&self, add: &mut Add<'_>) {
        let (board, circuit) = (self.board.number, self.circuit.number);
        let alone = self.isolated.alone(board, circuit);
        let out = |part, place| Altered::out(board, circuit, part, place);
        let places = self.places();
        if self.circuit.kind == CircuitKind::Ring {
            let mut ends = self.isolated.clone();
            for conductor in RING {
                let part = Part::Conductors(conductor);
                ends.altered.push(out(part, Some(Place::board())).both());
            }
            for conductor in RING {
                let between = Between::Ends(conductor);
                add(
                    Reads::RingEnds,
                    &ends,
                    self.probe(Setting::Continuity, between, None),
                );
            }
            for (reads, with, pair) in [
                (Reads::RingLineNeutral, Conductors::N, Pair::LN),
                (Reads::RingLineEarth, Conductors::E, Pair::LE),
            ] {
                let crossed = ends.with(Altered::crossed(board, circuit, Conductors::L.with(with)));
                for place in &places {
                    let between = Between::Pair(pair);
                    add(
                        reads,
                        &crossed,
                        self.probe(Setting::Continuity, between, Some(place)),
                    );
                }
            }
        } else if !self.is_extra_low() {
            for (reads, one, pairs) in [
                (Reads::R1R2, Conductors::L, self.lines_to(Conductors::E)),
                (Reads::RnR2, Conductors::N, vec![Pair::NE]),
            ] {
                let link = Altered::linked(board, circuit, one.with(Conductors::E));
                let linked = self.cleared(&alone).with(link);
                for place in &places {
                    for pair in &pairs {
                        let between = Between::Pair(*pair);
                        add(
                            reads,
                            &linked,
                            self.probe(Setting::Continuity, between, Some(place)),
                        );
                    }
                }
            }
        }
        self.insulation(&self.cleared(&alone), add);
    }

    /// What is printed on the device, where the job has one.
    fn label(&self, add: &mut Add<'_>) {
        if self.circuit.device.is_some() {
            let probe = self.probe(Setting::Look, Between::Label, None);
            add(Reads::Label, self.nulled, probe);
        }
    }

    fn insulation(&self, cleared: &Conditions, add: &mut Add<'_>) {
        let at = |at, pair| self.probe(Setting::Insulation { at }, Between::Pair(pair), None);
        let three = self.circuit.phases == Phases::Three;
        let lives = if three {
            Pair::new(Conductors::LINES, Conductors::N)
        } else {
            Some(Pair::LN)
        };
        if let Some(pair) = lives {
            add(Reads::InsulationTrial, cleared, at(TestVoltage::V250, pair));
        }
        let full = if self.is_extra_low() {
            TestVoltage::V250
        } else {
            TestVoltage::V500
        };
        let pairs: &[Pair] = if three {
            &Pair::THREE_PHASE
        } else {
            &Pair::SINGLE_PHASE
        };
        for pair in pairs {
            let reads = match (pair.from(), pair.to()) {
                (Conductors::N, _) => Reads::InsulationNeutralEarth,
                (_, Conductors::E) => Reads::InsulationLineEarth,
                _ => Reads::InsulationLives,
            };
            add(reads, cleared, at(full, *pair));
        }
    }

    fn live(&self, add: &mut Add<'_>) {
        if self.is_extra_low() {
            return;
        }
        let (board, circuit) = (self.board.number, self.circuit.number);
        let mut own_off = self.nulled.clone();
        own_off.devices_off.insert((board, circuit));
        let kinds = [
            (Reads::VoltageLineNeutral, self.lines_to(Conductors::N)),
            (Reads::VoltageLineEarth, self.lines_to(Conductors::E)),
            (Reads::VoltageNeutralEarth, vec![Pair::NE]),
        ];
        for place in self.places() {
            let probe = |setting, pair| self.probe(setting, Between::Pair(pair), Some(&place));
            for (reads, pairs) in &kinds {
                for pair in pairs {
                    add(*reads, self.nulled, probe(Setting::Voltage, *pair));
                }
            }
            for pair in self.lines_to(Conductors::E) {
                add(Reads::Loop, self.nulled, probe(Setting::Loop, pair));
            }
        }
        let last = self.places().pop();
        let last = |setting, pair| self.probe(setting, Between::Pair(pair), last.as_ref());
        let to_earth = self.lines_to(Conductors::E);
        for pair in self.lines_to(Conductors::E) {
            add(Reads::Backfeed, &own_off, last(Setting::Voltage, pair));
        }
        for other in &self.board.circuits {
            if other.number != circuit && self.circuit.phases == Phases::Single {
                let part = Part::Conductors(Conductors::N);
                let out = Altered::out(board, other.number, part, Some(Place::board()));
                let out = self.nulled.with(Altered { both: true, ..out });
                add(
                    Reads::OtherNeutralOut,
                    &out,
                    last(Setting::Voltage, Pair::LN),
                );
            }
        }
        if let (Some(_), Some(pair)) = (&self.circuit.rcd, to_earth.first()) {
            for (reads, current, half) in RCD_TESTS {
                let setting = Setting::Rcd { current, half };
                add(reads, self.nulled, last(setting, *pair));
            }
        }
    }

    fn is_extra_low(&self) -> bool {
        matches!(
            self.circuit.system,
            SystemVoltage::Selv | SystemVoltage::Pelv
        )
    }
}
