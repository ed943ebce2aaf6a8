use super::{SAMPLE_RATE, Utterance};
use std::collections::VecDeque;

/// How a stream is cut into utterances.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EndpointConfig {
    /// Seconds without speech that end an utterance. Long enough for the pause inside
    /// "two nine ... nine", short enough not to keep the person waiting.
    pub pause: f64,
    /// Seconds of room sound kept before the first and after the last speech.
    pub margin: f64,
    /// Seconds after which an utterance is cut although speech goes on: nothing that is meant for
    /// the program is longer.
    pub longest: f64,
}

impl Default for EndpointConfig {
    fn default() -> Self {
        Self {
            pause: 0.8,
            margin: 0.35,
            longest: 20.0,
        }
    }
}

/// Samples judged at once: 16 ms, as the voice detector wants them.
const FRAME: usize = 256;
/// The detector's score from which a frame is speech whatever its level. Steady noise, hum and
/// motors get 0.5 to 0.85 from it, voices mostly over 0.9.
const SURE: f32 = 0.85;
/// The score from which a frame is speech when it also stands out of the room's sound.
const LIKELY: f32 = 0.5;
/// How far out of the room's sound: a power ratio, 6 dB.
const STANDS_OUT: f32 = 4.0;
/// Of the last [`ONSET_SPAN`] frames, how many must be speech for an utterance to begin. A knock
/// is shorter; the shortest word ("eight", "dead") is several times longer.
const ONSET: u32 = 4;
const ONSET_SPAN: u32 = 8;

/// Whether a voice may be in `samples` at all, by the detector alone: tones, knocks and quiet noise
/// can be left alone before any word is looked for. The samples are brought to the usual level
/// before ([`levelled`]).
///
/// The detector never met a sound without a room: after digital silence, or without a moment before
/// the word, it may take a person for nothing. So it hears them with a faint floor of its own, and
/// room at both ends. Of 575 clips of people (digits and "yes", and strings of digits, in a telephone's
/// band) 14 were lost without, none since: `models/README.md`, "People".
pub fn has_voice(samples: &[f32]) -> bool {
    const VOICE: f32 = 0.6;
    const FRAMES: u32 = 4;
    const ROOM: usize = 25 * FRAME;
    let mut detector = earshot::Detector::default_boxed();
    let mut bed = Bed::default();
    let mut recent = 0u32;
    let room = || std::iter::repeat_n(0.0, ROOM);
    let sound: Vec<f32> = room()
        .chain(samples.iter().copied())
        .chain(room())
        .collect();
    sound.chunks_exact(FRAME).any(|frame| {
        let score = detector.predict_f32(&bed.under(frame, 1.0));
        recent = (recent << 1) | u32::from(score >= VOICE);
        last(recent).count_ones() >= FRAMES
    })
}

/// A faint floor of noise that only the detector hears: 50 dB below the usual level of a voice.
struct Bed(u32);

impl Default for Bed {
    fn default() -> Self {
        Self(0x2545_f491)
    }
}

impl Bed {
    const LEVEL: f32 = USUAL_LEVEL * 0.003_162;

    /// A frame raised by `gain`, with the floor under it.
    fn under(&mut self, frame: &[f32], gain: f32) -> Vec<f32> {
        let noise = |state: &mut u32| {
            // Marsaglia's xorshift: the same every time.
            *state ^= *state << 13;
            *state ^= *state >> 17;
            *state ^= *state << 5;
            // Evenly spread: its power is a third of the square of the greatest.
            Self::LEVEL * 3f32.sqrt() * (2.0 * (*state as f32 / u32::MAX as f32) - 1.0)
        };
        frame
            .iter()
            .map(|sample| (sample * gain + noise(&mut self.0)).clamp(-1.0, 1.0))
            .collect()
    }
}

/// The level that the detector and the acoustic model know from training: that of the louder
/// frames of a near voice, as RMS.
const USUAL_LEVEL: f32 = 0.15;
/// What is quieter by more than this is noise or silence, and not brought up further.
const MOST_GAIN: f32 = 100.0;

