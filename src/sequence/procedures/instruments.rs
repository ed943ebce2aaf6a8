use super::{Answers, Assessment, Procedure, StepBuilder, outside_its_limit};
use crate::installation::{Board, Circuit, Instrument, Job};
use crate::limits::judge;
use crate::quantity::{Number, Reading, Relation, Unit};
use crate::sequence::facts::{
    Doubt, Edition, EventNo, Measure, ProcedureId, Quantity, Step, StepKind,
};
use crate::sequence::state::{State, StepOutcome};
use crate::terms::{Stage, Statement};

/// Checks of the continuity and insulation ranges before use: leads apart read over range, leads
/// joined read about zero, and the leads' resistance is noted or nulled. Common practice; HSE
/// GS38 for the leads themselves.
#[derive(Debug)]
pub(super) struct Instruments;

/// Leads and probes joined read less than this, Ω. Common practice: leads of 1.5 m with fused
/// probes stay under it.
const LEADS_AT_MOST: f64 = 0.5;

/// The instrument with a reference for a quantity, and what it should read on that.
fn reference(job: &Job, quantity: Quantity) -> Option<(&Instrument, Number, Unit)> {
    job.instruments.iter().find_map(|instrument| {
        let (reads, unit) = match quantity {
            Quantity::LoopCheck => (instrument.loop_reference_ohms?, Unit::Ohm),
            Quantity::RcdCheck => (instrument.rcd_reference_ms?, Unit::MilliSecond),
            _ => return None,
        };
        Some((instrument, reads, unit))
    })
}

/// The range of an instrument that a step checks, and what it should read.
pub fn reference_of(job: &Job, step: &Step) -> Option<(String, Reading)> {
    let quantity = step.measure()?.quantity;
    let (instrument, reads, unit) = reference(job, quantity)?;
    let what = match quantity {
        Quantity::LoopCheck => "loop range",
        _ => "RCD range",
    };
    let name = format!("{}, {what}", instrument.name);
    Some((name, Reading::exact(reads).in_unit(unit)))
}

impl Procedure for Instruments {
    fn id(&self) -> ProcedureId {
        ProcedureId("instruments")
    }

    fn stage(&self) -> Stage {
        Stage::Instruments
    }

    fn plan(
        &self,
        job: &Job,
        board: &Board,
        _circuit: Option<&Circuit>,
        _edition: Edition,
    ) -> Vec<Step> {
        if job.boards.first() != Some(board) {
            return Vec::new();
        }
        let build = StepBuilder::new(self, board, None, "instrument");
        let needed = |stages: &[Stage]| {
            job.tests
                .as_ref()
                .is_none_or(|tests| stages.iter().any(|stage| tests.contains(stage)))
        };
        let ranges: [(&str, Unit, &[Stage]); 2] = [
            ("continuity", Unit::Ohm, &[Stage::Continuity, Stage::Ring]),
            ("insulation", Unit::MegOhm, &[Stage::Insulation]),
        ];
        let mut steps = Vec::new();
        for (range, unit, _) in ranges.iter().filter(|(_, _, stages)| needed(stages)) {
            steps.push(build.reading(
                format!("{range}/open"),
                StepKind::LeadsOpen,
                Measure::of(Quantity::LeadsOpen, *unit),
            ));
            steps.push(build.reading(
                format!("{range}/joined"),
                StepKind::LeadsJoined,
                Measure::of(Quantity::LeadsShorted, *unit),
            ));
        }
        let checks: [(Quantity, Unit, &str, &[Stage]); 2] = [
            (
                Quantity::LoopCheck,
                Unit::Ohm,
                "loop",
                &[Stage::LoopImpedance, Stage::ExternalLoop],
            ),
            (Quantity::RcdCheck, Unit::MilliSecond, "rcd", &[Stage::Rcd]),
        ];
        // Only of instruments whose reference the job file tells.
        for (quantity, unit, rule, stages) in checks {
            let build = StepBuilder::new(self, board, None, rule);
            let measure = Measure::of(quantity, unit);
            let step = build.reading(format!("{rule}/reference"), StepKind::TesterCheck, measure);
            if needed(stages) && reference(job, quantity).is_some() {
                steps.push(step);
            }
        }
        steps
    }

    fn assess(&self, state: &State, step: &Step, reading: &Reading) -> Assessment {
        if step.kind == StepKind::TesterCheck {
            return match reference_of(state.job(), step) {
                Some((_, reference)) => {
                    Assessment::by(judge::tester(state.tables(), &reference, reading))
                }
                None => Assessment::noted(),
            };
        }
        let doubt = match step.kind {
            StepKind::LeadsOpen => {
                let apart = matches!(reading.relation, Relation::Over | Relation::OverRange);
                (!apart).then_some(Doubt::LeadsNotApart)
            }
            _ => {
                let low = reading.size() <= LEADS_AT_MOST && reading.relation != Relation::Over;
                (!low).then_some(Doubt::LeadsNotJoined)
            }
        };
        Assessment {
            verdict: None,
            doubt,
        }
    }

    /// An instrument that does not read over range with its leads apart, or about nothing with them joined, is not
    /// relied on.
    fn exception(&self, state: &State, step: &Step) -> Option<EventNo> {
        let doubted = |no: &EventNo| {
            let doubt = state.reading(*no).and_then(|record| record.doubt);
            matches!(doubt, Some(Doubt::LeadsNotApart | Doubt::LeadsNotJoined))
        };
        match state.outcome(step)? {
            StepOutcome::Read(no) if doubted(no) => Some(*no),
            _ => outside_its_limit(state, step),
        }
    }

    fn answers(&self, step: &Step) -> Answers {
        let instead_of_reading: &[Statement] = match step.measure().map(|m| (m.quantity, m.unit)) {
            Some((Quantity::LeadsShorted, Unit::Ohm)) => &[Statement::Nulled],
            Some((Quantity::LeadsShorted, _)) => &[Statement::Shorted],
            Some((Quantity::LoopCheck | Quantity::RcdCheck, _)) => &[],
            _ => &[Statement::Open],
        };
        Answers {
            instead_of_reading,
            accepts_done: false,
            may_be_left_out: true,
        }
    }
}
