use super::fallback::Failing;
use super::spoken::{longest, pieces};
use super::tones::Notes;
use super::{Earcon, Profile, Rate, Saying, Tone, Voice};
use crate::terms::{ProsodyChange, ProsodyNow};
use anyhow::{Context, anyhow, bail, ensure};
use std::collections::VecDeque;
use std::ops::Range;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};
use tts::{Tts, UtteranceId};

/// Lines that may wait to be said.
const QUEUE: usize = 32;
/// Within this the service must begin a line it was given.
const BEGIN: Duration = Duration::from_secs(8);
/// How far an instrument's pitch is above the normal one, of what there is.
const FOR_INSTRUMENT: f32 = 0.7;
/// Within this it must answer anything else.
const MOMENTS: Duration = Duration::from_secs(2);

/// The machine's speech service (speech-dispatcher on Linux).
///
/// A thread of its own talks to the service, and nobody waits for that thread: a service that
/// hangs, or that stays "speaking" for ever because there is no loudspeaker, is given up when a
/// line has taken several times longer than its words need. From then on [`Voice::say`] fails,
/// and [`Failing::unsaid`] tells what had been accepted but was not heard to its end.
pub struct System {
    shared: Arc<Shared>,
}

struct Shared {
    state: Mutex<State>,
    changed: Condvar,
}

struct State {
    waiting: VecDeque<Job>,
    current: Option<Current>,
    /// Utterances that the service has begun and ended, since the current one was handed to it.
    begun: Vec<UtteranceId>,
    ended: Vec<UtteranceId>,
    quiet_since: Option<Instant>,
    profile: Profile,
    failed: Option<String>,
    unsaid: Vec<(Tone, String)>,
    /// Lines that somebody spoke over.
    cut_off: Vec<String>,
    closing: bool,
}

enum Job {
    Say(Tone, String, Vec<Range<usize>>),
    Earcon(Earcon),
}

struct Current {
    line: Option<(Tone, String)>,
    stop: bool,
    /// When the service is given up.
    deadline: Instant,
}

impl System {
    /// Starts the speech service, waiting at most `limit` for it.
    ///
    /// # Errors
    /// When it does not answer, has no such voice, or refuses the profile.
    pub fn open(profile: Profile, limit: Duration) -> anyhow::Result<Self> {
        let shared = Arc::new(Shared {
            state: Mutex::new(State {
                waiting: VecDeque::new(),
                current: None,
                begun: Vec::new(),
                ended: Vec::new(),
                quiet_since: None,
                profile: profile.clone(),
                failed: None,
                unsaid: Vec::new(),
                cut_off: Vec::new(),
                closing: false,
            }),
            changed: Condvar::new(),
        });
        let (ready, opened) = std::sync::mpsc::sync_channel(1);
        let for_worker = Arc::clone(&shared);
        thread::Builder::new()
            .name("voice".to_owned())
            .spawn(move || {
                let ended = Ended(Arc::clone(&for_worker));
                match Worker::start(for_worker, &profile) {
                    Ok(worker) => {
                        let _ = ready.send(Ok(()));
                        worker.work();
                    }
                    Err(error) => {
                        let _ = ready.send(Err(error));
                    }
                }
                drop(ended);
            })
            .context("the thread for the voice could not be started")?;
        match opened.recv_timeout(limit) {
            Ok(Ok(())) => Ok(Self { shared }),
            Ok(Err(error)) => Err(error),
            Err(_) => {
                shared.lock().closing = true;
                bail!(
                    "the speech service does not answer within {} seconds",
                    limit.as_secs()
                )
            }
        }
    }

    /// How it speaks now.
    pub fn profile(&self) -> Profile {
        self.shared.lock().profile.clone()
    }

    fn push(&mut self, job: Job) -> anyhow::Result<()> {
        let mut state = self.shared.lock();
        state.give_up_if_overdue();
        if let Some(reason) = &state.failed {
            return Err(anyhow!("the speech service has failed: {reason}"));
        }
        ensure!(
            state.waiting.len() < QUEUE,
            "too many lines wait to be said"
        );
        state.waiting.push_back(job);
        drop(state);
        self.shared.changed.notify_all();
        Ok(())
    }
}

