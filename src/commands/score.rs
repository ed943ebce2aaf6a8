//! `bothhands score`: how well a list of recordings is heard.

use super::engine::EngineArgs;
use super::hear::{DEFAULT_RULE, MODEL_IS_OURS};
use crate::audio::{self, Cutting, Utterance};
use crate::grammar::{Grammar, Said};
use crate::speech::ear::{Thresholds, WIDTH, Width, same_meaning};
use crate::speech::{Expectation, Heard, Outcome, Recogniser};
use anyhow::{Context, bail};
use clap::Args;
use serde::Serialize;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Measure how well recordings are heard, against the words that were said in them.
#[derive(Debug, Args)]
pub struct Score {
    /// Lines `path<TAB>expected words`, paths relative to this file; no words means that the
    /// recording must be ignored. Empty lines and lines that begin with `#` are skipped.
    #[arg(value_name = "MANIFEST.tsv")]
    manifest: PathBuf,
    /// The grammar rule to listen for, as in `grammars/steps.jsgf`.
    #[arg(long, value_name = "NAME", default_value = DEFAULT_RULE)]
    rule: String,
    /// The result as one JSON object.
    #[arg(long)]
    json: bool,
    /// Write one line a recording: what was expected, heard and scored.
    #[arg(long, value_name = "FILE.tsv")]
    rows: Option<PathBuf>,
    /// Hear what the voice activity cuts out of each recording instead of the whole of it.
    #[arg(long)]
    cut: bool,
    /// Also hear again what was heard wrongly, with that meaning refused, as after "negative".
    #[arg(long)]
    again: bool,
    /// Another recording of each line of the manifest, in the same order: what is heard when a
    /// person says it again, with the refused meaning left out and without leaving it out.
    #[arg(long, value_name = "OTHER.tsv", requires = "again")]
    second: Option<PathBuf>,
    /// Another acoustic model in place of the one that ships (see `models/README.md`).
    #[arg(long, value_name = "FILE.onnx")]
    model: Option<PathBuf>,
    /// With the bounds of a rehearsal: the part [hearing] of a profile.
    #[arg(long, value_name = "FILE.toml")]
    profile: Option<PathBuf>,
    /// How much less likely than the best a hypothesis may be before it is dropped.
    #[arg(long, hide = true)]
    beam: Option<f32>,
    /// How many nodes the search follows.
    #[arg(long, hide = true)]
    nodes: Option<usize>,
    #[command(flatten)]
    engine: EngineArgs,
}

/// One line of a manifest.
#[derive(Debug, Clone)]
pub struct Clip {
    pub path: PathBuf,
    /// The expected words; empty when the clip must be ignored.
    pub words: String,
    pub said: Option<Said>,
}

/// What became of a clip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Taken, with the expected meaning.
    Exact,
    /// Asked again.
    AskedAgain,
    /// Taken, with another meaning.
    WrongTaken,
    /// Taken for other talk or noise, rightly or wrongly.
    Ignored,
    /// Taken, though it should have been ignored.
    FalselyTaken,
}

/// One clip with what was heard.
#[derive(Debug, Clone)]
pub struct Row {
    pub clip: Clip,
    pub verdict: Verdict,
    /// Whether the likeliest reading had the expected meaning, whatever the outcome.
    pub first_right: bool,
    pub heard: Heard,
    pub seconds: f64,
    /// How long hearing and cutting took.
    pub took: Duration,
    /// Utterances that the voice activity cuts the clip into.
    pub pieces: usize,
    /// What was heard at second hearing; nothing unless [`hear_again`] was asked for and the first
    /// hearing was wrong.
    pub again: Option<SecondHearing>,
}

/// What a clip that was heard wrongly gives when it is heard again.
#[derive(Debug, Clone)]
pub struct SecondHearing {
    /// The same sound, the wrong meaning refused. A person says it anew and so differently: this
    /// counts what the refusal alone is worth.
    pub same: Heard,
    /// Another recording of the same words, where there is one.
    pub other: Option<OtherRecording>,
}

