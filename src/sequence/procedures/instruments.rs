use super::{Maker, Procedure, measure};
use crate::installation::{Board, Instrument, InstrumentUse, Job};
use crate::quantity::{Number, Reading, Relation, Unit};
use crate::sequence::plan::{Quantity, Step};
use crate::sequence::readings::Judged;
use crate::sequence::speak;
use crate::sequence::state::State;
use crate::terms::{Stage, Statement};

/// Checks of the continuity and insulation ranges before use: leads apart read over range, leads
/// joined read about zero, and the leads' resistance is noted or nulled. Common practice; HSE
/// GS38 for the leads themselves.
#[derive(Debug)]
pub struct Instruments;

/// Leads and probes joined read less than this, Ω. Common practice: leads of 1.5 m with fused
/// probes stay under it.
const LEADS_AT_MOST: f64 = 0.5;

impl Procedure for Instruments {
    fn stage(&self) -> Stage {
        Stage::Instruments
    }

    fn board_steps(&self, job: &Job, board: &Board) -> Vec<Step> {
        if job.boards.first() != Some(board) {
            return Vec::new();
        }
        let make = Maker::board(&Instruments, board, "instrument");
        let used = |wanted| move |i: &&Instrument| i.used_for.contains(&wanted);
        let needed = |stages: &[Stage]| {
            job.tests
                .as_ref()
                .is_none_or(|tests| stages.iter().any(|stage| tests.contains(stage)))
        };
        let mut steps = Vec::new();
        let continuity = job.instruments.iter().find(used(InstrumentUse::Continuity));
        if needed(&[Stage::Continuity, Stage::Ring]) {
            steps.push(make.reading(
                "continuity/open",
                "leads-open",
                measure(Quantity::LeadsOpen, None, Unit::Ohm),
                format!(
                    "{}Continuity range, leads apart. Say what it shows.",
                    named(continuity)
                ),
                "Continuity, leads apart.",
            ));
            steps.push(make.reading(
                "continuity/joined",
                "leads-joined",
                measure(Quantity::LeadsShorted, None, Unit::Ohm),
                "Leads joined. Say the resistance, or null them and say nulled.",
                "Continuity, leads joined.",
            ));
        }
        let insulation = job.instruments.iter().find(used(InstrumentUse::Insulation));
        if needed(&[Stage::Insulation]) {
            steps.push(make.reading(
                "insulation/open",
                "leads-open",
                measure(Quantity::LeadsOpen, None, Unit::MegOhm),
                format!(
                    "{}Insulation range, leads apart. Say what it shows.",
                    named(insulation)
                ),
                "Insulation range, leads apart.",
            ));
            steps.push(make.reading(
                "insulation/joined",
                "leads-joined",
                measure(Quantity::LeadsShorted, None, Unit::MegOhm),
                "Insulation range, leads joined. Say what it shows.",
                "Insulation range, leads joined.",
            ));
        }
        steps
    }

    fn judge(&self, _state: &State, step: &Step, reading: &Reading) -> Judged {
        let question = match step.measure().map(|m| m.quantity) {
            Some(Quantity::LeadsOpen) => {
                (!matches!(reading.relation, Relation::Over | Relation::OverRange)).then(|| {
                    "leads apart should read over range: check the leads and the range".to_owned()
                })
            }
            _ => {
                let ohms = reading.number.map_or(f64::INFINITY, Number::value)
                    * reading.unit.unwrap_or(Unit::Ohm).scale();
                let low = ohms <= LEADS_AT_MOST && reading.relation != Relation::Over;
                (!low).then(|| "leads joined should read about zero: check the leads".to_owned())
            }
        };
        Judged {
            verdict: None,
            question,
        }
    }

    fn may_be_left_out(&self, _step: &Step) -> bool {
        true
    }

    fn instead_of_reading(&self, step: &Step) -> &'static [Statement] {
        match step.measure().map(|m| (m.quantity, m.unit)) {
            Some((Quantity::LeadsShorted, Unit::Ohm)) => &[Statement::Nulled],
            Some((Quantity::LeadsShorted, _)) => &[Statement::Shorted],
            _ => &[Statement::Open],
        }
    }

    fn done_will_do(&self) -> bool {
        false
    }
}

fn named(instrument: Option<&Instrument>) -> String {
    instrument
        .map(|i| format!("{}, serial {}. ", speak::capital(&i.name), i.serial))
        .unwrap_or_default()
}
