//! Pages as tagged PDF 1.7 (ISO 32000-1) by `krilla`, checked against PDF/UA-1 (ISO 14289-1), so
//! that a screen reader finds headings, lists and tables in it. The same pages give the same bytes.

use super::letters::{Face, Letters};
use super::page::{Bookmark, Heads, Ink, PageMark, Pages, Part, Role, Spot, Style};
use krilla::color::rgb;
use krilla::configure::{Accessibility, ConfigurationBuilder, PdfVersion};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, ListNumbering, SpanTag, TableHeaderScope, Tag,
    TagGroup, TagKind, TagTree,
};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Document, SerializeSettings};
use std::collections::{BTreeSet, HashMap};
use std::num::{NonZeroU16, NonZeroU32};

/// No PDF can be made.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// The fonts that are built in can't be read.
    #[error("the fonts that are built into this program can't be read: get a whole copy of it")]
    Fonts,
    /// The PDF would break the rules it is held to, or can't be written.
    #[error(
        "no PDF can be made of this: {0}; make the web page instead (--html) and print that, and \
         tell who makes this program"
    )]
    NotWhole(String),
}

/// The language of all that is written here.
const LANGUAGE: &str = "en-GB";

/// The pages as one file.
///
/// # Errors
/// When a font can't be read, or the file would not keep to its standard.
pub(super) fn printed(laid: Pages, title: &str, program: &str) -> Result<Vec<u8>, PdfError> {
    let Pages {
        width,
        height,
        letters,
        pages,
        parts,
        bookmarks,
    } = laid;
    let configuration = ConfigurationBuilder::new()
        .with_version(PdfVersion::Pdf17)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|why| PdfError::NotWhole(format!("{why:?}")))?;
    let mut document = Document::new_with(SerializeSettings {
        configuration,
        ..SerializeSettings::default()
    });
    let mut pen = Pen {
        letters,
        plain: font(Face::Plain)?,
        bold: font(Face::Bold)?,
        read: BTreeSet::new(),
        written: HashMap::new(),
    };
    for part in &parts {
        pen.mark_read(part);
    }
    for (number, marks) in pages.iter().enumerate() {
        let size = PageSettings::from_wh(width, height)
            .ok_or_else(|| PdfError::NotWhole("its paper has no size".to_owned()))?;
        let mut page = document.start_page_with(size);
        let mut surface = page.surface();
        for (n, mark) in marks.iter().enumerate() {
            pen.draw(&mut surface, (number, n), mark);
        }
        surface.finish();
        page.finish();
    }
    let mut tree = TagTree::new().with_lang(Some(LANGUAGE.to_owned()));
    for part in &parts {
        tree.push(pen.group(part));
    }
    document.set_tag_tree(tree);
    document.set_outline(outline(&bookmarks));
    document.set_metadata(
        Metadata::new()
            .title(title.to_owned())
            .language(LANGUAGE.to_owned())
            .creator(program.to_owned()),
    );
    document
        .finish()
        .map_err(|why| PdfError::NotWhole(why.to_string()))
}

fn font(face: Face) -> Result<Font, PdfError> {
    Font::new(face.font().into(), 0).ok_or(PdfError::Fonts)
}

/// Headings of the second level, with those of the third under them.
fn outline(bookmarks: &[Bookmark]) -> Outline {
    let mut outline = Outline::new();
    let mut open: Option<OutlineNode> = None;
    for mark in bookmarks {
        let to = XyzDestination::new(mark.page, Point::from_xy(0.0, mark.y));
        let node = OutlineNode::new(mark.title.clone(), to);
        match &mut open {
            Some(above) if mark.level > 2 => above.push_child(node),
            _ => {
                if let Some(done) = open.replace(node) {
                    outline.push_child(done);
                }
            }
        }
    }
    if let Some(done) = open {
        outline.push_child(done);
    }
    outline
}

/// What draws the marks, and remembers which are to be read.
struct Pen {
    letters: Letters,
    plain: Font,
    bold: Font,
    read: BTreeSet<Spot>,
    written: HashMap<Spot, Identifier>,
}

impl Pen {
    fn mark_read(&mut self, part: &Part) {
        self.read.extend(&part.marks);
        for part in &part.parts {
            self.mark_read(part);
        }
    }

