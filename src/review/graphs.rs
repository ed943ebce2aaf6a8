use super::durations::per_stage;
use super::svg::{self, Bar, Point, Ring};
use super::view::View;
use crate::installation::{Board, Circuit, CircuitKind, SystemVoltage};
use crate::limits::Outcome;
use crate::quantity::{Ohms, Reading, Relation, Unit};
use crate::report::words;
use crate::sequence::{Quantity, ReadingRecord, StepId, place_of};
use crate::terms::Stage;
use maud::{Markup, html};

/// Readings drawn against their formulas and limits.
pub(crate) fn graphs(view: &View) -> Markup {
    let circuits: Vec<(&Board, &Circuit)> = view
        .state
        .job()
        .boards
        .iter()
        .flat_map(|board| board.circuits.iter().map(move |circuit| (board, circuit)))
        .collect();
    let rings: Vec<Markup> = circuits
        .iter()
        .filter(|(_, circuit)| circuit.kind == CircuitKind::Ring)
        .map(|(board, circuit)| rings(view, board, circuit))
        .collect();
    let insulation = insulation(view);
    let zs = zs(view, &circuits);
    let spent = per_stage(view);
    html! {
        section aria-labelledby="rings" {
            h2 #rings { "Rings" }
            @if rings.is_empty() { p.none { "No ring final circuit is in the job." } }
            @for ring in rings { (ring) }
        }
        section aria-labelledby="insulation" {
            h2 #insulation { "Insulation resistance" }
            @if insulation.is_empty() { p.none { "Nothing was read yet." } } @else {
                figure {
                    (svg::bars(&insulation, "MΩ", svg::Scale::Log))
                    figcaption { "Logarithmic scale, MΩ. A bar with an open end is a bound: the true value lies beyond it. The upright line is the least allowed by Table 64 of BS 7671." }
                }
            }
        }
        section aria-labelledby="zs" {
            h2 #zs { "Earth fault loop impedance" }
            @if zs.is_empty() { p.none { "Nothing was read yet." } } @else {
                figure {
                    (svg::bars(&zs, "Ω", svg::Scale::Linear))
                    figcaption { "Zₛ as measured, cold. The upright line is the largest that may be read so, which is what the reading is compared with; its verdict has the sum." }
                }
            }
        }
        section aria-labelledby="spent" {
            h2 #spent { "Time spent" }
            @if spent.is_empty() { p.none { "Nothing was answered yet." } } @else {
                figure {
                    (svg::times(&spent.iter().map(|one| (one.what.clone(), one.time.as_secs_f64(), words::length(one.time))).collect::<Vec<_>>()))
                    figcaption { "From the answer before to its own answer; absences of more than a quarter of an hour are left out." }
                }
            }
        }
    }
}

fn rings(view: &View, board: &Board, circuit: &Circuit) -> Markup {
    let end = |symbol: &str| {
        let id = StepId {
            board: board.number,
            circuit: Some(circuit.number),
            stage: Stage::Ring,
            tail: format!("end-to-end/{symbol}"),
        };
        view.state
            .result_of(&id)
            .and_then(|kept| Ohms::from_reading(&view.state.record_without_leads(kept), None).ok())
            .and_then(Ohms::value)
    };
    let plots: Vec<Markup> = [
        (Quantity::RingLineNeutral, "rn", "Line and neutral crossed", "rₙ"),
        (Quantity::RingLineEarth, "r2", "Line and cpc crossed", "r₂"),
    ]
    .into_iter()
    .filter_map(|(quantity, other, title, symbol)| {
        let (ra, rb) = (end("r1")?, end(other)?);
        let points = points(view, board, circuit, quantity);
        let ring = Ring {
            title: title.to_owned(),
            ra,
            rb,
            symbol: symbol.to_owned(),
            points,
        };
        Some(html! {
            figure {
                (svg::ring(&ring))
                figcaption {
                    (title) ": r₁ " (format!("{ra:.2}")) " Ω, " (symbol) " " (format!("{rb:.2}"))
                    " Ω; (r₁+" (symbol) ")/4 = " (format!("{:.3}", (ra + rb) / 4.0))
                    " Ω. Points stand in the order of the job, evenly spaced; where they really lie on the ring is not known. A square is a spur."
                }
            }
        })
    })
    .collect();
    html! {
        h3 { "Circuit " (circuit.number) ", " (circuit.name) }
        @if plots.is_empty() { p.none { "The ends were not read, or one was over range." } }
        @for plot in plots { (plot) }
    }
}

fn points(view: &View, board: &Board, circuit: &Circuit, quantity: Quantity) -> Vec<Point> {
    let count = circuit.points.len();
    circuit
        .points
        .iter()
        .enumerate()
        .filter_map(|(n, accessory)| {
            let place = place_of(accessory);
            let kept = view
                .state
                .counting_on(board.number, circuit.number, quantity)
                .find(|kept| kept.place.as_ref() == Some(&place))?;
            let reading = view.state.record_without_leads(kept);
            let ohms = Ohms::from_reading(&reading, None).ok()?.value()?;
            Some(Point {
                name: place.to_string(),
                x: (n + 1) as f64 / (count + 1) as f64,
                ohms,
                shown: words::value(&reading),
                spur: accessory.spur,
            })
        })
        .collect()
}

fn insulation(view: &View) -> Vec<Bar> {
    view.state
        .counting(Quantity::Insulation)
        .filter_map(|kept| {
            let step = view.state.step(&kept.step)?;
            let circuit = step.circuit?;
            let system = view
                .state
                .circuit(step.board, circuit)
                .map_or(SystemVoltage::default(), |c| c.system);
            let limit = view.state.tables().insulation_limit(system).megohms;
            let pair = kept.reading.pair.map(|p| p.to_string()).unwrap_or_default();
            let at = kept.reading.at.map(|at| at.to_string()).unwrap_or_default();
            Some(bar(
                kept,
                format!("{circuit}: {pair}, {at}"),
                Some(limit),
                1e6,
            ))
        })
        .collect()
}

fn zs(view: &View, circuits: &[(&Board, &Circuit)]) -> Vec<Bar> {
    circuits
        .iter()
        .filter_map(|(board, circuit)| {
            let kept = view
                .state
                .counting_on(board.number, circuit.number, Quantity::LoopImpedance)
                .next()?;
            let limit = crate::report::zs_maximum(&view.state, board, circuit)
                .and_then(|limit| limit.read_at_most?.value());
            Some(bar(
                kept,
                format!("{}: {}", circuit.number, circuit.name),
                limit,
                1.0,
            ))
        })
        .collect()
}

/// A reading as a bar, in units of `base` (1e6 for megohms).
fn bar(kept: &ReadingRecord, name: String, limit: Option<f64>, base: f64) -> Bar {
    let reading: &Reading = &kept.reading;
    let scale = reading.unit.map_or(base, Unit::scale) / base;
    Bar {
        name,
        value: reading.number.map(|n| n.value() * scale),
        open_above: matches!(reading.relation, Relation::Over | Relation::OverRange),
        open_below: reading.relation == Relation::Under,
        limit,
        shown: words::value(reading),
        sign: kept.verdict.as_ref().map(|v| words::outcome(v.outcome)),
        outside: kept.outcome() == Some(Outcome::Fail),
    }
}