/// A second recording of the same words.
#[derive(Debug, Clone)]
pub struct OtherRecording {
    /// Heard as if nothing had been refused.
    pub plain: Heard,
    /// Heard with the meaning refused that the first recording was heard as.
    pub refused: Heard,
}

/// Counts and times of a whole list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    pub clips: usize,
    pub exact: usize,
    pub asked_again: usize,
    pub wrong_taken: usize,
    pub ignored: usize,
    pub falsely_taken: usize,
    pub latency_ms_p50: f64,
    pub latency_ms_p95: f64,
    pub real_time_factor: f64,
    /// Clips with words, and what became of them beside `exact` and `wrong_taken`.
    pub with_words: usize,
    pub with_words_asked_again: usize,
    pub with_words_ignored: usize,
    /// Clips with words whose likeliest reading was right, whatever the outcome.
    pub first_right: usize,
    /// Clips without words, and how many of them led to a question.
    pub without_words: usize,
    pub without_words_asked_again: usize,
    /// Clips with words that the voice activity would miss, or cut into several.
    pub not_found: usize,
    pub cut_apart: usize,
    pub seconds: f64,
    pub start_up_ms: f64,
    /// Processor time over length of sound, everything in this process counted; unlike the
    /// real-time factor it does not grow when other programs want the processor. Nothing where the
    /// system does not tell.
    pub processor_factor: Option<f64>,
    /// Peak memory of the process; nothing where the system does not tell.
    pub peak_memory_mb: Option<f64>,
    /// What hearing again was worth, when it was asked for.
    pub again: Option<Again>,
}

/// What hearing again gives, of the clips with words that were heard, and wrongly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Again {
    /// Clips whose likeliest reading was wrong and which were taken or asked again; what was
    /// ignored was never read out to be refused.
    pub wrong: usize,
    /// Of them, those that were taken, and so read back.
    pub wrong_taken: usize,
    /// The same sound without the wrong meaning. With it, none would be right.
    pub same: Second,
    /// Of `same`, what became of those that were taken.
    pub same_of_taken: Second,
    /// Another recording with nothing refused, and without the wrong meaning.
    pub other_plain: Option<Second>,
    pub other_refused: Option<Second>,
}

/// What became of clips at second hearing.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Second {
    /// The likeliest reading was right, whatever the outcome.
    pub right: usize,
    pub exact: usize,
    pub asked_again: usize,
    pub wrong_taken: usize,
    pub ignored: usize,
}

