//! The test room of `with-sound-server.sh`, and those in it.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

pub type Outcome = Result<(), Box<dyn std::error::Error>>;

/// The room's own folder.
pub fn room() -> PathBuf {
    PathBuf::from(std::env::var_os("SOUND_SERVER_FOLDER").expect("run by with-sound-server.sh"))
}

/// Orders the sound server about: `stop` or `start`.
#[allow(dead_code)]
pub fn server(order: &str) -> Outcome {
    let script = std::env::var_os("SOUND_SERVER").ok_or("run by with-sound-server.sh")?;
    let done = Command::new("bash").arg(script).arg(order).status()?;
    assert!(done.success());
    Ok(())
}

/// Adds something to the sound server and gives its number.
#[allow(dead_code)]
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

#[allow(dead_code)]
impl Bystander {
    /// Quieter than this is silence.
    pub const WHISPER: f32 = 0.01;

    pub fn at(device: &str) -> Result<Self, Box<dyn std::error::Error>> {
        let mut recorder = Command::new("parec")
            .args(["-d", device, "--raw", "--format=s16le", "--channels=1"])
            .args(["--rate=16000", "--latency-msec=20"])
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

    pub fn forget(&self) {
        self.heard.lock().unwrap().clear();
    }
}

impl Drop for Bystander {
    fn drop(&mut self) {
        let _ = self.recorder.kill();
        let _ = self.recorder.wait();
    }
}
