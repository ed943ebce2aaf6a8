//! Points that are lost, each part with its reason.

use serde::Serialize;

/// A part of a criterion that is lost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Lost {
    /// What for.
    pub why: Why,
    /// How much of the criterion, from 0 to 1.
    pub share: f64,
}

/// Why points are lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// So many lapses, wrong readings or wrong predictions, each of which stands on the sheet.
    Lapses(usize),
    /// Only so many of the steps were answered by what was probed.
    NotDone {
        /// How many were.
        done: usize,
        /// Of how many.
        planned: usize,
    },
    /// More was probed than it takes.
    MoreProbings {
        /// How many probings were made.
        probings: usize,
        /// How many are no waste.
        enough: usize,
    },
    /// Nothing was probed at all.
    NothingProbed,
    /// No fault was named, nor that there is none.
    NothingNamed,
    /// A fault was named where none is hidden.
    NothingHidden,
    /// Nothing that was probed shows the fault.
    Guessed,
    /// So many hidden faults were not named.
    KindNotNamed(usize),
    /// The places of so many were not.
    PlaceNotNamed(usize),
    /// Of so many the conductor was not said.
    NoConductor(usize),
    /// So many were named that are not there.
    NotThere(usize),
}

/// What is left of a criterion, and what the rest was lost for.
#[derive(Debug)]
pub(super) struct Losses {
    /// From 0 to 1.
    pub left: f64,
    pub lost: Vec<Lost>,
}

impl Default for Losses {
    fn default() -> Self {
        Self {
            left: 1.0,
            lost: Vec::new(),
        }
    }
}

impl Losses {
    /// All but this share.
    pub(super) fn of(why: Why, share: f64) -> Self {
        let mut losses = Self::default();
        losses.take(why, share);
        losses
    }

    /// Takes a share off what is left, as far as that goes; nothing is no reason.
    pub(super) fn take(&mut self, why: Why, share: f64) {
        let share = share.min(self.left);
        // What is left of a sum of shares is no share.
        if share > 1e-9 {
            self.left = (self.left - share).max(0.0);
            self.lost.push(Lost { why, share });
        }
    }
}

/// So many of so many.
pub(super) fn of(part: usize, whole: usize) -> f64 {
    part as f64 / whole as f64
}
