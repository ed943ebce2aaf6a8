//! Conducts a session: hears, decides, keeps, and only then speaks.

use super::sources::{Input, InputSource};
use crate::audio::Utterance;
use crate::grammar::{Grammar, Said, number};
use crate::log::{self, LogError, SharedClock};
use crate::quantity::{Number, Reading};
use crate::sequence::{Event, Line, LineKind, Mode, Session, State, Turn};
use crate::speech::{Expectation, Heard, Outcome, Recogniser, is_lone_digit};
use crate::store::{Evidence, Store};
use crate::voice::gate::may_be_said_over;
use crate::voice::{Mark, Tone, Voice};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long silence lasts before a reminder of what is out.
pub const REMIND_AFTER: Duration = Duration::from_secs(60);

/// The pause that ends what is whole but could go on.
const WHOLE: Duration = Duration::from_millis(500);
/// The pause that ends a reading with as many digits as instruments show, but without its unit.
const READ: Duration = Duration::from_millis(400);
/// Digits that instruments show. After fewer the next may only be slow to come: "two nine ... nine".
const SHOWN: usize = 3;

/// Everything a session needs around it.
pub struct Conductor<'a> {
    pub session: Session,
    pub store: &'a mut Store,
    pub clock: SharedClock,
    pub grammar: &'a Grammar,
    pub recogniser: Option<&'a mut dyn Recogniser>,
    pub voice: &'a mut dyn Voice,
    /// Told what was heard and ignored, for the person's eyes.
    pub witness: &'a mut dyn Witness,
    pub stop: Arc<AtomicBool>,
    /// Whether a person is at a microphone, for whom tones mark when to speak.
    pub live: bool,
}

/// Sees what goes on besides what is spoken.
pub trait Witness {
    /// An utterance was recognised, or typed when `heard` is nothing.
    fn heard(&mut self, words: &str, heard: Option<&Heard>);

    /// A recording held no voice.
    fn no_voice(&mut self, _name: &str) {}

    /// The session went on, or is where it begins.
    fn went_on(&mut self, _state: &State) {}
}

/// Sees nothing.
pub struct NoWitness;

impl Witness for NoWitness {
    fn heard(&mut self, _words: &str, _heard: Option<&Heard>) {}
}

/// What a conducted session came to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    pub taken: u32,
    pub asked_again: u32,
    pub ignored: u32,
    /// Typed lines that the grammar does not know.
    pub not_understood: u32,
    /// Time spent recognising.
    pub hearing: Duration,
    /// Length of all that was heard.
    pub sound: Duration,
}

