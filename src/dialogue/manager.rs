//! Conducts a session: hears, decides, keeps, and only then speaks.

use super::barge_in::may_be_said_over;
use super::source::{Input, InputSource};
use super::turn_taking::{
    enough, is_a_sure_question, may_be_refused, recognise, recognise_early, refused, second_hearing,
};
use crate::audio::Utterance;
use crate::grammar::{Grammar, Intent, SaidInstead, distinct};
use crate::installation::Job;
use crate::log::{self, Log, LogError, SharedClock};
use crate::practice::Bench;
use crate::sequence::say::{Aside, aside};
use crate::sequence::{
    Agenda, Event, EventNo, Line, LineKind, Mode, ReadingRecord, ReadingStatus, Run, Session, Turn,
    change_job, place_of, say, sounds_like_a_warning,
};
use crate::speech::{Decision, DecodeContext, Recogniser, Recognition, is_lone_digit, repeated};
use crate::store::{Evidence, Store};
use crate::terms::{Delivery, Level, Practice, ProsodyNow};
use crate::voice::{Earcon, Saying, Tone, Voice};
use anyhow::bail;
use jiff::Timestamp;
use serde::Serialize;
use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How long silence lasts before a reminder of what is out.
const REMIND_AFTER: Duration = Duration::from_secs(60);

/// After so many utterances that are not for us the program tells, once, what the step takes: they may
/// have been for it.
const TOLD_AFTER: u32 = 2;

/// As often the trade's other words are answered with what to say instead, until something is taken: who goes on
/// so talks to somebody else.
const MOST_TOLD: u32 = 2;

/// How long a finger must be held for "affirm": longer than anything that brushes by.
pub const HELD: Duration = Duration::from_millis(700);

/// A warning that fits the sound worse than this per phone is taken for a noise. Lower than what any
/// other command needs: a missed warning costs more than a question too many.
const NEARLY: f32 = -1.8;

/// The longest that somebody says to the program at once, s. What is left alone and longer is other talk.
const AN_ANSWER: f64 = 8.0;

/// Everything a session needs around it.
pub struct DialogueManager<'a> {
    /// What was said so far, and what comes next.
    pub session: Session,
    /// Where events are kept, before they are answered.
    pub store: &'a mut Store,
    /// The time that stamps both session and log.
    pub clock: SharedClock,
    /// What can be said.
    pub grammar: &'a Grammar,
    /// The simulated installation that is practised on; none where it is real.
    pub bench: Option<Bench>,
    /// What hears; none where everything is typed.
    pub recogniser: Option<&'a mut dyn Recogniser>,
    /// What speaks the lines.
    pub voice: &'a mut dyn Voice,
    /// Told what was heard and ignored, for the person's eyes.
    pub observer: &'a mut dyn Observer,
    /// Set from outside to end the session after this utterance.
    pub stop: Arc<AtomicBool>,
    /// Whether a person is at a microphone, for whom tones mark when to speak.
    pub live: bool,
}

/// Sees what goes on besides what is spoken.
pub trait Observer {
    /// An utterance was recognised, or typed when `heard` is nothing.
    fn heard(&mut self, words: &str, heard: Option<&Recognition>);

    /// A recording held no voice.
    fn no_voice(&mut self, _name: &str) {}

    /// What came of a turn was kept.
    fn kept(&mut self, _events: &[Event]) {}

    /// The session went on, or is where it begins.
    fn went_on(&mut self, _state: &Agenda) {}

    /// A line could not be said: it must be shown.
    fn unsaid(&mut self, line: &str);
}

/// What the log keeps of an utterance beside its sound: what was made of it, and by which engine
/// and model.
#[derive(Serialize)]
struct ByEngine<'a> {
    #[serde(flatten)]
    heard: &'a Recognition,
    engine: String,
}

/// What was asked again.
struct Take {
    utterance: Utterance,
    rule: String,
    said: Intent,
}

impl Take {
    /// Whether `heard` may be the same once more: a meaning of the same kind at the same step. A
    /// warning stands by itself.
    fn is_repeated_by(&self, heard: &Recognition, expected: &DecodeContext) -> bool {
        let kind = |said: &Intent| std::mem::discriminant(said);
        let same = |said: &Intent| kind(said) == kind(&self.said);
        heard.outcome != Decision::Reject
            && expected.rule == self.rule
            && heard.said.as_ref().is_some_and(same)
            && !nearly_a_warning(heard)
    }
}

