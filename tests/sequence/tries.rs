//! Somebody who wants a step done, whether it is asked for or not: goes there, and answers it. Which step is
//! drawn at random, so whatever bars one is tried sooner or later.

use crate::dialogues::plain::reading;
use bothhands::grammar::Intent;
use bothhands::quantity::Reading;
use bothhands::sequence::{Agenda, Ask, Step};
use bothhands::terms::{Reason, Stage, Statement};
use std::collections::{BTreeSet, VecDeque};

/// What is said to get something done: all of the way there, or some of it.
pub fn something(state: &Agenda, rng: &mut fastrand::Rng) -> VecDeque<Intent> {
    let mut said = VecDeque::new();
    let Some(step) = one(state, rng) else {
        return said;
    };
    let here = state.current().map(|step| (step.board, step.circuit));
    if here.is_none_or(|(board, _)| board != step.board) {
        said.push_back(Intent::Board(step.board));
    }
    let circuit = step.circuit.filter(|_| rng.bool());
    said.extend(circuit.map(Intent::Circuit));
    if rng.u8(0..4) != 0 {
        said.push_back(Intent::GoTo(step.stage));
    }
    said.push_back(answer(state, step, rng));
    said
}

/// What is said of another step of what is being done, before its turn.
pub fn out_of_turn(state: &Agenda, rng: &mut fastrand::Rng) -> Option<Intent> {
    let here = state.current()?;
    let beside = state.plan().beside(here);
    let all: Vec<&Step> = beside.filter(|step| step.stage == here.stage).collect();
    Some(answer(state, all[rng.usize(0..all.len())], rng))
}

/// Any step: of any stage as likely as of another, and mostly where the work is.
fn one<'a>(state: &'a Agenda, rng: &mut fastrand::Rng) -> Option<&'a Step> {
    let steps = &state.plan().steps;
    let stages: BTreeSet<Stage> = steps.iter().map(|step| step.stage).collect();
    let any = stages.iter().nth(rng.usize(0..stages.len())).copied();
    let stage = match state.current() {
        Some(here) if rng.u8(0..3) == 0 => here.stage,
        _ => any?,
    };
    let mut all: Vec<&Step> = steps.iter().filter(|step| step.stage == stage).collect();
    let here = state.current().filter(|_| rng.u8(0..3) != 0);
    let near = |step: &&Step| here.is_some_and(|here| here.beside(step));
    if all.iter().any(near) {
        all.retain(near);
    }
    Some(all[rng.usize(0..all.len())])
}

/// What sound wiring gives there, said so that it can mean no other step; now and then why it is not done.
fn answer(state: &Agenda, step: &Step, rng: &mut fastrand::Rng) -> Intent {
    if rng.u8(0..8) == 0 {
        return Intent::NotTested(Some(Reason::NoAccess));
    }
    if let Some(item) = step.item() {
        let state = Statement::Satisfactory;
        return Intent::Inspected { item, state };
    }
    match &step.ask {
        Ask::Statement(wanted) => match wanted.get(rng.usize(0..wanted.len().max(1))) {
            Some(statement) => Intent::Stated(*statement),
            None => Intent::Finish,
        },
        Ask::Reading(measure) => match reading(state, step) {
            Intent::Reading { reading, half, .. } => Intent::Reading {
                reading: Reading {
                    pair: step.pair,
                    at: measure.at.filter(|_| rng.u8(0..4) != 0),
                    ..reading
                },
                place: step.place.clone().filter(|_| rng.bool()),
                half,
            },
            other => other,
        },
        Ask::Event => Intent::Finish,
    }
}