/// Runs the command. Exit status 0 whatever the result.
///
/// # Errors
/// When the manifest or a recording cannot be used.
pub fn run(args: Score) -> anyhow::Result<ExitCode> {
    let started = Instant::now();
    let grammar = Arc::new(Grammar::built_in()?);
    let mut nodes = None;
    let mut engine: Box<dyn Recogniser> = match args.engine.other(&grammar)? {
        Some(_) if args.model.is_some() => bail!("{MODEL_IS_OURS}"),
        Some(engine) => engine,
        None => {
            let mut ear = super::hear::ear(args.model.as_deref(), grammar.clone())?;
            ear.set_width(Width {
                beam: args.beam.unwrap_or(WIDTH.beam),
                nodes: args.nodes.unwrap_or(WIDTH.nodes),
                ..WIDTH
            });
            if let Some(path) = &args.profile {
                let text = std::fs::read_to_string(path)
                    .with_context(|| format!("{}: can't read the profile", path.display()))?;
                let settings =
                    super::test::settings(&text).with_context(|| format!("{}", path.display()))?;
                if let Some(hearing) = settings.1 {
                    ear.set_thresholds(hearing.bounds(Thresholds::shipped()?));
                }
            }
            nodes = Some(ear.prepare(&args.rule)?.size());
            Box::new(ear)
        }
    };
    let start_up = started.elapsed();
    let clips = read_manifest(&args.manifest, &grammar, &args.rule)?;
    let mut rows = measure(engine.as_mut(), &clips, &args.rule, args.cut)?;
    if args.again {
        let others = match &args.second {
            Some(path) => Some(read_second(path, &grammar, &args.rule, &clips)?),
            None => None,
        };
        hear_again(
            engine.as_mut(),
            &mut rows,
            others.as_deref(),
            &args.rule,
            args.cut,
        )?;
    }
    let mut summary = Summary::of(&rows);
    summary.start_up_ms = millis(start_up);
    summary.again = args.again.then(|| Again::of(&rows));
    summary.peak_memory_mb = peak_memory_mb();
    summary.processor_factor = processor_seconds().map(|s| round(s / summary.seconds.max(1e-9), 4));
    if let Some(path) = &args.rows {
        std::fs::write(path, table(&rows))
            .with_context(|| format!("{}: cannot be written", path.display()))?;
    }
    if args.json {
        println!("{}", serde_json::to_string_pretty(&summary)?);
    } else {
        print!("{summary}");
        if let Some(nodes) = nodes {
            println!("search graph of `{}`: {nodes} nodes", args.rule);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Reads a manifest; every line's words must be understood under `rule`.
///
/// # Errors
/// When it cannot be read, holds no clip, or a line is wrong, which is then named.
pub fn read_manifest(path: &Path, grammar: &Grammar, rule: &str) -> anyhow::Result<Vec<Clip>> {
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("{}: cannot be read; check the path", path.display()))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut clips = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let line = line.trim_end_matches(['\r', '\n']);
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        let (file, words) = line.split_once('\t').unwrap_or((line, ""));
        let words = words.trim();
        let said = grammar.understand(rule, words);
        if said.is_none() && !words.is_empty() {
            bail!(
                "{} line {}: \"{words}\" is nothing that rule `{rule}` allows; correct the words \
                 or leave them out if the recording must be ignored",
                path.display(),
                number + 1
            );
        }
        clips.push(Clip {
            path: folder.join(file.trim()),
            words: words.to_owned(),
            said,
        });
    }
    if clips.is_empty() {
        bail!(
            "{}: names no recording; give lines `path<TAB>expected words`",
            path.display()
        );
    }
    Ok(clips)
}

/// Reads the manifest of the second recordings: the same words, line by line.
///
/// # Errors
/// When it cannot be read, or is not about the same words; the line is then named.
pub fn read_second(
    path: &Path,
    grammar: &Grammar,
    rule: &str,
    first: &[Clip],
) -> anyhow::Result<Vec<Clip>> {
    let second = read_manifest(path, grammar, rule)?;
    if second.len() != first.len() {
        bail!(
            "{}: names {} recordings where the first list names {}; give one for each, in the \
             same order",
            path.display(),
            second.len(),
            first.len()
        );
    }
    for (number, (a, b)) in first.iter().zip(&second).enumerate() {
        if a.words != b.words {
            bail!(
                "{}: recording {} is of \"{}\" where that of the first list is of \"{}\"; give \
                 the same words in the same order",
                path.display(),
                number + 1,
                b.words,
                a.words
            );
        }
    }
    Ok(second)
}

/// Hears every clip.
///
/// # Errors
/// When a recording cannot be used or the engine fails.
pub fn measure(
    engine: &mut dyn Recogniser,
    clips: &[Clip],
    rule: &str,
    cut: bool,
) -> anyhow::Result<Vec<Row>> {
    let expected = Expectation {
        rule: rule.to_owned(),
        excluded: Vec::new(),
    };
    let mut rows = Vec::with_capacity(clips.len());
    for clip in clips {
        let samples = audio::read(&clip.path)?;
        let started = Instant::now();
        let pieces = audio::utterances(&samples, Cutting::default());
        let heard = engine.recognise(counting(&samples, &pieces, cut), &expected)?;
        rows.push(Row {
            verdict: verdict(clip, &heard),
            first_right: matches_expected(clip, &heard),
            heard,
            seconds: audio::seconds(&samples),
            took: started.elapsed(),
            pieces: pieces.len(),
            clip: clip.clone(),
            again: None,
        });
    }
    Ok(rows)
}

/// The sound that counts. What was cut apart was not heard as one reading, so only the last piece
/// does: the one after which the person waits for an answer.
fn counting<'a>(samples: &'a [f32], pieces: &'a [Utterance], cut: bool) -> &'a [f32] {
    match pieces.last() {
        Some(last) if cut => &last.samples,
        _ => samples,
    }
}

/// Hears once more what was taken or asked again with a wrong likeliest meaning, with that meaning
/// refused; and the recording of `others` that belongs to it, with and without.
///
/// # Errors
/// When a recording cannot be used or the engine fails.
pub fn hear_again(
    engine: &mut dyn Recogniser,
    rows: &mut [Row],
    others: Option<&[Clip]>,
    rule: &str,
    cut: bool,
) -> anyhow::Result<()> {
    for (number, row) in rows.iter_mut().enumerate() {
        let Some(wrong) = refusable(row) else {
            continue;
        };
        let plain = Expectation {
            rule: rule.to_owned(),
            excluded: Vec::new(),
        };
        let refused = Expectation {
            excluded: vec![wrong.clone()],
            ..plain.clone()
        };
        let mut hear = |path: &Path, expected: &Expectation| {
            let samples = audio::read(path)?;
            let pieces = if cut {
                audio::utterances(&samples, Cutting::default())
            } else {
                Vec::new()
            };
            engine.recognise(counting(&samples, &pieces, cut), expected)
        };
        let other = match others.and_then(|others| others.get(number)) {
            Some(other) => Some(OtherRecording {
                plain: hear(&other.path, &plain)?,
                refused: hear(&other.path, &refused)?,
            }),
            None => None,
        };
        row.again = Some(SecondHearing {
            same: hear(&row.clip.path, &refused)?,
            other,
        });
    }
    Ok(())
}

/// The wrong meaning that a person would have been told, and could refuse.
fn refusable(row: &Row) -> Option<&Said> {
    let told = row.clip.said.is_some() && row.heard.outcome != Outcome::NotForUs;
    row.heard.said.as_ref().filter(|_| told && !row.first_right)
}

fn matches_expected(clip: &Clip, heard: &Heard) -> bool {
    match (&clip.said, &heard.said) {
        (Some(expected), Some(said)) => same_meaning(expected, said),
        _ => false,
    }
}

fn verdict(clip: &Clip, heard: &Heard) -> Verdict {
    match heard.outcome {
        Outcome::NotForUs => Verdict::Ignored,
        Outcome::AskAgain => Verdict::AskedAgain,
        Outcome::Taken if clip.said.is_none() => Verdict::FalselyTaken,
        Outcome::Taken if matches_expected(clip, heard) => Verdict::Exact,
        Outcome::Taken => Verdict::WrongTaken,
    }
}

impl Again {
    /// Counts of the rows that were heard again.
    pub fn of(rows: &[Row]) -> Self {
        let again: Vec<(&Row, &SecondHearing)> = rows
            .iter()
            .filter_map(|row| Some((row, row.again.as_ref()?)))
            .collect();
        let taken = |row: &Row| row.verdict == Verdict::WrongTaken;
        let same = again.iter().map(|(row, second)| (*row, &second.same));
        let other = |pick: fn(&OtherRecording) -> &Heard| {
            let heard: Vec<_> = again
                .iter()
                .filter_map(|(row, second)| Some((*row, pick(second.other.as_ref()?))))
                .collect();
            (!heard.is_empty()).then(|| Second::of(heard.into_iter()))
        };
        Self {
            wrong: again.len(),
            wrong_taken: again.iter().filter(|(row, _)| taken(row)).count(),
            same: Second::of(same.clone()),
            same_of_taken: Second::of(same.filter(|(row, _)| taken(row))),
            other_plain: other(|o| &o.plain),
            other_refused: other(|o| &o.refused),
        }
    }
}

impl Second {
    fn of<'a>(heard: impl Iterator<Item = (&'a Row, &'a Heard)>) -> Self {
        let mut counts = Self::default();
        for (row, heard) in heard {
            counts.right += usize::from(matches_expected(&row.clip, heard));
            match verdict(&row.clip, heard) {
                Verdict::Exact => counts.exact += 1,
                Verdict::AskedAgain => counts.asked_again += 1,
                Verdict::WrongTaken | Verdict::FalselyTaken => counts.wrong_taken += 1,
                Verdict::Ignored => counts.ignored += 1,
            }
        }
        counts
    }
}

