use crate::bay::{Altered, Conditions};
use crate::grammar::Intent;
use crate::installation::{Circuit, board_said};
use crate::sequence::{Agenda, Event, EventNo, OutEntry, Question, StepKind};
use crate::terms::{Alteration, BayEdition, Change, Consequence, Part, Stage, Statement};
use std::collections::BTreeSet;

/// What a learner has said that he did. An installation follows what is said, and nothing that was only
/// asked for: who forgets to cross a ring has not crossed it, whatever the list of what is out
/// expects.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Followed {
    /// Entries of the out-list that were said to be out.
    said: BTreeSet<EventNo>,
    /// Boards that were said to be isolated, and not energised since: as a whole, or their circuits where
    /// these are isolated by their own devices.
    isolated: BTreeSet<u16>,
    /// Circuits that were made safe by themselves.
    made_safe: BTreeSet<(u16, u16)>,
    /// Circuits whose line and neutral were said to be out of their terminals.
    out_of_terminals: BTreeSet<(u16, u16)>,
    /// Whether the leads were nulled.
    nulled: bool,
    /// Whether what tripped stays off.
    trips_stay: bool,
    /// Circuits whose device tripped and was not switched on since.
    tripped: BTreeSet<(u16, u16)>,
    /// Residual current devices of several circuits that tripped and were not switched on since, by board
    /// and their own number.
    tripped_rcds: BTreeSet<(u16, u16)>,
    /// Circuits whose device a short circuit destroyed.
    burst: BTreeSet<(u16, u16)>,
}

/// Whether an entry of the out-list is what was said to be out, linked or crossed.
fn is_that(entry: &OutEntry, said: &Alteration) -> bool {
    let part = match (entry.part, said.change) {
        (Part::Crossing(crossed), Change::Crossed) => said.part == Part::Conductors(crossed),
        (part, Change::Linked) => entry.linked && (said.part == part || said.part == Part::Link),
        (part, Change::Out) => {
            !entry.linked
                && (said.part == part || said.part == Part::RingEnds && entry.is_ring_end())
        }
        _ => false,
    };
    part && (said.place.is_none() || said.place == entry.place)
}

/// A circuit of a part of a live board is one of that board.
fn as_said((board, circuit): (u16, u16)) -> (u16, u16) {
    (board_said(board), circuit)
}

impl Followed {
    /// Of an installation that is found as an edition has it.
    pub(super) fn of(edition: BayEdition) -> Self {
        Self {
            trips_stay: edition > BayEdition::First,
            ..Self::default()
        }
    }

