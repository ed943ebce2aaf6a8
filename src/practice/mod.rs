//! Practice on a simulated installation: what a learner says changes it, and the instrument answers
//! whatever is probed. The installation itself is `bay`'s; the session is that of a real one.

mod follow;
mod hidden;
mod showing;

pub use follow::Followed;
pub use hidden::{Given, Hidden, HiddenError};

use crate::bay::{Bay, BayError, Conditions, ProbeError};
use crate::grammar::Intent;
use crate::installation::{Job, Phases, board_said};
use crate::quantity::Conductors;
use crate::sequence::probing::{self, Placed};
use crate::sequence::{Agenda, Event, Refusal};
use crate::terms::{BayEdition, Between, HiddenFault, Place, Probe, Setting, Shown};
use jiff::Timestamp;

/// A simulated installation, and what a learner has done to it so far.
#[derive(Debug, Clone)]
pub struct Bench {
    bay: Bay,
    followed: Followed,
    hidden: Hidden,
    edition: BayEdition,
    /// The last probing, and since when the probes are there.
    on: Option<(Probe, Timestamp)>,
    /// The conditions that were looked at last for what comes of them.
    looked_at: Option<Conditions>,
}

/// What has tripped.
struct Off {
    board: u16,
    /// The circuits that are without supply by it.
    circuits: Vec<u16>,
    /// The residual current device of several circuits that it is.
    rcd: Option<u16>,
}

impl Off {
    /// A residual current device of several circuits.
    fn of_several(agenda: &Agenda, board: u16, number: u16) -> Self {
        let boards = agenda.job().boards_said(board);
        let protected = boards.flat_map(|board| {
            let group = board.rcds.iter().find(|rcd| rcd.number == number);
            let circuits = board.circuits.iter().map(|circuit| circuit.number);
            circuits.filter(move |circuit| group.is_some_and(|group| group.protects(*circuit)))
        });
        let mut circuits: Vec<u16> = protected.collect();
        circuits.sort_unstable();
        Self {
            board,
            circuits,
            rcd: Some(number),
        }
    }
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
    /// Nothing is being tested.
    #[error("The probes are on nothing. Say where they are first.")]
    NothingOn,
    /// Nothing has tripped there.
    #[error("Nothing has tripped there: it is as it was left.")]
    NothingTripped,
    /// Several have tripped.
    #[error("Which one? Say it with its circuit: \"breaker on again on circuit one\".")]
    WhichDevice,
    /// It burst.
    #[error("It does not stay on: it is destroyed.")]
    Destroyed,
    /// The probes can't be there.
    #[error(transparent)]
    Probe(#[from] ProbeError),
}

impl Bench {
    /// The installation of a job with what is hidden in it, as it is found.
    ///
    /// # Errors
    /// When what is to be hidden can't be in that job.
    pub fn of(job: &Job, hidden: Hidden) -> Result<Self, BayError> {
        Self::as_of(job, hidden, BayEdition::NOW)
    }

    /// The same as an edition has it.
    ///
    /// # Errors
    /// As [`Bench::of`].
    pub fn as_of(job: &Job, hidden: Hidden, edition: BayEdition) -> Result<Self, BayError> {
        let bay = Bay::as_of(job, &hidden.faults, hidden.seed(), edition)?;
        Ok(Self::over(bay, hidden, edition))
    }

    fn over(bay: Bay, hidden: Hidden, edition: BayEdition) -> Self {
        Self {
            bay,
            followed: Followed::of(edition),
            hidden,
            edition,
            on: None,
            looked_at: None,
        }
    }

    /// The same installation with nothing hidden in it.
    ///
    /// # Errors
    /// As [`Bench::of`].
    pub fn sound(job: &Job, hidden: &Hidden, edition: BayEdition) -> Result<Self, BayError> {
        let bay = Bay::as_of(job, &[], hidden.seed(), edition)?;
        Ok(Self::over(bay, hidden.clone(), edition))
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
        let mut bench = Self::as_of(agenda.job(), hidden, agenda.bay_edition())?;
        for (event, at) in events {
            bench.follow_one(&agenda, event, at);
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
            self.follow_one(&agenda, event, at);
            if !matches!(event, Event::Opened { .. }) {
                agenda.apply(event, at);
            }
        }
    }

