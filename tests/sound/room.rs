//! The test room of `with-sound-server.sh`, and those in it. Each test uses some of it.

use bothhands::audio::SAMPLE_RATE;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

pub type Outcome = Result<(), Box<dyn std::error::Error>>;

/// Runs this test's program again, inside the room: the tests of a module (`module_path!()`) that
/// are marked `ignore`.
pub fn in_the_room(module: &str) -> Outcome {
    let _attention = crate::attention();
    let output = Command::new("bash")
        .arg(manifest("tests/sound/with-sound-server.sh"))
        .arg(std::env::current_exe()?)
        .arg(format!("{}::", crate::test_path(module)))
        .args(["--ignored", "--test-threads=1", "--nocapture"])
        .output()?;
    let (out, err) = (
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    println!("{out}\n{err}");
    assert!(output.status.success(), "see above");
    Ok(())
}

/// The room's own folder.
pub fn room() -> PathBuf {
    PathBuf::from(std::env::var_os("SOUND_SERVER_FOLDER").expect("run by with-sound-server.sh"))
}

/// Orders the sound server about: `stop` or `start`.
pub fn server(order: &str) -> Outcome {
    let script = std::env::var_os("SOUND_SERVER").ok_or("run by with-sound-server.sh")?;
    let done = Command::new("bash").arg(script).arg(order).status()?;
    assert!(done.success());
    Ok(())
}

/// Adds something to the sound server and gives its number.
pub fn load_module(arguments: &[&str]) -> Result<String, Box<dyn std::error::Error>> {
    let loaded = Command::new("pactl")
        .arg("load-module")
        .args(arguments)
        .output()?;
    assert!(loaded.status.success(), "{arguments:?}");
    Ok(String::from_utf8(loaded.stdout)?.trim().to_owned())
}

/// A person speaks: plays a file into a sink.
pub fn play(sink: &str, path: &Path) -> std::io::Result<Child> {
    Command::new("paplay").args(["-d", sink]).arg(path).spawn()
}

/// 20 ms of sound, with the moment at which it arrived.
type Chunk = (Instant, Vec<f32>);

/// Hears what comes from one device, with the moment at which each piece of 20 ms arrived.
pub struct Bystander {
    recorder: Child,
    heard: Arc<Mutex<Vec<Chunk>>>,
}

impl Bystander {
    /// Quieter than this is silence.
    pub const WHISPER: f32 = 0.01;

    pub fn at(device: &str) -> Result<Self, Box<dyn std::error::Error>> {
        Self::at_pace(device, 20)
    }

    /// Takes sound every so many milliseconds: the whole device keeps the pace of its most
    /// impatient listener.
    pub fn at_pace(device: &str, ms: u32) -> Result<Self, Box<dyn std::error::Error>> {
        let mut recorder = Command::new("parec")
            .args(["-d", device, "--raw", "--format=s16le", "--channels=1"])
            .args(["--rate=16000", &format!("--latency-msec={ms}")])
            .stdout(Stdio::piped())
            .spawn()?;
        let mut sound = recorder.stdout.take().ok_or("no recording")?;
        let heard = Arc::new(Mutex::new(Vec::new()));
        let keep = Arc::clone(&heard);
        std::thread::spawn(move || {
            use std::io::Read;
            let mut bytes = [0; 640];
            while sound.read_exact(&mut bytes).is_ok() {
                let samples = bytes
                    .chunks_exact(2)
                    .map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32768.0)
                    .collect();
                keep.lock().unwrap().push((Instant::now(), samples));
            }
        });
        let bystander = Self { recorder, heard };
        let end = Instant::now() + Duration::from_secs(5);
        while bystander.heard.lock().unwrap().is_empty() && Instant::now() < end {
            std::thread::sleep(Duration::from_millis(10));
        }
        Ok(bystander)
    }

    /// When the pieces louder than a whisper arrived, since `since`.
    pub fn loud_since(&self, since: Option<Instant>) -> Vec<Instant> {
        let heard = self.heard.lock().unwrap();
        heard
            .iter()
            .filter(|(at, _)| since.is_none_or(|since| *at >= since))
            .filter(|(_, samples)| samples.iter().any(|s| s.abs() > Self::WHISPER))
            .map(|(at, _)| *at)
            .collect()
    }

    /// The moments of the first and the last piece louder than a whisper.
    pub fn sounded(&self) -> Option<(Instant, Instant)> {
        let loud = self.loud_since(None);
        Some((*loud.first()?, *loud.last()?))
    }

    pub fn samples(&self) -> Vec<f32> {
        self.heard
            .lock()
            .unwrap()
            .iter()
            .flat_map(|(_, s)| s.clone())
            .collect()
    }

    /// Whether the last that sounded was the tone that tells whether the program listens: its
    /// second note is 784 or 523 Hz.
    pub fn ended_with_tone(&self) -> bool {
        let heard = self.heard.lock().unwrap();
        let loud = |(_, samples): &Chunk| samples.iter().any(|s| s.abs() > Self::WHISPER);
        let Some(last) = heard.iter().rposition(loud) else {
            return false;
        };
        let note: Vec<f32> = heard[last.saturating_sub(3)..last]
            .iter()
            .flat_map(|(_, samples)| samples.clone())
            .collect();
        [784.0, 523.0]
            .into_iter()
            .any(|hertz| share_of(hertz, &note) > 0.5)
    }

    pub fn forget(&self) {
        self.heard.lock().unwrap().clear();
    }
}

