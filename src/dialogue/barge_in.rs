//! What of the microphone may be heard while the program itself speaks.
//!
//! The loudspeaker is in the same room as the microphone, and the program must never take its own
//! read-back for a reading. While it speaks, and until the room has gone quiet, the recogniser is
//! given the room's hush instead of the microphone. A person who wants to cut a prompt short is
//! told from the loudspeaker by level alone: how loud the program's own voice arrives is measured
//! all the time, and whoever is clearly louder for a quarter of a second cuts in.

use crate::audio::SAMPLE_RATE;
use crate::grammar::Intent;
use std::collections::VecDeque;
use std::time::Duration;

/// How much louder than the program's louder syllables a person must be, in dB.
const CLEARLY: f32 = 9.0;
/// And how much louder than the room.
const ABOVE_ROOM: f32 = 12.0;
/// For how long, in seconds, before it counts: longer than a knock, shorter than a word.
const LONG_ENOUGH: f32 = 0.24;
/// The sound held back while the program speaks, in samples: what a person says while the program
/// falls silent is found in it.
const HELD: usize = SAMPLE_RATE as usize * 7 / 10;
/// How much of it is let go when somebody cuts in, so that the word is heard from its beginning.
const CUT_IN: usize = SAMPLE_RATE as usize * 2 / 5;
/// Sound held back is looked at in pieces of 10 ms.
const PIECE: usize = SAMPLE_RATE as usize / 100;
/// Pieces without sound that part one speaker from the next.
const GAP: usize = 5;
/// Sound may reach the gate this much later than it was made, in seconds.
const DELAY: f32 = 0.08;
/// By how much the end of a prompt may vary from one to the next, in seconds.
const JITTER: f32 = 0.06;
/// Prompts after which, and among the last of which, the shortest silence before the voice says
/// that it has ended is relied upon.
const PROMPTS: (usize, usize) = (3, 8);
/// Seconds of the program's own sound that must have been measured before anyone can cut in.
const LEARNT: f32 = 1.5;
/// The voice falls silent within this time when it is cut short, in seconds, the way through the
/// sound system included. Who is still loud then is a person.
const STOPS: f32 = 0.2;
/// How quickly the measured level falls and, once learnt, rises, in dB a second of speaking. At
/// these two it comes to rest where a twelfth of the program's voice is louder. A faster rise
/// would learn the first moments of a person who cuts in as the program's own.
const FORGETTING: f32 = 0.5;
const RISING: f32 = 6.0;
/// Time constant of the levels, in seconds: about a syllable.
const SYLLABLE: f32 = 0.08;
/// Spans remembered; an utterance is asked about soon after it ended.
const SPANS: usize = 64;

/// Decides, piece by piece, what of the microphone the recogniser may hear.
///
/// ```
/// use bothhands::dialogue::BargeInGate;
///
/// let mut gate = BargeInGate::default();
/// let chunk = [0.01; 320];
/// assert_eq!(gate.pass(&chunk, false).samples, chunk);
/// // The program speaks: held back, and replaced by the room's hush when let go.
/// assert!(gate.pass(&chunk, true).samples.is_empty());
/// ```
#[derive(Debug, Clone)]
pub struct BargeInGate {
    /// Mean power of the last syllable.
    power: f32,
    /// Power of the room when nobody speaks.
    floor: Option<f32>,
    /// How loud the program's louder syllables arrive, in dB.
    echo: Option<f32>,
    /// Seconds of own sound measured.
    learnt: f32,
    /// Seconds for which somebody has been clearly louder.
    over: f32,
    /// Seconds since somebody cut in, and the level of the program's own voice measured until
    /// then; until it is known whether it was a person.
    cut: Option<(f32, f32)>,
    held: VecDeque<f32>,
    /// The tail of the room, in seconds.
    tail: f32,
    /// Seconds between the last sound of each of the last prompts and the voice's word that it
    /// has ended, tail included.
    lags: VecDeque<f32>,
    state: State,
    /// Samples given out.
    given: u64,
    /// Where the program's own voice may be in what was given out.
    spans: VecDeque<(u64, u64)>,
    hush: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// The program is silent.
    Open,
    /// It speaks.
    Closed,
    /// It speaks, and somebody speaks over it.
    Over,
}

