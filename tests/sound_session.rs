//! A whole session, spoken by synthesised voices into the microphone of a test room while the
//! program's own voice is mixed back into it: the log must come out right, and what the program
//! read back must say what the log says. Takes minutes: `tests/sound/session.sh` runs it.

#![cfg(all(feature = "microphone", feature = "system-voice", target_os = "linux"))]

mod sound;

use bothhands::audio::SAMPLE_RATE;
use bothhands::sequence::Event;
use bothhands::store::{JOB_KIND, Mode, Store};
use sound::{Bystander, Outcome, load_module, play, room};
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// How much quieter the program's voice is in the microphone than at its loudspeaker.
const ECHO: &str = "-10dB";
/// How long a person waits after the program's last word before speaking.
const POLITE: Duration = Duration::from_millis(900);
/// After this long without an answer there is none.
const UNANSWERED: Duration = Duration::from_millis(3500);

fn program() -> PathBuf {
    std::env::var_os("BOTHHANDS")
        .map_or_else(|| env!("CARGO_BIN_EXE_bothhands").into(), PathBuf::from)
}

fn manifest(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Waits until the loudspeaker has been silent for `quiet`; false after `limit`.
fn until_silent(speaker: &Bystander, since: Instant, quiet: Duration, limit: Duration) -> bool {
    let end = Instant::now() + limit;
    while Instant::now() < end {
        let last = speaker
            .loud_since(Some(since))
            .last()
            .copied()
            .unwrap_or(since);
        if last.elapsed() >= quiet {
            return true;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    false
}

struct Program(Child);

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn events(db: &Path) -> Result<Vec<Event>, Box<dyn std::error::Error>> {
    let store = Store::open(db, Mode::Read)?;
    let mut events = Vec::new();
    for record in store.records() {
        let record = record?;
        if record.kind != JOB_KIND {
            events.push(record.payload()?);
        }
    }
    Ok(events)
}

/// The room: a person's mouth, and the loudspeaker at some distance from the microphone.
fn furnish() -> Outcome {
    load_module(&[
        "module-null-sink",
        "sink_name=mouth",
        "rate=48000",
        "channels=1",
    ])?;
    load_module(&[
        "module-loopback",
        "source=mouth.monitor",
        "sink=room",
        "latency_msec=20",
    ])?;
    let echo = load_module(&[
        "module-loopback",
        "source=speaker.monitor",
        "sink=room",
        "latency_msec=20",
    ])?;
    let inputs = Command::new("pactl")
        .args(["list", "sink-inputs"])
        .output()?;
    let inputs = String::from_utf8(inputs.stdout)?;
    let number = inputs
        .split("Sink Input #")
        .find(|input| input.contains(&format!("Owner Module: {echo}\n")))
        .and_then(|input| input.lines().next())
        .ok_or("no loopback")?;
    let quieter = Command::new("pactl")
        .args(["set-sink-input-volume", number, ECHO])
        .status()?;
    assert!(quieter.success());
    Ok(())
}

#[test]
#[ignore = "takes minutes; run by tests/sound/session.sh"]
fn a_spoken_session_leaves_the_same_log_as_its_recordings() -> Outcome {
    let mut clips: Vec<PathBuf> = std::fs::read_dir(manifest("demo/recordings"))?
        .map(|entry| Ok(entry?.path()))
        .collect::<std::io::Result<_>>()?;
    clips.sort();
    let job = manifest("demo/boathouse.toml");
    let (spoken, recorded) = (room().join("spoken.db"), room().join("recorded.db"));

    furnish()?;
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
    let waited = Instant::now();
    while speaker.loud_since(None).is_empty() && waited.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(50));
    }

    let mut latencies = Vec::new();
    for clip in &clips {
        assert!(
            until_silent(&speaker, begun, POLITE, Duration::from_secs(90)),
            "it never stops"
        );
        if program.0.try_wait()?.is_some() {
            println!("it has ended before {}", clip.display());
            break;
        }
        let from = Instant::now();
        play("mouth", clip)?.wait()?;
        let said = mouth.loud_since(Some(from)).last().copied().unwrap_or(from);
        let answered = loop {
            match speaker.loud_since(Some(from)).first() {
                Some(answer) => break Some(*answer),
                None if said.elapsed() > UNANSWERED => break None,
                None => std::thread::sleep(Duration::from_millis(10)),
            }
        };
        let name = clip
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        match answered {
            Some(answer) => {
                let latency = answer.saturating_duration_since(said);
                println!("{name:<20} answered after {:.2} s", latency.as_secs_f64());
                latencies.push(latency);
            }
            None => println!("{name:<20} not answered"),
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
    latencies.sort();
    let at = |share: f64| latencies.get((latencies.len() as f64 * share) as usize);
    println!(
        "latency from the last sound of speech to the first of the answer: median {:?}, 95 % under {:?}, {} answers",
        at(0.5),
        at(0.95),
        latencies.len()
    );
    save(&speaker.samples())?;

    let reference = Command::new(self::program())
        .arg("test")
        .arg(&job)
        .arg("--db")
        .arg(&recorded)
        .args(["--voice", "none", "--sound"])
        .args(&clips)
        .stdin(Stdio::null())
        .output()?;
    assert!(
        reference.status.success(),
        "{}",
        String::from_utf8_lossy(&reference.stderr)
    );
    let (spoken, recorded) = (events(&spoken)?, events(&recorded)?);
    for (n, (a, b)) in spoken.iter().zip(&recorded).enumerate() {
        assert_eq!(a, b, "event {n}");
    }
    assert_eq!(spoken.len(), recorded.len());
    assert!(
        status.is_some_and(|status| status.success()),
        "finished by voice: {status:?}"
    );
    Ok(())
}

/// Keeps what the program said, for the next test.
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
