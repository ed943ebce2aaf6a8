use super::decide::decide;
use super::event::{Event, EventNo, Mode};
use super::invariants;
use super::speak::{self, CAUTIONS, Line};
use super::state::{ABSENCE, OutEntry, ReplayError, State};
use crate::grammar::{Grammar, Said};
use crate::installation::Job;
use crate::limits::Tables;
use crate::terms::{Part, Stage};
use jiff::Timestamp;
use std::collections::BTreeSet;

/// A session in progress: a state, and how it goes forward. The caller keeps the events of each
/// turn before it speaks its lines.
#[derive(Debug, Clone)]
pub struct Session {
    state: State,
    /// Kinds of step whose full prompt was said since the session was begun or taken up.
    prompted: BTreeSet<&'static str>,
    /// The last refusal, which is not said in full twice running.
    refusal: Option<String>,
    /// The entry a live test was last said to show.
    exposed: Option<EventNo>,
}

/// What came of one utterance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Turn {
    /// To be kept first.
    pub events: Vec<Event>,
    /// To be said once the events are kept.
    pub lines: Vec<Line>,
}

impl Session {
    /// Begins a job. The turn holds the log's first event and the cautions.
    ///
    /// # Errors
    /// Never in practice: the first event is the right one by construction.
    pub fn begin(job: Job, by: &str, now: Timestamp) -> Result<(Self, Turn), ReplayError> {
        let event = Event::Opened {
            job: Box::new(job),
            by: by.to_owned(),
        };
        let mut state = State::open(&event, now)?;
        let mut lines: Vec<Line> = CAUTIONS.iter().map(|c| Line::warning(*c)).collect();
        let mut events = vec![event];
        for (event, line) in overdue(&state, now) {
            state.apply(&event, now);
            events.push(event);
            lines.push(line);
        }
        let mut session = Self::of(state);
        lines.push(session.due());
        Ok((session, Turn { events, lines }))
    }

    /// Takes up a session where its log ends, with a recap.
    pub fn resume(mut state: State, by: &str, now: Timestamp) -> (Self, Turn) {
        let finished = state.mode() == Mode::Finished;
        let event = Event::Resumed { by: by.to_owned() };
        let away = now.duration_since(state.last_event_at());
        state.apply(&event, now);
        let mut events = vec![event];
        let mut lines = vec![Line::warning(CAUTIONS[0]), Line::warning(CAUTIONS[1])];
        for (event, line) in overdue(&state, now) {
            state.apply(&event, now);
            events.push(event);
            lines.push(line);
        }
        lines.push(Line::answer(format!(
            "Resuming after {}. {}",
            speak::duration(away),
            speak::recap(&state)
        )));
        let mut session = Self::of(state);
        if !finished {
            session.due();
            lines.push(speak::prompt(&session.state).again());
        }
        (session, Turn { events, lines })
    }

    fn of(state: State) -> Self {
        Self {
            state,
            prompted: BTreeSet::new(),
            refusal: None,
            exposed: None,
        }
    }

    /// The same, comparing readings from now on with an edited copy of the tables.
    #[must_use]
    pub fn with_tables(self, tables: Tables) -> Self {
        Self {
            state: self.state.with_tables(tables),
            ..self
        }
    }

    /// The state now.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The prompt that is due: full the first time for a kind of step, brief later.
    pub fn prompt(&self) -> Line {
        let prompt = speak::prompt(&self.state);
        let said = |step: &super::plan::Step| self.prompted.contains(step.like);
        if self.state.current().is_some_and(said) {
            Line::prompt(prompt.brief)
        } else {
            prompt.due()
        }
    }

    /// The prompt that is due, now said.
    fn due(&mut self) -> Line {
        let line = self.prompt();
        if let Some(step) = self.state.current() {
            self.prompted.insert(step.like);
        }
        line
    }

