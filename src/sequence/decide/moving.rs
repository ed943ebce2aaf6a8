//! Moves by voice to another circuit, board, stage or voltage.

use super::events::{asked, not_asked, refused};
use crate::grammar::Intent;
use crate::installation::board_said;
use crate::quantity::{Reading, TestVoltage};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Ask, Destination, Edition, Event, Refusal, Step};
use crate::sequence::procedures::SUPPLY_VOLTAGE;
use crate::sequence::state::count;
use crate::terms::Stage;

/// Decides on a move.
pub(super) fn decide(agenda: &Agenda, said: &Intent) -> Vec<Event> {
    let here = agenda.current();
    match said {
        Intent::Circuit(number) if off(agenda, *number).is_some() => {
            work_on_again(agenda, said, *number)
        }
        Intent::Circuit(number) => {
            let board = here.and_then(|step| board_with(agenda, step.board, *number));
            go_to(agenda, said, Destination::Circuit(*number), |step| {
                step.circuit == Some(*number) && board.is_none_or(|board| step.board == board)
            })
        }
        Intent::Board(number) => go_to(agenda, said, Destination::Board(*number), |step| {
            board_said(step.board) == *number
        }),
        Intent::TestAt(voltage) => go_to(agenda, said, Destination::TestsAt(*voltage), |step| {
            here.is_some_and(|here| step.beside(here))
                && step.measure().is_some_and(|m| m.at == Some(*voltage))
        }),
        Intent::GoTo(Stage::Isolation) => isolate_again(agenda, said, here.map(|step| step.board)),
        Intent::GoTo(stage) => to_stage(agenda, said, *stage),
        _ => not_asked(said),
    }
}

/// The board that has this circuit: the one where the work is, or another part of it.
pub(super) fn board_with(agenda: &Agenda, here: u16, circuit: u16) -> Option<u16> {
    let has = |board: &u16| agenda.circuit(*board, circuit).is_some();
    let parts = agenda.job().boards_said(here).map(|board| board.number);
    std::iter::once(here).chain(parts).find(has)
}

/// A circuit of this number that stays off: on the board where the work is, or on the only one.
fn off(agenda: &Agenda, number: u16) -> Option<(u16, u16)> {
    let here = agenda.current().map(|step| step.board);
    let mut all: Vec<(u16, u16)> = agenda
        .circuits_off()
        .filter(|(_, n)| *n == number)
        .collect();
    all.sort_by_key(|(board, _)| Some(*board) != here);
    all.first().copied()
}

/// Before anyone works on a circuit that stays off, it is proved dead anew: not on a live board.
fn work_on_again(agenda: &Agenda, said: &Intent, number: u16) -> Vec<Event> {
    let Some((board, circuit)) = off(agenda, number) else {
        return not_asked(said);
    };
    if agenda.energised(board) {
        return refused(said, Refusal::Energised { board });
    }
    let first = agenda
        .plan()
        .on(board, Some(circuit))
        .find(|step| step.is_dead_test());
    match first {
        Some(step) => vec![Event::Moved {
            to: step.id.clone(),
            passed_over: 0,
            again: Some(false),
        }],
        None => nothing_there(said, Destination::Circuit(number)),
    }
}

/// "Circuit three stays off": on the board where the work is, or on the only one that has it.
pub(super) fn stays_off(agenda: &Agenda, said: &Intent, number: u16) -> Vec<Event> {
    let here = agenda.current().map(|step| step.board);
    // Before a board is energised the circuits that bar it are named, those of the boards that it feeds too.
    let energising = agenda
        .current()
        .filter(|step| step.stage == Stage::Energise);
    let with_it = energising.map(|step| agenda.energised_with(step.board));
    let barring = with_it.unwrap_or_default().into_iter().find(|board| {
        let mut failed = agenda.failed_dead(*board);
        failed.any(|step| step.circuit == Some(number)) && !agenda.stays_off(*board, number)
    });
    let on_this = barring.or_else(|| here.and_then(|board| board_with(agenda, board, number)));
    let mut all = agenda.job().boards.iter();
    let board = on_this.or_else(|| {
        all.find(|board| agenda.circuit(board.number, number).is_some())
            .map(|board| board.number)
    });
    match board {
        Some(board) if agenda.stays_off(board, number) => asked(said),
        Some(_) if agenda.edition() == Edition::First => not_asked(said),
        Some(board) => vec![Event::StaysOff {
            board,
            circuit: number,
        }],
        None => nothing_there(said, Destination::Circuit(number)),
    }
}

