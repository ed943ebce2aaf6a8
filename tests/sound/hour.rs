//! An hour in the test room: somebody says a few things every five minutes and nothing in between.
//! What the program takes of the machine is read from /proc all the while.
//! `tests/sound/hour.sh [MINUTES]` runs it.

#![cfg(all(feature = "microphone", feature = "system-voice", target_os = "linux"))]

use crate::sound::room::{
    Bystander, Line, Outcome, Program, hum, manifest, play, program, room, script, until_silent,
};
use std::fs::File;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// How often the program is looked at.
const EVERY: Duration = Duration::from_secs(10);
/// How often somebody speaks, and how many things they say then.
const TURN: Duration = Duration::from_secs(300);
const THINGS: usize = 3;
/// How long the person waits after the program's last word, and for an answer.
const POLITE: Duration = Duration::from_millis(1200);
const PATIENCE: Duration = Duration::from_secs(5);

/// What the program has of the machine at one moment.
#[derive(Debug, Clone, Copy)]
struct Taken {
    at: f64,
    /// Seconds of one core, from the beginning.
    processor: f64,
    resident_kb: u64,
    threads: u64,
    files: usize,
}

fn taken(of: u32, since: Instant) -> Result<Taken, Box<dyn std::error::Error>> {
    // Fields after the name, which may itself hold anything: utime and stime are 14 and 15.
    let stat = std::fs::read_to_string(format!("/proc/{of}/stat"))?;
    let fields: Vec<&str> = stat
        .rsplit(')')
        .next()
        .unwrap_or_default()
        .split_whitespace()
        .collect();
    let ticks: f64 = fields[11].parse::<f64>()? + fields[12].parse::<f64>()?;
    let status = std::fs::read_to_string(format!("/proc/{of}/status"))?;
    let number = |name: &str| -> Option<u64> {
        let line = status.lines().find(|line| line.starts_with(name))?;
        line.split_whitespace().nth(1)?.parse().ok()
    };
    Ok(Taken {
        at: since.elapsed().as_secs_f64(),
        // Linux shows every process a hundred ticks a second.
        processor: ticks / 100.0,
        resident_kb: number("VmRSS:").ok_or("no VmRSS")?,
        threads: number("Threads:").ok_or("no Threads")?,
        files: std::fs::read_dir(format!("/proc/{of}/fd"))?.count(),
    })
}

/// Seconds between two looks and processor seconds used in them, added up.
#[derive(Default)]
struct Share(f64, f64);

impl Share {
    fn add(&mut self, from: &Taken, to: &Taken) {
        self.0 += to.at - from.at;
        self.1 += to.processor - from.processor;
    }

    fn percent(&self) -> f64 {
        100.0 * self.1 / self.0.max(0.01)
    }
}

/// Kilobytes an hour: the slope of the straight line nearest to what was seen.
fn slope(seen: &[Taken]) -> f64 {
    let n = seen.len().max(1) as f64;
    let mean = |f: fn(&Taken) -> f64| seen.iter().map(f).sum::<f64>() / n;
    let (t, m) = (mean(|s| s.at), mean(|s| s.resident_kb as f64));
    let (mut up, mut down) = (0.0, 0.0);
    for s in seen {
        up += (s.at - t) * (s.resident_kb as f64 - m);
        down += (s.at - t) * (s.at - t);
    }
    3600.0 * up / f64::max(down, 1e-9)
}