/// `samples` as loud as voices usually are, so that a quiet microphone is heard as well as any:
/// measured on its louder moments. Silence stays silence.
pub fn levelled(samples: &[f32]) -> Vec<f32> {
    let mut powers: Vec<f32> = samples.chunks(FRAME).map(power).collect();
    powers.sort_by(f32::total_cmp);
    let loud = powers.get(powers.len() * 19 / 20).copied().unwrap_or(0.0);
    let gain = match loud.sqrt() {
        level if level > 0.0 => (USUAL_LEVEL / level).min(MOST_GAIN),
        _ => 1.0,
    };
    samples.iter().map(|sample| sample * gain).collect()
}

/// How much the sound must be raised for the detector, from the loudest of the last seconds.
#[derive(Default)]
struct Gain {
    /// Power of the loudest frame, falling slowly.
    loudest: f32,
}

impl Gain {
    /// What is left of the loudest after each frame: 3 dB a second.
    const LEFT: f32 = 0.989;
    /// At most: a room without anybody in it is not turned into a voice.
    const MOST: f32 = 64.0;

    /// Takes the power of a frame; gives by how much to raise it.
    fn after(&mut self, power: f32) -> f32 {
        self.loudest = (self.loudest * Self::LEFT).max(power);
        (USUAL_LEVEL / self.loudest.sqrt().max(1e-6)).clamp(1.0, Self::MOST)
    }
}

/// The last [`ONSET_SPAN`] frames (newest in the lowest bit: one where there was speech).
fn last(recent: u32) -> u32 {
    recent & ((1 << ONSET_SPAN) - 1)
}

/// The room's sound: the least power, a little smoothed, of the last seconds.
#[derive(Default)]
struct Floor {
    smooth: f32,
    /// The least of each past block, newest last.
    past: VecDeque<f32>,
    least: f32,
    frames: u32,
}

impl Floor {
    /// Frames in a block, and blocks that are remembered: 0.26 s and 4 s.
    const BLOCK: u32 = 16;
    const BLOCKS: usize = 16;

    /// Takes the power of a frame; gives how far the sound now stands out of the room's, as a
    /// power ratio.
    fn stands_out(&mut self, power: f32) -> f32 {
        let power = power.max(1e-10);
        if self.frames == 0 && self.past.is_empty() {
            self.smooth = power;
            self.least = power;
        }
        self.smooth += 0.3 * (power - self.smooth);
        self.least = self.least.min(self.smooth);
        self.frames += 1;
        let floor = self.past.iter().copied().fold(self.least, f32::min);
        if self.frames == Self::BLOCK {
            self.past.push_back(self.least);
            if self.past.len() > Self::BLOCKS {
                self.past.pop_front();
            }
            self.least = self.smooth;
            self.frames = 0;
        }
        self.smooth / floor
    }
}

/// Cuts a stream of 16 kHz mono sound into utterances by voice activity: a small trained detector
/// (the `earshot` crate) helped by an energy gate whose floor follows the room.
///
/// Keeps at most [`EndpointConfig::longest`] and a little more, however long the stream.
pub struct Segmenter {
    cutting: EndpointConfig,
    detector: Box<earshot::Detector>,
    /// The sound from `kept_from` on that may still be needed.
    kept: VecDeque<f32>,
    kept_from: u64,
    /// Samples judged so far, a multiple of [`FRAME`] until the end.
    judged: u64,
    floor: Floor,
    gain: Gain,
    bed: Bed,
    /// The last frames, newest in the lowest bit: one where there was speech.
    recent: u32,
    /// First and last speech of the utterance under way, in samples.
    speech: Option<(u64, u64)>,
    /// Nothing before this sample belongs to a later utterance.
    given_to: u64,
    /// The end of the speech that was last given by [`Segmenter::partial`].
    told: Option<u64>,
    /// Seconds of quiet that end the present pause, when shorter than [`EndpointConfig::pause`].
    pause: Option<f64>,
}

impl Default for Segmenter {
    fn default() -> Self {
        Self::new(EndpointConfig::default())
    }
}

impl Segmenter {
    /// A segmenter at the start of a stream.
    pub fn new(cutting: EndpointConfig) -> Self {
        Self {
            cutting,
            detector: earshot::Detector::default_boxed(),
            kept: VecDeque::new(),
            kept_from: 0,
            judged: 0,
            floor: Floor::default(),
            gain: Gain::default(),
            bed: Bed::default(),
            recent: 0,
            speech: None,
            given_to: 0,
            told: None,
            pause: None,
        }
    }

