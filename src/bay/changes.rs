//! Which readings of a tour a fault changes, and which it leaves as they are.

use super::tour::Reads;
use crate::terms::FaultKind;

/// What a kind of fault does to the readings of a [`tour`](super::tour()).
#[derive(Debug, Clone, Copy)]
pub struct Changes {
    /// At least one reading of these is another one.
    pub must: &'static [Reads],
    /// These may be others too. All the rest stay as they are.
    pub may: &'static [Reads],
}

/// All that is read at points and boards that are live.
const LIVE: &[Reads] = &[
    Reads::SupplyVoltage,
    Reads::ExternalLoop,
    Reads::FaultCurrent,
    Reads::VoltageLineNeutral,
    Reads::VoltageLineEarth,
    Reads::VoltageNeutralEarth,
    Reads::Backfeed,
    Reads::OtherNeutralOut,
    Reads::Loop,
    Reads::RcdHalf,
    Reads::RcdOnce,
    Reads::RcdFive,
    Reads::PhaseSequence,
];

/// What a kind of fault changes. Tested over random jobs in `tests/bay/faults.rs`.
pub fn changes(kind: FaultKind) -> Changes {
    let (must, may): (&[Reads], &[Reads]) = match kind {
        FaultKind::OpenLeg => (
            &[Reads::RingEnds],
            &[
                Reads::RingLineNeutral,
                Reads::RingLineEarth,
                Reads::Loop,
                Reads::VoltageLineNeutral,
            ],
        ),
        FaultKind::Spur => (
            &[Reads::RingLineNeutral, Reads::RingLineEarth],
            &[Reads::Loop],
        ),
        // To another ring, which then feeds it; across its own, which is shorter then.
        FaultKind::Interconnection => (
            &[Reads::RingEnds, Reads::Backfeed],
            &[
                Reads::RingLineNeutral,
                Reads::RingLineEarth,
                Reads::InsulationTrial,
                Reads::InsulationLives,
                Reads::InsulationLineEarth,
                Reads::InsulationNeutralEarth,
                Reads::Loop,
                Reads::RcdHalf,
                Reads::RcdOnce,
                Reads::RcdFive,
            ],
        ),
        FaultKind::NeutralToEarth => (
            &[Reads::InsulationNeutralEarth],
            &[
                Reads::InsulationTrial,
                Reads::InsulationLives,
                Reads::InsulationLineEarth,
                Reads::RnR2,
                Reads::SupplyVoltage,
                Reads::FaultCurrent,
                Reads::VoltageLineNeutral,
                Reads::VoltageLineEarth,
                Reads::VoltageNeutralEarth,
                Reads::Backfeed,
                Reads::OtherNeutralOut,
                Reads::Loop,
                Reads::RcdHalf,
                Reads::RcdOnce,
                Reads::RcdFive,
            ],
        ),
        FaultKind::LineToEarth => (
            &[Reads::InsulationLineEarth],
            &[
                Reads::InsulationTrial,
                Reads::InsulationLives,
                Reads::InsulationNeutralEarth,
                Reads::Backfeed,
            ],
        ),
        FaultKind::Reversed => (
            &[Reads::RingLineEarth, Reads::R1R2, Reads::VoltageLineEarth],
            &[
                Reads::RnR2,
                Reads::RingLineNeutral,
                Reads::InsulationTrial,
                Reads::InsulationLives,
                Reads::InsulationLineEarth,
                Reads::InsulationNeutralEarth,
                Reads::VoltageNeutralEarth,
                Reads::Backfeed,
                Reads::OtherNeutralOut,
                Reads::Loop,
                Reads::RcdHalf,
                Reads::RcdOnce,
                Reads::RcdFive,
            ],
        ),
        FaultKind::LooseJoint => (
            &[
                Reads::RingLineNeutral,
                Reads::RingLineEarth,
                Reads::R1R2,
                Reads::RnR2,
            ],
            // With a load on, the voltage falls.
            &[
                Reads::Loop,
                Reads::VoltageLineNeutral,
                Reads::VoltageLineEarth,
                Reads::VoltageNeutralEarth,
                Reads::Backfeed,
                Reads::OtherNeutralOut,
            ],
        ),
        FaultKind::BorrowedNeutral => (
            &[Reads::OtherNeutralOut],
            &[
                Reads::RnR2,
                Reads::InsulationTrial,
                Reads::InsulationLives,
                Reads::InsulationLineEarth,
                Reads::InsulationNeutralEarth,
                Reads::VoltageLineNeutral,
                Reads::VoltageNeutralEarth,
            ],
        ),
        FaultKind::ElectronicsLeftIn => (
            &[Reads::InsulationTrial],
            &[
                Reads::InsulationLives,
                Reads::InsulationLineEarth,
                Reads::InsulationNeutralEarth,
                Reads::VoltageNeutralEarth,
                Reads::Backfeed,
                Reads::OtherNeutralOut,
            ],
        ),
        FaultKind::NeutralLeftOut => (
            &[Reads::VoltageLineNeutral],
            &[
                Reads::RnR2,
                Reads::InsulationTrial,
                Reads::InsulationLives,
                Reads::InsulationLineEarth,
                Reads::InsulationNeutralEarth,
                Reads::VoltageNeutralEarth,
                Reads::OtherNeutralOut,
            ],
        ),
        FaultKind::MissingCpc => (
            &[Reads::R1R2, Reads::RingLineEarth, Reads::Loop],
            &[
                Reads::RnR2,
                Reads::InsulationLives,
                Reads::InsulationTrial,
                Reads::InsulationLineEarth,
                Reads::InsulationNeutralEarth,
                Reads::SupplyVoltage,
                Reads::VoltageLineEarth,
                Reads::VoltageNeutralEarth,
                Reads::Backfeed,
                Reads::RcdHalf,
                Reads::RcdOnce,
                Reads::RcdFive,
            ],
        ),
        // What is in a row with another one may have hidden it, at half the other's current too.
        FaultKind::WrongDevice => (
            &[Reads::RcdOnce],
            &[Reads::RcdHalf, Reads::RcdFive, Reads::Label],
        ),
        FaultKind::StuckRcd => (&[Reads::RcdOnce], &[Reads::RcdHalf, Reads::RcdFive]),
        FaultKind::WrongBreaker => (&[Reads::Label], &[]),
        FaultKind::SlowRcd => (&[Reads::RcdOnce, Reads::RcdFive], &[Reads::RcdHalf]),
        FaultKind::SecondSource => (&[Reads::Dead], LIVE),
        FaultKind::LostNeutral => (&[Reads::SupplyVoltage, Reads::FaultCurrent], LIVE),
        FaultKind::LostEarth => (&[Reads::ExternalLoop], LIVE),
        FaultKind::LeadsNotNulled => (
            &[Reads::LeadsJoined],
            &[
                Reads::Bond,
                Reads::RingEnds,
                Reads::RingLineNeutral,
                Reads::RingLineEarth,
                Reads::R1R2,
                Reads::RnR2,
            ],
        ),
        FaultKind::WrongRange => (
            &[Reads::LeadsJoined, Reads::LeadsApart],
            &[
                Reads::Bond,
                Reads::RingEnds,
                Reads::RingLineNeutral,
                Reads::RingLineEarth,
                Reads::R1R2,
                Reads::RnR2,
                Reads::InsulationTrial,
                Reads::InsulationLives,
                Reads::InsulationLineEarth,
                Reads::InsulationNeutralEarth,
                Reads::ExternalLoop,
                Reads::Loop,
                Reads::LoopReference,
            ],
        ),
    };
    Changes { must, may }
}