impl std::fmt::Display for Again {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        writeln!(
            f,
            "heard wrongly, and taken or asked again: {} ({} taken); at second hearing",
            self.wrong, self.wrong_taken
        )?;
        let mut row = |name: &str, counts: Option<Second>| match counts {
            Some(c) => writeln!(
                f,
                "  {name:<34} right {:>4}   exact {:>4}   asked again {:>4}   wrong and taken \
                 {:>4}   ignored {:>4}",
                c.right, c.exact, c.asked_again, c.wrong_taken, c.ignored
            ),
            None => Ok(()),
        };
        row("the same sound, meaning refused", Some(self.same))?;
        row("  of them those taken at first", Some(self.same_of_taken))?;
        row("another recording, nothing refused", self.other_plain)?;
        row("another recording, meaning refused", self.other_refused)
    }
}

impl Summary {
    /// Counts and times of `rows`.
    pub fn of(rows: &[Row]) -> Self {
        let count = |test: &dyn Fn(&Row) -> bool| rows.iter().filter(|r| test(r)).count();
        let verdicts = |v: Verdict| count(&|r| r.verdict == v);
        let with_words = |r: &Row| r.clip.said.is_some();
        let mut latencies: Vec<f64> = rows.iter().map(|r| millis(r.heard.took)).collect();
        latencies.sort_by(f64::total_cmp);
        let seconds: f64 = rows.iter().map(|r| r.seconds).sum();
        let took: f64 = rows.iter().map(|r| r.took.as_secs_f64()).sum();
        Self {
            clips: rows.len(),
            exact: verdicts(Verdict::Exact),
            asked_again: verdicts(Verdict::AskedAgain),
            wrong_taken: verdicts(Verdict::WrongTaken),
            ignored: verdicts(Verdict::Ignored),
            falsely_taken: verdicts(Verdict::FalselyTaken),
            latency_ms_p50: quantile(&latencies, 0.50),
            latency_ms_p95: quantile(&latencies, 0.95),
            real_time_factor: round(took / seconds.max(1e-9), 4),
            with_words: count(&with_words),
            with_words_asked_again: count(&|r| with_words(r) && r.verdict == Verdict::AskedAgain),
            with_words_ignored: count(&|r| with_words(r) && r.verdict == Verdict::Ignored),
            first_right: count(&|r| r.first_right),
            without_words: count(&|r| !with_words(r)),
            without_words_asked_again: count(&|r| {
                !with_words(r) && r.verdict == Verdict::AskedAgain
            }),
            not_found: count(&|r| with_words(r) && r.pieces == 0),
            cut_apart: count(&|r| with_words(r) && r.pieces > 1),
            seconds: round(seconds, 1),
            start_up_ms: 0.0,
            processor_factor: None,
            peak_memory_mb: None,
            again: None,
        }
    }
}

