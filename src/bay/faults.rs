//! Faults: which can be in a job, where, and what they change in the model.

use super::BayError;
use super::model::{
    Bridge, CircuitModel, DeviceModel, Draw, End, Model, PointAt, RcdModel, SecondSource, Wire,
    copper, electronics,
};
use crate::installation::{CircuitKind, Source};
use crate::quantity::Conductors;
use crate::terms::{FaultKind, HiddenFault, Place};

/// Ω of neutral on earth.
const NEUTRAL_TO_EARTH: (f64, f64) = (0.1, 1.0);
/// Ω of moisture.
const MOISTURE: (f64, f64) = (40e3, 600e3);
/// Ω of a loose joint.
const LOOSE: (f64, f64) = (0.6, 2.0);
/// Metres of a spur that nobody listed, or that is too long.
const LONG_SPUR: (f64, f64) = (10.0, 20.0);
/// Metres of a bridge between rings, or across one.
const BRIDGE: (f64, f64) = (2.0, 5.0);
/// mm² of what bridges and of a spur.
const SPUR_MM2: [f64; 3] = [2.5, 2.5, 1.5];
/// A device of another rating operates at so many times the current: 100 mA for 30 mA.
const OTHER_RATING: f64 = 100.0 / 30.0;
/// Rated currents of circuit-breakers, A: of the preferred values of BS EN 60898-1 those that are usual in
/// installations, from memory.
const RATINGS: [f64; 12] = [
    6.0, 10.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0,
];
/// An RCD that is too slow takes so many times what the standard allows.
const TOO_SLOW: (f64, f64) = (1.1, 1.8);

/// What a kind of fault needs of where it is.
fn needs(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::OpenLeg | FaultKind::Spur => "a ring, and a point of it",
        FaultKind::Interconnection => {
            "a ring with another ring on the same line of its board, or with three points of its own"
        }
        FaultKind::NeutralToEarth | FaultKind::LineToEarth | FaultKind::MissingCpc => {
            "a circuit that the board feeds, and a point of it"
        }
        FaultKind::Reversed => "a single-phase circuit but lighting, and a point of it",
        FaultKind::LooseJoint => "a single-phase circuit, a point of it, and L, N or E",
        FaultKind::BorrowedNeutral => {
            "a single-phase circuit but a ring, and another one on its board"
        }
        FaultKind::ElectronicsLeftIn => {
            "a point of a final circuit for which the job names no electronics, without a load"
        }
        FaultKind::NeutralLeftOut => "a point that its circuit goes on from; not of a ring",
        FaultKind::WrongDevice | FaultKind::SlowRcd | FaultKind::StuckRcd => {
            "a circuit with a residual current device of its own, or the place of one of several, such as \"RCD 1\""
        }
        FaultKind::WrongBreaker => "a circuit whose circuit-breaker is in the job",
        FaultKind::SecondSource
        | FaultKind::LostNeutral
        | FaultKind::LostEarth
        | FaultKind::LeadsNotNulled
        | FaultKind::WrongRange => "no board, circuit or point: it concerns them all",
    }
}

/// Every fault of a kind that can be in a model, all of it named.
pub(super) fn candidates(model: &Model, kind: FaultKind) -> Vec<HiddenFault> {
    let whole = HiddenFault {
        kind,
        board: None,
        circuit: None,
        place: None,
        conductor: None,
        with_circuit: None,
    };
    if matches!(
        kind,
        FaultKind::SecondSource
            | FaultKind::LostNeutral
            | FaultKind::LostEarth
            | FaultKind::LeadsNotNulled
            | FaultKind::WrongRange
    ) {
        return vec![whole];
    }
    let mut all = Vec::new();
    for board in &model.boards {
        if of_an_rcd(kind) {
            all.extend(board.groups.iter().map(|group| HiddenFault {
                board: Some(board.number),
                place: Some(group.place.clone()),
                ..whole.clone()
            }));
        }
        for circuit in &board.circuits {
            let of = HiddenFault {
                board: Some(board.number),
                circuit: Some(circuit.number),
                ..whole.clone()
            };
            let others: Vec<&CircuitModel> = board
                .circuits
                .iter()
                .filter(|other| other.number != circuit.number)
                .collect();
            on_circuit(kind, circuit, &others, &of, &mut all);
        }
    }
    all
}

