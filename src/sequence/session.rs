//! A session in progress: where deciding, checking, folding and saying meet.

use super::agenda::Agenda;
use super::decide::{self, STILL_PUT_RIGHT, decide, follow};
use super::facts::{Edition, Event, EventNo, Mode, NeighbourSign, StepId};
use super::invariants::Watch;
use super::procedures::Catalogue;
use super::say::{self, Line, Narrator};
use super::state::{ABSENCE, LONG_ABSENCE, Question, ReplayError, is_another_day};
use crate::draft::{self, CircuitWords};
use crate::grammar::{Grammar, Intent};
use crate::installation::Job;
use crate::limits::Tables;
use crate::terms::{Delivery, HiddenFault, Practice, ProsodyNow};
use jiff::Timestamp;
use std::sync::Arc;

/// A session in progress: an agenda, and how it goes forward. The caller keeps the events of each
/// turn before it speaks its lines.
#[derive(Debug, Clone)]
pub struct Session {
    agenda: Agenda,
    watch: Watch,
    narrator: Narrator,
}

/// The run of the program that a session is led in.
#[derive(Debug, Clone, Copy)]
pub struct Run<'a> {
    /// Program name and version.
    pub by: &'a str,
    /// Which run of the machine it is, where that can be told.
    pub boot: Option<&'a str>,
    /// How what is said is worded.
    pub delivery: Delivery,
    /// How somebody learns by it, or is examined: of a session that is begun.
    pub practice: Option<&'a Practice>,
}

impl<'a> From<&'a str> for Run<'a> {
    fn from(by: &'a str) -> Self {
        Self {
            by,
            boot: None,
            delivery: Delivery::default(),
            practice: None,
        }
    }
}

/// How something was said, and what came of it outside the session.
#[derive(Debug, Clone, Copy, Default)]
struct How<'a> {
    /// The words, where they were typed.
    typed: Option<&'a str>,
    /// Whether it was by touch.
    by_touch: bool,
    /// How the voice is since, where it was asked to speak otherwise.
    voice: Option<ProsodyNow>,
}

impl<'a> How<'a> {
    fn typed(words: Option<&'a str>) -> Self {
        Self {
            typed: words,
            ..Self::default()
        }
    }
}

/// What came of one utterance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Turn {
    /// To be kept first.
    pub events: Vec<Event>,
    /// To be said once the events are kept.
    pub lines: Vec<Line>,
}

/// No sentence of the grammar is longer, in bytes; to look for one in much more takes long.
const LONGEST_UNDERSTOOD: usize = 300;

/// The codes of observations as everybody writes them, "C2" and "FI", as they are said.
fn written_codes(words: &str) -> String {
    let said = |word: &str| {
        let bare = word.trim_end_matches([':', ',', ';']);
        let code = match bare.to_ascii_lowercase().as_str() {
            "c1" => "code one",
            "c2" => "code two",
            "c3" => "code three",
            _ => return word.to_owned(),
        };
        format!("{code}{}", &word[bare.len()..])
    };
    words.split(' ').map(said).collect::<Vec<_>>().join(" ")
}

