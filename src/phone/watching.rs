//! What an instructor sees and hears of the sessions of a room, and changes nothing of.

use super::pairing::Pairing;
use super::room::LearnerAt;
use super::shared::Shared;
use crate::sequence::{Agenda, Event, OutEntry, say};
use serde::Serialize;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// Refusals that are shown.
const REFUSED: usize = 3;
/// Without sound for so long a phone is not heard.
const SILENT: Duration = Duration::from_secs(2);

/// What is seen of a session. Unlike the learner's own page it hides nothing of where he is.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub(super) struct Watched {
    job: String,
    practice: bool,
    place: String,
    asked: String,
    /// What is out or ordered out; nothing is known of it before the session goes on.
    out: Option<Vec<String>>,
    /// What was asked for and refused, and why; the newest last.
    refused: VecDeque<String>,
    /// How often sound was a neighbour's.
    neighbours: u64,
}

impl Watched {
    /// What is known before it begins.
    pub(super) fn of(at: &LearnerAt) -> Self {
        Self {
            job: at.job.clone(),
            practice: at.practice,
            ..Self::default()
        }
    }

    /// Takes what it shows from a session.
    pub(super) fn follow(&mut self, agenda: &Agenda) {
        self.job.clone_from(&agenda.job().title);
        self.practice = agenda.practises();
        self.place = say::where_are_we(agenda);
        self.asked = say::prompt_in_full(agenda).full;
        self.out = Some(agenda.open_entries().map(OutEntry::what).collect());
    }

    /// Takes what was kept.
    pub(super) fn kept(&mut self, event: &Event) {
        if matches!(event, Event::NeighbourHeard { .. }) {
            self.neighbours += 1;
        }
        if let Event::Refused { said, refusal } = event {
            self.refused.push_back(say::refused_to(said, refusal));
            if self.refused.len() > REFUSED {
                self.refused.pop_front();
            }
        }
    }
}

/// The instructor of a room.
pub(super) struct Watching {
    state: Mutex<Watcher>,
    any: Arc<watch::Sender<u64>>,
}

/// Which page is his.
pub(super) struct Watcher {
    pub pairing: Pairing,
    /// For the person at the bench, until somebody takes them.
    pub notices: Vec<String>,
}

/// One learner on the instructor's page.
#[derive(Serialize)]
struct Learner {
    learner: String,
    #[serde(flatten)]
    watched: Watched,
    mode: String,
    last: Option<(String, String)>,
    paired: bool,
    /// In decibels below full scale; nothing where no sound comes.
    level: Option<f32>,
    ended: bool,
}

/// What the instructor's page shows.
#[derive(Serialize)]
pub(super) struct Seen {
    change: u64,
    asked_by: Option<String>,
    learners: Vec<Learner>,
}

impl Watching {
    pub(super) fn new(any: Arc<watch::Sender<u64>>) -> anyhow::Result<Self> {
        let watcher = Watcher {
            pairing: Pairing::new(Instant::now())?,
            notices: Vec::new(),
        };
        Ok(Self {
            state: Mutex::new(watcher),
            any,
        })
    }

    pub(super) fn lock(&self) -> MutexGuard<'_, Watcher> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Changes something that the page shows.
    pub(super) fn change<T>(&self, change: impl FnOnce(&mut Watcher) -> T) -> T {
        let came = change(&mut self.lock());
        self.any.send_modify(|changes| *changes += 1);
        came
    }

    pub(super) fn changes(&self) -> watch::Receiver<u64> {
        self.any.subscribe()
    }

    /// What the page is told now.
    pub(super) fn seen(&self, phones: &[Arc<Shared>]) -> Seen {
        let now = Instant::now();
        Seen {
            change: *self.any.borrow(),
            asked_by: self.lock().pairing.asked_by(now).map(str::to_owned),
            learners: phones.iter().map(|phone| learner(phone, now)).collect(),
        }
    }
}

fn learner(phone: &Shared, now: Instant) -> Learner {
    let state = phone.lock();
    let heard = |last: Instant| now.duration_since(last) < SILENT;
    Learner {
        learner: phone.learner.clone(),
        watched: state.watched.clone(),
        mode: state.view.mode.clone(),
        last: state.view.last.clone(),
        paired: state.pairing.is_there(now),
        level: state
            .tail
            .level
            .filter(|_| state.last_sound.is_some_and(heard)),
        ended: state.ended,
    }
}
