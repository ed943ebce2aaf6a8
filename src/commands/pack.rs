use super::paper::{Paper, PaperArgs};
use super::schedule::Place;
use super::shown;
use super::written::{Output, Outputs};
use anyhow::{Context, bail};
use bothhands::report::{self, Schedule, Times};
use bothhands::store::{Head, Sounds};
use clap::Args;
use serde_json::json;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};
use std::{path::PathBuf, process::ExitCode};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, System, ZipWriter};

/// Put all that comes of a session in one archive, to attach to a letter or keep
///
/// It holds the schedule as HTML, PDF, CSV and JSON, the page for the customer, the chart and notices
/// for the board, the log as JSON Lines, and a README that names the head of the log and tells how to
/// check it. The same log gives the same archive, byte by byte.
#[derive(Debug, Args)]
pub(crate) struct PackArgs {
    #[command(flatten)]
    paper: PaperArgs,
    /// Where to write; beside the log and named after it when left out, - for standard output
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// With the sound of what was said: voices of people
    #[arg(long)]
    sounds: bool,
    /// Say as JSON what was written, with the heads of the log
    #[arg(long)]
    json: bool,
}

/// Writes the archive.
///
/// # Errors
/// When the log is damaged or can't be read, or the archive not written.
pub(crate) fn run(args: PackArgs) -> anyhow::Result<ExitCode> {
    let Paper {
        log,
        times,
        schedules,
    } = args.paper.read("nothing can be made of this log")?;
    let db = args.paper.db.as_path();
    let store = &log.store;
    let verdict = store.verify()?;
    if let Some(fault) = verdict.faults.first() {
        bail!(
            "{}: this log is damaged at {fault}: `bothhands export` takes out what is whole",
            log.name.display()
        );
    }
    let mut lines = Vec::new();
    let sounds = if args.sounds {
        Sounds::Inside
    } else {
        Sounds::LeftOut
    };
    store.export(&mut lines, &sounds)?;
    let heads = store.heads()?;
    let mut files: Vec<(String, Vec<u8>)> = [
        ("schedule.html", report::html_of_threads(&schedules).into()),
        ("schedule.pdf", report::pdf_of_threads(&schedules)?),
        ("customer.html", report::customer_html(&schedules).into()),
        ("customer.pdf", report::customer_pdf(&schedules)?),
        ("labels.html", report::labels_html(&schedules).into()),
        ("labels.pdf", report::labels_pdf(&schedules)?),
        ("circuits.csv", report::csv_of_threads(&schedules).into()),
        ("schedule.json", report::json_of_threads(&schedules).into()),
        ("log.jsonl", lines),
    ]
    .map(|(name, bytes)| (name.to_owned(), bytes))
    .into();
    files.extend(photos(&schedules));
    let about = readme(&schedules, &heads, args.sounds, &times) + &sums(&files);
    files.insert(0, ("README.txt".to_owned(), about.into_bytes()));
    let archive = packed(&files, stamp(&schedules))
        .with_context(|| format!("{}: no archive can be made of it", log.name.display()))?;
    let path = match args.output {
        Some(path) => path,
        None => Place::of(None, db)?.file("results.zip"),
    };
    let inputs = [db];
    let mut outputs = Outputs::new(&inputs);
    outputs.add(path, Output::Archive(archive))?;
    if args.json {
        let heads: Vec<String> = heads.iter().map(ToString::to_string).collect();
        let mut told = json!({ "log": db, "heads": heads, "sounds": args.sounds });
        outputs.write_told_as_json(&mut told)?;
    } else {
        outputs.write()?;
    }
    if !args.sounds {
        shown::note("The sound of what was said was left out; --sounds puts it in.");
    }
    Ok(ExitCode::SUCCESS)
}

