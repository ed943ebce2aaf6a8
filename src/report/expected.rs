//! What each test of a job should read, and why: made of the job file alone, before anything is
//! tested.

use crate::grammar::{Grammar, distinct};
use crate::installation::{Board, Circuit, Expectation, Job, Phases};
use crate::limits::{Provenance, Tables};
use crate::sequence::place_of;
use jiff::civil::Date;
use serde::Serialize;
use std::fmt::Write as _;

/// Columns where nothing says how many there are.
pub const COLUMNS: usize = 100;
/// Narrower than this the columns of the text itself have no room.
const NARROWEST: usize = 40;
const CAUTION: &str = "Limits and sums to compare readings with, for competent persons or learners \
    under direct supervision. They do not say that an installation is safe; local rules and the \
    maker's instructions come first.";

/// A job file with all that its readings will be compared with.
#[derive(Debug, Clone, Serialize)]
pub struct ExpectedReadings<'j> {
    edition: &'j str,
    job: &'j str,
    caution: &'static str,
    /// What the letter before a source means.
    marks: String,
    odd: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    particulars: Vec<(&'static str, String)>,
    origin: Vec<Expectation>,
    boards: Vec<ExpectedBoard<'j>>,
}

#[derive(Debug, Clone, Serialize)]
struct ExpectedBoard<'j> {
    number: u16,
    name: &'j str,
    circuits: Vec<ExpectedCircuit<'j>>,
}

#[derive(Debug, Clone, Serialize)]
struct ExpectedCircuit<'j> {
    number: u16,
    name: &'j str,
    described: String,
    odd: Vec<String>,
    expected: Vec<Expectation>,
}

/// What each test should read, by `tables`; what looks odd is judged on the day `today`.
pub fn expected<'j>(job: &'j Job, tables: &'j Tables, today: Date) -> ExpectedReadings<'j> {
    let circuit = |board: &Board, c: &'j Circuit| ExpectedCircuit {
        number: c.number,
        name: &c.name,
        described: described(board, c),
        odd: job.circuit_oddities(tables, board, c),
        expected: job.expected(tables, board, c),
    };
    let mut odd = job.oddities(tables, today);
    odd.extend(said_instead(job));
    ExpectedReadings {
        edition: &tables.edition,
        job: &job.title,
        caution: CAUTION,
        marks: marks(),
        odd,
        particulars: job.particulars(),
        origin: job.expected_at_origin(tables),
        boards: job
            .boards
            .iter()
            .map(|b| ExpectedBoard {
                number: b.number,
                name: &b.name,
                circuits: b.circuits.iter().map(|c| circuit(b, c)).collect(),
            })
            .collect(),
    }
}

/// What `test` says of places whose names can't be said by voice.
fn said_instead(job: &Job) -> Vec<String> {
    let points = job
        .boards
        .iter()
        .flat_map(|board| &board.circuits)
        .flat_map(|circuit| &circuit.points);
    let places = distinct(points.map(place_of));
    Grammar::built_in()
        .and_then(|grammar| grammar.with_job_places(&places, true))
        .map(|(_, instead)| instead.iter().map(ToString::to_string).collect())
        .unwrap_or_default()
}

/// "P: published source, named; ...".
fn marks() -> String {
    let one = |mark: Provenance| format!("{}: {}", mark.letter(), mark.meaning());
    let all: Vec<_> = Provenance::ALL.into_iter().map(one).collect();
    format!(
        "Before each source stands how well the value is known. {}.",
        all.join("; ")
    )
}

