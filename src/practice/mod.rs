//! Practice on a simulated installation: what a learner says changes it, and the instrument answers
//! whatever is probed. The installation itself is `bay`'s; the session is that of a real one.

mod follow;
mod hidden;

pub use follow::Followed;
pub use hidden::{Hidden, HiddenError};

use crate::bay::{Bay, BayError, Conditions, ProbeError};
use crate::grammar::Intent;
use crate::installation::{Job, Phases};
use crate::quantity::Conductors;
use crate::sequence::probing::{self, Placed};
use crate::sequence::{Agenda, Event, Refusal};
use crate::terms::{Between, Consequence, HiddenFault, Place, Probe, Setting, Shown};
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
    /// It was no probing.
    #[error("Say where the probes are.")]
    NoProbing,
    /// A place that is on no circuit of the board, or on several.
    #[error(
        "Which circuit? Say {0} with its circuit: \"probe line to neutral at {0} on circuit one\"."
    )]
    Place(Place),
    /// "Line" where there are three.
    #[error("Which line? Say line one, line two or line three.")]
    WhichLine,
    /// A bond, where there are several or none.
    #[error("Which bond? Say its part: \"probe bond at water pipe\".")]
    Bond,
    /// The probes can't be there.
    #[error(transparent)]
    Probe(#[from] ProbeError),
}

/// What comes of a probing.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Where the probes were put.
    pub probe: Probe,
    /// What was shown.
    pub shown: Shown,
    /// What came of it.
    pub came: Vec<Consequence>,
    /// What would have refused the reading of it on site.
    pub refusal: Option<Refusal>,
}

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

    /// The same installation with nothing hidden in it.
    ///
    /// # Errors
    /// As [`Bench::of`].
    pub fn sound(job: &Job, hidden: &Hidden) -> Result<Self, BayError> {
        Ok(Self {
            bay: Bay::of(job, &[], hidden.seed())?,
            followed: Followed::default(),
            hidden: hidden.clone(),
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
            circuit,
        } = said
        else {
            return Err(NotShown::NoProbing);
        };
        let placed = Placed {
            setting: *setting,
            between,
            place: place.as_ref(),
            circuit: *circuit,
        };
        let probe = probing::probe(agenda, placed).ok_or_else(|| match place {
            Some(place) => NotShown::Place(place.clone()),
            None => NotShown::Bond,
        })?;
        if is_any_line(agenda, &probe) {
            return Err(NotShown::WhichLine);
        }
        let (shown, came) = self.bay.probe(&self.for_probe(agenda, &probe), &probe)?;
        // A link or crossing that only the list expects is not on.
        let refusal = probing::refusal_of(agenda, &probe).filter(|refusal| match refusal {
            Refusal::Joined { entries } => entries.iter().any(|no| self.followed.was_said(*no)),
            _ => true,
        });
        Ok(Answer {
            probe,
            shown,
            came,
            refusal,
        })
    }

    /// What the instrument shows of a probing that a log holds, as the installation is by now.
    ///
    /// # Errors
    /// When the probes can't be there.
    pub fn shows(&mut self, agenda: &Agenda, probe: &Probe) -> Result<Shown, ProbeError> {
        Ok(self.bay.probe(&self.for_probe(agenda, probe), probe)?.0)
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

/// Whether "line" is said live where there are three of them: two probes are on one each.
fn is_any_line(agenda: &Agenda, probe: &Probe) -> bool {
    let Between::Pair(pair) = &probe.between else {
        return false;
    };
    let board = agenda.job().boards.iter().find(|b| b.number == probe.board);
    let phases = match (board, probe.circuit) {
        (Some(board), None) => Some(board.phases),
        (Some(board), Some(number)) => {
            let mut circuits = board.circuits.iter();
            circuits.find(|c| c.number == number).map(|c| c.phases)
        }
        _ => None,
    };
    let dead = matches!(
        probe.setting,
        Setting::Continuity | Setting::Insulation { .. }
    );
    phases == Some(Phases::Three) && !dead && pair.from() == Conductors::L
}