impl std::fmt::Display for Summary {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut row = |name: &str, count: usize, of: usize| {
            let share = 100.0 * count as f64 / of.max(1) as f64;
            writeln!(f, "{name:<28} {count:>6} {share:>6.1} %")
        };
        row("clips", self.clips, self.clips)?;
        row("with words", self.with_words, self.clips)?;
        row("  exact", self.exact, self.with_words)?;
        row(
            "  asked again",
            self.with_words_asked_again,
            self.with_words,
        )?;
        row("  wrong and taken", self.wrong_taken, self.with_words)?;
        row("  ignored", self.with_words_ignored, self.with_words)?;
        row(
            "  likeliest reading right",
            self.first_right,
            self.with_words,
        )?;
        row(
            "  not found by voice activity",
            self.not_found,
            self.with_words,
        )?;
        row("  cut apart by it", self.cut_apart, self.with_words)?;
        row("to be ignored", self.without_words, self.clips)?;
        let rightly = self.ignored - self.with_words_ignored;
        row("  ignored", rightly, self.without_words)?;
        row(
            "  asked again",
            self.without_words_asked_again,
            self.without_words,
        )?;
        row("  falsely taken", self.falsely_taken, self.without_words)?;
        writeln!(
            f,
            "latency {:.0} ms (p50), {:.0} ms (p95) after the end of an utterance; real-time \
             factor {:.3} on one core",
            self.latency_ms_p50, self.latency_ms_p95, self.real_time_factor
        )?;
        write!(
            f,
            "{:.0} s of sound; start-up {:.0} ms",
            self.seconds, self.start_up_ms
        )?;
        if let Some(factor) = self.processor_factor {
            write!(f, "; processor time {factor:.3} of the sound's length")?;
        }
        match self.peak_memory_mb {
            Some(mb) => writeln!(f, "; peak memory {mb:.0} MB")?,
            None => writeln!(f)?,
        }
        self.again.map_or(Ok(()), |again| write!(f, "{again}"))
    }
}

