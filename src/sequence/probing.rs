//! Where the probes of a practice are, and what would have refused the reading of it on site. A probing
//! is never refused: the instrument shows what is there.

use super::agenda::Agenda;
use super::facts::{Quantity, Refusal, Step, StepKind};
use super::procedures::bond_place;
use crate::grammar::Intent;
use crate::installation::{Circuit, GroupRcd};
use crate::quantity::{Conductors, Pair, TestVoltage, Unit};
use crate::terms::{Between, HalfCycle, Place, Probe, RcdTest, Setting, Stage};

/// What the supply's own terminals are called, before the main switch.
const ORIGIN: [&str; 2] = ["origin", "incoming terminals"];

/// Where somebody says that the probes are.
#[derive(Debug, Clone, Copy)]
pub struct Placed<'a> {
    /// How the instrument is set, when that was said.
    pub setting: Option<Setting>,
    /// Between what.
    pub between: &'a Between,
    /// Where, when that was said.
    pub place: Option<&'a Place>,
    /// On which circuit, when that was said.
    pub circuit: Option<u16>,
}

/// Where the probes are: on the circuit that is worked on, or the one that was named or has the place
/// that was named; with the instrument as the step that is asked for needs it where nothing else was
/// said. Nothing where a place was named that is on no circuit, or on several.
pub fn probe(agenda: &Agenda, said: Placed<'_>) -> Option<Probe> {
    let step = agenda.current();
    let board = step.map_or_else(|| agenda.first_board(), |step| step.board);
    let bond = *said.between == Between::Bond;
    let alone = matches!(
        said.between,
        Between::LeadsJoined | Between::LeadsApart | Between::KnownSource | Between::Reference
    );
    let incoming = |step: &Step| step.incoming || step.measures(Quantity::FaultCurrent);
    let elsewhere = said.place.is_some() || said.circuit.is_some();
    let at_origin = said
        .place
        .is_some_and(|place| ORIGIN.contains(&place.name.as_str()))
        || (!elsewhere && step.is_some_and(incoming));
    let at_board = said.place == Some(&Place::board());
    let setting = said
        .setting
        .unwrap_or_else(|| step.map_or(Setting::Voltage, needed_by));
    let mut probe = Probe {
        setting,
        between: said.between.clone(),
        board,
        circuit: None,
        place: None,
        rcd: None,
        held: 0,
    };
    if at_origin || alone {
        return Some(probe);
    }
    if bond {
        probe.place = Some(bond_meant(agenda, step, said.place)?);
        return Some(probe);
    }
    let asked_of = step.and_then(|step| agenda.group_of(step));
    // A device of several circuits, at its own terminals: named, or the one that is asked for.
    let at_group = match said.place {
        Some(place) => group_at(agenda, board, place),
        None => asked_of.filter(|_| said.circuit.is_none()),
    };
    if let Some(group) = at_group {
        probe.place = Some(group.place());
        probe.rcd = Some(group.number);
        return Some(probe);
    }
    let here = said
        .circuit
        .or(step.and_then(|step| step.circuit.or(proved_dead_on(step))));
    match said.place.filter(|_| !at_board) {
        Some(place) => {
            let has = |number: &u16| has_place(agenda, board, *number, place);
            probe.circuit = Some(match here.filter(has) {
                Some(circuit) => circuit,
                None if said.circuit.is_some() => return None,
                None => only_one_with(agenda, board, place)?,
            });
            probe.place = Some(place.clone());
        }
        // What the main switch feeds.
        None if here.is_none() => probe.place = Some(Place::board()),
        None => {
            probe.circuit = here;
            let asked = step.filter(|step| step.circuit == here && !at_board);
            let at_place = matches!(said.between, Between::Pair(_) | Between::LongLead(_));
            // Where it is asked for.
            probe.place = asked
                .filter(|_| at_place)
                .and_then(|step| step.place.clone());
        }
    }
    // A live board is worked on in parts: the one that has the circuit.
    let part = probe.circuit.and_then(|number| {
        let mut parts = agenda.job().boards_said(board);
        parts.find(|part| part.circuits.iter().any(|c| c.number == number))
    });
    probe.board = part.map_or(board, |part| part.number);
    probe.rcd = probe.circuit.and_then(|circuit| {
        let board = probe.board;
        let circuit = agenda.circuit(board, circuit)?;
        let asked = asked_of.filter(|group| group.protects(circuit.number));
        let nearest = || {
            let board = agenda.board(board).filter(|_| circuit.rcd.is_none())?;
            board.group_of(circuit)
        };
        Some(asked.or_else(nearest)?.number)
    });
    probe.rcd = probe.rcd.filter(|_| matches!(setting, Setting::Rcd { .. }));
    Some(probe)
}

