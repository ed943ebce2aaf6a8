use super::super::breakage::{self, Break};
use super::id::{BEHIND_COVERS, ProcedureId, StepId};
use crate::quantity::{Conductors, Pair, TestVoltage, Unit};
use crate::terms::{HalfCycle, ItemNumber, Place, Stage, Statement};
use serde::{Deserialize, Serialize};
use std::fmt;

/// One thing to be done or measured. Plain data: what is asked in words stands with the prompts,
/// what bars it and what closes it with its procedure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Its lasting name.
    pub id: StepId,
    /// Where it stands in the plan, from 0.
    pub order: usize,
    /// The procedure it belongs to, which knows its guards and assesses its readings.
    pub procedure: ProcedureId,
    /// What kind of step it is; the full prompt is given for the first of a kind.
    pub kind: StepKind,
    /// The stage of the job.
    pub stage: Stage,
    /// The board's number.
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// The place it is done at.
    pub place: Option<Place>,
    /// The conductors it is between, whether it is measured or stated.
    pub pair: Option<Pair>,
    /// The one conductor that is measured along.
    pub conductor: Option<Conductors>,
    /// What answers it.
    pub ask: Ask,
    /// The grammar rule that its answers are heard with.
    pub rule: &'static str,
    /// Whether it is live work at the incoming terminals, with the main switch still locked off.
    pub incoming: bool,
}

/// The kind of step that checks arc fault detection.
pub(in crate::sequence) const ARC_FAULT_CHECK: StepKind = StepKind::Row("functional-arc-fault");

/// The kind of step that looks at the indicator of surge protection.
pub const SURGE_INDICATOR: StepKind = StepKind::Row("functional-surge");

const ARC_FAULT: &str = "arc-fault/";

/// What tells the check of a circuit's arc fault detection from the others of its board.
pub(in crate::sequence) fn arc_fault_tail(circuit: u16) -> String {
    format!("{ARC_FAULT}{circuit}")
}

/// What answers a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ask {
    /// One of these statements; [`Statement::Done`] always stands for the first.
    Statement(Vec<Statement>),
    /// A value.
    Reading(Measure),
    /// Nothing is said to the step itself: it is closed by what happens elsewhere, such as the
    /// out-list becoming empty.
    Event,
}

/// What a reading must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measure {
    /// What is measured.
    pub quantity: Quantity,
    /// Between which conductors.
    pub pair: Option<Pair>,
    /// At which test voltage.
    pub at: Option<TestVoltage>,
    /// On which half-cycle.
    pub half: Option<HalfCycle>,
    /// The unit when none is said.
    pub unit: Unit,
}

/// The quantities of a schedule of test results.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// The instrument with its leads apart.
    LeadsOpen,
    /// The instrument with its leads joined.
    LeadsShorted,
    /// A bonding conductor.
    Bond,
    /// Line and protective conductor together.
    R1R2,
    /// The protective conductor, with a long lead.
    R2,
    /// A conductor of a ring from end to end.
    RingEndToEnd,
    /// A ring with line and neutral cross-connected.
    RingLineNeutral,
    /// A ring with line and cpc cross-connected.
    RingLineEarth,
    /// Insulation resistance.
    Insulation,
    /// External earth fault loop impedance.
    ExternalLoop,
    /// Voltage of the supply at the incoming terminals.
    SupplyVoltage,
    /// Prospective fault current.
    FaultCurrent,
    /// Earth fault loop impedance.
    LoopImpedance,
    /// An RCD at half its rated current.
    RcdHalf,
    /// An RCD at its rated current.
    RcdTime,
    /// An RCD at five times its rated current.
    RcdFiveTimes,
    /// A loop tester on its reference.
    LoopCheck,
    /// An RCD tester on its reference.
    RcdCheck,
    /// A value that is noted and compared with nothing.
    Noted,
}

impl Quantity {
    /// The symbol or name of the quantity, as on a schedule.
    pub fn shown(self) -> &'static str {
        match self {
            Self::LeadsOpen => "leads apart",
            Self::LeadsShorted => "leads joined",
            Self::Bond => "bonding conductor",
            Self::R1R2 => "R1+R2",
            Self::R2 => "R2",
            Self::RingEndToEnd => "ring, end to end",
            Self::RingLineNeutral => "ring, line and neutral crossed",
            Self::RingLineEarth => "ring, line and cpc crossed",
            Self::Insulation => "insulation resistance",
            Self::ExternalLoop => "external loop impedance Ze",
            Self::SupplyVoltage => "supply voltage",
            Self::FaultCurrent => "prospective fault current",
            Self::LoopImpedance => "loop impedance Zs",
            Self::RcdHalf => "RCD at half IΔn",
            Self::RcdTime => "RCD at IΔn",
            Self::RcdFiveTimes => "RCD at 5 IΔn",
            Self::LoopCheck => "loop tester on its reference",
            Self::RcdCheck => "RCD tester on its reference",
            Self::Noted => "value",
        }
    }
}

