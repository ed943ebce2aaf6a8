//! What the server and a session share.

use super::downlink::Downlink;
use super::pairing::Pairing;
use super::uplink::{Tail, Uplink};
use super::watching::Watched;
use crate::dialogue::screen::ScreenView;
use crate::sequence::EventNo;
use anyhow::bail;
use serde::Serialize;
use std::sync::mpsc::{Sender, SyncSender};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// A finger held on the page's one button.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Touch {
    pub about: EventNo,
    pub held: Duration,
}

/// What a session wants of its phone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Wants {
    /// Its microphone.
    pub hears: bool,
    /// Its voice.
    pub speaks: bool,
}

pub(crate) struct Shared {
    state: Mutex<State>,
    /// Counts what changed; a page waits for the next.
    changes: watch::Sender<u64>,
    /// The same of every phone that is served, for whoever watches them all.
    any: Arc<watch::Sender<u64>>,
    pub(super) wants: Wants,
    /// Whose phone it is; empty where there is but one.
    pub(super) learner: String,
}

pub(super) struct State {
    pub pairing: Pairing,
    pub view: ScreenView,
    pub uplink: Uplink,
    pub downlink: Downlink,
    pub touches: Sender<Touch>,
    /// Told once, when the phone is ready.
    pub ready: SyncSender<()>,
    pub last_sound: Option<Instant>,
    /// What an instructor sees of the session.
    pub watched: Watched,
    /// What he hears of it.
    pub tail: Tail,
    /// For the person, until somebody takes them.
    pub notices: Vec<String>,
    /// The session is over.
    pub ended: bool,
}

/// What a page shows and says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct News {
    /// To ask for what comes after it.
    pub change: u64,
    pub place: String,
    pub asked: String,
    pub mode: String,
    pub last: Option<(String, String)>,
    pub out: Vec<String>,
    /// The newest last.
    pub said: Vec<String>,
    pub listening: bool,
    /// What a held finger answers.
    pub affirms: Option<u64>,
    /// The code of another phone that asks to take this one's place.
    pub asked_by: Option<String>,
    /// What is to be said, in order: what was taken from the list is not said any more.
    pub say: Vec<super::downlink::Item>,
    pub wants: Wants,
    /// Whether an instructor listens.
    pub overheard: bool,
    pub ended: bool,
}

/// Lines of the dialogue on the page.
const SAID: usize = 8;

impl Shared {
    pub(super) fn new(
        state: State,
        wants: Wants,
        learner: String,
        any: Arc<watch::Sender<u64>>,
    ) -> Self {
        Self {
            state: Mutex::new(state),
            changes: watch::Sender::new(0),
            any,
            wants,
            learner,
        }
    }

    pub(super) fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Changes something that the page shows or says.
    pub(super) fn change<T>(&self, change: impl FnOnce(&mut State) -> T) -> T {
        let came = change(&mut self.lock());
        self.changes.send_modify(|changes| *changes += 1);
        self.any.send_modify(|changes| *changes += 1);
        came
    }

    pub(super) fn changes(&self) -> watch::Receiver<u64> {
        self.changes.subscribe()
    }

    pub(super) fn last_sound(&self) -> Option<Instant> {
        self.lock().last_sound
    }

    pub(super) fn gaps(&self) -> u64 {
        self.lock().uplink.gaps()
    }

    /// What the page is told now.
    pub(super) fn news(&self) -> News {
        let change = *self.changes.borrow();
        let state = self.lock();
        let view = &state.view;
        let skip = view.dialogue.len().saturating_sub(SAID);
        News {
            change,
            place: view.place.clone(),
            asked: view.asked.clone(),
            mode: view.mode.clone(),
            last: view.last.clone(),
            out: view.out.clone(),
            said: view.dialogue.iter().skip(skip).cloned().collect(),
            listening: view.listening,
            affirms: view.affirms.filter(|_| self.wants.hears).map(|no| no.0),
            asked_by: state.pairing.asked_by(Instant::now()).map(str::to_owned),
            say: state.downlink.items(),
            wants: self.wants,
            overheard: state.tail.is_wanted(Instant::now()),
            ended: state.ended,
        }
    }

    /// Takes a finger on the page.
    pub(super) fn touch(&self, touch: Touch) -> anyhow::Result<()> {
        let state = self.lock();
        if state.touches.send(touch).is_err() {
            bail!("the session has ended");
        }
        Ok(())
    }
}
