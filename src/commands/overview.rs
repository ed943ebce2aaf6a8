//! `bothhands` alone: the jobs of this folder, how far each is, and what to type next.

use super::shown;
use anyhow::Context;
use bothhands::installation::Job;
use bothhands::log::{Log, LogError};
use bothhands::report::Standing;
use bothhands::sequence::say::plural;
use bothhands::store::{OpenMode, Store, StoreError};
use jiff::tz::TimeZone;
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// A job of the folder: its file, its log, or both.
#[derive(Debug, Serialize)]
struct Found {
    #[serde(skip_serializing_if = "Option::is_none")]
    job: Option<PathBuf>,
    #[serde(skip_serializing_if = "Option::is_none")]
    log: Option<PathBuf>,
    #[serde(skip_serializing_if = "Option::is_none")]
    title: Option<String>,
    #[serde(flatten)]
    standing: Option<Standing>,
    /// What is wrong, where it can't be told how far it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    problem: Option<String>,
    next: String,
}

/// Lists them.
///
/// # Errors
/// When the folder can't be read, or standard output can't be written.
pub(crate) fn run(json: bool) -> anyhow::Result<ExitCode> {
    let all = jobs_in(Path::new("."))?;
    if json {
        shown::json(&(serde_json::to_string_pretty(&all)? + "\n"))?;
        return Ok(ExitCode::SUCCESS);
    }
    if all.is_empty() {
        shown::line(
            "There is no job in this folder.\n\
             \x20 bothhands new --ask   begins one from your answers; bothhands new writes one to fill in\n\
             \x20 bothhands demo        shows one on recorded speech\n\
             \x20 bothhands --help      lists every command",
        )?;
        return Ok(ExitCode::SUCCESS);
    }
    for found in &all {
        shown::line(told(found))?;
    }
    Ok(ExitCode::SUCCESS)
}

fn told(found: &Found) -> String {
    let named = found.job.as_ref().or(found.log.as_ref());
    let mut text = named.map_or_else(String::new, |path| path.display().to_string());
    if let Some(title) = &found.title {
        text.push_str(&format!(": {title}"));
    }
    if let Some(standing) = &found.standing {
        let Standing {
            circuits,
            circuits_done,
            what_is_out,
            ..
        } = standing;
        text.push_str(&match standing.last {
            None => format!(
                "\n  not begun, {}",
                plural(*circuits, "circuit", "circuits")
            ),
            Some(last) => {
                let last = last.to_zoned_datetime(TimeZone::system());
                let finished = if standing.finished { "finished; " } else { "" };
                format!(
                    "\n  {finished}{circuits_done} of {circuits} circuits done. {what_is_out} Last touched {}.",
                    last.strftime("%-d %B %Y, %H:%M")
                )
            }
        });
    }
    if let Some(problem) = &found.problem {
        text.push_str(&format!("\n  {problem}"));
    }
    format!("{text}\n  next: {}", found.next)
}

/// The jobs of a folder, by name.
fn jobs_in(folder: &Path) -> anyhow::Result<Vec<Found>> {
    let entries = std::fs::read_dir(folder)
        .with_context(|| format!("{}: this folder can't be read", folder.display()))?;
    let mut names: Vec<PathBuf> = entries
        .flatten()
        .map(|entry| PathBuf::from(entry.file_name()))
        .collect();
    names.sort();
    let ending = |end: &'static str| {
        let is = move |path: &&PathBuf| path.extension().is_some_and(|e| e == end);
        names.iter().filter(is)
    };
    let mut all: Vec<Found> = ending("toml")
        .filter_map(|name| of_job(folder, name))
        .collect();
    let files: Vec<(&PathBuf, Job)> = ending("toml")
        .filter_map(|name| {
            let text = std::fs::read_to_string(folder.join(name)).ok()?;
            Some((name, Job::parse(&text, &name.display().to_string()).ok()?))
        })
        .collect();
    for log in ending("db") {
        if !all.iter().any(|found| found.log.as_ref() == Some(log)) {
            all.extend(of_log(folder, log, None, &files));
        }
    }
    Ok(all)
}

/// What a file says, when it is a job: one with boards.
fn of_job(folder: &Path, name: &Path) -> Option<Found> {
    let text = std::fs::read_to_string(folder.join(name)).ok()?;
    let table: toml::Table = toml::from_str(&text).ok()?;
    table.get("board").filter(|board| board.is_array())?;
    let shown = name.display().to_string();
    let log = name.with_extension("db");
    if folder.join(&log).exists()
        && let Some(found) = of_log(folder, &log, Some(name.to_owned()), &[])
    {
        return Some(found);
    }
    Some(match Job::parse(&text, &shown) {
        Ok(job) => Found {
            job: Some(name.to_owned()),
            log: None,
            title: Some(job.title.clone()),
            standing: Some(Standing::not_begun(&job)),
            problem: None,
            next: format!("bothhands test {shown}"),
        },
        Err(why) => Found {
            job: Some(name.to_owned()),
            log: None,
            title: None,
            standing: None,
            problem: why.problems.first().map(|first| {
                let more = why.problems.len() - 1;
                let more = if more > 0 {
                    format!(" (and {more} more)")
                } else {
                    String::new()
                };
                format!("line {}: {}{more}", first.line, first.text)
            }),
            next: format!("bothhands check {shown}"),
        },
    })
}

/// What is typed to go on in a log that does not stand beside its job file under the same name: the job file
/// is the one that says the same, or has the same title.
fn taken_up(log: &str, job: &Job, files: &[(&PathBuf, Job)]) -> String {
    let same = files.iter().find(|(_, file)| file == job);
    let titled = || files.iter().find(|(_, file)| file.title == job.title);
    match same.or_else(titled) {
        Some((file, _)) => format!("bothhands test {} --db {log}", file.display()),
        None => format!("bothhands test JOB --db {log}   (JOB is its job file)"),
    }
}

/// What a log says; nothing when it is another kind of database. `files` are the job files of the folder.
fn of_log(
    folder: &Path,
    log: &Path,
    job: Option<PathBuf>,
    files: &[(&PathBuf, Job)],
) -> Option<Found> {
    let shown = log.display().to_string();
    let read = Store::open(folder.join(log), OpenMode::Read)
        .map_err(LogError::from)
        .and_then(|store| Ok(Log::read(&store)?.agenda()?));
    let is_ours = job.is_some();
    let mut found = Found {
        job,
        log: Some(log.to_owned()),
        title: None,
        standing: None,
        problem: None,
        next: format!("bothhands schedule {shown}"),
    };
    match read {
        Ok(agenda) => {
            let standing = Standing::of(&agenda);
            if agenda.practises() {
                found.next = format!("bothhands mark {shown}");
            } else if let Some(job) = found.job.as_ref().filter(|_| !standing.finished) {
                found.next = format!("bothhands test {}", job.display());
            } else if !standing.finished {
                found.next = taken_up(&shown, agenda.job(), files);
            }
            let title = &agenda.job().title;
            found.title = Some(if agenda.practises() {
                format!("PRACTICE: {title}")
            } else {
                title.clone()
            });
            found.standing = Some(standing);
        }
        Err(LogError::Threads(logs)) => {
            found.problem = Some(format!("put together from {logs} logs"));
        }
        // Another kind of database.
        Err(LogError::Store(StoreError::NotADatabase(_) | StoreError::NotALog(_))) if !is_ours => {
            return None;
        }
        Err(why) => {
            found.problem = Some(format!("its log can't be read: {why}"));
            found.next = format!("bothhands verify {shown}");
        }
    }
    Some(found)
}
