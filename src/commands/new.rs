//! `bothhands new`: a job file to begin with.

use super::engine::EngineArgs;
use super::exit::Exit;
use super::progress::Progress;
use super::stop::stop_on_signal_and;
use super::voice::VoiceArgs;
use super::{shown, source};
use anyhow::{Context, bail};
use bothhands::config;
use bothhands::dialogue::{Input, InputSource, ListenTo, TypedBeside, TypedLines};
use bothhands::draft::{Draft, Interview, boards_of_table, draft_of_schedule, read_back};
use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::JobKind;
use bothhands::report::csv_headings;
use bothhands::speech::{Decision, DecodeContext, Recogniser, Recognition};
use bothhands::voice::{Silent, Tone, Voice};
use std::fs::OpenOptions;
use std::io::{self, ErrorKind, IsTerminal, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Begin a job: write a job file with comments, from a table of circuits, or from your answers.
///
/// What is not known is marked "FILL IN"; `bothhands check` names each such place. Tester and
/// instruments come from the configuration (`bothhands config`).
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The job file to write; never one that is there already. `-` is standard output.
    #[arg(value_name = "FILE", default_value = "job.toml")]
    file: PathBuf,
    /// Take the circuits from a table (CSV): the first line names the columns, in any order, of
    /// number, name, kind, device, amps, breaking kA, rcd, sizes, metres, points; of several boards with
    /// board, board name and fed from besides; of an RCD over several circuits "protected by rcd", as in
    /// "RCD 1: 30 mA, type A, 63 A", and "RCD 1" where it stands again. `-` is standard input.
    #[arg(long, value_name = "CIRCUITS.csv", conflicts_with = "ask")]
    from: Option<PathBuf>,
    /// Take everything from the log of the last visit: its job as it was at the end, as a periodic inspection;
    /// or, where there is no log, what its schedule tells (CSV, as `bothhands schedule LOG --csv FILE` writes it).
    /// `bothhands changed` compares the readings afterwards.
    #[arg(long, value_name = "LAST", conflicts_with_all = ["ask", "from"])]
    last: Option<PathBuf>,
    /// Ask one thing at a time, and take a whole circuit in one line: "circuit three, ring, thirty-two
    /// amp B, RCBO, eight sockets".
    #[arg(long)]
    ask: bool,
    /// Where answers are heard from, beside the keyboard: `mic`, or recordings of them (WAV or FLAC). Names
    /// and serial numbers are typed all the same.
    #[arg(long, value_name = "mic|FILE", num_args = 1.., requires = "ask")]
    sound: Vec<String>,
    /// The microphone to use, by name; `bothhands devices` lists them.
    #[arg(long, value_name = "NAME", requires = "sound")]
    device: Option<String>,
    #[command(flatten)]
    engine: EngineArgs,
    #[command(flatten)]
    voice: VoiceArgs,
}

/// Runs it.
///
/// # Errors
/// When the file is there already or can't be written, or the table holds what is not understood.
pub(crate) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let to_output = args.file == Path::new("-");
    if !to_output && args.file.symlink_metadata().is_ok() {
        return Err(there_already(&args.file));
    }
    let configured = config::find()?.config;
    let mut draft = Draft {
        tester: configured.tester,
        supervisor: configured.supervisor,
        instruments: configured.instruments,
        ..Draft::default()
    };
    let mut left_out = 0;
    if let Some(last) = &args.last {
        if super::changed::is_log(last)? {
            return of_the_last_visit(last, &args.file, draft);
        }
        (draft, left_out) = of_a_schedule(last, draft)?;
    }
    if let Some(from) = &args.from {
        draft.boards = boards_of_table(&table(from)?, &from.display().to_string())?;
        told(&draft);
    } else if args.ask {
        draft = asked(draft, args)?;
    }
    let text = draft.text();
    let done = match left_out {
        0 => Exit::Done,
        _ => Exit::Wrong,
    };
    if to_output {
        shown::all(&text)?;
        return Ok(done.into());
    }
    write(&args.file, &text)?;
    let file = args.file.display();
    shown::line(match left_out {
        0 => format!("Written to {file}."),
        1 => format!("Written to {file}, without what is left out above: add it there."),
        more => {
            format!("Written to {file}, without the {more} things left out above: add them there.")
        }
    })?;
    shown::line(match draft.to_fill_in() {
        0 => format!(
            "Next: `bothhands check {file}` says what each test should read; `bothhands test {file}` begins."
        ),
        1 => format!(
            "Next: fill in the one value that is marked \"FILL IN\"; then `bothhands check {file}`, and \
             `bothhands test {file}` to begin."
        ),
        marked => format!(
            "Next: fill in the {marked} values that are marked \"FILL IN\"; then `bothhands check {file}`, \
             and `bothhands test {file}` to begin."
        ),
    })?;
    Ok(done.into())
}

