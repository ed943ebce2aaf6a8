//! What must never happen, whatever is said. Checked before every event of a running session is
//! applied, by the dialogues in `tests/dialogues/`, and by the random walk in
//! `tests/sequence/model_walk.rs`. Stated apart from the guards, from what stands in the state.

use super::event::{Event, EventNo, Mode, Withdrawal};
use super::plan::{Quantity, Step};
use super::state::{Progress, Question, State};
use crate::installation::Phases;
use crate::quantity::{Conductors, Reading, TestVoltage};
use crate::terms::{Part, Stage, Statement};

/// Checks one event against the state it happened in.
///
/// # Errors
/// Which law was broken, in words.
pub fn check(before: &State, event: &Event) -> Result<(), String> {
    match event {
        Event::Reading { step, reading, .. } => {
            let step = planned(before, step)?;
            taken_while_running(before)?;
            dead_or_live(before, step)?;
            high_voltage(before, step, reading)
        }
        Event::Stated { step, statement } => {
            let step = planned(before, step)?;
            taken_while_running(before)?;
            dead_or_live(before, step)?;
            match statement {
                Statement::Energised => energising(before, step.board),
                Statement::Dead => proving_dead(before, step.board),
                Statement::Done if step.stage == Stage::Isolation && step.like != "identify" => {
                    Err(format!("\"done\" taken for {}", step.like))
                }
                _ => Ok(()),
            }
        }
        Event::NotTested { step, .. } | Event::Skipped { step, .. } => {
            let step = planned(before, step)?;
            let needed = matches!(step.stage, Stage::Isolation | Stage::Energise);
            law(!needed, || format!("left out: {}", step.id))
        }
        Event::Withdrawn { of, why } => withdrawing(before, *of, *why),
        Event::PutBack { entries } => law(
            entries
                .iter()
                .all(|no| before.open_entries().any(|entry| entry.no == *no)),
            || "something put back that was not out".to_owned(),
        ),
        Event::Overridden { bar, .. } => law(bar.may_be_overridden(), || {
            format!("a bar overridden that no reason lifts: {bar:?}")
        }),
        Event::Finished { .. } => law(nothing_bars(before), || {
            "finished with things still out and not overridden".to_owned()
        }),
        _ => Ok(()),
    }
}

fn law(holds: bool, broken: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(broken()) }
}

fn planned<'a>(state: &'a State, id: &super::plan::StepId) -> Result<&'a Step, String> {
    state
        .step(id)
        .ok_or_else(|| format!("a step that is not planned: {id}"))
}

/// Nothing counts while the session waits, or before a question is answered.
fn taken_while_running(state: &State) -> Result<(), String> {
    law(state.mode() == Mode::Running, || {
        "taken while the session waits".to_owned()
    })
}

/// No dead test before proving dead, no live test before energising, none without an earth.
fn dead_or_live(state: &State, step: &Step) -> Result<(), String> {
    if step.is_dead_test() {
        law(said_dead(state, step.board), || {
            format!("a dead test before proving dead: {}", step.id)
        })?;
    }
    if step.is_live_test() {
        law(state.energised(step.board), || {
            format!("a live test before energising: {}", step.id)
        })?;
        let without_earth = state
            .open_entries()
            .any(|entry| entry.board == step.board && entry.part == Part::EarthingConductor);
        law(!without_earth || step.stage == Stage::ExternalLoop, || {
            format!("a live test with the earthing conductor off: {}", step.id)
        })?;
    }
    Ok(())
}

/// Every pair was said to be dead, between two proofs of the indicator, and the board was not
/// energised since.
fn said_dead(state: &State, board: u16) -> bool {
    let mut said = state
        .plan()
        .isolation(board)
        .map(|step| (step, state.done(step)));
    !state.energised(board)
        && said.all(|(step, done)| match done {
            Some(Progress::Stated(_, statement)) => match step.like {
                "identify" => *statement == Statement::Done,
                "isolate" => *statement == Statement::Isolated,
                "lock" => *statement == Statement::LockedOff,
                "prove-before" | "prove-after" => *statement == Statement::Proved,
                _ => *statement == Statement::Dead,
            },
            _ => false,
        })
}

/// "Dead" counts only with the indicator proved and the board isolated and locked off.
fn proving_dead(state: &State, board: u16) -> Result<(), String> {
    let missing = state.plan().isolation(board).find(|step| {
        matches!(step.like, "prove-before" | "isolate" | "lock")
            && !matches!(state.done(step), Some(Progress::Stated(..)))
    });
    match missing {
        Some(step) => Err(format!("\"dead\" taken before {}", step.like)),
        None => Ok(()),
    }
}

/// Never more than 250 V where electronics are known or suspected; but all live conductors joined
/// may be tested to earth.
fn high_voltage(state: &State, step: &Step, reading: &Reading) -> Result<(), String> {
    let insulation = step
        .measure()
        .is_some_and(|m| m.quantity == Quantity::Insulation);
    let high = reading.at.is_none_or(|at| at > TestVoltage::V250);
    if !insulation || !high {
        return Ok(());
    }
    let board = state.board(step.board);
    let circuits = board.into_iter().flat_map(|board| &board.circuits);
    for circuit in circuits.filter(|c| step.circuit.is_none_or(|number| number == c.number)) {
        let lives = match circuit.phases {
            Phases::Single => Conductors::L.with(Conductors::N),
            Phases::Three => Conductors::L1
                .with(Conductors::L2)
                .with(Conductors::L3)
                .with(Conductors::N),
        };
        let joined = step.circuit.is_some()
            && reading
                .pair
                .is_some_and(|pair| pair.to_earth() && pair.from() == lives)
            && state.linked(step.board, circuit.number, lives);
        let inside = state.electronics_in(step.board, circuit.number);
        law(joined || inside.is_empty(), || {
            format!("electronics in circuit at high voltage: {}", step.id)
        })?;
    }
    Ok(())
}

/// Energised only with nothing out that was not overridden, no link and the earthing conductor on,
/// every dead test done or left out with a reason, none outside its limit without one, covers on,
/// and after it was proved dead.
fn energising(state: &State, board: u16) -> Result<(), String> {
    law(nothing_bars(state), || {
        "energised with things still out and not overridden".to_owned()
    })?;
    let open = state
        .open_steps()
        .any(|step| step.board == board && step.is_dead_test());
    law(!open, || "energised with dead tests open".to_owned())?;
    law(state.failed_dead(board).next().is_none(), || {
        "energised with a dead test outside its limit and no reason".to_owned()
    })?;
    let covers = state
        .plan()
        .energising(board)
        .filter(|step| step.like == "covers")
        .all(|step| matches!(state.done(step), Some(Progress::Stated(..))));
    law(covers, || "energised with covers off".to_owned())?;
    law(said_dead(state, board), || {
        "energised by a plan that never proved it dead".to_owned()
    })
}

fn nothing_bars(state: &State) -> bool {
    state
        .open_entries()
        .all(|entry| entry.overridden && !entry.linked && entry.part != Part::EarthingConductor)
}

/// Only what was said last, or what is asked about, is taken back; and nothing that is out leaves
/// the list but for what is out instead, or after it was affirmed that it never was.
fn withdrawing(state: &State, of: EventNo, why: Withdrawal) -> Result<(), String> {
    let asked = state.question().map(Question::about);
    let out = state.open_entries().any(|entry| entry.no == of);
    if out {
        return law(why == Withdrawal::Correction, || {
            "something taken off the out-list unasked".to_owned()
        });
    }
    law(state.last_taken() == Some(of) || asked == Some(of), || {
        format!("event {of} taken back, which was not the last")
    })
}
