//! A whole session, spoken by synthesised voices into the microphone of a test room while the
//! program's own voice is mixed back into it: the log must come out right, and what the program
//! read back must say what the log says. Takes minutes; `tests/sound/session.sh` shows how it goes.

#![cfg(all(feature = "microphone", feature = "system-voice", target_os = "linux"))]

use crate::sound::room::{
    Bystander, Line, Outcome, Program, furnish, hum, in_the_room, manifest, play, program, room,
    script, until_silent,
};
use bothhands::audio::SAMPLE_RATE;
use bothhands::dialogue;
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::sequence::Event;
use bothhands::speech::ear::Ear;
use bothhands::speech::{DecodeContext, Recogniser};
use bothhands::store::{JOB_KIND, OpenMode, Store};
use std::fs::File;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// How long a person waits after the tone that says "speak now" before speaking.
const POLITE: Duration = Duration::from_millis(600);
/// After this much silence a person speaks without having heard the tone.
const UNASKED: Duration = Duration::from_secs(6);
/// After this long without an answer there is none.
const UNANSWERED: Duration = Duration::from_millis(3500);

fn events(db: &Path) -> Result<Vec<Event>, Box<dyn std::error::Error>> {
    let store = Store::open(db, OpenMode::Read)?;
    let mut events = Vec::new();
    for record in store.records() {
        let record = record?;
        if record.kind != JOB_KIND {
            events.push(record.payload()?);
        }
    }
    Ok(events)
}

/// What a log comes to: its events without what was asked again or meant nothing, and without the
/// numbers by which they name each other, which that shifts.
fn essence(events: &[Event]) -> Result<Vec<serde_json::Value>, Box<dyn std::error::Error>> {
    let mut essence = Vec::new();
    for event in events {
        if matches!(
            event,
            Event::Unclear { .. } | Event::NotTaken { .. } | Event::Refused { .. }
        ) {
            continue;
        }
        let mut value = serde_json::to_value(event)?;
        if let Some(fields) = value.as_object_mut() {
            for number in ["of", "replaces", "entries"] {
                fields.remove(number);
            }
        }
        essence.push(value);
    }
    Ok(essence)
}

/// How often the person says a thing before giving up.
const PATIENCE: u32 = 4;

/// The room runs in real time. On a machine that is busy with something else its sound stalls, the
/// microphone is lost and the script falls out of step, so a session that went wrong is spoken once
/// more; what is wrong in the program goes wrong every time.
#[test]
fn a_session_is_spoken_and_its_log_comes_out_right() -> Outcome {
    let first = std::panic::catch_unwind(|| in_the_room(module_path!()));
    first.unwrap_or_else(|_| {
        eprintln!("*** the session went wrong; once more");
        in_the_room(module_path!())
    })
}

#[test]
#[ignore = "runs inside the room"]
fn a_spoken_session_leaves_the_log_of_its_script() -> Outcome {
    let script = script()?;
    let job = manifest("demo/boathouse.toml");
    let (spoken, typed) = (room().join("spoken.db"), room().join("typed.db"));
    let words = room().join("words.txt");
    let lines: Vec<&str> = script.iter().map(|line| line.words.as_str()).collect();
    std::fs::write(&words, lines.join("\n"))?;
    let reference = Command::new(program())
        .arg("test")
        .arg(&job)
        .arg("--db")
        .arg(&typed)
        .args(["--voice", "none", "--words"])
        .arg(&words)
        .output()?;
    assert!(
        reference.status.success(),
        "{}",
        String::from_utf8_lossy(&reference.stderr)
    );

    furnish()?;
    let _hum = hum()?;
    let mouth = Bystander::at("mouth.monitor")?;
    let speaker = Bystander::at("speaker.monitor")?;
    let begun = Instant::now();
    let mut program = Program(
        Command::new(program())
            .arg("test")
            .arg(&job)
            .arg("--db")
            .arg(&spoken)
            .args(["--sound", "mic", "--voice", "system", "--rate", "30"])
            .stdin(Stdio::null())
            .stdout(File::create(room().join("out.txt"))?)
            .stderr(File::create(room().join("err.txt"))?)
            .spawn()?,
    );
    while speaker.loud_since(None).is_empty() && begun.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(50));
    }

    let (mut latencies, mut read_backs) = (Vec::new(), Vec::new());
    'script: for Line { clip, words } in &script {
        let name = clip.file_stem().unwrap_or_default().to_string_lossy();
        let for_the_program = reference_words(words);
        for _ in 0..PATIENCE {
            let limit = Instant::now() + Duration::from_secs(120);
            while until_silent(&speaker, begun, POLITE, Duration::from_secs(60))
                && !speaker.ended_with_tone()
                && !until_silent(&speaker, begun, UNASKED, Duration::from_millis(50))
            {
                assert!(Instant::now() < limit, "it never listens");
            }
            if program.0.try_wait()?.is_some() {
                println!("it has ended before {name}");
                break 'script;
            }
            let kept = events(&spoken)?;
            let before = essence(&kept)?.len();
            let from = Instant::now();
            play("mouth", clip)?.wait()?;
            let said = mouth.loud_since(Some(from)).last().copied().unwrap_or(from);
            let answered = loop {
                match speaker.loud_since(Some(said)).first() {
                    Some(answer) => break Some(*answer - said),
                    None if said.elapsed() > UNANSWERED => break None,
                    None => std::thread::sleep(Duration::from_millis(10)),
                }
            };
            let now = events(&spoken)?;
            let read_back = now
                .iter()
                .skip(kept.len())
                .any(|event| matches!(event, Event::Reading { .. }));
            // What the program was saying anyhow is no answer.
            let spoke_over = speaker.loud_since(Some(from)).iter().any(|at| *at < said);
            match answered {
                Some(_) if spoke_over => println!("{name:<20} spoken over the program"),
                Some(latency) => {
                    let what = if read_back { "read back" } else { "answered" };
                    println!("{name:<20} {what} after {:.2} s", latency.as_secs_f64());
                    latencies.push(latency);
                    if read_back {
                        read_backs.push(latency);
                    }
                }
                None => println!("{name:<20} not answered"),
            }
            // What the script says at the wrong moment is refused, once.
            let refused = now
                .iter()
                .skip(kept.len())
                .any(|event| matches!(event, Event::Refused { .. }));
            if !for_the_program || refused || essence(&now)?.len() > before {
                break;
            }
        }
    }
    let waited = Instant::now();
    let status = loop {
        match program.0.try_wait()? {
            Some(status) => break Some(status),
            None if waited.elapsed() > Duration::from_secs(30) => break None,
            None => std::thread::sleep(Duration::from_millis(100)),
        }
    };
    println!(
        "{}\n{}",
        std::fs::read_to_string(room().join("out.txt"))?,
        std::fs::read_to_string(room().join("err.txt"))?
    );
    println!("from the last sound of speech to the first of the answer:");
    for (what, mut latencies) in [("all answers", latencies), ("read-backs", read_backs)] {
        latencies.sort();
        let at = |share: f64| latencies.get((latencies.len() as f64 * share) as usize);
        println!(
            "{what}: median {:?}, 95 % within {:?}, {} of them",
            at(0.5),
            at(0.95),
            latencies.len()
        );
    }
    save(&speaker.samples())?;

    let spoken = events(&spoken)?;
    let (ours, theirs) = (essence(&spoken)?, essence(&events(&typed)?)?);
    for (n, (ours, theirs)) in ours.iter().zip(&theirs).enumerate() {
        assert_eq!(ours, theirs, "event {n}");
    }
    assert_eq!(ours.len(), theirs.len());
    assert!(
        status.is_some_and(|status| status.success()),
        "finished by voice: {status:?}"
    );
    read_backs_say_what_the_log_says(&spoken, &speaker.samples(), &job)
}

