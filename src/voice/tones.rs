//! Short tones: what kind of line follows, and whether the program listens.

use super::Earcon;
use std::time::Duration;

/// Notes played one after the other.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(
    not(any(feature = "phone", feature = "system-voice")),
    allow(dead_code)
)]
pub(crate) struct Notes {
    notes: &'static [Note],
    /// Largest sample at full volume.
    amplitude: f32,
}

/// One note, or a rest when its pitch is zero.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Note {
    hertz: f32,
    ms: u32,
}

const fn note(hertz: f32, ms: u32) -> Note {
    Note { hertz, ms }
}

const RISING: [Note; 2] = [note(523.0, 70), note(784.0, 70)];
const ONE: [Note; 1] = [note(784.0, 120)];
const FALLING: [Note; 2] = [note(784.0, 70), note(523.0, 70)];

#[cfg_attr(
    not(any(feature = "phone", feature = "system-voice")),
    allow(dead_code)
)]
impl Notes {
    /// Three even beats, before a warning.
    pub(crate) const WARNING: Self = Self {
        notes: &[
            note(988.0, 110),
            note(0.0, 50),
            note(988.0, 110),
            note(0.0, 50),
            note(988.0, 110),
        ],
        amplitude: 0.5,
    };

    /// The notes of a mark: rising for listening, falling for not listening.
    pub(crate) fn of(mark: Earcon) -> Self {
        Self {
            notes: match mark {
                Earcon::Listening => &RISING,
                Earcon::Taken => &ONE,
                Earcon::NotListening => &FALLING,
            },
            amplitude: 0.25,
        }
    }

    /// How long they take.
    pub(crate) fn length(self) -> Duration {
        Duration::from_millis(self.notes.iter().map(|note| u64::from(note.ms)).sum())
    }

    /// Samples at `rate` hertz, at `volume` 0 to 1. Each note swells and fades over 5 ms, without
    /// which its edges would click.
    pub(crate) fn samples(self, rate: u32, volume: f32) -> Vec<f32> {
        let fade = (rate / 200).max(1) as f32;
        let mut samples = Vec::new();
        for note in self.notes {
            let length = u64::from(rate) * u64::from(note.ms) / 1000;
            for n in 0..length {
                let edge = (n.min(length - 1 - n) as f32 / fade).min(1.0);
                let angle = n as f32 / rate.max(1) as f32 * note.hertz * std::f32::consts::TAU;
                samples.push(angle.sin() * edge * self.amplitude * volume.clamp(0.0, 1.0));
            }
        }
        samples
    }
}

#[cfg(all(feature = "microphone", feature = "system-voice"))]
pub(crate) use player::Player;

#[cfg(all(feature = "microphone", feature = "system-voice"))]
mod player {
    use super::Notes;
    use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
    use cpal::{SampleFormat, StreamConfig};
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::sync::mpsc::{Receiver, Sender, channel};
    use std::thread;
    use std::time::{Duration, Instant};

    /// Plays notes on the machine's default device, on a thread of its own, so that a sound system
    /// that hangs costs a tone and nothing else.
    pub(crate) struct Player {
        orders: Option<Sender<(Notes, f32)>>,
        done: Receiver<bool>,
    }

    /// What the sound system may take beyond the notes themselves.
    const PATIENCE: Duration = Duration::from_millis(1200);

    impl Player {
        /// A player; opens the device only for as long as notes sound.
        pub(crate) fn new() -> Self {
            let (orders, to_play) = channel::<(Notes, f32)>();
            let (tell, done) = channel();
            let spawned = thread::Builder::new()
                .name("tones".to_owned())
                .spawn(move || {
                    while let Ok((notes, volume)) = to_play.recv() {
                        let played = play(notes, volume).is_ok();
                        if tell.send(played).is_err() {
                            return;
                        }
                    }
                });
            Self {
                orders: spawned.is_ok().then_some(orders),
                done,
            }
        }

