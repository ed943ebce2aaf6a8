//! The microphone: whatever the machine has, brought to 16 kHz mono, and kept alive.
//!
//! Three threads, none of which can wait for the program: the sound system's own calls back with
//! samples, a keeper resamples them, watches for silence of the line and opens the device again
//! when it was lost, and the program takes [`LineEvent`]s. Between them lie queues of fixed size; what
//! does not fit is dropped, counted and told.

use super::line::decibels;
pub use super::line::{CHUNK, LineEvent, Loudness, Notice, QUIETEST};
use super::{Resampler, SAMPLE_RATE};
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{
    BufferSize, Data, ErrorKind, FromSample, I24, SampleFormat, SizedSample, StreamConfig,
    SupportedBufferSize, SupportedStreamConfigRange, U24,
};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

/// Chunks that may wait for the program: five seconds.
const WAITING_CHUNKS: usize = 250;
/// Seconds of sound that may wait between the sound system's thread and the keeper.
const WAITING_SECONDS: usize = 2;
/// A line that delivers nothing for this long is lost. Sound systems deliver every 10 to 100 ms.
const STALL: Duration = Duration::from_millis(1500);
/// A device just opened may take this long to wake up.
const WAKING: Duration = Duration::from_secs(4);
/// What a device loses in its first seconds was there before anything was asked for: sound systems
/// hand over what had gathered, more than anyone has room for.
const OPENING: Duration = Duration::from_secs(3);
/// Exact digital zeros for this long mean a muted or missing microphone: a real one has noise.
const ONLY_SILENCE: Duration = Duration::from_secs(10);
/// First and longest pause before the device is tried again.
const BACK_OFF: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(4));
/// Streams whose closing the sound system has not finished, after which none is opened any more.
const CLOSING_AT_MOST: usize = 4;

/// Why there is no sound from a microphone, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MicrophoneError {
    /// The sound system has no device that records.
    #[error(
        "there is no microphone: plug one in, or choose one of the machine's with --device NAME (`bothhands devices` lists them); without one, type instead"
    )]
    None,
    /// No device has the wanted name.
    #[error("there is no microphone called `{wanted}`; {}", listing(names))]
    NotFound {
        /// The name that was asked for.
        wanted: String,
        /// All there are.
        names: Vec<String>,
    },
    /// Several devices answer to the wanted name.
    #[error("`{wanted}` could be any of several microphones; {}", listing(names))]
    Ambiguous {
        /// The name that was asked for.
        wanted: String,
        /// Those that answer to it.
        names: Vec<String>,
    },
    /// The person may not use it.
    #[error(
        "permission to use the microphone `{device}` is missing: on Linux add yourself to the group `audio` (sudo usermod -aG audio \"$USER\") and log in again; elsewhere allow the terminal to use the microphone in the privacy settings"
    )]
    Permission {
        /// Its name.
        device: String,
    },
    /// Another program has it.
    #[error(
        "the microphone `{device}` is in use by another program: end that, or choose the sound server's device, which programs can share"
    )]
    Busy {
        /// Its name.
        device: String,
    },
    /// The sound system cannot be reached.
    #[error(
        "the machine's sound system cannot be reached ({reason}): is its sound server running?"
    )]
    NoSoundSystem {
        /// What it said, or what was tried.
        reason: String,
    },
    /// Anything else.
    #[error(
        "the microphone `{device}` cannot be used: {reason}. Check its plug and the sound settings, or choose another with --device NAME (`bothhands devices` lists them); without one, type instead (--words -)"
    )]
    Unusable {
        /// Its name.
        device: String,
        /// What the sound system said.
        reason: String,
    },
}

fn listing(names: &[String]) -> String {
    if names.is_empty() {
        "the machine has none at all".to_owned()
    } else {
        format!("there is: {}", names.join(", "))
    }
}

/// A device that records, as the sound system describes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundDevice {
    /// The name to choose it by.
    pub name: String,
    /// What it is, in the sound system's words.
    pub description: String,
    /// Whether it is used when none is named.
    pub default: bool,
}

