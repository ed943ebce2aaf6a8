//! `bothhands mark`: marks of sessions, from their logs alone.

use super::written::{Output, Outputs};
use super::{about_log, paper, shown};
use anyhow::{Context, bail, ensure};
use bothhands::installation::Job;
use bothhands::log::{self, Log};
use bothhands::marking::{Criteria, Economy, Sheet, mark};
use bothhands::practice::{Given, Hidden};
use bothhands::report::{self, SoundsByHash};
use bothhands::sequence::{EventNo, strike_at_desk};
use bothhands::store::{KnownHead, OpenMode, Store};
use bothhands::terms::{BayEdition, FaultKind};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Mark sessions from their logs: acts of safety, order, readings, predictions, the fault that was named
///
/// A log by itself gets a sheet; several get a sheet each and one for the group. Beside the log, as
/// HTML, PDF and CSV, or into a folder of your choice.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The logs of the sessions
    #[arg(value_name = "DB", required_unless_present = "criteria_file")]
    dbs: Vec<PathBuf>,
    /// The instructor's own log of the same bay: readings are compared with its
    #[arg(long, value_name = "DB")]
    reference: Option<PathBuf>,
    /// The instructor's criteria and weights
    #[arg(long, value_name = "FILE")]
    criteria: Option<PathBuf>,
    /// Write the usual criteria, to be changed and given with --criteria
    #[arg(long, conflicts_with = "dbs")]
    criteria_file: bool,
    /// Mark only logs that hold the heads in this file: lines of a log's name and its head, as `mark` prints
    /// them. An end that was cut off shows only against a head that was written down before
    #[arg(long, value_name = "FILE")]
    heads: Option<PathBuf>,
    #[command(flatten)]
    hidden: HiddenArgs,
    /// Strike this reading of one log from its marks: it was misheard. Kept in the log
    #[arg(long, value_name = "EVENT", requires_all = ["reason", "by"])]
    strike: Option<u64>,
    /// Why it is struck
    #[arg(long, value_name = "TEXT", requires = "strike")]
    reason: Option<String>,
    /// Who strikes it
    #[arg(long, value_name = "NAME", requires = "strike")]
    by: Option<String>,
    /// Write the sheets into this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Only the marks, as JSON Lines: one line a log
    #[arg(long)]
    json: bool,
    /// Open the page that was written
    #[arg(long)]
    open: bool,
    /// Show times in this zone, such as Europe/London; this machine's zone when left out
    #[arg(long, value_name = "ZONE", visible_alias = "zone")]
    time_zone: Option<String>,
}

/// What is hidden in a simulated installation.
#[derive(Debug, clap::Args)]
pub(super) struct HiddenArgs {
    /// The faults that are hidden: a file of an instructor (TOML, a [[fault]] for each).
    #[arg(long, value_name = "FILE", conflicts_with = "seed")]
    faults: Option<PathBuf>,
    /// Draws the faults that are hidden; the same number draws the same.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// How many faults a seed draws.
    #[arg(long, value_name = "N", default_value_t = 1, requires = "seed")]
    how_many: usize,
    /// The kinds a seed draws from; all that can be in the job when not given.
    #[arg(
        long,
        value_enum,
        value_name = "KIND",
        value_delimiter = ',',
        requires = "seed"
    )]
    from: Vec<FaultKind>,
}

impl HiddenArgs {
    /// A file of faults, or as many as are drawn by a seed; neither hides nothing.
    #[cfg(feature = "phone")]
    pub(super) fn new(faults: Option<PathBuf>, seed: Option<u64>, how_many: usize) -> Self {
        Self {
            faults,
            seed,
            how_many,
            from: Vec::new(),
        }
    }

    /// What is said to be hidden; nothing when neither faults nor a seed were given.
    ///
    /// # Errors
    /// When the file can't be used.
    pub(super) fn given(&self) -> anyhow::Result<Option<Given>> {
        Ok(match (&self.faults, self.seed) {
            (Some(file), _) => Some(Given::File(Hidden::load(file)?)),
            (None, Some(seed)) => Some(Given::Drawn {
                seed,
                how_many: self.how_many,
                from: self.from.clone(),
            }),
            (None, None) => None,
        })
    }

    /// What is hidden in a job, in a practice of that edition.
    ///
    /// # Errors
    /// When the file can't be used, or nothing that is named can be in the job.
    pub(super) fn of(&self, job: &Job, edition: BayEdition) -> anyhow::Result<Option<Hidden>> {
        let hidden = self.given()?.map(|given| given.hidden(job, edition));
        ensure!(
            self.seed.is_none() || hidden.as_ref().is_none_or(|h| !h.faults.is_empty()),
            "--from: none of these faults can be in this job; leave it out, or name other kinds"
        );
        Ok(hidden)
    }
}

