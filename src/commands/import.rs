use super::shown;
use anyhow::Context;
use bothhands::store::{Imported, import};
use clap::Args;
use serde_json::json;
use std::{
    fs::File,
    io::{self, BufRead, BufReader},
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Make a log of exported JSON Lines: the same events with the same hashes
#[derive(Debug, Args)]
pub(crate) struct ImportArgs {
    /// The exported lines; - for standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The log to make
    #[arg(long, value_name = "DB")]
    db: PathBuf,
    /// The folder with the sound, when it was exported into one
    #[arg(long, value_name = "DIR")]
    sounds: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Imports the lines, all or nothing.
///
/// # Errors
/// When a line does not fit, when there is another log of that name, or it cannot be written.
pub(crate) fn run(args: ImportArgs) -> anyhow::Result<ExitCode> {
    let mut lines: Box<dyn BufRead> = if args.file == Path::new("-") {
        Box::new(io::stdin().lock())
    } else {
        let file = File::open(&args.file)
            .with_context(|| format!("{}: this cannot be read", args.file.display()))?;
        Box::new(BufReader::new(file))
    };
    let imported = import(&mut lines, &args.file, args.sounds.as_deref(), &args.db)?;
    if args.json {
        let told = json!({
            "log": args.db,
            "events": imported.events,
            "evidence": imported.evidence,
            "without_sound": imported.without_sound,
            "already_there": imported.already_there,
        });
        shown::json(&(told.to_string() + "\n"))?;
    } else {
        shown::all(report(&args.db, &imported))?;
    }
    Ok(ExitCode::SUCCESS)
}

fn report(db: &Path, imported: &Imported) -> String {
    let db = db.display();
    if imported.already_there {
        return format!(
            "{db}: these {} events are here already; nothing was changed\n",
            imported.events
        );
    }
    let mut text = format!(
        "{db}: {} events and {} pieces of evidence imported\n",
        imported.events, imported.evidence
    );
    if imported.without_sound > 0 {
        text += &format!(
            "{} of these came without their sound\n",
            imported.without_sound
        );
    }
    text
}