        /// Plays and waits until the notes have sounded. False when they could not be; after a
        /// hang no more are tried.
        pub(crate) fn play(&mut self, notes: Notes, volume: f32) -> bool {
            let Some(orders) = &self.orders else {
                return false;
            };
            if orders.send((notes, volume)).is_err() {
                self.orders = None;
                return false;
            }
            match self.done.recv_timeout(notes.length() + PATIENCE) {
                Ok(played) => played,
                Err(_) => {
                    self.orders = None;
                    false
                }
            }
        }
    }

    fn play(notes: Notes, volume: f32) -> anyhow::Result<()> {
        crate::audio::microphone::hush_sound_system();
        let device = cpal::default_host()
            .default_output_device()
            .ok_or_else(|| anyhow::anyhow!("no loudspeaker"))?;
        let supported = device.default_output_config()?;
        let config: StreamConfig = supported.config();
        let samples = Arc::new(notes.samples(config.sample_rate, volume));
        let at = Arc::new(AtomicUsize::new(0));
        let channels = usize::from(config.channels).max(1);
        let (playing, position) = (Arc::clone(&samples), Arc::clone(&at));
        let next = move || {
            let n = position.fetch_add(1, Ordering::Relaxed);
            playing.get(n).copied().unwrap_or(0.0)
        };
        let stream = match supported.sample_format() {
            SampleFormat::I16 => stream::<i16>(&device, config, channels, next),
            SampleFormat::I32 => stream::<i32>(&device, config, channels, next),
            SampleFormat::U8 => stream::<u8>(&device, config, channels, next),
            SampleFormat::F32 => stream::<f32>(&device, config, channels, next),
            other => anyhow::bail!("the loudspeaker wants samples as {other}"),
        }?;
        stream.play()?;
        let end = Instant::now() + notes.length() + PATIENCE / 2;
        while at.load(Ordering::Relaxed) < samples.len() && Instant::now() < end {
            thread::sleep(Duration::from_millis(5));
        }
        let taken = at.load(Ordering::Relaxed) >= samples.len();
        // What was taken last has yet to leave the loudspeaker.
        let buffered = stream.buffer_size().unwrap_or(0);
        thread::sleep(
            Duration::from_secs_f64(
                2.0 * f64::from(buffered) / f64::from(config.sample_rate.max(1)),
            )
            .min(Duration::from_millis(300)),
        );
        anyhow::ensure!(taken, "the loudspeaker does not take the sound");
        Ok(())
    }

    fn stream<T>(
        device: &cpal::Device,
        config: StreamConfig,
        channels: usize,
        mut next: impl FnMut() -> f32 + Send + 'static,
    ) -> anyhow::Result<cpal::Stream>
    where
        T: cpal::SizedSample + cpal::FromSample<f32>,
    {
        let fill = move |data: &mut [T], _: &cpal::OutputCallbackInfo| {
            for frame in data.chunks_mut(channels) {
                frame.fill(T::from_sample_(next()));
            }
        };
        let broken = |_| thread::sleep(Duration::from_millis(2));
        Ok(device.build_output_stream(config, fill, broken, Some(PATIENCE))?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_have_their_length_and_neither_clip_nor_click() {
        for notes in [
            Notes::WARNING,
            Notes::of(Earcon::Listening),
            Notes::of(Earcon::Taken),
            Notes::of(Earcon::NotListening),
        ] {
            let samples = notes.samples(48_000, 1.0);
            assert_eq!(samples.len() as u128, notes.length().as_millis() * 48);
            assert!(samples.iter().all(|s| s.abs() <= 0.5));
            let step = samples
                .windows(2)
                .map(|w| (w[1] - w[0]).abs())
                .fold(0.0, f32::max);
            assert!(step < 0.08, "{step}");
        }
    }

    #[test]
    fn listening_rises_and_not_listening_falls() {
        let up = Notes::of(Earcon::Listening).notes;
        let down = Notes::of(Earcon::NotListening).notes;
        assert!(up[0].hertz < up[1].hertz);
        assert!(down[0].hertz > down[1].hertz);
    }
}