/// Marks, and says what was written.
///
/// # Errors
/// When a log can't be read or marked, or a file not written.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    if args.criteria_file {
        shown::line(Criteria::default().written().trim_end())?;
        return Ok(ExitCode::SUCCESS);
    }
    let times = paper::times(args.time_zone.as_deref())?;
    let criteria = criteria(args.criteria.as_deref())?;
    if let (Some(event), Some(reason), Some(by)) = (args.strike, &args.reason, &args.by) {
        strike(&args.dbs, EventNo(event), reason, by)?;
    }
    if let Some(heads) = &args.heads {
        hold(&args.dbs, heads)?;
    }
    let reference = match &args.reference {
        Some(db) => Some(read(db)?.1),
        None => None,
    };
    let mut economy = Economy::default();
    let mut sheets = Vec::new();
    let mut sounds = Vec::new();
    for db in &args.dbs {
        let (store, log) = read(db)?;
        let agenda = log
            .agenda()
            .with_context(|| format!("{}: this log can't be marked", db.display()))?;
        let hidden = args.hidden.of(agenda.job(), agenda.bay_edition())?;
        let sheet = mark(
            &log,
            hidden.as_ref(),
            reference.as_ref(),
            &criteria,
            &mut economy,
        )
        .with_context(|| format!("{}: this log can't be marked", db.display()))?;
        sounds.push(heard(&store, &sheet)?);
        sheets.push(sheet);
    }
    if args.json {
        for sheet in &sheets {
            shown::json(&format!("{}\n", serde_json::to_string(sheet)?))?;
        }
        return Ok(ExitCode::SUCCESS);
    }
    let inputs: Vec<&Path> = args.dbs.iter().map(PathBuf::as_path).collect();
    let mut outputs = Outputs::new(&inputs);
    let bases = bases(args)?;
    if let [sheet] = sheets.as_slice() {
        let base = bases.first().context("a log without a name")?;
        add(&mut outputs, base, sheet, sounds.first(), &times)?;
        let csv = report::marks_csv(&sheets);
        outputs.add(ending(base, "csv"), Output::Text(csv))?;
    } else {
        let mut files = Vec::new();
        let folder = bases
            .first()
            .and_then(|base| base.parent())
            .map(Path::to_path_buf)
            .unwrap_or_default();
        let group = folder.join("group.marks");
        outputs.add(
            ending(&group, "html"),
            Output::Page(report::group_html(
                &sheets,
                &names(&bases, &mut files),
                &times,
            )),
        )?;
        outputs.add(
            ending(&group, "pdf"),
            Output::Pdf(report::group_pdf(&sheets, &times)?),
        )?;
        outputs.add(
            ending(&group, "csv"),
            Output::Text(report::marks_csv(&sheets)),
        )?;
        for (n, sheet) in sheets.iter().enumerate() {
            let base = bases.get(n).context("a log without a name")?;
            add(&mut outputs, base, sheet, sounds.get(n), &times)?;
        }
    }
    outputs.write()?;
    for (db, sheet) in args.dbs.iter().zip(&sheets) {
        if let Some(head) = &sheet.head {
            shown::line(format!("head {} {head}", name_of(db)))?;
        }
    }
    if args.open {
        outputs.open()?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The name of a log, without where it lies.
fn name_of(db: &Path) -> String {
    let name = db.file_name().unwrap_or(db.as_os_str());
    name.to_string_lossy().into_owned()
}

/// Whether each log holds the head that a file has for it.
fn hold(dbs: &[PathBuf], file: &Path) -> anyhow::Result<()> {
    let path = file.display();
    let text = std::fs::read_to_string(file).with_context(|| format!("{path}: can't be read"))?;
    let mut known: Vec<(String, KnownHead)> = Vec::new();
    for (n, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let line = line.strip_prefix("head ").unwrap_or(line);
        let (name, head) = line.rsplit_once(char::is_whitespace).with_context(|| {
            format!(
                "{path}, line {}: a line holds the name of a log and its head, such as: kim.practice.db 26:0123abcd",
                n + 1
            )
        })?;
        let head = head
            .parse()
            .with_context(|| format!("{path}, line {}", n + 1))?;
        known.push((name.trim().to_owned(), head));
    }
    let mut wrong = Vec::new();
    let mut names = BTreeSet::new();
    for db in dbs {
        let name = name_of(db);
        ensure!(
            names.insert(name.clone()),
            "two logs are called {name}: rename one of them, since heads are told by the name of the log"
        );
        let store = Store::open(db, OpenMode::Read)?;
        let mut of_log = known.iter().filter(|(of, _)| *of == name).peekable();
        if of_log.peek().is_none() {
            wrong.push(format!("{}: {path} has no head of it", db.display()));
        }
        for (_, head) in of_log {
            if !store.holds(head)? {
                wrong.push(format!(
                    "{}: does not hold the head {head}: its end was cut off, or it was made anew",
                    db.display()
                ));
            }
        }
    }
    ensure!(
        wrong.is_empty(),
        "{}\nNothing was marked. Ask for these logs as they were, or leave them out",
        wrong.join("\n")
    );
    Ok(())
}

/// The names of the pages of the sheets.
fn names(bases: &[PathBuf], files: &mut Vec<String>) -> Vec<String> {
    files.extend(bases.iter().map(|base| {
        let page = ending(base, "html");
        page.file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default()
    }));
    files.clone()
}

/// Where the sheets go, without their endings: beside each log, or in the folder that was named. Logs
/// of the same name get a number.
fn bases(args: &Args) -> anyhow::Result<Vec<PathBuf>> {
    if let Some(out) = &args.out {
        std::fs::create_dir_all(out)
            .with_context(|| format!("{}: this folder can't be made", out.display()))?;
    }
    let mut known = BTreeSet::new();
    let bases = args.dbs.iter().map(|db| {
        let stem = db
            .file_stem()
            .map(|stem| stem.to_string_lossy().into_owned())
            .unwrap_or_default();
        let folder = args
            .out
            .clone()
            .unwrap_or_else(|| db.parent().map(Path::to_path_buf).unwrap_or_default());
        let mut base = folder.join(format!("{stem}.marks"));
        let mut n = 1;
        while !known.insert(base.clone()) {
            n += 1;
            base = folder.join(format!("{stem}-{n}.marks"));
        }
        base
    });
    Ok(bases.collect())
}

fn ending(base: &Path, ending: &str) -> PathBuf {
    let mut name = base.as_os_str().to_owned();
    name.push(".");
    name.push(ending);
    name.into()
}

fn add(
    outputs: &mut Outputs<'_>,
    base: &Path,
    sheet: &Sheet,
    sounds: Option<&SoundsByHash>,
    times: &report::Times,
) -> anyhow::Result<()> {
    let none = SoundsByHash::new();
    let page = report::sheet_html(sheet, sounds.unwrap_or(&none), times);
    outputs.add(ending(base, "html"), Output::Page(page))?;
    let pdf = report::sheet_pdf(sheet, times)?;
    outputs.add(ending(base, "pdf"), Output::Pdf(pdf))?;
    Ok(())
}

/// The instructor's criteria, or the usual ones.
///
/// # Errors
/// When the file can't be used.
pub(super) fn criteria(file: Option<&Path>) -> anyhow::Result<Criteria> {
    Ok(match file {
        Some(file) => Criteria::load(file)?,
        None => Criteria::default(),
    })
}

/// A log in its file.
///
/// # Errors
/// When it can't be read.
pub(super) fn read(db: &Path) -> anyhow::Result<(Store, Log)> {
    let store = Store::open(db, OpenMode::Read)?;
    let log = Log::read(&store).map_err(|why| about_log(db, why))?;
    Ok((store, log))
}

/// The sounds that a sheet refers to.
pub(super) fn heard(store: &Store, sheet: &Sheet) -> anyhow::Result<SoundsByHash> {
    let lapses = sheet.lapses.iter().filter_map(|lapse| lapse.sound.as_ref());
    let wrong = sheet
        .readings
        .iter()
        .filter(|judged| judged.judgement.is_wrong());
    let wanted: BTreeSet<&String> = lapses
        .chain(wrong.filter_map(|judged| judged.sound.as_ref()))
        .collect();
    let mut sounds = SoundsByHash::new();
    for hash in wanted {
        let evidence = store.evidence(&hash.parse()?)?;
        if let Some(flac) = evidence.as_ref().and_then(|evidence| evidence.flac()) {
            sounds.insert(hash.clone(), flac.to_vec());
        }
    }
    Ok(sounds)
}

/// Strikes a reading: an event of the log, which says why.
fn strike(dbs: &[PathBuf], of: EventNo, reason: &str, by: &str) -> anyhow::Result<()> {
    let [db] = dbs else {
        bail!("--strike takes one log: name the one that the reading is in");
    };
    let mut store = Store::open(db, OpenMode::Append)?;
    let log = Log::read(&store).map_err(|why| about_log(db, why))?;
    let event = strike_at_desk(&log.agenda()?, of, reason, Some(by))
        .with_context(|| format!("{}: nothing is struck", db.display()))?;
    log::keep(&mut store, &[event], log.is_practice(), None)?;
    shown::note(format!(
        "Reading #{of} is struck from the marks: {}.",
        reason.trim()
    ));
    Ok(())
}