/// Whether a fault is in a residual current device.
fn of_an_rcd(kind: FaultKind) -> bool {
    matches!(
        kind,
        FaultKind::WrongDevice | FaultKind::SlowRcd | FaultKind::StuckRcd
    )
}

const EACH: [Conductors; 3] = [Conductors::L, Conductors::N, Conductors::E];

fn on_circuit(
    kind: FaultKind,
    circuit: &CircuitModel,
    others: &[&CircuitModel],
    of: &HiddenFault,
    all: &mut Vec<HiddenFault>,
) {
    let ring = circuit.kind == CircuitKind::Ring;
    let last = circuit.kind == CircuitKind::Distribution;
    let single = circuit.wires.len() == Wire::SINGLE.len();
    let place = |p: usize| Some(circuit.points[p].place.clone());
    let at = |p: usize| HiddenFault {
        place: place(p),
        ..of.clone()
    };
    let of_each = |fault: HiddenFault| {
        EACH.map(|conductor| HiddenFault {
            conductor: Some(conductor),
            ..fault.clone()
        })
    };
    let points = 0..circuit.points.len();
    match kind {
        FaultKind::OpenLeg if ring => {
            let ends = circuit.cables.iter().filter(|cable| own(circuit, cable.to));
            for cable in ends {
                let place = match cable.from {
                    End::Point(p) => place(p),
                    _ => Some(Place::board()),
                };
                all.extend(of_each(HiddenFault {
                    place,
                    ..of.clone()
                }));
            }
        }
        FaultKind::Spur if ring => all.extend(points.map(at)),
        FaultKind::Interconnection if ring => {
            let own: Vec<usize> = points.filter(|p| !circuit.points[*p].spur).collect();
            // Of another line it would be a short circuit.
            let is_ring = |other: &&&CircuitModel| {
                other.kind == CircuitKind::Ring
                    && other.fed == circuit.fed
                    && other.line == circuit.line
            };
            let rings: Vec<_> = others.iter().filter(is_ring).collect();
            for other in &rings {
                all.extend(own.iter().map(|p| HiddenFault {
                    with_circuit: Some(other.number),
                    ..at(*p)
                }));
            }
            if rings.is_empty() {
                all.extend(own.iter().rev().skip(2).map(|p| at(*p)));
            }
        }
        FaultKind::NeutralToEarth | FaultKind::LineToEarth | FaultKind::MissingCpc
            if circuit.fed =>
        {
            all.extend(points.map(at));
        }
        FaultKind::Reversed if circuit.fed && single && circuit.kind != CircuitKind::Lighting => {
            all.extend(points.map(at));
        }
        FaultKind::LooseJoint if circuit.fed && single => {
            all.extend(points.flat_map(|p| of_each(at(p))));
        }
        FaultKind::BorrowedNeutral if circuit.fed && single && !ring && !last => {
            let lenders = others.iter().filter(|other| {
                other.fed
                    && other.wires.len() == Wire::SINGLE.len()
                    && other.kind != CircuitKind::Distribution
            });
            all.extend(lenders.map(|other| HiddenFault {
                with_circuit: Some(other.number),
                ..of.clone()
            }));
        }
        FaultKind::ElectronicsLeftIn if circuit.fed && !last => {
            let free = |p: &usize| {
                let point = &circuit.points[*p];
                point.electronics[0].is_none() && point.load.is_none()
            };
            all.extend(points.filter(free).map(at));
        }
        FaultKind::NeutralLeftOut if circuit.fed && !ring => {
            all.extend(points.filter(|p| circuit.goes_on(*p)).map(at));
        }
        FaultKind::WrongDevice | FaultKind::SlowRcd | FaultKind::StuckRcd
            if circuit.rcd.is_some() =>
        {
            all.push(of.clone());
        }
        FaultKind::WrongBreaker if circuit.device.is_some_and(|device| device.breaker) => {
            all.push(of.clone());
        }
        _ => {}
    }
}

