//! `bothhands check JOB.toml`: what each test should read, and why.

use crate::installation::{Board, Circuit, Expectation, Job, Phases};
use crate::limits::Tables;
use clap::Args as ClapArgs;
use serde::Serialize;
use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::PathBuf;
use std::process::ExitCode;

/// Check a job file and print what each test of each circuit should read, and why.
#[derive(Debug, ClapArgs)]
pub struct Args {
    /// The job file.
    #[arg(value_name = "JOB.toml")]
    pub job: PathBuf,
    /// Use an edited copy of the tables of limits.
    #[arg(long, value_name = "FILE")]
    pub tables: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

const COLUMNS: usize = 100;
const CAUTION: &str = "Limits and sums to compare readings with, for competent persons or learners \
    under direct supervision. They do not say that an installation is safe; local rules and the \
    maker's instructions come first.";

#[derive(Serialize)]
struct Checked<'j> {
    edition: &'j str,
    job: &'j str,
    caution: &'static str,
    odd: Vec<String>,
    origin: Vec<Expectation>,
    boards: Vec<CheckedBoard<'j>>,
}

#[derive(Serialize)]
struct CheckedBoard<'j> {
    number: u16,
    name: &'j str,
    circuits: Vec<CheckedCircuit<'j>>,
}

#[derive(Serialize)]
struct CheckedCircuit<'j> {
    number: u16,
    name: &'j str,
    described: String,
    odd: Vec<String>,
    expected: Vec<Expectation>,
}

/// Runs the command: exit status 0, or 2 with every problem on standard error.
///
/// # Errors
/// When standard output cannot be written.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let loaded;
    let tables = match &args.tables {
        None => Tables::shipped(),
        Some(path) => match Tables::load(path) {
            Ok(tables) => {
                loaded = tables;
                &loaded
            }
            Err(error) => {
                eprintln!("{error}");
                return Ok(ExitCode::from(2));
            }
        },
    };
    let job = match Job::load(&args.job) {
        Ok(job) => job,
        Err(error) => {
            eprintln!("{error}");
            return Ok(ExitCode::from(2));
        }
    };
    let checked = check(&job, tables);
    let mut out = if args.json {
        serde_json::to_string_pretty(&checked)?
    } else {
        shown(&job, &checked)
    };
    if args.json {
        out.push('\n');
    }
    match io::stdout().write_all(out.as_bytes()) {
        // A reader such as `head` that has seen enough is no error.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(ExitCode::SUCCESS),
        Err(error) => Err(error.into()),
        Ok(()) => Ok(ExitCode::SUCCESS),
    }
}

fn check<'j>(job: &'j Job, tables: &'j Tables) -> Checked<'j> {
    let circuit = |board: &Board, c: &'j Circuit| CheckedCircuit {
        number: c.number,
        name: &c.name,
        described: described(c),
        odd: job.circuit_oddities(tables, board, c),
        expected: job.expected(tables, board, c),
    };
    Checked {
        edition: &tables.edition,
        job: &job.title,
        caution: CAUTION,
        odd: job.oddities(tables, jiff::ZonedDateTime::now().date()),
        origin: job.expected_at_origin(tables),
        boards: job
            .boards
            .iter()
            .map(|b| CheckedBoard {
                number: b.number,
                name: &b.name,
                circuits: b.circuits.iter().map(|c| circuit(b, c)).collect(),
            })
            .collect(),
    }
}

/// "ring, 2.5/1.5 mm², 54 m; BS EN 61009 B 32 A; 30 mA".
fn described(circuit: &Circuit) -> String {
    let mut text = circuit.kind.spoken().to_owned();
    if circuit.phases == Phases::Three {
        text.push_str(", three-phase");
    }
    if let Some(cable) = &circuit.cable {
        let _ = write!(text, ", {}/{} mm²", cable.line_mm2, cable.cpc_mm2);
        if let Some(metres) = cable.metres {
            let _ = write!(text, ", {metres} m");
        }
    }
    if let Some(device) = &circuit.device {
        let _ = write!(text, "; {} {} A", device.kind, device.amps);
    }
    if let Some(rcd) = &circuit.rcd {
        let _ = write!(text, "; {} mA", rcd.milliamps);
    }
    text
}

fn shown(job: &Job, checked: &Checked<'_>) -> String {
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
    paragraph(&mut out, "", CAUTION);
    odd(&mut out, "", &checked.odd);
    let _ = writeln!(out, "\nOrigin");
    expectations(&mut out, &checked.origin);
    for board in &checked.boards {
        let _ = writeln!(out, "\nBoard {}, {}", board.number, board.name);
        for circuit in &board.circuits {
            let _ = writeln!(out, "\n  {}  {}", circuit.number, circuit.name);
            paragraph(&mut out, "     ", &circuit.described);
            odd(&mut out, "     ", &circuit.odd);
            expectations(&mut out, &circuit.expected);
        }
    }
    out
}

fn odd(out: &mut String, indent: &str, odd: &[String]) {
    for one in odd {
        let stop = if one.ends_with('?') { "" } else { "." };
        paragraph(out, indent, &format!("Look: {one}{stop}"));
    }
}

fn expectations(out: &mut String, all: &[Expectation]) {
    const TEST: usize = 22;
    let hanging = " ".repeat(TEST + 5);
    for one in all {
        let first = format!("     {:TEST$}", one.test);
        let options = textwrap::Options::new(COLUMNS)
            .initial_indent(&first)
            .subsequent_indent(&hanging)
            .break_words(false);
        let _ = writeln!(out, "{}", wrapped(&one.reads, options));
        let why = format!("{} [{}]", one.why, one.clause);
        paragraph(out, &format!("{hanging}  "), &why);
    }
}

fn paragraph(out: &mut String, indent: &str, text: &str) {
    let options = textwrap::Options::new(COLUMNS)
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
