use crate::installation::Job;
use crate::sequence::say::what_is_out;
use crate::sequence::{Agenda, Mode};
use jiff::Timestamp;
use serde::Serialize;

/// How far a job is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Standing {
    /// How many circuits it has.
    pub circuits: usize,
    /// On how many of them nothing is open.
    pub circuits_done: usize,
    /// How many steps are open.
    pub steps_open: usize,
    /// How many things are out.
    pub out: usize,
    /// What is out, in words.
    pub what_is_out: String,
    /// When something last happened; nothing when it was not begun.
    pub last: Option<Timestamp>,
    /// Whether it was ended.
    pub finished: bool,
}

impl Standing {
    /// Of a log.
    pub fn of(agenda: &Agenda) -> Self {
        let boards = agenda.job().boards.iter();
        let circuits = boards.flat_map(|b| b.circuits.iter().map(|c| (b.number, Some(c.number))));
        let waits = |place: &(u16, Option<u16>)| {
            agenda
                .open_steps()
                .any(|step| (step.board, step.circuit) == *place)
        };
        let circuits: Vec<_> = circuits.collect();
        Self {
            circuits_done: circuits.iter().filter(|place| !waits(place)).count(),
            circuits: circuits.len(),
            steps_open: agenda.open_steps().count(),
            out: agenda.open_entries().count(),
            what_is_out: what_is_out(agenda),
            last: Some(agenda.last_event_at()),
            finished: agenda.mode() == Mode::Finished,
        }
    }

    /// Of a job that was not begun.
    pub fn not_begun(job: &Job) -> Self {
        Self {
            circuits: job.boards.iter().map(|board| board.circuits.len()).sum(),
            circuits_done: 0,
            steps_open: 0,
            out: 0,
            what_is_out: String::new(),
            last: None,
            finished: false,
        }
    }
}