/// One line a clip, tab-separated, with a heading.
pub fn table(rows: &[Row]) -> String {
    let mut text = String::from(
        "path\texpected\tverdict\tfirst_right\twords\trunner_up\tfit\tmargin\tphones\tpieces\tms\t\
         again_refused\tother\tother_refused\n",
    );
    for row in rows {
        let heard = &row.heard;
        let again = row.again.as_ref();
        let other = again.and_then(|a| a.other.as_ref());
        let verdict = serde_json::to_value(row.verdict).unwrap_or_default();
        let _ = writeln!(
            text,
            "{}\t{}\t{}\t{}\t{}\t{}\t{:.3}\t{:.3}\t{}\t{}\t{:.1}\t{}\t{}\t{}",
            row.clip.path.display(),
            row.clip.words,
            verdict.as_str().unwrap_or_default(),
            row.first_right,
            heard.words,
            heard.runner_up.as_deref().unwrap_or_default(),
            heard.scores.fit,
            heard.scores.margin,
            heard.scores.phones,
            row.pieces,
            millis(heard.took),
            again.map_or("", |a| a.same.words.as_str()),
            other.map_or("", |o| o.plain.words.as_str()),
            other.map_or("", |o| o.refused.words.as_str()),
        );
    }
    text
}

/// The value below which a share of `sorted` lies (nearest rank).
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let rank = (share * sorted.len() as f64).ceil() as usize;
    round(
        sorted.get(rank.saturating_sub(1)).copied().unwrap_or(0.0),
        1,
    )
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}

fn round(value: f64, places: i32) -> f64 {
    let scale = 10f64.powi(places);
    (value * scale).round() / scale
}

/// Greatest resident memory of this process, where the system tells (Linux).
fn peak_memory_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kb: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(round(kb / 1024.0, 1))
}

/// Processor time of this process so far, where the system tells (Linux).
fn processor_seconds() -> Option<f64> {
    /// Clock ticks a second, which Linux fixes for user space.
    const TICKS: f64 = 100.0;
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // Fields are counted after the name, which may hold spaces and ends with the last bracket.
    let (_, fields) = stat.rsplit_once(')')?;
    let mut fields = fields.split_whitespace().skip(11);
    let mut ticks = || fields.next()?.parse::<f64>().ok();
    Some((ticks()? + ticks()?) / TICKS)
}