/// Every device that records, the default first. Devices of the sound system that only convert are
/// left out unless `all`.
///
/// # Errors
/// [`MicrophoneError::NoSoundSystem`] when there is nobody to ask.
pub fn devices(all: bool) -> Result<Vec<FoundDevice>, MicrophoneError> {
    Ok(found(all)?.into_iter().map(|(found, _)| found).collect())
}

fn found(all: bool) -> Result<Vec<(FoundDevice, cpal::Device)>, MicrophoneError> {
    hush_sound_system();
    let host = cpal::default_host();
    let default = host
        .default_input_device()
        .and_then(|device| device.id().ok());
    let devices = host
        .devices()
        .map_err(|error| MicrophoneError::NoSoundSystem {
            reason: error.to_string(),
        })?;
    let mut list: Vec<(FoundDevice, cpal::Device)> = devices
        .filter(DeviceTrait::supports_input)
        .filter_map(|device| {
            let id = device.id().ok()?;
            let name = id.id().to_owned();
            let description = device
                .description()
                .map(|d| d.name().to_owned())
                .unwrap_or_default();
            let found = FoundDevice {
                default: default.as_ref() == Some(&id),
                name,
                description,
            };
            (all || found.default || !only_converts(&found.name)).then_some((found, device))
        })
        .collect();
    list.sort_by_key(|(found, _)| !found.default);
    Ok(list)
}

/// ALSA's own helpers, which stand beside the devices in its list: they record silence, convert,
/// or need another device named. A card's `plughw` is kept, since it takes every rate and format.
fn only_converts(name: &str) -> bool {
    let kind = name.split(':').next().unwrap_or(name);
    matches!(
        kind,
        "null"
            | "samplerate"
            | "speexrate"
            | "lavrate"
            | "jack"
            | "oss"
            | "speex"
            | "upmix"
            | "vdownmix"
            | "dsnoop"
            | "usbstream"
            | "hw"
            | "sysdefault"
            | "front"
    )
}

/// A microphone that is being listened to.
///
/// ```no_run
/// use bothhands::audio::microphone::{LineEvent, Microphone};
/// use std::time::Duration;
///
/// let mut microphone = Microphone::open(None)?;
/// match microphone.next(Duration::from_millis(100)) {
///     Some(LineEvent::Sound(samples)) => println!("{} samples", samples.len()),
///     Some(LineEvent::Notice(notice)) => println!("{notice}"),
///     None => println!("nothing yet"),
/// }
/// # Ok::<(), bothhands::audio::microphone::MicrophoneError>(())
/// ```
#[derive(Debug)]
pub struct Microphone {
    events: Receiver<LineEvent>,
    shared: Arc<Shared>,
    device: String,
}

#[derive(Debug, Default)]
struct Shared {
    mean: AtomicU32,
    peak: AtomicU32,
    clipped: AtomicBool,
    overruns: AtomicU64,
    /// When the last was, in milliseconds after the device was opened.
    last_overrun: AtomicU64,
    /// Those of a device that was being opened: nothing was asked for yet.
    while_opening: AtomicU64,
    closing: AtomicBool,
}

impl Microphone {
    /// Opens the device called `name` (or whose name or description holds it, when only one does),
    /// or the machine's default.
    ///
    /// # Errors
    /// When it is not there or cannot be used; once open, a loss is a [`Notice`] and it is looked
    /// for until it is back.
    pub fn open(name: Option<&str>) -> Result<Self, MicrophoneError> {
        let first = Capture::open(name)?;
        let device = first.device.clone();
        let (events_in, events) = sync_channel(WAITING_CHUNKS);
        let shared = Arc::new(Shared::default());
        let keeper = Keeper {
            wanted: name.map(str::to_owned),
            device: device.clone(),
            events: Outbox {
                events: events_in,
                notices: VecDeque::new(),
                lost: 0,
                missing: false,
                told: None,
            },
            shared: Arc::clone(&shared),
            partial: Vec::with_capacity(CHUNK),
            zeros: 0,
            told_silence: false,
        };
        thread::Builder::new()
            .name("microphone".to_owned())
            .spawn(move || keeper.keep(first))
            .map_err(|error| MicrophoneError::Unusable {
                device: device.clone(),
                reason: error.to_string(),
            })?;
        Ok(Self {
            events,
            shared,
            device,
        })
    }

