//! Laying out text, tables and rules on pages of paper, before they become PDF.

use std::collections::HashMap;

/// A4 across, in points.
pub(crate) const WIDTH: f32 = 841.89;
pub(crate) const HEIGHT: f32 = 595.28;
const MARGIN: f32 = 36.0;
/// Room for the line at the foot of each page.
const FOOT: f32 = 22.0;
const LEADING: f32 = 1.28;

/// What text looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Face {
    Plain,
    Bold,
}

/// How dark something is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ink {
    Dark,
    Quiet,
    Rule,
    Tint,
}

/// One thing on a page; positions in points from the top left.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Mark {
    Text {
        x: f32,
        y: f32,
        size: f32,
        face: Face,
        ink: Ink,
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

/// Widths of letters, measured in the fonts that are embedded.
pub(crate) struct Letters<'f> {
    plain: ttf_parser::Face<'f>,
    bold: ttf_parser::Face<'f>,
    known: HashMap<(Face, char), f32>,
}

impl<'f> Letters<'f> {
    /// From two fonts.
    ///
    /// # Errors
    /// When they are none.
    pub(crate) fn of(
        plain: &'f [u8],
        bold: &'f [u8],
    ) -> Result<Self, ttf_parser::FaceParsingError> {
        Ok(Self {
            plain: ttf_parser::Face::parse(plain, 0)?,
            bold: ttf_parser::Face::parse(bold, 0)?,
            known: HashMap::new(),
        })
    }

    fn width(&mut self, text: &str, face: Face, size: f32) -> f32 {
        text.chars().map(|c| self.letter(c, face) * size).sum()
    }

    /// Width of a letter at size 1.
    fn letter(&mut self, letter: char, face: Face) -> f32 {
        let font = match face {
            Face::Plain => &self.plain,
            Face::Bold => &self.bold,
        };
        *self.known.entry((face, letter)).or_insert_with(|| {
            let glyph = font.glyph_index(letter).unwrap_or_default();
            f32::from(font.glyph_hor_advance(glyph).unwrap_or(0)) / f32::from(font.units_per_em())
        })
    }

    /// Breaks text into lines no wider than `width`.
    fn lines(&mut self, text: &str, face: Face, size: f32, width: f32) -> Vec<String> {
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

/// One cell of a table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TableCell {
    pub text: String,
    pub face: Face,
    /// How many columns it goes over.
    pub over: usize,
}

impl TableCell {
    pub(crate) fn plain(text: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            face: Face::Plain,
            over: 1,
        }
    }

    pub(crate) fn bold(text: impl Into<String>) -> Self {
        Self {
            face: Face::Bold,
            ..Self::plain(text)
        }
    }

    /// The same over several columns.
    #[must_use]
    pub(crate) fn over(self, over: usize) -> Self {
        Self { over, ..self }
    }
}

/// A table: the rows of its head come again on every page.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Table {
    pub head: Vec<Vec<TableCell>>,
    pub rows: Vec<Vec<TableCell>>,
    pub size: f32,
}

/// Pages in the making.
pub(crate) struct Paper<'f> {
    letters: Letters<'f>,
    pages: Vec<Vec<Mark>>,
    y: f32,
}

impl<'f> Paper<'f> {
    pub(crate) fn new(letters: Letters<'f>) -> Self {
        Self {
            letters,
            pages: vec![Vec::new()],
            y: MARGIN,
        }
    }

    /// The finished pages, with a line at the foot of each.
    pub(crate) fn finish(mut self, foot: &str) -> Vec<Vec<Mark>> {
        let count = self.pages.len();
        for (n, page) in self.pages.iter_mut().enumerate() {
            let number = format!("page {} of {count}", n + 1);
            let width = self.letters.width(&number, Face::Plain, 7.5);
            let y = HEIGHT - MARGIN + 6.0;
            let text = |x, text: &str| Mark::Text {
                x,
                y,
                size: 7.5,
                face: Face::Plain,
                ink: Ink::Quiet,
                text: text.to_owned(),
            };
            page.push(text(MARGIN, foot));
            page.push(text(WIDTH - MARGIN - width, &number));
        }
        self.pages
    }