    /// Takes the next samples and gives the utterances that have ended.
    pub fn push(&mut self, samples: &[f32]) -> Vec<Utterance> {
        let mut ended = Vec::new();
        for &sample in samples {
            // A sample that is not a number would poison the detector's memory for good.
            let clean = if sample.is_finite() { sample } else { 0.0 };
            self.kept.push_back(clean.clamp(-1.0, 1.0));
            if self.kept_from + self.kept.len() as u64 == self.judged + FRAME as u64 {
                ended.extend(self.judge());
            }
        }
        ended
    }

    /// Ends the stream and gives the utterance under way, if any.
    pub fn finish(&mut self) -> Option<Utterance> {
        let missing = self.judged + FRAME as u64 - self.kept_from - self.kept.len() as u64;
        let last = if missing < FRAME as u64 {
            let end = self.kept_from + self.kept.len() as u64;
            let judged = self.push(&vec![0.0; missing as usize]).pop();
            self.kept.truncate((end - self.kept_from.min(end)) as usize);
            judged
        } else {
            None
        };
        last.or_else(|| self.cut())
    }

    /// The utterance under way, once a pause is so long that nothing more belongs to it if it ends
    /// here; once a pause. What [`Segmenter::push`] gives when it does end here is the same to the
    /// sample.
    pub fn partial(&mut self) -> Option<Utterance> {
        let (_, last) = self.speech?;
        let quiet = self.judged.saturating_sub(last) >= samples(self.cutting.margin);
        if !quiet || self.told == Some(last) {
            return None;
        }
        self.told = Some(last);
        self.utterance().map(|(utterance, _)| utterance)
    }

    /// Ends the present pause after this many seconds; should speech go on before, the next pause is as long as
    /// ever. What [`Segmenter::partial`] has given is ended at once when they are over, and given.
    pub fn set_end_pause(&mut self, seconds: f64) -> Option<Utterance> {
        let enough = seconds.min(self.cutting.pause);
        self.pause = Some(enough);
        let (_, last) = self.speech?;
        let over = self.told == Some(last) && self.judged - last >= samples(enough);
        if over { self.cut() } else { None }
    }

    /// Whether somebody is speaking at this moment.
    pub fn speaking(&self) -> bool {
        self.speech.is_some()
    }

    /// Judges the newest frame.
    fn judge(&mut self) -> Option<Utterance> {
        let at = (self.judged - self.kept_from) as usize;
        let frame: Vec<f32> = self.kept.range(at..).copied().collect();
        let start = self.judged;
        self.judged += FRAME as u64;
        let gain = self.gain.after(power(&frame));
        let score = self.detector.predict_f32(&self.bed.under(&frame, gain));
        let out = self.floor.stands_out(power(&frame));
        let speech = score >= SURE || (score >= LIKELY && out >= STANDS_OUT);
        self.recent = (self.recent << 1) | u32::from(speech);

        match &mut self.speech {
            Some((_, end)) if speech => {
                *end = self.judged;
                self.pause = None;
            }
            Some(_) => {}
            None => {
                let window = last(self.recent);
                if window.count_ones() >= ONSET {
                    let back = u64::from(31 - window.leading_zeros()) * FRAME as u64;
                    self.speech = Some((start.saturating_sub(back), self.judged));
                }
            }
        }
        let ended = match self.speech {
            Some((first, last)) => {
                let enough = self.pause.unwrap_or(self.cutting.pause);
                let pause = self.judged - last >= samples(enough);
                let long = self.judged - first >= samples(self.cutting.longest);
                if pause || long { self.cut() } else { None }
            }
            None => None,
        };
        self.forget();
        ended
    }

    /// The utterance under way, which ends here.
    fn cut(&mut self) -> Option<Utterance> {
        let (utterance, given_to) = self.utterance()?;
        self.speech = None;
        self.pause = None;
        self.recent = 0;
        self.given_to = given_to;
        Some(utterance)
    }

    /// The utterance under way as it is if it ends here, and the sample to which it is then given.
    fn utterance(&self) -> Option<(Utterance, u64)> {
        let (first, last) = self.speech?;
        let margin = samples(self.cutting.margin);
        let available = self.kept_from + self.kept.len() as u64;
        let from = first
            .saturating_sub(margin)
            .max(self.given_to)
            .max(self.kept_from);
        let to = (last + margin).min(available).max(from);
        let range = (from - self.kept_from) as usize..(to - self.kept_from) as usize;
        let utterance = Utterance {
            samples: self.kept.range(range).copied().collect(),
            start: from,
            speech_end: last.min(available),
        };
        Some((utterance, last.max(from).min(available)))
    }