    /// The next thing from the microphone; waits for it at most `limit`.
    pub fn next(&mut self, limit: Duration) -> Option<LineEvent> {
        match self.events.recv_timeout(limit) {
            Ok(event) => Some(event),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => {
                // The keeper has ended, which it does only with the program: keep the pace.
                thread::sleep(limit);
                None
            }
        }
    }

    /// How loud the last chunk was.
    pub fn level(&self) -> Loudness {
        let read = |value: &AtomicU32| f32::from_bits(value.load(Ordering::Relaxed));
        Loudness {
            mean: decibels(read(&self.shared.mean)),
            peak: decibels(read(&self.shared.peak)),
            clipped: self.shared.clipped.load(Ordering::Relaxed),
        }
    }

    /// How often sound was missed because the program or the machine was too slow.
    pub fn overruns(&self) -> u64 {
        self.shared.overruns.load(Ordering::Relaxed)
    }

    /// When sound was last missed, counted from the opening of the device.
    fn last_overrun(&self) -> Option<Duration> {
        let at = self.shared.last_overrun.load(Ordering::Relaxed);
        (at > 0).then(|| Duration::from_millis(at))
    }

    /// How often sound was missed in the first seconds of a device, not counted in
    /// [`Microphone::overruns`]: what waited there before anything was asked for.
    fn overruns_while_opening(&self) -> u64 {
        self.shared.while_opening.load(Ordering::Relaxed)
    }

    /// The device's name.
    pub fn device(&self) -> &str {
        &self.device
    }
}

impl super::line::SoundLine for Microphone {
    fn next(&mut self, limit: Duration) -> Option<LineEvent> {
        Self::next(self, limit)
    }

    fn level(&self) -> Loudness {
        Self::level(self)
    }

    fn missed(&self) -> String {
        let opening = match self.overruns_while_opening() {
            0 => String::new(),
            times => format!(", besides {times} while it was being opened"),
        };
        let last = match self.last_overrun() {
            None => String::new(),
            Some(at) => format!(", the last {:.1} s after the beginning", at.as_secs_f64()),
        };
        format!("{} overruns{last}{opening}", self.overruns())
    }
}

impl Drop for Microphone {
    fn drop(&mut self) {
        // The keeper is not waited for: a sound system that hangs must not hang the program.
        self.shared.closing.store(true, Ordering::Relaxed);
    }
}

/// Owns the device while it is there and looks for it while it is not.
struct Keeper {
    wanted: Option<String>,
    device: String,
    events: Outbox,
    shared: Arc<Shared>,
    partial: Vec<f32>,
    /// Samples in a row that were exactly zero.
    zeros: u64,
    told_silence: bool,
}

impl Keeper {
    fn keep(mut self, first: Capture) {
        let closing = Arc::new(AtomicUsize::new(0));
        let mut capture = first;
        while let Some(reason) = self.listen(&mut capture) {
            let lost = Instant::now();
            self.line_lost(reason);
            close(capture, &closing);
            let Some(again) = self.look_for(&closing) else {
                return;
            };
            capture = again;
            self.events.tell(Notice::Back {
                device: self.device.clone(),
                away: lost.elapsed(),
            });
        }
        close(capture, &closing);
    }

    /// Passes sound on until the line is lost, and says why it was; `None` when the program has
    /// closed the microphone.
    fn listen(&mut self, capture: &mut Capture) -> Option<String> {
        let mut heard = Instant::now();
        let mut patience = WAKING;
        while !self.shared.closing.load(Ordering::Relaxed) {
            if let Some(reason) = capture.line.fault() {
                return Some(reason);
            }
            self.take_overruns(&capture.line);
            match capture.blocks.recv_timeout(Duration::from_millis(100)) {
                Ok(block) => {
                    heard = Instant::now();
                    patience = STALL;
                    capture
                        .line
                        .waiting
                        .fetch_sub(block.len(), Ordering::Relaxed);
                    if let Err(error) = self.pass_on(&mut capture.resampler, &block) {
                        return Some(error);
                    }
                }
                Err(RecvTimeoutError::Timeout) if heard.elapsed() > patience => {
                    return Some("no sound arrives".to_owned());
                }
                Err(RecvTimeoutError::Timeout) => self.events.flush(&self.shared),
                Err(RecvTimeoutError::Disconnected) => {
                    return Some("the sound system let go of it".to_owned());
                }
            }
        }
        None
    }

