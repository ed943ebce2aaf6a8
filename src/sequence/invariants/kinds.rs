//! What the laws know of steps by their kind: a table of their own, so that a fault in what guards
//! ask of a step is found too.

use super::super::facts::{Ask, Quantity, Step, StepKind};
use crate::terms::Stage;

/// How a step is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Done {
    /// On what was proved dead.
    Dead,
    /// With the supply on, or at its terminals.
    Live,
    /// Either way, or before it matters.
    Either,
}

fn done(step: &Step) -> Done {
    match step.kind {
        StepKind::Bond
        | StepKind::BondBack
        | StepKind::SupplementaryBond
        | StepKind::ContinuityLink
        | StepKind::ContinuityPoint
        | StepKind::ContinuityUnlink
        | StepKind::RingEndToEnd
        | StepKind::RingCrossedNeutral
        | StepKind::RingUncrossNeutral
        | StepKind::RingCrossedEarth
        | StepKind::RingUncrossEarth
        | StepKind::RingEndsBack
        | StepKind::SurgeOut
        | StepKind::NeutralOut
        | StepKind::InsulationTogetherTrial
        | StepKind::InsulationTogether
        | StepKind::InsulationTrial
        | StepKind::InsulationTrialEarth
        | StepKind::InsulationClear
        | StepKind::InsulationAgain
        | StepKind::InsulationLamps
        | StepKind::InsulationFull
        | StepKind::InsulationTwoWay
        | StepKind::InsulationJoined
        | StepKind::InsulationUnlink
        | StepKind::InsulationReconnected
        | StepKind::InsulationReconnectedUnlink
        | StepKind::Row("polarity") => Done::Dead,
        StepKind::ReopenedPolarity
        | StepKind::ReopenedLoop
        | StepKind::EarthingOff
        | StepKind::ExternalLoop
        | StepKind::EarthingBack
        | StepKind::RcdHalf
        | StepKind::RcdRated
        | StepKind::RcdFive
        | StepKind::RcdButton
        | StepKind::Row(
            "supply-polarity"
            | "fault-current"
            | "loop-impedance"
            | "phase-sequence"
            | "functional"
            | "functional-arc-fault"
            | "functional-surge",
        ) => Done::Live,
        StepKind::Identify
        | StepKind::ProveBefore
        | StepKind::Isolate
        | StepKind::Lock
        | StepKind::ProveFirstDead
        | StepKind::ProveDead
        | StepKind::ProveAfter
        | StepKind::LeadsOpen
        | StepKind::LeadsJoined
        | StepKind::TesterCheck
        | StepKind::OffLock
        | StepKind::OffTerminals
        | StepKind::MakeSafe
        | StepKind::PutBack
        | StepKind::Covers
        | StepKind::Energise => Done::Either,
        // What another procedure brings is done as its stage is.
        StepKind::Row(_) => match step.stage {
            Stage::Continuity | Stage::Ring | Stage::Insulation | Stage::Polarity => Done::Dead,
            Stage::SupplyPolarity
            | Stage::ExternalLoop
            | Stage::FaultCurrent
            | Stage::LoopImpedance
            | Stage::Rcd
            | Stage::PhaseSequence
            | Stage::Functional => Done::Live,
            _ => Done::Either,
        },
    }
}

/// Whether it is done on a dead installation.
pub(super) fn is_dead_test(step: &Step) -> bool {
    done(step) == Done::Dead
}

/// Whether it is done with the supply on, and not at the incoming terminals.
pub(super) fn is_live_test(step: &Step) -> bool {
    done(step) == Done::Live && !step.incoming
}

/// Whether it proves the indicator, or dead with it.
pub(super) fn proves(kind: StepKind) -> bool {
    [
        StepKind::ProveBefore,
        StepKind::ProveFirstDead,
        StepKind::ProveDead,
        StepKind::ProveAfter,
    ]
    .contains(&kind)
}

/// Whether it is a trial at 250 V, which leads to what comes next.
pub(super) fn is_trial(kind: StepKind) -> bool {
    [
        StepKind::InsulationTogetherTrial,
        StepKind::InsulationTrial,
        StepKind::InsulationTrialEarth,
        StepKind::InsulationAgain,
    ]
    .contains(&kind)
}

/// Whether a reading of this quantity is asked for.
pub(super) fn reads(step: &Step, quantity: Quantity) -> bool {
    matches!(&step.ask, Ask::Reading(measure) if measure.quantity == quantity)
}
