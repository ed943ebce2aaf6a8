//! Residual current devices of several circuits, as a table of circuits tells them: in a column of each
//! circuit that is under one, with its figures where it is first named.

use super::made;
use super::template::BoardDraft;
use crate::installation::{
    GroupRcd, LARGEST_RCD, NotClear, Problem, Rcd, RcdDelay, RcdTest, half_and_once,
};
use std::collections::BTreeMap;

/// What one cell says of one such device.
#[derive(Debug, Clone, PartialEq)]
struct Named {
    number: u16,
    /// Its figures, where the cell gives any.
    figures: Option<Figures>,
}

#[derive(Debug, Clone, Default, PartialEq)]
struct Figures {
    milliamps: Option<f64>,
    amps: Option<f64>,
    waveform: Option<String>,
    delay: Option<RcdDelay>,
    standard: Option<String>,
    tests: Option<Vec<RcdTest>>,
}

/// The row of a circuit.
#[derive(Debug, Clone)]
struct Row {
    line: usize,
    circuit: u16,
    named: Vec<Named>,
    /// Whether its own device is a residual current device too.
    is_rcbo: bool,
}

/// What the rows of a board say of such devices.
#[derive(Debug, Clone, Default)]
pub(super) struct Groups {
    rows: Vec<Row>,
}

impl Groups {
    /// Takes the cell of a circuit in.
    ///
    /// # Errors
    /// With what is not understood, and what to write.
    pub(super) fn take(
        &mut self,
        line: usize,
        circuit: u16,
        cell: &str,
        is_rcbo: bool,
    ) -> Result<(), NotClear> {
        let each = cell.split(';').map(str::trim).filter(|one| !one.is_empty());
        let mut named: Vec<Named> = Vec::new();
        for one in each {
            let one = Named::parse(one)?;
            if named.iter().any(|other| other.number == one.number) {
                return Err(NotClear(format!(
                    "RCD {} stands there twice: leave one out",
                    one.number
                )));
            }
            named.push(one);
        }
        self.rows.push(Row {
            line,
            circuit,
            named,
            is_rcbo,
        });
        Ok(())
    }

    /// Gives a board its devices of several circuits. What a row has in the columns of an RCD is of such a
    /// device where the row names one by its number alone, and is no RCBO.
    pub(super) fn settle(self, board: &mut BoardDraft, problems: &mut Vec<Problem>) {
        let mut problem = |line: usize, text: String| problems.push(Problem { line, text });
        let mut known: BTreeMap<u16, (usize, GroupRcd)> = BTreeMap::new();
        // In the cells themselves.
        for row in &self.rows {
            for one in &row.named {
                let Some(figures) = &one.figures else {
                    continue;
                };
                let Some(group) = figures.group(one.number) else {
                    continue;
                };
                if let Err(why) = made::residual(&group.rcd()) {
                    problem(row.line, format!("RCD {}: {why}", one.number));
                }
                match known.get(&one.number) {
                    Some((before, other)) if *other != group => problem(
                        row.line,
                        format!(
                            "\"{}\", but line {before} has \"{}\": which is it? Give its figures once",
                            group.written(),
                            other.written()
                        ),
                    ),
                    Some(_) => {}
                    None => {
                        known.insert(one.number, (row.line, group));
                    }
                }
            }
        }
        // In the columns of an RCD.
        for row in &self.rows {
            let unknown: Vec<u16> = row
                .named
                .iter()
                .map(|one| one.number)
                .filter(|number| !known.contains_key(number))
                .collect();
            let of_row = board.circuits.iter().find(|c| c.number == row.circuit);
            let rcd = of_row.and_then(|circuit| circuit.rcd.clone());
            if let ([only], Some(rcd), false) = (unknown.as_slice(), rcd, row.is_rcbo) {
                let there = known.values().any(|(_, group)| {
                    let beside = row.named.iter().any(|one| one.number == group.number);
                    beside && is_that(group, &rcd)
                });
                if !there {
                    known.insert(*only, (row.line, grouped(*only, rcd)));
                }
            }
        }
        for row in &self.rows {
            let mut here = Vec::new();
            for one in &row.named {
                match known.get_mut(&one.number) {
                    Some((_, group)) => {
                        if !group.circuits.contains(&row.circuit) {
                            group.circuits.push(row.circuit);
                        }
                        here.push(group.clone());
                    }
                    None => problem(
                        row.line,
                        format!(
                            "nothing says what RCD {} is: write its figures once, as in \"RCD {0}: 30 mA, type A, \
                             63 A\"",
                            one.number
                        ),
                    ),
                }
            }
            let mut circuits = board.circuits.iter_mut();
            if let Some(circuit) = circuits.find(|c| c.number == row.circuit)
                && !row.is_rcbo
                && let Some(own) = &circuit.rcd
                && here.iter().any(|group| is_that(group, own))
            {
                circuit.rcd = None;
                board.assumed.remove(&row.circuit);
            }
        }
        let every = board.circuits.len() + board.left_out;
        board.rcds = known
            .into_values()
            .map(|(_, group)| {
                // A front-end RCD is over whatever the board has.
                let all = group.circuits.len() == every;
                let circuits = if all { Vec::new() } else { group.circuits };
                GroupRcd { circuits, ..group }
            })
            .collect();
    }
}