/// The time that the files in the archive bear: that of the last event, in UTC, and not of the day
/// on which it is packed.
fn stamp(schedules: &[Schedule]) -> DateTime {
    let last = schedules.iter().map(|schedule| schedule.last_event).max();
    last.and_then(|last| {
        let at = last.to_zoned_datetime(jiff::tz::TimeZone::UTC);
        let number = |part: i8| u8::try_from(part).ok();
        DateTime::from_date_and_time(
            u16::try_from(at.year()).ok()?,
            number(at.month())?,
            number(at.day())?,
            number(at.hour())?,
            number(at.minute())?,
            number(at.second())?,
        )
        .ok()
    })
    .unwrap_or_default()
}

fn packed(files: &[(String, Vec<u8>)], at: DateTime) -> zip::result::ZipResult<Vec<u8>> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(at)
        .system(System::Unix)
        .unix_permissions(0o644);
    for (name, bytes) in files {
        archive.start_file(name.as_str(), options)?;
        archive.write_all(bytes)?;
    }
    Ok(archive.finish()?.into_inner())
}

/// The photographs of what was seen, named after it.
fn photos(schedules: &[Schedule]) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    for schedule in schedules {
        let thread = match &schedule.thread {
            Some(thread) if schedules.len() > 1 => format!("thread-{}-", thread.number),
            _ => String::new(),
        };
        for one in &schedule.observations {
            for (n, photo) in (1..).zip(&one.photos) {
                let ending = photo.picture.kind.ending();
                let name = format!("photos/{thread}observation-{}-{n}.{ending}", one.number);
                files.extend(photo.picture.file().map(|bytes| (name, bytes)));
            }
        }
    }
    files
}

/// The SHA-256 of each file: which of them is no longer as it was packed.
fn sums(files: &[(String, Vec<u8>)]) -> String {
    let mut text = "\nSHA-256 of each file as it was packed. Whoever changes a file can change its line here: what\n\
        decides is the log, whose head stands on the paper. Pack it anew and compare:\n\n"
        .to_owned();
    for (name, bytes) in files {
        let _ = writeln!(text, "{}  {name}", hex::encode(Sha256::digest(bytes)));
    }
    text
}

/// What is in the archive, and how it is checked.
fn readme(schedules: &[Schedule], heads: &[Head], sounds: bool, times: &Times) -> String {
    let mut text = String::new();
    for schedule in schedules {
        let _ = writeln!(text, "{}, {}", schedule.title, schedule.site);
        let _ = writeln!(
            text,
            "Tested by {}, {} to {}.",
            schedule.tester,
            times.minute(schedule.begun),
            times.minute(schedule.last_event)
        );
        if !schedule.finished {
            text.push_str("The session is not finished.\n");
        }
    }
    let _ = writeln!(
        text,
        "{}\n\n\
         schedule.html, schedule.pdf  the schedule of test results\n\
         customer.html, customer.pdf  what was done and found, in plain words\n\
         labels.html, labels.pdf      the chart of the board's circuits for its door, and notices\n\
         circuits.csv                 the circuits, for a spreadsheet\n\
         schedule.json                all of the schedule, for other programs\n\
         {}log.jsonl                    every event of the session, {}\n",
        report::RECORD_OF,
        if photos(schedules).is_empty() {
            ""
        } else {
            "photos                       of what was observed, by its number\n         "
        },
        if sounds {
            "with its sound"
        } else {
            "without its sound"
        }
    );
    let several = if heads.len() > 1 { "heads" } else { "head" };
    let _ = writeln!(text, "The {several} of the log:\n");
    for head in heads {
        let _ = writeln!(text, "    {head}");
    }
    text.push_str(
        "\nNo event can be changed, added or left out without changing it. Compare it with the head on the\n\
         paper that was signed. To check that log.jsonl is the log with that head, and that the other files\n\
         were made from it:\n\n    \
         bothhands import log.jsonl --db log.db\n",
    );
    for head in heads {
        let _ = writeln!(text, "    bothhands verify log.db --head {head}");
    }
    let with = if sounds { " --sounds" } else { "" };
    let _ = writeln!(
        text,
        "    bothhands pack log.db --output again.zip{with}\n\nThe files of again.zip are these, to the byte."
    );
    text.push_str("\nCautions\n\n");
    for caution in bothhands::sequence::CAUTIONS {
        let _ = writeln!(text, "* {caution}");
    }
    text
}
