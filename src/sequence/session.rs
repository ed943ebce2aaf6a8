use super::decide::decide;
use super::event::{Event, Mode};
use super::invariants;
use super::speak::{self, CAUTIONS, Line};
use super::state::{OutEntry, ReplayError, State};
use crate::grammar::{Said, Stage};
use crate::installation::Job;
use jiff::Timestamp;

/// A session in progress: a state, and how it goes forward. The caller keeps the events of each
/// turn before it speaks its lines.
#[derive(Debug, Clone)]
pub struct Session {
    state: State,
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
        let state = State::open(&event, now)?;
        let mut lines: Vec<Line> = CAUTIONS.iter().map(|c| Line::warning(*c)).collect();
        lines.extend(overdue(&state, now));
        let session = Self { state };
        lines.push(session.prompt());
        let turn = Turn {
            events: vec![event],
            lines,
        };
        Ok((session, turn))
    }

    /// Takes up a session where its log ends, with a recap.
    pub fn resume(mut state: State, by: &str, now: Timestamp) -> (Self, Turn) {
        let finished = state.mode() == Mode::Finished;
        let event = Event::Resumed { by: by.to_owned() };
        let away = now.duration_since(state.last_event_at());
        state.apply(&event, now);
        let mut lines = vec![Line::warning(CAUTIONS[0]), Line::warning(CAUTIONS[1])];
        lines.extend(overdue(&state, now));
        lines.push(Line::answer(format!(
            "Resuming after {}. {}",
            speak::duration(away),
            speak::recap(&state)
        )));
        if !finished {
            lines.push(speak::prompt(&state).again());
        }
        let turn = Turn {
            events: vec![event],
            lines,
        };
        (Self { state }, turn)
    }

    /// The state now.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The prompt that is due.
    pub fn prompt(&self) -> Line {
        speak::prompt(&self.state).due()
    }

    /// The grammar rule that answers are heard with now.
    pub fn rule(&self) -> &'static str {
        speak::prompt(&self.state).rule
    }

    /// Goes one utterance forward.
    ///
    /// # Errors
    /// When an event would break one of the [`invariants`]; nothing is changed then.
    pub fn turn(&mut self, said: &Said, now: Timestamp) -> Result<Turn, String> {
        let before = self.state.clone();
        let reply = decide(&before, said);
        let mut after = before.clone();
        for event in &reply.events {
            invariants::check(&after, event)?;
            after.apply(event, now);
        }
        let mut lines = reply.lines;
        lines.extend(on_leaving(&before, &after));
        if wants_prompt(&reply.events, &after) {
            lines.push(speak::prompt(&after).due());
        }
        self.state = after;
        Ok(Turn {
            events: reply.events,
            lines,
        })
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
            Event::Refused { .. } | Event::Asked { .. } | Event::Overridden { .. }
        )
    });
    forward && after.mode() == Mode::Running && after.question().is_none()
}

/// Instruments past their calibration date.
fn overdue(state: &State, now: Timestamp) -> Vec<Line> {
    let today = jiff::tz::Offset::UTC.to_datetime(now).date();
    state
        .job()
        .instruments
        .iter()
        .filter(|instrument| instrument.calibration_due < today)
        .map(|instrument| {
            Line::warning(format!(
                "{}, serial {}: calibration was due {}. It is recorded.",
                instrument.name, instrument.serial, instrument.calibration_due
            ))
        })
        .collect()
}
