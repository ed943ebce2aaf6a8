//! Pages as PDF 1.7 (ISO 32000-1), with the letters that are used of two fonts in the file.

use super::page::{Face, HEIGHT, Ink, Mark, WIDTH};
use miniz_oxide::deflate::compress_to_vec_zlib;
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use std::collections::BTreeMap;
use subsetter::GlyphRemapper;

/// No PDF can be made: the fonts that are built into this program can't be read.
#[derive(Debug, thiserror::Error)]
#[error("the fonts that are built into this program can't be read: get a whole copy of it")]
pub struct PdfError;

const PLAIN: Name = Name(b"Plain");
const BOLD: Name = Name(b"Bold");
const COMPRESSION: u8 = 6;
const IDENTITY: SystemInfo = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};

/// The pages as one file. The same pages give the same bytes.
///
/// # Errors
/// When a font can't be read.
pub(crate) fn printed(
    pages: &[Vec<Mark>],
    fonts: [&[u8]; 2],
    title: &str,
    program: &str,
) -> Result<Vec<u8>, PdfError> {
    let [mut plain, mut bold] = [Used::of(fonts[0])?, Used::of(fonts[1])?];
    let mut pdf = Pdf::new();
    let mut numbers = (1..).map(Ref::new);
    let mut number = || numbers.next().unwrap_or(Ref::new(1));
    let (catalog, tree, information) = (number(), number(), number());
    let (plain_font, bold_font) = (number(), number());
    let mut leaves = Vec::new();
    for marks in pages {
        let (leaf, content) = (number(), number());
        leaves.push(leaf);
        let mut page = pdf.page(leaf);
        page.media_box(Rect::new(0.0, 0.0, WIDTH, HEIGHT));
        page.parent(tree);
        page.contents(content);
        page.resources()
            .fonts()
            .pair(PLAIN, plain_font)
            .pair(BOLD, bold_font);
        page.finish();
        let drawn = drawn(marks, &mut plain, &mut bold);
        let packed = compress_to_vec_zlib(&drawn, COMPRESSION);
        pdf.stream(content, &packed).filter(Filter::FlateDecode);
    }
    let count = i32::try_from(leaves.len()).unwrap_or(i32::MAX);
    pdf.pages(tree).kids(leaves).count(count);
    pdf.catalog(catalog).pages(tree).lang(TextStr("en-GB"));
    pdf.document_info(information)
        .title(TextStr(title))
        .creator(TextStr(program));
    for (used, font, name) in [
        (&plain, plain_font, "BHPLNA+DejaVuSansCondensed"),
        (&bold, bold_font, "BHBLDA+DejaVuSansCondensed-Bold"),
    ] {
        used.embed(&mut pdf, font, name, &mut number)?;
    }
    Ok(pdf.finish())
}

/// A font and the letters of it that were used.
struct Used<'f> {
    bytes: &'f [u8],
    face: ttf_parser::Face<'f>,
    glyphs: GlyphRemapper,
    letters: BTreeMap<u16, (char, u16)>,
}

impl<'f> Used<'f> {
    fn of(bytes: &'f [u8]) -> Result<Self, PdfError> {
        Ok(Self {
            bytes,
            face: ttf_parser::Face::parse(bytes, 0).map_err(|_| PdfError)?,
            glyphs: GlyphRemapper::new(),
            letters: BTreeMap::new(),
        })
    }

    /// Text as glyph numbers of the font in the file, two bytes each.
    fn encoded(&mut self, text: &str) -> Vec<u8> {
        text.chars()
            .flat_map(|letter| {
                let glyph = self.face.glyph_index(letter).unwrap_or_default().0;
                let own = self.glyphs.remap(glyph);
                self.letters.entry(own).or_insert((letter, glyph));
                own.to_be_bytes()
            })
            .collect()
    }

    /// A length in the font's own units as thousandths of its size.
    fn thousandths(&self, units: f32) -> f32 {
        units * 1000.0 / f32::from(self.face.units_per_em())
    }

