use super::shown;
use anyhow::{Context, bail};
use bothhands::store::{Exported, OpenMode, Sounds, Store};
use clap::Args;
use serde_json::json;
use std::{
    ffi::OsString,
    fs::{self, File},
    io::{self, BufWriter, Write},
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Write a log as JSON Lines, to be kept, read by other programs, or imported elsewhere
#[derive(Debug, Args)]
pub(crate) struct ExportArgs {
    /// The log
    #[arg(value_name = "DB")]
    db: PathBuf,
    /// Where to write; standard output when left out
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Put the sound in this folder as FLAC files instead of into the lines
    #[arg(long, value_name = "DIR", conflicts_with = "no_sounds")]
    sounds: Option<PathBuf>,
    /// Leave the sound out
    #[arg(long)]
    no_sounds: bool,
    /// Say as JSON what was written; the log goes to a file then
    #[arg(long, requires = "output")]
    json: bool,
}

/// Exports the log. Exit status 0 when all of it was written, 2 when it is damaged and only what
/// is whole was.
///
/// # Errors
/// When the log cannot be read or the lines not written.
pub(crate) fn run(args: ExportArgs) -> anyhow::Result<ExitCode> {
    let to = args
        .output
        .as_deref()
        .filter(|path| *path != Path::new("-"));
    if args.json && to.is_none() {
        bail!("the log goes to standard output: leave --json out, or name a file with --output");
    }
    let store = Store::open(&args.db, OpenMode::Read)?;
    let sounds = match &args.sounds {
        Some(folder) => {
            fs::create_dir_all(folder)
                .with_context(|| format!("{}: this folder cannot be made", folder.display()))?;
            Sounds::Folder(folder.clone())
        }
        None if args.no_sounds => Sounds::LeftOut,
        None => Sounds::Inside,
    };
    let exported = match to {
        Some(path) => to_file(&store, path, &sounds)?,
        None => match store.export(&mut BufWriter::new(io::stdout().lock()), &sounds) {
            Err(bothhands::store::ExportError::Write(why))
                if why.kind() == io::ErrorKind::BrokenPipe =>
            {
                return Ok(ExitCode::SUCCESS);
            }
            exported => exported?,
        },
    };
    if args.json {
        shown::json(&(as_json(&args, &exported).to_string() + "\n"))?;
    } else {
        shown::note(report(&args.db, &exported));
    }
    Ok(if exported.verdict.is_whole() {
        ExitCode::SUCCESS
    } else {
        super::exit::Exit::Wrong.into()
    })
}

/// Writes beside the file and moves it into place when it is whole.
fn to_file(store: &Store, path: &Path, sounds: &Sounds) -> anyhow::Result<Exported> {
    if path.exists() {
        bail!(
            "{}: there is a file here already; choose another name",
            path.display()
        );
    }
    let mut part = OsString::from(path);
    part.push(".part");
    let part = PathBuf::from(part);
    let written = write_part(store, &part, sounds);
    if written.is_err() {
        let _ = fs::remove_file(&part);
    } else {
        fs::rename(&part, path)
            .with_context(|| format!("{}: this cannot be written", path.display()))?;
    }
    written
}

fn write_part(store: &Store, part: &Path, sounds: &Sounds) -> anyhow::Result<Exported> {
    let file = File::create(part)
        .with_context(|| format!("{}: this cannot be written", part.display()))?;
    let mut out = BufWriter::new(file);
    let exported = store.export(&mut out, sounds)?;
    out.flush()?;
    out.get_ref().sync_all()?;
    Ok(exported)
}

fn as_json(args: &ExportArgs, exported: &Exported) -> serde_json::Value {
    let fault = exported.verdict.faults.first();
    json!({
        "log": args.db,
        "wrote": args.output,
        "events": exported.events,
        "evidence": exported.evidence,
        "sounds_lost": exported.sounds_lost,
        "whole": exported.verdict.is_whole(),
        "damaged_at": fault.map(ToString::to_string),
    })
}

fn report(db: &Path, exported: &Exported) -> String {
    let db = db.display();
    let mut text = format!(
        "{db}: {} events and {} pieces of evidence exported\n",
        exported.events, exported.evidence
    );
    if let Some(fault) = exported.verdict.faults.first() {
        text += &format!(
            "{db}: this log is damaged at {fault}\n\
             All that is whole before that was exported. Keep the file as it is.\n"
        );
    }
    if exported.sounds_lost > 0 {
        text += &format!(
            "The sound of {} was damaged and left out.\n",
            exported.sounds_lost
        );
    }
    text
}