    fn pass_on(&mut self, resampler: &mut Resampler, block: &[f32]) -> Result<(), String> {
        let samples = resampler.push(block)?;
        for sample in samples {
            self.partial.push(sample);
            if self.partial.len() == CHUNK {
                let chunk = std::mem::replace(&mut self.partial, Vec::with_capacity(CHUNK));
                self.measure(&chunk);
                self.events.sound(chunk, &self.shared);
            }
        }
        Ok(())
    }

    fn measure(&mut self, chunk: &[f32]) {
        let peak = chunk.iter().fold(0.0_f32, |most, s| most.max(s.abs()));
        let power = chunk.iter().map(|s| s * s).sum::<f32>() / chunk.len().max(1) as f32;
        let store = |slot: &AtomicU32, value: f32| slot.store(value.to_bits(), Ordering::Relaxed);
        store(&self.shared.mean, power.sqrt());
        store(&self.shared.peak, peak);
        self.shared.clipped.store(peak >= 0.999, Ordering::Relaxed);

        if peak > 0.0 {
            self.zeros = 0;
            if std::mem::take(&mut self.told_silence) {
                self.events.tell(Notice::SoundAgain {
                    device: self.device.clone(),
                });
            }
        } else {
            self.zeros += chunk.len() as u64;
            let limit = ONLY_SILENCE.as_secs() * u64::from(SAMPLE_RATE);
            if self.zeros >= limit && !self.told_silence {
                self.told_silence = true;
                self.events.tell(Notice::OnlySilence {
                    device: self.device.clone(),
                });
            }
        }
    }

    fn take_overruns(&mut self, line: &Line) {
        let times = line.overruns.swap(0, Ordering::Relaxed);
        let samples = line.lost.swap(0, Ordering::Relaxed);
        if times == 0 {
            return;
        }
        if samples == 0 && line.opened.elapsed() < OPENING {
            self.shared
                .while_opening
                .fetch_add(times, Ordering::Relaxed);
            return;
        }
        self.shared.overruns.fetch_add(times, Ordering::Relaxed);
        let at = u64::try_from(line.opened.elapsed().as_millis()).unwrap_or(u64::MAX);
        self.shared.last_overrun.store(at, Ordering::Relaxed);
        self.events.lost += samples * u64::from(SAMPLE_RATE) / u64::from(line.rate.max(1));
        if samples == 0 {
            self.events.gap();
        }
    }

    fn line_lost(&mut self, reason: String) {
        self.partial.clear();
        self.zeros = 0;
        self.told_silence = false;
        for slot in [&self.shared.mean, &self.shared.peak] {
            slot.store(0, Ordering::Relaxed);
        }
        self.events.tell(Notice::Lost {
            device: self.device.clone(),
            reason,
        });
    }

    /// Tries to open the device again and again, with longer and longer pauses, until it is there
    /// or the program closes the microphone.
    fn look_for(&mut self, closing: &Arc<AtomicUsize>) -> Option<Capture> {
        let (mut pause, longest) = BACK_OFF;
        loop {
            let until = Instant::now() + pause;
            while Instant::now() < until {
                if self.shared.closing.load(Ordering::Relaxed) {
                    return None;
                }
                self.events.flush(&self.shared);
                thread::sleep(Duration::from_millis(50));
            }
            pause = (pause * 2).min(longest);
            if closing.load(Ordering::Relaxed) >= CLOSING_AT_MOST {
                continue;
            }
            if let Ok(capture) = Capture::open(self.wanted.as_deref()) {
                // Some sound systems open a device that is not there: only sound proves it back.
                match capture.blocks.recv_timeout(WAKING) {
                    Ok(block) => {
                        capture
                            .line
                            .waiting
                            .fetch_sub(block.len(), Ordering::Relaxed);
                        return Some(capture);
                    }
                    Err(_) => close(capture, closing),
                }
            }
        }
    }
}

