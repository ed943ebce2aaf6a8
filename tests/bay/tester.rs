//! A tester who sees displays and nothing else, and names the fault and its place. Kinds and places are
//! drawn by seeds that it does not see.
//!
//! `cargo test --test it bay::tester -- --nocapture` prints what was taken for what.

use super::{nulled, place, random};
use bothhands::bay::{Altered, Bay, Conditions};
use bothhands::installation::{Accessory, Board, Circuit, CircuitKind, Job, Phases, Source};
use bothhands::limits::{Tables, conductor};
use bothhands::quantity::{Conductors, Relation, SquareMillimetres, TestVoltage};
use bothhands::terms::{
    Between, FaultKind, HalfCycle, HiddenFault, Part, Place, Probe, RcdTest, Setting, Shown,
};
use std::collections::BTreeMap;

/// What the tester says.
#[derive(Debug, Clone, PartialEq)]
struct Named {
    kind: FaultKind,
    circuit: Option<(u16, u16)>,
    place: Option<Place>,
    with: Option<u16>,
}

struct Tester<'a> {
    bay: Bay,
    job: &'a Job,
}

const IR: Setting = Setting::Insulation {
    at: TestVoltage::V250,
};

impl Tester<'_> {
    fn shown(&mut self, conditions: &Conditions, probe: &Probe) -> Shown {
        self.bay.probe(conditions, probe).unwrap().0
    }

    /// The number on the display, infinite past its range or without a supply.
    fn read(&mut self, conditions: &Conditions, probe: &Probe) -> f64 {
        match self.shown(conditions, probe) {
            Shown::Value(r) | Shown::Live(r) | Shown::Tripped(r)
                if r.relation == Relation::Exact =>
            {
                r.number.unwrap().value()
            }
            _ => f64::INFINITY,
        }
    }

    fn dead(&self) -> Conditions {
        let other = self.job.supply.sources.iter().copied();
        Conditions {
            main_switches_off: self.job.boards.iter().map(|board| board.number).collect(),
            sources_off: other.filter(|source| *source != Source::Mains).collect(),
            ..nulled()
        }
    }

    fn name(&mut self) -> Option<Named> {
        let whole = |kind| {
            Some(Named {
                kind,
                circuit: None,
                place: None,
                with: None,
            })
        };
        let first = &self.job.boards[0];
        let at_board = |setting, pair: &str, place| Probe {
            setting,
            between: Between::Pair(pair.parse().unwrap()),
            board: first.number,
            circuit: None,
            place,
            rcd: None,
            held: 0,
        };
        let joined = Probe {
            between: Between::LeadsJoined,
            ..at_board(Setting::Continuity, "L-N", None)
        };
        if let Shown::Value(reading) = self.shown(&nulled(), &joined) {
            let number = reading.number.unwrap();
            if number.places() < 2 {
                return whole(FaultKind::WrongRange);
            }
            if number.value() > 0.03 {
                return whole(FaultKind::LeadsNotNulled);
            }
        }
        let line = match first.phases {
            Phases::Single => "L",
            Phases::Three => "L1",
        };
        let dead = at_board(Setting::Voltage, &format!("{line}-N"), Some(Place::board()));
        if self.read(&self.dead(), &dead) > 10.0 {
            return whole(FaultKind::SecondSource);
        }
        let current = at_board(Setting::FaultCurrent, &format!("{line}-N"), None);
        let kiloamps = self.read(&nulled(), &current);
        if kiloamps < 0.1 || kiloamps.is_infinite() {
            return whole(FaultKind::LostNeutral);
        }
        let off = self.dead().with(Altered {
            board: first.number,
            circuit: None,
            part: Part::EarthingConductor,
            place: None,
            both: false,
            linked: false,
        });
        let ze = at_board(Setting::Loop, &format!("{line}-E"), None);
        if self.read(&off, &ze).is_infinite() {
            return whole(FaultKind::LostEarth);
        }
        let job = self.job;
        let circuits = || {
            job.boards
                .iter()
                .flat_map(|board| board.circuits.iter().map(move |circuit| (board, circuit)))
        };
        let looks: [fn(&mut Self, Here) -> Option<Named>; 7] = [
            Self::interconnected,
            Self::insulation,
            Self::continuity,
            Self::rcd,
            Self::label,
            Self::neutral,
            Self::bridged,
        ];
        looks
            .into_iter()
            .flat_map(|look| circuits().map(move |at| (look, at)))
            .find_map(|(look, (board, circuit))| look(self, Here { board, circuit }))
    }

    /// A ring that another one feeds.
    fn interconnected(&mut self, here: Here) -> Option<Named> {
        let (board, circuit) = (here.board.number, here.circuit.number);
        let mut off = nulled();
        off.devices_off.insert((board, circuit));
        let last = here.places().pop()?;
        let volts = self.read(&off, &here.probe(Setting::Voltage, "L-E", Some(&last)));
        if here.circuit.kind != CircuitKind::Ring || volts < 180.0 {
            return None;
        }
        let others = here.board.circuits.iter();
        let others = others.filter(|c| c.kind == CircuitKind::Ring && c.number != circuit);
        for other in others {
            let there = Here {
                board: here.board,
                circuit: other,
            };
            let mut both = off.clone();
            both.devices_off.insert((board, other.number));
            let probe = here.probe(Setting::Voltage, "L-E", Some(&last));
            if self.read(&both, &probe) > 180.0 {
                continue;
            }
            // Fed by that one. Where it comes in is nearest to it.
            let mine = self.nearest(here, there);
            let its = self.nearest(there, here);
            let first = |here: Here| here.own().first().cloned();
            let named = |here: Here, place, with| Named {
                place,
                with: Some(with),
                ..here.named(FaultKind::Interconnection)
            };
            return Some(if mine == first(here) && its != first(there) {
                named(there, its, circuit)
            } else {
                named(here, mine, other.number)
            });
        }
        None
    }

    /// The point of a ring that is nearest to the line of another one.
    fn nearest(&mut self, here: Here, from: Here) -> Option<Place> {
        let (board, circuit) = (here.board.number, here.circuit.number);
        let line = Part::Conductors(Conductors::L);
        let out = Altered::out(board, circuit, line, Some(Place::board())).both();
        let link = Altered::linked(
            board,
            from.circuit.number,
            Conductors::L.with(Conductors::E),
        );
        let mut conditions = self.dead().with(out).with(link);
        conditions
            .devices_off
            .extend([(board, circuit), (board, from.circuit.number)]);
        let mut nearest = None;
        for at in here.own() {
            let probe = Probe {
                between: Between::LongLead(Conductors::L),
                ..here.probe(Setting::Continuity, "L-E", Some(&at))
            };
            let ohms = self.read(&conditions, &probe);
            if nearest.as_ref().is_none_or(|(least, _)| ohms < *least) {
                nearest = Some((ohms, at));
            }
        }
        nearest.map(|(_, at)| at)
    }

    fn insulation(&mut self, here: Here) -> Option<Named> {
        if here.circuit.kind == CircuitKind::Distribution {
            return self.low(here, &self.dead(), &["N-E", "L-E"]);
        }
        let (board, circuit) = (here.board.number, here.circuit.number);
        let mut cleared = self.dead();
        let lamps = Altered::out(board, circuit, Part::Lamp, None);
        cleared.altered.push(lamps.both());
        for point in &here.circuit.points {
            let fixed = matches!(
                here.circuit.kind,
                CircuitKind::SinglePoint | CircuitKind::Motor
            );
            if point.sensitive.is_some() || fixed {
                let at = Some(point.place());
                cleared
                    .altered
                    .push(Altered::out(board, circuit, Part::Load, at));
            }
        }
        if here.circuit.points.is_empty() && here.circuit.kind != CircuitKind::Lighting {
            // What is at the far end is known to be there, or is not.
            let named = self.low(here, &cleared, &["N-E", "L-E", "L-N"]);
            let load = Altered::out(board, circuit, Part::Load, None);
            let without = self.low(here, &cleared.with(load), &["N-E", "L-E", "L-N"]);
            let heater = self.read(&cleared, &here.probe(IR, "L-N", None)) < 0.01;
            return if heater { without } else { named };
        }
        self.low(here, &cleared, &["N-E", "L-E", "L-N"])
    }

    /// The pair that reads low, and the point without which it does not.
    fn low(&mut self, here: Here, cleared: &Conditions, pairs: &[&str]) -> Option<Named> {
        let (board, circuit) = (here.board.number, here.circuit.number);
        for pair in pairs {
            let probe = here.probe(IR, pair, None);
            if self.read(cleared, &probe) > 2.0 {
                continue;
            }
            let (kind, part) = match *pair {
                "N-E" => (FaultKind::NeutralToEarth, Part::Accessory),
                "L-E" => (FaultKind::LineToEarth, Part::Accessory),
                _ => (FaultKind::ElectronicsLeftIn, Part::Load),
            };
            let place = here.places().into_iter().find(|at| {
                let out = Altered::out(board, circuit, part, Some(at.clone()));
                self.read(&cleared.with(out), &probe) > 2.0
            });
            return Some(Named {
                place,
                ..here.named(kind)
            });
        }
        None
    }

    fn continuity(&mut self, here: Here) -> Option<Named> {
        let named = |kind, place: &Place| Named {
            place: Some(place.clone()),
            ..here.named(kind)
        };
        for at in here.places() {
            let volts = |pair| here.probe(Setting::Voltage, pair, Some(&at));
            let [le, ne] = ["L-E", "N-E"].map(|pair| self.read(&nulled(), &volts(pair)));
            if le < 60.0 && ne > 150.0 {
                return Some(named(FaultKind::Reversed, &at));
            }
        }
        if here.circuit.kind == CircuitKind::Ring {
            return self.ring(here);
        }
        let board = here.board.number;
        let mut linked = [Conductors::L, Conductors::N].map(|one| {
            let link = Altered::linked(board, here.circuit.number, one.with(Conductors::E));
            self.dead().alone(board, here.circuit.number).with(link)
        });
        for conditions in &mut linked {
            for part in [Part::Lamp, Part::Load] {
                let out = Altered::out(board, here.circuit.number, part, None);
                conditions.altered.push(out.both());
            }
        }
        let mut seen: BTreeMap<String, [f64; 2]> = BTreeMap::new();
        for (n, at) in here.places().into_iter().enumerate() {
            let pairs = ["L-E", "N-E"];
            let [r1, rn] = [0, 1].map(|n| {
                self.read(
                    &linked[n],
                    &here.probe(Setting::Continuity, pairs[n], Some(&at)),
                )
            });
            let before = here.before(n);
            if r1.is_infinite() {
                return Some(named(FaultKind::MissingCpc, &at));
            }
            if rn.is_infinite() {
                let place = before.clone().unwrap_or_else(Place::board);
                return Some(named(FaultKind::NeutralLeftOut, &place));
            }
            let above = before.and_then(|at| seen.get(&at.to_string()).copied());
            let above = above.unwrap_or([0.0; 2]);
            let most = here.most();
            let loose = (r1 - rn).abs() > 0.42
                || most.is_some_and(|most| rn > most + 0.35)
                || most.is_none() && rn - above[1] > 0.5
                || rn - above[1] > 0.5 + most.unwrap_or(0.0);
            if loose {
                return Some(named(FaultKind::LooseJoint, &at));
            }
            seen.insert(at.to_string(), [r1, rn]);
        }
        // A joint before others reads more than what comes after it.
        let all: Vec<(Place, [f64; 2])> = here
            .places()
            .into_iter()
            .filter_map(|at| Some((at.clone(), *seen.get(&at.to_string())?)))
            .collect();
        for (n, (at, ohms)) in all.iter().enumerate() {
            let after = all
                .iter()
                .enumerate()
                .filter(|(m, _)| here.before(*m).as_ref() == Some(at));
            let mut after = after.filter(|(m, _)| *m > n);
            if after.any(|(_, (_, next))| ohms[1] > next[1] + 0.1) {
                return Some(named(FaultKind::LooseJoint, at));
            }
        }
        None
    }

    /// A ring that is bridged is shorter than it was, and a little above inside the bridge. Looked for when
    /// nothing else was found: the least of all signs.
    fn bridged(&mut self, here: Here) -> Option<Named> {
        if here.circuit.kind != CircuitKind::Ring {
            return None;
        }
        let Crossed { ends, ln, .. } = self.crossed(here);
        let [r1, rn, _] = ends;
        let (places, own) = (here.places(), here.own());
        let (highest, extra) = (0..places.len())
            .filter(|at| own.contains(&places[*at]))
            .map(|at| (at, ln[at] - (r1 + rn) / 4.0))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        let shorter = match here.most_of_a_ring() {
            Some(full) => r1 < 0.985 * full && extra > 0.01,
            None => extra > 0.025,
        };
        let at = own.iter().position(|at| *at == places[highest])?;
        shorter.then(|| Named {
            place: at.checked_sub(1).map(|at| own[at].clone()),
            ..here.named(FaultKind::Interconnection)
        })
    }

    /// A ring's conductors end to end, and its points crossed.
    fn crossed(&mut self, here: Here) -> Crossed {
        let (board, circuit) = (here.board.number, here.circuit.number);
        let each = [Conductors::L, Conductors::N, Conductors::E];
        let mut ends = self.dead();
        for one in each {
            let part = Part::Conductors(one);
            let out = Altered::out(board, circuit, part, Some(Place::board()));
            ends.altered.push(out.both());
        }
        let whole = each.map(|one| {
            let between = Between::Ends(one);
            let probe = here.probe(Setting::Continuity, "L-N", None);
            self.read(&ends, &Probe { between, ..probe })
        });
        let mut crossed = |other: Conductors, pair: &str| {
            let both = Conductors::L.with(other);
            let conditions = ends.with(Altered::crossed(board, circuit, both));
            here.places()
                .iter()
                .map(|at| {
                    self.read(
                        &conditions,
                        &here.probe(Setting::Continuity, pair, Some(at)),
                    )
                })
                .collect::<Vec<f64>>()
        };
        Crossed {
            ends: whole,
            ln: crossed(Conductors::N, "L-N"),
            le: crossed(Conductors::E, "L-E"),
        }
    }

    fn ring(&mut self, here: Here) -> Option<Named> {
        let each = [Conductors::L, Conductors::N, Conductors::E];
        let Crossed { ends, ln, le } = self.crossed(here);
        if let Some(open) = ends.iter().position(|ohms| ohms.is_infinite()) {
            let place = self.open_after(here, each[open]);
            return Some(Named {
                place: Some(place),
                ..here.named(FaultKind::OpenLeg)
            });
        }
        let [r1, rn, r2] = ends;
        let above = |at: &usize| {
            let at = *at;
            (ln[at] - (r1 + rn) / 4.0, le[at] - (r1 + r2) / 4.0)
        };
        let places = here.places();
        let most = (0..places.len()).max_by(|a, b| {
            let of = |at| {
                let (n, e) = above(at);
                n.max(e)
            };
            of(a).total_cmp(&of(b))
        })?;
        let (n, e) = above(&most);
        let named = |kind, place: &Place| {
            Some(Named {
                place: Some(place.clone()),
                ..here.named(kind)
            })
        };
        if e.is_infinite() {
            return named(FaultKind::MissingCpc, &places[most]);
        }
        if n.max(e) > 0.45 {
            return named(FaultKind::LooseJoint, &places[most]);
        }
        if n > 0.12 && (here.most_of_a_ring().is_none_or(|full| r1 > 0.985 * full) || n > 0.2) {
            return named(FaultKind::Spur, &places[most]);
        }
        None
    }

    /// Where a leg is open: a point with its incoming conductor out is dead as long as the break is
    /// behind it.
    fn open_after(&mut self, here: Here, one: Conductors) -> Place {
        let (board, circuit) = (here.board.number, here.circuit.number);
        let mut place = Place::board();
        for at in here.own() {
            let out = Altered::out(board, circuit, Part::Conductors(one), Some(at.clone()));
            let mut conditions = self.dead().with(out);
            if one != Conductors::E {
                let link = Altered::linked(board, circuit, one.with(Conductors::E));
                conditions = conditions.with(link).alone(board, circuit);
                // Nothing may lead round by what is connected.
                for part in [Part::Lamp, Part::Load] {
                    let load = Altered::out(board, circuit, part, None);
                    conditions.altered.push(load.both());
                }
            }
            let probe = Probe {
                between: Between::LongLead(one),
                ..here.probe(Setting::Continuity, "L-E", Some(&at))
            };
            if self.read(&conditions, &probe).is_infinite() {
                place = at;
            }
        }
        place
    }

    fn rcd(&mut self, here: Here) -> Option<Named> {
        here.circuit.rcd.as_ref()?;
        let last = here.places().pop()?;
        let mut test = |current| {
            let half = HalfCycle::Positive;
            let probe = here.probe(Setting::Rcd { current, half }, "L-E", Some(&last));
            self.shown(&nulled(), &probe)
        };
        let kind = match (test(RcdTest::Once), test(RcdTest::Five)) {
            (Shown::NoTrip, Shown::NoTrip) => FaultKind::StuckRcd,
            (Shown::NoTrip, _) => FaultKind::WrongDevice,
            (Shown::Tripped(ms), _) if ms.number.unwrap().value() > 300.0 => FaultKind::SlowRcd,
            _ => return None,
        };
        Some(here.named(kind))
    }

    /// What is printed on the device, and what the job says of it.
    fn label(&mut self, here: Here) -> Option<Named> {
        let device = here.circuit.device.as_ref()?;
        let probe = Probe {
            between: Between::Label,
            ..here.probe(Setting::Look, "L-N", None)
        };
        let Shown::Label(printed) = self.shown(&nulled(), &probe) else {
            return None;
        };
        let letter = device.kind.name().chars().last();
        let same = printed.letter == letter.filter(|c| "BCD".contains(*c))
            && f64::from(printed.amps) == device.amps;
        (!same).then(|| here.named(FaultKind::WrongBreaker))
    }

    /// A circuit that has no voltage once the neutral of another one is out.
    fn neutral(&mut self, here: Here) -> Option<Named> {
        let last = here.places().pop()?;
        if here.circuit.phases == Phases::Three {
            return None;
        }
        for other in &here.board.circuits {
            let neutral = Part::Conductors(Conductors::N);
            let number = other.number;
            let out = Altered::out(here.board.number, number, neutral, Some(Place::board())).both();
            let probe = here.probe(Setting::Voltage, "L-N", Some(&last));
            if number != here.circuit.number && self.read(&nulled().with(out), &probe) < 100.0 {
                return Some(Named {
                    with: Some(number),
                    ..here.named(FaultKind::BorrowedNeutral)
                });
            }
        }
        None
    }
}