/// Where a run of the loop stands.
struct Course {
    tally: Tally,
    /// Meanings that were just taken back.
    excluded: Vec<Intent>,
    last_taken: Option<Intent>,
    silent_since: Instant,
    /// How often somebody has spoken since the last time anything was taken, and was not understood.
    unheard: u32,
    /// How often since then the program told what to say.
    told: u32,
    partial: Option<(Utterance, DecodeContext, Recognition)>,
    doubted: Option<Intent>,
    asked: Option<Take>,
    /// The read-back of the last reading, until it is known to have been broken off.
    read_back: Option<ReadBack>,
    /// What is taken as if it had been typed next.
    queued: VecDeque<String>,
}

/// The read-back of a reading.
struct ReadBack {
    /// The reading.
    of: EventNo,
    /// The lines that have its value.
    lines: Vec<String>,
}

impl ReadBack {
    /// What reads a reading back, or tells the last one again, in a turn that was decided on `before`.
    fn of(before: &Agenda, turn: &Turn) -> Option<Self> {
        let mut numbered = (before.next_event().0..).zip(&turn.events);
        let told_again = |event: &Event| {
            let Event::Asked { said, .. } = event else {
                return false;
            };
            *said == Intent::WhatDidISay(None)
        };
        let of = numbered.find_map(|(no, event)| match event {
            Event::Reading { .. } => Some(EventNo(no)),
            event if told_again(event) => {
                let counts = |r: &&ReadingRecord| r.status == ReadingStatus::Counts;
                before.readings().filter(counts).map(|r| r.no).max()
            }
            _ => None,
        })?;
        let has_value = |kind: LineKind| {
            matches!(
                kind,
                LineKind::ReadBack | LineKind::Question | LineKind::Answer
            )
        };
        let lines = turn.lines.iter().filter(|line| has_value(line.kind));
        Some(Self {
            of,
            lines: lines.map(|line| line.text.clone()).collect(),
        })
    }
}

impl Default for Course {
    fn default() -> Self {
        Self {
            tally: Tally::default(),
            excluded: Vec::new(),
            last_taken: None,
            silent_since: Instant::now(),
            unheard: 0,
            told: 0,
            partial: None,
            doubted: None,
            asked: None,
            read_back: None,
            queued: VecDeque::new(),
        }
    }
}

impl Course {
    /// Something is asked again.
    fn asks_again(&mut self) {
        self.tally.asked_again += 1;
        self.silent_since = Instant::now();
    }
}

/// What came in and was understood.
struct Understood {
    said: Intent,
    /// The words, where they were typed.
    typed: Option<String>,
    /// The sound, where it was heard.
    evidence: Option<Evidence>,
    /// Words in a note that sound like a warning.
    near: Option<String>,
    /// What an observation tells in the same line.
    description: Option<String>,
}

impl Understood {
    fn typed(said: Intent, words: String) -> Self {
        Self {
            said,
            typed: Some(words),
            evidence: None,
            near: None,
            description: None,
        }
    }

    fn heard(said: Intent, evidence: Evidence) -> Self {
        Self {
            said,
            typed: None,
            evidence: Some(evidence),
            near: None,
            description: None,
        }
    }
}

/// What a conducted session came to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// Utterances and typed lines that were understood.
    pub taken: u32,
    /// Utterances that could have been two things.
    pub asked_again: u32,
    /// Utterances that were taken for other talk or noise.
    pub ignored: u32,
    /// Typed lines that the grammar does not know.
    pub not_understood: u32,
    /// What was a neighbour's.
    pub neighbours: u32,
    /// Time spent recognising.
    pub hearing: Duration,
    /// Length of all that was heard.
    pub sound: Duration,
}

/// The longest typed line that is kept, in characters.
const LONGEST_TYPED: usize = 20_000;
/// Beginnings of a typed line that are looked at for a code with its words.
const BEGINNINGS: usize = 40;

