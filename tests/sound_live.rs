//! The real sound paths, on a machine without sound hardware: a private sound server stands in for
//! the room. `tests/sound/with-sound-server.sh` starts it and tells which packages it needs.
//!
//! The tests marked `ignore` run inside that room; the one that is not starts it and runs them.

#![cfg(all(feature = "microphone", feature = "system-voice", target_os = "linux"))]

use bothhands::audio::SAMPLE_RATE;
use bothhands::audio::microphone::{Event, Microphone, Notice};
use std::path::{Path, PathBuf};
use std::process::{Child, Command};
use std::time::{Duration, Instant};

type Outcome = Result<(), Box<dyn std::error::Error>>;

#[test]
fn the_sound_paths_work_against_a_real_sound_server() -> Outcome {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sound/with-sound-server.sh");
    let output = Command::new("bash")
        .arg(script)
        .arg(std::env::current_exe()?)
        .args(["--ignored", "--test-threads=1", "--nocapture"])
        .output()?;
    let (out, err) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    if output.status.code() == Some(77) {
        eprintln!("\n*** SKIPPED: THE SOUND PATHS WERE NOT TESTED ***\n{err}");
        return Ok(());
    }
    println!("{out}\n{err}");
    assert!(output.status.success(), "see above");
    Ok(())
}

/// The room that the script made.
fn room() -> PathBuf {
    PathBuf::from(std::env::var_os("SOUND_SERVER_FOLDER").expect("run by with-sound-server.sh"))
}

fn server(order: &str) -> Outcome {
    let script = std::env::var_os("SOUND_SERVER").ok_or("run by with-sound-server.sh")?;
    assert!(
        Command::new("bash")
            .arg(script)
            .arg(order)
            .status()?
            .success()
    );
    Ok(())
}

/// Two bursts of a 1 kHz tone, `BURST` long, one second from start to start.
fn bursts(rate: u32) -> Result<PathBuf, Box<dyn std::error::Error>> {
    let path = room().join(format!("bursts-{rate}.wav"));
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&path, spec)?;
    for n in 0..rate * 2 {
        let t = f64::from(n) / f64::from(rate);
        let on = (0.2..0.2 + BURST).contains(&(t % 1.0));
        let sample = if on {
            (t * 1000.0 * std::f64::consts::TAU).sin() * 0.3
        } else {
            0.0
        };
        wav.write_sample((sample * f64::from(i16::MAX)) as i16)?;
    }
    wav.finalize()?;
    Ok(path)
}

const BURST: f64 = 0.4;

/// A person speaks: plays a file into the room.
fn play(path: &Path) -> std::io::Result<Child> {
    Command::new("paplay")
        .args(["-d", "room"])
        .arg(path)
        .spawn()
}

#[derive(Default)]
struct Heard {
    samples: Vec<f32>,
    notices: Vec<Notice>,
}

fn listen(microphone: &mut Microphone, seconds: f64, heard: &mut Heard) {
    let end = Instant::now() + Duration::from_secs_f64(seconds);
    while Instant::now() < end {
        take(microphone, heard);
    }
}

fn take(microphone: &mut Microphone, heard: &mut Heard) {
    match microphone.next(Duration::from_millis(50)) {
        Some(Event::Sound(samples)) => heard.samples.extend(samples),
        Some(Event::Notice(notice)) => heard.notices.push(notice),
        None => {}
    }
}

/// Waits for a notice, at most ten seconds.
fn wait_for(microphone: &mut Microphone, heard: &mut Heard, wanted: fn(&Notice) -> bool) -> bool {
    let end = Instant::now() + Duration::from_secs(10);
    while Instant::now() < end && !heard.notices.iter().any(wanted) {
        take(microphone, heard);
    }
    heard.notices.iter().any(wanted)
}

/// Where it is loud, in seconds: (from, to), with gaps under 50 ms closed.
fn loud(samples: &[f32], threshold: f32) -> Vec<(f64, f64)> {
    let mut spans: Vec<(usize, usize)> = Vec::new();
    for (n, sample) in samples.iter().enumerate() {
        if sample.abs() > threshold {
            match spans.last_mut() {
                Some((_, to)) if n - *to < SAMPLE_RATE as usize / 20 => *to = n,
                _ => spans.push((n, n)),
            }
        }
    }
    let seconds = |n: usize| n as f64 / f64::from(SAMPLE_RATE);
    spans
        .into_iter()
        .map(|(from, to)| (seconds(from), seconds(to)))
        .collect()
}

fn assert_bursts(samples: &[f32]) {
    let spans = loud(samples, 0.05);
    assert_eq!(spans.len(), 2, "{spans:?}");
    for (from, to) in &spans {
        assert!(
            (to - from - BURST).abs() < 0.02,
            "a burst of {BURST} s: {spans:?}"
        );
    }
    assert!((spans[1].0 - spans[0].0 - 1.0).abs() < 0.02, "{spans:?}");
    // 1 kHz crosses zero upwards a thousand times a second, if the rate is what it says.
    let middle = |at: f64| (at * f64::from(SAMPLE_RATE)) as usize;
    let burst = &samples[middle(spans[0].0 + 0.1)..middle(spans[0].0 + 0.3)];
    let crossings = burst
        .windows(2)
        .filter(|w| w[0] < 0.0 && w[1] >= 0.0)
        .count();
    assert!((198..=202).contains(&crossings), "{crossings}");
}

#[test]
#[ignore = "runs inside the room"]
fn a_clip_played_into_the_room_comes_out_at_16_khz_with_its_own_length() -> Outcome {
    let mut microphone = Microphone::open(None)?;
    let mut heard = Heard::default();
    listen(&mut microphone, 0.3, &mut heard);
    let mut person = play(&bursts(44_100)?)?;
    listen(&mut microphone, 3.0, &mut heard);
    person.wait()?;
    assert_bursts(&heard.samples);
    assert_eq!(heard.notices, []);
    assert_eq!(microphone.overruns(), 0);
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn the_sound_server_may_die_and_come_back() -> Outcome {
    let mut microphone = Microphone::open(None)?;
    let mut heard = Heard::default();
    listen(&mut microphone, 0.3, &mut heard);
    server("stop")?;
    assert!(wait_for(&mut microphone, &mut heard, |n| matches!(
        n,
        Notice::Lost { .. }
    )));
    println!("{:?}", heard.notices);
    server("start")?;
    assert!(wait_for(&mut microphone, &mut heard, |n| matches!(
        n,
        Notice::Back { .. }
    )));
    println!("{:?}", heard.notices);
    heard.samples.clear();
    let mut person = play(&bursts(48_000)?)?;
    listen(&mut microphone, 3.0, &mut heard);
    person.wait()?;
    assert_bursts(&heard.samples);
    Ok(())
}
