//! Dialogues: what a person says and what the program answers, one file each in
//! `tests/dialogues/`, to be read by an electrician.
//!
//! ```text
//! # What it is about.
//! job: NAME                 tests/dialogues/jobs/NAME.toml; or the job file itself, indented below
//! plainly to: STEP          everything is answered plainly until this step is asked for
//! you: WORDS                typed words, understood by the grammar of the step
//! program: LINE             the lines said, all of them in order; "..." at the end for any ending
//! later: 20 minutes         time passes
//! idle                      nothing was said for a while
//! restart                   the program stops and takes the log up again
//! unclear: WORDS | OTHER    an utterance that could have been two things
//! unknown: WORDS            words that the step's grammar does not know
//! asked: STEP               the step asked for now
//! out: WHAT; WHAT           what is out; "nothing"
//! reads: STEP = VALUE       the reading that counts for a step; "nothing"
//! departures: N             how often the order was left, a bar overridden or a step left out
//! ```
//!
//! After every event the invariants are checked; at the end the log is replayed and must give the
//! live state to the byte. `DIALOGUES=write cargo test --test it dialogues::` writes the program's lines
//! anew, to be read before they are committed.

use crate::dialogues::plain::Site;
use bothhands::installation::Job;
use bothhands::limits::Tables;
use bothhands::sequence::{Event, Line, OutEntry};
use jiff::SignedDuration;
use std::fs;
use std::path::{Path, PathBuf};

const MORNING: &str = "2026-11-25T09:30:00Z";

#[test]
fn every_dialogue_goes_as_written() {
    let write = std::env::var("DIALOGUES").is_ok_and(|v| v == "write");
    let mut wrong = Vec::new();
    let files = files();
    for path in &files {
        let text = fs::read_to_string(path).unwrap();
        let mut run = Run::new(&text);
        run.all(write);
        if write {
            let written = run.written.join("\n") + "\n";
            if written != text {
                fs::write(path, written).unwrap();
            }
        }
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        wrong.extend(run.wrong.into_iter().map(|w| format!("{name}:{w}")));
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
    assert!(files.len() >= 40, "only {} dialogues", files.len());
}

#[test]
fn an_edited_copy_of_the_tables_decides() {
    let text = Tables::shipped_text()
        .replace("BS 7671:2018+A2:2022", "works rule 3")
        .replace(
            "low = { test_volts = 500, megohms = 1.0 }",
            "low = { test_volts = 500, megohms = 50.0 }",
        );
    let tables = Tables::parse(&text, "mine.toml").unwrap();
    let job = Job::load(Path::new("tests/dialogues/jobs/plain.toml")).unwrap();
    let (mut site, _) = Site::typed(job, MORNING.parse().unwrap());
    site.session = site.session.with_tables(tables);
    site.plainly_to("500/L-N").unwrap();
    let lines = site.type_in("20").unwrap();
    assert!(lines[0].text.ends_with("Affirm, or correct."), "{lines:?}");
    let verdict = site
        .state()
        .readings()
        .filter_map(|kept| kept.verdict.clone())
        .last()
        .unwrap();
    let verdict = format!("{verdict:?}");
    assert!(
        verdict.contains("works rule 3") && verdict.contains("50"),
        "{verdict}"
    );
}

pub fn files() -> Vec<PathBuf> {
    let only = std::env::var("DIALOGUE").unwrap_or_default();
    let mut files: Vec<PathBuf> = fs::read_dir("tests/dialogues")
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "txt"))
        .filter(|path| path.to_string_lossy().contains(&only))
        .collect();
    files.sort();
    files
}

/// One file being gone through.
pub struct Run<'a> {
    lines: Vec<&'a str>,
    at: usize,
    pub site: Option<Site>,
    written: Vec<String>,
    pub wrong: Vec<String>,
    /// Whether the session is remembered after each turn; then it is not replayed.
    remembers: bool,
}

impl<'a> Run<'a> {
    pub fn new(text: &'a str) -> Self {
        Self {
            lines: text.lines().collect(),
            at: 0,
            site: None,
            written: Vec::new(),
            wrong: Vec::new(),
            remembers: false,
        }
    }

    /// The same; the session is remembered after each turn, for somebody to go on from there.
    pub fn remembered(text: &'a str) -> Self {
        Self {
            remembers: true,
            ..Self::new(text)
        }
    }

    pub fn all(&mut self, write: bool) {
        while let Some(line) = self.lines.get(self.at).copied() {
            self.at += 1;
            self.written.push(line.to_owned());
            let said = match self.one(line) {
                Ok(said) => said,
                Err(why) => {
                    self.wrong.push(format!("{}: {why}", self.at));
                    return;
                }
            };
            if let Some(said) = said {
                self.compare(line, &said, write);
            }
        }
        match &self.site {
            Some(_) if self.remembers => {}
            Some(site) => site.check_replay(),
            None => self.wrong.push("0: no job".to_owned()),
        }
    }