impl DialogueManager<'_> {
    /// Says the first turn of a session, which [`open_session`] kept.
    pub fn open(&mut self, turn: &Turn) {
        self.observer.went_on(self.session.state());
        self.say(&turn.lines);
        self.mark(&turn.lines);
    }

    /// "Observation, code two, circuit three: no lid on the box": what is typed behind the code is its
    /// words.
    fn observed_in_one_line(&self, words: &str) -> Option<(Intent, String)> {
        let marks = words.match_indices([':', ',', ';', ' ']);
        marks
            .take(BEGINNINGS)
            .filter_map(|(at, mark)| {
                let said = self.session.understand_typed(self.grammar, &words[..at])?;
                let told = words[at + mark.len()..].trim();
                let observes = match &said {
                    Intent::Observed { .. } => true,
                    Intent::Inspected { state, .. } | Intent::Stated(state) => {
                        state.code_means().is_some()
                    }
                    _ => false,
                };
                (observes && !told.is_empty()).then(|| (said, told.to_owned()))
            })
            // The longest beginning that is understood: a place may follow the code.
            .last()
    }

    /// Takes utterances until the source ends, the session finishes, or it is told to stop.
    ///
    /// # Errors
    /// When the source or the recogniser fails. What was read back by then is kept.
    pub fn run(&mut self, source: &mut dyn InputSource) -> anyhow::Result<Tally> {
        let mut course = Course::default();
        while !self.stop.load(Ordering::SeqCst) && self.session.state().mode() != Mode::Finished {
            let next = match course.queued.pop_front() {
                Some(words) => Some(Input::Words(words)),
                None => source.next(self.voice)?,
            };
            self.cut_off(&mut course);
            let Some(input) = next else {
                break;
            };
            if let Some(understood) = self.hear(input, source, &mut course)? {
                self.take(understood, &mut course);
            }
        }
        self.reveal();
        Ok(course.tally)
    }

    /// Keeps that a read-back was broken off, where somebody has just spoken over it.
    fn cut_off(&mut self, course: &mut Course) {
        let cut = self.voice.cut_off();
        let of_it = |read_back: &mut ReadBack| read_back.lines.iter().any(|l| cut.contains(l));
        if let Some(read_back) = course.read_back.take_if(of_it) {
            let before = self.session.clone();
            let turn = self.session.read_back_cut(read_back.of, self.clock.tick());
            self.keep_only(before, &turn, None);
        }
    }

    /// What came in, as far as it was understood; nothing where nothing is left to be decided on.
    fn hear(
        &mut self,
        input: Input,
        source: &mut dyn InputSource,
        course: &mut Course,
    ) -> anyhow::Result<Option<Understood>> {
        match input {
            Input::Words(words) => return Ok(self.typed(words, course)),
            Input::Sound(utterance) => return self.sound(utterance, false, course),
            Input::OverlapsPrompt(utterance) => return self.sound(utterance, true, course),
            Input::Partial(utterance) => self.partial(utterance, source, course)?,
            Input::Notice(text) => self.say(&[aside(Aside::Machine(&text))]),
            Input::NoVoice(name) => {
                course.tally.ignored += 1;
                self.observer.no_voice(&name);
            }
            Input::Waiting => {}
            Input::Neighbour { whose, length, by } => {
                course.tally.neighbours += 1;
                let before = self.session.clone();
                let ms = u32::try_from(length.as_millis()).unwrap_or(u32::MAX);
                let now = self.clock.tick();
                let turn = self.session.neighbour_heard(whose, ms, by, now);
                self.keep_only(before, &turn, None);
            }
            Input::Touched { about, held } => {
                if self.touched(about, held) {
                    course.tally.taken += 1;
                    course.silent_since = Instant::now();
                }
            }
            Input::Idle(_) => {
                if course.silent_since.elapsed() >= REMIND_AFTER
                    && let Some(line) = self.session.idle()
                {
                    self.say(&[line]);
                    course.silent_since = Instant::now();
                }
            }
        }
        Ok(None)
    }

    /// A typed line.
    fn typed(&mut self, mut words: String, course: &mut Course) -> Option<Understood> {
        // Nobody types so much; a program did.
        let most = words.char_indices().nth(LONGEST_TYPED);
        if let Some((end, _)) = most {
            words.truncate(end);
        }
        self.observer.heard(&words, None);
        if let Some(said) = self.session.understand_typed(self.grammar, &words) {
            return Some(Understood::typed(said, words));
        }
        // A code with what was seen is no part of the note before it.
        if let Some((said @ (Intent::Observed { .. } | Intent::Inspected { .. }), told)) =
            self.observed_in_one_line(&words)
        {
            return Some(Understood {
                description: Some(told),
                ..Understood::typed(said, words)
            });
        }
        if self.session.state().mode() == Mode::Noting {
            return Some(Understood {
                // Kept as a note first, then asked about.
                near: (self.claims_dead() && sounds_like_a_warning(&words)).then(|| words.clone()),
                ..Understood::typed(Intent::Note, words)
            });
        }
        if let Some((said, told)) = self.observed_in_one_line(&words) {
            return Some(Understood {
                description: Some(told),
                ..Understood::typed(said, words)
            });
        }
        if sounds_like_a_warning(&words) && self.ask_if_live(&words, None) {
            return None;
        }
        course.tally.not_understood += 1;
        let before = self.session.clone();
        let turn = self.session.not_taken(&words, self.clock.tick());
        self.keep_and_say(before, &turn, None);
        None
    }

    /// Whether the board that is worked on was begun to be isolated: what is told of one that is known to be live
    /// may name its live parts.
    fn claims_dead(&self) -> bool {
        let agenda = self.session.state();
        let board = agenda
            .current()
            .map_or_else(|| agenda.first_board(), |step| step.board);
        agenda.isolation_begun(board)
    }

    /// What is expected now.
    fn expected(&self, course: &Course) -> DecodeContext {
        DecodeContext {
            rule: self.session.rule().to_owned(),
            excluded: course.excluded.clone(),
        }
    }

    /// The stretch of speech under way.
    fn partial(
        &mut self,
        utterance: Utterance,
        source: &mut dyn InputSource,
        course: &mut Course,
    ) -> anyhow::Result<()> {
        let expected = self.expected(course);
        let earlier = self.session.earlier_rule();
        let Some(recogniser) = self.recogniser.as_deref_mut() else {
            return Ok(());
        };
        let tally = &mut course.tally;
        let Some(heard) = recognise_early(recogniser, &utterance, &expected, earlier, tally)?
        else {
            return Ok(());
        };
        if let Some(pause) = enough(&heard) {
            source.set_end_pause(pause);
        }
        course.partial = Some((utterance, expected, heard));
        Ok(())
    }

    /// A stretch of speech, mixed with the program's own voice where it is `over` that.
    fn sound(
        &mut self,
        utterance: Utterance,
        over: bool,
        course: &mut Course,
    ) -> anyhow::Result<Option<Understood>> {
        let expected = self.expected(course);
        let earlier = self.session.earlier_rule();
        let Some(recogniser) = self.recogniser.as_deref_mut() else {
            return Ok(None);
        };
        let heard = match course.partial.take() {
            Some((before, rule, heard)) if before == utterance && rule == expected => heard,
            _ => recognise(
                recogniser,
                &utterance,
                &expected,
                earlier,
                &mut course.tally,
            )?,
        };
        let heard = match &course.asked {
            Some(before) if before.is_repeated_by(&heard, &expected) => {
                let both = recogniser.together(
                    &before.utterance.samples,
                    &utterance.samples,
                    &expected,
                )?;
                course.tally.hearing += both.as_ref().map_or(Duration::ZERO, |b| b.took);
                repeated(heard, both)
            }
            _ => heard,
        };
        let running = self.session.state().mode() == Mode::Running;
        // Noise has no words at all, and what is long is other talk.
        let an_answer = !heard.words.is_empty() && !over && utterance.seconds() <= AN_ANSWER;
        let alone = heard.outcome == Decision::Reject && !nearly_a_warning(&heard);
        let talk = if alone && an_answer && running {
            second_hearing(recogniser, self.grammar, &utterance.samples, &expected.rule)?
        } else {
            None
        };
        course.tally.hearing += talk.as_ref().map_or(Duration::ZERO, |talk| talk.took);
        let (heard, hint) = match talk {
            Some(talk) if is_a_sure_question(&talk) => (talk, None),
            Some(talk) => {
                let hint = talk.said.clone();
                let outcome = Decision::Reject;
                (Recognition { outcome, ..talk }, hint)
            }
            None => (heard, None),
        };
        // A noise in between is not what was asked for.
        if heard.outcome != Decision::Reject {
            course.asked = None;
        }
        course.tally.sound += Duration::from_secs_f64(utterance.seconds());
        self.observer.heard(&heard.words, Some(&heard));
        let outcome = match &heard.said {
            // Asked again, the person said the same digit once more.
            Some(said)
                if heard.outcome == Decision::Confirm
                    && is_lone_digit(&heard.words, said)
                    && course.doubted == heard.said =>
            {
                Decision::Accept
            }
            _ => heard.outcome,
        };
        course.doubted = None;
        let told = ByEngine {
            heard: &heard,
            engine: recogniser.describe(),
        };
        let evidence = Evidence::new(&utterance, &heard.words, &told)?;
        // A warning that is not sure, or may be the program's own words, is asked about aloud and at once.
        let unsure = over || outcome != Decision::Accept;
        if unsure && nearly_a_warning(&heard) && self.ask_if_live(&heard.words, Some(&evidence)) {
            course.asks_again();
            return Ok(None);
        }
        let noting = self.session.state().mode() == Mode::Noting;
        match (outcome, &heard.said) {
            // The program's own words are in there too.
            (Decision::Accept | Decision::Confirm, said)
                if over && !said.as_ref().is_some_and(may_be_said_over) =>
            {
                course.asks_again();
                self.say(&[aside(Aside::WhileSpeaking)]);
                self.mark(&[]);
            }
            (Decision::Accept, Some(said)) => {
                return Ok(Some(Understood::heard(said.clone(), evidence)));
            }
            (Decision::Confirm, _) if !noting => {
                self.ask_again(heard, (utterance, expected.rule), &evidence, course);
            }
            _ if noting => return Ok(Some(Understood::heard(Intent::Note, evidence))),
            _ => {
                course.tally.ignored += 1;
                if an_answer {
                    course.unheard += 1;
                    self.leave_alone(&heard.words, &evidence);
                }
                let told = match hint {
                    Some(said) if course.told < MOST_TOLD => self.session.words_instead(&said),
                    None if an_answer && course.unheard == TOLD_AFTER && course.told == 0 => {
                        self.session.what_is_taken()
                    }
                    _ => None,
                };
                if let Some(line) = told {
                    course.told += 1;
                    self.say(&[line]);
                    course.silent_since = Instant::now();
                }
            }
        }
        Ok(None)
    }

    /// Asks again what could have been two things.
    fn ask_again(
        &mut self,
        heard: Recognition,
        (utterance, rule): (Utterance, String),
        evidence: &Evidence,
        course: &mut Course,
    ) {
        course.asks_again();
        course.doubted = heard.said;
        course.asked = course.doubted.clone().map(|said| Take {
            utterance,
            rule,
            said,
        });
        let before = self.session.clone();
        let now = self.clock.tick();
        let other = heard.runner_up_said.as_ref();
        let (words, runner_up) = match (&course.doubted, other) {
            // A word that is not ours is not offered.
            (None, _) => (heard.runner_up.unwrap_or_default(), None),
            (Some(_), None) => (heard.words, None),
            (Some(_), Some(_)) => (heard.words, heard.runner_up),
        };
        let turn = match course.doubted.as_ref().or(other) {
            Some(said) if said.is_a_permission() => {
                self.session.unsure_permission(&words, said, now)
            }
            _ => self.session.unclear(&words, runner_up.as_deref(), now),
        };
        self.keep_and_say(before, &turn, Some(evidence));
    }

    /// Takes what was understood.
    fn take(&mut self, understood: Understood, course: &mut Course) {
        let Understood {
            said,
            typed,
            evidence,
            near,
            description,
        } = understood;
        course.unheard = 0;
        course.told = 0;
        course.silent_since = Instant::now();
        course.tally.taken += 1;
        if Bench::answers(&said) && self.answered(&said, evidence.as_ref()) {
            return;
        }
        let before = self.session.clone();
        let voice = self.speaks_otherwise(&said);
        let now = self.clock.tick();
        let turn = match (voice, typed.as_deref()) {
            (Some(voice), typed) => self.session.spoken_to(&said, typed, voice, now),
            (None, Some(words)) => self.session.typed(&said, words, now),
            (None, None) => self.session.turn(&said, now),
        };
        match turn {
            Ok(turn) => {
                let read_back = ReadBack::of(before.state(), &turn);
                if self.keep_and_say(before, &turn, evidence.as_ref()) {
                    course.read_back = read_back.or(course.read_back.take());
                    course.excluded = refused(&said, &turn, course.last_taken.as_ref());
                    // "Say again" between a reading and its "negative" is not what is refused.
                    if turn.events.iter().any(may_be_refused) {
                        course.last_taken = Some(said);
                    }
                }
            }
            Err(broken) => self.say(&[aside(Aside::AgainstALaw(&broken))]),
        }
        // Only where it was taken: what describes is no answer to anything else.
        if let Some(told) = description
            && self.session.state().told_now().is_some()
        {
            course.queued.extend([told, Intent::EndOfNote.words()]);
        }
        if let Some(words) = near {
            self.ask_if_live(&words, None);
        }
    }

    /// Has the voice speak otherwise where it was asked to, and how it is since; nothing where it was not, or
    /// this is said in a note.
    fn speaks_otherwise(&mut self, said: &Intent) -> Option<ProsodyNow> {
        let Intent::ProsodyChange(manner) = said else {
            return None;
        };
        let noting = self.session.state().mode() == Mode::Noting;
        (!noting).then(|| self.voice.adjust(*manner)).flatten()
    }

    /// Lets the installation of a practice answer; whether there is one, and it can. An instrument shows
    /// what is there whether or not the session is paused.
    fn answered(&mut self, said: &Intent, evidence: Option<&Evidence>) -> bool {
        let mode = self.session.state().mode();
        let can = !matches!(mode, Mode::Noting | Mode::Finished);
        let Some(bench) = self.bench.as_mut().filter(|_| can) else {
            return false;
        };
        let stood = bench.clone();
        let now = self.clock.tick();
        match bench.answer(self.session.state(), said, now) {
            Ok(event) => {
                let before = self.session.clone();
                let turn = self.session.practised(event, now);
                if !self.keep_and_say(before, &turn, evidence) {
                    self.bench = Some(stood);
                }
            }
            Err(why) => self.say(&[aside(Aside::NotShown(&why.to_string()))]),
        }
        true
    }

    /// Takes an "affirm" by touch; whether it was one.
    fn touched(&mut self, about: EventNo, held: Duration) -> bool {
        if held < HELD {
            return false;
        }
        let before = self.session.clone();
        match self.session.touched(about, self.clock.tick()) {
            Ok(Some(turn)) => {
                self.observer.heard("affirm, by touch", None);
                self.keep_and_say(before, &turn, None)
            }
            Ok(None) => {
                self.say(&[aside(Aside::NotByTouch)]);
                false
            }
            Err(broken) => {
                self.say(&[aside(Aside::AgainstALaw(&broken))]);
                false
            }
        }
    }

    /// Keeps and says what came of what was just done to the installation of a practice.
    fn something_came(&mut self) {
        let Some(bench) = &mut self.bench else { return };
        let stood = bench.clone();
        let Some(event) = bench.came(self.session.state()) else {
            return;
        };
        let before = self.session.clone();
        let turn = self.session.practised(event, self.clock.tick());
        if !self.keep_and_say(before, &turn, None) {
            self.bench = Some(stood);
        }
    }

    /// Tells what was hidden once a practice is finished.
    fn reveal(&mut self) {
        let finished = self.session.state().mode() == Mode::Finished;
        let Some(hidden) = self.bench.as_ref().filter(|_| finished).map(Bench::hidden) else {
            return;
        };
        let (faults, salt) = (hidden.faults.clone(), hidden.salt.clone());
        let before = self.session.clone();
        let turn = self.session.revealed(faults, salt, self.clock.tick());
        self.keep_and_say(before, &turn, None);
    }

    /// Asks whether it is live, where something there should be dead; whether it was asked.
    fn ask_if_live(&mut self, words: &str, evidence: Option<&Evidence>) -> bool {
        let before = self.session.clone();
        match self.session.maybe_live(words, self.clock.tick()) {
            Some(turn) => {
                self.keep_and_say(before, &turn, evidence);
                true
            }
            None => false,
        }
    }

    /// Keeps what was spoken while the session waited for an answer, and was left alone: it may have been one.
    fn leave_alone(&mut self, words: &str, evidence: &Evidence) {
        if self.session.state().mode() == Mode::Running {
            let before = self.session.clone();
            let turn = self.session.left_alone(words, self.clock.tick());
            self.keep_only(before, &turn, Some(evidence));
        }
    }

    /// Keeps what nothing is to be said of, and what is being said goes on.
    fn keep_only(&mut self, before: Session, turn: &Turn, evidence: Option<&Evidence>) {
        if let Err(why) = self.keep(&turn.events, evidence) {
            self.session = before;
            self.say(&[aside(Aside::NotKeptUnsaid(&why.to_string()))]);
        }
    }

    /// Keeps a turn's events, then says its lines. When they can't be kept the session goes back
    /// to where it was, and nothing is read back.
    fn keep_and_say(&mut self, before: Session, turn: &Turn, evidence: Option<&Evidence>) -> bool {
        match self.keep(&turn.events, evidence) {
            Ok(()) => {
                if let Some(bench) = &mut self.bench {
                    bench.follow(before.state(), &turn.events, self.clock.now());
                }
                self.observer.went_on(self.session.state());
                self.say(&turn.lines);
                self.mark(&turn.lines);
                self.something_came();
                true
            }
            Err(why) => {
                self.session = before;
                self.say(&[aside(Aside::NotKept(&why.to_string()))]);
                false
            }
        }
    }

    fn keep(&mut self, events: &[Event], evidence: Option<&Evidence>) -> Result<(), LogError> {
        let practised = self.session.state().practises();
        log::keep(self.store, events, practised, evidence)?;
        self.observer.kept(events);
        Ok(())
    }

    /// A short tone after the words tells whether what is said next will be taken. One that ends in
    /// a tone has told it.
    fn mark(&mut self, said: &[Line]) {
        let told = said.last().is_some_and(|line| line.kind == LineKind::Tone);
        if !self.live {
            return;
        }
        self.voice.mark(match self.session.state().mode() {
            Mode::Running if told => return,
            Mode::Running | Mode::Noting => Earcon::Listening,
            Mode::StandingBy | Mode::Paused | Mode::Finished => Earcon::NotListening,
        });
    }

    fn say(&mut self, lines: &[Line]) {
        let mut words = Vec::new();
        for (n, line) in lines.iter().enumerate() {
            let tone = match line.kind {
                LineKind::Tone => {
                    // One tone stands for two that follow each other.
                    let next = lines.get(n + 1).filter(|next| next.kind == LineKind::Tone);
                    words.push(line.text.as_str());
                    if next.is_none() {
                        let words = std::mem::take(&mut words).join(" ");
                        self.voice.mark_for(Earcon::Taken, &words);
                    }
                    continue;
                }
                LineKind::Prompt | LineKind::Answer => Tone::Plain,
                LineKind::ReadBack => Tone::ReadBack,
                LineKind::Question => Tone::Question,
                LineKind::Reminder => Tone::Reminder,
                LineKind::Warning => Tone::Warning,
                LineKind::Shown => Tone::Instrument,
            };
            let said = self.voice.put(Saying {
                tone,
                text: &line.text,
                doubtful: line.doubtful(),
            });
            if said.is_err() {
                self.observer.unsaid(&line.text);
            }
        }
    }
}