/// What a ring reads, Ω.
struct Crossed {
    /// End to end: line, neutral, protective conductor.
    ends: [f64; 3],
    /// Each point, line and neutral crossed, and line and protective conductor.
    ln: Vec<f64>,
    le: Vec<f64>,
}

/// A circuit as the job has it.
#[derive(Clone, Copy)]
struct Here<'a> {
    board: &'a Board,
    circuit: &'a Circuit,
}

impl Here<'_> {
    fn named(&self, kind: FaultKind) -> Named {
        Named {
            kind,
            circuit: Some((self.board.number, self.circuit.number)),
            place: None,
            with: None,
        }
    }

    fn probe(&self, setting: Setting, pair: &str, at: Option<&Place>) -> Probe {
        // One line of three will do, but all of them for insulation.
        let three = self.circuit.phases == Phases::Three;
        let pair = match setting {
            Setting::Insulation { .. } => pair.replace('L', if three { "L1+L2+L3" } else { "L" }),
            _ => pair.replace('L', if three { "L1" } else { "L" }),
        };
        Probe {
            setting,
            between: Between::Pair(pair.parse().unwrap()),
            board: self.board.number,
            circuit: Some(self.circuit.number),
            place: at.cloned(),
            rcd: None,
            held: 0,
        }
    }

    fn places(&self) -> Vec<Place> {
        match self.circuit.points.as_slice() {
            [] => vec![place("far end")],
            points => points.iter().map(Accessory::place).collect(),
        }
    }

    /// The points of a ring itself.
    fn own(&self) -> Vec<Place> {
        let own = self.circuit.points.iter().filter(|point| !point.spur);
        own.map(Accessory::place).collect()
    }

    /// The point that one hangs on.
    fn before(&self, n: usize) -> Option<Place> {
        let points = &self.circuit.points;
        let row = !points.iter().any(|point| point.feeds_on);
        let before = (0..n).rfind(|m| row || points[*m].feeds_on)?;
        Some(points[before].place())
    }

    /// Ω of line and protective conductor to the furthest point, where the job has its length.
    fn most(&self) -> Option<f64> {
        let cable = self.circuit.cable.as_ref()?;
        Some(cable.metres? * (ohms(cable.line_mm2)? + ohms(cable.cpc_mm2)?))
    }

    /// Ω of the line right round a ring.
    fn most_of_a_ring(&self) -> Option<f64> {
        let cable = self.circuit.cable.as_ref()?;
        Some(cable.metres? * ohms(cable.line_mm2)?)
    }
}

