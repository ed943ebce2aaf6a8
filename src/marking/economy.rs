use crate::bay::{Bay, Stop, tour};
use crate::installation::Job;
use crate::terms::{FaultKind, HiddenFault, Shown};
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

/// So many tests and other faults are tried at most: a great job would take minutes.
const MOST_TESTS: usize = 80;
const MOST_OTHERS: usize = 30;

fn greedily(job: &Job, fault: &HiddenFault, seed: u64) -> Option<usize> {
    let mut there = Bay::of(job, std::slice::from_ref(fault), seed).ok()?;
    let others: Vec<Bay> = candidates(job, fault, seed)
        .iter()
        .take(MOST_OTHERS)
        .filter_map(|other| Bay::of(job, std::slice::from_ref(other), seed).ok())
        .collect();
    let count = others.len();
    let on = |circuit: Option<u16>| circuit.is_none() || circuit == fault.circuit;
    // The tests of the circuit that it is on, and of the whole; all of them where it is on none.
    let tests: Vec<Stop> = tour(job)
        .into_iter()
        .filter(|stop| fault.circuit.is_none() || on(stop.probe.circuit))
        .take(MOST_TESTS)
        .collect();
    let is: Vec<Option<Shown>> = tests
        .iter()
        .map(|stop| Some(there.probe(&stop.conditions, &stop.probe).ok()?.0))
        .collect();
    // Which of the others each test rules out.
    let mut ruled_out: Vec<Vec<usize>> = vec![Vec::new(); tests.len()];
    for (n, mut other) in others.into_iter().enumerate() {
        for ((stop, is), out) in tests.iter().zip(&is).zip(&mut ruled_out) {
            let shown = other.probe(&stop.conditions, &stop.probe).ok();
            if let (Some(is), Some((shown, _))) = (is, shown)
                && is.differs(&shown)
            {
                out.push(n);
            }
        }
    }
    let mut remaining: Vec<usize> = (0..count).collect();
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
    // Then one of each kind anywhere.
    for kind in FaultKind::ALL {
        for other in Bay::draw(job, seed.wrapping_add(1), 1, &[kind]) {
            if other != *fault && !all.contains(&other) {
                all.push(other);
            }
        }
    }
    all
}