/// A device of several circuits as it is said, without them: "rcd 30 milliamps, type A, 63 amps", with its
/// number before that where it has one, else the next.
///
/// # Errors
/// With what is not understood, and what to say.
pub(super) fn said(text: &str, next: u16) -> Result<GroupRcd, NotClear> {
    let unsaid = ["rcd", "main", "front", "end"];
    let text = text.replace([',', ':'], " ");
    let words: Vec<&str> = text
        .split_whitespace()
        .filter(|word| !unsaid.contains(&word.to_lowercase().as_str()))
        .collect();
    let has_number = words.get(1).is_some_and(|word| word.parse::<f64>().is_ok())
        || words.len() == 1 && words.iter().all(|word| word.parse::<u16>().is_ok());
    let words = words.join(" ");
    let named = Named::parse(&if has_number {
        words
    } else {
        format!("{next} {words}")
    })?;
    let group = named
        .figures
        .and_then(|figures| figures.group(named.number));
    let group = group.ok_or_else(|| {
        NotClear(format!(
            "RCD {}: say its residual current too, as in rcd 30 milliamps, type A, over circuits 1, 2 and 3",
            named.number
        ))
    })?;
    made::residual(&group.rcd()).map_err(|why| NotClear(format!("RCD {}: {why}", group.number)))?;
    Ok(group)
}

/// What the remarks of a schedule tell: "protected by RCD 1; protected by RCD 2".
pub(super) fn in_remarks(remarks: &str) -> String {
    let each = remarks.split(';').map(str::trim);
    let named: Vec<&str> = each
        .filter_map(|remark| remark.strip_prefix("protected by "))
        .collect();
    named.join("; ")
}

/// Whether what stands in a row's columns of an RCD is this device: what the row gives of it agrees.
fn is_that(group: &GroupRcd, own: &Rcd) -> bool {
    let agrees = |one: &Option<String>, other: &Option<String>| {
        one.as_ref().zip(other.as_ref()).is_none_or(|(a, b)| a == b)
    };
    (group.milliamps - own.milliamps).abs() < f64::EPSILON
        && agrees(&group.waveform, &own.waveform)
        && agrees(&group.standard, &own.standard)
}

fn grouped(number: u16, rcd: Rcd) -> GroupRcd {
    GroupRcd {
        number,
        circuits: Vec::new(),
        standard: rcd.standard,
        amps: rcd.amps,
        milliamps: rcd.milliamps,
        delay: rcd.delay,
        waveform: rcd.waveform,
        tests: rcd.tests,
    }
}

impl Figures {
    fn group(&self, number: u16) -> Option<GroupRcd> {
        Some(GroupRcd {
            number,
            circuits: Vec::new(),
            standard: self.standard.clone(),
            amps: self.amps,
            milliamps: self.milliamps?,
            delay: self.delay.unwrap_or_default(),
            waveform: self.waveform.clone(),
            tests: self.tests.clone().unwrap_or_else(half_and_once),
        })
    }
}