/// The residual current device of several circuits of a board whose place this is.
pub(super) fn group_at<'a>(agenda: &'a Agenda, board: u16, place: &Place) -> Option<&'a GroupRcd> {
    let mut groups = agenda.board(board)?.rcds.iter();
    groups.find(|group| group.place() == *place)
}

/// The circuit where a step proves that it is dead, on a board whose circuits are isolated one by one.
fn proved_dead_on(step: &Step) -> Option<u16> {
    let place = step.place.as_ref().filter(|_| step.kind.proves_dead())?;
    place.number.filter(|_| place.name == "circuit")
}

/// Whether a circuit has a point of that name.
pub(super) fn has_place(agenda: &Agenda, board: u16, number: u16, place: &Place) -> bool {
    let mut circuits = agenda
        .job()
        .boards_said(board)
        .flat_map(|board| &board.circuits);
    let circuit = circuits.find(|c| c.number == number);
    circuit.is_some_and(|circuit| {
        circuit.points.iter().any(|point| point.place() == *place)
            || circuit.points.is_empty() && *place == Circuit::far_end()
    })
}

/// The one circuit of a board that has a point of that name.
pub(super) fn only_one_with(agenda: &Agenda, board: u16, place: &Place) -> Option<u16> {
    let on_board = agenda.job().boards_said(board);
    let mut with = on_board
        .flat_map(|b| &b.circuits)
        .map(|circuit| circuit.number)
        .filter(|number| has_place(agenda, board, *number, place));
    let only = with.next()?;
    with.next().is_none().then_some(only)
}

/// What is said of such a probing, held on or not: where the probes are, and how the instrument is set.
pub fn said(probe: &Probe) -> Intent {
    Intent::Probe {
        setting: Some(probe.setting),
        between: probe.between.clone(),
        place: probe.place.clone(),
        circuit: probe
            .circuit
            .filter(|_| probe.place.is_some() || probe.between == Between::Label),
    }
}

/// Which main bond is meant: the one whose part was named, the one that is asked for, or the only one.
fn bond_meant(agenda: &Agenda, step: Option<&Step>, place: Option<&Place>) -> Option<Place> {
    let bonds = &agenda.job().supply.bonds;
    let asked = || {
        let step = step.filter(|step| matches!(step.kind, StepKind::Bond | StepKind::BondBack))?;
        step.place.as_ref()
    };
    let of = |name: &String| bond_place(name);
    match place {
        Some(place) => {
            let said = |name: &&String| place.name.contains(name.to_lowercase().as_str());
            bonds.iter().find(said).map(of)
        }
        None => asked().cloned().or_else(|| match bonds.as_slice() {
            [only] => Some(of(only)),
            _ => None,
        }),
    }
}

/// How the instrument is set for a step.
fn needed_by(step: &Step) -> Setting {
    let measure = step.measure();
    let half = measure.and_then(|m| m.half).unwrap_or(HalfCycle::Positive);
    let rcd = |current| Setting::Rcd { current, half };
    // The leads are tried on either range.
    let insulation = measure.is_some_and(|m| m.unit == Unit::MegOhm);
    match measure.map(|m| m.quantity) {
        _ if insulation => Setting::Insulation {
            at: measure.and_then(|m| m.at).unwrap_or(TestVoltage::V500),
        },
        Some(Quantity::ExternalLoop | Quantity::LoopImpedance | Quantity::LoopCheck) => {
            Setting::Loop
        }
        Some(Quantity::FaultCurrent) => Setting::FaultCurrent,
        Some(Quantity::SupplyVoltage) => Setting::Voltage,
        Some(Quantity::RcdHalf) => rcd(RcdTest::Half),
        Some(Quantity::RcdTime | Quantity::RcdCheck) => rcd(RcdTest::Once),
        Some(Quantity::RcdFiveTimes) => rcd(RcdTest::Five),
        Some(
            Quantity::LeadsOpen
            | Quantity::LeadsShorted
            | Quantity::Bond
            | Quantity::R1R2
            | Quantity::R2
            | Quantity::RingEndToEnd
            | Quantity::RingLineNeutral
            | Quantity::RingLineEarth
            | Quantity::Insulation,
        ) => Setting::Continuity,
        Some(Quantity::Noted) | None => match step.stage {
            Stage::Continuity | Stage::Ring | Stage::Polarity | Stage::Instruments => {
                Setting::Continuity
            }
            Stage::PhaseSequence => Setting::PhaseSequence,
            Stage::Rcd => rcd(RcdTest::Once),
            _ => Setting::Voltage,
        },
    }
}