    fn draw(&mut self, surface: &mut Surface<'_>, spot: Spot, mark: &PageMark) {
        let tag = match mark {
            PageMark::Text { .. } if self.read.contains(&spot) => {
                ContentTag::Span(SpanTag::empty())
            }
            PageMark::Text { .. } => artifact(ArtifactType::PaginationOther),
            PageMark::Picture { .. } if self.read.contains(&spot) => ContentTag::Other,
            PageMark::Box { .. } | PageMark::Picture { .. } => artifact(ArtifactType::Layout),
        };
        let identifier = surface.start_tagged(tag);
        match mark {
            PageMark::Text { x, y, style, text } => {
                self.text(surface, Point::from_xy(*x, *y), *style, text);
            }
            PageMark::Box {
                x,
                y,
                width,
                height,
                ink,
            } => filled(surface, [*x, *y, *width, *height], *ink),
            PageMark::Picture {
                x,
                y,
                width,
                height,
                turned,
                picture,
            } => {
                if let Some(size) = Size::from_wh(*width, *height) {
                    // Turned round its corner, and moved back to where it should stand.
                    let (w, h) = (*width, *height);
                    let placed = match turned % 4 {
                        1 => Transform::from_row(0.0, 1.0, -1.0, 0.0, x + h, *y),
                        2 => Transform::from_row(-1.0, 0.0, 0.0, -1.0, x + w, y + h),
                        3 => Transform::from_row(0.0, -1.0, 1.0, 0.0, *x, y + w),
                        _ => Transform::from_translate(*x, *y),
                    };
                    surface.push_transform(&placed);
                    surface.draw_image(picture.clone(), size);
                    surface.pop();
                }
            }
        }
        surface.end_tagged();
        if self.read.contains(&spot) {
            self.written.insert(spot, identifier);
        }
    }

    fn text(&mut self, surface: &mut Surface<'_>, at: Point, style: Style, text: &str) {
        // Numbers that stand for no letter have no place in a PDF.
        let text: String = text
            .chars()
            .filter(|letter| !matches!(letter, '\0' | '\u{feff}' | '\u{fffe}'))
            .collect();
        let glyphs: Vec<KrillaGlyph> = text
            .char_indices()
            .map(|(from, letter)| {
                let found = self.letters.letter(letter, style.face);
                let to = from + letter.len_utf8();
                KrillaGlyph::new(
                    GlyphId::new(found.glyph),
                    found.width,
                    0.0,
                    0.0,
                    0.0,
                    from..to,
                    None,
                )
            })
            .collect();
        if glyphs.is_empty() {
            return;
        }
        let font = match style.face {
            Face::Plain => &self.plain,
            Face::Bold => &self.bold,
        };
        surface.set_fill(Some(fill(style.ink)));
        surface.draw_glyphs(at, &glyphs, font.clone(), &text, style.size, false);
    }

    fn group(&self, part: &Part) -> TagGroup {
        let mut group = TagGroup::new(kind(&part.role));
        for part in &part.parts {
            group.push(self.group(part));
        }
        for identifier in part.marks.iter().filter_map(|spot| self.written.get(spot)) {
            group.push(*identifier);
        }
        group
    }
}

fn artifact(kind: ArtifactType) -> ContentTag<'static> {
    ContentTag::Artifact(Artifact::with_kind(kind))
}

/// What a part is called in the file.
fn kind(role: &Role) -> TagKind {
    let over = |columns: usize| {
        u32::try_from(columns)
            .ok()
            .filter(|columns| *columns > 1)
            .and_then(NonZeroU32::new)
    };
    match role {
        Role::Heading { level, title } => Tag::Hn(
            NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN),
            Some(title.clone()),
        )
        .into(),
        Role::Paragraph => Tag::P.into(),
        Role::Figure { instead } => Tag::Figure(Some(instead.clone())).into(),
        Role::List => Tag::L(ListNumbering::Disc).into(),
        Role::Item => Tag::LI.into(),
        Role::Label => Tag::Lbl.into(),
        Role::Body => Tag::LBody.into(),
        Role::Table { about } => Tag::Table.with_summary(Some(about.clone())).into(),
        Role::TableHead => Tag::THead.into(),
        Role::TableBody => Tag::TBody.into(),
        Role::Row => Tag::TR.into(),
        Role::HeadCell { of, over: columns } => {
            let scope = match of {
                Heads::Column => TableHeaderScope::Column,
                Heads::Row => TableHeaderScope::Row,
            };
            Tag::TH(scope).with_col_span(over(*columns)).into()
        }
        Role::Cell {
            over: columns,
            aloud,
        } => Tag::TD
            .with_col_span(over(*columns))
            .with_alt_text(aloud.clone())
            .into(),
    }
}

fn filled(surface: &mut Surface<'_>, [x, y, width, height]: [f32; 4], ink: Ink) {
    let path = Rect::from_xywh(x, y, width, height).and_then(|rect| {
        let mut path = PathBuilder::new();
        path.push_rect(rect);
        path.finish()
    });
    if let Some(path) = path {
        surface.set_fill(Some(fill(ink)));
        surface.draw_path(&path);
    }
}

fn fill(ink: Ink) -> Fill {
    let colour = match ink {
        Ink::Dark => rgb::Color::new(28, 36, 33),
        Ink::Quiet => rgb::Color::new(84, 97, 92),
        Ink::Rule => rgb::Color::new(191, 196, 191),
        Ink::Tint => rgb::Color::new(242, 242, 235),
    };
    Fill {
        paint: colour.into(),
        ..Fill::default()
    }
}
