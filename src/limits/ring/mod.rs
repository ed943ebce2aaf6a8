//! Ring final circuits: what end-to-end and cross-connected readings should be, and what it looks
//! like when they are not.
//!
//! At fraction x of the way round, with the ends crossed (line of one leg joined to neutral of the
//! other), the two ways back are P1 = x·ra + (1-x)·rb and P2 = (1-x)·ra + x·rb, in parallel:
//!
//! ```text
//! R(x) = P1·P2 / (ra + rb)
//! ```
//!
//! flat where ra = rb, with its maximum (ra + rb)/4 half way. With the ends joined the wrong way,
//! R(x) = x(1-x)(ra + rb): about nothing at the board, growing toward the middle. A spur adds its own
//! two conductors. Common practice (IET Guidance Note 3); the formulas follow from the network and
//! are checked against nodal analysis in `tests/limits/ring.rs`.
//!
//! How often the diagnosis is right is measured there too, on random rings with random faults read
//! to 0.01 Ω: `cargo test --test it limits::ring -- --nocapture confusion` prints the table.

mod diagnosis;
mod fault;

use super::words::{Said, said};
use crate::quantity::Ohms;
use serde::Serialize;

pub use diagnosis::{RingDiagnosis, cpc_beside_line, diagnose};
pub use fault::RingFault;
pub(crate) use fault::about;

/// End-to-end resistance of each conductor of the ring, measured at the board.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ends {
    /// r1.
    pub line: Ohms,
    /// rn.
    pub neutral: Ohms,
    /// r2.
    pub cpc: Ohms,
}

/// One conductor of the ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Leg {
    /// The line conductor.
    Line,
    /// The neutral conductor.
    Neutral,
    /// The circuit protective conductor.
    Cpc,
}

impl Leg {
    /// As said aloud.
    pub(crate) fn said(self) -> Said {
        match self {
            Self::Line => said!(LegLine),
            Self::Neutral => said!(LegNeutral),
            Self::Cpc => said!(LegCpc),
        }
    }
}

/// Which two conductors are cross-connected at the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CrossedPair {
    /// Line and neutral.
    LineNeutral,
    /// Line and protective conductor.
    LineCpc,
}

impl CrossedPair {
    /// As said aloud.
    pub(crate) fn said(self) -> Said {
        match self {
            Self::LineNeutral => said!(LineAndNeutral),
            Self::LineCpc => said!(LineAndCpc),
        }
    }

    /// End-to-end resistance of the two conductors of the stage.
    fn pair(self, ends: &Ends) -> (Ohms, Ohms) {
        match self {
            Self::LineNeutral => (ends.line, ends.neutral),
            Self::LineCpc => (ends.line, ends.cpc),
        }
    }
}

/// The readings at one point, cross-connected.
#[derive(Debug, Clone, PartialEq)]
pub struct PointReading {
    /// What the point is called: "socket 3".
    pub name: String,
    /// Whether the job file says that it is on a spur.
    pub spur: bool,
    /// Line to neutral, those two cross-connected.
    pub line_neutral: Option<Ohms>,
    /// Line to protective conductor, those two cross-connected.
    pub line_cpc: Option<Ohms>,
}

/// R(x) with the ends crossed, Ω; `x` from 0 to 1 round the ring.
pub fn crossed(ra: f64, rb: f64, x: f64) -> f64 {
    let (p1, p2) = (x * ra + (1.0 - x) * rb, (1.0 - x) * ra + x * rb);
    if ra + rb == 0.0 {
        0.0
    } else {
        p1 * p2 / (ra + rb)
    }
}

/// R(x) with the ends joined the wrong way, Ω.
pub fn uncrossed(ra: f64, rb: f64, x: f64) -> f64 {
    x * (1.0 - x) * (ra + rb)
}

/// Every value that a point of a sound ring can read in a stage: from ra·rb/(ra+rb) at the board to
/// (ra+rb)/4 half way.
pub fn round_the_ring(ends: &Ends, stage: CrossedPair) -> Ohms {
    let (ra, rb) = stage.pair(ends);
    if ra.is_unbounded() || rb.is_unbounded() {
        return Ohms::at_least(0.0);
    }
    Ohms::between(
        crossed(ra.low(), rb.low(), 0.0),
        crossed(ra.high(), rb.high(), 0.5),
    )
}

/// (r1+r2)/4: what the highest reading, to be recorded as R1+R2, should be without spurs.
pub fn r1_r2(ends: &Ends) -> Ohms {
    (ends.line + ends.cpc).times(0.25)
}

/// (r1+rn)/4: what every point of the ring should read, line to neutral.
pub fn r1_rn(ends: &Ends) -> Ohms {
    (ends.line + ends.neutral).times(0.25)
}