/// What the gate lets through.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Passed {
    /// For the recogniser. In the end exactly as many samples come out as went in, in order, but
    /// up to 0.7 s later while the program speaks.
    pub samples: Vec<f32>,
    /// Somebody has just begun to speak over the program: stop the voice.
    pub barge_in: bool,
}

impl Default for BargeInGate {
    fn default() -> Self {
        Self::new(Duration::from_millis(250))
    }
}

impl BargeInGate {
    /// A gate for a voice that says it is speaking for `tail` longer than it is heard (see
    /// [`crate::voice::Profile::tail_ms`]).
    pub fn new(tail: Duration) -> Self {
        Self {
            power: 0.0,
            floor: None,
            echo: None,
            learnt: 0.0,
            over: 0.0,
            cut: None,
            held: VecDeque::with_capacity(HELD * 2),
            tail: tail.as_secs_f32(),
            lags: VecDeque::with_capacity(PROMPTS.1),
            state: State::Open,
            given: 0,
            spans: VecDeque::new(),
            hush: 0x9e37_79b9,
        }
    }

    /// Takes the next samples of the microphone, 10 to 100 ms at a time, with whether the program
    /// speaks at this moment ([`crate::voice::Voice::speaking`], which includes the tail of the room).
    pub fn pass(&mut self, chunk: &[f32], speaking: bool) -> Passed {
        let seconds = chunk.len() as f32 / SAMPLE_RATE as f32;
        let mean = chunk.iter().map(|s| s * s).sum::<f32>() / chunk.len().max(1) as f32;
        let share = 1.0 - (-seconds / SYLLABLE).exp();
        // A knock is no louder than the loudest that counts, or it would be remembered for too long.
        let most = self.echo().map_or(1.0, |echo| {
            10_f32.powf((echo.max(self.room()) + CLEARLY + 6.0) / 10.0)
        });
        self.power += (mean.min(most) - self.power) * share;

        match (self.state, speaking) {
            (State::Open, false) => {
                self.follow_floor(mean, seconds);
                self.give(chunk)
            }
            (State::Open, true) => {
                self.state = State::Closed;
                self.over = 0.0;
                self.cut = None;
                self.hold(chunk)
            }
            (State::Closed, true) => {
                if self.somebody_is_over(seconds) {
                    self.state = State::Over;
                    let from = self.given;
                    let mut passed = self.let_go(chunk);
                    self.mark(from, self.given);
                    passed.barge_in = true;
                    passed
                } else {
                    self.hold(chunk)
                }
            }
            (State::Over, true) => {
                self.who_cut_in(seconds);
                let from = self.given;
                let passed = self.give(chunk);
                self.mark(from, self.given);
                passed
            }
            (State::Over, false) => {
                self.state = State::Open;
                self.give(chunk)
            }
            (State::Closed, false) => {
                self.state = State::Open;
                self.open(chunk)
            }
        }
    }

    /// The program has fallen silent: lets go what a person has said since.
    ///
    /// The voice tells that it has ended some time after its last sound; what began in that time,
    /// after a gap, is a person's.
    fn open(&mut self, chunk: &[f32]) -> Passed {
        self.held.extend(chunk);
        let held: Vec<f32> = self.held.drain(..).collect();
        let loud: Vec<bool> = held
            .chunks(PIECE)
            .map(|piece| {
                let power = piece.iter().map(|s| s * s).sum::<f32>() / piece.len() as f32;
                decibels(power) > self.room() + ABOVE_ROOM
            })
            .collect();
        let free = (self.free() * SAMPLE_RATE as f32) as usize;
        let free_from = held.len().saturating_sub(free) / PIECE;
        let quiet_before = |at: usize| {
            let from = at.saturating_sub(GAP);
            loud.get(from..at).is_some_and(|gap| !gap.contains(&true))
        };
        let begins = (free_from.max(GAP)..loud.len())
            .find(|&at| loud.get(at) == Some(&true) && quiet_before(at));
        let still = loud
            .get(loud.len().saturating_sub(GAP)..)
            .is_some_and(|last| last.contains(&true));

        let from = match begins {
            Some(at) => (at - GAP) * PIECE,
            None => held.len() - chunk.len(),
        };
        let mut samples = self.hush(from);
        samples.extend(held.get(from..).unwrap_or(&[]));
        let start = self.given;
        self.given += samples.len() as u64;
        if begins.is_none() {
            if still {
                // Whoever is in the middle of a word now has lost its beginning to the gate.
                self.mark(start + from as u64, self.given);
            } else {
                let silent = loud.iter().rev().take_while(|loud| !**loud).count();
                self.learn_lag((silent * PIECE) as f32 / SAMPLE_RATE as f32);
            }
        }
        Passed {
            samples,
            barge_in: false,
        }
    }

