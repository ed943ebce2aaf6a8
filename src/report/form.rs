//! What the standard's model form has in one place and the log in several: two columns of insulation,
//! and the heading of a board.

use super::cells::{Cell, filled};
use super::schedule::{HeadingRow, HeadingValue, Limitation, PairRead, Steps};
use crate::installation::{Board, Phases};
use crate::limits::judge;
use crate::quantity::{Conductors, Pair, tidy};
use crate::sequence::procedures::SUPPLY_VOLTAGE;
use crate::sequence::procedures::assess::fault_phases;
use crate::sequence::{Agenda, Quantity, SURGE_INDICATOR, Step, Worst};
use crate::terms::Stage;
use serde::Serialize;

/// What the rows of a board's heading are called, wherever they are shown or looked for.
pub(super) mod heading {
    pub(crate) const SUPPLIED_FROM: &str = "Supplied from";
    pub(crate) const EXTERNAL: &str = "Zₑ";
    pub(crate) const AT_THE_BOARD: &str = "Zdb";
    pub(crate) const FAULT_CURRENT: &str = "Ipf, the highest read";
    pub(crate) const SURGE_PROTECTION: &str = "Surge protection";
    pub(crate) const ITS_INDICATOR: &str = "Its indicator";
    pub(crate) const SUPPLY_POLARITY: &str = "Polarity of the supply";
    pub(crate) const PHASE_SEQUENCE: &str = "Phase sequence";
    /// The nominal voltage of the supply, which the standard's form asks for.
    pub(crate) const NOMINAL_VOLTAGE: &str = "Nominal voltage U/U₀";
    /// What was read of it at the incoming terminals.
    pub(crate) const VOLTAGE_READ: &str = "Voltage of the supply, read";
}

/// Results of a circuit that the form merges.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FormCells {
    /// The lowest insulation between live conductors.
    pub live_live: Cell,
    /// The lowest insulation of a live conductor, or of all joined, to earth.
    pub live_earth: Cell,
}

impl FormCells {
    /// Those of a circuit's steps.
    pub(super) fn of(agenda: &Agenda, steps: &[&Step], limitations: &[Limitation]) -> Self {
        let lowest = |keys: &[&str]| {
            let own = steps.iter().copied().filter(|step| {
                let column = agenda.procedure(step).column(step);
                column.is_some_and(|column| keys.contains(&column.key))
            });
            filled(agenda, own, Worst::Lowest, limitations)
        };
        // Live conductors joined are tested in place of each by itself: one result is enough.
        let each = lowest(&["insulation_le", "insulation_ne"]);
        let joined = lowest(&["insulation_joined"]);
        Self {
            live_live: lowest(&["insulation_ll", "insulation_ln"]),
            live_earth: match (&each, &joined) {
                (Cell::Reading { .. }, Cell::Reading { .. }) => {
                    lowest(&["insulation_le", "insulation_ne", "insulation_joined"])
                }
                (_, Cell::Reading { .. } | Cell::Intent { .. }) => joined,
                _ => each,
            },
        }
    }
}