/// Whether a cable that ends there is the ring's own.
fn own(circuit: &CircuitModel, to: End) -> bool {
    match to {
        End::Point(p) => !circuit.points[p].spur,
        End::Out | End::Back => true,
    }
}

/// Whether a fault is one that a list asks for.
fn fits(model: &Model, asked: &HiddenFault, fault: &HiddenFault) -> bool {
    let first = model.boards.first().map(|board| board.number);
    let board = match (asked.board, asked.circuit) {
        (None, Some(_)) => first,
        (None, None) if of_an_rcd(asked.kind) && asked.place.is_some() => first,
        (board, _) => board,
    };
    let same_place = |asked: &Place| fault.place.as_ref() == Some(asked);
    (board.is_none() || board == fault.board)
        && (asked.circuit.is_none() || asked.circuit == fault.circuit)
        && asked.place.as_ref().is_none_or(same_place)
        && (asked.conductor.is_none() || asked.conductor == fault.conductor)
        && (asked.with_circuit.is_none() || asked.with_circuit == fault.with_circuit)
}

/// Why nothing fits what a list asks for.
fn why_not(model: &Model, asked: &HiddenFault, all: &[HiddenFault]) -> String {
    let needs = needs(asked.kind);
    let of_circuit = HiddenFault {
        place: None,
        conductor: None,
        with_circuit: None,
        ..asked.clone()
    };
    let there: Vec<_> = all
        .iter()
        .filter(|fault| fits(model, &of_circuit, fault))
        .collect();
    let on = match asked.circuit {
        Some(circuit) => format!("circuit {circuit}"),
        None => "this job".to_owned(),
    };
    let mut places: Vec<String> = there
        .iter()
        .filter_map(|fault| fault.place.as_ref().map(Place::to_string))
        .collect();
    places.dedup();
    let taken = |place: &Place| places.contains(&place.to_string());
    match &asked.place {
        _ if there.is_empty() => format!("{on} can't have it: it needs {needs}"),
        Some(place) if !places.is_empty() && !taken(place) => {
            format!("not at {place} of {on}: it can be at {}", places.join(", "))
        }
        _ => format!(
            "leave out what it has none of (place, conductor or with_circuit): it needs {needs}"
        ),
    }
}

/// Hides faults in a model. What they leave open, the seed draws.
pub(super) fn hide(
    model: &mut Model,
    faults: &[HiddenFault],
    seed: u64,
) -> Result<Vec<HiddenFault>, BayError> {
    // Another row of numbers than that of the installation, which a fault leaves as it is.
    let mut draw = Draw::with(seed ^ 0x5eed_fa17);
    let mut hidden = Vec::new();
    for asked in faults {
        let all = candidates(model, asked.kind);
        let fitting: Vec<&HiddenFault> = all
            .iter()
            .filter(|fault| fits(model, asked, fault))
            .collect();
        let Some(fault) = draw.0.choice(fitting) else {
            return Err(BayError {
                kind: asked.kind,
                why: why_not(model, asked, &all),
            });
        };
        apply(model, fault, &mut draw);
        hidden.push(fault.clone());
    }
    Ok(hidden)
}