/// Whether what was heard, or what it was nearest to besides, is a warning, and was not so far off
/// that it was no speech of ours at all. It is asked about aloud where it is not taken.
pub fn nearly_a_warning(heard: &Recognition) -> bool {
    let warns = |said: &Option<Intent>| said.as_ref().is_some_and(Intent::is_a_warning);
    let near = heard.outcome != Decision::Reject || heard.scores.llr_per_phone > NEARLY;
    near && (warns(&heard.said) || warns(&heard.runner_up_said))
}

/// The grammar with the job's own places, and what to say for those that can't be said by voice as
/// they are written. A typed session takes the names as they are. Who learns can say more.
///
/// # Errors
/// When the grammar itself is not whole.
pub fn grammar_for(
    job: &Job,
    by_voice: bool,
    learns: bool,
) -> anyhow::Result<(Grammar, Vec<SaidInstead>)> {
    let points = job
        .boards
        .iter()
        .flat_map(|board| &board.circuits)
        .flat_map(|circuit| &circuit.points);
    let places = distinct(points.map(place_of));
    let (grammar, instead) = Grammar::built_in()?.with_job_places(&places, by_voice)?;
    let grammar = if learns {
        grammar.with_practice()?
    } else {
        grammar
    };
    Ok((grammar, instead))
}

