use super::{Maker, Procedure};
use crate::installation::{Board, Job, Phases, Source};
use crate::quantity::{Pair, Reading, Unit};
use crate::sequence::decide::Reply;
use crate::sequence::event::{Bar, Event};
use crate::sequence::plan::Step;
use crate::sequence::speak::{self, Line};
use crate::sequence::state::{Progress, State};
use crate::terms::{Stage, Statement};

/// Safe isolation: identify, find every source, prove the indicator, isolate, lock off, prove
/// dead between every pair, prove the indicator again. Source: HSE HSG85 and GS38.
#[derive(Debug)]
pub struct Isolation;

impl Procedure for Isolation {
    fn stage(&self) -> Stage {
        Stage::Isolation
    }

    fn board_steps(&self, job: &Job, board: &Board) -> Vec<Step> {
        let make = Maker::board(&Isolation, board, "isolation");
        let mut steps = vec![
            make.statement(
                "identify",
                "identify",
                &[Statement::Done],
                format!(
                    "Board {}, {}. Have permission, identify what you will isolate, and find every source: {}. Say done.",
                    board.number,
                    board.name,
                    sources(&job.supply.sources)
                ),
                format!("Board {}: permission, circuits and every source. Say done.", board.number),
            ),
            make.statement(
                "prove-before",
                "prove-before",
                &[Statement::Proved, Statement::NotProved],
                "Prove the voltage indicator on a known source. Say proved.",
                "Prove the indicator.",
            ),
            make.statement(
                "isolate",
                "isolate",
                &[Statement::Isolated],
                "Isolate every source. Say isolated.",
                "Isolate.",
            ),
            make.statement(
                "lock",
                "lock",
                &[Statement::LockedOff],
                "Lock off, keep the key, put up the caution notice. Say locked off.",
                "Lock off.",
            ),
        ];
        let pairs: &[Pair] = match board.phases {
            Phases::Single => &Pair::SINGLE_PHASE,
            Phases::Three => &Pair::THREE_PHASE,
        };
        steps.extend(pairs.iter().map(|pair| {
            let like = if *pair == pairs[0] {
                "prove-first-dead"
            } else {
                "prove-dead"
            };
            let step = make.statement(
                &format!("dead/{pair}"),
                like,
                &[Statement::Dead],
                format!("Prove dead, {}. Say dead, or say live.", pair.spoken()),
                format!("{}.", speak::capital(&pair.spoken())),
            );
            Step {
                pair: Some(*pair),
                ..step
            }
        }));
        steps.push(make.statement(
            "prove-after",
            "prove-after",
            &[Statement::Proved, Statement::NotProved],
            "Prove the indicator again on the known source. Say proved.",
            "Prove the indicator again.",
        ));
        steps
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        !stated(state, step) && !state.energised(step.board)
    }

    /// Nothing is dead before the indicator is proved and the board locked off, and nothing is
    /// proved again before every pair is.
    fn guard(&self, state: &State, step: &Step) -> Result<(), Bar> {
        let proving = |step: &Step| step.like.ends_with("dead");
        let first = state.plan().isolation(step.board).find(|other| {
            other.order < step.order && !(proving(step) && proving(other)) && !stated(state, other)
        });
        match first {
            Some(other) => Err(Bar::FirstComes {
                what: other.full.clone(),
            }),
            None => Ok(()),
        }
    }

    /// A number heard while proving dead is a voltage.
    fn heard_instead(&self, state: &State, step: &Step, reading: &Reading) -> Option<Reply> {
        let volts = reading.unit.is_none_or(|unit| unit == Unit::Volt);
        let proving = step.like.ends_with("dead");
        (volts && proving && !state.energised(step.board)).then(|| {
            Reply::event(
                Event::VoltageFound {
                    board: step.board,
                    heard: speak::value(reading),
                },
                Line::warning(speak::voltage_found()),
            )
        })
    }

    fn after_statement(&self, _state: &State, step: &Step, statement: Statement) -> Vec<Line> {
        match (step.id.0.ends_with("prove-after"), statement) {
            (_, Statement::NotProved) => vec![Line::warning(
                "The indicator is not proved. Nothing it showed counts. Get one that proves, and begin again.",
            )],
            (true, Statement::Proved) => {
                vec![Line::answer("Recorded as isolated and proved dead by you.")]
            }
            _ => Vec::new(),
        }
    }

    fn may_be_left_out(&self, _step: &Step) -> bool {
        false
    }

    /// "Done" is not "dead": the word itself must be said.
    fn done_will_do(&self) -> bool {
        false
    }
}

fn stated(state: &State, step: &Step) -> bool {
    matches!(
        state.done(step),
        Some(Progress::Stated(_, statement)) if *statement != Statement::NotProved
    )
}

fn sources(sources: &[Source]) -> String {
    let names: Vec<_> = sources
        .iter()
        .map(|source| match source {
            Source::Mains => "mains",
            Source::Solar => "solar",
            Source::Battery => "battery",
            Source::Generator => "generator",
            Source::Ups => "uninterruptible supply",
        })
        .collect();
    names.join(", ")
}