/// Talk among people and noise are in the script too.
fn reference_words(words: &str) -> bool {
    !words.is_empty() && !words.starts_with("have you seen")
}

/// Every reading that counted at once was read back: the recogniser, listening to the loudspeaker,
/// hears it there.
fn read_backs_say_what_the_log_says(events: &[Event], said: &[f32], job: &Path) -> Outcome {
    let job = Job::parse(&std::fs::read_to_string(job)?, "the job")?;
    let grammar = std::sync::Arc::new(dialogue::grammar_for(&job, true, false)?.0);
    let mut ear = Ear::new(grammar, 1)?;
    let expected = DecodeContext {
        rule: "anything".to_owned(),
        excluded: Vec::new(),
    };
    let pieces = pieces(said);
    let mut heard = Vec::new();
    // A read-back may be one piece or, with the pauses at its commas, several.
    for from in 0..pieces.len() {
        for to in from..(from + 3).min(pieces.len()) {
            let (start, end) = (pieces[from].0, pieces[to].1);
            let margin = SAMPLE_RATE as usize / 5;
            let sound = &said[start.saturating_sub(margin)..(end + margin).min(said.len())];
            if sound.len() < 8 * SAMPLE_RATE as usize
                && let Some(Intent::Reading { reading, .. }) = ear.recognise(sound, &expected)?.said
            {
                heard.push(reading);
            }
        }
    }
    let mut missing = 0;
    for event in events {
        if let Event::Reading {
            reading,
            question: None,
            ..
        } = event
        {
            let found = heard.iter().any(|heard| {
                heard.number == reading.number
                    && heard.relation == reading.relation
                    && (heard.pair == reading.pair || heard.pair.is_none())
            });
            println!("{reading}: {}", if found { "heard" } else { "NOT HEARD" });
            missing += usize::from(!found);
        }
    }
    assert_eq!(missing, 0, "read-backs that do not say what the log says");
    Ok(())
}

/// Stretches of sound between silences of a quarter of a second.
fn pieces(sound: &[f32]) -> Vec<(usize, usize)> {
    let mut pieces: Vec<(usize, usize)> = Vec::new();
    for (n, sample) in sound.iter().enumerate() {
        if sample.abs() > Bystander::WHISPER {
            match pieces.last_mut() {
                Some((_, end)) if n - *end < SAMPLE_RATE as usize / 4 => *end = n,
                _ => pieces.push((n, n)),
            }
        }
    }
    pieces
}

/// Keeps what the program said, to be listened to.
fn save(samples: &[f32]) -> Outcome {
    let Some(path) = std::env::var_os("SPOKEN_WAV") else {
        return Ok(());
    };
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(path, spec)?;
    for sample in samples {
        wav.write_sample((sample * f32::from(i16::MAX)) as i16)?;
    }
    wav.finalize()?;
    Ok(())
}
