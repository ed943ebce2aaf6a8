//! What is taken out, linked or put back, said back; and what is still out.

use super::about;
use super::brief::Form;
use super::line::Line;
use super::numbers::capital;
use super::practice;
use super::refusals::to_isolation;
use crate::installation::Board;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Edition, Event, EventNo, Step, StepKind};
use crate::sequence::procedures::to_put_back;
use crate::sequence::state::{OutEntry, goes_on, place_of};
use crate::terms::{Change, Part, Place, Stage};

/// What is said of something altered.
pub(super) fn told(before: &Agenda, event: &Event, after: &Agenda, form: Form) -> Vec<Line> {
    match event {
        Event::TakenOut { .. } => stop(before, event)
            .into_iter()
            .chain(taken_out(after, form))
            .collect(),
        Event::PutBack { entries } => put_back(before, entries, after, form),
        Event::StaysOff { board, circuit } => {
            let named = about::on_which_board(after.state(), *board, *circuit);
            vec![Line::read_back(format!("{named} stays off."))]
        }
        _ => Vec::new(),
    }
}

/// The warning before what is taken out or joined on what is live.
fn stop(before: &Agenda, event: &Event) -> Option<Line> {
    let Event::TakenOut { board, part, .. } = event else {
        return None;
    };
    // Circuits are off, and what belongs to all of the board is not.
    let stays_live = || before.board(*board).is_some_and(Board::isolates_circuits);
    let of_all = matches!(part, Part::EarthingConductor | Part::Bond);
    if before.energised(*board) {
        Some(Line::warning(
            if before.plan().isolation(*board).next().is_some() {
                format!(
                    "Stop. You said it is energised: nothing is taken out or joined live. Isolate it and prove it dead: say {}.",
                    to_isolation()
                )
            } else {
                "Stop. The board is live and stays so: at this visit nothing is taken out or joined. What needs that is another job, with isolation.".to_owned()
            },
        ))
    } else if of_all && stays_live() {
        Some(Line::warning(
            "Stop. The rest of the board is live: earthing and bonds stay on. What needs them off is another job, with isolation.",
        ))
    } else if before.edition() >= Edition::Fourth && before.unlocked(*board) {
        Some(Line::warning(
            "Stop. The locks are off. Touch nothing more: lock off again and prove it dead first.",
        ))
    } else {
        // Of a simulated installation it is known that nobody has switched it off yet.
        practice::is_never_off(before, event).then(|| Line::warning(practice::NEVER_OFF))
    }
}

/// Something put on the out-list, said back.
fn taken_out(after: &Agenda, form: Form) -> Vec<Line> {
    let Some(entry) = after.out_list().last() else {
        return Vec::new();
    };
    let parked = entry
        .parked
        .map(|parked| format!(", {parked}"))
        .unwrap_or_default();
    let what = capital(&about::as_it_is(after, entry));
    // What is counted is told with how many there are by now.
    let same = |other: &&OutEntry| {
        (other.board, other.circuit) == (entry.board, entry.circuit)
            && (other.part, other.both, other.linked) == (entry.part, entry.both, entry.linked)
            && other.place == entry.place
    };
    let many = after.sure_entries().filter(same).count();
    let as_a_line = match form {
        Form::Tone if many <= 1 => Line::tone,
        _ => Line::read_back,
    };
    let mut lines = vec![as_a_line(match form {
        _ if many > 1 => format!("{what}{parked}. {many} of them are on the list."),
        Form::Whole => format!("{what}{parked}. On the list until it is back."),
        Form::Bare | Form::Tone if !entry.linked => format!("{what}{parked}."),
        Form::Bare | Form::Tone => {
            format!("{}{parked}.", capital(Change::Linked.shown()))
        }
    })];
    let circuit = entry
        .circuit
        .and_then(|number| after.circuit(entry.board, number));
    let feeds_on = circuit.is_some_and(|circuit| {
        let mut points = circuit.points.iter();
        points
            .any(|point| Some(place_of(point)) == entry.place && goes_on(Some(circuit.kind), point))
    });
    let one_of_two =
        matches!(entry.part, Part::Conductors(c) if c.count() == 1) && !entry.linked && !entry.both;
    if feeds_on && one_of_two {
        lines.push(Line::reminder(
            "The circuit goes on from there. Keep the two conductors joined together; say both when both are out.",
        ));
    }
    lines
}