impl Voice for System {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        self.push(Job::Say(
            line.tone,
            line.text.to_owned(),
            line.doubtful.to_vec(),
        ))
    }

    fn speaking(&self) -> bool {
        let mut state = self.shared.lock();
        state.give_up_if_overdue();
        let tail = Duration::from_millis(u64::from(state.profile.tail_ms));
        state.busy()
            || state
                .quiet_since
                .is_some_and(|since| since.elapsed() < tail)
    }

    fn stop(&mut self) {
        let mut state = self.shared.lock();
        state.waiting.clear();
        if let Some(current) = &mut state.current {
            current.stop = true;
        }
        drop(state);
        self.shared.changed.notify_all();
    }

    fn cut_short(&mut self) {
        let must_be_heard = |tone: Tone| matches!(tone, Tone::Warning | Tone::Reminder);
        let mut guard = self.shared.lock();
        let state = &mut *guard;
        if let Some(current) = &mut state.current {
            let cut = current
                .line
                .as_ref()
                .is_none_or(|(tone, _)| !must_be_heard(*tone));
            if let Some((_, text)) = current.line.as_ref().filter(|_| cut && !current.stop) {
                state.cut_off.push(text.clone());
            }
            current.stop |= cut;
        }
        for job in std::mem::take(&mut state.waiting) {
            match job {
                Job::Say(tone, ..) if must_be_heard(tone) => state.waiting.push_back(job),
                Job::Say(_, text, _) => state.cut_off.push(text),
                Job::Earcon(_) => {}
            }
        }
        drop(guard);
        self.shared.changed.notify_all();
    }

    fn cut_off(&mut self) -> Vec<String> {
        std::mem::take(&mut self.shared.lock().cut_off)
    }

    fn mark(&mut self, mark: Earcon) {
        // A mark that cannot sound is no reason to stop: the next line will tell.
        let _ = self.push(Job::Earcon(mark));
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
        Some(self.shared.lock().profile.adjust(manner))
    }
}

impl Failing for System {
    fn failed(&self) -> Option<String> {
        let mut state = self.shared.lock();
        state.give_up_if_overdue();
        state.failed.clone()
    }

    fn unsaid(&mut self) -> Vec<(Tone, String)> {
        std::mem::take(&mut self.shared.lock().unsaid)
    }
}

