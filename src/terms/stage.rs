use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The stages of the job, in the order of BS 7671 Part 6.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// What is looked at before anything is tested: 642 and 651.
    Inspection,
    /// Off, locked and proved dead: HSG85.
    Isolation,
    /// The instruments are checked before use.
    Instruments,
    /// Protective conductors and bonds: 643.2.
    Continuity,
    /// Conductors of ring final circuits: 643.2.1.
    Ring,
    /// Insulation resistance: 643.3.
    Insulation,
    /// Of dead circuits: 643.6.
    Polarity,
    /// What was taken out or linked goes back.
    PutBack,
    /// What is dangerous or stays off is isolated by itself.
    MakeSafe,
    /// Covers on, locks off, supply on.
    Energise,
    /// Of the supply at its incoming terminals: 643.6.
    SupplyPolarity,
    /// Ze, or the electrode of a TT system: 643.7.2.
    ExternalLoop,
    /// Prospective fault current: 643.7.3.201.
    FaultCurrent,
    /// Zs of each circuit: 643.7.3.
    LoopImpedance,
    /// Residual current devices: 643.7.1 and 643.8.
    Rcd,
    /// Of three-phase boards: 643.9.
    PhaseSequence,
    /// Switchgear, controls, interlocks: 643.10.
    Functional,
    /// Results and exceptions are explained.
    Handover,
}

impl Stage {
    /// As the program says and writes it: "external loop".
    pub fn shown(self) -> &'static str {
        match self {
            Self::Inspection => "inspection",
            Self::Isolation => "isolation",
            Self::Instruments => "instrument check",
            Self::Continuity => "continuity",
            Self::Ring => "ring continuity",
            Self::Insulation => "insulation resistance",
            Self::Polarity => "polarity",
            Self::PutBack => "put back",
            Self::MakeSafe => "make safe",
            Self::Energise => "energise",
            Self::SupplyPolarity => "supply polarity",
            Self::ExternalLoop => "external loop",
            Self::FaultCurrent => "fault current",
            Self::LoopImpedance => "loop impedance",
            Self::Rcd => "residual current device",
            Self::PhaseSequence => "phase sequence",
            Self::Functional => "functional checks",
            Self::Handover => "handover",
        }
    }

    /// As a person says it after "go to": "external loop impedance".
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Isolation => "safe isolation",
            Self::ExternalLoop => "external loop impedance",
            Self::FaultCurrent => "prospective fault current",
            Self::Rcd => "r c d test",
            same => same.shown(),
        }
    }
}
