//! The acoustic models that are built into the program.

/// What hears.
pub(super) static FIRST: &[u8] = include_bytes!("../../../models/ear.int8.onnx");

/// What judges beside it: trained on people as well, and larger.
pub(super) static SECOND: Option<&[u8]> =
    Some(include_bytes!("../../../models/ear.base.int8.onnx"));