/// What the form heads the results of a board with.
pub(super) fn heading(
    agenda: &Agenda,
    board: &Board,
    steps: &Steps<'_>,
    limitations: &[Limitation],
) -> Vec<HeadingRow> {
    let result = |place: (u16, Option<u16>), worst, wanted: &dyn Fn(&Step) -> bool| {
        let own = steps.get(&place).map(Vec::as_slice).unwrap_or_default();
        let own = own.iter().copied().filter(|step| wanted(step));
        HeadingValue::Result(filled(agenda, own, worst, limitations))
    };
    let reads = |quantity: Quantity| {
        move |step: &Step| {
            step.measure()
                .is_some_and(|measure| measure.quantity == quantity)
        }
    };
    let here = (board.number, None);
    let feeder = agenda.job().feeder_of(board.number);
    let mut rows = vec![
        HeadingRow {
            what: heading::SUPPLIED_FROM,
            value: HeadingValue::Given(supplied_from(agenda, board)),
        },
        match feeder {
            None => HeadingRow {
                what: heading::EXTERNAL,
                value: result(here, Worst::Highest, &reads(Quantity::ExternalLoop)),
            },
            // The loop at this board is that of the circuit that ends in it.
            Some((by, circuit)) => HeadingRow {
                what: heading::AT_THE_BOARD,
                value: result(
                    (by, circuit),
                    Worst::Highest,
                    &reads(Quantity::LoopImpedance),
                ),
            },
        },
        HeadingRow {
            what: heading::FAULT_CURRENT,
            value: larger(
                agenda,
                result(here, Worst::Highest, &reads(Quantity::FaultCurrent)),
                between_lines(
                    agenda,
                    board,
                    result(here, Worst::Highest, &|step| {
                        let read = agenda.result(step).and_then(|record| record.reading.pair);
                        step.measures(Quantity::FaultCurrent)
                            && read.is_some_and(|pair| pair.to() == Conductors::N)
                    }),
                ),
            ),
        },
        HeadingRow {
            what: heading::SURGE_PROTECTION,
            value: HeadingValue::Given(match &board.surge {
                Some(surge) => {
                    let standard = surge.standard.as_ref().map(|one| format!(", {one}"));
                    format!("type {}{}", surge.kind, standard.unwrap_or_default())
                }
                None => "none on record".to_owned(),
            }),
        },
    ];
    if board.surge.is_some() {
        rows.push(HeadingRow {
            what: heading::ITS_INDICATOR,
            value: result(here, Worst::Highest, &|step| step.kind == SURGE_INDICATOR),
        });
    }
    if feeder.is_none() {
        let polarity =
            |step: &Step| step.stage == Stage::SupplyPolarity && step.measure().is_none();
        let voltages: Vec<PairRead> = steps
            .get(&here)
            .into_iter()
            .flatten()
            .filter(|step| step.measures(Quantity::SupplyVoltage))
            // Where it was not asked for, what was said of it.
            .filter(|step| step.kind == SUPPLY_VOLTAGE || agenda.result(step).is_some())
            .filter_map(|step| {
                let own = std::iter::once(*step);
                Some(PairRead {
                    pair: step.pair?.to_string(),
                    result: filled(agenda, own, Worst::Highest, limitations),
                })
            })
            .collect();
        if !voltages.is_empty() {
            rows.push(HeadingRow {
                what: heading::NOMINAL_VOLTAGE,
                value: HeadingValue::Given(nominal_voltage(agenda, board)),
            });
            rows.push(HeadingRow {
                what: heading::VOLTAGE_READ,
                value: HeadingValue::Read(voltages),
            });
        }
        rows.push(HeadingRow {
            what: heading::SUPPLY_POLARITY,
            value: result(here, Worst::Highest, &polarity),
        });
    }
    if board.phases == Phases::Three {
        rows.push(HeadingRow {
            what: heading::PHASE_SEQUENCE,
            value: result(here, Worst::Highest, &|step| {
                step.stage == Stage::PhaseSequence
            }),
        });
    }
    rows
}

/// The larger of two currents, each as it stands on the form.
fn larger(
    agenda: &Agenda,
    read: HeadingValue,
    between: Option<(f64, HeadingValue)>,
) -> HeadingValue {
    let size = match &read {
        HeadingValue::Result(Cell::Reading { event, .. }) => agenda
            .reading(*event)
            .and_then(|record| Some(record.reading.number?.value())),
        _ => None,
    };
    match between {
        Some((current, value)) if size.is_none_or(|size| size < current) => value,
        _ => read,
    }
}

