//! A person at the microphone: what they say, cut into utterances, without the program's own
//! voice.

use super::barge_in::BargeInGate;
use super::source::{Input, InputSource};
use crate::audio::line::{LineEvent, Loudness, Notice, SoundLine};
#[cfg(feature = "microphone")]
use crate::audio::microphone::Microphone;
use crate::audio::{EndpointConfig, SAMPLE_RATE, Segmenter, Utterance};
use crate::sequence::say::CUT_BY_A_NOISE;
use crate::voice::Voice;
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// How often the session is given a turn although nothing was said.
const IDLE: Duration = Duration::from_millis(500);

/// A live microphone, here or elsewhere, as a session's source.
pub struct Live {
    line: Box<dyn SoundLine>,
    gate: BargeInGate,
    cutting: EndpointConfig,
    segmenter: Segmenter,
    /// Samples given to segmenters before the present one.
    before: u64,
    /// Whether the present one begins where sound was lost.
    after_loss: bool,
    /// What was told last, and when.
    told: Option<(Notice, Instant)>,
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

/// What happens again and again is told once in this time.
const AGAIN: Duration = Duration::from_secs(10);

/// After this long without speech, what cut a prompt short was only noise.
const ONLY_NOISE: Duration = Duration::from_secs(3);

impl Live {
    /// Opens the microphone called `device`, or the default one.
    ///
    /// # Errors
    /// When there is none; the message says what to do.
    #[cfg(feature = "microphone")]
    pub fn open(device: Option<&str>) -> anyhow::Result<Self> {
        Self::open_cut_by(device, EndpointConfig::default())
    }

    /// The same, cut in another way than usual.
    ///
    /// # Errors
    /// As [`Live::open`].
    #[cfg(feature = "microphone")]
    pub fn open_cut_by(device: Option<&str>, cutting: EndpointConfig) -> anyhow::Result<Self> {
        Ok(Self::on(Box::new(Microphone::open(device)?), cutting))
    }

    /// Whoever speaks at the other end of this line.
    pub fn on(line: Box<dyn SoundLine>, cutting: EndpointConfig) -> Self {
        Self {
            line,
            gate: BargeInGate::default(),
            cutting,
            segmenter: Segmenter::new(cutting),
            before: 0,
            after_loss: false,
            told: None,
            given: 0,
            ready: VecDeque::new(),
            cut: None,
            arrived: None,
        }
    }

    /// How loud it is, for a meter.
    pub fn level(&self) -> Loudness {
        self.line.level()
    }

    fn hear(&mut self, chunk: &[f32], voice: &mut dyn Voice) {
        let spoke = self
            .line
            .program_spoke()
            .unwrap_or_else(|| voice.speaking());
        let passed = self.gate.pass(chunk, spoke);
        if passed.barge_in {
            voice.cut_short();
            self.cut = Some(Instant::now());
        }
        self.given += passed.samples.len() as u64;
        for utterance in self.segmenter.push(&passed.samples) {
            self.ended(utterance);
        }
    }

    fn ended(&mut self, mut utterance: Utterance) {
        if self.is_spoilt(&utterance) {
            return;
        }
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
        if let Some(mut utterance) = self.segmenter.partial()
            && !self.is_spoilt(&utterance)
        {
            utterance.start += self.before;
            utterance.speech_end += self.before;
            let end = utterance.start + utterance.samples.len() as u64;
            if !self.gate.overlaps_prompt(utterance.start, end) {
                self.ready.push_back(Input::Partial(utterance));
            }
        }
    }

    /// Whether an utterance of the present segmenter may be the rest of one whose beginning was lost:
    /// "over" may be missing before "nine nine nine". It was said that it has to come again.
    fn is_spoilt(&self, utterance: &Utterance) -> bool {
        let at = utterance.start as f64 / f64::from(SAMPLE_RATE);
        self.after_loss && at < self.cutting.pause
    }

