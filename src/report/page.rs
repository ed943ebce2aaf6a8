//! Laying out text on pages of paper before they become PDF: what stands where, and what it is
//! (a heading, a list, a table), so that it can be read aloud too.

use super::letterhead::Letterhead;
use super::letters::{Face, Letters};
use super::print::PdfError;
use krilla::image::Image;

/// The long and the short side of A4, in points.
const LONG: f32 = 841.89;
const SHORT: f32 = 595.28;
pub(super) const MARGIN: f32 = 36.0;
/// The most room a logo takes.
const LOGO_WIDTH: f32 = 130.0;
const LOGO_HEIGHT: f32 = 32.0;
/// Room for the line at the foot of each page.
const FOOT: f32 = 22.0;
const LEADING: f32 = 1.28;
/// How far the text of a list stands in.
const INDENT: f32 = 10.0;

/// How dark something is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ink {
    Dark,
    Quiet,
    Rule,
    Tint,
}

/// How text is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Style {
    pub size: f32,
    pub face: Face,
    pub ink: Ink,
}

impl Style {
    pub(super) const fn plain(size: f32) -> Self {
        Self {
            size,
            face: Face::Plain,
            ink: Ink::Dark,
        }
    }

    pub(super) const fn bold(size: f32) -> Self {
        Self {
            face: Face::Bold,
            ..Self::plain(size)
        }
    }

    pub(super) const fn quiet(size: f32) -> Self {
        Self {
            ink: Ink::Quiet,
            ..Self::plain(size)
        }
    }
}

/// One thing on a page; positions in points from the top left.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum PageMark {
    Text {
        x: f32,
        y: f32,
        style: Style,
        text: String,
    },
    Box {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        ink: Ink,
    },
    Picture {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        /// Quarter turns to the right; width and height are those before it is turned.
        turned: u8,
        picture: Image,
    },
}

/// Where a mark is: its page, and its place among the marks of that page.
pub(super) type Spot = (usize, usize);

/// What a part of the text is, in the terms of ISO 32000-1, 14.8.4.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Role {
    Heading {
        level: u16,
        title: String,
    },
    Paragraph,
    /// A picture, and what is said instead of it.
    Figure {
        instead: String,
    },
    List,
    Item,
    Label,
    Body,
    Table {
        about: String,
    },
    TableHead,
    TableBody,
    Row,
    /// A cell that heads a column or a row.
    HeadCell {
        of: Heads,
        over: usize,
    },
    Cell {
        over: usize,
        /// What is read aloud where signs stand in the cell.
        aloud: Option<String>,
    },
}

/// What a head cell heads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Heads {
    Column,
    Row,
}

/// A part of the text, in the order of reading.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub role: Role,
    pub parts: Vec<Part>,
    /// What is written of it; only parts without parts of their own have any.
    pub marks: Vec<Spot>,
}

impl Part {
    pub(super) fn of_parts(role: Role, parts: Vec<Part>) -> Self {
        Self {
            role,
            parts,
            marks: Vec::new(),
        }
    }

    pub(super) fn of_marks(role: Role, marks: Vec<Spot>) -> Self {
        Self {
            role,
            parts: Vec::new(),
            marks,
        }
    }
}

/// A heading to jump to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Bookmark {
    pub level: u16,
    pub title: String,
    pub page: usize,
    pub y: f32,
}

/// How the paper lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lies {
    Across,
    Upright,
}

/// Pages that are laid out.
pub(super) struct Pages {
    pub width: f32,
    pub height: f32,
    pub letters: Letters,
    pub pages: Vec<Vec<PageMark>>,
    /// All that is to be read. A mark that is in no part is decoration, or said elsewhere: rules,
    /// tints, the foot of the page, the head of a table once more.
    pub parts: Vec<Part>,
    pub bookmarks: Vec<Bookmark>,
}

/// Pages in the making.
pub(super) struct Paper {
    pub(super) letters: Letters,
    width: f32,
    height: f32,
    pages: Vec<Vec<PageMark>>,
    parts: Vec<Part>,
    bookmarks: Vec<Bookmark>,
    pub(super) y: f32,
}

impl Paper {
    pub(super) fn new(letters: Letters, lies: Lies) -> Self {
        let (width, height) = match lies {
            Lies::Across => (LONG, SHORT),
            Lies::Upright => (SHORT, LONG),
        };
        Self {
            letters,
            width,
            height,
            pages: vec![Vec::new()],
            parts: Vec::new(),
            bookmarks: Vec::new(),
            y: MARGIN,
        }
    }

