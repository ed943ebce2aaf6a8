//! The acoustic models that are built into the program.

/// What hears.
pub(super) static FIRST: &[u8] = include_bytes!("../../../models/ear.int8.onnx");

/// What judges beside it: trained on people as well, and larger.
pub(super) static SECOND: Option<&[u8]> =
    Some(include_bytes!("../../../models/ear.base.int8.onnx"));

/// The file that a model which is built in was.
pub(super) fn name_of(model: &[u8]) -> &'static str {
    match SECOND {
        _ if std::ptr::eq(model, FIRST) => "models/ear.int8.onnx",
        Some(second) if std::ptr::eq(model, second) => "models/ear.base.int8.onnx",
        _ => "a model that was built in",
    }
}
