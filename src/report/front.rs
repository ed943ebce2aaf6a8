//! What one looks for first: the results at the origin, and of each circuit the few by which it is
//! known.

use super::cells::{Cell, filled};
use super::inspection::OutcomeRow;
use super::schedule::{CircuitRow, Limitation, Schedule};
use super::words;
use crate::limits::Outcome;
use crate::sequence::procedures::SUPPLY_VOLTAGE;
use crate::sequence::{Agenda, Ask, Quantity, Step, StepOutcome, Worst};
use crate::terms::Stage;
use serde::Serialize;

/// A result that belongs to the whole installation: Ze, fault current, a bond.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeyResult {
    /// The board it was read at.
    pub board: u16,
    /// What it is, in words.
    pub what: String,
    /// What stands for it.
    pub result: Cell,
}

impl KeyResult {
    /// What it is, with its board where there are several.
    pub(super) fn named(&self, schedule: &Schedule) -> String {
        if schedule.boards.len() > 1 {
            format!("board {}, {}", self.board, self.what)
        } else {
            self.what.clone()
        }
    }
}

/// The results by which a circuit is known: each the worst of its kind.
#[derive(Debug, Clone, PartialEq)]
pub struct KeyCells {
    /// R1+R2, or R2; on a ring, with line and cpc crossed.
    pub continuity: Cell,
    /// The lowest insulation resistance of all pairs.
    pub insulation: Cell,
    /// Polarity.
    pub polarity: Cell,
    /// Zs.
    pub zs: Cell,
    /// The longest time of its RCD at the rated current.
    pub rcd: Cell,
}

/// Headings of the key results, in their order.
pub(super) const KEY_HEADS: [&str; 8] = [
    "Circuit",
    "Protection",
    "R₁+R₂ or R₂ Ω",
    "Insulation MΩ, lowest",
    "Polarity",
    "Zₛ Ω",
    "Zₛ read at most Ω",
    "RCD ms",
];

impl KeyCells {
    /// Those of a circuit's steps.
    pub(super) fn of(agenda: &Agenda, steps: &[&Step], limitations: &[Limitation]) -> Self {
        let cell = |wanted: &dyn Fn(&Step) -> bool, worst| {
            let own = steps.iter().copied().filter(|step| wanted(step));
            filled(agenda, own, worst, limitations)
        };
        let reads = |step: &Step, quantities: &[Quantity]| {
            let measure = step.measure();
            measure.is_some_and(|measure| quantities.contains(&measure.quantity))
                && (agenda.procedure(step).column(step).is_some()
                    || quantities.contains(&Quantity::RingLineEarth))
        };
        Self {
            continuity: cell(
                &|step| {
                    reads(
                        step,
                        &[Quantity::R1R2, Quantity::R2, Quantity::RingLineEarth],
                    )
                },
                Worst::Highest,
            ),
            insulation: cell(&|step| reads(step, &[Quantity::Insulation]), Worst::Lowest),
            polarity: cell(
                &|step| {
                    step.stage == Stage::Polarity && agenda.procedure(step).column(step).is_some()
                },
                Worst::Highest,
            ),
            zs: cell(
                &|step| reads(step, &[Quantity::LoopImpedance]),
                Worst::Highest,
            ),
            rcd: cell(&|step| reads(step, &[Quantity::RcdTime]), Worst::Highest),
        }
    }
}

/// Voltage of the supply, Ze, fault current and bonds of a board's own steps.
pub(super) fn at_origin(
    agenda: &Agenda,
    steps: &[&Step],
    limitations: &[Limitation],
) -> Vec<KeyResult> {
    // With the other data of the intake, where the job has any: other schedules stay as they are.
    let intake = !agenda.job().particulars().is_empty();
    let wanted = |step: &&&Step| {
        if intake && step.stage == Stage::SupplyPolarity && step.measure().is_none() {
            return true;
        }
        step.measure()
            .is_some_and(|measure| match measure.quantity {
                Quantity::ExternalLoop | Quantity::FaultCurrent | Quantity::Bond => true,
                // Up to the second edition it is taken when it is said.
                Quantity::SupplyVoltage => {
                    step.kind == SUPPLY_VOLTAGE || agenda.result(step).is_some()
                }
                _ => false,
            })
    };
    steps
        .iter()
        .filter(wanted)
        .map(|step| KeyResult {
            board: step.board,
            what: words::step(agenda, step),
            result: filled(agenda, std::iter::once(*step), Worst::Highest, limitations),
        })
        .collect()
}

/// How many steps of a circuit are open that ask for something to be said, and whether any of them was ever answered.
pub(super) fn open_steps(agenda: &Agenda, steps: &[&Step]) -> (usize, bool) {
    let asked = steps.iter().filter(|step| step.ask != Ask::Event);
    let open = asked.filter(|step| agenda.is_open(step)).count();
    let begun = steps.iter().any(|step| {
        matches!(
            agenda.outcome(step),
            Some(StepOutcome::Read(_) | StepOutcome::Stated(..))
        )
    });
    (open, begun)
}