impl Conductor<'_> {
    /// Keeps and says the first turn of a session.
    ///
    /// # Errors
    /// When it can't be kept.
    pub fn open(&mut self, turn: &Turn) -> anyhow::Result<()> {
        self.keep(&turn.events, None)?;
        self.witness.went_on(self.session.state());
        self.say(&turn.lines);
        self.mark();
        Ok(())
    }

    /// Takes utterances until the source ends, the session finishes, or it is told to stop.
    ///
    /// # Errors
    /// When the source or the recogniser fails. What was read back by then is kept.
    pub fn run(&mut self, source: &mut dyn InputSource) -> anyhow::Result<Tally> {
        let mut tally = Tally::default();
        let mut excluded: Vec<Said> = Vec::new();
        let mut last_taken: Option<Said> = None;
        let mut silent_since = Instant::now();
        let mut so_far: Option<(Utterance, Expectation, Heard)> = None;
        let mut doubted: Option<Said> = None;
        while !self.stop.load(Ordering::SeqCst) && self.session.state().mode() != Mode::Finished {
            let Some(input) = source.next(self.voice)? else {
                break;
            };
            let over = matches!(input, Input::SpokenOver(_));
            let (said, evidence) = match input {
                Input::Notice(text) => {
                    self.say(&[Line::warning(text)]);
                    continue;
                }
                Input::NoVoice(name) => {
                    tally.ignored += 1;
                    self.witness.no_voice(&name);
                    continue;
                }
                Input::Idle(_) => {
                    if silent_since.elapsed() >= REMIND_AFTER
                        && let Some(line) = self.session.idle()
                    {
                        self.say(&[line]);
                        silent_since = Instant::now();
                    }
                    continue;
                }
                Input::Words(words) => {
                    self.witness.heard(&words, None);
                    match self.session.understand(self.grammar, &words) {
                        Some(said) => (said, None),
                        None if self.session.state().mode() == Mode::Noting => (Said::Note, None),
                        None => {
                            tally.not_understood += 1;
                            self.say(&[Line::answer(format!(
                                "I don't know \"{words}\" here. Say again?"
                            ))]);
                            continue;
                        }
                    }
                }
                Input::SoFar(utterance) => {
                    let Some(recogniser) = self.recogniser.as_deref_mut() else {
                        continue;
                    };
                    let expected = Expectation {
                        rule: self.session.rule().to_owned(),
                        excluded: excluded.clone(),
                    };
                    let heard = recognise(
                        recogniser,
                        &utterance,
                        &expected,
                        self.session.earlier_rule(),
                        &mut tally,
                    )?;
                    if let Some(pause) = enough(&heard) {
                        source.hurry(pause);
                    }
                    so_far = Some((utterance, expected, heard));
                    continue;
                }
                Input::Sound(utterance) | Input::SpokenOver(utterance) => {
                    let Some(recogniser) = self.recogniser.as_deref_mut() else {
                        continue;
                    };
                    let expected = Expectation {
                        rule: self.session.rule().to_owned(),
                        excluded: excluded.clone(),
                    };
                    let heard = match so_far.take() {
                        Some((before, rule, heard)) if before == utterance && rule == expected => {
                            heard
                        }
                        _ => recognise(
                            recogniser,
                            &utterance,
                            &expected,
                            self.session.earlier_rule(),
                            &mut tally,
                        )?,
                    };
                    tally.sound += Duration::from_secs_f64(utterance.seconds());
                    self.witness.heard(&heard.words, Some(&heard));
                    let noting = self.session.state().mode() == Mode::Noting;
                    let outcome = match &heard.said {
                        // Asked again, the person said the same digit once more.
                        Some(said)
                            if heard.outcome == Outcome::AskAgain
                                && is_lone_digit(&heard.words, said)
                                && doubted == heard.said =>
                        {
                            Outcome::Taken
                        }
                        _ => heard.outcome,
                    };
                    doubted = None;
                    let evidence = Evidence::new(&utterance, &heard.words, &heard)?;
                    match (outcome, heard.said) {
                        // The program's own words are in there too.
                        (Outcome::Taken | Outcome::AskAgain, said)
                            if over && !said.as_ref().is_some_and(may_be_said_over) =>
                        {
                            tally.asked_again += 1;
                            silent_since = Instant::now();
                            self.say(&[Line::question("I was speaking. Say that again.")]);
                            self.mark();
                            continue;
                        }
                        (Outcome::Taken, Some(said)) => (said, Some(evidence)),
                        (Outcome::AskAgain, said) if !noting => {
                            tally.asked_again += 1;
                            doubted = said;
                            silent_since = Instant::now();
                            let before = self.session.clone();
                            let turn = self.session.unclear(
                                &heard.words,
                                heard.runner_up.as_deref(),
                                self.clock.tick(),
                            );
                            self.keep_and_say(before, &turn, Some(&evidence));
                            continue;
                        }
                        _ if noting => (Said::Note, Some(evidence)),
                        _ => {
                            tally.ignored += 1;
                            continue;
                        }
                    }
                }
            };
            silent_since = Instant::now();
            tally.taken += 1;
            let before = self.session.clone();
            match self.session.turn(&said, self.clock.tick()) {
                Ok(turn) => {
                    if self.keep_and_say(before, &turn, evidence.as_ref()) {
                        excluded = refused(&said, &turn, last_taken.as_ref());
                        // "Say again" between a reading and its "negative" is not what is refused.
                        if turn.events.iter().any(may_be_refused) {
                            last_taken = Some(said.clone());
                        }
                    }
                    if let Said::Manner(manner) = said
                        && let Some(text) = self.voice.adjust(manner)
                    {
                        self.say(&[Line::answer(text)]);
                    }
                }
                Err(broken) => self.say(&[Line::warning(format!(
                    "Not taken: that would be {broken}. Please report this."
                ))]),
            }
        }
        Ok(tally)
    }

    /// Keeps a turn's events, then says its lines. When they can't be kept the session goes back
    /// to where it was, and nothing is read back.
    fn keep_and_say(&mut self, before: Session, turn: &Turn, evidence: Option<&Evidence>) -> bool {
        match self.keep(&turn.events, evidence) {
            Ok(()) => {
                self.witness.went_on(self.session.state());
                self.say(&turn.lines);
                self.mark();
                true
            }
            Err(why) => {
                self.session = before;
                self.say(&[Line::warning(format!(
                    "{why} Say it again when that is put right."
                ))]);
                false
            }
        }
    }

    fn keep(&mut self, events: &[Event], evidence: Option<&Evidence>) -> Result<(), LogError> {
        log::keep(self.store, events, evidence)
    }

    /// A short tone after the words tells whether what is said next will be taken.
    fn mark(&mut self) {
        if !self.live {
            return;
        }
        self.voice.mark(match self.session.state().mode() {
            Mode::Running | Mode::Noting => Mark::Listening,
            Mode::StandingBy | Mode::Paused | Mode::Finished => Mark::NotListening,
        });
    }

    fn say(&mut self, lines: &[Line]) {
        for line in lines {
            if self.voice.say(tone(line.kind), &line.text).is_err() {
                eprintln!("{}", line.text);
            }
        }
    }
}

