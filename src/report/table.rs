//! Tables on paper: how wide their columns are, and what their cells are when read aloud.

use super::letters::Face;
use super::page::{Heads, Ink, MARGIN, PageMark, Paper, Part, Role, Spot, Style};

/// One cell of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TableCell {
    text: String,
    face: Face,
    /// How many columns it goes over.
    over: usize,
    heads: Option<Heads>,
    aloud: Option<String>,
}

impl TableCell {
    pub(super) fn plain(text: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            face: Face::Plain,
            over: 1,
            heads: None,
            aloud: None,
        }
    }

    pub(super) fn bold(text: impl Into<String>) -> Self {
        Self {
            face: Face::Bold,
            ..Self::plain(text)
        }
    }

    /// A bold cell that heads its column, or its row.
    pub(super) fn head(text: impl Into<String>, heads: Heads) -> Self {
        Self {
            heads: Some(heads),
            ..Self::bold(text)
        }
    }

    /// The same over several columns.
    #[must_use]
    pub(super) fn over(self, over: usize) -> Self {
        Self { over, ..self }
    }

    /// The same as the head of its row, looking as it does.
    #[must_use]
    pub(super) fn heading_row(self) -> Self {
        Self {
            heads: Some(Heads::Row),
            ..self
        }
    }

    /// The same, read aloud as this where signs stand in it.
    #[must_use]
    pub(super) fn aloud(self, words: String) -> Self {
        Self {
            aloud: Some(words),
            ..self
        }
    }
}

/// A table: the rows of its head come again on every page.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Table {
    /// What it is a table of, for whoever can't see it.
    pub about: String,
    pub head: Vec<Vec<TableCell>>,
    pub rows: Vec<Vec<TableCell>>,
    pub size: f32,
    /// How high a row is at least, where something is to be written by hand.
    pub least: f32,
}

const PADDING: f32 = 5.0;

struct Laid {
    cells: Vec<LaidCell>,
    height: f32,
}

struct LaidCell {
    column: usize,
    face: Face,
    lines: Vec<String>,
    role: Role,
}

impl Paper {
    /// A table as wide as the page.
    pub(super) fn table(&mut self, table: &Table) {
        if table.rows.is_empty() {
            return;
        }
        let widths = self.widths(table);
        let head: Vec<Laid> = table
            .head
            .iter()
            .map(|row| self.lay(row, &widths, table.size))
            .collect();
        let least = table.least;
        let head_height: f32 = head.iter().map(|row| row.height).sum();
        let mut head_part = None;
        let mut rows = Vec::new();
        for (n, row) in table.rows.iter().enumerate() {
            let mut laid = self.lay(row, &widths, table.size);
            laid.height = laid.height.max(least);
            // What heads a group stays with the first row of it.
            let heads_group = matches!(row.as_slice(), [only] if only.over > 1);
            let after = table.rows.get(n + 1).filter(|_| heads_group);
            let after = after.map(|row| self.lay(row, &widths, table.size).height.max(least));
            let together = laid.height + after.unwrap_or_default();
            if n == 0 || self.room() < together {
                if n > 0 || self.room() < head_height + together {
                    self.new_page();
                }
                let drawn: Vec<Part> = head
                    .iter()
                    .map(|row| self.draw(row, &widths, table.size, Ink::Dark, false))
                    .collect();
                // Read once, however many pages it stands on.
                head_part.get_or_insert(drawn);
            }
            rows.push(self.draw(&laid, &widths, table.size, Ink::Rule, n % 2 == 1));
        }
        self.gap(6.0);
        let mut parts = Vec::new();
        if let Some(head) = head_part.filter(|head| !head.is_empty()) {
            parts.push(Part::of_parts(Role::TableHead, head));
        }
        parts.push(Part::of_parts(Role::TableBody, rows));
        let about = table.about.clone();
        self.add(Part::of_parts(Role::Table { about }, parts));
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
        self.widen(table, &mut least, &mut most);
        let page = self.across();
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

    /// Makes room for the longest word of what goes over several columns: what they lack is shared
    /// among them.
    fn widen(&mut self, table: &Table, least: &mut [f32], most: &mut [f32]) {
        for row in &table.head {
            let mut column = 0;
            for cell in row {
                let under = column..column + cell.over;
                column += cell.over;
                if cell.over == 1 || cell.over == least.len() {
                    continue;
                }
                let Some(columns) = least.get(under.clone()) else {
                    continue;
                };
                let word = cell
                    .text
                    .split_whitespace()
                    .map(|word| self.letters.width(word, cell.face, table.size))
                    .fold(0.0, f32::max);
                let lacks = (word + PADDING - columns.iter().sum::<f32>()) / cell.over as f32;
                if lacks > 0.0 {
                    for n in under {
                        if let (Some(least), Some(most)) = (least.get_mut(n), most.get_mut(n)) {
                            *least += lacks;
                            *most = most.max(*least);
                        }
                    }
                }
            }
        }
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
            let over = cell.over;
            cells.push(LaidCell {
                column,
                face: cell.face,
                lines,
                role: match cell.heads {
                    Some(of) if !cell.text.is_empty() => Role::HeadCell { of, over },
                    _ => Role::Cell {
                        over,
                        aloud: cell.aloud.clone(),
                    },
                },
            });
            column += over;
        }
        Laid {
            cells,
            height: most as f32 * size * 1.2 + 3.2,
        }
    }