/// How a circuit stands, in words: "✗ 1 exception, 3 steps open, see L2".
pub(super) fn standing(schedule: &Schedule, board: u16, circuit: &CircuitRow) -> String {
    let own = (board, Some(circuit.number));
    let (mut wrong, mut unsettled) = (0, 0);
    for one in &schedule.exceptions {
        if (one.board, one.circuit) == own && one.later.is_none() {
            match (one.stage, one.judged) {
                // That it stays off is said below.
                (None, _) => {}
                (_, Some(Outcome::CannotSay | Outcome::Pass)) => unsettled += 1,
                _ => wrong += 1,
            }
        }
    }
    let marks: Vec<&str> = schedule
        .limitations
        .iter()
        .filter(|one| (one.board, one.circuit) == own)
        .map(|one| one.mark.as_str())
        .collect();
    let out = schedule
        .out_list
        .iter()
        .filter(|row| (row.board, row.circuit) == own && row.is_open())
        .count();
    let mut parts = Vec::new();
    if schedule.stays_off.contains(&(board, circuit.number)) {
        parts.push("✗ stays off".to_owned());
    }
    match wrong {
        0 => {}
        1 => parts.push("✗ 1 exception".to_owned()),
        several => parts.push(format!("✗ {several} exceptions")),
    }
    if unsettled > 0 {
        parts.push(format!("? {unsettled} can't be settled"));
    }
    if out > 0 {
        parts.push(format!("✗ {out} still out"));
    }
    match (circuit.open_steps, circuit.begun) {
        (0, _) => {}
        (_, false) => parts.push("not begun".to_owned()),
        (1, true) => parts.push("1 step open".to_owned()),
        (several, true) => parts.push(format!("{several} steps open")),
    }
    if !marks.is_empty() {
        parts.push(format!("see {}", marks.join(", ")));
    }
    match (parts.is_empty(), circuit.begun) {
        (true, true) => "✓ what was tested is within limits".to_owned(),
        (true, false) => "nothing was tested".to_owned(),
        (false, _) => parts.join(", "),
    }
}

/// A dash where nothing belongs.
pub(super) fn or_dash(text: String) -> String {
    if text.is_empty() {
        "–".to_owned()
    } else {
        text
    }
}

/// "B 32 A, RCD 30 mA": what protects a circuit.
pub(super) fn protection(circuit: &CircuitRow) -> String {
    let device = circuit
        .device
        .as_ref()
        .map(|device| match circuit.rating_amps {
            Some(amps) => format!("{device} {} A", words::plain(amps)),
            None => device.clone(),
        });
    let rcd = circuit
        .rcd_ma
        .map(|milliamps| format!("RCD {} mA", words::plain(milliamps)));
    device.into_iter().chain(rcd).collect::<Vec<_>>().join(", ")
}

impl Schedule {
    /// Who signs, and as what.
    pub(super) fn signs(&self) -> [(&'static str, &str); 2] {
        [
            ("Tested by", self.tester.as_str()),
            ("Checked by", self.supervisor.as_deref().unwrap_or_default()),
        ]
    }

    /// What is said where no result is an exception: that nothing was said to be wrong only where nothing
    /// was observed either.
    pub fn no_exception(&self) -> &'static str {
        let mut circuits = self.boards.iter().flat_map(|board| &board.circuits);
        let read = circuits.any(|circuit| circuit.begun)
            || self.boards.iter().any(|board| !board.readings.is_empty());
        if !read {
            return "No reading was taken.";
        }
        match (
            self.finished,
            self.observations.is_empty() && !self.found_unsatisfactory(),
        ) {
            (true, true) => "No reading was outside its limit and nothing was said to be wrong.",
            (true, false) => {
                "No reading was outside its limit; what was seen stands under Observations."
            }
            (false, _) => "No reading was outside its limit so far.",
        }
    }

    /// Whether the outcome of the inspection was said to be unsatisfactory.
    pub(super) fn found_unsatisfactory(&self) -> bool {
        let outcome = self
            .inspection
            .as_ref()
            .and_then(|inspection| inspection.outcome.as_ref());
        outcome.is_some_and(OutcomeRow::is_unsatisfactory)
    }

    /// What is said in place of headings that would have nothing under them.
    pub(super) fn nothing_to_say(&self) -> String {
        let mut said = Vec::new();
        if self.open_items.is_empty() {
            said.push("Nothing is open.");
        }
        if self.exceptions.is_empty() {
            said.push(self.no_exception());
        }
        if self.limitations.is_empty() && self.limited_to.is_empty() {
            said.push(self.no_limitations());
        }
        if self.departures.is_empty() && self.overrides.is_empty() && self.finished {
            said.push("The order was kept.");
        }
        said.join(" ")
    }
}