/// Reads back the circuits of each board.
fn told(draft: &Draft) {
    for board in &draft.boards {
        if draft.boards.len() > 1 {
            let name = board.name.as_deref().unwrap_or("without a name");
            shown::note(format!("Board {}, {name}:", board.number));
        }
        for rcd in &board.rcds {
            let (written, over) = (rcd.written(), rcd.over());
            shown::note(format!("{written}; over {over}, tested once."));
        }
        for circuit in &board.circuits {
            let assumed = board.assumed.get(&circuit.number);
            let assumed = assumed.map(|why| format!(" ({why}.)")).unwrap_or_default();
            let scope = circuit.out_of_scope();
            let scope = scope
                .map(|why| format!(" Note: {why}."))
                .unwrap_or_default();
            shown::note(format!("{}{scope}{assumed}", read_back(circuit)));
        }
    }
}

/// What the schedule of the last visit tells, with what it can't tell.
fn of_a_schedule(last: &Path, draft: Draft) -> anyhow::Result<(Draft, usize)> {
    let name = last.display().to_string();
    let text = super::changed::schedule_text(last)?;
    let (mut draft, left_out) = draft_of_schedule(&text, &name, draft, &csv_headings())?;
    draft.kind = Some(JobKind::PeriodicInspection);
    told(&draft);
    for one in &left_out {
        shown::note(format!(
            "{name}:{}: left out, add it by hand: {}",
            one.line, one.text
        ));
    }
    shown::note(format!(
        "A schedule does not tell all of a job: look through cables that are not copper in PVC, points and \
         electronics on them, bonds and sources. \
         After the tests `bothhands changed {name} LOG` tells what reads otherwise."
    ));
    Ok((draft, left_out.len()))
}

/// The job of the last visit, to be tested again by whoever and with what the configuration names.
fn of_the_last_visit(last: &Path, file: &Path, draft: Draft) -> anyhow::Result<ExitCode> {
    let agenda = super::changed::agenda(last)?;
    let mut job = agenda.job().as_written();
    job.kind = JobKind::PeriodicInspection;
    job.tester = draft.tester.unwrap_or(job.tester);
    job.supervisor = draft.supervisor.or(job.supervisor);
    if !draft.instruments.is_empty() {
        job.instruments = draft.instruments;
    }
    // What was said of that day is not said of this one.
    job.next_inspection = None;
    if let Some(inspection) = &mut job.inspection {
        inspection.operational_limitations = None;
    }
    let text =
        toml::to_string(&job).context("the job of that log can't be written as a job file")?;
    if file == Path::new("-") {
        shown::all(&text)?;
        return Ok(ExitCode::SUCCESS);
    }
    write(file, &text)?;
    let (file, last) = (file.display(), last.display());
    shown::line(format!(
        "Written to {file}, as a periodic inspection. Look through tester, instruments and their dates first: \
         `bothhands check {file}`; after the tests `bothhands changed {last} LOG` tells what reads otherwise."
    ))?;
    Ok(ExitCode::SUCCESS)
}

fn table(from: &Path) -> anyhow::Result<String> {
    let mut bytes = Vec::new();
    if from == Path::new("-") {
        io::stdin()
            .lock()
            .read_to_end(&mut bytes)
            .context("standard input can't be read")?;
    } else {
        bytes = std::fs::read(from).with_context(|| {
            format!(
                "{}: the table can't be read; check the path",
                from.display()
            )
        })?;
    }
    String::from_utf8(bytes).map_err(|_| {
        anyhow::anyhow!(
            "{}: this is not text in UTF-8; save it as \"CSV UTF-8\"",
            from.display()
        )
    })
}

/// A draft from answers, typed one a line or said; what was not answered when they end is marked.
fn asked(draft: Draft, args: &Args) -> anyhow::Result<Draft> {
    let mut interview = Interview::new(draft);
    let at_terminal = io::stdin().is_terminal();
    let mut hearing = (!args.sound.is_empty())
        .then(|| Hearing::open(args))
        .transpose()?;
    let stop = stop_on_signal_and(|| {
        shown::note(
            "Stopping: what you answered is written, what is missing is marked in the file.",
        );
    })?;
    let stopped = || stop.load(Ordering::SeqCst);
    let mut typed = match hearing {
        Some(_) => None,
        None => Some(TypedLines::open(Path::new("-"))?),
    };
    shown::note("Answer each; help says what else there is.");
    let mut asked = "";
    while !interview.is_over() && !stopped() {
        let prompt = interview.prompt();
        if prompt != asked {
            shown::note(prompt);
            if let Some(hearing) = &mut hearing {
                hearing.ask(prompt);
            }
            asked = prompt;
        }
        let next = match (&mut hearing, &mut typed) {
            (Some(hearing), _) => hearing.next(&interview)?,
            (None, Some(typed)) => typed.next(&mut Silent)?.map(Answer::of),
            (None, None) => None,
        };
        let said = match next {
            Some(Answer::Typed(line)) if at_terminal => line,
            Some(Answer::Typed(line) | Answer::Said(line)) => {
                shown::note(format!("> {line}"));
                line
            }
            Some(Answer::Nothing) => continue,
            // What can only be typed is left open where nothing is typed any more.
            None if hearing.is_some() && interview.asks_to_type() => "later".to_owned(),
            None => {
                shown::note("No more answers: what is missing is marked in the file.");
                break;
            }
        };
        let told = match interview.answer(&said) {
            Ok(told) => told,
            Err(why) => {
                asked = "";
                format!("Not taken: {why}")
            }
        };
        if !told.is_empty() {
            shown::note(&told);
            if let Some(hearing) = &mut hearing {
                hearing.ask(&told);
            }
        }
    }
    Ok(interview.draft()?)
}

