//! Photographs for paper.

use crate::sequence::{Picture, PictureKind};
use krilla::image::Image;

/// A photograph for paper.
///
/// # Errors
/// With what is wrong with it, where it is not whole.
pub(super) fn drawn(picture: &Picture) -> Result<Image, String> {
    let file = picture.file().ok_or("the log does not hold it whole")?;
    match picture.kind {
        PictureKind::Jpeg => Image::from_jpeg(file.into(), true),
        PictureKind::Png => Image::from_png(file.into(), true),
    }
}

/// Whether a photograph can be printed.
///
/// # Errors
/// With what is wrong with it.
pub fn can_be_printed(picture: &Picture) -> Result<(), String> {
    drawn(picture).map(|_| ())
}