/// What would have refused the reading of such a probing: the guard of the step that it is for, or of
/// one like it on that circuit.
pub fn refusal_of(agenda: &Agenda, probe: &Probe) -> Option<Refusal> {
    let alone = matches!(
        probe.between,
        Between::LeadsApart | Between::LeadsJoined | Between::KnownSource | Between::Reference
    );
    if alone || matches!(probe.setting, Setting::Voltage | Setting::Look) {
        return None;
    }
    let here = |step: &&Step| is_on(step, probe) && is_for(step, probe);
    let steps = || agenda.plan().steps.iter().filter(here);
    let same_pair = |step: &&Step| match &probe.between {
        Between::Pair(pair) => step.measure().and_then(|m| m.pair).or(step.pair) == Some(*pair),
        Between::Ends(conductor) => step.conductor == Some(*conductor),
        _ => true,
    };
    let same_place = |step: &&Step| step.place == probe.place;
    let for_it = steps()
        .find(|step| same_pair(step) && same_place(step))
        .or_else(|| steps().find(same_pair))
        .or_else(|| steps().next());
    // A voltage that no test of the circuit asks for is held to the highest that one does.
    let insulation = |step: &&Step| {
        step.board == probe.board
            && step.circuit == probe.circuit
            && step.measures(Quantity::Insulation)
    };
    let highest = || {
        let all = agenda.plan().steps.iter().filter(insulation);
        all.max_by_key(|step| step.measure().and_then(|m| m.at))
    };
    let for_it = for_it.or_else(|| match probe.setting {
        Setting::Insulation { .. } => highest(),
        _ => None,
    });
    match for_it {
        // What was only ordered is not out.
        Some(step) => agenda.guard_of_a_move(step).err(),
        None => without_a_step(agenda, probe),
    }
}

/// Whether a display of this probing can be what was read for a step between `pair`: the same function,
/// conductors and place.
pub fn reads(step: &Step, pair: Option<Pair>, probe: &Probe) -> bool {
    let pair = pair.or(step.measure().and_then(|m| m.pair)).or(step.pair);
    let same_pair = match &probe.between {
        Between::Pair(probed) => pair.is_none_or(|pair| same_wires(pair, *probed)),
        Between::Ends(conductor) => step.conductor == Some(*conductor),
        _ => true,
    };
    let at_board = |place: Option<&Place>| place.is_none_or(|place| *place == Place::board());
    let same_place = match (&step.place, &probe.place) {
        // A device of several circuits is tested at any of them.
        _ if probe.rcd.is_some() => true,
        _ if proved_dead_on(step).is_some() => true,
        (asked, probed) if at_board(asked.as_ref()) => {
            at_board(probed.as_ref()) || !matches!(probe.setting, Setting::Voltage)
        }
        (asked, probed) => asked == probed,
    };
    let leads = matches!(
        probe.between,
        Between::LeadsApart | Between::LeadsJoined | Between::KnownSource | Between::Reference
    );
    let here = (leads && step.board == probe.board) || is_on(step, probe);
    here && same_pair && (leads || same_place) && is_for(step, probe)
}

/// Whether the probes are on the circuit that a step is on, or on the device of several circuits.
fn is_on(step: &Step, probe: &Probe) -> bool {
    let there = match probe.rcd {
        Some(rcd) => {
            let place = step.place.as_ref();
            step.circuit.is_none() && place.is_some_and(|place| place.number == Some(rcd))
        }
        None => step.circuit.or(proved_dead_on(step)) == probe.circuit,
    };
    step.board == probe.board && there
}