/// Ends a stream on a thread of its own, since a sound system that hangs can hold it for ever.
fn close(capture: Capture, closing: &Arc<AtomicUsize>) {
    let counter = Arc::clone(closing);
    counter.fetch_add(1, Ordering::Relaxed);
    let done = Arc::clone(closing);
    let spawned = thread::Builder::new()
        .name("microphone closing".to_owned())
        .spawn(move || {
            drop(capture);
            done.fetch_sub(1, Ordering::Relaxed);
        });
    if spawned.is_err() {
        counter.fetch_sub(1, Ordering::Relaxed);
    }
}

/// The keeper's end of the program's queue.
struct Outbox {
    events: SyncSender<LineEvent>,
    /// Notices that found no room yet: never dropped, but never more than a few.
    notices: VecDeque<Notice>,
    /// Samples dropped since the last overrun notice.
    lost: u64,
    /// Whether the last chunk was dropped.
    missing: bool,
    /// When the last overrun notice was given.
    told: Option<Instant>,
}

impl Outbox {
    const NOTICES_AT_MOST: usize = 16;
    const BETWEEN_OVERRUNS: Duration = Duration::from_secs(2);

    fn tell(&mut self, notice: Notice) {
        if self.notices.len() == Self::NOTICES_AT_MOST {
            self.notices.pop_front();
        }
        self.notices.push_back(notice);
    }

    /// Sound was lost before it came here: told at most every two seconds.
    fn gap(&mut self) {
        let due = self
            .told
            .is_none_or(|told| told.elapsed() > Self::BETWEEN_OVERRUNS);
        if due {
            self.told = Some(Instant::now());
            self.tell(Notice::Gap);
        }
    }

    fn sound(&mut self, chunk: Vec<f32>, shared: &Shared) {
        self.flush(shared);
        let samples = chunk.len() as u64;
        let sent = self.notices.is_empty() && self.send(LineEvent::Sound(chunk), shared);
        if !sent {
            if !self.missing {
                shared.overruns.fetch_add(1, Ordering::Relaxed);
            }
            self.lost += samples;
        }
        self.missing = !sent;
    }

    fn flush(&mut self, shared: &Shared) {
        while let Some(notice) = self.notices.front().cloned() {
            if !self.send(LineEvent::Notice(notice), shared) {
                return;
            }
            self.notices.pop_front();
        }
        let due = self
            .told
            .is_none_or(|told| told.elapsed() > Self::BETWEEN_OVERRUNS);
        if self.lost > 0 && due {
            let lost = Duration::from_millis(self.lost * 1000 / u64::from(SAMPLE_RATE));
            if self.send(LineEvent::Notice(Notice::Overrun { lost }), shared) {
                self.lost = 0;
                self.told = Some(Instant::now());
            }
        }
    }

    fn send(&self, event: LineEvent, shared: &Shared) -> bool {
        match self.events.try_send(event) {
            Ok(()) => true,
            Err(TrySendError::Full(_)) => false,
            Err(TrySendError::Disconnected(_)) => {
                shared.closing.store(true, Ordering::Relaxed);
                true
            }
        }
    }
}

/// An open device: its stream, the blocks that come from it, and how it fares.
struct Capture {
    device: String,
    blocks: Receiver<Vec<f32>>,
    line: Arc<Line>,
    resampler: Resampler,
    _stream: Stream,
}

/// What keeps the device delivering.
enum Stream {
    #[cfg(target_os = "linux")]
    Paced {
        _reader: super::paced::Paced,
    },
    CalledBack {
        _stream: cpal::Stream,
    },
}

/// What the sound system's thread and the keeper share.
#[derive(Debug)]
struct Line {
    /// Samples a second that the device delivers.
    rate: u32,
    /// When it began to.
    opened: Instant,
    /// Samples in the queue of blocks.
    waiting: AtomicUsize,
    overruns: AtomicU64,
    /// Samples dropped because the queue was full.
    lost: AtomicU64,
    fault: std::sync::Mutex<Option<String>>,
}