    /// How wide what is written may be.
    pub(super) fn across(&self) -> f32 {
        self.width - 2.0 * MARGIN
    }

    /// The finished pages, with a line at the foot of each.
    pub(super) fn finish(mut self, foot: &str) -> Pages {
        let count = self.pages.len();
        let style = Style::quiet(7.5);
        let (wide, high) = (self.width, self.height);
        for (n, page) in self.pages.iter_mut().enumerate() {
            let number = format!("page {} of {count}", n + 1);
            let width = self.letters.width(&number, style.face, style.size);
            let text = |x, text: &str| PageMark::Text {
                x,
                y: high - MARGIN + 6.0,
                style,
                text: text.to_owned(),
            };
            page.push(text(MARGIN, foot));
            page.push(text(wide - MARGIN - width, &number));
        }
        Pages {
            width: self.width,
            height: self.height,
            letters: self.letters,
            pages: self.pages,
            parts: self.parts,
            bookmarks: self.bookmarks,
        }
    }

    pub(super) fn put(&mut self, mark: PageMark) -> Spot {
        let page = self.pages.len().saturating_sub(1);
        match self.pages.last_mut() {
            Some(marks) => {
                marks.push(mark);
                (page, marks.len() - 1)
            }
            None => (0, 0),
        }
    }

    pub(super) fn add(&mut self, part: Part) {
        self.parts.push(part);
    }

    pub(super) fn room(&self) -> f32 {
        self.height - MARGIN - FOOT - self.y
    }

    /// Goes on at the top of a new page, unless this one is empty.
    pub(crate) fn new_page(&mut self) {
        if self.pages.last().is_some_and(|page| !page.is_empty()) {
            self.pages.push(Vec::new());
        }
        self.y = MARGIN;
    }

    /// Leaves a gap.
    pub(crate) fn gap(&mut self, points: f32) {
        self.y += points;
    }

    /// Goes on at the top of a new page where there is no room for something so high.
    pub(super) fn keep(&mut self, height: f32) {
        self.need(height);
    }

    fn need(&mut self, height: f32) {
        if self.room() < height {
            self.new_page();
        }
    }

    /// A photograph, as large as it fits into the box, shown as the camera was held.
    pub(super) fn photo(
        &mut self,
        picture: Image,
        turned: u8,
        (wide, high): (f32, f32),
        instead: String,
    ) {
        let (across, down) = picture.size();
        let (across, down) = (across.max(1) as f32, down.max(1) as f32);
        let lies = turned % 2 == 1;
        let (shown_across, shown_down) = if lies { (down, across) } else { (across, down) };
        let scale = (wide / shown_across).min(high / shown_down);
        self.keep(shown_down * scale + 12.0);
        let spot = self.put(PageMark::Picture {
            x: MARGIN,
            y: self.y,
            width: across * scale,
            height: down * scale,
            turned,
            picture,
        });
        self.add(Part::of_marks(Role::Figure { instead }, vec![spot]));
        self.y += shown_down * scale;
        self.gap(6.0);
    }

    /// One's own heading at the left, and the logo at the right of it.
    ///
    /// # Errors
    /// When the logo can't be drawn.
    pub(super) fn letterhead(&mut self, letterhead: &Letterhead) -> Result<(), PdfError> {
        if letterhead.is_empty() {
            return Ok(());
        }
        let mut below = self.y;
        if let Some(logo) = &letterhead.logo {
            let height = LOGO_HEIGHT.min(LOGO_WIDTH / logo.shape());
            let width = height * logo.shape();
            let spot = self.put(PageMark::Picture {
                x: self.width - MARGIN - width,
                y: self.y,
                width,
                height,
                turned: 0,
                picture: logo.on_paper()?,
            });
            let instead = letterhead.instead_of_logo();
            self.add(Part::of_marks(Role::Figure { instead }, vec![spot]));
            below += height;
        }
        if let Some(heading) = &letterhead.heading {
            let marks = self.written(heading, Style::bold(10.0), 0.0, LOGO_WIDTH + 20.0);
            self.add(Part::of_marks(Role::Paragraph, marks));
        }
        self.y = self.y.max(below) + 5.0;
        self.put(PageMark::Box {
            x: MARGIN,
            y: self.y,
            width: self.across(),
            height: 0.4,
            ink: Ink::Rule,
        });
        self.gap(4.0);
        Ok(())
    }

