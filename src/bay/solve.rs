//! Nodal analysis. The linear part of a network is reduced, node by node, to those nodes where
//! something is measured, drives or is not linear (a star becomes a mesh: Kron's reduction); what is
//! left is solved with nalgebra, what is not linear by Newton's iteration.
//!
//! The reduction adds, multiplies and divides and never subtracts, so conductances from kilosiemens to
//! picosiemens stand beside each other without loss. For alternating current the same is done with complex
//! numbers; all that is there is resistive or inductive, so sums do not cancel either.

use super::law::Law;
use super::net::{Element, GROUND};
use nalgebra::{Complex, ComplexField, DMatrix, DVector};
use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};

/// What joins two nodes: a conductance for direct current, an admittance for alternating current.
pub(super) trait Admittance: ComplexField<RealField = f64> + Copy {
    /// Of a resistance with a reactance, Ω.
    fn of(ohms: f64, reactance: f64) -> Self;
}

impl Admittance for f64 {
    fn of(ohms: f64, _: f64) -> Self {
        1.0 / ohms
    }
}

impl Admittance for Complex<f64> {
    fn of(ohms: f64, reactance: f64) -> Self {
        Self::new(ohms, reactance).inv()
    }
}

/// Admittances between nodes.
#[derive(Debug, Clone)]
pub(super) struct Graph<S> {
    beside: Vec<Vec<(usize, S)>>,
}

impl<S: Admittance> Graph<S> {
    /// Of resistors, and the inner resistances of sources; with the leakage that every node has.
    pub(super) fn of(nodes: usize, elements: &[Element], stray: f64) -> Self {
        let mut graph = Self {
            beside: vec![Vec::new(); nodes],
        };
        for node in 1..nodes {
            graph.join(node, GROUND, stray);
        }
        for element in elements {
            match *element {
                Element::Impedance {
                    from,
                    to,
                    ohms,
                    reactance,
                }
                | Element::Source {
                    from,
                    to,
                    ohms,
                    reactance,
                    ..
                } => graph.add(from, to, S::of(ohms, reactance)),
                Element::NonLinear { .. } => {}
            }
        }
        graph
    }

    /// Another node.
    pub(super) fn node(&mut self, stray: f64) -> usize {
        self.beside.push(Vec::new());
        let node = self.beside.len() - 1;
        self.join(node, GROUND, stray);
        node
    }

    /// A resistance more between two nodes.
    pub(super) fn join(&mut self, a: usize, b: usize, ohms: f64) {
        self.add(a, b, S::of(ohms, 0.0));
    }

    fn add(&mut self, a: usize, b: usize, siemens: S) {
        if a == b {
            return;
        }
        for (one, other) in [(a, b), (b, a)] {
            match self.beside[one].iter_mut().find(|(to, _)| *to == other) {
                Some((_, g)) => *g += siemens,
                None => self.beside[one].push((other, siemens)),
            }
        }
    }

    fn eliminate(&mut self, node: usize) {
        let star = std::mem::take(&mut self.beside[node]);
        let total = star.iter().fold(S::zero(), |sum, (_, g)| sum + *g);
        for (end, _) in &star {
            self.beside[*end].retain(|(to, _)| *to != node);
        }
        for (n, (a, ga)) in star.iter().enumerate() {
            for (b, gb) in &star[n + 1..] {
                self.add(*a, *b, *ga * *gb / total);
            }
        }
    }

    /// Leaves only the nodes to be kept, and the ground. Those with the fewest neighbours go first.
    pub(super) fn reduce(&mut self, keep: impl Fn(usize) -> bool) {
        let mut next: BinaryHeap<_> = (1..self.beside.len())
            .filter(|node| !keep(*node) && !self.beside[*node].is_empty())
            .map(|node| Reverse((self.beside[node].len(), node)))
            .collect();
        while let Some(Reverse((degree, node))) = next.pop() {
            let now = self.beside[node].len();
            if now > degree {
                next.push(Reverse((now, node)));
            } else {
                self.eliminate(node);
            }
        }
    }

    fn between(&self, a: usize, b: usize) -> S {
        let found = self.beside[a].iter().find(|(to, _)| *to == b);
        found.map_or_else(S::zero, |(_, g)| *g)
    }

    /// Impedance between two nodes, with every source dead, without its angle; infinite where nothing joins
    /// them.
    pub(super) fn ohms(mut self, a: usize, b: usize) -> f64 {
        if a == b {
            return 0.0;
        }
        self.reduce(|node| node == a || node == b);
        let direct = self.between(a, b);
        let by_ground = match (self.between(a, GROUND), self.between(b, GROUND)) {
            (ga, gb) if a != GROUND && b != GROUND && (ga + gb).modulus() > 0.0 => {
                ga * gb / (ga + gb)
            }
            _ => S::zero(),
        };
        1.0 / (direct + by_ground).modulus()
    }