/// "ring, 2.5/1.5 mm², 54 m; BS EN 61009 B 32 A; 30 mA".
fn described(board: &Board, circuit: &Circuit) -> String {
    let mut text = circuit.kind.spoken().to_owned();
    if circuit.phases == Phases::Three {
        text.push_str(", three-phase");
    }
    if let Some(cable) = &circuit.cable {
        let _ = write!(text, ", {}", cable.shown());
        if let Some(metres) = cable.metres {
            let _ = write!(text, ", {metres} m");
        }
    }
    if let Some(device) = &circuit.device {
        let _ = write!(text, "; {} {} A", device.shown(), device.amps);
        if let Some(setting) = device.instantaneous_amps {
            let _ = write!(text, ", set to {setting} A");
        }
    }
    if let Some(rcd) = &circuit.rcd {
        let _ = write!(text, "; {} mA", rcd.milliamps);
    }
    for group in board.rcds.iter().filter(|rcd| rcd.protects(circuit.number)) {
        let _ = write!(text, "; RCD {}, {} mA", group.number, group.milliamps);
    }
    text
}

/// As text, wrapped to so many columns.
pub fn expected_text(job: &Job, checked: &ExpectedReadings<'_>, columns: usize) -> String {
    let columns = columns.max(NARROWEST);
    let mut out = String::new();
    let phases = match job.supply.phases {
        Phases::Single => "single-phase",
        Phases::Three => "three-phase",
    };
    let _ = writeln!(out, "{}", checked.job);
    let _ = writeln!(
        out,
        "{}, {}, {phases}, {} V to earth",
        job.site.name,
        job.supply.earthing.name(),
        job.supply.volts
    );
    let _ = writeln!(out, "Limits: {}", checked.edition);
    paragraph(&mut out, columns, "", CAUTION);
    paragraph(&mut out, columns, "", &checked.marks);
    odd(&mut out, columns, "", &checked.odd);
    let _ = writeln!(out, "\nOrigin");
    for (what, value) in &checked.particulars {
        let _ = writeln!(out, "  {what}: {value}");
    }
    expectations(&mut out, columns, &checked.origin);
    for board in &checked.boards {
        let _ = writeln!(out, "\nBoard {}, {}", board.number, board.name);
        for circuit in &board.circuits {
            let _ = writeln!(out, "\n  {}  {}", circuit.number, circuit.name);
            paragraph(&mut out, columns, "     ", &circuit.described);
            odd(&mut out, columns, "     ", &circuit.odd);
            expectations(&mut out, columns, &circuit.expected);
        }
    }
    out
}

fn odd(out: &mut String, columns: usize, indent: &str, odd: &[String]) {
    for one in odd {
        let stop = if one.ends_with('?') { "" } else { "." };
        paragraph(out, columns, indent, &format!("Look: {one}{stop}"));
    }
}

fn expectations(out: &mut String, columns: usize, all: &[Expectation]) {
    const TEST: usize = 22;
    let hanging = " ".repeat(TEST + 5);
    for one in all {
        let first = format!("     {:TEST$}", one.test);
        let options = textwrap::Options::new(columns)
            .initial_indent(&first)
            .subsequent_indent(&hanging)
            .break_words(false);
        let _ = writeln!(out, "{}", wrapped(&one.reads, options));
        let why = format!("{} [{}: {}]", one.why, one.mark.letter(), one.clause);
        paragraph(out, columns, &format!("{hanging}  "), &why);
    }
}

fn paragraph(out: &mut String, columns: usize, indent: &str, text: &str) {
    let options = textwrap::Options::new(columns)
        .initial_indent(indent)
        .subsequent_indent(indent)
        .break_words(false);
    let _ = writeln!(out, "{}", wrapped(text, options));
}

/// Wrapped so that a number stays with its unit.
fn wrapped(text: &str, options: textwrap::Options<'_>) -> String {
    const TIED: [(&str, &str); 7] = [
        (" Ω", "\u{a0}Ω"),
        (" MΩ", "\u{a0}MΩ"),
        (" mΩ", "\u{a0}mΩ"),
        (" V", "\u{a0}V"),
        (" A", "\u{a0}A"),
        (" mA", "\u{a0}mA"),
        (" ms", "\u{a0}ms"),
    ];
    let tied = TIED
        .into_iter()
        .fold(text.to_owned(), |text, (loose, tied)| {
            text.replace(loose, tied)
        });
    textwrap::fill(&tied, options).replace('\u{a0}', " ")
}
