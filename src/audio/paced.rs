//! ALSA, read at a steady pace instead of whenever it says that there is something.
//!
//! Through ALSA's bridge to a sound server (PulseAudio, and PipeWire in its place) a program that
//! waits in `poll` is woken without end while a piece from the server is half read: that took 5 to
//! 30 % of a core in silence. Here nobody waits for a wake-up: every 25 ms what has come is taken.
//! The ring holds half a second, so that a busy machine may be late without loss.

use alsa::pcm::{Access, Format, HwParams, IoFormat, PCM};
use alsa::{Direction, ValueOr};
use cpal::{FromSample, SampleFormat};
use std::io::ErrorKind;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

const PACE: Duration = Duration::from_millis(25);
/// What the device hands over at once, and what it may hold, in microseconds.
const PIECE: u32 = 40_000;
const RING: u32 = 500_000;

/// What comes from the device.
pub(crate) enum Delivered {
    /// Samples, the mean of all channels.
    Sound(Vec<f32>),
    /// Sound was lost: nobody took it in time.
    Overrun,
    /// Nothing comes any more.
    Fault(String),
}

/// A device being read; dropping it ends that.
pub(crate) struct Paced {
    stop: Arc<AtomicBool>,
    reader: Option<JoinHandle<()>>,
}

impl Drop for Paced {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(reader) = self.reader.take() {
            // A reader that panicked has nothing left to end.
            let _ = reader.join();
        }
    }
}

impl Paced {
    /// Opens a device by its ALSA name and gives what comes to `take`, on a thread of its own.
    ///
    /// # Errors
    /// When ALSA refuses any of it.
    pub(crate) fn open(
        name: &str,
        rate: u32,
        channels: u16,
        format: SampleFormat,
        take: impl FnMut(Delivered) + Send + 'static,
    ) -> anyhow::Result<Self> {
        let pcm = PCM::new(name, Direction::Capture, true)?;
        let alsa_format = match format {
            SampleFormat::F32 => Format::float(),
            SampleFormat::I32 => Format::s32(),
            SampleFormat::I16 => Format::s16(),
            other => anyhow::bail!("samples as {other} are not read this way"),
        };
        {
            let wishes = HwParams::any(&pcm)?;
            wishes.set_access(Access::RWInterleaved)?;
            wishes.set_format(alsa_format)?;
            wishes.set_channels(u32::from(channels))?;
            wishes.set_rate(rate, ValueOr::Nearest)?;
            wishes.set_period_time_near(PIECE, ValueOr::Nearest)?;
            wishes.set_buffer_time_near(RING, ValueOr::Nearest)?;
            pcm.hw_params(&wishes)?;
        }
        pcm.start()?;
        let stop = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stop);
        let frames = (rate / 10) as usize;
        let channels = usize::from(channels).max(1);
        let reader = thread::Builder::new()
            .name("microphone line".to_owned())
            .spawn(move || match format {
                SampleFormat::F32 => read::<f32>(&pcm, frames, channels, &told, take),
                SampleFormat::I32 => read::<i32>(&pcm, frames, channels, &told, take),
                _ => read::<i16>(&pcm, frames, channels, &told, take),
            })?;
        Ok(Self {
            stop,
            reader: Some(reader),
        })
    }
}

fn read<T>(
    pcm: &PCM,
    frames: usize,
    channels: usize,
    stop: &AtomicBool,
    mut take: impl FnMut(Delivered),
) where
    T: IoFormat + Default,
    f32: FromSample<T>,
{
    super::microphone::hush_sound_system();
    let io = match pcm.io_checked::<T>() {
        Ok(io) => io,
        Err(error) => return take(Delivered::Fault(error.to_string())),
    };
    let mut block = vec![T::default(); frames * channels];
    while !stop.load(Ordering::Relaxed) {
        match io.readi(&mut block) {
            Ok(read) if read > 0 => {
                let samples = block.get(..read * channels).unwrap_or(&block);
                take(Delivered::Sound(super::microphone::mean_of(
                    samples, channels,
                )));
                if read == frames {
                    continue;
                }
            }
            Ok(_) => {}
            Err(error) => {
                let kind = std::io::Error::from_raw_os_error(error.errno()).kind();
                match kind {
                    ErrorKind::WouldBlock | ErrorKind::Interrupted => {}
                    _ => {
                        let again = pcm.try_recover(error, true).and_then(|()| pcm.start());
                        match again {
                            Ok(()) => take(Delivered::Overrun),
                            Err(error) => return take(Delivered::Fault(error.to_string())),
                        }
                    }
                }
            }
        }
        thread::sleep(PACE);
    }
}
