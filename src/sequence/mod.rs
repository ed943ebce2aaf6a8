//! The ordered steps, the state machine and its events, the list of things taken out, refusals,
//! and prompts as text. Pure: no clock, no sound, no disk.
//!
//! ```text
//! Job -> Plan (ordered steps, made by the procedures)
//! State = events applied in order
//! decide(State, Said) -> Reply { events, lines }
//! ```

mod decide;
mod desk;
mod event;
pub mod invariants;
mod judging;
mod out_list;
mod plan;
pub mod procedures;
mod readings;
mod session;
pub mod speak;
mod state;

pub use decide::{Reply, decide};
pub use desk::{DeskRefusal, correct_at_desk};
pub use event::{Bar, EVENT_VERSION, Event, EventNo, Mode, Withdrawal, describe_part};
pub use plan::{Ask, Measure, Plan, Quantity, Step, StepId};
pub use readings::Judged;
pub use session::{Session, Turn};
pub use speak::{CAUTIONS, Line, LineKind, Prompt, prompt};
pub use state::{
    ABSENCE, Kept, LONG_ABSENCE, OutEntry, Override, Progress, Question, ReplayError, Standing,
    State, place_of,
};