    /// The heading of all, at the top.
    pub(super) fn title(&mut self, text: &str) {
        self.headed(text, 1, 17.0);
    }

    /// A heading, kept together with what comes after it; levels count from 1, the title's.
    pub(super) fn heading(&mut self, text: &str, level: u16, size: f32) {
        self.need(size * 4.5);
        self.gap(size * 0.7);
        self.put(PageMark::Box {
            x: MARGIN,
            y: self.y - 2.0,
            width: self.across(),
            height: 1.2,
            ink: Ink::Dark,
        });
        self.headed(text, level, size);
        self.gap(size * 0.2);
    }

    fn headed(&mut self, text: &str, level: u16, size: f32) {
        let title = text.split_whitespace().collect::<Vec<_>>().join(" ");
        self.bookmarks.push(Bookmark {
            level,
            title: title.clone(),
            page: self.pages.len().saturating_sub(1),
            y: self.y,
        });
        let marks = self.written(text, Style::bold(size), 0.0, 0.0);
        self.add(Part::of_marks(Role::Heading { level, title }, marks));
    }

    /// A paragraph.
    pub(super) fn text(&mut self, text: &str, style: Style) {
        let marks = self.written(text, style, 0.0, 0.0);
        self.add(Part::of_marks(Role::Paragraph, marks));
    }

    /// Text from `indent` on, with `kept_free` left at the right.
    fn written(&mut self, text: &str, style: Style, indent: f32, kept_free: f32) -> Vec<Spot> {
        let width = self.across() - indent - kept_free;
        let step = style.size * LEADING;
        self.letters
            .lines(text, style.face, style.size, width)
            .into_iter()
            .map(|text| {
                self.need(step);
                self.y += step;
                self.put(PageMark::Text {
                    x: MARGIN + indent,
                    y: self.y - style.size * 0.2,
                    style,
                    text,
                })
            })
            .collect()
    }

    /// A title and lines in a frame to cut along.
    pub(super) fn framed(&mut self, title: &str, lines: &[String]) {
        const PAD: f32 = 10.0;
        let (big, small) = (Style::bold(16.0), Style::plain(11.5));
        let room = 2.0 * PAD;
        let width = self.across() - room;
        let height = |letters: &mut Letters, text: &str, style: Style| {
            letters.lines(text, style.face, style.size, width).len() as f32 * style.size * LEADING
        };
        let high = height(&mut self.letters, title, big)
            + lines
                .iter()
                .map(|line| height(&mut self.letters, line, small))
                .sum::<f32>()
            + room;
        self.need(high + PAD);
        let top = self.y;
        self.gap(PAD);
        for (text, style) in [(title, big)]
            .into_iter()
            .chain(lines.iter().map(|line| (line.as_str(), small)))
        {
            let marks = self.written(text, style, PAD, PAD);
            self.add(Part::of_marks(Role::Paragraph, marks));
        }
        self.gap(PAD);
        for (x, y, width, height) in [
            (MARGIN, top, self.across(), 1.0),
            (MARGIN, self.y, self.across(), 1.0),
            (MARGIN, top, 1.0, self.y - top),
            (self.width - MARGIN, top, 1.0, self.y - top),
        ] {
            self.put(PageMark::Box {
                x,
                y,
                width,
                height,
                ink: Ink::Dark,
            });
        }
        self.gap(PAD * 1.5);
    }

    /// A list, or nothing where it is empty; `label` hangs at the left of each item.
    pub(super) fn list<T: AsRef<str>>(&mut self, label: &str, items: &[T], size: f32) {
        if items.is_empty() {
            return;
        }
        let style = Style::plain(size);
        let items = items
            .iter()
            .map(|item| {
                self.need(style.size * LEADING);
                let hung = self.put(PageMark::Text {
                    x: MARGIN,
                    y: self.y + style.size * (LEADING - 0.2),
                    style,
                    text: label.to_owned(),
                });
                let body = self.written(item.as_ref(), style, INDENT, 0.0);
                let parts = vec![
                    Part::of_marks(Role::Label, vec![hung]),
                    Part::of_marks(Role::Body, body),
                ];
                Part::of_parts(Role::Item, parts)
            })
            .collect();
        self.add(Part::of_parts(Role::List, items));
    }
}
