//! Marks of a session that somebody learned by, from its log alone: order and acts of safety, readings
//! against what was shown or against an instructor's own log, predictions, the fault that was named.
//! Pure: no clock, no disk.

mod criteria;
mod economy;
mod group;
mod lapse;
mod lost;
mod readings;
mod sheet;

pub use criteria::{Criteria, CriteriaError, Criterion, Weights};
pub use economy::Economy;
pub use group::{Attempt, Group, Missed, StepTimes};
pub use lapse::{Lapse, StillOut, What};
pub use lost::{Lost, Why};
pub(crate) use readings::{INSTRUMENT, agree};
pub use readings::{Judged, Judgement};
pub use sheet::{
    Diagnosis, LeftBehind, Mark, MarkError, NotDone, Prediction, Sheet, StepTime, Stopped, mark,
};