/// Power of one pitch in a sound, relative to all of it.
pub fn share_of(hertz: f32, samples: &[f32]) -> f32 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, s) in samples.iter().enumerate() {
        let angle = n as f32 / SAMPLE_RATE as f32 * hertz * std::f32::consts::TAU;
        re += s * angle.cos();
        im += s * angle.sin();
    }
    let all: f32 = samples.iter().map(|s| s * s).sum();
    2.0 * (re * re + im * im) / (samples.len().max(1) as f32 * all.max(1e-9))
}

impl Drop for Bystander {
    fn drop(&mut self) {
        let _ = self.recorder.kill();
        let _ = self.recorder.wait();
    }
}

/// How much quieter the program's voice is in the microphone than at its loudspeaker.
const ECHO: &str = "-10dB";
pub fn program() -> PathBuf {
    std::env::var_os("BOTHHANDS")
        .map_or_else(|| env!("CARGO_BIN_EXE_bothhands").into(), PathBuf::from)
}

pub fn manifest(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Waits until the loudspeaker has been silent for `quiet`; false after `limit`.
pub fn until_silent(speaker: &Bystander, since: Instant, quiet: Duration, limit: Duration) -> bool {
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

pub struct Program(pub Child);

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Two minutes of the room's own sound, -60 dB below full scale, over and over: in a null sink
/// alone there is perfect silence, which no microphone gives.
pub fn hum() -> Result<Program, Box<dyn std::error::Error>> {
    let path = room().join("hum.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&path, spec)?;
    let mut noise = fastrand::Rng::with_seed(7);
    for _ in 0..SAMPLE_RATE * 120 {
        wav.write_sample(noise.i16(-57..=57))?;
    }
    wav.finalize()?;
    let again = "while paplay -d room \"$0\"; do :; done";
    Ok(Program(
        Command::new("sh").args(["-c", again]).arg(&path).spawn()?,
    ))
}

/// The room: a person's mouth, and the loudspeaker at some distance from the microphone.
pub fn furnish() -> Outcome {
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

/// One thing said in the demo's script.
pub struct Line {
    pub clip: PathBuf,
    pub words: String,
}

pub fn script() -> Result<Vec<Line>, Box<dyn std::error::Error>> {
    let text = std::fs::read_to_string(manifest("demo/script.tsv"))?;
    Ok(text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .filter_map(|line| {
            let mut fields = line.split('\t');
            let name = fields.next().filter(|name| !name.is_empty())?;
            Some(Line {
                clip: manifest("demo/recordings").join(format!("{name}.flac")),
                words: fields.nth(1).unwrap_or_default().to_owned(),
            })
        })
        .collect())
}