    /// For how long the program has surely been silent when the voice says so, in seconds.
    fn free(&self) -> f32 {
        let told = self.tail - DELAY;
        let learnt = self
            .lags
            .iter()
            .copied()
            .reduce(f32::min)
            .filter(|_| self.lags.len() >= PROMPTS.0)
            .map_or(0.0, |shortest| shortest - JITTER);
        told.max(learnt).max(0.0)
    }

    fn learn_lag(&mut self, lag: f32) {
        if self.lags.len() == PROMPTS.1 {
            self.lags.pop_front();
        }
        self.lags.push_back(lag);
    }

    /// Whether the stretch from sample `from` to sample `to` of all that was passed may hold the
    /// program's own voice, or lacks what was said over it: take nothing from it that adds or
    /// confirms anything (see [`may_be_said_over`]).
    pub fn overlaps_prompt(&self, from: u64, to: u64) -> bool {
        self.spans
            .iter()
            .any(|&(start, end)| start < to && from < end)
    }

    /// How loud the program's own voice arrives in the microphone, in dB below full scale; none
    /// until it has been measured.
    pub fn echo(&self) -> Option<f32> {
        self.echo.filter(|_| self.learnt >= LEARNT)
    }

    /// How loud the room is when nobody speaks, in dB below full scale.
    pub fn room(&self) -> f32 {
        decibels(self.floor.unwrap_or(1e-6))
    }

    fn follow_floor(&mut self, mean: f32, seconds: f32) {
        let floor = self.floor.unwrap_or(mean);
        let moved = if mean < floor {
            floor + (mean - floor) * (1.0 - (-seconds / 0.1).exp())
        } else {
            // One dB a second: a word does not lift it, a machine switched on does in the end.
            floor * 10_f32.powf(0.1 * seconds)
        };
        self.floor = Some(moved.clamp(1e-12, 1.0));
    }

    /// Follows the level of the program's own voice, and tells when somebody else's is above it.
    fn somebody_is_over(&mut self, seconds: f32) -> bool {
        let level = decibels(self.power);
        let room = self.room();
        let echo = self.echo.unwrap_or(level);
        let learnt = self.learnt >= LEARNT;
        let louder = level > echo.max(room) + CLEARLY && level > room + ABOVE_ROOM;
        if learnt && louder {
            self.over += seconds;
        } else {
            self.over = (self.over - seconds).max(0.0);
            self.learnt += seconds;
            let rise = if learnt {
                RISING * seconds
            } else {
                f32::INFINITY
            };
            self.echo = Some(level.clamp(echo - FORGETTING * seconds, echo + rise));
        }
        if self.over >= LONG_ENOUGH {
            // If it was the program after all, grown louder, the next prompt is not cut again.
            self.echo = Some(echo + CLEARLY / 2.0);
            self.cut = Some((0.0, echo));
            self.over = 0.0;
            return true;
        }
        false
    }

    /// Whoever speaks on after the program has fallen silent is a person, from whom nothing is
    /// learnt about the program's own level: else somebody who cuts in again and again would have
    /// to shout in the end.
    fn who_cut_in(&mut self, seconds: f32) {
        if let Some((since, before)) = &mut self.cut {
            *since += seconds;
            if *since >= STOPS {
                if decibels(self.power) > before.max(decibels(self.floor.unwrap_or(1e-6))) + CLEARLY
                {
                    self.echo = Some(*before);
                }
                self.cut = None;
            }
        }
    }

