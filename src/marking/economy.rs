use super::readings::{Judgement, as_measured, of_display};
use crate::bay::{Altered, Bay, Conditions};
use crate::installation::{Circuit, CircuitKind, Job};
use crate::quantity::{Conductors, Pair, TestVoltage};
use crate::terms::{
    Between, FaultKind, HalfCycle, HiddenFault, Place, Probe, RcdTest, Setting, Shown,
};
use std::collections::HashMap;

/// How many tests the fault of a job takes at least, found once for a whole group.
#[derive(Debug, Default)]
pub struct Economy {
    found: HashMap<(String, HiddenFault, u64), Option<usize>>,
}

impl Economy {
    /// The shortest sequence of tests, found greedily by how many of the remaining faults each rules
    /// out, that tells this fault from all others that a job can have one of: a test rules another
    /// fault out where an instrument would show something else under it. It is no proof that fewer
    /// would not do. Faults that no test tells apart from this one are left; nothing when the fault
    /// can't be in the job.
    pub fn fewest(&mut self, job: &Job, fault: &HiddenFault, seed: u64) -> Option<usize> {
        let name = serde_json::to_string(job).unwrap_or_default();
        let key = (name, fault.clone(), seed);
        if let Some(found) = self.found.get(&key) {
            return *found;
        }
        let found = greedily(job, fault, seed);
        self.found.insert(key, found);
        found
    }
}

fn greedily(job: &Job, fault: &HiddenFault, seed: u64) -> Option<usize> {
    let mut there = Bay::of(job, std::slice::from_ref(fault), seed).ok()?;
    let others: Vec<Bay> = candidates(job, fault, seed)
        .iter()
        .filter_map(|other| Bay::of(job, std::slice::from_ref(other), seed).ok())
        .collect();
    let tests = tour(job, fault);
    // Which of the others each test rules out.
    let ruled_out: Vec<Vec<usize>> = tests
        .iter()
        .map(|(conditions, probe)| {
            let Ok((is, _)) = there.probe(conditions, probe) else {
                return Vec::new();
            };
            (0..others.len())
                .filter(|n| {
                    let other = others.get(*n).cloned();
                    let shown = other.and_then(|mut bay| bay.probe(conditions, probe).ok());
                    shown.is_some_and(|(shown, _)| differ(&is, &shown))
                })
                .collect()
        })
        .collect();
    let mut remaining: Vec<usize> = (0..others.len()).collect();
    let mut made = 0;
    loop {
        let best = ruled_out
            .iter()
            .max_by_key(|out| remaining.iter().filter(|n| out.contains(n)).count())?;
        let before = remaining.len();
        remaining.retain(|n| !best.contains(n));
        if remaining.len() == before {
            // One test at least shows that anything is wrong.
            return Some(made.max(1));
        }
        made += 1;
    }
}

/// Other single faults that the job can have: a few of each kind.
fn candidates(job: &Job, fault: &HiddenFault, seed: u64) -> Vec<HiddenFault> {
    let mut all: Vec<HiddenFault> = Vec::new();
    for kind in FaultKind::ALL {
        for other in Bay::draw(job, seed.wrapping_add(1), 3, &[kind]) {
            if other != *fault && !all.contains(&other) {
                all.push(other);
            }
        }
    }
    // On the same circuit what is nearest to it is hardest to tell apart.
    if let Some(circuit) = fault.circuit {
        for kind in FaultKind::ALL {
            let near = HiddenFault {
                kind,
                place: None,
                conductor: None,
                with_circuit: None,
                circuit: Some(circuit),
                board: fault.board,
            };
            if kind != fault.kind && Bay::of(job, std::slice::from_ref(&near), seed).is_ok() {
                all.push(near);
            }
        }
    }
    all
}

/// Whether an instrument would show another thing.
fn differ(a: &Shown, b: &Shown) -> bool {
    match (of_display(a), of_display(b)) {
        (Some(one), Some(other)) => {
            std::mem::discriminant(a) != std::mem::discriminant(b)
                || as_measured(&one, &other, 0.02, 2.0) != Judgement::Agrees
        }
        _ => a != b,
    }
}