/// Whether this very entry is what a step asks to be put back.
fn puts_back(agenda: &Agenda, step: &Step, entry: &OutEntry) -> bool {
    let here = (entry.board, entry.circuit) == (step.board, step.circuit);
    // A ring's ends are out for all of its test, which ends with them.
    if here && step.stage == Stage::Ring && entry.is_ring_end() {
        return true;
    }
    match step.kind {
        StepKind::PutBack => to_put_back(agenda.state(), step).any(|asked| asked.no == entry.no),
        StepKind::RingUncrossNeutral | StepKind::RingUncrossEarth => {
            here && matches!(entry.part, Part::Crossing(_))
        }
        StepKind::ContinuityUnlink
        | StepKind::InsulationUnlink
        | StepKind::InsulationReconnectedUnlink => here && entry.linked,
        _ => false,
    }
}

/// What an entry goes by when it is back: the link and the crossing by that alone in brief.
#[derive(PartialEq)]
enum Name {
    Link,
    Crossing,
    Thing(Part, Option<Place>, bool, bool),
}

fn name_of(entry: &OutEntry, form: Form) -> Name {
    match entry.part {
        Part::Crossing(_) if entry.linked && form != Form::Whole => Name::Crossing,
        _ if entry.linked && form != Form::Whole => Name::Link,
        part => Name::Thing(part, entry.place.clone(), entry.both, entry.linked),
    }
}

/// An entry that is back, said back.
fn is_back(entry: &OutEntry, form: Form) -> Line {
    let described = || {
        entry
            .part
            .described(entry.place.as_ref(), entry.both, false)
    };
    Line::read_back(match (name_of(entry, form), entry.part) {
        (Name::Crossing, _) => "Crossing off.".to_owned(),
        (Name::Link, _) => "Link off.".to_owned(),
        (Name::Thing(..), Part::Crossing(_)) if entry.linked => format!("Off: {}.", described()),
        (Name::Thing(..), _) if entry.linked => format!("Link off: {}.", described()),
        (Name::Thing(..), _) => format!("{} back.", capital(&entry.what())),
    })
}

/// Entries that are back, said back, and what is not.
fn put_back(before: &Agenda, numbers: &[EventNo], after: &Agenda, form: Form) -> Vec<Line> {
    let mut back: Vec<&OutEntry> = before
        .open_entries()
        .filter(|entry| numbers.contains(&entry.no))
        .collect();
    // What goes by one name is told once.
    back.dedup_by_key(|entry| name_of(entry, form));
    let mut lines: Vec<Line> = back.into_iter().map(|entry| is_back(entry, form)).collect();
    let ends = before
        .current()
        .filter(|now| now.kind == StepKind::RingEndsBack);
    let ends_left = |now: &Step| after.open_on(now.board, now.circuit?).next();
    if form != Form::Whole && ends.is_some_and(|now| ends_left(now).is_none()) {
        lines = vec![Line::read_back(format!(
            "{} back.",
            capital(&Part::RingEnds.shown(false))
        ))];
    }
    // In brief, what the step asked for now puts back is left to its own prompt. What else is out is told:
    // that its circuit will ask for it some time is no reason to be silent.
    let asked_for = |entry: &OutEntry| {
        let now = after.current().filter(|_| form != Form::Whole);
        now.is_some_and(|now| puts_back(after, now, entry))
    };
    let rest = about::out(after, |entry| !asked_for(entry));
    if !rest.is_empty() {
        lines.push(Line::reminder(format!(
            "Still out: {}.",
            about::out(after, |_| true)
        )));
    } else if form == Form::Whole {
        lines.push(Line::answer("Nothing is out."));
    }
    lines
}