/// What came in.
enum Answer {
    Typed(String),
    Said(String),
    Nothing,
}

impl Answer {
    fn of(input: Input) -> Self {
        match input {
            Input::Words(line) => Self::Typed(line),
            _ => Self::Nothing,
        }
    }
}

/// Answers by voice, with the keyboard beside it.
struct Hearing {
    ear: Box<dyn Recogniser>,
    source: TypedBeside,
    voice: Box<dyn Voice>,
    live: bool,
}

impl Hearing {
    fn open(args: &Args) -> anyhow::Result<Self> {
        let live = source::is_live(&args.sound);
        let how = args.voice.or_configured();
        let (speaks, rehearsed) = how.profile()?;
        let grammar = Arc::new(Grammar::built_in()?);
        let ear = match args.engine.other(&grammar)? {
            Some(other) => other,
            None => {
                let _progress = Progress::of("loading the models");
                let mut ear = args.engine.ear(&grammar)?;
                if let Some(rehearsed) = &rehearsed {
                    rehearsed.set(&mut ear)?;
                }
                Box::new(ear)
            }
        };
        // Said and shown: shown it is all the same.
        let voice: Box<dyn Voice> = match live {
            true => how.open(true, speaks, true),
            false => Box::new(Silent),
        };
        let end_pause = rehearsed.and_then(|r| r.profile.end_pause);
        let sound = source::sound(
            &args.sound,
            args.device.as_deref(),
            source::cutting(end_pause),
        )?;
        Ok(Self {
            ear,
            source: TypedBeside::new(TypedLines::open(Path::new("-"))?, sound),
            voice,
            live,
        })
    }

    /// Says a line without what stands in brackets at its end, which is for the eye.
    fn ask(&mut self, text: &str) {
        let bracketed = text
            .strip_suffix(')')
            .and_then(|text| text.rsplit_once(" ("));
        let aloud = bracketed.map_or(text, |(before, _)| before);
        // It is shown; a voice that fails is no reason to stop.
        let _ = self.voice.say(Tone::Plain, aloud);
    }

    /// The next answer; nothing at the end.
    fn next(&mut self, interview: &Interview) -> anyhow::Result<Option<Answer>> {
        // Recordings wait for what is typed; a person at the microphone may say "later".
        self.source
            .want(match (self.live, interview.asks_to_type()) {
                (true, _) => ListenTo::Either,
                (false, true) => ListenTo::Typed,
                (false, false) => ListenTo::Sound,
            });
        let Some(input) = self.source.next(self.voice.as_mut())? else {
            return Ok(None);
        };
        Ok(Some(match input {
            Input::Words(line) => Answer::Typed(line),
            Input::Sound(sound) | Input::OverlapsPrompt(sound) => {
                let expected = DecodeContext {
                    rule: interview.rule().to_owned(),
                    excluded: Vec::new(),
                };
                let heard = self.ear.recognise(&sound.samples, &expected)?;
                self.heard(heard)
            }
            Input::NoVoice(name) => {
                bail!("{name}: no voice in it; record the answer again, nearer to the microphone")
            }
            Input::Notice(text) => {
                shown::note(text);
                Answer::Nothing
            }
            Input::Partial(_)
            | Input::Idle(_)
            | Input::Touched { .. }
            | Input::Neighbour { .. }
            | Input::Waiting => Answer::Nothing,
        }))
    }

    /// What an utterance comes to: what could be two things is asked again.
    fn heard(&mut self, heard: Recognition) -> Answer {
        match (heard.outcome, heard.said) {
            (Decision::Accept, Some(Intent::Pieces(pieces))) => Answer::Said(pieces.join(", ")),
            (Decision::Confirm, _) => {
                let again = match heard.runner_up {
                    Some(other) => format!("Say again: {}, or {other}?", heard.words),
                    None => format!("Say again: {}?", heard.words),
                };
                shown::note(&again);
                self.ask(&again);
                Answer::Nothing
            }
            _ => Answer::Nothing,
        }
    }
}

fn there_already(path: &Path) -> anyhow::Error {
    anyhow::anyhow!(
        "{}: this is there already, and is not written over; choose another name",
        path.display()
    )
}

/// Writes a file that is not there yet, all of it or none.
fn write(path: &Path, text: &str) -> anyhow::Result<()> {
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    let mut file = match file {
        Err(why) if why.kind() == ErrorKind::AlreadyExists => return Err(there_already(path)),
        other => other.with_context(|| {
            format!(
                "{}: this can't be written; check the folder",
                path.display()
            )
        })?,
    };
    let written = file
        .write_all(text.as_bytes())
        .and_then(|()| file.sync_all());
    if written.is_err() {
        let _ = std::fs::remove_file(path);
    }
    written.with_context(|| format!("{}: this can't be written; check the disk", path.display()))
}