/// Makes the kinds with their names, by which the prompts are found.
macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident = $name:literal),+ $(,)?) => {
        /// What kind of step it is.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum StepKind {
            $($(#[$doc])* $kind,)+
            /// The one kind of a procedure that is nothing but a row of the table.
            Row(&'static str),
        }

        impl StepKind {
            /// Every kind that has logic of its own.
            pub const ALL: &'static [Self] = &[$(Self::$kind),+];

            /// Its name, under which its prompts stand.
            pub fn name(self) -> &'static str {
                match self {
                    $(Self::$kind => $name,)+
                    Self::Row(name) => name,
                }
            }
        }
    };
}

kinds! {
    /// Permission, circuits and every source.
    Identify = "identify",
    /// The voltage indicator, before.
    ProveBefore = "prove-before",
    /// Every source off.
    Isolate = "isolate",
    /// Locked off, key kept, notice up.
    Lock = "lock",
    /// The first pair that is proved dead.
    ProveFirstDead = "prove-first-dead",
    /// Any other pair.
    ProveDead = "prove-dead",
    /// The voltage indicator, after.
    ProveAfter = "prove-after",
    /// An instrument with its leads apart.
    LeadsOpen = "leads-open",
    /// An instrument with its leads joined.
    LeadsJoined = "leads-joined",
    /// A loop or RCD tester on its reference.
    TesterCheck = "tester-check",
    /// A main bond.
    Bond = "bond",
    /// A main bond back on.
    BondBack = "bond-back",
    /// A supplementary bond.
    SupplementaryBond = "supplementary-bond",
    /// Line and earth linked at the board.
    ContinuityLink = "continuity-link",
    /// R1+R2 at a point, or R2 with a long lead.
    ContinuityPoint = "continuity-point",
    /// The link off again.
    ContinuityUnlink = "continuity-unlink",
    /// A conductor of a ring from end to end.
    RingEndToEnd = "ring-end-to-end",
    /// A point of a ring, line and neutral crossed.
    RingCrossedNeutral = "ring-crossed-neutral",
    /// The crossing of line and neutral off again.
    RingUncrossNeutral = "ring-uncross-neutral",
    /// A point of a ring, line and cpc crossed.
    RingCrossedEarth = "ring-crossed-earth",
    /// The crossing of line and cpc off again.
    RingUncrossEarth = "ring-uncross-earth",
    /// All six ends of a ring back in their terminals.
    RingEndsBack = "ring-ends-back",
    /// Surge protection out, before a board is tested together.
    SurgeOut = "surge-out",
    /// All circuits of a board together at 250 V.
    InsulationTogetherTrial = "insulation-together-trial",
    /// All circuits of a board together.
    InsulationTogether = "insulation-together",
    /// A circuit at 250 V where something may be connected.
    InsulationTrial = "insulation-trial",
    /// The other pairs of such a circuit at 250 V.
    InsulationTrialEarth = "insulation-trial-earth",
    /// What is in circuit comes out, or the lives are linked.
    InsulationClear = "insulation-clear",
    /// At 250 V once more.
    InsulationAgain = "insulation-again",
    /// Lamps out.
    InsulationLamps = "insulation-lamps",
    /// A pair at the full voltage.
    InsulationFull = "insulation-full",
    /// With the two-way switches in the other position.
    InsulationTwoWay = "insulation-two-way",
    /// All lives joined, to earth.
    InsulationJoined = "insulation-joined",
    /// The link of the lives off again.
    InsulationUnlink = "insulation-unlink",
    /// After something was put back: all lives joined, to earth, at 250 V.
    InsulationReconnected = "insulation-reconnected",
    /// The link for that off again.
    InsulationReconnectedUnlink = "insulation-reconnected-unlink",
    /// A circuit that stays off: locked off and labelled.
    OffLock = "off-lock",
    /// A circuit that stays off: line and neutral out of their terminals.
    OffTerminals = "off-terminals",
    /// A circuit that is dangerous now: isolate it.
    MakeSafe = "make-safe",
    /// The neutral of a circuit of a live board out of its terminal.
    NeutralOut = "neutral-out",
    /// Polarity at an outlet that was opened, live.
    ReopenedPolarity = "reopened-polarity",
    /// The loop at an outlet that was opened.
    ReopenedLoop = "reopened-loop",
    /// Everything back as it was.
    PutBack = "put-back",
    /// Covers on, nobody on it.
    Covers = "covers",
    /// Energising.
    Energise = "energise",
    /// The earthing conductor off the means of earthing.
    EarthingOff = "earthing-off",
    /// The external loop, or the electrode.
    ExternalLoop = "external-loop",
    /// The earthing conductor back.
    EarthingBack = "earthing-back",
    /// An RCD at half its rated current.
    RcdHalf = "rcd-half",
    /// An RCD at its rated current.
    RcdRated = "rcd-rated",
    /// An RCD at five times its rated current.
    RcdFive = "rcd-five",
    /// The test button of an RCD.
    RcdButton = "rcd-button",
}