impl Drop for System {
    fn drop(&mut self) {
        self.stop();
        self.shared.lock().closing = true;
        self.shared.changed.notify_all();
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl State {
    fn busy(&self) -> bool {
        self.failed.is_none() && (self.current.is_some() || !self.waiting.is_empty())
    }

    fn give_up_if_overdue(&mut self) {
        let overdue = self
            .current
            .as_ref()
            .is_some_and(|current| Instant::now() > current.deadline);
        if overdue {
            self.give_up("it did not finish a line; is there a loudspeaker?".to_owned());
        }
    }

    fn give_up(&mut self, reason: String) {
        if self.failed.is_some() {
            return;
        }
        self.failed = Some(reason);
        if let Some(Current {
            line: Some(line),
            stop: false,
            ..
        }) = self.current.take()
        {
            self.unsaid.push(line);
        }
        for job in self.waiting.drain(..) {
            if let Job::Say(tone, text, _) = job {
                self.unsaid.push((tone, text));
            }
        }
        self.quiet_since = Some(Instant::now());
    }
}

/// Marks the voice as failed when its thread ends, however it ends.
struct Ended(Arc<Shared>);

impl Drop for Ended {
    fn drop(&mut self) {
        let mut state = self.0.lock();
        if !state.closing {
            state.give_up("it stopped".to_owned());
        }
    }
}

/// Talks to the service.
struct Worker {
    shared: Arc<Shared>,
    /// Never dropped: the library's callbacks abort the program when the service still has
    /// something to tell a client that is gone. The service notices the end of the program.
    tts: std::mem::ManuallyDrop<Tts>,
    rate: Option<Rate>,
    volume: Option<f32>,
    /// How far above the normal pitch it speaks now, of what there is.
    above: f32,
    #[cfg(feature = "microphone")]
    player: super::tones::Player,
}

impl Worker {
    fn start(shared: Arc<Shared>, profile: &Profile) -> anyhow::Result<Self> {
        let tts = std::mem::ManuallyDrop::new(
            Tts::default().context("the speech service cannot be started")?,
        );
        let mut worker = Self {
            shared,
            tts,
            rate: None,
            volume: None,
            above: 0.0,
            #[cfg(feature = "microphone")]
            player: super::tones::Player::new(),
        };
        if let Some(name) = &profile.voice {
            worker.choose_voice(name)?;
        }
        let features = worker.tts.supported_features();
        ensure!(
            features.utterance_callbacks,
            "this speech service cannot tell when it has finished a line"
        );
        let shared = Arc::clone(&worker.shared);
        worker.tts.on_utterance_begin(Some(Box::new(move |id| {
            shared.lock().begun.push(id);
            shared.changed.notify_all();
        })))?;
        for stopped in [false, true] {
            let shared = Arc::clone(&worker.shared);
            let done: Box<dyn FnMut(UtteranceId)> = Box::new(move |id| {
                shared.lock().ended.push(id);
                shared.changed.notify_all();
            });
            if stopped {
                worker.tts.on_utterance_stop(Some(done))?;
            } else {
                worker.tts.on_utterance_end(Some(done))?;
            }
        }
        Ok(worker)
    }

    /// Slow: a service may list thousands of voices, and the library asks for the list twice.
    fn choose_voice(&mut self, wanted: &str) -> anyhow::Result<()> {
        let voices = self.tts.voices().unwrap_or_default();
        let lower = wanted.to_lowercase();
        let voice = voices
            .iter()
            .find(|voice| voice.name() == wanted)
            .or_else(|| {
                voices
                    .iter()
                    .find(|voice| voice.name().to_lowercase().contains(&lower))
            })
            .ok_or_else(|| {
                anyhow!(
                    "the speech service has no voice called `{wanted}`; {}",
                    some_of(&voices)
                )
            })?;
        self.tts.set_voice(voice).context("the voice cannot be set")
    }

    fn work(mut self) {
        while let Some(job) = self.next() {
            match job {
                Job::Say(tone, text, doubtful) => self.say(tone, &text, &doubtful),
                Job::Earcon(mark) => {
                    self.play(Notes::of(mark));
                }
            }
            let mut state = self.shared.lock();
            state.current = None;
            if state.waiting.is_empty() {
                state.quiet_since = Some(Instant::now());
            }
            if state.failed.is_some() {
                return;
            }
        }
    }

    /// Waits for the next job; none when the program is done with the voice.
    fn next(&mut self) -> Option<Job> {
        let mut state = self.shared.lock();
        loop {
            if state.closing {
                return None;
            }
            if let Some(job) = state.waiting.pop_front() {
                let line = match &job {
                    Job::Say(tone, text, _) => Some((*tone, text.clone())),
                    Job::Earcon(_) => None,
                };
                state.begun.clear();
                state.ended.clear();
                state.current = Some(Current {
                    line,
                    stop: false,
                    deadline: Instant::now() + BEGIN,
                });
                return Some(job);
            }
            state = self
                .shared
                .changed
                .wait(state)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn say(&mut self, tone: Tone, text: &str, doubtful: &[Range<usize>]) {
        let Profile { wording, rate, .. } = self.shared.lock().profile.clone();
        let mut warned = tone != Tone::Warning || self.play(Notes::WARNING);
        let line = Saying {
            tone,
            text,
            doubtful,
        };
        for piece in pieces(line, wording) {
            let rate = piece.rate(rate);
            let volume = piece.loudness(self.shared.lock().profile.volume);
            self.speak_with(tone == Tone::Instrument, piece.rise());
            let mut said = piece.words;
            if !std::mem::replace(&mut warned, true) {
                said.insert_str(0, "Warning. ");
            }
            if self.stopped() {
                return;
            }
            if let Err(error) = self.speak(&said, rate, volume) {
                self.shared.lock().give_up(format!("{error:#}"));
                return;
            }
        }
    }

    /// Another pitch tells an instrument's words from the program's own, and a rise of it what is in doubt.
    /// A service without it says them in its own voice.
    fn speak_with(&mut self, instrument: bool, rise: f32) {
        let voice = if instrument { FOR_INSTRUMENT } else { 0.0 };
        let above = (voice + rise).min(1.0);
        if self.above == above {
            return;
        }
        let normal = self.tts.normal_pitch();
        let pitch = normal + above * (self.tts.max_pitch() - normal);
        if self.tts.set_pitch(pitch).is_ok() {
            self.above = above;
        }
    }

    fn speak(&mut self, said: &str, rate: Rate, volume: f32) -> anyhow::Result<()> {
        if self.rate != Some(rate) {
            self.tts.set_rate(rate.get() as f32)?;
            self.rate = Some(rate);
        }
        if self.volume != Some(volume) {
            // The service counts from -100 to 100.
            self.tts.set_volume((volume * 2.0 - 100.0).min(100.0))?;
            self.volume = Some(volume);
        }
        // A sound server that died and came back leaves the service stuck in one line, which it
        // gets over when that line is cancelled: so each line is tried twice.
        let longest = longest(said, rate);
        for _ in 0..2 {
            self.extend(longest + MOMENTS);
            let id = self
                .tts
                .speak(said, false)?
                .context("it did not take a line")?;
            if self.finishes(id, longest)? {
                return Ok(());
            }
        }
        bail!("it did not finish a line; is there a loudspeaker?")
    }

    /// Waits until a line has been said or cut short. False when it takes longer than any voice
    /// does; it is then cancelled.
    fn finishes(&mut self, id: UtteranceId, longest: Duration) -> anyhow::Result<bool> {
        let handed = Instant::now();
        let mut told_to_stop = None;
        let mut state = self.shared.lock();
        loop {
            // Without a current line the voice has been given up meanwhile.
            let Some(current) = &state.current else {
                return Ok(true);
            };
            if state.ended.contains(&id) {
                return Ok(true);
            }
            match told_to_stop {
                None if current.stop => {
                    drop(state);
                    self.tts.stop()?;
                    told_to_stop = Some(Instant::now());
                    state = self.shared.lock();
                }
                // The end of a line cut short is told within moments, or not at all.
                Some(told) if Instant::now() > told + MOMENTS => return Ok(true),
                _ => {}
            }
            let unbegun = !state.begun.contains(&id) && handed.elapsed() > BEGIN;
            if told_to_stop.is_none() && (unbegun || handed.elapsed() > longest) {
                drop(state);
                self.tts.stop()?;
                return Ok(false);
            }
            state = self
                .shared
                .changed
                .wait_timeout(state, Duration::from_millis(100))
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }

    /// Allows the service this much longer before the voice is given up from outside, should this
    /// thread hang.
    fn extend(&self, patience: Duration) {
        if let Some(current) = &mut self.shared.lock().current {
            current.deadline = Instant::now() + patience;
        }
    }

    fn stopped(&self) -> bool {
        self.shared
            .lock()
            .current
            .as_ref()
            .is_none_or(|current| current.stop)
    }

    #[cfg(feature = "microphone")]
    fn play(&mut self, notes: Notes) -> bool {
        let volume = self.shared.lock().profile.volume.get() as f32 / 100.0;
        self.player.play(notes, volume)
    }

    #[cfg(not(feature = "microphone"))]
    fn play(&mut self, _notes: Notes) -> bool {
        false
    }
}

fn some_of(voices: &[tts::Voice]) -> String {
    let mut names: Vec<String> = voices
        .iter()
        .filter(|voice| voice.language().as_str().starts_with("en"))
        .map(tts::Voice::name)
        // Variants of one voice, of which there can be thousands.
        .filter(|name| !name.contains('+'))
        .collect();
    names.sort();
    names.dedup();
    if names.is_empty() {
        "it has no English voice at all: install one, such as espeak-ng's".to_owned()
    } else {
        format!("it has: {}", names.join(", "))
    }
}