impl Session {
    /// Begins a job. The turn holds the log's first event and the cautions.
    ///
    /// # Errors
    /// Never in practice: the first event is the right one by construction.
    pub fn begin<'a>(
        job: Job,
        run: impl Into<Run<'a>>,
        now: Timestamp,
    ) -> Result<(Self, Turn), ReplayError> {
        Self::begin_with(Catalogue::shipped(), job, run, now)
    }

    /// The same with other procedures.
    ///
    /// # Errors
    /// Never in practice, as [`Session::begin`].
    pub fn begin_with<'a>(
        catalogue: Arc<Catalogue>,
        job: Job,
        run: impl Into<Run<'a>>,
        now: Timestamp,
    ) -> Result<(Self, Turn), ReplayError> {
        let run = run.into();
        let opened = Event::Opened {
            job: Box::new(job),
            by: run.by.to_owned(),
            edition: Edition::NOW,
            boot: run.boot.map(str::to_owned),
            delivery: run.delivery,
            practice: run.practice.cloned().map(Box::new),
        };
        let agenda = Agenda::open_with(catalogue, &opened, now)?;
        Ok(Self::go_on(agenda, None, vec![opened], now))
    }

    /// Takes up a session where its log ends, with a recap.
    ///
    /// # Errors
    /// When the log is empty or does not begin with the job.
    pub fn resume<'a, 'b>(
        events: impl IntoIterator<Item = (&'a Event, Timestamp)>,
        run: impl Into<Run<'b>>,
        now: Timestamp,
    ) -> Result<(Self, Turn), ReplayError> {
        let (agenda, watch, resumed) = taken_up(events, run.into(), now)?;
        Ok(Self::go_on(agenda, Some(watch), vec![resumed], now))
    }

    /// The same with a job that was changed since: `changed` are the events of [`change_job`] for the
    /// agenda where the log ends.
    ///
    /// [`change_job`]: super::change_job
    ///
    /// # Errors
    /// As [`Session::resume`], or when an event would break one of the laws.
    pub fn resume_changed<'a, 'b>(
        events: impl IntoIterator<Item = (&'a Event, Timestamp)>,
        run: impl Into<Run<'b>>,
        now: Timestamp,
        changed: Vec<Event>,
    ) -> Result<(Self, Turn), NotTakenUp> {
        let (agenda, watch, resumed) = taken_up(events, run.into(), now)?;
        let first: Vec<Event> = [resumed].into_iter().chain(changed).collect();
        let mut ahead = watch.clone();
        for event in &first {
            ahead.check(event, now).map_err(NotTakenUp::Law)?;
            ahead.apply(event, now);
        }
        Ok(Self::go_on(agenda, Some(watch), first, now))
    }

    /// The first turn of a session that is begun or taken up.
    fn go_on(
        mut agenda: Agenda,
        watch: Option<Watch>,
        first: Vec<Event>,
        now: Timestamp,
    ) -> (Self, Turn) {
        let mut watch = watch.unwrap_or_else(|| Watch::over(&agenda));
        let mut events = first;
        let begun = matches!(events.first(), Some(Event::Opened { .. }));
        let mut with_its_job = agenda.clone();
        for event in events.iter().skip(usize::from(begun)) {
            with_its_job.apply(event, now);
        }
        events.extend(overdue(&with_its_job, now));
        // Whoever was cut off is asked what of it was done.
        let ordered: Vec<_> = agenda
            .ordered_entries()
            .map(|(entry, _)| entry.no)
            .collect();
        if !ordered.is_empty() && agenda.question().is_none() {
            events.push(Event::AskedIfOut { entries: ordered });
        }
        let following = followed(&agenda, &events[usize::from(begun)..], now);
        events.extend(following);
        for event in &events {
            if !matches!(event, Event::Opened { .. }) {
                watch.apply(event, now);
            }
        }
        let mut narrator = Narrator::default();
        let lines = narrator.tell(&mut agenda, &events, now);
        let session = Self {
            agenda,
            watch,
            narrator,
        };
        (session, Turn { events, lines })
    }

    /// The same, comparing readings from now on with an edited copy of the tables.
    #[must_use]
    pub fn with_tables(self, tables: Tables) -> Self {
        Self {
            agenda: self.agenda.with_tables(tables),
            ..self
        }
    }

    /// The agenda now.
    pub fn state(&self) -> &Agenda {
        &self.agenda
    }

    /// The laws, with what has happened so far.
    pub fn watch(&self) -> &Watch {
        &self.watch
    }

    /// The prompt that is due: full the first time for a kind of step, brief later.
    pub fn prompt(&self) -> Line {
        self.narrator.prompt(&self.agenda)
    }

    /// The grammar rule that answers are heard with now.
    pub fn rule(&self) -> &'static str {
        say::prompt(&self.agenda).rule
    }

    /// The rule that the last answer was heard with, where another step with other words asks by
    /// now: "correction two nine nine" may still put that answer right.
    pub fn earlier_rule(&self) -> Option<&'static str> {
        let last = self.agenda.last_taken()?;
        let step = match self.agenda.reading(last) {
            Some(reading) => self.agenda.step(&reading.step)?,
            None => {
                let answers = self.agenda.answers();
                let mut answers = answers.into_iter();
                answers.find(|(outcome, _)| outcome.no() == last)?.1
            }
        };
        (step.rule != self.rule()).then_some(step.rule)
    }

    /// The rules that the last answers were heard with, the last one first, as far as they are others than
    /// that of now.
    fn earlier_rules(&self) -> Vec<&'static str> {
        let mut rules: Vec<&'static str> = self.earlier_rule().into_iter().collect();
        for (_, step) in self.agenda.answers().into_iter().take(STILL_PUT_RIGHT) {
            if step.rule != self.rule() && !rules.contains(&step.rule) {
                rules.push(step.rule);
            }
        }
        rules
    }

    /// What typed words mean where the session is; nothing when they mean nothing here.
    pub fn understand(&self, grammar: &Grammar, words: &str) -> Option<Intent> {
        grammar.understand(self.rule(), words).or_else(|| {
            let rules = self.earlier_rules();
            let mut said = rules.iter().map(|rule| grammar.understand(rule, words));
            said.find_map(|said| said.filter(Self::puts_right))
        })
    }

    /// The same for a typed line, in which loose words of the trade are understood too.
    pub fn understand_typed(&self, grammar: &Grammar, words: &str) -> Option<Intent> {
        if words.len() > LONGEST_UNDERSTOOD {
            return None;
        }
        let question = match self.agenda.question() {
            Some(Question::Reading(_) | Question::Statement(..)) => Some("question"),
            Some(
                Question::AllBack(..)
                | Question::Finish(..)
                | Question::Point(..)
                | Question::Circuit(..)
                | Question::IfOut(..)
                | Question::IfLive(_)
                | Question::NeverOut(..),
            ) => Some("no"),
            None => None,
        };
        let as_said = written_codes(words);
        let words = as_said.as_str();
        let loose = || grammar.understand_typed(self.rule(), question, words);
        // Commas tell what the grammar, which leaves them out, would have to guess.
        let parted = words.contains([',', ';']);
        let said = self
            .of_a_circuit(words)
            .filter(|_| parted)
            .or_else(|| grammar.understand_typed_first(self.rule(), words))
            .or_else(|| self.understand(grammar, words))
            .or_else(loose)
            .or_else(|| self.of_a_circuit(words))?;
        // Who asks "dead?" does not say so.
        let asks = words.trim_end().ends_with('?');
        (!asks || !said.is_a_permission()).then_some(said)
    }

    /// A circuit that is added, or more of it, typed with its commas as in a job's interview: what no
    /// grammar holds, such as its name, can stand there too.
    fn of_a_circuit(&self, words: &str) -> Option<Intent> {
        let asked = matches!(self.agenda.question(), Some(Question::Circuit(..)));
        if asked && CircuitWords::are(words) {
            return Some(Intent::Pieces(draft::pieces(words)));
        }
        let (number, said) = draft::added(words)?;
        Some(Intent::AddCircuit { number, said })
    }

    /// Whether something said can only be meant for an answer that was given: see
    /// [`Session::earlier_rule`].
    pub fn puts_right(said: &Intent) -> bool {
        matches!(said, Intent::Correction(Some(_)))
    }

    /// Goes one utterance forward.
    ///
    /// # Errors
    /// When an event would break one of the [`invariants`](super::invariants); nothing is changed
    /// then.
    pub fn turn(&mut self, said: &Intent, now: Timestamp) -> Result<Turn, String> {
        self.turn_by(said, How::default(), now)
    }

    /// The same for something typed: in a note the words are kept as they are.
    ///
    /// # Errors
    /// As [`Session::turn`].
    pub fn typed(&mut self, said: &Intent, words: &str, now: Timestamp) -> Result<Turn, String> {
        self.turn_by(said, How::typed(Some(words)), now)
    }

    /// The same for somebody who asked the voice to speak otherwise, and how it is since: typed, where there
    /// are words.
    ///
    /// # Errors
    /// As [`Session::turn`].
    pub fn spoken_to(
        &mut self,
        said: &Intent,
        words: Option<&str>,
        voice: ProsodyNow,
        now: Timestamp,
    ) -> Result<Turn, String> {
        let how = How {
            voice: Some(voice),
            ..How::typed(words)
        };
        self.turn_by(said, how, now)
    }

    /// What a finger held on a screen may answer now: whether this reading is right, and nothing else. No
    /// permission, no override and nothing that is out is given by touch.
    pub fn takes_touch(agenda: &Agenda) -> Option<EventNo> {
        match agenda.question() {
            Some(Question::Reading(no)) if agenda.mode() == Mode::Running => Some(*no),
            _ => None,
        }
    }

    /// "Affirm" by touch, of what the screen asked about; the log tells that it was by touch. Nothing
    /// where that is not what is asked now, or not answered so.
    ///
    /// # Errors
    /// As [`Session::turn`].
    pub fn touched(&mut self, about: EventNo, now: Timestamp) -> Result<Option<Turn>, String> {
        if Self::takes_touch(&self.agenda) != Some(about) {
            return Ok(None);
        }
        let how = How {
            by_touch: true,
            ..How::default()
        };
        let turn = self.turn_by(&Intent::Affirm, how, now)?;
        Ok(Some(turn))
    }

    /// The item of the inspection that is being told of.
    fn told_of(&self) -> Option<StepId> {
        let item = self.agenda.told_now()?.item?;
        Some(self.agenda.plan().item(item)?.id.clone())
    }

    fn turn_by(&mut self, said: &Intent, how: How<'_>, now: Timestamp) -> Result<Turn, String> {
        let mut events: Vec<Event> = self.came_back(now).into_iter().collect();
        let decided = if events.is_empty() {
            decide(&self.agenda, said)
        } else {
            let mut after = self.agenda.clone();
            for event in &events {
                after.apply(event, now);
            }
            decide(&after, said)
        };
        events.extend(decided);
        // What was typed in a note is kept, whatever else came of it.
        let noting = self.agenda.mode() == Mode::Noting && how.typed.is_some();
        let kept = |event: &Event| matches!(event, Event::Noted { .. } | Event::NoteEnded);
        if noting && !events.is_empty() && !events.iter().any(kept) && !said.only_asks() {
            let noted = Event::Noted {
                text: None,
                step: None,
            };
            events.insert(0, noted);
        }
        for event in &mut events {
            match event {
                Event::Affirmed { by_touch, .. } => *by_touch = how.by_touch,
                Event::Asked { voice, .. } => *voice = how.voice,
                Event::Noted { text, step } => {
                    *text = how.typed.map(str::to_owned);
                    *step = self
                        .told_of()
                        .or_else(|| self.agenda.current().map(|step| step.id.clone()));
                }
                _ => {}
            }
        }
        let following = followed(&self.agenda, &events, now);
        events.extend(following);
        self.take(events, now)
    }

    /// Keeps what came of something that the installation of a practice answered, and not the session:
    /// where the probes were put and what the instrument showed, with what would have refused a reading of
    /// it; that a device was switched on again; what came of what was done.
    pub fn practised(&mut self, event: Event, now: Timestamp) -> Turn {
        self.note(event, now)
    }

    /// Keeps what was hidden, once the session is finished.
    pub fn revealed(&mut self, faults: Vec<HiddenFault>, salt: String, now: Timestamp) -> Turn {
        // No law is about such events.
        self.take(vec![Event::Revealed { faults, salt }], now)
            .unwrap_or_default()
    }

    /// Asks at once whether it is live, where something like a warning was heard or typed on what
    /// should be dead. Nothing when nothing there should be dead.
    pub fn maybe_live(&mut self, words: &str, now: Timestamp) -> Option<Turn> {
        let step = self.agenda.current()?;
        let dead_work = decide::is_dead_work(&self.agenda, step) || step.incoming;
        let asked = matches!(self.agenda.question(), Some(Question::IfLive(_)));
        if !dead_work || asked || self.agenda.mode() == Mode::Finished {
            return None;
        }
        let event = Event::AskedIfLive {
            words: words.to_owned(),
        };
        Some(self.note(event, now))
    }

    /// Keeps an utterance that could have been two things, and asks again. An unclear sound is no
    /// sign that somebody is there.
    pub fn unclear(&mut self, words: &str, runner_up: Option<&str>, now: Timestamp) -> Turn {
        let event = Event::Unclear {
            words: words.to_owned(),
            runner_up: runner_up.map(str::to_owned),
            permission: None,
        };
        self.note(event, now)
    }

    /// Keeps what sounded like a permission and not surely enough, and asks for it in more words.
    pub fn unsure_permission(&mut self, words: &str, said: &Intent, now: Timestamp) -> Turn {
        let event = Event::Unclear {
            words: words.to_owned(),
            runner_up: None,
            permission: Some(said.clone()),
        };
        self.note(event, now)
    }

    /// Keeps typed words that mean nothing here. It decides nothing, not even that somebody came
    /// back: the absence goes on.
    pub fn not_taken(&mut self, words: &str, now: Timestamp) -> Turn {
        self.means_nothing(words, false, now)
    }

    /// Keeps that something was spoken that is none of the words of this step, and was left alone. Nothing
    /// is said to it, and it decides as little as [`Session::not_taken`].
    pub fn left_alone(&mut self, words: &str, now: Timestamp) -> Turn {
        self.means_nothing(words, true, now)
    }

    fn means_nothing(&mut self, words: &str, spoken: bool, now: Timestamp) -> Turn {
        let event = Event::NotTaken {
            words: words.to_owned(),
            spoken,
            step: self.agenda.current().map(|step| step.id.clone()),
        };
        // No law is about such events.
        self.take(vec![event], now).unwrap_or_default()
    }

    /// Keeps that a neighbour was heard. Like what is not taken it decides nothing.
    pub fn neighbour_heard(
        &mut self,
        whose: Option<String>,
        ms: u32,
        by: NeighbourSign,
        now: Timestamp,
    ) -> Turn {
        let event = Event::NeighbourHeard { whose, ms, by };
        // No law is about such events.
        self.take(vec![event], now).unwrap_or_default()
    }

    /// Keeps that the read-back of a reading was broken off. Like what is not taken it decides nothing.
    pub fn read_back_cut(&mut self, of: EventNo, now: Timestamp) -> Turn {
        // No law is about such events.
        self.take(vec![Event::ReadBackCut { of }], now)
            .unwrap_or_default()
    }

    /// What the step takes, for somebody who speaks and is not understood. Nothing where the program
    /// leads nobody or waits for nobody.
    pub fn what_is_taken(&self) -> Option<Line> {
        say::what_is_taken(&self.agenda)
    }

    /// What to say instead of what was spoken in other words than the step's; nothing as for
    /// [`Session::what_is_taken`].
    pub fn words_instead(&self, said: &Intent) -> Option<Line> {
        say::words_instead(&self.agenda, said)
    }

    /// Keeps something that decides nothing.
    fn note(&mut self, event: Event, now: Timestamp) -> Turn {
        let events = self.came_back(now).into_iter().chain([event]).collect();
        // No law is about such events.
        self.take(events, now).unwrap_or_default()
    }

    /// Checks the events of a turn, applies them and says what comes of them.
    fn take(&mut self, events: Vec<Event>, now: Timestamp) -> Result<Turn, String> {
        let mut watch = self.watch.clone();
        for event in &events {
            watch.check(event, now)?;
            watch.apply(event, now);
        }
        self.watch = watch;
        let lines = self.narrator.tell(&mut self.agenda, &events, now);
        Ok(Turn { events, lines })
    }

    /// The reminder due when nothing has been said for a while; nothing when nothing is out or
    /// the session waits.
    pub fn idle(&self) -> Option<Line> {
        Narrator::idle(&self.agenda)
    }

    /// A long silence with a board isolated: whoever left has to prove it dead again.
    fn came_back(&self, now: Timestamp) -> Option<Event> {
        let last = self.agenda.last_sure_at();
        let away = now.duration_since(last);
        let backwards = away.is_negative();
        let waits = matches!(self.agenda.mode(), Mode::Paused | Mode::Finished);
        let mut boards = self.agenda.job().boards.iter();
        let begun = boards.any(|board| self.agenda.isolation_begun(board.number));
        let gone = away > ABSENCE || backwards;
        (gone && !waits && begun).then(|| Event::CameBack {
            after_minutes: u32::try_from(away.as_mins().max(0)).unwrap_or(u32::MAX),
            anew: backwards || away > LONG_ABSENCE || is_another_day(now, last),
        })
    }
}

