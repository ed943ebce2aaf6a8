//! The acoustic models that are built into the program.

/// What hears.
pub(super) static FIRST: &[u8] = include_bytes!("../../../models/ear.int8.onnx");

/// What judges beside it; without it there is one ear. A second model becomes part of the program
/// here and nowhere else: `Some(include_bytes!(...))`.
pub(super) static SECOND: Option<&[u8]> = None;
