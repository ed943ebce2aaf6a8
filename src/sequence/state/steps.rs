use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{EventNo, Plan, StepId};
use crate::terms::{Reason, Statement};
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};
use std::collections::BTreeSet;
use std::sync::Arc;

/// How a step came to be closed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StepOutcome {
    /// By a reading that counts.
    Read(EventNo),
    /// By a statement.
    Stated(EventNo, Statement),
    /// It will not be done.
    NotTested(EventNo, Reason),
    /// It is left for later.
    Skipped(EventNo, Reason),
}

impl StepOutcome {
    /// Whether it is the statement that the board is energised.
    pub fn is_energised(&self) -> bool {
        matches!(self, Self::Stated(_, Statement::Energised))
    }

    /// The event that closed the step.
    pub fn no(&self) -> EventNo {
        match self {
            Self::Read(no)
            | Self::Stated(no, _)
            | Self::NotTested(no, _)
            | Self::Skipped(no, _) => *no,
        }
    }
}

/// How each step of the plan came to be closed.
#[derive(Debug, Clone)]
pub(super) struct StepOutcomes {
    plan: Arc<Plan>,
    of: rpds::VectorSync<Option<StepOutcome>>,
    /// Dead tests outside their limits that the person went past with a reason.
    accepted: BTreeSet<StepId>,
    /// The answers to steps that no plan of theirs had.
    unplanned: rpds::VectorSync<(EventNo, StepId)>,
}

impl StepOutcomes {
    pub(super) fn new(plan: &Arc<Plan>) -> Self {
        Self {
            plan: Arc::clone(plan),
            of: plan.steps.iter().map(|_| None).collect(),
            accepted: BTreeSet::new(),
            unplanned: rpds::Vector::new_sync(),
        }
    }

    /// The same under another plan; of steps that it does not have nothing stays.
    pub(super) fn under(&self, plan: &Arc<Plan>) -> Self {
        Self {
            of: plan
                .steps
                .iter()
                .map(|step| self.get(&step.id).cloned())
                .collect(),
            plan: Arc::clone(plan),
            accepted: self.accepted.clone(),
            unplanned: self.unplanned.clone(),
        }
    }

    pub(super) fn get(&self, id: &StepId) -> Option<&StepOutcome> {
        self.at(self.plan.position(id)?)
    }

    pub(super) fn at(&self, order: usize) -> Option<&StepOutcome> {
        self.of.get(order)?.as_ref()
    }

    /// Closes a step, or opens it; what closed it before comes back.
    pub(super) fn set(&mut self, id: &StepId, outcome: Option<StepOutcome>) -> Option<StepOutcome> {
        self.set_at(self.plan.position(id)?, outcome)
    }

    pub(super) fn set_at(
        &mut self,
        order: usize,
        outcome: Option<StepOutcome>,
    ) -> Option<StepOutcome> {
        let slot = self.of.get_mut(order)?;
        std::mem::replace(slot, outcome)
    }

    /// The step that an event closed, by its place in the plan.
    pub(super) fn closed_by(&self, no: EventNo) -> Option<usize> {
        let closed = |outcome: &Option<StepOutcome>| outcome.as_ref().is_some_and(|o| o.no() == no);
        self.of.iter().position(closed)
    }

    /// An answer to this step came: it is noted where the plan has no such step.
    pub(super) fn answered(&mut self, no: EventNo, id: &StepId) {
        if self.plan.position(id).is_none() {
            self.unplanned.push_back_mut((no, id.clone()));
        }
    }

    pub(super) fn unplanned(&self) -> impl Iterator<Item = &(EventNo, StepId)> {
        self.unplanned.iter()
    }

    pub(super) fn is_accepted(&self, id: &StepId) -> bool {
        self.accepted.contains(id) || breakage::is(Break::EverythingAccepted)
    }

    pub(super) fn accepted(&self) -> &BTreeSet<StepId> {
        &self.accepted
    }

    pub(super) fn accept(&mut self, steps: impl IntoIterator<Item = StepId>) {
        self.accepted.extend(steps);
    }

    /// What was accepted of a step no longer stands.
    pub(super) fn no_longer_accepted(&mut self, id: &StepId) {
        self.accepted.remove(id);
    }
}

impl Serialize for StepOutcomes {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for (step, outcome) in self.plan.steps.iter().zip(&self.of) {
            if let Some(outcome) = outcome {
                map.serialize_entry(&step.id, outcome)?;
            }
        }
        map.end()
    }
}