    fn put(&mut self, mark: Mark) {
        if let Some(page) = self.pages.last_mut() {
            page.push(mark);
        }
    }

    fn room(&self) -> f32 {
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

    /// A heading, kept together with what comes after it.
    pub(crate) fn heading(&mut self, text: &str, size: f32) {
        self.need(size * 4.5);
        self.gap(size * 0.7);
        if size < 16.0 {
            self.put(Mark::Box {
                x: MARGIN,
                y: self.y - 2.0,
                width: WIDTH - 2.0 * MARGIN,
                height: 1.2,
                ink: Ink::Dark,
            });
        }
        self.text(text, size, Face::Bold, Ink::Dark, 0.0, None);
        self.gap(size * 0.2);
    }

    /// A paragraph; `mark` hangs at its left.
    pub(crate) fn text(
        &mut self,
        text: &str,
        size: f32,
        face: Face,
        ink: Ink,
        indent: f32,
        mark: Option<&str>,
    ) {
        let width = WIDTH - 2.0 * MARGIN - indent;
        let step = size * LEADING;
        for (n, line) in self
            .letters
            .lines(text, face, size, width)
            .into_iter()
            .enumerate()
        {
            self.need(step);
            self.y += step;
            let y = self.y - size * 0.2;
            if let (0, Some(mark)) = (n, mark) {
                self.put(Mark::Text {
                    x: MARGIN,
                    y,
                    size,
                    face,
                    ink,
                    text: mark.to_owned(),
                });
            }
            self.put(Mark::Text {
                x: MARGIN + indent,
                y,
                size,
                face,
                ink,
                text: line,
            });
        }
    }

    /// A list, or a sentence where it is empty.
    pub(crate) fn list(&mut self, items: &[String], none: &str) {
        if items.is_empty() {
            self.text(none, 8.5, Face::Plain, Ink::Quiet, 0.0, None);
        }
        for item in items {
            self.text(item, 8.5, Face::Plain, Ink::Dark, 10.0, Some("•"));
        }
    }

    /// A table as wide as the page.
    pub(crate) fn table(&mut self, table: &Table) {
        let widths = self.widths(table);
        let head: Vec<Laid> = table
            .head
            .iter()
            .map(|row| self.lay(row, &widths, table.size))
            .collect();
        let head_height: f32 = head.iter().map(|row| row.height).sum();
        let mut begin = true;
        for (n, row) in table.rows.iter().enumerate() {
            let laid = self.lay(row, &widths, table.size);
            if begin || self.room() < laid.height {
                if !begin || self.room() < head_height + laid.height {
                    self.new_page();
                }
                for row in &head {
                    self.draw(row, &widths, table.size, Ink::Dark, false);
                }
                begin = false;
            }
            self.draw(&laid, &widths, table.size, Ink::Rule, n % 2 == 1);
        }
        self.gap(6.0);
    }

    /// Widths of the columns: each as wide as its longest word, and what is left shared out by
    /// how much more each could use.
    fn widths(&mut self, table: &Table) -> Vec<f32> {
        let rows = || table.head.iter().chain(&table.rows);
        let columns = rows()
            .map(|row| row.iter().map(|cell| cell.over).sum())
            .max()
            .unwrap_or(0);
        let mut least = vec![0.0f32; columns];
        let mut most = vec![0.0f32; columns];
        for row in rows() {
            let mut column = 0;
            for cell in row {
                if cell.over == 1 && column < columns {
                    let word = cell
                        .text
                        .split_whitespace()
                        .map(|word| self.letters.width(word, cell.face, table.size))
                        .fold(0.0, f32::max);
                    let whole = self.letters.width(&cell.text, cell.face, table.size);
                    least[column] = least[column].max(word + PADDING);
                    most[column] = most[column].max(whole + PADDING);
                }
                column += cell.over;
            }
        }
        let page = WIDTH - 2.0 * MARGIN;
        let (low, high): (f32, f32) = (least.iter().sum(), most.iter().sum());
        if high <= page {
            let scale = page / high.max(1.0);
            return most.iter().map(|w| w * scale).collect();
        }
        if low >= page {
            let scale = page / low;
            return least.iter().map(|w| w * scale).collect();
        }
        let share = (page - low) / (high - low);
        least
            .iter()
            .zip(&most)
            .map(|(least, most)| least + (most - least) * share)
            .collect()
    }

    fn lay(&mut self, row: &[TableCell], widths: &[f32], size: f32) -> Laid {
        let mut cells = Vec::new();
        let mut column = 0;
        let mut most = 1;
        for cell in row {
            let width: f32 = widths.iter().skip(column).take(cell.over).sum();
            // A hair more, so that rounding never breaks a word that its column was made for.
            let room = width - PADDING + 0.05;
            let lines = self.letters.lines(&cell.text, cell.face, size, room);
            most = most.max(lines.len());
            cells.push((column, cell.face, lines));
            column += cell.over;
        }
        Laid {
            cells,
            height: most as f32 * size * 1.2 + 3.2,
        }
    }

    fn draw(&mut self, row: &Laid, widths: &[f32], size: f32, rule: Ink, tinted: bool) {
        let page = WIDTH - 2.0 * MARGIN;
        if tinted {
            self.put(Mark::Box {
                x: MARGIN,
                y: self.y,
                width: page,
                height: row.height,
                ink: Ink::Tint,
            });
        }
        for (column, face, lines) in &row.cells {
            let x = MARGIN + widths.iter().take(*column).sum::<f32>();
            for (n, line) in lines.iter().enumerate() {
                self.put(Mark::Text {
                    x: x + 1.0,
                    y: self.y + 1.4 + size * (1.2 * n as f32 + 0.95),
                    size,
                    face: *face,
                    ink: Ink::Dark,
                    text: line.clone(),
                });
            }
        }
        self.y += row.height;
        self.put(Mark::Box {
            x: MARGIN,
            y: self.y - 0.5,
            width: page,
            height: if rule == Ink::Dark { 0.8 } else { 0.4 },
            ink: rule,
        });
    }
}

const PADDING: f32 = 5.0;

struct Laid {
    cells: Vec<(usize, Face, Vec<String>)>,
    height: f32,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn letters() -> Letters<'static> {
        Letters::of(
            dejavu::sans_condensed::regular(),
            dejavu::sans_condensed::bold(),
        )
        .unwrap()
    }