impl Line {
    fn fault(&self) -> Option<String> {
        self.fault.lock().ok().and_then(|mut fault| fault.take())
    }

    /// Called by the sound system for every block of samples.
    fn take(&self, mono: Vec<f32>, blocks: &SyncSender<Vec<f32>>) {
        let samples = mono.len();
        let most = self.rate as usize * WAITING_SECONDS;
        let room = self.waiting.load(Ordering::Relaxed) + samples <= most;
        // Counted before it is sent, since the keeper may take it at once.
        self.waiting.fetch_add(samples, Ordering::Relaxed);
        if !(room && blocks.try_send(mono).is_ok()) {
            self.waiting.fetch_sub(samples, Ordering::Relaxed);
            self.overruns.fetch_add(1, Ordering::Relaxed);
            self.lost.fetch_add(samples as u64, Ordering::Relaxed);
        }
    }

    fn fail(&self, reason: String) {
        if let Ok(mut fault) = self.fault.lock() {
            fault.get_or_insert(reason);
        }
    }

    /// Called by the sound system when something is wrong. Some back ends call it over and over
    /// without a pause, which would keep a core busy.
    fn complain(&self, error: &cpal::Error) {
        match error.kind() {
            ErrorKind::RealtimeDenied | ErrorKind::DeviceChanged => return,
            ErrorKind::Xrun => {
                self.overruns.fetch_add(1, Ordering::Relaxed);
            }
            _ => {
                self.fail(error.to_string());
            }
        }
        thread::sleep(Duration::from_millis(2));
    }
}

/// The mean of all channels.
fn mono(data: &Data, channels: usize) -> Vec<f32> {
    match data.sample_format() {
        SampleFormat::I8 => mean::<i8>(data, channels),
        SampleFormat::I16 => mean::<i16>(data, channels),
        SampleFormat::I24 => mean::<I24>(data, channels),
        SampleFormat::I32 => mean::<i32>(data, channels),
        SampleFormat::I64 => mean::<i64>(data, channels),
        SampleFormat::U8 => mean::<u8>(data, channels),
        SampleFormat::U16 => mean::<u16>(data, channels),
        SampleFormat::U24 => mean::<U24>(data, channels),
        SampleFormat::U32 => mean::<u32>(data, channels),
        SampleFormat::U64 => mean::<u64>(data, channels),
        SampleFormat::F32 => mean::<f32>(data, channels),
        SampleFormat::F64 => mean::<f64>(data, channels),
        _ => Vec::new(),
    }
}

fn mean<T>(data: &Data, channels: usize) -> Vec<f32>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    mean_of(data.as_slice::<T>().unwrap_or(&[]), channels)
}

/// The mean of all channels of interleaved samples.
pub(super) fn mean_of<T>(samples: &[T], channels: usize) -> Vec<f32>
where
    T: Copy,
    f32: FromSample<T>,
{
    samples
        .chunks_exact(channels.max(1))
        .map(|frame| {
            let sum: f32 = frame.iter().map(|&sample| f32::from_sample_(sample)).sum();
            let mean = sum / frame.len() as f32;
            if mean.is_finite() {
                mean.clamp(-1.0, 1.0)
            } else {
                0.0
            }
        })
        .collect()
}

/// Higher is better; `None` for bit streams, which are not samples.
fn preference(format: SampleFormat) -> Option<u8> {
    Some(match format {
        SampleFormat::F32 => 8,
        SampleFormat::I32 => 7,
        SampleFormat::I24 => 6,
        SampleFormat::I16 => 5,
        SampleFormat::F64 | SampleFormat::I64 => 4,
        SampleFormat::U32 | SampleFormat::U64 | SampleFormat::U24 => 3,
        SampleFormat::U16 => 2,
        SampleFormat::I8 | SampleFormat::U8 => 1,
        _ => return None,
    })
}

