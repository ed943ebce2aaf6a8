//! Whose paper it is: a heading and a logo of one's own, printed with what is handed over.

use super::print::PdfError;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};
use std::fmt;

/// What stands at the top of the first page.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Letterhead {
    /// Name and address as they are printed, in one line.
    pub heading: Option<String>,
    /// A picture beside it.
    pub logo: Option<Logo>,
}

impl Letterhead {
    /// Whether there is nothing to print.
    pub fn is_empty(&self) -> bool {
        self.heading.is_none() && self.logo.is_none()
    }

    /// What whoever can't see the logo is told instead.
    pub(super) fn instead_of_logo(&self) -> String {
        match &self.heading {
            Some(heading) => format!("Logo: {heading}"),
            None => "Logo".to_owned(),
        }
    }
}

/// A PNG or SVG picture that goes into the pages whole.
#[derive(Clone, PartialEq)]
pub struct Logo {
    /// As the file has it.
    bytes: Vec<u8>,
    kind: &'static str,
    /// Its points, for paper.
    drawn: Pixmap,
}

impl fmt::Debug for Logo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Logo")
            .field("kind", &self.kind)
            .field("bytes", &self.bytes.len())
            .finish_non_exhaustive()
    }
}

/// Why a file is no logo.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum LogoError {
    /// It would make every page heavy.
    #[error("it has {0} bytes; a logo has at most 1,000,000: save it smaller")]
    TooLarge(usize),
    /// More points than any paper needs.
    #[error("it is {0} × {1} points; a logo has at most 4096 each way: save it smaller")]
    TooManyPoints(u32, u32),
    /// Neither of the two kinds.
    #[error("it is neither a PNG nor an SVG picture: save it as one of these")]
    Neither,
    /// What it begins as, it is not.
    #[error("it begins as {kind} and can't be read ({why}): save it anew")]
    Broken {
        /// PNG or SVG.
        kind: &'static str,
        /// What its reader says.
        why: String,
    },
    /// It would look different, or show nothing, on paper.
    #[error(
        "it holds {0}, which would be lost on paper: turn it into paths, or save the picture as PNG"
    )]
    NotOnlyPaths(&'static str),
}

const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";
const MOST_BYTES: usize = 1_000_000;
const MOST_POINTS: u32 = 4096;
/// How many points across an SVG is drawn for paper: 300 to the inch at 5 cm.
const ACROSS: f32 = 600.0;

impl Logo {
    /// A logo from the bytes of a PNG or SVG file.
    ///
    /// # Errors
    /// When they are no such picture, or one that can't go on paper as it is.
    pub fn of(bytes: Vec<u8>) -> Result<Self, LogoError> {
        if bytes.len() > MOST_BYTES {
            return Err(LogoError::TooLarge(bytes.len()));
        }
        if bytes.starts_with(PNG) {
            let drawn = png(&bytes)?;
            return Ok(Self {
                bytes,
                kind: "image/png",
                drawn,
            });
        }
        let drawn = svg(&bytes)?;
        Ok(Self {
            bytes,
            kind: "image/svg+xml",
            drawn,
        })
    }

    /// The picture as an address that holds it.
    pub(super) fn data_uri(&self) -> String {
        format!("data:{};base64,{}", self.kind, STANDARD.encode(&self.bytes))
    }

    /// How much wider than high it is.
    pub(super) fn shape(&self) -> f32 {
        self.drawn.width() as f32 / self.drawn.height() as f32
    }

    /// The picture for paper.
    pub(super) fn on_paper(&self) -> Result<krilla::image::Image, PdfError> {
        let (width, height) = (self.drawn.width(), self.drawn.height());
        let points = self.drawn.pixels().iter().flat_map(|point| {
            let point = point.demultiply();
            [point.red(), point.green(), point.blue(), point.alpha()]
        });
        Ok(krilla::image::Image::from_rgba8(
            points.collect(),
            width,
            height,
        ))
    }
}

fn broken(kind: &'static str, why: impl ToString) -> LogoError {
    LogoError::Broken {
        kind,
        why: why.to_string(),
    }
}