impl Named {
    /// "1", "RCD 1", "RCD 1: 30 mA, type A, 63 A, BS EN 61008", "RCD 2, 100 mA, type S, tests once".
    fn parse(text: &str) -> Result<Self, NotClear> {
        let wrong = || {
            NotClear(format!(
                "`{text}` names no RCD of several circuits: write its number, and its figures where it is first \
                 named, as in \"RCD 1: 30 mA, type A, 63 A\"; one more after a semicolon"
            ))
        };
        let apart = text.replace([',', ':', '(', ')'], " ");
        let mut words = apart
            .split_whitespace()
            .flat_map(figure_and_unit)
            .filter(|word| !word.eq_ignore_ascii_case("rcd"))
            .peekable();
        let number = words.next().and_then(|word| word.parse::<u16>().ok());
        let number = number
            .filter(|n| (1..=LARGEST_RCD).contains(n))
            .ok_or_else(wrong)?;
        let mut figures = Figures::default();
        let mut any = false;
        while let Some(word) = words.next() {
            any = true;
            match word.to_lowercase().as_str() {
                "type" => match words.next().map(str::to_uppercase).as_deref() {
                    Some("S") => figures.delay = Some(RcdDelay::S),
                    Some(waveform @ ("AC" | "A" | "F" | "B")) => {
                        figures.waveform = Some(waveform.to_owned());
                    }
                    _ => return Err(wrong()),
                },
                "s" | "selective" | "delayed" | "time-delayed" => figures.delay = Some(RcdDelay::S),
                "bs" | "iec" | "en" => {
                    let mut standard = vec![word.to_uppercase()];
                    for part in words.by_ref() {
                        standard.push(part.to_uppercase());
                        if part.starts_with(|c: char| c.is_ascii_digit()) {
                            break;
                        }
                    }
                    figures.standard = Some(standard.join(" "));
                }
                "tests" => {
                    let mut tests = Vec::new();
                    while let Some(test) = words.peek().and_then(|word| test_named(word)) {
                        tests.push(test);
                        words.next();
                    }
                    figures.tests = Some(tests).filter(|tests| !tests.is_empty());
                    figures.tests.as_ref().ok_or_else(wrong)?;
                }
                figure => {
                    let value = figure.parse::<f64>().map_err(|_| wrong())?;
                    match words.next().map(str::to_lowercase).as_deref() {
                        Some("ma" | "milliamp" | "milliamps") => figures.milliamps = Some(value),
                        Some("a" | "amp" | "amps") => figures.amps = Some(value),
                        _ => return Err(wrong()),
                    }
                }
            }
        }
        if any && figures.milliamps.is_none() {
            return Err(NotClear(format!(
                "`{text}` lacks its residual current: add it, as in 30 mA"
            )));
        }
        Ok(Self {
            number,
            figures: any.then_some(figures),
        })
    }
}

fn test_named(word: &str) -> Option<RcdTest> {
    let mut all = [RcdTest::Half, RcdTest::Once, RcdTest::Five].into_iter();
    all.find(|test| test.written() == word.to_lowercase())
}

/// "30mA" in two, as "30 mA".
fn figure_and_unit(word: &str) -> Vec<&str> {
    let at = word.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(0);
    match word.split_at_checked(at) {
        Some((figure, unit)) if figure.parse::<f64>().is_ok() => vec![figure, unit],
        _ => vec![word],
    }
}

#[cfg(test)]
mod tests {
    use crate::draft::{Draft, boards_of_table, draft_of_schedule};
    use crate::limits::RcdDelay;

    const HEAD: &str = "number,kind,device,rcd,rcd type,protected by rcd\n";

    /// Each device of several circuits as a table has it, with its circuits; then the circuits that have one
    /// of their own.
    fn told(rows: &str) -> (Vec<(String, Vec<u16>)>, Vec<u16>) {
        let boards = boards_of_table(&format!("{HEAD}{rows}"), "b.csv").unwrap();
        let [board] = boards.as_slice() else {
            panic!("{boards:?}")
        };
        let groups = board.rcds.iter();
        let own = board
            .circuits
            .iter()
            .filter(|circuit| circuit.rcd.is_some());
        (
            groups.map(|g| (g.written(), g.circuits.clone())).collect(),
            own.map(|circuit| circuit.number).collect(),
        )
    }

