//! Circuits from a table: comma-separated values with the columns named in the first line, in any
//! order. A schedule of the last visit is one such table, with columns for its results besides.

use super::groups::{self, Groups};
use super::template::{BoardDraft, Draft};
use super::words::{CircuitWords, CircuitsColumn};
use crate::installation::{Circuit, JobError, Problem, nearest, number_of};
use std::collections::BTreeMap;

/// The columns of a circuit, by their names in the first line.
const COLUMNS: [(CircuitsColumn, &[&str]); 19] = [
    (
        CircuitsColumn::Number,
        &[
            "number",
            "no",
            "circuit",
            "way",
            "circuit number",
            "circuit no",
        ],
    ),
    (
        CircuitsColumn::Name,
        &["name", "description", "designation", "what", "circuit name"],
    ),
    (
        CircuitsColumn::Kind,
        &["kind", "sort", "circuit kind", "circuit type"],
    ),
    (
        CircuitsColumn::Device,
        &["device", "protective device", "type", "device type"],
    ),
    (
        CircuitsColumn::Amps,
        &["amps", "rating", "in", "a", "rating a"],
    ),
    (
        CircuitsColumn::Breaking,
        &[
            "breaking ka",
            "breaking capacity",
            "breaking",
            "ka",
            "icn",
            "breaking capacity ka",
        ],
    ),
    (CircuitsColumn::Rcd, &["rcd", "rcd ma", "ma"]),
    (CircuitsColumn::RcdType, &["rcd type"]),
    (
        CircuitsColumn::RcdStandard,
        &["rcd bs (en)", "rcd bs en", "rcd standard"],
    ),
    (
        CircuitsColumn::RcdAmps,
        &["rcd rating a", "rcd rating", "rcd amps", "rcd a"],
    ),
    (
        CircuitsColumn::Sizes,
        &["sizes", "size", "cable", "mm2", "csa"],
    ),
    (CircuitsColumn::Live, &["live conductors mm2", "live mm2"]),
    (CircuitsColumn::Cpc, &["cpc mm2"]),
    (
        CircuitsColumn::Metres,
        &["metres", "length", "m", "cable m"],
    ),
    (
        CircuitsColumn::Points,
        &["points", "outlets", "accessories"],
    ),
    (CircuitsColumn::Phases, &["phases", "circuit phases"]),
    (CircuitsColumn::Wiring, &["type of wiring", "wiring"]),
    (CircuitsColumn::Method, &["reference method", "method"]),
    (CircuitsColumn::Afdd, &["afdd"]),
];

/// The column of the residual current devices of several circuits.
const UNDER: &str = "protected by rcd";

/// Columns of the board that a circuit is on.
const OF_BOARD: [(OfBoard, &[&str]); 4] = [
    (OfBoard::Number, &["board", "board number", "db"]),
    (OfBoard::Name, &["board name"]),
    (
        OfBoard::FedFrom,
        &["fed from", "supplied from", "board supplied from"],
    ),
    (
        OfBoard::Groups,
        &[
            UNDER,
            "under rcd",
            "group rcd",
            "rcd of several",
            "front end rcd",
        ],
    ),
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum OfBoard {
    Number,
    Name,
    FedFrom,
    /// Which residual current devices of several circuits a circuit is under.
    Groups,
}

/// What a column of the first line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Heads {
    Circuit(CircuitsColumn),
    Board(OfBoard),
}

/// The boards of a table with their circuits, in its order; `name` is how messages call it.
///
/// # Errors
/// [`JobError`] with everything that is wrong, each with its line and column.
pub fn boards_of_table(text: &str, name: &str) -> Result<Vec<BoardDraft>, JobError> {
    let mut problems = Vec::new();
    let boards = Rows::read(text, None, &mut problems).boards;
    if problems.is_empty() {
        Ok(boards)
    } else {
        Err(JobError {
            name: name.to_owned(),
            problems,
        })
    }
}

