use super::{about_log, shown};
use anyhow::{Context, bail};
use bothhands::log::{SharedClock, keep, take_up};
use bothhands::report::can_be_printed;
use bothhands::sequence::{PhotoOf, Picture, photo_at_desk};
use bothhands::store::{OpenMode, Store};
use bothhands::terms::ItemNumber;
use clap::{ArgGroup, Args};
use std::fs::File;
use std::io::Read as _;
use std::{path::PathBuf, process::ExitCode};

/// Add a photo to something that was observed
///
/// The file is kept in the log as it is, bound by its hashes: it cannot be changed, and not be taken out
/// again as sound can. It stands on the schedule, on the review page and in the archive. A camera's
/// notes in the file, such as where it was taken, are kept with it.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("which").required(true).args(["observation", "item"])))]
pub(crate) struct PhotoArgs {
    /// The log of the session
    #[arg(value_name = "DB")]
    db: PathBuf,
    /// The photo: JPEG or PNG, at most 4 MB
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The observation it is of, by its number on the schedule
    #[arg(long, value_name = "N")]
    observation: Option<usize>,
    /// The item of the inspection whose observation it is of, such as 4.3
    #[arg(long, value_name = "ITEM")]
    item: Option<String>,
}

/// Adds it.
///
/// # Errors
/// When the file is no photo, the log can't be written, or nothing of the kind was observed.
pub(crate) fn run(args: PhotoArgs) -> anyhow::Result<ExitCode> {
    let (db, file) = (args.db.display(), args.file.display());
    let of = match (&args.item, args.observation) {
        (Some(item), _) => PhotoOf::Item(item.parse::<ItemNumber>().map_err(|_| {
            anyhow::anyhow!("{item}: this is no item of the inspection: write it as in 4.3")
        })?),
        (None, Some(number)) => PhotoOf::Observation(number),
        (None, None) => bail!("say which observation it is of: --observation 1, or --item 4.3"),
    };
    // A byte more than is taken, so that what is larger is not read whole.
    let most = u64::try_from(bothhands::sequence::MOST_PICTURE_BYTES)?.saturating_add(1);
    let mut bytes = Vec::new();
    File::open(&args.file)
        .and_then(|file| file.take(most).read_to_end(&mut bytes))
        .with_context(|| format!("{file}: the photo can't be read; check the path"))?;
    let picture = Picture::of(&bytes).with_context(|| format!("{file}: this is no photo"))?;
    can_be_printed(&picture).map_err(|why| {
        anyhow::anyhow!("{file}: this photo is damaged ({why}); copy it from the camera again")
    })?;
    // Opened to be added to, a log that is not there would be made.
    if Store::open(&args.db, OpenMode::Read)?.is_empty()? {
        bail!("{db}: there is nothing in this log");
    }
    let (mut store, log) =
        take_up(&args.db, &SharedClock::default()).map_err(|why| about_log(&args.db, why))?;
    let agenda = log
        .agenda()
        .map_err(|why| about_log(&args.db, why.into()))?;
    let what = picture.shown();
    let event = photo_at_desk(&agenda, of, picture)
        .with_context(|| format!("{db}: the photo was not added"))?;
    keep(&mut store, &[event], agenda.practises(), None).map_err(|why| about_log(&args.db, why))?;
    shown::line(format!(
        "Added: {what}. The schedule and the archive show it from now on."
    ))?;
    Ok(ExitCode::SUCCESS)
}