    fn draw(&mut self, row: &Laid, widths: &[f32], size: f32, rule: Ink, tinted: bool) -> Part {
        let page = self.across();
        if tinted {
            self.put(PageMark::Box {
                x: MARGIN,
                y: self.y,
                width: page,
                height: row.height,
                ink: Ink::Tint,
            });
        }
        let cells = row
            .cells
            .iter()
            .map(|cell| {
                let x = MARGIN + widths.iter().take(cell.column).sum::<f32>();
                let lines = cell.lines.iter().enumerate();
                let marks: Vec<Spot> = lines
                    .map(|(n, line)| {
                        self.put(PageMark::Text {
                            x: x + 1.0,
                            y: self.y + 1.4 + size * (1.2 * n as f32 + 0.95),
                            style: Style {
                                face: cell.face,
                                ..Style::plain(size)
                            },
                            text: line.clone(),
                        })
                    })
                    .collect();
                Part::of_marks(cell.role.clone(), marks)
            })
            .collect();
        self.y += row.height;
        self.put(PageMark::Box {
            x: MARGIN,
            y: self.y - 0.5,
            width: page,
            height: if rule == Ink::Dark { 0.8 } else { 0.4 },
            ink: rule,
        });
        Part::of_parts(Role::Row, cells)
    }
}

#[cfg(test)]
mod tests {
    use super::super::letters::Letters;
    use super::super::page::{Lies, Pages};
    use super::*;

    #[test]
    fn no_word_of_a_head_over_several_columns_is_broken() {
        let mut paper = Paper::new(Letters::new().unwrap(), Lies::Upright);
        let long = "mainland ".repeat(40);
        paper.table(&Table {
            about: "Conductors".to_owned(),
            head: vec![vec![
                TableCell::head("Conductors mm²", Heads::Column).over(2),
                TableCell::head("Remarks", Heads::Column),
            ]],
            rows: vec![["1", "2", &long].map(TableCell::plain).to_vec()],
            size: 8.0,
            least: 0.0,
        });
        let pages = paper.finish("foot").pages;
        let word = |mark: &PageMark| matches!(mark, PageMark::Text { text, .. } if text.trim() == "Conductors");
        assert!(pages[0].iter().any(word), "{:?}", pages[0]);
    }

    /// A table of two columns with these rows, laid out.
    fn of_loops(rows: Vec<Vec<TableCell>>) -> Pages {
        let mut paper = Paper::new(Letters::new().unwrap(), Lies::Across);
        paper.table(&Table {
            about: "Loops".to_owned(),
            head: vec![
                ["Circuit", "Zs"]
                    .map(|t| TableCell::head(t, Heads::Column))
                    .to_vec(),
            ],
            rows,
            size: 8.0,
            least: 0.0,
        });
        paper.finish("foot")
    }

    fn loop_of(circuit: &str) -> Vec<TableCell> {
        vec![TableCell::plain(circuit), TableCell::plain("0.34")]
    }

    #[test]
    fn a_long_table_repeats_its_head_on_every_page_and_is_read_once() {
        let laid = of_loops((0..200).map(|n| loop_of(&n.to_string())).collect());
        assert!(laid.pages.len() > 1);
        for page in &laid.pages {
            let head = page
                .iter()
                .filter(|mark| matches!(mark, PageMark::Text { text, .. } if text == "Circuit"));
            assert_eq!(head.count(), 1);
        }
        let [table] = laid.parts.as_slice() else {
            panic!("{} parts", laid.parts.len());
        };
        let [head, body] = table.parts.as_slice() else {
            panic!("{} parts of a table", table.parts.len());
        };
        assert_eq!((head.parts.len(), body.parts.len()), (1, 200));
    }

    #[test]
    fn what_heads_a_group_is_never_the_last_row_of_a_page() {
        let group = |n: usize| vec![TableCell::bold(format!("group {n}")).over(2)];
        let row = |n: usize| loop_of(&format!("row {n}"));
        // Groups of every size, so that one would come to stand anywhere.
        let rows = (1..30).flat_map(|n| {
            let own = (0..n % 7 + 1).map(row);
            std::iter::once(group(n)).chain(own)
        });
        let pages = of_loops(rows.collect()).pages;
        assert!(pages.len() > 2);
        for page in &pages {
            let texts = page.iter().filter_map(|mark| match mark {
                PageMark::Text { text, y, .. } => Some((text, *y)),
                _ => None,
            });
            let of_table =
                texts.filter(|(text, _)| ["group", "row"].iter().any(|w| text.starts_with(w)));
            let last = of_table.max_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
            assert!(last.0.starts_with("row"), "{last:?}");
        }
    }
}