fn png(bytes: &[u8]) -> Result<Pixmap, LogoError> {
    // Width and height stand first (PNG, third edition, 11.2.1): what is too large is not unpacked.
    let number = |at: usize| {
        let four = bytes.get(at..at + 4)?.try_into().ok()?;
        Some(u32::from_be_bytes(four))
    };
    let (Some(width), Some(height)) = (number(16), number(20)) else {
        return Err(broken("PNG", "it ends too soon"));
    };
    if width > MOST_POINTS || height > MOST_POINTS {
        return Err(LogoError::TooManyPoints(width, height));
    }
    Pixmap::decode_png(bytes).map_err(|why| broken("PNG", why))
}

fn svg(bytes: &[u8]) -> Result<Pixmap, LogoError> {
    let text = std::str::from_utf8(bytes).map_err(|_| LogoError::Neither)?;
    if !text.contains("<svg") {
        return Err(LogoError::Neither);
    }
    for (begins, what) in [
        ("<text", "letters"),
        ("<image", "a picture in it"),
        ("<foreignObject", "a page in it"),
    ] {
        if text.contains(begins) {
            return Err(LogoError::NotOnlyPaths(what));
        }
    }
    let tree = Tree::from_data(bytes, &Options::default()).map_err(|why| broken("SVG", why))?;
    let scale = ACROSS / tree.size().width();
    let size = tree
        .size()
        .to_int_size()
        .scale_by(scale)
        .filter(|size| size.height() <= MOST_POINTS)
        .ok_or_else(|| broken("SVG", "its size is none"))?;
    let mut drawn = Pixmap::new(size.width(), size.height())
        .ok_or_else(|| broken("SVG", "its size is none"))?;
    resvg::render(
        &tree,
        Transform::from_scale(scale, scale),
        &mut drawn.as_mut(),
    );
    Ok(drawn)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SVG: &str = "<svg xmlns='http://www.w3.org/2000/svg' width='40' height='20'>\
        <rect width='20' height='20' fill='#a00'/></svg>";

    #[test]
    fn an_svg_is_drawn_and_kept_as_it_is() {
        let logo = Logo::of(SVG.into()).unwrap();
        assert_eq!(logo.shape(), 2.0);
        let left = logo.drawn.pixel(10, 10).unwrap();
        assert_eq!((left.red(), left.alpha()), (0xaa, 0xff));
        assert_eq!(logo.drawn.pixel(590, 10).unwrap().alpha(), 0);
        let (_, kept) = logo.data_uri().split_once(',').map(own).unwrap();
        assert_eq!(STANDARD.decode(kept).unwrap(), SVG.as_bytes());
    }

    fn own((a, b): (&str, &str)) -> (String, String) {
        (a.to_owned(), b.to_owned())
    }

    #[test]
    fn a_png_is_kept_as_it_is() {
        let png = Pixmap::new(6, 3).unwrap().encode_png().unwrap();
        let logo = Logo::of(png.clone()).unwrap();
        assert_eq!(logo.shape(), 2.0);
        assert!(logo.data_uri().starts_with("data:image/png;base64,"));
        assert!(matches!(
            Logo::of(png[..20].to_vec()),
            Err(LogoError::Broken { kind: "PNG", .. })
        ));
        let mut vast = png;
        vast[16] = 0x7f;
        assert!(matches!(Logo::of(vast), Err(LogoError::TooManyPoints(..))));
    }

    #[test]
    fn what_is_no_picture_or_would_lose_something_is_refused() {
        assert_eq!(Logo::of(b"hello".to_vec()), Err(LogoError::Neither));
        assert_eq!(Logo::of(vec![0xff; 10]), Err(LogoError::Neither));
        let lettered = SVG.replace("<rect", "<text>A</text><rect");
        assert_eq!(
            Logo::of(lettered.into()),
            Err(LogoError::NotOnlyPaths("letters"))
        );
        assert!(matches!(
            Logo::of("<svg".into()),
            Err(LogoError::Broken { kind: "SVG", .. })
        ));
        assert_eq!(
            Logo::of(vec![b' '; MOST_BYTES + 1]),
            Err(LogoError::TooLarge(MOST_BYTES + 1))
        );
    }
}