    fn notice(&mut self, notice: &Notice) {
        // Words that the loss cut off must not be joined to what comes after it.
        if notice.spoils() {
            self.segmenter = Segmenter::new(self.cutting);
            self.before = self.given;
            self.after_loss = true;
        }
        let told = |(last, at): &(Notice, Instant)| last == notice && at.elapsed() < AGAIN;
        if !self.told.as_ref().is_some_and(told) {
            self.told = Some((notice.clone(), Instant::now()));
            self.ready.push_back(Input::Notice(notice.to_string()));
        }
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
                let told = CUT_BY_A_NOISE.to_owned();
                self.ready.push_back(Input::Notice(told));
            }
            if begun.elapsed() >= IDLE && self.ready.is_empty() {
                return Ok(Some(Input::Idle(begun.elapsed())));
            }
            match self.line.next(Duration::from_millis(100)) {
                Some(LineEvent::Sound(chunk)) => {
                    self.account_for(&chunk);
                    self.hear(&chunk, voice);
                    self.partial();
                    voice.level(self.level().mean);
                }
                Some(LineEvent::Notice(notice)) => self.notice(&notice),
                None => {}
            }
        }
    }

    fn set_end_pause(&mut self, pause: Duration) {
        // Whoever pauses longer than most also does so where most would have ended.
        let longer = (self.cutting.pause - EndpointConfig::default().pause).max(0.0);
        let longer = if pause.is_zero() { 0.0 } else { longer };
        let pause = pause.as_secs_f64() + longer;
        if let Some(utterance) = self.segmenter.set_end_pause(pause) {
            self.ended(utterance);
        }
    }

    /// Sound against the clock: less of it is what was lost, more of it is a device whose
    /// clock runs fast.
    fn account(&self) -> Option<String> {
        let arrived = self.arrived.as_ref()?;
        Some(format!(
            "The microphone gave {:.2} s of sound in {:.2} s, with {}.",
            arrived.samples as f64 / f64::from(SAMPLE_RATE),
            (arrived.last - arrived.first).as_secs_f64(),
            self.line.missed()
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::read;
    use crate::voice::Silent;
    use std::cell::Cell;
    use std::path::Path;
    use std::rc::Rc;

    /// Gives what it holds, one thing after another, and then silence, which it counts.
    struct Tape(VecDeque<LineEvent>, Rc<Cell<u32>>);

    impl SoundLine for Tape {
        fn next(&mut self, _limit: Duration) -> Option<LineEvent> {
            Some(self.0.pop_front().unwrap_or_else(|| {
                self.1.set(self.1.get() + 1);
                LineEvent::Sound(vec![1e-4; 320])
            }))
        }

        fn level(&self) -> Loudness {
            Loudness::of(&[])
        }

        fn missed(&self) -> String {
            "nothing missed".to_owned()
        }
    }

    /// Stretches of speech and notices that come of a recording in which this is told half-way.
    fn heard(lost: Option<Notice>) -> (usize, Vec<String>) {
        let sound = read(Path::new("demo/recordings/02-proved.flac")).unwrap();
        let (before, after) = sound.split_at(sound.len() / 2);
        let pieces = |part: &[f32]| -> Vec<LineEvent> {
            part.chunks(320)
                .map(|piece| LineEvent::Sound(piece.to_vec()))
                .collect()
        };
        let tape = pieces(before)
            .into_iter()
            .chain(lost.map(LineEvent::Notice))
            .chain(pieces(after))
            .collect();
        let silent = Rc::new(Cell::new(0));
        let tape = Tape(tape, Rc::clone(&silent));
        let mut live = Live::on(Box::new(tape), EndpointConfig::default());
        let (mut utterances, mut notices) = (0, Vec::new());
        // Two seconds of it: longer than any pause.
        while silent.get() < 100 {
            match live.next(&mut Silent).unwrap().unwrap() {
                Input::Sound(_) => utterances += 1,
                Input::Notice(text) => notices.push(text),
                _ => {}
            }
        }
        (utterances, notices)
    }

    #[test]
    fn what_lost_some_of_its_sound_is_asked_for_again_and_neither_half_is_taken() {
        assert_eq!(heard(None), (1, vec![]));
        for lost in [
            Notice::LostOnTheWay,
            Notice::Gap,
            Notice::Hidden {
                away: Duration::from_secs(3),
            },
        ] {
            let told = lost.to_string();
            assert!(told.contains("again"), "{told}");
            assert_eq!(heard(Some(lost)), (0, vec![told]));
        }
    }

    #[test]
    fn what_happens_again_and_again_is_told_once() {
        let lost = || LineEvent::Notice(Notice::LostOnTheWay);
        let tape = Tape([lost(), lost(), lost()].into(), Rc::default());
        let mut live = Live::on(Box::new(tape), EndpointConfig::default());
        let mut told = 0;
        while live.given < 3200 {
            if let Input::Notice(_) = live.next(&mut Silent).unwrap().unwrap() {
                told += 1;
            }
        }
        assert_eq!(told, 1);
    }

    #[test]
    fn what_loses_nothing_spoils_nothing() {
        let back = Notice::ReachedAgain {
            away: Duration::from_secs(3),
        };
        assert_eq!(heard(Some(back)).0, 1);
    }
}
