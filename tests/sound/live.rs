//! The real sound paths, on a machine without sound hardware: a private sound server stands in for
//! the room. `tests/sound/with-sound-server.sh` starts it and tells which packages it needs.
//!
//! The tests marked `ignore` run inside that room; the one that is not starts it and runs them.

#![cfg(all(feature = "microphone", feature = "system-voice", target_os = "linux"))]

use crate::sound::room::{
    Bystander, Outcome, in_the_room, load_module, play, room, server, share_of,
};
use bothhands::audio::SAMPLE_RATE;
use bothhands::audio::microphone::{LineEvent, Microphone, Notice};
use bothhands::dialogue::BargeInGate;
use bothhands::terms::{ProsodyChange, ProsodyNow};
use bothhands::voice::{Earcon, Failing, Profile, System, Tone, Voice};
use std::path::PathBuf;
use std::time::{Duration, Instant};

#[test]
fn the_sound_paths_work_against_a_real_sound_server() -> Outcome {
    in_the_room(module_path!())
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

#[derive(Default)]
struct Recognition {
    samples: Vec<f32>,
    notices: Vec<Notice>,
}

fn listen(microphone: &mut Microphone, seconds: f64, heard: &mut Recognition) {
    let end = Instant::now() + Duration::from_secs_f64(seconds);
    while Instant::now() < end {
        take(microphone, heard);
    }
}

fn take(microphone: &mut Microphone, heard: &mut Recognition) {
    match microphone.next(Duration::from_millis(50)) {
        Some(LineEvent::Sound(samples)) => heard.samples.extend(samples),
        Some(LineEvent::Notice(notice)) => heard.notices.push(notice),
        None => {}
    }
}

/// Waits for a notice, at most ten seconds.
fn wait_for(
    microphone: &mut Microphone,
    heard: &mut Recognition,
    wanted: fn(&Notice) -> bool,
) -> bool {
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
    let mut heard = Recognition::default();
    listen(&mut microphone, 0.3, &mut heard);
    let mut person = play("room", &bursts(44_100)?)?;
    listen(&mut microphone, 3.0, &mut heard);
    person.wait()?;
    assert_bursts(&heard.samples);
    assert_eq!(heard.notices, []);
    assert_eq!(microphone.overruns(), 0);
    Ok(())
}

fn voice() -> anyhow::Result<System> {
    System::open(Profile::default(), Duration::from_secs(10))
}

/// Waits until the voice is quiet, at most `limit` seconds; tells whether it is.
fn until_quiet(voice: &System, limit: u64) -> bool {
    bothhands::voice::until_quiet(voice, Duration::from_secs(limit))
}

#[test]
#[ignore = "runs inside the room"]
fn the_voice_is_heard_and_knows_when_it_speaks() -> Outcome {
    let mut voice = voice()?;
    let bystander = Bystander::at("speaker.monitor")?;
    assert!(!voice.speaking());
    let handed = Instant::now();
    voice.say(Tone::ReadBack, "Line to neutral, 0.35 ohms.")?;
    assert!(voice.speaking(), "from the moment it is handed over");
    assert!(until_quiet(&voice, 20));
    let quiet = Instant::now();
    let (first, last) = bystander.sounded().ok_or("nothing was heard")?;
    println!(
        "first sound {:?} after it was handed over, {:?} of speech, quiet {:?} after the last sound",
        first - handed,
        last - first,
        quiet - last
    );
    assert!(
        last - first > Duration::from_millis(900),
        "a whole sentence"
    );
    assert!(last < quiet, "it sounds only while it says that it speaks");
    assert_eq!(voice.failed(), None);
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn the_doctor_finds_all_that_is_needed() -> Outcome {
    let folder = room();
    let wanted = bothhands::doctor::ToCheck {
        folder: &folder,
        microphone: true,
        device: None,
        voice: true,
    };
    let mut findings = Vec::new();
    let ready = bothhands::doctor::examine(&wanted, &mut |finding| {
        findings.push(finding.to_string());
        Ok(())
    })?;
    assert!(ready, "{findings:#?}");
    let devices = bothhands::audio::microphone::devices(false)?;
    assert_eq!(
        devices.iter().filter(|device| device.default).count(),
        1,
        "{devices:?}"
    );
    let error = Microphone::open(Some("headset of nobody"))
        .err()
        .ok_or("found it")?;
    assert!(error.to_string().contains("there is: default"), "{error}");
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn a_prompt_can_be_cut_short() -> Outcome {
    let mut voice = voice()?;
    let bystander = Bystander::at("speaker.monitor")?;
    let long =
        "Prove the voltage indicator on a known source, then prove dead between every pair. ";
    voice.say(Tone::Plain, &long.repeat(3))?;
    voice.say(Tone::Plain, "This is never said.")?;
    std::thread::sleep(Duration::from_millis(1200));
    voice.stop();
    let stopped = Instant::now();
    assert!(until_quiet(&voice, 5));
    std::thread::sleep(Duration::from_millis(500));
    let (_, last) = bystander.sounded().ok_or("nothing was heard")?;
    println!(
        "last sound {:?} after stop",
        last.saturating_duration_since(stopped)
    );
    assert!(last < stopped + Duration::from_secs(2));
    bystander.forget();
    voice.say(Tone::Plain, "Isolated.")?;
    voice.say(Tone::Plain, "This is not said.")?;
    voice.say(Tone::Warning, "Neutral out.")?;
    voice.cut_short();
    assert_eq!(voice.cut_off(), ["Isolated.", "This is not said."]);
    assert!(voice.speaking(), "a noise does not silence a warning");
    assert!(until_quiet(&voice, 10));
    assert!(
        bystander.sounded().is_some(),
        "and it speaks again afterwards"
    );
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn a_warning_begins_with_its_tone_and_quieter_is_quieter() -> Outcome {
    let mut voice = voice()?;
    let bystander = Bystander::at("speaker.monitor")?;
    let power =
        |samples: &[f32]| samples.iter().map(|s| s * s).sum::<f32>() / samples.len().max(1) as f32;

    voice.say(Tone::Warning, "Something is still out.")?;
    assert!(until_quiet(&voice, 20));
    let samples = bystander.samples();
    let begins = samples
        .iter()
        .position(|s| s.abs() > 0.01)
        .ok_or("nothing was heard")?;
    let tone = samples.get(begins..begins + 1600).ok_or("too short")?;
    let share = share_of(988.0, tone);
    println!("share of the tone in the first 100 ms: {share:.2}");
    assert!(share > 0.9);

    bystander.forget();
    voice.mark(Earcon::Listening);
    assert!(until_quiet(&voice, 10));
    let (first, last) = bystander.sounded().ok_or("no mark")?;
    assert!(last - first < Duration::from_millis(400));

    bystander.forget();
    voice.say(Tone::Plain, "Line to earth.")?;
    assert!(until_quiet(&voice, 20));
    let before = power(&bystander.samples());
    for _ in 0..3 {
        voice.adjust(ProsodyChange::Quieter);
    }
    bystander.forget();
    voice.say(Tone::Plain, "Line to earth.")?;
    assert!(until_quiet(&voice, 20));
    let after = power(&bystander.samples());
    println!(
        "three times quieter: {:.1} dB",
        10.0 * (after / before).log10()
    );
    assert!(after > 0.0 && after < before / 2.0);
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn slower_is_slower() -> Outcome {
    let mut voice = voice()?;
    let bystander = Bystander::at("speaker.monitor")?;
    let said = |voice: &mut System| -> Result<Duration, Box<dyn std::error::Error>> {
        bystander.forget();
        voice.say(Tone::Plain, "Line to neutral, over nine nine nine megohms.")?;
        assert!(until_quiet(voice, 20));
        let (first, last) = bystander.sounded().ok_or("nothing was heard")?;
        Ok(last - first)
    };
    let usual = said(&mut voice)?;
    for step in 1..=3 {
        assert_eq!(
            voice.adjust(ProsodyChange::Slower),
            Some(ProsodyNow::Rate(-20 * step))
        );
    }
    let slow = said(&mut voice)?;
    println!("three times slower: {usual:?}, then {slow:?}");
    assert!(slow > usual.mul_f64(1.2));
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn the_meter_shows_how_loud_it_is() -> Outcome {
    let program = env!("CARGO_BIN_EXE_bothhands");
    let show = || {
        std::process::Command::new(program)
            .args(["devices", "--meter", "--seconds", "4"])
            .output()
    };
    let levels = |out: std::process::Output| -> Vec<f32> {
        assert!(out.status.success());
        String::from_utf8_lossy(&out.stdout)
            .lines()
            .filter(|line| line.starts_with('['))
            .filter_map(|line| {
                line.split(']')
                    .nth(1)?
                    .split_whitespace()
                    .next()?
                    .parse()
                    .ok()
            })
            .collect()
    };
    let quiet = levels(show()?);
    let mut person = play("room", &bursts(48_000)?)?;
    let loud = levels(show()?);
    person.wait()?;
    let most = |all: &[f32]| all.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    println!("quiet {quiet:?}, loud {loud:?}");
    assert!(quiet.len() >= 2 && loud.len() >= 2);
    // The tone has 0.3 of full scale at its peak, 20 log (0.3 / sqrt 2) = -13.5 dB.
    assert!((most(&loud) + 13.5).abs() < 1.5);
    assert!(most(&quiet) < -40.0);
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn the_sound_server_may_die_and_come_back() -> Outcome {
    let mut microphone = Microphone::open(None)?;
    let mut heard = Recognition::default();
    listen(&mut microphone, 0.3, &mut heard);
    let mut voice = voice()?;
    voice.say(Tone::Plain, "Ready.")?;
    assert!(until_quiet(&voice, 20));

    server("stop")?;
    assert!(wait_for(&mut microphone, &mut heard, |n| matches!(
        n,
        Notice::Lost { .. }
    )));
    voice.say(Tone::Plain, "Dead.")?;
    let begun = Instant::now();
    assert!(until_quiet(&voice, 30));
    println!("given up after {:?}: {:?}", begun.elapsed(), voice.failed());
    assert!(
        voice.failed().is_some(),
        "without a loudspeaker it cannot have spoken"
    );
    assert_eq!(voice.unsaid(), [(Tone::Plain, "Dead.".to_owned())]);
    assert!(voice.say(Tone::Plain, "Live.").is_err());

    server("start")?;
    assert!(wait_for(&mut microphone, &mut heard, |n| matches!(
        n,
        Notice::Back { .. }
    )));
    println!("{:?}", heard.notices);
    heard.samples.clear();
    let mut person = play("room", &bursts(48_000)?)?;
    listen(&mut microphone, 3.0, &mut heard);
    person.wait()?;
    assert_bursts(&heard.samples);

    let bystander = Bystander::at("speaker.monitor")?;
    let mut again = self::voice()?;
    again.say(Tone::Plain, "Live.")?;
    assert!(until_quiet(&again, 30));
    assert_eq!(again.failed(), None);
    assert!(bystander.sounded().is_some());
    Ok(())
}

#[test]
#[ignore = "runs inside the room"]
fn the_program_does_not_hear_itself_through_the_room() -> Outcome {
    // The loudspeaker stands in the same room: what it plays is in the microphone 6 dB lower.
    load_module(&[
        "module-loopback",
        "source=speaker.monitor",
        "sink=room",
        "latency_msec=30",
    ])?;
    let mut voice = voice()?;
    let mut microphone = Microphone::open(None)?;
    let mut gate = BargeInGate::default();
    let (mut raw, mut passed) = (Vec::new(), Vec::new());
    let mut step = |voice: &System, gate: &mut BargeInGate| {
        if let Some(LineEvent::Sound(samples)) = microphone.next(Duration::from_millis(50)) {
            passed.extend(gate.pass(&samples, voice.speaking()).samples);
            raw.extend(samples);
        }
    };
    for line in [
        "Line to neutral, 0.35 ohms.",
        "Line to earth, over 999 megohms.",
        "Say affirm or negative.",
    ] {
        voice.say(Tone::ReadBack, line)?;
        let end = Instant::now() + Duration::from_secs(20);
        while voice.speaking() && Instant::now() < end {
            step(&voice, &mut gate);
        }
        let end = Instant::now() + Duration::from_millis(400);
        while Instant::now() < end {
            step(&voice, &mut gate);
        }
    }
    let loudest = |s: &[f32]| s.iter().fold(0.0_f32, |most, s| most.max(s.abs()));
    println!(
        "loudest in the microphone {:.3}, let through {:.4}",
        loudest(&raw),
        loudest(&passed)
    );
    assert!(
        loudest(&raw) > 0.1,
        "the room did carry the program's voice"
    );
    assert!(loudest(&passed) < 0.005, "and none of it was let through");

    passed.clear();
    let mut person = play("room", &bursts(16_000)?)?;
    let end = Instant::now() + Duration::from_secs(3);
    let mut heard = Vec::new();
    while Instant::now() < end {
        if let Some(LineEvent::Sound(samples)) = microphone.next(Duration::from_millis(50)) {
            heard.extend(gate.pass(&samples, voice.speaking()).samples);
        }
    }
    person.wait()?;
    assert_bursts(&heard);
    Ok(())
}