fn ohms(mm2: f64) -> Option<f64> {
    let size = SquareMillimetres::exact(mm2);
    Some(conductor::per_metre(Tables::shipped(), size, 1)?.middle() / 1e3)
}

/// Whether it is the fault and its place.
fn is(fault: &HiddenFault, named: &Named) -> bool {
    let circuit = fault.board.zip(fault.circuit);
    let same = named.circuit == circuit && named.place == fault.place;
    // Two rings joined at the first point of each: either is the one.
    let turned = fault.with_circuit.is_some()
        && named.with == fault.circuit
        && named.circuit.map(|(_, circuit)| circuit) == fault.with_circuit
        && fault.kind == FaultKind::Interconnection
        && named.place == fault.place;
    fault.kind == named.kind && (same && named.with == fault.with_circuit || turned)
}

#[test]
fn faults_are_found_from_displays_alone() {
    let (mut right, mut drawn) = (0, 0);
    let mut taken: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for seed in 1000..1300 {
        let job = random::job(seed);
        let faults = Bay::draw(&job, seed.wrapping_mul(0x9e37_79b9), 1, &FaultKind::ALL);
        let bay = Bay::of(&job, &faults, seed).unwrap();
        let fault = &bay.faults()[0].clone();
        drawn += 1;
        let named = Tester { bay, job: &job }.name();
        if named.as_ref().is_some_and(|named| is(fault, named)) {
            right += 1;
            continue;
        }
        let at = |circuit: Option<(u16, u16)>, place: &Option<Place>| {
            let place = place.as_ref().map_or(String::new(), Place::to_string);
            format!("{circuit:?} {place}")
        };
        let told = named.map_or("nothing".to_owned(), |named| {
            format!("{:?} {}", named.kind, at(named.circuit, &named.place))
        });
        let is = at(fault.board.zip(fault.circuit), &fault.place);
        let kind = format!("{:?}", fault.kind);
        taken
            .entry(kind)
            .or_default()
            .push(format!("seed {seed}, {is} {:?}: {told}", fault.conductor));
    }
    println!("{right} of {drawn} named right");
    for (kind, told) in &taken {
        println!("{kind}, taken for:\n  {}", told.join("\n  "));
    }
    assert!(right * 100 >= drawn * 95, "{right} of {drawn}");
}
