//! A job that is changed on the way: what differs, whether it can be taken, and the events of it. What
//! was tested stays as it was; what it is compared with is the job as it is now.

use super::agenda::Agenda;
use super::facts::{Event, EventNo, Mode, StepId, StepKind};
use super::state::{OutEntry, ReadingStatus, StepOutcome, place_of};
use crate::draft::CircuitWords;
use crate::installation::{Board, Circuit, Instrument, Job, NotClear};
use crate::quantity::tidy;
use crate::terms::Place;
use jiff::Timestamp;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// One thing that differs between two jobs.
#[derive(Debug, Clone, PartialEq)]
pub struct JobChange {
    /// The board; none for the job as a whole.
    pub board: Option<u16>,
    /// The circuit on it.
    pub circuit: Option<u16>,
    /// The point on that.
    pub point: Option<Place>,
    /// How it differs.
    pub how: Changed,
}

/// How something differs.
#[derive(Debug, Clone, PartialEq)]
pub enum Changed {
    /// It is there now.
    Added,
    /// It is not there any more.
    Removed,
    /// A value is another one.
    Altered {
        /// The key in the job file: "cable.metres".
        key: String,
        /// As it was; nothing where it was not given.
        from: Option<String>,
        /// As it is now; nothing where it is not given.
        to: Option<String>,
    },
}

/// Why a changed job is not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ChangeRefusal {
    /// These steps were answered, and the job would have them no more.
    Answered(Vec<StepId>),
    /// These are out, on what the job would have no more.
    StillOut(Vec<EventNo>),
    /// What is added wants dead tests on a board that is energised.
    Energised(u16),
    /// The session is finished: what it says stays as it is.
    Finished,
    /// New work became work in use, or the other way round.
    AnotherKind,
    /// This circuit is to stay off, or to be made safe, and the job would have it no more.
    StaysOff(u16, u16),
    /// This circuit was tested, and its name belongs to another number now: board and circuit.
    Renumbered(u16, u16),
    /// The circuits of this board are isolated each by itself, and were: another is none of them.
    Isolated(u16),
    /// Something was tested, by somebody else or with an instrument that the job would have no more.
    AnotherHand,
}

/// Everything that differs between two jobs, in the order of the new one.
pub fn job_changes(old: &Job, new: &Job) -> Vec<JobChange> {
    let mut all = Vec::new();
    let mut found = |board, circuit, point: Option<Place>, how| {
        all.push(JobChange {
            board,
            circuit,
            point,
            how,
        });
    };
    for how in altered(old, new, &["board"]) {
        found(None, None, None, how);
    }
    for board in &old.boards {
        if new.boards.iter().all(|b| b.number != board.number) {
            found(Some(board.number), None, None, Changed::Removed);
        }
    }
    for board in &new.boards {
        let number = Some(board.number);
        let Some(before) = old.boards.iter().find(|b| b.number == board.number) else {
            found(number, None, None, Changed::Added);
            continue;
        };
        for how in altered(before, board, &["circuit"]) {
            found(number, None, None, how);
        }
        for circuit in &before.circuits {
            if board.circuits.iter().all(|c| c.number != circuit.number) {
                found(number, Some(circuit.number), None, Changed::Removed);
            }
        }
        for circuit in &board.circuits {
            let on = Some(circuit.number);
            let Some(before) = before.circuits.iter().find(|c| c.number == circuit.number) else {
                found(number, on, None, Changed::Added);
                continue;
            };
            for how in altered(before, circuit, &["point"]) {
                found(number, on, None, how);
            }
            for point in &before.points {
                let place = place_of(point);
                if circuit.points.iter().all(|p| place_of(p) != place) {
                    found(number, on, Some(place), Changed::Removed);
                }
            }
            for point in &circuit.points {
                let place = place_of(point);
                match before.points.iter().find(|p| place_of(p) == place) {
                    None => found(number, on, Some(place), Changed::Added),
                    Some(before) => {
                        for how in altered(before, point, &[]) {
                            found(number, on, Some(place.clone()), how);
                        }
                    }
                }
            }
        }
    }
    all
}