    fn give(&mut self, chunk: &[f32]) -> Passed {
        self.given += chunk.len() as u64;
        Passed {
            samples: chunk.to_vec(),
            barge_in: false,
        }
    }

    fn hold(&mut self, chunk: &[f32]) -> Passed {
        self.held.extend(chunk);
        let surplus = self.held.len().saturating_sub(HELD);
        self.held.drain(..surplus);
        let samples = self.hush(surplus);
        self.given += samples.len() as u64;
        Passed {
            samples,
            barge_in: false,
        }
    }

    fn let_go(&mut self, chunk: &[f32]) -> Passed {
        let early = self.held.len().saturating_sub(CUT_IN);
        let mut samples = self.hush(early);
        samples.extend(self.held.drain(..).skip(early));
        samples.extend_from_slice(chunk);
        self.given += samples.len() as u64;
        Passed {
            samples,
            barge_in: false,
        }
    }

    /// Noise as loud as the room, so that whoever listens does not take the room's return for a
    /// new sound.
    fn hush(&mut self, samples: usize) -> Vec<f32> {
        // Uniform noise has a third of its peak's power.
        let peak = (self.floor.unwrap_or(0.0).min(1e-3) * 3.0).sqrt();
        (0..samples)
            .map(|_| {
                self.hush = self
                    .hush
                    .wrapping_mul(1_664_525)
                    .wrapping_add(1_013_904_223);
                (self.hush >> 8) as f32 / (1 << 23) as f32 - 1.0
            })
            .map(|noise| noise * peak)
            .collect()
    }

    fn mark(&mut self, from: u64, to: u64) {
        match self.spans.back_mut() {
            Some((_, end)) if *end == from => *end = to,
            _ => {
                if self.spans.len() == SPANS {
                    self.spans.pop_front();
                }
                self.spans.push_back((from, to));
            }
        }
    }
}

/// What may be taken from words spoken over the program: what asks, stops or refuses. Never what
/// adds or confirms something, since the program's own words are in there too.
pub fn may_be_said_over(said: &Intent) -> bool {
    said.only_asks()
        || matches!(
            said,
            Intent::Negative
                | Intent::Correction(None)
                | Intent::StandBy
                | Intent::Pause
                | Intent::ProsodyChange(_)
        )
}