    /// The nodal equations of what is left: conductances between the nodes kept, the ground left
    /// out.
    fn matrix(&self, kept: &[usize]) -> DMatrix<S> {
        let mut matrix = DMatrix::zeros(kept.len(), kept.len());
        for (row, node) in kept.iter().enumerate() {
            for (to, g) in &self.beside[*node] {
                matrix[(row, row)] += *g;
                if let Some(column) = kept.iter().position(|other| other == to) {
                    matrix[(row, column)] -= *g;
                }
            }
        }
        matrix
    }
}

impl Graph<Complex<f64>> {
    /// Voltages of some nodes, to earth, with currents driven into nodes.
    pub(super) fn voltages(
        mut self,
        currents: &[(usize, Complex<f64>)],
        wanted: &[usize],
    ) -> Vec<Complex<f64>> {
        let kept: BTreeSet<usize> = currents
            .iter()
            .map(|(node, _)| *node)
            .chain(wanted.iter().copied())
            .filter(|node| *node != GROUND)
            .collect();
        self.reduce(|node| kept.contains(&node));
        let kept: Vec<usize> = kept.into_iter().collect();
        let mut driven = DVector::zeros(kept.len());
        for (node, current) in currents {
            if let Some(row) = kept.iter().position(|other| other == node) {
                driven[row] += *current;
            }
        }
        let solved = self.matrix(&kept).lu().solve(&driven);
        let of = |node: &usize| {
            let row = kept.iter().position(|other| other == node)?;
            Some(solved.as_ref()?[row])
        };
        wanted
            .iter()
            .map(|node| of(node).unwrap_or_default())
            .collect()
    }
}

impl Graph<f64> {
    /// Voltages across parts that are not linear, with a source of `volts` and `ohms` between `a` and
    /// `b`.
    pub(super) fn across(
        &self,
        parts: &[(usize, usize, Law)],
        (a, b): (usize, usize),
        volts: f64,
        ohms: f64,
    ) -> Vec<f64> {
        let mut graph = self.clone();
        graph.join(a, b, ohms);
        let kept: BTreeSet<usize> = parts
            .iter()
            .flat_map(|(from, to, _)| [*from, *to])
            .chain([a, b])
            .filter(|node| *node != GROUND)
            .collect();
        graph.reduce(|node| kept.contains(&node));
        let kept: Vec<usize> = kept.into_iter().collect();
        let linear = graph.matrix(&kept);
        let row = |node: usize| kept.iter().position(|other| *other == node);
        let mut driven = DVector::zeros(kept.len());
        for (node, sign) in [(a, 1.0), (b, -1.0)] {
            if let Some(row) = row(node) {
                driven[row] += sign * volts / ohms;
            }
        }
        let mut v: Vec<f64> = vec![0.0; parts.len()];
        // A step goes no further than this, and less far each time that it turns: a law that bends
        // both ways would send it to and fro for ever.
        let mut furthest: Vec<(f64, f64)> = vec![(FURTHEST, 0.0); parts.len()];
        for _ in 0..MOST_ITERATIONS {
            let mut matrix = linear.clone();
            let mut currents = driven.clone();
            for ((from, to, law), v) in parts.iter().zip(&v) {
                // The current near v: slope · (voltage - v) + current at v.
                let slope = law.slope(*v);
                let offset = law.siemens(*v) * v - slope * v;
                for (one, other, sign) in [(*from, *to, 1.0), (*to, *from, -1.0)] {
                    let Some(one) = row(one) else { continue };
                    matrix[(one, one)] += slope;
                    currents[one] -= sign * offset;
                    if let Some(other) = row(other) {
                        matrix[(one, other)] -= slope;
                    }
                }
            }
            let Some(solved) = matrix.lu().solve(&currents) else {
                break;
            };
            let at = |node: usize| row(node).map_or(0.0, |row| solved[row]);
            let mut moved: f64 = 0.0;
            for (((from, to, _), v), (most, last)) in parts.iter().zip(&mut v).zip(&mut furthest) {
                let whole = at(*from) - at(*to) - *v;
                *most *= if whole * *last < 0.0 { 0.5 } else { 1.2 };
                let step = whole.clamp(-*most, *most);
                *last = step;
                *v += step;
                moved = moved.max(step.abs());
            }
            if moved < CONVERGED {
                break;
            }
        }
        v
    }
}

/// The first step of Newton's iteration goes no further, V.
const FURTHEST: f64 = 40.0;
/// It stops here, V.
const CONVERGED: f64 = 1e-9;
/// And after so many steps at the latest: from above, a power of fifteen comes nearer by a fifteenth
/// each.
const MOST_ITERATIONS: usize = 300;