    /// The grammar rule that answers are heard with now.
    pub fn rule(&self) -> &'static str {
        speak::prompt(&self.state).rule
    }

    /// The rule that the last reading was heard with, where another step with other words asks by
    /// now: "correction two nine nine" may still put that reading right.
    pub fn earlier_rule(&self) -> Option<&'static str> {
        let last = self.state.reading(self.state.last_taken()?)?;
        let rule = self.state.step(&last.step)?.rule;
        (rule != self.rule()).then_some(rule)
    }

    /// What typed words mean where the session is; nothing when they mean nothing here.
    pub fn understand(&self, grammar: &Grammar, words: &str) -> Option<Said> {
        grammar.understand(self.rule(), words).or_else(|| {
            grammar
                .understand(self.earlier_rule()?, words)
                .filter(Self::puts_right)
        })
    }

    /// Whether something said can only be meant for the last reading: see
    /// [`Session::earlier_rule`].
    pub fn puts_right(said: &Said) -> bool {
        matches!(said, Said::Correction(Some(_)))
    }

    /// Goes one utterance forward.
    ///
    /// # Errors
    /// When an event would break one of the [`invariants`]; nothing is changed then.
    pub fn turn(&mut self, said: &Said, now: Timestamp) -> Result<Turn, String> {
        let mut after = self.state.clone();
        let mut turn = Turn::default();
        if let Some((event, line)) = came_back(&after, now) {
            after.apply(&event, now);
            turn.events.push(event);
            turn.lines.push(line);
        }
        let reply = decide(&after, said);
        for event in &reply.events {
            invariants::check(&after, event)?;
            after.apply(event, now);
        }
        turn.events.extend(reply.events);
        turn.lines.extend(self.not_twice(&turn.events, reply.lines));
        let leaving = on_leaving(&self.state, &after);
        let stood = self.state.current().map(|step| step.order);
        self.state = after;
        match self.on_entering(stood) {
            Some(line) => turn.lines.push(line),
            None if turn.lines.iter().any(|l| l.text.contains("Still out")) => {}
            None => turn.lines.extend(leaving),
        }
        if wants_prompt(&turn.events, &self.state) {
            turn.lines.push(self.due());
        }
        Ok(turn)
    }

    /// A refusal that was just given is given again in brief: its first sentences only.
    fn not_twice(&mut self, events: &[Event], lines: Vec<Line>) -> Vec<Line> {
        let refused = matches!(events.last(), Some(Event::Refused { .. }));
        let text = lines.last().map(|line| line.text.clone());
        if !refused {
            self.refusal = None;
            return lines;
        }
        if self.refusal != text {
            self.refusal = text;
            return lines;
        }
        lines
            .into_iter()
            .map(|line| Line {
                text: in_brief(&line.text).to_owned(),
                ..line
            })
            .collect()
    }

    /// A live test that a conductor left out would spoil says so before it is made.
    fn on_entering(&mut self, stood: Option<usize>) -> Option<Line> {
        let step = self.state.current()?;
        if Some(step.order) == stood || !step.is_live_test() {
            return None;
        }
        let left = self
            .state
            .open_on(step.board, step.circuit?)
            .find(|entry| matches!(entry.part, Part::Conductors(_)) && !entry.linked)?;
        if self.exposed == Some(left.no) {
            return None;
        }
        let line = Line::reminder(format!(
            "{} is still out: this test may not read there, and that would be why.",
            speak::capital(&left.what())
        ));
        self.exposed = Some(left.no);
        Some(line)
    }

    /// Keeps an utterance that could have been two things, and asks again.
    pub fn unclear(&mut self, words: &str, runner_up: Option<&str>, now: Timestamp) -> Turn {
        let event = Event::Unclear {
            words: words.to_owned(),
            runner_up: runner_up.map(str::to_owned),
        };
        self.state.apply(&event, now);
        let text = match runner_up {
            Some(other) => format!("Say again: {words}, or {other}?"),
            None => "Say again?".to_owned(),
        };
        Turn {
            events: vec![event],
            lines: vec![Line::question(text)],
        }
    }

    /// Keeps the sound of a note, whatever its words.
    pub fn noted(&mut self, now: Timestamp) -> Turn {
        self.state.apply(&Event::Noted, now);
        Turn {
            events: vec![Event::Noted],
            lines: Vec::new(),
        }
    }

    /// The reminder due when nothing has been said for a while; nothing when nothing is out or
    /// the session waits.
    pub fn idle(&self) -> Option<Line> {
        let out: Vec<_> = self.state.open_entries().map(OutEntry::what).collect();
        let running = self.state.mode() == Mode::Running;
        (running && !out.is_empty())
            .then(|| Line::reminder(format!("Remember: out is {}.", out.join("; "))))
    }
}

/// Reminders when a circuit or a stage is left with things out.
fn on_leaving(before: &State, after: &State) -> Vec<Line> {
    let (Some(old), Some(new)) = (before.current(), after.current()) else {
        return Vec::new();
    };
    let left_circuit = (old.board, old.circuit) != (new.board, new.circuit);
    let left_stage = old.stage != new.stage;
    if !(left_circuit || left_stage) || new.stage == Stage::PutBack {
        return Vec::new();
    }
    let out: Vec<_> = after
        .open_entries()
        .filter(|entry| left_circuit || entry.circuit == old.circuit)
        .map(OutEntry::what)
        .collect();
    if out.is_empty() {
        return Vec::new();
    }
    vec![Line::reminder(format!("Still out: {}.", out.join("; ")))]
}

/// Whether the next prompt is due: something went forward, and nothing waits for an answer. After
/// a refusal or a question about the session the old prompt still stands.
fn wants_prompt(events: &[Event], after: &State) -> bool {
    let forward = events.iter().any(|event| {
        !matches!(
            event,
            Event::Refused { .. } | Event::Asked { .. } | Event::CameBack { .. }
        )
    });
    forward && after.mode() == Mode::Running && after.question().is_none()
}

/// The first sentence after "No.", or the first one.
fn in_brief(text: &str) -> &str {
    let from = if text.starts_with("No. ") { 4 } else { 0 };
    match text.get(from..).and_then(|rest| rest.find(". ")) {
        Some(end) => text.get(..=from + end).unwrap_or(text),
        None => text,
    }
}

/// A long silence with a board isolated: whoever left has to prove it dead again.
fn came_back(state: &State, now: Timestamp) -> Option<(Event, Line)> {
    let away = now.duration_since(state.last_event_at());
    let waits = matches!(state.mode(), Mode::Paused | Mode::Finished);
    let mut boards = state.job().boards.iter();
    if away <= ABSENCE || waits || !boards.any(|board| state.isolation_begun(board.number)) {
        return None;
    }
    let after_minutes = u32::try_from(away.as_mins()).unwrap_or(u32::MAX);
    Some((
        Event::CameBack { after_minutes },
        Line::warning(speak::came_back(away)),
    ))
}

/// Instruments past their calibration date.
fn overdue(state: &State, now: Timestamp) -> Vec<(Event, Line)> {
    let today = jiff::tz::Offset::UTC.to_datetime(now).date();
    state
        .job()
        .instruments
        .iter()
        .filter(|instrument| instrument.calibration_due < today)
        .map(|instrument| {
            let event = Event::CalibrationOverdue {
                instrument: instrument.name.clone(),
                serial: instrument.serial.clone(),
                due: instrument.calibration_due,
            };
            let line = Line::warning(speak::calibration_overdue(
                &instrument.name,
                &instrument.serial,
                instrument.calibration_due,
            ));
            (event, line)
        })
        .collect()
}
