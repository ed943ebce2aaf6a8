use crate::quantity::Conductors;
use crate::terms::{Part, Place};

/// Something that a step orders out, off, linked, crossed, opened or disconnected. It is on the list
/// of what is out from the event that makes its step the one asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    /// What.
    pub part: Part,
    /// Joined with something, and not out.
    pub linked: bool,
    /// Where.
    pub place: Option<Place>,
    /// Both conductors of the kind, or all things of it.
    pub both: bool,
}

impl Order {
    /// A part out or off, at a place.
    pub fn out(part: Part, place: Option<Place>) -> Self {
        Self {
            part,
            linked: false,
            place,
            both: false,
        }
    }

    /// The same of both conductors, or of all such things.
    #[must_use]
    pub fn both(self) -> Self {
        Self { both: true, ..self }
    }

    /// Conductors linked at the board.
    pub fn linked(conductors: Conductors) -> Self {
        Self {
            linked: true,
            ..Self::out(Part::Conductors(conductors), Some(Place::board()))
        }
    }

    /// Conductors cross-connected at the board.
    pub fn crossed(conductors: Conductors) -> Self {
        Self {
            linked: true,
            ..Self::out(Part::Crossing(conductors), Some(Place::board()))
        }
    }
}
