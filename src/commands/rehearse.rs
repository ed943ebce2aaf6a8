//! `bothhands rehearse`: before the first job, how well the program hears one voice at one
//! microphone.

use super::sources::{Input, InputSource, Recordings};
use super::test::stop_on_signal;
use crate::audio::{Levels, Utterance};
use crate::grammar::Grammar;
use crate::speech::ear::{Ear, Thresholds};
use crate::speech::hearing::{Attempt, Came, conclude};
use crate::speech::{Expectation, Hearing, Recogniser};
use crate::voice::Silent;
use anyhow::{Context, bail};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Read 20 phrases: see how well the program hears you at this microphone, and keep what it learns
/// in a profile for `bothhands test --profile`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The profile (TOML). Made when it does not exist; otherwise only its part [hearing] is
    /// written anew.
    #[arg(value_name = "PROFILE.toml")]
    profile: PathBuf,
    /// Where sound comes from: `mic`, or a recording of each phrase, in order (WAV or FLAC).
    #[arg(long, value_name = "mic|FILE", num_args = 1..)]
    sound: Vec<String>,
    /// The microphone to use, by name; `bothhands devices` lists them.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Only list the phrases.
    #[arg(long)]
    list: bool,
    /// Report, but write nothing.
    #[arg(long)]
    dry_run: bool,
}

/// What is read: every digit, the words that are most easily taken for each other, and what a
/// session needs all the time.
pub const PHRASES: [&str; 20] = [
    "line to earth over nine nine nine megohms",
    "line to neutral nought point three five megohms",
    "neutral to earth two hundred and six megohms",
    "nought point four five ohms",
    "one point five four",
    "two oh seven point one",
    "fifteen milliseconds",
    "fifty megohms",
    "nineteen point eight milliseconds",
    "ninety",
    "six eight six",
    "under nought point two",
    "neutral out at socket four",
    "neutral back at socket four",
    "line and earth linked",
    "affirm",
    "negative",
    "correction two nine nine",
    "what is out",
    "dead",
];

/// The grammar's rule for all of them.
const RULE: &str = "anything";
/// After so many sounds that were none of our words the next phrase is asked for.
const PATIENCE: u32 = 3;
/// How long nothing may be heard before the person is told that the microphone is listening.
const QUIET: Duration = Duration::from_secs(15);

/// Runs it.
///
/// # Errors
/// When the sound or the profile cannot be used; the profile is as it was then.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    if args.list {
        for phrase in PHRASES {
            println!("{phrase}");
        }
        return Ok(ExitCode::SUCCESS);
    }
    let before = if args.profile.exists() {
        std::fs::read_to_string(&args.profile)
            .with_context(|| format!("{}: can't read the profile", args.profile.display()))?
    } else {
        String::new()
    };
    // Whether it can be written is found out before anybody reads twenty phrases.
    with_hearing(&before, None).with_context(|| {
        format!(
            "{}: not a profile; correct it, or give another file",
            args.profile.display()
        )
    })?;
    let stop = stop_on_signal()?;
    let grammar = Arc::new(Grammar::built_in()?);
    let mut ear = Ear::new(Arc::clone(&grammar), 1)?;
    ear.prepare(RULE)?;
    let mut source = source(args)?;
    println!(
        "{} phrases. Read each as you would at work, where you work. Ctrl-C stops; nothing is kept then.",
        PHRASES.len()
    );
    let mut attempts = Vec::new();
    for (n, phrase) in PHRASES.iter().enumerate() {
        let wanted = grammar
            .understand(RULE, phrase)
            .with_context(|| format!("\"{phrase}\" is not in the grammar; please report this"))?;
        println!("\n{:2} of {}   say: {phrase}", n + 1, PHRASES.len());
        let mut ignored = 0;
        let attempt = loop {
            let Some(utterance) = next(source.as_mut(), || stop.load(Ordering::SeqCst))? else {
                let why = if stop.load(Ordering::SeqCst) {
                    "stopped"
                } else {
                    "the sound ended"
                };
                bail!(
                    "{why} after {} of {} phrases: nothing is kept. Begin again when you are ready",
                    attempts.len(),
                    PHRASES.len()
                );
            };
            let expected = Expectation {
                rule: RULE.to_owned(),
                excluded: Vec::new(),
            };
            let attempt = Attempt {
                phrase,
                wanted: wanted.clone(),
                heard: ear.recognise(&utterance.samples, &expected)?,
                levels: Levels::of(&utterance.samples),
            };
            println!("           {}", told(&attempt));
            ignored += u32::from(attempt.result() == Came::Ignored);
            if attempt.result() != Came::Ignored || ignored == PATIENCE || !is_live(args) {
                break attempt;
            }
        };
        attempts.push(attempt);
    }
    let shipped = Thresholds::shipped()?;
    let hearing = conclude(&attempts, &shipped, jiff::Timestamp::now());
    println!("\n{}", report(&attempts, &hearing, &shipped));
    if args.dry_run {
        println!("Nothing is written (--dry-run).");
        return Ok(ExitCode::SUCCESS);
    }
    write(&args.profile, &with_hearing(&before, Some(&hearing))?)?;
    println!(
        "Written to {}. Use it with: bothhands test JOB.toml --profile {}",
        args.profile.display(),
        args.profile.display()
    );
    Ok(ExitCode::SUCCESS)
}

