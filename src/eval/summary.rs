use super::measure::{
    ClipResult, HeardClip, OtherRecording, SecondHearing, matches_expected, verdict,
};
use crate::speech::Recognition;
use serde::Serialize;
use std::time::Duration;

/// Counts and times of a whole list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// All of them.
    pub clips: usize,
    /// Taken with the expected meaning.
    pub exact: usize,
    /// Asked again, with words or without.
    pub asked_again: usize,
    /// Taken with another meaning.
    pub wrong_taken: usize,
    /// Ignored, rightly or wrongly.
    pub ignored: usize,
    /// Taken, though there were no words for us.
    pub falsely_taken: usize,
    /// Median of what hearing takes after the end of an utterance, ms.
    pub latency_ms_p50: f64,
    /// The same that 95 of 100 do not exceed, ms.
    pub latency_ms_p95: f64,
    /// Time spent over length of sound.
    pub real_time_factor: f64,
    /// Clips with words, and what became of them beside `exact` and `wrong_taken`.
    pub with_words: usize,
    /// Of those, asked again.
    pub with_words_asked_again: usize,
    /// Of those, ignored.
    pub with_words_ignored: usize,
    /// Clips with words whose likeliest reading was right, whatever the outcome.
    pub first_right: usize,
    /// Clips without words, and how many of them led to a question.
    pub without_words: usize,
    /// Of those, led to a question.
    pub without_words_asked_again: usize,
    /// Clips with words that the voice activity would miss, or cut into several.
    pub not_found: usize,
    /// Of those with words, cut into several.
    pub cut_apart: usize,
    /// Length of all sound, s.
    pub seconds: f64,
    /// Time until the recogniser was ready, ms.
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
    /// The other recording without the wrong meaning.
    pub other_refused: Option<Second>,
    /// What was asked again and repeated by another recording.
    pub repeated: Option<Repeated>,
}

/// What repetitions give of the clips with words that were asked again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Repeated {
    /// How many.
    pub clips: usize,
    /// The repetition by itself.
    pub alone: Second,
    /// Both takes together, always.
    pub together: Second,
    /// As a session does it ([`crate::speech::repeated`]).
    pub taken: Second,
}

/// What became of clips at second hearing.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Second {
    /// The likeliest reading was right, whatever the outcome.
    pub right: usize,
    /// Taken, and right.
    pub exact: usize,
    /// Asked again.
    pub asked_again: usize,
    /// Taken, and wrong.
    pub wrong_taken: usize,
    /// Ignored.
    pub ignored: usize,
}

impl Again {
    /// Counts of the rows that were heard again.
    pub fn of(rows: &[HeardClip]) -> Self {
        let again: Vec<(&HeardClip, &SecondHearing)> = rows
            .iter()
            .filter_map(|row| Some((row, row.again.as_ref()?)))
            .collect();
        let taken = |row: &HeardClip| row.verdict == ClipResult::WrongTaken;
        let same = again.iter().map(|(row, second)| (*row, &second.same));
        let other = |pick: fn(&OtherRecording) -> &Recognition| {
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
            repeated: Repeated::of(rows),
        }
    }
}

impl Repeated {
    fn of(rows: &[HeardClip]) -> Option<Self> {
        let repeated = || rows.iter().filter_map(|r| Some((r, r.repeated.as_ref()?)));
        let clips = repeated().count();
        (clips > 0).then(|| Self {
            clips,
            alone: Second::of(repeated().map(|(row, r)| (row, &r.alone))),
            together: Second::of(repeated().map(|(row, r)| (row, &r.together))),
            taken: Second::of(repeated().map(|(row, r)| (row, &r.taken))),
        })
    }
}

impl Second {
    fn of<'a>(heard: impl Iterator<Item = (&'a HeardClip, &'a Recognition)>) -> Self {
        let mut counts = Self::default();
        for (row, heard) in heard {
            counts.right += usize::from(matches_expected(&row.clip, heard));
            match verdict(&row.clip, heard) {
                ClipResult::Exact => counts.exact += 1,
                ClipResult::AskedAgain => counts.asked_again += 1,
                ClipResult::WrongTaken | ClipResult::FalselyTaken => counts.wrong_taken += 1,
                ClipResult::Ignored => counts.ignored += 1,
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
        row("another recording, meaning refused", self.other_refused)?;
        if let Some(repeated) = &self.repeated {
            writeln!(f, "asked again, and repeated: {}", repeated.clips)?;
            let mut row = |name: &str, c: Second| {
                writeln!(
                    f,
                    "  {name:<34} right {:>4}   exact {:>4}   asked again {:>4}   wrong and taken \
                     {:>4}   ignored {:>4}",
                    c.right, c.exact, c.asked_again, c.wrong_taken, c.ignored
                )
            };
            row("the repetition by itself", repeated.alone)?;
            row("both together", repeated.together)?;
            row("as a session takes it", repeated.taken)?;
        }
        Ok(())
    }
}

impl Summary {
    /// Counts and times of `rows`.
    pub fn of(rows: &[HeardClip]) -> Self {
        let count = |test: &dyn Fn(&HeardClip) -> bool| rows.iter().filter(|r| test(r)).count();
        let verdicts = |v: ClipResult| count(&|r| r.verdict == v);
        let with_words = |r: &HeardClip| r.clip.said.is_some();
        let mut latencies: Vec<f64> = rows.iter().map(|r| millis(r.heard.took)).collect();
        latencies.sort_by(f64::total_cmp);
        let seconds: f64 = rows.iter().map(|r| r.seconds).sum();
        let took: f64 = rows.iter().map(|r| r.took.as_secs_f64()).sum();
        Self {
            clips: rows.len(),
            exact: verdicts(ClipResult::Exact),
            asked_again: verdicts(ClipResult::AskedAgain),
            wrong_taken: verdicts(ClipResult::WrongTaken),
            ignored: verdicts(ClipResult::Ignored),
            falsely_taken: verdicts(ClipResult::FalselyTaken),
            latency_ms_p50: quantile(&latencies, 0.50),
            latency_ms_p95: quantile(&latencies, 0.95),
            real_time_factor: round(took / seconds.max(1e-9), 4),
            with_words: count(&with_words),
            with_words_asked_again: count(&|r| {
                with_words(r) && r.verdict == ClipResult::AskedAgain
            }),
            with_words_ignored: count(&|r| with_words(r) && r.verdict == ClipResult::Ignored),
            first_right: count(&|r| r.first_right),
            without_words: count(&|r| !with_words(r)),
            without_words_asked_again: count(&|r| {
                !with_words(r) && r.verdict == ClipResult::AskedAgain
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

impl Summary {
    /// Adds what this process took: until it could hear, in memory, and of the processor.
    #[must_use]
    pub fn with_cost(self, start_up: Duration) -> Self {
        Self {
            start_up_ms: millis(start_up),
            peak_memory_mb: peak_memory_mb(),
            processor_factor: processor_seconds().map(|s| round(s / self.seconds.max(1e-9), 4)),
            ..self
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

/// The value below which a share of `sorted` lies (nearest rank).
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let rank = (share * sorted.len() as f64).ceil() as usize;
    round(
        sorted.get(rank.saturating_sub(1)).copied().unwrap_or(0.0),
        1,
    )
}

pub(super) fn millis(time: Duration) -> f64 {
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
