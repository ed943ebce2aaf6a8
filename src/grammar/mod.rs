//! Words to meaning: JSGF rules from `grammars/`, numbers said aloud, and [`Said`].

mod graph;
mod said;

pub use graph::{Arc, WordGraph};

pub use said::{
    Alteration, Change, HalfCycle, Manner, Parked, Part, Place, Reason, Said, Stage, Statement,
};