/// Hears an utterance. The last reading may be put right although the step that asks now has other
/// words.
fn recognise(
    recogniser: &mut dyn Recogniser,
    utterance: &Utterance,
    expected: &Expectation,
    earlier: Option<&str>,
    tally: &mut Tally,
) -> anyhow::Result<Heard> {
    let heard = recogniser.recognise(&utterance.samples, expected)?;
    tally.hearing += heard.took;
    if heard.outcome != Outcome::Taken
        && let Some(rule) = earlier
    {
        let expected = Expectation {
            rule: rule.to_owned(),
            excluded: expected.excluded.clone(),
        };
        let again = recogniser.recognise(&utterance.samples, &expected)?;
        tally.hearing += again.took;
        if again.outcome == Outcome::Taken && again.said.as_ref().is_some_and(Session::puts_right) {
            return Ok(again);
        }
    }
    Ok(heard)
}

/// How long a pause after what was heard ends it, when shorter than usual: nothing can follow, or
/// it is whole as it stands. After "negative" and "correction" what is right often follows.
pub fn enough(heard: &Heard) -> Option<Duration> {
    if heard.outcome != Outcome::Taken {
        return None;
    }
    match heard.said.as_ref()? {
        _ if !heard.may_go_on => Some(Duration::ZERO),
        _ if may_be_half_a_number(&heard.words) => None,
        Said::Negative | Said::Correction(None) => None,
        Said::Reading { reading, .. } => whole(reading),
        Said::Correction(Some(right)) => match right.as_ref() {
            Said::Reading { reading, .. } => whole(reading),
            _ => None,
        },
        _ => Some(WHOLE),
    }
}

fn may_be_half_a_number(words: &str) -> bool {
    let last = words.split_whitespace().next_back();
    last.is_some_and(number::is_open_ended)
}

fn whole(reading: &Reading) -> Option<Duration> {
    let digits = |number: Number| {
        let shown = number.to_string();
        shown.chars().filter(char::is_ascii_digit).count()
    };
    let enough = reading.number.is_none_or(|number| digits(number) >= SHOWN);
    enough.then_some(READ)
}

fn tone(kind: LineKind) -> Tone {
    match kind {
        LineKind::Prompt | LineKind::Answer => Tone::Plain,
        LineKind::ReadBack => Tone::ReadBack,
        LineKind::Question => Tone::Question,
        LineKind::Reminder => Tone::Reminder,
        LineKind::Warning => Tone::Warning,
    }
}

fn may_be_refused(event: &Event) -> bool {
    matches!(
        event,
        Event::Reading { .. }
            | Event::Stated { .. }
            | Event::TakenOut { .. }
            | Event::PutBack { .. }
            | Event::ProposedAllBack { .. }
            | Event::NotTested { .. }
            | Event::Skipped { .. }
    )
}

/// Meanings to leave out of the next decode: what was just taken back.
fn refused(said: &Said, turn: &Turn, last: Option<&Said>) -> Vec<Said> {
    let refuses = matches!(
        said,
        Said::Negative | Said::Correction(None) | Said::Disregard
    );
    let withdrew = turn
        .events
        .iter()
        .any(|event| matches!(event, Event::Withdrawn { .. }));
    let read = turn
        .events
        .iter()
        .any(|event| matches!(event, Event::Reading { .. }));
    if refuses && withdrew && !read {
        last.cloned().into_iter().collect()
    } else {
        Vec::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speech::Scores;

    fn heard(grammar: &Grammar, words: &str, outcome: Outcome, may_go_on: bool) -> Heard {
        Heard {
            outcome,
            words: words.to_owned(),
            said: grammar.understand("anything", words),
            runner_up: None,
            runner_up_said: None,
            scores: Scores {
                fit: 0.0,
                margin: 40.0,
                phones: 9,
            },
            times: Vec::new(),
            may_go_on,
            took: Duration::ZERO,
        }
    }

    #[test]
    fn only_what_is_whole_ends_sooner() {
        let grammar = Grammar::built_in().unwrap();
        let pause = |words, outcome, may_go_on| enough(&heard(&grammar, words, outcome, may_go_on));
        let taken = Outcome::Taken;
        assert_eq!(pause("done", taken, false), Some(Duration::ZERO));
        assert_eq!(
            pause("line to earth two nine nine", taken, true),
            Some(READ),
            "the unit may follow"
        );
        assert_eq!(
            pause("line to earth two nine", taken, true),
            None,
            "a digit may follow"
        );
        assert_eq!(pause("over range", taken, true), Some(READ));
        for half in ["line to earth two hundred", "two ninety", "one thousand"] {
            assert_eq!(
                pause(half, taken, true),
                None,
                "{half} ... and what follows"
            );
        }
        assert_eq!(
            pause("neutral out at socket three", taken, true),
            Some(WHOLE)
        );
        assert_eq!(
            pause("negative", taken, true),
            None,
            "what is right follows"
        );
        assert_eq!(pause("correction", taken, true), None);
        assert_eq!(
            pause("line to earth two nine nine", Outcome::AskAgain, true),
            None
        );
        assert_eq!(pause("", Outcome::NotForUs, false), None);
    }
}