/// Rates tried in this order: the ones devices run at, so that the device does not resample with
/// what may be a worse resampler than ours, then whatever is nearest above 16 kHz.
const RATES: [u32; 6] = [48_000, 44_100, 32_000, 16_000, 96_000, 192_000];

fn choose(ranges: &[SupportedStreamConfigRange]) -> Option<(StreamConfig, SampleFormat)> {
    let rate_in = |range: &SupportedStreamConfigRange| {
        let (low, high) = (range.min_sample_rate(), range.max_sample_rate());
        RATES
            .iter()
            .position(|rate| (low..=high).contains(rate))
            .map_or_else(
                || {
                    (
                        RATES.len(),
                        if high < SAMPLE_RATE {
                            high
                        } else {
                            low.max(SAMPLE_RATE)
                        },
                    )
                },
                |at| (at, RATES.get(at).copied().unwrap_or(low)),
            )
    };
    let (range, format) = ranges
        .iter()
        .filter_map(|range| Some((range, preference(range.sample_format())?)))
        .max_by_key(|(range, preference)| {
            let (order, rate) = rate_in(range);
            (
                std::cmp::Reverse(order),
                rate >= SAMPLE_RATE,
                std::cmp::Reverse(range.channels()),
                *preference,
            )
        })
        .map(|(range, _)| (range, range.sample_format()))?;
    let (_, rate) = rate_in(range);
    // 40 ms at a time: short beside the pause that ends an utterance, long enough that a busy
    // small machine does not miss its turn.
    let buffer_size = match range.buffer_size() {
        SupportedBufferSize::Range { min, max } if min <= max => {
            BufferSize::Fixed((rate / 25).clamp(*min, *max))
        }
        _ => BufferSize::Default,
    };
    let config = StreamConfig {
        channels: range.channels(),
        sample_rate: rate,
        buffer_size,
    };
    Some((config, format))
}

impl Capture {
    fn open(wanted: Option<&str>) -> Result<Self, MicrophoneError> {
        let (device, name) = pick(wanted)?;
        let unusable = |error: cpal::Error| explain(&error, &name, wanted.is_none());
        let ranges: Vec<_> = device
            .supported_input_configs()
            .map_err(unusable)?
            .collect();
        let Some((config, format)) = choose(&ranges) else {
            return Err(MicrophoneError::Unusable {
                device: name,
                reason: "it offers no format of samples that we know".to_owned(),
            });
        };
        let resampler =
            Resampler::new(config.sample_rate).map_err(|reason| MicrophoneError::Unusable {
                device: name.clone(),
                reason,
            })?;
        let line = Arc::new(Line {
            rate: config.sample_rate,
            opened: Instant::now(),
            waiting: AtomicUsize::new(0),
            overruns: AtomicU64::new(0),
            lost: AtomicU64::new(0),
            fault: std::sync::Mutex::new(None),
        });
        let start = |config: StreamConfig| {
            let (sender, blocks) = sync_channel(1024);
            let (taking, complaining) = (Arc::clone(&line), Arc::clone(&line));
            let channels = usize::from(config.channels);
            device
                .build_input_stream_raw(
                    config,
                    format,
                    move |data, _| taking.take(mono(data, channels), &sender),
                    move |error| complaining.complain(&error),
                    Some(Duration::from_millis(500)),
                )
                .and_then(|stream| stream.play().map(|()| (stream, blocks)))
        };
        let relaxed = StreamConfig {
            buffer_size: BufferSize::Default,
            ..config
        };
        #[cfg(target_os = "linux")]
        let paced = paced(&name, config, format, &line);
        #[cfg(not(target_os = "linux"))]
        let paced: Option<(Stream, Receiver<Vec<f32>>)> = None;
        let (stream, blocks) = match paced {
            Some(paced) => paced,
            None => start(config)
                .or_else(|_| start(relaxed))
                .map(|(stream, blocks)| (Stream::CalledBack { _stream: stream }, blocks))
                .map_err(unusable)?,
        };
        Ok(Self {
            device: name,
            blocks,
            line,
            resampler,
            _stream: stream,
        })
    }
}

