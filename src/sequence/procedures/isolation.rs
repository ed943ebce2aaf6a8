use super::{Answers, Procedure, StepBuilder};
use crate::installation::{Board, Circuit, Job, Phases};
use crate::quantity::Pair;
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{Edition, ProcedureId, Refusal, Step, StepKind};
use crate::sequence::state::{State, StepOutcome};
use crate::terms::{Place, Stage, Statement};

/// Safe isolation: identify, find every source, prove the indicator, isolate, lock off, prove
/// dead between every pair, prove the indicator again. Source: HSE HSG85 and GS38.
#[derive(Debug)]
pub(super) struct Isolation;

impl Procedure for Isolation {
    fn id(&self) -> ProcedureId {
        ProcedureId("isolation")
    }

    fn stage(&self) -> Stage {
        Stage::Isolation
    }

    fn plan(
        &self,
        _job: &Job,
        board: &Board,
        _circuit: Option<&Circuit>,
        _edition: Edition,
    ) -> Vec<Step> {
        let build = StepBuilder::new(self, board, None, "isolation");
        let proving = [Statement::Proved, Statement::NotProved];
        let mut steps = vec![
            build.statement("identify", StepKind::Identify, &[Statement::Done]),
            build.statement("prove-before", StepKind::ProveBefore, &proving),
            build.statement("isolate", StepKind::Isolate, &[Statement::Isolated]),
            build.statement("lock", StepKind::Lock, &[Statement::LockedOff]),
        ];
        let dead = |n: usize, tail: String, pair: Pair| {
            let kind = match n {
                0 => StepKind::ProveFirstDead,
                _ => StepKind::ProveDead,
            };
            Step {
                pair: Some(pair),
                ..build.statement(tail, kind, &[Statement::Dead])
            }
        };
        if board.isolates_circuits() {
            // Each by its own device: each is proved dead where it is worked on.
            for circuit in &board.circuits {
                let place = Place {
                    name: "circuit".to_owned(),
                    number: Some(circuit.number),
                };
                let pairs = pairs_of(circuit.phases).iter().enumerate();
                steps.extend(pairs.map(|(n, pair)| {
                    dead(n, format!("dead/circuit-{}/{pair}", circuit.number), *pair)
                        .at(place.clone())
                }));
            }
        } else {
            let pairs = pairs_of(board.phases).iter().enumerate();
            steps.extend(pairs.map(|(n, pair)| dead(n, format!("dead/{pair}"), *pair)));
        }
        steps.push(build.statement("prove-after", StepKind::ProveAfter, &proving));
        steps
    }

    fn is_open(&self, state: &State, step: &Step) -> bool {
        !stated(state, step) && !state.energised(step.board)
    }

    /// Nothing is dead before the indicator is proved and the board locked off, and nothing is
    /// proved again before every pair is.
    fn guard(&self, state: &State, step: &Step) -> Result<(), Refusal> {
        let side_by_side = |other: &Step| step.kind.proves_dead() && other.kind.proves_dead();
        let first = state.plan().isolation(step.board).find(|other| {
            other.order < step.order && !side_by_side(other) && !stated(state, other)
        });
        match first {
            Some(other) if !breakage::is(Break::IsolationInAnyOrder) => {
                Err(Refusal::first_comes(&other.id))
            }
            _ => Ok(()),
        }
    }

    /// "Done" is not "dead": the word itself must be said.
    fn answers(&self, _step: &Step) -> Answers {
        Answers {
            accepts_done: false,
            ..Answers::default()
        }
    }
}

fn pairs_of(phases: Phases) -> &'static [Pair] {
    match phases {
        Phases::Single => &Pair::SINGLE_PHASE,
        Phases::Three => &Pair::THREE_PHASE,
    }
}

fn stated(state: &State, step: &Step) -> bool {
    matches!(
        state.outcome(step),
        Some(StepOutcome::Stated(_, statement)) if *statement != Statement::NotProved
    )
}
