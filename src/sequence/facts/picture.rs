//! A photograph as an event keeps it: the file itself, byte by byte, so that the hash of the event is that
//! of the picture too. It is not decoded here; what its head says of it is read and no more.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};

/// The largest file that is taken: a log is copied and mailed whole.
pub const MOST_PICTURE_BYTES: usize = 4_000_000;
const MOST_POINTS: u32 = 12_000;

/// What sort of file it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PictureKind {
    /// JPEG, ISO/IEC 10918-1.
    Jpeg,
    /// PNG, ISO/IEC 15948.
    Png,
}

impl PictureKind {
    /// As it is called.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
        }
    }

    /// Its media type (RFC 2046 and the registry of media types).
    pub fn media(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
        }
    }

    /// What its files end with.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
        }
    }
}

/// A photograph.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Picture {
    /// What sort of file.
    pub kind: PictureKind,
    /// Points across, as the file has them.
    pub width: u32,
    /// Points down.
    pub height: u32,
    /// How many quarter turns to the right it is shown with, as the camera was held.
    #[serde(default, skip_serializing_if = "is_upright")]
    pub turned: u8,
    /// The file in base64 (RFC 4648).
    file: String,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks so")]
fn is_upright(turned: &u8) -> bool {
    *turned == 0
}

/// Why a file is not taken as a photograph.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    /// It would swell the log.
    #[error("it has {0} bytes; a photo has at most 4000000: save it smaller, or at lower quality")]
    TooLarge(usize),
    /// Too many points to be printed.
    #[error("it is {0} × {1} points; a photo has at most 12000 each way: save it smaller")]
    TooManyPoints(u32, u32),
    /// Neither of the two kinds.
    #[error("it is neither a JPEG nor a PNG picture: save it as one of these")]
    Neither,
    /// It begins as one and does not go on so.
    #[error("it begins as {0} and is not whole: copy it from the camera again")]
    NotWhole(&'static str),
}

impl Picture {
    /// A photograph from the bytes of its file.
    ///
    /// # Errors
    /// When it is no JPEG or PNG, not whole, or too large.
    pub fn of(bytes: &[u8]) -> Result<Self, PictureError> {
        if bytes.len() > MOST_PICTURE_BYTES {
            return Err(PictureError::TooLarge(bytes.len()));
        }
        let (kind, found, turned) = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            (PictureKind::Png, png_size(bytes), 0)
        } else if bytes.starts_with(b"\xff\xd8\xff") {
            let turned = jpeg_turned(bytes).unwrap_or(0);
            (PictureKind::Jpeg, jpeg_size(bytes), turned)
        } else {
            return Err(PictureError::Neither);
        };
        let (width, height) = found
            .filter(|(width, height)| *width > 0 && *height > 0)
            .ok_or(PictureError::NotWhole(kind.shown()))?;
        if width > MOST_POINTS || height > MOST_POINTS {
            return Err(PictureError::TooManyPoints(width, height));
        }
        Ok(Self {
            kind,
            width,
            height,
            turned,
            file: STANDARD.encode(bytes),
        })
    }

    /// The file; nothing where what the log holds is none.
    pub fn file(&self) -> Option<Vec<u8>> {
        STANDARD.decode(&self.file).ok()
    }

    /// The picture as an address that holds it.
    pub fn data_uri(&self) -> String {
        format!("data:{};base64,{}", self.kind.media(), self.file)
    }

    /// "JPEG, 1600 × 1200, 240 kB".
    pub fn shown(&self) -> String {
        let bytes = self.file.len() / 4 * 3;
        format!(
            "{}, {} × {}, {} kB",
            self.kind.shown(),
            self.width,
            self.height,
            bytes.div_ceil(1000)
        )
    }
}

fn two(bytes: &[u8], at: usize) -> Option<u32> {
    let pair = bytes.get(at..at.checked_add(2)?)?;
    Some(u32::from(u16::from_be_bytes(pair.try_into().ok()?)))
}

fn four(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(four.try_into().ok()?))
}

/// Width and height stand in the first chunk, and the last has no content.
fn png_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let whole = bytes.get(12..16)? == b"IHDR"
        && bytes
            .get(bytes.len().checked_sub(8)?..)?
            .starts_with(b"IEND");
    whole.then_some((four(bytes, 16)?, four(bytes, 20)?))
}