/// The next utterance; nothing at the end or when told to stop.
fn next(
    source: &mut dyn InputSource,
    stopped: impl Fn() -> bool,
) -> anyhow::Result<Option<Utterance>> {
    let mut quiet = Duration::ZERO;
    while !stopped() {
        match source.next(&mut Silent)? {
            None => return Ok(None),
            Some(Input::Sound(utterance) | Input::SpokenOver(utterance)) => {
                return Ok(Some(utterance));
            }
            Some(Input::NoVoice(name)) => {
                bail!("{name}: no voice in it; record the phrase again, nearer to the microphone")
            }
            Some(Input::Notice(text)) => eprintln!("{text}"),
            Some(Input::Idle(length)) => {
                quiet += length;
                if quiet >= QUIET {
                    quiet = Duration::ZERO;
                    println!(
                        "           (listening, and hearing no voice: `bothhands doctor` checks the microphone)"
                    );
                }
            }
            Some(Input::SoFar(_) | Input::Words(_)) => {}
        }
    }
    Ok(None)
}

fn told(attempt: &Attempt) -> String {
    let words = &attempt.heard.words;
    let what = match attempt.result() {
        Came::Right => format!("heard: {words}"),
        Came::Wrong => format!("heard: {words}   WRONG"),
        Came::AskedAgain => format!("in doubt: {words}, would ask again"),
        Came::Ignored => "taken for other talk or noise".to_owned(),
    };
    format!("{what}   [{:.0} dB]", attempt.levels.loud)
}

fn report(attempts: &[Attempt], hearing: &Hearing, shipped: &Thresholds) -> String {
    let count = |came: Came| attempts.iter().filter(|a| a.result() == came).count();
    let mut lines = vec![format!(
        "Of {} phrases: {} right, {} asked again, {} wrong, {} not taken for yours.",
        attempts.len(),
        count(Came::Right),
        count(Came::AskedAgain),
        count(Came::Wrong),
        count(Came::Ignored)
    )];
    for attempt in attempts.iter().filter(|a| a.result() != Came::Right) {
        lines.push(format!("  \"{}\": {}", attempt.phrase, told(attempt)));
    }
    lines.push(format!(
        "Your voice {:.0} dB of full scale, the room {:.0} dB.",
        hearing.speech_dbfs, hearing.room_dbfs
    ));
    lines.extend(advice(attempts, hearing));
    lines.push(hearing.told(shipped));
    lines.push(
        "Every value is read back all the same: listen, and say \"negative\" when it is wrong."
            .to_owned(),
    );
    lines.join("\n")
}