/// The values that differ, but for what is compared by itself.
fn altered(old: &impl serde::Serialize, new: &impl serde::Serialize, but: &[&str]) -> Vec<Changed> {
    let flat = |value: Option<Value>| {
        let mut all = Map::new();
        if let Some(Value::Object(table)) = value {
            for (key, value) in table {
                if !but.contains(&key.as_str()) {
                    flatten(&key, value, &mut all);
                }
            }
        }
        all
    };
    let old = flat(serde_json::to_value(old).ok());
    let new = flat(serde_json::to_value(new).ok());
    let gone = old.keys().filter(|key| !new.contains_key(*key));
    gone.chain(new.keys())
        .filter(|key| old.get(*key) != new.get(*key))
        .map(|key| Changed::Altered {
            key: key.clone(),
            from: old.get(key).map(written),
            to: new.get(key).map(written),
        })
        .collect()
}

/// The values of a table by their whole names; lists are one value.
fn flatten(name: &str, value: Value, all: &mut Map<String, Value>) {
    match value {
        Value::Object(table) => {
            for (key, value) in table {
                flatten(&format!("{name}.{key}"), value, all);
            }
        }
        Value::Null => {}
        value => {
            all.insert(name.to_owned(), value);
        }
    }
}

fn written(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(all) => all.iter().map(written).collect::<Vec<_>>().join(", "),
        Value::Object(table) => {
            let all = table
                .iter()
                .map(|(key, value)| format!("{key} {}", written(value)));
            all.collect::<Vec<_>>().join(" ")
        }
        Value::Number(number) => number.as_f64().map_or_else(|| number.to_string(), tidy),
        other => other.to_string(),
    }
}

/// The events of a changed job: the job itself with its text, and a new verdict for each reading that
/// is judged otherwise by what it says now. None when nothing differs.
///
/// # Errors
/// When it would take away what was answered or is out, add dead tests to a board that is energised
/// or tests to a session that is finished, or another circuit
/// to a board whose circuits are isolated each by itself, or make new work of what is in use.
pub fn change_job(
    agenda: &Agenda,
    job: &Job,
    text: &str,
    by: &str,
    now: Timestamp,
) -> Result<Vec<Event>, ChangeRefusal> {
    if job == agenda.job() {
        return Ok(Vec::new());
    }
    let changed = Event::JobChanged {
        job: Box::new(job.clone()),
        text: text.to_owned(),
        by: by.to_owned(),
    };
    let mut after = agenda.clone();
    after.apply(&changed, now);
    may_change(agenda, &after)?;
    let judged = judged_otherwise(agenda, &after);
    Ok([changed].into_iter().chain(judged).collect())
}

/// The circuit of which this was said, as the job's board would have it.
///
/// # Errors
/// With what is not understood or missing, or what no job can have, and what to say.
pub(super) fn circuit_of(
    job: &Job,
    board: u16,
    number: u16,
    said: &[String],
) -> Result<Circuit, NotClear> {
    let circuit = CircuitWords::of(number, said)?.circuit(number)?;
    let problems = |job: &Job| -> Vec<String> {
        let Ok(text) = toml::to_string(job) else {
            return Vec::new();
        };
        let found = Job::parse(&text, "job").err();
        let found = found.into_iter().flat_map(|wrong| wrong.problems);
        found.map(|problem| problem.text).collect()
    };
    let known = problems(job);
    let mut all = problems(&with_circuit(job, board, circuit.clone())).into_iter();
    match all.find(|problem| !known.contains(problem)) {
        Some(problem) => Err(NotClear(problem)),
        None => Ok(circuit),
    }
}

