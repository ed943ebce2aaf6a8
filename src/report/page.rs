//! Laying out text on pages of paper before they become PDF: what stands where, and what it is
//! (a heading, a list, a table), so that it can be read aloud too.

use super::letters::{Face, Letters};

/// A4 across, in points.
pub(super) const WIDTH: f32 = 841.89;
pub(super) const HEIGHT: f32 = 595.28;
pub(super) const MARGIN: f32 = 36.0;
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
pub(crate) enum Mark {
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

/// Pages that are laid out.
pub(super) struct Pages {
    pub letters: Letters,
    pub pages: Vec<Vec<Mark>>,
    /// All that is to be read. A mark that is in no part is decoration, or said elsewhere: rules,
    /// tints, the foot of the page, the head of a table once more.
    pub parts: Vec<Part>,
    pub bookmarks: Vec<Bookmark>,
}

/// Pages in the making.
pub(super) struct Paper {
    pub(super) letters: Letters,
    pages: Vec<Vec<Mark>>,
    parts: Vec<Part>,
    bookmarks: Vec<Bookmark>,
    pub(super) y: f32,
}

impl Paper {
    pub(super) fn new(letters: Letters) -> Self {
        Self {
            letters,
            pages: vec![Vec::new()],
            parts: Vec::new(),
            bookmarks: Vec::new(),
            y: MARGIN,
        }
    }

    /// The finished pages, with a line at the foot of each.
    pub(super) fn finish(mut self, foot: &str) -> Pages {
        let count = self.pages.len();
        let style = Style::quiet(7.5);
        for (n, page) in self.pages.iter_mut().enumerate() {
            let number = format!("page {} of {count}", n + 1);
            let width = self.letters.width(&number, style.face, style.size);
            let text = |x, text: &str| Mark::Text {
                x,
                y: HEIGHT - MARGIN + 6.0,
                style,
                text: text.to_owned(),
            };
            page.push(text(MARGIN, foot));
            page.push(text(WIDTH - MARGIN - width, &number));
        }
        Pages {
            letters: self.letters,
            pages: self.pages,
            parts: self.parts,
            bookmarks: self.bookmarks,
        }
    }

    pub(super) fn put(&mut self, mark: Mark) -> Spot {
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
        HEIGHT - MARGIN - FOOT - self.y
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

    fn need(&mut self, height: f32) {
        if self.room() < height {
            self.new_page();
        }
    }

    /// The heading of all, at the top.
    pub(super) fn title(&mut self, text: &str) {
        self.headed(text, 1, 20.0);
    }

    /// A heading, kept together with what comes after it; levels count from 1, the title's.
    pub(super) fn heading(&mut self, text: &str, level: u16, size: f32) {
        self.need(size * 4.5);
        self.gap(size * 0.7);
        self.put(Mark::Box {
            x: MARGIN,
            y: self.y - 2.0,
            width: WIDTH - 2.0 * MARGIN,
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
        let marks = self.written(text, Style::bold(size), 0.0);
        self.add(Part::of_marks(Role::Heading { level, title }, marks));
    }

    /// A paragraph.
    pub(super) fn text(&mut self, text: &str, style: Style) {
        let marks = self.written(text, style, 0.0);
        self.add(Part::of_marks(Role::Paragraph, marks));
    }

    fn written(&mut self, text: &str, style: Style, indent: f32) -> Vec<Spot> {
        let width = WIDTH - 2.0 * MARGIN - indent;
        let step = style.size * LEADING;
        self.letters
            .lines(text, style.face, style.size, width)
            .into_iter()
            .map(|text| {
                self.need(step);
                self.y += step;
                self.put(Mark::Text {
                    x: MARGIN + indent,
                    y: self.y - style.size * 0.2,
                    style,
                    text,
                })
            })
            .collect()
    }

    /// A list, or a sentence where it is empty; `label` hangs at the left of each item.
    pub(super) fn list<T: AsRef<str>>(&mut self, label: &str, items: &[T], none: &str) {
        if items.is_empty() {
            if !none.is_empty() {
                self.text(none, Style::quiet(8.5));
            }
            return;
        }
        let style = Style::plain(8.5);
        let items = items
            .iter()
            .map(|item| {
                self.need(style.size * LEADING);
                let hung = self.put(Mark::Text {
                    x: MARGIN,
                    y: self.y + style.size * (LEADING - 0.2),
                    style,
                    text: label.to_owned(),
                });
                let body = self.written(item.as_ref(), style, INDENT);
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