/// A draft with what a schedule of the last visit (CSV) tells of its job, and what of it was not
/// understood and is left out, each with its line. `headings` are all that a schedule can have, and whether each
/// schedule has it.
///
/// # Errors
/// [`JobError`] when it is no such schedule.
pub fn draft_of_schedule(
    text: &str,
    name: &str,
    draft: Draft,
    headings: &[(&str, bool)],
) -> Result<(Draft, Vec<Problem>), JobError> {
    let mut problems = Vec::new();
    let rows = Rows::read(text, Some(headings), &mut problems);
    let is_one = ["board", "circuit", "site", "record"]
        .iter()
        .all(|head| rows.heads.iter().any(|name| name == head));
    if !is_one || rows.boards.is_empty() {
        let text =
            "this is no schedule that was exported as CSV; a table of circuits is for `bothhands \
                    new --from`"
                .to_owned();
        let why = Problem { line: 1, text };
        return Err(JobError {
            name: name.to_owned(),
            problems: vec![why],
        });
    }
    let told = |head: &str| {
        let at = rows.heads.iter().position(|name| name == head)?;
        let cell = rows.first.get(at)?.trim();
        (!cell.is_empty()).then(|| cell.to_owned())
    };
    let draft = Draft {
        title: told("title"),
        site: told("site"),
        tester: draft.tester.or_else(|| told("tester")),
        supervisor: draft.supervisor.or_else(|| told("supervisor")),
        earthing: told("earthing").and_then(|word| word.parse().ok()),
        phases: told("supply phases").and_then(|word| match word.as_str() {
            "1" => Some(crate::installation::Phases::Single),
            "3" => Some(crate::installation::Phases::Three),
            _ => None,
        }),
        boards: rows.boards,
        ..draft
    };
    Ok((draft, problems))
}

/// What a table holds.
struct Rows {
    heads: Vec<String>,
    /// The cells of its first row.
    first: csv::StringRecord,
    boards: Vec<BoardDraft>,
}

impl Rows {
    /// Reads it. A schedule has these headings: what is no column of a circuit holds results, and what of a
    /// circuit is not understood is left out of it.
    fn read(text: &str, schedule: Option<&[(&str, bool)]>, problems: &mut Vec<Problem>) -> Self {
        let mut rows = Self {
            heads: Vec::new(),
            first: csv::StringRecord::new(),
            boards: Vec::new(),
        };
        rows.take(text, schedule, problems);
        rows
    }