/// The insulation tests at the voltage that was said in volts.
pub(super) fn to_test_voltage(agenda: &Agenda, said: &Intent, reading: &Reading) -> Vec<Event> {
    let voltages = [TestVoltage::V250, TestVoltage::V500, TestVoltage::V1000];
    let number = reading.number.and_then(|number| number.as_whole());
    let said_voltage = voltages
        .into_iter()
        .find(|voltage| number == Some(voltage.volts().into()));
    match said_voltage {
        Some(voltage) => decide(agenda, &Intent::TestAt(voltage)),
        None => not_asked(said),
    }
}

/// The stage on this circuit, else on this board, else the first there is.
fn to_stage(agenda: &Agenda, said: &Intent, stage: Stage) -> Vec<Event> {
    let here = agenda.current();
    let to = Destination::Stage(stage);
    let on_circuit =
        |step: &Step| step.stage == stage && here.is_some_and(|here| step.beside(here));
    if agenda.open_steps().any(on_circuit) {
        return go_to(agenda, said, to, on_circuit);
    }
    let on_board =
        |step: &Step| step.stage == stage && here.is_some_and(|here| step.board == here.board);
    if agenda.open_steps().any(on_board) {
        return go_to(agenda, said, to, on_board);
    }
    go_to(agenda, said, to, |step| step.stage == stage)
}

/// Isolation may be begun again at any time, also when it was done: nothing is safer.
fn isolate_again(agenda: &Agenda, said: &Intent, board: Option<u16>) -> Vec<Event> {
    let first = agenda.plan().steps.iter().find(|step| {
        step.stage == Stage::Isolation && board.is_none_or(|board| step.board == board)
    });
    match first {
        Some(step) => moved(agenda, step),
        None => nothing_there(said, Destination::Stage(Stage::Isolation)),
    }
}

fn nothing_there(said: &Intent, to: Destination) -> Vec<Event> {
    refused(
        said,
        Refusal::NoSuchPlace {
            to: Some(to),
            what: None,
        },
    )
}

fn go_to(
    agenda: &Agenda,
    said: &Intent,
    to: Destination,
    wanted: impl Fn(&Step) -> bool,
) -> Vec<Event> {
    let open: Vec<&Step> = agenda.open_steps().filter(|step| wanted(step)).collect();
    if let Some(step) = open
        .iter()
        .find(|step| agenda.guard_of_a_move(step).is_ok())
    {
        return moved(agenda, step);
    }
    // What is done may be done again: where a fault was put right, before energising.
    let may = |step: &&Step| {
        let guarded = agenda.guard_of_a_move(step);
        matches!(guarded, Ok(()) | Err(Refusal::FirstComes { .. }))
    };
    if let Some(done) = to_do_again(agenda, &wanted, may) {
        return moved(agenda, done);
    }
    let again = to_do_again(agenda, &wanted, |_| true);
    let first = open.first().copied().or(again);
    let refusal = first.and_then(|step| agenda.guard_of_a_move(step).err());
    // With the lock off for energising, whoever goes back isolates again.
    if let (Some(step), Some(Refusal::NotProvedDead { .. })) = (first, &refusal)
        && agenda.unlocked(step.board)
    {
        return isolate_again(agenda, said, Some(step.board));
    }
    match refusal {
        Some(refusal) => refused(said, refusal),
        None => nothing_there(said, to),
    }
}

/// A step that was done, to be done again: one that is outside its limit before any other.
fn to_do_again(
    agenda: &Agenda,
    wanted: impl Fn(&Step) -> bool,
    may: impl Fn(&&Step) -> bool,
) -> Option<&Step> {
    let tested = |step: &&Step| {
        (step.is_dead_test() || step.is_live_work())
            && step.ask != Ask::Event
            && wanted(step)
            && agenda.outcome(step).is_some()
            && may(step)
    };
    let done = || agenda.plan().steps.iter().filter(tested);
    done()
        .find(|step| agenda.has_failed(step) && !step.kind.is_trial())
        // Of the supply its polarity, which its voltages were read for.
        .or_else(|| done().find(|step| step.kind != SUPPLY_VOLTAGE))
        .or_else(|| done().next())
}

fn moved(agenda: &Agenda, step: &Step) -> Vec<Event> {
    let passed_over = agenda
        .open_steps()
        .filter(|open| open.order < step.order)
        .count();
    let isolation = step.stage == Stage::Isolation;
    vec![Event::Moved {
        to: step.id.clone(),
        passed_over: count(passed_over),
        again: Some(!isolation && !agenda.waits(step) && !agenda.is_open(step)),
    }]
}