/// "Line" is any line where only one is meant.
fn same_wires(asked: Pair, probed: Pair) -> bool {
    let line = |c: Conductors| {
        c == Conductors::L || [Conductors::L1, Conductors::L2, Conductors::L3].contains(&c)
    };
    asked == probed
        || (line(asked.from())
            && line(probed.from())
            && asked.to() == probed.to()
            && (asked.from() == Conductors::L || probed.from() == Conductors::L))
}

/// Whether a step asks for what the instrument is set to.
fn is_for(step: &Step, probe: &Probe) -> bool {
    let quantity = step.measure().map(|m| m.quantity);
    match probe.setting {
        Setting::Voltage => match quantity {
            Some(Quantity::SupplyVoltage | Quantity::Noted) => true,
            // The known source is no pair of the installation.
            _ => step.kind.proves_dead() && probe.between != Between::KnownSource,
        },
        Setting::Continuity => match quantity {
            Some(Quantity::LeadsOpen) => probe.between == Between::LeadsApart && ohms(step),
            Some(Quantity::LeadsShorted) => probe.between == Between::LeadsJoined && ohms(step),
            Some(Quantity::RingEndToEnd) => matches!(probe.between, Between::Ends(_)),
            Some(Quantity::RingLineNeutral) => is_between(probe, Conductors::N),
            Some(Quantity::RingLineEarth | Quantity::R1R2) => is_between(probe, Conductors::E),
            Some(Quantity::R2) => matches!(probe.between, Between::LongLead(_)),
            Some(Quantity::Bond) => probe.between == Between::Bond,
            _ => step.stage == Stage::Polarity,
        },
        Setting::Insulation { at } => match quantity {
            Some(Quantity::LeadsOpen) => probe.between == Between::LeadsApart && !ohms(step),
            Some(Quantity::LeadsShorted) => probe.between == Between::LeadsJoined && !ohms(step),
            quantity => {
                quantity == Some(Quantity::Insulation)
                    && step.measure().and_then(|m| m.at) == Some(at)
            }
        },
        Setting::Loop | Setting::Rcd { .. } if probe.between == Between::Reference => {
            let of_loop = probe.setting == Setting::Loop;
            quantity
                == Some(if of_loop {
                    Quantity::LoopCheck
                } else {
                    Quantity::RcdCheck
                })
        }
        Setting::Loop => {
            matches!(
                quantity,
                Some(Quantity::ExternalLoop | Quantity::LoopImpedance)
            )
        }
        Setting::FaultCurrent => quantity == Some(Quantity::FaultCurrent),
        Setting::Rcd { current, .. } => {
            quantity
                == Some(match current {
                    RcdTest::Half => Quantity::RcdHalf,
                    RcdTest::Once => Quantity::RcdTime,
                    RcdTest::Five => Quantity::RcdFiveTimes,
                })
        }
        Setting::PhaseSequence => step.stage == Stage::PhaseSequence,
        Setting::Look => false,
    }
}

/// Whether a step wants ohms, and not megohms.
fn ohms(step: &Step) -> bool {
    step.measure().is_some_and(|m| m.unit == Unit::Ohm)
}

fn is_between(probe: &Probe, other: Conductors) -> bool {
    matches!(probe.between, Between::Pair(pair) if pair.to() == other)
}

/// Where the plan has no such test: dead tests need a dead board, live tests a live one.
fn without_a_step(agenda: &Agenda, probe: &Probe) -> Option<Refusal> {
    let board = probe.board;
    match probe.setting {
        Setting::Continuity | Setting::Insulation { .. } if agenda.energised(board) => {
            Some(Refusal::Energised { board })
        }
        Setting::Continuity | Setting::Insulation { .. } if !agenda.proved_dead(board) => {
            Some(Refusal::NotProvedDead { board })
        }
        Setting::Loop | Setting::FaultCurrent | Setting::Rcd { .. } | Setting::PhaseSequence
            if !agenda.energised(board) =>
        {
            Some(Refusal::NotEnergised { board })
        }
        _ => None,
    }
}
