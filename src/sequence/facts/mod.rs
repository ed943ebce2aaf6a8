//! Plain data of a session: names of steps, the plan, events, refusals and doubts. Knows nothing
//! of how anything is decided, folded or said.

mod column;
mod edition;
mod event;
mod id;
mod order;
mod picture;
mod plan;
mod refusal;
mod step;

pub use column::{Beside, Column, ShownWhen, Worst};
pub use edition::{Edition, UnknownEdition};
pub use event::{
    Calculated, EVENT_VERSION, Event, EventNo, External, Mode, NeighbourSign, Withdrawal,
};
pub(in crate::sequence) use id::BEHIND_COVERS;
pub use id::{NotAStepId, ProcedureId, StepId};
pub use order::Order;
pub use picture::{MOST_PICTURE_BYTES, Picture, PictureError, PictureKind};
pub use plan::Plan;
pub(super) use plan::Stretch;
pub use refusal::{Destination, Doubt, Electronics, LeftOut, Refusal};
pub(in crate::sequence) use step::{ARC_FAULT_CHECK, arc_fault_tail};
pub use step::{Ask, Measure, Quantity, SURGE_INDICATOR, Step, StepKind};