/// Draws faults for a model.
pub(super) fn draw(
    model: &Model,
    seed: u64,
    how_many: usize,
    from: &[FaultKind],
    may: &mut dyn FnMut(&HiddenFault) -> bool,
) -> Vec<HiddenFault> {
    let mut draw = Draw::with(seed ^ 0xd1ce);
    let mut possible: Vec<Vec<HiddenFault>> = from
        .iter()
        .map(|kind| candidates(model, *kind))
        .filter(|all| !all.is_empty())
        .collect();
    let mut drawn: Vec<HiddenFault> = Vec::new();
    while drawn.len() < how_many && !possible.is_empty() {
        // Each kind once, and in a circuit that has none yet, where there is one.
        let kind = draw.0.usize(..possible.len());
        let mut all = possible.swap_remove(kind);
        let taken = |fault: &&HiddenFault| {
            fault.circuit.is_some()
                && drawn
                    .iter()
                    .any(|other| (other.board, other.circuit) == (fault.board, fault.circuit))
        };
        let fault = loop {
            let free: Vec<&HiddenFault> = all.iter().filter(|fault| !taken(fault)).collect();
            let fault = draw.0.choice(free).or_else(|| draw.0.choice(&all)).cloned();
            match fault {
                // Another of its kind.
                Some(fault) if !may(&fault) => all.retain(|other| *other != fault),
                fault => break fault,
            }
        };
        drawn.extend(fault);
    }
    drawn
}

/// What a fault changes in the model. It is one of [`candidates`].
fn apply(model: &mut Model, fault: &HiddenFault, draw: &mut Draw) {
    match fault.kind {
        FaultKind::LostNeutral => model.supply.neutral_lost = true,
        FaultKind::LostEarth => model.supply.earth_lost = true,
        FaultKind::LeadsNotNulled => model.instrument.never_nulled = true,
        FaultKind::WrongRange => model.instrument.wrong_range = true,
        FaultKind::SecondSource => {
            let there = |source: &Source| model.sources.iter().any(|s| s.source == *source);
            let hidden = [Source::Battery, Source::Generator, Source::Ups];
            let hidden = hidden.into_iter().find(|source| !there(source));
            model
                .sources
                .push(SecondSource::of(hidden.unwrap_or(Source::Solar)));
        }
        _ => on_a_circuit(model, fault, draw),
    }
}

fn on_a_circuit(model: &mut Model, fault: &HiddenFault, draw: &mut Draw) {
    if of_an_rcd(fault.kind) {
        let slower = draw.between(TOO_SLOW);
        if let Some(rcd) = rcd_of(model, fault) {
            spoil(rcd, fault.kind, slower);
        }
        return;
    }
    let (Some(board), Some(number)) = (fault.board, fault.circuit) else {
        return;
    };
    let Some((b, c)) = model.circuit(board, number) else {
        return;
    };
    let with = fault.with_circuit.and_then(|other| {
        let (_, other) = model.circuit(board, other)?;
        Some(other)
    });
    let p = fault
        .place
        .as_ref()
        .and_then(|place| model.at((b, c)).point(place));
    let class = match fault.conductor {
        Some(Conductors::N) => 1,
        Some(Conductors::E) => 2,
        _ => 0,
    };
    if fault.kind == FaultKind::Interconnection {
        let bridge = p.and_then(|p| bridge(model, (b, c, p), with, draw));
        model.bridges.extend(bridge);
        return;
    }
    let circuit = model.at_mut((b, c));
    match fault.kind {
        FaultKind::OpenLeg => {
            let from = p.map_or(End::Out, End::Point);
            let is_own: Vec<bool> = circuit
                .cables
                .iter()
                .map(|cable| cable.from == from && own(circuit, cable.to))
                .collect();
            for (cable, own) in circuit.cables.iter_mut().zip(is_own) {
                cable.open[class] |= own;
            }
        }
        FaultKind::NeutralLeftOut => {
            for cable in &mut circuit.cables {
                cable.open[1] |= p.is_some_and(|p| cable.from == End::Point(p));
            }
        }
        FaultKind::BorrowedNeutral => {
            let ohms = copper(SPUR_MM2[1], 1, draw.between(BRIDGE), 20.0);
            circuit.borrows = with.map(|other| (other, ohms));
        }
        FaultKind::WrongBreaker => {
            let other = draw.0.bool();
            if let Some(device) = &mut circuit.device {
                exchange(device, other);
            }
        }
        kind => {
            if let Some(p) = p {
                at_a_point(circuit, kind, p, class, draw);
            }
        }
    }
}

