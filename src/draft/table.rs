//! Circuits from a table: comma-separated values with the columns named in the first line, in any
//! order.

use super::words::{CircuitWords, Column};
use crate::installation::{Circuit, JobError, Problem, nearest};
use std::collections::BTreeMap;

/// The columns, by their names in the first line.
const COLUMNS: [(Column, &[&str]); 10] = [
    (Column::Number, &["number", "no", "circuit", "way"]),
    (
        Column::Name,
        &["name", "description", "designation", "what"],
    ),
    (Column::Kind, &["kind", "sort", "circuit kind"]),
    (Column::Device, &["device", "protective device", "type"]),
    (Column::Amps, &["amps", "rating", "in", "a"]),
    (
        Column::Breaking,
        &["breaking ka", "breaking capacity", "breaking", "ka", "icn"],
    ),
    (Column::Rcd, &["rcd", "rcd ma", "ma"]),
    (Column::Sizes, &["sizes", "size", "cable", "mm2", "csa"]),
    (Column::Metres, &["metres", "length", "m"]),
    (Column::Points, &["points", "outlets", "accessories"]),
];

/// The circuits of a table, each with what was taken to be so although it does not say it; `name` is how messages
/// call the table.
///
/// # Errors
/// [`JobError`] with everything that is wrong, each with its line and column.
pub fn circuits_of_table(
    text: &str,
    name: &str,
) -> Result<Vec<(Circuit, Option<String>)>, JobError> {
    let mut problems = Vec::new();
    let circuits = read(text, &mut problems);
    if problems.is_empty() {
        Ok(circuits)
    } else {
        Err(JobError {
            name: name.to_owned(),
            problems,
        })
    }
}

fn read(text: &str, problems: &mut Vec<Problem>) -> Vec<(Circuit, Option<String>)> {
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
    let mut problem = |line: usize, text: String| problems.push(Problem { line, text });
    let columns = match table.headers() {
        Ok(names) => names.iter().map(str::to_owned).collect::<Vec<_>>(),
        Err(why) => {
            problem(1, format!("this is no table: {why}"));
            return Vec::new();
        }
    };
    let mut known = Vec::new();
    for name in &columns {
        let column = column(name);
        if column.is_none() && !name.is_empty() {
            let names = COLUMNS
                .iter()
                .filter_map(|(_, names)| names.first().copied());
            let meant = nearest(name, names.clone());
            let meant = meant.map(|near| format!(", did you mean \"{near}\"?"));
            problem(
                1,
                format!(
                    "column \"{name}\" is not known{} The columns are {}",
                    meant.unwrap_or_else(|| ".".to_owned()),
                    names.collect::<Vec<_>>().join(", ")
                ),
            );
        }
        if column.is_some() && known.contains(&column) {
            problem(1, format!("column \"{name}\" stands twice: leave one out"));
        }
        known.push(column);
    }
    if !known.contains(&Some(Column::Kind)) && !known.contains(&None) {
        problem(
            1,
            "there is no column \"kind\": it says ring, radial, lighting, cooker and so on; the first \
             line names the columns"
                .to_owned(),
        );
    }
    let mut circuits = Vec::new();
    let mut seen: BTreeMap<u16, usize> = BTreeMap::new();
    for record in table.records() {
        let record = match record {
            Ok(record) => record,
            Err(why) => {
                let line = why.position().map_or(0, csv::Position::line);
                problem(
                    usize::try_from(line).unwrap_or(0),
                    format!("this line can't be read: {why}"),
                );
                continue;
            }
        };
        let line = record.position().map_or(0, csv::Position::line);
        let line = usize::try_from(line).unwrap_or(0);
        if record.iter().all(str::is_empty) {
            continue;
        }
        if record.len() > columns.len() {
            problem(
                line,
                format!(
                    "{} values, but the first line names {} columns: put a value that holds a comma in \
                     double quotes",
                    record.len(),
                    columns.len()
                ),
            );
            continue;
        }
        let mut words = CircuitWords::default();
        let mut wrong = false;
        // The device comes first, so that a rated current or residual current is added to it.
        let mut cells: Vec<_> = known.iter().zip(&columns).zip(&record).collect();
        cells.sort_by_key(|((column, _), _)| **column);
        for ((column, name), cell) in cells {
            let Some(column) = column else { continue };
            if let Err(why) = words.take_column(*column, cell) {
                problem(line, format!("column \"{name}\": {why}"));
                wrong = true;
            }
        }
        if wrong {
            continue;
        }
        let next = circuits
            .iter()
            .map(|(circuit, _): &(Circuit, _)| circuit.number)
            .max()
            .unwrap_or(0);
        match words.circuit(next.saturating_add(1)) {
            Ok(circuit) => {
                if let Some(before) = seen.insert(circuit.number, line) {
                    let number = circuit.number;
                    problem(
                        line,
                        format!(
                            "circuit {number} stands in line {before} too: give each its own number"
                        ),
                    );
                }
                circuits.push((circuit, words.assumed()));
            }
            Err(why) => problem(line, why.to_string()),
        }
    }
    if circuits.is_empty() && problems.is_empty() {
        problems.push(Problem {
            line: 0,
            text: "there is no circuit in it: one line each, below the names of the columns"
                .to_owned(),
        });
    }
    circuits
}

fn column(name: &str) -> Option<Column> {
    let name = name
        .trim()
        .to_lowercase()
        .replace(['_', '-', '(', ')'], " ");
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    let found = COLUMNS
        .iter()
        .find(|(_, names)| names.contains(&name.as_str()));
    found.map(|(column, _)| *column)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draft::read_back;

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