    /// Drops the sound that no utterance can need any more.
    fn forget(&mut self) {
        let onset = u64::from(ONSET_SPAN) * FRAME as u64;
        let needed = match self.speech {
            Some((first, _)) => first,
            None => self.judged.saturating_sub(onset),
        }
        .saturating_sub(samples(self.cutting.margin));
        let drop = needed.saturating_sub(self.kept_from);
        self.kept.drain(..(drop as usize).min(self.kept.len()));
        self.kept_from += drop;
    }
}

fn samples(seconds: f64) -> u64 {
    (seconds * f64::from(SAMPLE_RATE)) as u64
}

/// Mean power of a frame about its own mean.
fn power(frame: &[f32]) -> f32 {
    let n = frame.len().max(1) as f32;
    let mean = frame.iter().sum::<f32>() / n;
    frame.iter().map(|s| (s - mean) * (s - mean)).sum::<f32>() / n
}

/// The utterances of a whole recording.
pub fn utterances(samples: &[f32], cutting: EndpointConfig) -> Vec<Utterance> {
    let mut segmenter = Segmenter::new(cutting);
    let mut all = segmenter.push(samples);
    all.extend(segmenter.finish());
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio;
    use std::path::Path;

    /// "Line to earth over two ninety nine megohms" with 0.1 s of quiet on both sides.
    fn spoken() -> Vec<f32> {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/reading.flac");
        audio::read(&path).unwrap()[5600..52_800].to_vec()
    }

    /// Noise that is the same every time (xorshift), as loud as `level`.
    fn noise(seconds: f64, level: f32) -> Vec<f32> {
        let mut state = 0x2545_f491u32;
        (0..samples(seconds))
            .map(|_| {
                state ^= state << 13;
                state ^= state >> 17;
                state ^= state << 5;
                level * (state as f32 / u32::MAX as f32 - 0.5)
            })
            .collect()
    }

    fn together(parts: &[&[f32]]) -> Vec<f32> {
        let mut all = parts.concat();
        for (sample, room) in all.iter_mut().zip(noise(60.0, 0.002)) {
            *sample += room;
        }
        all
    }

    #[test]
    fn one_sentence_is_one_utterance_with_room_on_both_sides() {
        let sound = together(&[&[0.0; 16_000], &spoken(), &[0.0; 32_000]]);
        let found = utterances(&sound, EndpointConfig::default());
        assert_eq!(found.len(), 1);
        let (from, to) = (
            found[0].start,
            found[0].start + found[0].samples.len() as u64,
        );
        let (begins, ends) = (16_000 + 1600, 16_000 + spoken().len() as u64 - 1600);
        assert!(from + 3200 <= begins && begins <= from + 11_200, "{from}");
        assert!(ends + 1600 <= to && to <= ends + 11_200, "{to} for {ends}");
    }

    #[test]
    fn a_pause_inside_a_reading_does_not_cut_it_and_a_longer_one_does() {
        // With the quiet of the recording itself the pauses are 0.2, 0.65 and 1.7 s.
        for (quiet, expected) in [(0.0, 1), (0.45, 1), (1.5, 2)] {
            let gap = vec![0.0; samples(quiet) as usize];
            let sound = together(&[&spoken(), &gap, &spoken(), &[0.0; 16_000]]);
            let found = utterances(&sound, EndpointConfig::default());
            assert_eq!(found.len(), expected, "{quiet} s");
        }
    }

    #[test]
    fn what_was_said_so_far_is_what_is_given_in_the_end_and_a_hurried_pause_is_shorter() {
        let pause = |hurried: Option<f64>| {
            let mut segmenter = Segmenter::default();
            let sound = together(&[&spoken(), &[0.0; 32_000]]);
            let (mut partial, mut told) = (None, 0);
            let mut at_once = None;
            for (n, piece) in sound.chunks(320).enumerate() {
                if let Some(ended) = at_once.take().or_else(|| segmenter.push(piece).pop()) {
                    assert_eq!(Some(&ended), partial.as_ref(), "to the sample");
                    assert_eq!(told, 1, "once a pause");
                    return (n * 320) as f64 / f64::from(SAMPLE_RATE)
                        - ended.speech_end as f64 / f64::from(SAMPLE_RATE);
                }
                if let Some(utterance) = segmenter.partial() {
                    partial = Some(utterance);
                    told += 1;
                    at_once = hurried.and_then(|seconds| segmenter.set_end_pause(seconds));
                    assert_eq!(at_once.is_some(), hurried == Some(0.0), "{hurried:?}");
                }
            }
            f64::INFINITY
        };
        for (hurried, expected) in [
            (None, 0.8),
            (Some(2.0), 0.8),
            (Some(0.5), 0.5),
            (Some(0.0), 0.35),
        ] {
            let pause = pause(hurried);
            assert!((pause - expected).abs() < 0.06, "{hurried:?}: {pause}");
        }
    }

    #[test]
    fn whoever_goes_on_in_a_hurried_pause_is_not_cut() {
        let mut segmenter = Segmenter::default();
        let gap = vec![0.0; samples(0.25) as usize];
        let sound = together(&[&spoken(), &gap, &spoken(), &[0.0; 32_000]]);
        let mut found = Vec::new();
        for piece in sound.chunks(320) {
            found.extend(segmenter.push(piece));
            if segmenter.partial().is_some() {
                found.extend(segmenter.set_end_pause(0.6));
            }
            // Nothing is ended that was not given as it is, or while somebody speaks.
            if segmenter.told.is_none() {
                assert_eq!(segmenter.set_end_pause(0.8), None);
            }
        }
        assert_eq!(found.len(), 1);
    }

    #[test]
    fn the_size_of_the_pieces_does_not_matter() {
        let sound = together(&[&spoken(), &[0.0; 24_000], &spoken(), &[0.0; 4000]]);
        let whole = utterances(&sound, EndpointConfig::default());
        for size in [1, 160, 1000, 7777] {
            let mut segmenter = Segmenter::default();
            let mut found = Vec::new();
            for piece in sound.chunks(size) {
                found.extend(segmenter.push(piece));
            }
            found.extend(segmenter.finish());
            assert_eq!(found, whole, "pieces of {size}");
        }
    }

    #[test]
    fn a_stream_that_ends_in_speech_still_gives_it() {
        let sound = spoken();
        let sound = &sound[..sound.len() - 5000];
        let found = utterances(sound, EndpointConfig::default());
        assert_eq!(found.len(), 1);
        assert!(found[0].start + found[0].samples.len() as u64 <= sound.len() as u64);
    }

    #[test]
    fn steady_noise_is_no_utterance_and_is_not_kept() {
        let mut segmenter = Segmenter::default();
        let second = noise(1.0, 0.1);
        let mut found = 0;
        let mut most = 0;
        for _ in 0..120 {
            found += segmenter.push(&second).len();
            most = most.max(segmenter.kept.len());
        }
        assert_eq!(found, 0);
        assert!(most < SAMPLE_RATE as usize, "{most} samples kept");
    }

    #[test]
    fn speech_without_end_is_cut_and_does_not_pile_up() {
        let mut segmenter = Segmenter::default();
        let talk = &spoken();
        let mut found = Vec::new();
        let mut most = 0;
        for _ in 0..30 {
            found.extend(segmenter.push(talk));
            most = most.max(segmenter.kept.len());
        }
        assert!(found.len() >= 3);
        let longest = EndpointConfig::default().longest + 2.0;
        assert!(found.iter().all(|u| u.seconds() <= longest));
        assert!(most as u64 <= samples(longest) + talk.len() as u64);
    }

    #[test]
    fn samples_that_are_no_numbers_do_no_harm() {
        let mut sound = together(&[&spoken(), &[0.0; 32_000]]);
        sound[100] = f32::NAN;
        sound[200] = f32::INFINITY;
        let found = utterances(&sound, EndpointConfig::default());
        assert_eq!(found.len(), 1);
        assert!(found[0].samples.iter().all(|s| s.is_finite()));
    }

    #[test]
    fn nothing_gives_nothing() {
        assert_eq!(utterances(&[], EndpointConfig::default()), []);
        assert_eq!(utterances(&[0.0; 40_000], EndpointConfig::default()), []);
        assert!(!has_voice(&[0.0; 40_000]));
        assert!(has_voice(&spoken()));
    }
}