fn decibels(power: f32) -> f32 {
    10.0 * power.max(1e-12).log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHUNK: usize = SAMPLE_RATE as usize / 50;

    /// A voice-like sound: a buzz in syllables of a fifth of a second, `db` below full scale at
    /// its loudest, over a room at -60 dB.
    struct Scene {
        at: usize,
        noise: u32,
    }

    impl Scene {
        fn chunk(&mut self, program: Option<f32>, person: Option<f32>) -> Vec<f32> {
            let voice = |db: Option<f32>, hertz: f32, t: f32, beat: f32| {
                db.map_or(0.0, |db| {
                    let syllable = (t * beat * std::f32::consts::TAU).sin().abs().sqrt();
                    let buzz = (1..6)
                        .map(|n| (t * hertz * n as f32 * std::f32::consts::TAU).sin() / n as f32)
                        .sum::<f32>();
                    10_f32.powf(db / 20.0) * syllable * buzz
                })
            };
            (0..CHUNK)
                .map(|_| {
                    self.at += 1;
                    let t = self.at as f32 / SAMPLE_RATE as f32;
                    self.noise = self
                        .noise
                        .wrapping_mul(1_664_525)
                        .wrapping_add(1_013_904_223);
                    let hiss = ((self.noise >> 8) as f32 / (1 << 23) as f32 - 1.0) * 0.0017;
                    hiss + voice(program, 110.0, t, 2.3) + voice(person, 190.0, t, 2.9)
                })
                .collect()
        }
    }

    fn scene() -> Scene {
        Scene { at: 0, noise: 7 }
    }

    fn run(
        gate: &mut BargeInGate,
        scene: &mut Scene,
        seconds: f32,
        program: Option<f32>,
        person: Option<f32>,
    ) -> (Vec<f32>, bool) {
        let (mut out, mut cut) = (Vec::new(), false);
        for _ in 0..(seconds * 50.0) as usize {
            let chunk = scene.chunk(program, person);
            let passed = gate.pass(&chunk, program.is_some());
            cut |= passed.barge_in;
            out.extend(passed.samples);
        }
        (out, cut)
    }

    fn loudest(samples: &[f32]) -> f32 {
        samples.iter().fold(0.0, |most, s| most.max(s.abs()))
    }

    #[test]
    fn the_program_never_hears_itself_however_loud_it_arrives() {
        for db in [-40.0, -20.0, -10.0, -6.0, -3.0] {
            let (mut gate, mut scene) = (BargeInGate::default(), scene());
            run(&mut gate, &mut scene, 1.0, None, None);
            for _ in 0..5 {
                let (out, cut) = run(&mut gate, &mut scene, 3.0, Some(db), None);
                assert!(!cut && loudest(&out) < 0.01, "{db} dB: {}", loudest(&out));
                let (out, _) = run(&mut gate, &mut scene, 0.5, None, None);
                assert!(loudest(&out) < 0.01, "{db} dB");
            }
        }
    }

    #[test]
    fn somebody_may_cut_in_again_and_again() {
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        run(&mut gate, &mut scene, 1.0, None, None);
        run(&mut gate, &mut scene, 3.0, Some(-40.0), None);
        for time in 0..12 {
            run(&mut gate, &mut scene, 1.0, Some(-40.0), None);
            let mut cut = None;
            for n in 0..50 {
                // The voice stops some 60 ms after it was told to, and says so later.
                let silent = cut.is_some_and(|cut| n > cut + 3);
                let own = if silent { None } else { Some(-40.0) };
                let chunk = scene.chunk(own, Some(-16.0));
                if gate.pass(&chunk, true).barge_in {
                    cut = Some(n);
                }
            }
            assert!(cut.is_some(), "the {time}. time");
            run(&mut gate, &mut scene, 1.0, None, None);
        }
    }

    #[test]
    fn every_sample_comes_out_once_and_in_its_place() {
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        let mut out = run(&mut gate, &mut scene, 1.0, None, None).0;
        out.extend(run(&mut gate, &mut scene, 2.0, Some(-20.0), None).0);
        let before = out.len();
        let (speech, _) = run(&mut gate, &mut scene, 1.0, None, Some(-12.0));
        out.extend(&speech);
        assert_eq!(out.len(), 4 * SAMPLE_RATE as usize);
        let first = out.iter().position(|s| s.abs() > 0.02).unwrap();
        assert!(
            first >= 3 * SAMPLE_RATE as usize && first > before - HELD,
            "{first}"
        );
    }

    #[test]
    fn a_person_clearly_louder_cuts_in_and_is_heard_from_the_beginning() {
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        run(&mut gate, &mut scene, 1.0, None, None);
        run(&mut gate, &mut scene, 3.0, Some(-35.0), None);
        let (out, cut) = run(&mut gate, &mut scene, 0.6, Some(-35.0), Some(-15.0));
        assert!(cut);
        let from = (4.0 * SAMPLE_RATE as f32) as u64;
        let total = 4 * SAMPLE_RATE as usize + 30 * CHUNK;
        let begins = total - out.len() + out.iter().position(|s| s.abs() > 0.05).unwrap();
        assert!(
            begins.abs_diff(from as usize) < SAMPLE_RATE as usize / 10,
            "{begins}"
        );
        assert!(
            gate.overlaps_prompt(from, from + 1000),
            "and it is known that the two are mixed"
        );
        run(&mut gate, &mut scene, 1.0, None, None);
        assert!(!gate.overlaps_prompt(total as u64 + 2000, total as u64 + 9000));
    }

    #[test]
    fn a_person_who_cannot_be_told_from_the_loudspeaker_does_not_cut_in() {
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        run(&mut gate, &mut scene, 1.0, None, None);
        run(&mut gate, &mut scene, 3.0, Some(-15.0), None);
        let (out, cut) = run(&mut gate, &mut scene, 2.0, Some(-15.0), Some(-15.0));
        assert!(!cut && loudest(&out) < 0.01);
    }

    #[test]
    fn a_knock_does_not_cut_in() {
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        run(&mut gate, &mut scene, 1.0, None, None);
        run(&mut gate, &mut scene, 3.0, Some(-30.0), None);
        let (_, knock) = run(&mut gate, &mut scene, 0.1, Some(-30.0), Some(-6.0));
        let (_, after) = run(&mut gate, &mut scene, 1.0, Some(-30.0), None);
        assert!(!knock && !after);
    }

    #[test]
    fn words_that_began_under_the_prompt_are_known_to_lack_their_beginning() {
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        run(&mut gate, &mut scene, 1.0, None, None);
        run(&mut gate, &mut scene, 2.0, Some(-15.0), None);
        run(&mut gate, &mut scene, 0.3, Some(-15.0), Some(-15.0));
        let opens = (3.3 * SAMPLE_RATE as f32) as u64;
        run(&mut gate, &mut scene, 0.5, None, Some(-15.0));
        assert!(gate.overlaps_prompt(opens, opens + 8000));
        run(&mut gate, &mut scene, 1.0, None, None);
        assert!(!gate.overlaps_prompt(opens + 9000, opens + 16_000));
    }

    /// The program speaks for two seconds, then its voice takes `lag` to say that it has ended,
    /// and a person answers `after` the last sound.
    fn prompt(gate: &mut BargeInGate, scene: &mut Scene, lag: f32, after: Option<f32>) -> Vec<f32> {
        let mut out = Vec::new();
        for n in 0..150 {
            let t = n as f32 / 50.0 - 2.0;
            let program = (t < 0.0).then_some(-15.0);
            let person = after.filter(|&after| t >= after).map(|_| -20.0);
            out.extend(gate.pass(&scene.chunk(program, person), t < lag).samples);
        }
        out
    }

    #[test]
    fn a_quick_answer_is_heard_from_its_beginning_once_the_voice_is_known() {
        const LAG: f32 = 0.56;
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        run(&mut gate, &mut scene, 1.0, None, None);
        for _ in 0..3 {
            let out = prompt(&mut gate, &mut scene, LAG, None);
            assert!(loudest(&out) < 0.01);
        }
        for after in [0.1, 0.2, 0.4, 0.7] {
            let start = gate.given;
            let out = prompt(&mut gate, &mut scene, LAG, Some(after));
            let answer = 2.0 + after;
            let first =
                out.iter().position(|s| s.abs() > 0.02).unwrap() as f32 / SAMPLE_RATE as f32;
            assert!((first - answer).abs() < 0.05, "{after}: {first}");
            assert!(!gate.overlaps_prompt(start, gate.given), "{after}");
            run(&mut gate, &mut scene, 1.0, None, None);
        }
    }

    #[test]
    fn an_answer_that_overlaps_the_prompt_is_never_heard_in_part_without_a_word() {
        let (mut gate, mut scene) = (BargeInGate::default(), scene());
        run(&mut gate, &mut scene, 1.0, None, None);
        for _ in 0..3 {
            prompt(&mut gate, &mut scene, 0.56, None);
        }
        let start = gate.given;
        prompt(&mut gate, &mut scene, 0.56, Some(-0.3));
        assert!(gate.overlaps_prompt(start, gate.given));
    }

    #[test]
    fn nothing_that_adds_or_confirms_is_taken_from_words_spoken_over_the_program() {
        use crate::quantity::Reading;
        use crate::terms::{ProsodyChange, Statement};
        assert!(may_be_said_over(&Intent::Negative));
        assert!(may_be_said_over(&Intent::ProsodyChange(
            ProsodyChange::Quieter
        )));
        assert!(!may_be_said_over(&Intent::Affirm));
        assert!(!may_be_said_over(&Intent::Disregard));
        assert!(!may_be_said_over(&Intent::Stated(Statement::Dead)));
        assert!(!may_be_said_over(&Intent::Reading {
            reading: Reading::over_range(),
            place: None,
            half: None
        }));
    }
}