/// Which program takes a session up, and whether it may take a changed job.
#[derive(Debug, Clone, Copy)]
pub struct RunBy<'a> {
    /// Program name and version.
    pub by: &'a str,
    /// Whether a job that differs from that of the log is agreed to be the same job, changed.
    pub changed: bool,
    /// How prompts are put.
    pub delivery: Delivery,
    /// How somebody learns by a session that is begun, or is examined.
    pub practice: Option<&'a Practice>,
}

impl<'a> From<&'a str> for RunBy<'a> {
    fn from(by: &'a str) -> Self {
        Self {
            by,
            changed: false,
            delivery: Delivery::default(),
            practice: None,
        }
    }
}

/// What a changed job comes to.
#[derive(Debug, Clone)]
pub struct JobChanged {
    /// What differs, a sentence each.
    pub told: Vec<String>,
    /// The events of it.
    pub events: Vec<Event>,
}

/// What differs between the job of a log and this one; nothing when nothing does.
///
/// # Errors
/// When the change can't be taken: why, and what to do.
pub fn job_change(
    left: &Agenda,
    job: &Job,
    text: &str,
    by: &str,
    now: Timestamp,
    db: &Path,
) -> anyhow::Result<Option<JobChanged>> {
    // What was added by voice stands in no file: a file without it is as it was.
    if job == left.job() || job == left.written_job() {
        return Ok(None);
    }
    let told = say::changes(left.job(), job);
    match change_job(left, job, text, by, now) {
        Ok(events) => Ok(Some(JobChanged { told, events })),
        Err(why) => bail!(
            "{} holds the log of \"{}\" with another job file, and the change can't be taken.\n{}\n{}",
            db.display(),
            left.job().title,
            told.join("\n"),
            say::not_changed(left, &why)
        ),
    }
}