#[test]
#[ignore = "takes an hour; run by tests/sound/hour.sh"]
fn an_hour_in_the_room() -> Outcome {
    let minutes: f64 = std::env::var("MINUTES").map_or(Ok(60.0), |text| text.parse())?;
    let length = Duration::from_secs_f64(minutes * 60.0);
    let mut script = script()?;
    // The last word ends the session, which is to go on.
    script.pop();
    let mut script = script.iter();
    // The program's own voice is not mixed back here: what does that asks for small pieces, which
    // everybody at the sound server then has to handle.
    let _hum = hum()?;
    let speaker = Bystander::at_pace("speaker.monitor", 200)?;
    let mut command = Command::new(program());
    command
        .arg("test")
        .arg(manifest("demo/boathouse.toml"))
        .arg("--db")
        .arg(room().join("hour.db"))
        .args(["--sound", "mic", "--voice", "system"])
        .stdin(Stdio::null())
        .stdout(File::create(room().join("out.txt"))?)
        .stderr(File::create(room().join("err.txt"))?);
    let begun = Instant::now();
    let mut program = Program(command.spawn()?);
    let number = program.0.id();

    let mut seen: Vec<Taken> = Vec::new();
    let (mut idle, mut busy) = (Share::default(), Share::default());
    let mut next_turn = Duration::from_secs(20);
    let (mut left, mut said, mut answered) = (0, 0_u32, 0_u32);
    let mut was = taken(number, begun)?;
    let (mut sounded, mut spoken) = (true, false);
    while begun.elapsed() < length {
        // A turn may take longer than a look: it is looked at between two things said.
        if begun.elapsed() >= next_turn && left == 0 {
            left = THINGS;
            next_turn += TURN;
        }
        if left > 0
            && until_silent(&speaker, begun, POLITE, Duration::from_secs(60))
            && let Some(Line { clip, .. }) = script.next()
        {
            left -= 1;
            said += 1;
            play("room", clip)?.wait()?;
            spoken = true;
            let end = Instant::now();
            while end.elapsed() < PATIENCE && speaker.loud_since(Some(end)).is_empty() {
                std::thread::sleep(Duration::from_millis(50));
            }
            answered += u32::from(!speaker.loud_since(Some(end)).is_empty());
            until_silent(&speaker, end, POLITE, Duration::from_secs(60));
        } else {
            left = 0;
        }
        if let Some(status) = program.0.try_wait()? {
            return Err(format!("the program ended: {status}").into());
        }
        let rest = EVERY.saturating_sub(Duration::from_secs_f64(
            (begun.elapsed().as_secs_f64() - was.at).max(0.0),
        ));
        if left > 0 && !rest.is_zero() {
            continue;
        }
        std::thread::sleep(rest);
        let now = taken(number, begun)?;
        let sound = std::mem::take(&mut spoken) || !speaker.loud_since(None).is_empty();
        speaker.forget();
        // What was said at the end of the last look may be worked on in this one.
        let share = if sound || sounded {
            &mut busy
        } else {
            &mut idle
        };
        share.add(&was, &now);
        sounded = sound;
        if now.at > 30.0 {
            seen.push(now);
        }
        println!(
            "{:7.0} s  {:7} kB  {:2} threads  {:3} files  {:5.2} % of a core{}",
            now.at,
            now.resident_kb,
            now.threads,
            now.files,
            100.0 * (now.processor - was.processor) / (now.at - was.at),
            if sound { "  spoken" } else { "" }
        );
        was = now;
    }
    Command::new("kill")
        .args(["-TERM", &number.to_string()])
        .status()?;
    let asked = Instant::now();
    let ended = loop {
        match program.0.try_wait()? {
            Some(status) => break Some(status),
            None if asked.elapsed() > Duration::from_secs(30) => break None,
            None => std::thread::sleep(Duration::from_millis(100)),
        }
    };
    println!("{}", std::fs::read_to_string(room().join("err.txt"))?);
    let warm = seen.iter().find(|s| s.at >= 300.0).or(seen.first());
    if let (Some(warm), Some(last)) = (warm, seen.last()) {
        let settled: Vec<Taken> = seen.iter().filter(|s| s.at >= warm.at).copied().collect();
        println!(
            "memory {} kB after {:.0} s, {} kB after {:.0} s; slope {:+.0} kB an hour; threads {} then {}; open files {} then {}",
            warm.resident_kb,
            warm.at,
            last.resident_kb,
            last.at,
            slope(&settled),
            warm.threads,
            last.threads,
            warm.files,
            last.files
        );
    }
    println!(
        "processor: {:.2} % of one core in {:.0} s without a word, {:.2} % in {:.0} s in which somebody spoke",
        idle.percent(),
        idle.0,
        busy.percent(),
        busy.0
    );
    println!("{said} things said, {answered} answered");
    assert!(ended.is_some_and(|status| status.success()), "{ended:?}");
    Ok(())
}