/// The job with one more circuit, in the order of their numbers where they stand so.
pub(super) fn with_circuit(job: &Job, board: u16, circuit: Circuit) -> Job {
    let mut job = job.clone();
    if let Some(board) = job.boards.iter_mut().find(|b| b.number == board) {
        let before = board
            .circuits
            .iter()
            .position(|c| c.number > circuit.number);
        let at = before.unwrap_or(board.circuits.len());
        board.circuits.insert(at, circuit);
    }
    job
}

fn may_change(before: &Agenda, after: &Agenda) -> Result<(), ChangeRefusal> {
    if before.mode() == Mode::Finished {
        return Err(ChangeRefusal::Finished);
    }
    let answered = answered(before);
    if !answered.is_empty() {
        as_it_was_tested(before.job(), after.job())?;
    }
    for board in &before.job().boards {
        for circuit in &board.circuits {
            stays_itself(before, after, board, circuit, &answered)?;
        }
    }
    let lost: Vec<StepId> = answered
        .into_iter()
        .filter(|id| after.step(id).is_none())
        .cloned()
        .collect();
    if !lost.is_empty() {
        return Err(ChangeRefusal::Answered(lost));
    }
    let out: Vec<EventNo> = before
        .open_entries()
        .filter(|entry| is_nowhere(before, after, entry))
        .map(|entry| entry.no)
        .collect();
    if !out.is_empty() {
        return Err(ChangeRefusal::StillOut(out));
    }
    // Each circuit of such a board is isolated by itself: one that comes later was not.
    for board in before
        .job()
        .boards
        .iter()
        .filter(|board| board.isolates_circuits())
    {
        let numbers = |board: &Board| -> BTreeSet<u16> {
            board
                .circuits
                .iter()
                .map(|circuit| circuit.number)
                .collect()
        };
        let same = after
            .board(board.number)
            .is_some_and(|now| numbers(now) == numbers(board));
        if before.isolation_begun(board.number) && !same {
            return Err(ChangeRefusal::Isolated(board.number));
        }
    }
    let mut added = after
        .plan()
        .steps
        .iter()
        .filter(|step| before.step(&step.id).is_none());
    let live = added.find(|step| {
        step.is_dead_test() && before.board(step.board).is_some() && before.energised(step.board)
    });
    match live {
        Some(step) => Err(ChangeRefusal::Energised(step.board)),
        None => Ok(()),
    }
}

/// The steps that have an answer, or a reading, whether it counts or not.
fn answered(agenda: &Agenda) -> BTreeSet<&StepId> {
    let closed = agenda.plan().steps.iter().filter(|step| {
        let outcome = agenda.outcome(step);
        outcome.is_some_and(|how| !matches!(how, StepOutcome::Skipped(..)))
    });
    let read = agenda.readings().map(|record| &record.step);
    closed.map(|step| &step.id).chain(read).collect()
}

/// What was tested was tested by somebody, with something, as work of one kind.
fn as_it_was_tested(was: &Job, is: &Job) -> Result<(), ChangeRefusal> {
    if was.kind != is.kind {
        return Err(ChangeRefusal::AnotherKind);
    }
    let kept = |i: &Instrument| is.instruments.iter().any(|o| o.serial == i.serial);
    let hands = was.tester == is.tester && was.supervisor == is.supervisor;
    if !hands || !was.instruments.iter().all(kept) {
        return Err(ChangeRefusal::AnotherHand);
    }
    Ok(())
}