/// Reads the device at a steady pace; nothing when that can't be done with it.
#[cfg(target_os = "linux")]
fn paced(
    name: &str,
    config: StreamConfig,
    format: SampleFormat,
    line: &Arc<Line>,
) -> Option<(Stream, Receiver<Vec<f32>>)> {
    use super::paced::{Delivered, Paced};
    let (sender, blocks) = sync_channel(1024);
    let line = Arc::clone(line);
    let take = move |came| match came {
        Delivered::Sound(mono) => line.take(mono, &sender),
        Delivered::Overrun => {
            line.overruns.fetch_add(1, Ordering::Relaxed);
        }
        Delivered::Fault(reason) => line.fail(reason),
    };
    let reader = Paced::open(name, config.sample_rate, config.channels, format, take).ok()?;
    Some((Stream::Paced { _reader: reader }, blocks))
}

fn pick(wanted: Option<&str>) -> Result<(cpal::Device, String), MicrophoneError> {
    hush_sound_system();
    let Some(wanted) = wanted else {
        let device = cpal::default_host()
            .default_input_device()
            .ok_or(MicrophoneError::None)?;
        let name = device
            .id()
            .map_or_else(|_| "default".to_owned(), |id| id.id().to_owned());
        return Ok((device, name));
    };
    let mut all = found(true)?;
    let shown: Vec<String> = devices(false)?
        .into_iter()
        .map(|found| found.name)
        .collect();
    let lower = wanted.to_lowercase();
    let holds = |found: &FoundDevice| {
        found.name.to_lowercase().contains(&lower)
            || found.description.to_lowercase().contains(&lower)
    };
    let exact = all.iter().position(|(found, _)| found.name == wanted);
    let at = match exact {
        Some(at) => at,
        None => {
            let holding: Vec<usize> = all
                .iter()
                .enumerate()
                .filter(|(_, (found, _))| shown.contains(&found.name) && holds(found))
                .map(|(at, _)| at)
                .collect();
            match holding.as_slice() {
                [] => {
                    return Err(MicrophoneError::NotFound {
                        wanted: wanted.to_owned(),
                        names: shown,
                    });
                }
                [at] => *at,
                several => {
                    let names = several
                        .iter()
                        .filter_map(|&at| all.get(at).map(|(found, _)| found.name.clone()))
                        .collect();
                    return Err(MicrophoneError::Ambiguous {
                        wanted: wanted.to_owned(),
                        names,
                    });
                }
            }
        }
    };
    let (found, device) = all.swap_remove(at);
    Ok((device, found.name))
}

/// Keeps what ALSA would write over the terminal, in words for programmers, off it. What went
/// wrong comes back as errors all the same.
pub(crate) fn hush_sound_system() {
    // Kept by the thread; each call starts an empty record.
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
}

fn explain(error: &cpal::Error, device: &str, default: bool) -> MicrophoneError {
    let device = device.to_owned();
    match error.kind() {
        ErrorKind::PermissionDenied => MicrophoneError::Permission { device },
        ErrorKind::DeviceBusy => MicrophoneError::Busy { device },
        // Without permission ALSA sees no card at all and says that there is no device.
        ErrorKind::DeviceNotAvailable if cards_are_barred() => {
            MicrophoneError::Permission { device }
        }
        ErrorKind::DeviceNotAvailable if default => MicrophoneError::None,
        ErrorKind::HostUnavailable => MicrophoneError::NoSoundSystem {
            reason: error.to_string(),
        },
        _ => MicrophoneError::Unusable {
            device,
            reason: error.to_string(),
        },
    }
}

/// Whether the machine has sound cards that this person may not open (Linux).
fn cards_are_barred() -> bool {
    let Ok(entries) = std::fs::read_dir("/dev/snd") else {
        return false;
    };
    let mut cards = entries
        .flatten()
        .filter(|entry| entry.file_name().to_string_lossy().starts_with("controlC"))
        .peekable();
    cards.peek().is_some()
        && cards.all(|card| {
            std::fs::File::open(card.path())
                .is_err_and(|error| error.kind() == std::io::ErrorKind::PermissionDenied)
        })
}
