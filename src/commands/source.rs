//! Where a session's sound comes from.

use anyhow::bail;
use bothhands::audio::EndpointConfig;
use bothhands::dialogue::{InputSource, Recordings};
use std::path::{Path, PathBuf};

/// Whether `--sound` means a person at the microphone.
pub(super) fn is_live(sound: &[String]) -> bool {
    sound.is_empty() || sound == ["mic"]
}

/// How sound is cut for a person with these pauses.
pub(super) fn cutting(end_pause: Option<f64>) -> EndpointConfig {
    let usual = EndpointConfig::default();
    EndpointConfig {
        pause: end_pause.unwrap_or(usual.pause),
        ..usual
    }
}

/// The microphone, or recordings one after another; `-` is standard input.
///
/// # Errors
/// When there is no microphone, or no such recording.
pub(super) fn sound(
    sound: &[String],
    device: Option<&str>,
    cutting: EndpointConfig,
) -> anyhow::Result<Box<dyn InputSource>> {
    if is_live(sound) {
        return microphone(device, cutting);
    }
    if sound.iter().any(|name| name == "mic") {
        bail!("give either mic or recordings after --sound, not both");
    }
    let files: Vec<PathBuf> = sound.iter().map(PathBuf::from).collect();
    if let Some(missing) = files
        .iter()
        .find(|file| *file != Path::new("-") && !file.exists())
    {
        bail!("{}: no such recording; check the path", missing.display());
    }
    Ok(Box::new(Recordings::new(files).cut_by(cutting)))
}

#[cfg(feature = "microphone")]
fn microphone(
    device: Option<&str>,
    cutting: EndpointConfig,
) -> anyhow::Result<Box<dyn InputSource>> {
    let live = bothhands::dialogue::Live::open_cut_by(device, cutting)?;
    Ok(Box::new(live))
}

#[cfg(not(feature = "microphone"))]
fn microphone(
    _device: Option<&str>,
    _cutting: EndpointConfig,
) -> anyhow::Result<Box<dyn InputSource>> {
    bail!("this build has no microphone; use --words - to type, or --sound FILE.wav")
}
