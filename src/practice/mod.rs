//! Practice on a simulated installation: what a learner says changes it, and the instrument answers
//! whatever is probed. The installation itself is `bay`'s; the session is that of a real one.

mod follow;
mod hidden;

pub use follow::Followed;
pub use hidden::{Hidden, HiddenError};

use crate::bay::{Bay, BayError, Conditions, ProbeError};
use crate::grammar::Intent;
use crate::installation::Job;
use crate::sequence::{Agenda, Event, probing};
use crate::terms::{Consequence, HiddenFault, Place, Probe, Setting, Shown};
use jiff::Timestamp;

/// A simulated installation, and what a learner has done to it so far.
#[derive(Debug, Clone)]
pub struct Bench {
    bay: Bay,
    followed: Followed,
    hidden: Hidden,
}

/// Why nothing is shown for a probing.
#[derive(Debug, thiserror::Error)]
pub enum NotShown {
    /// Nothing is asked for any more.
    #[error("Nothing is tested any more.")]
    Over,
    /// The probes can't be there.
    #[error(transparent)]
    Probe(#[from] ProbeError),
}

/// Where probes were put, what was shown, and what came of it.
pub type Answer = (Probe, Shown, Vec<Consequence>);

impl Bench {
    /// The installation of a job with what is hidden in it, as it is found.
    ///
    /// # Errors
    /// When what is to be hidden can't be in that job.
    pub fn of(job: &Job, hidden: Hidden) -> Result<Self, BayError> {
        Ok(Self {
            bay: Bay::of(job, &hidden.faults, hidden.seed())?,
            followed: Followed::default(),
            hidden,
        })
    }

    /// The same where a log has left it.
    ///
    /// # Errors
    /// As [`Bench::of`].
    pub fn resumed<'a>(
        hidden: Hidden,
        events: impl IntoIterator<Item = (&'a Event, Timestamp)>,
    ) -> Result<Option<Self>, BayError> {
        let mut events = events.into_iter();
        let Some((first, at)) = events.next() else {
            return Ok(None);
        };
        let Ok(mut agenda) = Agenda::open(first, at) else {
            return Ok(None);
        };
        let mut bench = Self::of(agenda.job(), hidden)?;
        for (event, at) in events {
            bench.follow_one(&agenda, event);
            agenda.apply(event, at);
        }
        Ok(Some(bench))
    }

    /// What is hidden.
    pub fn hidden(&self) -> &Hidden {
        &self.hidden
    }

    /// Takes the events of a turn, which was decided on `before`.
    pub fn follow(&mut self, before: &Agenda, events: &[Event], at: Timestamp) {
        let mut agenda = before.clone();
        for event in events {
            self.follow_one(&agenda, event);
            if !matches!(event, Event::Opened { .. }) {
                agenda.apply(event, at);
            }
        }
    }

    /// Takes one event, given what stood before it. What a log says came of a probing has happened.
    pub fn follow_one(&mut self, before: &Agenda, event: &Event) {
        if let Event::Probed { came, .. } = event {
            for consequence in came {
                self.bay.remember(consequence);
            }
        }
        self.followed.take(before, event);
    }

    /// The points whose electronics were destroyed, by board, circuit and place.
    pub fn destroyed(&self) -> impl Iterator<Item = (u16, u16, &Place)> {
        self.bay.destroyed()
    }

    /// The faults that are hidden, each with its circuit and place.
    pub fn faults(&self) -> &[HiddenFault] {
        self.bay.faults()
    }

    /// What a learner has altered, switched and locked by now.
    pub fn conditions(&self, agenda: &Agenda) -> Conditions {
        self.followed.conditions(agenda)
    }

    /// What the instrument shows where the learner says the probes are.
    ///
    /// # Errors
    /// When they can't be there: what to say instead.
    pub fn probe(&mut self, agenda: &Agenda, said: &Intent) -> Result<Answer, NotShown> {
        let Intent::Probe {
            setting,
            between,
            place,
        } = said
        else {
            return Err(NotShown::Over);
        };
        let probe =
            probing::probe(agenda, *setting, between, place.as_ref()).ok_or(NotShown::Over)?;
        let (shown, came) = self.bay.probe(&self.for_probe(agenda, &probe), &probe)?;
        Ok((probe, shown, came))
    }

    /// What would be shown there, without any effect.
    ///
    /// # Errors
    /// When the probes can't be there.
    pub fn truth(&self, agenda: &Agenda, probe: &Probe) -> Result<Shown, ProbeError> {
        self.bay.truth(&self.for_probe(agenda, probe), probe)
    }

    /// The installation as a probing meets it. Who measures continuity on one circuit of an isolated board has
    /// its conductors at the board free of the others: nobody says so. The bay itself does the same for
    /// insulation.
    fn for_probe(&self, agenda: &Agenda, probe: &Probe) -> Conditions {
        let conditions = self.conditions(agenda);
        let dead = probe.setting == Setting::Continuity;
        match probe.circuit {
            Some(circuit) if dead && conditions.main_switches_off.contains(&probe.board) => {
                conditions.alone(probe.board, circuit)
            }
            _ => conditions,
        }
    }
}