/// Begins a session with the job file's text as the log's first event, or takes up the one that the
/// log was left in. The events of the first turn are kept. Which run of the machine it is, is
/// found here.
///
/// A job that differs from that of the log is taken only where `changed` says so, and is an event of
/// the log then.
///
/// # Errors
/// When the log is of another job, or could not be begun.
pub fn open_session(
    store: &mut Store,
    log: &Log,
    job: Job,
    text: &str,
    run_by: RunBy<'_>,
    clock: &SharedClock,
) -> anyhow::Result<(Session, Turn)> {
    let RunBy {
        by,
        changed,
        delivery,
        practice,
    } = run_by;
    let boot = log::boot();
    let run = Run {
        by,
        boot: boot.as_deref(),
        delivery,
        practice,
    };
    if log.entries.is_empty() {
        let (session, turn) = Session::begin(job, run, clock.tick())?;
        log::begin(store, text, &turn.events)?;
        return Ok((session, turn));
    }
    let left = log.agenda()?;
    is_the_same_practice(&left, practice, store.path())?;
    let now = clock.tick();
    let (session, turn) = match job_change(&left, &job, text, by, now, store.path())? {
        None => Session::resume(log.events(), run, now)?,
        Some(_) if left.practises() => bail!(
            "{} holds a practice on another job file: the installation stays as it is. Use the job file as it was, or begin a new log with --db.",
            store.path().display()
        ),
        Some(_) if !changed => bail!(
            "{} holds the log of \"{}\" with another job file. Use the job file as it was, or begin a new log with --db.",
            store.path().display(),
            left.job().title
        ),
        Some(change) => Session::resume_changed(log.events(), run, now, change.events)?,
    };
    log::keep(store, &turn.events, session.state().practises(), None)?;
    Ok((session, turn))
}

