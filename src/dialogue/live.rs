//! A person at the microphone: what they say, cut into utterances, without the program's own
//! voice.

use super::barge_in::BargeInGate;
use super::source::{Input, InputSource};
use crate::audio::microphone::{Event, Level, Microphone, Notice};
use crate::audio::{EndpointConfig, SAMPLE_RATE, Segmenter};
use crate::voice::Voice;
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// How often the session is given a turn although nothing was said.
const IDLE: Duration = Duration::from_millis(500);

/// A live microphone as a session's source.
pub struct Live {
    microphone: Microphone,
    gate: BargeInGate,
    cutting: EndpointConfig,
    segmenter: Segmenter,
    /// Samples given to segmenters before the present one.
    before: u64,
    given: u64,
    ready: VecDeque<Input>,
    /// When somebody, or something, cut a prompt short, until it is known that it was speech.
    cut: Option<Instant>,
    arrived: Option<Arrived>,
}

/// Sound against the clock.
struct Arrived {
    /// The first sound that counts: not what waited while the program was starting.
    first: Instant,
    last: Instant,
    /// Samples after the first sound.
    samples: u64,
    settled: bool,
}

/// After this long all that waited at the beginning has been taken.
const SETTLED: Duration = Duration::from_secs(3);

/// After this long without speech, what cut a prompt short was only noise.
const ONLY_NOISE: Duration = Duration::from_secs(3);

impl Live {
    /// Opens the microphone called `device`, or the default one.
    ///
    /// # Errors
    /// When there is none; the message says what to do.
    pub fn open(device: Option<&str>) -> anyhow::Result<Self> {
        Self::open_cut_by(device, EndpointConfig::default())
    }

    /// The same, cut in another way than usual.
    ///
    /// # Errors
    /// As [`Live::open`].
    pub fn open_cut_by(device: Option<&str>, cutting: EndpointConfig) -> anyhow::Result<Self> {
        Ok(Self {
            microphone: Microphone::open(device)?,
            gate: BargeInGate::default(),
            cutting,
            segmenter: Segmenter::new(cutting),
            before: 0,
            given: 0,
            ready: VecDeque::new(),
            cut: None,
            arrived: None,
        })
    }

    /// How loud it is, for a meter.
    pub fn level(&self) -> Level {
        self.microphone.level()
    }

    fn hear(&mut self, chunk: &[f32], voice: &mut dyn Voice) {
        let passed = self.gate.pass(chunk, voice.speaking());
        if passed.barge_in {
            voice.cut_short();
            self.cut = Some(Instant::now());
        }
        self.given += passed.samples.len() as u64;
        for mut utterance in self.segmenter.push(&passed.samples) {
            utterance.start += self.before;
            utterance.speech_end += self.before;
            let end = utterance.start + utterance.samples.len() as u64;
            self.cut = None;
            self.ready
                .push_back(if self.gate.overlaps_prompt(utterance.start, end) {
                    Input::OverlapsPrompt(utterance)
                } else {
                    Input::Sound(utterance)
                });
        }
    }

    fn account_for(&mut self, chunk: &[f32]) {
        let now = Instant::now();
        let arrived = self.arrived.get_or_insert(Arrived {
            first: now,
            last: now,
            samples: 0,
            settled: false,
        });
        arrived.last = now;
        if !arrived.settled && now - arrived.first >= SETTLED {
            arrived.settled = true;
            arrived.first = now;
            arrived.samples = 0;
        } else if arrived.first != now {
            arrived.samples += chunk.len() as u64;
        }
    }

    /// What somebody who pauses has said so far, unless it is mixed with the program's own voice.
    fn partial(&mut self) {
        if let Some(mut utterance) = self.segmenter.partial() {
            utterance.start += self.before;
            utterance.speech_end += self.before;
            let end = utterance.start + utterance.samples.len() as u64;
            if !self.gate.overlaps_prompt(utterance.start, end) {
                self.ready.push_back(Input::Partial(utterance));
            }
        }
    }

    fn notice(&mut self, notice: &Notice) {
        // Words that the loss cut off must not be joined to what comes after it.
        if let Notice::Lost { .. } | Notice::Overrun { .. } | Notice::Gap = notice {
            self.segmenter = Segmenter::new(self.cutting);
            self.before = self.given;
        }
        self.ready.push_back(Input::Notice(notice.to_string()));
    }
}

impl InputSource for Live {
    fn next(&mut self, voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        let begun = Instant::now();
        loop {
            if let Some(input) = self.ready.pop_front() {
                return Ok(Some(input));
            }
            self.ready
                .extend(voice.notices().into_iter().map(Input::Notice));
            if self.cut.is_some_and(|cut| cut.elapsed() > ONLY_NOISE) && !self.segmenter.speaking()
            {
                self.cut = None;
                self.ready.push_back(Input::Notice(
                    "A noise cut me short. Say \"say again\" to hear it.".to_owned(),
                ));
            }
            if begun.elapsed() >= IDLE && self.ready.is_empty() {
                return Ok(Some(Input::Idle(begun.elapsed())));
            }
            match self.microphone.next(Duration::from_millis(100)) {
                Some(Event::Sound(chunk)) => {
                    self.account_for(&chunk);
                    self.hear(&chunk, voice);
                    self.partial();
                    voice.level(self.level().mean);
                }
                Some(Event::Notice(notice)) => self.notice(&notice),
                None => {}
            }
        }
    }

    fn set_end_pause(&mut self, pause: Duration) {
        // Whoever pauses longer than most also does so where most would have ended.
        let longer = (self.cutting.pause - EndpointConfig::default().pause).max(0.0);
        let longer = if pause.is_zero() { 0.0 } else { longer };
        self.segmenter.set_end_pause(pause.as_secs_f64() + longer);
    }

    /// Sound against the clock: less of it is what was lost, more of it is a device whose
    /// clock runs fast.
    fn account(&self) -> Option<String> {
        let arrived = self.arrived.as_ref()?;
        let opening = match self.microphone.overruns_while_opening() {
            0 => String::new(),
            times => format!(", besides {times} while it was being opened"),
        };
        let last = match self.microphone.last_overrun() {
            None => String::new(),
            Some(at) => format!(", the last {:.1} s after the beginning", at.as_secs_f64()),
        };
        Some(format!(
            "The microphone gave {:.2} s of sound in {:.2} s, with {} overruns{last}{opening}.",
            arrived.samples as f64 / f64::from(SAMPLE_RATE),
            (arrived.last - arrived.first).as_secs_f64(),
            self.microphone.overruns()
        ))
    }
}