/// Why a log can't be taken up with a changed job.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotTakenUp {
    /// It can't be replayed.
    #[error(transparent)]
    Replay(#[from] ReplayError),
    /// The change would break one of the laws, which this says.
    #[error("the change of the job would break a law of the program: {0}; please report this")]
    Law(String),
}

/// The agenda and the laws where a log ends, and the event that takes it up.
fn taken_up<'a>(
    events: impl IntoIterator<Item = (&'a Event, Timestamp)>,
    run: Run<'_>,
    now: Timestamp,
) -> Result<(Agenda, Watch, Event), ReplayError> {
    let mut events = events.into_iter();
    let (first, at) = events.next().ok_or(ReplayError::Empty)?;
    let mut agenda = Agenda::open(first, at)?;
    let mut watch = Watch::over(&agenda);
    let mut last_boot = boot_of(first);
    for (event, at) in events {
        last_boot = boot_of(event).or(last_boot);
        watch.apply(event, at);
        agenda.apply(event, at);
    }
    let another_boot = run.boot.is_some() && last_boot.is_some() && last_boot != run.boot;
    let resumed = Event::Resumed {
        by: run.by.to_owned(),
        boot: run.boot.map(str::to_owned),
        anew: another_boot || now < agenda.last_event_at(),
        delivery: run.delivery,
    };
    Ok((agenda, watch, resumed))
}