/// A log of practice is taken up as the practice that it was begun as, and a test as a test.
fn is_the_same_practice(
    left: &Agenda,
    practice: Option<&Practice>,
    db: &Path,
) -> anyhow::Result<()> {
    // Of which edition it is, the log says.
    let simulated = |practice: Option<&Practice>| Some(practice?.simulated.as_ref()?.seal.clone());
    let tester = &left.job().tester;
    if let (Some(was), Some(is)) = (left.practice(), practice) {
        // What is not said is as it was.
        if is.learner != was.learner && is.learner != *tester {
            bail!(
                "{} is {}'s: begin another log for {} (--db).",
                db.display(),
                was.learner,
                is.learner
            );
        }
        if is.level != was.level && is.level != Level::default() {
            bail!(
                "{} was begun at the level {}: it stays so; begin another log (--db) for {}.",
                db.display(),
                was.level,
                is.level
            );
        }
    }
    match (simulated(left.practice()), simulated(practice)) {
        (was, is) if was == is => Ok(()),
        (Some(_), None) => bail!(
            "{} holds a practice: take it up with `bothhands practise`, or test with another log (--db).",
            db.display()
        ),
        (None, Some(_)) => bail!(
            "{} holds the log of a test: practise with another log (--db).",
            db.display()
        ),
        _ => bail!(
            "{} was begun with other faults: give it the same --faults or --seed, or begin another log (--db).",
            db.display()
        ),
    }
}