    fn take(&mut self, text: &str, headings: Option<&[(&str, bool)]>, problems: &mut Vec<Problem>) {
        let schedule = headings.is_some();
        let text = text.trim_start_matches('\u{feff}');
        let first = text.lines().next().unwrap_or_default();
        let count = |mark: char| first.matches(mark).count();
        let mark = [b',', b';', b'\t']
            .into_iter()
            .max_by_key(|mark| (count(char::from(*mark)), *mark == b','))
            .unwrap_or(b',');
        let mut table = csv::ReaderBuilder::new()
            .delimiter(mark)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let columns = match table.headers() {
            Ok(names) => names.iter().map(str::to_owned).collect::<Vec<_>>(),
            Err(why) => {
                problems.push(Problem {
                    line: 1,
                    text: format!("this is no table: {why}"),
                });
                return;
            }
        };
        let known = heads(&columns, schedule, problems);
        if let Some(headings) = headings {
            of_a_schedule(&columns, headings, problems);
        }
        self.heads = columns.iter().map(|name| plain(name)).collect();
        // Where each circuit of each board stands.
        let mut seen: BTreeMap<(u16, u16), usize> = BTreeMap::new();
        let mut groups: BTreeMap<u16, Groups> = BTreeMap::new();
        let told = known.contains(&Some(Heads::Board(OfBoard::Groups)));
        let remarks = self.heads.iter().position(|head| head == "remarks");
        for record in table.records() {
            let record = match record {
                Ok(record) => record,
                Err(why) => {
                    problems.push(Problem {
                        line: line_at(text, why.position()),
                        text: format!("this line can't be read: {why}"),
                    });
                    continue;
                }
            };
            let line = line_at(text, record.position());
            if record.iter().all(str::is_empty) {
                continue;
            }
            if record.len() > columns.len() {
                problems.push(Problem {
                    line,
                    text: format!(
                        "{} values, but the first line names {} columns: put a value that holds a comma in \
                         double quotes",
                        record.len(),
                        columns.len()
                    ),
                });
                continue;
            }
            if self.first.is_empty() {
                self.first = record.clone();
            }
            let mut cells: Vec<_> = known.iter().zip(&columns).zip(&record).collect();
            let of_board = |wanted: OfBoard| {
                let mut cells = cells.iter();
                let cell = cells.find(|((head, _), _)| **head == Some(Heads::Board(wanted)));
                cell.map(|(_, cell)| *cell).filter(|cell| !cell.is_empty())
            };
            let (number, name, fed_from) = (
                of_board(OfBoard::Number),
                of_board(OfBoard::Name),
                of_board(OfBoard::FedFrom),
            );
            let under = match of_board(OfBoard::Groups) {
                Some(cell) => cell.to_owned(),
                // Schedules before there was a column for it have it in the remarks.
                None if schedule && !told => remarks
                    .and_then(|at| record.get(at))
                    .map(groups::in_remarks)
                    .unwrap_or_default(),
                None => String::new(),
            };
            let at = self.board(number, name, fed_from);
            // The device comes first, so that a rated current or residual current is added to it.
            cells.sort_by_key(|((head, _), _)| match head {
                Some(Heads::Circuit(column)) => Some(*column),
                _ => None,
            });
            let mut words = CircuitWords::default();
            let mut wrong = false;
            for ((head, name), cell) in cells {
                let Some(Heads::Circuit(column)) = head else {
                    continue;
                };
                // So a schedule says that its job told of none.
                if schedule && *column == CircuitsColumn::Points && cell.trim() == "0" {
                    continue;
                }
                if let Err(why) = words.take_column(*column, cell) {
                    problems.push(Problem {
                        line,
                        text: format!("column \"{name}\": {why}"),
                    });
                    wrong = !schedule;
                }
            }
            let Some(board) = self.boards.get_mut(at).filter(|_| !wrong) else {
                continue;
            };
            let next = board.circuits.iter().map(|c: &Circuit| c.number).max();
            match words.circuit(next.unwrap_or(0).saturating_add(1)) {
                Ok(circuit) => {
                    let number = circuit.number;
                    if let Some(before) = seen.insert((board.number, number), line) {
                        problems.push(Problem {
                            line,
                            text: format!(
                                "circuit {number} stands in line {before} too: give each its own number"
                            ),
                        });
                    }
                    if let Some(why) = words.assumed() {
                        board.assumed.insert(number, why);
                    }
                    let is_rcbo = circuit.device.as_ref().is_some_and(|d| d.kind.is_rcbo());
                    let of_board = groups.entry(board.number).or_default();
                    if let Err(why) = of_board.take(line, number, &under, is_rcbo) {
                        problems.push(Problem {
                            line,
                            text: format!("column \"{UNDER}\": {why}"),
                        });
                    }
                    board.circuits.push(circuit);
                }
                Err(why) => {
                    board.left_out += 1;
                    problems.push(Problem {
                        line,
                        text: why.to_string(),
                    });
                }
            }
        }
        for board in &mut self.boards {
            if let Some(groups) = groups.remove(&board.number) {
                groups.settle(board, problems);
            }
        }
        let none = self.boards.iter().all(|board| board.circuits.is_empty());
        if none && problems.is_empty() {
            problems.push(Problem {
                line: 0,
                text: "there is no circuit in it: one line each, below the names of the columns"
                    .to_owned(),
            });
        }
    }

    /// Which of the boards a row is of: that with its number or its name, or else a new one. Without
    /// a column for it all circuits are of one board.
    fn board(&mut self, said: Option<&str>, name: Option<&str>, fed_from: Option<&str>) -> usize {
        let number = said.and_then(|said| {
            let said = said.to_lowercase();
            let digits = said.strip_prefix("board ").unwrap_or(&said).trim();
            digits.parse::<u16>().ok()
        });
        // What is no number is its name.
        let name = name.or(said.filter(|_| number.is_none()));
        let found = self.boards.iter().position(|board| match (number, name) {
            (Some(number), _) => board.number == number,
            (None, Some(name)) => board.name.as_deref() == Some(name),
            (None, None) => true,
        });
        let at = found.unwrap_or_else(|| {
            let next = self.boards.iter().map(|board| board.number).max();
            self.boards.push(BoardDraft {
                number: number.unwrap_or_else(|| next.unwrap_or(0).saturating_add(1)),
                ..BoardDraft::default()
            });
            self.boards.len().saturating_sub(1)
        });
        if let Some(board) = self.boards.get_mut(at) {
            let named = name.map(str::to_owned);
            board.name = board.name.take().or(named);
            let fed_from = fed_from.and_then(feeder);
            board.fed_from = board.fed_from.take().or(fed_from);
        }
        at
    }
}