/// The residual current device that a fault is in: of a circuit, or of several.
fn rcd_of<'a>(model: &'a mut Model, fault: &HiddenFault) -> Option<&'a mut RcdModel> {
    let board = fault.board?;
    match (fault.circuit, &fault.place) {
        (Some(number), _) => {
            let at = model.circuit(board, number)?;
            model.at_mut(at).rcd.as_mut()
        }
        (None, place) => {
            let (b, g) = model.group(board, place.as_ref()?)?;
            let group = model.boards.get_mut(b)?.groups.get_mut(g)?;
            Some(&mut group.rcd)
        }
    }
}

/// What such a fault changes.
fn spoil(rcd: &mut RcdModel, kind: FaultKind, slower: f64) {
    match kind {
        FaultKind::WrongDevice => {
            rcd.operates *= OTHER_RATING;
            rcd.printed *= OTHER_RATING;
        }
        FaultKind::SlowRcd => rcd.too_slow(slower),
        _ => rcd.stuck = true,
    }
}

/// A breaker of the next type, or of the next rating: nothing that is measured tells it.
fn exchange(device: &mut DeviceModel, another_type: bool) {
    match device.letter {
        Some(letter) if another_type => {
            device.letter = Some(match letter {
                'B' => 'C',
                'C' => 'D',
                _ => 'B',
            });
        }
        _ => {
            let greater = RATINGS.into_iter().find(|amps| *amps > device.amps);
            device.amps = greater.unwrap_or(device.amps / 2.0);
        }
    }
}

fn at_a_point(
    circuit: &mut CircuitModel,
    kind: FaultKind,
    p: usize,
    class: usize,
    draw: &mut Draw,
) {
    let ring = circuit.kind == CircuitKind::Ring;
    let line = circuit.wires[draw.0.usize(..circuit.wires.len() - 2)];
    let incoming = circuit.incoming(p);
    let point = &mut circuit.points[p];
    match kind {
        FaultKind::Spur => {
            let metres = draw.between(LONG_SPUR);
            point.beyond = SPUR_MM2.map(|mm2| copper(mm2, 1, metres, 20.0));
        }
        FaultKind::NeutralToEarth => {
            let ohms = draw.between(NEUTRAL_TO_EARTH);
            point.touching.push((Wire::N, Wire::E, ohms));
        }
        FaultKind::LineToEarth => {
            let ohms = draw.decades(MOISTURE);
            point.touching.push((line, Wire::E, ohms));
        }
        FaultKind::Reversed => point.reversed = true,
        FaultKind::LooseJoint => point.loose[class] = draw.between(LOOSE),
        FaultKind::ElectronicsLeftIn => {
            point.electronics[1] = Some(electronics("", draw));
        }
        FaultKind::MissingCpc if ring => point.no_earth = true,
        FaultKind::MissingCpc => {
            if let Some(cable) = incoming.and_then(|n| circuit.cables.get_mut(n)) {
                cable.open[2] = true;
            }
        }
        _ => {}
    }
}

/// A cable from a point of a ring to the first one of another, or to the next but one of its own.
fn bridge(model: &Model, from: PointAt, with: Option<usize>, draw: &mut Draw) -> Option<Bridge> {
    let (b, c, p) = from;
    let own = |c: usize| {
        let points = &model.at((b, c)).points;
        (0..points.len()).filter(move |p| !points[*p].spur)
    };
    let to = match with {
        Some(other) => (b, other, own(other).next()?),
        None => (b, c, own(c).filter(|other| *other > p).nth(1)?),
    };
    let metres = draw.between(BRIDGE);
    Some(Bridge {
        from,
        to,
        ohms: SPUR_MM2.map(|mm2| copper(mm2, 1, metres, 20.0)),
    })
}