/// A circuit that is off, or to be made safe, stays in the job; one that was touched keeps its number.
fn stays_itself(
    before: &Agenda,
    after: &Agenda,
    board: &Board,
    circuit: &Circuit,
    answered: &BTreeSet<&StepId>,
) -> Result<(), ChangeRefusal> {
    let at = (board.number, circuit.number);
    let on = |board: u16, circuit: Option<u16>| (board, circuit) == (at.0, Some(at.1));
    let now = after.circuit(at.0, at.1);
    let dangerous = || {
        let mut open = before.open_steps();
        open.any(|step| step.kind == StepKind::MakeSafe && on(step.board, step.circuit))
    };
    if now.is_none() && (before.stays_off(at.0, at.1) || dangerous()) {
        return Err(ChangeRefusal::StaysOff(at.0, at.1));
    }
    let mut steps = before.plan().on(at.0, Some(at.1));
    let touched = steps.any(|step| answered.contains(&step.id))
        || before.open_entries().any(|e| on(e.board, e.circuit));
    let renamed = now.is_none_or(|now| now.name != circuit.name);
    let elsewhere = || {
        let mut others = after.board(at.0).into_iter().flat_map(|b| &b.circuits);
        others.any(|other| other.number != at.1 && other.name == circuit.name)
    };
    if touched && renamed && elsewhere() {
        return Err(ChangeRefusal::Renumbered(at.0, at.1));
    }
    Ok(())
}

/// Whether the job has no more what is out, or the place where it is out.
fn is_nowhere(before: &Agenda, after: &Agenda, entry: &OutEntry) -> bool {
    let Some(number) = entry.circuit else {
        return after.board(entry.board).is_none();
    };
    let has_place = |circuit: &Circuit| {
        let mut points = circuit.points.iter();
        points.any(|point| Some(place_of(point)) == entry.place)
    };
    let Some(circuit) = after.circuit(entry.board, number) else {
        return true;
    };
    let had = before.circuit(entry.board, number).is_some_and(has_place);
    had && !has_place(circuit)
}