    #[test]
    fn several_circuits_share_one() {
        let (groups, own) = told(
            "1,ring,B32,,,\"RCD 1: 30 mA, type A, 63 A, BS EN 61008-1\"\n\
                                  2,lighting,B6,,,1\n\
                                  3,radial,B20 RCBO,30,A,\n",
        );
        assert_eq!(
            groups,
            [(
                "RCD 1: 30 mA, type A, 63 A, BS EN 61008-1".to_owned(),
                vec![1, 2]
            )]
        );
        assert_eq!(own, [3]);
    }

    #[test]
    fn a_front_end_device_is_over_every_circuit() {
        let (groups, own) = told(
            "1,ring,B32 RCBO,30,A,\"rcd 2, 100 mA, type S, tests once\"\n\
                                  2,lighting,B6,,,RCD 2\n",
        );
        assert_eq!(
            groups,
            [("RCD 2: 100 mA, type S, tests once".to_owned(), Vec::new())]
        );
        assert_eq!(own, [1]);
        let boards = boards_of_table(
            &format!("{HEAD}1,ring,B32,,,1 300mA time-delayed\n"),
            "b.csv",
        );
        assert_eq!(boards.unwrap()[0].rcds[0].delay, RcdDelay::S);
    }

    /// What of the last visit's schedule is left out, to be added by hand, may be under none.
    #[test]
    fn with_a_circuit_left_out_the_others_are_named() {
        let text = "site,record,board,circuit,kind,device,protected by rcd\n\
                    Boathouse,r,1,1,ring,B32,\"RCD 1: 30 mA, type A\"\n\
                    Boathouse,r,1,2,lighting,B6,RCD 1\n\
                    Boathouse,r,1,3,nonsense,B16,\n";
        let heads: Vec<(&str, bool)> = text
            .lines()
            .next()
            .unwrap()
            .split(',')
            .map(|head| (head, true))
            .collect();
        let (draft, left_out) =
            draft_of_schedule(text, "last.csv", Draft::default(), &heads).unwrap();
        assert!(!left_out.is_empty());
        assert_eq!(draft.boards[0].rcds[0].circuits, [1, 2]);
    }

    /// Where the cell has the number alone, its figures stand in the columns of an RCD.
    #[test]
    fn its_figures_may_stand_in_the_columns_of_an_rcd() {
        let (groups, own) = told(
            "1,ring,B32,30,A,1\n2,lighting,B6,30,A,1\n3,radial,B20,30,AC,2\n\
                                  4,radial,B20 RCBO,30,A,2\n",
        );
        assert_eq!(
            groups,
            [
                ("RCD 1: 30 mA, type A".to_owned(), vec![1, 2]),
                ("RCD 2: 30 mA, type AC".to_owned(), vec![3, 4]),
            ]
        );
        assert_eq!(own, [4]);
        // A socket with an RCD of its own behind one of several.
        let (groups, own) = told("1,ring,B32,,,\"RCD 1, 100 mA\"\n2,radial,B20,30,A,1\n");
        assert_eq!(groups.len(), 1);
        assert_eq!(own, [2]);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        for (rows, wanted) in [
            ("1,ring,B32,,,1\n", "b.csv:2: nothing says what RCD 1 is"),
            (
                "1,ring,B32,,,\"RCD 1, 30 mA\"\n2,ring,B32,,,\"RCD 1, 100 mA\"\n",
                "b.csv:3: \"RCD 1: 100 mA\", but line 2 has \"RCD 1: 30 mA\": which is it?",
            ),
            (
                "1,ring,B32,,,\"RCD 1, 63 A\"\n",
                "lacks its residual current",
            ),
            (
                "1,ring,B32,,,\"RCD 1, 31 mA\"\n",
                "an RCD of 31 mA is not usually made",
            ),
            (
                "1,ring,B32,,,the main one\n",
                "names no RCD of several circuits",
            ),
            (
                "1,ring,B32,,,\"RCD 1, 30 mA; RCD 1\"\n",
                "RCD 1 stands there twice",
            ),
            (
                "1,ring,B32,,,\"RCD 99, 30 mA\"\n",
                "names no RCD of several circuits",
            ),
        ] {
            let why = boards_of_table(&format!("{HEAD}{rows}"), "b.csv").unwrap_err();
            assert!(why.to_string().contains(wanted), "{rows}: {why}");
        }
    }
}
