use super::super::facts::StepId;

/// Where the person moved to by voice.
#[derive(Debug, Clone, Default)]
pub(super) struct Cursor {
    /// The steps of the circuit or stage of this one come first.
    pub(super) focus: Option<StepId>,
    /// A step that was done and was asked for again.
    pub(super) again: Option<StepId>,
}

impl Cursor {
    /// A step was done: it is not asked again any more.
    pub(super) fn done(&mut self, step: &StepId) {
        self.again.take_if(|again| again == step);
    }
}