/// The line of a text at which a record begins, from 1; lines may end as they do on any system, and the reader
/// stands between the two ends of one then.
fn line_at(text: &str, position: Option<&csv::Position>) -> usize {
    let at = position.and_then(|position| usize::try_from(position.byte()).ok());
    let Some((before, after)) = at.and_then(|at| text.split_at_checked(at)) else {
        return 0;
    };
    let ends = after.len() - after.trim_start_matches(['\r', '\n']).len();
    let lines = |part: &str| part.matches('\n').count();
    1 + lines(before) + lines(&after[..ends])
}

/// "board 1, circuit 7", of that alone or with its name and device behind it; nothing for the origin.
fn feeder(text: &str) -> Option<String> {
    let small = text.to_lowercase();
    match (number_of("board", text), number_of("circuit", text)) {
        (Some(board), Some(circuit)) => Some(format!("board {board}, circuit {circuit}")),
        _ if small.is_empty() || small.contains("origin") => None,
        // `check` says what is wrong with it.
        _ => Some(text.to_owned()),
    }
}

/// What each column is; what is wrong with the first line.
fn heads(columns: &[String], schedule: bool, problems: &mut Vec<Problem>) -> Vec<Option<Heads>> {
    let mut problem = |text: String| problems.push(Problem { line: 1, text });
    let plainly: Vec<String> = columns.iter().map(|name| plain(name)).collect();
    let elsewhere = |wanted: CircuitsColumn, but: &str| {
        let mut others = plainly.iter().filter(|name| *name != but);
        others.any(|name| column(name) == Some(Heads::Circuit(wanted)))
    };
    let mut known: Vec<Option<Heads>> = Vec::new();
    for (name, plainly) in columns.iter().zip(&plainly) {
        let found = match plainly.as_str() {
            // Beside a number "circuit" is what it is called; beside a device "type" is what sort it is.
            "circuit" if !schedule && elsewhere(CircuitsColumn::Number, "circuit") => {
                Some(Heads::Circuit(CircuitsColumn::Name))
            }
            "type"
                if elsewhere(CircuitsColumn::Device, "type")
                    && !elsewhere(CircuitsColumn::Kind, "type") =>
            {
                Some(Heads::Circuit(CircuitsColumn::Kind))
            }
            // A schedule tells standard and type of a device together before it tells them apart.
            "device type" if schedule => None,
            name => column(name),
        };
        if found.is_none() && !name.is_empty() && !schedule {
            let names = COLUMNS.iter().map(|(_, names)| names);
            let names = names.chain(OF_BOARD.iter().map(|(_, names)| names));
            let names = names.filter_map(|names| names.first().copied());
            let meant = nearest(name, names.clone());
            let meant = meant.map(|near| format!(", did you mean \"{near}\"?"));
            problem(format!(
                "column \"{name}\" is not known{} The columns are {}",
                meant.unwrap_or_else(|| ".".to_owned()),
                names.collect::<Vec<_>>().join(", ")
            ));
        }
        if found.is_some() && known.contains(&found) {
            problem(format!("column \"{name}\" stands twice: leave one out"));
        }
        known.push(found);
    }
    let kind = Some(Heads::Circuit(CircuitsColumn::Kind));
    if !known.contains(&kind) && !known.contains(&None) {
        problem(
            "there is no column \"kind\": it says ring, radial, lighting, cooker and so on; the first \
             line names the columns"
                .to_owned(),
        );
    }
    known
}

/// What is wrong with the first line of a schedule: what no schedule has, and what each has.
fn of_a_schedule(columns: &[String], headings: &[(&str, bool)], problems: &mut Vec<Problem>) {
    let mut problem = |text: String| problems.push(Problem { line: 1, text });
    let plainly: Vec<String> = columns.iter().map(|name| plain(name)).collect();
    let is_one = |name: &str| headings.iter().any(|(head, _)| plain(head) == name);
    for (name, plainly) in columns.iter().zip(&plainly) {
        if !plainly.is_empty() && !is_one(plainly) {
            let meant = nearest(name, headings.iter().map(|(head, _)| *head));
            let meant = meant.map(|near| format!("; did you mean \"{near}\"?"));
            problem(format!(
                "column \"{name}\" is none that a schedule has{}",
                meant.unwrap_or_default()
            ));
        }
    }
    for (head, always) in headings {
        if *always && !plainly.contains(&plain(head)) {
            problem(format!(
                "there is no column \"{head}\": call it so, and what stands in it is taken"
            ));
        }
    }
}

