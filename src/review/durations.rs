use super::view::View;
use crate::installation::part_said;
use crate::report::Exchange;
use crate::sequence::ABSENCE;
use jiff::SignedDuration;

/// Time spent on something.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Spent {
    pub what: String,
    pub time: SignedDuration,
    /// How many answers were given in it.
    pub answers: u32,
}

/// Time spent at each stage of each circuit, in the order in which they were begun: from the
/// answer before to its own answer. Longer absences are left out.
pub(crate) fn per_stage(view: &View) -> Vec<Spent> {
    let mut spent: Vec<Spent> = Vec::new();
    let mut last = view.log.entries.first().map(|entry| entry.at);
    for exchange in &view.exchanges {
        let gap = last.map_or(SignedDuration::ZERO, |last| {
            exchange.at.duration_since(last)
        });
        if !exchange.at_desk() {
            last = Some(exchange.at);
        }
        let Some(what) = stage_of(view, exchange) else {
            continue;
        };
        let gap = if gap > ABSENCE {
            SignedDuration::ZERO
        } else {
            gap
        };
        match spent.iter_mut().rev().find(|one| one.what == what) {
            Some(one) => {
                one.time += gap;
                one.answers += 1;
            }
            None => spent.push(Spent {
                what,
                time: gap,
                answers: 1,
            }),
        }
    }
    spent
}

fn stage_of(view: &View, exchange: &Exchange) -> Option<String> {
    use crate::sequence::Event;
    let entry = view.log.entry(exchange.event)?;
    let step = match &entry.event {
        Event::Reading { step, .. }
        | Event::Stated { step, .. }
        | Event::NotTested { step, .. }
        | Event::Skipped { step, .. } => view.state.step(step)?,
        Event::TakenOut { .. } | Event::PutBack { .. } => {
            return Some(match exchange.circuit {
                Some(circuit) => format!("circuit {circuit}, taking out and putting back"),
                None => "taking out and putting back".to_owned(),
            });
        }
        _ => return None,
    };
    Some(match step.circuit {
        Some(circuit) => format!("circuit {circuit}, {}", step.stage.shown()),
        None => format!("{}, {}", part_said(step.board), step.stage.shown()),
    })
}