    /// Does what a line says; the lines said, when something may be said.
    fn one(&mut self, line: &str) -> Result<Option<Vec<Line>>, String> {
        let (word, rest) = line.split_once(':').unwrap_or((line, ""));
        let rest = rest.trim();
        if word.starts_with('#') || word.trim().is_empty() {
            return Ok(None);
        }
        if word == "job" {
            let (mut site, lines) = Site::typed(self.job(rest)?, MORNING.parse().unwrap());
            if self.remembers {
                site.remember();
            }
            self.site = Some(site);
            return Ok(Some(lines));
        }
        let site = self.site.as_mut().ok_or("the job comes first")?;
        match word {
            "you" => return site.type_in(rest).map(Some),
            "restart" => return Ok(Some(site.restart())),
            "idle" => return Ok(Some(site.session.idle().into_iter().collect())),
            "unclear" => {
                let (words, other) = rest.split_once('|').unwrap_or((rest, ""));
                let other = Some(other.trim()).filter(|other| !other.is_empty());
                return Ok(Some(site.unclear(words.trim(), other)));
            }
            "unknown" => {
                let rule = site.session.rule();
                let grammar = site.grammar.as_ref().ok_or("no grammar")?;
                if let Some(said) = grammar.understand(rule, rest) {
                    return Err(format!("\"{rest}\" means {said:?}"));
                }
            }
            "later" => site.now += span(rest)?,
            "plainly to" if rest == "the end" => site.plainly_to_the_end()?,
            "plainly to" => site.plainly_to(rest)?,
            "asked" => same(rest, &site.asked(), |a, b| b.ends_with(a))?,
            "out" => {
                let what: Vec<_> = site.state().open_entries().map(OutEntry::what).collect();
                let what = if what.is_empty() {
                    "nothing".to_owned()
                } else {
                    what.join("; ")
                };
                same(rest, &what, |a, b| a == b)?;
            }
            "reads" => {
                let (id, value) = rest.split_once('=').ok_or("reads: STEP = VALUE")?;
                let kept = site
                    .state()
                    .result_of(&id.trim().parse().map_err(|_| "no such step")?);
                let shown = kept.map_or("nothing".to_owned(), |k| k.reading.to_string());
                same(value.trim(), &shown, |a, b| a == b)?;
            }
            "departures" => same(rest, &departures(site).to_string(), |a, b| a == b)?,
            other => return Err(format!("no such directive: {other}")),
        }
        Ok(None)
    }

    /// The lines that are written below, against those said.
    fn compare(&mut self, line: &str, said: &[Line], write: bool) {
        let start = self.at;
        let mut wanted = Vec::new();
        while let Some(text) = self
            .lines
            .get(self.at)
            .and_then(|line| line.strip_prefix("program:"))
        {
            wanted.push(text.trim());
            self.at += 1;
        }
        let said: Vec<&str> = said.iter().map(|line| line.text.as_str()).collect();
        // The cautions at the beginning are shown where they are the subject.
        let unasked = wanted.is_empty() && (line.starts_with("job") || line == "restart");
        let fits = |(wanted, said): (&&str, &&str)| match wanted.strip_suffix("...") {
            Some(start) => said.starts_with(start.trim_end()),
            None => wanted == said,
        };
        let same = wanted.len() == said.len() && wanted.iter().zip(&said).all(fits);
        if unasked || same || (wanted == ["(nothing)"] && said.is_empty()) {
            self.written
                .extend(self.lines[start..self.at].iter().map(|l| (*l).to_owned()));
            return;
        }
        if write {
            let lines = said.iter().map(|text| format!("program: {text}"));
            self.written.extend(lines);
            if said.is_empty() {
                self.written.push("program: (nothing)".to_owned());
            }
            return;
        }
        self.wrong.push(format!(
            "{start}: after {line:?}\n  written: {wanted:#?}\n  said:    {said:#?}"
        ));
    }

    fn job(&mut self, name: &str) -> Result<Job, String> {
        if !name.is_empty() {
            let path = format!("tests/dialogues/jobs/{name}.toml");
            return Job::load(Path::new(&path)).map_err(|e| e.to_string());
        }
        let mut text = String::new();
        while let Some(line) = self
            .lines
            .get(self.at)
            .filter(|line| line.starts_with("    "))
        {
            self.written.push((*line).to_owned());
            text.push_str(line.trim());
            text.push('\n');
            self.at += 1;
        }
        Job::parse(&text, "the dialogue's job").map_err(|e| e.to_string())
    }
}

fn same(wanted: &str, found: &str, equal: impl Fn(&str, &str) -> bool) -> Result<(), String> {
    if equal(wanted, found) {
        Ok(())
    } else {
        Err(format!("wanted {wanted:?}, found {found:?}"))
    }
}

fn departures(site: &Site) -> usize {
    site.events
        .iter()
        .filter(|(event, _)| match event {
            Event::Moved { passed_over, .. } => *passed_over > 0,
            Event::Overridden { .. } | Event::Skipped { .. } => true,
            _ => false,
        })
        .count()
}

/// "20 minutes", "16 hours".
fn span(text: &str) -> Result<SignedDuration, String> {
    let (number, unit) = text.split_once(' ').ok_or("later: 20 minutes")?;
    let number: i64 = number.parse().map_err(|_| "later: 20 minutes")?;
    match unit.trim_end_matches('s') {
        "second" => Ok(SignedDuration::from_secs(number)),
        "minute" => Ok(SignedDuration::from_mins(number)),
        "hour" => Ok(SignedDuration::from_hours(number)),
        _ => Err(format!("no such unit: {unit}")),
    }
}