    #[test]
    fn no_line_is_wider_than_it_may_be_and_no_word_is_lost() {
        let mut letters = letters();
        let text = "Insulation resistance line to neutral at five hundred volts, more than nine hundred and ninety nine";
        let lines = letters.lines(text, Face::Plain, 9.0, 120.0);
        for line in &lines {
            assert!(letters.width(line, Face::Plain, 9.0) <= 120.0, "{line}");
        }
        assert_eq!(lines.join(" "), text);
    }

    #[test]
    fn a_word_too_long_for_its_column_is_broken_and_kept_whole() {
        let mut letters = letters();
        let lines = letters.lines("MFT-0042-0042-0042-0042", Face::Bold, 9.0, 40.0);
        assert!(lines.len() > 1);
        assert_eq!(lines.concat(), "MFT-0042-0042-0042-0042");
    }

    #[test]
    fn a_long_table_repeats_its_head_on_every_page() {
        let mut paper = Paper::new(letters());
        let row = |text: &str| vec![TableCell::plain(text), TableCell::plain("0.34")];
        paper.table(&Table {
            head: vec![vec![TableCell::bold("Circuit"), TableCell::bold("Zs")]],
            rows: (0..200).map(|n| row(&n.to_string())).collect(),
            size: 8.0,
        });
        let pages = paper.finish("foot");
        assert!(pages.len() > 1);
        for page in pages {
            let head = page
                .iter()
                .filter(|mark| matches!(mark, Mark::Text { text, .. } if text == "Circuit"));
            assert_eq!(head.count(), 1);
        }
    }
}