/// A name of a column without its dress.
fn plain(name: &str) -> String {
    let name = name
        .trim()
        .to_lowercase()
        .replace(['_', '-', '(', ')', '.'], " ")
        .replace('²', "2");
    name.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn column(name: &str) -> Option<Heads> {
    let of_circuit = COLUMNS
        .iter()
        .find(|(_, names)| names.contains(&name))
        .map(|(column, _)| Heads::Circuit(*column));
    let of_board = OF_BOARD
        .iter()
        .find(|(_, names)| names.contains(&name))
        .map(|(column, _)| Heads::Board(*column));
    of_circuit.or(of_board)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draft::read_back;

    /// Each circuit with what was taken to be so although the table does not say it.
    fn circuits_of_table(
        text: &str,
        name: &str,
    ) -> Result<Vec<(Circuit, Option<String>)>, JobError> {
        boards_of_table(text, name).map(|boards| {
            boards
                .into_iter()
                .flat_map(|mut board| {
                    let circuits = std::mem::take(&mut board.circuits).into_iter();
                    let assumed = board.assumed;
                    circuits.map(move |one| {
                        let why = assumed.get(&one.number).cloned();
                        (one, why)
                    })
                })
                .collect()
        })
    }

    #[test]
    fn headings_are_taken_as_people_write_them() {
        let told = |text| {
            let circuits = circuits_of_table(text, "c.csv").unwrap();
            let circuits = circuits.iter();
            circuits.map(|(one, _)| read_back(one)).collect::<Vec<_>>()
        };
        let wanted = ["Circuit 2, boat store; radial; BS EN 60898 B 20 A; no points given."];
        assert_eq!(
            told("Number,Circuit,Type,Device\n2,boat store,Radial,B20\n"),
            wanted
        );
        assert_eq!(
            told("Circuit,Description,Type,Kind\n2,boat store,B20,radial\n"),
            wanted
        );
        assert_eq!(
            told("Circuit No.,Name,Circuit Type,Device\n2,boat store,radial,B20\n"),
            wanted
        );
    }

    #[test]
    fn boards_are_told_by_number_or_by_name() {
        let text = "board,board name,fed from,number,kind,device\n\
                    1,main board,,1,distribution,B32\n\
                    3,bay board,\"board 1, circuit 1\",1,ring,B32\n\
                    1,main board,,2,lighting,B6\n";
        let boards = boards_of_table(text, "b.csv").unwrap();
        let told: Vec<_> = boards
            .iter()
            .map(|b| (b.number, b.circuits.len(), b.fed_from.as_deref()))
            .collect();
        assert_eq!(told, [(1, 2, None), (3, 1, Some("board 1, circuit 1"))]);
        let text = "DB,number,kind,device\nhall,1,ring,B32\nloft,1,ring,B32\nhall,2,ring,B32\n";
        let boards = boards_of_table(text, "b.csv").unwrap();
        let told: Vec<_> = boards
            .iter()
            .map(|b| (b.number, b.name.as_deref(), b.circuits.len()))
            .collect();
        assert_eq!(told, [(1, Some("hall"), 2), (2, Some("loft"), 1)]);
    }

    #[test]
    fn columns_come_in_any_order() {
        let text = "Name;kind;amps;device;RCD;sizes;metres;points;number\n\
                    boat store;radial;20;B RCBO;30;2.5/1.5;23;3 sockets + door entry unit;4\n\
                    \n\
                    lights;lighting;6;B;;1.5/1;;6 lights;\n";
        let circuits = circuits_of_table(text, "c.csv").unwrap();
        let told: Vec<_> = circuits.iter().map(|(one, _)| read_back(one)).collect();
        assert_eq!(
            told,
            [
                "Circuit 4, boat store; radial; BS EN 61009 B 20 A; RCD 30 mA; 2.5/1.5 mm², 23 m; 3 sockets, door entry unit.",
                "Circuit 5, lights; lighting; BS EN 60898 B 6 A; 1.5/1 mm²; 6 lights.",
            ]
        );
    }

    #[test]
    fn the_breaking_capacity_has_a_column() {
        let text =
            "number,kind,device,kA,sizes\n1,shower,B40,6,10 twin and earth\n2,ring,B32,6kA,\n";
        let circuits = circuits_of_table(text, "c.csv").unwrap();
        let breaking = circuits
            .iter()
            .map(|(one, _)| one.device.as_ref().unwrap().breaking_ka);
        assert!(breaking.into_iter().all(|ka| ka == Some(6.0)));
        let wrong = circuits_of_table("kind,device,ka\nring,B32,lots\n", "c.csv").unwrap_err();
        assert!(wrong.to_string().contains("as in 6"), "{wrong}");
    }

    #[test]
    fn points_and_sizes_without_a_word_are_the_usual_ones_and_are_remarked() {
        let text = "number,name,kind,device,sizes,points\n\
                    1,downstairs,ring,B32 RCBO,2.5,8\n\
                    2,,lighting,B6,1.5 mm2,6\n\
                    3,,smoke alarms,B6,1,3\n\
                    4,pump,radial,B16,2.5/1.5,1 pump\n";
        let told: Vec<_> = circuits_of_table(text, "c.csv")
            .unwrap()
            .into_iter()
            .map(|(one, assumed)| (read_back(&one), assumed.unwrap_or_default()))
            .collect();
        for (n, (back, remark)) in [
            (
                "downstairs; ring; BS EN 61009 B 32 A; RCD 30 mA; 2.5/1.5 mm²; 8 sockets.",
                "8 points are taken as sockets",
            ),
            (
                "lights; lighting; BS EN 60898 B 6 A; 1.5/1 mm²; 6 lights.",
                "1.5 mm² is taken as twin and earth, 1.5/1 mm²",
            ),
            (
                "smoke alarms; radial; BS EN 60898 B 6 A; 1/1 mm²; 3 smoke alarms.",
                "3 points are taken as smoke alarms",
            ),
            ("pump; radial; BS EN 60898 B 16 A; 2.5/1.5 mm²; 1 pump.", ""),
        ]
        .into_iter()
        .enumerate()
        {
            assert_eq!(told[n].0, format!("Circuit {}, {back}", n + 1));
            assert!(told[n].1.contains(remark), "{}", told[n].1);
        }
        let odd = circuits_of_table("kind,device,sizes\nradial,B100,25\n", "c.csv");
        let odd = odd.unwrap_err().to_string();
        assert!(
            odd.contains("25 mm² alone is no usual twin and earth"),
            "{odd}"
        );
    }

    #[test]
    fn everything_wrong_in_a_table_is_told_with_line_and_column() {
        let text = "number,name,kind,device,rcd\n\
                    1,a,socket,B32,\n\
                    2,b,ring,big,30\n\
                    3,c,radial,B16,lots\n\
                    3,d,radial,B16,\n\
                    3,e,radial,B16,\n\
                    5,f,radial,B16,,,\n";
        let told = circuits_of_table(text, "c.csv").unwrap_err().to_string();
        // The same lines, however they end.
        let elsewhere = circuits_of_table(&text.replace('\n', "\r\n"), "c.csv");
        assert_eq!(elsewhere.unwrap_err().to_string(), told);
        for wanted in [
            "c.csv:2: column \"kind\": sockets are on a ring or on a radial",
            "c.csv:3: column \"device\": `big` is no device",
            "c.csv:4: column \"rcd\": `lots` is no residual current",
            "c.csv:6: circuit 3 stands in line 5 too",
            "c.csv:7: 7 values, but the first line names 5 columns",
        ] {
            assert!(told.contains(wanted), "{wanted}\n{told}");
        }
    }

    #[test]
    fn a_table_without_names_or_circuits_says_what_to_do() {
        for (text, told) in [
            ("", "no column \"kind\""),
            ("number,kind\n", "there is no circuit in it"),
            ("numbr,kind\n1,ring\n", "did you mean \"number\"?"),
            ("number,kind,kind\n1,ring,ring\n", "stands twice"),
        ] {
            let why = circuits_of_table(text, "c.csv").unwrap_err().to_string();
            assert!(why.contains(told), "{text:?}: {why}");
        }
    }
}
