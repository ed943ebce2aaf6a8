//! `bothhands lessons`: what was not understood, for whoever said it to hear, write down, strike, and
//! give. Nothing is sent anywhere, and nothing is written before the person agrees.

use super::{about_log, shown, written};
use anyhow::{Context, bail};
use bothhands::log::{Log, LogError};
use bothhands::report::{self, Lesson, Times};
use bothhands::sequence::say::plural;
use bothhands::store::{Digest256, OpenMode, Store};
use clap::Args;
use std::fmt::Write as _;
use std::fs;
use std::io::{self, BufRead};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Go through what was not understood, asked twice or corrected, and give what may be learnt from
///
/// One by one you hear what was said, write down its words, keep it or strike it. At the end you see
/// what you would give, and only when you agree it is written into a folder: the sound, its words, and
/// what was agreed. Nothing is sent anywhere. Neither names nor places are in it, but what is said in
/// the words; notes are never part of it.
#[derive(Debug, Args)]
pub(crate) struct LessonsArgs {
    /// The logs of the sessions
    #[arg(value_name = "DB", required = true)]
    dbs: Vec<PathBuf>,
    /// The folder to write, which is new or empty
    #[arg(long, value_name = "DIR", default_value = "lessons")]
    out: PathBuf,
    /// Only list what there is, as JSON Lines
    #[arg(long)]
    json: bool,
}

/// A lesson with its sound.
struct Piece {
    lesson: Lesson,
    sound: Option<Vec<u8>>,
}

/// What the person agreed to give, with the words they wrote.
struct Given<'p> {
    piece: &'p Piece,
    words: String,
}

/// What they answered to one of them.
enum Answer {
    Words(String),
    Hear,
    Strike,
    Stop,
    Again(String),
}

const AGREE: &str = "agree";
/// As many letters as a sentence said at a board can have.
const LONGEST: usize = 200;

/// Goes through the lessons.
///
/// # Errors
/// When a log can't be read, or the folder is in use or can't be written.
pub(crate) fn run(args: LessonsArgs) -> anyhow::Result<ExitCode> {
    let mut pieces = Vec::new();
    for db in &args.dbs {
        pieces.extend(read(db)?);
    }
    if args.json {
        for piece in &pieces {
            shown::json(&format!("{}\n", serde_json::to_string(&piece.lesson)?))?;
        }
        return Ok(ExitCode::SUCCESS);
    }
    if pieces.is_empty() {
        shown::line(
            "Nothing was misunderstood, asked twice or corrected: there is nothing to give.",
        )?;
        return Ok(ExitCode::SUCCESS);
    }
    refuse_folder_in_use(&args.out)?;
    let mut lines = io::stdin().lock().lines();
    let mut next = || {
        lines
            .next()
            .transpose()
            .context("what is typed can't be read")
    };
    shown::line(format!(
        "{} to go through. Nothing is sent anywhere, and nothing is written before you agree at the \
         end. Write what was said word by word, as it sounds: \"nought point three four\". Strike what holds a \
         name, or what you do not want to give.",
        plural(pieces.len(), "thing", "things")
    ))?;
    let heard = tempfile::tempdir().context("no folder can be made to play sound from")?;
    let mut given = Vec::new();
    'pieces: for (n, piece) in pieces.iter().enumerate() {
        shown::line(about(piece, n + 1, pieces.len()))?;
        loop {
            // At the end of what is typed, nobody agrees any more.
            let Some(line) = next()? else {
                break 'pieces;
            };
            match answer(&line, piece) {
                Answer::Words(words) => {
                    shown::line(format!("  kept: {words}"))?;
                    given.push(Given { piece, words });
                    break;
                }
                Answer::Strike => {
                    shown::line("  struck")?;
                    break;
                }
                Answer::Stop => break 'pieces,
                Answer::Again(why) => shown::line(format!("  {why}"))?,
                Answer::Hear => {
                    if let Err(why) = play(piece, heard.path(), n + 1) {
                        shown::note(format!("  {why:#}"));
                    }
                }
            }
        }
    }
    if given.is_empty() {
        shown::line("Nothing was kept; nothing is written.")?;
        return Ok(ExitCode::SUCCESS);
    }
    shown::line("\nYou would give:")?;
    for one in &given {
        let how = if one.piece.sound.is_some() {
            "sound and words"
        } else {
            "typed words"
        };
        shown::line(format!("  {} ({how})", one.words))?;
    }
    shown::line(format!(
        "\n{CONSENT}\nOnly whoever speaks in it can agree. Type {AGREE} to write it to {}; anything else writes \
         nothing.",
        args.out.display()
    ))?;
    if next()?.is_none_or(|line| line.trim().to_lowercase() != AGREE) {
        shown::line("Not agreed; nothing is written.")?;
        return Ok(ExitCode::SUCCESS);
    }
    write(&args.out, &given)?;
    shown::line(format!(
        "wrote {}. Look through it, and hand it on as you like: this program sends nothing.",
        args.out.display()
    ))?;
    Ok(ExitCode::SUCCESS)
}

/// What was agreed, in words that go with what is given.
const CONSENT: &str = "Whoever speaks in these recordings, or typed these lines, agrees that they are used to \
    teach and to test the recogniser of this program, and are passed on for that. That can be taken \
    back: then they are deleted, and what is learnt from then on is learnt without them.";