/// New verdicts for readings that stand, where the job makes the difference.
fn judged_otherwise(before: &Agenda, after: &Agenda) -> Vec<Event> {
    before
        .readings()
        .filter(|record| {
            matches!(
                record.status,
                ReadingStatus::Counts | ReadingStatus::Questioned
            )
        })
        .filter_map(|record| {
            let by = |agenda: &Agenda| {
                let step = agenda.step(&record.step)?;
                let procedure = agenda.procedure(step);
                Some(procedure.assess(agenda.state(), step, &record.reading))
            };
            let assessed = by(after)?;
            // What was not affirmed before is asked about no more than it was.
            let counts = record.status == ReadingStatus::Counts;
            // What else was measured since makes no difference here.
            (by(before)?.verdict != assessed.verdict).then_some(Event::JudgedAnew {
                of: record.no,
                doubt: assessed.doubt.filter(|_| counts),
                verdict: assessed.verdict,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Intent;
    use crate::sequence::{Session, say};
    use crate::terms::{Part, Statement};

    fn begun() -> (Agenda, Timestamp) {
        let text = include_str!("../../tests/jobs/boathouse.toml");
        let job = Job::parse(text, "boathouse.toml").unwrap();
        let now: Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
        let (session, _) = Session::begin(job, "test", now).unwrap();
        (session.state().clone(), now)
    }

    fn changed(agenda: &Agenda, change: impl FnOnce(&mut Job)) -> Job {
        let mut job = agenda.job().clone();
        change(&mut job);
        job
    }

    #[test]
    fn everything_that_differs_is_named_once() {
        let (agenda, _) = begun();
        let job = changed(&agenda, |job| {
            job.tester = "B. Learner".to_owned();
            let board = &mut job.boards[0];
            board.circuits[0].points.remove(0);
            board.circuits[1].name = "Lights".to_owned();
            if let Some(cable) = &mut board.circuits[1].cable {
                cable.metres = Some(35.0);
            }
            board.circuits.remove(2);
            let mut another = board.circuits[0].clone();
            another.number = 70;
            board.circuits.push(another);
        });
        let told = say::changes(agenda.job(), &job);
        assert_eq!(
            told,
            [
                "The job, tester: B. Learner in place of A. Learner.",
                "Circuit 3: taken out of the job.",
                "Circuit 1, socket 1: taken out of the job.",
                "Circuit 2, name: Lights in place of Lights, boat bay.",
                "Circuit 2, cable, metres: 35 in place of 31.",
                "Circuit 70: added.",
            ]
        );
    }

    #[test]
    fn nothing_is_taken_out_of_a_job_while_it_is_out() {
        let (mut agenda, now) = begun();
        let point = agenda.job().boards[0].circuits[0].points[0].clone();
        let out = Event::TakenOut {
            board: 1,
            circuit: Some(1),
            part: Part::Accessory,
            linked: false,
            place: Some(place_of(&point)),
            both: false,
            parked: None,
        };
        let no = agenda.next_event();
        agenda.apply(&out, now);
        for job in [
            changed(&agenda, |job| {
                job.boards[0].circuits[0].points.remove(0);
            }),
            changed(&agenda, |job| {
                job.boards[0].circuits.remove(0);
            }),
        ] {
            let refused = change_job(&agenda, &job, "", "test", now).unwrap_err();
            assert_eq!(refused, ChangeRefusal::StillOut(vec![no]));
            let told = say::not_changed(&agenda, &refused);
            assert!(
                told.contains("socket 1") && told.contains("Put it back"),
                "{told}"
            );
        }
        agenda.apply(&Event::PutBack { entries: vec![no] }, now);
        let job = changed(&agenda, |job| {
            job.boards[0].circuits.remove(0);
        });
        assert!(change_job(&agenda, &job, "", "test", now).is_ok());
    }

    #[test]
    fn a_session_that_is_finished_stays_as_it_is() {
        let (mut agenda, now) = begun();
        let finished = Event::Finished {
            left_open: 0,
            left_undone: 0,
        };
        agenda.apply(&finished, now);
        let more = changed(&agenda, |job| {
            let mut another = job.boards[0].circuits[0].clone();
            another.number = 70;
            job.boards[0].circuits.push(another);
        });
        let refused = change_job(&agenda, &more, "", "test", now).unwrap_err();
        assert_eq!(refused, ChangeRefusal::Finished);
        let renamed = changed(&agenda, |job| job.boards[0].name = "board".to_owned());
        let refused = change_job(&agenda, &renamed, "", "test", now).unwrap_err();
        assert_eq!(refused, ChangeRefusal::Finished);
        assert_eq!(
            change_job(&agenda, agenda.job(), "", "test", now),
            Ok(Vec::new())
        );
    }

    #[test]
    fn who_tested_with_what_stays_in_the_job_once_something_was_tested() {
        let (mut agenda, now) = begun();
        let another = |agenda: &Agenda| changed(agenda, |job| job.tester = "B. Other".to_owned());
        assert!(change_job(&agenda, &another(&agenda), "", "test", now).is_ok());
        let done = Intent::Stated(Statement::Done);
        let (mut session, _) = Session::begin(agenda.job().clone(), "test", now).unwrap();
        session.turn(&done, now).unwrap();
        agenda = session.state().clone();
        let refused = change_job(&agenda, &another(&agenda), "", "test", now).unwrap_err();
        assert_eq!(refused, ChangeRefusal::AnotherHand);
        let serial = changed(&agenda, |job| {
            job.instruments[0].serial = "OTHER".to_owned();
        });
        let refused = change_job(&agenda, &serial, "", "test", now).unwrap_err();
        assert_eq!(refused, ChangeRefusal::AnotherHand);
    }

    #[test]
    fn a_circuit_that_stays_off_stays_in_the_job() {
        let (mut agenda, now) = begun();
        let number = agenda.job().boards[0].circuits[0].number;
        let off = Event::StaysOff {
            board: agenda.job().boards[0].number,
            circuit: number,
        };
        agenda.apply(&off, now);
        let gone = changed(&agenda, |job| {
            let mut more = job.boards[0].circuits[0].clone();
            more.number = 71;
            more.name = "another".to_owned();
            job.boards[0].circuits.push(more);
            job.boards[0].circuits.remove(0);
        });
        let refused = change_job(&agenda, &gone, "", "test", now).unwrap_err();
        assert_eq!(
            refused,
            ChangeRefusal::StaysOff(agenda.job().boards[0].number, number)
        );
    }
}
