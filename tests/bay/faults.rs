//! Each kind of fault, over random jobs: what it changes, and what it leaves alone.

use super::{random, text};
use bothhands::bay::{Bay, Reads, Stop, changes, tour};
use bothhands::installation::Job;
use bothhands::terms::{FaultKind, HiddenFault, Shown};
use std::collections::{BTreeMap, BTreeSet};

/// Whether two displays differ by more than an instrument may be wrong: two in a hundred and two digits.
/// Whoever looks for a fault takes less for no change.
fn differ(one: &Shown, other: &Shown) -> bool {
    match (one, other) {
        (Shown::Value(a), Shown::Value(b))
        | (Shown::Tripped(a), Shown::Tripped(b))
        | (Shown::Live(a), Shown::Live(b)) => match (a.number, b.number) {
            (Some(m), Some(n)) if a.relation == b.relation => {
                let digit = 10f64.powi(-i32::from(m.places().min(n.places())));
                let (m, n) = (m.value(), n.value());
                (m - n).abs() > 0.02 * m.max(n) + 2.01 * digit
            }
            _ => a.shown() != b.shown(),
        },
        _ => one != other,
    }
}

/// What the instrument shows on a whole tour.
fn displays(job: &Job, faults: &[HiddenFault], seed: u64, tour: &[Stop]) -> Vec<Shown> {
    let bay = Bay::of(job, faults, seed).unwrap();
    let mut hand = bay.clone();
    tour.iter()
        .map(|stop| {
            let (shown, came) = hand.probe(&stop.conditions, &stop.probe).unwrap();
            // Each reading by itself: nothing that an earlier one destroyed.
            if !came.is_empty() {
                hand = bay.clone();
            }
            shown
        })
        .collect()
}

#[test]
fn every_fault_changes_what_it_says_and_nothing_else() {
    let mut seen: BTreeMap<FaultKind, usize> = BTreeMap::new();
    let mut wrong = Vec::new();
    for seed in 0..40 {
        let job = random::job(seed);
        let tour = tour(&job);
        let sound = displays(&job, &[], seed, &tour);
        // A third of the kinds in each job, so that all of them come in many.
        let third = |n: &usize| n % 3 == seed as usize % 3;
        for kind in (0..FaultKind::ALL.len()).filter(third) {
            let kind = FaultKind::ALL[kind];
            let faults = Bay::draw(&job, seed, 1, &[kind]);
            if faults.is_empty() {
                continue;
            }
            *seen.entry(kind).or_default() += 1;
            let faulty = displays(&job, &faults, seed, &tour);
            let changed: BTreeSet<Reads> = (0..tour.len())
                .filter(|n| differ(&sound[*n], &faulty[*n]))
                .map(|n| tour[n].reads)
                .collect();
            let said = changes(kind);
            if !said.must.iter().any(|reads| changed.contains(reads)) {
                wrong.push(format!(
                    "{seed} {faults:?}: none of {:?}, but {changed:?}",
                    said.must
                ));
            }
            let surprising: Vec<String> = (0..tour.len())
                .filter(|n| differ(&sound[*n], &faulty[*n]))
                .filter(|n| {
                    let reads = &tour[*n].reads;
                    !said.must.contains(reads) && !said.may.contains(reads)
                })
                .map(|n| {
                    format!(
                        "{:?} {:?} {} -> {}",
                        tour[n].reads,
                        tour[n].probe.circuit,
                        text(&sound[n]),
                        text(&faulty[n])
                    )
                })
                .collect();
            if !surprising.is_empty() {
                wrong.push(format!("{seed} {faults:?}: {surprising:?}"));
            }
        }
    }
    for line in &wrong {
        println!("{line}");
    }
    assert!(wrong.is_empty(), "{}", wrong.len());
    let rare: Vec<_> = FaultKind::ALL
        .into_iter()
        .filter(|kind| seen.get(kind).is_none_or(|times| *times < 5))
        .collect();
    assert!(rare.is_empty(), "drawn in fewer than five jobs: {rare:?}");
}
