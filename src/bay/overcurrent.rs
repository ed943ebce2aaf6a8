//! Short circuits that are energised: which current flows through a device, and what it makes of it.

use super::conditions::{Conditions, Effect, effect};
use super::model::{CircuitModel, Feed, Model, PointAt, Wire};
use super::net::{Builder, Net, Node, Regime, STRAY_OHMS, fed_by};
use super::probing::{Method, Netlist, driven};
use super::solve::Graph;
use crate::terms::Consequence;
use nalgebra::Complex;
use std::collections::BTreeSet;

/// What comes of what is joined, where it is live.
pub(super) fn of(
    model: &Model,
    destroyed: &BTreeSet<PointAt>,
    conditions: &Conditions,
) -> Vec<Consequence> {
    let joins = |effect: &Effect| matches!(effect, Effect::Joined(..) | Effect::Crossed(_));
    if !conditions.altered.iter().map(effect).any(|e| joins(&e)) {
        return Vec::new();
    }
    let boards = model.boards.iter().enumerate();
    let all: Vec<(usize, usize)> = boards
        .flat_map(|(b, board)| (0..board.circuits.len()).map(move |c| (b, c)))
        .filter(|at| model.at(*at).device.is_some())
        .collect();
    let flows = amps(model, destroyed, conditions, &all);
    let over: Vec<((usize, usize), f64)> = all
        .into_iter()
        .zip(flows)
        .filter(|(at, amps)| {
            let device = model.at(*at).device.as_ref();
            device.is_some_and(|device| *amps >= device.operates())
        })
        .collect();
    // A circuit that feeds a board carries what that board's circuits do: the nearest one opens.
    let feeds_one = |(b, c): (usize, usize)| {
        over.iter().any(|((on, _), _)| {
            model.boards[*on].feed
                == Feed::Circuit {
                    board: b,
                    circuit: c,
                }
        })
    };
    let opens = over.iter().filter(|(at, _)| !feeds_one(*at));
    opens
        .map(|((b, c), amps)| {
            let (board, circuit) = (&model.boards[*b], &model.boards[*b].circuits[*c]);
            let (board, number) = (board.number, circuit.number);
            let breaks = circuit.device.as_ref().and_then(|device| device.breaks);
            match breaks.filter(|most| amps > most) {
                Some(most) => Consequence::Burst {
                    board,
                    circuit: number,
                    amps: amps.round() as u32,
                    breaks: most.round() as u32,
                },
                None => Consequence::Shorted {
                    board,
                    circuit: number,
                    amps: amps.round() as u32,
                },
            }
        })
        .collect()
}

/// The two ends of each line of a device.
fn ends(b: usize, c: usize, circuit: &CircuitModel) -> Vec<[Node; 2]> {
    let single = circuit.wires.len() == Wire::SINGLE.len();
    let lines = circuit.wires.iter().copied().filter(|wire| wire.is_line());
    lines
        .map(|wire| {
            let bar = if single { circuit.line } else { wire };
            [fed_by(b, circuit.behind, bar), Node::Terminal(b, c, wire)]
        })
        .collect()
}

/// The current through each device, A: the greatest of its lines. None through one that is open.
pub(super) fn amps(
    model: &Model,
    destroyed: &BTreeSet<PointAt>,
    conditions: &Conditions,
    devices: &[(usize, usize)],
) -> Vec<f64> {
    let net = Builder::build(model, conditions, destroyed, Regime::Live);
    let graph: Graph<Complex<f64>> = Graph::of(net.nodes(), &net.elements, STRAY_OHMS);
    let mut lines = Vec::new();
    for (n, (b, c)) in devices.iter().enumerate() {
        let circuit = model.at((*b, *c));
        for [bar, terminal] in ends(*b, *c, circuit) {
            if let (Some(bar), Some(terminal)) = (net.get(bar), net.get(terminal))
                && net.are_joined(bar, terminal)
            {
                lines.push((n, bar, terminal, circuit.device_ohms));
            }
        }
    }
    let wanted: Vec<usize> = lines
        .iter()
        .flat_map(|(_, bar, terminal, _)| [*bar, *terminal])
        .collect();
    let volts = graph.voltages(&driven(&net.elements), &wanted);
    let mut amps = vec![0.0; devices.len()];
    for ((n, _, _, ohms), pair) in lines.iter().zip(volts.chunks(2)) {
        if let (Some(most), [bar, terminal]) = (amps.get_mut(*n), pair) {
            *most = f64::max(*most, (bar - terminal).norm() / ohms);
        }
    }
    amps
}

/// The network with the two ends of a device's first line as the probes.
pub(super) fn netlist(
    model: &Model,
    destroyed: &BTreeSet<PointAt>,
    conditions: &Conditions,
    (b, c): (usize, usize),
) -> Option<(Netlist, f64)> {
    let net: Net = Builder::build(model, conditions, destroyed, Regime::Live);
    let circuit = model.at((b, c));
    let [bar, terminal] = ends(b, c, circuit).into_iter().next()?;
    let netlist = Netlist {
        nodes: net.nodes(),
        from: net.get(bar)?,
        to: net.get(terminal)?,
        elements: net.elements,
        // Nothing stands between them but the device.
        method: Method::Voltage {
            ohms: f64::INFINITY,
        },
    };
    Some((netlist, circuit.device_ohms))
}