/// The run of the machine that an event names.
fn boot_of(event: &Event) -> Option<&str> {
    match event {
        Event::Opened { boot, .. } | Event::Resumed { boot, .. } => boot.as_deref(),
        _ => None,
    }
}

/// What follows from these events, and from what follows.
fn followed(agenda: &Agenda, events: &[Event], now: Timestamp) -> Vec<Event> {
    let mut after = agenda.clone();
    for event in events {
        after.apply(event, now);
    }
    let mut all = Vec::new();
    // A question ends it, and so does everything ordered being listed.
    for _ in 0..4 {
        let next = follow(&after);
        if next.is_empty() {
            break;
        }
        for event in &next {
            after.apply(event, now);
        }
        all.extend(next);
    }
    all
}

/// Instruments past their calibration date.
fn overdue(agenda: &Agenda, now: Timestamp) -> Vec<Event> {
    let today = jiff::tz::Offset::UTC.to_datetime(now).date();
    agenda
        .job()
        .instruments
        .iter()
        .filter(|instrument| instrument.overdue_on(today))
        .filter_map(|instrument| {
            Some(Event::CalibrationOverdue {
                instrument: instrument.name.clone(),
                serial: instrument.serial.clone(),
                due: instrument.calibration_due?,
            })
        })
        .collect()
}
