use super::super::facts::EventNo;
use crate::terms::{ItemNumber, Place, Statement};
use jiff::Timestamp;
use serde::Serialize;

/// Something that was seen, with its code.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Observation {
    /// The event that began it.
    pub no: EventNo,
    /// When.
    pub at: Timestamp,
    /// The board's number.
    pub board: u16,
    /// The circuit, when one was named.
    pub circuit: Option<u16>,
    /// The item of the inspection that it belongs to.
    pub item: Option<ItemNumber>,
    /// C1, C2, C3 or FI.
    pub code: Statement,
    /// Where, when that was said.
    pub place: Option<Place>,
    /// The parts of what was noted for it; a part without text is sound.
    pub noted: Vec<(EventNo, Option<String>)>,
    /// The events that brought its photographs.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub photos: Vec<EventNo>,
    /// Whether it was taken back.
    pub withdrawn: bool,
}

/// Everything that was ever observed, and which of it is being told.
#[derive(Debug, Clone, Default)]
pub(super) struct Observations {
    all: Vec<Observation>,
    telling: Option<EventNo>,
}

impl Observations {
    pub(super) fn all(&self) -> &[Observation] {
        &self.all
    }

    /// What is noted from here on belongs to this one.
    pub(super) fn begin(&mut self, observation: Observation) {
        self.telling = Some(observation.no);
        self.all.push(observation);
    }

    pub(super) fn noted(&mut self, no: EventNo, text: Option<&String>) {
        let telling = self.telling;
        let told = self.all.iter_mut().find(|seen| Some(seen.no) == telling);
        if let Some(seen) = told {
            seen.noted.push((no, text.cloned()));
        }
    }

    /// A photograph of one, added at the desk.
    pub(super) fn photographed(&mut self, of: EventNo, no: EventNo) {
        if let Some(seen) = self.all.iter_mut().find(|seen| seen.no == of) {
            seen.photos.push(no);
        }
    }

    pub(super) fn telling(&self) -> Option<EventNo> {
        self.telling
    }

    pub(super) fn told(&mut self) {
        self.telling = None;
    }

    /// Takes one back; the item it belongs to comes back.
    pub(super) fn withdraw(&mut self, of: EventNo) -> Option<&Observation> {
        let seen = self.all.iter_mut().find(|seen| seen.no == of)?;
        seen.withdrawn = true;
        Some(seen)
    }
}