fn read(db: &Path) -> anyhow::Result<Vec<Piece>> {
    let store = Store::open(db, OpenMode::Read)?;
    let gathered = || -> Result<Vec<Piece>, LogError> {
        let mut pieces = Vec::new();
        for log in Log::threads(&store)? {
            for lesson in report::lessons(&log)? {
                let hash = lesson.evidence.as_ref();
                let hash = hash.and_then(|hash| hash.parse::<Digest256>().ok());
                let evidence = hash.map(|hash| store.evidence(&hash)).transpose()?;
                let sound = evidence
                    .flatten()
                    .and_then(|evidence| evidence.flac().map(<[u8]>::to_vec));
                pieces.push(Piece { lesson, sound });
            }
        }
        Ok(pieces)
    };
    gathered().map_err(|why| about_log(db, why))
}

/// "3 of 12, 1.3 s, asked again: "fifteen", or "fifty"", and what may be typed.
fn about(piece: &Piece, n: usize, of: usize) -> String {
    let lesson = &piece.lesson;
    let mut text = format!("\n{n} of {of}");
    if piece.sound.is_some() {
        let _ = write!(text, ", {:.1} s of sound", lesson.seconds);
    }
    let verb = if piece.sound.is_some() {
        "heard"
    } else {
        "typed"
    };
    let _ = write!(
        text,
        ", {}: {verb} \"{}\"",
        lesson.kind.shown(),
        lesson.words
    );
    if let Some(other) = &lesson.runner_up {
        let _ = write!(text, ", or \"{other}\"");
    }
    text.push_str("\n  Type the words that were said");
    if !lesson.words.is_empty() {
        let _ = write!(text, ", k to keep \"{}\"", lesson.words);
    }
    if piece.sound.is_some() {
        text.push_str(", h to hear it");
    }
    text.push_str(", s to strike it, q to end here.");
    text
}

fn answer(line: &str, piece: &Piece) -> Answer {
    let line = line.split_whitespace().collect::<Vec<_>>().join(" ");
    match line.as_str() {
        "s" => Answer::Strike,
        "q" => Answer::Stop,
        "h" if piece.sound.is_some() => Answer::Hear,
        "h" => Answer::Again("There is no sound: it was typed.".to_owned()),
        "k" => worded(&piece.lesson.words),
        "" => Answer::Again("Type the words, or s to strike it.".to_owned()),
        words => worded(words),
    }
}

/// Words as they are given: small letters, and nothing that a table or a terminal would take for
/// something else.
fn worded(words: &str) -> Answer {
    let words = words.to_lowercase();
    let allowed = |c: char| c.is_alphanumeric() || " '-.,/<>".contains(c);
    if words.is_empty() || words.chars().count() > LONGEST || !words.chars().all(allowed) {
        return Answer::Again(format!(
            "Write it in words, {LONGEST} letters at most: letters, figures, apostrophes and hyphens."
        ));
    }
    Answer::Words(words)
}

/// Plays the sound with what this machine plays sound with.
fn play(piece: &Piece, folder: &Path, n: usize) -> anyhow::Result<()> {
    let Some(sound) = &piece.sound else {
        return Ok(());
    };
    let path = folder.join(format!("{n}.flac"));
    fs::write(&path, sound)
        .with_context(|| format!("{}: this cannot be written", path.display()))?;
    written::opened(path.as_os_str())
}

fn refuse_folder_in_use(folder: &Path) -> anyhow::Result<()> {
    let mut inside = match fs::read_dir(folder) {
        Ok(inside) => inside,
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(why) => {
            return Err(why)
                .with_context(|| format!("{}: this is no folder to write into", folder.display()));
        }
    };
    if inside.next().is_some() {
        bail!(
            "{}: there is something in this folder already; name a new one with --out",
            folder.display()
        );
    }
    Ok(())
}

/// Writes what is given: recordings with numbers for names, a list of their words as `bothhands
/// score` reads it, lines that were typed, and what was agreed.
fn write(folder: &Path, given: &[Given<'_>]) -> anyhow::Result<()> {
    fs::create_dir_all(folder)
        .with_context(|| format!("{}: this folder cannot be made", folder.display()))?;
    let mut spoken = String::from("# recording, and the words that were said in it\n");
    let mut typed = String::from("# the rule that was expected, and the words that were typed\n");
    let mut sounds = 0;
    let mut lines = 0;
    for one in given {
        let lesson = &one.piece.lesson;
        match &one.piece.sound {
            Some(sound) => {
                sounds += 1;
                let name = format!("{sounds:04}.flac");
                written::file(&folder.join(&name), sound, &[])?;
                let _ = writeln!(
                    spoken,
                    "# rule {}, {}, heard: {}\n{name}\t{}",
                    lesson.rule,
                    lesson.kind.shown(),
                    lesson.words,
                    one.words
                );
            }
            None => {
                lines += 1;
                let _ = writeln!(typed, "{}\t{}", lesson.rule, one.words);
            }
        }
    }
    if sounds > 0 {
        written::file(&folder.join("lessons.tsv"), spoken.as_bytes(), &[])?;
    }
    if lines > 0 {
        written::file(&folder.join("typed.tsv"), typed.as_bytes(), &[])?;
    }
    let agreed = format!(
        "{CONSENT}\nAgreed on {}.\n",
        Times::here().date(jiff::Timestamp::now())
    );
    written::file(&folder.join("AGREED.txt"), agreed.as_bytes(), &[])
}
