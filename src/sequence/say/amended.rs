//! Words for a job that was changed on the way.

use super::about::{self, subject};
use super::line::Line;
use super::numbers::{capital, plural, value};
use crate::draft::{CircuitWords, spoken};
use crate::installation::{Job, board_said};
use crate::limits::Outcome;
use crate::sequence::agenda::Agenda;
use crate::sequence::amend::{ChangeRefusal, Changed, JobChange, circuit_of, job_changes};
use crate::sequence::facts::{EventNo, Step};
use crate::sequence::state::{ReadingRecord, count};

/// As many changes as are said aloud; the log has all.
const SAID: usize = 6;

/// What differs between two jobs, a sentence each.
pub fn changes(old: &Job, new: &Job) -> Vec<String> {
    let several = old.how_many_boards().max(new.how_many_boards()) > 1;
    let all = job_changes(old, new);
    all.iter().map(|change| one(change, several)).collect()
}

fn one(change: &JobChange, several: bool) -> String {
    let mut parts = Vec::new();
    match (change.board, change.circuit) {
        (Some(board), None) => parts.push(format!("board {}", board_said(board))),
        (Some(board), Some(circuit)) => {
            if several {
                parts.push(format!("board {}", board_said(board)));
            }
            parts.push(format!("circuit {circuit}"));
        }
        (None, _) => parts.push("the job".to_owned()),
    }
    parts.extend(change.point.as_ref().map(ToString::to_string));
    let place = capital(&parts.join(", "));
    match &change.how {
        Changed::Added => format!("{place}: added."),
        Changed::Removed => format!("{place}: taken out of the job."),
        Changed::Altered { key, from, to } => {
            let key = key.replace('_', " ").replace('.', ", ");
            match (from, to) {
                (Some(from), Some(to)) => format!("{place}, {key}: {to} in place of {from}."),
                (None, Some(to)) => format!("{place}, {key}: {to}."),
                (_, None) => format!("{place}, {key}: no longer given."),
            }
        }
    }
}

/// What is said of a changed job.
pub(super) fn changed(before: &Agenda, after: &Agenda) -> Vec<Line> {
    let mut said = changes(before.job(), after.job());
    let more = said.len().saturating_sub(SAID);
    said.truncate(SAID);
    if more > 0 {
        said.push(format!(
            "And {}.",
            plural(count(more), "more change", "more changes")
        ));
    }
    vec![Line::answer(format!(
        "The job is changed. {}",
        said.join(" ")
    ))]
}

/// Whether to add a circuit, as it was understood; or the first thing that is missing to it.
pub(super) fn circuit_asked(
    agenda: &Agenda,
    (board, number): (u16, u16),
    said: &[String],
) -> String {
    let wording = agenda.delivery().wording;
    let (agree, refuse) = (capital(wording.agree()), wording.refuse());
    let words = CircuitWords::of(number, said);
    let circuit = circuit_of(agenda.job(), board, number, said);
    match (words, circuit) {
        (Ok(words), Ok(circuit)) => {
            let unknown = words.not_known();
            let ask = match unknown.first() {
                Some(first) => format!(
                    "Not known: {}. Say the {first}; or {} to add it so, {refuse} to drop it.",
                    unknown.join(", "),
                    wording.agree()
                ),
                None => format!("{agree}, or {refuse}; or say what is otherwise."),
            };
            let assumed = words.assumed().map(|why| format!(" {}.", capital(&why)));
            format!(
                "Add {}?{} {ask}",
                spoken(&circuit),
                assumed.unwrap_or_default()
            )
        }
        (Err(why), _) | (_, Err(why)) => format!("Circuit {number}: {why}. Or {refuse}."),
    }
}

/// What is said of a reading that is judged otherwise now.
pub(super) fn judged_anew(of: EventNo, after: &Agenda) -> Option<Line> {
    let record = after.reading(of)?;
    let what = format!("{}: by the job as it is now", named(record, after)?);
    Some(match record.outcome() {
        Some(Outcome::Fail) => Line::warning(format!("{what} outside its limit.")),
        Some(Outcome::Pass) => Line::answer(format!("{what} within its limit.")),
        Some(Outcome::CannotSay) => Line::answer(format!("{what} to be looked at again.")),
        None => Line::answer(format!("{what} it has no limit.")),
    })
}

/// A reading with where it was taken, and of what.
pub(super) fn named(record: &ReadingRecord, agenda: &Agenda) -> Option<String> {
    let step = agenda.step(&record.step)?;
    let test = about::test_name(step).map(|test| format!(", {test}"));
    Some(format!(
        "{}{}, {}",
        capital(&subject(step)),
        test.unwrap_or_default(),
        value(&record.reading, agenda.delivery().wording)
    ))
}

/// Why a changed job is not taken, and what to do.
pub fn not_changed(agenda: &Agenda, why: &ChangeRefusal) -> String {
    match why {
        ChangeRefusal::Answered(steps) => {
            let mut lost: Vec<&Step> = steps.iter().filter_map(|id| agenda.step(id)).collect();
            // Steps that go by one name are named once.
            lost.dedup_by(|one, other| {
                let half = |step: &Step| step.measure().and_then(|measure| measure.half);
                one.beside(other)
                    && (one.stage, one.item()) == (other.stage, other.item())
                    && (&one.place, one.pair, half(one)) == (&other.place, other.pair, half(other))
            });
            let named = lost.iter().map(|step| match subject(step).as_str() {
                "" => format!("board {}, {}", board_said(step.board), step.stage.shown()),
                place => format!("{place}, {}", step.stage.shown()),
            });
            let mut named: Vec<String> = named.collect();
            let more = named.len().saturating_sub(SAID);
            named.truncate(SAID);
            let more = if more > 0 { format!("; and {more} more") } else { String::new() };
            format!(
                "What was tested already would be lost: {}{more}. Leave these in the job as they were, or \
                 begin a new log with --db.",
                named.join("; ")
            )
        }
        ChangeRefusal::StillOut(entries) => format!(
            "Still out on what would be taken out of the job: {}. Put it back and say so first.",
            about::entries(agenda, entries, ", ")
        ),
        ChangeRefusal::Isolated(board) => format!(
            "Circuits of board {} are isolated each by its own device, and what is added was not: go on with the job as it was; test it at a visit of its own.",
            board_said(*board)
        ),
        ChangeRefusal::Energised(board) => format!(
            "Board {} is energised, and what is added has dead tests. Go on with the job as it was, say \
             \"go to safe isolation\", stop, and change the job then.",
            board_said(*board)
        ),
        ChangeRefusal::Finished => {
            "The session is finished, and its record stays as it is. Begin a new log with --db.".to_owned()
        }
        ChangeRefusal::StaysOff(board, circuit) => format!(
            "Circuit {circuit} of board {} stays off, or is to be made safe first: leave it in the job.",
            board_said(*board)
        ),
        ChangeRefusal::Renumbered(board, circuit) => format!(
            "Circuit {circuit} of board {} was tested, and its name belongs to another number now. \
             Readings stay with the number: leave the numbers as they were, or begin a new log with --db.",
            board_said(*board)
        ),
        ChangeRefusal::AnotherHand => {
            "Something was tested already by who the job names and with its instruments. Leave these in \
             it (add others beside them), or begin a new log with --db."
                .to_owned()
        }
        ChangeRefusal::AnotherKind => {
            "Something was tested already as what the job was: new work and an installation in use have \
             different rules. Leave kind as it was, or begin a new log with --db."
                .to_owned()
        }
    }
}