impl fmt::Display for StepKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl StepKind {
    /// Zs of a circuit.
    pub const LOOP_IMPEDANCE: Self = Self::Row("loop-impedance");

    /// Whether it proves the indicator, or dead with it.
    pub fn proves(self) -> bool {
        matches!(
            self,
            Self::ProveBefore | Self::ProveFirstDead | Self::ProveDead | Self::ProveAfter
        ) && !breakage::is(Break::ProvingUnknown)
    }

    /// Whether it proves a pair dead.
    pub fn proves_dead(self) -> bool {
        matches!(self, Self::ProveFirstDead | Self::ProveDead)
    }

    /// Whether it puts something back: what lifts a bar of the out-list.
    pub fn puts_back(self) -> bool {
        matches!(
            self,
            Self::PutBack
                | Self::EarthingBack
                | Self::BondBack
                | Self::ContinuityUnlink
                | Self::InsulationUnlink
                | Self::InsulationReconnectedUnlink
                | Self::RingUncrossNeutral
                | Self::RingUncrossEarth
                | Self::RingEndsBack
        ) || breakage::is(Break::AnythingPutsBack)
    }

    /// Whether it comes before anything else while it is open: nobody goes on with the earthing or
    /// a bond off, or with a circuit dangerous.
    pub fn is_urgent(self) -> bool {
        matches!(self, Self::EarthingBack | Self::BondBack | Self::MakeSafe)
    }

    /// Whether it is a trial at 250 V: it leads to what comes next and is no result.
    pub fn is_trial(self) -> bool {
        matches!(
            self,
            Self::InsulationTogetherTrial
                | Self::InsulationTrial
                | Self::InsulationTrialEarth
                | Self::InsulationAgain
        )
    }
}

impl Step {
    /// The measure, when the step asks for a reading.
    pub fn measure(&self) -> Option<Measure> {
        match self.ask {
            Ask::Reading(measure) => Some(measure),
            _ => None,
        }
    }

    /// The number of the item of the inspection that it is.
    pub fn item(&self) -> Option<ItemNumber> {
        let inspected = self.stage == Stage::Inspection;
        self.id.tail.parse().ok().filter(|_| inspected)
    }

    /// The circuit whose arc fault detection it checks.
    pub fn arc_fault_of(&self) -> Option<u16> {
        let tail = self.id.tail.strip_prefix(ARC_FAULT)?;
        tail.parse().ok().filter(|_| self.kind == ARC_FAULT_CHECK)
    }

    /// Whether it asks for a reading of this quantity.
    pub fn measures(&self, quantity: Quantity) -> bool {
        self.measure().is_some_and(|m| m.quantity == quantity)
            && !breakage::is(Break::MeasuredUnknown)
    }

    /// Whether it is on the same circuit, or the same whole board.
    pub fn beside(&self, other: &Self) -> bool {
        (self.board, self.circuit) == (other.board, other.circuit)
    }

    /// Whether it is done on a dead installation, after isolation.
    pub fn is_dead_test(&self) -> bool {
        matches!(
            self.stage,
            Stage::Continuity | Stage::Ring | Stage::Insulation | Stage::Polarity
        ) && !breakage::is(Break::DeadTestUnknown)
    }

    /// Whether it is looked at behind covers, on what is dead.
    pub fn is_behind_covers(&self) -> bool {
        self.procedure == BEHIND_COVERS && !breakage::is(Break::BehindCoversUnknown)
    }

    /// Whether it is done with the supply on.
    pub fn is_live_test(&self) -> bool {
        !self.incoming && self.is_live_work() && !breakage::is(Break::LiveTestUnknown)
    }

    /// Whether it is live work, on the installation or at its incoming terminals.
    pub fn is_live_work(&self) -> bool {
        matches!(
            self.stage,
            Stage::SupplyPolarity
                | Stage::ExternalLoop
                | Stage::FaultCurrent
                | Stage::LoopImpedance
                | Stage::Rcd
                | Stage::PhaseSequence
                | Stage::Functional
        )
    }
}

impl Step {
    /// Whether a statement that answers it stands as an exception: the one place that says which
    /// do.
    pub fn is_wrong(&self, statement: Statement) -> bool {
        match statement {
            Statement::PolarityReversed
            | Statement::SequenceReversed
            | Statement::Fail
            | Statement::IndicatorRed
            | Statement::NotProved => true,
            // Somebody decided that what is dangerous stays on.
            Statement::StaysOn => true,
            Statement::Tripped => self.kind == StepKind::RcdHalf,
            Statement::NoTrip => self.kind != StepKind::RcdHalf,
            _ => false,
        }
    }
}
