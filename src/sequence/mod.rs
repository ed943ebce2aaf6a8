//! The ordered steps, the session and its events, the list of things taken out, refusals, and what
//! is said. Pure: no clock, no sound, no disk. Seven layers, each knowing only those under it:
//!
//! ```text
//! session      turn = decide -> invariants -> apply -> say     the one place where all meet
//! say          (before, event, after) -> lines; the prompt     the only maker of words
//! decide       (agenda, said) -> events                        no words
//! agenda       what is open, asked now, barred, lifts a bar
//! procedures   one test each, over a read-only state           no words
//! state        a fold of events in eight ledgers                 knows no procedure
//! facts        ids, steps, plan, events, refusals              plain data
//! ```
//!
//! `invariants` stands beside them, over a fold of its own, and `desk` decides on corrections made
//! afterwards, `amend` on a job that is changed on the way, `probing` where the probes of a practice are. `breakage` breaks guards on purpose, in test builds.

mod agenda;
mod amend;
pub mod breakage;
mod decide;
mod desk;
mod facts;
pub mod invariants;
pub mod probing;
pub mod procedures;
pub mod say;
mod session;
mod state;

pub use agenda::Agenda;
pub use amend::{ChangeRefusal, Changed, JobChange, change_job, job_changes};
pub use decide::{decide, sounds_like_a_warning};
pub use desk::{DeskRefusal, PhotoOf, correct_at_desk, photo_at_desk, strike_at_desk};
pub use facts::{
    Ask, Beside, Calculated, Column, Destination, Doubt, EVENT_VERSION, Edition, Electronics,
    Event, EventNo, External, LeftOut, MOST_PICTURE_BYTES, Measure, Mode, NeighbourSign,
    NotAStepId, Order, Picture, PictureError, PictureKind, Plan, ProcedureId, Quantity, Refusal,
    SURGE_INDICATOR, ShownWhen, Step, StepId, StepKind, UnknownEdition, Withdrawal, Worst,
};
pub use say::{CAUTIONS, Line, LineKind, Prompt, prompt};
pub use session::{NotTakenUp, Run, Session, Turn};
pub use state::{
    ABSENCE, LONG_ABSENCE, Observation, OutEntry, Override, Question, ReadingRecord, ReadingStatus,
    ReplayError, State, StepOutcome, place_of,
};