/// The current between lines where it was read to neutral alone: twice that, by the factor that the limits judge
/// it with. Nothing where there is one line, or it was read between lines.
fn between_lines(
    agenda: &Agenda,
    board: &Board,
    to_neutral: HeadingValue,
) -> Option<(f64, HeadingValue)> {
    let HeadingValue::Result(Cell::Reading {
        shown,
        unit,
        is_bound,
        event,
        of,
        verdict,
        ..
    }) = to_neutral
    else {
        return None;
    };
    let mut read = agenda
        .state()
        .counting(Quantity::FaultCurrent)
        .filter(|record| {
            let step = agenda.step(&record.step);
            step.is_some_and(|step| step.board == board.number)
        });
    let lines = |pair: Pair| !pair.to_earth() && pair.to() != Conductors::N;
    if fault_phases(agenda.state(), board.number) != Phases::Three
        || read.any(|record| record.reading.pair.is_some_and(lines))
    {
        return None;
    }
    let factor = agenda.tables().fault_current.three_phase_factor;
    let number = agenda.reading(event)?.reading.number?;
    let current = (number.value() * factor * 1000.0).round() / 1000.0;
    let twice = shown.replace(&number.to_string(), &tidy(current));
    let value = HeadingValue::Result(Cell::Reading {
        beside: Some(format!("{} × {shown} read to neutral", tidy(factor))),
        shown: twice,
        unit,
        is_bound,
        event,
        of,
        verdict,
    });
    Some((current, value))
}

/// "230 V", or "400/230 V" where there are three phases.
fn nominal_voltage(agenda: &Agenda, board: &Board) -> String {
    let to_earth = agenda.job().supply.volts;
    let between_lines = judge::between_lines(agenda.tables(), to_earth);
    let shown = |volts: f64| crate::quantity::tidy(volts.round());
    match board.phases {
        Phases::Single => format!("{} V", shown(to_earth)),
        Phases::Three => format!("{}/{} V", shown(between_lines), shown(to_earth)),
    }
}

/// "the origin", or "board 1, circuit 7 outhouse: BS 88-3 32 A".
fn supplied_from(agenda: &Agenda, board: &Board) -> String {
    let Some((by, number)) = agenda.job().feeder_of(board.number) else {
        let from = board.fed_from.clone();
        return from.unwrap_or_else(|| "the origin".to_owned());
    };
    let above = agenda.job().boards.iter().find(|one| one.number == by);
    let circuit = above.and_then(|above| {
        let mut circuits = above.circuits.iter();
        circuits.find(|circuit| Some(circuit.number) == number)
    });
    let Some(circuit) = circuit else {
        return format!("board {by}");
    };
    let device = circuit.device.as_ref().map(|device| {
        let amps = crate::quantity::tidy(device.amps);
        format!(": {} {amps} A", device.shown())
    });
    format!(
        "board {by}, circuit {} {}{}",
        circuit.number,
        circuit.name,
        device.unwrap_or_default()
    )
}

impl HeadingRow {
    /// What stands there, with its unit.
    pub fn text(&self) -> String {
        match &self.value {
            HeadingValue::Given(text) => text.clone(),
            HeadingValue::Read(pairs) => {
                let each = pairs
                    .iter()
                    .map(|one| format!("{} {}", one.pair, one.text()));
                each.collect::<Vec<_>>().join(", ")
            }
            HeadingValue::Result(cell @ Cell::Reading { .. }) => cell.with_unit(),
            HeadingValue::Result(cell) => cell.marked(),
        }
    }

    /// The result that stands there, where it is one.
    pub fn cell(&self) -> Option<&Cell> {
        match &self.value {
            HeadingValue::Given(_) | HeadingValue::Read(_) => None,
            HeadingValue::Result(cell) => Some(cell),
        }
    }
}

impl PairRead {
    /// What was read, with its unit.
    pub fn text(&self) -> String {
        match &self.result {
            cell @ Cell::Reading { .. } => cell.with_unit(),
            cell => cell.marked(),
        }
    }
}
