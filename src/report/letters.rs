//! How wide text is in the two fonts of the paper, and where it breaks into lines.

use super::print::PdfError;
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::GlyphMetrics;
use skrifa::{FontRef, GlyphId, MetadataProvider, charmap::Charmap};
use std::collections::HashMap;

/// What text looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Face {
    Plain,
    Bold,
}

impl Face {
    /// The font that is built into the program, as a TrueType file.
    pub(super) fn font(self) -> &'static [u8] {
        match self {
            Self::Plain => dejavu::sans_condensed::regular(),
            Self::Bold => dejavu::sans_condensed::bold(),
        }
    }
}

/// A letter in its font.
#[derive(Debug, Clone, Copy)]
pub(super) struct Letter {
    /// Its number in the font.
    pub glyph: u32,
    /// Its width at size 1.
    pub width: f32,
}

/// Stands for a letter that the font lacks, so that a gap is seen.
const LACKING: char = '\u{25a1}';

struct Measured {
    letters: Charmap<'static>,
    widths: GlyphMetrics<'static>,
    lacking: GlyphId,
    units: f32,
}

impl Measured {
    fn of(face: Face) -> Result<Self, PdfError> {
        let font = FontRef::from_index(face.font(), 0).map_err(|_| PdfError::Fonts)?;
        let letters = font.charmap();
        let unscaled = (Size::unscaled(), LocationRef::default());
        Ok(Self {
            lacking: letters.map(LACKING).ok_or(PdfError::Fonts)?,
            widths: font.glyph_metrics(unscaled.0, unscaled.1),
            units: f32::from(font.metrics(unscaled.0, unscaled.1).units_per_em),
            letters,
        })
    }

    fn letter(&self, letter: char) -> Letter {
        let glyph = self.letters.map(letter).unwrap_or(self.lacking);
        Letter {
            glyph: glyph.to_u32(),
            width: self.widths.advance_width(glyph).unwrap_or(0.0) / self.units,
        }
    }
}

/// The letters of the fonts that go into the file.
pub(super) struct Letters {
    plain: Measured,
    bold: Measured,
    known: HashMap<(Face, char), Letter>,
}

impl Letters {
    /// The letters of the fonts that are built into the program.
    ///
    /// # Errors
    /// When they are none.
    pub(super) fn new() -> Result<Self, PdfError> {
        Ok(Self {
            plain: Measured::of(Face::Plain)?,
            bold: Measured::of(Face::Bold)?,
            known: HashMap::new(),
        })
    }

    /// A letter; a square where the font lacks it.
    pub(super) fn letter(&mut self, letter: char, face: Face) -> Letter {
        let font = match face {
            Face::Plain => &self.plain,
            Face::Bold => &self.bold,
        };
        *self
            .known
            .entry((face, letter))
            .or_insert_with(|| font.letter(letter))
    }

    /// How wide text is.
    pub(super) fn width(&mut self, text: &str, face: Face, size: f32) -> f32 {
        text.chars()
            .map(|c| self.letter(c, face).width * size)
            .sum()
    }

    /// Breaks text into lines no wider than `width`. A line that ends between two words ends with
    /// the space between them, so that whoever reads the file aloud finds where a word ends.
    pub(super) fn lines(&mut self, text: &str, face: Face, size: f32, width: f32) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = String::new();
        for word in text.split_whitespace() {
            let longer = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            if self.width(&longer, face, size) <= width {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                line.push(' ');
                lines.push(std::mem::take(&mut line));
            }
            line = self.broken(word, face, size, width, &mut lines);
        }
        if !line.is_empty() || lines.is_empty() {
            lines.push(line);
        }
        lines
    }

    /// A word wider than the line is broken where it must; its last part comes back.
    fn broken(
        &mut self,
        word: &str,
        face: Face,
        size: f32,
        width: f32,
        lines: &mut Vec<String>,
    ) -> String {
        let mut part = String::new();
        for letter in word.chars() {
            let mut longer = part.clone();
            longer.push(letter);
            if !part.is_empty() && self.width(&longer, face, size) > width {
                lines.push(std::mem::take(&mut part));
                part.push(letter);
            } else {
                part = longer;
            }
        }
        part
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_it_may_be_and_no_word_is_lost() {
        let mut letters = Letters::new().unwrap();
        let text = "Insulation resistance line to neutral at five hundred volts, more than nine hundred and ninety nine";
        let lines = letters.lines(text, Face::Plain, 9.0, 120.0);
        assert!(lines.len() > 1);
        for line in &lines {
            let width = letters.width(line.trim_end(), Face::Plain, 9.0);
            assert!(width <= 120.0, "{line}");
        }
        assert_eq!(lines.concat(), text);
    }

    #[test]
    fn a_word_too_long_for_its_column_is_broken_and_kept_whole() {
        let mut letters = Letters::new().unwrap();
        let lines = letters.lines("MFT-0042-0042-0042-0042", Face::Bold, 9.0, 40.0);
        assert!(lines.len() > 1);
        assert_eq!(lines.concat(), "MFT-0042-0042-0042-0042");
    }

    #[test]
    fn a_letter_that_the_font_lacks_is_drawn_as_a_square() {
        let mut letters = Letters::new().unwrap();
        let lacking = letters.letter('漢', Face::Plain);
        assert_eq!(lacking.glyph, letters.letter(LACKING, Face::Plain).glyph);
        assert!(lacking.width > 0.0);
    }
}