/// The tests of the circuit that a fault is on, and of the supply, as they are made in the order of the
/// job.
fn tour(job: &Job, fault: &HiddenFault) -> Vec<(Conditions, Probe)> {
    let mut tests = Vec::new();
    for board in &job.boards {
        if fault.board.is_some_and(|number| number != board.number) {
            continue;
        }
        let dead = Conditions {
            main_switches_off: job.boards.iter().map(|board| board.number).collect(),
            sources_off: job.supply.sources.clone(),
            leads_nulled: true,
            ..Conditions::default()
        };
        let live = Conditions {
            leads_nulled: true,
            ..Conditions::default()
        };
        let at_board = |setting, between| Probe {
            setting,
            between,
            board: board.number,
            circuit: None,
            place: None,
        };
        for pair in Pair::SINGLE_PHASE {
            let between = Between::Pair(pair);
            tests.push((live.clone(), at_board(Setting::Voltage, between.clone())));
            tests.push((
                dead.clone(),
                Probe {
                    place: Some(Place::board()),
                    ..at_board(Setting::Voltage, between)
                },
            ));
        }
        tests.push((
            live.clone(),
            at_board(Setting::Loop, Between::Pair(Pair::LE)),
        ));
        tests.push((
            dead.clone(),
            at_board(Setting::Continuity, Between::LeadsJoined),
        ));
        for circuit in &board.circuits {
            if fault.circuit.is_some_and(|number| number != circuit.number) {
                continue;
            }
            of_circuit(&dead, &live, board.number, circuit, &mut tests);
        }
    }
    tests
}

fn of_circuit(
    dead: &Conditions,
    live: &Conditions,
    board: u16,
    circuit: &Circuit,
    tests: &mut Vec<(Conditions, Probe)>,
) {
    let number = circuit.number;
    let probe = |setting, between, place| Probe {
        setting,
        between,
        board,
        circuit: Some(number),
        place,
    };
    let alone = dead.alone(board, number);
    let places: Vec<Place> = if circuit.points.is_empty() {
        vec![Circuit::far_end()]
    } else {
        circuit.points.iter().map(|point| point.place()).collect()
    };
    for at in [TestVoltage::V250, TestVoltage::V500] {
        for pair in Pair::SINGLE_PHASE {
            let setting = Setting::Insulation { at };
            tests.push((alone.clone(), probe(setting, Between::Pair(pair), None)));
        }
    }
    if circuit.kind == CircuitKind::Ring {
        for conductor in [Conductors::L, Conductors::N, Conductors::E] {
            let ends = Between::Ends(conductor);
            tests.push((alone.clone(), probe(Setting::Continuity, ends, None)));
        }
        for other in [Conductors::N, Conductors::E] {
            let crossed = alone.with(Altered::crossed(board, number, Conductors::L.with(other)));
            let Some(pair) = Pair::new(Conductors::L, other) else {
                continue;
            };
            for place in &places {
                let at = probe(
                    Setting::Continuity,
                    Between::Pair(pair),
                    Some(place.clone()),
                );
                tests.push((crossed.clone(), at));
            }
        }
    } else {
        let linked = alone.with(Altered::linked(
            board,
            number,
            Conductors::L.with(Conductors::E),
        ));
        for place in &places {
            let at = probe(
                Setting::Continuity,
                Between::Pair(Pair::LE),
                Some(place.clone()),
            );
            tests.push((linked.clone(), at));
        }
    }
    for place in &places {
        for pair in Pair::SINGLE_PHASE {
            let at = probe(Setting::Voltage, Between::Pair(pair), Some(place.clone()));
            tests.push((live.clone(), at));
        }
        let at = probe(Setting::Loop, Between::Pair(Pair::LE), Some(place.clone()));
        tests.push((live.clone(), at));
    }
    if circuit.rcd.is_some() {
        for current in [RcdTest::Half, RcdTest::Once] {
            let setting = Setting::Rcd {
                current,
                half: HalfCycle::Positive,
            };
            let place = places.first().cloned();
            tests.push((live.clone(), probe(setting, Between::Pair(Pair::LE), place)));
        }
    }
}
