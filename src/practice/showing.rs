//! Whether the tests of a job show a fault.

use crate::bay::{Bay, Stop, tour};
use crate::installation::{Job, board_said};
use crate::sequence::procedures::Catalogue;
use crate::sequence::{Plan, Step, probing};
use crate::terms::{BayEdition, HiddenFault, Probe, Setting, Shown};

/// The readings that a job's plan takes, and what they are without a fault.
pub(super) struct Tests {
    job: Job,
    seed: u64,
    edition: BayEdition,
    stops: Vec<(Stop, Option<Shown>)>,
}

impl Tests {
    /// Those of a job whose lengths, leakage and trip times this seed draws.
    pub(super) fn of(job: &Job, seed: u64, edition: BayEdition) -> Self {
        let plan = Catalogue::plan_of(job);
        let mut sound = Bay::as_of(job, &[], seed, edition).ok();
        let mut shows = |stop: &Stop| {
            let bay = sound.as_mut()?;
            Some(bay.probe(&stop.conditions, &stop.probe).ok()?.0)
        };
        let stops = tour(job)
            .into_iter()
            .filter(|stop| takes(&plan, &stop.probe))
            .map(|stop| {
                let shown = shows(&stop);
                (stop, shown)
            })
            .collect();
        Self {
            job: job.clone(),
            seed,
            edition,
            stops,
        }
    }

    /// Whether any of them would plainly show something else.
    pub(super) fn show(&mut self, fault: &HiddenFault) -> bool {
        let faults = std::slice::from_ref(fault);
        let Ok(mut bay) = Bay::as_of(&self.job, faults, self.seed, self.edition) else {
            return false;
        };
        // Its own circuit tells soonest.
        let near = |stop: &Stop| fault.circuit.is_none() || stop.probe.circuit == fault.circuit;
        let (first, rest): (Vec<_>, Vec<_>) = self.stops.iter().partition(|(stop, _)| near(stop));
        first.into_iter().chain(rest).any(|(stop, sound)| {
            let shown = bay.probe(&stop.conditions, &stop.probe).ok();
            match (shown, sound) {
                (Some((shown, _)), Some(sound)) => shown.differs(sound),
                _ => false,
            }
        })
    }
}

/// Whether a plan has a step that is answered by a probing; what is printed on a device is looked at where
/// anything of its circuit is tested.
fn takes(plan: &Plan, probe: &Probe) -> bool {
    plan.steps.iter().any(|step| {
        let written = Step {
            board: board_said(step.board),
            ..step.clone()
        };
        match probe.setting {
            Setting::Look => written.board == probe.board && written.circuit == probe.circuit,
            _ => probing::reads(&written, None, probe),
        }
    })
}