/// What the person can do about it.
fn advice(attempts: &[Attempt], hearing: &Hearing) -> Vec<String> {
    let mut advice = Vec::new();
    if attempts.iter().any(|a| a.levels.clipped > 0.001) {
        advice.push("The microphone is overdriven: turn its level down.".to_owned());
    }
    if hearing.speech_dbfs < -45.0 {
        advice.push(
            "Your voice is faint: turn the microphone's level up, or bring it nearer.".to_owned(),
        );
    }
    if hearing.speech_dbfs - hearing.room_dbfs < 15.0 {
        advice.push(
            "The room is nearly as loud as you: a headset with a boom microphone helps most."
                .to_owned(),
        );
    }
    let right = f64::from(hearing.right) / f64::from(hearing.phrases.max(1));
    if right < 0.7 {
        advice.push(
            "You are not heard well here. Try another microphone, or a quieter place, and rehearse again before you rely on it.".to_owned(),
        );
    }
    advice
}

fn is_live(args: &Args) -> bool {
    args.sound.is_empty() || args.sound == ["mic"]
}

fn source(args: &Args) -> anyhow::Result<Box<dyn InputSource>> {
    if is_live(args) {
        return microphone(args.device.as_deref());
    }
    let files: Vec<PathBuf> = args.sound.iter().map(PathBuf::from).collect();
    if let Some(missing) = files.iter().find(|file| !file.exists()) {
        bail!("{}: no such recording; check the path", missing.display());
    }
    Ok(Box::new(Recordings::new(files)))
}

#[cfg(feature = "microphone")]
fn microphone(device: Option<&str>) -> anyhow::Result<Box<dyn InputSource>> {
    Ok(Box::new(super::live::Live::open(device)?))
}

#[cfg(not(feature = "microphone"))]
fn microphone(_device: Option<&str>) -> anyhow::Result<Box<dyn InputSource>> {
    bail!("this build has no microphone; use --sound FILE.wav... with one recording a phrase")
}

/// A profile's text with another part `[hearing]`, everything else as it was; unchanged without
/// one.
fn with_hearing(text: &str, hearing: Option<&Hearing>) -> anyhow::Result<String> {
    let mut profile: toml_edit::DocumentMut = text.parse()?;
    super::test::settings(text)?;
    if let Some(hearing) = hearing {
        let part: toml_edit::DocumentMut = toml::to_string(hearing)?.parse()?;
        profile.insert("hearing", toml_edit::Item::Table(part.as_table().clone()));
    }
    Ok(profile.to_string())
}

/// Writes the whole of it or nothing.
fn write(path: &Path, text: &str) -> anyhow::Result<()> {
    let beside = path.with_extension("toml.new");
    let done = std::fs::write(&beside, text).and_then(|()| std::fs::rename(&beside, path));
    if done.is_err() {
        let _ = std::fs::remove_file(&beside);
    }
    done.with_context(|| {
        format!(
            "{}: can't write the profile; it is as it was. Check the folder and the disk",
            path.display()
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_phrase_is_one_that_a_session_takes_and_every_digit_is_among_them() {
        let grammar = Grammar::built_in().unwrap();
        for phrase in PHRASES {
            assert!(grammar.understand(RULE, phrase).is_some(), "{phrase}");
        }
        let all = PHRASES.join(" ");
        for digit in [
            "nought", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
        ] {
            assert!(all.split(' ').any(|word| word == digit), "{digit}");
        }
    }

    #[test]
    fn only_the_part_on_hearing_changes_in_a_profile() {
        let before = "# mine\nrate = 10   # faster\n\n[hearing]\nrehearsed = \"2026-01-01T00:00:00Z\"\nphrases = 20\nright = 3\nspeech_dbfs = -20.0\nroom_dbfs = -50.0\nprobability_below = 0.9\nfit_below = -1.3\n";
        let hearing = conclude(
            &[],
            &Thresholds::shipped().unwrap(),
            jiff::Timestamp::UNIX_EPOCH,
        );
        let after = with_hearing(before, Some(&hearing)).unwrap();
        assert!(
            after.starts_with("# mine\nrate = 10   # faster\n"),
            "{after}"
        );
        assert_eq!(after.matches("[hearing]").count(), 1);
        assert_eq!(
            super::super::test::settings(&after).unwrap().1,
            Some(hearing)
        );
    }

    #[test]
    fn what_is_no_profile_is_refused_before_anybody_reads() {
        for wrong in [
            "rate = 1000",
            "[hearing]\nright = 1",
            "loudness = 3",
            "rate =",
        ] {
            assert!(with_hearing(wrong, None).is_err(), "{wrong}");
        }
    }
}
