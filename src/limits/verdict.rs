use super::tables::{Provenance, Tables};
use super::words::{Said, Words, said};
use crate::quantity::Truth;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How a reading stands against its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Within the limit, whatever the true value between the reading's bounds.
    Pass,
    /// Outside the limit, whatever the true value.
    Fail,
    /// Look again: the bounds, or what is known, do not settle it.
    CannotSay,
}

impl From<Truth> for Outcome {
    fn from(holds: Truth) -> Self {
        match holds {
            Truth::Yes => Self::Pass,
            Truth::No => Self::Fail,
            Truth::CannotSay => Self::CannotSay,
        }
    }
}

/// What a reading looks like when it is not what it should be. A guess for the person to check,
/// never a diagnosis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Finding {
    /// About ten times, or a tenth of, what it should be.
    SlippedDecimal,
    /// More than length and size give.
    HigherThanExpected,
    /// Less than length and size give.
    LowerThanExpected,
    /// No continuity.
    Open,
    /// Lower than the limit, yet something is known to be usual: a load left in.
    LoadConnected,
    /// About nothing between two conductors.
    ShortCircuit,
    /// Neutral touches earth.
    NeutralEarthFault,
    /// A line touches earth.
    LineEarthFault,
    /// Every pair is low.
    AllLow,
    /// Passes, but low enough to look for the cause.
    LowForNewWork,
    /// Lower than Ze + (R1+R2): parallel paths.
    ParallelPath,
    /// Higher than Ze + (R1+R2): a joint, another circuit, a slip.
    HigherThanSum,
    /// The overcurrent device alone does not disconnect in time; the RCD would.
    RestsOnRcd,
    /// An electrode that may not be stable.
    UnstableElectrode,
    /// The test was not taken at the voltage the table asks for.
    OtherTestVoltage,
    /// The reading was in a unit of another kind.
    WrongUnit,
    /// The reading is "over range", and the instrument's range is not known.
    RangeUnknown,
    /// Over 0.8 of the limit cold, within it when corrected for heat.
    WithinWhenCorrected,
    /// More than a short bonding conductor reads.
    LongForABond,
    /// A Ze higher than distributors usually declare, or than this one declared.
    HigherThanDeclared,
    /// A fault current that Ze as it was measured would not let be so low.
    LowerThanZeGives,
    /// A fault current far over what Ze as it was measured gives.
    HigherThanZeGives,
    /// Less than the test leads alone read.
    BelowLeads,
    /// Cleared so soon that only the maker's let-through energy tells.
    MakersEnergy,
    /// Something about the ring; the diagnosis says what.
    RingFault,
    /// A point reads as though it were on a spur.
    Spur,
}

/// What the limits say of a reading, and everything needed to check it by hand.
///
/// It compares; it never says that an installation is safe. The words are for reading aloud; a log
/// keeps which they are, and the figures.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdict {
    /// Pass, fail or look again.
    pub outcome: Outcome,
    /// What is odd about the reading, if anything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<Finding>,
    /// The limit: "at least 1 MΩ".
    pub limit: Said,
    /// Regulation or table.
    pub clause: String,
    /// Edition of the tables used.
    pub edition: String,
    /// The sum in one line, to be recomputed by hand.
    pub arithmetic: Said,
    /// What the person may want to know or do, in cautious words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<Said>,
}

impl Verdict {
    /// A verdict under the edition of `tables`.
    pub(crate) fn new(
        tables: &Tables,
        outcome: Outcome,
        limit: impl Into<Said>,
        clause: &str,
        arithmetic: impl Into<Said>,
    ) -> Self {
        Self {
            outcome,
            finding: None,
            limit: limit.into(),
            clause: clause.to_owned(),
            edition: tables.edition.clone(),
            arithmetic: arithmetic.into(),
            remark: None,
        }
    }

    /// Whether it stands among the exceptions of a schedule: outside the limit, not to be settled, or odd.
    pub fn is_exception(&self) -> bool {
        self.outcome != Outcome::Pass || self.is_odd()
    }

    /// Within the limit, and yet far from what length, size or the parts of the loop give: a joint,
    /// another circuit or a slip that the limit does not show.
    pub fn is_odd(&self) -> bool {
        self.outcome == Outcome::Pass
            && matches!(
                self.finding,
                Some(
                    Finding::HigherThanSum | Finding::HigherThanExpected | Finding::SlippedDecimal
                )
            )
    }

    /// The same with a finding and what to say of it.
    pub(crate) fn found(mut self, finding: Finding, remark: Said) -> Self {
        self.finding.get_or_insert(finding);
        self.remarked(remark)
    }

    /// The same with one more remark.
    pub(crate) fn remarked(mut self, remark: Said) -> Self {
        self.remark = Some(match self.remark {
            None => remark,
            Some(before) => before.and(Words::Sentences, remark),
        });
        self
    }

    /// The same with one more sum.
    pub(crate) fn and_sum(mut self, sum: Said) -> Self {
        self.arithmetic = self.arithmetic.and(Words::Sums, sum);
        self
    }

    /// The same, noting when the limit is not from a published source.
    pub(crate) fn marked(self, mark: Provenance) -> Self {
        match mark {
            Provenance::Memory => self.remarked(said!(FromMemory)),
            Provenance::Published | Provenance::CommonPractice | Provenance::Ours => self,
        }
    }

    /// Whether the person should be asked before the reading is taken: it fails, cannot be
    /// settled, or is odd.
    pub fn asks(&self) -> bool {
        self.outcome != Outcome::Pass || self.finding.is_some()
    }
}

impl fmt::Display for Verdict {
    /// One line: outcome, limit, clause, edition, arithmetic, remark.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let outcome = match self.outcome {
            Outcome::Pass => "within the limit",
            Outcome::Fail => "outside the limit",
            Outcome::CannotSay => "cannot say",
        };
        write!(
            f,
            "{outcome}: {} ({}, {}); {}",
            self.limit, self.clause, self.edition, self.arithmetic
        )?;
        match &self.remark {
            Some(remark) => write!(f, ". {remark}"),
            None => Ok(()),
        }
    }
}