    fn embed(
        &self,
        pdf: &mut Pdf,
        font: Ref,
        name: &str,
        number: &mut impl FnMut() -> Ref,
    ) -> Result<(), PdfError> {
        let name = Name(name.as_bytes());
        let (cid, descriptor, map, file) = (number(), number(), number(), number());
        pdf.type0_font(font)
            .base_font(name)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(map);
        let mut cid_font = pdf.cid_font(cid);
        cid_font
            .subtype(CidFontType::Type2)
            .base_font(name)
            .system_info(IDENTITY)
            .font_descriptor(descriptor)
            .default_width(0.0)
            .cid_to_gid_map_predefined(Name(b"Identity"));
        let mut widths = cid_font.widths();
        for (own, (_, glyph)) in &self.letters {
            let width = self.face.glyph_hor_advance(ttf_parser::GlyphId(*glyph));
            widths.same(*own, *own, self.thousandths(f32::from(width.unwrap_or(0))));
        }
        widths.finish();
        cid_font.finish();
        let bounds = self.face.global_bounding_box();
        let rect = Rect::new(
            self.thousandths(f32::from(bounds.x_min)),
            self.thousandths(f32::from(bounds.y_min)),
            self.thousandths(f32::from(bounds.x_max)),
            self.thousandths(f32::from(bounds.y_max)),
        );
        let ascender = self.thousandths(f32::from(self.face.ascender()));
        let capitals = self.face.capital_height().map(f32::from);
        pdf.font_descriptor(descriptor)
            .name(name)
            .flags(FontFlags::NON_SYMBOLIC)
            .bbox(rect)
            .italic_angle(0.0)
            .ascent(ascender)
            .descent(self.thousandths(f32::from(self.face.descender())))
            .cap_height(capitals.map_or(ascender, |units| self.thousandths(units)))
            .stem_v(80.0)
            .font_file2(file);
        let mut unicode = UnicodeCmap::new(Name(b"Letters"), IDENTITY);
        for (own, (letter, _)) in &self.letters {
            unicode.pair(*own, *letter);
        }
        pdf.cmap(map, &unicode.finish());
        let subset = subsetter::subset(self.bytes, 0, &self.glyphs).map_err(|_| PdfError)?;
        let packed = compress_to_vec_zlib(&subset, COMPRESSION);
        pdf.stream(file, &packed)
            .filter(Filter::FlateDecode)
            .pair(Name(b"Length1"), i32::try_from(subset.len()).unwrap_or(0));
        Ok(())
    }
}

/// What is drawn on a page. PDF counts from the bottom, the marks from the top.
fn drawn<'f>(marks: &[Mark], plain: &mut Used<'f>, bold: &mut Used<'f>) -> Vec<u8> {
    let mut content = Content::new();
    for mark in marks {
        match mark {
            Mark::Box {
                x,
                y,
                width,
                height,
                ink,
            } => {
                colour(&mut content, *ink);
                content
                    .rect(*x, HEIGHT - y - height, *width, *height)
                    .fill_nonzero();
            }
            Mark::Text {
                x,
                y,
                size,
                face,
                ink,
                text,
            } => {
                let (font, used) = match face {
                    Face::Plain => (PLAIN, &mut *plain),
                    Face::Bold => (BOLD, &mut *bold),
                };
                colour(&mut content, *ink);
                content
                    .begin_text()
                    .set_font(font, *size)
                    .next_line(*x, HEIGHT - y)
                    .show(Str(&used.encoded(text)))
                    .end_text();
            }
        }
    }
    content.finish().to_vec()
}

fn colour(content: &mut Content, ink: Ink) {
    let (red, green, blue) = match ink {
        Ink::Dark => (0.11, 0.14, 0.13),
        Ink::Quiet => (0.33, 0.38, 0.36),
        Ink::Rule => (0.75, 0.77, 0.75),
        Ink::Tint => (0.95, 0.95, 0.92),
    };
    content.set_fill_rgb(red, green, blue);
}