/// The segments of a JPEG before its picture: marker and content.
fn segments(bytes: &[u8]) -> impl Iterator<Item = (u8, &[u8])> {
    let mut at = 2;
    std::iter::from_fn(move || {
        // A marker may be filled with any number of ff.
        while bytes.get(at) == Some(&0xff) && bytes.get(at + 1) == Some(&0xff) {
            at += 1;
        }
        let marker = *bytes.get(at + 1).filter(|_| bytes.get(at) == Some(&0xff))?;
        let length = usize::try_from(two(bytes, at + 2)?).ok()?;
        let content = bytes.get(at + 4..at + 2 + length.max(2))?;
        at += 2 + length.max(2);
        Some((marker, content))
    })
}

/// The size stands in the head of the frame; a whole file ends with the marker for it, whatever a camera
/// adds behind.
fn jpeg_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let frame = |marker: u8| matches!(marker, 0xc0..=0xcf) && !matches!(marker, 0xc4 | 0xc8 | 0xcc);
    let (_, head) = segments(bytes)
        .take_while(|(marker, _)| *marker != 0xda)
        .find(|(marker, _)| frame(*marker))?;
    let ends = bytes.windows(2).any(|pair| pair == b"\xff\xd9");
    ends.then_some((two(head, 3)?, two(head, 1)?))
}

/// How the camera was held, from its note in the file (Exif 2.3, tag 0112 of the first directory).
fn jpeg_turned(bytes: &[u8]) -> Option<u8> {
    let (_, note) = segments(bytes)
        .take_while(|(marker, _)| *marker != 0xda)
        .find(|(marker, content)| *marker == 0xe1 && content.starts_with(b"Exif\0\0"))?;
    let note = note.get(6..)?;
    let small_end = match note.get(..2)? {
        b"II" => true,
        b"MM" => false,
        _ => return None,
    };
    let word = |at: usize| {
        let pair: [u8; 2] = note.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if small_end {
            u16::from_le_bytes(pair)
        } else {
            u16::from_be_bytes(pair)
        })
    };
    let long = |at: usize| {
        let four: [u8; 4] = note.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if small_end {
            u32::from_le_bytes(four)
        } else {
            u32::from_be_bytes(four)
        })
    };
    let directory = usize::try_from(long(4)?).ok()?;
    let entries = usize::from(word(directory)?);
    let of = |n: usize| directory.checked_add(2)?.checked_add(n.checked_mul(12)?);
    let entry = (0..entries)
        .filter_map(of)
        .find(|at| word(*at) == Some(0x0112))?;
    match word(entry.checked_add(8)?)? {
        3 => Some(2),
        6 => Some(1),
        8 => Some(3),
        _ => Some(0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A JPEG's head and end with nothing between, the camera held so.
    fn jpeg(orientation: u8) -> Vec<u8> {
        let mut exif = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
        exif.extend([orientation, 0, 0, 0, 0, 0, 0]);
        let mut bytes = b"\xff\xd8\xff\xe1".to_vec();
        bytes.extend(u16::try_from(exif.len() + 2).unwrap().to_be_bytes());
        bytes.extend(exif);
        bytes.extend(b"\xff\xc0\0\x0b\x08\x00\x30\x00\x40\x01\x01\x11\0");
        bytes.extend(b"\xff\xda\0\x02\x12\x34\xff\xd9");
        bytes
    }

    #[test]
    fn the_head_tells_size_and_how_the_camera_was_held() {
        for (orientation, turned) in [(1, 0), (3, 2), (6, 1), (8, 3), (9, 0)] {
            let picture = Picture::of(&jpeg(orientation)).unwrap();
            assert_eq!(
                (picture.width, picture.height, picture.turned),
                (64, 48, turned)
            );
            assert_eq!(picture.file().unwrap(), jpeg(orientation));
        }
        assert!(
            Picture::of(&jpeg(1))
                .unwrap()
                .shown()
                .starts_with("JPEG, 64 × 48, ")
        );
    }

    #[test]
    fn what_is_no_picture_or_not_whole_says_what_to_do() {
        let told = |bytes: &[u8]| Picture::of(bytes).unwrap_err().to_string();
        assert!(told(b"hello").contains("save it as one of these"));
        assert!(told(b"").contains("neither"));
        let whole = jpeg(1);
        assert!(told(&whole[..whole.len() - 2]).contains("not whole"));
        for cut in 3..whole.len() - 1 {
            assert!(Picture::of(&whole[..cut]).is_err(), "{cut}");
        }
        assert!(told(b"\x89PNG\r\n\x1a\n").contains("PNG"));
        assert!(told(&vec![0xff; MOST_PICTURE_BYTES + 1]).contains("at most 4000000"));
    }
}