    /// Takes one event, given what stood before it. What a log says came of a probing has happened.
    pub fn follow_one(&mut self, before: &Agenda, event: &Event, at: Timestamp) {
        match event {
            Event::Probed { probe, came, .. } => {
                for consequence in came {
                    self.bay.remember(consequence);
                }
                if probe.held == 0 {
                    self.on = Some((probe.clone(), at));
                }
            }
            // Hands that do something else hold no probes.
            Event::Stated { .. }
            | Event::TakenOut { .. }
            | Event::PutBack { .. }
            | Event::SwitchedOn { .. } => self.on = None,
            _ => {}
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

    /// What comes of what has been done since this was asked last: devices that open a short circuit.
    pub fn came(&mut self, agenda: &Agenda) -> Option<Event> {
        if self.edition == BayEdition::First {
            return None;
        }
        let conditions = self.conditions(agenda);
        if self.looked_at.as_ref() == Some(&conditions) {
            return None;
        }
        let came = self.bay.overcurrents(&conditions);
        self.looked_at = Some(conditions);
        (!came.is_empty()).then_some(Event::Came { came })
    }

    /// Whether the installation answers this, and not the session.
    pub fn answers(said: &Intent) -> bool {
        matches!(
            said,
            Intent::Probe { .. } | Intent::WhatDoesItShow | Intent::SwitchedOn(_)
        )
    }

    /// What comes of something said that the installation answers: where the probes are, what the
    /// instrument shows by now, that what tripped is on again.
    ///
    /// # Errors
    /// When that can't be: what to say instead.
    pub fn answer(
        &mut self,
        agenda: &Agenda,
        said: &Intent,
        now: Timestamp,
    ) -> Result<Event, NotShown> {
        match said {
            Intent::SwitchedOn(circuit) => self.switched_on(agenda, *circuit),
            Intent::WhatDoesItShow => {
                let (probe, since) = self.on.clone().ok_or(NotShown::NothingOn)?;
                let held = now.duration_since(since).as_secs().clamp(0, 3600);
                let held = u16::try_from(held).unwrap_or(u16::MAX);
                self.shown_of(agenda, Probe { held, ..probe })
            }
            _ => {
                let probe = placed(agenda, said)?;
                self.shown_of(agenda, probe)
            }
        }
    }

    /// What tripped is on again: the device of a circuit, or one of several.
    fn switched_on(&self, agenda: &Agenda, circuit: Option<u16>) -> Result<Event, NotShown> {
        let here = agenda.current();
        let board = here.map_or_else(|| agenda.first_board(), |step| step.board);
        let board = board_said(board);
        let of_circuits = self.followed.tripped().map(|(on, number)| Off {
            board: on,
            circuits: vec![number],
            rcd: None,
        });
        let of_several = self
            .followed
            .tripped_rcds()
            .map(|(on, number)| Off::of_several(agenda, on, number));
        let off: Vec<Off> = of_circuits
            .chain(of_several)
            .filter(|off| circuit.is_none_or(|c| off.circuits.contains(&c)))
            .collect();
        // The number of a circuit is that of the board where the work is, where it has one.
        let on_board: Vec<&Off> = off
            .iter()
            .filter(|off| circuit.is_some() && off.board == board)
            .collect();
        let off: Vec<&Off> = if on_board.is_empty() {
            off.iter().collect()
        } else {
            on_board
        };
        let is_here = |off: &&&Off| {
            let asked = here.and_then(|step| agenda.group_of(step));
            let number = here.and_then(|step| step.circuit);
            let same = match off.rcd {
                Some(rcd) => asked.is_some_and(|group| group.number == rcd),
                None => number.is_some_and(|number| off.circuits.contains(&number)),
            };
            off.board == board && same
        };
        let off = match off.as_slice() {
            [] if self.followed.has_burst(circuit) => {
                return Err(NotShown::Destroyed);
            }
            [] => return Err(NotShown::NothingTripped),
            [only] => only,
            several => several.iter().find(is_here).ok_or(NotShown::WhichDevice)?,
        };
        Ok(Event::SwitchedOn {
            board: off.board,
            circuit: off.circuits.first().copied().unwrap_or_default(),
            rcd: off.rcd,
        })
    }

    fn shown_of(&mut self, agenda: &Agenda, probe: Probe) -> Result<Event, NotShown> {
        let (shown, came) = self.bay.probe(&self.for_probe(agenda, &probe), &probe)?;
        // A link or crossing that only the list expects is not on.
        let refusal = probing::refusal_of(agenda, &probe).filter(|refusal| match refusal {
            Refusal::Joined { entries } => entries.iter().any(|no| self.followed.was_said(*no)),
            _ => true,
        });
        Ok(Event::Probed {
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
        let board = board_said(probe.board);
        match probe.circuit {
            Some(circuit) if dead && conditions.main_switches_off.contains(&board) => {
                conditions.alone(board, circuit)
            }
            _ => conditions,
        }
    }
}

/// Where the learner says that the probes are.
fn placed(agenda: &Agenda, said: &Intent) -> Result<Probe, NotShown> {
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
    Ok(probe)
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
