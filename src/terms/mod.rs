//! The words of the trade: stages, statements, reasons, what is altered and how. Plain data, and
//! for each ONE place that holds its words.
//!
//! A term has two texts at most, and both stand beside it:
//!
//! - `shown()`, also its [`Display`](std::fmt::Display): what the program says and writes;
//! - `spoken()`: what a person says for it, which the grammar understands. It differs from
//!   `shown()` only where short forms are hard to tell apart by ear.

mod alteration;
mod delivery;
mod hidden;
mod item;
mod manner;
mod measure;
mod place;
mod practice;
mod probing;
mod reason;
mod stage;
mod statement;

pub use alteration::{Alteration, Change, Parked, Part};
pub use delivery::{Delivery, Manner, Wording};
pub use hidden::{FaultKind, HiddenFault};
pub use item::ItemNumber;
pub use manner::{ProsodyChange, ProsodyNow};
pub use measure::{HalfCycle, NamedQuantity};
pub use place::Place;
pub use practice::{BayEdition, Level, Practice, Predicted, Simulated};
pub use probing::{Between, Consequence, Printed, Probe, RcdTest, Setting, Shown};
pub use reason::Reason;
pub use stage::Stage;
pub use statement::Statement;

/// Gives `Display` the text that `shown` gives.
macro_rules! display_as_shown {
    ($($term:ty),+) => {$(
        impl std::fmt::Display for $term {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.shown())
            }
        }
    )+};
}

display_as_shown!(
    Change,
    FaultKind,
    HalfCycle,
    Level,
    ProsodyChange,
    Parked,
    Reason,
    Stage,
    Statement
);