    /// The circuits whose device tripped and is still off.
    pub(super) fn tripped(&self) -> impl Iterator<Item = (u16, u16)> + '_ {
        self.tripped.iter().copied()
    }

    /// The residual current devices of several circuits that tripped and are still off.
    pub(super) fn tripped_rcds(&self) -> impl Iterator<Item = (u16, u16)> + '_ {
        self.tripped_rcds.iter().copied()
    }

    /// Whether a device has burst: that of the circuit with this number, where one is named.
    pub(super) fn has_burst(&self, circuit: Option<u16>) -> bool {
        let mut burst = self.burst.iter();
        burst.any(|(_, number)| circuit.is_none_or(|c| *number == c))
    }

    fn came(&mut self, came: &[Consequence]) {
        for consequence in came.iter().filter(|_| self.trips_stay) {
            match consequence {
                Consequence::Tripped { board, circuit }
                | Consequence::Shorted { board, circuit, .. } => {
                    self.tripped.insert((*board, *circuit));
                }
                Consequence::TrippedSeveral { board, rcd } => {
                    self.tripped_rcds.insert((*board, *rcd));
                }
                Consequence::Burst { board, circuit, .. } => {
                    self.burst.insert((*board, *circuit));
                }
                Consequence::Destroyed { .. }
                | Consequence::ProbedLive { .. }
                | Consequence::Settling => {}
            }
        }
    }

    /// Whether an entry of the out-list was said to be out.
    pub(super) fn was_said(&self, entry: EventNo) -> bool {
        self.said.contains(&entry)
    }

    /// Takes one event, given what stood before it.
    pub(super) fn take(&mut self, before: &Agenda, event: &Event) {
        match event {
            Event::TakenOut { .. } => {
                self.said.insert(before.next_event());
            }
            Event::Stated {
                step, statement, ..
            } => {
                // "Done" to a step that ordered something says that it is done.
                let ordered = before
                    .open_entries()
                    .filter(|entry| entry.ordered.as_ref() == Some(step));
                self.said.extend(ordered.map(|entry| entry.no));
                if let Some(step) = before.step(step) {
                    self.stated(
                        step.kind,
                        step.stage,
                        (step.board, step.circuit),
                        *statement,
                    );
                }
            }
            Event::Affirmed { of, .. } => {
                if let Some(Question::IfOut(asked, entries)) = before.question()
                    && asked == of
                {
                    self.said.extend(entries.iter().copied());
                }
            }
            // On the list already, by a reading that it was needed for: now it is said.
            Event::Asked {
                said: Intent::Altered(said),
                ..
            } => {
                let listed = before.open_entries().filter(|entry| is_that(entry, said));
                self.said.extend(listed.map(|entry| entry.no));
            }
            Event::Probed { came, .. } | Event::Came { came } => self.came(came),
            Event::SwitchedOn {
                board,
                rcd: Some(rcd),
                ..
            } => {
                self.tripped_rcds.remove(&(*board, *rcd));
            }
            Event::SwitchedOn { board, circuit, .. } => {
                self.tripped.remove(&(*board, *circuit));
            }
            Event::StaysOff { board, circuit } => {
                self.made_safe.insert((*board, *circuit));
            }
            _ => {}
        }
    }

    fn stated(
        &mut self,
        kind: StepKind,
        stage: Stage,
        (board, circuit): (u16, Option<u16>),
        statement: Statement,
    ) {
        let here = circuit.map(|circuit| (board, circuit));
        match kind {
            StepKind::Isolate | StepKind::Lock => {
                self.isolated.insert(board);
            }
            StepKind::MakeSafe | StepKind::OffLock => self.made_safe.extend(here),
            StepKind::OffTerminals => self.out_of_terminals.extend(here),
            _ => {}
        }
        if stage == Stage::Energise && statement == Statement::Energised {
            self.isolated.remove(&board);
            self.made_safe.retain(|(of, _)| *of != board);
        }
        if statement == Statement::Nulled {
            self.nulled = true;
        }
    }

    /// The circuit of what was altered at a point while no circuit was worked on: the first of the board that
    /// has the point.
    fn circuit_of(&self, agenda: &Agenda, entry: &OutEntry) -> Option<u16> {
        let place = entry.place.as_ref().filter(|_| self.trips_stay)?;
        let board = agenda
            .job()
            .boards
            .iter()
            .find(|b| b.number == entry.board)?;
        let has = |circuit: &&Circuit| circuit.points.iter().any(|p| p.place() == *place);
        board
            .circuits
            .iter()
            .find(has)
            .map(|circuit| circuit.number)
    }

    /// The installation as it has been left.
    pub(super) fn conditions(&self, agenda: &Agenda) -> Conditions {
        let boards = || agenda.job().boards.iter();
        let stays_off = boards().flat_map(|board| {
            let circuits = board.circuits.iter().map(|circuit| circuit.number);
            circuits
                .filter(|number| agenda.stays_off(board.number, *number))
                .map(|number| (board.number, number))
        });
        // Of a live board only the circuits that are worked on are off, each by its own device.
        let off = || boards().filter(|board| self.isolated.contains(&board.number));
        let alone = off()
            .filter(|board| board.isolates_circuits())
            .flat_map(|board| {
                let circuits = board.circuits.iter();
                circuits.map(|circuit| (board.number, circuit.number))
            });
        let whole = off().filter(|board| !board.isolates_circuits());
        let main_switches_off: BTreeSet<u16> = whole.map(|board| board.number).collect();
        let sources_off = if main_switches_off.is_empty() {
            Vec::new()
        } else {
            // Every source but the mains, which the main switches part from.
            let sources = agenda.job().supply.sources.iter().copied();
            sources
                .filter(|source| *source != crate::installation::Source::Mains)
                .collect()
        };
        Conditions {
            main_switches_off,
            devices_off: [&self.made_safe, &self.tripped, &self.burst]
                .into_iter()
                .flatten()
                .copied()
                .chain(stays_off)
                .chain(alone)
                .map(as_said)
                .collect(),
            rcds_off: self.tripped_rcds.clone(),
            out_of_terminals: self.out_of_terminals.iter().copied().map(as_said).collect(),
            sources_off,
            leads_nulled: self.nulled,
            altered: agenda
                .open_entries()
                .filter(|entry| self.said.contains(&entry.no))
                .map(|entry| Altered {
                    board: board_said(entry.board),
                    circuit: entry.circuit.or_else(|| self.circuit_of(agenda, entry)),
                    part: entry.part,
                    place: entry.place.clone(),
                    both: entry.both,
                    linked: entry.linked,
                })
                .collect(),
        }
    }
}
